"""What kind of disk a folder is on: write-ahead mode is not safe over a network."""

import ctypes
import os
from pathlib import Path

# File systems by the names that Linux gives them; 9p is left out, as a virtual machine's own
# disk may have it.
_NETWORK = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ncpfs", "ceph", "glusterfs",
            "fuse.sshfs", "fuse.rclone", "fuse.davfs", "davfs", "fuse.gvfsd-fuse"}  # fmt: skip
_MOUNTS = Path("/proc/self/mounts")
_REMOTE = 4  # DRIVE_REMOTE of GetDriveTypeW


def on_network(folder: Path) -> bool:
    """Say whether a folder is known to be on a network drive; on macOS nothing is known."""
    if os.name == "nt":
        root = Path(os.path.realpath(folder)).anchor
        return root.startswith("\\\\") or _windows_type(root) == _REMOTE
    return _linux_type(os.path.realpath(folder)) in _NETWORK


def _windows_type(root: str) -> int:
    return int(ctypes.WinDLL("kernel32").GetDriveTypeW(root))  # type: ignore[attr-defined,unused-ignore]


def _linux_type(real: str) -> str:
    """Return the type of the innermost mount that holds a path, "" where none is told."""
    try:
        mounts = _MOUNTS.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return ""
    best, found = "", ""
    for line in mounts:
        place, kind = line.split(" ")[1:3]
        place = place.replace("\\040", " ").rstrip("/")
        if (real == place or real.startswith(f"{place}/")) and len(place) >= len(best):
            best, found = place, kind  # of one place, the last mounted hides the others
    return found
