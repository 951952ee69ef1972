"""The demo's folder as it is kept in the project, its plan, and how it is made anew."""

import datetime as dt
import gzip
import shutil
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.testing import assert_allclose

from vibetrend.engine import Engine
from vibetrend.recording import FloatArray
from vibetrend.simulate import (
    DemoPlan,
    PlannedEngine,
    PlannedVisit,
    SimulateError,
    demo,
    folder,
    read_plan,
    write_table,
)
from vibetrend.simulate.scenario import CHARGER, MAIN, SUBJECTS, Subject, placement
from vibetrend.simulate.scenario_sweeps import MAIN_SWEEPS, sweep_placement

KEPT = Path(__file__).parents[2] / "recordings_demo"
MEGABYTE = 1_000_000


@pytest.fixture(scope="module")
def plan() -> DemoPlan:
    return read_plan(KEPT)


def _empty(_: str, copy: str) -> None:
    Path(copy).touch()


def by_name(plan: DemoPlan, name: str) -> PlannedEngine:
    return next(engine for engine in plan.engines if engine.name == name)


def steady(engine: PlannedEngine) -> list[PlannedVisit]:
    return [visit for visit in engine.visits if visit.manner == "steady"]


def sweeps(engine: PlannedEngine) -> list[PlannedVisit]:
    return [visit for visit in engine.visits if visit.manner != "steady"]


def test_kept_folder_is_small_and_every_file_is_spoken_for(plan: DemoPlan) -> None:
    files = {path for path in KEPT.rglob("*") if path.is_file()}
    assert sum(path.stat().st_size for path in files) < 25 * MEGABYTE
    planned = {file for engine in plan.engines for visit in engine.visits for file in visit.files}
    planned |= {engine.file for engine in plan.engines}
    single = {KEPT / "single" / name for name in ("main_1080rpm.csv", "charger_1300rpm.wav")}
    assert files == planned | single | {KEPT / "demo.toml", KEPT / "README.md"}


def test_every_text_says_that_the_data_is_invented() -> None:
    for name in ("demo.toml", "main.toml", "charger.toml", "README.md"):
        assert "invented demo data" in (KEPT / name).read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.engine.name)
def test_kept_folder_is_what_the_story_makes(plan: DemoPlan, subject: Subject) -> None:
    engine = by_name(plan, subject.engine.name)
    assert Engine.load(engine.file) == subject.engine
    assert subject.engine.fast_idle_rpm == subject.rpm
    last = engine.visits[-1]
    assert (last.date, last.hours) == (subject.days[-1].date, subject.days[-1].hours)


def test_a_kept_table_is_made_anew_byte_for_byte(plan: DemoPlan, tmp_path: Path) -> None:
    recording, _ = placement(MAIN, MAIN.days[4], 2, seed=plan.seed)
    write_table(recording, tmp_path / "anew.csv")
    kept = steady(by_name(plan, "main"))[4].files[1]
    assert gzip.decompress(kept.read_bytes()) == (tmp_path / "anew.csv").read_bytes()


def test_kept_sound_is_made_anew_sample_for_sample(plan: DemoPlan) -> None:
    recording, _ = placement(CHARGER, CHARGER.days[4], 2, seed=plan.seed)
    kept, rate = soundfile.read(by_name(plan, "charger").visits[4].files[1], always_2d=True)
    assert rate == 8000
    assert recording.samples is not None
    assert np.array_equal(kept, recording.samples)


def test_a_kept_sweep_is_made_anew(plan: DemoPlan) -> None:
    """Within a step of its 16 bits: LAPACK solves the crankshaft's equations, and it may differ."""
    recording, truth = sweep_placement(MAIN_SWEEPS, MAIN_SWEEPS.days[-1], 3, seed=plan.seed)
    last = sweeps(by_name(plan, "main"))[-1]
    kept, rate = soundfile.read(last.files[2], always_2d=True)
    assert rate == 2000
    assert recording.samples is not None
    assert_allclose(kept, recording.samples, atol=1.01 / 2**15)
    assert (last.rpm, last.end_rpm) == pytest.approx((truth.rpm[0], truth.rpm[-1]), rel=0.05)


def test_sweeps_are_few_and_small(plan: DemoPlan) -> None:
    assert not sweeps(by_name(plan, "charger"))
    found = sweeps(by_name(plan, "main"))
    assert [visit.baseline for visit in found] == [True] * 3 + [False] * 4
    assert {len(visit.files) for visit in found} == {3}
    assert all(visit.manner == "run-up" and visit.damper_c is not None for visit in found)
    assert sum(file.stat().st_size for visit in found for file in visit.files) < 4 * MEGABYTE
    beside = {visit.visit: visit for visit in steady(by_name(plan, "main"))}
    assert all(beside[visit.visit].hours == visit.hours for visit in found)


def test_the_resonance_of_main_moves_down_late() -> None:
    """Half of the stiffness, times the ring's share of 0.6; warmth moves it by 1 % meanwhile."""
    lowest = [
        sweep_placement(MAIN_SWEEPS, day, 1, seed=3, seconds=5.0)[1].natural_frequencies_hz[0]
        for day in MAIN_SWEEPS.days
    ]
    moved = np.array(lowest) / np.mean(lowest[:3]) - 1
    assert np.abs(moved[:4]).max() < 0.015
    assert moved[4:] == pytest.approx([-0.04, -0.065, -0.09], abs=0.015)


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.engine.name)
def test_no_firing_order_lies_on_mains(subject: Subject) -> None:
    """3 % from every multiple of 50 and 60 Hz, whatever the speed within its tolerance."""
    engine = subject.engine
    firing = np.arange(engine.firing_order_number, 12.01, engine.firing_order_number)
    speeds = subject.rpm * np.array([0.995, 1.005])
    hertz = np.outer(firing, speeds / 60).ravel()
    mains = np.concatenate([50 * np.arange(1, 9), 60 * np.arange(1, 9)])
    apart = np.abs(hertz[:, np.newaxis] / mains - 1)
    assert apart.min() > 0.03


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda subject: subject.engine.name)
def test_three_baseline_days_then_a_dozen_check_ups_of_three(
    plan: DemoPlan, subject: Subject
) -> None:
    engine = by_name(plan, subject.engine.name)
    visits = steady(engine)
    assert [visit.baseline for visit in visits[:4]] == [True, True, True, False]
    assert all((visit.date - engine.installation.date).days <= 7 for visit in visits[:3])
    assert len([visit for visit in visits if not visit.baseline]) >= 12
    assert {len(visit.files) for visit in visits} == {3}
    assert len({visit.visit for visit in visits}) == len(visits)
    apart = np.diff([visit.hours for visit in visits[2:]])
    assert all(150 <= hours <= 200 for hours in apart if hours > 24)
    assert visits[-1].date <= dt.date(2026, 11, 25)


def test_truth_moves_on_main_late_and_never_on_charger(plan: DemoPlan) -> None:
    """Means of three placements: sd 0.43 dB of one day, 0.25 dB more for the baseline's mean."""

    def change_db(subject: Subject, day: int) -> dict[float, float]:
        def level(number: int) -> FloatArray:
            truths = [
                placement(subject, subject.days[number], each, seed=plan.seed, seconds=2)[1]
                for each in (1, 2, 3)
            ]
            return np.asarray(np.mean([20 * np.log10(truth.rms) for truth in truths], axis=0))

        change = level(day) - np.mean([level(number) for number in range(3)], axis=0)
        change -= np.median(change)
        orders = np.arange(1, change.size + 1) / 2
        return dict(zip(orders.tolist(), change.tolist(), strict=True))

    four_sd = 4 * np.hypot(0.43, 0.25)
    assert MAIN.moved_db is not None
    for subject, moved in ((MAIN, MAIN.moved_db), (CHARGER, {})):
        assert max(map(abs, change_db(subject, 10).values())) < four_sd
        end = change_db(subject, len(subject.days) - 1)
        for order, change in end.items():
            assert change == pytest.approx(moved.get(order, 0.0), abs=four_sd)


def test_a_demo_is_written_whole_and_its_plan_read_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder, "placement", partial(placement, seconds=0.5))  # only for speed
    monkeypatch.setattr(folder, "sweep_placement", partial(sweep_placement, seconds=4.5))
    demo(tmp_path / "new", seed=3)
    made = {path.relative_to(tmp_path / "new") for path in (tmp_path / "new").rglob("*")}
    assert made == {path.relative_to(KEPT) for path in KEPT.rglob("*")}
    for name in ("demo.toml", "main.toml", "charger.toml", "README.md"):
        assert (tmp_path / "new" / name).read_bytes() == (KEPT / name).read_bytes()
    with pytest.raises(SimulateError, match="new is not an empty folder; name a new one"):
        demo(tmp_path / "new", seed=3)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('manner = "run-up"', 'manner = "hop"', r"visits 2, manner: input should be 'steady'"),
        ("seed = 3", "seed = ", r"demo\.toml: not valid TOML: .* line 4"),
        ("baseline = true\n", "", r"engines 1, visits 1, baseline: field required"),
        ("hours = 3132", "hours = -1", r"visits 1, hours: input should be greater than or equal"),
        ("rpm = 1080", 'rpm = 1080\nmood = "good"', r"visits 1, mood: unexpected keyword"),
        ("date = 2024-06-08", "date = 2024-06-05", r"check-up '2024-06-08' \(2024-06-05, 3136 h\)"),
        ("3132h_1080rpm_1", "3132h_1080rpm_9", r"'main/2024-06-07_3132h_1080rpm_9.*' is missing"),
        ('file = "main.toml"', 'file = "other.toml"', r"'main'.* 'other\.toml' is missing"),
    ],
)
def test_says_what_is_wrong_with_a_plan(tmp_path: Path, old: str, new: str, message: str) -> None:
    shutil.copytree(KEPT, tmp_path / "demo", copy_function=_empty)
    text = (KEPT / "demo.toml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "demo" / "demo.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(SimulateError, match=message):
        read_plan(tmp_path / "demo")


def test_says_where_no_plan_is(tmp_path: Path) -> None:
    with pytest.raises(SimulateError, match=r"demo\.toml: the demo's plan cannot be read"):
        read_plan(tmp_path)
