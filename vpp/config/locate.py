"""On which line of a TOML text every key and list element stands: what tomllib does not tell.

The text must be one that tomllib has accepted: the scanner looks only as closely as it must to tell keys from
values.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left
from collections.abc import Mapping

Path = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC_STRING = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL_STRING = re.compile(r"'[^'\n]*'")
# up to two quotes may stand directly before the closing three
_LONG_BASIC_STRING = re.compile(r'"""(?:[^"\\]|\\.|"(?!""))*"""(?:"(?!")|""(?!"))?', re.DOTALL)
_LONG_LITERAL_STRING = re.compile(r"'''(?:[^']|'(?!''))*'''(?:'(?!')|''(?!'))?", re.DOTALL)
_PLAIN_VALUE = re.compile(r"[^,\]}#\n]+")
_BLANKS = re.compile(r"[ \t]*")
_BLANKS_LINES_COMMENTS = re.compile(r"(?:[ \t\n]|#[^\n]*)*")


def lines_of_keys(text: str) -> Mapping[Path, int]:
    """The line, counted from 1, of every key path and every list element.

    A list element is named by its index from 0: `("sail", 1, "chord_m", 0)`. A table stands where its header
    is, or where it is first named when it has none; a value where its key is, an element where it begins.
    """
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    """One pass over one text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line_ends = [place for place, letter in enumerate(text) if letter == "\n"]
        self.lines: dict[Path, int] = {}
        self.header_lengths: dict[Path, int] = {}

    def scan(self) -> Mapping[Path, int]:
        table: Path = ()
        self._skip(_BLANKS_LINES_COMMENTS)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANKS_LINES_COMMENTS)
        return self.lines

    def _header(self) -> Path:
        is_repeated = self.text.startswith("[[", self.at)
        self.at += 2 if is_repeated else 1
        self._skip(_BLANKS)
        line = self._line()
        *parents, last = self._key_path()
        self.at += 2 if is_repeated else 1
        path: Path = ()
        for part in parents:
            path = self._latest((*path, part))
            self._note(path, line)
        path = (*path, last)
        if not is_repeated:
            path = self._latest(path)
            self.lines[path] = line  # the header itself is a better place than an earlier mention
            return path
        count = self.header_lengths.get(path, 0)
        self.header_lengths[path] = count + 1
        self._note(path, line)
        self._note((*path, count), line)
        return (*path, count)

    def _latest(self, path: Path) -> Path:
        """The table that a header means: the last one where headers have made a list of tables."""
        count = self.header_lengths.get(path)
        return path if count is None else (*path, count - 1)

    def _pair(self, table: Path) -> None:
        line = self._line()
        path = table
        for part in self._key_path():
            path = (*path, part)
            self._note(path, line)
        self.at += 1  # the equals sign
        self._skip(_BLANKS)
        self._value(path)

    def _key_path(self) -> list[str]:
        parts = [self._key()]
        self._skip(_BLANKS)
        while self.text.startswith(".", self.at):
            self.at += 1
            self._skip(_BLANKS)
            parts.append(self._key())
            self._skip(_BLANKS)
        return parts

    def _key(self) -> str:
        for quoted in (_BASIC_STRING, _LITERAL_STRING):
            if found := quoted.match(self.text, self.at):
                self.at = found.end()
                return str(tomllib.loads(f"key = {found.group()}")["key"])
        return self._take(_BARE_KEY)

    def _value(self, path: Path) -> None:
        opening = self.text[self.at]
        if opening == "[":
            self._list(path)
        elif opening == "{":
            self._inline_table(path)
        elif opening in "\"'":
            self._string()
        else:
            self._take(_PLAIN_VALUE)

    def _list(self, path: Path) -> None:
        self.at += 1
        self._skip(_BLANKS_LINES_COMMENTS)
        index = 0
        while self.text[self.at] != "]":
            element = (*path, index)
            self._note(element, self._line())
            self._value(element)
            self._skip_separator()
            index += 1
        self.at += 1

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        self._skip(_BLANKS_LINES_COMMENTS)
        while self.text[self.at] != "}":
            self._pair(path)
            self._skip_separator()
        self.at += 1

    def _skip_separator(self) -> None:
        self._skip(_BLANKS_LINES_COMMENTS)
        if self.text[self.at] == ",":
            self.at += 1
            self._skip(_BLANKS_LINES_COMMENTS)

    def _string(self) -> None:
        for string in (_LONG_BASIC_STRING, _LONG_LITERAL_STRING, _BASIC_STRING, _LITERAL_STRING):
            if found := string.match(self.text, self.at):
                self.at = found.end()
                return

    def _take(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise ValueError(f"line {self._line()} is not TOML")
        self.at = found.end()
        return found.group()

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.at)
        if found is not None:
            self.at = found.end()

    def _line(self) -> int:
        return bisect_left(self.line_ends, self.at) + 1

    def _note(self, path: Path, line: int) -> None:
        self.lines.setdefault(path, line)
