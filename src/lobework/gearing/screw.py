"""The lead screw of a slide: conversion of lengths to turns of the screw and divisions of its micrometer head."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final, NamedTuple

from lobework.errors import InputError, require, together
from lobework.quantities.fields import Length, Measure, require_numbers
from lobework.quantities.units import LengthUnit, format_number, length, number

__all__ = ["Screw", "Wound", "wound_length"]

_WOUND: Final = re.compile(
    r"\s*(?P<sign>[-+]?)\s*(?:(?P<turns>[\d./ ]*[\d.])\s*turns?)?\s*(?:(?P<divisions>[\d./ ]*[\d.])\s*(?:divs?|divisions?))?\s*"
)
_UNKNOWN: Final = (
    "in mm or inches, because the chuck's screw is not specified",
    "specify the screw, as in screw = { lead = '0.1 in', divisions = 10 }",
)
"""Allowed value and remedy for a length that is written in turns although the chuck has no screw."""
_FINEST: Final = 10
"""Number of parts into which the operator can divide a division by eye."""


class Wound(NamedTuple):
    """A length in turns and divisions of a screw that is not yet known.

    Examples
    --------
    >>> Wound.of("3 turns 4 div"), Wound.of("-1/2 turn"), Wound.of("3 mm")
    (Wound(turns=Fraction(3, 1), divisions=Fraction(4, 1)), Wound(turns=Fraction(-1, 2), divisions=Fraction(0, 1)), None)
    """

    turns: Fraction
    divisions: Fraction

    @classmethod
    def of(cls, given: object) -> Wound | None:
        """Return the length that a text such as "16 turns" specifies; None if ``given`` is not in turns or divisions."""
        found = _WOUND.fullmatch(given) if isinstance(given, str) and len(given) < 80 else None
        if found is None or not (found["turns"] or found["divisions"]):
            return None
        sign = -1 if found["sign"] == "-" else 1
        return cls(sign * number(found["turns"] or "0"), sign * number(found["divisions"] or "0"))

    def on(self, screw: Screw | None) -> float:
        """Return the length, mm, on a given screw.

        Raises
        ------
        InputError
            If there is no screw.
        """
        if screw is None:
            must_be, remedy = _UNKNOWN
            raise InputError(must_be=must_be, remedy=remedy)
        return float((self.turns + self.divisions / screw.divisions) * screw.exact_lead)


@dataclass(frozen=True, slots=True)
class Screw:
    """The lead screw of a slide, with a micrometer head.

    Parameters
    ----------
    lead : float, mm
        Travel of the slide per turn of the screw, above zero.
    divisions : int
        Number of divisions of the micrometer head, one or more.

    Notes
    -----
    The screws of old slide rests and chucks have 10 threads per inch and 10 divisions (source: from memory).

    Examples
    --------
    >>> Screw(lead=2.54, divisions=10).setting_text(48.26), Screw(lead=2.54).read("3 turns 4 div")
    ('19 turns', 8.636)
    """

    lead: Length
    divisions: int = 10

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(0 < self.lead < 1000, "lead", self.lead, "above zero, and below a metre")
            whole = isinstance(self.divisions, int)
            require(whole and 1 <= self.divisions <= 10_000, "divisions", self.divisions, "a whole number from 1 to 10000")

    @property
    def exact_lead(self) -> Fraction:
        """The lead, mm, as an exact decimal fraction."""
        return Fraction(str(float(self.lead)))

    def turns(self, mm: float) -> Fraction:
        """Return the number of turns for a length of ``mm``; the number is exact if the length is a decimal number.

        >>> Screw(lead=2.54).turns(40.64), Screw(lead=1.5).turns(1.0)
        (Fraction(16, 1), Fraction(2, 3))
        """
        return Fraction(str(float(mm))) / self.exact_lead

    def read(self, given: object, bare: LengthUnit = "mm") -> float:
        """Return a length, mm, from turns such as "3 turns 4 div", or a value that `lobework.quantities.units.length` reads."""
        return wound_length(given, bare, self)

    def setting_text(self, mm: float) -> str:
        """Return a length as text in whole turns and divisions, rounded to a tenth of a division.

        >>> screw = Screw(lead=2.54)
        >>> screw.setting_text(16.0), screw.setting_text(-1.27), Screw(lead=1.0, divisions=100).setting_text(2.505)
        ('6 turns 3 div', '-5 div', '2 turns 50.5 div')
        """
        tenths = round(abs(self.turns(mm)) * self.divisions * _FINEST)
        turns, over = divmod(tenths, self.divisions * _FINEST)
        parts = [f"{turns} {'turn' if turns == 1 else 'turns'}"] if turns or not over else []
        parts += [f"{format_number(over / _FINEST, 1)} div"] if over else []
        return ("-" if mm < 0 and tenths else "") + " ".join(parts)

    def measure(self, mark: Measure) -> Measure:
        """Return the measure of a length that may be written, and is also shown, in turns of this screw."""
        return replace(
            mark, description=f"{mark.description}, or '16 turns' of its screw", read=self.read, also_shown=self._in_turns
        )

    def _in_turns(self, mm: float) -> str:
        return f"{self.setting_text(mm)} of its screw"


def wound_length(given: object, bare: LengthUnit = "mm", screw: Screw | None = None) -> float:
    """Return a length, mm, for a chuck with a field for a screw.

    Raises
    ------
    InputError
        If ``given`` is not a length, or is in turns although there is no screw.

    Examples
    --------
    >>> wound_length("16 turns", screw=Screw(lead=2.54)), wound_length("1/2 in")
    (40.64, 12.7)
    >>> wound_length("16 turns")
    Traceback (most recent call last):
    lobework.errors.InputError: '16 turns' must be in mm or inches, because the chuck's screw is not specified; specify the
        screw, as in screw = { lead = '0.1 in', divisions = 10 }
    """
    if (wound := Wound.of(given)) is None:
        return length(given, bare)
    try:
        return wound.on(screw)
    except InputError as error:
        raise error.replaced(given=repr(given)) from None
