"""The demo's run-ups: `main` swept out of gear, its damper's rubber softening from 4466 h on.

Three sweeps on each baseline day and at some later check-ups, as sound.
"""

from dataclasses import dataclass

import numpy as np

from vibetrend.recording import Recording
from vibetrend.simulate.scenario import MAIN, Day, Subject
from vibetrend.simulate.sensor import MICROPHONE
from vibetrend.simulate.sweep import SweepTruth, sweep
from vibetrend.torsion import Change

_GAIN_DB = 1.0  # standard deviation from sweep to sweep: where the recorder stands
_WARMER_C = 1.0  # the ring within a check-up, standard deviation
_READ_C = 1.0  # how far the infrared thermometer is off, standard deviation


@dataclass(frozen=True, kw_only=True)
class Sweeps:
    """How one engine of the story is swept."""

    subject: Subject
    days: tuple[Day, ...]
    damper_c: tuple[float, ...]  # of the ring on each day, as read off
    start_rpm: float
    end_rpm: float
    shown_rpm: tuple[float, float]  # what the gauge shows at both
    seconds: float
    rate: float
    twist_share: float
    stiffness_factor: float  # of the rubber at the last check-up
    suffix: str
    position: str
    device: str


def _chosen(hours: set[float]) -> tuple[Day, ...]:
    return tuple(day for day in MAIN.days if day.baseline or day.hours in hours)


MAIN_SWEEPS = Sweeps(
    subject=MAIN,
    days=_chosen({3950, 4818, 4987, 5160}),
    damper_c=(44, 47, 45, 48, 43, 46, 44),
    start_rpm=750,
    end_rpm=2450,
    shown_rpm=(760, 2490),
    seconds=30.0,
    rate=2000.0,
    twist_share=0.5,
    stiffness_factor=0.75,
    suffix=".flac",
    position="on a stand, 0.5 m before the damper",
    device="sound recorder",
)


def softened(swept: Sweeps, share: float) -> Change:
    """Return what has become of the damper after a share of its softening."""
    return Change(stiffness_factor=1 + share * (swept.stiffness_factor - 1))


def sweep_placement(
    swept: Sweeps, day: Day, number: int, *, seed: int, seconds: float | None = None
) -> tuple[Recording, SweepTruth]:
    """Simulate one sweep of a check-up; `number` counts from 1."""
    subject = swept.subject
    share = max(0.0, day.hours - subject.bend_hours) / (subject.days[-1].hours - subject.bend_hours)
    when = day.date.toordinal()
    rng = np.random.default_rng([seed, subject.number, when, number, 2])
    read_c = swept.damper_c[swept.days.index(day)]
    of_day = np.random.default_rng([seed, subject.number, when, 0, 2])
    damper_c = read_c + _READ_C * of_day.standard_normal() + _WARMER_C * rng.standard_normal()
    return sweep(
        subject.engine,
        start_rpm=swept.start_rpm * (1 + rng.uniform(-0.01, 0.01)),
        end_rpm=swept.end_rpm * (1 + rng.uniform(-0.01, 0.01)),
        seconds=seconds or swept.seconds,
        rate=swept.rate,
        seed=[seed, subject.number, when, number, 3],
        sensor=MICROPHONE,
        damper_c=damper_c,
        change=softened(swept, share),
        twist_share=swept.twist_share,
        gain_db=_GAIN_DB * rng.standard_normal(),
        changes_db={order: share * db for order, db in (subject.moved_db or {}).items()},
        specimen=subject.specimen,
    )


SWEEPS = {MAIN.number: MAIN_SWEEPS}
"""The engines that are swept, by the number of the subject."""
