"""Motion laws of cams: a rise from 0 to 1 while u runs from 0 to 1, and the first three derivatives of this rise.

Sources: modified sine and modified trapezoid from the piecewise forms published by Saltire Software
("Cam Functions"), with exact constants; the 3-4-5 law from the same source; the other laws are the textbook forms
(R. L. Norton, *Cam Design and Manufacturing Handbook*, from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["BREAKS", "LAWS", "law_at"]

PI: Final = np.pi


def _harmonic(u: Array, order: int) -> Array:
    wave: Array = PI**order * np.cos(PI * u + order * PI / 2) / -2
    return wave + 0.5 if order == 0 else wave


def _cycloidal(u: Array, order: int) -> Array:
    wave: Array = -((2 * PI) ** (order - 1)) * np.sin(2 * PI * u + order * PI / 2)
    return wave + (u if order == 0 else 1.0 if order == 1 else 0.0)


def _polynomial(*coefficients: float) -> Callable[[Array, int], Array]:
    """Return the polynomial law with ``coefficients``, the constant first."""
    powers = [np.polyder(coefficients[::-1], order) for order in range(4)]

    def at(u: Array, order: int) -> Array:
        return np.asarray(np.polyval(powers[order], u), dtype=np.float64)

    return at


def _mirrored(first_half: Callable[[Array, int], Array]) -> Callable[[Array, int], Array]:
    """Return the law whose second half is the first half rotated by 180 degrees: s(u) = 1 - s(1 - u)."""

    def at(u: Array, order: int) -> Array:
        late = u > 0.5
        half = first_half(np.where(late, 1 - u, u), order)
        turned = 1 - half if order == 0 else half if order % 2 else -half
        values: Array = np.where(late, turned, half)
        return values

    return at


def _modified_sine_half(u: Array, order: int) -> Array:
    line = PI / (4 + PI)
    slow, fast = 4 * PI / 3, 4 * PI
    end = -(fast**order) / (4 * (4 + PI)) * np.sin(fast * u + order * PI / 2)
    middle = -(slow**order) * 9 / (4 * (4 + PI)) * np.sin(slow * u + PI / 3 + order * PI / 2)
    offset = 2 / (4 + PI)
    straight = line * u if order == 0 else line if order == 1 else 0.0
    values: Array = np.where(u < 0.125, end, middle + (offset if order == 0 else 0.0)) + straight
    return values


def _modified_trapezoid_half(u: Array, order: int) -> Array:
    peak = 8 * PI / (2 + PI)
    fast = 4 * PI

    def ramp(shift: float) -> Array:
        wave: Array = -peak / fast**2 * fast**order * np.sin(fast * (u - shift) + order * PI / 2)
        return wave

    slope = peak / fast
    first = ramp(0.0) + (slope * u if order == 0 else slope if order == 1 else 0.0)
    v1 = slope
    s1 = peak * (1 / (8 * fast) - 1 / fast**2)
    t = u - 0.125
    flat = (s1 + v1 * t + peak * t**2 / 2, v1 + peak * t, np.full_like(u, peak), np.zeros_like(u))[order]
    v2, s2 = v1 + peak / 4, s1 + v1 / 4 + peak / 32
    t = u - 0.375
    fall = ramp(0.25) + (s2 + peak / fast**2 + v2 * t if order == 0 else v2 if order == 1 else 0.0)
    values: Array = np.select([u < 0.125, u < 0.375], [first, flat], fall)
    return values


LAWS: Final[dict[str, Callable[[Array, int], Array]]] = {
    "harmonic": _harmonic,
    "cycloidal": _cycloidal,
    "3-4-5": _polynomial(0, 0, 0, 10, -15, 6),
    "4-5-6-7": _polynomial(0, 0, 0, 0, 35, -84, 70, -20),
    "modified sine": _mirrored(_modified_sine_half),
    "modified trapezoid": _mirrored(_modified_trapezoid_half),
}

BREAKS: Final[dict[str, tuple[float, ...]]] = {
    "modified sine": (0.125, 0.875),
    "modified trapezoid": (0.125, 0.375, 0.625, 0.875),
}
"""Values of u at which the pieces of a law meet, without the ends 0 and 1."""


def law_at(name: str, u: Array, order: int = 0) -> Array:
    """Return the rise (if ``order`` is 0) or its first, second or third derivative, for (n,) values of u in [0, 1].

    >>> law_at("cycloidal", np.array([0.25, 0.5])).round(6)
    array([0.090845, 0.5     ])
    """
    return LAWS[name](np.asarray(u, dtype=np.float64), order)
