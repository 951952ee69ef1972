"""The demo's story: one boat of our own invention, two engines, two and a half years.

`main`, a six-cylinder, got a new rubber damper in June 2024 and was recorded with a phone; from
4466 h on its lowest half orders and 1x grow. `charger`, a four-cylinder that charges the batteries,
was recorded as sound and stays as it was. Nobody's real boat, engine or reading.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vibetrend.engine import Engine
from vibetrend.recording import Recording
from vibetrend.simulate.firing import simulated_orders
from vibetrend.simulate.plan import PlannedInstallation
from vibetrend.simulate.record import Truth, record
from vibetrend.simulate.sensor import MICROPHONE, PHONE, Sensor

PLACEMENTS = 3
SECONDS = 20.0

_PLACEMENT_DB = 0.75  # standard deviation from placement to placement, half its variance common
_DAY_DB = 0.3  # standard deviation from day to day, each order by itself
_OFF_TAG = 0.005  # how far the true speed may be from what the person reads off

MAIN_TOML = """\
# invented demo data: no real engine

name = "main"
cylinders = 6
strokes = 4
firing_order = [1, 5, 3, 6, 2, 4]
layout = "inline"
idle_rpm = 700
fast_idle_rpm = 1080         # firing orders at 54, 108, 162, 216 Hz, clear of mains
rated_rpm = 2600

[[driven]]
name = "alternator"
ratio = 2.37                 # turns per turn of the crank

[[driven]]
name = "coolant pump"
ratio = 1.32

[damper]
type = "rubber"
renew_hours = 4000
renew_years = 6
hub_inertia_kg_m2 = 0.015
ring_inertia_kg_m2 = 0.055
ring_stiffness_nm_rad = 56000
ring_loss_factor = 0.18

[crankshaft]
inertias_kg_m2 = [0.022, 0.042, 0.042, 0.042, 0.042, 0.042, 0.042, 1.15]
stiffnesses_nm_rad = [9.2e5, 13e5, 13e5, 13e5, 13e5, 13e5, 15e5]
loss_factor = 0.03
bore_mm = 102
stroke_mm = 118
rod_ratio = 1.75             # rod length over stroke
reciprocating_mass_kg = 1.7
compression_ratio = 17
"""

CHARGER_TOML = """\
# invented demo data: no real engine

name = "charger"
cylinders = 4
strokes = 4
firing_order = [1, 3, 4, 2]
layout = "inline"
fast_idle_rpm = 1300         # firing orders at 43.3, 86.7, 130, 173.3 Hz, clear of mains
rated_rpm = 1800

[[driven]]
name = "coolant pump"
ratio = 1.36                 # turns per turn of the crank
"""


@dataclass(frozen=True, kw_only=True)
class Day:
    """A check-up of one engine."""

    date: dt.date
    hours: float
    baseline: bool = False


@dataclass(frozen=True, kw_only=True)
class Subject:
    """One engine of the story and how it is recorded."""

    number: int  # its share of every seed
    toml: str
    rpm: float  # what the person reads off and states
    installation: PlannedInstallation
    days: tuple[Day, ...]
    sensor: Sensor
    rate: float
    suffix: str
    position: str
    device: str
    specimen: int
    bend_hours: float = np.inf  # the moved orders rise in a straight line from here ...
    moved_db: dict[float, float] | None = None  # ... to this at the last check-up

    @property
    def engine(self) -> Engine:
        """The engine as its file describes it."""
        return Engine.parse(self.toml)


def _days(
    first_baseline: str, baseline: Sequence[float], later: dict[str, float]
) -> tuple[Day, ...]:
    first = dt.date.fromisoformat(first_baseline)
    days = [
        Day(date=first + dt.timedelta(days=number), hours=hours, baseline=True)
        for number, hours in enumerate(baseline)
    ]
    days += [Day(date=dt.date.fromisoformat(date), hours=hours) for date, hours in later.items()]
    return tuple(days)


MAIN = Subject(
    number=1,
    toml=MAIN_TOML,
    rpm=1080,
    installation=PlannedInstallation(
        date=dt.date(2024, 6, 3),
        hours=3120,
        as_found=False,
        note="invented demo data: new rubber damper, belt tensioned again after 10 h",
    ),
    days=_days(
        "2024-06-07",
        [3132, 3136, 3141],
        {
            "2024-08-16": 3295,
            "2024-10-27": 3452,
            "2025-01-11": 3611,
            "2025-03-22": 3789,
            "2025-05-31": 3950,
            "2025-08-09": 4137,
            "2025-10-18": 4301,
            "2026-01-10": 4466,
            "2026-03-28": 4642,
            "2026-06-13": 4818,
            "2026-06-16": 4824,  # another day, asked for three days before
            "2026-08-29": 4987,
            "2026-11-18": 5160,
        },
    ),
    sensor=PHONE,
    rate=418.5,  # its folds of orders 12 and above fall between the half orders
    suffix=".csv.gz",
    position="front casting, port side",
    device="phone",
    specimen=0,
    bend_hours=4466,
    moved_db={0.5: 4.5, 1.0: 4.0, 1.5: 4.5, 2.5: 4.0},
)

CHARGER = Subject(
    number=2,
    toml=CHARGER_TOML,
    rpm=1300,
    installation=PlannedInstallation(
        date=dt.date(2024, 6, 3),
        hours=1840,
        as_found=True,
        note="invented demo data: nothing renewed, recorded as found",
    ),
    days=_days(
        "2024-06-07",
        [1846, 1850, 1855],
        {
            "2024-08-17": 2011,
            "2024-10-27": 2174,
            "2025-01-11": 2369,
            "2025-03-23": 2533,
            "2025-05-31": 2690,
            "2025-08-09": 2846,
            "2025-10-19": 3004,
            "2026-01-10": 3188,
            "2026-03-28": 3360,
            "2026-06-13": 3517,
            "2026-08-30": 3671,
            "2026-11-20": 3851,
        },
    ),
    sensor=MICROPHONE,
    rate=8000.0,
    suffix=".flac",
    position="on a stand, 0.5 m before the front cover",
    device="sound recorder",
    specimen=3,
)

SUBJECTS = (MAIN, CHARGER)


def placement(
    subject: Subject, day: Day, number: int, *, seed: int, seconds: float = SECONDS
) -> tuple[Recording, Truth]:
    """Simulate one placement of a check-up; `number` counts from 1."""
    engine = subject.engine
    when = day.date.toordinal()
    of_day = np.random.default_rng([seed, subject.number, when, 0, 0])
    of_placement = np.random.default_rng([seed, subject.number, when, number, 0])
    orders = simulated_orders(engine)
    alike = _PLACEMENT_DB / np.sqrt(2)

    changes = _DAY_DB * of_day.standard_normal(orders.size)
    changes += alike * of_placement.standard_normal(orders.size)
    moved = subject.moved_db or {}
    share = max(0.0, day.hours - subject.bend_hours) / (subject.days[-1].hours - subject.bend_hours)
    changes += share * np.array([moved.get(float(order), 0.0) for order in orders])
    return record(
        engine,
        rpm=subject.rpm * (1 + of_placement.uniform(-_OFF_TAG, _OFF_TAG)),
        tag_rpm=subject.rpm,
        seconds=seconds,
        rate=subject.rate,
        seed=[seed, subject.number, when, number, 1],
        sensor=subject.sensor,
        specimen=subject.specimen,
        changes_db=dict(zip(orders.tolist(), changes.tolist(), strict=True)),
        common_db=alike * of_placement.standard_normal(),
    )
