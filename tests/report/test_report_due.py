"""When the damper is due, and the next check-up: on the page and in the terminal alike."""

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from invented_fitting import due, record, recorded
from invented_report import MADE_AT, engine, engine_record, history, series
from parsed_page import Parsed, words_of

from vibetrend.checkup.records import EngineRecord
from vibetrend.cli.standing_words import standing_words
from vibetrend.installation import belt_content
from vibetrend.installation.use import Reached, use
from vibetrend.report import page
from vibetrend.report.due import between, renewal

TODAY = dt.date(2028, 5, 1)
YEARLY = [(dt.date(2022 + i, 5, 1), 2400.0 + 180 * i) for i in range(7)]  # 3480 h on TODAY


def printed(found: EngineRecord) -> str:
    """Return the words of the terminal on one line."""
    return " ".join(standing_words([found], today=TODAY).replace("\xa0", " ").split())


def at(hours: float = 3480.0, described: Any = None, **values: Any) -> EngineRecord:
    """Return an engine fitted at 3120 h on 1 May 2026, with 4000 h and 6 years allowed."""
    return due(engine_record("main"), described or engine(), TODAY, hours, **values)


def test_the_earlier_one_is_named_and_the_hours_have_an_honest_range() -> None:
    told = printed(at(use=use(YEARLY, TODAY)))
    assert "The damper is to be renewed on 1 May 2032, or at 7120 h," in told
    assert "whichever comes first, whatever the trend says." in told
    found = use(YEARLY, TODAY)
    assert found is not None
    # 180 h in every year: 3640 h more would take some twenty years.
    low = f"{float(f'{found.low:.2g}'):.0f}"
    assert f"The date comes first: at the use so far, about 180 h a year ({low} to" in told
    reached = found.when(7120.0)
    assert reached.early is not None
    assert f"7120 h come between {_third(reached.early)} and" in told or (
        f"7120 h come in {_third(reached.early)} at the earliest" in told
    )
    assert "Years count from the fitting on 1 May 2026, hours from 3120 h, when it was" in told


def _third(day: dt.date) -> str:
    return f"{('early', 'mid', 'late')[(day.month - 1) // 4]} {day.year}"


def test_what_is_only_likely_is_told_as_probable() -> None:
    often = [(day, 3120.0 + 640 * i) for i, (day, _) in enumerate(YEARLY[4:])]
    told = printed(at(often[-1][1], use=use(often, TODAY)))
    # 640 h a year reach 4000 h a little after the six years, more or less.
    assert "The date probably comes first: at the use so far, about 640 h a year (" in told


def test_overdue_is_the_first_line_whatever_the_trend_says() -> None:
    late = due(engine_record("main", series(history())), engine(), TODAY, 7200.0)
    lines = standing_words([late], today=TODAY).splitlines()
    assert lines[0] == "Damper renewal overdue: main."
    assert lines[2] == "main"
    assert lines[4].startswith("Damper renewal: Overdue. The damper was to be renewed at")
    text = words_of(Parsed(page([late], title="t", made_at=MADE_AT)))
    assert text.index("Damper renewal: Overdue") < text.index("Idle trend:")
    assert "No trend extends that interval." in text


def test_years_count_from_the_day_it_was_made_where_that_is_stated() -> None:
    told = printed(at(made_on=dt.date(2025, 1, 10), counts_from="made"))
    assert "on 10 January 2031" in told
    assert "Years count from the day it was made, 10 January 2025, hours from 3120 h" in told
    shelf = printed(at(made_on=dt.date(2024, 1, 10), counts_from="fitted"))
    assert "It was made 2.3 years before it was fitted" in shelf
    assert "ask the maker which day counts" in shelf


@pytest.mark.parametrize(
    ("damper", "values", "said"),
    [
        ({"type": "rubber"}, {}, "The interval is not in the engine file: write the maker's hours"),
        ({"type": "rubber", "renew_years": 5}, {"as_found": True},
         "How much of the maker's interval is used up is not known. Its age is not known either; "
         "look for the date it was made and state it."),
        ({"type": "rubber", "renew_hours": 4000}, {"as_found": True},
         "It was on the engine before the record began, so its own hours are not known"),
    ],
)  # fmt: skip
def test_unknown_is_told_with_its_reason_and_remedy(
    damper: dict[str, Any], values: dict[str, Any], said: str
) -> None:
    found = at(described=engine(damper=damper), **values)
    told = printed(replace(found, as_found=values.get("as_found", False)))
    assert "Damper renewal: Not known." in told
    assert said in told


def test_without_an_installation_the_remedy_is_to_start_one() -> None:
    bare = replace(engine_record("main"), installation_date=None, installation_hours=None)
    assert "so that the damper's age is known: vibetrend installation start." in printed(bare)


def test_a_replaced_meter_is_told_wherever_hours_lie_ahead() -> None:
    """Its meter was replaced at 3300 h and began at 0: it shows 3300 h less."""
    told = printed(replace(at(), meter_offset=3300.0))
    assert "at 7120 h (3820 h on the meter)" in told
    hours = at().status["next_recording_hours"]
    assert f"Next check-up: At {hours:.0f} h." in told or "Next check-up: Now" in told
    ahead = replace(at(), meter_offset=3300.0)
    ahead = replace(ahead, status=ahead.status | {"next_recording_hours": 3600.0})
    assert "That is 120 h from the hours last known." in printed(ahead)
    assert "The meter will show 300 h then." in printed(ahead)
    assert "The meter will show" not in printed(at())


def test_the_date_of_the_next_check_up_is_a_guess_from_use() -> None:
    found = at()
    found = replace(found, status=found.status | {"next_recording_hours": 3600.0})
    ahead = Reached(middle=dt.date(2028, 9, 3), early=dt.date(2028, 8, 1), late=dt.date(2029, 1, 1))
    told = printed(replace(found, next_recording=ahead))
    assert "around 3 September 2028 if the engine runs as much as until now." in told
    gone = Reached(middle=dt.date(2028, 1, 3), early=dt.date(2027, 8, 1), late=dt.date(2028, 3, 1))
    told = printed(replace(found, next_recording=gone))
    assert "around" not in told
    assert "By the use so far these hours may have been reached: read the meter." in told
    assert "around" not in printed(replace(found, next_recording=None))


def test_a_baseline_waits_for_the_belt_to_be_run_in() -> None:
    new = belt_content("alternator", stage="as-installed", tension=142, unit="lbf")
    now = at().status | {"next_recording_hours": 3480.0}
    told = printed(replace(at(), status=now, installation_record=record([("belt", TODAY, new)])))
    assert "Next check-up: After the run-in. Read the belt after its run-in first and" in told
    settled = replace(at(), status=now, installation_record=record())
    assert "Next check-up: Now. Take the baseline" in printed(settled)


@pytest.mark.parametrize(
    ("early", "late", "told"),
    [
        (None, None, "not within the next 30 years"),
        ((2028, 8, 1), (2028, 10, 1), "between August 2028 and October 2028"),
        ((2028, 8, 1), (2028, 8, 20), "in August 2028"),
        ((2031, 4, 30), (2034, 9, 1), "between early 2031 and late 2034"),
        ((2031, 6, 1), None, "in mid 2031 at the earliest"),
    ],
)
def test_dates_ahead_are_told_as_roughly_as_they_are_known(
    early: tuple[int, int, int] | None, late: tuple[int, int, int] | None, told: str
) -> None:
    first, last = (each and dt.date(*each) for each in (early, late))
    assert between(Reached(middle=first, early=first, late=last), TODAY) == told


@pytest.mark.parametrize(
    ("early", "late", "told"),
    [
        ((2027, 4, 1), (2047, 5, 1), "may have come already, and come by mid 2047 at the latest"),
        ((2027, 4, 1), (2028, 6, 1), "may have come already, and come by June 2028 at the latest"),
        ((2028, 5, 1), None, "may have come already"),
        ((2027, 4, 1), (2028, 4, 1), "have most likely come by now"),
    ],
)
def test_no_day_that_has_passed_is_told_as_one_to_come(
    early: tuple[int, int, int], late: tuple[int, int, int] | None, told: str
) -> None:
    first, last = dt.date(*early), late and dt.date(*late)
    known = use(YEARLY, TODAY)
    found = at(use=known)
    reached = Reached(middle=first, early=first, late=last)
    said = renewal(replace(found, renewal=replace(found.renewal, hours_reached=reached)), TODAY)
    assert f"to 300), 7120\xa0h {told}." in " ".join(said.more)


def test_dates_in_remarks_read_as_elsewhere() -> None:
    found = at(as_found=True, described=engine(damper={"renew_hours": 100}))
    said = renewal(replace(found, as_found=True), TODAY)
    assert said.state == "renewal-overdue"
    assert "found on the engine on 1 May 2026 it has been on longer" in " ".join(said.more)


def test_a_record_alone_reads_well_without_any_recording() -> None:
    told = printed(recorded(record()))
    assert told.index("Idle trend: No baseline yet. No steady recording has been added yet.") < 60
    assert "Installation record: Below the limit." in told
    assert "None" not in told
