"""Contact of a follower's nose with a waved cam, iterated to convergence: the plain implementation, by array operations."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Shapes", "Touch", "reach", "reach_slope_by_phi", "reach_slope_by_psi", "touch", "window_of"]

_ROUNDS: Final = 120
_FREE_STEPS: Final = 8
_LEVEL: Final = 1e-13
_WINDOW_MARGIN: Final = 1e-3
_TRIALS_PER_CHUNK: Final = 2**17
_RIM_FACTOR: Final = 1 + 1e-12
"""Factor on the half-width, so that rounding does not exclude a point at the rim of the nose."""
_SLOPE_OFFSET: Final = 1e-8
"""Distance from the contact at which the slope on either side is evaluated, relative to the smaller of half-width and base."""


class Shapes(NamedTuple):
    """The shapes of cam and follower, as functions of arrays.

    ``rise`` and ``slope`` of the cam are functions of the angle on the cam; ``nose`` and ``nose_slope`` of the follower are
    functions of the distance across the line of action. ``half_width`` is half the width of the nose. ``face`` is true for a
    face cam; ``base`` is the base radius of an edge cam or the track radius of a face cam. ``window`` is the greatest angle to
    either side at which the follower can touch the cam, from `window_of`. The cam's shape repeats every ``pitch`` rad;
    ``extra_trials`` (k,) rad are trial angles in those pieces of the first lobe that evenly spaced trial angles could miss.
    ``has_corners`` is true if the nose may have corners.
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
    extra_trials: Array
    has_corners: bool = False


class Touch(NamedTuple):
    """The contact of follower and cam, for each direction of the follower.

    ``reach`` (n,) mm is the distance from the cam's centre (face cam: from the base of its wave) to the follower's reference
    point; ``slope`` (n,) mm/rad is the derivative of the reach with respect to the direction; ``psi`` (n,) rad is the angle of
    the contact on the cam.
    """

    reach: Array
    slope: Array
    psi: Array


def reach(shapes: Shapes, psi: Array, phi: Array) -> Array:
    """Return the reach at which the point ``psi`` of the cam holds the follower at ``phi``; -inf outside the nose's width."""
    if shapes.face:
        across, along = shapes.base * (psi - phi), shapes.rise(psi)
    else:
        radius = shapes.base + shapes.rise(psi)
        across, along = radius * np.sin(psi - phi), radius * np.cos(psi - phi)
    support: Array = np.where(np.abs(across) <= shapes.half_width * _RIM_FACTOR, along + shapes.nose(across), -np.inf)
    return support


def reach_slope_by_psi(shapes: Shapes, psi: Array, phi: Array, edge_slope: Array) -> Array:
    """Return the derivative of `reach` with respect to ``psi``, given the cam's slope ``edge_slope`` at ``psi``."""
    with np.errstate(invalid="ignore"):
        if shapes.face:
            nose_slope = shapes.nose_slope(shapes.base * (psi - phi))
            slope: Array = edge_slope + shapes.base * nose_slope
        else:
            radius, sine, cosine = shapes.base + shapes.rise(psi), np.sin(psi - phi), np.cos(psi - phi)
            nose_slope = shapes.nose_slope(radius * sine)
            slope = edge_slope * cosine - radius * sine + nose_slope * (edge_slope * sine + radius * cosine)
    return slope


def reach_slope_by_phi(shapes: Shapes, psi: Array, phi: Array) -> Array:
    """Return the derivative of the greatest reach with respect to ``phi``, at constant ``psi`` (envelope theorem)."""
    if shapes.face:
        turning: Array = -shapes.base * _nose_slope(shapes, shapes.base * (psi - phi), -shapes.slope(psi) / shapes.base)
        return turning
    radius, sine, cosine = shapes.base + shapes.rise(psi), np.sin(psi - phi), np.cos(psi - phi)
    slope = shapes.slope(psi)
    along = (radius * sine - slope * cosine) / (radius * cosine + slope * sine)
    turning = radius * (sine - _nose_slope(shapes, radius * sine, along) * cosine)
    return turning


def _nose_slope(shapes: Shapes, across: Array, along: Array) -> Array:
    """Return the nose's slope at the contact; at a corner of the nose, the slope ``along`` of a nose tangent to the edge."""
    slope = shapes.nose_slope(across)
    if not shapes.has_corners:
        return slope
    aside = _SLOPE_OFFSET * min(shapes.half_width, shapes.base)
    before, after = shapes.nose_slope(across - aside), shapes.nose_slope(across + aside)
    on_corner = (np.minimum(before, after) <= along) & (along <= np.maximum(before, after))
    return np.where(on_corner, along, slope)


def touch(shapes: Shapes, phi: Array) -> Touch:
    """Return the contact for the directions ``phi``, (n,) rad.

    Every local maximum of `reach` that could be the greatest, and every local maximum at the rim of the follower, is refined
    until its bracket closes, so that the result does not depend on the sampling.
    """
    if shapes.half_width == 0.0:
        out = 0.0 if shapes.face else shapes.base
        return Touch(out + shapes.rise(phi) + shapes.nose(np.zeros_like(phi)), shapes.slope(phi), phi.copy())
    aside = math.ceil(shapes.window / min(shapes.window / 24, shapes.pitch / 128))
    lobes = math.ceil(shapes.window / shapes.pitch) + 1
    per_chunk = max(_TRIALS_PER_CHUNK // (2 * aside + (2 * lobes + 1) * shapes.extra_trials.size + 1), 1)
    parts = [_contact_of_chunk(shapes, phi[first : first + per_chunk], aside, lobes) for first in range(0, phi.size, per_chunk)]
    return Touch(*(np.concatenate(column) for column in zip(*parts, strict=True))) if parts else Touch(phi, phi, phi)


def _trials(shapes: Shapes, phi: Array, aside: int, lobes: int) -> Array:
    """Return the trial angles on the cam for each ``phi``, (n, m) rad, ascending: evenly spaced angles, and the extra ones."""
    even = phi[:, None] + shapes.window / aside * np.arange(-aside, aside + 1)
    if not shapes.extra_trials.size:
        return even
    turned = shapes.pitch * (np.floor(phi / shapes.pitch)[:, None] + np.arange(-lobes, lobes + 1))
    extra = (turned[:, :, None] + shapes.extra_trials).reshape(phi.size, -1)
    return np.sort(np.concatenate([even, extra], axis=1), axis=1)


def _contact_of_chunk(shapes: Shapes, phi: Array, aside: int, lobes: int) -> Touch:
    """Return the contact for (n,) directions ``phi``, rad.

    On each side of a direction, the trial points are ``aside`` evenly spaced points and the extra points of ``lobes`` lobes.
    """
    psi = _trials(shapes, phi, aside, lobes)
    support = reach(shapes, psi, phi[:, None])
    if shapes.extra_trials.size:
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
    return Touch(height[order][last], reach_slope_by_phi(shapes, best, phi), best)


def window_of(half_width: float, round_radius: float | None, base: float, top: float, face: bool) -> float:
    """Return the greatest angle to either side at which a follower can touch the cam, rad.

    The follower's reach is not less than its reach on the base alone; ``top`` is an upper bound of the base plus the rise. From
    these bounds, the law of cosines bounds the angle between the contact and the direction of a round or a flat follower.
    """
    if face:
        wave = top - base
        if round_radius is not None and wave < round_radius:
            return math.sqrt(2 * round_radius * wave - wave**2) / base + _WINDOW_MARGIN
        return half_width / base + _WINDOW_MARGIN
    if math.isinf(half_width):
        return math.acos(base / top) + _WINDOW_MARGIN
    if round_radius is None:
        return math.asin(half_width / base) if half_width < base else math.pi / 2
    out = base + round_radius
    if top**2 >= out**2 - round_radius**2:
        return math.asin(round_radius / out) + _WINDOW_MARGIN
    return math.acos(min((top**2 + out**2 - round_radius**2) / (2 * top * out), 1.0)) + _WINDOW_MARGIN


def _climb(shapes: Shapes, phi: Array, low: Array, start: Array, high: Array, bend: Array) -> Array:
    """Return the angle between ``low`` and ``high`` at which `reach` is greatest; the slope of `reach` may jump at this angle.

    Secant method from ``start``; the first step uses the curvature ``bend``. A step that would leave the bracket is replaced by a
    bisection; after `_FREE_STEPS` steps, so is every second step.
    """
    low, high, found = low.copy(), high.copy(), start.copy()
    before, slope_before = start.copy(), np.zeros_like(start)
    active = np.arange(phi.size)
    for attempt in range(_ROUNDS):
        tried = found[active]
        slope = reach_slope_by_psi(shapes, tried, phi[active], shapes.slope(tried))
        rising = slope > 0
        low[active], high[active] = np.where(rising, tried, low[active]), np.where(rising, high[active], tried)
        with np.errstate(divide="ignore", invalid="ignore"):
            if attempt == 0:
                wanted = tried + slope / bend
            else:
                wanted = tried - slope * (tried - before[active]) / (slope - slope_before[active])
        before[active], slope_before[active] = tried, slope
        halve = ~((wanted > low[active]) & (wanted < high[active])) | (attempt > _FREE_STEPS and attempt % 2 == 1)
        wanted = np.where(halve, 0.5 * (low[active] + high[active]), wanted)
        open_still = (np.abs(slope) > _LEVEL * shapes.base) & (high[active] - low[active] > 4e-16 * (1 + np.abs(tried)))
        open_still &= wanted != tried
        found[active[open_still]] = wanted[open_still]
        active = active[open_still]
        if not active.size:
            break
    return found
