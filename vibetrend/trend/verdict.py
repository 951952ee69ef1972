"""What `judge` says of a history."""

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from vibetrend.plain import plain, rows


@dataclass(frozen=True, kw_only=True, eq=False)
class Verdict:
    """The state of one series and what it rests on.

    `orders` has one row for each judged feature, columns `feature`, `order`, `change_db` (now
    against the baseline, what everything did together taken out), `scatter_db` (standard
    deviation of one check-up when nothing changes), `state`, `evidence_z` (standard deviations
    that speak for a bend; positive for a rise, negative for a fall), `since_hours` (where the
    bend lies; NaN while none is seen), `slope_db_per_1000h`, `hours_to_limit` (median),
    `hours_to_limit_low` and `hours_to_limit_high` (90 % interval, inf for "never"),
    `probability_never`, `noticeable_db` (the step that a second day would confirm in nine cases
    of ten), `limit_db` (NaN for none), `small` (so weak that it does not matter), `at_least`
    (noise hid it at the baseline: it rose by more than is shown), `steady_share` (of the change
    that its present slope accounts for: 0 a step, 1 a ramp; NaN while it is too early to tell),
    `change_error_db` (standard error of `change_db`) and `shared_db` (of `scatter_db`, what all
    recordings of a check-up share, as an uncertain temperature; NaN where none was stated).

    `recordings` has one row for each recording: `recording`, `visit`, `used`, `why_not`.
    """

    state: str
    orders: pd.DataFrame = field(repr=False)
    common_change_db: float  # what all orders did together; NaN where it cannot be told
    common_state: str
    each_its_own_way: bool = False  # many orders moved at one time, not alike
    recordings: pd.DataFrame = field(repr=False)
    advice: list[str] = field(repr=False)  # plain sentences, most urgent first
    # Those of them that say the state and what was seen: not to be told twice beside the numbers.
    findings: tuple[str, ...] = field(default=(), repr=False)
    warmth: str = field(default="", repr=False)  # of them: what the damper's temperature hides

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form: plain values, NaN and infinity as None."""
        return {
            "state": self.state,
            "orders": rows(self.orders),
            "common_change_db": plain(self.common_change_db),
            "common_state": self.common_state,
            "recordings": rows(self.recordings),
            "advice": list(self.advice),
        }
