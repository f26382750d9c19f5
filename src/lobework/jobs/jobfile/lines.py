"""The line on which each key of a TOML text stands, found in one pass; texts that would take too long to read are refused.

The grammar: T. Preston-Werner, P. Gedam and others, *TOML v1.0.0* (2021).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final, Literal, NamedTuple

from lobework.errors import InputError, TooLargeError

__all__ = ["line_of", "require_readable"]

_MOST_PARTS: Final = 30
"""Of a dotted key; the reader's time grows with their square."""
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

Path = tuple[str | int, ...]
"""Keys, and places in lists, which count from 0."""


class _Open(NamedTuple):
    """A list or an inline table that is not closed yet."""

    path: Path
    place: int | None


def line_of(text: str, keys: Path) -> int | None:
    r"""Return the line, from 1, on which what ``keys`` lead to begins; None if it is nowhere in the text.

    >>> line_of("[a]\nb.c = [\n  {d = 1},\n  {d = 2},\n]", ("a", "b", "c", 1, "d"))
    4
    """
    return next((line for path, line in _Scan(text).places() if path[: len(keys)] == keys), None)


def require_readable(text: str) -> None:
    """Raise `InputError` where the TOML reader would need far too long: its key is the line.

    Raises
    ------
    InputError
        Where brackets are nested too deeply, or a key or number is too long.
    TooLargeError
        Where it holds too many tables.
    """
    for _ in _Scan(text).places():
        pass


class _Scan:
    """One pass over a text; it stops where the text is no TOML, which the reader then complains of."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._line = 1
        self._tables = 0
        self._table: Path = ()
        self._path: Path = ()
        self._lists: dict[Path, int] = {}
        self._open: list[_Open] = []
        self._parts: list[str] = []
        self._reads: Literal["key", "header", "value", "end"] = "key"

    def places(self) -> Iterator[tuple[Path, int]]:
        """Yield the path of each table, key and entry of a list, with the line on which it begins."""
        end = 0
        for token in _TOKEN.finditer(self._text):
            if token.start() != end:
                return
            end = token.end()
            kind, written = token.lastgroup, token[0]
            if kind == "newline":
                self._end_line()
            elif kind == "mark":
                yield from self._mark(written, token.start())
            elif kind != "blank" and self._reads in ("key", "header"):
                self._add_part(written)
            elif kind != "blank":
                if kind == "bare" and len(written) > _LONGEST_NUMBER:
                    raise self._refusal(f"holds a number of {len(written):,} characters; write a shorter one")
                yield from self._entry()
            self._line += written.count("\n")

    def _refusal(self, message: str) -> InputError:
        return InputError(message, str(self._line))

    def _end_line(self) -> None:
        if not self._open:
            self._parts, self._reads = [], "key"

    def _add_part(self, written: str) -> None:
        if len(written) > _LONGEST_KEY:
            raise self._refusal(f"holds a key of {len(written):,} characters; write a shorter one")
        self._parts.append(_key(written))
        if len(self._parts) > _MOST_PARTS:
            raise self._refusal(f"holds a key of more than {_MOST_PARTS} parts with dots between; write fewer")

    def _mark(self, mark: str, start: int) -> Iterator[tuple[Path, int]]:
        if mark == "[" and self._reads == "key" and not (self._open or self._parts):
            self._reads = "header"
            self._count_table()
        elif self._reads == "header":
            if mark == "]":
                yield self._header(of_list=self._text[start + 1 : start + 2] == "]"), self._line
                self._parts, self._reads = [], "end"
        elif mark == "=" and self._reads == "key":
            base = self._open[-1].path if self._open else self._table
            self._path = (*base, *self._parts)
            self._parts, self._reads = [], "value"
            yield self._path, self._line
        elif mark in "[{":
            yield from self._entry()
            self._open.append(_Open(self._path, 0 if mark == "[" else None))
            if len(self._open) > _MOST_LEVELS:
                raise self._refusal("is nested too deeply to be read; write fewer brackets within brackets")
            self._reads = "value" if mark == "[" else "key"
            if mark == "{":
                self._count_table()
        elif mark == "," and self._open:
            last = self._open.pop()
            self._open.append(last._replace(place=None if last.place is None else last.place + 1))
            self._reads = "key" if last.place is None else "value"
        elif mark in "]}" and self._open:
            self._open.pop()
            self._parts, self._reads = [], "end"

    def _entry(self) -> Iterator[tuple[Path, int]]:
        """Yield the place of an entry of a list as it begins."""
        if self._reads == "value" and self._open and (place := self._open[-1].place) is not None:
            self._path = (*self._open[-1].path, place)
            yield self._path, self._line

    def _header(self, *, of_list: bool) -> Path:
        path: Path = ()
        for number, part in enumerate(self._parts, 1):
            path = (*path, part)
            if of_list and number == len(self._parts):
                self._lists[path] = self._lists.get(path, -1) + 1
            if path in self._lists:
                path = (*path, self._lists[path])
        self._table = path
        return path

    def _count_table(self) -> None:
        self._tables += 1
        if self._tables > _MOST_TABLES:
            message = f"holds more than {_MOST_TABLES:,} tables; use a series in place of many passes"
            raise TooLargeError(message, str(self._line))


def _key(written: str) -> str:
    """Return a key as the reader has it."""
    if written[0] == "'":
        return written[1:-1]
    if written[0] != '"' or "\\" not in written:
        return written.strip('"')
    return _ESCAPE.sub(_unescaped, written[1:-1])


_ESCAPE: Final = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)
_SHORT: Final = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}


def _unescaped(found: re.Match[str]) -> str:
    code = found[1] or found[2]
    if code is None:
        return _SHORT.get(found[3], found[3])
    return chr(int(code, 16)) if int(code, 16) < 0x110000 else ""
