"""One self-contained HTML file: its style, its script, and a policy that lets nothing else in."""

import base64
import hashlib
import json
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from plotly.offline import get_plotlyjs

from vibetrend.report import drawing, words, writing
from vibetrend.report.facts import short_name
from vibetrend.report.glossary import Glossary
from vibetrend.trend.advice import CAUTIONS
from vibetrend.trend.phrases import capital

_SIGNATURE = Markup('<meta name="generator" content="vibetrend">')
_PAGE = writing.Kind(name="page", signature=_SIGNATURE.encode(), option="--output")


def document(
    template: str,
    *,
    interactive: bool = True,
    styles: Sequence[str] = ("page.css",),
    **values: Any,
) -> str:
    """Return a template, which extends ``document.html.j2``, as one HTML text.

    Parameters
    ----------
    template : str
        Name of a file in ``templates``. Every value it shows is escaped.
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
            signature=_SIGNATURE,
            policy=Markup(policy),
            style=Markup("\n".join(map(_asset, styles))),
            script=Markup(script),
            library=Markup(library),
            glossary=Glossary(),
            cautions=CAUTIONS,
            **values,
        )
    )


def as_json(data: object) -> Markup:
    r"""Return JSON that is safe inside a script element: ``<`` as ``\u003c``."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def write(path: str | Path, html: str) -> None:
    """Write a page whole or not at all; an older page of ours is replaced, no other file.

    Raises
    ------
    VibetrendError
        If the file cannot be written, or another file has that name.
    """
    writing.write(Path(path), html.encode("utf-8", errors="replace"), _PAGE)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("vibetrend.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals |= {"badge": drawing.badge, "short_name": short_name, "words": words}
    environment.filters |= {
        "ahead": words.ahead,
        "capitalised": capital,
        "number": words.number,
        "rounded": words.rounded,
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
