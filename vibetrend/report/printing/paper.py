"""The page on paper: as a PDF with its pages counted."""

import datetime as dt
import html as markup
import re
from collections.abc import Sequence
from pathlib import Path

from vibetrend.report import writing
from vibetrend.report.document import Paper
from vibetrend.report.isolating import closed, isolated
from vibetrend.report.printing import browser
from vibetrend.report.words import date

# The browser writes a PDF's title and creator at its very beginning.
_PDF = writing.Kind(name="PDF", signature=f"/Creator ({browser.MADE_BY}".encode(), option="--pdf")

_LONGEST = 90  # letters of the names at the foot of a page, and of the PDF's title
_SCRIPTS = re.compile(r"<script\b.*?</script>", re.DOTALL)
_TITLE = re.compile(r"<title>.*?</title>", re.DOTALL)
_FOOT = "font: 7.5pt system-ui, sans-serif; color: #465260; vertical-align: top; padding-top: 3mm"


def pdf(
    html: str,
    path: Path,
    program: Path,
    *,
    names: Sequence[str],
    made_at: dt.datetime,
    paper: Paper,
) -> writing.File:
    """Return a page as a PDF file that is yet to be written.

    Parameters
    ----------
    html : str
        The page.
    path : Path
        Of the file.
    program : Path
        The browser that prints it.
    names : sequence of str
        Of the engines, for the foot of each page.

    Raises
    ------
    VibetrendError
        If the browser fails.
    """
    ready = printable(html, names=names, made_at=made_at, paper=paper)
    return writing.File(path=path, content=browser.to_pdf(ready, program), kind=_PDF)


def printable(html: str, *, names: Sequence[str], made_at: dt.datetime, paper: Paper) -> str:
    """Return a page made ready for paper: without its scripts, its size and its foot said."""
    # Shortened, the last name may have lost the mark that ends it.
    listed = closed(_shortened(", ".join(map(isolated, names))))
    foot = f"{listed} · {date(made_at.date())}"
    # Margin boxes: CSS Paged Media 3, section 4; browsers before 2024 leave them out.
    style = (
        f"<style>@page {{ size: {paper};"
        f" @bottom-left {{ content: {_css_text(foot)}; white-space: nowrap; {_FOOT} }}"
        f' @bottom-right {{ content: "page " counter(page) " of " counter(pages);'
        f" white-space: nowrap; {_FOOT} }} }}</style>"
    )
    # A long title would push the creator, by which ours are known, out of the beginning.
    title = f"<title>Vibration record: {markup.escape(str(listed))}</title>"
    # The still pictures are printed: without scripts nothing has to be waited for.
    still = _TITLE.sub(lambda _: title, _SCRIPTS.sub("", html), count=1)
    return still.replace("</head>", f"{style}\n</head>", 1)


def _shortened(words: str) -> str:
    return words if len(words) <= _LONGEST else words[: _LONGEST - 1] + "…"


def _css_text(words: str) -> str:
    """Return text as a CSS string; what is no plain letter is written by its number."""
    safe = (each if each.isascii() and (each.isalnum() or each in " ,.") else f"\\{ord(each):x} "
            for each in words)  # fmt: skip
    return f'"{"".join(safe)}"'
