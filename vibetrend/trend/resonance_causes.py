"""The usual causes of a resonance that moved, two-sided; see `causes` for how they are weighed.

Common practice in the trade, no source, except which way stiffness and damping move a peak: that
is the model of `torsion/`. What counts as the crankshaft's gets the damper's causes; a resonance
of unknown cause is a mount's, a cover's, the exhaust's or the room's until something says more.
"""

from vibetrend.trend.cause import Cause, Pattern
from vibetrend.trend.evidence import (
    across_lay_up,
    alone,
    along,
    also,
    as_warm,
    beyond_warmth,
    colder,
    few_checkups,
    few_within_warmth,
    gradual,
    held,
    known_warmth,
    many_checkups,
    other_warmth,
    sudden,
    unsure_warmth,
    warmer,
)

MOUNTS = "engine mounts that have softened or worked loose"
CHECK_MOUNTS = "look at the rubber and the bolts of mounts and brackets"

# In the order a person can do it: by eye, by dial gauge, by thermometer, by telephone.
LOOK = (
    "with the engine stopped, look at the index marks of ring against hub and measure how far the "
    "ring wobbles"
)
TEMPERATURE = (
    "measure the damper's temperature (infrared, engine stopped) and repeat the run-up after the "
    "same warm-up"
)
SWEEP = "repeat it at the baseline's pace, with the phone exactly on its spot"
PER_DEGREE = "rubber changes its stiffness by about half a per cent per degree C"
UNLIKE_SWEEP = "a sweep at another pace, or the phone's spot and gain"

RESONANCE_PATTERNS = {
    "resonance lower": Pattern(
        "A lower resonance means that damper or crankshaft has become softer, or heavier at its "
        "nose",
        (
            Cause(
                "damper rubber that is softer (oil, heat), torn, or whose bond fails",
                f"{LOOK}, look for cracks and oil, then ask the damper's maker",
                (gradual, also("height"), also("width"), as_warm, beyond_warmth, many_checkups),
                (warmer,),
            ),
            Cause(
                f"a damper warmer than at the baseline: {PER_DEGREE}",
                TEMPERATURE,
                (warmer, unsure_warmth, few_within_warmth),
                (as_warm, colder, beyond_warmth),
                (known_warmth,),
            ),
            Cause(
                "more mass at the nose (another pulley, a pump driven from there), or in a fluid "
                "damper a ring that its fluid drags along",
                "ask what was fitted, and turn the damper's ring if the maker allows it",
                (across_lay_up,),
                (gradual,),
            ),
        ),
    ),
    "resonance higher": Pattern(
        "A higher resonance means that the damper has become stiffer, or something lighter",
        (
            Cause(
                "damper rubber that has hardened with age",
                f"{LOOK}, look for hard and cracked rubber, then ask the damper's maker",
                (gradual, as_warm, beyond_warmth, many_checkups),
                (colder,),
            ),
            Cause(
                f"a damper colder than at the baseline: {PER_DEGREE}",
                TEMPERATURE,
                (colder, unsure_warmth, few_within_warmth),
                (as_warm, warmer, beyond_warmth),
                (known_warmth,),
            ),
            Cause(
                "less mass at the nose, or a ring that no longer turns with the rest (fluid lost, "
                "bond gone)",
                "ask what was taken off, and look at the damper for leaks and play",
                (also("height"), across_lay_up),
                (gradual,),
            ),
        ),
    ),
    "resonance sharper": Pattern(
        "A higher and narrower peak means that damping was lost",
        (
            Cause(
                "a damper that damps less (fluid lost or worn out, a failing bond, hard rubber)",
                f"look for leaked fluid and dents; {LOOK}, then ask the damper's maker",
                (also("height"), also("width"), also("frequency"), gradual, many_checkups),
                (held("width"), held("height")),
            ),
            Cause(
                UNLIKE_SWEEP,
                SWEEP,
                (held("width"), held("height"), few_checkups, alone),
                (also("frequency"), gradual),
            ),
            Cause(
                "a damper at another temperature, where rubber damps less",
                TEMPERATURE,
                (other_warmth,),
                (as_warm,),
            ),
        ),
    ),
    "resonance blunter": Pattern(
        "A lower and wider peak means more damping, or a sweep that gave it no time to build up",
        (
            Cause(
                "a damper that damps more (rubber warm, soaked with oil, or rubbing at a bond that "
                "slips)",
                f"{LOOK}, look for oil on the rubber, then ask the damper's maker",
                (also("height"), also("width"), also("frequency"), gradual, many_checkups),
                (held("width"), held("height")),
            ),
            Cause(
                UNLIKE_SWEEP,
                SWEEP,
                (held("width"), held("height"), few_checkups, alone),
                (also("frequency"), gradual),
            ),
            Cause("a damper at another temperature", TEMPERATURE, (other_warmth,), (as_warm,)),
        ),
    ),
    "other resonance": Pattern(
        "Most resonances seen on a block are those of mounts, covers, the exhaust or the room; "
        "this one says nothing of the damper",
        (
            Cause(MOUNTS, CHECK_MOUNTS, (gradual, along("other resonance"), across_lay_up)),
            Cause(
                "a cover, a bracket or the exhaust that has worked loose",
                "with the engine stopped and cold, feel covers, brackets and exhaust for play",
                (sudden, alone),
            ),
            Cause(
                "the room (doors, hatches, what stands in it), another spot or pace",
                "repeat with doors and hatches as at the baseline, at the same pace",
                (few_checkups,),
                (gradual,),
            ),
        ),
    ),
}
