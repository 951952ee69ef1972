"""When a damper is due, whatever the trend says."""

import datetime as dt
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vibetrend.engine import Damper
from vibetrend.installation import Renewal, renewal
from vibetrend.installation.use import use

FITTED = dt.date(2020, 1, 1)


def due(
    *,
    today: dt.date,
    hours: float,
    renew_hours: float | None = 20_000,
    renew_years: float | None = 10,
    fitted: dt.date = FITTED,
    fitted_hours: float = 0.0,
    hours_date: dt.date | None = None,
    **more: Any,
) -> Renewal:
    return renewal(
        Damper(renew_hours=renew_hours, renew_years=renew_years),
        fitted_date=fitted,
        fitted_hours=fitted_hours,
        today=today,
        hours=hours,
        hours_date=hours_date or today,
        **more,
    )


@pytest.mark.parametrize(
    ("hours_per_year", "first"),
    [(50, "date"), (250, "date"), (1900, "date"), (2100, "hours"), (5000, "hours")],
)
def test_which_limit_comes_first(hours_per_year: float, first: str) -> None:
    """references.md, section 6: due 10 y / 20 000 h, at 250 h/y the calendar comes first.

    Hours come first only above 2000 h/y. The two rates beside it keep 5 % off, more than the
    difference between a calendar year and 365.25 days.
    """
    found = due(today=dt.date(2022, 1, 1), hours=2 * hours_per_year)
    assert (found.state, found.first) == ("ok", first)
    assert (found.due_date, found.due_hours) == (dt.date(2030, 1, 1), 20_000)


def test_hours_count_from_those_at_the_fitting() -> None:
    found = due(
        today=dt.date(2021, 1, 1), hours=3400, fitted_hours=3120, renew_hours=4000, renew_years=6
    )
    assert (found.due_hours, found.due_date) == (7120, dt.date(2026, 1, 1))


@pytest.mark.parametrize(
    ("today", "hours", "state"),
    [
        (dt.date(2021, 1, 1), 250, "ok"),
        (dt.date(2029, 10, 2), 250, "ok"),  # 91 days before the date
        (dt.date(2029, 10, 3), 250, "due-soon"),  # 90 days before
        (dt.date(2029, 12, 31), 250, "due-soon"),
        (dt.date(2030, 1, 1), 250, "overdue"),  # due on that day
        (dt.date(2021, 1, 1), 19_749, "ok"),
        (dt.date(2021, 1, 1), 19_750, "due-soon"),  # 250 h before
        (dt.date(2021, 1, 1), 19_999, "due-soon"),
        (dt.date(2021, 1, 1), 20_000, "overdue"),
        (dt.date(2031, 1, 1), 30_000, "overdue"),
        (dt.date(2029, 12, 1), 20_000, "overdue"),  # one of the two is enough
    ],
)
def test_states(today: dt.date, hours: float, state: str) -> None:
    """90 days and 250 h of warning: common practice, no source."""
    assert due(today=today, hours=hours).state == state


def test_nothing_is_known_without_the_makers_interval() -> None:
    found = due(today=dt.date(2050, 1, 1), hours=1e6, renew_hours=None, renew_years=None)
    expected = {"state": "unknown", "due_date": None, "due_hours": None, "first": None}
    assert found.to_dict().items() >= expected.items()


@pytest.mark.parametrize(
    ("interval", "first"),
    [({"renew_hours": None}, "date"), ({"renew_years": None}, "hours")],
)
def test_a_single_limit_is_the_first(interval: dict[str, Any], first: str) -> None:
    found = due(today=dt.date(2020, 1, 10), hours=0, **interval)
    assert (found.state, found.first) == ("ok", first)


def test_which_comes_first_is_not_guessed_from_a_few_days() -> None:
    """In the first month the hours run say nothing about the hours of a year."""
    assert due(today=dt.date(2020, 1, 20), hours=400).first is None
    assert due(today=dt.date(2020, 3, 1), hours=400).first == "hours"  # 60 days, 2400 h/y
    assert due(today=dt.date(2020, 3, 1), hours=0).first is None  # not run at all


@pytest.mark.parametrize(
    ("read", "hours", "expected"),
    [
        (dt.date(2022, 1, 1), 500, 500 * 3653 / 731),  # 731 days of use, 3653 to the date
        (dt.date(2022, 1, 1), 5000, 20_000),  # the hours are up first
        (dt.date(2020, 1, 30), 400, 20_000),  # 29 days tell nothing, however long they are past
        (dt.date(2022, 1, 1), 0, 20_000),
    ],
)
def test_the_hours_at_which_it_is_due_by_the_use_so_far(
    read: dt.date, hours: float, expected: float
) -> None:
    found = due(today=dt.date(2023, 1, 1), hours=hours, hours_date=read)
    assert found.expected_hours == pytest.approx(expected)  # rounding
    assert found.due_hours == 20_000


def test_years_alone_are_told_in_hours_once_the_use_is_known() -> None:
    known = due(today=dt.date(2020, 12, 31), hours=365, renew_hours=None)  # 1 h a day
    assert known.expected_hours == pytest.approx(3653)
    new = due(today=dt.date(2020, 1, 20), hours=19, renew_hours=None)
    assert (new.expected_hours, new.first) == (None, "date")


def test_hours_that_are_up_come_first() -> None:
    assert due(today=dt.date(2020, 1, 5), hours=20_000).first == "hours"


@pytest.mark.parametrize(
    ("fitted", "years", "expected"),
    [
        (dt.date(2024, 2, 29), 1, dt.date(2025, 2, 28)),
        (dt.date(2024, 2, 29), 4, dt.date(2028, 2, 29)),
        (dt.date(2096, 2, 29), 4, dt.date(2100, 2, 28)),  # 2100 is no leap year
        (dt.date(2024, 8, 31), 0.5, dt.date(2025, 2, 28)),
        (dt.date(2023, 8, 31), 0.5, dt.date(2024, 2, 29)),
        (dt.date(2024, 12, 31), 1.25, dt.date(2026, 3, 31)),
        (dt.date(2024, 11, 30), 6, dt.date(2030, 11, 30)),
    ],
)
def test_calendar(fitted: dt.date, years: float, expected: dt.date) -> None:
    """Gregorian calendar: a day that the month does not have becomes its last."""
    found = due(today=fitted, hours=0, fitted=fitted, renew_years=years)
    assert found.due_date == expected


@given(
    days=st.integers(0, 5000),
    hours=st.floats(0, 30_000),
    later_days=st.integers(0, 500),
    more_hours=st.floats(0, 3000),
)
def test_time_never_makes_a_damper_younger(
    days: int, hours: float, later_days: int, more_hours: float
) -> None:
    order = ["ok", "due-soon", "overdue"]
    today = FITTED + dt.timedelta(days=days)
    now = due(today=today, hours=hours)
    then = due(today=today + dt.timedelta(days=later_days), hours=hours + more_hours)
    assert order.index(then.state) >= order.index(now.state)
    assert (then.due_date, then.due_hours) == (now.due_date, now.due_hours)


def test_json_form() -> None:
    found = due(today=dt.date(2022, 1, 1), hours=500).to_dict()
    expected = {"state": "ok", "due_date": "2030-01-01", "due_hours": 20_000.0, "first": "date"}
    assert found.items() >= expected.items()
    assert list(found)[:4] == list(expected)


# Both limits, and the range of the one that only use can tell


@pytest.mark.parametrize(
    ("hours_per_year", "first"),
    [(200, "date"), (800, "date"), (1000, "hours"), (2000, "hours")],
)
def test_a_common_interval(hours_per_year: float, first: str) -> None:
    """4500 h or 5 years, whichever first: common practice, no source. They meet at 900 h/y."""
    found = due(
        today=dt.date(2022, 1, 1), hours=2 * hours_per_year, renew_hours=4500, renew_years=5
    )
    assert (found.state, found.first) == ("ok", first)
    assert (found.due_date, found.due_hours) == (dt.date(2025, 1, 1), 4500)


@pytest.mark.parametrize(
    ("hours_per_year", "certain"), [(20, True), (800, False), (1000, False), (8000, True)]
)
def test_the_first_is_certain_only_where_the_range_says_so(
    hours_per_year: float, certain: bool
) -> None:
    found = due(
        today=dt.date(2022, 1, 1), hours=2 * hours_per_year, renew_hours=4500, renew_years=5
    )
    assert found.first_certain is certain
    assert found.use is not None
    at_date = found.use.hours_at(dt.date(2025, 1, 1))
    assert certain is not (at_date.low < 4500 < at_date.high)


def test_when_the_hours_are_reached_by_the_use_so_far() -> None:
    found = due(today=dt.date(2022, 1, 1), hours=731, renew_hours=1461)  # 1 h a day
    assert found.hours_reached is not None
    reached = found.hours_reached
    assert reached.middle == dt.date(2024, 1, 1)  # 730 days later
    assert reached.early is not None
    assert reached.late is not None
    assert dt.date(2022, 1, 1) < reached.early < reached.middle < reached.late
    assert found.expected_date == reached.middle  # before the date in 2030
    told = found.to_dict()
    assert told["due_hours_date"] == "2024-01-01"
    assert (told["due_hours_date_low"], told["due_hours_date_high"]) == (
        reached.early.isoformat(),
        reached.late.isoformat(),
    )
    assert told["hours_per_year"] == pytest.approx(365.25)
    assert told["hours_per_year_low"] < 365.25 < told["hours_per_year_high"]
    assert told["hours_per_year_told"] == "from 2 readings over 2.0 years"


def test_what_is_known_from_before_the_fitting_tells_the_use_too() -> None:
    """A damper of yesterday on an engine that has run 300 h a year for three years."""
    known = [(dt.date(2017 + i, 1, 1), 300.0 * i) for i in range(4)]
    today = FITTED + dt.timedelta(days=1)
    new: dict[str, Any] = {"today": today, "hours": 900, "fitted_hours": 900.0}
    assert due(**new).first is None
    found = due(**new, use=use(known, today))
    assert (found.first, found.due_hours) == ("date", 20_900)
    assert found.expected_hours == pytest.approx(900 + 3000, rel=0.01)


# What is first whatever the use


@pytest.mark.parametrize(
    ("days_left", "first"), [(900, None), (834, None), (833, "date"), (9, "date")]
)
def test_the_date_is_first_where_no_clock_could_reach_the_hours(
    days_left: int, first: str | None
) -> None:
    """20 000 h are 833.3 days of 24 h. Nothing is known of the use: the hours stood still."""
    found = due(today=dt.date(2030, 1, 1) - dt.timedelta(days=days_left), hours=0)
    assert found.use is None
    assert (found.first, found.first_certain) == (first, first is not None)


def test_hours_that_are_up_before_the_date_are_first_for_certain() -> None:
    found = due(today=dt.date(2020, 1, 5), hours=20_000)
    assert (found.first, found.first_certain) == ("hours", True)


def test_where_both_are_past_the_readings_say_which_came_first() -> None:
    known = [(FITTED, 0.0), (dt.date(2025, 1, 1), 10_000.0), (dt.date(2029, 1, 1), 21_000.0)]
    known += [(dt.date(2031, 1, 1), 22_000.0)]
    found = due(today=dt.date(2031, 2, 1), hours=22_000, use=use(known, dt.date(2031, 2, 1)))
    assert (found.state, found.first, found.first_certain) == ("overdue", "hours", True)
    assert found.hours_reached is not None
    assert found.hours_reached.early == dt.date(2025, 1, 1)
    assert found.hours_reached.late == dt.date(2029, 1, 1)

    late = [(FITTED, 0.0), (dt.date(2030, 6, 1), 19_000.0), (dt.date(2031, 1, 1), 22_000.0)]
    found = due(today=dt.date(2031, 2, 1), hours=22_000, use=use(late, dt.date(2031, 2, 1)))
    assert (found.state, found.first, found.first_certain) == ("overdue", "date", True)


def test_a_single_limit_is_certain_and_no_limit_is_none() -> None:
    assert due(today=FITTED, hours=0, renew_hours=None).first_certain
    nothing = due(today=FITTED, hours=0, renew_hours=None, renew_years=None)
    assert (nothing.first, nothing.first_certain, nothing.expected_date) == (None, False, None)


# Hours read long ago


def test_hours_that_may_be_up_since_the_meter_was_read_are_due_soon_and_say_so() -> None:
    read = dt.date(2022, 1, 1)
    quick = {"renew_hours": 4000, "hours": 3000, "hours_date": read}
    assert due(today=read, **quick).state == "ok"
    later = due(today=dt.date(2022, 10, 1), **quick)  # 1500 h/y: 4000 h in September
    assert later.state == "due-soon"  # never overdue by a guess
    assert later.remarks == (
        "By the use so far the 4000 h may have been reached since the hours were read on "
        "2022-01-01: read the meter.",
    )
    long_ago = due(today=dt.date(2023, 6, 1), **quick)
    assert long_ago.remarks == (
        "The hours were last read on 2022-01-01: read the meter.",
        "By the use so far the 4000 h may have been reached since 2022-01-01.",
    )
    near = due(today=dt.date(2022, 7, 15), **quick)  # about 3800 h by then
    assert (near.state, near.remarks) == ("due-soon", ())


# A damper found on the engine


def found_on_it(**given: Any) -> Renewal:
    return due(**({"today": dt.date(2022, 1, 1), "hours": 500, "as_found": True} | given))


def test_the_age_of_a_damper_found_is_not_known() -> None:
    found = found_on_it()
    assert (found.state, found.due_date, found.due_hours) == ("unknown", None, None)
    assert (found.first, found.expected_hours, found.years_from) == (None, None, None)
    assert [text.split(",")[0] for text in found.remarks] == [
        "It was on the engine before the record began",
        "Its age is not known either; look for the date it was made and state it.",
    ]


def test_its_years_count_from_the_day_it_was_made_where_that_is_stated() -> None:
    found = found_on_it(made_on=dt.date(2012, 3, 15))
    assert (found.state, found.due_date, found.due_hours) == (
        "due-soon",
        dt.date(2022, 3, 15),
        None,
    )
    assert found.first is None  # its hours are a limit too, and not known
    assert found.remarks == (
        "It was on the engine before the record began, so its own hours are not known: by hours "
        "it may be due earlier.",
    )
    years_only = found_on_it(made_on=dt.date(2018, 3, 15), renew_hours=None)
    assert (years_only.state, years_only.first, years_only.remarks) == ("ok", "date", ())


@pytest.mark.parametrize(
    "given", [{"today": dt.date(2030, 1, 1)}, {"hours": 20_000.0}, {"hours": 20_500.0}]
)
def test_one_that_was_found_too_long_ago_is_overdue_whatever_its_age(given: dict[str, Any]) -> None:
    """It is older than the record; the record alone is longer than the interval."""
    found = found_on_it(**given)
    assert (found.state, found.due_date, found.due_hours) == ("overdue", None, None)
    assert "longer than its maker allows" in found.remarks[0]
    one_less = {"today": dt.date(2029, 12, 31)} if "today" in given else {"hours": 19_999.0}
    assert found_on_it(**one_less).state == "unknown"


# Made and fitted


def test_years_may_count_from_the_day_it_was_made() -> None:
    made = dt.date(2017, 5, 31)
    found = due(today=dt.date(2022, 1, 1), hours=500, made_on=made, counts_from="made")
    assert (found.due_date, found.years_from) == (dt.date(2027, 5, 31), made)
    assert found.due_hours == 20_000  # hours count from the fitting
    assert found.remarks == ()
    told = found.to_dict()
    assert (told["made_on"], told["years_from"]) == ("2017-05-31", "2017-05-31")


def test_a_damper_that_lay_long_before_it_was_fitted_is_a_doubt() -> None:
    """Rubber ages on the shelf too: common practice, no source."""
    old = due(today=dt.date(2022, 1, 1), hours=500, made_on=dt.date(2017, 5, 31))
    assert (old.due_date, old.years_from) == (dt.date(2030, 1, 1), FITTED)
    assert old.remarks[0].startswith("It was made 2.6 years before it was fitted")
    assert due(today=dt.date(2022, 1, 1), hours=500, made_on=dt.date(2019, 6, 1)).remarks == ()


# Edges


def test_fitted_today_and_not_run_since() -> None:
    new = due(today=FITTED, hours=0)
    assert (new.state, new.use, new.hours_reached, new.first) == ("ok", None, None, None)
    assert new.expected_date == dt.date(2030, 1, 1)
    still = due(today=dt.date(2025, 1, 1), hours=0)
    assert (still.state, still.use, still.first) == ("ok", None, None)


def test_hours_are_written_as_the_numbers_that_json_has() -> None:
    told = due(today=dt.date(2022, 1, 1), hours=20).to_dict()
    assert told["due_hours_date"] is None  # not within 30 years
    assert json.loads(json.dumps(told, allow_nan=False)) == told
