"""Conversion of quantities from written text to numbers, and from numbers to text.

Lengths become millimetres, angles degrees; ratios and phases remain exact fractions until they are used in computations.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from numbers import Real
from typing import Any, Final, Literal, NamedTuple, SupportsFloat

from lobework.errors import InputError

__all__ = [
    "MM_PER",
    "LengthUnit",
    "Phase",
    "Written",
    "acceleration",
    "angle",
    "format_length",
    "format_number",
    "format_phase",
    "format_ratio",
    "is_real",
    "length",
    "number",
    "phase",
    "plain_number",
    "ratio",
    "speed",
    "steps",
    "turning_acceleration",
    "turning_speed",
    "turning_steps",
]

LengthUnit = Literal["mm", "inch"]

Written = str | SupportsFloat
"""Types accepted for an exact number: a fraction, any other real number, or a text such as "3/4"."""

MM_PER: Final[dict[str, Fraction]] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "in": Fraction(254, 10),
    "inch": Fraction(254, 10),
}
"""Exact number of millimetres in one unit. Source: one inch is 25.4 mm since 1 July 1959 (Federal Register, 30 June 1959)."""

DEGREES_PER: Final[dict[str, Fraction]] = {"deg": Fraction(1), "turn": Fraction(360), "turns": Fraction(360)}


def _per_time(units: dict[str, Fraction], **times: Fraction) -> dict[str, Fraction]:
    return {f"{unit}/{time}": scale * times[time] for unit, scale in units.items() for time in times}


class _Rate(NamedTuple):
    """The written form of one kind of rate."""

    scales: dict[str, Fraction]
    """Factor that converts each unit to the unit in which the rate is stored."""
    bare: str
    """Unit of a number that is written without a unit; ``{}`` stands for the length unit of the file."""
    example: str


_RATES: Final = {
    "speed": _Rate(_per_time(MM_PER, min=Fraction(1, 60), s=Fraction(1)), "{}/min", "'600 mm/min' or '24 in/min'"),
    "turning speed": _Rate(
        {"rpm": Fraction(6), **_per_time(DEGREES_PER, min=Fraction(1, 60), s=Fraction(1))}, "rpm", "'12 rpm' or '90 deg/s'"
    ),
    "acceleration": _Rate(_per_time(MM_PER, s2=Fraction(1)), "{}/s2", "'200 mm/s2' or '8 in/s2'"),
    "turning acceleration": _Rate(_per_time(DEGREES_PER, s2=Fraction(1)), "deg/s2", "'720 deg/s2' or '2 turns/s2'"),
    "steps": _Rate({f"/{unit}": 1 / mm for unit, mm in MM_PER.items()}, "/{}", "'400/mm' or '10160/in'"),
    "turning steps": _Rate({"/turn": Fraction(1), "/deg": Fraction(360)}, "/turn", "'3200/turn'"),
}
"""The written form of each kind of rate. Rates are stored in mm or degrees per second (or second squared), or in steps per mm or
turn."""

_WHOLE_AND_PART: Final = re.compile(r"(?P<sign>[-+]?)\s*(?:(?P<whole>\d+)\s+)?(?P<top>\d+)\s*/\s*(?P<under>\d+)")
_DECIMAL: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_QUANTITY: Final = re.compile(r"\s*(?P<number>[-+0-9./eE\s]*[0-9.])\s*(?P<unit>%|[A-Za-z]*(?:/[A-Za-z]+2?)?)\s*")


def number(text: str) -> Fraction:
    """Return the exact value of a decimal or a fraction.

    >>> number("1 3/8"), number("-3/4"), number("0.36")
    (Fraction(11, 8), Fraction(-3, 4), Fraction(9, 25))
    """
    text = text.strip()
    if parts := _WHOLE_AND_PART.fullmatch(text):
        under = int(parts["under"])
        if under == 0:
            raise InputError("divides by zero", given=repr(text), remedy="write a fraction such as '3/4'")
        value = int(parts["whole"] or 0) + Fraction(int(parts["top"]), under)
        return -value if parts["sign"] == "-" else value
    if _DECIMAL.fullmatch(text) and abs(int(text.lower().partition("e")[2] or 0)) < 40:
        return Fraction(text)
    raise InputError("is not a number", given=repr(text), remedy="write a decimal or a fraction such as '0.5' or '3/8'")


def plain_number(given: Any) -> Any:
    """Return a real numpy scalar or zero-dimensional array as a Python number, and anything else unchanged.

    >>> import numpy as np
    >>> plain_number(np.int64(3)), plain_number(np.array(0.5)), plain_number("3 mm")
    (3, 0.5, '3 mm')
    """
    if getattr(given, "ndim", None) != 0 or getattr(getattr(given, "dtype", None), "kind", "") not in ("i", "u", "f"):
        return given
    value = given.item()
    return value if isinstance(value, int) else float(value)


def is_real(given: Any) -> bool:
    """Return whether ``given`` is a real number, but not a bool or a numpy number (see `plain_number`)."""
    return type(given) is not bool and isinstance(given, Real) and not hasattr(given, "dtype")


def _exact(given: object, example: str) -> tuple[Fraction, str]:
    """Return the value and the name of the unit; for a number without a unit the name is empty."""
    given = plain_number(given)
    if isinstance(given, bool) or not isinstance(given, int | float | str | Fraction):
        raise InputError("is not a number", given=repr(given), remedy=f"write for example {example}")
    if isinstance(given, float):
        if not math.isfinite(given):
            raise InputError("is not a finite number", given=repr(given), remedy=f"write for example {example}")
        return Fraction(repr(given)), ""
    if not isinstance(given, str):
        return Fraction(given), ""
    split = _QUANTITY.fullmatch(given)
    if split is None:
        raise InputError("is not understood", given=repr(given), remedy=f"write for example {example}")
    return number(split["number"]), split["unit"]


def _unit_error(given: object, unit: str, allowed: str, example: str) -> InputError:
    problem = f"{given!r}: the unit {unit!r} is not allowed here; allowed: {allowed}"
    return InputError(problem, remedy=f"write for example {example}")


def length(given: object, bare: LengthUnit = "mm") -> float:
    """Return a length in mm. A number without a unit is in the unit ``bare``.

    >>> length("2 in"), length("3/8 in"), length(-0.4), length(2, bare="inch")
    (50.8, 9.525, -0.4, 50.8)
    """
    value, unit = _exact(given, "'3 mm' or '3/8 in'")
    if (scale := MM_PER.get(unit or bare)) is None:
        raise _unit_error(given, unit, ", ".join(MM_PER), "'3 mm' or '3/8 in'")
    return float(value * scale)


def angle(given: object) -> float:
    """Return an angle in degrees. A number without a unit is in degrees.

    >>> angle("0.36 deg"), angle("1/8 turn"), angle(90)
    (0.36, 45.0, 90.0)
    """
    value, unit = _exact(given, "'22.5 deg' or '1/16 turn'")
    if (scale := DEGREES_PER.get(unit or "deg")) is None:
        raise _unit_error(given, unit, "deg, turn", "'22.5 deg' or '1/16 turn'")
    return float(value * scale)


def _rate(kind: str, given: object, bare: LengthUnit = "mm") -> float:
    scales, unit_of_bare, example = _RATES[kind]
    value, unit = _exact(given, example)
    if (scale := scales.get(unit or unit_of_bare.format(bare))) is None:
        raise _unit_error(given, unit, ", ".join(scales), example)
    return float(value * scale)


def speed(given: object, bare: LengthUnit = "mm") -> float:
    """Return a speed in mm/s. A number without a unit is in mm/min, or in/min if ``bare`` is "inch".

    >>> speed("600 mm/min"), speed("12 in/min"), speed(600), speed("10 mm/s")
    (10.0, 5.08, 10.0, 10.0)
    """
    return _rate("speed", given, bare)


def turning_speed(given: object) -> float:
    """Return a rotational speed in degrees/s. A number without a unit is in revolutions per minute.

    >>> turning_speed("12 rpm"), turning_speed("90 deg/s"), turning_speed(2), turning_speed("2 turns/min")
    (72.0, 90.0, 12.0, 12.0)
    """
    return _rate("turning speed", given)


def acceleration(given: object, bare: LengthUnit = "mm") -> float:
    """Return an acceleration in mm/s2. A number without a unit is in mm/s2, or in/s2 if ``bare`` is "inch".

    >>> acceleration("200 mm/s2"), acceleration(2, bare="inch")
    (200.0, 50.8)
    """
    return _rate("acceleration", given, bare)


def turning_acceleration(given: object) -> float:
    """Return an angular acceleration in degrees/s2. A number without a unit is also in degrees/s2.

    >>> turning_acceleration("2 turns/s2"), turning_acceleration("720 deg/s2"), turning_acceleration(360)
    (720.0, 720.0, 360.0)
    """
    return _rate("turning acceleration", given)


def steps(given: object, bare: LengthUnit = "mm") -> float:
    """Return a motor's steps per mm. A number without a unit is per mm, or per inch if ``bare`` is "inch".

    >>> steps(400), steps("5080/in"), steps(5080, bare="inch")
    (400.0, 200.0, 200.0)
    """
    return _rate("steps", given, bare)


def turning_steps(given: object) -> float:
    """Return a motor's steps per turn of the axis. A number without a unit is also per turn.

    >>> turning_steps("3200/turn"), turning_steps(16000)
    (3200.0, 16000.0)
    """
    return _rate("turning steps", given)


def ratio(given: object) -> Fraction:
    """Return an exact ratio of cam turns to spindle turns; a negative ratio turns the cam backwards.

    >>> ratio("3/4"), ratio("60 %"), ratio(-1.5)
    (Fraction(3, 4), Fraction(3, 5), Fraction(-3, 2))
    """
    value, unit = _exact(given, "'3/4', '-3/2' or '66.67 %'")
    if unit not in ("", "%"):
        raise _unit_error(given, unit, "%, or no unit", "'3/4', '-3/2' or '66.67 %'")
    return value / 100 if unit == "%" else value


@dataclass(frozen=True, slots=True)
class Phase:
    """An exact angle: the sum of a number of turns and a number of lobes of a cam that is not yet known.

    Parameters
    ----------
    turns : Fraction
        Number of turns; whole turns are kept, so that a phase of one turn differs from a phase of zero.
    lobes : Fraction
        Number of lobes; the angle of a lobe depends on the cam for which the phase is set.

    Examples
    --------
    >>> Phase.of("1/2 lobe").in_turns(lobes=4)
    Fraction(1, 8)
    >>> (Phase.of("1/40 lobe") * 3 + Phase.of("3 deg")).in_degrees(lobes=1)
    Fraction(30, 1)
    """

    turns: Fraction = Fraction(0)
    lobes: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        for name in ("turns", "lobes"):
            if type(given := getattr(self, name)) is not Fraction:
                object.__setattr__(self, name, ratio(given))

    @classmethod
    def of(cls, given: object) -> Phase:
        """Return ``given`` if it is a phase, otherwise the phase that `phase` reads from it."""
        return given if isinstance(given, Phase) else phase(given)

    def __add__(self, other: Phase) -> Phase:
        return Phase(self.turns + other.turns, self.lobes + other.lobes)

    def __mul__(self, times: int | Fraction) -> Phase:
        times = plain_number(times)
        return Phase(self.turns * times, self.lobes * times)

    def in_turns(self, lobes: int = 1) -> Fraction:
        """Return the phase in turns of a cam with ``lobes`` lobes."""
        return self.turns + self.lobes / lobes if self.lobes else self.turns

    def in_degrees(self, lobes: int = 1) -> Fraction:
        """Return the phase in degrees of a cam with ``lobes`` lobes."""
        return self.in_turns(lobes) * 360

    def in_radians(self, lobes: int = 1) -> float:
        """Return the phase in radians of a cam with ``lobes`` lobes."""
        return 2 * math.pi * float(self.in_turns(lobes))


def phase(given: object) -> Phase:
    """Return an exact phase from a value in degrees, turns or lobes, or a sum of such values.

    A number without a unit is in degrees.

    >>> phase("1/4 turn")
    Phase(turns=Fraction(1, 4), lobes=Fraction(0, 1))
    >>> phase("5/32 lobe").lobes
    Fraction(5, 32)
    """
    if isinstance(given, str) and " + " in given:
        return sum((phase(part) for part in given.split(" + ")), Phase())
    value, unit = _exact(given, "'2 deg', '1/96 turn' or '1/2 lobe'")
    if unit in ("lobe", "lobes"):
        return Phase(lobes=value)
    if (scale := DEGREES_PER.get(unit or "deg")) is None:
        raise _unit_error(given, unit, "deg, turn, lobe", "'2 deg', '1/96 turn' or '1/2 lobe'")
    return Phase(turns=value * scale / 360)


def format_number(value: float, places: int = 4) -> str:
    """Return a number in decimal notation, without trailing zeros, an exponent or a negative zero.

    >>> format_number(-0.40000001), format_number(-1e-9), format_number(12.0)
    ('-0.4', '0', '12')
    """
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def format_length(mm: float, unit: LengthUnit = "mm", places: int | None = None) -> str:
    """Return a length with its unit; if ``places`` is None, `length` converts the text back to exactly the same number.

    >>> format_length(9.525, "inch"), format_length(24.0), format_length(1 / 3, places=3)
    ('0.375 in', '24 mm', '0.333 mm')
    """
    short = "in" if unit == "inch" else "mm"
    if places is not None:
        return f"{format_number(mm / float(MM_PER[short]), places)} {short}"
    exact = Fraction(mm) / MM_PER[short]
    for digits in range(15, 40):
        text = format(float(exact), f".{digits}g") if digits < 18 else _decimal(exact, digits)
        if "e" not in text and length(f"{text} {short}") == mm:
            return f"{text} {short}"
    return f"{exact.numerator}/{exact.denominator} {short}"


def _decimal(value: Fraction, digits: int) -> str:
    scaled = round(value * 10**digits)
    sign, scaled = ("-", -scaled) if scaled < 0 else ("", scaled)
    whole, part = divmod(scaled, 10**digits)
    return f"{sign}{whole}.{part:0{digits}d}".rstrip("0").rstrip(".")


def format_ratio(value: Fraction) -> str:
    """Return an exact ratio as text.

    >>> format_ratio(Fraction(3, 4)), format_ratio(Fraction(-2))
    ('3/4', '-2')
    """
    return str(value)


def format_phase(value: Phase) -> str:
    """Return a phase in degrees and lobes; `phase` converts the text back to exactly the same phase.

    >>> format_phase(Phase.of("2 deg")), format_phase(Phase.of("1/2 lobe")), format_phase(Phase())
    ('2 deg', '1/2 lobe', '0 deg')
    """
    degrees = value.turns * 360
    in_degrees = f"{degrees} deg"
    if value.turns and value.lobes:
        return f"{value.lobes} lobe + {in_degrees}"
    return f"{value.lobes} lobe" if value.lobes else in_degrees
