"""Where a sweep's order curves are less sure, or tell nothing new."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.orders.signal import Signal
from vibetrend.recording import FloatArray
from vibetrend.runup.curves import SPAN, Curves, grid_rpm
from vibetrend.runup.order_curves import Fitted, Windows, curves

RPM = grid_rpm(700, 2400)
ORDERS = np.array([1.0, 2.0, 4.0])


def made(span: FloatArray | float = SPAN, taken_out: tuple[float, ...] = ()) -> Curves:
    shape = (ORDERS.size, RPM.size)
    places = Windows(
        RPM, np.arange(RPM.size, dtype=float), np.full(RPM.size, 10.0), np.ones(RPM.size) * span
    )
    fit = Fitted(
        places, ORDERS, np.ones((*shape, 1), complex), np.full((*shape, 1), 1e-4), np.ones(shape)
    )
    signal = Signal.__new__(Signal)  # gains are given, so nothing of it is read
    return curves(fit, signal, unit="1", rms=np.ones(shape), taken_out=taken_out)


@pytest.mark.parametrize("hertz", [50.0, 60.0])
def test_an_order_is_less_sure_where_it_crosses_a_line_of_the_clock(hertz: float) -> None:
    ratio = made(taken_out=(hertz,)).variance[..., 0] / made().variance[..., 0]
    apart = np.abs(np.log(ORDERS[:, np.newaxis] * RPM / 60 / hertz))
    assert (ratio[apart < 0.005] > 4).all()
    assert_allclose(ratio[apart > 1.5 * SPAN], 1.0)
    assert (apart < 0.005).sum() >= 2


def test_wide_windows_share_their_samples_and_so_tell_fewer_speeds() -> None:
    speeds = [int(np.isfinite(made(span).value[0, :, 0]).sum()) for span in (SPAN, 0.06, 0.2)]
    assert speeds[:2] == [RPM.size, RPM.size]
    assert abs(speeds[2] - RPM.size / 4) <= 1
