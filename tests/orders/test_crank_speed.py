"""Speed fluctuation per order from tooth times whose truth is a closed form."""

import numpy as np
import pytest
from test_teeth_track import Toothed

from vibetrend.errors import MeasureError
from vibetrend.orders.amplitudes import COLUMNS
from vibetrend.orders.crank_speed import TOOTH_SPACING, crank_speed_orders

RMS = {0.5: 0.15, 1.0: 0.12, 1.5: 0.08, 2.0: 0.16, 3.0: 0.05}
WHEELS = {
    "60-2": Toothed(rms=RMS),
    "60-2 displaced beside the gap": Toothed(rms=RMS, displaced=0.005),
    "36-2-1": Toothed(rms=RMS, teeth=36, gaps=((15, 2), (30, 1))),
    "24": Toothed(rms=RMS, teeth=24, gaps=()),
    "geared": Toothed(rms=RMS, teeth=17.6, gaps=()),
}


@pytest.mark.parametrize("name", WHEELS)
def test_known_amplitudes_while_the_speed_hunts(name: str) -> None:
    table = crank_speed_orders(WHEELS[name].tacho(1)).set_index("order")
    for order, rms in RMS.items():
        row = table.loc[order]
        assert row["visible"]
        assert row["amplitude"] == pytest.approx(rms, abs=4 * row["standard_error"])
        assert row["standard_error"] < 0.06 * rms
    assert not table.drop(index=list(RMS))["visible"].any()
    assert table["frequency_hz"][1.0] == pytest.approx(17, rel=0.002)  # hunting not yet evened out


def test_columns_and_units() -> None:
    table = crank_speed_orders(WHEELS["60-2"].tacho(2), highest=3.0)
    assert list(table.columns) == COLUMNS
    assert table["order"].tolist() == [0.5, 1, 1.5, 2, 2.5, 3]
    assert set(table["unit"]) == {"rad/s"}
    assert table["velocity_mm_s"].isna().all()
    assert table["by_axis"][0] == {"crank": table["amplitude"][0]}
    assert table["variation_percent"].max() < 5  # nothing breathes
    assert TOOTH_SPACING.code == "tooth-spacing"


def test_no_tooth_interval_averages_an_order_down() -> None:
    """Speeds over intervals of 24 teeth would lose sin(x) / x = 7 % of order 5, x = 5 pi / 24."""
    wheel = Toothed(rms={5.0: 0.3}, teeth=24, gaps=())
    row = crank_speed_orders(wheel.tacho(3)).set_index("order").loc[5.0]
    assert row["amplitude"] == pytest.approx(0.3, abs=4 * row["standard_error"])
    assert row["standard_error"] < 0.01 * 0.3


@pytest.mark.parametrize("hunting", [0.0, 0.01, 0.03])
def test_wander_leaks_into_no_order(hunting: float) -> None:
    wheel = Toothed(hunting=hunting, spacing=1e-4)
    table = crank_speed_orders(wheel.tacho(4))
    half = table[table["order"] % 1 != 0]
    assert not half["visible"].any()
    assert half["floor"].iloc[0] < 0.002  # rad/s


def test_intervals_cover_half_and_whole_orders() -> None:
    """20 draws of 4 orders: 76 of 80 expected, 69 or fewer with a chance of 0.002."""
    z = []
    for seed in range(20):
        wheel = Toothed(
            rms=RMS, teeth=36, gaps=((15, 2), (30, 1)), spacing=2e-5, seconds=4.0, hunting=0.003
        )
        table = crank_speed_orders(wheel.tacho(seed)).set_index("order")
        z += [
            (table["amplitude"][order] - RMS[order]) / table["standard_error"][order]
            for order in (0.5, 1.0, 1.5, 2.0)
        ]
    assert np.sum(np.abs(z) < 1.96) > 69
    assert np.sqrt(np.mean(np.square(z))) > 0.6  # and not by being far too wide


def test_places_of_teeth_leave_half_orders_alone_and_are_owned_up_to() -> None:
    wheel = Toothed(rms=RMS, spacing=1e-3)
    table = crank_speed_orders(wheel.tacho(5)).set_index("order")
    for order in (0.5, 1.5):
        error = table["standard_error"][order]
        assert table["amplitude"][order] == pytest.approx(RMS[order], abs=4 * error)
        assert error < 0.01 * RMS[order]
    for order in (1.0, 2.0, 3.0):
        error = table["standard_error"][order]
        assert table["amplitude"][order] == pytest.approx(RMS[order], abs=4 * error)
    assert table["reason"][3.0] == "cannot be told from the spacing of the teeth"


def test_what_teeth_cannot_show() -> None:
    few = Toothed(teeth=4, gaps=())
    with pytest.raises(MeasureError, match=r"4 teeth a turn .* order 0\.5 looks like order 3\.5"):
        crank_speed_orders(few.tacho(6))
    short = Toothed(seconds=0.4)
    with pytest.raises(MeasureError, match=r"covers \d\.\d turns, too few .* 8 are needed"):
        crank_speed_orders(short.tacho(7))
    # order 4 of 16 teeth is order 12 seen backwards
    coarse = Toothed(teeth=16, gaps=())
    assert crank_speed_orders(coarse.tacho(8))["order"].max() == 3.5
