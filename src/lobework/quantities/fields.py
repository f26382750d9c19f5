"""The fields of parts: the functions that read, show and check settings.

The job file, the settings sheet and the documentation derive a part's settings from its dataclass fields: their names, types
and defaults, and the units in the `Annotated` types below.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache, lru_cache
from typing import Annotated, Any, get_type_hints

from lobework.errors import require
from lobework.quantities.units import (
    MM_PER,
    LengthUnit,
    Phase,
    angle,
    format_length,
    format_number,
    format_phase,
    is_real,
    length,
    plain_number,
)

__all__ = [
    "Angle",
    "Length",
    "Measure",
    "Pairs",
    "Turning",
    "as_pairs",
    "held_in",
    "hints_of",
    "length_pairs",
    "measures",
    "pairs_measure",
    "require_numbers",
    "require_part",
    "show_pairs",
]

Pairs = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Measure:
    """The written form of a setting, for reading files and for printing settings.

    Parameters
    ----------
    description : str
        Description of the allowed forms, used in messages and in the schema.
    read : callable
        Function that converts the written value to the value stored in the field (mm, degrees or `Phase`). A
        function that reads lengths also takes the parameter ``bare``: the unit of a number without a unit.
    show : callable
        Function that converts the stored value to text. If the value is a single number, `read` accepts this text.
    pairs : bool
        Whether the setting is a list of pairs rather than a single number.
    also_shown : callable, optional
        Function that converts the stored value to an additional text, such as turns of a screw.
    schema : mapping, optional
        The JSON Schema of the written value; needed only if the value is not a number, a text or a list of pairs.
    """

    description: str
    read: Callable[..., Any]
    show: Callable[[Any], str]
    pairs: bool = False
    also_shown: Callable[[Any], str] | None = None
    schema: Mapping[str, Any] | None = field(default=None, compare=False)

    @property
    def takes_bare(self) -> bool:
        """Whether a number without a unit is read as a length in the unit of the file."""
        return _takes_bare(self.read)


@lru_cache(maxsize=256)
def _takes_bare(read: Callable[..., Any]) -> bool:
    return "bare" in inspect.signature(read).parameters


Length = Annotated[float, Measure("a length such as 3, '3 mm' or '1/8 in'", length, format_length)]
"""Type of a field that stores a length in millimetres."""


Angle = Annotated[
    float, Measure("an angle such as 90, '90 deg' or '1/4 turn'", angle, lambda deg: f"{format_number(deg, 6)} deg")
]
"""Type of a field that stores an angle in degrees.

The name of the field ends in ``_deg``; its key in a file has no such ending.
"""


Turning = Annotated[Phase, Measure("an angle such as '2 deg', '1/96 turn' or '1/2 lobe'", Phase.of, format_phase)]
"""Type of a field that stores an exact `Phase`; a lobe in the phase is a lobe of the cam to which the field belongs."""


def length_pairs(given: object, bare: LengthUnit = "mm") -> Pairs:
    """Return pairs of lengths, mm, from their written form; a number without a unit is in the unit ``bare``.

    >>> length_pairs([[0, 20], ["-1 in", "3/4 in"]])
    ((0.0, 20.0), (-25.4, 19.05))
    """
    rows = given if isinstance(given, list | tuple) else ()
    pairs = [tuple(row) if isinstance(row, list | tuple) else () for row in rows]
    if not pairs or any(len(pair) != 2 for pair in pairs):
        raise ValueError("it is not a list of pairs")
    return tuple((length(a, bare), length(b, bare)) for a, b in pairs)


def show_pairs(pairs: Pairs, units: LengthUnit = "mm") -> str:
    """Return pairs of lengths as text for a message or a sheet.

    >>> show_pairs(((0.0, 20.0), (-25.4, 19.05))), show_pairs(((-25.4, 19.05),), "inch")
    ('(0, 20), (-25.4, 19.05) mm', '(-1, 0.75) in')
    """
    scale, places = float(MM_PER[units]), {"mm": 4, "inch": 5}[units]
    each = (f"({format_number(a / scale, places)}, {format_number(b / scale, places)})" for a, b in pairs)
    return f"{', '.join(each)} {'mm' if units == 'mm' else 'in'}"


def pairs_measure(description: str) -> Measure:
    """Return the measure of a field of pairs of lengths; the description is for messages and the schema."""
    return Measure(description, length_pairs, show_pairs, pairs=True)


@cache
def hints_of(part: type) -> dict[str, Any]:
    """Return the type of each field of a part, including its `Annotated` metadata."""
    return get_type_hints(part, include_extras=True)


def measures(part: type) -> dict[str, Measure | None]:
    """Return the measure of each field of a part; None for a field without a measure.

    >>> from lobework.parts.follower import Roller
    >>> measures(Roller)["radius"].read("1/8 in")
    3.175
    """
    hints = hints_of(part)
    found: dict[str, Measure | None] = {}
    for each in fields(part):
        marks = getattr(hints[each.name], "__metadata__", ())
        found[each.name] = next((mark for mark in marks if isinstance(mark, Measure)), None)
    return found


def held_in(part: Any, field: str) -> dict[str, Any]:
    """Return the parts in a field that is a list of parts. Each key is the name of the field in the singular, with a number.

    >>> from types import SimpleNamespace
    >>> from lobework.parts.follower import Roller
    >>> held_in(SimpleNamespace(rollers=(Roller(3.0), Roller(4.0)), radius=3.0), "rollers")
    {'roller 1': Roller(radius=3.0), 'roller 2': Roller(radius=4.0)}
    """
    value = getattr(part, field)
    parts = value if isinstance(value, tuple) and all(is_dataclass(each) for each in value) else ()
    one = field.replace("_", " ").removesuffix("s")
    return {f"{one} {number}": each for number, each in enumerate(parts, 1)}


@cache
def _numbers(part: type) -> tuple[tuple[str, str], ...]:
    """Return each field that holds a plain number, with the unit of the stored value."""
    hints = hints_of(part)
    units = {Length: ", in mm", Angle: ", in degrees", float: "", int: ""}
    return tuple((each.name, units[hints[each.name]]) for each in fields(part) if hints[each.name] in units)


def require_numbers(part: Any) -> None:
    """Convert numpy numbers in a part's fields to Python numbers, and refuse any other value in a field for a number.

    >>> from lobework.parts.follower import Roller
    >>> Roller("1/8 in")
    Traceback (most recent call last):
    lobework.errors.SettingError: radius='1/8 in': must be a plain number, in mm; in Python write lobework.length('1/8 in')
    """
    for each in fields(part):
        given = getattr(part, each.name)
        if (plain := plain_number(given)) is not given:
            object.__setattr__(part, each.name, plain)
    for name, unit in _numbers(type(part)):  # type: ignore[arg-type]
        given = getattr(part, name)
        if not is_real(given):
            reads = {", in mm": "length", ", in degrees": "angle"}.get(unit) if isinstance(given, str) else None
            remedy = f"in Python write lobework.{reads}({given!r})" if reads else ""
            require(False, name, repr(given), f"a plain number{unit}", remedy)


def as_pairs(name: str, given: Any) -> Pairs:
    """Return a setting as pairs of plain numbers, mm; refuse a setting of any other form.

    >>> as_pairs("points", [[0, 0], [0.5, 2]])
    ((0.0, 0.0), (0.5, 2.0))
    >>> as_pairs("points", ["0, 0"])
    Traceback (most recent call last):
    lobework.errors.SettingError: points=['0, 0']: must be pairs of plain numbers, in mm
    """
    try:
        rows = [tuple(map(plain_number, row)) for row in given]
    except TypeError:
        rows = [()]
    plain = all(len(row) == 2 and all(map(is_real, row)) for row in rows)
    require(plain, name, " ".join(repr(given).split())[:80], "pairs of plain numbers, in mm")
    return tuple((float(a), float(b)) for a, b in rows)


def require_part(given: object, offers: str, name: str, must_be: str) -> None:
    """Refuse a class, and an object that is not a part of the required kind.

    Every part of that kind has an attribute with the name ``offers``.

    >>> require_part("knife", "nose_at", "follower", "a follower such as Knife() or Roller(3)")
    Traceback (most recent call last):
    lobework.errors.SettingError: follower='knife': must be a follower such as Knife() or Roller(3)
    """
    require(hasattr(given, offers) and not isinstance(given, type), name, repr(given), must_be)
