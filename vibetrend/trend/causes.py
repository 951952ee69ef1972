"""Where to look first: the usual causes of what moved, and what this history says of each.

Common practice in the trade, no source: what usually causes it, never a diagnosis. A cause is a
text, the check that confirms or clears it, and the evidence that speaks for it and against it. To
add one, add a `Cause` to a pattern. Those of resonances stand in `resonance_causes`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from vibetrend.trend.cause import Cause, Pattern
from vibetrend.trend.evidence import (
    Finding,
    across_lay_up,
    alone,
    along,
    fell,
    few_checkups,
    gradual,
    listed,
    many_checkups,
    no_order_by_itself,
    orders_stayed,
    other_speed,
    other_warmth,
    stayed,
    sudden,
    together,
    was_hidden,
)
from vibetrend.trend.phrases import capital
from vibetrend.trend.resonance_causes import CHECK_MOUNTS, MOUNTS, RESONANCE_PATTERNS


@dataclass(frozen=True)
class Weighed:
    """A cause with the clauses of this history that speak for it and against it."""

    cause: Cause
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]

    @property
    def balance(self) -> int:
        """How many more clauses speak for it than against."""
        return len(self.speaks_for) - len(self.speaks_against)

    def told(self, already: Sequence[str]) -> str:
        """Return it with its reasons, but for those told already."""
        sides = ((", because ", self.speaks_for), (", although ", self.speaks_against))
        new = [(word, [each for each in side if each not in already]) for word, side in sides]
        return self.cause.what + "".join(word + listed(side) for word, side in new if side)


def look_first(findings: Sequence[Finding]) -> list[str]:
    """Return sentences for each kind that moved: the two likeliest causes, what tells them apart.

    A kind whose likeliest cause has been told already is left out.
    """
    said: list[str] = []
    checks: set[str] = set()
    for finding in findings:
        one, two = likeliest(finding)
        if one.cause.check not in checks:
            checks.add(one.cause.check)
            part = finding.feature[0].partition(": ")[2]
            said += [text.replace("{part}", part) for text in _told(finding, one, two)]
    return said


def _told(finding: Finding, one: Weighed, two: Weighed) -> list[str]:
    both = [clause for clause in one.speaks_for if clause in two.speaks_for]
    first, second = one.told(both), two.told([*both, *one.speaks_for])
    said = f"{PATTERNS[finding.pattern].what}. "
    if one.balance > two.balance:
        said += f"Look first for {first}; then for {second}."
    else:
        said += f"Usually it is {first}; or {second}. This history is not enough to tell which."
    if both:
        fits = listed(both)
        said += f" {capital(fits)}, which fits both."
    return [said, f"To tell them apart: {one.cause.check}; {two.cause.check}."]


def likeliest(finding: Finding) -> tuple[Weighed, Weighed]:
    """Return the two likeliest causes, the likelier first."""
    causes = (*PATTERNS[finding.pattern].causes, QUIETER)
    left = [cause for cause in causes if not any(each(finding) for each in cause.ruled_out)]
    weighed = [_weighed(cause, finding) for cause in left]
    likely = weighed[:2] + [each for each in weighed[2:] if each.balance > 0]
    first, second = sorted(likely, key=lambda each: -each.balance)[:2]
    return first, second


def _weighed(cause: Cause, finding: Finding) -> Weighed:
    sides = (cause.speaks_for, cause.speaks_against)
    said = [tuple(clause for each in side if (clause := each(finding))) for side in sides]
    return Weighed(cause, *said)


LOAD = Cause(
    "load, gear, speed or warmth unlike the baseline's",
    "repeat with the same gear, load, speed and temperature",
    (along("overall"), other_speed, other_warmth, few_checkups),
    (gradual,),
)
BELT = Cause(
    "a belt or a driven pulley",
    "check belt tension, and the driven pulleys for run-out and play",
    (along("driven"),),
)
COLD = Cause("an engine that was not warm", "repeat it as warm as at the baseline", (other_warmth,))
QUIETER = Cause(
    "a quieter place or setting of the phone than at the baseline, which shows more",
    "compare the noise level of both recordings",
    (was_hidden,),
    (gradual,),
)
PATTERNS = {
    "once": Pattern(
        "Order 1 goes once per turn",
        (
            Cause(
                "run-out or imbalance of the damper, its ring or a pulley",
                "measure the run-out of rim and face again and compare it with the record",
                (alone,),
                (along("twice"), together, fell),
            ),
            Cause(
                MOUNTS, CHECK_MOUNTS, (along("twice"), together, across_lay_up), (stayed("twice"),)
            ),
            BELT,
        ),
    ),
    "twice": Pattern(
        "Order 2 goes twice per turn",
        (
            Cause(
                "engine mounts, or something bolted on that has worked loose",
                CHECK_MOUNTS,
                (along("once"), together, sudden),
            ),
            Cause(
                "alignment or a coupling, if the shaft turns along",
                "check the alignment, with the boat afloat as it is used",
                (across_lay_up, gradual),
                (together,),
            ),
        ),
    ),
    "half": Pattern(
        "Half orders speak of cylinders that work unevenly",
        (
            Cause(
                "injection of one cylinder (a nozzle, a leak, its timing)",
                "have the injectors tested",
                (along("half"), stayed("firing"), sudden, across_lay_up),
                (along("firing"),),
            ),
            Cause(
                "compression or valve clearance of one cylinder",
                "compare the compression of all cylinders",
                (along("half"), stayed("firing"), gradual),
                (along("firing"), sudden),
            ),
            COLD,
        ),
    ),
    "single": Pattern(
        "With one cylinder, half orders speak of combustion that differs from cycle to cycle, and "
        "of the valve train, which turns at half speed",
        (
            Cause(
                "injection (the nozzle, air or water in the fuel)",
                "bleed the fuel system and have the injector tested",
                (along("single"), sudden, across_lay_up),
                (gradual,),
            ),
            Cause(
                "the valve train",
                "check the valve clearance and the camshaft's drive",
                (along("single"), gradual),
                (sudden,),
            ),
            COLD,
        ),
    ),
    "firing": Pattern(
        "The firing order and its multiples carry what all cylinders do together",
        (
            Cause(MOUNTS, CHECK_MOUNTS, (along("once", "twice"), together, gradual)),
            LOAD,
            Cause(
                "an exhaust that leaks or has worked loose",
                "look and listen along the exhaust",
                (along("overall"), sudden),
                (fell, gradual),
            ),
        ),
    ),
    "high": Pattern(
        "High orders lie nearest to the crankshaft's own twist. At fast idle they alone see "
        "anything of the damper's stiffness, and a small difference in speed looks the same",
        (
            Cause(
                "the damper, whose rubber or fluid has changed",
                "look at the damper's index marks and its run-out",
                (gradual, along("high"), along("resonance")),
                (along("once", "twice", "half", "single", "firing", "other"), other_speed),
            ),
            Cause(
                "a speed a little unlike the baseline's",
                "repeat at exactly the baseline's speed",
                (other_speed, few_checkups, sudden),
                (gradual,),
            ),
        ),
    ),
    "other": Pattern(
        "A single whole order has no one usual cause",
        (
            Cause(
                "mounts, brackets or pipes that have come loose or touch something",
                "look for loose or touching parts, and see whether it stays with the phone "
                "elsewhere",
                (sudden, along("once", "twice"), across_lay_up),
            ),
            Cause(
                "a part that turns at that multiple of the crankshaft speed",
                "turn such parts by hand and feel for play",
                (gradual, along("driven")),
            ),
        ),
    ),
    "driven": Pattern(
        "This line belongs to the {part}",
        (
            Cause(
                "the belt or bearings of the {part}",
                "check belt tension, and turn the {part} by hand",
                (gradual, along("driven"), across_lay_up),
            ),
            Cause(
                "the pulley or bracket of the {part}",
                "measure the pulley's run-out and check its bracket",
                (sudden, along("once")),
                (along("driven"),),
            ),
        ),
    ),
    "belt": Pattern(
        "This line is the {part} itself, once per turn of the belt",
        (
            Cause(
                "a damaged or hardened place in the {part}",
                "turn the belt by hand over its whole length and look for cracks and lumps",
                (gradual, across_lay_up),
                (along("driven"),),
            ),
            Cause(
                "the tension of the {part}, or pulleys out of line",
                "measure the belt's tension, and lay a straight edge across the pulleys",
                (sudden, along("driven")),
            ),
        ),
    ),
    "overall": Pattern(
        "An overall level holds everything in its band",
        (
            Cause(
                "a loose bracket, belt or panel",
                "look and listen for what rattles",
                (sudden, many_checkups),
                (fell,),
            ),
            Cause(
                "something near the engine that ran then or runs now",
                "repeat with everything else off",
                (orders_stayed, few_checkups),
                (gradual,),
            ),
            Cause(
                "load, or an exhaust that leaks",
                "repeat with the baseline's load, and listen along the exhaust",
                (along("firing"), other_speed),
            ),
        ),
    ),
    "together": Pattern(
        "What moves all orders alike is seldom a part",
        (
            Cause(
                "the phone (its spot, how it is held, its case, its settings)",
                "put the phone back exactly as at the baseline and record again",
                (sudden, no_order_by_itself),
                (gradual,),
            ),
            Cause(
                MOUNTS,
                CHECK_MOUNTS,
                (gradual, along("once", "twice", "firing"), across_lay_up),
            ),
        ),
    ),
} | RESONANCE_PATTERNS
