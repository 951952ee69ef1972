"""The installation record on the page: what was read, where it stands, what is missing."""

import base64
import datetime as dt
import re
from dataclasses import replace

import pytest
from invented_fitting import FIRST, HASH, LATER, SECOND, SOME, record, recorded
from invented_report import MADE_AT, START, engine_record, history, series
from parsed_page import HOSTILE, Parsed, words_of

from vibetrend.checkup.records import EngineRecord, PastInstallation
from vibetrend.cli.standing_words import standing_words
from vibetrend.installation import (
    belt_content,
    bolt_content,
    check_content,
    details_content,
    note_content,
    photo_content,
    runout_content,
)
from vibetrend.quantities import ShownUnits, unit
from vibetrend.report import page
from vibetrend.report.isolating import isolating

IMPERIAL = ShownUnits(
    length=unit("thou"), torque=unit("lbf ft"), force=unit("lbf"), velocity=unit("in/s")
)
JPEG = b"\xff\xd8\xff\xe0 no real picture"
PNG = b"\x89PNG\r\n\x1a\n no real picture"


def shown_page(record: EngineRecord, **options: object) -> Parsed:
    return Parsed(page([record], title="t", made_at=MADE_AT, **options))


def told(record: EngineRecord, **options: object) -> str:
    return words_of(shown_page(record, **options)).replace("\xa0", " ")


def row_of(parsed: Parsed, first: str) -> str:
    rows = [" | ".join(map(str, row)) for row in parsed.rows if row and row[0] == first]
    return rows[0].replace("\xa0", " ")


@pytest.fixture(scope="module")
def parsed() -> Parsed:
    return shown_page(recorded(record()))


def test_every_reading_is_a_row_with_its_limit_source_state_and_who(parsed: Parsed) -> None:
    """135 lbf ft are 183.03 N m and 0.060 in 1.524 mm (NIST SP 811)."""
    torque = row_of(parsed, "Bolt crankshaft, torque, as installed")
    assert "183 N m | 135 lbf ft | 183 ± 7 N m | 135 ± 5 lbf ft as written; sheet 5" in torque
    assert torque.endswith("1 May 2026")
    rim = row_of(parsed, "Run-out (TIR), rim")
    assert "0.10 mm | at most 1.52 mm | at most 0.06 in as written; manual, sheet 4" in rim
    assert "Within the limit | dial indicator | to 0.01 mm | 1 May 2026 | A. Example" in rim
    belt = row_of(parsed, "Belt alternator, tension, after run-in")
    assert "436 N | 98 lbf | at least 467 N | at least 105 lbf as written; sheet 6" in belt
    assert "Below the limit" in belt
    recess = row_of(parsed, "Rubber below the metal's edge")
    assert "1.5 mm | the maker's limit is not in the engine file | Limit not known" in recess


def test_the_unit_that_is_shown_does_not_change_what_stands_where() -> None:
    parsed = shown_page(recorded(record()), shown=IMPERIAL)
    assert "135 lbf ft | 135 ± 5 lbf ft | sheet 5" in row_of(
        parsed, "Bolt crankshaft, torque, as installed"
    )
    # 0.10 mm = 3.937 thou, read to 0.01 mm = 0.39 thou.
    rim = row_of(parsed, "Run-out (TIR), rim")
    assert "3.9 thou | 0.10 mm | at most 60 thou | at most 0.06 in as written" in rim
    assert "98 lbf | at least 105 lbf | sheet 6" in row_of(
        parsed, "Belt alternator, tension, after run-in"
    )
    states = [[v for _, n, v in each.attributes if n == "data-state"]
              for each in (parsed, shown_page(recorded(record())))]  # fmt: skip
    assert states[0] == states[1]


def test_a_tension_from_a_tone_has_no_more_digits_than_it_is_known_to() -> None:
    tone = belt_content("fan", stage="as-installed", frequency_hz=126.4, span=250, span_unit="mm",
                        mass_per_length=0.1, mass_unit="kg/m")  # fmt: skip
    row = row_of(shown_page(recorded(record([("belt", START, tone)]))), "Belt fan, tension, as"
                 " installed")  # fmt: skip
    # 4 x 0.1 x 0.25^2 x 126.4^2 = 399.4 N; without any error stated three digits are told.
    assert "| 399 N |" in row


def test_a_surface_read_twice_is_one_picture_of_then_and_now(parsed: Parsed) -> None:
    fits = [v for tag, n, v in parsed.attributes if (tag, n) == ("path", "class") and "fit" in v]
    assert fits == ["fit then", "fit now"]
    labels = [v for tag, n, v in parsed.attributes if (tag, n) == ("svg", "aria-label")]
    (label,) = [each for each in labels if each.startswith("Run-out of the rim")]
    text = words_of(parsed).replace("\xa0", " ")
    # From 0.05 mm towards 90 degrees to 0.15 towards 180: sqrt(0.05^2 + 0.15^2) = 0.158 mm.
    for where in (label, text):
        assert "From 1 May 2026 to 1 April 2028 the rim moved by 0.158" in where
    assert "Filled and full: 1 April 2028. Rings and dashed: 1 May 2026." in text
    assert "Exaggerated: from ring to ring 0.05 mm." in text
    assert "High side at about 6 o'clock." in text
    assert ("g", "transform", "rotate(180.0)") in parsed.attributes


def test_how_far_a_face_is_exaggerated_is_said_in_times() -> None:
    readings = [0, 0.03, 0.1, 0.17, 0.2, 0.17, 0.1, 0.03]
    face = runout_content("face", readings, unit="mm", diameter=240, end_play_held=True)
    text = told(recorded(record([("runout", START, face)])))
    # 0.1 mm of deviation is drawn 34 px, the radius of 120 mm as 104 px: 392 times.
    assert "Exaggerated about 400 times: from ring to ring 0.05 mm." in text
    assert "12 o'clock. " not in text.partition("Exaggerated")[2].partition("Dots")[0]
    assert "High side at about 6 o'clock." in text


def test_no_arrow_where_no_high_side_stands_out() -> None:
    oval = runout_content("rim", [0.1, 0.0, 0.1, 0.0, 0.1, 0.01], unit="mm", resolution=0.01)
    parsed = shown_page(recorded(record([("runout", START, oval)])))
    assert not [v for _, n, v in parsed.attributes if n == "class" and v.startswith("high")]
    assert "High side" not in words_of(parsed)


def test_checklist_missing_finish_and_facts_are_told(parsed: Parsed) -> None:
    text = words_of(parsed).replace("\xa0", " ")
    assert "Fitted 1 May 2026, 3120 h Part DR-6 Serial number 0457" in text
    assert "The maker's years count from the day it was fitted Fitted by A. Example" in text
    assert "Not done: There is clearance all round" in text
    assert "1 May 2026: hose in the way" in text
    assert "Not noted as checked: " in text
    states = [v for tag, n, v in parsed.attributes if (tag, n) == ("li", "data-state")]
    assert {state: states.count(state) for state in set(states)} == {
        "check-done": 1, "check-not": 1,
    }  # fmt: skip
    for sentence in record().missing:
        assert sentence in text
    assert "Finished on 1 May 2026 by A. Example ; 1 of what a careful record holds was" in text


@pytest.mark.parametrize(("picture", "media_type"), [(JPEG, "image/jpeg"), (PNG, "image/png")])
def test_photos_stand_in_the_page_itself(picture: bytes, media_type: str) -> None:
    parsed = shown_page(recorded(record()), photos={HASH: picture})
    images = {name: value for tag, name, value in parsed.attributes if tag == "img"}
    head, _, data = images["src"].partition(";base64,")
    assert (head, base64.b64decode(data)) == (f"data:{media_type}", picture)
    assert images["alt"] == "The nose"
    assert HASH in words_of(parsed)
    assert "img-src data:" in parsed.meta["Content-Security-Policy"]


@pytest.mark.parametrize("photos", [{}, {HASH: b"<svg onload='alert(1)'/>"}, {HASH: b""}])
def test_what_is_no_picture_is_named_and_never_put_into_the_page(photos: dict[str, bytes]) -> None:
    parsed = shown_page(recorded(record()), photos=photos)
    assert not [tag for tag, _, _ in parsed.attributes if tag == "img"]
    assert "Kept as nose.jpg; no picture of it can be shown here." in words_of(parsed)


def test_a_photo_kept_again_is_shown_once_with_its_newest_caption() -> None:
    def kept(caption: str, date: dt.date = START) -> tuple[str, dt.date, dict[str, object]]:
        content = photo_content(HASH, "a.jpg", media_type="image/jpeg", bytes=5, caption=caption)
        return "photo", date, content

    found = record([kept("first", LATER), kept("second"), kept("")])
    (shown,) = found.photos
    assert (shown.caption, shown.date) == ("second", START)
    parsed = shown_page(recorded(found), photos={HASH: JPEG})
    assert [v for tag, n, v in parsed.attributes if (tag, n) == ("img", "alt")] == ["second"]


def test_names_written_right_to_left_are_set_apart_in_sentences() -> None:
    """Unicode Standard Annex 9: the name alone is isolated, the sentence stays left to right."""
    name, apart = "שפה 2", "\u2068שפה 2\u2069"
    belt = [
        ("belt", day, belt_content(name, stage=stage, tension=tension, unit="N"))
        for day, stage, tension in ((START, "as-installed", 600), (LATER, "after-run-in", 500))
    ]
    found = record(
        [("runout", START, runout_content(name, [0, 0.1, 0, -0.1], unit="mm")),
         ("runout", LATER, runout_content(name, [0, 0.3, 0, -0.1], unit="mm")), *belt]
    )  # fmt: skip
    html = page([recorded(found)], title="t", made_at=MADE_AT)
    assert f'<p dir="ltr">{apart} run-out is' in html
    assert f"the {apart} moved by" in html
    assert f'<p class="said" dir="ltr">Run in, belt {apart} kept' in html
    assert f'<bdi dir="ltr">Run-out (TIR), {apart}</bdi>' in html
    assert "\u2068" not in page([recorded(record())], title="t", made_at=MADE_AT)


def test_the_longest_name_is_set_apart_first() -> None:
    assert isolating(["שפה", "שפה ב", "rim"])("rim, שפה ב, שפה") == (
        "rim, \u2068שפה ב\u2069, \u2068שפה\u2069"
    )


def test_a_person_s_own_words_are_shown_as_text() -> None:
    words = " ".join(HOSTILE.split())[:300].replace("\u202e", "").replace("\u202c", "")
    found = record(
        [
            ("details", START, details_content(part=words, who=words, notes=words)),
            ("bolt", START, bolt_content(words, stages=["135 lbf ft"], treatment=words,
                                         instrument=words, person=words, note=words)),
            ("runout", START, runout_content(words, [0, 0.1, 0.2, 0.1], unit="mm", note=words)),
            ("runout", LATER, runout_content(words, [0, 0.2, 0.2, 0.1], unit="mm", note=words)),
            ("belt", START, belt_content(words, stage="as-installed", tension=140, unit="lbf")),
            ("check", START, check_content("clean", note=words, person=words)),
            ("note", START, note_content(words, person=words)),
        ]
    )  # fmt: skip
    html = page([recorded(found)], title="t", made_at=MADE_AT)
    assert "<script>alert" not in html
    parsed = Parsed(html)
    assert [kind for kind, _ in parsed.scripts].count(None) == 1
    assert words_of(parsed).count(words) >= 12
    assert not [name for _, name, _ in parsed.attributes if name.startswith("on")]


def test_nothing_entered_is_one_quiet_line() -> None:
    parsed = shown_page(recorded(record([])))
    text = words_of(parsed)
    assert "Nothing is entered yet of how this damper sits. Add what was read with" in text
    assert "vibetrend installation runout" in text
    assert "Every reading" not in text
    assert "Still missing" not in text
    assert "Installation record: Nothing entered yet" in text
    bare = words_of(shown_page(engine_record("main")))
    assert "Installation record" not in bare


def test_the_record_stands_without_any_recording() -> None:
    text = told(recorded(record()))
    assert "No steady recording has been added yet." in text
    assert "nan" not in text.lower().split()
    assert text.index("Installation record: Below the limit") < text.index("Every reading")


def test_the_first_screen_names_what_is_beyond_until_it_is_put_right() -> None:
    def first_screen(found: EngineRecord) -> str:
        words = standing_words([found], today=MADE_AT.date())
        return " ".join(words.replace("\xa0", " ").split())

    text = first_screen(recorded(record()))
    told = (
        "Installation record: Below the limit. Belt alternator, tension, after run-in: 436 N; "
        "the maker's: at least 467 N (sheet 6)."
    )
    assert told in text
    lacking = len(record().missing)
    assert f" {lacking} points of a careful record are missing." in text
    assert record().missing[0] not in text
    right = belt_content("alternator", stage="after-run-in", tension=116, unit="lbf")
    text = first_screen(recorded(record([*SOME, ("belt", LATER, right)])))
    assert "Installation record: Finished. 3 readings within the maker's limits. For 1" in text
    assert "reading the maker's limit is not in the engine file." in text
    shown = standing_words([recorded(record())], today=MADE_AT.date(), shown=IMPERIAL)
    assert "98 lbf; the maker's: at least 105 lbf (sheet 6)." in " ".join(shown.split())


def test_earlier_dampers_are_folded_away_with_their_records() -> None:
    old = PastInstallation(
        date=dt.date(2019, 5, 1), hours=100.0, as_found=True, until=START, until_hours=3120.0,
        record=replace(record([("runout", START, FIRST)], as_found=True), date=dt.date(2019, 5, 1),
                       hours=100.0),
    )  # fmt: skip
    empty = replace(old, record=replace(record([], as_found=True), date=dt.date(2015, 5, 1)))
    found = recorded(record(), earlier_installations=(empty, old))
    html = page([found], title="t", made_at=MADE_AT)
    past = re.findall(r'<details class="numbers printed past">(.*?)</details>', html, re.DOTALL)
    assert len(past) == 2
    began = "The damper before: Found in place on 1 May 2019 at 100\xa0h, until 1 May 2026 at 3120"
    assert began in past[0]
    assert "Run-out (TIR), rim" in past[0]
    assert "Nothing was entered of how it sat." in past[1]


def test_the_damper_s_first_day_is_drawn_in_every_history() -> None:
    parsed = shown_page(engine_record("main", series(history())))
    assert "Uprights with a letter: D damper fitted on 1 May 2026 at 3120 h." in words_of(
        parsed
    ).replace("\xa0", " ")
    found = replace(engine_record("main", series(history())), as_found=True)
    assert "D damper found in place on 1 May 2026" in words_of(shown_page(found))


def test_a_set_read_again_the_same_day_is_the_latest() -> None:
    again = record([("runout", START, FIRST), ("runout", START, SECOND)])
    assert "the rim moved by 0.158" in told(recorded(again))
