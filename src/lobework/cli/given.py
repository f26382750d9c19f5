"""Conversion of command-line values (numbers, lists and lengths), and output in columns."""

from __future__ import annotations

import argparse
import contextlib
import re
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, TypeVar

from lobework.cli.parser import Parser
from lobework.errors import InputError, SettingError

if TYPE_CHECKING:
    from lobework.quantities.units import LengthUnit

__all__ = [
    "above_zero",
    "add_radius",
    "add_units",
    "allow_signed_values",
    "columns",
    "length_of",
    "option_errors",
    "read",
    "require_others",
    "units_of",
    "whole_number",
    "whole_numbers",
]

_T = TypeVar("_T")


def allow_signed_values(verb: Parser) -> None:
    """Let a subcommand accept values such as '-3/4' and '-35deg', which argparse would otherwise treat as options."""
    verb.signed_values = True


def add_radius(verb: Parser) -> None:
    """Add the options for a radius of the work and for units."""
    message = "a radius of the work: angles are then also printed as lengths at this radius"
    verb.add_argument("--radius", metavar="LENGTH", help=message)
    add_units(verb)


def add_units(verb: Parser) -> None:
    """Add the option for the units of lengths."""
    message = (
        "mm or inch: the unit of printed lengths, and of lengths given without a unit (default: the unit of the given lengths)"
    )
    verb.add_argument("--units", metavar="UNIT", help=message)


@contextlib.contextmanager
def option_errors(option: str) -> Iterator[None]:
    """Add the name of an option to errors raised inside the block."""
    try:
        yield
    except InputError as error:
        raise error.replaced(where=option, further_errors=()) from None


def read(option: str, given: str, by: Callable[[str], _T]) -> _T:
    """Return the value of an option, read by the function ``by``; errors name the option."""
    with option_errors(option):
        return by(given)


def require_others(options: argparse.Namespace, **others: str) -> None:
    """Raise `UsageError` if an option is given without the other option that it needs."""
    for name, other in others.items():
        if getattr(options, name) is not None and getattr(options, other) is None:
            options.verb.error(f"--{name} needs --{other} as well")


def whole_number(text: str) -> int:
    """Return a whole number, zero or more."""
    if not re.fullmatch(r"\s*\d{1,9}\s*", text):
        raise InputError(given=repr(text), must_be="a whole number, such as 4")
    return int(text)


def whole_numbers(text: str) -> list[int]:
    """Return the whole numbers of a list separated by commas."""
    return [whole_number(each) for each in text.split(",")]


def units_of(options: argparse.Namespace, *lengths: str | None) -> LengthUnit:
    """Return the units of the option ``--units``; default: the units of the lengths given."""
    if options.units in ("mm", "inch"):
        return "inch" if options.units == "inch" else "mm"
    if options.units is not None:
        raise InputError(where="--units", given=repr(options.units), must_be="'mm' or 'inch'")
    return "inch" if any(re.search(r"\d\s*in(ch)?\s*$", each) for each in lengths if each) else "mm"


def length_of(option: str, given: str, units: LengthUnit) -> float:
    """Return a length, mm; a number without a unit is in ``units``."""
    from lobework.quantities.units import length

    return read(option, given, lambda text: length(text, units))


def above_zero(option: str, given: str | None, units: LengthUnit, otherwise: float) -> float:
    """Return a length above zero, mm, or the length ``otherwise`` if the option is not given."""
    if given is None:
        return otherwise
    if (found := length_of(option, given, units)) <= 0:
        raise SettingError(where=option, given=repr(given), must_be="above zero")
    return found


def columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield each row as a line, with its cells aligned in columns."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "   ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
