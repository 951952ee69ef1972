"""Readings as plain sentences, in the units wanted and with honest digits."""

from typing import Any

import pytest
from invented_record import LATER, kept

from vibetrend.engine import Limit, Limits
from vibetrend.installation import (
    Reading,
    belt_content,
    bolt_content,
    casing_content,
    drop_sentence,
    fluid_content,
    mark_change_sentence,
    mark_content,
    moved_sentence,
    runout_content,
    sentence,
)
from vibetrend.installation.digits import of_limit, told, told_beside, with_error
from vibetrend.quantities import Quantity, ShownUnits, unit

METRIC = ShownUnits()
INCH = ShownUnits(length=unit("thou"), torque=unit("lbf ft"), force=unit("lbf"))
RIM: dict[str, Any] = {"surface": "rim", "readings": [0, 3, -2, 3], "unit": "thou"}


def said(kind: str, content: dict[str, Any], shown: ShownUnits = METRIC, **more: Any) -> str:
    (reading, *_) = kept((kind, content), **more).readings
    return sentence(reading, shown)


# Digits


@pytest.mark.parametrize(
    ("value", "one", "step", "metric", "inch"),
    [
        (5, "thou", 1, "0.13 mm", "5 thou"),  # 0.127 mm, read to 0.0254
        (5, "thou", None, "0.127 mm", "5 thou"),
        (0.12000000000000001, "mm", None, "0.12 mm", "4.72 thou"),
        (0.11, "mm", 0.01, "0.11 mm", "4.3 thou"),
        (135, "lbf ft", None, "183 N m", "135 lbf ft"),
        (135, "lbf ft", 5, "183 N m", "135 lbf ft"),
        (1250, "N", None, "1250 N", "281 lbf"),
        (0.0004, "m", None, "0.4 mm", "15.7 thou"),
        (-0.001, "mm", 0.01, "0.00 mm", "0.0 thou"),
        (90, "deg", None, "90°", "90°"),
        (12, "%", None, "12 %", "12 %"),
    ],
)
def test_a_quantity_has_the_digits_it_was_read_to(
    value: float, one: str, step: float | None, metric: str, inch: str
) -> None:
    quantity = Quantity(value, unit(one))
    fine = None if step is None else Quantity(step, unit(one))
    assert told(quantity, METRIC, fine) == metric
    assert told(quantity, INCH, fine) == inch


def test_an_error_ends_with_its_first_digit() -> None:
    millimetre = unit("mm")
    value, error = Quantity(0.0532843, millimetre), Quantity(0.00906, millimetre)
    assert with_error(value, error, METRIC) == "0.053 ± 0.009 mm"
    assert with_error(value, error, INCH) == "2.1 ± 0.4 thou"


@pytest.mark.parametrize(
    ("value", "step", "value_and_limit"),
    [
        (1.6, None, ("1.6 mm", "1.52 mm")),
        (1.5241, None, ("1.5241 mm", "1.52 mm")),
        (1.523, None, ("1.523 mm", "1.524 mm")),  # not above 1.52
        (1.53, 0.1, ("1.53 mm", "1.52 mm")),  # not 1.5
        (1.5242, 0.01, ("1.524 mm", "1.52 mm")),  # not 1.52 above 1.52
        (1.524, 0.01, ("1.52 mm", "1.52 mm")),
    ],
)
def test_a_reading_and_its_limit_read_as_they_stand(
    value: float, step: float | None, value_and_limit: tuple[str, str]
) -> None:
    limit = Limit(max=0.060, unit="in", source="manual")
    read, fine = (each and Quantity(each, unit("mm")) for each in (value, step))
    assert read
    assert told_beside(read, fine or None, [0.060], limit, METRIC) == value_and_limit


def test_ends_of_a_limit() -> None:
    limit = Limit(max=0.060, unit="in", source="manual")
    assert of_limit([0.060], limit, METRIC) == "1.52 mm"
    both = Limit(min=130, max=140, unit="lbf ft", source="manual")
    assert of_limit([130, 140], both, METRIC) == "176 to 190 N m"


# Sentences


def test_run_out_within_its_limit() -> None:
    text = said("runout", runout_content(**RIM, resolution=1.0))
    assert text.startswith(
        "Rim run-out is 0.13 mm (TIR, 4 stations), within the maker's 1.52 mm TIR (manual, sheet 4)"
    )
    assert "Eccentricity 0.03 ± 0.07 mm, which cannot be told from none; form 0.10 mm." in text
    assert "at least 70 % of the true TIR" in text
    inch = said("runout", runout_content(**RIM, resolution=1.0), INCH)
    assert inch.startswith("Rim run-out is 5 thou (TIR, 4 stations), within the maker's 60 thou")


def test_run_out_that_the_stations_may_have_missed() -> None:
    content = runout_content("rim", [25, 25, -25, -25], unit="thou")
    assert said("runout", content, INCH).startswith(
        "Rim run-out is 50 thou (TIR, 4 stations), and twice the eccentricity lies above the "
        "maker's 60 thou TIR (manual, sheet 4): the stations may have missed it, so read more"
    )


def test_a_tir_above_the_limit_is_not_told_as_missed() -> None:
    """0, 1, 2.04, 1 mm against 0.060 in, 1.524 mm."""
    turn: dict[str, Any] = {"surface": "rim", "readings": [0, 1, 2.04, 1], "unit": "mm"}
    (clear,) = kept(("runout", runout_content(**turn, closing=0))).readings
    assert (clear.state, clear.side) == ("beyond", "above")
    slipped = runout_content(**turn, closing=0.9)
    (unsure,) = kept(("runout", slipped)).readings
    assert (unsure.state, unsure.side) == ("at-limit", "above")
    text = sentence(unsure, METRIC)
    assert text.startswith(
        "Rim run-out is 2.04 mm (TIR, 4 stations), above the maker's 1.52 mm TIR (manual, sheet "
        "4), but by less than the closing error can tell."
    )
    assert "missed it" not in text
    coarse = said("runout", runout_content(**turn, resolution=1))
    assert "above the maker's 1.52 mm TIR (manual, sheet 4), but by less than the inst" in coarse


def test_a_figure_rounded_in_another_unit_is_the_makers_own() -> None:
    """US Army TM 9-2320-312-24-2: wobble to 2.03 mm (0.080 in)."""
    wobble = {"face_wobble": {"max": 2.03, "unit": "mm", "source": "a manual"}}
    limits = Limits.model_validate(wobble)
    for shown, value in ((METRIC, "2.03 mm"), (INCH, "80 thou")):
        text = said("mark", mark_content("face-wobble", 0.080, "in"), shown, limits_then=limits)
        assert text.startswith(
            f"Face wobble is {value} (TIR), the same figure as the maker's 2.03 mm (a manual), so "
            f"within it."
        )
    text = said("mark", mark_content("face-wobble", 0.0801, "in"), limits_then=limits)
    assert text.startswith("Face wobble is 2.035 mm (TIR), above the maker's 2.03 mm (a manual).")


def test_four_stations_do_not_tell_a_high_side_too_easily() -> None:
    text = said("runout", runout_content("nose", [0, 5, 9, 5], unit="thou"), INCH)
    assert "Eccentricity 4.5 ± 0.4 thou, which 4 stations cannot tell from none for certain" in text
    assert "high side" not in text


def test_digits_of_computed_readings_end_somewhere() -> None:
    text = said("runout", runout_content("nose", [0.1 + 0.2, 1 / 3, 0, 0], unit="mm"))
    assert "Nose run-out is 0.333333 mm" in text


def test_run_out_beyond_its_limit_with_a_high_side() -> None:
    readings = [0.07, 0.06, 0.03, 0.01, -0.01, -0.04, -0.05, 0.01]
    text = said("runout", runout_content("pulley", readings, unit="mm"))
    assert "is 0.12 mm (TIR, 8 stations), above the maker's 0.0508 mm TIR" in text
    assert "0.053 ± 0.009 mm, high side at 45° from the mark (± 10°); form 0.04 mm." in text


def test_a_face_tells_its_tilt_and_its_doubts() -> None:
    content = runout_content(
        "face", [0, 0.1, 0.2, 0.1], unit="mm", diameter=240, closing=0.05, resolution=0.01
    )
    text = said("runout", content)
    assert "the maker's limit is not in the engine file" in text
    assert "closing error 0.05 mm" in text
    assert "tilted by 0.83 mrad (0.048°)" in text
    assert "did not read the same after the full turn" in text
    assert "end play" in text


def test_three_stations_own_up() -> None:
    text = said("runout", runout_content("nose", [0, 0.1, 0.2], unit="mm"))
    assert "Eccentricity 0.1 mm, its error not known; high side at 210° from the mark." in text
    assert "form" not in text.split(".")[2]
    known = said("runout", runout_content("nose", [0, 0.1, 0.2], unit="mm", resolution=0.01))
    assert "high side at 210° from the mark (± 1° at least)." in known


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        ("135 lbf ft", "Torque of bolt 1 is 183 N m, within the maker's 176 to 190 N m (manual"),
        ("100 N m", "Torque of bolt 1 is 100 N m, below the maker's 176 N m (manual"),
        ("200 N m", "Torque of bolt 1 is 200 N m, above the maker's 190 N m (manual"),
    ],
)
def test_a_torque_and_its_limit(stage: str, words: str) -> None:
    text = said("bolt", bolt_content("bolt 1", stages=[stage], new=True, treatment="oiled"))
    assert text.startswith(words)
    assert text.endswith("New; oiled.")


def test_what_else_a_bolt_tells() -> None:
    content = bolt_content("bolt 1", stages=["50 lbf ft", "136 lbf ft"], sequence=2, resolution=5)
    text = said("bolt", content, INCH)
    assert "number 2 in the sequence; stages 50 lbf ft, 136 lbf ft." in text
    assert "cannot be compared for certain" in text


def test_too_close_to_tell_names_the_nearest_end() -> None:
    content = bolt_content("bolt 1", stages=["128 lbf ft"], resolution=5)
    assert said("bolt", content, INCH).startswith(
        "Torque of bolt 1 is 128 lbf ft, below the maker's 130 lbf ft (manual, sheet 5), but by "
        "less than the instrument's resolution can tell."
    )
    inside = bolt_content("bolt 1", stages=["132 lbf ft"], resolution=5)
    assert said("bolt", inside, INCH).startswith(
        "Torque of bolt 1 is 132 lbf ft, too close to the maker's 130 lbf ft (manual, sheet 5) for "
        "the instrument's resolution to tell."
    )


def test_belts_by_gauge_and_by_frequency() -> None:
    gauge = belt_content("fan", stage="as-installed", tension=140, unit="lbf", resolution=5.0)
    assert said("belt", gauge).startswith(
        "Tension of fan as installed is 623 N (by gauge), reaching the maker's 623 N (manual, "
    )
    string = belt_content(
        "fan",
        stage="after-run-in",
        frequency_hz=166.92688,
        span=200,
        span_unit="mm",
        mass_per_length=0.12,
        mass_unit="kg/m",
        frequency_standard_error_hz=0.5,
    )
    text = said("belt", string)
    assert text.startswith(
        "Tension of fan after run-in is 535 N (by frequency), not below the maker's 467 N"
    )
    assert "From 166.927 Hz on a span of 200 mm and 0.12 kg/m." in text
    assert "The error of span and mass is not known and not counted." in text
    assert "Standard error 3 N, from frequency." in text


def test_an_automatic_tensioner_is_looked_at_instead() -> None:
    read = belt_content(
        "fan", stage="as-installed", tension=90, unit="lbf", automatic_tensioner=True
    )
    arm = belt_content("fan", stage="as-installed", automatic_tensioner=True)
    assert "noted for information. With an automatic tensioner a tension says nothing" in said(
        "belt", read
    )
    assert said("belt", arm).startswith("No tension of fan was read. With an automatic")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (mark_content("index-offset", 0.5, "mm"), "Index-mark offset is 0.5 mm (ring ahead in rot"),
        (mark_content("index-offset", -0.5, "mm"), "is 0.5 mm (ring behind in rotation), within"),
        (mark_content("element-recess", -1, "mm"), "Element recess is -1 mm (the rubber stands"),
        (mark_content("face-wobble", 0.5, "mm"), "end play was not noted as held"),
    ],
)
def test_marks(content: dict[str, Any], words: str) -> None:
    assert words in said("mark", content)


def test_casing_and_fluid() -> None:
    casing = kept(("casing", casing_content([44.9, 45.01], "mm", resolution=0.01))).readings
    assert [sentence(each, METRIC).split(";")[0] for each in casing] == [
        "Spread of casing thickness is 0.11 mm (2 points)",
        "Greatest casing thickness is 45.01 mm (2 points)",
    ]
    fluid = fluid_content(viscosity_loss_percent=12, hours_on_fluid=15000, result="clear.")
    assert said("fluid", fluid) == (
        "Viscosity loss is 12 % (fluid run 15000 h); the maker's limit is not in the engine file. "
        "Result: clear."
    )
    assert said("fluid", fluid_content(result="clear", laboratory="Example")) == (
        "Result of Example: clear."
    )


def test_a_limit_written_in_later_is_said() -> None:
    text = said("runout", runout_content(**RIM), limits_then=Limits())
    assert text.endswith("The limit was written into the engine file after the damper was fitted.")


# What was read twice


def drop(run_in: float, **more: Any) -> str:
    content: dict[str, Any] = {"belt": "fan", "unit": "lbf", "resolution": 1.0}
    found = kept(
        ("belt", belt_content(stage="as-installed", tension=140, **content)),
        ("belt", belt_content(stage="after-run-in", tension=run_in, **content), LATER),
        **more,
    )
    return drop_sentence(found.belt_drops[0], METRIC)


def test_the_drop_of_a_belt() -> None:
    assert drop(120) == (
        "Run in, belt fan kept 85.7 ± 0.3 % of its tension when new, 534 N of 623 N, not less than "
        "the 75 % that the maker's two figures let expect."
    )
    assert "less than the 75 % that the maker's two figures let expect: tighten it" in drop(95)
    assert "too close to the 75 % of the maker's two figures to tell" in drop(105)


def test_a_belt_that_gained_tension_is_a_doubt_in_words() -> None:
    assert drop(150) == (
        "After run-in belt fan shows more tension than when new, 667 N against 623 N. A belt gains "
        "none by running in: it was tightened again in between, or a reading, span or unit is "
        "wrong. How far it dropped cannot be told."
    )


def test_a_drop_without_the_makers_figures() -> None:
    found = kept(
        ("belt", belt_content("fan", stage="as-installed", tension=140, unit="lbf")),
        ("belt", belt_content("fan", stage="after-run-in", tension=90, unit="lbf"), LATER),
    ).belt_drops[0]
    text = drop_sentence(type(found)(**{**vars(found), "least": None}), INCH)
    assert "kept 64 % of its tension when new, 90 lbf of 140 lbf; to say whether" in text
    assert "the maker's figures for both, new and after run-in, are needed" in text


def moved(later: list[float], shown: ShownUnits = METRIC, **more: Any) -> str:
    readings = [0.07, 0.06, 0.03, 0.01, -0.01, -0.04, -0.05, 0.01]
    first = runout_content("pulley", readings, unit="mm", resolution=0.01)
    second = runout_content("pulley", later, unit="mm", resolution=0.01, **more)
    return moved_sentence(kept(("runout", first), ("runout", second, LATER)).moved[0], shown)


def test_what_moved_between_two_dates() -> None:
    text = moved([0.12, 0.10, 0.04, -0.02, -0.05, -0.08, -0.06, 0.02])
    assert text.startswith(
        "From 2026-05-01 to 2026-05-09 the pulley moved by 0.045 ± 0.004 mm towards 15° (± 5°) "
        "from the mark: beyond what reading error explains. TIR 0.12 mm and 0.20 mm, form"
    )
    assert "do not share mark and zero" in text


def test_what_hardly_moved() -> None:
    text = moved([0.07, 0.06, 0.03, 0.01, -0.01, -0.04, -0.05, 0.02])
    assert ", no more than reading error explains." in text


def test_what_cannot_be_told() -> None:
    one = runout_content("hub", [0, 1, 2], unit="thou")
    other = runout_content("rim", [0, 5, 9], unit="thou")
    found = kept(("runout", one), ("runout", other)).moved[0]
    text = moved_sentence(found, INCH)
    assert text.startswith("The middles of hub and rim lie 4 thou apart; whether reading error")
    assert "TIR 2 thou and 9 thou. " in text


def test_a_mark_that_moved() -> None:
    def twice(*values: float, **more: float) -> str:
        contents = [mark_content("index-offset", each, "mm", **more) for each in values]
        found = kept(*(("mark", each) for each in contents)).marks_moved[0]
        return mark_change_sentence(found, METRIC)

    assert twice(0.2, 0.9, resolution=0.1) == (
        "Index-mark offset: from 0.2 mm to 0.9 mm, a change of 0.7 mm, more than the instruments' "
        "resolution explains."
    )
    assert "no more than" in twice(0.2, 0.3, resolution=0.1)
    assert "resolution is not noted" in twice(0.2, 0.9)
    assert "from 0 mm to 0.6 mm, a change of 0.6 mm" in twice(0, 0.6)  # a 0 tells no digits
    inch = kept(*(("mark", mark_content("index-offset", each, "mm")) for each in (0, 0.6)))
    # 0.6 mm / 0.0254 mm = 23.62 thou
    assert "from 0 thou to 23.6 thou, a change of 23.6 thou" in mark_change_sentence(
        inch.marks_moved[0], INCH
    )


def test_every_state_has_words() -> None:
    readings: tuple[Reading, ...] = kept(
        ("runout", runout_content(**RIM)),
        ("bolt", bolt_content("bolt 1", stages=["10 N m"])),
        ("runout", runout_content("nose", [0, 1, 0, 2], unit="mm")),
        ("runout", runout_content("rim", [0, 30, 60, 30], unit="thou", resolution=1)),
        ("belt", belt_content("fan", stage="as-installed", automatic_tensioner=True)),
    ).readings
    assert {each.state for each in readings} == {
        *("within", "beyond", "limit-unknown", "at-limit", "information")
    }
    assert all(sentence(each, shown).endswith(".") for each in readings for shown in (METRIC, INCH))
