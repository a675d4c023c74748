"""On which line of a TOML text each key stands: tomllib reads values and forgets where they were.

Goes over text that tomllib has already accepted, so nothing here judges it. A path is a tuple of keys and, inside
arrays, places counted from 0: `("telemetry", "packet", 1, "fields", 3, "unit")`.
"""

import re
import tomllib
from collections import Counter

KeyPath = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC_KEY = re.compile(r'"(?:[^"\\]|\\.)*"')
_LITERAL_KEY = re.compile(r"'[^']*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}(?!")', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'{3,5}(?!')", re.DOTALL)
_OTHER_VALUE = re.compile(r"[^,\]}#\n]+")
_SPACE = re.compile(r"[ \t\r]*")
_GAP = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line, counted from 1, of every key and every array element in `text`.

    A table that has a header of its own stands on that header's line; one that only arises from dotted keys or from
    the headers of its parts stands where it is first named.

    Args:
        text: TOML that `tomllib.loads` accepts.
    """
    return _Scanner(text).scan()


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line = 1
        self.lines: dict[KeyPath, int] = {}
        self.counts: Counter[KeyPath] = Counter()  # elements so far of each array of tables

    def scan(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._pass(_GAP)
        while self.at < len(self.text):
            if self.text.startswith("[[", self.at):
                table = self._array_header()
            elif self.text[self.at] == "[":
                table = self._table_header()
            else:
                self._entry(table)
            self._pass(_GAP)
        return self.lines

    def _pass(self, pattern: re.Pattern[str]) -> str:
        """Go past what `pattern` matches here, counting lines."""
        match = pattern.match(self.text, self.at)
        found = "" if match is None else match[0]
        self._skip(len(found))
        return found

    def _skip(self, length: int) -> None:
        self.line += self.text.count("\n", self.at, self.at + length)
        self.at += length

    def _dotted(self) -> tuple[str, ...]:
        parts = []
        while True:
            self._pass(_SPACE)
            quote = self.text[self.at]
            if quote == '"':
                parts.append(str(tomllib.loads(f"key = {self._pass(_BASIC_KEY)}")["key"]))
            elif quote == "'":
                parts.append(self._pass(_LITERAL_KEY)[1:-1])
            else:
                parts.append(self._pass(_BARE_KEY))
            self._pass(_SPACE)
            if self.text[self.at] != ".":
                return tuple(parts)
            self._skip(1)

    def _placed(self, base: KeyPath, parts: tuple[str, ...]) -> KeyPath:
        """`base` and `parts` as one path, through the newest element of each array of tables on the way."""
        path = base
        for part in parts[:-1]:
            path = (*path, part)
            self.lines.setdefault(path, self.line)
            if self.counts[path]:
                path = (*path, self.counts[path] - 1)
        return (*path, parts[-1])

    def _table_header(self) -> KeyPath:
        self._skip(1)
        path = self._placed((), self._dotted())
        self.lines[path] = self.line
        self._skip(1)
        return path

    def _array_header(self) -> KeyPath:
        self._skip(2)
        path = self._placed((), self._dotted())
        self.lines.setdefault(path, self.line)
        element = (*path, self.counts[path])
        self.counts[path] += 1
        self.lines[element] = self.line
        self._skip(2)
        return element

    def _entry(self, table: KeyPath) -> None:
        path = self._placed(table, self._dotted())
        self.lines[path] = self.line
        self._skip(1)  # the equals sign
        self._pass(_SPACE)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        here = self.text[self.at]
        if here == "[":
            self._array(path)
        elif here == "{":
            self._inline_table(path)
        elif self.text.startswith('"""', self.at):
            self._pass(_LONG_BASIC)
        elif self.text.startswith("'''", self.at):
            self._pass(_LONG_LITERAL)
        elif here == '"':
            self._pass(_BASIC_KEY)
        elif here == "'":
            self._pass(_LITERAL_KEY)
        else:
            self._pass(_OTHER_VALUE)

    def _array(self, path: KeyPath) -> None:
        self._skip(1)
        self._pass(_GAP)
        place = 0
        while self.text[self.at] != "]":
            element = (*path, place)
            self.lines[element] = self.line
            self._value(element)
            self._pass(_GAP)
            if self.text[self.at] == ",":
                self._skip(1)
                self._pass(_GAP)
            place += 1
        self._skip(1)

    def _inline_table(self, path: KeyPath) -> None:
        self._skip(1)
        self._pass(_GAP)
        while self.text[self.at] != "}":
            self._entry(path)
            self._pass(_GAP)
            if self.text[self.at] == ",":
                self._skip(1)
                self._pass(_GAP)
        self._skip(1)
