"""Where a follower's nose touches a waved cam, converged: the plain path, one array operation at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from lobework.rigid import Array

__all__ = ["Shapes", "Touch", "reach", "reach_slope", "tilt", "touch"]

_ROUNDS: Final = 80


class Shapes(NamedTuple):
    """The shapes that touch, as functions of arrays.

    ``rise`` and ``slope`` of the cam by its angle; ``nose`` and ``nose_slope`` of the follower by the distance
    across; ``base`` is the base radius of an edge cam or the track radius of a face cam (``face``).
    """

    rise: Callable[[Array], Array]
    slope: Callable[[Array], Array]
    nose: Callable[[Array], Array]
    nose_slope: Callable[[Array], Array]
    half_width: float
    base: float
    face: bool


class Touch(NamedTuple):
    """Contact at each angle asked for.

    ``reach`` (n,) mm, from the cam's centre (face cam: from its base) to the follower's counting point;
    ``slope`` (n,) mm/rad, by the angle asked for; ``psi`` (n,) rad, the angle on the cam that is touched.
    """

    reach: Array
    slope: Array
    psi: Array


def reach(shapes: Shapes, psi: Array, phi: Array) -> Array:
    """Return how far out the follower would be held at ``phi`` by the point ``psi`` alone; -inf out of its width."""
    if shapes.face:
        across, along = shapes.base * (psi - phi), shapes.rise(psi)
    else:
        radius = shapes.base + shapes.rise(psi)
        across, along = radius * np.sin(psi - phi), radius * np.cos(psi - phi)
    held: Array = np.where(np.abs(across) <= shapes.half_width, along + shapes.nose(across), -np.inf)
    return held


def tilt(shapes: Shapes, psi: Array, phi: Array, edge_slope: Array) -> Array:
    """Return the slope of `reach` by ``psi``, the cam's own slope there given."""
    with np.errstate(invalid="ignore"):
        if shapes.face:
            nose_slope = shapes.nose_slope(shapes.base * (psi - phi))
            leaning: Array = edge_slope + shapes.base * nose_slope
        else:
            radius, sine, cosine = shapes.base + shapes.rise(psi), np.sin(psi - phi), np.cos(psi - phi)
            nose_slope = shapes.nose_slope(radius * sine)
            leaning = edge_slope * cosine - radius * sine + nose_slope * (edge_slope * sine + radius * cosine)
    return leaning


def reach_slope(shapes: Shapes, psi: Array, phi: Array) -> Array:
    """Return the slope of the greatest reach by ``phi``: the touching point held still (envelope theorem)."""
    if shapes.face:
        turning: Array = -shapes.base * shapes.nose_slope(shapes.base * (psi - phi))
        return turning
    radius, sine, cosine = shapes.base + shapes.rise(psi), np.sin(psi - phi), np.cos(psi - phi)
    turning = radius * (sine - shapes.nose_slope(radius * sine) * cosine)
    return turning


def touch(shapes: Shapes, phi: Array, pitch: float) -> Touch:
    """Return the contact at (n,) rad ``phi``; the cam's shape repeats every ``pitch`` rad.

    Every local maximum of `reach` that could be the greatest is refined until its bracket closes, so that the
    answer does not depend on the sampling.
    """
    if shapes.half_width == 0.0:
        out = 0.0 if shapes.face else shapes.base
        return Touch(out + shapes.rise(phi) + shapes.nose(np.zeros_like(phi)), shapes.slope(phi), phi.copy())
    window = _window(shapes)
    count = int(np.ceil(window / min(window / 24, pitch / 128)))
    step = window / count
    away = step * np.arange(-count, count + 1)
    psi = phi[:, None] + away
    held = reach(shapes, psi, phi[:, None])
    inner = held[:, 1:-1]
    peaks = (inner >= held[:, :-2]) & (inner >= held[:, 2:]) & np.isfinite(inner)
    with np.errstate(invalid="ignore"):
        bend = np.abs(held[:, :-2] - 2 * inner + held[:, 2:])
    bend = np.where(np.isfinite(bend) & peaks, bend, 0.0).max(axis=1, initial=0.0)
    rows, columns = np.nonzero(peaks & (inner >= (held.max(axis=1) - 2 * bend)[:, None]))
    found = _climb(shapes, phi[rows], psi[rows, columns], psi[rows, columns + 2])
    height = reach(shapes, found, phi[rows])
    order = np.lexsort((height, rows))
    last = np.append(rows[order][1:] != rows[order][:-1], True)
    best = found[order][last]
    return Touch(height[order][last], reach_slope(shapes, best, phi), best)


def _window(shapes: Shapes) -> float:
    """Return how far round the cam, to either side, the follower can touch, rad."""
    if shapes.face:
        return shapes.half_width / shapes.base
    return float(np.arcsin(shapes.half_width / shapes.base)) if shapes.half_width < shapes.base else np.pi / 2


def _climb(shapes: Shapes, phi: Array, low: Array, high: Array) -> Array:
    """Return the maximum of `reach` between ``low`` and ``high``: where its slope changes sign, smooth or not."""
    low, high = low.copy(), high.copy()
    at_low = tilt(shapes, low, phi, shapes.slope(low))
    at_high = tilt(shapes, high, phi, shapes.slope(high))
    active = np.arange(phi.size)
    for attempt in range(_ROUNDS):
        a, b, fa, fb = low[active], high[active], at_low[active], at_high[active]
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (a * fb - b * fa) / (fb - fa)
        middle = 0.5 * (a + b)
        usable = np.isfinite(secant) & (secant > a) & (secant < b) & (attempt % 3 < 2)
        tried = np.where(usable, secant, middle)
        value = tilt(shapes, tried, phi[active], shapes.slope(tried))
        rising = value > 0
        same_end = rising == (np.abs(fa) < np.abs(fb))
        low[active], at_low[active] = np.where(rising, tried, a), np.where(rising, value, np.where(same_end, fa, fa / 2))
        high[active], at_high[active] = np.where(rising, b, tried), np.where(rising, np.where(same_end, fb, fb / 2), value)
        tight = high[active] - low[active] <= 4e-16 * (1 + np.abs(tried))
        low[active] = np.where(value == 0, tried, low[active])
        high[active] = np.where(value == 0, tried, high[active])
        active = active[~tight & (value != 0)]
        if not active.size:
            break
    middle = 0.5 * (low + high)
    return middle
