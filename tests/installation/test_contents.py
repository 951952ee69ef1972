"""What is entered for the record: checked when it comes in, and when it is read back."""

import datetime as dt
import json
from collections.abc import Callable
from typing import Any

import pytest

from vibetrend.errors import InstallationError
from vibetrend.installation import (
    CHECKLIST,
    belt_content,
    bolt_content,
    casing_content,
    check_content,
    details_content,
    finish_content,
    fluid_content,
    mark_content,
    note_content,
    photo_content,
    runout_content,
)
from vibetrend.installation.checklist import checks_of
from vibetrend.installation.details import details_of
from vibetrend.installation.entered import again
from vibetrend.installation.marks import mark_change, mark_of
from vibetrend.installation.viscous import casing_of
from vibetrend.quantities import Quantity, unit

TODAY = dt.date(2026, 5, 2)
EVERY: list[tuple[Callable[..., dict[str, Any]], dict[str, Any]]] = [
    (
        runout_content,
        {
            "surface": "rim",
            "readings": [0, 3, -2, 3],
            "unit": "0.001 in",
            "angles": [0, 90, 180, 270],
            "closing": 0,
            "diameter": 9.5,
            "diameter_unit": "inch",
            "end_play_held": True,
            "instrument": "dial indicator",
            "resolution": 1,
            "person": "A. Example",
            "note": "cold",
        },
    ),
    (bolt_content, {"name": "bolt 1", "stages": ["50 N m", "90 deg"], "new": True, "sequence": 1}),
    (belt_content, {"belt": "fan", "stage": "as-installed", "tension": 140, "unit": "lb"}),
    (
        belt_content,
        {
            "belt": "fan",
            "stage": "after-run-in",
            "frequency_hz": 220,
            "span": 170,
            "span_unit": "mm",
            "mass_per_length": 0.11,
            "mass_unit": "kg/m",
        },
    ),
    (mark_content, {"what": "index-offset", "value": -0.4, "unit": "mm"}),
    (casing_content, {"thicknesses": [44.9, 45.0], "unit": "mm"}),
    (fluid_content, {"viscosity_loss_percent": 12, "hours_on_fluid": 15000}),
    (check_content, {"item": "clean"}),
    (details_content, {"part": "P 1", "made_on": dt.date(2026, 1, 5), "counts_from": "made"}),
    (photo_content, {"sha256": "0f" * 32, "name": "a.jpg", "media_type": "image/jpeg", "bytes": 5}),
    (note_content, {"text": "cold engine"}),
    (finish_content, {"missing": ["No photo is kept."]}),
]


@pytest.mark.parametrize(("builder", "given"), EVERY)
def test_what_comes_back_from_storage_is_what_was_entered(
    builder: Callable[..., dict[str, Any]], given: dict[str, Any]
) -> None:
    content = builder(**given)
    stored = json.loads(json.dumps(content, allow_nan=False))
    assert again(builder, stored) == content
    assert set(given) <= set(content)


def test_numbers_and_units_stay_as_they_were_read() -> None:
    content = runout_content(**EVERY[0][1])
    assert content["readings"] == [0, 3, -2, 3]
    assert (content["unit"], content["diameter_unit"]) == ("thou", "in")


@pytest.mark.parametrize(("builder", "given"), EVERY)
def test_any_damage_is_told_in_words(
    builder: Callable[..., dict[str, Any]], given: dict[str, Any]
) -> None:
    content = builder(**given)
    told = 0
    for key in content:
        for wrong in ({"deep": 1}, [[]], "\x07", float("nan")):
            try:
                again(builder, {**content, key: wrong})
            except InstallationError:  # and no other
                told += 1
    assert told == 4 * len(content)


def test_what_another_version_wrote_is_told() -> None:
    content = note_content("cold")
    with pytest.raises(InstallationError, match="it holds 'colour', which is not known here"):
        again(note_content, {**content, "colour": "red"})
    with pytest.raises(InstallationError, match="it lacks 'text'"):
        again(note_content, {"person": ""})
    with pytest.raises(InstallationError, match="it is no table"):
        again(note_content, ["cold"])
    made = details_content(made_on=dt.date(2026, 1, 5))
    with pytest.raises(InstallationError, match="today is 'soon'"):
        again(details_content, {**made, "today": "soon"})


# The damper itself


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"made_on": dt.date(2026, 5, 3), "today": TODAY}, "made on 2026-05-03, in the future"),
        (
            {"made_on": dt.date(2026, 5, 1), "fitted_on": dt.date(2026, 4, 30), "today": TODAY},
            "made on 2026-05-01, after it was fitted on 2026-04-30",
        ),
        ({"made_on": "last year"}, "write it as 2026-05-01"),
        ({"counts_from": "made"}, "but that day is missing"),
        ({"counts_from": "bought"}, "one of made, fitted"),
        ({"part": "P\x1b[1m"}, "control character"),
        ({"serial": 12}, "write text"),
    ],
)
def test_details_that_cannot_be_are_told(given: dict[str, Any], told: str) -> None:
    with pytest.raises(InstallationError, match=told):
        details_content(**given)


def test_details_said_later_count_and_keep_the_rest() -> None:
    first = details_content(part="P 1", made_on=dt.date(2025, 11, 3), counts_from="made")
    found = details_of([first, details_content(serial="S 9", part="P 2")])
    assert (found.part, found.serial, found.counts_from) == ("P 2", "S 9", "made")
    assert found.made_on == dt.date(2025, 11, 3)
    assert details_of([]).counts_from == "fitted"


# Checks, marks, casing, fluid


def test_the_list_holds_what_applies_and_the_last_answer() -> None:
    answers = [
        (dt.date(2026, 5, 1), check_content("clean", False, note="rust on the nose")),
        (dt.date(2026, 5, 2), check_content("clean", True, person="A. Example")),
    ]
    found = {each.item: each for each in checks_of(answers, damper="rubber", as_found=False)}
    assert list(found) == list(CHECKLIST)
    assert (found["clean"].done, found["clean"].note) == (True, "")
    assert found["pulled-on"].done is None
    viscous = checks_of(answers, damper="viscous", as_found=True)
    assert [each.item for each in viscous] == ["clean", "timing-mark", "clearance"]


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: check_content("polished"), "write one of clean, pulled-on"),
        (lambda: check_content("clean", "yes"), "say yes or no"),
        (lambda: mark_content("rust", 1, "mm"), "one of index-offset"),
        (lambda: mark_content("face-wobble", -1, "mm"), "never below 0"),
        (lambda: mark_content("index-offset", 1, "deg"), "no unit of length"),
        (lambda: casing_content([45.0], "mm"), "measured at 1 point"),
        (lambda: casing_content([45.0, 0], "mm"), "number 2, is 0"),
        (lambda: fluid_content(), "no result"),
        (lambda: fluid_content(viscosity_loss_percent=101), "more than all cannot be lost"),
        (lambda: fluid_content(result="thick", hours_on_fluid=-1), "must not be below 0"),
        (lambda: photo_content("xyz", "a", media_type="", bytes=5), "64 digits"),
        (lambda: photo_content("0" * 64, "a", media_type="", bytes=0), "whole number"),
        (lambda: note_content("two\nlines"), "line feed"),
        (lambda: finish_content(missing="all"), "list it"),
    ],
)
def test_what_makes_no_sense_is_told(call: Callable[[], object], told: str) -> None:
    with pytest.raises(InstallationError, match=told):
        call()


def test_the_casing_of_a_published_limit() -> None:
    """US Army TM 10-3930-675-24-2: eight points, spread 0.010 in at most, none above 45 mm."""
    points = [44.80, 44.82, 44.85, 44.90, 44.95, 45.00, 45.02, 44.93]
    found = casing_of(casing_content(points, "mm"))
    assert found.spread.to(unit("in")).value == pytest.approx(0.22 / 25.4)
    assert (found.greatest.value, found.least.value) == (45.02, 44.80)


def test_a_mark_that_moved_from_one_side_to_the_other() -> None:
    first = mark_of(mark_content("index-offset", 0.5, "mm"))
    latest = mark_of(mark_content("index-offset", -20, "thou"))
    step = Quantity(0.1, unit("mm"))
    found = mark_change(first, latest, (step, step))
    assert found.change.to(unit("mm")).value == pytest.approx(-0.508 - 0.5)
    assert found.beyond is True
    assert mark_change(first, first, (step, step)).beyond is False
    assert mark_change(first, latest, (None, step)).beyond is None
