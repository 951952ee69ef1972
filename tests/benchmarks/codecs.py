"""What each way of storing sound does to amplitudes: lossless ones exactly, coders measured.

    python tests/benchmarks/codecs.py

Writes five tones as a recorder would, reads them back with `vibetrend.read`, fits each tone by
least squares and prints how far its amplitude is off. Coders change with their version and bit
rate: these are those that this machine's libraries bring.
"""

import io
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from vibetrend import read

sys.path.insert(0, str(Path(__file__).parents[1] / "ingest"))
from written_sound import encoded

RATE = 48_000
TONES_HZ = (27.5, 55.0, 82.5, 137.5, 1000.0)
TIME_S = np.arange(20 * RATE) / RATE
# Sizes like an engine's firing orders; noise as of a room, without which coders behave oddly.
SIZES = (0.1, 0.06, 0.03, 0.05, 0.02)
RNG = np.random.default_rng(7)
TUNE = sum(
    size * np.cos(2 * np.pi * hertz * TIME_S + hertz)
    for size, hertz in zip(SIZES, TONES_HZ, strict=True)
) + 0.005 * RNG.standard_normal(len(TIME_S))
STORED = np.round(TUNE * 2**15) / 2**15  # as 16 bit hold it


def written() -> Iterator[tuple[str, bytes, bool]]:
    """Yield a name, a file's content, and whether it should come back exactly."""
    for name, container, subtype in (
        ("WAV 16 bit", "WAV", "PCM_16"), ("WAV 24 bit", "WAV", "PCM_24"),
        ("WAV float", "WAV", "FLOAT"), ("FLAC", "FLAC", "PCM_16"), ("AIFF", "AIFF", "PCM_16"),
        ("CAF ALAC", "CAF", "ALAC_16"),
    ):  # fmt: skip
        buffer = io.BytesIO()
        soundfile.write(buffer, STORED, RATE, format=container, subtype=subtype)
        yield name, buffer.getvalue(), True
    for name, container, codec in (
        ("M4A ALAC", "ipod", "alac"), ("MOV PCM", "mov", "pcm_s16le"), ("MP4 FLAC", "mp4", "flac"),
    ):  # fmt: skip
        yield name, encoded(STORED, RATE, container=container, codec=codec), True
    for container, codec, label, kbits in (
        ("ipod", "aac", "AAC (M4A)", (64, 128, 192)),
        ("webm", "libopus", "Opus (WebM)", (32, 96, 128)),
        ("mp3", "libmp3lame", "MP3", (64, 128, 192)),
    ):
        for kbit in kbits:
            content = encoded(STORED, RATE, container=container, codec=codec, bit_rate=1000 * kbit)
            yield f"{label} {kbit} kbit/s", content, False

    buffer = io.BytesIO()
    with soundfile.SoundFile(buffer, "w", RATE, 1, subtype="VORBIS", format="OGG") as file:
        for start in range(0, len(STORED), RATE):  # much at once overflows the coder's stack
            file.write(STORED[start : start + RATE])
    yield "Vorbis (OGG), usual quality", buffer.getvalue(), False


def amplitudes(samples: np.ndarray) -> np.ndarray:
    """Return the amplitude of each tone by least squares over the inner 18 s."""
    moments = np.arange(len(samples)) / RATE
    tones = np.exp(2j * np.pi * np.outer(moments, TONES_HZ))
    design = np.column_stack([tones.real, tones.imag, np.ones(len(moments))])
    solution = np.linalg.lstsq(design, samples, rcond=None)[0]
    count = len(TONES_HZ)
    return np.hypot(solution[:count], solution[count : 2 * count])


def main() -> None:
    inner = slice(RATE, 19 * RATE)
    true = amplitudes(STORED[inner])
    heads = " | ".join(f"{hertz:g} Hz" for hertz in TONES_HZ)
    print(f"| stored as | largest error of a sample | amplitude off by, %: {heads} |")
    print("| --- | ---" + " | ---" * len(TONES_HZ) + " |")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip"
        for name, content, exact in written():
            path.write_bytes(content)
            samples = read(path).samples[:, 0]
            worst = f"{np.abs(samples - STORED).max():.1g}" if exact else "–"
            off = 100 * (amplitudes(samples[inner]) / true - 1)
            cells = " | ".join(f"{each:+.2f}" for each in off)
            print(f"| {name} | {worst} | {cells} |", flush=True)


if __name__ == "__main__":
    main()
