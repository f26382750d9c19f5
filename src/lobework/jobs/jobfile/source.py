"""A file as it was written: what it holds, and the line on which each key stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any, Final

from lobework.errors import InputError
from lobework.files.inputs import read_bytes
from lobework.jobs.jobfile.lines import Lines, index_lines

__all__ = ["Source", "inside", "pointed", "shown", "written_key"]

_MOST_BYTES: Final = 500_000
_MOST_ERRORS: Final = 19
"""Told in one run beside the first."""
_SYNTAX: Final = re.compile(r"(?P<says>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)", re.DOTALL)
_INDEX: Final = re.compile(r"\[(\d+)\]")
_FIRST: Final = re.compile(r"\w+")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")


def shown(given: object) -> str:
    """Return what was given, short enough for one line.

    >>> shown("2 furlongs"), shown(12345678 * 10**40)
    ("'2 furlongs'", '123456780000000000000000000000000000000...')
    """
    try:
        text = str(given).lower() if isinstance(given, bool) else f"{given}" if isinstance(given, date | time) else repr(given)
    except ValueError:
        text = "a number of thousands of digits"
    return text if len(text) <= 42 else f"{text[:39]}..."


def written_key(key: str) -> str:
    """Return a key as it stands in a file: in quotes where it must be.

    >>> written_key("rise"), written_key("cam 2.phase")
    ('rise', '"cam 2.phase"')
    """
    return key if _BARE_KEY.fullmatch(key) else '"' + key.encode("unicode_escape").decode("ascii") + '"'


def inside(error: InputError, step: str) -> InputError:
    """Return the error with its key path one table further out: ``step`` comes first.

    >>> str(inside(InputError("is missing", "radius"), "pass[1].cam[2]"))
    'pass[1].cam[2].radius: is missing'
    """

    def stepped(one: InputError) -> InputError:
        joint = "." if step and one.where and not one.where.startswith("[") else ""
        return one.replaced(where=f"{step}{joint}{one.where}")

    return error.each(stepped)


def pointed(error: InputError, holds: Mapping[str, Any]) -> InputError:
    """Return a part's complaint about one of its settings with that setting's key, and as it was written.

    >>> str(pointed(InputError(name="radius", given="-3.175", must_be="above zero"), {"radius": "-1/8 in"}))
    "radius: '-1/8 in' must be above zero"
    """

    def written(one: InputError) -> InputError:
        found = _FIRST.match(one.name)
        if one.where or found is None or found[0] not in holds:
            return one
        given = shown(holds[one.name]) if one.name in holds else one.given
        return one.replaced(where=one.name, name="", given=given)

    return error.each(written)


@dataclass(frozen=True, slots=True)
class Source:
    """A TOML file as it was read.

    Parameters
    ----------
    path : str
        As it was asked for.
    holds : dict
        Its keys and values.
    lines : Lines
        The line on which each of them begins.
    """

    path: str
    holds: dict[str, Any]
    lines: Lines

    @classmethod
    def read(cls, path: Path | str, remedy: str = "check the name") -> Source:
        """Return the file at ``path``.

        Raises
        ------
        InputError
            Where it is missing, unreadable, too large, not UTF-8 or not TOML; ``remedy`` ends the first message.
        """
        name = str(path)
        text = _text(name, remedy)
        try:
            lines = index_lines(text)
        except InputError as error:
            raise error.replaced(where=f"{name}:{error.where}") from None
        try:
            return cls(name, tomllib.loads(text), lines)
        except ValueError as error:
            raise _syntax_error(name, text, error) from None

    def placed(self, error: InputError) -> InputError:
        """Return the error with file and line before its key path, and what a part complains of as it was written.

        So are the first of the others that were found with it; of the rest it is said how many they are.
        """
        error.others, left = error.others[:_MOST_ERRORS], len(error.others[_MOST_ERRORS:])
        placed = error.each(self._placed)
        if left:
            placed.others += (InputError(f"{left} more are wrong; mend these first", self.path),)
        return placed

    def _placed(self, error: InputError) -> InputError:
        if error.where and (table := self._table_at(error.where)) is not None:
            error = inside(pointed(error.replaced(where=""), table), error.where)
        line = self._line_of(error.where)
        file = f"{self.path}:{line}" if line else self.path
        return error.replaced(where=f"{file}: {error.where}" if error.where else file)

    def _table_at(self, where: str) -> dict[str, Any] | None:
        """Return the table that the whole key path ``where`` leads to, if one does."""
        found: Any = self.holds
        path = ""
        for key in _keys_of(where, self.holds):
            found = found[key]
            path += f"[{key + 1}]" if isinstance(key, int) else f"{'.' if path else ''}{written_key(key)}"
        return found if path == where and isinstance(found, dict) else None

    def _line_of(self, where: str) -> int | None:
        """Return the line (from 1) on which the key path ``where``, or as much of it as is there, begins."""
        keys = list(_keys_of(where, self.holds))
        return self.lines.line_of(keys) if keys else None


def _text(name: str, remedy: str) -> str:
    data = read_bytes(name, _MOST_BYTES, absent=remedy, too_long="500 kB; use a series in place of many passes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f"byte {data[error.start]:#04x} is not UTF-8 text; save the file as UTF-8"
        raise InputError(message, f"{name}:{line}") from None


def _syntax_error(name: str, text: str, error: ValueError) -> InputError:
    found = _SYNTAX.fullmatch(str(error))
    message = found["says"] if found else str(error)
    last = text.rstrip("\n").count("\n") + 1
    line, column = (found["line"], found["column"]) if found and found["line"] else (str(last), "")
    where = f"{name}, line {line}" + (f", column {column}" if column else "")
    remedy = "write each of several tables as [[...]]" if "overwrite" in message else "write key = value, with quotes round text"
    return InputError(f"is not TOML: {message}; {remedy}", where)


def _keys_of(where: str, holds: Any) -> Iterator[str | int]:
    """Yield the keys and places of the path ``where`` for as long as they are there; places count from 0."""
    while where:
        if isinstance(holds, list) and (index := _INDEX.match(where)) and 0 < int(index[1]) <= len(holds):
            place = int(index[1]) - 1
            where, holds = where[index.end() :], holds[place]
            yield place
        elif isinstance(holds, dict):
            where = where.removeprefix(".")
            fits = [name for name in holds if _begins(where, written_key(name))]
            if not fits:
                return
            key = max(fits, key=len)
            where, holds = where[len(written_key(key)) :], holds[key]
            yield key
        else:
            return


def _begins(where: str, key: str) -> bool:
    return where.startswith(key) and where[len(key) :][:1] in ("", ".", "[", ":")
