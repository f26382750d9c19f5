"""The compiled contact: the same results as `lobework.kernels.cam.contact.touch`, for round and flat followers.

What the arrays hold:

* ``phi``, ``psi`` : (n,) float64, rad: directions of the follower, and angles of the contact on the cam.
* ``reach``, ``slope`` : (n,) float64, mm and mm/rad.
* ``support`` : (trials + 2,) float64, mm: reach at which each trial point holds the follower; first and last: end markers.
* ``places`` : (67,) float64, rad: angles of the contacts for 64 directions of one lobe, one direction before and two after.
* ``steady`` : (64,) bool: whether the contact moves steadily from each of the 64 directions to the next.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Int64s = NDArray[np.int64]
    Steady = NDArray[np.bool_]

__all__ = ["CamEdge", "Contact", "Follower", "contacts"]

_NOTHING = -1e300
_GRID = 64
_FASTEST = 4.0
_STEADY = 1.5
_GAIN_MM = 1e-10


class CamEdge(NamedTuple):
    """A cam's rise over one lobe as cubics, with the fields of `lobework.kinematics.periodic_spline.Curve`.

    Parameters
    ----------
    period : float, rad
        Angle of one lobe.
    starts, widths : (k,) float64, rad
        Starts and widths of the arcs between corners.
    counts, first : (k,) int64
        Number of cells of each arc, and index of the arc's first cell.
    cells : (c, 4) float64, mm
        Coefficients of each cell's cubic, the constant first; the variable of the cubic runs from 0 to 1.
    """

    period: float
    starts: Array
    widths: Array
    counts: Int64s
    first: Int64s
    cells: Array


class Follower(NamedTuple):
    """A follower, and the size of the cam.

    Parameters
    ----------
    base : float, mm
        Base radius of the cam, or the radius of a face cam's track.
    radius : float, mm
        Radius of a round follower; zero for a knife, negative for a flat follower.
    on_face : bool
        Whether the wave is on the cam's face.
    """

    base: float
    radius: float
    on_face: bool


class Contact(NamedTuple):
    """Contact of a follower with a cam.

    ``reach`` is in mm; ``slope``, mm/rad, is the derivative of the reach with respect to the follower's direction; ``place`` is
    the angle of the contact on the cam, rad.
    """

    reach: float
    slope: float
    place: float


class _Trials(NamedTuple):
    """Trial points on a cam: x and y, mm; the step between points, rad; the number of points on either side of a direction."""

    x: Array
    y: Array
    step: float
    wide: int


@kernel(inline="always")
def _edge(psi: float, edge: CamEdge) -> tuple[float, float, float]:
    """Return the cam's rise at the angle ``psi``, and the first and second derivatives of the rise, from the cubic cells."""
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
    rise = c[0] + t * (c[1] + t * (c[2] + t * c[3]))
    return rise, (c[1] + t * (2 * c[2] + t * 3 * c[3])) * per, (2 * c[2] + t * 6 * c[3]) * per * per


@kernel(inline="always")
def _reach_and_derivatives(psi: float, phi: float, edge: CamEdge, follower: Follower) -> tuple[float, float, float, float, float]:
    """Return the reach at which the point ``psi`` of the cam holds the follower, and derivatives of the reach.

    The derivatives are: the first and the second with respect to ``psi``, the first with respect to ``phi``, and the mixed
    second derivative.
    """
    base, radius, face = follower
    rise, slope, second = _edge(psi, edge)
    if face:
        across, across_slope, across_second = base * (psi - phi), base, 0.0
        along, along_slope, along_second = rise, slope, second
        turning, turning_slope, aside, aside_slope = 0.0, 0.0, -base, 0.0
    else:
        out = base + rise
        sine, cosine = math.sin(psi - phi), math.cos(psi - phi)
        across, along = out * sine, out * cosine
        across_slope, along_slope = slope * sine + along, slope * cosine - across
        across_second, along_second = (second - out) * sine + 2 * slope * cosine, (second - out) * cosine - 2 * slope * sine
        turning, turning_slope, aside, aside_slope = across, across_slope, -along, -along_slope
    if radius < 0.0:
        return along, along_slope, along_second, turning, turning_slope
    nose = math.sqrt(max(radius * radius - across * across, 0.0))
    nose_slope = -across / nose if nose > 0 else -math.copysign(math.inf, across)
    nose_second = -(1 + nose_slope * nose_slope) / nose
    return (
        along + nose,
        along_slope + nose_slope * across_slope,
        along_second + nose_second * across_slope * across_slope + nose_slope * across_second,
        turning + nose_slope * aside,
        turning_slope + nose_second * across_slope * aside + nose_slope * aside_slope,
    )


@kernel(inline="always")
def _vertex(before: float, after: float, second: float) -> float:
    """Return the position of the maximum of a parabola through points at -1, 0 and 1; 0 if it is not between -1 and 1."""
    ahead = (after - before) / (2 * second) if second > 0 else 0.0
    return ahead if -1 < ahead < 1 else 0.0


@kernel(inline="always")
def _maximum_from(phi: float, start: float, step: float, ahead: float, edge: CamEdge, follower: Follower) -> Contact:
    """Return the contact of greatest reach within ``step`` of ``start``.

    Newton's method from ``start + ahead``; a bisection replaces a step that would leave the bracket, and every eighth step. The
    reach is not evaluated again after the last step, which increases it by less than `_GAIN_MM`.
    """
    low, high, tried = start - step, start + step, start + ahead
    height, turning = 0.0, 0.0
    for attempt in range(100):
        height, slope, second, turning, turning_slope = _reach_and_derivatives(tried, phi, edge, follower)
        if slope > 0:
            low = tried
        else:
            high = tried
        further = -slope / second
        if 0 <= slope * further <= _GAIN_MM:
            return Contact(height + slope * further / 2, turning + turning_slope * further, tried + further)
        if high - low < 1e-15 * (1 + abs(tried)):
            break
        if not low < tried + further < high or attempt % 8 == 7:
            further = 0.5 * (low + high) - tried
        tried += further
    return Contact(height, turning, tried)


@kernel()
def _round_reaches(px: Array, py: Array, cosine: float, sine: float, shift: float, square: float, support: Array) -> None:
    """Fill ``support``, from its second element, with the reaches of a round follower; `_NOTHING` outside its width."""
    inner = support[1 : px.size + 1]
    for k in range(px.size):
        across = py[k] * cosine - px[k] * sine - shift
        left = square - across * across
        reached = px[k] * cosine + py[k] * sine + math.sqrt(max(left, 0.0))
        inner[k] = reached if left >= 0 else _NOTHING


@kernel()
def _flat_reaches(px: Array, py: Array, cosine: float, sine: float, support: Array) -> None:
    """Fill ``support``, from its second element, with the reaches at which the trial points hold a flat follower."""
    inner = support[1 : px.size + 1]
    for k in range(px.size):
        inner[k] = px[k] * cosine + py[k] * sine


@kernel()
def _contact_by_trials(phi: float, trials: _Trials, support: Array, edge: CamEdge, follower: Follower) -> Contact:
    """Return the contact for the direction ``phi``, from all trial points in the window around this direction."""
    px, py, step, wide = trials
    base, radius, face = follower
    span = 2 * wide + 1
    lobe_from = edge.period * math.floor((phi + 0.5 * step) / edge.period)
    turned = phi - lobe_from
    from_trial = int(turned / step + 0.5)
    tx, ty = px[from_trial : from_trial + span], py[from_trial : from_trial + span]
    if radius < 0:
        _flat_reaches(tx, ty, math.cos(turned), math.sin(turned), support)
    elif face:
        _round_reaches(tx, ty, 1.0, 0.0, base * turned, radius * radius, support)
    else:
        _round_reaches(tx, ty, math.cos(turned), math.sin(turned), 0.0, radius * radius, support)
    best = 0
    for k in range(1, span + 1):
        if support[k] > support[best]:
            best = k
    from_here = lobe_from + (from_trial - 1 - wide) * step
    widest = 2 * support[best] - support[best - 1] - support[best + 1]
    found = Contact(_NOTHING, 0.0, phi)
    for k in range(1, span + 1):
        if support[k] > 0.1 * _NOTHING and support[k] >= support[k - 1] and support[k] >= support[k + 1]:
            own = 2 * support[k] - support[k - 1] - support[k + 1]
            if support[k] >= support[best] - 2 * max(widest, own):
                ahead = step * _vertex(support[k - 1], support[k + 1], own)
                rival = _maximum_from(phi, from_here + k * step, step, ahead, edge, follower)
                if rival.reach > found.reach:
                    found = rival
    return found


@kernel()
def _grid(trials: _Trials, support: Array, edge: CamEdge, follower: Follower, places: Array, steady: Steady) -> None:
    """Fill the contacts for evenly spaced directions of one lobe, and whether the contact moves steadily from each to the next.

    Element ``g + 1`` of ``places`` belongs to direction ``g``; ``places`` includes one direction before the lobe and two after.
    """
    pitch, corners = edge.period, edge.starts
    for g in range(_GRID):
        places[g + 1] = _contact_by_trials(g * pitch / _GRID, trials, support, edge, follower).place
    places[0] = places[_GRID] - pitch
    places[_GRID + 1], places[_GRID + 2] = places[1] + pitch, places[2] + pitch
    for g in range(_GRID):
        before, here, after, beyond = places[g : g + 4]
        moved = after - here
        steady[g] = 0 <= moved <= min(_FASTEST * pitch / _GRID, _STEADY * max(here - before, beyond - after))
        for corner in corners:
            away = corner - here + 1e-6
            steady[g] &= away - pitch * math.floor(away / pitch) > moved + 2e-6


@kernel(inline="always")
def _start(g: int, t: float, places: Array, steady: Steady) -> float:
    """Return the approximate angle of contact for a direction at the fraction ``t`` of the interval from ``g`` to ``g + 1``."""
    moved = places[g + 2] - places[g + 1]
    start: float = places[g + 1] + t * moved
    if steady[(g - 1) % _GRID] and steady[(g + 1) % _GRID]:
        before = places[g] - places[g + 1] + moved
        after = places[g + 3] - places[g + 2] - moved
        start -= t * (1 - t) / 6 * ((2 - t) * before + (1 + t) * after)
    return start


@kernel()
def contacts(
    phi: Array, edge: CamEdge, follower: Follower, window: float, around: int, reach: Array, slope: Array, psi: Array
) -> None:
    """Fill ``reach``, ``slope`` and ``psi``, (n,) each, for the directions ``phi``.

    For many directions, the contact is first computed on a grid of directions over one lobe. If the contact moves steadily and
    over no corner from one grid direction to the next, the search for a direction between them starts between their contacts;
    otherwise, all trial points are examined.

    Parameters
    ----------
    phi : (n,) float64, rad
        Follower's directions in the cam's frame.
    edge : CamEdge
        The cam's rise.
    follower : Follower
        The follower, and the size of the cam.
    window : float, rad
        Greatest angle to either side at which the follower can touch the cam.
    around : int
        Number of trial points in one lobe.
    reach, slope, psi : (n,) float64
        Filled: see `lobework.kernels.cam.contact.Touch`.
    """
    base, radius, face = follower
    if radius == 0.0:
        for i in range(phi.size):
            rise, edge_slope, _ = _edge(phi[i], edge)
            reach[i], slope[i], psi[i] = (0.0 if face else base) + rise, edge_slope, phi[i]
        return
    pitch = edge.period
    step = pitch / around
    wide = int(math.ceil(window / step)) + 1
    px, py = np.zeros(around + 2 * wide + 1), np.zeros(around + 2 * wide + 1)
    for k in range(px.size):
        angle = (k - wide) * step
        rise, _, _ = _edge(angle, edge)
        px[k] = rise if face else (base + rise) * math.cos(angle)
        py[k] = base * angle if face else (base + rise) * math.sin(angle)
    trials = _Trials(px, py, step, wide)
    support = np.zeros(2 * wide + 3)
    support[0] = support[-1] = _NOTHING
    places, steady = np.zeros(_GRID + 3), np.zeros(_GRID, dtype=np.bool_)
    if phi.size > 2 * _GRID:
        _grid(trials, support, edge, follower, places, steady)
    for i in range(phi.size):
        lobe = math.floor(phi[i] / pitch)
        along = (phi[i] / pitch - lobe) * _GRID
        g = min(int(along), _GRID - 1)
        if steady[g]:
            start = _start(g, along - g, places, steady) + lobe * pitch
            step = places[g + 2] - places[g + 1] + 1e-9
            reach[i], slope[i], psi[i] = _maximum_from(phi[i], start, step, 0.0, edge, follower)
        else:
            reach[i], slope[i], psi[i] = _contact_by_trials(phi[i], trials, support, edge, follower)
