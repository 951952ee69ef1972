"""One self-contained HTML file: its style, its script, and a policy that lets nothing else in."""

import base64
import hashlib
import json
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Literal

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from plotly.offline import get_plotlyjs

from vibetrend.report import drawing, shown, words, writing
from vibetrend.report.facts import short_name
from vibetrend.report.glossary import Glossary
from vibetrend.report.isolating import closed
from vibetrend.trend.advice import CAUTIONS
from vibetrend.trend.phrases import capital
from vibetrend.trend.sweeps import RUN_UP_CAUTIONS

Paper = Literal["A4", "Letter"]

STYLES = ("page.css", "drawn.css", "paper.css")
"""The style sheets of a page: its language, what its pictures are drawn with, the page on paper."""

SIGNATURE = b'<meta name="generator" content="vibetrend'
"""What every page of ours begins with; its kind goes on from there."""


def _kind(name: str, *, earlier: bytes = b"") -> writing.Kind:
    return writing.Kind(
        name="page",
        signature=SIGNATURE + f' {name}">'.encode(),
        option="--output",
        others=SIGNATURE,
        earlier=earlier,
    )


REPORT = _kind("report", earlier=SIGNATURE + b'">')
RECORDING = _kind("recording")
CARD = _kind("card")
_KINDS = (REPORT, RECORDING, CARD)


def document(
    template: str,
    *,
    kind: writing.Kind = REPORT,
    mark: str = "",
    interactive: bool = True,
    styles: Sequence[str] = STYLES,
    **values: Any,
) -> str:
    """Return a template, which extends ``document.html.j2``, as one HTML text.

    Parameters
    ----------
    template : str
        Name of a file in ``templates``. Every value it shows is escaped.
    kind : Kind
        By it other pages of ours are told apart, and never replaced.
    mark : str
        What tells it from others of its kind, such as a hash; `marked` makes its text.
    interactive : bool
        Whether plotly.js is put in; without it the file runs no script at all.
    styles : sequence of str
        Style sheets in ``templates``, a later one over an earlier one.
    """
    script, library = (_asset("page.js"), _library()) if interactive else ("", "")
    scripts = f"script-src {_hash(library)} {_hash(script)}; " if interactive else ""
    policy = (
        f"default-src 'none'; {scripts}"
        "style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    return (
        _environment()
        .get_template(template)
        .render(
            # Own texts, made for where they stand: they are not escaped again.
            signature=Markup((kind.signature + marked(mark)).decode()),
            policy=Markup(policy),
            style=Markup("\n".join(map(_asset, styles))),
            script=Markup(script),
            library=Markup(library),
            glossary=Glossary(),
            cautions=CAUTIONS,
            sweep_cautions=RUN_UP_CAUTIONS,
            **values,
        )
    )


def marked(mark: str) -> bytes:
    """Return the mark of a page as it stands in its head; nothing without one."""
    return b'<meta name="mark" content="%s">' % escape(mark).encode() if mark else b""


def as_json(data: object) -> Markup:
    r"""Return JSON that is safe inside a script element: ``<`` as ``\u003c``."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def file(path: str | Path, html: str) -> writing.File:
    """Return a page as a file that is yet to be written; its kind is the one it names itself."""
    content = html.encode("utf-8", errors="replace")
    kind = next((each for each in _KINDS if each.signature in content), REPORT)
    return writing.File(path=Path(path), content=content, kind=kind)


def write(path: str | Path, html: str) -> None:
    """Write a page whole or not at all; an older page of its kind is replaced, no other file.

    Raises
    ------
    VibetrendError
        If the file cannot be written, or another file has that name.
    """
    writing.write_all([file(path, html)])


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("vibetrend.report", "templates"),
        autoescape=True,
        finalize=closed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {"badge": drawing.badge, "short_name": short_name, "words": words}
    environment.filters |= {
        "ahead": words.ahead,
        "capitalised": capital,
        "number": words.number,
        "rms": shown.rms_words,
        "rounded": words.rounded,
        "share": words.share,
        "significant": words.significant,
        "date": words.date,
    }
    return environment


@cache
def _library() -> str:
    """Return plotly.js of the installed package, as a browser reads it (line ends as LF)."""
    return str(get_plotlyjs()).replace("\r\n", "\n").replace("\r", "\n")


@cache
def _asset(name: str) -> str:
    return (Path(__file__).parent / "templates" / name).read_text(encoding="utf-8")


@cache
def _hash(script: str) -> str:
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
