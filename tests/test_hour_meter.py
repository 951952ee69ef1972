"""True hours from what a meter shows. Worked by hand; a life of meters told forward is the second
route."""

import datetime as dt
import math
import random

import pytest

from vibetrend.hour_meter import MeterChange, change_hours, shown_hours, true_hours

DAY = dt.date(2026, 6, 1)
BEFORE, AFTER = DAY - dt.timedelta(days=30), DAY + dt.timedelta(days=30)


def replaced(before: float, after: float, date: dt.date = DAY) -> MeterChange:
    return MeterChange(date, before, after, "replaced")


@pytest.mark.parametrize("shown", [0.0, 0.1, 3120.0, 12345.6])
def test_without_changes_the_meter_shows_the_hours(shown: float) -> None:
    assert true_hours([], DAY, shown) == shown
    assert shown_hours([], DAY, shown) == shown


@pytest.mark.parametrize(
    ("before", "after", "date", "shown", "true"),
    [
        (5000.0, 0.0, BEFORE, 4900.0, 4900.0),
        (5000.0, 0.0, AFTER, 40.0, 5040.0),
        (5000.0, 1200.0, AFTER, 1240.0, 5040.0),  # a used meter
        (5000.0, 7000.0, BEFORE, 4900.0, 4900.0),  # one that shows more
        (5000.0, 7000.0, AFTER, 7040.0, 5040.0),
        # On the day itself: by what each meter can have shown.
        (5000.0, 0.0, DAY, 4990.0, 4990.0),
        (5000.0, 0.0, DAY, 5000.0, 5000.0),
        (5000.0, 0.0, DAY, 0.0, 5000.0),
        (5000.0, 0.0, DAY, 6.5, 5006.5),
        (5000.0, 1200.0, DAY, 1201.0, 5001.0),
        (5000.0, 7000.0, DAY, 4999.0, 4999.0),
        (5000.0, 7000.0, DAY, 7002.0, 5002.0),
        (5000.0, 4990.0, DAY, 4995.0, 4995.0),  # either could: the old one
        (5000.0, 4990.0, DAY, 5003.0, 5013.0),  # only the new one could
        # What neither can have shown is left for the logbook to refuse.
        (5000.0, 0.0, DAY, 2000.0, 2000.0),
        (5000.0, 0.0, DAY, 5010.0, 10010.0),
    ],
)
def test_a_change_counts_from_its_day(
    before: float, after: float, date: dt.date, shown: float, true: float
) -> None:
    assert true_hours([replaced(before, after)], date, shown) == true


def test_several_changes_add_up_in_whatever_order_they_come() -> None:
    changes = [
        MeterChange(dt.date(2024, 1, 1), 10000.0, 0.0, "rolled-over"),
        replaced(2500.3, 100.0, dt.date(2025, 1, 1)),
        replaced(600.4, 0.2, dt.date(2026, 1, 1)),
    ]
    # 10000; 10000 + 2500.3; 12500.3 + (600.4 - 100); sums of tenths stay tenths.
    assert change_hours(changes) == change_hours(changes[::-1]) == [10000.0, 12500.3, 13000.7]
    assert true_hours(changes[::-1], dt.date(2026, 5, 1), 1.0) == 13001.5
    assert true_hours(changes, dt.date(2025, 5, 1), 300.0) == 12700.3
    assert true_hours(changes, dt.date(2023, 5, 1), 9000.0) == 9000.0


def test_two_changes_on_one_day() -> None:
    """The new meter was faulty and was replaced once more that afternoon."""
    changes = [replaced(5000.0, 0.0), replaced(3.0, 800.0)]
    assert change_hours(changes) == [5000.0, 5003.0]
    shown = [4999.0, 0.0, 2.5, 800.0, 801.0]
    assert [true_hours(changes, DAY, each) for each in shown] == [
        4999.0, 5000.0, 5002.5, 5003.0, 5004.0
    ]  # fmt: skip
    assert true_hours(changes, AFTER, 850.0) == 5053.0


def test_what_is_shown_leads_back_to_the_hours() -> None:
    """A life told forward: what each meter shows is counted on, never computed from a step."""
    chance = random.Random(20264)
    date, true, shown = dt.date(2020, 1, 1), 0.0, 0.0
    changes: list[MeterChange] = []
    life = []
    for step in range(200):
        run = round(chance.uniform(0, 40), 1)
        date += dt.timedelta(days=chance.randint(2, 30))
        true, shown = round(true + run, 1), round(shown + run, 1)
        if step % 20 == 19 and shown > 60:
            new = round(chance.choice([0.0, chance.uniform(0, 9000)]), 1)
            changes.append(replaced(shown, new, date))
            date += dt.timedelta(days=1)
            shown = new
        life.append((date, true, shown))
    assert len(changes) >= 8
    for then, hours, on_meter in life:
        assert true_hours(changes, then, on_meter) == pytest.approx(hours, abs=1e-6)
        assert shown_hours(changes, then, hours) == pytest.approx(on_meter, abs=1e-6)


def test_at_the_hours_of_a_change_the_new_meter_is_read() -> None:
    changes = [replaced(5000.0, 0.0)]
    assert shown_hours(changes, DAY, 5000.0) == 0.0
    assert shown_hours(changes, DAY, 4999.9) == 4999.9
    assert shown_hours(changes, BEFORE, 4999.9) == 4999.9
    assert shown_hours(changes, AFTER, 5250.0) == 250.0


@pytest.mark.parametrize("hours", [-0.1, math.nan, math.inf])
def test_what_is_no_number_of_hours_is_refused(hours: float) -> None:
    with pytest.raises(ValueError, match="cannot be engine hours; give a number from 0 up"):
        true_hours([], DAY, hours)
    with pytest.raises(ValueError, match="cannot be engine hours"):
        shown_hours([], DAY, hours)
    for before, after in ((hours, 0.0), (5000.0, hours)):
        with pytest.raises(ValueError, match="cannot be engine hours"):
            replaced(before, after)


def test_a_change_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="'mended' is no change of a meter; it is replaced or"):
        MeterChange(DAY, 5000.0, 0.0, "mended")
    with pytest.raises(ValueError, match="shows less than before, not 5000 h after 5000 h"):
        MeterChange(DAY, 5000.0, 5000.0, "rolled-over")
