"""Where each key of a TOML text stands, for messages that name a line.

tomllib keeps no positions. This scanner finds them in a text that tomllib has already
accepted, so it knows where keys, values and tables begin and end, and checks nothing.
"""

from __future__ import annotations

import re
import tomllib
from typing import Literal

KeyPath = tuple[str, ...]

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
    """The line, from 1, on which each key or table first appears, by its path.

    text: valid TOML. Keys inside arrays stand under the array's own path, without an index.
    """
    scanner = _Scanner()
    for token in _TOKEN.finditer(text):
        if token.lastgroup == "newline":
            scanner.end_line()
        elif token.lastgroup == "mark":
            scanner.mark(token[0])
        elif token.lastgroup != "blank":
            scanner.word(token[0])
    return scanner.found


def line_of(path: KeyPath, lines: dict[KeyPath, int]) -> int | None:
    """The line of a path, or of the longest part of it that stands in the text."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Scanner:
    def __init__(self) -> None:
        self.found: dict[KeyPath, int] = {}
        self._line = 1
        self._reading: Literal["key", "header", "value"] = "key"
        self._key: list[str] = []
        self._table: KeyPath = ()
        self._owner: KeyPath = ()  # the key whose value is being passed
        self._open: list[tuple[str, KeyPath]] = []  # brackets of values, and whose they are

    def word(self, word: str) -> None:
        if self._reading != "value":
            quoted = word[0] in "\"'"
            self._key.append(next(iter(tomllib.loads(f"{word} = 0"))) if quoted else word)
        self._line += word.count("\n")

    def end_line(self) -> None:
        self._line += 1
        if not self._open:
            self._expect_key()

    def mark(self, mark: str) -> None:
        if mark == "=":
            self._owner = (*(self._open[-1][1] if self._open else self._table), *self._key)
            self._note(self._owner)
            self._reading = "value"
        elif mark == "[" and self._reading != "value":
            self._reading = "header"
        elif mark == "]" and self._reading == "header":
            self._table = tuple(self._key)
            self._note(self._table)
            self._reading = "value"
        elif mark in {"[", "{"}:
            in_array = self._open and self._open[-1][0] == "["
            self._open.append((mark, self._open[-1][1] if in_array else self._owner))
            if mark == "{":
                self._expect_key()
        elif mark in {"]", "}"} and self._open:  # none is open at the end of [[header]]
            self._open.pop()
            self._reading = "value"
        elif mark == "," and self._open[-1][0] == "{":
            self._expect_key()

    def _expect_key(self) -> None:
        self._reading = "key"
        self._key = []

    def _note(self, path: KeyPath) -> None:
        for length in range(1, len(path) + 1):
            self.found.setdefault(path[:length], self._line)
