"""The greatest depth to which a solid of revolution cuts a ray over a piece of its path.

A piece of path turns little, so that the depth to which a convex solid cuts a ray is nearly a concave function of t, the fraction
of the piece that is completed. The depth lies below each of its tangents, apart from an error bound that grows with the turn and
the bow of the path. The search for the maximum begins where the tip is nearest to the ray, and follows the increasing depth until
the tangents on both sides of the maximum exclude a depth greater than the depth found.

What the arrays hold:

* ``outline`` : (p,) `lobework.kernels.sweep.ray_solid.SolidPart`; the parts from ``first`` to before ``last`` are one solid.
* ``stops`` : (12,) float64, values of t at which the depth of a ring is evaluated, in increasing order.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.ray_solid import NOTHING
from lobework.kernels.sweep.solid_contact import FUSED, TOLERANCE_MM, exit_depth, miss_distance, tangent_error
from lobework.kernels.sweep.solid_piece import Piece

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.rays import Ray

__all__ = ["STOPS", "convex_depth", "ring_depth"]

STOPS: Final = 12
"""Number of values of t at which the depth of a ring is evaluated."""
_NO_MM: Final = 1e-12
_OVERSTEP_MM: Final = 1e-7
_MISS_HEIGHT_MM: Final = 1.0
"""A ray whose exit is above the work by more than this plus the ray's reach counts as a miss, as its slope is not usable."""
_ROUNDS: Final = 60
_SHORTEST: Final = 1 / 64
_PREDICTED_WITHIN: Final = 0.6
"""If the curvature predicts a maximum within this fraction of the way to an end, the depth just beyond it is evaluated."""
_GRAZES: Final = 4.0
"""A ray grazes a solid if the cosine of its exit angle is at most this factor times the turn of the piece, rad."""
_BRACKET_FACTOR: Final = 1.2
"""Factor that lengthens the distance to the predicted maximum, so that the maximum is bracketed."""


@kernel(fastmath=FUSED)
def _first_met(piece: Piece, ray: Ray, t: float, outline: Records[SolidPart], first: int, last: int) -> float:
    """Return a value of t at which a ray meets a convex solid, searched from a t at which it misses; -1 if none is found.

    The distance by which the ray misses is a convex function of t, so Newton steps lead to the contact and never past it. But the
    nearest point may move along the ray as the solid turns. If this leaves the result uncertain, the piece is scanned from its
    beginning, by steps too short to pass a contact; after sixty steps, none is shorter than a 64th of the piece.
    """
    wanders = piece.turn * min(ray.end, ray.reach)
    for _ in range(_ROUNDS):
        out, grows = miss_distance(piece, ray, t, outline, first, last)
        if out <= 0.0:
            return t
        if out > max((grows + wanders) * t, (wanders - grows) * (1.0 - t)) + piece.miss_slack:
            return -1.0
        far = 0.0 if grows > 0.0 else 1.0
        if t == far or out > abs(grows * (far - t)) + piece.miss_slack:
            break
        t = min(max(t - (out + _OVERSTEP_MM) / grows, 0.0), 1.0)
    t, looks = 0.0, 0
    while True:
        out, grows = miss_distance(piece, ray, t, outline, first, last)
        if out <= 0.0:
            return t
        if t == 1.0:
            return -1.0
        looks += 1
        shortest = _SHORTEST if looks > _ROUNDS else 0.0
        t = min(t + max((out + _OVERSTEP_MM) / (max(-grows, 0.0) + wanders + piece.miss_slack), shortest), 1.0)


@kernel(fastmath=FUSED)
def _maximum_between(
    piece: Piece,
    ray: Ray,
    low: float,
    low_deep: float,
    low_slope: float,
    high: float,
    high_deep: float,
    high_slope: float,
    floor: float,
    error_bound: float,
    outline: Records[SolidPart],
    first: int,
    last: int,
) -> float:
    """Return the greatest depth found between two values of t, ``low`` and ``high``, with a maximum between them.

    The depth rises from both towards the maximum, or the ray misses the solid at one of them, where the depth is `NOTHING`. The
    search stops when the tangents plus ``error_bound`` do not exceed ``floor``. If the tangent at one t plus ``error_bound``
    passes below the depth at the other, a discontinuity separates them, and the ray counts as missing the solid at the first t.
    """
    best = max(low_deep, high_deep)
    for turn in range(_ROUNDS):
        if low_deep == NOTHING:
            more, most, t = -high_slope * (high - low), high_deep - high_slope * (high - low), 0.5 * (low + high)
        elif high_deep == NOTHING:
            more, most, t = low_slope * (high - low), low_deep + low_slope * (high - low), 0.5 * (low + high)
        else:
            if not low_slope > high_slope:
                break
            cross = (high_deep - low_deep + low_slope * low - high_slope * high) / (low_slope - high_slope)
            cross = min(max(cross, low), high)
            more, most = min(low_slope, -high_slope) * (high - low), low_deep + low_slope * (cross - low)
            t = low + (high - low) * low_slope / (low_slope - high_slope) if turn % 3 == 0 else cross
            if turn % 6 == 5 or not low < t < high:
                t = 0.5 * (low + high)
        if more <= TOLERANCE_MM or most + error_bound <= floor:
            break
        deep, slope, _, _, _ = exit_depth(piece, ray, t, outline, first, last)
        best = max(best, deep)
        if slope >= 0.0 and deep >= low_deep and deep != NOTHING:
            low, low_deep, low_slope = t, deep if deep + slope * (high - t) + error_bound >= high_deep else NOTHING, slope
        elif slope < 0.0 and deep >= high_deep:
            high, high_deep, high_slope = t, deep if deep - slope * (t - low) + error_bound >= low_deep else NOTHING, slope
        elif low_deep < high_deep:
            low, low_deep = t, NOTHING
        else:
            high, high_deep = t, NOTHING
    return best


@kernel(fastmath=FUSED)
def _second_contact(
    piece: Piece,
    ray: Ray,
    t: float,
    end: float,
    deep: float,
    slope: float,
    exit_cosine: float,
    into: float,
    floor: float,
    outline: Records[SolidPart],
    first: int,
    last: int,
) -> float:
    """Return the depth of a second contact between t and an end of a piece; any value up to ``floor`` if none is deeper.

    A ray that only grazes a solid may leave it and meet it again: the angle is so flat that the turn of the piece decides whether
    they meet. The second contact then extends to the end of the piece. This contact is searched for there, unless the tangent at
    t plus its error bound does not exceed ``floor``.
    """
    span = abs(end - t)
    most = deep + slope * (end - t) + tangent_error(piece, span, abs(slope) * span, exit_cosine, into)
    if exit_cosine > _GRAZES * piece.turn or most <= floor:
        return NOTHING
    far, slope_far, exit_cosine_far, _, into_far = exit_depth(piece, ray, end, outline, first, last)
    if far == NOTHING or (slope_far >= 0.0) == (end > t):
        return far
    error_bound = tangent_error(piece, span, abs(slope_far) * span, exit_cosine_far, into_far)
    if end > t:
        return _maximum_between(piece, ray, t, NOTHING, 0.0, end, far, slope_far, floor, error_bound, outline, first, last)
    return _maximum_between(piece, ray, end, far, slope_far, t, NOTHING, 0.0, floor, error_bound, outline, first, last)


@kernel(fastmath=FUSED)
def convex_depth(piece: Piece, ray: Ray, t: float, floor: float, outline: Records[SolidPart], first: int, last: int) -> float:
    """Return the greatest depth to which a convex solid cuts a ray over a piece of path, in a search that begins at t.

    The result may be any value up to ``floor`` if no depth exceeds it.
    """
    deep, slope, exit_cosine, bend, into = exit_depth(piece, ray, t, outline, first, last)
    if deep < -ray.reach - _MISS_HEIGHT_MM:
        t = _first_met(piece, ray, t, outline, first, last)
        if t < 0.0:
            return NOTHING
        deep, slope, exit_cosine, bend, into = exit_depth(piece, ray, t, outline, first, last)
        if deep == NOTHING:
            return NOTHING
    end = 1.0 if slope >= 0.0 else 0.0
    best = deep
    if t != 1.0 - end:
        again = _second_contact(piece, ray, t, 1.0 - end, deep, slope, exit_cosine, into, max(floor, best), outline, first, last)
        best = max(best, again)
    for ahead in range(2):
        more = abs(slope * (end - t))
        error_bound = tangent_error(piece, end - t, more, exit_cosine, into)
        if more <= TOLERANCE_MM or deep + more + error_bound <= max(floor, best):
            return best
        other = end
        if ahead == 0:
            if not abs(slope) < _PREDICTED_WITHIN * bend * abs(end - t):
                continue
            other = t + _BRACKET_FACTOR * slope / bend
        far, slope_far, exit_cosine_far, bend, into_far = exit_depth(piece, ray, other, outline, first, last)
        if far < deep and (slope_far >= 0.0) == (slope >= 0.0):
            far = NOTHING
        if far == NOTHING or (slope_far >= 0.0) != (slope >= 0.0):
            if far != NOTHING:
                error_bound = max(
                    error_bound, tangent_error(piece, other - t, abs(slope_far * (other - t)), exit_cosine_far, into_far)
                )
            if slope >= 0.0:
                top = _maximum_between(
                    piece, ray, t, deep, slope, other, far, slope_far, floor, error_bound, outline, first, last
                )
            else:
                top = _maximum_between(
                    piece, ray, other, far, slope_far, t, deep, slope, floor, error_bound, outline, first, last
                )
            best = max(best, top)
            if other == end:
                return best
            if far != NOTHING:
                t, deep, slope, exit_cosine, into = other, far, slope_far, exit_cosine_far, into_far
            again = _second_contact(piece, ray, t, end, deep, slope, exit_cosine, into, max(floor, best), outline, first, last)
            return max(best, again)
        if ahead == 1:
            return max(best, far)
        if far > deep:
            t, deep, slope, exit_cosine, into = other, far, slope_far, exit_cosine_far, into_far
            best = max(best, deep)
    return best


@kernel(fastmath=FUSED)
def ring_depth(
    piece: Piece,
    ray: Ray,
    foot: float,
    aside: float,
    floor: float,
    swing: float,
    outline: Records[SolidPart],
    first: int,
    last: int,
    stops: Array,
) -> float:
    """Return the greatest depth to which an edge swung in a circle cuts a ray over a piece of path.

    The depth is evaluated at regular values of t, at ``foot``, and at the two crossings of the circle; maxima are searched for
    between neighbours. If the ray misses the solid at all of these, the search begins where the ray meets the cylinder around the
    whole solid; the parts of the cylinder follow those of the solid in the outline.
    """
    half = math.sqrt(max(swing * swing - aside * aside, 0.0)) / max(piece.length, _NO_MM)
    for k in range(STOPS):
        t = k / (STOPS - 4.0) if k < STOPS - 3 else foot + (k - STOPS + 2) * half
        stops[k] = min(max(t, 0.0), 1.0)
        at = k
        while at > 0 and stops[at - 1] > stops[at]:
            stops[at - 1], stops[at] = stops[at], stops[at - 1]
            at -= 1
    best, before, before_deep, before_slope = NOTHING, 0.0, NOTHING, 0.0
    for k in range(STOPS):
        t = stops[k]
        deep, slope, exit_cosine, _, into = exit_depth(piece, ray, t, outline, first, last)
        best = max(best, deep)
        rises, falls = before_deep != NOTHING and before_slope > 0.0, deep != NOTHING and slope < 0.0
        if t > before and ((rises and (falls or deep < before_deep)) or (falls and before_deep < deep)):
            error_bound = tangent_error(piece, t - before, abs(slope) + abs(before_slope), exit_cosine, into)
            low_deep = before_deep if rises and before_deep + before_slope * (t - before) + error_bound >= deep else NOTHING
            high_deep = deep if falls and deep - slope * (t - before) + error_bound >= before_deep else NOTHING
            top = _maximum_between(
                piece, ray, before, low_deep, before_slope, t, high_deep, slope, NOTHING, error_bound, outline, first, last
            )
            best = max(best, top)
        elif t > before and before_deep != NOTHING and deep != NOTHING and slope > before_slope:
            error_bound = tangent_error(piece, t - before, abs(slope) + abs(before_slope), exit_cosine, into)
            low_deep = before_deep if rises and before_deep + before_slope * (t - before) > best else NOTHING
            high_deep = deep if falls and deep - slope * (t - before) > best else NOTHING
            if max(low_deep, high_deep) != NOTHING:
                top = _maximum_between(
                    piece, ray, before, low_deep, before_slope, t, high_deep, slope, best, error_bound, outline, first, last
                )
                best = max(best, top)
        before, before_deep, before_slope = t, deep, slope
    if best != NOTHING:
        return best
    t = _first_met(piece, ray, min(max(foot, 0.0), 1.0), outline, last, outline.shape[0])
    if t < 0.0:
        return NOTHING
    deep, slope, _, _, _ = exit_depth(piece, ray, t, outline, first, last)
    if deep == NOTHING or slope == 0.0:
        return deep
    if slope > 0.0:
        return _maximum_between(piece, ray, t, deep, slope, 1.0, NOTHING, 0.0, floor, 0.0, outline, first, last)
    return _maximum_between(piece, ray, 0.0, NOTHING, 0.0, t, deep, slope, floor, 0.0, outline, first, last)
