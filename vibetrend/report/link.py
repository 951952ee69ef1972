"""The address of a page as a QR code to scan from paper."""

import re
from dataclasses import dataclass
from urllib.parse import SplitResult, quote, urlsplit

import segno
from markupsafe import Markup

from vibetrend.errors import VibetrendError

LONGEST = 106  # bytes: version 6 at level M (ISO/IEC 18004), modules of 0.6 mm on the card
_QUIET = 4  # modules of white around it, as ISO/IEC 18004 asks
_PLACE = re.compile(r"(?:[\w-]+(?:\.[\w-]+)*\.?|\[[0-9a-fA-F:.]+\])(?::\d*)?", re.ASCII)
_PLAIN = "%/:?#[]@!$&'()*+,;=~-._"  # what an address may hold as it is (RFC 3986)


@dataclass(frozen=True, kw_only=True)
class Link:
    """An address, and its QR code as SVG: dark on white, its quiet zone with it."""

    url: str
    svg: Markup

    @property
    def of_a_file(self) -> bool:
        """Whether only a device that holds the file itself can open it."""
        return self.url.lower().startswith("file:")


def link(text: str, *, where: str) -> Link:
    """Return an address with its QR code, error correction level M.

    Parameters
    ----------
    text : str
        An http, https or file address. Letters beyond ASCII are percent-encoded.
    where : str
        Where a person stated it; begins the text of an error.

    Raises
    ------
    VibetrendError
        If it is no such address, names a user, or is too long to be scanned from paper.
    """
    url = quote(text, safe=_PLAIN)
    _check(text, where)
    if len(url) > LONGEST:
        raise VibetrendError(
            f"{where}: the address has {len(url)} bytes; a code that can be scanned from paper "
            f"holds {LONGEST}: shorten it"
        )
    code = segno.make(url, error="m", boost_error=False, micro=False)
    svg = code.svg_inline(border=_QUIET, dark="#000", light="#fff", omitsize=True, lineclass=None)
    return Link(url=url, svg=Markup(svg))  # own markup: the address is in it as modules only


def _check(text: str, where: str) -> None:
    parts = _split(text)
    if parts is None or not _leads_somewhere(parts) or " " in text or not text.isprintable():
        raise VibetrendError(
            f"{where}: {text!r} is no address of a page; write it as "
            f"http://192.168.1.20/main.html, with http, https or file"
        )
    if "@" in parts.netloc:
        raise VibetrendError(
            f"{where}: the address names a user before the @, which anyone could read off the "
            f"card and take for where it leads; leave that part out"
        )


def _split(text: str) -> SplitResult | None:
    try:
        parts = urlsplit(text)
        _ = parts.port  # what is no number raises here
    except ValueError:
        return None
    return parts


def _leads_somewhere(parts: SplitResult) -> bool:
    if parts.scheme == "file":
        return parts.netloc in ("", "localhost") and len(parts.path) > 1
    place = parts.netloc.rpartition("@")[2]
    return parts.scheme in ("http", "https") and _PLACE.fullmatch(place) is not None
