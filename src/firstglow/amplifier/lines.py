"""Which line a key stands on: the TOML parsers keep no line of a key, so the file is walked once more here.

The walk assumes text that ``tomllib`` has already accepted; it follows TOML 1.0's grammar for keys, strings, arrays and
inline tables and records the line of every key and of every array element.
"""

import re

Path = tuple[str, ...]
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}\r\n#]+")
_ESCAPE = re.compile(r"\\(u[0-9A-Fa-f]{4}|U[0-9A-Fa-f]{8}|.)", re.DOTALL)
_PLAIN = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def line_index(text: str) -> dict[Path, int]:
    """Key path -> 1-based line, array elements as their index in figures: ("shared", "T1", "1", "primary").

    Raises ValueError if the text is not TOML that ``tomllib`` accepts.
    """
    return _Walk(text.replace("\r\n", "\n")).index()


def twice(text: str) -> list[tuple[Path, int, int, int, int]]:
    """Keys that stand twice: path, line of the first and of the second, and where the second's text begins and ends.

    The text is TOML but for that; line ends are ``\\n``. Raises ValueError for any other.
    """
    walk = _Walk(text)
    walk.index()
    return walk.twice


def dotted(path: Path) -> str:
    """A path as one would write it: ``layer.0.set."right R10"``."""
    return ".".join(key if _BARE.fullmatch(key) else '"' + key.replace('"', '\\"') + '"' for key in path)


class _Walk:
    """One pass over the text; ``at`` is where it stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.seen = 0
        self.line_at_seen = 1
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}
        self.paired: set[Path] = set()
        self.twice: list[tuple[Path, int, int, int, int]] = []

    def index(self) -> dict[Path, int]:
        table: Path = ()
        while True:
            self._skip(_GAP)
            if self.at >= len(self.text):
                return self.lines
            if self.text.startswith("[[", self.at):
                table = self._header("[[", "]]")
                number = self.counts.get(table, 0)
                self.counts[table] = number + 1
                table = (*table, str(number))
                self._note(table)
            elif self.text[self.at] == "[":
                table = self._header("[", "]")
                self._note(table)
            else:
                self._pair(table)

    def _line(self) -> int:
        self.line_at_seen += self.text.count("\n", self.seen, self.at)
        self.seen = self.at
        return self.line_at_seen

    def _note(self, path: Path) -> None:
        line = self._line()
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()

    def _expect(self, sign: str) -> None:
        if not self.text.startswith(sign, self.at):
            raise ValueError(f"line {self._line()}: {sign!r} expected")
        self.at += len(sign)

    def _header(self, start: str, end: str) -> Path:
        self._expect(start)
        keys = self._keys()
        self._expect(end)
        path: Path = ()
        for position, key in enumerate(keys):
            path = (*path, key)
            last = position == len(keys) - 1
            if path in self.counts and not (last and start == "[["):
                path = (*path, str(self.counts[path] - 1))
        return path

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip(_SPACE)
            keys.append(self._key())
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return keys
            self.at += 1

    def _key(self) -> str:
        if self.text[self.at : self.at + 1] in {'"', "'"}:
            return self._string()
        match = _BARE.match(self.text, self.at)
        if not match:
            raise ValueError(f"line {self._line()}: a key expected")
        self.at = match.end()
        return match.group()

    def _string(self) -> str:
        quote = self.text[self.at]
        fence = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        start = self.at + len(fence)
        end = start
        while True:
            end = self.text.find(quote, end)
            if end < 0:
                raise ValueError(f"line {self._line()}: a string without an end")
            back = 0
            while quote == '"' and self.text[end - 1 - back] == "\\":
                back += 1
            if back % 2 == 0 and self.text.startswith(fence, end):
                break
            end += 1
        if len(fence) == 3:  # up to two quotes may stand right before the closing three
            while self.text.startswith(quote, end + 3):
                end += 1
        self.at = end + len(fence)
        body = self.text[start:end]
        return _ESCAPE.sub(_unescape, body) if quote == '"' else body

    def _pair(self, table: Path) -> None:
        start = self.at
        keys = self._keys()
        end, self.at = self.at, start
        path = (*table, *keys)
        self._note(path)
        if path in self.paired:
            self.twice.append((path, self.lines[path], self._line(), start, end))
        self.paired.add(path)
        self.at = end
        self._expect("=")
        self._value(path)

    def _value(self, path: Path) -> None:
        self._skip(_GAP)
        sign = self.text[self.at : self.at + 1]
        if sign in {'"', "'"}:
            self._string()
        elif sign == "[":
            self._array(path)
        elif sign == "{":
            self._inline(path)
        else:
            self._skip(_SCALAR)

    def _array(self, path: Path) -> None:
        self._expect("[")
        number = 0
        while True:
            self._skip(_GAP)
            if self.text.startswith("]", self.at):
                self.at += 1
                return
            element = (*path, str(number))
            self._note(element)
            start = self.at
            self._value(element)
            if self.at == start:
                raise ValueError(f"line {self._line()}: a value expected")
            number += 1
            self._skip(_GAP)
            if self.text.startswith(",", self.at):
                self.at += 1

    def _inline(self, path: Path) -> None:
        self._expect("{")
        while True:
            self._skip(_GAP)
            if self.text.startswith("}", self.at):
                self.at += 1
                return
            self._pair(path)
            self._skip(_GAP)
            if self.text.startswith(",", self.at):
                self.at += 1


def _unescape(match: re.Match[str]) -> str:
    mark = match.group(1)
    if mark[0] in "uU" and len(mark) > 1:
        return chr(int(mark[1:], 16))
    return _PLAIN.get(mark, mark)
