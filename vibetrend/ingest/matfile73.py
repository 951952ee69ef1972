"""Matlab files of version 7.3, which are HDF5 files: their datasets as variables.

Nothing outside the file is followed: no soft or external links, no external or virtual storage.
"""

import math
from types import ModuleType
from typing import Any, BinaryIO

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.ingest.matfile import DEEPEST, LONGEST_TEXT, Variables, damaged
from vibetrend.ingest.typed import check_size, not_installed

SIGNATURE = b"\x89HDF\r\n\x1a\n"
_MOST_CHUNKS = 100_000
_LARGEST_CHUNK = 2**28  # bytes
_ERRORS = (OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError, MemoryError)


def variables(stream: BinaryIO) -> Variables:
    """Return the variables of a file.

    Raises
    ------
    ReadError
        If h5py is not installed, or the file is damaged or holds too much.
    """
    try:
        import h5py
    except ImportError as error:
        raise not_installed("a Matlab file of version 7.3 (HDF5)", "hdf5") from error
    found = Variables()
    try:
        with h5py.File(stream, "r") as file:
            _add_group(found, file, (), h5py)
    except ReadError:
        raise
    except _ERRORS as error:
        raise damaged() from error
    return found


def _add_group(found: Variables, group: Any, within: tuple[str, ...], h5py: ModuleType) -> None:
    for name in group:
        found.count_one()
        path = (*within, name)
        if name.startswith("#") or not isinstance(group.get(name, getlink=True), h5py.HardLink):
            continue  # "#refs#" holds the cells of others
        item = group[name]
        if isinstance(item, h5py.Dataset):
            _add_dataset(found, item, path)
        elif "MATLAB_object_decode" in item.attrs:
            found.aside.append((".".join(path), "object"))
        elif isinstance(item, h5py.Group) and len(path) <= DEEPEST:
            _add_group(found, item, path, h5py)


def _add_dataset(found: Variables, item: Any, path: tuple[str, ...]) -> None:
    name = ".".join(path)
    sort = item.attrs.get("MATLAB_class", b"")
    sort = sort.decode("latin-1") if isinstance(sort, bytes) else str(sort)
    if "MATLAB_object_decode" in item.attrs or sort in ("cell", "function_handle", "struct"):
        found.aside.append((name, "cell array" if sort == "cell" else sort or "object"))
    elif item.shape is None or item.attrs.get("MATLAB_empty", 0):
        pass
    elif item.dtype.kind not in "fiub" or item.dtype.itemsize > 8 or "MATLAB_sparse" in item.attrs:
        found.aside.append((name, "no plain numbers"))
    elif item.external or item.is_virtual:
        found.aside.append((name, "data in other files"))
    else:
        _check_chunks(item)
        check_size(item.size + sum(np.size(value) for _, value in found.values))
        if sort != "char":
            found.values.append((path, np.transpose(item[()])))  # rows and columns are swapped
        elif item.size <= LONGEST_TEXT and item.dtype.kind == "u":
            codes = np.ravel(item[()]).astype("<u2").tobytes()
            found.values.append((path, codes.decode("utf-16-le")))


def _check_chunks(item: Any) -> None:
    """See that reading does not take forever, whatever the file says of itself."""
    if item.chunks is None:
        return
    chunk = math.prod(item.chunks)
    along = zip(item.shape, item.chunks, strict=True)
    count = math.prod(-(-length // part) for length, part in along)
    if chunk * item.dtype.itemsize > _LARGEST_CHUNK or count > _MOST_CHUNKS:
        raise ReadError("stored in pieces of an unusual size; save the data as CSV")
