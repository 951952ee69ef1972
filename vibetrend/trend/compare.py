"""Two histories beside each other: how far each feature lies apart. Information, no verdict."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from vibetrend.plain import plain
from vibetrend.plain import rows as plain_rows
from vibetrend.trend.placements import common_shift
from vibetrend.trend.priors import prior_scatter
from vibetrend.trend.rows import check

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """How far the features of two histories lie apart.

    `rows` has one row for each feature that both show: `feature`, `order`, `earlier` and `later`
    (geometric mean amplitudes), `difference_db` (the later over the earlier) and
    `standard_error_db` (of the difference without `common_db`, where nothing has changed).
    """

    rows: pd.DataFrame
    common_db: float  # part of every difference that all orders share; NaN without an order

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form: plain values, NaN as None."""
        return {"rows": plain_rows(self.rows), "common_db": plain(self.common_db)}


def compare(earlier: pd.DataFrame, later: pd.DataFrame) -> Comparison:
    """Say how far each feature lies apart in two histories.

    A check-up is the mean of its placements, a history the mean of its check-ups, in dB.

    Parameters
    ----------
    earlier, later : DataFrame
        Histories as `judge` takes them; a feature counts that more than half of the recordings
        of both show.

    Returns
    -------
    Comparison
        The standard error rests on the prior scatter of the judge and on the counts: each side
        has the variance ``(day^2 + placement^2 / placements) / check-ups``.

    Raises
    ------
    JudgeError
        If a history is empty, incomplete, contradicts itself, or holds more than one series.
    """
    found = _levels(earlier).merge(
        _levels(later), on=["feature", "number"], suffixes=("_earlier", "_later")
    )
    difference = (found["db_later"] - found["db_earlier"]).to_numpy(dtype=np.float64)
    is_order = (found["feature"] == "order").to_numpy(dtype=bool)
    rows = pd.DataFrame(
        {
            "feature": found["feature"],
            "order": found["order_later"],
            "earlier": 10 ** (found["db_earlier"] / 20),
            "later": 10 ** (found["db_later"] / 20),
            "difference_db": difference,
            "standard_error_db": np.sqrt(found["variance_earlier"] + found["variance_later"]),
        }
    )
    return Comparison(rows=rows, common_db=float(common_shift(difference[is_order])))


def _levels(history: pd.DataFrame) -> pd.DataFrame:
    """Return level and variance of each feature seen in more than half of the recordings."""
    rows = check(history)
    seen = pd.DataFrame(
        {
            "feature": rows.feature[rows.seen],
            "visit": rows.visit[rows.recording[rows.seen]],
            "db": 20 * np.log10(rows.amplitude[rows.seen]),
        }
    )
    visits = seen.groupby(["feature", "visit"])["db"].agg(["mean", "count"])
    per_feature = visits.groupby(level="feature")
    count = per_feature["count"].sum()
    often = count.index[2 * count > len(rows.recordings)]
    names = [rows.features[k][0] for k in often]
    orders = np.array([rows.features[k][1] for k in often])
    placement, day = prior_scatter(names)
    checkups = per_feature.size()[often].to_numpy()
    inverse = (1 / visits["count"]).groupby(level="feature").sum()[often].to_numpy()
    return pd.DataFrame(
        {
            "feature": names,
            "order": orders,
            # An order is known by its number; the order of a driven line creeps with its belt.
            "number": np.where(np.array(names) == "order", np.round(orders, 4), 0.0),
            "db": per_feature["mean"].mean()[often].to_numpy(),
            "variance": (day**2 * checkups + placement**2 * inverse) / checkups**2,
        }
    )
