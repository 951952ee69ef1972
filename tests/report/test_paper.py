"""The page made ready for paper, and printed where a browser is installed."""

import re
from functools import cache
from pathlib import Path

import pytest
from fake_browser import PDF, fake
from invented_report import MADE_AT, engine_record, history, series
from real_browser import BROWSER, needed

from vibetrend.errors import VibetrendError
from vibetrend.report import page, writing
from vibetrend.report.document import Paper
from vibetrend.report.printing import browser, paper


@cache
def a_page() -> str:
    return page([engine_record("main")], title="t", made_at=MADE_AT)


def ready(*names: str, size: paper.Paper = "A4") -> str:
    return paper.printable(a_page(), names=names, made_at=MADE_AT, paper=size)


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_paper_is_said(size: paper.Paper) -> None:
    assert f"@page {{ size: {size};" in ready("main", size=size)


def test_a_printed_page_runs_no_script() -> None:
    assert "<script" in a_page()
    assert "<script" not in ready("main")
    assert "</script" not in ready("main")


def test_each_sheet_has_names_date_and_number_at_its_foot() -> None:
    html = ready("main", "charger")
    assert '@bottom-left { content: "main, charger \\b7  20 June 2028"' in html
    assert 'content: "page " counter(page) " of " counter(pages)' in html


@pytest.mark.parametrize("name", ['"; } </style><b>', "a\\", "\ud800", "line\nline", "שם"])
def test_a_name_stays_text_in_the_style(name: str) -> None:
    """CSS Syntax 3, section 4.3.7: a letter may be written by its number."""
    html = ready(name)
    style = html.rpartition("<style>")[2].partition("</style>")[0]
    (content,) = re.findall(r'@bottom-left \{ content: "([^"]*)";', style)
    assert re.fullmatch(r"(?:[A-Za-z0-9 ,.]|\\[0-9a-f]+ )*", content)
    back = re.sub(r"\\([0-9a-f]+) ", lambda each: chr(int(each[1], 16)), content)
    assert back.strip("\u2068").startswith(name)


def test_a_long_name_is_cut_at_the_foot_and_in_the_title() -> None:
    html = ready("x" * 500)
    (title,) = re.findall("<title>(.*)</title>", html)
    assert title == f"Vibration record: {'x' * 89}…"


def test_a_title_is_escaped() -> None:
    assert "<title>Vibration record: &lt;b&gt;&amp;</title>" in ready("<b>&")


@pytest.mark.skipif(browser.os.name != "posix", reason="the script needs a POSIX system")
def test_ours_is_known_and_replaced_and_a_foreign_file_never(tmp_path: Path) -> None:
    made = paper.pdf(
        a_page(), tmp_path / "main.pdf", fake(tmp_path / "bin", PDF),
        names=["main"], made_at=MADE_AT, paper="A4",
    )  # fmt: skip
    writing.write_all([made])
    writing.write_all([made])
    assert made.path.read_bytes() == made.content
    made.path.write_bytes(b"%PDF-1.7\n1 0 obj\n<</Creator (another)>>")
    with pytest.raises(VibetrendError, match="no PDF of vibetrend has this name"):
        writing.write_all([made])
    assert b"another" in made.path.read_bytes()


@needed
@pytest.mark.parametrize(("size", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_a_real_browser_prints_on_that_paper(
    tmp_path: Path, size: Paper, points: tuple[int, int]
) -> None:
    """ISO 216: A4 is 210 by 297 mm; ANSI: Letter is 8.5 by 11 in. In points of 1/72 in."""
    name = "ש" * 500  # the longest that a PDF's title can be
    html = page([engine_record(name, series(history(visits=4)))], title="t", made_at=MADE_AT)
    made = paper.pdf(
        html, tmp_path / "main.pdf", BROWSER, names=[name], made_at=MADE_AT, paper=size
    )
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", made.content)
    assert len(boxes) > 1
    assert {(round(float(wide)), round(float(high))) for wide, high in boxes} == {points}
    writing.write_all([made])
    writing.write_all([made])  # it is known as ours


def test_each_name_is_set_apart_at_the_foot_and_in_the_title() -> None:
    """Unicode Standard Annex 9: else the comma between them would change its place."""
    html = ready("א", "ב")
    assert "<title>Vibration record: \u2068א\u2069, \u2068ב\u2069</title>" in html
    cut = ready("א" * 500)
    assert "\\2026 \\2069 " in cut  # cut, it is closed all the same
