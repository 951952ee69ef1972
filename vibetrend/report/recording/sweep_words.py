"""What the first screen says of one sweep: its use, its speeds, its resonances."""

import math
from typing import TYPE_CHECKING

from vibetrend.report import words
from vibetrend.report.numbers import with_error
from vibetrend.report.resonances import CAUSES
from vibetrend.report.statement import Statement
from vibetrend.trend.phrases import capital

if TYPE_CHECKING:  # only the types
    from vibetrend.orders import Measurement
    from vibetrend.report.recording.sweeping import SweepView

USE = (
    "One sweep of a check-up, to be compared with sweeps of the same engine, spot and sensor "
    "through the same speeds."
)
ALONE = (
    "By itself it cannot show a change: three sweeps at each check-up against a baseline do, at "
    "the same temperature of the damper."
)


def speed(measured: "Measurement") -> Statement:
    """Return from where to where the speed ran, and how it was found."""
    found, swept = measured.speed, measured.speed.swept
    stated = [measured.recording.rpm, measured.recording.end_rpm]
    said = " to ".join("not stated" if each is None else f"{each:g}" for each in stated)
    more = "No rpm was stated." if stated == [None, None] else f"Stated: {said} rpm."
    if found.method == "tag" or swept is None:
        return Statement(
            label="Speed", state="not-measured", words="Not found",
            text="The speed through this recording was not found.", more=(more,),
        )  # fmt: skip
    pace = abs(swept.end_rpm - swept.start_rpm) / swept.seconds
    return Statement(
        label="Speed",
        state="no-change-seen",
        words=f"{swept.start_rpm:.0f} to {swept.end_rpm:.0f} rpm",
        text=f"In {swept.seconds:.2g} s, {pace:.2g} rpm a second on average; "
        f"{_FOUND_BY[found.method]}.",
        more=(more,),
    )


_FOUND_BY = {
    "harmonics": "followed in the recording itself, by all the orders that follow the crank",
    "tacho": "taken from the tacho",
}


def resonances(view: "SweepView") -> Statement:
    """Return how many resonances stand out, and the one that matters most."""
    label = "Resonances"
    if not view.found:
        return Statement(
            label=label, state="not-measured", words="None",
            text="No resonance stands out of the order curves.",
        )  # fmt: skip
    first, *others = view.found
    seen = first.together
    cause = CAUSES.get(first.cause, CAUSES["unknown"])
    text = (
        f"{capital(first.name)}, {cause}: {with_error(seen.frequency_hz, seen.frequency_error_hz)}"
        f" Hz in order{'s' * (len(first.by_order) != 1)} {first.orders}."
    )
    more = []
    if math.isfinite(seen.shift_percent):
        shift = with_error(seen.shift_percent, seen.shift_error, sign=True)
        more.append(f"Against the baseline: {shift} %.")
    if others:
        more.append(f"Also: {', '.join(one.name for one in others)}.")
    if not first.of_crankshaft:
        more.append("None counts as the crankshaft's own.")
    return Statement(
        label=label,
        state="no-change-seen",
        words=words.count(len(view.found), "resonance"),
        text=text,
        more=tuple(more),
    )
