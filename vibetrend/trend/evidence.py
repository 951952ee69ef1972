"""What a history says about a feature that moved, as clauses that speak for or against a cause.

Each evidence is a function of a `Finding` and returns a clause where the history shows it, else
None. Common practice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from vibetrend.trend import resonance
from vibetrend.trend.assess import Assessment, Levels
from vibetrend.trend.history import LayUp
from vibetrend.trend.rows import label

Feature = tuple[str, float]  # text and order

HIGH_ORDER = 6.0  # from here on, beyond twice the firing order, a crankshaft's own twist can show
SUDDEN, GRADUAL = 0.3, 0.7  # share of a change that its present slope accounts for
NOW_HOURS = 60.0  # days of looking again lie this close
ONE_CYLINDER = 0.5  # the firing order of a four-stroke that has one
OTHER_SPEED_PERCENT = 0.5
OTHER_WARMTH_C = 5.0
FEW_CHECKUPS = 2
OF_WARMTH = 1 / 3
NAMED = 4  # of a list of orders


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A feature that moved, and what else its history holds."""

    feature: Feature
    rose: bool
    steady_share: float  # see `steady_share`
    checkups: int  # that show it
    moved: tuple[Feature, ...]  # all that are confirmed, this one too
    suspected: tuple[Feature, ...]  # neither moved nor stayed
    stayed: tuple[Feature, ...]
    together: bool  # whether everything together moved
    hidden: bool  # by noise at the baseline
    lay_up: LayUp | None  # across which it began
    faster_percent: float  # latest check-up against the baseline; NaN unknown
    warmer_c: float  # the same
    firing: float | None  # the firing order
    # Of a frequency's change what one standard deviation of its uncertain temperature would be.
    of_warmth: float = np.nan  # NaN not stated
    damper_known: bool = False  # its temperature is stated, and so `warmer_c` is the damper's

    @property
    def kind(self) -> str:
        """What kind of feature it is."""
        return kind_of(self.feature, self.firing)

    @property
    def pattern(self) -> str:
        """Which of `causes.PATTERNS` it follows: of a resonance the way it went counts too."""
        text, _ = self.feature
        is_one = resonance.is_resonance(text)
        return resonance.way(text, rose=self.rose) if is_one else self.kind

    @property
    def others(self) -> list[Feature]:
        """What else moved."""
        return [each for each in self.moved if each != self.feature]

    @property
    def only(self) -> bool:
        """Whether nothing else moved, or is suspected of it."""
        return not self.others and not self.suspected


Evidence = Callable[[Finding], str | None]


def steady_share(
    change: float, slope: float, since: float, now: float, *, shown_hours: float
) -> float:
    """Return of a change the share that its present slope accounts for: 0 a step, 1 a ramp.

    NaN where the check-ups that show it span no more than `NOW_HOURS`: one gap cannot tell.

    Parameters
    ----------
    change, slope : float
        dB now, and dB per hour.
    since, now : float
        Engine hours of the bend and of the latest check-up.
    """
    told = shown_hours > NOW_HOURS and change != 0
    return slope * (now - since) / change if told else np.nan


def steady_shares(levels: Levels, result: Assessment) -> list[float]:
    """Return `steady_share` of each feature."""
    bends, ahead = result.bends, result.ahead
    return [
        steady_share(
            float(ahead.change[k]),
            float(ahead.slope[k]),
            float(bends.since_hours[k]),
            float(levels.hours[-1]),
            shown_hours=float(np.ptp(shown)) if shown.size else 0.0,
        )
        for k, shown in enumerate(levels.hours[row] for row in result.agrees)
    ]


def kind_of(feature: Feature, firing: float | None) -> str:
    """Return what kind a feature is of; but for a resonance's a key of `causes.PATTERNS`."""
    text, order = feature
    if resonance.is_resonance(text):
        return "resonance" if resonance.of_crankshaft(text) else "other resonance"
    if text.startswith("driven:") and text.endswith(" belt"):
        return "belt"
    if text != "order":
        return text.partition(":")[0]
    if order == 1:  # of one or two cylinders the firing order too, but run-out shows here
        return "once"
    if firing and order == firing != ONE_CYLINDER:
        return "firing"
    if order == 2:
        return "twice"
    if order > max(HIGH_ORDER, 2 * firing if firing else 0.0):
        return "high"
    if firing == ONE_CYLINDER:
        return "single" if order % 1 else "other"
    if firing and order % firing == 0:
        return "firing"
    return "half" if order % 1 else "other"


def names(features: Sequence[Feature]) -> str:
    """Return features as a person lists them, e.g. ``orders 1.5, 2.5 and 3.5``."""
    orders = [f"{order:g}" for text, order in features if text == "order"]
    if len(orders) > NAMED:
        orders = [*orders[: NAMED - 1], "others"]
    words = [f"order{'s' if len(orders) > 1 else ''} {listed(orders)}"] if orders else []
    return listed([*words, *(label(*each) for each in features if each[0] != "order")])


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def sudden(finding: Finding) -> str | None:
    """Say that it came as a step."""
    return "it came from one check-up to the next" if finding.steady_share < SUDDEN else None


def gradual(finding: Finding) -> str | None:
    """Say that it came as a ramp."""
    return "it came gradually" if finding.steady_share > GRADUAL else None


def across_lay_up(finding: Finding) -> str | None:
    """Say that it began while the engine hardly ran."""
    return "it began across a lay-up" if finding.lay_up else None


def fell(finding: Finding) -> str | None:
    """Say that it went down."""
    return None if finding.rose else "it fell"


def few_checkups(finding: Finding) -> str | None:
    """Say that it may be a matter of how the last recordings were taken."""
    few = finding.checkups <= FEW_CHECKUPS
    return f"only {finding.checkups} check-ups show it" if few else None


def many_checkups(finding: Finding) -> str | None:
    """Say that it is no matter of how one recording was taken."""
    few = finding.checkups <= FEW_CHECKUPS
    return None if few else f"{finding.checkups} check-ups show it"


def alone(finding: Finding) -> str | None:
    """Say that nothing went with it."""
    return "nothing else moved" if finding.only and not finding.together else None


def no_order_by_itself(finding: Finding) -> str | None:
    """Say that of all that moved together nothing moved beyond the rest."""
    return "no order moved by itself" if finding.only else None


def orders_stayed(finding: Finding) -> str | None:
    """Say that the crank's own orders did not take part."""
    moved = any(text == "order" for text, _ in (*finding.moved, *finding.suspected))
    still = any(text == "order" for text, _ in finding.stayed)
    return "every order stayed where it was" if still and not moved else None


def together(finding: Finding) -> str | None:
    """Say that what all orders have in common went too."""
    return "everything together moved too" if finding.together else None


def along(*kinds: str) -> Evidence:
    """Return evidence that others of these kinds moved too."""

    def clause(finding: Finding) -> str | None:
        some = [each for each in finding.others if kind_of(each, finding.firing) in kinds]
        return f"{names(some)} moved along" if some else None

    return clause


def stayed(*kinds: str) -> Evidence:
    """Return evidence that these kinds are watched, and none of them may have moved."""

    def clause(finding: Finding) -> str | None:
        still = [each for each in finding.stayed if kind_of(each, finding.firing) in kinds]
        others = (*finding.moved, *finding.suspected)
        all_still = not any(kind_of(each, finding.firing) in kinds for each in others)
        return f"{names(still)} stayed" if still and all_still else None

    return clause


def other_speed(finding: Finding) -> str | None:
    """Say that the engine did not run as fast as at the baseline."""
    off = finding.faster_percent
    way = "faster" if off > 0 else "slower"
    differs = abs(off) >= OTHER_SPEED_PERCENT
    return f"it ran {abs(off):.1f} % {way} than at the baseline" if differs else None


def other_warmth(finding: Finding) -> str | None:
    """Say that the engine was warmer or colder than at the baseline."""
    off = finding.warmer_c
    way = "warmer" if off > 0 else "colder"
    differs = abs(off) >= OTHER_WARMTH_C
    return f"it was {abs(off):.0f} degrees C {way} than at the baseline" if differs else None


def as_warm(finding: Finding) -> str | None:
    """Say that the engine was as warm as at the baseline."""
    same = abs(finding.warmer_c) < OTHER_WARMTH_C
    return "it was as warm as at the baseline" if same else None


def warmer(finding: Finding) -> str | None:
    """Say that the engine was warmer than at the baseline."""
    return other_warmth(finding) if finding.warmer_c > 0 else None


def colder(finding: Finding) -> str | None:
    """Say that the engine was colder than at the baseline."""
    return other_warmth(finding) if finding.warmer_c < 0 else None


def unsure_warmth(finding: Finding) -> str | None:
    """Say that nobody knows how warm the damper was."""
    if np.isnan(finding.of_warmth):
        unknown = np.isnan(finding.warmer_c)
        return "how warm the damper was is not stated" if unknown else None
    if finding.of_warmth <= OF_WARMTH:
        return None
    does = ", and what that does," if finding.damper_known else ""
    return f"how warm the damper was{does} is not known well enough"


def beyond_warmth(finding: Finding) -> str | None:
    """Say that it moved further than what is not known of the damper's temperature."""
    beyond = finding.of_warmth <= OF_WARMTH
    return "it moved further than the damper's temperature explains" if beyond else None


def known_warmth(finding: Finding) -> str | None:
    """Say that the damper's temperature is known and explains little."""
    return beyond_warmth(finding) if finding.damper_known else None


def few_within_warmth(finding: Finding) -> str | None:
    """Say that few check-ups show it, unless its temperature cannot explain it anyway."""
    return None if beyond_warmth(finding) else few_checkups(finding)


def also(quantity: resonance.Quantity) -> Evidence:
    """Return evidence that this of the same resonance moved too."""

    def clause(finding: Finding) -> str | None:
        some = _same_resonance(finding, finding.others, quantity)
        return f"its {quantity} moved too" if some else None

    return clause


def held(quantity: resonance.Quantity) -> Evidence:
    """Return evidence that this of the same resonance is watched and stayed."""

    def clause(finding: Finding) -> str | None:
        some = _same_resonance(finding, finding.stayed, quantity)
        return f"its {quantity} stayed" if some else None

    return clause


def _same_resonance(
    finding: Finding, some: Sequence[Feature], quantity: resonance.Quantity
) -> list[Feature]:
    own = resonance.parts(finding.feature[0])
    return [each for each in some if resonance.parts(each[0]) == (own.name, quantity)]


def was_hidden(finding: Finding) -> str | None:
    """Say that there was too much noise at the baseline to see it."""
    return "noise hid it at the baseline" if finding.hidden else None
