"""The calendar file, read back by a calendar library and held against RFC 5545 line by line."""

import datetime as dt
import re
from typing import Any

import icalendar
import pytest

from vibetrend.checkup.records import EngineRecord
from vibetrend.engine import Engine
from vibetrend.errors import VibetrendError
from vibetrend.installation.renewal import renewal
from vibetrend.installation.use import Known, Reached, use
from vibetrend.report.calendar import calendar, left_out
from vibetrend.trend.advice import CAUTIONS

FITTED = dt.date(2024, 6, 1)
FITTED_HOURS = 3120.0
READ: list[Known] = [(FITTED, FITTED_HOURS), (dt.date(2026, 6, 1), 3620.0)]  # 250 h/y
MADE_AT = dt.datetime(2026, 6, 20, 17, 5, tzinfo=dt.timezone(dt.timedelta(hours=2)))


def record(
    name: str = "main",
    *,
    renew_hours: float | None = 4000,
    renew_years: float | None = 6,
    known: list[Known] = READ,
    made_at: dt.datetime = MADE_AT,
    fitted: dt.date = FITTED,
    next_hours: float | None = 3820.0,
    as_found: bool = False,
    made_on: dt.date | None = None,
    **more: Any,
) -> EngineRecord:
    """Return an engine whose damper was fitted, as `standing` would."""
    damper = {"renew_hours": renew_hours, "renew_years": renew_years}
    engine = Engine.model_validate({"name": name, "cylinders": 6, "damper": damper})
    today, (hours_date, hours) = made_at.date(), known[-1]
    used = use(known, today)
    reached = None
    if next_hours is not None and next_hours <= hours:
        reached = Reached(middle=today, early=today, late=today)
    elif next_hours is not None and used is not None:
        reached = used.when(next_hours)
    return EngineRecord(
        engine=engine,
        status={"name": name, "hours": hours, "next_recording_hours": next_hours},
        installation_date=fitted,
        installation_hours=FITTED_HOURS,
        as_found=as_found,
        series=(),
        renewal=renewal(
            engine.damper,
            fitted_date=fitted,
            fitted_hours=FITTED_HOURS,
            today=today,
            hours=hours,
            hours_date=hours_date,
            as_found=as_found,
            made_on=made_on,
            use=used,
        ),
        next_recording=reached,
        **more,
    )


def events(text: str) -> list[icalendar.Event]:
    found = icalendar.Calendar.from_ical(text)
    assert isinstance(found, icalendar.Calendar)
    return [each for each in found.walk("VEVENT") if isinstance(each, icalendar.Event)]


def unfolded(text: str) -> list[str]:
    """RFC 5545, 3.1: a line end followed by one blank is no line end."""
    return text.replace("\r\n ", "").removesuffix("\r\n").split("\r\n")


def plain(value: str) -> str:
    """RFC 5545, 3.3.11: undo the backslashes of a text."""
    return re.sub(r"\\(.)", lambda found: {"n": "\n", "N": "\n"}.get(found[1], found[1]), value)


def values(text: str, name: str) -> list[str]:
    lines = [line for line in unfolded(text) if re.match(rf"{name}[:;]", line)]
    return [plain(line.split(":", 1)[1]) for line in lines]


# What is in it


def test_the_damper_by_date_by_hours_and_the_next_check_up() -> None:
    by_date, by_hours, checkup = events(calendar([record()], made_at=MADE_AT))
    assert by_date.decoded("dtstart") == dt.date(2030, 6, 1)
    title = " ".join(str(by_date["summary"]).split())  # some blanks do not break
    assert title == "main: renew the crankshaft damper, due on 1 June 2030"
    # 3500 h from 3620 to 7120 at 500 h in 730 days: 5110 days.
    assert by_hours.decoded("dtstart") == dt.date(2026, 6, 1) + dt.timedelta(days=5110)
    day = dt.date(2026, 6, 1) + dt.timedelta(days=5110)
    title = " ".join(str(by_hours["summary"]).split())
    assert title.startswith("main: about due: renew the crankshaft damper, 7120 h expected around ")
    assert title.endswith(f" {day.day} {day:%B %Y}")
    assert checkup.decoded("dtstart") == dt.date(2026, 6, 1) + dt.timedelta(days=292)
    title = " ".join(str(checkup["summary"]).split())
    assert title == "main: about due: record the engine again, 3820 h expected around 20 March 2027"
    days = [[alarm["trigger"].dt.days for alarm in each.walk("VALARM")]
            for each in (by_date, by_hours, checkup)]  # fmt: skip
    assert days == [[-90, -14], [-90, -14], [-7]]


def test_a_day_that_is_guessed_tells_its_range_and_what_decides() -> None:
    one = record()
    assert one.renewal is not None
    assert one.renewal.hours_reached is not None
    early, late = one.renewal.hours_reached.early, one.renewal.hours_reached.late
    assert early is not None
    text = " ".join(str(events(calendar([one], made_at=MADE_AT))[1]["description"]).split())
    assert f"in nine of ten cases it lies between {early.day} {early:%B %Y} and" in text
    assert ("a day beyond 30 years" in text) is (late is None)
    assert "The hour meter decides." in text
    assert "Use: about 250 hours a year (nine years in ten" in text
    assert "from 2 readings over 2.0 years." in text
    assert "Whichever comes first, date or hours: the date comes first." in text.replace(
        "probably ", ""
    )


def test_the_cautions_and_the_makers_word_go_along() -> None:
    found = events(calendar([record()], made_at=MADE_AT))
    for each in found:
        assert str(each["description"]).endswith("\n".join(CAUTIONS))
    assert all("maker's interval" in str(each["description"]) for each in found)


def test_what_is_overdue_stands_today() -> None:
    """A calendar shows days to come: one that is past would not be seen."""
    old = record(renew_years=2, renew_hours=400, next_hours=3620.0)
    found = events(calendar([old], made_at=MADE_AT))
    assert {each.decoded("dtstart") for each in found} == {dt.date(2026, 6, 20)}
    titles = " ".join(" ".join(str(each["summary"]).split()) for each in found)
    assert "overdue since 1 June 2026" in titles
    assert "overdue since 3520 h" in titles
    assert "record the engine again now" in titles


def rings(made_at: dt.datetime, **values: Any) -> list[list[dt.timedelta]]:
    found = events(calendar([record(made_at=made_at, **values)], made_at=made_at))
    return [[alarm["trigger"].dt for alarm in each.walk("VALARM")] for each in found]


@pytest.mark.parametrize(("clock", "hour"), [(0, 9), (8, 9), (9, 10), (17, 18), (23, 24)])
def test_what_is_overdue_rings_that_day_and_not_before_the_file_was_made(
    clock: int, hour: int
) -> None:
    """RFC 5545, 3.8.6.3: a trigger counts from 0 o'clock where the entry is a whole day."""
    found = rings(MADE_AT.replace(hour=clock), renew_years=2, renew_hours=400, next_hours=3620.0)
    assert found == [[dt.timedelta(hours=hour)]] * 3


@pytest.mark.parametrize(
    ("days", "left"), [(91, [-90, -14]), (90, [-14]), (15, [-14]), (14, []), (1, [])]
)
def test_only_alarms_that_lie_ahead_are_set(days: int, left: list[int]) -> None:
    """Due on 1 June 2030; where none is left, one rings that morning."""
    made_at = dt.datetime(2030, 6, 1, 17, tzinfo=dt.UTC) - dt.timedelta(days=days)
    found = rings(made_at, renew_hours=None, next_hours=None)
    assert found == [[dt.timedelta(days=each) for each in left] or [dt.timedelta(hours=9)]]


def test_a_damper_found_too_long_ago_stands_today_too() -> None:
    """Its age is not known, but the record alone is longer than its maker allows."""
    found = record(renew_years=2, renew_hours=None, as_found=True)
    by_date, checkup = events(calendar([found], made_at=MADE_AT))
    assert by_date.decoded("dtstart") == dt.date(2026, 6, 20)
    assert str(by_date["summary"]) == "main: renew the crankshaft damper, overdue"
    assert "Since it was found on the engine on 1 June 2024" in " ".join(
        str(by_date["description"]).split()
    )
    assert checkup["uid"] != by_date["uid"]


def test_run_too_long_since_it_was_found_stands_today_though_its_date_lies_ahead() -> None:
    """500 h since it was found are more than the maker's 400, whenever it was made."""
    found = record(renew_hours=400, renew_years=6, as_found=True, made_on=FITTED)
    by_date = events(calendar([found], made_at=MADE_AT))[0]
    assert by_date.decoded("dtstart") == dt.date(2026, 6, 20)
    assert str(by_date["summary"]) == "main: renew the crankshaft damper, overdue"


def test_hours_that_may_be_up_ask_for_a_look_at_the_meter() -> None:
    late = dt.datetime(2028, 1, 1, tzinfo=dt.UTC)
    one = record(renew_hours=800, made_at=late)  # 3920 h: in August 2027 by the use so far
    by_hours = events(calendar([one], made_at=late))[1]
    assert by_hours.decoded("dtstart") == dt.date(2028, 1, 1)
    assert "read the hour meter" in str(by_hours["summary"])


def test_hours_are_told_as_the_meter_shows_them_too() -> None:
    moved = calendar([record(meter_offset=3000.0)], made_at=MADE_AT)
    summary = " ".join(values(moved, "SUMMARY")[1].split())
    assert "7120 h (4120 h on the meter)" in summary
    text = " ".join(str(events(moved)[1]["description"]).split())
    assert "at 3120 h. " in text  # what is past was read off another meter, maybe


def test_the_day_is_that_of_the_person_and_the_stamp_is_utc() -> None:
    night = dt.datetime(2026, 6, 20, 0, 30, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    found = events(calendar([record(next_hours=3620.0)], made_at=night))[2]
    assert found.decoded("dtstart") == dt.date(2026, 6, 20)
    assert found.decoded("dtstamp") == dt.datetime(2026, 6, 19, 22, 30, tzinfo=dt.UTC)


# What is not in it


def test_what_has_no_date_is_named_with_its_reason() -> None:
    new = record(known=[(FITTED, FITTED_HOURS)], next_hours=3320.0)
    (by_date,) = events(calendar([new], made_at=MADE_AT))
    assert by_date.decoded("dtstart") == dt.date(2030, 6, 1)
    said = [" ".join(text.split()) for text in left_out([new], made_at=MADE_AT)]
    assert [text.split(",")[0] for text in said] == [
        "main: no date for the renewal at 7120 h",
        "main: no date for the next check-up at 3320 h",
    ]
    assert all("nothing is known of the hours a year" in text for text in said)
    assert left_out([record()], made_at=MADE_AT) == []


def test_hours_beyond_thirty_years_have_no_entry() -> None:
    seldom = record(known=[(FITTED, FITTED_HOURS), (dt.date(2026, 6, 1), 3130.0)])
    assert len(events(calendar([seldom], made_at=MADE_AT))) == 1
    said = " ".join(left_out([seldom], made_at=MADE_AT))
    assert "not within 30 years by the use so far" in said
    assert len(left_out([seldom], made_at=MADE_AT)) == 2


def test_without_any_date_there_is_no_file() -> None:
    """RFC 5545, 3.6: a calendar holds at least one component."""
    bare = record(
        renew_hours=None, renew_years=None, known=[(FITTED, FITTED_HOURS)], next_hours=None
    )
    with pytest.raises(VibetrendError, match=r"nothing to put into a calendar\. main: no renewal"):
        calendar([bare], made_at=MADE_AT)
    with pytest.raises(VibetrendError, match="There is no engine"):
        calendar([], made_at=MADE_AT)


# Importing again


def test_a_newer_file_updates_the_entries_of_an_older_one() -> None:
    """RFC 5545, 3.8.4.7 (UID), 3.8.7.4 (SEQUENCE), 3.8.7.3 (LAST-MODIFIED)."""
    later = MADE_AT + dt.timedelta(days=100)
    known = [*READ, (dt.date(2026, 9, 20), 3800.0)]
    old = events(calendar([record()], made_at=MADE_AT))
    new = events(calendar([record(known=known, made_at=later)], made_at=later))
    assert [each["uid"] for each in old] == [each["uid"] for each in new]
    assert all(a["sequence"] < b["sequence"] for a, b in zip(old, new, strict=True))
    assert new[1].decoded("dtstart") != old[1].decoded("dtstart")
    assert {each.decoded("last-modified") for each in new} == {later.astimezone(dt.UTC)}
    assert calendar([record()], made_at=MADE_AT) == calendar([record()], made_at=MADE_AT)


def test_every_entry_of_every_engine_and_damper_is_its_own() -> None:
    two = [record("port"), record("starboard"), record("port", fitted=dt.date(2024, 6, 2))]
    uids = values(calendar(two, made_at=MADE_AT), "UID")
    assert len(set(uids)) == len(uids) == 9


def test_sequence_stays_within_the_integers_of_the_standard() -> None:
    """RFC 5545, 3.3.8: up to 2147483647."""
    late = dt.datetime(2199, 1, 1, tzinfo=dt.UTC)
    text = calendar([record(made_at=late)], made_at=late)
    assert all(0 <= int(value) < 2**31 for value in values(text, "SEQUENCE"))


# The standard, by the file's own lines

NAMES = [
    "main",
    'a, b; c\\n d: "e" \\',
    "\N{ANCHOR}\N{SHIP}" * 60,
    "ü" * 200,
    "المحرك الرئيسي",
    "מנוע ראשי 2",
    "BEGIN:VEVENT",
    "a" * 500,
]


@pytest.mark.parametrize("name", NAMES)
def test_the_file_keeps_to_rfc_5545(name: str) -> None:
    text = calendar([record(name), record(f"{name} 2", renew_years=1)], made_at=MADE_AT)
    octets = text.encode()
    # 3.1: lines end with CRLF and have 75 octets at most; here no letter is cut in two.
    assert octets.endswith(b"\r\n")
    assert b"\n" not in octets.replace(b"\r\n", b"")
    assert b"\r" not in octets.replace(b"\r\n", b"")
    folded = octets.removesuffix(b"\r\n").split(b"\r\n")
    assert max(len(line) for line in folded) <= 75
    assert all(line.decode() for line in folded)
    lines = unfolded(text)
    for line in lines:  # 3.1: name *(";" param) ":" value
        assert re.match(r"[A-Z-]+(;[A-Z-]+=[A-Z-]+)*:", line), line
    # 3.4, 3.6: one calendar, with PRODID and VERSION once each.
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    head = lines[1 : lines.index("BEGIN:VEVENT")]
    assert sorted(line.split(":")[0] for line in head) == ["PRODID", "VERSION"]
    assert "VERSION:2.0" in head
    parts = _components(lines)
    assert {kind for kind, _ in parts} == {"VALARM", "VEVENT", "VCALENDAR"}
    for kind, properties in parts:
        names = [line.split(":")[0].split(";")[0] for line in properties]
        assert len(set(names)) == len(names)
        if kind == "VEVENT":  # 3.6.1: UID and DTSTAMP; without METHOD also DTSTART
            assert {"UID", "DTSTAMP", "DTSTART", "SUMMARY", "DESCRIPTION"} <= set(names)
            given = {line.split(":")[0]: line.split(":", 1)[1] for line in properties}
            assert re.fullmatch(r"\d{8}T\d{6}Z", given["DTSTAMP"])  # 3.8.7.2, 3.3.5: UTC
            assert re.fullmatch(r"\d{8}", given["DTSTART;VALUE=DATE"])  # 3.3.4
            assert given["TRANSP"] == "TRANSPARENT"  # 3.8.2.7
        if kind == "VALARM":  # 3.6.6: of DISPLAY these three
            assert {"ACTION", "DESCRIPTION", "TRIGGER"} == set(names)
            trigger = next(line for line in properties if line.startswith("TRIGGER"))
            assert re.fullmatch(r"TRIGGER:(-P\d+[DW]|PT\d+H|P1D)", trigger)  # 3.8.6.3, 3.3.6
    for line in lines:  # 3.3.11: comma, semicolon and backslash of a text are escaped
        if line.startswith(("SUMMARY:", "DESCRIPTION:")):
            value = re.sub(r"\\[\\;,nN]", "", line.split(":", 1)[1])
            assert not re.search(r"[\\;,]", value), line
    # And the name comes back whole, by our own reading and by the library's.
    assert all(name in value for value in values(text, "SUMMARY"))
    assert all(name in str(each["summary"]) for each in events(text))


def test_a_name_written_right_to_left_keeps_what_stands_beside_it_in_place() -> None:
    """Unicode Standard Annex 9: FIRST STRONG ISOLATE and POP DIRECTIONAL ISOLATE."""
    text = calendar([record("מנוע")], made_at=MADE_AT)
    assert all(value.startswith("\u2068מנוע\u2069: ") for value in values(text, "SUMMARY"))
    assert "\u2068" not in calendar([record("main")], made_at=MADE_AT)


def _components(lines: list[str]) -> list[tuple[str, list[str]]]:
    """Return each component's own lines; fails where BEGIN and END do not pair."""
    found: list[tuple[str, list[str]]] = []
    opened: list[tuple[str, list[str]]] = []
    for line in lines:
        if line.startswith("BEGIN:"):
            opened.append((line.removeprefix("BEGIN:"), []))
        elif line.startswith("END:"):
            kind, properties = opened.pop()
            assert line == f"END:{kind}"
            found.append((kind, properties))
        else:
            opened[-1][1].append(line)
    assert not opened
    return found
