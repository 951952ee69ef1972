"""Which causes are named for what moved, and what speaks for and against each.

Common practice, no source: these tests hold the words to the evidence, not the trade's rules.
"""

import math
from dataclasses import replace

import pytest

from vibetrend.trend.causes import PATTERNS, likeliest, look_first
from vibetrend.trend.evidence import Feature, Finding, kind_of, names
from vibetrend.trend.history import LayUp

ORDERS = [("order", number / 2) for number in range(1, 15)]
ALTERNATOR: Feature = ("driven: alternator", 2.2)
BAND: Feature = ("overall: low", math.nan)
STEP, RAMP, UNCLEAR = 0.0, 1.0, 0.5


def finding(*orders: float, also: tuple[Feature, ...] = (), **facts: object) -> Finding:
    """Return a finding: the first order (or feature) with what moved along; all else stayed."""
    moved = tuple(("order", order) for order in orders) + also
    known = {
        "feature": moved[0],
        "rose": True,
        "steady_share": UNCLEAR,
        "checkups": 5,
        "moved": moved,
        "suspected": (),
        "stayed": tuple(each for each in [*ORDERS, ALTERNATOR] if each not in moved),
        "together": False,
        "hidden": False,
        "lay_up": None,
        "faster_percent": math.nan,
        "warmer_c": math.nan,
        "firing": 3.0,
    }
    return Finding(**(known | facts))


@pytest.mark.parametrize(
    ("seen", "first", "because", "second"),
    [
        (finding(1.0), "run-out or imbalance", "nothing else moved", "mounts"),
        (finding(1.0, 2.0), "mounts", "order 2 moved along", "run-out or imbalance"),
        (finding(1.0, together=True), "mounts", "everything together moved too", "run-out"),
        (finding(1.0, also=(ALTERNATOR,)), "a belt or a driven pulley",
         "driven line alternator moved along", "run-out"),
        (finding(2.0, lay_up=LayUp(100.0, 101.0, 75)), "alignment",
         "it began across a lay-up", "mounts"),
        (finding(2.5, 1.5, steady_share=STEP), "injection", "from one check-up to the next",
         "compression"),
        (finding(2.5, 1.5, steady_share=RAMP), "compression", "it came gradually", "injection"),
        (finding(2.5, 3.0, warmer_c=-12.0), "not warm", "12 degrees C colder", "injection"),
        (finding(3.0, steady_share=RAMP), "mounts", "it came gradually", "load"),
        (finding(6.0, also=(BAND,), checkups=2), "load", "only 2 check-ups show it", "exhaust"),
        (finding(3.0, also=(BAND,), steady_share=STEP), "exhaust", "overall level low moved along",
         "load"),
        (finding(6.5, 7.0, steady_share=RAMP), "the damper", "order 7 moved along", "a speed"),
        (finding(6.5, faster_percent=1.2), "a speed a little unlike", "1.2 % faster", "the damper"),
        (finding(6.5, 1.0, checkups=2), "a speed", "only 2 check-ups", "the damper"),
        (finding(4.0, steady_share=STEP), "come loose or touch", "from one check-up", "a part"),
        (finding(also=(ALTERNATOR,), steady_share=RAMP), "the belt or bearings",
         "it came gradually", "the pulley or bracket"),
        (finding(also=(BAND,), checkups=2), "something near the engine", "every order stayed",
         "a loose bracket"),
        (finding(4.0, hidden=True), "a quieter place", "noise hid it", "come loose or touch"),
    ],
)  # fmt: skip
def test_likelier_cause_and_why(seen, first, because, second):
    one, two = likeliest(seen)
    assert first in one.cause.what
    assert any(because in clause for clause in one.speaks_for)
    assert second in two.cause.what
    assert one.balance >= two.balance


@pytest.mark.parametrize(
    ("seen", "clause"),
    [
        (finding(1.0, rose=False), "although it fell"),
        (finding(2.5, 3.0), "although order 3 moved along"),
        (finding(1.0), "although order 2 stayed"),
        (finding(6.5, 2.0, 2.5), "although orders 2 and 2.5 moved along"),
    ],
)
def test_what_speaks_against_a_cause_is_told(seen, clause):
    assert clause in look_first([seen])[0]


def test_one_cylinder_is_not_compared_with_others():
    told = " ".join(look_first([finding(2.5, 1.5, firing=0.5)]))
    assert "from cycle to cycle" in told
    assert "order 1.5 moved along" in told.lower()
    assert "cylinders" not in told


def test_suspicion_leaves_open_whether_anything_else_moved():
    open_still = finding(1.0, suspected=(("order", 5.0),))
    assert "nothing else moved" in look_first([finding(1.0)])[0]
    assert "nothing else moved" not in look_first([open_still])[0]


def test_not_enough_to_tell():
    told = look_first([finding(4.0)])
    assert told[0].endswith("This history is not enough to tell which.")
    assert told[1].startswith("To tell them apart: look for loose or touching parts")


def test_what_fits_both_is_told_once():
    told = look_first([finding(2.5, 1.5, 0.5, steady_share=STEP)])[0]
    assert told.count("moved along") == 1
    assert "Orders 1.5 and 0.5 moved along and orders 3 and 6 stayed, which fits both." in told


def test_a_cause_is_looked_at_first_only_once():
    along = {"also": (("order", 1.0), ("order", 2.0), ("order", 3.0))}
    moved = [
        replace(finding(**along), feature=("order", order), steady_share=RAMP)
        for order in (1.0, 2.0, 3.0)
    ]
    assert all("mounts" in likeliest(each)[0].cause.what for each in (moved[0], moved[2]))
    told = " ".join(look_first(moved))
    assert told.count("Look first for engine mounts") == 1


def test_driven_part_is_named():
    told = " ".join(look_first([finding(also=(ALTERNATOR,))]))
    assert "the belt or bearings of the alternator" in told
    assert "{" not in told


@pytest.mark.parametrize("kind", PATTERNS)
def test_every_pattern_has_two_causes_and_a_check_for_each(kind):
    causes = PATTERNS[kind].causes
    assert len(causes) >= 2
    assert len({cause.check for cause in causes}) == len(causes)
    # From the third on a cause needs evidence, else it could never be named.
    assert all(cause.speaks_for for cause in causes[2:])


def test_high_orders_say_how_little_idle_sees_of_the_damper():
    told = look_first([finding(6.5, steady_share=RAMP)])
    assert "a small difference in speed looks the same" in told[0]
    assert "index marks" in told[1]


@pytest.mark.parametrize(
    ("feature", "firing", "kind"),
    [
        (("order", 3.0), 3.0, "firing"), (("order", 6.0), 3.0, "firing"),
        (("order", 3.0), None, "other"), (("order", 2.0), 2.0, "firing"),
        (("order", 2.0), 3.0, "twice"), (("order", 1.0), 3.0, "once"),
        (("order", 4.5), 3.0, "half"), (("order", 6.5), 3.0, "high"), (("order", 9.0), 3.0, "high"),
        (("order", 6.5), 4.0, "half"),
        (("order", 4.5), 1.5, "firing"), (("order", 2.5), 1.5, "half"), (("order", 3.0), 1.5,
         "firing"), (("order", 0.5), 0.5, "single"), (("order", 2.5), 0.5, "single"),
        (("order", 1.0), 0.5, "once"), (("order", 3.0), 0.5, "other"),
        (("order", 1.0), 1.0, "once"),
        (ALTERNATOR, 3.0, "driven"), (("driven: alternator belt", 0.47), 3.0, "belt"),
        (BAND, 3.0, "overall"),
        (("resonance: near 74 Hz width", math.nan), 3.0, "other resonance"),
    ],
)  # fmt: skip
def test_kind_of_feature(feature, firing, kind):
    assert kind_of(feature, firing) == kind
    assert kind in PATTERNS


def test_features_are_listed_as_a_person_would():
    assert names([("order", 1.5), ("order", 3.0), ALTERNATOR]) == (
        "orders 1.5 and 3 and driven line alternator"
    )
    assert names(ORDERS) == "orders 0.5, 1, 1.5 and others"
