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

__all__ = ["bear"]


@njit(cache=True, error_model="numpy", inline="always")
def _edge(
    psi: float, period: float, starts: Array, widths: Array, counts: Whole, first: Whole, cells: Array
) -> tuple[float, float]:
    """Return the cam's rise and slope at one angle, from its cubic cells."""
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
def _held(
    psi: float, phi: float, rise: float, slope: float, base: float, radius: float, face: bool
) -> tuple[float, float, float]:
    """Return how far out one point of the cam holds the follower, and the slopes of that by ``psi`` and by ``phi``."""
    if face:
        across, along, across_slope, along_slope = base * (psi - phi), rise, base, slope
        out = base
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


@njit(cache=True, error_model="numpy")
def _climbed(
    phi: float,
    start: float,
    step: float,
    ahead: float,
    bend: float,
    base: float,
    radius: float,
    face: bool,
    period: float,
    starts: Array,
    widths: Array,
    counts: Whole,
    first: Whole,
    cells: Array,
) -> tuple[float, float, float]:
    """Return the greatest hold within ``step`` of ``start``, its slope by ``phi``, and where on the cam it is.

    Secants, from the vertex of the parabola through the trial points (``ahead`` steps on, with its ``bend``); halves
    where they leave the bracket.
    """
    low, high = start - step, start + step
    tried, before, tilt_before = start + ahead * step, start, 0.0
    height, turning = 0.0, 0.0
    for attempt in range(100):
        rise, lean = _edge(tried, period, starts, widths, counts, first, cells)
        height, tilt, turning = _held(tried, phi, rise, lean, base, radius, face)
        if tilt > 0:
            low = tried
        else:
            high = tried
        if abs(tilt) <= 1e-9 * base or high - low < 1e-15 * (1 + abs(tried)):
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
def _hold(px: Array, py: Array, cosine: float, sine: float, square: float, flat: bool, held: Array) -> None:
    """Fill how far out each trial point holds the follower, from the second place on; nothing out of its width."""
    inner = held[1 : px.size + 1]
    if flat:
        for k in range(px.size):
            inner[k] = px[k] * cosine + py[k] * sine
        return
    for k in range(px.size):
        across = py[k] * cosine - px[k] * sine
        left = square - across * across
        reached = px[k] * cosine + py[k] * sine + math.sqrt(max(left, 0.0))
        inner[k] = reached if left >= 0 else -1e300


@njit(cache=True, error_model="numpy", nogil=True)
def bear(
    phi: Array,
    base: float,
    radius: float,
    face: bool,
    window: float,
    around: int,
    period: float,
    starts: Array,
    widths: Array,
    counts: Whole,
    first: Whole,
    cells: Array,
    reach: Array,
    slope: Array,
    psi: Array,
) -> None:
    """Fill ``reach``, ``slope`` and ``psi``, (n,) each, for the directions ``phi``.

    Parameters
    ----------
    phi : (n,) float64, rad
        Follower's directions in the cam's frame.
    base : float, mm
        Base radius, or the radius of a face cam's track.
    radius : float, mm
        Of a round follower, zero for a knife; negative for a flat.
    face : bool
        Whether the wave is on the face.
    window : float, rad
        How far to either side the follower can touch.
    around : int
        Trial points in one turn.
    period : float, rad
        Of the cam's rise, as `lobework.curve.Curve` keeps it.
    starts, widths : (k,) float64, rad
        Of its arcs.
    counts, first : (k,) int64
        Of its cells.
    cells : (c, 4) float64, mm
        Its cubics.
    reach, slope, psi : (n,) float64
        Filled as `lobework.kernels.contact.Touch`.
    """
    step = 2 * math.pi / around
    wide = int(math.ceil(window / step)) + 1
    span = 2 * wide + 1
    px, py = np.zeros(around + span), np.zeros(around + span)
    for k in range(around + span):
        angle = (k - wide) * step
        rise, _ = _edge(angle, period, starts, widths, counts, first, cells)
        px[k] = rise if face else (base + rise) * math.cos(angle)
        py[k] = base * angle if face else (base + rise) * math.sin(angle)
    square = radius * radius if radius > 0 else 0.0
    limit = square if radius >= 0 else math.inf
    held = np.zeros(span + 2)
    held[0] = held[span + 1] = -1e300
    for i in range(phi.size):
        turned = phi[i] - 2 * math.pi * math.floor(phi[i] / (2 * math.pi))
        if radius == 0.0:
            rise, lean = _edge(turned, period, starts, widths, counts, first, cells)
            reach[i], slope[i], psi[i] = (0.0 if face else base) + rise, lean, phi[i]
            continue
        from_trial = int(turned / step + 0.5) % around
        if face:
            shift = base * (turned if turned < 2 * math.pi - 0.5 * step else turned - 2 * math.pi)
            for k in range(span):
                across = py[from_trial + k] - shift
                left = limit - across * across
                reached = px[from_trial + k] + math.sqrt(max(left, 0.0))
                held[k + 1] = reached if left >= 0 else -1e300
        else:
            cosine, sine = math.cos(turned), math.sin(turned)
            _hold(px[from_trial : from_trial + span], py[from_trial : from_trial + span], cosine, sine, square, radius < 0, held)
        best, second = 0, 0
        for k in range(1, span + 1):
            if held[k] > held[k - 1] and held[k] >= held[k + 1] and held[k] > -1e299:
                if best == 0 or held[k] > held[best]:
                    best, second = k, best
                elif second == 0 or held[k] > held[second]:
                    second = k
        bend = 2 * held[best] - held[best - 1] - held[best + 1]
        at = phi[i] - turned + (from_trial + best - 1 - wide) * step
        if turned >= 2 * math.pi - 0.5 * step:
            at += 2 * math.pi
        ahead = _vertex(held[best - 1], held[best + 1], bend)
        reach[i], slope[i], psi[i] = _climbed(
            phi[i], at, step, ahead, bend / step**2, base, radius, face, period, starts, widths, counts, first, cells
        )
        if second > 0:
            other = 2 * held[second] - held[second - 1] - held[second + 1]
            if held[second] >= held[best] - 2 * max(bend, other):
                found, turning, place = _climbed(
                    phi[i],
                    at + (second - best) * step,
                    step,
                    _vertex(held[second - 1], held[second + 1], other),
                    other / step**2,
                    base,
                    radius,
                    face,
                    period,
                    starts,
                    widths,
                    counts,
                    first,
                    cells,
                )
                if found > reach[i]:
                    reach[i], slope[i], psi[i] = found, turning, place
