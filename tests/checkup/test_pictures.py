"""The picture of the latest recording, and what is said where there can be none."""

import datetime as dt
from pathlib import Path

from invented_life import BASELINE, add, book, clip, main_engine

from vibetrend.checkup.pictures import with_pictures
from vibetrend.report import page


def test_a_missing_original_is_told_where_its_picture_would_stand(tmp_path: Path) -> None:
    (day, hours), *_ = BASELINE
    told: list[str] = []
    with book(tmp_path) as opened:
        for number in (1, 2):
            path = clip(tmp_path / f"clip {number}.csv", seed=number)
            add(opened, path, day, hours, baseline=True)
        (drawn,) = with_pictures(opened, [main_engine(opened)], tell=told.append)
        assert (drawn.series[0].no_picture, told) == ("", [])
        assert drawn.series[0].spectrogram is not None

        sha256 = str(drawn.series[0].recordings["sha256"].iloc[-1])
        (original,) = (tmp_path / "logbook" / "originals").rglob(sha256[2:])
        original.unlink()
        (found,) = with_pictures(opened, [main_engine(opened)], tell=told.append)
    assert len(told) == 1
    said = "its original is missing or damaged (clip 2.csv)"
    assert (found.series[0].no_picture, found.series[0].spectrogram) == (said, None)
    html = page([found], title="t", made_at=dt.datetime(2025, 6, 1))
    assert f"No picture of the latest recording: {said}." in html
    assert "No picture" not in page([drawn], title="t", made_at=dt.datetime(2025, 6, 1))
