"""When a damper is due, whatever the trend says."""

import datetime as dt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vibetrend.engine import Damper
from vibetrend.installation import Renewal, renewal

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
) -> Renewal:
    return renewal(
        Damper(renew_hours=renew_hours, renew_years=renew_years),
        fitted_date=fitted,
        fitted_hours=fitted_hours,
        today=today,
        hours=hours,
        hours_date=hours_date or today,
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
    assert found.to_dict() == {
        "state": "unknown",
        "due_date": None,
        "due_hours": None,
        "first": None,
    }


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
    assert due(today=dt.date(2022, 1, 1), hours=500).to_dict() == {
        "state": "ok",
        "due_date": "2030-01-01",
        "due_hours": 20_000.0,
        "first": "date",
    }
