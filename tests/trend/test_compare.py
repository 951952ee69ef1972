"""Two histories beside each other: a known step is found, and so is its uncertainty."""

import numpy as np
import pandas as pd
import pytest
from histories import COMMON_DB, ORDERS, history, scale

from vibetrend.errors import JudgeError
from vibetrend.trend import compare
from vibetrend.trend.priors import PRIOR_DAY_DB, PRIOR_PLACEMENT_DB


def three_days(seed: int, *, placements: int = 3, days: int = 3) -> pd.DataFrame:
    return history(checkups=0, baseline_days=days, placements=placements, seed=seed)


def test_a_step_in_one_order_is_found_beside_what_all_did() -> None:
    earlier, later = three_days(1), three_days(2)
    later = scale(later, later["order"] > 0, 3.0)
    later = scale(later, later["order"] == 2.5, 4.0)
    found = compare(earlier, later)
    # Three days of three placements against as many: 0.5 dB in common at most, thrice.
    assert found.common_db == pytest.approx(3.0, abs=3 * COMMON_DB * np.sqrt(2 / 9))
    own = found.rows.set_index("order")["difference_db"] - found.common_db
    error = found.rows.set_index("order")["standard_error_db"]
    assert own.idxmax() == 2.5
    assert abs(own[2.5] - 4.0) < 3 * error[2.5]
    assert (own.drop(2.5).abs() < 3.5 * error.drop(2.5)).all()  # 13 orders: once in 160 tries
    assert list(found.rows) == [
        *("feature", "order", "earlier", "later", "difference_db", "standard_error_db")
    ]
    ratio = found.rows["later"] / found.rows["earlier"]
    np.testing.assert_allclose(20 * np.log10(ratio), found.rows["difference_db"])


def test_amplitudes_are_means_of_check_ups_that_are_means_of_placements() -> None:
    """By hand: a day of 1, 1, 1 and 8, and one of 16 is 2^((3/4 + 4) / 2)."""
    rows = [
        (visit, place, value)
        for visit, values in (("a", (1, 1, 1, 8)), ("b", (16,)))
        for place, value in enumerate(values)
    ]
    table = pd.DataFrame(
        {
            "recording": [f"{visit}{place}" for visit, place, _ in rows],
            "visit": [visit for visit, _, _ in rows],
            "hours": 1.0,
            "order": 1.0,
            "amplitude": [float(value) for *_, value in rows],
            "standard_error": np.nan,
            "baseline": False,
        }
    )
    (row,) = compare(table, table).rows.to_dict(orient="records")
    assert row["earlier"] == pytest.approx(2 ** ((3 / 4 + 4) / 2))
    variance = (2 * PRIOR_DAY_DB**2 + PRIOR_PLACEMENT_DB**2 * (1 / 4 + 1)) / 4
    assert row["standard_error_db"] == pytest.approx(np.sqrt(2 * variance))


def test_the_standard_error_is_that_of_a_world_with_the_prior_scatter() -> None:
    """80 pairs of unequal counts, nothing changed; 14 orders each: 1 / sqrt(2 * 1120) = 2.1 %.

    What all orders share is estimated from the inner eight of them, and one order of 14 is
    itself part of it: together 5 % of the spread.
    """
    rng = np.random.default_rng(5)
    first = (
        three_days(0, placements=3).loc[lambda t: t["visit"] != "v02"],
        three_days(0, placements=2),
    )
    own = []
    for _ in range(80):
        pair = []
        for table in first:
            visit, day = np.unique(table["visit"], return_inverse=True)
            recording, place = np.unique(table["recording"], return_inverse=True)
            order = np.searchsorted(ORDERS, table["order"])
            db = (
                rng.normal(0, PRIOR_DAY_DB, (visit.size, ORDERS.size))[day, order]
                + rng.normal(0, COMMON_DB, recording.size)[place]
                + rng.normal(0, PRIOR_PLACEMENT_DB, len(table))
            )
            pair.append(table.assign(amplitude=10 ** (db / 20)))
        found = compare(*pair)
        own.append(found.rows["difference_db"] - found.common_db)
    said = found.rows["standard_error_db"]
    assert said.nunique() == 1
    assert np.std(own) == pytest.approx(said.iloc[0], rel=0.09)


def test_only_what_more_than_half_of_both_show_is_compared() -> None:
    earlier, later = three_days(1, days=1, placements=2), three_days(2, days=1, placements=3)
    hidden = (earlier["order"] == 1.0) & (earlier["recording"] == "r000")  # half of them
    earlier["visible"] = ~hidden
    later["visible"] = ~((later["order"] == 2.0) & (later["recording"] == "r000"))  # a third
    shown = set(compare(earlier, later).rows["order"])
    assert shown == set(ORDERS) - {1.0}
    swapped = compare(later, earlier)
    assert set(swapped.rows["order"]) == shown
    np.testing.assert_allclose(
        swapped.rows["difference_db"], -compare(earlier, later).rows["difference_db"]
    )


def test_a_driven_line_is_known_by_its_name_not_by_its_creeping_order() -> None:
    earlier = three_days(1).assign(feature="order")
    line = earlier.loc[earlier["order"] == 1.0].assign(feature="driven: alternator", order=2.2)
    later = pd.concat([earlier, line.assign(order=2.19, amplitude=1.0)])
    found = compare(pd.concat([earlier, line.assign(amplitude=0.5)]), later)
    (row,) = found.rows.loc[found.rows["feature"] != "order"].to_dict(orient="records")
    assert (row["feature"], row["order"]) == ("driven: alternator", 2.19)
    assert row["difference_db"] == pytest.approx(20 * np.log10(2))
    assert found.common_db == pytest.approx(0.0)  # a line is no part of what orders share


def test_nothing_in_common_is_said_so_and_nothing_at_all_is_refused() -> None:
    table = three_days(1)
    low, high = table.loc[table["order"] < 3], table.loc[table["order"] > 4]
    assert compare(low, high).to_dict() == {"rows": [], "common_db": None}
    with pytest.raises(JudgeError, match="no rows"):
        compare(table.iloc[:0], table)
