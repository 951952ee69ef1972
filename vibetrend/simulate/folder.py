"""Writes the demo folder: recordings, engine files, the plan and a README."""

from collections.abc import Iterator
from pathlib import Path

from vibetrend.recording import Recording
from vibetrend.simulate.errors import SimulateError
from vibetrend.simulate.files import write_sound, write_table
from vibetrend.simulate.plan import PLAN_NAME, DemoPlan, PlannedEngine, PlannedVisit
from vibetrend.simulate.scenario import (
    CHARGER,
    MAIN,
    PLACEMENTS,
    SECONDS,
    SUBJECTS,
    Day,
    Subject,
    placement,
)
from vibetrend.simulate.scenario_sweeps import SWEEPS, Sweeps, softened, sweep_placement
from vibetrend.torsion import Crankshaft

NOTE = "invented demo data: no real boat, engine, person or reading"
CONDITION = "warm, out of gear"

_README = """\
# recordings_demo: invented demo data

Every file here is made by a program. There is no such boat, no such engine, and nobody took these
recordings; they say nothing about any real machine. They show the way from recordings to a verdict.

Made by

    vibetrend simulate --demo recordings_demo --seed {seed}

The same command with the same seed makes the same tables byte for byte (once decompressed) and the
same sound sample for sample. The folder kept in the project has seed 3, picked among twelve as an
unremarkable one after looking at their scatter; with another the same drift may be noticed a
check-up earlier or later.

## The story

Two engines of one boat, recorded from {first} to {last}.

- `main`: six-cylinder four-stroke in line, fast idle 1080 r/min, so order 3 (firing) at 54 Hz.
  A phone on it gives about 418 accelerations a second at uneven times. It got a new rubber damper
  on {renewed} at {renewed_hours:g} h and had its belt tensioned again 10 h later. Three
  baseline days followed, then {main_later} check-ups, mostly 150 to 190 h apart; one is a second
  day three days after another. From {bend:g} h on the orders 0.5, 1, 1.5 and 2.5 rise, by
  4 to 4.5 dB at the end.
- The same engine swept: on the baseline days and at {swept_later} later check-ups a sound recorder
  took three run-ups of {sweep_seconds:g} s each, out of gear, from about {start:g} to {end:g}
  r/min, the temperature of the damper's ring noted. By the model of `vibetrend/torsion/` the
  crankshaft has a resonance near {crank_hz:.0f} Hz. From {bend:g} h on the damper's rubber softens,
  and the resonance moves down, by {moved:.0f} % at the end.
- `charger`: four-cylinder four-stroke that charges the batteries, 1300 r/min, so order 2 (firing)
  at 43.3 Hz. A sound recorder on a stand, 8 kHz. Its damper is the one found on it at
  {found_hours:g} h. Three baseline days, then {charger_later} check-ups. Nothing happens to it.

Every check-up has three steady recordings of {seconds:g} s, the sensor taken off and put back in
between: that alone moves every level by about 0.75 dB, half its variance common to all levels.
Speeds are such that no firing order up to 12 comes within 3 % of 50 or 60 Hz or a multiple of them.
How the recordings are modelled, and what is left out, stands in the docstrings of
`vibetrend/simulate/`.

## What lies where

- `demo.toml`: the plan. Every check-up with its date, engine hours, speed, place, device and
  files, oldest first.
- `main.toml`, `charger.toml`: the engine files.
- `main/DATE_HOURSh_RPMrpm_NUMBER.csv.gz`: tables of time (s) and acceleration (m/s^2) along
  x, y, z; gravity is in them.
- `main/DATE_HOURSh_run-up_NUMBER.flac`: sweeps, sound at 2 kHz, mono, 16 bit.
- `charger/DATE_HOURSh_RPMrpm_NUMBER.flac`: sound, mono, 16 bit.
- `single/`: the last steady recording of each engine once more, as a plain table and as WAV, to try
  `vibetrend measure` on. The plan leaves them out.

The licence is the project's own, see LICENSE.
"""


def demo(directory: str | Path, *, seed: int) -> None:
    """Write the whole demo folder; the same seed gives the same recordings.

    Raises
    ------
    SimulateError
        If the folder holds anything already, or cannot be written to.
    """
    folder = Path(directory)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise SimulateError(f"{folder} is not an empty folder; name a new one or empty it first")
    plan = DemoPlan(note=NOTE, seed=seed, engines=tuple(_planned(each) for each in SUBJECTS))
    try:
        (folder / "single").mkdir(parents=True, exist_ok=True)
        (folder / PLAN_NAME).write_text(plan_text(plan), encoding="utf-8")
        (folder / "README.md").write_text(_readme(seed), encoding="utf-8")
        for subject, planned in zip(SUBJECTS, plan.engines, strict=True):
            (folder / planned.name).mkdir()
            (folder / planned.file).write_text(subject.toml, encoding="utf-8")
            _write_recordings(folder, subject, planned, seed)
    except OSError as error:
        raise SimulateError(
            f"{folder}: cannot be written to ({error.strerror}); choose another folder"
        ) from error


def plan_text(plan: DemoPlan) -> str:
    """Return a plan as TOML, such as `read_plan` reads."""
    lines = [f"# {plan.note}", "", f'note = "{plan.note}"', f"seed = {plan.seed}"]
    for engine in plan.engines:
        installation = engine.installation
        lines += [
            "",
            "[[engines]]",
            f'name = "{engine.name}"',
            f'file = "{engine.file.as_posix()}"',
            "",
            "[engines.installation]",
            f"date = {installation.date}",
            f"hours = {installation.hours:g}",
            f"as_found = {_toml(installation.as_found)}",
            f'note = "{installation.note}"',
        ]
        for visit in engine.visits:
            lines += [
                "",
                "[[engines.visits]]",
                f'visit = "{visit.visit}"',
                f"date = {visit.date}",
                f"hours = {visit.hours:g}",
                f"baseline = {_toml(visit.baseline)}",
                *_speed(visit),
                f'position = "{visit.position}"',
                f'device = "{visit.device}"',
                f'condition = "{visit.condition}"',
                "files = [",
                *(f'    "{file.as_posix()}",' for file in visit.files),
                "]",
            ]
    return "\n".join(lines) + "\n"


def _speed(visit: PlannedVisit) -> list[str]:
    lines = [f"rpm = {visit.rpm:g}"]
    if visit.manner != "steady":
        lines = [f'manner = "{visit.manner}"', *lines, f"end_rpm = {visit.end_rpm:g}"]
    return lines + ([] if visit.damper_c is None else [f"damper_c = {visit.damper_c:g}"])


def _toml(flag: bool) -> str:
    return "true" if flag else "false"


def _planned(subject: Subject) -> PlannedEngine:
    engine = subject.engine
    return PlannedEngine(
        name=engine.name,
        file=Path(f"{engine.name}.toml"),
        installation=subject.installation,
        visits=tuple(visit for day in subject.days for visit in _visits(subject, day)),
    )


def _visits(subject: Subject, day: Day) -> Iterator[PlannedVisit]:
    """Give what is recorded of an engine on a day, in that order."""
    yield _visit(subject, day)
    swept = SWEEPS.get(subject.number)
    if swept is not None and day in swept.days:
        yield _sweep_visit(swept, day)


def _visit(subject: Subject, day: Day) -> PlannedVisit:
    stem = f"{subject.engine.name}/{day.date}_{day.hours:g}h_{subject.rpm:g}rpm"
    return PlannedVisit(
        visit=day.date.isoformat(),
        date=day.date,
        hours=day.hours,
        baseline=day.baseline,
        rpm=subject.rpm,
        position=subject.position,
        device=subject.device,
        condition=CONDITION,
        files=tuple(
            Path(f"{stem}_{number}{subject.suffix}") for number in range(1, PLACEMENTS + 1)
        ),
    )


def _sweep_visit(swept: Sweeps, day: Day) -> PlannedVisit:
    stem = f"{swept.subject.engine.name}/{day.date}_{day.hours:g}h_run-up"
    rpm, end_rpm = swept.shown_rpm
    return PlannedVisit(
        visit=day.date.isoformat(),
        date=day.date,
        hours=day.hours,
        baseline=day.baseline,
        manner="run-up",
        rpm=rpm,
        end_rpm=end_rpm,
        damper_c=swept.damper_c[swept.days.index(day)],
        position=swept.position,
        device=swept.device,
        condition=CONDITION,
        files=tuple(Path(f"{stem}_{number}{swept.suffix}") for number in range(1, PLACEMENTS + 1)),
    )


def _write_recordings(folder: Path, subject: Subject, planned: PlannedEngine, seed: int) -> None:
    days = {day.date: day for day in subject.days}
    for visit in planned.visits:
        for number, file in enumerate(visit.files, start=1):
            if visit.manner == "steady":
                recording, _ = placement(subject, days[visit.date], number, seed=seed)
                last = recording
            else:
                swept = SWEEPS[subject.number]
                recording, _ = sweep_placement(swept, days[visit.date], number, seed=seed)
            _write(recording, folder / file)
    plain = ".wav" if last.kind == "sound" else ".csv"
    _write(last, folder / "single" / f"{planned.name}_{subject.rpm:g}rpm{plain}")


def _write(recording: Recording, path: Path) -> None:
    (write_sound if recording.kind == "sound" else write_table)(recording, path)


def _readme(seed: int) -> str:
    swept = SWEEPS[MAIN.number]
    fresh = Crankshaft.of(MAIN.engine)
    first, last = (
        float(each.damped_modes.frequency_hz[0])
        for each in (fresh, fresh.with_change(softened(swept, 1.0)))
    )
    return _README.format(
        seed=seed,
        first=MAIN.days[0].date,
        last=max(subject.days[-1].date for subject in SUBJECTS),
        renewed=MAIN.installation.date,
        renewed_hours=MAIN.installation.hours,
        found_hours=CHARGER.installation.hours,
        bend=MAIN.bend_hours,
        main_later=sum(not day.baseline for day in MAIN.days),
        charger_later=sum(not day.baseline for day in CHARGER.days),
        seconds=SECONDS,
        swept_later=sum(not day.baseline for day in swept.days),
        sweep_seconds=swept.seconds,
        start=swept.start_rpm,
        end=swept.end_rpm,
        crank_hz=first,
        moved=100 * (1 - last / first),
    )
