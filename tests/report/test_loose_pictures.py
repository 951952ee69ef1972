"""Each picture of the page by itself."""

import io
import os
from dataclasses import replace
from pathlib import Path

import pytest
from fake_browser import PNG, fake
from invented_fitting import record, recorded
from invented_report import MADE_AT, engine_record, history, series, worked_on
from parsed_page import Parsed
from PIL import Image
from real_browser import BROWSER, needed

from vibetrend.checkup.records import EngineRecord
from vibetrend.errors import VibetrendError
from vibetrend.quantities import ShownUnits
from vibetrend.report import writing
from vibetrend.report.printing.loose import KIND, Loose, loose
from vibetrend.trend.advice import CAUTIONS


def pictures(*engines: EngineRecord) -> list[Loose]:
    return loose(engines, made_at=MADE_AT, shown=ShownUnits())


def named(*engines: EngineRecord) -> list[str]:
    return [each.name for each in pictures(*engines)]


@pytest.fixture(scope="module")
def bent() -> EngineRecord:
    return engine_record("main", series(history()))


def test_each_series_has_its_pictures(bent: EngineRecord) -> None:
    assert named(bent) == [
        "main-1-changes.png",
        "main-1-history-order-04.5.png",
        "main-1-together.png",
        "main-1-map.png",
        "main-1-spectrum.png",
    ]


def test_every_order_that_moved_has_its_history(bent: EngineRecord) -> None:
    (one,) = bent.series
    orders = one.verdict.orders.copy()
    orders.loc[orders["order"].isin([2.0, 7.5]), "state"] = "changed"
    moved = replace(one, verdict=replace(one.verdict, orders=orders))
    found = named(engine_record("main", moved))
    assert sorted(each for each in found if "history" in each) == [
        "main-1-history-order-02.0.png",
        "main-1-history-order-04.5.png",
        "main-1-history-order-07.5.png",
    ]


def test_a_series_that_work_ended_has_pictures_too() -> None:
    found = pictures(worked_on())
    assert {each.name.split("-")[1] for each in found} == {"1", "2"}
    ended = next(each for each in found if each.name == "main-2-changes.png")
    assert "ended by work: mounts and injectors on 12 April 2028" in ended.html


def test_each_run_out_has_its_picture() -> None:
    (one,) = pictures(recorded(record()))
    assert one.name == "main-run-out-rim.png"
    assert "Run-out of the rim" in one.html
    assert "readings in mm, 1 April 2028" in one.html


def test_what_it_is_stands_in_the_picture(bent: EngineRecord) -> None:
    for one in pictures(bent):
        text = " ".join("".join(Parsed(one.html).text).split())
        assert "main · front cover · old phone · acceleration" in text
        assert "made 20 June 2028" in text
        assert CAUTIONS[-1] in text
        assert " dB" in text or "m/s" in text


def test_it_is_light_and_runs_nothing(bent: EngineRecord) -> None:
    for one in pictures(bent):
        assert "prefers-color-scheme: dark" not in one.html
        assert "@media not all" in one.html
        assert "<script" not in one.html


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("port-2_b", "port-2_b"),
        ("../a b/c:d", "a_b_c_d-b713b0c6"),
        ("船" * 100, f"{'船' * 17}-8d158656"),  # 3 bytes each in UTF-8
    ],
)
def test_a_name_that_any_file_system_takes(name: str, file: str) -> None:
    found = named(engine_record(name, series(history(visits=4))))
    assert all(each.startswith(f"{file}-1-") for each in found)
    assert all(len(each.encode()) < 200 for each in found)


def test_like_names_have_files_of_their_own() -> None:
    one = series(history(visits=4))
    found = named(*(engine_record(each, one) for each in ("a_b", "a:b", "A_B")))
    assert {"a_b-1-changes.png", "A_B-1-changes-2.png"} <= set(found)
    assert len({each.casefold() for each in found}) == len(found)


def test_a_hostile_name_is_text(bent: EngineRecord) -> None:
    name = "<script>alert(1)</script>"
    for one in pictures(engine_record(name, *bent.series)):
        assert "<script" not in one.html
        assert name in "".join(Parsed(one.html).text)


def test_nothing_to_draw_is_said() -> None:
    with pytest.raises(VibetrendError, match="there is nothing to draw yet"):
        pictures(engine_record("main"))


@pytest.mark.skipif(os.name != "posix", reason="the script needs a POSIX system")
def test_the_file_is_a_picture_that_says_who_made_it(tmp_path: Path, bent: EngineRecord) -> None:
    content = pictures(bent)[0].png(fake(tmp_path / "bin", PNG.format(end=300)))
    assert KIND.signature in content[:2000]
    picture = Image.open(io.BytesIO(content))
    assert (picture.format, picture.size, picture.text["Software"]) == (
        "PNG", (2000, 300), "vibetrend",
    )  # fmt: skip
    # 192 pixels in an inch: it prints as large as on a page of 96.
    assert picture.info["dpi"] == pytest.approx((192, 192), abs=0.02)
    file = writing.File(path=tmp_path / "a.png", content=content, kind=KIND)
    writing.write_all([file])
    writing.write_all([file])
    Image.new("RGB", (4, 4)).save(file.path)
    with pytest.raises(VibetrendError, match="no picture of vibetrend has this name"):
        writing.write_all([file])


@needed
def test_a_real_browser_draws_it_whole(bent: EngineRecord) -> None:
    page = next(each for each in pictures(bent) if "map" in each.name)
    picture = Image.open(io.BytesIO(page.png(BROWSER)))
    assert picture.width == 2000
    assert picture.height > 800
    assert picture.getpixel((0, picture.height - 1)) == (255, 255, 255)
    colours = {colour for _, colour in picture.getcolors(1 << 24) or []}
    assert (255, 0, 255) not in colours  # the end mark is cut off
    assert len(colours) > 20
