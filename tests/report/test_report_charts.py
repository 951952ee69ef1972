"""The charts of letters that `status` prints: marks at their places, numbers as in the JSON."""

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest
from invented_report import MADE_AT, engine_record, history, series

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.cli import text_charts
from vibetrend.cli.standing_words import standing_words
from vibetrend.cli.terminal import width
from vibetrend.report.facts import Fact, facts
from vibetrend.report.levels import levels


@pytest.fixture(scope="module")
def bent() -> SeriesRecord:
    return series(history())


def found(one: SeriesRecord) -> list[Fact]:
    return facts(one, engine_record("main", one))


def printed(*records: EngineRecord, every: bool = False) -> str:
    return standing_words(records, today=MADE_AT.date(), every=every)


def a_fact(bent: SeriesRecord, **values: object) -> Fact:
    still = next(fact for fact in found(bent) if not fact.moved)
    return replace(still, **values)  # type: ignore[arg-type]  # a test names its fields


def rows(lines: Sequence[str]) -> list[tuple[str, ...]]:
    """Return name, change, scatter and state of each row."""
    form = re.compile(r"\s*(\S+)  .*[┼○●■?].*  (≥?[+-]?\d+\.\d) dB  ±(\d+\.\d) dB ?(.*)")
    return [tuple(map(str.strip, m.groups())) for line in lines if (m := form.fullmatch(line))]


def in_ascii(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = SimpleNamespace(encoding="ascii")
    monkeypatch.setattr("vibetrend.cli.terminal.sys", SimpleNamespace(stdout=plain))


def test_every_number_is_the_verdict_s(bent: SeriesRecord, monkeypatch: pytest.MonkeyPatch) -> None:
    """What `status --json` gives is `Verdict.to_dict`, rounded here to one decimal."""
    monkeypatch.setenv("COLUMNS", "92")
    told = rows(printed(engine_record("main", bent), every=True).splitlines())
    orders = [row for row in bent.verdict.to_dict()["orders"] if row["change_db"] is not None]
    assert len(told) == len(orders) == 18
    for name, change, scatter, state in told:
        (row,) = [row for row in orders if f"{row['order']:g}" == name]
        assert float(change) == pytest.approx(row["change_db"], abs=0.0501)
        assert float(scatter) == pytest.approx(row["scatter_db"], abs=0.0501)
        assert state == ("" if row["state"] == "no-change-seen" else row["state"])


def test_what_moved_stands_first_and_the_rest_is_counted(bent: SeriesRecord) -> None:
    lines = text_charts.changes(found(bent))
    (moved,) = [fact.short for fact in found(bent) if fact.moved]
    told = rows(lines)
    assert told[0][0] == moved
    assert 2 <= len(told) <= 6  # what is shown as 0.0 dB does not count as large
    sizes = [abs(float(change)) for _, change, _, _ in told[1:]]
    assert sizes == sorted(sizes, reverse=True)
    assert f"and {18 - len(told)} more with smaller changes" in " ".join(lines)
    assert "more with smaller" not in " ".join(text_charts.changes(found(bent), every=True))


def test_nothing_to_compare_gives_no_chart() -> None:
    one = series(history(visits=2).assign(baseline=False))
    assert text_charts.changes(found(one)) == []
    assert "Change of each order" not in printed(engine_record("main", one))


def test_while_all_belongs_to_the_baseline_nothing_is_said_to_be_unchanged() -> None:
    one = series(history(visits=2))
    assert one.verdict.state == "learning"
    text = printed(engine_record("main", one))
    assert "Change of each order" not in text
    assert "no change seen" not in text


def test_what_all_orders_did_together_stands_beside_their_own_changes() -> None:
    table = history(bend_db_per_1000h=0.0)
    late = table["visit"].isin(table["visit"].unique()[-4:])
    table.loc[late, "amplitude"] *= 10 ** (6 / 20)  # 6 dB, as of another phone
    one = series(table)
    assert one.verdict.state == "all-moved"
    text = printed(engine_record("main", one))
    form = r"without the (\S+) dB of all together: .* and (\S+) dB: \S+ - All orders"
    title, scale = re.search(form, " ".join(text.split())).groups()  # type: ignore[union-attr]
    assert float(title) == pytest.approx(one.verdict.common_change_db, abs=0.0501)
    assert float(title) == pytest.approx(6.0, abs=0.6)  # 12 placements of 0.6 dB against 9
    assert "The 16 check-ups of all orders together, 3150 to 5510 h, between " in text
    assert float(scale) >= 6.0


def test_a_name_without_a_number_is_explained(bent: SeriesRecord) -> None:
    parts = [
        a_fact(bent, feature=f"{kind}: {name}", order=math.nan, change_db=2.0)
        for kind, name in (("overall", "velocity"), ("driven", "alternator"))
    ]
    told = " ".join(text_charts.changes(parts))
    assert "velocity: overall level" in told
    assert "alternator: driven part" in told


def test_of_several_engines_each_has_a_line_first(bent: SeriesRecord) -> None:
    quiet = series(history(bend_db_per_1000h=0.0, seed=11))
    one, other = engine_record("port", bent), engine_record("starboard", quiet)
    assert printed(one, other).splitlines()[:4] == [
        "port: changed; damper renewal not due yet",
        "starboard: no change seen; damper renewal not due yet",
        "",
        "port",
    ]
    assert printed(one).splitlines()[0] == "port"


def test_marks_stand_at_their_places(bent: SeriesRecord, monkeypatch: pytest.MonkeyPatch) -> None:
    """41 places from -6 to +6 dB: 20 to either side, 0.3 dB each."""
    monkeypatch.setenv("COLUMNS", "92")
    fact = a_fact(bent, change_db=-3.0, scatter_db=0.45, limit_db=6.0)
    head, row, *_ = text_charts.changes([fact])
    zero = head.index("0", head.index("-6") + 2)
    assert head[zero - 20 : zero + 21] == f"{'-6':<20}0{'+6':>20}"
    strip = row[zero - 20 : zero + 21]
    assert strip[10] == "○"  # -3 dB
    assert strip[17:24] == "───┼───"  # 2 x 0.45 dB are 3 places
    assert strip[40] == "┊"
    assert strip.replace(" ", "") == "○───┼───┊"


@pytest.mark.parametrize(
    ("state", "mark", "plain", "word"),
    [
        ("no-change-seen", "○", "o", ""),
        ("changed", "●", "#", "changed"),
        ("past-limit", "■", "X", "past limit"),
        ("another-day", "?", "?", "another day"),
        ("record-again", "?", "?", "record again"),
    ],
)
def test_states_differ_by_mark_and_word(
    bent: SeriesRecord,
    monkeypatch: pytest.MonkeyPatch,
    state: str,
    mark: str,
    plain: str,
    word: str,
) -> None:
    fact = a_fact(bent, state=state, change_db=4.0)
    _, row, *key = text_charts.changes([fact])
    assert mark in row
    assert row.endswith(word)
    assert f"{mark} " in " ".join(key)
    in_ascii(monkeypatch)
    lines = text_charts.changes([fact])
    assert "\n".join(lines).isascii()
    assert plain in lines[1].removesuffix(word)


def test_at_least_is_said_and_what_is_not_known_too(bent: SeriesRecord) -> None:
    _, row, *_ = text_charts.changes([a_fact(bent, at_least=True, change_db=4.0)])
    assert "≥+4.0 dB" in row
    _, row, *_ = text_charts.changes([a_fact(bent, scatter_db=math.nan, change_db=9.5)])
    assert "not known" in row


@pytest.mark.parametrize("wide", [40, 60, 80, 120])
@pytest.mark.parametrize("name", ["main", "\u4e3b\u6a5f " * 60, "x" * 500, "\u05d0\u05d1\u200f"])
def test_no_line_is_wider_than_the_terminal(
    bent: SeriesRecord, monkeypatch: pytest.MonkeyPatch, wide: int, name: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(wide))
    quiet = series(history(bend_db_per_1000h=0.0, seed=11))
    records = [engine_record(name.strip(), bent), engine_record("other", quiet)]
    for every in (False, True):
        lines = printed(*records, every=every).splitlines()
        assert [line for line in lines if width(line) > min(92, max(40, wide - 1))] == []
    assert "side by side" in " ".join(" ".join(lines).split())
    assert sum("changed" in line and "●" in line for line in lines) >= 2  # its row and the key


def test_names_written_right_to_left_are_set_apart(bent: SeriesRecord) -> None:
    name = "\u05d0\u05d1"
    assert printed(engine_record(name, bent)).startswith(f"\u2068{name}\u2069\n--\n")


def test_the_chart_needs_nothing_beyond_ascii(
    bent: SeriesRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_ascii(monkeypatch)
    one = next(fact for fact in found(bent) if fact.moved)
    seen = levels(bent.history, bent.verdict.recordings)
    lines = text_charts.changes(found(bent)) + text_charts.history(one, seen)
    assert "\n".join(lines).isascii()
    assert text_charts.bar(0.5, 10) == "#####"


def test_a_history_has_a_column_for_each_check_up(
    bent: SeriesRecord, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "92")
    one = text_charts.featured(found(bent))
    assert one is not None
    assert one.order == 4.5
    seen = levels(bent.history, bent.verdict.recordings)
    *head, course = text_charts.history(one, seen)
    said = r"The 16 check-ups of order 4.5, 3150 to 5510 h, between (\S+) and (\S+) dB; full .*:"
    least, greatest = re.fullmatch(said, " ".join(map(str.strip, head))).groups()  # type: ignore[union-attr]
    changes = seen.visits.query("order == 4.5")["change_db"]
    assert len(course) == len(changes) == 16
    # What the check-ups show, not where the columns would end.
    assert float(least) == pytest.approx(changes.min(), abs=0.0501)
    assert float(greatest) == pytest.approx(changes.max(), abs=0.0501)
    assert changes.max() < one.limit_db - 0.1
    heights = pd.Series(list(course)).map("▁▂▃▄▅▆▇█".index)
    low = min(changes.min(), -one.band_db)
    scaled = (changes.reset_index(drop=True) - low) / (one.limit_db - low) * 7
    assert (heights - scaled).abs().max() <= 0.5
    monkeypatch.setattr(text_charts, "columns", lambda: 16)
    head, *_, course = text_charts.history(one, seen, indent="  ")
    assert head.startswith("  The last 14 check-ups")
    assert len(course.split()[0]) == 14
    monkeypatch.undo()
    monkeypatch.setenv("COLUMNS", "92")
    beyond = replace(one, limit_db=1.0)  # less than it rose by: the greatest has full height
    head, course = text_charts.history(beyond, seen)
    assert "limit" not in head
    assert course.split()[0][-1] == "█"


def test_what_is_only_scatter_looks_small() -> None:
    quiet = series(history(bend_db_per_1000h=0.0, seed=11))
    one = text_charts.featured(found(quiet))
    assert one is not None
    *_, course = text_charts.history(one, levels(quiet.history, quiet.verdict.recordings))
    assert set(course.split()[0]) <= set("▁▂▃")


def test_bars_are_linear() -> None:
    assert [text_charts.bar(share, 10) for share in (0, 0.0125, 0.5, 1)] == [
        "", "▏", "█████", "██████████",
    ]  # fmt: skip
