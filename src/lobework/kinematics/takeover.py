"""The values of ``u`` at which another push becomes the furthest of several: roots of the difference of each pair."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.geometry.rigid import Array
from lobework.quantities.tolerances import CONTACT_MM

if TYPE_CHECKING:
    from lobework.kinematics.cam_motion import Push, Pushes
    from lobework.kinematics.periodic_spline import Curve

__all__ = ["takeovers"]

_INTERVALS_PER_BATCH: Final = 65_536
_NARROWEST: Final = 2.0**-14
"""Shortest interval if a cam drifts, as a fraction of the shortest stretch: the bounds for such a cam are only estimates."""
_ROUNDING_MM: Final = 1e-12
"""If two pushes differ by less than this at both ends of an interval, they are equal in the interval, except for rounding."""
_BISECTIONS: Final = 60
"""Number of bisections after which a root is exact to the last bit."""
_SAMPLES: Final = np.linspace(0.0, 1.0, 9)
"""Fractions of an interval at which the angle of a cam that drifts is sampled."""
_MARGIN: Final = 1.5
"""Safety factor on the sampled speed of a cam that drifts, and on the sampled change of this speed."""


def takeovers(pushes: Pushes, smooth: Array) -> Array:
    """Return the values of ``u`` at which another push becomes the furthest.

    The takeover by a push that exceeds the others by less than `CONTACT_MM` may be missing.

    Parameters
    ----------
    pushes : Pushes
        The pushes; at each ``u``, only the push that displaces the headstock furthest takes effect.
    smooth : (m,) float64
        Values of ``u``, ascending, between which every push is smooth.
    """
    low, high = smooth[:-1][np.diff(smooth) > 0], smooth[1:][np.diff(smooth) > 0]
    found = [np.zeros(0)]
    for first, second in combinations(pushes.each, 2):
        if first.curve is second.curve and first.scale == second.scale and _equal_arguments(first, second, smooth):
            continue
        for k in range(0, low.size, _INTERVALS_PER_BATCH):
            found.append(_roots(first, second, low[k : k + _INTERVALS_PER_BATCH], high[k : k + _INTERVALS_PER_BATCH]))
    roots = np.concatenate(found)
    if len(pushes) == 2 or not roots.size:
        return roots
    each = np.array([push.at(roots) for push in pushes])
    furthest = np.abs(each - pushes.combine(list(each))) <= CONTACT_MM
    shared: Array = roots[furthest.sum(axis=0) > 1]
    return shared


def _equal_arguments(first: Push, second: Push, smooth: Array) -> bool:
    """Return whether the curves of two pushes have the same argument throughout the pass."""
    u = np.append(smooth, 0.5 * (smooth[:-1] + smooth[1:]))
    return bool(np.array_equal(first.along(u), second.along(u)))


class _Derivatives(NamedTuple):
    """First and second derivative of a push with respect to ``u`` at the middles of intervals, (n,) values each.

    ``bound`` is an upper bound of the second derivative in each interval; ``change`` is an upper bound of the difference between
    the second derivative in the interval and its value at the middle.
    """

    slope: Array
    second: Array
    bound: Array
    change: Array


class _BoundedPush:
    """A push with bounds of the derivatives of its curve, for each arc of the curve."""

    def __init__(self, push: Push) -> None:
        self.push, self.curve, self.even = push, push.curve, push.shaft.drift is None
        self.bounds = _arc_bounds(push.curve)

    def speeds(self, low: Array, high: Array) -> tuple[Array, Array]:
        """Return bounds of the first and second derivative of the curve's argument, rad, with respect to ``u``, by interval."""
        if self.even:
            return np.full_like(low, abs(self.push.rate)), np.zeros_like(low)
        step = (high - low) * (_SAMPLES[1] - _SAMPLES[0])
        u = low[:, None] + (high - low)[:, None] * _SAMPLES
        along = self.push.along(u.ravel()).reshape(u.shape)
        speed = np.abs(np.diff(along, axis=1)).max(axis=1) / step
        change = np.abs(np.diff(along, 2, axis=1)).max(axis=1) / step**2
        return _MARGIN * (speed + change * step), _MARGIN * change

    def derivatives(self, middle: Array, half: Array, speed: Array, change: Array) -> _Derivatives:
        """Return the derivatives of the push at the middles of intervals, and their bounds in the intervals."""
        push, curve = self.push, self.curve
        arc, place = curve.locate(push.along(middle))
        per = curve.counts[arc] / curve.widths[arc]
        cell = np.clip(place.astype(np.int64), 0, curve.counts[arc] - 1)
        _, c1, c2, c3 = curve.cells[curve.first[arc] + cell].T
        t = place - cell
        rate = np.full_like(middle, push.rate)
        if not self.even:
            rate = (push.along(middle + half / 2) - push.along(middle - half / 2)) / half
        steepest, sharpest, third, jump = self.bounds[:, arc]
        crossed = np.floor(2 * speed * half * per) + 1
        size = abs(push.scale)
        return _Derivatives(
            slope=push.scale * rate * per * (c1 + t * (2 * c2 + t * 3 * c3)),
            second=push.scale * (rate * per) ** 2 * (2 * c2 + 6 * t * c3),
            bound=size * (sharpest * speed**2 + steepest * change),
            change=size * speed**2 * (third * speed * half + jump * crossed) if self.even else np.full_like(middle, np.inf),
        )


def _arc_bounds(curve: Curve) -> Array:
    """Return bounds for each arc of a curve, (4, k): of the first three derivatives, and of the jumps of the second one."""
    per = np.repeat(curve.counts / curve.widths, curve.counts)
    _, c1, c2, c3 = curve.cells.T
    slope = (np.abs(c1) + 2 * np.abs(c2) + 3 * np.abs(c3)) * per
    begins, ends = 2 * c2 * per**2, (2 * c2 + 6 * c3) * per**2
    jump = np.append(np.abs(begins[1:] - ends[:-1]), 0.0)
    jump[curve.first + curve.counts - 1] = 0.0
    each = [slope, np.maximum(np.abs(begins), np.abs(ends)), np.abs(6 * c3) * per**3, jump]
    return np.array([np.maximum.reduceat(bound, curve.first) for bound in each])


def _roots(first: Push, second: Push, low: Array, high: Array) -> Array:
    """Return the values of ``u`` at which two pushes are equal; the (n,) intervals are halved until each has one root or none.

    Let h be half the width of an interval, d and s the difference of the pushes and its slope at the middle of the interval,
    and m an upper bound of the second derivative of the difference. In the interval, the difference varies from d by at most
    abs(s) h + m h**2 / 2; if abs(s) > m h, the difference is monotonic.
    """
    found, (one, other) = [np.zeros(0)], (_BoundedPush(first), _BoundedPush(second))
    speeds = [*one.speeds(low, high), *other.speeds(low, high)]
    narrowest = 0.0 if one.even and other.even else (high - low).min(initial=np.inf) * _NARROWEST

    def difference(u: Array) -> Array:
        found: Array = first.at(u) - second.at(u)
        return found

    while low.size:
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        a, b = one.derivatives(middle, half, *speeds[:2]), other.derivatives(middle, half, *speeds[2:])
        here, slope = difference(middle), np.abs(a.slope - b.slope)
        bound = np.minimum(a.bound + b.bound, np.abs(a.second - b.second) + a.change + b.change)
        reach = slope * half + 0.5 * bound * half**2
        some = np.abs(here) <= reach
        split = some & (slope <= bound * half) & (np.abs(here) + reach > CONTACT_MM) & (half > narrowest)
        split &= (low < middle) & (middle < high)
        found.append(_bisected(difference, low[some & ~split], high[some & ~split]))
        speeds = [np.tile(each[split], 2) for each in speeds]
        low, high = np.concatenate([low[split], middle[split]]), np.concatenate([middle[split], high[split]])
    return np.concatenate(found)


def _bisected(difference: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Return a root of ``difference`` in each of the (n,) intervals at whose ends the signs differ; zero counts as positive."""
    ends = difference(low), difference(high)
    above = ends[0] >= 0
    crossed = (above != (ends[1] >= 0)) & (np.maximum(*np.abs(ends)) > _ROUNDING_MM)
    low, high, above = low[crossed], high[crossed], above[crossed]
    for _ in range(_BISECTIONS if low.size else 0):
        middle = 0.5 * (low + high)
        same = (difference(middle) >= 0) == above
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return high
