"""Small damage to an input, of the kinds that files and people's words really come with."""

import random
import re
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass

LARGEST = 2**20  # bytes

Close = Callable[[bytes], bytes]
Door = Callable[[random.Random, bytes], tuple[bytes, Close] | None]
"""Takes a piece out of an input, and gives what puts it back with checksums and lengths right.

None where there is nothing to take out: what is behind a checksum is only reached with a right one.
"""

TOKENS = (
    b"\0", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe", b"\x1a", b"\x1b[2J", b"\r", b"\n", b"\x85",
    b"../", b"/etc/passwd", b"C:\\", b"%s%n", b"${x}", b"'", b'"', b"\\", b"\x7f", b"\xc0\x80",
    "\u202e".encode(), "\u2066".encode(), "\ufeff".encode(), "\u2028".encode(), "é".encode(),
    "\ud800".encode(errors="surrogatepass"), "\U0001f600".encode(), b"nan", b"inf", b"-0", b"1e999",
)  # fmt: skip
NUMBERS = (
    b"0", b"-1", b"1", b"nan", b"inf", b"-inf", b"1e999", b"-1e308", b"5e-324", b"0x10", b"1_000",
    b"9" * 25, b"9" * 5000, b"4294967296", b"2147483647", b"-2147483648", b"9223372036854775808",
    b"1,5", b"1.234,5", b"1'000", b"1e",
    b".", b"--1", b"+1", "١٢".encode(), "½".encode(), b"1e-999",
    b"0.1", b"1e6", b"1e15", b"99999999999999999999.5", b"",
)  # fmt: skip
_NUMBER = re.compile(rb"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?")
_VALUE = re.compile(rb"(?<=[=:])[^\n]+")
_VALUES = (
    b" [2]", b" {a = 1}", b" true", b" 1.5", b" -1", b' ""', b' "x"', b" 2026-05-01", b" 07:32:00",
    b" []", b" {}", b" [[1], ['a']]", b" null", b" nan", b" 9223372036854775807",
)  # fmt: skip
_PART = re.compile(rb"[^,;\t\n=\"]+")
_BOUNDS = (0, 1, -1, 127, 128, 255, 256, 32767, 65535, 65536, 2**24, 2**31 - 1, 2**31, 2**32 - 1,
           2**40, 2**63 - 1, 2**63, 2**64 - 1)  # fmt: skip

Damage = Callable[[bytes, random.Random, "Mutator"], bytes]


@dataclass(frozen=True)
class Mutator:
    """How inputs of one kind are damaged."""

    tokens: Sequence[bytes] = ()  # words of the format, and lies in it
    text: bool = False  # lines and fields, too
    door: Door | None = None

    def mutated(self, data: bytes, other: bytes, chance: random.Random) -> bytes:
        """Return an input damaged once or a few times; `other` is one to take pieces of."""
        way = self.door(chance, data) if self.door and chance.random() < 0.7 else None
        piece, close = way or (data, None)
        donor = other
        if way is not None and self.door is not None:
            donor = (self.door(chance, other) or (other, None))[0]
        kinds = (*_DAMAGES, *_OF_TEXT, *_OF_TEXT) if self.text else _DAMAGES
        for _ in range(1 + int(chance.expovariate(1))):
            damage = chance.choice(kinds)
            piece = spliced(piece, donor, chance) if damage is None else damage(piece, chance, self)
            piece = piece[:LARGEST]
        return piece if close is None else close(piece)


def spliced(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """Return the beginning of one and the end of another."""
    if chance.random() < 0.5:
        return data[: _place(data, chance)] + other[_place(other, chance) :]
    begin = _place(other, chance)
    piece = other[begin : begin + _length(chance)]
    at = _place(data, chance)
    return data[:at] + piece + data[at + chance.choice((0, len(piece))) :]


def _place(data: bytes, chance: random.Random) -> int:
    """Return a place; often near the beginning or the end, where formats say what they are."""
    where = chance.random()
    if where < 0.3:
        return min(len(data), chance.randrange(512))
    if where < 0.4:
        return max(0, len(data) - chance.randrange(512))
    return chance.randint(0, len(data))


def _length(chance: random.Random) -> int:
    return min(LARGEST, int(chance.expovariate(1) * chance.choice((1, 8, 64, 1000))) + 1)


def _flip(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    changed = bytearray(data)
    for _each in range(chance.choice((1, 1, 2, 5, 20))):
        if changed:
            at = min(len(changed) - 1, _place(data, chance))
            changed[at] ^= 1 << chance.randrange(8)
    return bytes(changed)


def _set_byte(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    at = _place(data, chance)
    return data[:at] + bytes([chance.choice((0, 255, chance.randrange(256)))]) + data[at + 1 :]


def _set_number(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    form = chance.choice("bBhHiIqQfd")
    if form in "fd":
        value: float = chance.choice((float("nan"), float("inf"), 1e38, -0.0, 1e-38))
    else:
        bits = 8 * struct.calcsize(form)
        value = (chance.choice(_BOUNDS) + chance.randint(-1, 1)) % 2**bits
        value -= 2**bits if form.islower() and value >= 2 ** (bits - 1) else 0
    packed = struct.pack(chance.choice("<>") + form, value)
    at = _place(data, chance)
    return data[:at] + packed + data[at + len(packed) :]


def _cut(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    at = _place(data, chance)
    return data[:at] if chance.random() < 0.7 else data[at:]


def _leave_out(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    at = _place(data, chance)
    return data[:at] + data[at + _length(chance) :]


def _repeat(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    at = _place(data, chance)
    piece = data[at : at + _length(chance)]
    times = chance.choice((1, 2, 10, 1000))
    most = LARGEST if chance.random() < 0.1 else LARGEST // 16  # large ones take long
    return data[:at] + piece * min(times, most // (len(piece) + 1)) + data[at:]


def _swap(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    a, b = sorted((_place(data, chance), _place(data, chance)))
    size = min(_length(chance), b - a)
    return (
        data[:a] + data[b : b + size] + data[a + size : b] + data[a : a + size] + data[b + size :]
    )


def _token(data: bytes, chance: random.Random, mutator: Mutator) -> bytes:
    own = mutator.tokens and chance.random() < 0.7
    token = chance.choice(mutator.tokens if own else TOKENS)
    at = _place(data, chance)
    return data[:at] + token + data[at + chance.choice((0, len(token))) :]


def _other_number(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    return _replaced(data, _NUMBER, chance.choice(NUMBERS), chance)


def _other_part(data: bytes, chance: random.Random, mutator: Mutator) -> bytes:
    return _replaced(data, _PART, chance.choice(mutator.tokens or TOKENS), chance)


def _other_value(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    return _replaced(data, _VALUE, chance.choice(_VALUES), chance)


def _replaced(data: bytes, what: "re.Pattern[bytes]", new: bytes, chance: random.Random) -> bytes:
    found = what.search(data, _place(data, chance)) or what.search(data)
    return data if found is None else data[: found.start()] + new + data[found.end() :]


def _of_lines(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    """Leave lines out, repeat, move or join them, or end them otherwise."""
    lines = data.split(b"\n")
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    match chance.randrange(6):
        case 0:
            del lines[a]
        case 1:
            lines[a:a] = [lines[b]] * chance.choice((1, 2, 200))
        case 2:
            lines[a], lines[b] = lines[b], lines[a]
        case 3:
            return data.replace(b"\n", chance.choice((b"\r", b"\r\n", b"", b"\n\n", b"\0")))
        case 4:
            lines[a] = lines[a] + chance.choice((b" ", b",", b"x", b"\t")) * chance.choice(
                (9, 9999)
            )
        case _:
            del lines[max(2, a) :]
    return b"\n".join(lines)


def _of_separators(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    marks = (b",", b";", b"\t", b" ", b".", b":", b"=", b"-", b"'", b'"')
    return data.replace(chance.choice(marks), chance.choice(marks), chance.choice((1, 7, -1)))


def _nest(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    opened, closed = chance.choice(
        ((b"[", b"]"), (b"{", b"}"), (b"(", b")"), (b'"', b'"'), (b"{a=", b"}"))
    )
    depth = chance.choice((2, 30, 3000))
    at = _place(data, chance)
    return data[:at] + opened * depth + closed * chance.choice((0, depth)) + data[at:]


def _encoded(data: bytes, chance: random.Random, _: Mutator) -> bytes:
    code = chance.choice(("utf-16", "utf-16-be", "utf-32", "utf-8-sig", "cp1252", "utf-7"))
    return data.decode("utf-8", errors="replace").encode(code, errors="replace")


_DAMAGES: tuple[Damage | None, ...] = (
    _flip, _flip, _set_byte, _set_number, _set_number, _cut, _leave_out, _repeat, _swap, _token,
    _token, None,  # spliced
)  # fmt: skip
_OF_TEXT: tuple[Damage, ...] = (
    _other_number, _other_number, _other_part, _other_value, _of_lines, _of_separators, _nest,
    _encoded,
)  # fmt: skip
