"""Curves in a plane through the axis, parametrised by arc length: a smooth spline, or a polyline, through given points."""

from __future__ import annotations

import math
from functools import cache, cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.rigid import Array

__all__ = ["Chain", "Meridian"]

_SPANS: Final = 32
"""Number of intervals into which the curve between two points is divided to find the smallest radius of curvature."""
_LENGTH_SHARE: Final = 1e-14
"""Accuracy of lengths along the curve, as a fraction of the total chord length."""
_LAST_STEP: Final = 1e-9
"""Step, as a fraction of the total chord length, at which Newton's method stops; the next step would be far smaller, because the
method converges quadratically."""
_MOST_STEPS: Final = 64
_TINY: Final = 1e-300


class Meridian:
    """The natural cubic spline through (radius, z) points, with the cumulative chord length as its parameter.

    Parameters
    ----------
    points : (k, 2) float64, mm
        Radius and z of two or more points; adjacent points must differ.

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
        self._second = _second_derivatives(self._knots, self.points)

    def _spline(self, t: Array, order: int) -> Array:
        """Return the spline (order 0) or its first derivative (order 1), (n, 2), at the chord lengths ``t``, (n,)."""
        return self._in_piece(np.clip(np.searchsorted(self._knots, t, side="right") - 1, 0, self._knots.size - 2), t, order)

    def _in_piece(self, k: NDArray[np.int64], t: Array, order: int) -> Array:
        """Return the result of `_spline` if the number ``k`` of the spline piece is known for each parameter ``t``."""
        width = np.diff(self._knots)[k][:, None]
        b = (t[:, None] - self._knots[k][:, None]) / width
        a: Array = 1 - b
        p0, p1, m0, m1 = self.points[k], self.points[k + 1], self._second[k], self._second[k + 1]
        if order == 0:
            place: Array = a * p0 + b * p1 + ((a**3 - a) * m0 + (b**3 - b) * m1) * width**2 / 6
            return place
        tangent: Array = (p1 - p0) / width + ((1 - 3 * a**2) * m0 + (3 * b**2 - 1) * m1) * width / 6
        return tangent

    @cached_property
    def _table(self) -> tuple[Array, Array]:
        """Chord lengths, and the arc length up to each.

        The chord lengths are more closely spaced where the curvature is large.
        """
        start, end = self._knots[:-1], self._knots[1:]
        within = _LENGTH_SHARE * self._knots[-1]
        begins, arc_lengths = [np.zeros(0)], [np.zeros(0)]
        while start.size:
            middle = 0.5 * (start + end)
            arc_length, halves = self._arc_length(start, end), self._arc_length(start, middle) + self._arc_length(middle, end)
            split = ~(np.abs(arc_length - halves) <= within) & (start < middle) & (middle < end)
            begins.append(start[~split])
            arc_lengths.append(halves[~split])
            start, middle, end = start[split], middle[split], end[split]
            start, end = np.concatenate([start, middle]), np.concatenate([middle, end])
        begin, arc_length = np.concatenate(begins), np.concatenate(arc_lengths)
        order = np.argsort(begin)
        return np.append(begin[order], self._knots[-1]), np.append(0.0, np.cumsum(arc_length[order]))

    def _arc_length(self, start: Array, end: Array) -> Array:
        """Return the arc lengths, (n,) mm, from the chord lengths ``start`` to the chord lengths ``end``."""
        nodes, weights = _gauss()
        middle, half = (end + start) / 2, (end - start) / 2
        speeds = np.hypot(*self._spline((middle[:, None] + half[:, None] * nodes).ravel(), 1).T).reshape(-1, nodes.size)
        arc_length: Array = half * (speeds * weights).sum(axis=1)
        return arc_length

    @property
    def length(self) -> float:
        """Arc length of the curve, mm."""
        return float(self._table[1][-1])

    @property
    def lengths(self) -> Array:
        """The arc length up to each point, (k,) mm."""
        lengths: Array = np.interp(self._knots, *self._table)
        return lengths

    def at(self, s: Array) -> Array:
        """Return position and normal, (n, 4), at the arc lengths ``s``.

        The columns are radius, z, and the radial and axial components of the left-hand unit normal.
        """
        t, lengths = self._table
        k = np.clip(np.searchsorted(lengths, s, side="right") - 1, 0, t.size - 2)
        low, high = t[k], t[k + 1]
        here = np.clip(low + (s - lengths[k]) / np.maximum(lengths[k + 1] - lengths[k], _TINY) * (high - low), low, high)
        for _ in range(_MOST_STEPS):
            short = s - lengths[k] - self._arc_length(t[k], here)
            low, high = np.where(short >= 0, here, low), np.where(short <= 0, here, high)
            speed = np.hypot(*self._spline(here, 1).T)
            following = here + short / np.maximum(speed, _TINY)
            following = np.where((low <= following) & (following <= high), following, 0.5 * (low + high))
            last, here = here, following
            if (np.abs(here - last) <= _LAST_STEP * t[-1]).all():
                break
        tangent = self._spline(here, 1)
        tangent /= np.hypot(*tangent.T)[:, None]
        return np.concatenate([self._spline(here, 0), -tangent[:, 1:], tangent[:, :1]], axis=1)

    def least_progress(self, column: int, sign: float) -> Array:
        """Return for each piece, (k-1,), the minimum of ``sign`` times the derivative of radius (column 0) or z (column 1)."""
        first, last = self._second[:-1, column], self._second[1:, column]
        change = np.where(first == last, 1.0, last - first)
        turn = np.where(first * last < 0, -first / change, 0.0)
        places = self._knots[:-1] + np.diff(self._knots) * np.stack([np.zeros_like(turn), turn, np.ones_like(turn)])
        span = np.broadcast_to(np.arange(turn.size), places.shape)
        slopes = self._in_piece(span.ravel(), places.ravel(), 1)[:, column].reshape(places.shape)
        least: Array = (sign * slopes).min(axis=0)
        return least

    def polyline(self, within: float) -> Array:
        """Return (m, 2) points on the curve.

        The polyline through these points deviates from the curve by at most ``within`` mm.
        """
        steps = max(2, math.ceil(self.length / math.sqrt(max(8 * within * self._smallest_radius, 1e-12))))
        return self.at(np.linspace(0.0, self.length, min(steps, 20_000) + 1))[:, :2]

    @cached_property
    def _smallest_radius(self) -> float:
        """Smallest radius of curvature of the curve, mm; a kilometre if the curve is nearly straight."""
        spans = np.linspace(self._knots[:-1], self._knots[1:], _SPANS + 1)
        parameters = np.union1d(spans, self._table[0])
        tangent = self._spline(parameters, 1)
        second_derivative = np.stack([np.interp(parameters, self._knots, column) for column in self._second.T], axis=-1)
        turning = np.abs(tangent[:, 0] * second_derivative[:, 1] - tangent[:, 1] * second_derivative[:, 0])
        return float((np.hypot(*tangent.T) ** 3 / np.maximum(turning, 1e-6)).min())


class Chain:
    """The polyline through (radius, z) points.

    Parameters
    ----------
    points : (k, 2) float64, mm
        Radius and z of two or more points; adjacent points must differ.

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
        """Length of the polyline, mm."""
        return float(self.lengths[-1])

    def at(self, s: Array) -> Array:
        """Return radius and z, (n, 2) mm, at arc lengths ``s``."""
        return np.stack([np.interp(s, self.lengths, column) for column in self.points.T], axis=-1)


@cache
def _gauss() -> tuple[Array, Array]:
    """Return the nodes and weights of the eight-point Gauss-Legendre rule on the interval from -1 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    return nodes, weights


def _second_derivatives(knots: Array, points: Array) -> Array:
    """Return the second derivatives of the natural spline at its knots, (k, 2), by solving the tridiagonal system."""
    widths = np.diff(knots)
    slope_changes = np.diff(np.diff(points, axis=0) / widths[:, None], axis=0)
    middle = (widths[:-1] + widths[1:]) / 3
    second_derivatives: Array = np.zeros_like(points)
    for k in range(1, len(slope_changes)):
        share = widths[k] / 6 / middle[k - 1]
        middle[k] -= share * widths[k] / 6
        slope_changes[k] -= share * slope_changes[k - 1]
    for k in range(len(slope_changes) - 1, -1, -1):
        second_derivatives[k + 1] = (slope_changes[k] - widths[k + 1] / 6 * second_derivatives[k + 2]) / middle[k]
    return second_derivatives
