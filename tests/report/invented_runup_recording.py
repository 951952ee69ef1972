"""One invented run-up: four orders over a slope, its speed as it was put in."""

import functools
from dataclasses import replace

import numpy as np
import pandas as pd
from invented_report import engine
from invented_runups import ORDERS, curves, resonances

import vibetrend as vt
from vibetrend.checkup.looking import looked_at
from vibetrend.checkup.records import RecordingRecord
from vibetrend.orders import Measurement, Speed, Swept
from vibetrend.recording import Source

RATE, SECONDS, FROM_RPM, TO_RPM = 800.0, 20.0, 1100.0, 2340.0


@functools.cache
def measured_sweep() -> Measurement:
    """Return the run-up as it was measured: curves and resonances are those of the page."""
    time = np.arange(int(SECONDS * RATE)) / RATE
    rpm = np.linspace(FROM_RPM, TO_RPM, time.size)
    turns = np.cumsum(rpm / 60) / RATE
    table = curves(label="").table
    signal = 0.05 * np.random.default_rng(1).standard_normal(time.size)
    for order in ORDERS:
        mine = table[table["order"] == order]
        level = np.interp(rpm, mine["speed_rpm"], mine["amplitude"])
        signal += np.sqrt(2) * level * np.cos(2 * np.pi * order * turns)
    recording = vt.Recording(
        samples=signal, sample_rate=RATE, kind="acceleration", unit="m/s^2", manner="run-up",
        rpm=FROM_RPM, end_rpm=TO_RPM,
    )  # fmt: skip
    return Measurement(
        recording=replace(recording, source=Source(path="up.wav", sha256="cd" * 32)),
        speed=Speed(
            rpm=float(rpm.mean()), standard_error_rpm=0.4, spread_percent=21.0,
            method="harmonics", tag_rpm=FROM_RPM, candidates_rpm=[],
            track=pd.DataFrame({"time_s": time[::80], "rpm": rpm[::80]}),
            swept=Swept(start_rpm=rpm[0], end_rpm=rpm[::80][-1], seconds=time[-1] - time[0]),
        ),
        orders=pd.DataFrame(), driven=pd.DataFrame(), overall=pd.DataFrame(), quality=[],
        runup=table.assign(floor=0.01, phase_deg=0.0, visible=True),
        resonances=resonances(None),
    )  # fmt: skip


def sweep_look(measured: Measurement | None = None) -> RecordingRecord:
    """Return it with its pictures, of an engine of which hardly anything is stated."""
    return looked_at(measured or measured_sweep(), engine=engine())
