"""Sound and video files as phones and cameras write them, made in the test by PyAV."""

import io
from collections.abc import Mapping

import av
import numpy as np

from vibetrend.recording import FloatArray

LAYOUTS = {1: "mono", 2: "stereo", 6: "5.1"}


def encoded(
    samples: FloatArray,
    rate: int,
    *,
    container: str,
    codec: str,
    stored: str | None = None,
    bit_rate: int | None = None,
    metadata: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
    tracks: int = 1,
    video: bool = False,
) -> bytes:
    """Encode samples, shape (n,) or (n, channels), parts of full scale.

    Parameters
    ----------
    container, codec
        As FFmpeg names them, e.g. "ipod" and "aac".
    stored
        The encoder's sample format, where it has several, e.g. "s32p".
    tracks
        How many sound tracks; each holds half of the one before it.
    """
    values = samples if samples.ndim == 2 else samples[:, np.newaxis]
    layout = LAYOUTS[values.shape[1]]
    buffer = io.BytesIO()
    with av.open(buffer, "w", format=container, options=dict(options or {})) as output:
        output.metadata.update(metadata or {})
        picture = _add_picture(output) if video else None
        streams = []
        for _ in range(tracks):
            stream = output.add_stream(codec, rate=rate, layout=layout)
            if stored:
                stream.format = stored
            if bit_rate:
                stream.bit_rate = bit_rate
            streams.append(stream)
        if picture is not None:
            black = np.zeros((96, 64), np.uint8)  # 64 rows of brightness, 32 of the two colours
            frame = av.VideoFrame.from_ndarray(black, format="yuv420p")
            output.mux(picture.encode(frame))
            output.mux(picture.encode(None))
        for number, stream in enumerate(streams):
            scaled = np.round(values / 2**number * 2**31).clip(-(2**31), 2**31 - 1)
            whole = scaled.astype(np.int32)
            for start in range(0, len(whole), 4096):
                part = whole[start : start + 4096]
                frame = av.AudioFrame.from_ndarray(part.reshape(1, -1), format="s32", layout=layout)
                frame.sample_rate, frame.pts = rate, start
                output.mux(stream.encode(frame))
            output.mux(stream.encode(None))
    return buffer.getvalue()


def _add_picture(output: "av.container.OutputContainer") -> "av.VideoStream":
    picture = output.add_stream("mpeg4", rate=25)
    picture.width = picture.height = 64
    picture.pix_fmt = "yuv420p"
    return picture


def box(content: bytes, *path: bytes) -> int:
    """Return where a box of an MP4 file begins, e.g. ``box(data, b"moov", b"trak")``."""
    start, end = 0, len(content)
    for depth, name in enumerate(path):
        while content[start + 4 : start + 8] != name:
            start += int.from_bytes(content[start : start + 4], "big")
            assert start < end, f"no {name!r} in {path[:depth]}"
        end = start + int.from_bytes(content[start : start + 4], "big")
        inside = start + (16 if name == b"dref" else 8)
        if depth < len(path) - 1:
            start = inside
    return start


def with_longer_box(content: bytes, path: tuple[bytes, ...], start: int, new: bytes) -> bytes:
    """Replace the box at `start` by another and correct the sizes of the boxes around it."""
    size = int.from_bytes(content[start : start + 4], "big")
    changed = bytearray(content[:start] + new + content[start + size :])
    for depth in range(1, len(path) + 1):
        around = box(content, *path[:depth])
        length = int.from_bytes(content[around : around + 4], "big") + len(new) - size
        changed[around : around + 4] = length.to_bytes(4, "big")
    return bytes(changed)


def referring(content: bytes, path: str) -> bytes:
    """Make an MP4 file whose samples are said to lie in another file (QuickTime: `alis`)."""
    inside = (b"moov", b"trak", b"mdia", b"minf", b"dinf", b"dref")
    name = path.encode() + b"\0" * (len(path) % 2)
    record = bytes(10) + b"\x01" + b"/".ljust(27, b"\0") + bytes(12) + b"\x01" + bytes(63)
    record += bytes(16) + b"\0\x01\0\x01" + bytes(16)
    record += b"\0\x02" + len(name).to_bytes(2, "big") + name + b"\xff\xff\0\0"
    alias = b"alis" + bytes(4) + record
    alias = (4 + len(alias)).to_bytes(4, "big") + alias
    return with_longer_box(content, inside, box(content, *inside, b"url "), alias)
