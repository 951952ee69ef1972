"""The record put together from its entries: readings judged, what moved, what is missing."""

import datetime as dt
import json
import re
from typing import Any

import pytest
from invented_record import ENGINE, FITTED, LATER, Entry, kept

from vibetrend.engine import Limits
from vibetrend.errors import InstallationError
from vibetrend.installation import (
    CHECKLIST,
    Moved,
    Reading,
    Record,
    RunOut,
    belt_content,
    bolt_content,
    casing_content,
    check_content,
    compare_runout,
    details_content,
    finish_content,
    fluid_content,
    mark_content,
    note_content,
    photo_content,
    record_of,
    runout_content,
)
from vibetrend.installation import reading as reading_module
from vibetrend.installation.checklist import BRIEFLY
from vibetrend.logbook.plain_text import LONGEST

BELT_NEW = belt_content("alternator", stage="as-installed", tension=140, unit="lbf")
BELT_RUN_IN = belt_content("Alternator", stage="after-run-in", tension=110, unit="lbf")
RIM = runout_content("Rim", [0, 3, -2, 3], unit="thou", instrument="dial", resolution=1, closing=0)


def only(record: Record) -> Reading:
    (reading,) = record.readings
    return reading


def states(record: Record) -> list[tuple[str, str, str]]:
    return [(each.name, each.what, each.state) for each in record.readings]


def test_an_empty_record_says_what_is_missing() -> None:
    found = kept()
    assert found.readings == ()
    assert found.belts_settled is None
    assert found.finished is None
    assert [each.done for each in found.checks] == [None] * len(CHECKLIST)
    said = " ".join(found.missing)
    for words in (
        "part number",
        "run-out is recorded of: rim, face, pulley",
        "No bolt torque",
        "driven parts: alternator",
        "rubber damper: index-mark offset, element recess",
        "No photo",
    ):
        assert words in said


def test_the_tir_is_held_against_the_limit_of_that_surface() -> None:
    found = only(kept(("runout", RIM)))
    assert (found.state, found.what) == ("within", "TIR")
    assert found.quantity is not None
    assert found.quantity.to(found.quantity.unit).value == 5
    assert found.limit == ENGINE.limits.runout["rim"]  # whatever letters the name is written in
    assert (found.instrument, found.resolution and found.resolution.value) == ("dial", 1)


def test_what_four_stations_miss_does_not_pass_as_within() -> None:
    """45 degrees off the stations, a run-out of 0.070 in shows as 0.0495 in: cos(pi / 4)."""
    off = 35 * 0.5**0.5
    content = runout_content("rim", [off, off, -off, -off], unit="thou")
    found = only(kept(("runout", content)))
    assert found.quantity is not None
    assert found.quantity.value == pytest.approx(70 * 0.5**0.5)  # within the maker's 60
    assert found.state == "at-limit"


def test_without_a_limit_nothing_is_judged() -> None:
    found = only(kept(("runout", runout_content("crank nose", [0, 1, 0, 1], unit="thou"))))
    assert (found.state, found.limit) == ("limit-unknown", None)


def test_limits_of_then_decide_and_those_written_in_later_are_named() -> None:
    strict = Limits.model_validate(
        {"runout": {"RIM": {"max": 2, "unit": "thou", "source": "the manual of then"}}}
    )
    rim, belt = kept(("runout", RIM), ("belt", BELT_NEW), limits_then=strict).readings
    assert (rim.state, rim.side, rim.limit_added_later) == ("beyond", "above", False)
    assert (belt.state, belt.limit_added_later) == ("within", True)


def test_a_bolt_tightened_by_angle_is_two_readings() -> None:
    content = bolt_content("bolt 1", stages=["50 lbf ft", "135 lbf ft", "90 deg"])
    found = kept(("bolt", content))
    assert states(found) == [("bolt 1", "torque", "within"), ("bolt 1", "angle", "limit-unknown")]
    again = bolt_content("bolt 1", stages=["120 lbf ft"], recheck=True)
    assert only(kept(("bolt", again))).stage == "re-check"


def test_an_offset_is_judged_by_its_size() -> None:
    found = only(kept(("mark", mark_content("index-offset", -2, "mm"))))
    assert (found.state, found.side) == ("beyond", "above")
    assert found.details.value.value == -2


def test_the_least_thickness_counts_where_the_maker_allows_no_less() -> None:
    content = casing_content([44.2, 45.1], "mm")
    assert [each.what for each in kept(("casing", content)).readings] == [
        "spread",
        "greatest thickness",
    ]
    thick = {"min": 44.5, "max": 45.0, "unit": "mm", "source": "manual"}
    engine = ENGINE.model_copy(
        update={"limits": Limits.model_validate({"casing_thickness": thick})}
    )
    found = kept(("casing", content), engine=engine).readings
    assert [(each.what, each.state, each.side) for each in found[1:]] == [
        ("greatest thickness", "beyond", "above"),
        ("least thickness", "beyond", "below"),
    ]


def test_a_belt_with_an_automatic_tensioner_is_not_judged() -> None:
    content = belt_content(
        "fan", stage="as-installed", tension=90, unit="lbf", automatic_tensioner=True
    )
    found = kept(("belt", content))
    assert only(found).state == "information"
    assert found.belts_settled is True


def test_a_belts_frequency_is_no_resolution_of_its_tension() -> None:
    content = belt_content(
        "fan",
        stage="as-installed",
        frequency_hz=160,
        span=200,
        span_unit="mm",
        mass_per_length=0.11,
        mass_unit="kg/m",
        resolution=1.0,
    )
    found = only(kept(("belt", content)))
    assert found.resolution is None
    assert found.standard_error is not None
    assert found.standard_error.si > 0


def test_a_fluid_without_a_number_is_for_information() -> None:
    found = only(kept(("fluid", fluid_content(result="clear"))))
    assert (found.state, found.quantity) == ("information", None)


# Belts after run-in


def test_belts_are_settled_when_each_was_read_again_after_run_in() -> None:
    assert kept(("belt", BELT_NEW)).belts_settled is False
    assert kept(("belt", BELT_NEW), ("belt", BELT_RUN_IN, LATER)).belts_settled is True
    assert kept(("belt", BELT_NEW), ("belt", BELT_RUN_IN)).belts_settled is True  # the same day
    other = belt_content("pump", stage="as-installed", tension=100, unit="lbf")
    found = kept(("belt", BELT_NEW), ("belt", other), ("belt", BELT_RUN_IN, LATER))
    assert found.belts_settled is False
    assert any(
        "run-in is recorded of: pump. A baseline is best begun after the belt has been re-tensioned"
        in each
        for each in found.missing
    )


def test_a_new_belt_has_to_settle_again() -> None:
    renewed = ("belt", BELT_NEW, dt.date(2027, 1, 1))
    found = kept(("belt", BELT_NEW), ("belt", BELT_RUN_IN, LATER), renewed)
    assert found.belts_settled is False
    assert found.belt_drops == ()


def test_a_reading_after_run_in_is_of_the_belt_before_if_it_came_before() -> None:
    found = kept(("belt", BELT_NEW), ("belt", BELT_RUN_IN, LATER), ("belt", BELT_NEW, LATER))
    assert found.belts_settled is False
    assert found.belt_drops == ()


def test_the_drop_compares_the_latest_reading_after_run_in() -> None:
    tightened = belt_content("alternator", stage="after-run-in", tension=125, unit="lbf")
    found = kept(("belt", BELT_NEW), ("belt", BELT_RUN_IN, LATER), ("belt", tightened, LATER))
    (drop,) = found.belt_drops
    assert drop.ratio == pytest.approx(125 / 140)
    assert drop.state == "within"


# Two sets compared


def test_the_first_and_the_latest_turn_of_a_surface_are_compared() -> None:
    later = runout_content("rim", [0, 0.3, -0.1, 0.2], unit="mm")
    between = runout_content("rim", [0, 9, 0, 9], unit="thou")
    found = kept(("runout", RIM), ("runout", between), ("runout", later, LATER))
    (moved,) = found.moved
    assert (moved.first.date, moved.second.date) == (FITTED, LATER)
    assert moved.change.unit == "thou"
    assert moved.change.tir_change == pytest.approx(0.4 / 0.0254 - 5)


def test_hub_and_ring_of_one_day_are_compared() -> None:
    hub = runout_content("hub", [0, 1, 0, 1], unit="thou")
    found = kept(("runout", RIM), ("runout", hub))
    assert [each.name for each in found.moved] == ["hub and Rim"]
    assert kept(("runout", RIM), ("runout", hub, LATER)).moved == ()


def test_a_face_is_not_compared_with_a_rim_nor_readings_with_themselves() -> None:
    face, pulley = turn("Rear face"), turn("pulley")
    found = kept(("runout", RIM), face, pulley, turn("front face")).readings

    def compared(one: Reading, other: Reading) -> Moved:
        sets = one.details, other.details
        assert isinstance(sets[0], RunOut)
        assert isinstance(sets[1], RunOut)
        return Moved(
            name="", first=one, second=other, sets=sets, change=compare_runout(*sets)
        )  # fmt: skip

    rim, rear, grooved, front = found
    with pytest.raises(InstallationError, match=r"Rim and Rear face cannot be compared.* is tilt"):
        compared(rim, rear)
    with pytest.raises(InstallationError, match="would be compared with itself"):
        compared(rim, rim)
    assert compared(rim, grooved).first == rim
    assert compared(rear, front).second == front


def test_a_mark_measured_twice_tells_what_moved() -> None:
    one = mark_content("index-offset", 0.2, "mm", resolution=0.1)
    other = mark_content("index-offset", 0.9, "mm", resolution=0.1)
    (moved,) = kept(("mark", one), ("mark", other, LATER)).marks_moved
    assert moved.change.value == pytest.approx(0.7)
    assert moved.beyond is True


# What stands beside the readings


def test_photos_notes_and_the_finish_are_there() -> None:
    photo = photo_content("ab" * 32, "rim.jpg", media_type="image/jpeg", bytes=9, caption="rim")
    found = kept(
        ("photo", photo),
        ("note", note_content("rain all day", person="A. Example")),
        ("finish", finish_content(person="A. Example", missing=["No bolt torque is recorded."])),
        ("details", details_content(part="P 1", serial="S 1", who="A. Example")),
    )
    assert (found.photos[0].caption, found.photos[0].bytes) == ("rim", 9)
    assert found.notes[0].text == "rain all day"
    assert found.finished is not None
    assert found.finished.missing == ("No bolt torque is recorded.",)
    assert found.details.serial == "S 1"
    assert not any("photo" in each for each in found.missing)


def test_the_order_of_entries_does_not_matter() -> None:
    entries = [
        Entry(1, "belt", FITTED, BELT_NEW),
        Entry(2, "belt", LATER, BELT_RUN_IN),
        Entry(3, "runout", FITTED, RIM),
    ]

    def whole(some: list[Entry]) -> Record:
        return record_of(
            some,
            engine=ENGINE,
            limits_then=ENGINE.limits,
            limits_now=ENGINE.limits,
            date=FITTED,
            hours=0.0,
            as_found=False,
        )

    assert whole(entries).to_dict() == whole(entries[::-1]).to_dict()


def test_a_careful_record_misses_nothing() -> None:
    tools: dict[str, Any] = {"instrument": "dial", "resolution": 1.0, "person": "A. Example"}

    def careful(surface: str, reading: float, **more: object) -> tuple[str, dict[str, Any]]:
        readings = [0, reading, 0, reading]
        return "runout", runout_content(
            surface, readings, unit="um", closing=0, **tools, **more
        )  # fmt: skip

    engine = ENGINE.model_copy(
        update={
            "limits": ENGINE.limits.model_copy(
                update={
                    "element_recess": ENGINE.limits.mark_offset,
                    "runout": {
                        **ENGINE.limits.runout,
                        "face": ENGINE.limits.runout["rim"],
                    },
                }
            )
        }
    )
    photo = photo_content("ab" * 32, "rim.jpg", media_type="image/jpeg", bytes=9)
    made = dt.date(2026, 1, 1)
    bolt: dict[str, Any] = {"stages": ["135 lbf ft"], "new": True, "treatment": "oiled", **tools}
    belt: dict[str, Any] = {"belt": "alternator", "unit": "lbf", **tools}
    found = kept(
        ("details", details_content(part="P 1", serial="S 1", made_on=made, who="A. Example")),
        careful("rim", 30),
        careful("face", 40, end_play_held=True),
        careful("pulley", 10),
        ("bolt", bolt_content("bolt 1", **bolt)),
        ("bolt", bolt_content("bolt 1", recheck=True, **bolt), LATER),
        ("belt", belt_content(stage="as-installed", tension=140, **belt)),
        ("belt", belt_content(stage="after-run-in", tension=110, **belt), LATER),
        ("mark", mark_content("index-offset", 0.1, "mm", **tools)),
        ("mark", mark_content("element-recess", 0.1, "mm", **tools)),
        ("photo", photo),
        *(("check", check_content(item)) for item in CHECKLIST),
        engine=engine,
    )
    assert found.missing == ()


def test_a_damper_found_in_place_is_not_asked_how_it_went_on() -> None:
    said = " ".join(kept(as_found=True).missing)
    assert "bolt" not in said
    assert "hammer" not in said
    assert "who fitted" not in said
    assert "rim, face" in said


def test_a_viscous_damper_is_asked_for_its_casing() -> None:
    damper = ENGINE.damper.model_copy(update={"type": "viscous"})
    said = " ".join(kept(engine=ENGINE.model_copy(update={"damper": damper})).missing)
    assert "viscous damper's casing" in said
    assert "rubber" not in said
    damper = ENGINE.damper.model_copy(update={"type": "unknown"})
    said = " ".join(kept(engine=ENGINE.model_copy(update={"damper": damper})).missing)
    assert "does not say whether the damper is a rubber or a viscous one" in said


@pytest.mark.parametrize(
    ("damper", "entry", "told"),
    [
        ("rubber", ("casing", casing_content([44, 45], "mm")), "says is rubber: casing thickness."),
        ("rubber", ("fluid", fluid_content(result="clear")), "says is rubber: fluid sample."),
        ("viscous", ("mark", mark_content("index-offset", 1, "mm")), "viscous: index-mark offset"),
    ],
)
def test_a_reading_of_the_other_type_of_damper_is_a_doubt(
    damper: str, entry: tuple[str, dict[str, Any]], told: str
) -> None:
    its = ENGINE.damper.model_copy(update={"type": damper})
    said = " ".join(kept(entry, engine=ENGINE.model_copy(update={"damper": its})).missing)
    assert told in said
    assert "correct the entry or the engine file" in said
    wobble = ("mark", mark_content("face-wobble", 1, "mm"))
    assert "correct the entry" not in " ".join(kept(wobble).missing)


def numbered(name: str, sequence: int, *, recheck: bool = False) -> tuple[str, dict[str, Any]]:
    return "bolt", bolt_content(name, stages=["9 N m"], sequence=sequence, recheck=recheck)


def test_two_bolts_of_one_place_in_the_sequence_are_told() -> None:
    told = "More than one bolt is entered as number 2 in the sequence: bolt 1, bolt 2; enter"
    twice = numbered("bolt 1", 2), numbered("bolt 2", 2), numbered("bolt 3", 3)
    assert told in " ".join(kept(*twice).missing)
    assert "More than one bolt" not in " ".join(kept(*twice, numbered("Bolt 1", 1)).missing)
    again = numbered("bolt 1", 1), numbered("bolt 2", 1, recheck=True)
    assert "More than one bolt" not in " ".join(kept(*again).missing)


BOLT = ("bolt", bolt_content("bolt 1", stages=["135 lbf ft"]))


def turn(surface: str) -> tuple[str, dict[str, Any]]:
    return "runout", runout_content(surface, [0, 1, 0], unit="mm")


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (BOLT, "locked is not noted: bolt 1"),
        (BOLT, "used again is not noted: bolt 1"),
        (BOLT, "No bolt was checked again after the first warm run"),
        (turn("nose"), "limit is not in the engine file for: run-out of nose"),
        (turn("rim"), "resolution is not noted for: run-out of rim"),
        (turn("rim"), "not read again after the full turn: rim"),
        (turn("face"), "end play was held to one side is not noted: face"),
        (("check", check_content("clean", False)), "Noted as not done: nose, key and seal"),
    ],
)
def test_each_gap_is_named(entry: tuple[str, dict[str, Any]], told: str) -> None:
    assert told in " ".join(kept(entry).missing)


def test_an_angle_the_maker_asks_for_is_missed() -> None:
    limits = ENGINE.limits.model_copy(
        update={"bolt_angle": Limits.model_validate(
            {"bolt_angle": {"value": 90, "unit": "deg", "source": "manual"}}).bolt_angle}
    )  # fmt: skip
    engine = ENGINE.model_copy(update={"limits": limits})
    found = kept(("bolt", bolt_content("bolt 1", stages=["135 lbf ft"])), engine=engine)
    assert any("asks for an angle" in each for each in found.missing)


# JSON and damage


def test_the_json_form_is_plain() -> None:
    found = kept(
        ("runout", runout_content("nose", [0, 1, 2], unit="mm")),
        ("belt", BELT_NEW),
        ("belt", BELT_RUN_IN, LATER),
        ("check", check_content("clean")),
    ).to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["readings"][0]["quantity"] == {"value": 2.0, "unit": "mm"}
    assert found["readings"][1]["limit"]["source"] == "manual, sheet 6"
    assert found["date"] == "2026-05-01"


@pytest.mark.parametrize(
    ("kind", "content", "told"),
    [
        (
            "runout",
            {"surface": "rim"},
            r"^Entry 2 of 2026-05-01 \(runout\) cannot .*: it lacks 'rea",
        ),
        ("runout", {**RIM, "unit": "cubit"}, "the readings: unit 'cubit'"),
        ("photo", {"sha256": 5}, "it lacks 'name', 'media_type'"),
        ("note", {"text": "dry", "colour": "red"}, "it holds 'colour', which .*update vibetrend"),
        ("note", {"text": "x\x1b" + 900 * "y"}, "control character"),
        ("mystery", {}, r"\(mystery\) .*: its kind is not known here.*update vibetrend"),
        ("bad\x1b\u202e", {}, r"\(bad\\x1b\\u202e\)"),
        ("details", {"a damaged text": "{"}, "restore the logbook from a backup"),
    ],
)
def test_an_entry_that_cannot_be_read_is_told_and_closes_nothing(
    kind: str, content: dict[str, Any], told: str
) -> None:
    found = kept(("runout", RIM), (kind, content), ("belt", BELT_NEW))
    (why,) = found.unreadable
    assert re.search(told, why)
    assert found.missing[0] == why
    assert [each.kind for each in found.readings] == ["runout", "belt"]
    # the same line is kept with a finish
    assert finish_content(missing=found.missing)["missing"][0] == why
    assert found.missing[1:] == kept(("runout", RIM), ("belt", BELT_NEW)).missing


def test_numbers_that_cannot_be_reckoned_with_close_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def judged(*_: object, **__: object) -> None:
        raise OverflowError

    monkeypatch.setattr(reading_module, "judged", judged)
    (why,) = kept(("runout", RIM)).unreadable
    assert "its numbers are too large or small to reckon with" in why


def test_why_an_entry_cannot_be_read_is_one_short_line() -> None:
    many = {**RIM, "readings": {str(number): number for number in range(500)}}
    (why,) = kept(("runout", many)).unreadable
    assert len(why) < LONGEST
    assert why.isprintable()


def test_a_bare_record_lacks_few_sentences_and_names_every_point() -> None:
    found = kept()
    assert len(found.missing) <= 8
    (points,) = [each for each in found.missing if "Not noted as checked" in each]
    assert points.startswith("Not noted as checked: nose, key and seal sleeve clean, pulled on wi")
    assert all(BRIEFLY[each.item] in points for each in found.checks)
    assert set(BRIEFLY) == set(CHECKLIST)


def test_what_is_missing_of_many_bolts_is_one_line_of_the_logbook() -> None:
    bolts = [
        (
            "bolt",
            bolt_content(f"bolt {number} {'of the long name ' * 9}", stages=["9 N m", "90 deg"]),
        )
        for number in range(24)
    ]
    found = kept(*bolts)
    assert max(len(each) for each in found.missing) < LONGEST
    assert any("and 16 more" in each for each in found.missing)
