"""A file as it was written: its text, what it holds, and the line on which each key stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from lobework.errors import InputError, TooLargeError

__all__ = ["Source", "inside", "pointed", "shown", "written_key"]

_MOST_BYTES: Final = 4_000_000
_MOST_LINES: Final = 2_000
_SYNTAX: Final = re.compile(r"(?P<says>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)", re.DOTALL)
_INDEX: Final = re.compile(r"\[(\d+)\]")
_SETTING: Final = re.compile(r"(?P<name>\w+)(?P<rest>[\w.\[\]]*)=(?P<given>.*?): (?P<says>must be .*)", re.DOTALL)
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_-]+")


def shown(given: object) -> str:
    """Return what was given, short enough for one line.

    >>> shown("2 furlongs"), shown(12345678 * 10**40)
    ("'2 furlongs'", '123456780000000000000000000000000000000...')
    """
    text = str(given).lower() if isinstance(given, bool) else repr(given)
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
    joint = "." if step and error.where and not error.where.startswith("[") else ""
    return type(error)(error.says, f"{step}{joint}{error.where}")


def pointed(error: InputError, holds: Mapping[str, Any]) -> InputError:
    """Return a part's complaint about one of its settings with that setting's key, and as it was written.

    >>> str(pointed(InputError("radius=-3.175: must be above zero"), {"radius": "-1/8 in"}))
    "radius: '-1/8 in' must be above zero"
    """
    found = _SETTING.fullmatch(error.says)
    if error.where or found is None or found["name"] not in holds:
        return error
    given = found["given"] if found["rest"] else shown(holds[found["name"]])
    return type(error)(f"{given} {found['says']}", found["name"] + found["rest"])


@dataclass(frozen=True, slots=True)
class Source:
    """A TOML file as it was read.

    Parameters
    ----------
    path : str
        As it was asked for.
    text : str
        The whole of it.
    holds : dict
        What it says.
    """

    path: str
    text: str
    holds: dict[str, Any]

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
            return cls(name, text, tomllib.loads(text))
        except RecursionError:
            raise InputError("is nested too deeply to be read; write fewer brackets within brackets", name) from None
        except ValueError as error:
            raise _syntax_error(name, text, error) from None

    def placed(self, error: InputError) -> InputError:
        """Return the error with file and line before its key path, and what a part complains of as it was written."""
        if error.where and (table := self._table_at(error.where)) is not None:
            error = inside(pointed(type(error)(error.says), table), error.where)
        line = self._line_of(error.where)
        file = f"{self.path}:{line}" if line else self.path
        return type(error)(error.says, f"{file}: {error.where}" if error.where else file)

    def _table_at(self, where: str) -> dict[str, Any] | None:
        """Return the table that the whole key path ``where`` leads to, if one does."""
        found: Any = self.holds
        path = ""
        for key in _keys_of(where, self.holds):
            found = found[key]
            path += f"[{key + 1}]" if isinstance(key, int) else f"{'.' if path else ''}{written_key(key)}"
        return found if path == where and isinstance(found, dict) else None

    def _line_of(self, where: str) -> int | None:
        """Return the line (from 1) by which the key path ``where``, or as much of it as is there, has been written."""
        keys = tuple(_keys_of(where, self.holds))
        lines = self.text.replace("\r\n", "\n").split("\n")
        if not keys or len(lines) > _MOST_LINES:
            return None
        first, low, high = len(lines), 1, len(lines)
        while low < high:
            middle = (low + high) // 2
            whole, so_far = _whole_from(lines, middle, high)
            if so_far is None or _has(so_far, keys):
                first, high = (first if so_far is None else whole), middle
            else:
                low = whole + 1
        return first


def _whole_from(lines: list[str], number: int, end: int) -> tuple[int, dict[str, Any] | None]:
    """Return the first count of lines from ``number`` on that is a file by itself, and what it holds; None by ``end``."""
    for count in range(number, end):
        try:
            return count, tomllib.loads("\n".join(lines[:count]))
        except ValueError:
            continue
    return end, None


def _text(name: str, remedy: str) -> str:
    try:
        with Path(name).open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"there is no such file; {remedy}", name) from None
    except IsADirectoryError:
        raise InputError("is a folder, not a file; name a file in it", name) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}; check its permissions", name) from None
    except ValueError as error:
        raise InputError(f"cannot be a file's name: {error}; check the name", shown(name)) from None
    if len(data) > _MOST_BYTES:
        raise TooLargeError(f"is longer than {_MOST_BYTES // 10**6} MB; use a series in place of many passes", name)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        says = f"byte {data[error.start]:#04x} is not UTF-8 text; save the file as UTF-8"
        raise InputError(says, f"{name}:{line}") from None


def _syntax_error(name: str, text: str, error: ValueError) -> InputError:
    if not isinstance(error, tomllib.TOMLDecodeError):
        return InputError("holds a number of thousands of digits; write a shorter one", name)
    found = _SYNTAX.fullmatch(str(error))
    says = found["says"] if found else str(error)
    last = text.rstrip("\n").count("\n") + 1
    line, column = (found["line"], found["column"]) if found and found["line"] else (str(last), "")
    where = f"{name}, line {line}" + (f", column {column}" if column else "")
    remedy = "write each of several tables as [[...]]" if "overwrite" in says else "write key = value, with quotes round text"
    return InputError(f"is not TOML: {says}; {remedy}", where)


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


def _has(holds: Any, keys: tuple[str | int, ...]) -> bool:
    for key in keys:
        there = key < len(holds) if isinstance(holds, list) and isinstance(key, int) else isinstance(holds, dict) and key in holds
        if not there:
            return False
        holds = holds[key]
    return True
