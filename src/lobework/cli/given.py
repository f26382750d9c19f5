"""What is written on a command line, read: numbers, lists and lengths; and answers set in columns."""

from __future__ import annotations

import argparse
import contextlib
import re
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, TypeVar

from lobework.cli.parser import Parser
from lobework.errors import InputError, SettingError

if TYPE_CHECKING:
    from lobework.quantities.units import LengthUnit

__all__ = [
    "above_zero",
    "columns",
    "length_of",
    "read",
    "takes_radius",
    "takes_signed",
    "takes_units",
    "told",
    "units_of",
    "wants",
    "whole",
    "wholes",
]

_T = TypeVar("_T")
_SIGNED: Final = re.compile(r"-\d")


def takes_signed(verb: Parser) -> None:
    """Let what begins like '-3/4' be a value; argparse alone takes only whole and decimal numbers so."""
    verb._negative_number_matcher = _SIGNED


def takes_radius(verb: Parser) -> None:
    """Let a verb take a radius of the work, and units."""
    verb.add_argument("--radius", metavar="LENGTH", help="where on the work: then lengths are given too")
    takes_units(verb)


def takes_units(verb: Parser) -> None:
    """Let a verb take the units of lengths."""
    verb.add_argument("--units", metavar="UNIT", help="mm or inch, of bare lengths and of those printed (otherwise as given)")


@contextlib.contextmanager
def told(option: str) -> Iterator[None]:
    """Let a complaint name the option that it is about."""
    try:
        yield
    except InputError as error:
        raise error.replaced(where=option) from None


def read(option: str, given: str, by: Callable[[str], _T]) -> _T:
    """Return what an option says."""
    with told(option):
        return by(given)


def wants(asked: argparse.Namespace, **others: str) -> None:
    """Refuse options that mean nothing without another."""
    for name, other in others.items():
        if getattr(asked, name) is not None and getattr(asked, other) is None:
            asked.verb.error(f"--{name} wants --{other} as well")


def whole(text: str) -> int:
    """Return a whole number, zero or more."""
    if not re.fullmatch(r"\s*\d{1,9}\s*", text):
        raise InputError(f"{text!r} must be a whole number, such as 4")
    return int(text)


def wholes(text: str) -> list[int]:
    """Return whole numbers with commas between."""
    return [whole(each) for each in text.split(",")]


def units_of(asked: argparse.Namespace, *lengths: str | None) -> LengthUnit:
    """Return the units that are asked for, or those of the lengths given."""
    if asked.units in ("mm", "inch"):
        return "inch" if asked.units == "inch" else "mm"
    if asked.units is not None:
        raise InputError(f"{asked.units!r} must be 'mm' or 'inch'", "--units")
    return "inch" if any(re.search(r"\d\s*in(ch)?\s*$", each) for each in lengths if each) else "mm"


def length_of(option: str, given: str, units: LengthUnit) -> float:
    """Return a length, mm; a bare number is in ``units``."""
    from lobework.quantities.units import length

    return read(option, given, lambda text: length(text, units))


def above_zero(option: str, given: str | None, units: LengthUnit, otherwise: float) -> float:
    """Return a length above zero."""
    if given is None:
        return otherwise
    if (found := length_of(option, given, units)) <= 0:
        raise SettingError(f"{given!r} must be above zero", option)
    return found


def columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield a line for each row, its cells in columns."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "   ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
