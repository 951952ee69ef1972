"""The same short recording, or a sound, in every format: what goes or changes while it is read."""

import gzip
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pandas as pd
import scipy.io
import soundfile

SOUND = np.random.default_rng(1).normal(scale=0.1, size=8 * 8000)


def packed_gz(table: Path, path: Path) -> None:
    path.write_bytes(gzip.compress(table.read_bytes()))


def packed_zip(table: Path, path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(table, "idle.csv")


def sound(_: Path, path: Path) -> None:
    soundfile.write(path, SOUND, 8000)


def video(_: Path, path: Path) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=8000, layout="mono")
        frame = av.AudioFrame.from_ndarray(SOUND[None].astype("float32"), "fltp", "mono")
        frame.sample_rate = 8000
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)


def parquet(table: Path, path: Path) -> None:
    pd.read_csv(table).to_parquet(path)


def matlab(table: Path, path: Path) -> None:
    columns = pd.read_csv(table).to_numpy().T
    scipy.io.savemat(path, {"t": columns[0], "a": columns[1]})


FORMATS: dict[str, Callable[[Path, Path], object]] = {
    "idle.csv": shutil.copy,
    "idle.csv.gz": packed_gz,
    "idle.zip": packed_zip,
    "idle.wav": sound,
    "idle.flac": sound,
    "idle.m4a": video,
    "idle.parquet": parquet,
    "idle.mat": matlab,
}
"""What writes a file of each name, given a table."""
