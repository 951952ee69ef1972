import base64
import hashlib
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from invented_report import (
    MADE_AT,
    WORK_HOURS,
    engine,
    engine_record,
    history,
    recordings,
    series,
    worked_on,
)
from parsed_page import HOSTILE, Parsed, words_of

from vibetrend.checkup.records import Kept
from vibetrend.checkup.twins import side_by_side
from vibetrend.errors import VibetrendError
from vibetrend.report import page, write
from vibetrend.report.words import STATE_WORDS
from vibetrend.trend import compare, judge


@pytest.fixture(scope="module")
def bent() -> pd.DataFrame:
    return history()


@pytest.fixture(scope="module")
def html(bent: pd.DataFrame) -> str:
    quiet = series(history(bend_db_per_1000h=0.0, seed=11))
    engines = [
        engine_record("main", series(bent)),
        engine_record("generator", quiet, overdue=True),
    ]
    return page(engines, title="The boat", made_at=MADE_AT, invented=True)


@pytest.fixture(scope="module")
def parsed(html: str) -> Parsed:
    return Parsed(html)


def is_conclusion(cells: list[float | str]) -> bool:
    """Whether a row belongs to the table of all of the verdict's numbers."""
    return len(cells) > 10 and cells[-1] in STATE_WORDS.values()


def test_nothing_leaves_the_file(parsed: Parsed) -> None:
    loading = ("src", "href", "srcset", "action", "poster", "data", "xlink:href", "formaction")
    links = [value for _, name, value in parsed.attributes if name in loading]
    assert links, "the skip link and the overview's links are expected"
    assert all(link.startswith("#") for link in links)
    assert {link[1:] for link in links} <= set(parsed.ids)
    assert not [
        tag for tag, _, _ in parsed.attributes if tag in ("link", "iframe", "object", "img")
    ]
    assert not [name for _, name, _ in parsed.attributes if name.startswith("on")]


def test_style_loads_nothing(html: str) -> None:
    style = html.partition("<style>")[2].partition("</style>")[0]
    assert "url(" not in style
    assert "@import" not in style


def test_policy_allows_exactly_the_inline_scripts(parsed: Parsed) -> None:
    """Hash as of W3C Content Security Policy Level 3, section 2.3.1: base64 of SHA-256 of UTF-8."""
    policy = parsed.meta["Content-Security-Policy"]
    # The library is held back as text; the script below puts it in as a script, then it runs.
    running = [text for kind, text in parsed.scripts if kind in (None, "text/plain")]
    hashes = [
        base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode() for text in running
    ]
    assert re.findall(r"'sha256-([^']+)'", policy) == hashes
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy.replace("style-src 'unsafe-inline'", "")
    assert "http" not in policy


def test_plotly_is_there_once(html: str) -> None:
    assert html.count("plotly.js v") == 1
    assert html.startswith("<!DOCTYPE html>")
    assert '<html lang="en">' in html


def test_first_screen_says_what_which_how_far_since_when_until_when(parsed: Parsed) -> None:
    text = words_of(parsed)
    row = judge(history()).orders.query("order == 4.5").iloc[0]
    assert row["state"] == "changed"  # the sample bends by 2.4 dB per 1000 h from 4300 h on
    assert f"Order 4.5 is up {row['change_db']:.1f} dB" in text
    assert f"left its level at about {row['since_hours']:.0f} h" in text.replace("\xa0", " ")
    assert f"by {row['slope_db_per_1000h']:.1f} dB per 1000 h" in text
    engine_itself = text[text.index("Idle trend:") :]
    assert engine_itself.index("Damper resonance:") < engine_itself.index("Not measured")
    assert "A trend never proves that a damper is sound" in text
    assert "isolate its starting" in text


def test_overdue_renewal_comes_first(parsed: Parsed) -> None:
    whole = words_of(parsed)
    assert whole.index("Damper renewal overdue: generator.") < whole.index("Idle trend")
    second = words_of(parsed).partition("At the latest check-up")[2]
    generator = second[second.index("6 cylinders") :]
    assert generator.index("Damper renewal: Overdue") < generator.index("Idle trend:")
    assert "on 1 May 2028, or at 7120" in generator


def test_every_number_of_the_verdict_is_on_the_page(parsed: Parsed, bent: pd.DataFrame) -> None:
    """The full value stands in the cell; the printed one is its rounding."""
    verdict = judge(bent)
    names = [
        "change_db", "scatter_db", "noticeable_db", "evidence_z", "since_hours",
        "slope_db_per_1000h",
        "hours_to_limit_low", "hours_to_limit", "hours_to_limit_high",
    ]  # fmt: skip
    for row in verdict.orders.to_dict(orient="records"):
        order = f"{row['order']:g}"
        cells = next(r for r in parsed.rows if r[:1] == [order] and is_conclusion(r))
        cells = [cell for cell in cells if cell != "firing"]
        shown = [cells[i] for i in (1, 3, 4, 5, 6, 7, 9, 10, 11)]
        for name, cell in zip(names, shown, strict=True):
            value = row[name]
            expected = "–" if math.isnan(value) else "never" if math.isinf(value) else value
            assert cell == expected, (row["order"], name)
        assert cells[12] == pytest.approx(100 * row["probability_never"], rel=1e-12)


def test_printed_digits_round_the_value(html: str) -> None:
    pairs = re.findall(r'<data value="([^"]+)">([^<]+)</data>', html)
    assert len(pairs) > 500
    for value, printed in pairs:
        digits = len(printed.partition(".")[2])
        # Half a unit of the last printed digit; three-digit amplitudes are printed as finely.
        assert abs(float(value) - float(printed)) <= 0.5000001 * 10**-digits
        assert printed not in ("-0", "-0.0", "+0", "+0.0")


def test_charts_hold_the_history(parsed: Parsed, bent: pd.DataFrame) -> None:
    charts = [json.loads(text) for kind, text in parsed.scripts if kind == "application/json"]
    # two engines: history, together, spectrum, map, speed, two overall bands
    assert len(charts) == 14
    histories = charts[0]
    assert histories[0]["label"] == "order 4.5"
    assert len(histories) == bent["order"].nunique()
    checkups = histories[0]["data"][-1]
    assert len(checkups["x"]) == bent["visit"].nunique()
    assert checkups["y"][-1] > 2.0


def test_pictures_stand_in_the_page_without_script(html: str) -> None:
    still = re.sub(r"<script.*?</script>", "", html, flags=re.DOTALL)
    assert 'aria-label="order 4.5: +' in still
    assert 'aria-label="history of order 4.5 from 3150 to' in still
    assert still.count('class="picture"') > 80


def test_left_out_recording_is_named_with_its_reason(parsed: Parsed, bent: pd.DataFrame) -> None:
    out = judge(bent).recordings.query("not used")
    assert len(out) >= 1
    for why in out["why_not"]:
        assert why in words_of(parsed)


def test_hostile_text_shows_as_text(bent: pd.DataFrame) -> None:
    one = series(bent)
    table = one.recordings.assign(name=HOSTILE, sha256=HOSTILE)
    note = {"code": "x", "severity": "note", "message": HOSTILE}
    table["quality"] = pd.Series([[note] for _ in range(len(table))], index=table.index)
    spectrum = replace(one.latest, label=HOSTILE, unit="</script><b>") if one.latest else None
    info = one.info | {"position": HOSTILE, "device": HOSTILE}
    hostile = replace(one, recordings=table, info=info, latest=spectrum)
    html = page([engine_record(HOSTILE, hostile)], title=HOSTILE, made_at=MADE_AT)
    parsed = Parsed(html)
    assert "<script>alert" not in html
    assert [kind for kind, _ in parsed.scripts].count(None) == 1
    assert " ".join(HOSTILE.split()) in words_of(parsed)
    for kind, text in parsed.scripts:
        if kind == "application/json":
            assert "<" not in text
            json.loads(text)


def test_hostile_feature_name_is_no_link_in_a_chart(bent: pd.DataFrame) -> None:
    """plotly turns a few HTML tags in labels into links and bold; none of ours may."""
    name = 'driven: <a href="https://example.org">pump</a>'
    verdict = judge(bent)
    tables = [
        pd.concat([t, t[t["order"] == 2.0].assign(feature=name, order=2.2)], ignore_index=True)
        for t in (bent, verdict.orders)
    ]
    one = series(tables[0], replace(verdict, orders=tables[1]))
    html = page([engine_record("main", one)], title="t", made_at=MADE_AT)
    charts = [json.loads(t) for k, t in Parsed(html).scripts if k == "application/json"]
    (checkup_map,) = charts[3]
    hovers = [text.replace("<br>", " ") for trace in checkup_map["data"] for text in trace["text"]]
    assert any("&lt;a href" in text for text in hovers)
    assert not any("<" in text for text in [*hovers, *checkup_map["layout"]["yaxis"]["ticktext"]])
    assert "https://example.org" in words_of(Parsed(html))  # as text only
    assert not [v for _, n, v in Parsed(html).attributes if n == "href" and not v.startswith("#")]


@pytest.fixture(scope="module")
def after_work() -> Parsed:
    return Parsed(page([worked_on(note=HOSTILE)], title="t", made_at=MADE_AT))


def test_step_across_work_is_shown_and_the_old_verdict_stays(after_work: Parsed) -> None:
    record = worked_on()
    new, old = record.series
    assert new.after_work is not None
    text = words_of(after_work).replace("\xa0", " ")
    done = "mounts and injectors on 12 April 2028 at 5525 h"
    assert f"Compared with what stood after the work: {done}. Before the work: changed." in text
    assert f"Step across the work: {done}" in text
    rows = new.after_work.rows
    stepped = rows.query("order == 2.0")["difference_db"].iloc[0] - new.after_work.common_db
    assert stepped < -3  # the sample fell by 5 dB; scatter takes its part
    assert re.search(rf"Clearly moved: order 2 \({stepped:.1f} dB\)", text)
    # What was judged before the work stands under a heading of its own, after what counts now.
    heading = f"Ended by work: {done}"
    assert text.index(heading) > text.index("Step across")
    assert "Before the work: changed" in text.partition(heading)[2]
    change = old.verdict.orders.query("order == 4.5")["change_db"].iloc[0]
    assert f"Order 4.5 is up {change:.1f} dB" in text.partition(heading)[2]
    assert "could be reached" not in text  # no forecast from before the work


def test_the_state_of_what_work_has_ended_is_not_the_engine_s(after_work: Parsed) -> None:
    states = [value for tag, name, value in after_work.attributes if name == "data-state"]
    assert states[:2] == ["no-change-seen", "no-change-seen"]  # the engine, its idle trend
    assert states[-1] == "changed"


def test_step_as_a_table_holds_the_comparison(after_work: Parsed) -> None:
    found = worked_on().series[0].after_work
    assert found is not None
    for row in found.rows.to_dict(orient="records"):
        own = row["difference_db"] - found.common_db
        told = [row["earlier"], row["later"], row["difference_db"], own]
        assert [f"{row['order']:g}", *told, "±", row["standard_error_db"]] in after_work.rows


def test_work_is_drawn_with_letter_and_legend_and_its_note_is_text(after_work: Parsed) -> None:
    text = words_of(after_work)
    assert " ".join(HOSTILE.split()) in text
    assert "; A mounts and injectors on 12 April 2028 at 5525 h." in text
    charts = [json.loads(t) for kind, t in after_work.scripts if kind == "application/json"]
    layouts = [figure["layout"] for chart in charts for figure in chart[:1]]
    drawn = [
        ({shape["x0"] for shape in layout["shapes"] if shape["line"].get("color") == "--ink"},
         {note["text"]: note["x"] for note in layout["annotations"] if "<b>" in note["text"]})
        for layout in layouts
        if "<b>A</b>" in [note["text"] for note in layout.get("annotations", [])]
    ]  # fmt: skip
    # History, together, speed and two overall bands of both series; the damper's first day lies
    # too far from the second's.
    assert drawn == [
        *[({WORK_HOURS}, {"<b>A</b>": WORK_HOURS})] * 5,
        *[({3120.0, WORK_HOURS}, {"<b>D</b>": 3120.0, "<b>A</b>": WORK_HOURS})] * 5,
    ]
    uprights = [
        v for tag, n, v in after_work.attributes if (tag, n, v) == ("line", "class", "work")
    ]
    assert len(uprights) > 30  # every small history has one


def test_old_damper_is_a_picture_without_a_verdict(bent: pd.DataFrame) -> None:
    old = history(visits=1, seed=3)
    found = compare(old, bent[bent["baseline"]])
    html = page([engine_record("m", replace(series(bent), before=found))], title="t",
                made_at=MADE_AT)  # fmt: skip
    parsed = Parsed(html)
    assert "A picture, not a verdict" in words_of(parsed)
    charts = [json.loads(text) for kind, text in parsed.scripts if kind == "application/json"]
    labels = [[trace["name"] for trace in chart[0]["data"]] for chart in charts]
    (at,) = [i for i, names in enumerate(labels) if names == ["the damper before", "the baseline"]]
    drawn = {trace["name"]: trace["y"] for trace in charts[at][0]["data"]}
    np.testing.assert_allclose(drawn["the damper before"], found.rows["earlier"], atol=1e-7)
    np.testing.assert_allclose(drawn["the baseline"], found.rows["later"], atol=1e-7)


def test_as_found_baseline_is_named_wherever_it_is_compared_with(bent: pd.DataFrame) -> None:
    one = series(bent)
    found = replace(one, info=one.info | {"baseline": "as-found", "carried": "Carried <b>words."})
    record = replace(engine_record("m", found), as_found=True)
    text = words_of(Parsed(page([record], title="t", made_at=MADE_AT)))
    told = "As-found baseline of 1 May 2026: the damper was already there, so this shows change"
    assert text.count(told) == 2  # the first screen and the series' own heading
    assert "Change of each order against the as-found baseline of 1 May 2026" in text
    assert "Carried <b>words." in text


def test_what_moved_and_does_not_matter_is_small_in_absolute_terms(bent: pd.DataFrame) -> None:
    table = bent.assign(velocity_mm_s=np.where(bent["order"] == 4.5, 0.09, 3.0))
    described = engine(small_velocity_mm_s=0.1)
    one = series(table, judge(table, engine=described))
    record = replace(engine_record("m", one), engine=described)
    text = words_of(Parsed(page([record], title="t", made_at=MADE_AT)))
    assert "Order 4.5 is small in absolute terms." in text
    assert text.count("Changed, small in absolute terms") == 1


def test_like_engines_stand_side_by_side_without_a_verdict(bent: pd.DataFrame) -> None:
    records = [
        engine_record("port", series(bent)),
        engine_record("starboard", series(history(bend_db_per_1000h=0.0, seed=11))),
    ]
    (found,) = twins = side_by_side(records)
    parsed = Parsed(page(records, title="t", made_at=MADE_AT, twins=twins))
    assert "No verdict: two like engines differ by several dB" in words_of(parsed)
    for row in found.table.to_dict(orient="records"):
        numbers = [row[name] for name in ("first", "second", "difference_db")]
        changes = [row["first_change_db"], row["second_change_db"]]
        assert [f"{row['order']:g}", *numbers, *changes] in parsed.rows
    assert "side by side" not in page(records[:1], title="t", made_at=MADE_AT)


@pytest.mark.parametrize(("visits", "state"), [(1, "learning"), (2, "learning")])
def test_incomplete_baseline(visits: int, state: str) -> None:
    one = series(history(visits=visits))
    assert one.verdict.state == state
    text = words_of(Parsed(page([engine_record("main", one)], title="t", made_at=MADE_AT)))
    assert "Baseline not complete" in text
    assert f"{visits} check-up{'s' if visits > 1 else ''} so far" in text


def test_no_baseline_at_all() -> None:
    one = series(history(visits=2).assign(baseline=False))
    assert one.verdict.state == "no-baseline"
    text = words_of(Parsed(page([engine_record("main", one)], title="t", made_at=MADE_AT)))
    assert "No baseline yet" in text
    assert "nan" not in text.lower().split()


def test_engine_without_recordings_and_page_without_engines() -> None:
    alone = page([engine_record("main")], title="t", made_at=MADE_AT)
    assert "No steady recording has been added yet." in words_of(Parsed(alone))
    assert "No engine has been added yet." in page([], title="t", made_at=MADE_AT)


def test_banner_only_for_invented_data(html: str) -> None:
    assert "Invented demo data." in html
    assert "Invented demo data." not in page([], title="t", made_at=MADE_AT)


def test_a_changed_logbook_is_told_on_the_first_sheet_and_the_last() -> None:
    fault = "work 3: it is not as it was entered on \u202e2026-11-28 & <b>"
    kept = Kept(entries=9, hash="af21", faults=(fault, "chain: link 4 is missing"), notes=())
    html = page([engine_record("main")], title="t", made_at=MADE_AT, kept=kept)
    first, _, rest = html.partition("<h1>")
    banner = words_of(Parsed(first.partition("<body>")[2]))
    assert "Something in this logbook is not as it was entered (2 faults, first: work 3:" in banner
    assert "vibetrend logbook check" in banner
    assert "vibetrend logbook restore" in banner
    assert "<bdi>work 3: it is not as it was entered on" in first
    assert "<b>" not in first.partition("<body>")[2]
    assert rest.count("Something in this logbook is not as it was entered") == 1
    clean = page([engine_record("main")], title="t", made_at=MADE_AT, kept=replace(kept, faults=()))
    assert "not as it was entered" not in clean


def test_same_records_same_page(bent: pd.DataFrame) -> None:
    pages = {page([engine_record("m", series(bent))], title="t", made_at=MADE_AT) for _ in range(2)}
    assert len(pages) == 1


def test_size_of_two_engines(html: str, bent: pd.DataFrame) -> None:
    """6 MB is the size set for two engines of about 45 recordings; plotly.js is 4.8 of it."""
    assert len(recordings(bent)) == 48
    assert len(html.encode()) < 6e6


def test_write_replaces_whole(tmp_path: Path, html: str) -> None:
    target = tmp_path / "report.html"
    write(target, html.replace("</body>", "older</body>"))
    write(target, html)
    assert target.read_text(encoding="utf-8") == html
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]


def test_write_never_replaces_a_foreign_file(tmp_path: Path, html: str) -> None:
    target = tmp_path / "letter.html"
    target.write_text("<p>to the yard")
    with pytest.raises(VibetrendError, match=r"letter\.html: a file that is no page .* --output"):
        write(target, html)
    assert target.read_text() == "<p>to the yard"


def test_write_says_what_to_do_when_it_cannot(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(VibetrendError, match=r"report\.html: the page cannot be written .* choose"):
        write(tmp_path / "file" / "report.html", "x")
    folder = tmp_path / "folder"
    folder.mkdir()
    with pytest.raises(VibetrendError, match="a folder or a device, no file; choose"):
        write(folder, "x")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "folder"]


def test_write_makes_the_folder(tmp_path: Path) -> None:
    write(tmp_path / "new" / "report.html", "x")
    assert (tmp_path / "new" / "report.html").read_text() == "x"
