"""The judge's verdict on what a logbook holds, whatever that is."""

from dataclasses import replace

import pandas as pd

from vibetrend.engine import Engine
from vibetrend.errors import JudgeError
from vibetrend.trend import Verdict, judge, nothing_judged


def verdict_on(
    history: pd.DataFrame, *, engine: Engine | None = None, renewal_hours: float | None = None
) -> Verdict:
    """Return the verdict on a series' history, which may be empty.

    What the judge refuses must not hide the other series: nothing is judged then, and the advice
    begins with why.
    """
    if history.empty:
        return nothing_judged()
    try:
        return judge(history, engine=engine, renewal_hours=renewal_hours)
    except JudgeError as error:
        said = (
            f"This series cannot be judged: {error}. What was mistyped can be corrected or set "
            f"aside: vibetrend logbook list shows every entry with its id."
        )
        nothing = nothing_judged()
        return replace(nothing, advice=[said, *nothing.advice])
