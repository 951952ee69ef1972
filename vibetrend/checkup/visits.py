"""Single check-ups of a series' history, whole, and which of its recordings may be compared."""

import pandas as pd

from vibetrend.checkup.records import SeriesRecord


def used(record: SeriesRecord) -> pd.DataFrame:
    """Return the history without recordings that the verdict left out."""
    if record.verdict.common_state == "no-baseline":  # nothing was used: nothing told them apart
        return record.history
    judged = record.verdict.recordings
    kept = judged.loc[judged["used"].astype(bool), "recording"]
    return record.history.loc[record.history["recording"].isin(kept)]


def first(history: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the earliest check-up."""
    return history.loc[history["visit"].isin(_by_time(history)[:1])]


def latest(history: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the latest check-up."""
    return history.loc[history["visit"].isin(_by_time(history)[-1:])]


def _by_time(history: pd.DataFrame) -> list[object]:
    """Return the check-ups by hours, then date, as `judge` orders them."""
    of_visit = {"hours": "mean"} | ({"date": "min"} if "date" in history else {})
    table = history.groupby("visit").agg(of_visit)
    return list(table.sort_values(list(of_visit)).index)
