"""The page of one recording in a real browser: drawn, quiet, as wide as the screen."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from chromium import Opened
from test_browser_axe import RUN
from test_browser_width import OUTSIDE, UNFIT

import vibetrend as vt
from vibetrend.checkup.looking import looked_at
from vibetrend.report import write
from vibetrend.report.recording.page import recording_page

WATCH = """window.faults = [];
addEventListener("error", (one) => faults.push(one.message));
addEventListener("securitypolicyviolation", (one) => faults.push(one.blockedURI));"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three axes with a gap and cut-off tops, names as bad as they come, one foreign line."""
    time = np.arange(6000) / 300
    waves = [sum(np.cos(36 * np.pi * k * time + k + a) / k for k in (0.5, 1, 3)) for a in range(3)]
    samples = np.stack(waves, axis=1) + 0.2 * np.cos(2 * np.pi * 70.3 * time)[:, np.newaxis]
    samples += 0.02 * np.random.default_rng(1).standard_normal(samples.shape)
    samples[4000:, 1] = np.minimum(2 * samples[4000:, 1], 3)
    there = (time < 5) | (time > 7)
    axes = ("x" * 80, "<i>y</i>", "z\u202eleft")
    one = vt.Recording(samples[there], times=time[there], rpm=1080, axes=axes)
    engine = vt.Engine.parse('name = "main"\ncylinders = 6\n')
    look = looked_at(vt.measure(one, engine=engine), engine=engine)
    path = tmp_path_factory.mktemp("recording") / "page.html"
    write(path, recording_page(look, made_at=dt.datetime(2026, 6, 1, tzinfo=dt.UTC)))
    return path


def test_drawn_without_a_complaint_and_never_wider_than_the_screen(
    opened: Opened, file: Path
) -> None:
    page = opened(file, watch=WATCH)
    assert page.locator(".chart.drawn").count() == 4
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    for width in (320, 390, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") == width
        assert page.evaluate(UNFIT) == []
        page.wait_for_timeout(100)  # what is far from the eye is laid out a moment later
        assert page.evaluate(OUTSIDE, width) == []
    assert page.evaluate("faults") == []


def test_no_serious_fault_of_access(opened: Opened, file: Path) -> None:
    base = pytest.importorskip(
        "axe_playwright_python.base", reason="axe-playwright-python (extra browser) is missing"
    )
    page = opened(file)
    page.evaluate(base.AXE_FILE_PATH.read_text(encoding="utf-8"))
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate(RUN) == [], (scheme, width)


def test_the_still_pictures_stand_without_script(opened: Opened, file: Path) -> None:
    page = opened(file, java_script_enabled=False)
    assert page.locator(".still .picture").count() == 4
    boxes = [page.locator(".still .picture").nth(i).bounding_box() for i in range(4)]
    assert all(box is not None and box["height"] > 150 and box["width"] > 900 for box in boxes)
