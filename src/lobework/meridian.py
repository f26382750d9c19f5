"""Curves through points in the plane of the axis, smooth as a turned profile or straight, measured along their own length."""

from __future__ import annotations

import math
from functools import cache, cached_property
from typing import Final

import numpy as np

from lobework.rigid import Array

__all__ = ["Chain", "Meridian"]

_SPANS: Final = 32


class Meridian:
    """The natural cubic spline through (radius, z) points over the length of their chords.

    Parameters
    ----------
    points : (k, 2) float64, mm
        Radius and z, two or more, no two neighbours the same.

    Notes
    -----
    Source: C. de Boor, *A Practical Guide to Splines*, ch. IV (natural end conditions) and ch. XVI (chord length).

    Examples
    --------
    >>> import numpy as np
    >>> straight = Meridian(np.array([[20.0, 0.0], [20.0, -30.0]]))
    >>> straight.length, straight.at(np.array([10.0])).round(9).tolist()
    (30.0, [[20.0, -10.0, 1.0, 0.0]])
    """

    def __init__(self, points: Array) -> None:
        self.points = np.array(points, dtype=np.float64)
        self._knots = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.points, axis=0).T))])
        self._bends = _second_derivatives(self._knots, self.points)

    def _along(self, t: Array, order: int) -> Array:
        """Return the spline (order 0) or its first derivative (order 1) at chord lengths ``t``: (n, 2)."""
        k = np.clip(np.searchsorted(self._knots, t, side="right") - 1, 0, self._knots.size - 2)
        width = np.diff(self._knots)[k][:, None]
        b = (t[:, None] - self._knots[k][:, None]) / width
        a: Array = 1 - b
        p0, p1, m0, m1 = self.points[k], self.points[k + 1], self._bends[k], self._bends[k + 1]
        if order == 0:
            place: Array = a * p0 + b * p1 + ((a**3 - a) * m0 + (b**3 - b) * m1) * width**2 / 6
            return place
        slope: Array = (p1 - p0) / width + ((1 - 3 * a**2) * m0 + (3 * b**2 - 1) * m1) * width / 6
        return slope

    @cached_property
    def _table(self) -> tuple[Array, Array]:
        """Chord lengths, and the curve's own length up to each."""
        t = np.unique(np.concatenate([np.linspace(a, b, _SPANS + 1) for a, b in zip(self._knots, self._knots[1:], strict=False)]))
        return t, np.concatenate([[0.0], np.cumsum(self._between(t[:-1], t[1:]))])

    def _between(self, start: Array, end: Array) -> Array:
        """Return how long the curve is from each chord length to another, mm: (n,)."""
        nodes, weights = _gauss()
        middle, half = (end + start) / 2, (end - start) / 2
        speeds = np.hypot(*self._along((middle[:, None] + half[:, None] * nodes).ravel(), 1).T).reshape(-1, nodes.size)
        long: Array = half * (speeds @ weights)
        return long

    @property
    def length(self) -> float:
        """Along the curve, mm."""
        return float(self._table[1][-1])

    @property
    def lengths(self) -> Array:
        """(k,) mm: how far along the curve each point stands."""
        lengths: Array = np.interp(self._knots, *self._table)
        return lengths

    def at(self, s: Array) -> Array:
        """Return (n, 4) at ``s`` mm along: radius, z, and the normal's parts along radius and z, to the left of the way on."""
        t, lengths = self._table
        here = np.interp(s, lengths, t)
        for _ in range(3):
            k = np.clip(np.searchsorted(t, here, side="right") - 1, 0, t.size - 2)
            covered = lengths[k] + self._between(t[k], here)
            here = np.clip(here + (s - covered) / np.hypot(*self._along(here, 1).T), 0.0, t[-1])
        slope = self._along(here, 1)
        slope /= np.hypot(*slope.T)[:, None]
        return np.concatenate([self._along(here, 0), -slope[:, 1:], slope[:, :1]], axis=1)

    def polyline(self, within: float) -> Array:
        """Return (m, 2) points of the curve, its bends no more than ``within`` mm from the lines between them."""
        steps = max(2, math.ceil(self.length / math.sqrt(max(8 * within * self._tightest, 1e-12))))
        return self.at(np.linspace(0.0, self.length, min(steps, 20_000) + 1))[:, :2]

    @cached_property
    def _tightest(self) -> float:
        """The least radius of curvature on the curve, mm; at the most a kilometre."""
        slope, bend = self._along(self._table[0], 1), np.zeros((self._table[0].size, 2))
        for axis in (0, 1):
            bend[:, axis] = np.interp(self._table[0], self._knots, self._bends[:, axis])
        turning = np.abs(slope[:, 0] * bend[:, 1] - slope[:, 1] * bend[:, 0])
        return float((np.hypot(*slope.T) ** 3 / np.maximum(turning, 1e-6)).min())


class Chain:
    """Straight lines from each (radius, z) point to the next.

    Parameters
    ----------
    points : (k, 2) float64, mm
        Radius and z, two or more, no two neighbours the same.

    Examples
    --------
    >>> import numpy as np
    >>> bent = Chain(np.array([[20.0, 0.0], [20.0, -30.0], [60.0, -60.0]]))
    >>> bent.lengths.tolist(), bent.at(np.array([55.0])).tolist()
    ([0.0, 30.0, 80.0], [[40.0, -45.0]])
    """

    def __init__(self, points: Array) -> None:
        self.points = np.array(points, dtype=np.float64)
        self.lengths: Array = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.points, axis=0).T))])

    @property
    def length(self) -> float:
        """From end to end along the lines, mm."""
        return float(self.lengths[-1])

    def at(self, s: Array) -> Array:
        """Return (n, 2) at ``s`` mm along: radius and z."""
        return np.stack([np.interp(s, self.lengths, column) for column in self.points.T], axis=-1)


@cache
def _gauss() -> tuple[Array, Array]:
    """Return where Gauss's rule of eight points looks from -1 to 1, and what each place weighs."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    return nodes, weights


def _second_derivatives(knots: Array, points: Array) -> Array:
    """Return the natural spline's second derivative at each knot: (k, 2), by elimination down the three diagonals."""
    widths = np.diff(knots)
    kinks = np.diff(np.diff(points, axis=0) / widths[:, None], axis=0)
    middle = (widths[:-1] + widths[1:]) / 3
    bends: Array = np.zeros_like(points)
    for k in range(1, len(kinks)):
        share = widths[k] / 6 / middle[k - 1]
        middle[k] -= share * widths[k] / 6
        kinks[k] -= share * kinks[k - 1]
    for k in range(len(kinks) - 1, -1, -1):
        bends[k + 1] = (kinks[k] - widths[k + 1] / 6 * bends[k + 2]) / middle[k]
    return bends
