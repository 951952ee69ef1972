"""Every number of the verdict on the page is the one that ``status --json`` prints."""

import json
import re
from typing import Any

import pytest
from invented_report import MADE_AT, engine_record, history, series, worked_on
from parsed_page import Parsed, words_of

from vibetrend.checkup.standing import to_json
from vibetrend.report import page
from vibetrend.report.words import STATE_WORDS

RECORDS = [
    engine_record("main", series(history())),
    engine_record("generator", series(history(bend_db_per_1000h=0.0, seed=11)), overdue=True),
    worked_on("mended"),
]


@pytest.fixture(scope="module")
def html() -> str:
    # As a page is written: infinity and NaN have no place in JSON.
    status = json.loads(json.dumps(to_json(RECORDS), allow_nan=False))
    return page(RECORDS, title="t", made_at=MADE_AT, status=status)


@pytest.fixture(scope="module")
def status(html: str) -> dict[str, Any]:
    """What the page carries along, which is what the command prints."""
    (text,) = re.findall(r'<script type="application/json" id="status">(.*?)</script>', html)
    carried: dict[str, Any] = json.loads(text)
    assert carried == json.loads(json.dumps(to_json(RECORDS)))
    return carried


@pytest.fixture(scope="module")
def parsed(html: str) -> Parsed:
    return Parsed(html)


def series_of(status: dict[str, Any]) -> list[dict[str, Any]]:
    """Return every series in the order of the page: by engine, those ended by work last."""
    return [one for engine in status["engines"] for one in engine["series"]]


def same(cell: float | str, value: float | None) -> bool:
    """Whether a cell shows a value: the full one, or that there is none or never any."""
    return cell in ("–", "never") if value is None else cell == pytest.approx(value, rel=1e-12)


# The columns of "What was concluded, in numbers", in their order.
NUMBERS = (
    "change_db", None, "scatter_db", "noticeable_db", "evidence_z", "since_hours",
    "slope_db_per_1000h", "limit_db", "hours_to_limit_low", "hours_to_limit", "hours_to_limit_high",
)  # fmt: skip


def test_every_cell_of_the_numbers(parsed: Parsed, status: dict[str, Any]) -> None:
    tables = [row for row in parsed.rows if len(row) > 10 and row[-1] in STATE_WORDS.values()]
    rows = [row for one in series_of(status) for row in one["verdict"]["orders"]]
    assert len(tables) == len(rows) == 4 * 18  # four series of 18 orders
    compared = 0
    for cells, row in zip(tables, rows, strict=True):
        assert cells[0] == f"{row['order']:g}"
        shown = [cell for cell in cells[1:] if cell != "firing"]
        for cell, name in zip(shown, NUMBERS, strict=False):
            if name is None:  # the change as a factor
                assert cell == pytest.approx(10 ** (row["change_db"] / 20), rel=1e-12)
            else:
                assert same(cell, row[name]), (row["order"], name)
            compared += 1
        assert same(shown[11], row["probability_never"] and 100 * row["probability_never"])
        assert shown[12] == STATE_WORDS[row["state"]]
    assert compared == 4 * 18 * 11


def test_every_cell_of_the_changes(parsed: Parsed, status: dict[str, Any]) -> None:
    words = set(STATE_WORDS.values())
    tables = [row for row in parsed.rows if len(row) < 10 and "±" in row and row[-1] in words]
    rows = [row for one in series_of(status) for row in one["verdict"]["orders"]]
    assert len(tables) == len(rows)
    for cells, row in zip(tables, rows, strict=True):
        assert cells[0] == f"{row['order']:g}"
        at = cells.index("±")
        assert (cells[at - 1], cells[at + 1]) == (row["change_db"], row["scatter_db"])
        assert cells[-1] == STATE_WORDS[row["state"]]


def test_what_all_orders_did_together(html: str, status: dict[str, Any]) -> None:
    shown = re.findall(r'What all orders did together, <strong><data value="([^"]+)"', html)
    wanted = [one["verdict"]["common_change_db"] for one in series_of(status)]
    assert [float(value) for value in shown] == wanted


def test_the_first_screen(html: str, status: dict[str, Any]) -> None:
    """Printed digits there are roundings of what the JSON holds."""
    for engine, part in zip(status["engines"], html.split("<article")[1:], strict=True):
        first = part.partition('class="caution"')[0]
        text = words_of(Parsed(f"<p {first}")).replace("\xa0", " ")
        assert f"Idle trend: {STATE_WORDS[engine['state']]}" in text
        assert "Damper resonance: Not measured" in text
        assert f'<data value="{engine["hours"]!r}">' in first
        assert f"Next check-up: At {engine['next_recording_hours']:.0f} h" in text
        assert f"{engine['renewal']['due_hours']:.0f} h" in text
    (main, *_) = status["engines"]
    bent = max(main["series"][0]["verdict"]["orders"], key=lambda row: abs(row["evidence_z"]))
    text = words_of(Parsed(html)).replace("\xa0", " ")
    assert f"Order {bent['order']:g} is up {bent['change_db']:.1f} dB" in text
    assert f"its usual scatter of {bent['scatter_db']:.1f} dB" in text
    assert f"left its level at about {round(bent['since_hours'], -1):.0f} h" in text
    assert f"rises by {bent['slope_db_per_1000h']:.1f} dB per 1000 h" in text


def test_the_command_is_named_only_where_its_numbers_are_inside() -> None:
    bare = page(RECORDS[:1], title="t", made_at=MADE_AT)
    assert 'id="status"' not in bare
    assert "status --json" not in bare
