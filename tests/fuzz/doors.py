"""Ways past checksums and lengths: a piece is taken out, and put back so that it is believed."""

import gzip
import io
import random
import struct
import zipfile
import zlib

from mutation import Close

Way = tuple[bytes, Close] | None


def of_zip(chance: random.Random, data: bytes) -> Way:
    """Take a member's content or name; put back, the archive is whole, its checksums right."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            members = [(each.filename, packed.read(each)) for each in packed.infolist()]
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError,
            RuntimeError):  # fmt: skip
        return None
    if not members:
        return None
    number, of_name = chance.randrange(len(members)), chance.random() < 0.15
    method = chance.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))

    def close(piece: bytes) -> bytes:
        changed = list(members)
        name, content = changed[number]
        changed[number] = (piece.decode("latin-1"), content) if of_name else (name, piece)
        return zipped(changed, method)

    name, content = members[number]
    return name.encode("latin-1", errors="replace") if of_name else content, close


def zipped(members: list[tuple[str, bytes]], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return an archive, its members dated the same at any time."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", method) as packed:
        for name, content in members:
            packed.writestr(
                zipfile.ZipInfo(name[:65000], (2026, 5, 1, 10, 20, 2)), content, method, 1
            )
    return target.getvalue()


def of_gzip(_: random.Random, data: bytes) -> Way:
    """Take what is packed."""
    try:
        return gzip.decompress(data), lambda piece: gzip.compress(piece, 1, mtime=0)
    except (OSError, EOFError, zlib.error):
        return None


def of_packed(chance: random.Random, data: bytes) -> Way:
    """Go into a zip or a gzip file."""
    return (of_zip if data.startswith(b"PK") else of_gzip)(chance, data)


def of_sound(chance: random.Random, data: bytes) -> Way:
    """Go into WAV, AIFF or OGG."""
    return (of_ogg if data.startswith(b"OggS") else of_chunks)(chance, data)


def of_chunks(chance: random.Random, data: bytes) -> Way:
    """Take a chunk of a WAV or AIFF file (EA IFF 85); put back, all lengths are right."""
    if data[:4] not in (b"RIFF", b"FORM"):
        return None
    order = "<" if data.startswith(b"RIFF") else ">"
    chunks, place = [], 12
    while place + 8 <= len(data):
        (size,) = struct.unpack_from(order + "I", data, place + 4)
        chunks.append((data[place : place + 4], data[place + 8 : place + 8 + size]))
        place += 8 + size + size % 2
    if not chunks:
        return None
    number = chance.randrange(len(chunks))

    def close(piece: bytes) -> bytes:
        changed = [*chunks]
        changed[number] = (chunks[number][0], piece)
        body = b"".join(
            name + struct.pack(order + "I", len(each)) + each + bytes(len(each) % 2)
            for name, each in changed
        )
        return data[:4] + struct.pack(order + "I", 4 + len(body)) + data[8:12] + body

    return chunks[number][1], close


def of_ogg(chance: random.Random, data: bytes) -> Way:
    """Take a page's body; put back, its lacing and checksum are right (RFC 3533)."""
    starts = [place for place in range(len(data)) if data.startswith(b"OggS", place)]
    if not starts or len(data) < starts[-1] + 27:
        return None
    number = chance.randrange(len(starts))
    start, end = starts[number], [*starts, len(data)][number + 1]
    head = start + 27 + data[start + 26]

    def close(piece: bytes) -> bytes:
        piece = piece[: 255 * 254]
        whole = head + len(piece) == end
        lacing = data[start + 27 : head] if whole else bytes([255] * (len(piece) // 255))
        if not whole:
            lacing += bytes([len(piece) % 255])
        before = data[start : start + 22] + bytes(4) + bytes([len(lacing)]) + lacing
        checksum = struct.pack("<I", ogg_checksum(before + piece))
        return data[:start] + before[:22] + checksum + before[26:] + piece + data[end:]

    return data[head:end], close


def ogg_checksum(page: bytes) -> int:
    register = 0
    for byte in page:
        register = (register << 8 & 0xFFFFFFFF) ^ _OGG_TABLE[register >> 24 ^ byte]
    return register


def _ogg_row(register: int) -> int:
    for _ in range(8):
        register = register << 1 ^ (0x104C11DB7 if register & 0x80000000 else 0)
    return register


_OGG_TABLE = [_ogg_row(byte << 24) for byte in range(256)]


def of_matlab(chance: random.Random, data: bytes) -> Way:
    """Take an element of a Matlab file, unpacked where it is packed."""
    order = "<" if data[126:128] == b"IM" else ">"
    elements, place = [], 128
    while place + 8 <= len(data):
        kind, size = struct.unpack_from(order + "II", data, place)
        elements.append((kind, data[place + 8 : place + 8 + size]))
        place += 8 + size
    if not elements or data[124:126] not in (b"\0\1", b"\1\0"):
        return None
    number = chance.randrange(len(elements))
    kind, body = elements[number]
    packed = kind == 15
    try:
        piece = zlib.decompress(body) if packed else body
    except zlib.error:
        return None

    def close(piece: bytes) -> bytes:
        changed = [*elements]
        changed[number] = (kind, zlib.compress(piece, 1) if packed else piece)
        parts = (struct.pack(order + "II", one, len(each)) + each for one, each in changed)
        return data[:128] + b"".join(parts)

    return piece, close


def of_png(chance: random.Random, data: bytes) -> Way:
    """Take a chunk of a PNG file; put back, its checksum is right."""
    if not data.startswith(b"\x89PNG"):
        return None
    chunks, place = [], 8
    while place + 12 <= len(data):
        size = int.from_bytes(data[place : place + 4])
        chunks.append((data[place + 4 : place + 8], data[place + 8 : place + 8 + size]))
        place += 12 + size
    if not chunks:
        return None
    number = chance.randrange(len(chunks))

    def close(piece: bytes) -> bytes:
        changed = [*chunks]
        changed[number] = (chunks[number][0], piece)
        return data[:8] + b"".join(
            struct.pack(">I", len(each)) + name + each + zlib.crc32(name + each).to_bytes(4)
            for name, each in changed
        )

    return chunks[number][1], close


def of_boxes(chance: random.Random, data: bytes) -> Way:
    """Take a box of an MP4 file at some depth; put back, the boxes around it have their lengths."""
    around: list[int] = []
    place, end = 0, len(data)
    while True:
        boxes = []
        while (
            place + 8 <= end
            and 8 <= (size := int.from_bytes(data[place : place + 4])) <= end - place
        ):
            boxes.append((place, place + size))
            place += size
        if not boxes:
            return None if not around else _box(data, around, place, end)
        begin, end = chance.choice(boxes)
        around.append(begin)
        place = begin + {b"meta": 12, b"stsd": 16, b"dref": 16}.get(data[begin + 4 : begin + 8], 8)
        if chance.random() < 0.15:
            return _box(data, around, place, end)


def _box(data: bytes, around: list[int], begin: int, end: int) -> Way:
    def close(piece: bytes) -> bytes:
        changed = bytearray(data[:begin] + piece + data[end:])
        for start in around:
            size = int.from_bytes(data[start : start + 4]) + len(piece) - (end - begin)
            changed[start : start + 4] = (size % 2**32).to_bytes(4)
        return bytes(changed)

    return data[begin:end], close


def of_parquet(_: random.Random, data: bytes) -> Way:
    """Take the footer of a Parquet file, where all that describes it is."""
    size = int.from_bytes(data[-8:-4], "little")
    if not data.endswith(b"PAR1") or not 0 < size <= len(data) - 12:
        return None
    before = data[: -8 - size]
    return data[
        -8 - size : -8
    ], lambda piece: before + piece + struct.pack("<I", len(piece)) + b"PAR1"
