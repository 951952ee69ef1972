"""The features of a series that are told on one scale: orders, or one value of each resonance."""

from collections.abc import Sequence
from dataclasses import dataclass

from vibetrend.report.facts import Fact
from vibetrend.report.histories import reach_db
from vibetrend.report.levels import Levels
from vibetrend.report.pictures import change_span
from vibetrend.report.scales import DECIBEL, Scale, scale_of
from vibetrend.trend import resonance

_OF_RESONANCES: dict[str, str] = {
    "frequency": "Natural frequency",
    "height": "Height of the peak",
    "width": "Width of the peak",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Group:
    """Features told on one scale."""

    title: str  # of a resonance's value; empty for orders
    first: str  # heading of their names
    scale: Scale
    rows: list[tuple[Fact, float]]  # each with its change at the latest check-up, dB
    span: float  # of the strips, dB to either side
    reach: tuple[float, float]  # of the histories, dB

    def name(self, fact: Fact) -> str:
        """Return how a narrow column of this group names one of its features."""
        return resonance.parts(fact.feature).name or fact.short


def groups(found: Sequence[Fact], levels: Levels) -> list[Group]:
    """Return the groups that some features fall into, in the order of their facts."""
    titles = ("", *_OF_RESONANCES.values())
    each = [(title, [fact for fact in found if title_of(fact) == title]) for title in titles]
    return [_group(title, facts, levels) for title, facts in each if facts]


def title_of(fact: Fact) -> str:
    """Return the title of the group that a feature belongs to; empty for orders."""
    return _OF_RESONANCES.get(resonance.parts(fact.feature).quantity, "")


def _group(title: str, found: Sequence[Fact], levels: Levels) -> Group:
    scale = scale_of(found[0].feature) if title else DECIBEL
    latest = [levels.latest(fact.feature, fact.order) for fact in found]
    return Group(
        title=title,
        first="Resonance" if title else "Order",
        scale=scale,
        rows=list(zip(found, latest, strict=True)),
        span=change_span(found, latest, scale),
        reach=reach_db(levels, found, scale),
    )
