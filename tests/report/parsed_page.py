"""A page as a browser would see it."""

from html.parser import HTMLParser

HOSTILE = (
    "<script>alert(\"x\")</script> 'q' & \u202eright to left\u202c </style> {{ 7*7 }} " + "x" * 420
)


class Parsed(HTMLParser):
    """What a browser would see: text, attributes, scripts, data elements by table row."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.scripts: list[tuple[str | None, str]] = []
        self.ids: list[str] = []
        self.meta: dict[str, str] = {}
        self.rows: list[list[float | str]] = []
        self._raw: str | None = None
        self._type: str | None = None
        self._value: float | None = None
        self._in_row = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        self.attributes += [(tag, name, value) for name, value in found.items()]
        self.ids += [found["id"]] if "id" in found else []
        if tag == "meta":
            self.meta[found.get("http-equiv") or found.get("name") or "charset"] = found.get(
                "content", found.get("charset", "")
            )
        elif tag in ("script", "style"):
            self._raw, self._type = tag, found.get("type")
            if tag == "script":
                self.scripts.append((self._type, ""))
        elif tag == "tr":
            self.rows.append([])
            self._in_row = True
        elif tag == "data":
            self._value = float(found["value"])

    def handle_endtag(self, tag: str) -> None:
        if tag == self._raw:
            self._raw = None
        elif tag == "tr":
            self._in_row = False
        elif tag == "data":
            self._value = None

    def handle_data(self, data: str) -> None:
        if self._raw == "script":
            kind, before = self.scripts[-1]
            self.scripts[-1] = (kind, before + data)
        elif self._raw is None:
            self.text.append(data)
            if self._in_row and data.strip():
                self.rows[-1].append(data.strip() if self._value is None else self._value)


def words_of(parsed: Parsed) -> str:
    return " ".join(" ".join(parsed.text).split())
