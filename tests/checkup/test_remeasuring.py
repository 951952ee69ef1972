"""Measuring again from the originals: what comes out, what is kept, what stops it.

Invented recordings of an invented engine. What is measured again is held against what adding the
same file gives; there is no outside source for that.
"""

import datetime as dt
import json
import math
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from earlier_method import LOUDER, LOUDER_ORDER, earlier_book
from invented_life import ENGINE, RPM, SECONDS, TODAY, add, book, clip

from vibetrend.checkup import remeasuring
from vibetrend.checkup.adding import add_file
from vibetrend.checkup.remeasuring import measured_again, remeasure
from vibetrend.checkup.standing import standing
from vibetrend.engine import Engine
from vibetrend.errors import LogbookError, MeasureError, ReadError, VibetrendError
from vibetrend.ingest.tags import Stated
from vibetrend.logbook import Logbook, Remeasurable, keep_measurement, remeasurable, set_aside
from vibetrend.logbook.schema import metadata
from vibetrend.orders.measurement import METHOD_VERSION
from vibetrend.simulate import MICROPHONE, record, write_sound

LOUDER_DB = 20 * math.log10(LOUDER)


@pytest.fixture(scope="module")
def four(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose logbook holds four recordings, all measured by an earlier version."""
    folder = tmp_path_factory.mktemp("four")
    earlier_book(folder)
    return folder


@pytest.fixture
def old(four: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(four / "logbook", tmp_path / "logbook")
    with Logbook.open(tmp_path / "logbook") as opened:
        yield opened


def counted(opened: Logbook, query: str) -> list[Any]:
    with closing(sqlite3.connect(opened.database.path)) as connection:
        return list(connection.execute(query))


def versions(opened: Logbook) -> list[int]:
    return [each.method_version for each in remeasurable(opened)]


def the_original(opened: Logbook, kept: Remeasurable) -> Path:
    return opened.originals.folder / kept.sha256[:2] / kept.sha256[2:]


# The same as adding


def table(folder: Path) -> tuple[Path, dict[str, Any]]:
    stated = {"rpm": RPM, "hours": 3131.0, "date": "2024-06-05", "position": "head"}
    return clip(folder / "a.csv", seed=1), stated | {"coolant_c": 80.0, "lying": "afloat"}


def named(folder: Path) -> tuple[Path, dict[str, Any]]:
    return clip(folder / "idle_1080rpm_3131h_2024-06-05.csv", seed=1), {}


def zipped(folder: Path) -> tuple[Path, dict[str, Any]]:
    inner = clip(folder / "a_1080rpm_3131h.csv", seed=1)
    with zipfile.ZipFile(folder / "a.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.write(inner, inner.name)
    return folder / "a.zip", {"date": "2024-06-05"}


def with_side_file(folder: Path) -> tuple[Path, dict[str, Any]]:
    path = clip(folder / "a.csv", seed=1)
    side = f'rpm = {RPM}\nhours = 3131\ndate = 2024-06-05\nunit = "g"\ncolumns = ["ax", "az"]\n'
    (folder / "a.toml").write_text(side)
    return path, {"device": "phone"}


def with_rpm_column(folder: Path) -> tuple[Path, dict[str, Any]]:
    head, *rows = clip(folder / "a.csv", seed=1).read_text().splitlines()
    rows = [f"{row},{1070 + 10 * (place % 3)}" for place, row in enumerate(rows)]
    (folder / "a.csv").write_text("\n".join([f"{head},rpm", *rows]) + "\n")
    return folder / "a.csv", {"hours": 3131.0, "date": "2024-06-05"}


def with_location(folder: Path) -> tuple[Path, dict[str, Any]]:
    head, *rows = clip(folder / "a.csv", seed=1).read_text().splitlines()
    located = [f"{head},latitude,longitude", *(f"{row},54.3217896,10.1349857" for row in rows)]
    with zipfile.ZipFile(folder / "at_1080rpm.zip", "w") as packed:
        packed.writestr("a.csv", "\n".join(located) + "\n")
    return folder / "at_1080rpm.zip", {"hours": 3131.0, "date": "2024-06-05"}


def sound(folder: Path) -> tuple[Path, dict[str, Any]]:
    heard, _ = record(
        Engine.parse(ENGINE), rpm=RPM, seconds=SECONDS, rate=8000, seed=1, sensor=MICROPHONE
    )
    write_sound(heard, folder / "a.wav")
    stated = {"rpm": RPM, "hours": 3131.0, "date": "2024-06-05", "automatic_gain": "on"}
    return folder / "a.wav", stated


def sound_of_a_sensor(folder: Path) -> tuple[Path, dict[str, Any]]:
    path, stated = sound(folder)
    return path, stated | {"kind": "acceleration", "full_scale": "2 g"}


def tacho(folder: Path) -> tuple[Path, dict[str, Any]]:
    rng = np.random.default_rng(3)
    time = np.arange(round(SECONDS * 1000)) / 1000
    turns = time * RPM / 60
    shake = np.sin(2 * np.pi * 3 * turns) + 0.01 * rng.standard_normal(time.size)
    rows = np.column_stack([time, shake, 4.5 * (turns % 1 < 0.2)])
    head = "time (s),az (m/s^2),mark (V)"
    np.savetxt(folder / "a.csv", rows, fmt="%.5f", delimiter=",", header=head, comments="")
    stated = {"hours": 3131.0, "date": "2024-06-05", "tacho_column": "mark (V)", "teeth": "1"}
    return folder / "a.csv", stated


def by_the_folder(folder: Path) -> tuple[Path, dict[str, Any]]:
    """State by what counts for all that arrives in a folder."""
    path, stated = sound(folder)
    gain = Stated(rpm=RPM, automatic_gain="on", condition="warm")
    return path, {"hours": 3131.0, "date": stated["date"], "defaults": gain}


KINDS = [
    table, named, zipped, with_side_file, with_rpm_column, with_location, sound,
    sound_of_a_sensor, tacho, by_the_folder,
]  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_measured_again_is_as_if_added_now(
    kind: Callable[[Path], tuple[Path, dict[str, Any]]], tmp_path: Path
) -> None:
    """To the last digit, notes and path too; only the engine file that counted then is used."""
    path, stated = kind(tmp_path)
    with book(tmp_path) as opened:
        added = add_file(opened, path, engine_name="main", today=TODAY, **stated)
        assert added.measurement is not None
        belt = ENGINE + '[[driven]]\nname = "alternator"\nratio = 2.2\n'
        opened.put_engine(belt, Engine.parse(belt))  # of now, not of then
        path.unlink()
        (kept,) = remeasurable(opened)
        again = measured_again(opened, kept)
        assert again.to_dict() == opened.measurement(kept.id)
        recording, then = again.recording, added.measurement.recording
        for name in ("rpm", "hours", "date", "position", "device", "condition", "manner", "codec"):
            assert getattr(recording, name) == getattr(then, name), name
        assert recording.circumstances == then.circumstances
        assert recording.source is not None
        assert then.source is not None
        assert recording.source.reading == then.source.reading
        assert recording.source.sha256 == added.kept.sha256
        assert b"54.3217" not in opened.original(kept.sha256)  # with its location blanked
        assert np.array_equal(recording.samples, then.samples)  # type: ignore[arg-type]
        # With everything counted as done by this version, nothing is new.
        (one,) = remeasure(opened, every=True, today=TODAY).recordings
        assert (one.change_db, one.gained, one.lost, one.before) == (None, (), (), one.after)
        assert counted(opened, "SELECT COUNT(*) FROM measurement") == [(1,)]


def test_the_engine_file_of_its_damper_counts(tmp_path: Path) -> None:
    """A damper entered late, and a meter that was replaced since: by true hours."""
    with book(tmp_path, installed=False) as opened:
        path = clip(tmp_path / "a.csv", seed=1)
        add(opened, path, dt.date(2024, 6, 5), 3131.0)
        belt = ENGINE + '[[driven]]\nname = "alternator"\nratio = 2.2\n'
        opened.put_engine(belt, Engine.parse(belt))
        opened.start_installation("main", date=dt.date(2024, 6, 1), hours=3120)
        opened.change_meter("main", date=dt.date(2024, 7, 1), before=3200, after=0, what="replaced")
        opened.put_engine(ENGINE, Engine.parse(ENGINE))
        (kept,) = remeasurable(opened)
        assert [row["name"] for row in opened.measurement(kept.id)["driven"]] == []
        again = measured_again(opened, kept)
        assert again.driven["name"].tolist() == ["alternator"]
        assert again.recording.hours == 3131.0


@pytest.mark.parametrize(
    ("name", "stated", "said"),
    [
        ("a_1020rpm_3131h.csv", {}, ["taken from the file name: hours 3131"]),
        ("a_1020rpm.csv", {"hours": 3131.0}, []),
    ],
)
def test_a_corrected_speed_was_taken_from_nowhere(
    name: str, stated: dict[str, Any], said: list[str], tmp_path: Path
) -> None:
    """Where the speed was mistyped in the file's name, the note speaks of the rest alone."""
    path = clip(tmp_path / name, seed=1)
    with book(tmp_path) as opened:
        add_file(opened, path, engine_name="main", today=TODAY, **stated)
        (kept,) = remeasurable(opened)
        was = measured_again(opened, kept).quality
        assert "rpm 1020" in " ".join(each.message for each in was)
        now = measured_again(opened, replace(kept, rpm=RPM)).quality
        assert [each.message for each in now if each.code == "tag-assumed"] == said


# What is kept, and what is said of it


def test_only_what_an_earlier_version_measured(tmp_path: Path) -> None:
    ids = earlier_book(tmp_path, versions=(1, 2, 1, 1))
    with Logbook.open(tmp_path / "logbook") as opened:
        outcome = remeasure(opened, today=TODAY)
        assert [each.recording for each in outcome.recordings] == [ids[0], ids[2], ids[3]]
        assert (outcome.left, outcome.kept, outcome.method_version) == ((), True, METHOD_VERSION)
        for each in outcome.recordings:
            assert each.before.method_version == 1
            assert each.after.method_version == METHOD_VERSION
            assert each.after.speed_rpm == each.before.speed_rpm
            assert each.order == LOUDER_ORDER
            assert each.change_db == pytest.approx(-LOUDER_DB, abs=1e-9)
            assert (each.newly_visible, each.newly_hidden) == ((1.0,), (7.0,))
            assert (each.gained, each.lost) == ((), ("gaps",))
        # Every older result stays, the newest counts.
        assert counted(opened, "SELECT COUNT(*) FROM measurement WHERE method_version = 1") == [
            (3,)
        ]
        assert versions(opened) == [METHOD_VERSION] * 4
        assert opened.check().clean
        assert remeasure(opened, today=TODAY).recordings == ()


def test_verdicts_before_and_after_are_both_kept(tmp_path: Path) -> None:
    """The latest check-up alone was measured by an earlier version, which gave it 10 % more."""
    earlier_book(tmp_path, versions=(2, 2, 2, 1))
    with Logbook.open(tmp_path / "logbook") as opened:
        outcome = remeasure(opened, today=TODAY)
        (one,) = outcome.series
        assert (one.engine, one.ended, one.called) == ("main", False, f"order {LOUDER_ORDER}")
        assert (one.before.methods, one.after.methods) == ((1, 2), (2,))
        assert (one.before.state, one.after.state) == ("no-change-seen", "no-change-seen")
        results = counted(opened, "SELECT result FROM verdict ORDER BY id")
        kept = [json.loads(text) for (text,) in results]
        assert len(kept) == 2
        told = [
            {row["order"]: row["change_db"] for row in verdict["orders"]}[one.order]
            for verdict in kept
        ]
        assert told == pytest.approx([one.before.change_db, one.after.change_db])
        assert told[0] > told[1]


def test_a_series_of_an_earlier_damper_too(four: Path, tmp_path: Path) -> None:
    shutil.copytree(four / "logbook", tmp_path / "logbook")
    with Logbook.open(tmp_path / "logbook") as opened:
        opened.start_installation("main", date=dt.date(2024, 9, 1), hours=3300)
        (one,) = remeasure(opened, today=TODAY).series
        assert (one.ended, one.before.methods, one.after.methods) == (True, (1,), (2,))
        kept = opened.verdicts(one.info["id"])
        assert kept["state"].tolist() == [one.before.state, one.after.state]


def test_one_engine_alone(old: Logbook) -> None:
    other = ENGINE.replace('"main"', '"other"')
    old.put_engine(other, Engine.parse(other))
    assert remeasure(old, engine_name="other", today=TODAY).recordings == ()
    assert versions(old) == [1] * 4
    with pytest.raises(LogbookError, match="engine 'another' is not in the logbook"):
        remeasure(old, engine_name="another", today=TODAY)


def test_all_measures_again_what_this_version_measured(old: Logbook) -> None:
    remeasure(old, today=TODAY)
    rows = counted(old, "SELECT COUNT(*) FROM measurement")
    outcome = remeasure(old, every=True, today=TODAY)
    assert len(outcome.recordings) == 4
    assert counted(old, "SELECT COUNT(*) FROM measurement") == rows  # the same again is not kept


def test_a_recording_set_aside_is_measured_again_and_stays_aside(old: Logbook) -> None:
    first = remeasurable(old)[0]
    set_aside(old, [first.id], reason="phone slipped")
    assert len(remeasure(old, today=TODAY).recordings) == 4
    assert first.id not in set(old.recordings(1)["recording"])


def test_a_dry_run_keeps_nothing(old: Logbook) -> None:
    def rows() -> list[Any]:
        return [counted(old, f"SELECT * FROM {each.name}") for each in metadata.sorted_tables]

    before, files = rows(), sorted(old.folder.rglob("*"))
    tried = remeasure(old, dry_run=True, today=TODAY)
    assert not tried.kept
    assert (rows(), sorted(old.folder.rglob("*"))) == (before, files)
    done = remeasure(old, today=TODAY)
    assert replace(tried, kept=True).to_dict() == done.to_dict()


def test_what_may_only_be_read_is_tried_and_not_kept(
    old: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Logbook, "read_only", property(lambda self: self is old))
    with pytest.raises(LogbookError, match="may only be read, so nothing can be kept"):
        remeasure(old, today=TODAY)
    assert len(remeasure(old, dry_run=True, today=TODAY).recordings) == 4
    assert versions(old) == [1] * 4


# What stops it, or a part of it


def until(count: int, stop: type[BaseException]) -> Callable[[Sequence[Any]], Iterable[Any]]:
    def follow(found: Sequence[Any]) -> Iterator[Any]:
        yield from found[:count]
        raise stop

    return follow


@pytest.mark.parametrize("stop", [KeyboardInterrupt, MemoryError])
def test_what_stops_it_leaves_a_whole_logbook_and_it_goes_on(
    old: Logbook, stop: type[BaseException]
) -> None:
    with pytest.raises(stop):
        remeasure(old, today=TODAY, follow=until(2, stop))
    assert versions(old) == [METHOD_VERSION, METHOD_VERSION, 1, 1]
    assert old.check().clean
    rest = [each.id for each in remeasurable(old)][2:]
    assert [each.recording for each in remeasure(old, today=TODAY).recordings] == rest


def test_an_original_that_is_gone_or_damaged_is_left(old: Logbook) -> None:
    first, second, *others = remeasurable(old)
    the_original(old, first).unlink()
    the_original(old, second).write_bytes(b"time,x\n0,1\n")
    outcome = remeasure(old, today=TODAY)
    assert [each.recording for each in outcome.left] == [first.id, second.id]
    for left, name in zip(outcome.left, (first.name, second.name), strict=True):
        assert left.why.startswith(f"recording {left.recording} ({name}): ")
        assert left.why.endswith("put it back from a backup")
    assert [each.recording for each in outcome.recordings] == [each.id for each in others]
    assert versions(old) == [1, 1, METHOD_VERSION, METHOD_VERSION]
    assert [each.recording for each in remeasure(old, today=TODAY).left] == [first.id, second.id]


def test_what_this_version_refuses_is_left(old: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: Any, **__: Any) -> None:
        raise MeasureError("the recording is too short")

    monkeypatch.setattr(remeasuring, "measure", refused)
    outcome = remeasure(old, today=TODAY)
    assert len(outcome.left) == 4
    assert outcome.left[0].why.endswith("(2024-06-05.csv): the recording is too short")
    assert outcome.series == ()


def test_what_is_read_as_something_else_now_is_left(old: Logbook) -> None:
    """Amplitudes in two units must never come into one series."""
    (kept, *_) = remeasurable(old)
    other = replace(kept, tags=kept.tags | {"unit": "m/s"})
    with pytest.raises(ReadError, match=r"its unit as 'm/s\^2', and it was kept as 'm/s'"):
        measured_again(old, other)


def test_without_room_for_a_temporary_file(
    old: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    with pytest.raises(ReadError, match="cannot be put into a temporary folder to be read"):
        measured_again(old, remeasurable(old)[0])
    with pytest.raises(LogbookError, match="temporary folder: a copy of the logbook"):
        remeasure(old, dry_run=True, today=TODAY)
    assert versions(old) == [1] * 4


def test_two_at_once_do_no_harm(old: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other measures the second recording before this one begins it, the third meanwhile."""
    _, second, third, _ = remeasurable(old)
    really = remeasuring.measured_again

    def by_the_other(kept: Remeasurable) -> None:
        with Logbook.open(old.folder) as other:
            keep_measurement(other, kept.id, really(other, kept))

    def follow(found: Sequence[Remeasurable]) -> Iterator[Remeasurable]:
        by_the_other(second)
        yield from found

    def meanwhile(logbook: Logbook, kept: Remeasurable) -> Any:
        if kept.id == third.id:
            by_the_other(kept)
        return really(logbook, kept)

    monkeypatch.setattr(remeasuring, "measured_again", meanwhile)
    outcome = remeasure(old, today=TODAY, follow=follow)
    assert second.id not in [each.recording for each in outcome.recordings]
    assert versions(old) == [METHOD_VERSION] * 4
    new = f"SELECT COUNT(*) FROM measurement WHERE method_version = {METHOD_VERSION}"
    assert counted(old, new) == [(4,)]
    assert old.check().clean


# What is kept is not trusted


@pytest.mark.parametrize(
    "name", ["..", "../../b.csv", "/etc/passwd", "a\0b", "a\nb", "x" * 5000, "", "a.csv.zip"]
)
def test_no_name_leads_anywhere(old: Logbook, name: str, tmp_path: Path) -> None:
    kept = replace(remeasurable(old)[0], name=name)
    there = sorted(tmp_path.rglob("*"))
    usual = measured_again(old, remeasurable(old)[0])
    assert measured_again(old, kept).to_dict() == usual.to_dict()
    assert sorted(tmp_path.rglob("*")) == there


@pytest.mark.parametrize(
    "options", [{"path": "/etc/passwd"}, {"self": 1}, {"teeth": 7}, {"columns": []}]
)
def test_no_option_leads_anywhere(old: Logbook, options: dict[str, Any]) -> None:
    kept = replace(remeasurable(old)[0], reading=options)
    with pytest.raises(VibetrendError, match=r"^recording .*: as kept: "):
        measured_again(old, kept)


@pytest.mark.parametrize("sha256", ["../../../etc/passwd", "", "0" * 63])
def test_no_digest_leads_anywhere(old: Logbook, sha256: str) -> None:
    with pytest.raises(VibetrendError, match="is no SHA-256 digest"):
        measured_again(old, replace(remeasurable(old)[0], sha256=sha256))


# Recordings of several versions in one series


def test_a_mix_of_versions_is_told(tmp_path: Path) -> None:
    earlier_book(tmp_path, versions=(1, 1, 1, 2))
    with Logbook.open(tmp_path / "logbook") as opened:
        said = (
            "3 of 4 recordings were measured by an earlier version, so a change may come from "
            "that; measure them again: vibetrend logbook remeasure"
        )
        (record,) = standing(opened, today=TODAY)
        assert record.series[0].verdict.advice[0] == said
        remeasure(opened, today=TODAY)
        (record,) = standing(opened, today=TODAY)
        assert said not in record.series[0].verdict.advice


def test_one_version_alone_is_no_mix(old: Logbook) -> None:
    (record,) = standing(old, today=TODAY)
    assert not any("remeasure" in each for each in record.series[0].verdict.advice)
