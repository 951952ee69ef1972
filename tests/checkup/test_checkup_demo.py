"""`vibetrend demo` as a person runs it, once; its printed words, page and logbook."""

import datetime as dt
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import pytest

from vibetrend.checkup.records import EngineRecord, SeriesRecord
from vibetrend.checkup.standing import standing
from vibetrend.logbook import Logbook
from vibetrend.simulate import read_plan
from vibetrend.trend.states import STATES

RECORDINGS = Path(__file__).parents[2] / "recordings_demo"
MOVED = {0.5, 1.0, 1.5, 2.5}  # of `main`, from 4466 h on: recordings_demo/README.md
MOVED_FROM_HOURS = 4466.0
NAMES_MOVED = re.compile(r"[Oo]rder (0\.5|1\.5|2\.5)\b")


@dataclass(frozen=True)
class Ran:
    code: int
    printed: str
    progress: str
    page: str
    engines: dict[str, EngineRecord]


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    folder = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "vibetrend", "demo"),
            *("--recordings", str(RECORDINGS), "--logbook", "logbook"),
        ],
        cwd=folder,
        env=os.environ | {"COLUMNS": "92", "PYTHONUTF8": "1"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    with Logbook.open(folder / "logbook") as book:
        records = standing(book, today=dt.date.today())
    page = (folder / "reports" / "demo.html").read_text(encoding="utf-8")
    engines = {record.engine.name: record for record in records}
    assert sorted(path.name for path in folder.iterdir()) == ["logbook", "reports"]
    return Ran(done.returncode, done.stdout, done.stderr, page, engines)


def of_manner(record: EngineRecord, manner: str) -> SeriesRecord:
    (found,) = (series for series in record.series if series.info["manner"] == manner)
    return found


def test_the_engine_that_moves_is_called(ran: Ran) -> None:
    main = ran.engines["main"]
    assert STATES.index(main.status["state"]) >= STATES.index("changed")
    orders = of_manner(main, "steady").verdict.orders
    called = orders.loc[orders["state"].isin(["changed", "past-limit"]) & orders["order"].notna()]
    found = set(called["order"])
    assert 1.0 in found
    assert len(found & {0.5, 1.5, 2.5}) >= 2
    assert found <= MOVED  # nothing is blamed that has not moved
    assert (called["change_db"] > 0).all()
    # The bend can be no nearer than a few check-ups of 190 h at most.
    assert (called["since_hours"] - MOVED_FROM_HOURS).abs().max() < 3 * 190


def test_the_engine_that_stays_is_left_alone(ran: Ran) -> None:
    charger = ran.engines["charger"]
    assert charger.status["state"] == "no-change-seen"
    assert charger.as_found
    assert charger.status["renewal"]["state"] == "unknown"


def test_the_sweeps_show_the_rubber_soften(ran: Ran) -> None:
    """recordings_demo/README.md: the crankshaft's resonance moves down by 9 % after 4466 h.

    The damper's temperature moves it by 1 % meanwhile, within the errors of a check-up.
    """
    found = of_manner(ran.engines["main"], "run-up").verdict.orders
    (moved,) = found.loc[
        found["feature"].str.fullmatch(r"resonance: crankshaft near 13\d Hz frequency")
    ].index
    row = found.loc[moved]
    assert row["state"] == "changed"
    assert 100 * (10 ** (row["change_db"] / 20) - 1) == pytest.approx(-9, abs=3)
    assert re.search(r"Damper resonance: .*down", " ".join(ran.printed.split()))


def test_every_recording_of_the_plan_is_kept_and_used(ran: Ran) -> None:
    for planned in read_plan(RECORDINGS).engines:
        manners = {visit.manner for visit in planned.visits}
        assert len(ran.engines[planned.name].series) == len(manners)
        for manner in manners:
            series = of_manner(ran.engines[planned.name], manner)
            kept = series.recordings
            files = [
                file for each in planned.visits for file in each.files * (each.manner == manner)
            ]
            assert len(kept) == len(files)
            assert int(kept["baseline"].sum()) == 9  # three days of three placements
            assert not kept["unusable"].any()
            # One placement in twenty may be left out as unlike its neighbours, not more.
            assert series.verdict.recordings["used"].mean() > 0.95


def test_the_words_tell_a_lay_reader(ran: Ran) -> None:
    assert ran.printed.startswith("Invented demo data: no real boat, engine or reading.")
    main, charger = ran.printed.split("\ncharger\n")
    assert re.search(r"Idle trend: (Changed|Past)", main)
    assert NAMES_MOVED.search(main)
    assert re.search(r"[Oo]rder 1 ", main)
    assert re.search(r"Idle trend: No change seen", charger)
    said = charger.partition("Change of each order")[0]  # below, every order is charted
    assert not NAMES_MOVED.search(said.replace("Largest difference: order 0.5", ""))
    for caution in ("Stop the engine", "never proves", "licensed mechanic", "exhaust gas"):
        assert caution in charger  # at the end of all
    assert "reports/demo.html" in ran.printed.replace("\\", "/")
    assert ran.progress == ""  # it is shown at a terminal only


def test_the_lines_fit_on_a_screen(ran: Ran) -> None:
    """Only a series' name may be longer: it is a person's own words, never broken."""
    long = [line for line in ran.printed.splitlines() if len(line) > 92 and "·" not in line]
    assert long == []


class _Links(HTMLParser):
    """Collects where a page points to and what it says."""

    def __init__(self) -> None:
        super().__init__()
        self.targets: list[str] = []
        self.tags: set[str] = set()
        self.words: list[str] = []
        self._inside: str = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self._inside = tag
        self.targets += [
            value or "" for name, value in attrs if name in {"src", "href", "srcset", "action"}
        ]

    def handle_endtag(self, tag: str) -> None:
        if tag == self._inside:
            self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside not in {"script", "style"}:
            self.words.append(data)


def test_the_page_opens_without_a_network(ran: Ran) -> None:
    seen = _Links()
    seen.feed(ran.page)
    assert {"html", "script", "svg"} <= seen.tags
    assert [target for target in seen.targets if not target.startswith(("#", "data:"))] == []
    styles = "".join(re.findall(r"<style[^>]*>(.*?)</style>", ran.page, re.DOTALL))
    assert styles
    assert not re.search(r"@import|url\(\s*['\"]?(https?:)?//", styles)


def test_the_page_says_the_same(ran: Ran) -> None:
    seen = _Links()
    seen.feed(ran.page)
    said = " ".join(" ".join(seen.words).split())
    assert "Invented demo data" in said
    assert NAMES_MOVED.search(said)
    assert {"main", "charger"} <= set(said.split())
    assert "never proves" in said
    assert "licensed mechanic" in said
    assert "7120 h" in said  # 3120 h and the maker's 4000 h
