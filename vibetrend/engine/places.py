"""Where in a TOML text each key stands, so that an error can name the line.

The standard reader of TOML keeps no lines. This one reads nothing but keys, and only text that the
standard reader has taken: it need not know what is wrong TOML.
"""

import re
import tomllib

Path = tuple[str, ...]
"""Keys from the outside in; an entry of a list by its number: ``("driven", "0", "ratio")``."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BASIC, _LITERAL = r'"(?:[^"\\\n]|\\.)*"', r"'[^'\n]*'"
_KEY = re.compile(rf"[A-Za-z0-9_-]+|{_BASIC}|{_LITERAL}")
_SCALAR = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")'
    r"|'''.*?'{3,5}(?!')"
    rf"|{_BASIC}|{_LITERAL}"
    r"|[^,\]}#\n]+",  # numbers, true and false, dates
    re.DOTALL,
)


def key_lines(text: str) -> dict[Path, int]:
    """Return the line, from 1, of every key, table and entry of a list in valid TOML."""
    return _Reader(text).lines()


class _Reader:
    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._found: dict[Path, int] = {}
        self._last: dict[Path, int] = {}  # of a list of tables: the table begun last

    def lines(self) -> dict[Path, int]:
        table: Path = ()
        while self._more():
            if self._skip("[["):
                table = self._begun(self._key("]]"))
            elif self._skip("["):
                table = self._resolved(self._key("]"))
                self._note_all(table)
            else:
                self._pair(table)
        return self._found

    def _more(self) -> bool:
        blank = _BLANK.match(self._text, self._at)
        assert blank is not None  # it matches nothing at all, too
        self._at = blank.end()
        return self._at < len(self._text)

    def _skip(self, mark: str) -> bool:
        self._more()
        found = self._text.startswith(mark, self._at)
        self._at += len(mark) if found else 0
        return found

    def _key(self, end: str) -> Path:
        """Read a key of one or more parts, and the mark after it."""
        parts: Path = ()
        while not self._skip(end):
            self._skip(".")
            self._more()
            part = self._take(_KEY)
            quoted = part[0] in "\"'"
            parts = (*parts, tomllib.loads(f"k = {part}")["k"] if quoted else part)
        return parts

    def _pair(self, table: Path) -> None:
        path = (*table, *self._key("="))
        self._note_all(path)
        self._value(path)

    def _value(self, path: Path) -> None:
        if self._skip("["):
            number = 0
            while not self._skip("]"):
                self._note((*path, str(number)))
                self._value((*path, str(number)))
                self._skip(",")
                number += 1
        elif self._skip("{"):
            while not self._skip("}"):
                self._pair(path)
                self._skip(",")
        else:
            self._take(_SCALAR)

    def _take(self, what: "re.Pattern[str]") -> str:
        found = what.match(self._text, self._at)
        assert found is not None, "the text is no TOML"
        self._at = found.end()
        return found[0]

    def _begun(self, key: Path) -> Path:
        """Return the path of the next table of a list."""
        place = (*self._resolved(key[:-1]), key[-1])
        self._last[place] = self._last.get(place, -1) + 1
        table = (*place, str(self._last[place]))
        self._note_all(table)
        return table

    def _resolved(self, key: Path) -> Path:
        """Put in the number of the table begun last wherever a part is a list of tables."""
        path: Path = ()
        for part in key:
            path = (*path, part)
            if path in self._last:
                path = (*path, str(self._last[path]))
        return path

    def _note_all(self, path: Path) -> None:
        """Keep the line of a key and of all tables around it that have none yet."""
        for length in range(1, len(path) + 1):
            self._note(path[:length])

    def _note(self, path: Path) -> None:
        self._found.setdefault(path, self._text.count("\n", 0, self._at) + 1)
