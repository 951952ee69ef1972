"""From a history of check-ups to a verdict that can be trusted."""

from vibetrend.trend.compare import Comparison, compare
from vibetrend.trend.judge import DOUBLED_DB, judge, nothing_judged
from vibetrend.trend.states import STATES, sentence, worst
from vibetrend.trend.verdict import Verdict

__all__ = [
    "DOUBLED_DB",
    "STATES",
    "Comparison",
    "Verdict",
    "compare",
    "judge",
    "nothing_judged",
    "sentence",
    "worst",
]
