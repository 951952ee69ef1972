"""The log of everything on the page."""

import datetime as dt

from invented_fitting import record, recorded
from invented_report import MADE_AT, START
from parsed_page import HOSTILE, Parsed, words_of

from vibetrend.checkup.records import Corrected, EngineRecord, Happening, KnownHours
from vibetrend.installation import runout_content
from vibetrend.report import page

CHANGED = dt.date(2027, 6, 1)
HAPPENED = (
    Happening(date=dt.date(2028, 1, 2), hours=None, meter_hours=None, what="verdict",
              words="phone, head; recordings up to 2028-01-01", states=("learning", "changed")),
    Happening(date=CHANGED, hours=3310.5, meter_hours=0.0, what="meter",
              words="hour meter replaced", own="flooded"),
    Happening(date=START, hours=3120.0, meter_hours=3120.0, what="installation",
              words="damper fitted"),
)  # fmt: skip
HOURS = (KnownHours(date=CHANGED, hours=3310.5, meter_hours=0.0, what="change"),)


def shown(record: EngineRecord) -> Parsed:
    return Parsed(page([record], title="t", made_at=MADE_AT))


def test_newest_first_with_true_hours_and_the_meter_s() -> None:
    parsed = shown(recorded(record([]), happenings=HAPPENED, hours_log=HOURS))
    wanted = [
        ["2 January 2028", "–", "–", "Judged",
         "Changed, before that: baseline not complete; phone, head; recordings up to "
         "1 January 2028"],
        ["1 June 2027", "3310.5", "0", "Hour meter", "Hour meter replaced", "·", "flooded"],
        ["1 May 2026", "3120", "3120", "Damper", "Damper fitted"],
    ]  # fmt: skip
    assert [row for row in parsed.rows if row in wanted] == wanted
    text = words_of(parsed).replace("\xa0", " ")
    assert "3 lines, newest first" in text
    assert (
        "On 1 June 2027 the hour meter began anew at 0 h, when the engine had run 3310.5 h." in text
    )


def test_one_column_of_hours_where_the_meter_shows_the_true_ones() -> None:
    text = words_of(shown(recorded(record([]), happenings=HAPPENED[2:])))
    assert "Log of everything" in text
    assert "On the meter" not in text


def test_no_log_of_nothing() -> None:
    assert "Log of everything" not in words_of(shown(recorded(None)))


def test_a_name_written_right_to_left_leaves_the_number_behind_it_in_its_place() -> None:
    name = "\u05d0\u05d1"
    content = runout_content(name, [0.0, 0.05, 0.0, -0.05], unit="mm", resolution=0.01)
    happened = (
        Happening(date=START, hours=None, meter_hours=None, what="reading",
                  words=f"run-out of {name}: 0.10 mm"),
    )  # fmt: skip
    text = words_of(shown(recorded(record([("runout", START, content)]), happenings=happened)))
    assert f"Run-out of \u2068{name}\u2069: 0.10 mm" in text


def test_what_a_correction_is_about_turns_nothing_beyond_itself() -> None:
    about = "mounts: \u202egnorw"
    made = Corrected(
        entry="work-3", about=about, what="set aside", was="no", now="yes", reason="x", person="",
        made_at="2026-05-02T10:00:00Z", date=START,
    )  # fmt: skip
    happened = (
        Happening(date=START, hours=None, meter_hours=None, what="correction",
                  words=f"work-3 ({about}): set aside was no, now yes"),
    )  # fmt: skip
    text = words_of(shown(recorded(None, happenings=happened, corrections=(made,))))
    assert "Work-3 (\u2068mounts: gnorw\u2069): set aside was no, now yes" in text


def test_a_person_s_words_stay_text() -> None:
    happened = (Happening(date=START, hours=1.0, meter_hours=1.0, what="work", words=HOSTILE,
                          own=HOSTILE),)  # fmt: skip
    html = page([recorded(None, happenings=happened)], title="t", made_at=MADE_AT)
    assert "<script>alert" not in html
    assert words_of(Parsed(html)).count(" ".join(HOSTILE.split())[1:]) == 2
