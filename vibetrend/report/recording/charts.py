"""A chart of the page of one recording."""

from dataclasses import dataclass

from markupsafe import Markup

from vibetrend.report.numbers import Table


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A picture without script, the same as data for the script, and its numbers."""

    still: Markup
    data: Markup
    numbers: Table
