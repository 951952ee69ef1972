"""Charts of letters of a series of sweeps: what comes first, and what is not drawn."""

import math
from dataclasses import replace

import pytest
from invented_report import engine_record
from invented_runups import swept

from vibetrend.checkup.records import SeriesRecord
from vibetrend.cli import text_charts
from vibetrend.report.facts import Fact, facts
from vibetrend.report.levels import levels


@pytest.fixture(scope="module")
def still() -> SeriesRecord:
    """A series in which nothing moved."""
    return swept(moves_at=99)


def found(one: SeriesRecord) -> list[Fact]:
    return facts(one, engine_record("main", one))


def many(one: SeriesRecord) -> list[Fact]:
    """Return frequencies only: seven more of unknown cause, each farther off than the crank's."""
    (crank,) = [
        replace(fact, change_db=0.001)
        for fact in found(one)
        if fact.feature == "resonance: crankshaft near 141 Hz frequency"
    ]
    unknown = [
        replace(crank, feature=f"resonance: near {hertz} Hz frequency", change_db=hertz / 2000)
        for hertz in (192, 200, 210, 220, 242, 250, 260)
    ]
    return [*unknown, crank]


def test_the_crankshaft_s_own_comes_first_although_it_moved_least(still: SeriesRecord) -> None:
    _, first, *rest = text_charts.changes(many(still))
    assert "141 Hz" in first
    assert "260 Hz" in rest[0]
    assert any("and 2 more, none of them seen to move" in line for line in rest)
    most = text_charts.featured(many(still))
    assert most is not None
    assert "crankshaft" in most.feature


def test_what_moved_by_an_unknown_cause_comes_after_the_crankshaft_s(still: SeriesRecord) -> None:
    moved = [
        replace(fact, state="changed", evidence_z=9.0) if "260" in fact.feature else fact
        for fact in many(still)
    ]
    _, first, *rest = text_charts.changes(moved)
    assert "141 Hz" in first
    assert any("260 Hz" in line and "changed" in line for line in rest)
    most = text_charts.featured(moved)
    assert most is not None
    assert "260" in most.feature


def test_a_course_of_nothing_is_not_drawn(still: SeriesRecord) -> None:
    fact = found(still)[0]
    seen = levels(still.history, still.verdict.recordings)
    assert text_charts.history(fact, seen)
    flat = seen.visits.assign(change_db=0.0004 * math.pi)
    assert text_charts.history(fact, replace(seen, visits=flat)) == []
