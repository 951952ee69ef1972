"""Written times taken apart: many at once where they are alike, one by one where they are not.

Expected values are those that were written.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from vibetrend.errors import ReadError
from vibetrend.ingest import clock, stamps

MS = 3_599_000 + np.arange(0, 4000, 3)  # past a full hour


def spelled(form: str, ms: int) -> str:
    fields = {
        "h": ms // 3_600_000 + 9,
        "m": ms // 60_000 % 60,
        "s": ms // 1000 % 60,
        "f": ms % 1000,
        "short": f"{ms % 1000:03d}".rstrip("0") or "0",
    }
    return form.format(**fields)


@pytest.mark.parametrize(
    "form",
    [
        "2026-05-01T{h:02d}:{m:02d}:{s:02d}.{f:03d}Z",
        "01.05.2026 {h}:{m:02d}:{s:02d},{f:03d}",
        "1. März 2026 {h}:{m:02d}:{s:02d}.{short}",
        "{h}:{m:02d}:{s:02d}.{short} 2026-05-01",
        "{h}.{m:02d}.{s:02d},{short}",
        "20260501T{h:02d}{m:02d}{s:02d}.{f:03d}+02:00",
        "2026-05-01\N{NO-BREAK SPACE}{h}:{m:02d}:{s:02d}:{f:03d}",
    ],
)
def test_stamps_of_one_length_and_of_several(form: str) -> None:
    texts = [spelled(form, int(ms)) for ms in MS]
    read = clock.from_text([stamps.of_texts(texts)], "time")
    assert_allclose(read.seconds, (MS - MS[0]) / 1000, rtol=0, atol=1e-12)


def test_digits_that_stand_elsewhere_are_not_taken_for_seconds() -> None:
    """All of one length; in some the digits of the seconds' places are no seconds."""
    texts = ["10:00:00.123456", "10:00:01.000000", "10:00.123456789", "10:00:0x.123456"]
    texts += ["10:00:02.12345x", "x10:00:03.12345", "1:00:04.1234567", "10:00:05.000000"]
    parts = stamps.taken_apart([stamps.of_texts(texts)])
    said = parts.of_day + parts.fraction
    day = 36_000
    expected = [day + 0.123456, day + 1, 600.123456789, np.nan, np.nan, np.nan]
    assert_allclose(said, [*expected, 3604.1234567, day + 5], rtol=1e-12)


def test_a_date_and_a_time_in_two_columns() -> None:
    dates = ["2026-05-01"] * 3 + ["2026-05-02"] * 2
    times = ["23:59:58.5", "23:59:59.0", "23:59:59.5", "00:00:00.0", "00:00:00.5"]
    read = clock.from_text([stamps.of_texts(dates), stamps.of_texts(times)], "time")
    assert_allclose(read.seconds, [0, 0.5, 1, 1.5, 2])


def test_what_cannot_be_read_is_missing_whatever_its_length() -> None:
    texts = ["10:00:00.1", "", "x" * 500, "nan", "10:00:00.2" + " " * 80 + "x", "10:00:00.4"]
    given = stamps.of_texts(texts)
    assert given.itemsize <= stamps.LONGEST
    assert stamps.present(given).tolist() == [True, False, True, False, True, True]
    read = clock.from_text([given], "time")
    assert_allclose(read.seconds, [0, np.nan, np.nan, np.nan, np.nan, 0.3], atol=1e-12)
    with pytest.raises(ReadError, match="cannot be read as times"):
        clock.from_text([stamps.of_texts(["a", "b"])], "time")
