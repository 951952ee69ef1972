"""What names a file's content wherever it is kept: its SHA-256."""

import hashlib
from typing import BinaryIO

_BLOCK = 2**20


def digest(stream: BinaryIO) -> str:
    """Return the SHA-256 of a stream from its beginning, 64 hex digits; it is left rewound."""
    stream.seek(0)
    found = hashlib.sha256()
    while block := stream.read(_BLOCK):
        found.update(block)
    stream.seek(0)
    return found.hexdigest()
