"""Which causes are named for a resonance that moved, in either direction.

Common practice, no source, but for which way each moves: a softer spring lowers a natural
frequency, less damping raises a peak and narrows it (any book on vibration).
"""

import math
from dataclasses import replace

import pytest

from vibetrend.trend import resonance
from vibetrend.trend.causes import PATTERNS, likeliest, look_first
from vibetrend.trend.evidence import Feature, Finding, kind_of
from vibetrend.trend.resonance_causes import RESONANCE_PATTERNS

CRANK, MOUNT = "crankshaft near 141 Hz", "near 74 Hz"
STEP, RAMP = 0.0, 1.0


def of(name: str, quantity: str) -> Feature:
    return f"resonance: {name} {quantity}", math.nan


def finding(moved: str, *also: str, name: str = CRANK, **facts: object) -> Finding:
    """Return a finding of one resonance: what moved, what along with it; all else stayed."""
    features = tuple(of(name, quantity) for quantity in (moved, *also))
    known = {
        "feature": features[0], "rose": False, "steady_share": 0.5, "checkups": 5,
        "moved": features, "suspected": (), "together": False, "hidden": False, "lay_up": None,
        "faster_percent": math.nan, "warmer_c": math.nan, "firing": 3.0,
        "stayed": tuple(
            each for q in resonance.QUANTITIES if (each := of(name, q)) not in features
        ),
    }  # fmt: skip
    return Finding(**(known | facts))


@pytest.mark.parametrize(
    ("seen", "first", "because", "second"),
    [
        (finding("frequency", steady_share=RAMP, warmer_c=1.0), "rubber that is softer",
         "as warm as at the baseline", "warmer than"),
        (finding("frequency", warmer_c=12.0), "a damper warmer", "12 degrees C warmer",
         "rubber that is softer"),
        (finding("frequency", checkups=2), "a damper warmer", "is not stated",
         "rubber that is softer"),
        (finding("frequency", of_warmth=0.1), "rubber that is softer",
         "further than the damper's temperature", "warmer"),
        (finding("frequency", rose=True, steady_share=RAMP, of_warmth=0.1), "hardened with age",
         "it came gradually", "colder than"),
        (finding("frequency", rose=True, warmer_c=-12.0), "a damper colder", "12 degrees C colder",
         "hardened"),
        (finding("height", "width", rose=True), "damps less", "its width moved too", "pace"),
        (finding("height", rose=True), "a sweep at another pace", "its width stayed", "damps less"),
        (finding("width", "height"), "damps less", "its height moved too", "pace"),
        (finding("width", "height", rose=True, steady_share=RAMP), "damps more",
         "it came gradually", "pace"),
        (finding("frequency", name=MOUNT, steady_share=RAMP), "mounts", "it came gradually",
         "a cover, a bracket"),
    ],
)  # fmt: skip
def test_likelier_cause_and_why(seen: Finding, first: str, because: str, second: str) -> None:
    one, two = likeliest(seen)
    assert first in one.cause.what
    assert any(because in clause for clause in one.speaks_for)
    assert second in two.cause.what


def test_no_damper_is_suspected_of_a_resonance_of_unknown_cause() -> None:
    pattern = PATTERNS["other resonance"]
    told = " ".join(text for cause in pattern.causes for text in (cause.what, cause.check))
    assert "damper" not in told
    assert "says nothing of the damper" in pattern.what


@pytest.mark.parametrize("key", [key for key in RESONANCE_PATTERNS if key != "other resonance"])
def test_the_marks_come_first_then_the_wobble_then_the_maker(key: str) -> None:
    check = RESONANCE_PATTERNS[key].causes[0].check
    places = [check.index(word) for word in ("index marks", "wobbles", "maker")]
    assert places == sorted(places)


def test_both_directions_and_both_shapes_lead_to_patterns() -> None:
    """A narrower peak is a sharper one, as is a higher one."""
    for name in (CRANK, MOUNT):
        for quantity in resonance.QUANTITIES:
            for rose in (True, False):
                assert finding(quantity, name=name, rose=rose).pattern in PATTERNS
    assert finding("width").pattern == finding("height", rose=True).pattern == "resonance sharper"
    assert finding("frequency").pattern == "resonance lower"


def test_kinds() -> None:
    assert kind_of(of(CRANK, "width"), 3.0) == "resonance"
    assert kind_of(of(MOUNT, "width"), 3.0) == "other resonance"


def test_what_moved_in_a_damper_and_elsewhere_are_told_apart() -> None:
    ours = finding("frequency", steady_share=RAMP)
    told = look_first([ours, replace(ours, feature=of(MOUNT, "frequency"))])
    assert len(told) == 4
    assert "damper" in told[0]
    assert "mounts" in told[2]
