"""A QR code read back from its SVG, a second route: ISO/IEC 18004, byte mode, versions 1 to 6.

Written for the tests from the standard's structure, from memory; no error is corrected, as nothing
stands between the drawing and the reader.
"""

import re

import numpy as np
from numpy.typing import NDArray

Modules = NDArray[np.bool_]

_DATA_BLOCKS = {1: (16,), 2: (28,), 3: (44,), 4: (32, 32), 5: (43, 43), 6: (27, 27, 27, 27)}
"""Data codewords of each block at level M, by version."""
_FINDER = np.array(
    [[max(abs(r - 3), abs(c - 3)) != 2 for c in range(7)] for r in range(7)], dtype=bool
)


def drawn(svg: str) -> Modules:
    """Return the dark modules of a code drawn as horizontal strokes, its quiet zone with them."""
    (size,) = re.findall(r'viewBox="0 0 (\d+) \1"', svg)
    assert f'<path fill="#fff" d="M0 0h{size}v{size}h-{size}z"/>' in svg  # white all over
    (strokes,) = re.findall(r'stroke="#000" d="([^"]+)"', svg)
    found = np.zeros((int(size), int(size)), dtype=bool)
    x = y = 0.0
    for kind, numbers in re.findall(r"([Mmh])([-\d. ]+)", strokes):
        values = [float(each) for each in numbers.split()]
        if kind == "h":
            found[int(y), int(x) : int(x + values[0])] = True
            x += values[0]
        else:
            x, y = (values[0], values[1]) if kind == "M" else (x + values[0], y + values[1])
    return found


def read(modules: Modules) -> tuple[str, str]:
    """Return the level of error correction and the text of a code without its quiet zone."""
    size = len(modules)
    version = (size - 17) // 4
    for corner in (modules[:7, :7], modules[:7, -7:], modules[-7:, :7]):
        np.testing.assert_array_equal(corner, _FINDER)
    assert modules[6, 8:-8].tolist() == [c % 2 == 0 for c in range(8, size - 8)]  # timing
    # Format information beside the first finder pattern, masked with 101010000010010.
    first = [*modules[8, :6], modules[8, 7]]
    level_and_mask = _number(first[:5]) ^ 0b10101
    level = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}[level_and_mask >> 3]
    stream = _codewords(modules, mask=level_and_mask & 7)
    bits = "".join(f"{each:08b}" for each in _in_blocks(stream, _DATA_BLOCKS[version]))
    assert bits[:4] == "0100"  # byte mode
    count = int(bits[4:12], 2)
    return level, bytes(int(bits[k : k + 8], 2) for k in range(12, 12 + 8 * count, 8)).decode()


def _codewords(modules: Modules, *, mask: int) -> list[int]:
    """Return all codewords as they lie: two columns at a time, from the right, up and down."""
    size = len(modules)
    free = _free(size)
    bits = []
    right, up = size - 1, True
    while right > 0:
        right -= right == 6  # the column of timing is passed over
        for r in range(size - 1, -1, -1) if up else range(size):
            for c in (right, right - 1):
                if free[r, c]:
                    bits.append(bool(modules[r, c]) ^ _turned_over(mask, r, c))
        right, up = right - 2, not up
    return [_number(bits[k : k + 8]) for k in range(0, len(bits) - 7, 8)]


def _turned_over(mask: int, r: int, c: int) -> bool:
    """Say whether a mask turns a module over."""
    return (
        (r + c) % 2, r % 2, c % 3, (r + c) % 3, (r // 2 + c // 3) % 2, r * c % 2 + r * c % 3,
        (r * c % 2 + r * c % 3) % 2, ((r + c) % 2 + r * c % 3) % 2,
    )[mask] == 0  # fmt: skip


def _free(size: int) -> Modules:
    """Return where data lies: not finder, format, timing or alignment patterns."""
    free = np.ones((size, size), dtype=bool)
    free[:9, :9] = free[:9, -8:] = free[-8:, :9] = False
    free[6] = free[:, 6] = False
    if size > 21:
        free[-9:-4, -9:-4] = False
    return free


def _in_blocks(stream: list[int], lengths: tuple[int, ...]) -> list[int]:
    """Return the data codewords in their own order; blocks of one length take turns."""
    blocks = len(lengths)
    data = stream[: sum(lengths)]
    return [codeword for k in range(blocks) for codeword in data[k::blocks]]


def _number(bits: list[bool]) -> int:
    return int("".join(str(int(bit)) for bit in bits), 2)
