"""A TOML file: its keys and values, and the line of each key and value."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any, Final

from lobework.errors import InputError
from lobework.files.inputs import read_bytes
from lobework.jobs.jobfile.lines import Lines, index_lines

__all__ = ["Source", "short_text", "with_key_and_value", "with_key_prefix", "written_key"]

_MOST_BYTES: Final = 500_000
_MORE_ERRORS: Final = 19
"""Number of errors that are reported in one run besides the first."""
_SYNTAX: Final = re.compile(r"(?P<problem>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)", re.DOTALL)
_INDEX: Final = re.compile(r"\[(\d+)\]")
_FIRST: Final = re.compile(r"\w+")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")


def short_text(given: object) -> str:
    """Return a value as text, short enough for one line.

    >>> short_text("2 furlongs"), short_text(12345678 * 10**40)
    ("'2 furlongs'", '123456780000000000000000000000000000000...')
    """
    try:
        text = str(given).lower() if isinstance(given, bool) else f"{given}" if isinstance(given, date | time) else repr(given)
    except ValueError:
        text = "a number of thousands of digits"
    return text if len(text) <= 42 else f"{text[:39]}..."


def written_key(key: str) -> str:
    """Return a key as it is written in a file: in quotes if quotes are needed.

    >>> written_key("rise"), written_key("cam 2.phase")
    ('rise', '"cam 2.phase"')
    """
    return key if _BARE_KEY.fullmatch(key) else '"' + key.encode("unicode_escape").decode("ascii") + '"'


def with_key_prefix(error: InputError, step: str) -> InputError:
    """Return the error with ``step`` before its key path.

    >>> str(with_key_prefix(InputError("is missing", "radius"), "pass[1].cam[2]"))
    'pass[1].cam[2].radius: is missing'
    """

    def moved(one: InputError) -> InputError:
        joint = "." if step and one.where and not one.where.startswith("[") else ""
        return one.replaced(where=f"{step}{joint}{one.where}")

    return error.each(moved)


def with_key_and_value(error: InputError, holds: Mapping[str, Any]) -> InputError:
    """Return an error of a setting with the key of the setting and the value as it was written.

    >>> str(with_key_and_value(InputError(name="radius", given="-3.175", must_be="above zero"), {"radius": "-1/8 in"}))
    "radius: '-1/8 in' must be above zero"
    """

    def written(one: InputError) -> InputError:
        found = _FIRST.match(one.name)
        if one.where or found is None or found[0] not in holds:
            return one
        given = short_text(holds[one.name]) if one.name in holds else one.given
        return one.replaced(where=one.name, name="", given=given)

    return error.each(written)


@dataclass(frozen=True, slots=True)
class Source:
    """A TOML file that was read.

    Parameters
    ----------
    path : str
        The path of the file, as it was given.
    holds : dict
        Keys and values of the file.
    lines : Lines
        The line on which each key or value begins.
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
            If the file is missing, unreadable, too large, not UTF-8 or not TOML; ``remedy`` is the remedy for a missing file.
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

    def with_file_and_line(self, error: InputError) -> InputError:
        """Return the error with the file and the line before its key path, and with the value that was written.

        The ``further_errors`` of the error are changed in the same way. Those after the first 19 are replaced by one error, which
        gives the number of replaced errors.
        """
        error.further_errors, left = error.further_errors[:_MORE_ERRORS], len(error.further_errors[_MORE_ERRORS:])
        placed = error.each(self._with_file_and_line)
        if left:
            placed.further_errors += (InputError(f"{left} more errors follow", self.path, remedy="correct these first"),)
        return placed

    def _with_file_and_line(self, error: InputError) -> InputError:
        keys, value, rest = self._resolve(error.where)
        if error.where and not rest and isinstance(value, dict):
            error = with_key_prefix(with_key_and_value(error.replaced(where=""), value), error.where)
            keys, _, _ = self._resolve(error.where)
        line = self.lines.line_of(keys) if keys else None
        file = f"{self.path}:{line}" if line else self.path
        return error.replaced(where=f"{file}: {error.where}" if error.where else file)

    def _resolve(self, path: str) -> tuple[list[str | int], Any, str]:
        """Return the keys and indices (from 0) of the longest existing part of a key path, its value, and the remaining path."""
        keys: list[str | int] = []
        value: Any = self.holds
        while path:
            if isinstance(value, list) and (index := _INDEX.match(path)) and 0 < int(index[1]) <= len(value):
                keys.append(int(index[1]) - 1)
                path = path[index.end() :]
            elif isinstance(value, dict) and (names := [name for name in value if _begins(path, name)]):
                name = max(names, key=len)
                keys.append(name)
                path = path.removeprefix(".").removeprefix(written_key(name))
            else:
                break
            value = value[keys[-1]]
        return keys, value, path


def _begins(path: str, name: str) -> bool:
    """Return whether the first key of a key path is ``name``."""
    key, path = written_key(name), path.removeprefix(".")
    return path.startswith(key) and path[len(key) :][:1] in ("", ".", "[", ":")


def _text(name: str, remedy: str) -> str:
    data = read_bytes(name, _MOST_BYTES, absent=remedy, too_long="500 kB; use a series in place of many passes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problem = f"byte {data[error.start]:#04x} is not UTF-8 text"
        raise InputError(problem, f"{name}:{line}", remedy="save the file as UTF-8") from None


def _syntax_error(name: str, text: str, error: ValueError) -> InputError:
    found = _SYNTAX.fullmatch(str(error))
    message = found["problem"] if found else str(error)
    last = text.rstrip("\n").count("\n") + 1
    line, column = (found["line"], found["column"]) if found and found["line"] else (str(last), "")
    where = f"{name}, line {line}" + (f", column {column}" if column else "")
    remedy = "write each of several tables as [[...]]" if "overwrite" in message else "write key = value, with quotes round text"
    return InputError(f"is not TOML: {message}", where, remedy=remedy)
