"""Where each key of a TOML text stands, for messages that name a line.

tomllib keeps no positions. This scanner finds them in a text that tomllib has already
accepted, so it knows where keys, values and tables begin and end, and checks nothing.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Literal

KeyPath = tuple[str | int, ...]

# A multi-line string may end in up to two more quotes of its own (TOML 1.0).
_TOKEN = re.compile(
    r"""
      (?P<blank>   [ \t\r]+ | \#[^\n]* )
    | (?P<newline> \n )
    | (?P<string>  \"{3}(?:\\.|[^\\])*?\"{3,5} | '{3}.*?'{3,5} | "(?:\\.|[^"\\])*" | '[^']*' )
    | (?P<mark>    [\[\]{}=,.] )
    | (?P<bare>    [^\s\[\]{}=,.#"']+ )
    """,
    re.VERBOSE | re.DOTALL,
)


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line, from 1, on which each key, table or element of an array first appears.

    text: valid TOML. Elements of arrays stand under their number, from 0.
    """
    return _scanned(text).found


def string_span(text: str, path: KeyPath) -> tuple[int, int]:
    """Where `key = "string"` begins and ends in a text, by the key's path.

    Of a dotted key the last part alone is meant. text: valid TOML in which the path is a string.
    """
    return _scanned(text).strings[path]


def line_of(path: KeyPath, lines: dict[KeyPath, int]) -> int | None:
    """The line of a path, or of the longest part of it that stands in the text."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


def _scanned(text: str) -> _Scanner:
    scanner = _Scanner()
    for token in _TOKEN.finditer(text):
        if token.lastgroup == "newline":
            scanner.end_line()
        elif token.lastgroup == "mark":
            scanner.mark(token[0])
        elif token.lastgroup != "blank":
            scanner.word(token[0], token.span())
    return scanner


@dataclass
class _Bracket:
    """An open bracket of a value: whose it is, and how many elements are complete."""

    mark: str
    path: KeyPath
    complete: int = 0


class _Scanner:
    def __init__(self) -> None:
        self.found: dict[KeyPath, int] = {}
        self.strings: dict[KeyPath, tuple[int, int]] = {}
        self._line = 1
        self._reading: Literal["key", "header", "value"] = "key"
        self._key: list[str] = []
        self._key_start = 0
        self._table: KeyPath = ()
        self._owner: KeyPath = ()  # the key or element whose value is being passed
        self._open: list[_Bracket] = []
        self._header_marks = 0
        self._array_tables: dict[KeyPath, int] = {}  # how many of each have begun

    def word(self, word: str, span: tuple[int, int]) -> None:
        quoted = word[0] in "\"'"
        if self._reading != "value":
            self._key.append(next(iter(tomllib.loads(f"{word} = 0"))) if quoted else word)
            self._key_start = span[0]
        elif self._in_array():
            self._begin_element()
        elif quoted:
            self.strings[self._owner] = (self._key_start, span[1])
        self._line += word.count("\n")

    def end_line(self) -> None:
        self._line += 1
        if not self._open:
            self._expect_key()

    def mark(self, mark: str) -> None:
        if mark == "=":
            self._owner = (*(self._open[-1].path if self._open else self._table), *self._key)
            self._note(self._owner)
            self._reading = "value"
        elif mark == "[" and self._reading != "value":
            self._reading = "header"
            self._header_marks += 1
        elif mark == "]" and self._reading == "header":
            self._begin_table()
        elif mark in {"[", "{"}:
            if self._in_array():
                self._begin_element()
            self._open.append(_Bracket(mark, self._owner))
            if mark == "{":
                self._expect_key()
        elif mark in {"]", "}"} and self._open:  # none is open at the end of [[header]]
            self._open.pop()
            self._reading = "value"
        elif mark == "," and self._in_array():
            self._open[-1].complete += 1
        elif mark == ",":
            self._expect_key()

    def _in_array(self) -> bool:
        return bool(self._open) and self._open[-1].mark == "["

    def _begin_element(self) -> None:
        bracket = self._open[-1]
        self._owner = (*bracket.path, bracket.complete)
        self._note(self._owner)

    def _begin_table(self) -> None:
        path: KeyPath = ()
        for key in self._key[:-1]:
            path = self._latest((*path, key))
        path = (*path, self._key[-1])
        if self._header_marks == 2:
            self._array_tables[path] = self._array_tables.get(path, 0) + 1
        self._table = self._latest(path)
        self._note(self._table)
        self._reading = "value"
        self._header_marks = 0

    def _latest(self, path: KeyPath) -> KeyPath:
        """The last table of an array of tables, or the path itself."""
        count = self._array_tables.get(path)
        return path if count is None else (*path, count - 1)

    def _expect_key(self) -> None:
        self._reading = "key"
        self._key = []

    def _note(self, path: KeyPath) -> None:
        for length in range(1, len(path) + 1):
            self.found.setdefault(path[:length], self._line)
