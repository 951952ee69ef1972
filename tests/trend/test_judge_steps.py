"""The judge's steps against published values, closed forms and a second route."""

import numpy as np
import pytest
import statsmodels.api as sm
from histories import history, one_order, scale
from scipy import stats

from vibetrend.trend.bend import bank_of_bends, contrast, find_bends, normal_deviate
from vibetrend.trend.forecast import forecast
from vibetrend.trend.judge import judge
from vibetrend.trend.placements import common_shift, sort_out
from vibetrend.trend.scatter import usual_scatter
from vibetrend.trend.visits import standing_alone, tame, visit_means, wild_days


def test_contrast_equals_weighted_least_squares():
    """Second route: statsmodels WLS of level and bend, errors of known variance."""
    rng = np.random.default_rng(1)
    hours = np.array([0.0, 10, 20, 200, 380, 560, 740])
    variance = rng.uniform(0.1, 0.5, (2, hours.size))
    change = rng.normal(0, 0.6, (2, hours.size))
    ramps, steps, _ = bank_of_bends(hours, 2)
    bends = np.concatenate([ramps, steps])
    numerator, spread = contrast(change, 1 / variance, bends)
    for f in range(2):
        for k, bend in enumerate(bends):
            fit = sm.WLS(change[f], sm.add_constant(bend), weights=1 / variance[f]).fit(
                cov_type="fixed scale", cov_kwds={"scale": 1.0}
            )
            assert numerator[f, k] / np.sqrt(spread[f, k]) == pytest.approx(fit.tvalues[1])


def test_hours_to_limit_example_slope():
    """Exact least squares: 0 .02 .05 .06 .09 .11 every 250 h rises by 11/125000 an hour."""
    hours = 250.0 * np.arange(6)
    ratio = np.array([[0, 0.02, 0.05, 0.06, 0.09, 0.11]])
    numerator, spread = contrast(ratio, np.ones((1, 6)), hours[None] / 1250)
    assert numerator[0, 0] / spread[0, 0] / 1250 == pytest.approx(11 / 125000, rel=1e-12)


@pytest.mark.parametrize("degrees", [10.0, 20.0, 40.0])
@pytest.mark.parametrize("t", [1.0, 3.0, 5.0])
def test_normal_deviate_of_t(t, degrees):
    """Second route: exact tail areas of Student's t. 0.02 is small beside a threshold of 4.5."""
    exact = stats.norm.isf(stats.t.sf(t, degrees))
    assert normal_deviate(np.array([t, -t]), np.array(degrees)) == pytest.approx(
        [exact, -exact], abs=0.02
    )


def test_prediction_factor_of_a_small_baseline():
    """The jump of one day beyond a baseline of n is judged as by the prediction interval.

    Closed form t(0.975, n - 1) sqrt(1 + 1 / n): 3.0414 for n = 5, 2.3726 for n = 10; at them the
    deviate is 1.960.
    """
    for n, factor in ((5, 3.0414), (10, 2.3726)):
        change = np.array([[*np.linspace(-1, 1, n), factor]])
        change[0, :n] /= change[0, :n].std(ddof=1)
        bends = find_bends(
            change, np.ones((1, n + 1)), np.arange(n + 1.0), first=n - 1,
            degrees=np.array([n - 1.0]),
        )  # fmt: skip
        assert bends.jump_z[0] == pytest.approx(1.960, abs=0.02)  # as in the test above


def test_find_bends_finds_step_and_ramp():
    hours = np.arange(10) * 100.0
    step = np.where(hours >= 600, 3.0, 0.0)
    ramp = np.maximum(hours - 400, 0) / 100
    found = find_bends(
        np.array([step, -ramp]), np.full((2, 10), 0.25), hours, first=2, degrees=np.full(2, 1e6)
    )
    assert found.since_hours == pytest.approx([550, 400])
    # six visits against four, each of sd 0.5: 3 / (0.5 sqrt(1/6 + 1/4))
    assert found.z[0] == pytest.approx(3 / (0.5 * np.sqrt(1 / 6 + 1 / 4)), rel=1e-3)
    assert found.z[1] < -5
    assert found.first_visit.tolist() == [6, 5]


def test_common_shift_ignores_the_orders_that_moved():
    quiet = np.linspace(-0.2, 0.2, 14)
    moved = quiet.copy()
    moved[-3:] += 20.0
    assert common_shift(quiet) == pytest.approx(0.0, abs=1e-12)
    assert common_shift(moved) == pytest.approx(common_shift(moved - 5) + 5)
    assert common_shift(moved) == pytest.approx(0.0, abs=0.1)
    # fewer than seven: the median; two or three: the median with 0; one: nothing; none: unknown
    assert common_shift(np.array([1.0, 2, 3, 50, np.nan])) == pytest.approx(2.5)
    assert common_shift(np.array([4.0, 4, 5])) == 4
    assert common_shift(np.array([-4.0, 5, np.nan])) == 0
    assert common_shift(np.array([0.2, 9, np.nan])) == pytest.approx(0.2)
    assert common_shift(np.array([9.0])) == 0
    assert np.isnan(common_shift(np.full(5, np.nan)))


def test_trimmed_mean_equals_scipy():
    values = np.random.default_rng(3).normal(size=(50, 14))
    np.testing.assert_allclose(common_shift(values), stats.trim_mean(values, 0.25, axis=1))


def _levels(seed: int, visits: int = 12, features: int = 14) -> np.ndarray:
    rng = np.random.default_rng(seed)
    day = rng.normal(0, 0.3, (visits, 1, features))
    return day + rng.normal(0, 0.6, (visits, 3, features)) + rng.normal(0, 0.5, (visits, 3, 1))


def _sorted_out(levels: np.ndarray):
    features = levels.shape[-1]
    every = np.ones(features, dtype=bool)
    return sort_out(
        levels, baseline=np.arange(len(levels)) < 3, is_order=every, shares_gain=every,
        placement_sd=np.full(features, 0.75), day_sd=np.full(features, 0.4),
    )  # fmt: skip


def test_bad_placement_is_found_and_good_ones_are_kept():
    levels = _levels(1)
    assert _sorted_out(levels).used.all()
    levels[5, 1, 4] += 8
    found = _sorted_out(levels)
    assert np.argwhere(found.disagreeing).tolist() == [[5, 1]]
    assert found.culprit[5, 1] == 4
    assert found.culprit_db[5, 1] == pytest.approx(8, abs=2.2)  # three sd of the difference


def test_two_bad_placements_that_agree_lose_to_one_that_agrees_with_the_past():
    levels = _levels(2)
    levels[5, :2] += np.random.default_rng(9).normal(0, 4, 14)
    assert _sorted_out(levels).used[5].tolist() == [False, False, True]


def test_a_true_change_in_all_placements_is_no_bad_placement():
    levels = _levels(3)
    levels[6:, :, 3] += 10
    assert _sorted_out(levels).used.all()


def test_scatter_is_learned_within_a_quarter_after_ten_checkups():
    """Twelve visits of three: the boat's own scatter, from a prior that is off by half."""
    placement, day = [], []
    for seed in range(20):
        changes = _sorted_out(_levels(seed)).changes
        found = usual_scatter(
            changes, prior_placement=np.full(14, 1.2), prior_day=np.full(14, 0.6),
            pooled=np.ones(14, dtype=bool),
        )  # fmt: skip
        placement.append(found.placement)
        day.append(found.day)
    assert np.median(placement) == pytest.approx(0.6, rel=0.1)
    assert np.median(day) == pytest.approx(0.3, rel=0.25)


def test_scatter_without_data_is_the_prior():
    found = usual_scatter(
        np.zeros((1, 1, 2)), prior_placement=np.array([0.7, 0.1]), prior_day=np.array([0.4, 0.2]),
        pooled=np.array([True, False]),
    )  # fmt: skip
    assert found.placement == pytest.approx([0.7, 0.1])
    assert found.day == pytest.approx([0.4, 0.2])


def test_visit_mean_weighs_by_measurement_variance():
    scatter = usual_scatter(
        np.zeros((1, 1, 1)), prior_placement=np.ones(1), prior_day=np.array([0.5]),
        pooled=np.array([True]),
    )  # fmt: skip
    changes, extra = np.array([[[0.0], [4.0]]]), np.array([[[0.0], [3.0]]])
    mean, variance = visit_means(changes, extra, scatter)
    assert mean[0, 0] == pytest.approx(4 * 0.25 / 1.25)
    assert variance[0, 0] == pytest.approx(0.25 + 1 / 1.25)


def test_tame_limits_one_day_and_lets_two_that_agree_pass():
    sd = np.full((1, 6), 1.0)
    assert tame(np.array([[0.0, 0, 0, 0, 0, 8]]), sd, first=2)[0, -1] == 2.5
    assert tame(np.array([[0.0, 0, 0, 0, 8, 8]]), sd, first=2)[0, -2:].tolist() == [8, 8]
    past, latest = np.array([[0.0, 0, 0, 8, 0, 0]]), np.array([[0.0, 0, 0, 0, 0, 8]])
    assert np.flatnonzero(wild_days(past, sd, first=2)[0]).tolist() == [3]
    assert not wild_days(latest, sd, first=2).any()


def test_a_baseline_of_one_day_is_no_wild_day():
    jump = one_order(3.0, lambda hours: 8.0 * (hours > 100))
    assert judge(history(checkups=2, baseline_days=1, drift=jump)).state == "past-limit"


def test_a_wild_day_does_not_pull_the_next_one():
    """It is left out before neighbours are asked, so the day after it counts as it is."""
    table = history(checkups=9)
    wild = scale(table, (table["visit"] == "v10") & (table["order"] == 2.0), 9.0)
    row = judge(wild).orders.set_index("order").loc[2.0]
    assert row["state"] == "no-change-seen"
    # one check-up scatters by 0.46 dB here, and most that is seen of it is shrunk away
    assert abs(row["change_db"]) < 0.5


def test_a_missing_checkup_is_nobody_s_neighbour():
    """Two days that agree are two days that agree, whatever was missed between them."""
    change = np.array([[0.0, 0, 0, 8, 0, 8, 0, 8]])
    variance = np.ones_like(change)
    variance[0, [4, 6]] = np.inf  # the order could not be seen there
    assert not wild_days(change, variance, first=2)[0, [3, 5, 7]].any()
    assert tame(change, variance, first=2)[0, [3, 5, 7]].tolist() == [8, 8, 8]


def test_standing_alone_names_one_day_but_no_lasting_change():
    change = np.random.default_rng(4).normal(0, 0.5, (14, 9))
    spot = np.random.default_rng(5).normal(0, 3, 14)
    variance = np.full(change.shape, 0.25)
    one, two = change.copy(), change.copy()
    one[:, 5] += spot
    two[:, 5:] += spot[:, None]
    assert np.flatnonzero(standing_alone(one, variance)).tolist() == [5]
    assert not standing_alone(two, variance).any()
    assert not standing_alone(change, variance).any()


def test_forecast_of_a_clean_ramp():
    """Almost no noise: only the shape is open, and a ramp of 1 dB per 500 h fits best."""
    hours = np.concatenate([[0, 10, 20], 20 + 180.0 * np.arange(1, 13)])
    change = np.maximum(hours - 560, 0)[None] / 500
    ahead = forecast(change, np.full(change.shape, 0.01), hours, first=2, limit=np.array([6.0]))
    left = (6 - change[0, -1]) * 500
    assert ahead.change[0] == pytest.approx(change[0, -1], rel=0.02)
    assert ahead.slope[0] == pytest.approx(1 / 500, rel=0.1)
    assert ahead.hours_low[0] < left < ahead.hours_high[0]
    assert ahead.hours[0] == pytest.approx(left, rel=0.1)
    assert ahead.never[0] < 0.01


def test_forecast_of_a_step_and_of_nothing_is_never():
    hours = np.concatenate([[0, 10, 20], 20 + 180.0 * np.arange(1, 13)])
    change = np.array([3.0 * (hours > 1000), np.zeros(hours.size)])
    ahead = forecast(
        change, np.full(change.shape, 0.05), hours, first=2, limit=np.array([6.0, 6.0])
    )
    assert (ahead.never > 0.9).all()
    assert ahead.hours_high.tolist() == [np.inf, np.inf]


def test_forecast_beyond_the_limit_is_now():
    hours = np.arange(8) * 100.0
    change = np.where(hours > 350, 9.0, 0.0)[None]
    ahead = forecast(change, np.full((1, 8), 0.05), hours, first=2, limit=np.array([6.0]))
    assert (ahead.hours[0], ahead.hours_low[0], ahead.hours_high[0]) == (0, 0, 0)
