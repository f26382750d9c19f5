"""The line of each key of a TOML text, found in one pass; texts that would take too long to read are refused.

The grammar: T. Preston-Werner, P. Gedam and others, *TOML v1.0.0* (2021).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final, Literal, NamedTuple

from lobework.errors import InputError, TooLargeError

__all__ = ["Lines", "index_lines"]

_MOST_PARTS: Final = 30
"""Largest number of parts of a dotted key; the time of the TOML reader grows with the square of this number."""
_MOST_LEVELS: Final = 60
_LONGEST_NUMBER: Final = 400
_LONGEST_KEY: Final = 400
_MOST_TABLES: Final = 5_000
_TOKEN: Final = re.compile(
    r"""(?P<blank>[ \t]++|\#[^\n]*+)
      | (?P<newline>\r?\n)
      | (?P<text>\"{3}(?:[^"\\]|\\.|"(?!""))*+\"{3,5} | '{3}(?:[^']|'(?!''))*+'{3,5}
               | "(?:[^"\\\n]|\\.)*+" | '[^'\n]*+')
      | (?P<mark>[][{},=.])
      | (?P<bare>[^][{},=.\#"'\s]++)""",
    re.VERBOSE | re.DOTALL,
)
_ESCAPE: Final = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)
_SHORT_ESCAPES: Final = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}


class Lines:
    """The line on which a table, list or value begins, and the lines of everything inside it.

    Parameters
    ----------
    line : int
        Number of the line, from 1.
    """

    __slots__ = ("_inside", "_tables", "line")

    def __init__(self, line: int) -> None:
        self.line = line
        self._inside: dict[str | int, Lines] = {}
        self._tables = 0

    def line_of(self, path: Iterable[str | int]) -> int | None:
        """Return the line on which the value at ``path`` begins; None if there is no such value.

        ``path`` holds keys, and the indices of list entries, counted from 0.
        """
        found = self
        for key in path:
            if key not in found._inside:
                return None
            found = found._inside[key]
        return found.line

    def add(self, key: str | int, line: int) -> Lines:
        """Return the entry for ``key``; if there is none, add an entry that begins on ``line``."""
        if (found := self._inside.get(key)) is None:
            found = self._inside[key] = Lines(line)
        return found

    def add_table(self, line: int) -> Lines:
        """Return a new table at the end of a list of tables."""
        self._tables += 1
        return self.add(self._tables - 1, line)

    @property
    def last_table(self) -> Lines:
        """The last table of a list of tables; for any other table, the table itself."""
        return self._inside[self._tables - 1] if self._tables else self


def index_lines(text: str) -> Lines:
    r"""Return the line of each key and value in a TOML text, up to the end or to the first character that is not valid TOML.

    Raises
    ------
    InputError
        If brackets are nested too deeply, or a key or number is too long: the TOML reader would take too long.
        The ``where`` of the error is the line.
    TooLargeError
        If the text holds too many tables.

    Examples
    --------
    >>> index_lines("[a]\nb.c = [\n  {d = 1},\n  {d = 2},\n]").line_of(("a", "b", "c", 1, "d"))
    4
    """
    scan = _Scan(text)
    scan.run()
    return scan.root


class _Open(NamedTuple):
    """A list or an inline table that is not closed yet; ``entry`` is the index of the list's current entry."""

    lines: Lines
    entry: int | None


class _Scan:
    """One pass over a text; the pass stops at the first character that is not valid TOML, which the TOML reader reports."""

    def __init__(self, text: str) -> None:
        self.root = Lines(1)
        self._text = text
        self._line = 1
        self._tables = 0
        self._table = self.root
        self._value = self.root
        self._open: list[_Open] = []
        self._parts: list[str] = []
        self._expects: Literal["key", "header", "value", "end"] = "key"

    def run(self) -> None:
        """Index the text up to the end, or to the first character that is not valid TOML."""
        end = 0
        for token in _TOKEN.finditer(self._text):
            if token.start() != end:
                return
            end = token.end()
            kind, token_text = token.lastgroup, token[0]
            if kind == "newline":
                self._end_line()
            elif kind == "mark":
                self._add_mark(token_text, token.start())
            elif kind != "blank" and self._expects in ("key", "header"):
                self._add_part(token_text)
            elif kind != "blank":
                if kind == "bare" and len(token_text) > _LONGEST_NUMBER:
                    raise self._error(f"holds a number of {len(token_text):,} characters", "write a shorter one")
                self._add_entry()
            self._line += token_text.count("\n")

    def _error(self, problem: str, remedy: str) -> InputError:
        return InputError(problem, str(self._line), remedy=remedy)

    def _end_line(self) -> None:
        if not self._open:
            self._parts, self._expects = [], "key"

    def _add_part(self, token_text: str) -> None:
        if len(token_text) > _LONGEST_KEY:
            raise self._error(f"holds a key of {len(token_text):,} characters", "write a shorter one")
        self._parts.append(_unquoted(token_text))
        if len(self._parts) > _MOST_PARTS:
            raise self._error(f"holds a key with more than {_MOST_PARTS} dotted parts", "write fewer")

    def _add_mark(self, mark: str, start: int) -> None:
        if mark == "[" and self._expects == "key" and not (self._open or self._parts):
            self._expects = "header"
            self._count_table()
        elif self._expects == "header":
            if mark == "]":
                self._end_header(of_list=self._text[start + 1 : start + 2] == "]")
        elif mark == "=" and self._expects == "key":
            self._value = self._open[-1].lines if self._open else self._table
            for part in self._parts:
                self._value = self._value.add(part, self._line)
            self._parts, self._expects = [], "value"
        elif mark in "[{":
            self._add_entry()
            self._open.append(_Open(self._value, 0 if mark == "[" else None))
            if len(self._open) > _MOST_LEVELS:
                raise self._error("is nested too deeply to be read", "write fewer brackets within brackets")
            self._expects = "value" if mark == "[" else "key"
            if mark == "{":
                self._count_table()
        elif mark == "," and self._open:
            last = self._open.pop()
            self._open.append(last._replace(entry=None if last.entry is None else last.entry + 1))
            self._expects = "key" if last.entry is None else "value"
        elif mark in "]}" and self._open:
            self._open.pop()
            self._parts, self._expects = [], "end"

    def _add_entry(self) -> None:
        """Add an entry of the innermost open list, if one begins here."""
        if self._expects == "value" and self._open and (entry := self._open[-1].entry) is not None:
            self._value = self._open[-1].lines.add(entry, self._line)

    def _end_header(self, *, of_list: bool) -> None:
        """Begin the table that a header names; a header in double brackets adds a new table to a list of tables."""
        table = self.root
        for number, part in enumerate(self._parts, 1):
            table = table.add(part, self._line)
            is_new = of_list and number == len(self._parts)
            table = table.add_table(self._line) if is_new else table.last_table
        self._table = table
        self._parts, self._expects = [], "end"

    def _count_table(self) -> None:
        self._tables += 1
        if self._tables > _MOST_TABLES:
            problem, remedy = f"holds more than {_MOST_TABLES:,} tables", "use a series in place of many passes"
            raise TooLargeError(problem, str(self._line), remedy=remedy)


def _unquoted(token_text: str) -> str:
    """Return a key without quotes and escapes."""
    if token_text[0] == "'":
        return token_text[1:-1]
    if token_text[0] != '"' or "\\" not in token_text:
        return token_text.strip('"')
    return _ESCAPE.sub(_unescaped, token_text[1:-1])


def _unescaped(found: re.Match[str]) -> str:
    code = found[1] or found[2]
    if code is None:
        return _SHORT_ESCAPES.get(found[3], found[3])
    return chr(int(code, 16)) if int(code, 16) < 0x110000 else ""
