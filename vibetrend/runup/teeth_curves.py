"""How the crank's own speed fluctuates, order by order, against its speed: from the times of teeth.

The angle of each edge is compared with the even angle g, smoothed over whole engine cycles so that
no half order is left in it,

    phi_j = g(t_j) + sum_k Re[a_k exp(2 pi i k g(t_j))] + place of the tooth,               (1)

and the a_k are fitted speed by speed as the orders of samples are (:mod:`.order_curves`). The speed
fluctuates by 2 pi i k a_k of its mean.
"""

import numpy as np

from vibetrend.errors import MeasureError
from vibetrend.orders.crank_speed import TOOTH_SPACING
from vibetrend.orders.signal import Signal
from vibetrend.orders.speed import HIGHEST_ORDER
from vibetrend.orders.teeth_track import edges_of
from vibetrend.recording import FloatArray, Note, Tacho
from vibetrend.runup.curves import Curves
from vibetrend.runup.one_way import OneWay
from vibetrend.runup.order_curves import curves, fitted, windows
from vibetrend.runup.track import Track

_MIGHT_MATTER = 12.0  # an order N - k below this passes as order k of N teeth
_SMOOTH_TURNS = 6.0  # of a Hann window, three engine cycles: its zeros are at all half orders


def teeth_curves(tacho: Tacho, track: Track, way: OneWay) -> tuple[Curves, list[Note]]:
    """Return curves in rad/s of the crank's own speed.

    Raises
    ------
    MeasureError
        If the wheel is too coarse for any order.
    """
    edges = edges_of(tacho)
    turns = edges.turns - edges.turns[0]
    density = (len(turns) - 1) / float(turns[-1])
    top = min(HIGHEST_ORDER, (density - 1) / 4)
    if (2 * tacho.teeth_per_turn) % 1 == 0:
        top = min(top, tacho.teeth_per_turn - _MIGHT_MATTER)
    if top < 0.5:
        raise MeasureError(
            f"a tacho of {tacho.teeth_per_turn:g} teeth a turn is too coarse for orders of the "
            f"crank's speed; a wheel of 13 teeth or more is needed"
        )
    even = _even_angle(edges.time, turns)
    inside = np.isfinite(even)
    time = edges.time[inside] - edges.time[inside][0]
    rate = (len(time) - 1) / float(time[-1])
    off = (turns - even)[inside]
    signal = Signal(time, off[:, np.newaxis], rate, False, 1e9, 0.0, 0.0)
    smooth = Track(edges.time[inside], even[inside], track.hertz_at(edges.time[inside]))
    places = windows(smooth, first_s=way.first_s, last_s=way.last_s)
    orders = np.arange(1, int(2 * top + 1e-9) + 1) / 2
    hertz = places.speed_rpm / 60
    fit = fitted(signal, even[inside], places, orders=orders, ratios=np.array([]), hertz=hertz)
    unit = (2 * np.pi) ** 2 * np.outer(orders, hertz) / np.sqrt(2)  # rad/s rms of a_k
    found = curves(fit, signal, unit="rad/s", rms=unit)
    whole = float(tacho.teeth_per_turn).is_integer()
    return found, [TOOTH_SPACING] if whole else []


def _even_angle(time: FloatArray, turns: FloatArray) -> FloatArray:
    """Return the angle at each edge were the crank to turn evenly; NaN near the ends.

    Time is averaged over turns, not turns over time, so that the window has whole cycles at any
    speed.
    """
    step = 1.0 / max(16, round((len(turns) - 1) / float(turns[-1])))
    grid = np.arange(0.0, turns[-1], step)
    at = np.interp(grid, turns, time)
    count = round(_SMOOTH_TURNS / step)
    window = np.hanning(count + 1)[:-1]
    window /= window.sum()
    line = np.polyfit(grid, at, 2)
    rest = at - np.polyval(line, grid)
    smooth = np.convolve(rest, window, mode="valid")
    # `valid` begins where the window does: its middle lies count / 2 steps on
    middle = grid[: len(smooth)] + step * (count - 1) / 2
    mean = smooth + np.polyval(line, middle)
    return np.asarray(np.interp(time, mean, middle, left=np.nan, right=np.nan))
