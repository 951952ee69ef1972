"""An installed browser of Chromium's kind as the printer of our own pages.

It is started without a window, with a throwaway profile and no network, shows one file and ends.
"""

import contextlib
import io
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from PIL import Image, UnidentifiedImageError

from vibetrend.errors import VibetrendError

VARIABLE = "VIBETREND_BROWSER"
MADE_BY = "vibetrend"  # what a PDF names as its creator
SCALE = 2  # pixels of a picture for each pixel of its page
END_MARK = "#ff00ff"  # a bar of this colour says where the picture of a page ends

_LIMIT_S = 120.0  # a page of many years takes seconds; a slow computer may need ten times that
_HEIGHTS = (1400, 3500, 7500)  # px: what a page is shown in, until its end mark is seen
_SEEN_OF_ERROR = 200  # characters

_NAMES = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome",
    "microsoft-edge", "microsoft-edge-stable", "msedge", "brave-browser", "brave", "vivaldi",
)  # fmt: skip
_LINUX = (
    "/snap/bin/chromium",
    "/opt/google/chrome/chrome",
    "/usr/lib/chromium/chromium",
    "/var/lib/flatpak/exports/bin/org.chromium.Chromium",
    "/var/lib/flatpak/exports/bin/com.google.Chrome",
)
_MACOS = ("Chromium", "Google Chrome", "Microsoft Edge", "Brave Browser", "Vivaldi")
_WINDOWS = (
    "Chromium/Application/chrome.exe",
    "Google/Chrome/Application/chrome.exe",
    "Microsoft/Edge/Application/msedge.exe",
    "BraveSoftware/Brave-Browser/Application/brave.exe",
    "Vivaldi/Application/vivaldi.exe",
)
_WINDOWS_FOLDERS = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")

_ALWAYS = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pings",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    f"--user-agent={MADE_BY}",
)


def found(environ: Mapping[str, str] = os.environ, platform: str = sys.platform) -> Path:
    """Return the browser to use: the one that the environment names, else any that is installed.

    Raises
    ------
    VibetrendError
        If there is none, or what the environment names is no program.
    """
    path = environ.get("PATH")
    if named := environ.get(VARIABLE):
        place = Path(named).expanduser()
        # Of a bare name the path is searched, as a shell does.
        program = shutil.which(named if named == place.name else str(place.absolute()), path=path)
        if program is None:
            raise VibetrendError(
                f"{VARIABLE} names {named!r}, which is no program that can be run; correct it, or "
                f"leave it out so that a browser is looked for"
            )
        return Path(program)
    for each in (*_NAMES, *_usual_places(environ, platform)):
        if program := shutil.which(each, path=path):
            return Path(program)
    raise VibetrendError(
        f"no browser of Chromium's kind (Chromium, Chrome, Edge, Brave) was found; install one, "
        f"name it in {VARIABLE}, or open the page in any browser and print it to PDF"
    )


def _usual_places(environ: Mapping[str, str], platform: str) -> Iterator[str]:
    if platform == "darwin":
        for folder in ("/Applications", str(Path.home() / "Applications")):
            yield from (f"{folder}/{name}.app/Contents/MacOS/{name}" for name in _MACOS)
    elif platform == "win32":
        for folder in filter(None, map(environ.get, _WINDOWS_FOLDERS)):
            yield from (f"{folder}/{program}" for program in _WINDOWS)
    else:
        yield from _LINUX


def to_pdf(html: str, browser: Path) -> bytes:
    """Return a page as PDF, in the size that its style asks for; `MADE_BY` is its creator.

    Raises
    ------
    VibetrendError
        If the browser makes none.
    """
    # Its own line with date and address stays off: the first name is that of older ones.
    plain = ("--print-to-pdf-no-header", "--no-pdf-header-footer")
    content = _shown(html, browser, "page.pdf", "--print-to-pdf", *plain)
    if not content.startswith(b"%PDF-"):
        raise VibetrendError(f"{browser}: wrote something else than a PDF; {_ANOTHER}")
    return content


def to_picture(html: str, browser: Path, *, width: int) -> Image.Image:
    """Return a page of some width as a picture, `SCALE` times as large, down to its end mark.

    Parameters
    ----------
    html : str
        Ends in a bar of the colour `END_MARK` that begins at the left rim.
    width : int
        Of the page, px.

    Raises
    ------
    VibetrendError
        If the browser makes none, or the page is too long.
    """
    for height in _HEIGHTS:
        content = _shown(
            html, browser, "page.png", "--screenshot", f"--window-size={width},{height}",
            f"--force-device-scale-factor={SCALE}", "--hide-scrollbars",
        )  # fmt: skip
        try:
            picture = Image.open(io.BytesIO(content)).convert("RGB")
        except (UnidentifiedImageError, OSError) as error:
            raise VibetrendError(
                f"{browser}: wrote something else than a picture; {_ANOTHER}"
            ) from error
        end = _end(picture)
        if end:
            return picture.crop((0, 0, picture.width, end))
    raise VibetrendError(
        f"{browser}: the end of a picture is not to be seen, {_HEIGHTS[-1]} px down; {_ANOTHER}"
    )


_ANOTHER = f"name another browser in {VARIABLE}"


def _end(picture: Image.Image) -> int | None:
    """Return the row in which the end mark begins."""
    mark = bytes.fromhex(END_MARK.removeprefix("#"))
    rim = picture.crop((0, 0, 1, picture.height)).tobytes()
    return next((row for row in range(picture.height) if rim[3 * row : 3 * row + 3] == mark), None)


def _shown(html: str, browser: Path, result: str, what: str, *options: str) -> bytes:
    """Let the browser show a page and return the file it makes of that."""
    # A confined browser has a /tmp of its own and sees no hidden folder of the user's.
    place = Path.home() if _is_confined(browser) else None
    try:
        with tempfile.TemporaryDirectory(
            prefix="vibetrend-", dir=place, ignore_cleanup_errors=True
        ) as name:
            folder = Path(name)
            page = folder / "page.html"
            page.write_text(html, encoding="utf-8", errors="replace")
            said = _run(
                browser,
                [
                    *_ALWAYS, *_as_root(), *options, f"--user-data-dir={folder / 'profile'}",
                    f"{what}={folder / result}", page.as_uri(),
                ],
                folder,
            )  # fmt: skip
            made = folder / result
            content = made.read_bytes() if made.is_file() else b""
    except OSError as error:
        raise VibetrendError(
            f"the page cannot be put into a temporary folder for the browser "
            f"({error.strerror or error}); make room on that disk, or name another in TMPDIR"
        ) from error
    if not content:
        raise VibetrendError(f"{browser}: ended, but wrote nothing{said}; {_ANOTHER}")
    return content


def _is_confined(browser: Path) -> bool:
    """Return whether it is a snap or a flatpak, or a script that starts one."""
    if {*browser.parts, *browser.resolve().parts} & {"snap", "flatpak"}:
        return True
    with contextlib.suppress(OSError), browser.open("rb") as file:
        head = file.read(4000)
        return head.startswith(b"#!") and any(each in head for each in (b"/snap/", b"flatpak"))
    return False


def _as_root() -> list[str]:
    # Chromium refuses to run as root unless its sandbox is off. That is the case in containers;
    # it opens only our own page there, which runs no script and fetches nothing.
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    return ["--no-sandbox"] if is_root else []


def _run(browser: Path, arguments: list[str], folder: Path) -> str:
    """Run the browser to its end; return the last of what it complained of, to go on a sentence."""
    log = folder / "said.txt"
    # Into a file: of a pipe, what the browser has started itself would keep the other end.
    with log.open("wb") as said, _started(browser, arguments, said) as process:
        try:
            code = process.wait(_LIMIT_S)
        except subprocess.TimeoutExpired:
            raise VibetrendError(
                f"{browser}: not done after {_LIMIT_S:.0f} s and stopped; try again, or {_ANOTHER}"
            ) from None
        finally:
            _stop(process)
    lines = log.read_text(encoding="utf-8", errors="replace").split("\n")
    last = next((line.strip() for line in reversed(lines) if line.strip()), "")
    last = "".join(letter for letter in last if letter.isprintable())[:_SEEN_OF_ERROR]
    said_last = f" ({last})" if last else ""
    if code != 0:
        raise VibetrendError(f"{browser}: broke off with code {code}{said_last}; {_ANOTHER}")
    return said_last


def _started(browser: Path, arguments: list[str], said: BinaryIO) -> "subprocess.Popen[bytes]":
    try:
        return subprocess.Popen(
            [str(browser), *arguments],
            stdin=subprocess.DEVNULL, stdout=said, stderr=said,
            start_new_session=os.name == "posix",
        )  # fmt: skip
    except OSError as error:
        raise VibetrendError(
            f"{browser}: cannot be used ({error.strerror or error}); {_ANOTHER}"
        ) from error


def _stop(process: "subprocess.Popen[bytes]") -> None:
    """End a browser and all it has started, which may outlive it."""
    if os.name == "posix":
        # It leads a group of its own. Where nothing is left of that there is nothing to end.
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    elif process.poll() is None:
        process.kill()
