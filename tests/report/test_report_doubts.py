"""What was doubted about recordings is told once for all of them."""

from typing import Any

from vibetrend.report.doubts import Doubt, doubts


def recording(*quality: tuple[str, str, str]) -> dict[str, Any]:
    names = ("severity", "code", "message")
    return {"quality": [dict(zip(names, note, strict=True)) for note in quality]}


def test_plain_notes_stand_once_with_the_newest_numbers() -> None:
    told = doubts(
        [
            recording(("note", "clock", "418.5 Hz on average"), ("note", "mains", "hum")),
            recording(("note", "clock", "419.1 Hz on average")),
            recording(),
            recording(("note", "clock", "418.5 Hz on average")),
        ]
    )
    assert told == [
        Doubt(code="clock", severity="note", message="418.5 Hz on average", recordings=3,
              alike=False),
        Doubt(code="mains", severity="note", message="hum", recordings=1, alike=True),
    ]  # fmt: skip


def test_what_is_worse_is_told_each_time_it_reads_differently_and_first() -> None:
    told = doubts(
        [
            recording(("note", "a", "x"), ("warning", "b", "one"), ("unusable", "c", "no")),
            recording(("warning", "b", "two")),
            recording(("warning", "b", "one")),
        ]
    )
    assert [(one.code, one.message, one.recordings) for one in told] == [
        ("c", "no", 1), ("b", "one", 2), ("b", "two", 1), ("a", "x", 1),
    ]  # fmt: skip


def test_a_code_twice_in_one_recording_counts_once() -> None:
    (told,) = doubts([recording(("note", "a", "x"), ("note", "a", "y"))])
    assert told.recordings == 1
