"""Dividing wheels: conversion of an index to turns of the crank and holes on a circle of the wheel."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Any, Final, Literal, NamedTuple

from lobework.errors import InputError, SettingError, is_whole, require, together
from lobework.quantities.fields import Measure
from lobework.quantities.units import Phase, format_number, format_phase, number, plain_number

__all__ = ["Circles", "Holes", "Near", "Wheel", "wheel_phase"]

_MOST_HOLES: Final = 100_000
_HOLES: Final = re.compile(
    r"\s*(?P<sign>[-+]?)\s*(?:(?P<turns>\d+)\s*turns?\s+(?:and\s+)?)?(?P<holes>[\d./ ]*[\d.])\s*(?:holes?|notch(?:es)?)"
    r"(?:\s+of\s+(?:the\s+)?(?P<circle>\S.*?)(?:\s+circle)?)?\s*"
)
_UNKNOWN: Final = (
    "an angle, because the chuck's wheel is not specified",
    "specify the wheel, as in wheel = { circles = [96, 144] }",
)
"""Allowed value and remedy for an index that is written in holes although the chuck has no wheel."""
_CIRCLES: Final = "the holes of each circle, such as [96, 112, 144] or { outer = 96, inner = 72 }"


def _circles(given: Any) -> tuple[tuple[str, int], ...]:
    """Return the name and the number of holes of each circle.

    Accept a mapping from names to numbers of holes, or a list of numbers of holes, which are then also the names.
    """
    if isinstance(given, Mapping):
        pairs = list(given.items())
    elif isinstance(given, Iterable) and not isinstance(given, str):
        pairs = [each if isinstance(each, tuple) and len(each) == 2 else (str(each), each) for each in given]
    else:
        pairs = []
    names = [name for name, _ in pairs]
    wrong = (
        (not pairs, _CIRCLES),
        (not all(map(_is_count, (holes for _, holes in pairs))), f"whole numbers of holes, 1 to {_MOST_HOLES}"),
        (not all(isinstance(name, str) and name.strip() == name != "" for name in names), "circles with names"),
        (len(set(names)) < len(names), "different circles"),
    )
    if message := next((message for is_wrong, message in wrong if is_wrong), ""):
        raise InputError(given=" ".join(repr(given).split())[:80], must_be=message)
    return tuple((name, plain_number(holes)) for name, holes in pairs)


def _is_count(given: object) -> bool:
    return is_whole(plain_number(given), 1, _MOST_HOLES)


def _show_circles(circles: tuple[tuple[str, int], ...]) -> str:
    return ", ".join(name if name == str(holes) else f"{name} {holes}" for name, holes in circles)


Circles = Annotated[
    tuple[tuple[str, int], ...],
    Measure(
        _CIRCLES,
        _circles,
        _show_circles,
        schema={
            "anyOf": [
                {"type": "array", "items": {"type": "integer", "minimum": 1}, "minItems": 1},
                {"type": "object", "additionalProperties": {"type": "integer", "minimum": 1}, "minProperties": 1},
            ]
        },
    ),
]
"""Type of a field that holds circles: pairs of a name and a number of holes."""


class Holes(NamedTuple):
    """An index in holes for a wheel that is not yet known: whole turns of the crank, holes, and the circle's name.

    Examples
    --------
    >>> Holes.of("3 turns and 16 holes of the 18 circle"), Holes.of("15 holes"), Holes.of("2 deg")
    (Holes(turns=3, holes=Fraction(16, 1), circle='18'), Holes(turns=0, holes=Fraction(15, 1), circle=''), None)
    """

    turns: int
    holes: Fraction
    circle: str

    @classmethod
    def of(cls, given: object) -> Holes | None:
        """Return the index that a text such as "8 holes of 96" specifies; None if ``given`` is not written in holes."""
        found = _HOLES.fullmatch(given) if isinstance(given, str) and len(given) < 80 else None
        if found is None:
            return None
        sign = -1 if found["sign"] == "-" else 1
        return cls(sign * int(found["turns"] or 0), sign * number(found["holes"]), found["circle"] or "")

    def on(self, wheel: Wheel | None) -> Phase:
        """Return the angle by which the index turns the work if it is set on ``wheel``.

        Raises
        ------
        InputError
            If there is no wheel, or the wheel has no such circle.
        """
        if wheel is None:
            must_be, remedy = _UNKNOWN
            raise InputError(must_be=must_be, remedy=remedy)
        if not self.circle and len(wheel.circles) == 1:
            holes = wheel.circles[0][1]
        elif (holes := dict(wheel.circles).get(self.circle, 0)) == 0:
            example = f"'8 holes of {wheel.circles[0][0]}'"
            raise InputError(must_be=f"in holes of a circle of the wheel, as in {example}", remedy=f"the wheel has {wheel}")
        return Phase((self.turns + self.holes / holes) / wheel.worm)


class Near(NamedTuple):
    """The nearest setting to an index on one circle: the circle's name, the setting, and its error in degrees of the work."""

    circle: str
    setting: str
    error: Fraction


@dataclass(frozen=True, slots=True)
class Wheel:
    """A dividing wheel with circles of holes, held by a pin, or a worm gear with such circles on its crank plate.

    Parameters
    ----------
    circles : mapping from name to holes, or list of holes
        Number of equally spaced holes of each circle. In a list, the number is also the name of the circle.
    worm : int
        Turns of the crank for one turn of the work; 1 if the wheel is on the work spindle itself.
    marks : "holes" or "notches"
        Whether the circles consist of holes or of notches.

    References
    ----------
    *Machinery's Handbook*, 1916, angular indexing: with ``worm`` 40, 35 degrees are 3 turns and 16 holes of the 18 circle.

    Examples
    --------
    >>> Wheel([96, 112, 144, 360]).setting_text(Fraction(1, 12)), Wheel([18], worm=40).setting_text(Fraction(35, 360))
    ('8 holes of the 96 circle', '3 turns and 16 holes of the 18 circle')
    """

    circles: Circles
    worm: int = 1
    marks: Literal["holes", "notches"] = "holes"

    if TYPE_CHECKING:

        def __init__(
            self,
            circles: Mapping[str, int] | Iterable[int] | Iterable[tuple[str, int]],
            worm: int = ...,
            marks: Literal["holes", "notches"] = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            try:
                object.__setattr__(self, "circles", _circles(self.circles))
            except InputError as error:
                require(False, "circles", error.given, error.must_be)
            object.__setattr__(self, "worm", plain_number(self.worm))
            require(_is_count(self.worm), "worm", self.worm, f"a whole number of crank turns, 1 to {_MOST_HOLES}")
            require(self.marks in ("holes", "notches"), "marks", repr(self.marks), "'holes' or 'notches'")

    def __str__(self) -> str:
        worm = f", worm of {self.worm}" if self.worm != 1 else ""
        circles = _show_circles(self.circles)
        return f"{circles} notches{worm}" if self.marks == "notches" else f"circles {circles}{worm}"

    def settings(self, turns: Fraction) -> tuple[str, ...]:
        """Return all settings that turn the work by exactly ``turns``: one for each circle that has a hole at this angle.

        >>> Wheel([18, 39], worm=40).settings(Fraction(1, 6))
        ('6 turns and 12 holes of the 18 circle', '6 turns and 26 holes of the 39 circle')
        """
        crank = turns * self.worm
        return tuple(self._setting(crank, name, holes) for name, holes in self.circles if (crank * holes).denominator == 1)

    def setting_text(self, turns: Fraction) -> str:
        """Return the setting that turns the work by exactly ``turns``, on the first circle that has a hole at this angle.

        Raises
        ------
        SettingError
            If no circle has a hole at this angle; the message contains the nearest hole and its error.

        Examples
        --------
        >>> Wheel([96]).setting_text(Fraction(1, 7))
        Traceback (most recent call last):
        lobework.errors.SettingError: 1/7 turn must coincide with a hole, but no circle has one there; the nearest is
            14 holes of the 96 circle, 1.071429 degrees further
        """
        if settings := self.settings(turns):
            return settings[0]
        near, error = self.nearest(turns)
        degrees = f"{format_number(abs(float(error)), 6)} degrees {'further' if error > 0 else 'less'}"
        given = f"{turns} turn" if turns.denominator <= _MOST_HOLES else format_phase(Phase(turns))
        problem = f"must coincide with a {self._mark(1)}, but no circle has one there"
        raise SettingError(problem, given=given, remedy=f"the nearest is {near}, {degrees}")

    def for_all(self, every: Iterable[Fraction]) -> Wheel:
        """Return the wheel with only one circle: the first that has a hole at every one of the given angles, turns.

        If no circle has all these holes, return the wheel unchanged.


        >>> print(Wheel([96, 144]).for_all([Fraction(1, 24), Fraction(1, 144)]))
        circles 144
        """
        crank = [turns * self.worm for turns in every]
        fit = [each for each in self.circles if all((turned * each[1]).denominator == 1 for turned in crank)]
        return replace(self, circles=(fit[0],)) if fit else self

    def nearest(self, turns: Fraction) -> tuple[str, Fraction]:
        """Return the setting that turns the work most nearly by ``turns``, and the error of this setting, degrees.

        >>> Wheel([23], worm=40).nearest(Fraction(2, 5) / 360)
        ('1 hole of the 23 circle', Fraction(-1, 115))
        """
        _, setting, error = min(self.near(turns), key=lambda near: abs(near.error))
        return setting, error

    def near(self, turns: Fraction) -> tuple[Near, ...]:
        """Return for each circle the setting that turns the work most nearly by ``turns``; the error of an exact setting is zero.

        >>> for near in Wheel([96, 112]).near(Fraction(3, 7)):
        ...     print(near.setting, float(near.error))
        41 holes of the 96 circle -0.5357142857142857
        48 holes of the 112 circle 0.0
        """
        crank = turns * self.worm
        found = [(name, holes, Fraction(round(crank * holes), holes)) for name, holes in self.circles]
        return tuple(Near(name, self._setting(at, name, holes), (at - crank) / self.worm * 360) for name, holes, at in found)

    def _mark(self, count: int | Fraction) -> str:
        return self.marks if count != 1 else self.marks.removesuffix("es" if self.marks == "notches" else "s")

    def _setting(self, crank: Fraction, name: str, holes: int) -> str:
        """Return the crank angle ``crank``, turns, as text: whole turns, and holes of one circle."""
        turns, over = divmod(abs(crank) * holes, holes)
        sign = "-" if crank < 0 else ""
        whole = f"{turns} {'turn' if turns == 1 else 'turns'}" if turns else ""
        circle = name if self.marks == "notches" else f"the {name} circle"
        part = f"{over} {self._mark(over)} of {circle}" if over or not turns else ""
        return sign + " and ".join(each for each in (whole, part) if each)

    def read(self, given: object) -> Phase:
        """Return an index as a phase; accept a value that `Phase.of` reads, or holes such as "8 holes of 96"."""
        return wheel_phase(given, self)

    def measure(self, mark: Measure) -> Measure:
        """Return the measure of an index that may be written, and is also shown, in holes of this wheel."""
        return replace(mark, description=f"{mark.description}, or '8 holes of 96'", read=self.read, also_shown=self._in_holes)

    def _in_holes(self, index: Phase) -> str:
        return self.setting_text(index.in_turns())


def wheel_phase(given: object, wheel: Wheel | None = None) -> Phase:
    """Return an index as a phase, for a chuck with a field for a wheel.

    Raises
    ------
    InputError
        If ``given`` is neither an angle nor in holes; or if it is in holes, but there is no wheel, or the wheel has no such
        circle.

    Examples
    --------
    >>> wheel_phase("8 holes of 96", Wheel([96])), wheel_phase("1/4 turn").turns
    (Phase(turns=Fraction(1, 12), lobes=Fraction(0, 1)), Fraction(1, 4))
    """
    if (holes := Holes.of(given)) is None:
        return Phase.of(given)
    try:
        return holes.on(wheel)
    except InputError as error:
        raise error.replaced(given=repr(given)) from None
