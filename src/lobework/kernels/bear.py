"""The compiled contact: the same answer as `lobework.kernels.contact.touch`, for round and flat followers."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.rigid import Array

    Whole = NDArray[np.int64]
    Steady = NDArray[np.bool_]
    Edge = tuple[float, Array, Array, Whole, Whole, Array]
    Shape = tuple[float, float, bool]
    Trials = tuple[Array, Array, float, int]

__all__ = ["bear"]

_NOTHING = -1e300
_GRID = 64
_PROBE_RAD = 1e-6
_STEADY = 1.5


@njit(cache=True, error_model="numpy", inline="always")
def _edge(psi: float, edge: Edge) -> tuple[float, float]:
    """Return the cam's rise and slope at one angle, from its cubic cells."""
    period, starts, widths, counts, first, cells = edge
    inside = psi - starts[0]
    inside += starts[0] - period * math.floor(inside / period)
    arc = starts.size - 1
    while arc > 0 and starts[arc] > inside:
        arc -= 1
    per = counts[arc] / widths[arc]
    along = (inside - starts[arc]) * per
    cell = min(max(int(along), 0), counts[arc] - 1)
    t = along - cell
    c = cells[first[arc] + cell]
    return c[0] + t * (c[1] + t * (c[2] + t * c[3])), (c[1] + t * (2 * c[2] + t * 3 * c[3])) * per


@njit(cache=True, error_model="numpy", inline="always")
def _held(psi: float, phi: float, edge: Edge, shape: Shape) -> tuple[float, float, float]:
    """Return how far out one point of the cam holds the follower, and the slopes of that by ``psi`` and by ``phi``."""
    base, radius, face = shape
    rise, slope = _edge(psi, edge)
    if face:
        out, across, along, across_slope, along_slope = base, base * (psi - phi), rise, base, slope
    else:
        out = base + rise
        sine, cosine = math.sin(psi - phi), math.cos(psi - phi)
        across, along = out * sine, out * cosine
        across_slope, along_slope = slope * sine + out * cosine, slope * cosine - out * sine
    nose, nose_slope = 0.0, 0.0
    if radius >= 0.0:
        nose = math.sqrt(max(radius * radius - across * across, 0.0))
        nose_slope = -across / nose if nose > 0 else -math.copysign(math.inf, across)
    turning = -out * nose_slope if face else across - nose_slope * along
    return along + nose, along_slope + nose_slope * across_slope, turning


@njit(cache=True, error_model="numpy", inline="always")
def _vertex(before: float, after: float, bend: float) -> float:
    """Return where, in steps from the middle of three points, their parabola is highest; the middle where it has no top."""
    ahead = (after - before) / (2 * bend) if bend > 0 else 0.0
    return ahead if -1 < ahead < 1 else 0.0


@njit(cache=True, error_model="numpy", inline="always")
def _climbed(
    phi: float, start: float, step: float, ahead: float, bend: float, edge: Edge, shape: Shape
) -> tuple[float, float, float]:
    """Return the greatest hold within ``step`` of ``start``, its slope by ``phi``, and where on the cam it is.

    Secants, from ``ahead`` of the start, the first with the curvature ``bend``; halves where they leave the bracket.
    """
    low, high = start - step, start + step
    tried, before, tilt_before = start + ahead, start, 0.0
    height, turning = 0.0, 0.0
    for attempt in range(100):
        height, tilt, turning = _held(tried, phi, edge, shape)
        if tilt > 0:
            low = tried
        else:
            high = tried
        if abs(tilt) <= 1e-9 * shape[0] or high - low < 1e-15 * (1 + abs(tried)):
            break
        wanted = tried + tilt / bend if attempt == 0 else tried - tilt * (tried - before) / (tilt - tilt_before)
        before, tilt_before = tried, tilt
        if not low < wanted < high or attempt % 8 == 7:
            wanted = 0.5 * (low + high)
        if wanted == tried:
            break
        tried = wanted
    return height, turning, tried


@njit(cache=True, error_model="numpy")
def _hold(px: Array, py: Array, cosine: float, sine: float, shift: float, square: float, held: Array) -> None:
    """Fill how far out each trial point holds the follower, from the second place on; nothing out of its width."""
    inner = held[1 : px.size + 1]
    for k in range(px.size):
        across = py[k] * cosine - px[k] * sine - shift
        left = square - across * across
        reached = px[k] * cosine + py[k] * sine + math.sqrt(max(left, 0.0))
        inner[k] = reached if left >= 0 else _NOTHING


@njit(cache=True, error_model="numpy")
def _flat_hold(px: Array, py: Array, cosine: float, sine: float, held: Array) -> None:
    """Fill how far out each trial point holds a flat, from the second place on."""
    inner = held[1 : px.size + 1]
    for k in range(px.size):
        inner[k] = px[k] * cosine + py[k] * sine


@njit(cache=True, error_model="numpy")
def _sought(phi: float, trials: Trials, held: Array, edge: Edge, shape: Shape) -> tuple[float, float, float, float]:
    """Return the contact at ``phi`` (hold, slope by ``phi``, place on the cam) and its bend, by trying all around it."""
    px, py, step, wide = trials
    base, radius, face = shape
    span = 2 * wide + 1
    around = px.size - span
    turned = phi - 2 * math.pi * math.floor(phi / (2 * math.pi))
    over = turned >= 2 * math.pi - 0.5 * step
    from_trial = 0 if over else int(turned / step + 0.5) % around
    tx, ty = px[from_trial : from_trial + span], py[from_trial : from_trial + span]
    if radius < 0:
        _flat_hold(tx, ty, math.cos(turned), math.sin(turned), held)
    elif face:
        _hold(tx, ty, 1.0, 0.0, base * (turned - 2 * math.pi if over else turned), radius * radius, held)
    else:
        _hold(tx, ty, math.cos(turned), math.sin(turned), 0.0, radius * radius, held)
    best = 0
    for k in range(1, span + 1):
        if held[k] > held[best]:
            best = k
    from_here = phi - turned + (from_trial - 1 - wide) * step + (2 * math.pi if over else 0.0)
    widest = 2 * held[best] - held[best - 1] - held[best + 1]
    found, turning, place, bend = _NOTHING, 0.0, phi, widest
    for k in range(1, span + 1):
        if held[k] > 0.1 * _NOTHING and held[k] >= held[k - 1] and held[k] >= held[k + 1]:
            own = 2 * held[k] - held[k - 1] - held[k + 1]
            if held[k] >= held[best] - 2 * max(widest, own):
                ahead = step * _vertex(held[k - 1], held[k + 1], own)
                rival = _climbed(phi, from_here + k * step, step, ahead, own / step**2, edge, shape)
                if rival[0] > found:
                    found, turning, place = rival
                    bend = own
    return found, turning, place, bend / step**2


@njit(cache=True, error_model="numpy")
def _grid(
    trials: Trials,
    held: Array,
    edge: Edge,
    shape: Shape,
    places: Array,
    bends: Array,
    steady: Steady,
) -> None:
    """Fill the contact at evenly spread directions of one lobe, and whether it moves steadily from each to the next."""
    pitch, corners = edge[0], edge[1]
    for g in range(_GRID + 1):
        phi = g * pitch / _GRID
        _, _, places[g], _ = _sought(phi, trials, held, edge, shape)
        before = _held(places[g] - _PROBE_RAD, phi, edge, shape)[1]
        bends[g] = (before - _held(places[g] + _PROBE_RAD, phi, edge, shape)[1]) / (2 * _PROBE_RAD)
    for g in range(_GRID):
        moved = places[g + 1] - places[g]
        steady[g] = 0 <= moved <= _STEADY * pitch / _GRID and bends[g] > 0
        for corner in corners:
            beyond = corner - places[g] + 1e-6
            steady[g] &= beyond - pitch * math.floor(beyond / pitch) > moved + 2e-6


@njit(cache=True, error_model="numpy", inline="always")
def _start(g: int, t: float, places: Array, steady: Steady) -> float:
    """Return about where the contact is a part ``t`` of the way from one direction of the grid to the next."""
    moved = places[g + 1] - places[g]
    start: float = places[g] + t * moved
    if 0 < g < _GRID - 1 and steady[g - 1] and steady[g + 1]:
        before = places[g - 1] - places[g] + moved
        after = places[g + 2] - places[g + 1] - moved
        start -= t * (1 - t) / 6 * ((2 - t) * before + (1 + t) * after)
    return start


@njit(cache=True, error_model="numpy", nogil=True)
def bear(phi: Array, edge: Edge, shape: Shape, window: float, around: int, reach: Array, slope: Array, psi: Array) -> None:
    """Fill ``reach``, ``slope`` and ``psi``, (n,) each, for the directions ``phi``.

    Many directions are served from a grid of them over one lobe: where the contact moves steadily from one to the
    next, and over no corner, it is climbed to from between the two; elsewhere all around is tried again.

    Parameters
    ----------
    phi : (n,) float64, rad
        Follower's directions in the cam's frame.
    edge : tuple
        The cam's rise as `lobework.curve.Curve` keeps it: period, starts, widths, counts, first and cells.
    shape : (float, float, bool)
        Base radius, or the radius of a face cam's track, mm; radius of a round follower, mm, zero for a knife and
        negative for a flat; whether the wave is on the face.
    window : float, rad
        How far to either side the follower can touch.
    around : int
        Trial points in one turn.
    reach, slope, psi : (n,) float64
        Filled as `lobework.kernels.contact.Touch`.
    """
    base, radius, face = shape
    if radius == 0.0:
        for i in range(phi.size):
            rise, lean = _edge(phi[i], edge)
            reach[i], slope[i], psi[i] = (0.0 if face else base) + rise, lean, phi[i]
        return
    step = 2 * math.pi / around
    wide = int(math.ceil(window / step)) + 1
    px, py = np.zeros(around + 2 * wide + 1), np.zeros(around + 2 * wide + 1)
    for k in range(px.size):
        angle = (k - wide) * step
        rise, _ = _edge(angle, edge)
        px[k] = rise if face else (base + rise) * math.cos(angle)
        py[k] = base * angle if face else (base + rise) * math.sin(angle)
    trials = (px, py, step, wide)
    held = np.zeros(2 * wide + 3)
    held[0] = held[-1] = _NOTHING
    pitch = edge[0]
    places, bends = np.zeros(_GRID + 1), np.zeros(_GRID + 1)
    steady = np.zeros(_GRID, dtype=np.bool_)
    if phi.size > 2 * _GRID:
        _grid(trials, held, edge, shape, places, bends, steady)
    for i in range(phi.size):
        lobe = math.floor(phi[i] / pitch)
        along = (phi[i] / pitch - lobe) * _GRID
        g = min(int(along), _GRID - 1)
        if steady[g]:
            start = _start(g, along - g, places, steady) + lobe * pitch
            bend = bends[g] + (along - g) * (bends[g + 1] - bends[g])
            reach[i], slope[i], psi[i] = _climbed(phi[i], start, places[g + 1] - places[g] + 1e-9, 0.0, bend, edge, shape)
        else:
            reach[i], slope[i], psi[i], _ = _sought(phi[i], trials, held, edge, shape)
