"""What full scale of a microphone stands for, from a recording of a sound calibrator.

A calibrator (IEC 60942) puts a tone of 1 kHz at a sound pressure level of 94 dB, 1.0024 Pa rms,
on the microphone. The recorder's gain and the microphone must stay as they were.
"""

import os

import numpy as np

from vibetrend.errors import ReadError
from vibetrend.ingest.reading import read
from vibetrend.recording import FloatArray, Recording

LEVEL_DB = 94.0  # re 20 uPa
HERTZ = 1000.0
PRESSURE_PA = 20e-6 * 10 ** (LEVEL_DB / 20)  # rms

# The limits are the project's own, wider than what calibrators themselves are allowed.
_HERTZ_WITHIN = 0.02
_BLOCK_S = 0.1
_FEWEST_BLOCKS = 20
_ON = 0.5  # of the strongest block: where the tone sounds, not where it is put on and off
_STEADY = 0.0116  # 0.1 dB from the faintest to the loudest block
_REST = 0.1  # rms of all that is not the tone, as a share of it
_HARMONICS = 0.05  # rounded tops give a third harmonic long before they look cut off
_CLIPPED = 0.999  # of full scale
_ALIKE = 0.01  # of two channels
_SILENT = 1e-3  # of the other channel


def full_scale(path: str | os.PathLike[str]) -> str:
    """Return what 1.0 in this microphone's recordings stands for, e.g. ``"12.34 Pa"``.

    The tone's frequency is refined and its amplitude fitted by least squares in blocks of 0.1 s.

    Raises
    ------
    ReadError
        If the recording cannot be read, or is not one steady, undistorted tone near 1 kHz for
        2 s at least, or its channels differ.
    """
    recording = read(path)
    try:
        levels = [_amplitude(recording, each) for each in _channels(recording)]
    except ReadError as error:
        raise ReadError(f"{path}: {error}") from error
    if max(levels) > (1 + _ALIKE) * min(levels):
        raise ReadError(
            f"{path}: the channels differ by {20 * np.log10(max(levels) / min(levels)):.1f} dB; "
            f"keep only the channel of the microphone that the calibrator was on"
        )
    return f"{PRESSURE_PA * np.sqrt(2) / float(np.mean(levels)):.6g} Pa"


def _channels(recording: Recording) -> list[int]:
    """Return the channels that hold sound at all."""
    if recording.kind != "sound" or recording.unit != "1" or recording.samples is None:
        raise ReadError("no sound in parts of full scale; record the calibrator as sound")
    if recording.mean_rate_hz < 4 * HERTZ:
        raise ReadError(
            f"{recording.mean_rate_hz:.0f} samples per second are too few for a tone of 1 kHz; "
            f"record with 8000 or more"
        )
    spread = recording.samples.std(axis=0)
    if not spread.max() > 0:
        raise _too_short()
    return np.flatnonzero(spread >= _SILENT * spread.max()).tolist()


def _amplitude(recording: Recording, channel: int) -> float:
    """Return the amplitude of the tone, 0 to peak, in parts of full scale."""
    assert recording.samples is not None
    rate, column = recording.mean_rate_hz, recording.samples[:, channel]
    size = round(_BLOCK_S * rate)
    if len(column) < _FEWEST_BLOCKS * size:
        raise _too_short()
    blocks = column[: len(column) // size * size].reshape(-1, size)
    hertz = _frequency(blocks, rate)
    tone = _fitted(blocks, hertz, rate)[0]
    on = np.flatnonzero(np.abs(tone) > _ON * np.abs(tone).max())
    first, last = int(on[0]) + 1, int(on[-1])  # without the blocks in which it begins and ends
    if last - first < _FEWEST_BLOCKS:
        first, last = first - 1, last + 1  # it may begin and end with the file
    if last - first < _FEWEST_BLOCKS:
        raise _too_short()
    blocks, size_s = blocks[first:last], size / rate
    hertz = _refined(blocks, _frequency(blocks, rate), rate)
    if abs(hertz / HERTZ - 1) > _HERTZ_WITHIN:
        raise ReadError(
            f"the strongest tone is at {hertz:.0f} Hz, a calibrator's at {HERTZ:.0f} Hz; record "
            f"the calibrator alone, at 1 kHz and {LEVEL_DB:.0f} dB"
        )
    if np.abs(blocks).max() > _CLIPPED:
        raise ReadError("the tone is cut off at full scale; record it again with less gain")
    tone, rest = _fitted(blocks, hertz, rate)
    sizes = np.abs(tone)
    if sizes.max() > (1 + _STEADY) * sizes.min():
        raise ReadError(
            f"the tone's level varies by {20 * np.log10(sizes.max() / sizes.min()):.2f} dB within "
            f"{len(blocks) * size_s:.0f} s; switch automatic gain off and hold the calibrator still"
        )
    level = float(np.sqrt(np.mean(sizes**2)))
    harmonics = [
        np.sqrt(np.mean(np.abs(_fitted(blocks, k * hertz, rate)[0]) ** 2))
        for k in (2, 3, 4, 5)
        if k * hertz < 0.45 * rate
    ]
    if np.linalg.norm(harmonics) > _HARMONICS * level:
        raise ReadError("the tone is distorted; record the calibrator again with less gain")
    if np.sqrt(2 * np.mean(rest**2)) > _REST * level:
        raise ReadError(
            "there is more than one steady tone; record the calibrator where it is quiet"
        )
    return level


def _too_short() -> ReadError:
    return ReadError(
        f"the calibrator's tone is not heard for {_FEWEST_BLOCKS * _BLOCK_S:.0f} s on end; record "
        f"10 s of it"
    )


def _frequency(blocks: FloatArray, rate: float) -> float:
    """Return the frequency of the strongest line above 100 Hz, good to a hertz."""
    drawn = blocks[:: 1 + len(blocks) // 30]
    size = 8 * drawn.shape[1]
    spectra = np.abs(np.fft.rfft(drawn * np.hanning(drawn.shape[1]), size, axis=1)) ** 2
    power = spectra.sum(axis=0)
    power[: int(100 * size / rate) + 1] = 0
    power[int(0.45 * size) :] = 0
    return float(int(np.argmax(power)) * rate / size)


def _refined(blocks: FloatArray, hertz: float, rate: float) -> float:
    """Return the frequency that the phase advances by from block to block."""
    size_s = blocks.shape[1] / rate
    for _ in range(6):
        tone = _fitted(blocks, hertz, rate)[0]
        # Each block's fit begins at phase 0, so that the phase turns by hertz * size_s a block.
        turned = np.sum(tone[1:] * tone[:-1].conj()) * np.exp(-2j * np.pi * hertz * size_s)
        hertz += float(np.angle(turned)) / (2 * np.pi * size_s)
    return hertz


def _fitted(blocks: FloatArray, hertz: float, rate: float) -> tuple[np.ndarray, FloatArray]:
    """Return complex amplitudes of a tone in each block by least squares, and what is left."""
    angle = 2 * np.pi * hertz / rate * np.arange(blocks.shape[1])
    design = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle)])
    solution = np.linalg.solve(design @ design.T, design @ blocks.T)  # (3, blocks)
    return solution[0] - 1j * solution[1], blocks - solution.T @ design
