"""Where a follower's nose touches a waved cam, converged: the plain path, one array operation at a time."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Shapes", "Touch", "reach", "reach_slope", "tilt", "touch", "window_of"]

_ROUNDS: Final = 120
_CHANCES: Final = 8
_LEVEL: Final = 1e-13
_SPARE: Final = 1e-3
_AT_ONCE: Final = 2**17
_RIM: Final = 1 + 1e-12
"""A point at the very rim is within the nose, whatever rounding says."""
_BESIDE: Final = 1e-8
"""How far beside the touching point the nose's slope is looked at, of its width."""


class Shapes(NamedTuple):
    """The shapes that touch, as functions of arrays.

    ``rise`` and ``slope`` of the cam by its angle; ``nose`` and ``nose_slope`` of the follower by the distance
    across; ``base`` is the base radius of an edge cam or the track radius of a face cam (``face``); ``window``
    is how far to either side the follower can touch, from `window_of`; the cam's shape
    repeats every ``pitch`` rad, and ``close`` (k,) rad are angles in its first lobe that even trials could miss.
    ``shaped`` says that the nose may have corners of its own.
    """

    rise: Callable[[Array], Array]
    slope: Callable[[Array], Array]
    nose: Callable[[Array], Array]
    nose_slope: Callable[[Array], Array]
    half_width: float
    base: float
    face: bool
    window: float
    pitch: float
    close: Array
    shaped: bool = False


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
    support: Array = np.where(np.abs(across) <= shapes.half_width * _RIM, along + shapes.nose(across), -np.inf)
    return support


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
        turning: Array = -shapes.base * _nose_slope(shapes, shapes.base * (psi - phi), -shapes.slope(psi) / shapes.base)
        return turning
    radius, sine, cosine = shapes.base + shapes.rise(psi), np.sin(psi - phi), np.cos(psi - phi)
    slope = shapes.slope(psi)
    along = (radius * sine - slope * cosine) / (radius * cosine + slope * sine)
    turning = radius * (sine - _nose_slope(shapes, radius * sine, along) * cosine)
    return turning


def _nose_slope(shapes: Shapes, across: Array, along: Array) -> Array:
    """Return the nose's slope where it touches; at a corner of the nose that of the cam's edge, ``along``, on which it stands."""
    slope = shapes.nose_slope(across)
    if not shapes.shaped:
        return slope
    aside = _BESIDE * min(shapes.half_width, shapes.base)
    before, after = shapes.nose_slope(across - aside), shapes.nose_slope(across + aside)
    on_corner = (np.minimum(before, after) <= along) & (along <= np.maximum(before, after))
    return np.where(on_corner, along, slope)


def touch(shapes: Shapes, phi: Array) -> Touch:
    """Return the contact at (n,) rad ``phi``.

    Every local maximum of `reach` that could be the greatest, and every one at the rim of the follower, is refined
    until its bracket closes, so that the answer does not depend on the sampling.
    """
    if shapes.half_width == 0.0:
        out = 0.0 if shapes.face else shapes.base
        return Touch(out + shapes.rise(phi) + shapes.nose(np.zeros_like(phi)), shapes.slope(phi), phi.copy())
    aside = math.ceil(shapes.window / min(shapes.window / 24, shapes.pitch / 128))
    lobes = math.ceil(shapes.window / shapes.pitch) + 1
    most = max(_AT_ONCE // (2 * aside + (2 * lobes + 1) * shapes.close.size + 1), 1)
    parts = [_touched(shapes, phi[first : first + most], aside, lobes) for first in range(0, phi.size, most)]
    return Touch(*(np.concatenate(column) for column in zip(*parts, strict=True))) if parts else Touch(phi, phi, phi)


def _trials(shapes: Shapes, phi: Array, aside: int, lobes: int) -> Array:
    """Return (n, m) rad, ascending: angles on the cam to try at each ``phi``, evenly and in every short piece of the cam."""
    even = phi[:, None] + shapes.window / aside * np.arange(-aside, aside + 1)
    if not shapes.close.size:
        return even
    turned = shapes.pitch * (np.floor(phi / shapes.pitch)[:, None] + np.arange(-lobes, lobes + 1))
    close = (turned[:, :, None] + shapes.close).reshape(phi.size, -1)
    return np.sort(np.concatenate([even, close], axis=1), axis=1)


def _touched(shapes: Shapes, phi: Array, aside: int, lobes: int) -> Touch:
    """Return the contact at (n,) rad ``phi`` from ``aside`` even trial points to either side, and of the lobes within reach."""
    psi = _trials(shapes, phi, aside, lobes)
    support = reach(shapes, psi, phi[:, None])
    if shapes.close.size:
        support[np.abs(psi - phi[:, None]) > shapes.window * (1 + 1e-12)] = -np.inf
    inner = support[:, 1:-1]
    peaks = (inner >= support[:, :-2]) & (inner >= support[:, 2:]) & np.isfinite(inner)
    rows, columns = np.nonzero(peaks)
    low, here, high = (psi[rows, columns + k] for k in range(3))
    with np.errstate(invalid="ignore", divide="ignore"):
        up = (support[rows, columns + 1] - support[rows, columns]) / (here - low)
        down = (support[rows, columns + 1] - support[rows, columns + 2]) / (high - here)
        curved = 2 * (up + down) / (high - low)
        ahead = (up * (high - here) - down * (here - low)) / ((high - low) * curved)
        bend = curved * np.maximum(here - low, high - here) ** 2
    rims = ~np.isfinite(bend)
    most = np.zeros(phi.size)
    np.maximum.at(most, rows[~rims], bend[~rims])
    likely = rims | (support[rows, columns + 1] >= (support.max(axis=1) - 2 * most)[rows])
    rows, low, here, high, ahead, curved = (each[likely] for each in (rows, low, here, high, ahead, curved))
    inside = (here + ahead > low) & (here + ahead < high)
    found = _climb(shapes, phi[rows], low, np.where(inside, here + ahead, here), high, curved)
    height = reach(shapes, found, phi[rows])
    order = np.lexsort((height, rows))
    last = np.append(rows[order][1:] != rows[order][:-1], True)
    best = found[order][last]
    return Touch(height[order][last], reach_slope(shapes, best, phi), best)


def window_of(half_width: float, round_radius: float | None, base: float, top: float, face: bool) -> float:
    """Return how far round the cam, to either side, a follower can touch, rad.

    No follower reaches less far out than the base alone would hold it, and no point of the cam stands further out
    than ``top``: that bounds the angle between them, for a round follower and for a flat one, by the cosine rule.
    """
    if face:
        wave = top - base
        if round_radius is not None and wave < round_radius:
            return math.sqrt(2 * round_radius * wave - wave**2) / base + _SPARE
        return half_width / base + _SPARE
    if math.isinf(half_width):
        return math.acos(base / top) + _SPARE
    if round_radius is None:
        return math.asin(half_width / base) if half_width < base else math.pi / 2
    out = base + round_radius
    if top**2 >= out**2 - round_radius**2:
        return math.asin(round_radius / out) + _SPARE
    return math.acos(min((top**2 + out**2 - round_radius**2) / (2 * top * out), 1.0)) + _SPARE


def _climb(shapes: Shapes, phi: Array, low: Array, start: Array, high: Array, bend: Array) -> Array:
    """Return where `reach` is greatest from ``low`` to ``high``: where its slope changes sign, smooth or not.

    Secants from ``start``, the first with the curvature ``bend``; halves where they leave the bracket, and by turns
    once they have had their chance.
    """
    low, high, found = low.copy(), high.copy(), start.copy()
    before, tilt_before = start.copy(), np.zeros_like(start)
    active = np.arange(phi.size)
    for attempt in range(_ROUNDS):
        tried = found[active]
        leaning = tilt(shapes, tried, phi[active], shapes.slope(tried))
        rising = leaning > 0
        low[active], high[active] = np.where(rising, tried, low[active]), np.where(rising, high[active], tried)
        with np.errstate(divide="ignore", invalid="ignore"):
            if attempt == 0:
                wanted = tried + leaning / bend
            else:
                wanted = tried - leaning * (tried - before[active]) / (leaning - tilt_before[active])
        before[active], tilt_before[active] = tried, leaning
        halve = ~((wanted > low[active]) & (wanted < high[active])) | (attempt > _CHANCES and attempt % 2 == 1)
        wanted = np.where(halve, 0.5 * (low[active] + high[active]), wanted)
        open_still = (np.abs(leaning) > _LEVEL * shapes.base) & (high[active] - low[active] > 4e-16 * (1 + np.abs(tried)))
        open_still &= wanted != tried
        found[active[open_still]] = wanted[open_still]
        active = active[open_still]
        if not active.size:
            break
    return found
