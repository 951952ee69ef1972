"""Finding and running a browser, with small scripts in its place."""

import os
import time
from pathlib import Path

import pytest
from fake_browser import PDF, PNG, fake
from PIL import Image

from vibetrend.errors import VibetrendError
from vibetrend.report.printing import browser

HTML = "<html><head><title>Übersicht</title></head></html>"

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the scripts need a POSIX system")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that is the only place to find programs in, and one for the work."""
    (tmp_path / "work").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "work"))
    monkeypatch.setattr(browser, "_LINUX", ())
    return tmp_path / "bin"


def environ(folder: Path, **more: str) -> dict[str, str]:
    return {"PATH": str(folder), **more}


# Finding it


def test_a_browser_on_the_path_is_found(here: Path) -> None:
    program = fake(here, name="google-chrome")
    assert browser.found(environ(here), "linux") == program


def test_chromium_is_taken_before_others(here: Path) -> None:
    fake(here, name="microsoft-edge")
    program = fake(here, name="chromium")
    assert browser.found(environ(here), "linux") == program


def test_the_environment_names_another(here: Path, tmp_path: Path) -> None:
    fake(here)
    program = fake(tmp_path / "else where", name="my browser")
    assert browser.found(environ(here, VIBETREND_BROWSER=str(program))) == program


def test_the_environment_may_name_a_program_of_the_path(here: Path) -> None:
    fake(here)
    program = fake(here, name="other")
    assert browser.found(environ(here, VIBETREND_BROWSER="other")) == program


def test_the_environment_may_name_a_program_from_here(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program = fake(here, name="other")
    monkeypatch.chdir(here)
    assert browser.found(environ(Path("/nowhere"), VIBETREND_BROWSER="./other")) == program


@pytest.mark.parametrize("named", ["/nowhere/chromium", "nothing-of-this-name", "."])
def test_a_wrong_name_is_not_passed_over(here: Path, named: str) -> None:
    fake(here)
    with pytest.raises(VibetrendError, match=r"VIBETREND_BROWSER names '.*', which is no program"):
        browser.found(environ(here, VIBETREND_BROWSER=named))


def test_a_file_that_may_not_be_run_is_no_browser(here: Path) -> None:
    program = fake(here)
    program.chmod(0o644)
    with pytest.raises(VibetrendError, match="no program that can be run"):
        browser.found(environ(here, VIBETREND_BROWSER=str(program)))


def test_without_any_it_is_said_what_to_do(here: Path) -> None:
    with pytest.raises(VibetrendError) as told:
        browser.found(environ(here), "linux")
    assert str(told.value) == (
        "no browser of Chromium's kind (Chromium, Chrome, Edge, Brave) was found; install one, "
        "name it in VIBETREND_BROWSER, or open the page in any browser and print it to PDF"
    )


def test_the_usual_places_of_each_system_are_looked_at(
    here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    windows = fake(tmp_path / "Microsoft/Edge/Application", name="msedge.exe")
    found = browser.found(environ(here, PROGRAMFILES=str(tmp_path)), "win32")
    assert found == windows
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    macos = fake(tmp_path / "Applications/Brave Browser.app/Contents/MacOS", name="Brave Browser")
    assert browser.found(environ(here), "darwin") == macos
    linux = fake(tmp_path / "opt", name="chrome")
    monkeypatch.setattr(browser, "_LINUX", (str(linux),))
    assert browser.found(environ(here), "linux") == linux


# Running it


def test_it_prints_without_a_window_and_without_a_network(here: Path, tmp_path: Path) -> None:
    content = browser.to_pdf(HTML, fake(here, PDF))
    assert content == "%PDF-1.4\n1 0 obj\n<</Title (Übersicht)\n/Creator (vibetrend)>>\n".encode()
    asked = (here / "asked.txt").read_text().splitlines()
    assert {
        "--headless", "--disable-gpu", "--disable-sync", "--disable-extensions",
        "--disable-background-networking", "--disable-component-update", "--no-first-run",
        "--no-default-browser-check", "--no-pdf-header-footer",
        "--host-resolver-rules=MAP * ~NOTFOUND",
    } <= set(asked)  # fmt: skip
    assert any(each.startswith(f"--user-data-dir={tmp_path / 'work'}") for each in asked)
    assert list((tmp_path / "work").iterdir()) == []  # nothing is left behind


@pytest.mark.parametrize(("user", "alone"), [(0, True), (1000, False)])
def test_the_sandbox_is_off_for_root_only(
    here: Path, monkeypatch: pytest.MonkeyPatch, user: int, alone: bool
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: user)
    browser.to_pdf(HTML, fake(here, PDF))
    assert ("--no-sandbox" in (here / "asked.txt").read_text().splitlines()) is alone


def test_a_picture_ends_at_its_mark(here: Path) -> None:
    picture = browser.to_picture(HTML, fake(here, PNG.format(end=300)), width=400)
    assert picture.size == (800, 300)
    assert picture.getcolors() == [(800 * 300, (255, 255, 255))]


def test_a_long_picture_is_shown_in_a_taller_window(here: Path) -> None:
    picture = browser.to_picture(HTML, fake(here, PNG.format(end=3000)), width=400)
    assert picture.size == (800, 3000)
    assert "--window-size=400,3500" in (here / "asked.txt").read_text()


def test_a_picture_without_an_end_is_refused(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(browser, "_HEIGHTS", (100, 200))
    with pytest.raises(VibetrendError, match="the end of a picture is not to be seen, 200 px down"):
        browser.to_picture(HTML, fake(here, PNG.format(end=5000)), width=400)


@pytest.mark.parametrize(
    ("does", "said"),
    [
        ("sys.exit('\\x1b[31mno\\x07 display')", r"broke off with code 1 \(\[31mno display\)"),
        ("import os; os.kill(os.getpid(), 9)", "broke off with code -9"),
        ("", "ended, but wrote nothing; name another browser in VIBETREND_BROWSER"),
        ("print('no access', file=sys.stderr)", r"wrote nothing \(no access\)"),
        ("pathlib.Path(given['--print-to-pdf']).touch()", "wrote nothing"),
        ("pathlib.Path(given['--print-to-pdf']).write_text('<html>')", "something else than a PDF"),
    ],
)  # fmt: skip
def test_each_way_to_fail_is_told(here: Path, does: str, said: str) -> None:
    program = fake(here, does)
    with pytest.raises(VibetrendError, match=said) as told:
        browser.to_pdf(HTML, program)
    assert str(told.value).startswith(f"{program}: ")


def test_what_is_no_picture_is_refused(here: Path) -> None:
    does = "pathlib.Path(given['--screenshot']).write_bytes(b'\\x89PNG cut short')"
    with pytest.raises(VibetrendError, match="something else than a picture"):
        browser.to_picture(HTML, fake(here, does), width=400)


def test_a_program_that_cannot_be_started_is_one_line(here: Path) -> None:
    program = fake(here)
    program.write_bytes(b"\x7fELF and nothing more")
    with pytest.raises(VibetrendError, match=r"cannot be used \(Exec format error\)"):
        browser.to_pdf(HTML, program)


def test_a_full_disk_is_not_the_browsers_fault(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(VibetrendError, match=r"\(No space left on device\); make room"):
        browser.to_pdf(HTML, here / "never started")
    assert list((here.parent / "work").iterdir()) == []


def test_one_that_never_ends_is_stopped_with_all_it_started(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(browser, "_LIMIT_S", 0.5)
    program = fake(here)
    child_file = here / "child.txt"
    program.write_text(f"#!/bin/sh\nsleep 600 &\necho $! > '{child_file}'\nwait\n")
    with pytest.raises(VibetrendError, match=r"not done after 0 s and stopped; try again"):
        browser.to_pdf(HTML, program)
    assert _is_gone(int(child_file.read_text()))


def _is_gone(process: int) -> bool:
    for _ in range(100):
        try:
            os.kill(process, 0)
        except ProcessLookupError:
            return True
        status = Path(f"/proc/{process}/stat")
        if status.exists() and status.read_text().rpartition(")")[2].split()[0] == "Z":
            return True  # ended, and only nobody has asked for its exit code
        time.sleep(0.01)
    return False


@pytest.mark.parametrize(
    "line", ["# exec /snap/bin/chromium \"$@\"", "# exec flatpak run org.chromium.Chromium"]
)  # fmt: skip
def test_a_confined_browser_works_in_the_users_own_folder(
    here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    """A snap has a /tmp of its own, and sees no folder whose name begins with a dot."""
    home = tmp_path / "home"
    home.mkdir()
    monkeypatch.setattr(Path, "home", lambda: home)
    browser.to_pdf(HTML, fake(here, line, PDF))
    asked = (here / "asked.txt").read_text().splitlines()
    assert asked[-1].startswith(f"file://{home}/vibetrend-")
    assert list(home.iterdir()) == []


def test_a_snap_is_known_by_its_place(tmp_path: Path) -> None:
    assert browser._is_confined(fake(tmp_path / "snap" / "bin"))
    assert not browser._is_confined(fake(tmp_path / "usr" / "bin"))


def test_the_end_mark_counts_at_the_left_rim_only() -> None:
    page = Image.new("RGB", (10, 10), "white")
    page.putpixel((5, 2), (255, 0, 255))
    assert browser._end(page) is None
    page.putpixel((0, 7), (255, 0, 255))
    assert browser._end(page) == 7


@pytest.mark.parametrize("code", [0, 3])
def test_one_that_ends_leaves_nothing_running(here: Path, code: int) -> None:
    program = fake(here)
    child_file = here / "child.txt"
    program.write_text(f"#!/bin/sh\nsleep 600 &\necho $! > '{child_file}'\nexit {code}\n")
    with pytest.raises(VibetrendError, match=r"broke off with code 3|wrote nothing"):
        browser.to_pdf(HTML, program)
    assert _is_gone(int(child_file.read_text()))
