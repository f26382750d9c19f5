"""Comparisons of arrays; a failed comparison reports the worst error and its position in the array."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Broken", "Worst", "assert_close", "worst"]


class Broken(AssertionError):  # noqa: N818  (a promise is broken)
    """A promise is broken; the message gives the error and the position of the error."""


class Worst(NamedTuple):
    """The greatest error among many numbers.

    ``error`` is infinite if one of the two numbers is nan, or is infinite and not equal to the other number. ``place`` is the
    index of the error in the array, ``at`` the angle of that element, rad, or None. ``got`` and ``expected`` are the two numbers.
    """

    error: float
    place: tuple[int, ...]
    at: float | None
    got: float
    expected: float

    def as_text(self, along: str = "spindle", unit: str = "mm") -> str:
        """Return one line of text with the error, the position of the error and the two numbers."""
        where = ", ".join(f"{name} {number}" for name, number in zip(("sample", "part", "place"), self.place, strict=False))
        if self.at is not None:
            where = f"{along} {math.degrees(self.at):.6g} deg ({where})"
        error = f"{self.error:.3g} {unit}".strip()
        return f"worst error {error}{f' at {where}' if where else ''}: {self.got:.9g} instead of {self.expected:.9g}"


def worst(got: Any, expected: Any, at: Array | None = None) -> Worst:
    """Return the greatest difference between two arrays, with its position and the two numbers at that position.

    Parameters
    ----------
    got, expected : array of numbers
        Arrays of equal shape; the error of two equal numbers is zero, even if both are infinite.
    at : (n,) float64, rad, optional
        The angle of each element along the first axis.

    Raises
    ------
    Broken
        If the shapes differ, or an argument is not numeric.

    Examples
    --------
    >>> worst([0.0, 1.0, 2.0], [0.0, 1.5, 2.0], at=np.array([0.0, 0.1, 0.2]))
    Worst(error=0.5, place=(1,), at=0.1, got=1.0, expected=1.5)
    """
    one, other = _numbers(got), _numbers(expected)
    if one.shape != other.shape:
        raise Broken(f"shape {one.shape} instead of {other.shape}")
    if one.size == 0:
        return Worst(0.0, (), None, math.nan, math.nan)
    with np.errstate(invalid="ignore"):
        error = np.where(one == other, 0.0, np.abs(one - other))
    error = np.where(np.isnan(error), np.inf, error)
    place = tuple(int(each) for each in np.unravel_index(int(error.argmax()), error.shape))
    angle = float(at[place[0]]) if at is not None and place else None
    return Worst(float(error[place]), place, angle, float(one[place]), float(other[place]))


def _numbers(given: Any) -> Array:
    try:
        return np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError):
        raise Broken(f"{' '.join(repr(given).split())[:80]} instead of numbers") from None


def assert_close(
    got: Any, expected: Any, within: float, at: Array | None = None, *, along: str = "spindle", unit: str = "mm", what: str = ""
) -> None:
    """Raise `Broken` unless every number differs from its expected value by at most ``within``.

    The message gives the worst error and its position.

    Parameters
    ----------
    got, expected : array of numbers
        Arrays of equal shape.
    within : float
        Largest allowed error of each number.
    at : (n,) float64, rad, optional
        The angle of each element along the first axis.
    along : str
        Name of the part to which the angles ``at`` belong, such as "spindle" or "cam".
    unit : str
        Unit of the numbers.
    what : str
        Name of the numbers, for the beginning of the message.

    Examples
    --------
    >>> assert_close([1.0, 2.0], [1.0, 2.25], 1e-9, at=np.radians([0.0, 90.0]))
    Traceback (most recent call last):
    lobework.testing.compare.Broken: worst error 0.25 mm at spindle 90 deg (sample 1): 2 instead of 2.25
    """
    found = worst(got, expected, at)
    if not found.error <= within:
        raise Broken(f"{what}: {found.as_text(along, unit)}" if what else found.as_text(along, unit))
