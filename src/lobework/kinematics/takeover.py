"""Where one push takes over from another, of those of which the furthest holds: the roots of their difference, none missed."""

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

_AT_ONCE: Final = 65_536
_NARROWEST: Final = 2.0**-14
"""Of a stretch: an interval in which a cam drifts, and whose bounds are therefore only estimated, is not halved further."""
_ROUNDING_MM: Final = 1e-12
"""Two pushes that part by less at both ends of an interval are the same there, but for rounding."""
_CLOSED_IN: Final = 60
"""Halvings after which a root between two places is known to the last bit."""
_LOOKED_AT: Final = np.linspace(0.0, 1.0, 9)
_MARGIN: Final = 1.5
"""How much faster a cam that drifts may turn, or change its speed, than it does where it is looked at."""


def takeovers(pushes: Pushes, smooth: Array) -> Array:
    """Return the places of the pass at which another push takes over.

    A push that goes further than the others by less than `CONTACT_MM` may be left out.

    Parameters
    ----------
    pushes : Pushes
        Of which the furthest holds.
    smooth : (m,) float64
        Places of the pass, in order, between which every push is smooth.
    """
    low, high = smooth[:-1][np.diff(smooth) > 0], smooth[1:][np.diff(smooth) > 0]
    found = [np.zeros(0)]
    for first, second in combinations(pushes.each, 2):
        if first.curve is second.curve and first.scale == second.scale and _along_alike(first, second, smooth):
            continue
        for k in range(0, low.size, _AT_ONCE):
            found.append(_roots(first, second, low[k : k + _AT_ONCE], high[k : k + _AT_ONCE]))
    roots = np.concatenate(found)
    if len(pushes) == 2 or not roots.size:
        return roots
    each = np.array([push.at(roots) for push in pushes])
    holding = np.abs(each - pushes.together(list(each))) <= CONTACT_MM
    holder: Array = roots[holding.sum(axis=0) > 1]
    return holder


def _along_alike(first: Push, second: Push, smooth: Array) -> bool:
    """Return whether two pushes go along one curve together."""
    u = np.append(smooth, 0.5 * (smooth[:-1] + smooth[1:]))
    return bool(np.array_equal(first.along(u), second.along(u)))


class _Bent(NamedTuple):
    """One push in the middle of intervals, (n,) each: its slope and second derivative, by ``u``.

    ``bound`` is a bound of its second derivative all through the interval, ``change`` a bound of how far that departs from its
    value in the middle.
    """

    slope: Array
    second: Array
    bound: Array
    change: Array


class _Side:
    """A push, with bounds of its curve's derivatives arc by arc."""

    def __init__(self, push: Push) -> None:
        self.push, self.curve, self.even = push, push.curve, push.shaft.drift is None
        self.bounds = _bounds(push.curve)

    def speeds(self, low: Array, high: Array) -> tuple[Array, Array]:
        """Return how fast it goes along its curve in intervals, at most, and how fast that changes: rad for one of ``u``."""
        if self.even:
            return np.full_like(low, abs(self.push.rate)), np.zeros_like(low)
        step = (high - low) * (_LOOKED_AT[1] - _LOOKED_AT[0])
        u = low[:, None] + (high - low)[:, None] * _LOOKED_AT
        along = self.push.along(u.ravel()).reshape(u.shape)
        speed = np.abs(np.diff(along, axis=1)).max(axis=1) / step
        change = np.abs(np.diff(along, 2, axis=1)).max(axis=1) / step**2
        return _MARGIN * (speed + change * step), _MARGIN * change

    def bent(self, middle: Array, half: Array, speed: Array, change: Array) -> _Bent:
        """Return how it bends in intervals."""
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
        return _Bent(
            slope=push.scale * rate * per * (c1 + t * (2 * c2 + t * 3 * c3)),
            second=push.scale * (rate * per) ** 2 * (2 * c2 + 6 * t * c3),
            bound=size * (sharpest * speed**2 + steepest * change),
            change=size * speed**2 * (third * speed * half + jump * crossed) if self.even else np.full_like(middle, np.inf),
        )


def _bounds(curve: Curve) -> Array:
    """Return bounds in each of a curve's arcs, (4, k): of its slope, its second and third derivative, and the second's jumps."""
    per = np.repeat(curve.counts / curve.widths, curve.counts)
    _, c1, c2, c3 = curve.cells.T
    slope = (np.abs(c1) + 2 * np.abs(c2) + 3 * np.abs(c3)) * per
    begins, ends = 2 * c2 * per**2, (2 * c2 + 6 * c3) * per**2
    jump = np.append(np.abs(begins[1:] - ends[:-1]), 0.0)
    jump[curve.first + curve.counts - 1] = 0.0
    each = [slope, np.maximum(np.abs(begins), np.abs(ends)), np.abs(6 * c3) * per**3, jump]
    return np.array([np.maximum.reduceat(bound, curve.first) for bound in each])


def _roots(first: Push, second: Push, low: Array, high: Array) -> Array:
    """Return where two pushes go equally far, between (n,) places; halve intervals until each holds no root or just one.

    In an interval of half-width h, with the difference d and its slope s in the middle and a bound m of its second derivative,
    the difference stays within abs(s) h + m h**2 / 2 of d; and it only rises or only falls where abs(s) > m h.
    """
    found, (one, other) = [np.zeros(0)], (_Side(first), _Side(second))
    speeds = [*one.speeds(low, high), *other.speeds(low, high)]
    narrowest = 0.0 if one.even and other.even else (high - low).min(initial=np.inf) * _NARROWEST

    def further(u: Array) -> Array:
        difference: Array = first.at(u) - second.at(u)
        return difference

    while low.size:
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        a, b = one.bent(middle, half, *speeds[:2]), other.bent(middle, half, *speeds[2:])
        here, slope = further(middle), np.abs(a.slope - b.slope)
        bound = np.minimum(a.bound + b.bound, np.abs(a.second - b.second) + a.change + b.change)
        reach = slope * half + 0.5 * bound * half**2
        some = np.abs(here) <= reach
        split = some & (slope <= bound * half) & (np.abs(here) + reach > CONTACT_MM) & (half > narrowest)
        split &= (low < middle) & (middle < high)
        found.append(_closed_in(further, low[some & ~split], high[some & ~split]))
        speeds = [np.tile(each[split], 2) for each in speeds]
        low, high = np.concatenate([low[split], middle[split]]), np.concatenate([middle[split], high[split]])
    return np.concatenate(found)


def _closed_in(further: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Return a root in each of (n,) intervals at whose ends ``further`` has different signs; zero counts as above."""
    ends = further(low), further(high)
    above = ends[0] >= 0
    crossed = (above != (ends[1] >= 0)) & (np.maximum(*np.abs(ends)) > _ROUNDING_MM)
    low, high, above = low[crossed], high[crossed], above[crossed]
    for _ in range(_CLOSED_IN if low.size else 0):
        middle = 0.5 * (low + high)
        same = (further(middle) >= 0) == above
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return high
