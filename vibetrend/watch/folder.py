"""What lies in a folder that fills: which files may be recordings, and what belongs to each."""

import os
import stat
from dataclasses import dataclass, field
from pathlib import Path

from vibetrend.errors import ReadError

DEFAULTS = "folder.toml"
DEEPEST = 4
"""Folders below the one watched that are looked into: year, month, day and one more."""

Stamp = tuple[str, int, int]
"""Name, bytes, time of the last change in ns: while these stay, a file is taken as the same."""

# Names that programs give to what is still arriving or is their own business.
_UNFINISHED = (
    *(".part", ".partial", ".tmp", ".temp", ".crdownload", ".download", ".opdownload"),
    *(".filepart", ".!sync", ".!ut", ".swp", ".lock"),
)
_NOT_OURS = {
    *("desktop.ini", "thumbs.db", "@eadir", "#recycle", "$recycle.bin"),
    *("system volume information", "lost+found", "__macosx"),
}


@dataclass(frozen=True)
class Arrival:
    """A file that may be a recording, as one look at the folder found it."""

    name: str  # below the folder watched, with / between folders
    folder: Path  # the one it lies in
    stamp: Stamp
    sides: tuple[Stamp, ...]  # side files that may belong to it
    defaults: tuple[Stamp, ...]  # the folder files that hold for it, by path, the nearest first

    @property
    def path(self) -> Path:
        """Where the file is."""
        return self.folder / self.stamp[0]


@dataclass
class Contents:
    """What one look at the folder found."""

    arrivals: dict[str, Arrival] = field(default_factory=dict)
    defaults: list[Stamp] = field(default_factory=list)  # every folder file, by path
    left_out: dict[str, str] = field(default_factory=dict)  # name: why it is not looked at


def look_into(folder: Path) -> Contents:
    """Look at all that lies in a folder and the folders in it; no file is opened.

    Links are left out: a folder that others can write to must not lead to files beyond it.

    Raises
    ------
    OSError
        If the folder cannot be listed.
    """
    found = Contents()
    _look(folder, "", (), 0, found)
    return found


def stamp_of(path: Path) -> Stamp | None:
    """Return a file's stamp as it is now, None if it is gone."""
    try:
        state = path.lstat()
    except OSError:
        return None
    return path.name, state.st_size, state.st_mtime_ns


def passed_over(name: str) -> bool:
    """Say whether a file or folder of this name is nobody's recording: hidden, unfinished."""
    lower = name.lower()
    return (
        name.startswith((".", "~"))
        or name.endswith("~")
        or lower.endswith(_UNFINISHED)
        or lower in _NOT_OURS
    )


def side_name(name: str) -> str:
    """Return the name of the side file that a recording of this name would have."""
    return f"{Path(name).stem}.toml"


def _look(
    folder: Path, before: str, defaults: tuple[Stamp, ...], depth: int, found: Contents
) -> None:
    files: list[Stamp] = []
    sides: dict[str, list[Stamp]] = {}
    folders: list[str] = []
    with os.scandir(folder) as entries:
        names = sorted(entry.name for entry in entries if not passed_over(entry.name))
    for name in names:
        path = os.path.join(folder, name)  # noqa: PTH118  # ten thousand Paths would be slow
        try:
            state = os.lstat(path)  # not what the listing says: some systems leave that behind
        except OSError:  # gone since it was listed
            continue
        stamp = (name, state.st_size, state.st_mtime_ns)
        if stat.S_ISLNK(state.st_mode):
            found.left_out[before + name] = (
                f"{path}: a link, and links are not followed; put the file itself into the folder"
            )
        elif stat.S_ISDIR(state.st_mode):
            folders.append(name)
        elif not stat.S_ISREG(state.st_mode):
            continue
        elif name == DEFAULTS:
            own = (path, *stamp[1:])
            defaults = (own, *defaults)
            found.defaults.append(own)
        elif name.lower().endswith(".toml"):
            sides.setdefault(_first_part(name), []).append(stamp)
        else:
            files.append(stamp)
    for stamp in files:
        name = before + stamp[0]
        found.arrivals[name] = Arrival(
            name=name,
            folder=folder,
            stamp=stamp,
            sides=tuple(sides.get(_first_part(stamp[0]), ())),
            defaults=defaults,
        )
    for name in folders:
        if depth == DEEPEST:
            found.left_out[before + name] = (
                f"{folder / name}: more than {DEEPEST} folders deep and not looked into; move it "
                f"further up"
            )
            continue
        try:
            _look(folder / name, f"{before}{name}/", defaults, depth + 1, found)
        except OSError as error:
            found.left_out[before + name] = (
                f"{folder / name}: this folder cannot be read ({error.strerror or error}); check "
                f"its rights"
            )


def _first_part(name: str) -> str:
    # All names a side file may have begin with it: clip.toml, clip.csv.toml, clip.csv.zip.toml.
    return name.split(".", 1)[0]


def unreadable(folder: Path, error: OSError) -> ReadError:
    """Return the error that says a folder cannot be watched."""
    reason = (error.strerror or str(error)).lower()
    return ReadError(f"{folder}: this folder cannot be read ({reason}); check path and rights")
