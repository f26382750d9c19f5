"""Deepen a depth grid by the volume that solids of revolution sweep along pieces of path, on any surface, at any inclination.

A piece of path turns little, so that the depth to which a convex solid cuts a ray is nearly a concave function of t, the fraction
of the piece that is completed. The depth lies below each of its tangents, apart from an error bound that grows with the turn and
the bow of the path. The search for the maximum begins where the tip is nearest to the ray, and follows the increasing depth until
the tangents on both sides of the maximum exclude a depth greater than the depth found. A ray whose first tangent nowhere exceeds
its present depth is skipped at once. The slope of a tangent is ``n . v / n . d``, where v and n are the velocity and the normal
of the solid's surface at the point at which the ray leaves the solid, and d is the direction of the ray.

If the depth is greatest within a piece, the ray leaves the solid where ``n . v = 0`` (the condition of the envelope). On a solid
whose axis points out of the work, such points are near its centre line, because the path climbs little. Only the rays in this
region, the slab of the piece, are searched.

What the arrays hold:

* ``pieces`` : (n,) `lobework.kernels.sweep.solid_piece.Piece`.
* ``outline`` : (p,) `lobework.kernels.sweep.ray_solid.SolidPart`.
* ``bodies`` : (m,) `SolidBody`.
* ``stops`` : (12,) float64, values of t at which the depth of a ring is evaluated, in increasing order.
* ``patch_columns_hit`` : (32,) int32: indices of the patch columns of a tile that a piece reaches.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.blade_on_face import rotated_back
from lobework.kernels.sweep.ray_solid import NOTHING, last_exit, signed_distance
from lobework.kernels.sweep.rays import RAY, aim, aim_at_patch, deepest_of
from lobework.kernels.sweep.solid_piece import RING, Piece
from lobework.kernels.sweep.tiles import PATCH, PATCHES, blank_tile, load_tile, patch_columns, patch_rows, store_tile

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.rays import Ray, Rays
    from lobework.kernels.sweep.tiles import Cells, Int32s

    Buffers = tuple[Cells, Int32s, Records[Ray], Array]

__all__ = ["Solid", "SolidBody", "carve_tile", "new_buffers"]

FUSED: Final = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
_TOLERANCE_MM: Final = 1e-6
_NO_MM: Final = 1e-12
_LEAST_SQUARE: Final = 1e-12
_OVERSTEP_MM: Final = 1e-7
_MISS_HEIGHT_MM: Final = 1.0
"""A ray whose exit is above the work by more than this plus the ray's reach counts as a miss, as its slope is not usable."""
_ROUNDS: Final = 60
_SHORTEST: Final = 1 / 64
_STOPS: Final = 12
_PREDICTED_WITHIN: Final = 0.6
"""If the curvature predicts a maximum within this fraction of the way to an end, the depth just beyond it is evaluated."""
_GRAZES: Final = 4.0
"""A ray grazes a solid if the cosine of its exit angle is at most this factor times the turn of the piece, rad."""
_BRACKET_FACTOR: Final = 1.2
"""Factor that lengthens the distance to the predicted maximum, so that the maximum is bracketed."""


class SolidBody:
    """The parts of an outline that belong to one solid."""

    first: int
    """Index of the solid's first part."""
    after: int
    """Index of the part after the solid's last part."""


class Solid(NamedTuple):
    """The solids that a cutter generates as it revolves.

    Parameters
    ----------
    outline : (p,) SolidPart
        Outlines of the solids.
    bodies : (m,) SolidBody
        The solids. All are convex except a ring.
    kind : int
        `DRILL`, `FRAME` or `RING` of `lobework.kernels.sweep.solid_piece`.
    size : float, mm
        Radius of a frame's swing or of a ring's circle; zero for a drill.
    """

    outline: Records[SolidPart]
    bodies: Records[SolidBody]
    kind: int
    size: float


@kernel(fastmath=FUSED, inline="always")
def _in_solid_frame(
    piece: Piece, ray: Ray, t: float
) -> tuple[float, float, float, float, float, float, float, float, float, float, float, float]:
    """Return a ray's origin relative to the solid's centre, its direction, and the solid's axis and centre, at t of a piece.

    All are in the frame of the path's radius at t; ``ray`` is in the frame of the radius in the middle of the piece.
    """
    sx, sy, wx, wy = ray.start.x, ray.start.y, ray.direction.x, ray.direction.y
    if piece.swept != 0.0:
        c, q = rotated_back(1.0, 0.0, (t - 0.5) * piece.swept)
        sx, sy = sx * c - sy * q, sy * c + sx * q
        wx, wy = wx * c - wy * q, wy * c + wx * q
    bow = t * (1.0 - t)
    px, py, pz = (
        piece.centre.x + t * piece.move.x + bow * piece.bow.x,
        piece.centre.y + t * piece.move.y + bow * piece.bow.y,
        piece.centre.z + t * piece.move.z + bow * piece.bow.z,
    )
    ax, ay, az = (
        piece.axis.x + t * piece.axis_turn.x + bow * piece.axis_bow.x,
        piece.axis.y + t * piece.axis_turn.y + bow * piece.axis_bow.y,
        piece.axis.z + t * piece.axis_turn.z + bow * piece.axis_bow.z,
    )
    if piece.axis_turn_square != 0.0:
        per = 1.0 / math.sqrt(ax * ax + ay * ay + az * az)
        ax, ay, az = ax * per, ay * per, az * per
    return sx - px, sy - py, ray.start.z - pz, wx, wy, ray.direction.z, ax, ay, az, px, py, pz


@kernel(fastmath=FUSED, inline="always")
def _surface_motion(
    piece: Piece,
    t: float,
    e: float,
    x: float,
    y: float,
    z: float,
    wx: float,
    wy: float,
    wz: float,
    ax: float,
    ay: float,
    az: float,
    px: float,
    py: float,
    normal_r: float,
    normal_y: float,
) -> tuple[float, float, float, float]:
    """Return ``n . v``, ``n . d``, the curvature about the axis, and ``-n . bow``, at the distance ``e`` along a ray.

    n is the outward normal of the solid's surface there and v its velocity, mm per piece; d is the direction of the ray. The
    curvature is in 1/mm, and ``-n . bow`` is the bow of the path into the surface, mm.
    """
    x, y, z = x + e * wx, y + e * wy, z + e * wz
    up = x * ax + y * ay + z * az
    rx, ry, rz = x - up * ax, y - up * ay, z - up * az
    r = math.sqrt(rx * rx + ry * ry + rz * rz)
    scale = normal_r / r if r > _NO_MM else 0.0
    nx, ny, nz = normal_y * ax + scale * rx, normal_y * ay + scale * ry, normal_y * az + scale * rz
    bow = 1.0 - 2.0 * t
    vx, vy, vz = (
        piece.move.x + bow * piece.bow.x - piece.swept * (y + py),
        piece.move.y + bow * piece.bow.y + piece.swept * (x + px),
        piece.move.z + bow * piece.bow.z,
    )
    if piece.axis_turn_square != 0.0:
        dx, dy, dz = (
            piece.axis_turn.x + bow * piece.axis_bow.x,
            piece.axis_turn.y + bow * piece.axis_bow.y,
            piece.axis_turn.z + bow * piece.axis_bow.z,
        )
        ox, oy, oz = ay * dz - az * dy, az * dx - ax * dz, ax * dy - ay * dx
        vx, vy, vz = vx + oy * z - oz * y, vy + oz * x - ox * z, vz + ox * y - oy * x
    return (
        nx * vx + ny * vy + nz * vz,
        nx * wx + ny * wy + nz * wz,
        scale,
        -(nx * piece.bow.x + ny * piece.bow.y + nz * piece.bow.z),
    )


@kernel(fastmath=FUSED)
def _depth(
    piece: Piece, ray: Ray, t: float, outline: Records[SolidPart], first: int, last: int
) -> tuple[float, float, float, float, float]:
    """Return the depth at which a ray leaves the solid at t, or `NOTHING`; its derivative; and the cosine of the exit angle.

    The fourth value is the decrease of the derivative per unit of t that follows from the curvature about the solid's axis; the
    fifth is the bow of the path into the surface, for `_tangent_error`.
    """
    x, y, z, wx, wy, wz, ax, ay, az, px, py, _ = _in_solid_frame(piece, ray, t)
    base = -(x * wx + y * wy + z * wz)
    x, y, z = x + base * wx, y + base * wy, z + base * wz
    up, axial_slope = x * ax + y * ay + z * az, wx * ax + wy * ay + wz * az
    square = max(1.0 - axial_slope * axial_slope, 0.0)
    e, normal_r, normal_y = last_exit(
        outline,
        first,
        last,
        up,
        axial_slope,
        square,
        -up * axial_slope,
        x * x + y * y + z * z - up * up,
        ray.end - base,
        piece.is_convex,
    )
    if e == NOTHING:
        return NOTHING, 0.0, 1.0, 0.0, 0.0
    if normal_r == 0.0 and normal_y == 0.0:
        return e + base, 0.0, 1.0, 0.0, 0.0
    normal_velocity, exit_cosine, bend, into = _surface_motion(
        piece, t, e, x, y, z, wx, wy, wz, ax, ay, az, px, py, normal_r, normal_y
    )
    exit_cosine = max(exit_cosine, _LEAST_SQUARE)
    per = 1.0 / exit_cosine
    return e + base, normal_velocity * per, exit_cosine, piece.length * piece.length * bend * per, into


@kernel(fastmath=FUSED, inline="always")
def _tangent_error(piece: Piece, span: float, more: float, exit_cosine: float, into: float) -> float:
    """Return an upper bound of the amount by which the depth exceeds its tangent, mm, at the distance ``span`` in t.

    ``more`` is the change of the tangent over that distance, ``exit_cosine`` the cosine of the exit angle. In the frame of the
    solid a ray moves straight, except that the path turns and bows ``into`` the surface; the deviation grows with the square of
    ``span``.
    """
    return ((piece.deviation + max(into, 0.0)) * span * span + more * piece.turn) / max(exit_cosine - piece.turn, _LEAST_SQUARE)


@kernel(fastmath=FUSED)
def _miss_distance(piece: Piece, ray: Ray, t: float, outline: Records[SolidPart], first: int, last: int) -> tuple[float, float]:
    """Return the distance by which a ray misses a convex solid at t (zero or negative at a contact), and its derivative."""
    x, y, z, wx, wy, wz, ax, ay, az, px, py, _ = _in_solid_frame(piece, ray, t)
    up, axial_slope = x * ax + y * ay + z * az, wx * ax + wy * ay + wz * az
    half_linear, constant = x * wx + y * wy + z * wz - up * axial_slope, x * x + y * y + z * z - up * up
    square = max(1.0 - axial_slope * axial_slope, 0.0)
    low, high = 0.0, min(ray.end, ray.reach)
    least, above, grows_above, below, grows_below = 1e30, 0.0, 0.0, 0.0, 0.0
    while high - low >= _TOLERANCE_MM:
        e = 0.5 * (low + high)
        r = math.sqrt(max((square * e + 2.0 * half_linear) * e + constant, 0.0))
        out, normal_r, normal_y = signed_distance(outline, first, last, r, up + axial_slope * e)
        grows = normal_r * (square * e + half_linear) / max(r, _NO_MM) + normal_y * axial_slope
        normal_velocity, _, _, _ = _surface_motion(piece, t, e, x, y, z, wx, wy, wz, ax, ay, az, px, py, normal_r, normal_y)
        least = min(least, out)
        if out <= 0.0 or abs(grows) < _NO_MM:
            return out, -normal_velocity
        if grows > 0.0:
            high, above, grows_above = e, grows, -normal_velocity
        else:
            low, below, grows_below = e, grows, -normal_velocity
    if below == 0.0 or above == 0.0:
        return least, grows_above + grows_below
    share = -below / (above - below)
    return least, share * grows_above + (1.0 - share) * grows_below


@kernel(fastmath=FUSED)
def _outside_slab(piece: Piece, ray: Ray, floor: float, margin: float) -> tuple[bool, float, float]:
    """Return whether a ray is outside a piece's slab; the t at which the tip is nearest; and the ray's offset along ``aside``.

    The first value holds for everything within ``margin`` mm of the ray, between ``floor`` and the depth that the piece reaches.
    The other two belong to the point of the ray at the height of the tip; the offset is measured from the path of the tip, mm.
    """
    x, y, z, wx, wy, wz = (
        ray.start.x - piece.tip_middle.x,
        ray.start.y - piece.tip_middle.y,
        ray.start.z - piece.tip_middle.z,
        ray.direction.x,
        ray.direction.y,
        ray.direction.z,
    )
    u, per_u = (
        x * piece.ahead.x + y * piece.ahead.y + z * piece.ahead.z,
        wx * piece.ahead.x + wy * piece.ahead.y + wz * piece.ahead.z,
    )
    v, per_v = (
        x * piece.aside.x + y * piece.aside.y + z * piece.aside.z,
        wx * piece.aside.x + wy * piece.aside.y + wz * piece.aside.z,
    )
    u_low, u_high, v_low, v_high = u + floor * per_u, u + ray.reach * per_u, v + floor * per_v, v + ray.reach * per_v
    aside, ahead, behind = (
        piece.half_aside + margin,
        0.5 * piece.length + piece.beyond_end + margin,
        -0.5 * piece.length - piece.beyond_begin - margin,
    )
    outside = min(v_low, v_high) > aside or max(v_low, v_high) < -aside
    outside = outside or min(u_low, u_high) > ahead or max(u_low, u_high) < behind
    up, outward_slope = (
        x * piece.outward.x + y * piece.outward.y + z * piece.outward.z,
        wx * piece.outward.x + wy * piece.outward.y + wz * piece.outward.z,
    )
    e = -up / outward_slope if outward_slope < -0.05 else 0.0
    t = 0.5 + (u + e * per_u) / piece.length if piece.length > _NO_MM else 0.5
    return outside, min(max(t, 0.0), 1.0), v + e * per_v


@kernel(fastmath=FUSED)
def _first_met(piece: Piece, ray: Ray, t: float, outline: Records[SolidPart], first: int, last: int) -> float:
    """Return a value of t at which a ray meets a convex solid, searched from a t at which it misses; -1 if none is found.

    The distance by which the ray misses is a convex function of t, so Newton steps lead to the contact and never past it. But the
    nearest point may move along the ray as the solid turns. If this leaves the result uncertain, the piece is scanned from its
    beginning, by steps too short to pass a contact; after sixty steps, none is shorter than a 64th of the piece.
    """
    wanders = piece.turn * min(ray.end, ray.reach)
    for _ in range(_ROUNDS):
        out, grows = _miss_distance(piece, ray, t, outline, first, last)
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
        out, grows = _miss_distance(piece, ray, t, outline, first, last)
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
        if more <= _TOLERANCE_MM or most + error_bound <= floor:
            break
        deep, slope, _, _, _ = _depth(piece, ray, t, outline, first, last)
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
    most = deep + slope * (end - t) + _tangent_error(piece, span, abs(slope) * span, exit_cosine, into)
    if exit_cosine > _GRAZES * piece.turn or most <= floor:
        return NOTHING
    far, slope_far, exit_cosine_far, _, into_far = _depth(piece, ray, end, outline, first, last)
    if far == NOTHING or (slope_far >= 0.0) == (end > t):
        return far
    error_bound = _tangent_error(piece, span, abs(slope_far) * span, exit_cosine_far, into_far)
    if end > t:
        return _maximum_between(piece, ray, t, NOTHING, 0.0, end, far, slope_far, floor, error_bound, outline, first, last)
    return _maximum_between(piece, ray, end, far, slope_far, t, NOTHING, 0.0, floor, error_bound, outline, first, last)


@kernel(fastmath=FUSED)
def _convex_depth(piece: Piece, ray: Ray, t: float, floor: float, outline: Records[SolidPart], first: int, last: int) -> float:
    """Return the greatest depth to which a convex solid cuts a ray over a piece of path, in a search that begins at t.

    The result may be any value up to ``floor`` if no depth exceeds it.
    """
    deep, slope, exit_cosine, bend, into = _depth(piece, ray, t, outline, first, last)
    if deep < -ray.reach - _MISS_HEIGHT_MM:
        t = _first_met(piece, ray, t, outline, first, last)
        if t < 0.0:
            return NOTHING
        deep, slope, exit_cosine, bend, into = _depth(piece, ray, t, outline, first, last)
        if deep == NOTHING:
            return NOTHING
    end = 1.0 if slope >= 0.0 else 0.0
    best = deep
    if t != 1.0 - end:
        again = _second_contact(piece, ray, t, 1.0 - end, deep, slope, exit_cosine, into, max(floor, best), outline, first, last)
        best = max(best, again)
    for ahead in range(2):
        more = abs(slope * (end - t))
        error_bound = _tangent_error(piece, end - t, more, exit_cosine, into)
        if more <= _TOLERANCE_MM or deep + more + error_bound <= max(floor, best):
            return best
        other = end
        if ahead == 0:
            if not abs(slope) < _PREDICTED_WITHIN * bend * abs(end - t):
                continue
            other = t + _BRACKET_FACTOR * slope / bend
        far, slope_far, exit_cosine_far, bend, into_far = _depth(piece, ray, other, outline, first, last)
        if far < deep and (slope_far >= 0.0) == (slope >= 0.0):
            far = NOTHING
        if far == NOTHING or (slope_far >= 0.0) != (slope >= 0.0):
            if far != NOTHING:
                error_bound = max(
                    error_bound, _tangent_error(piece, other - t, abs(slope_far * (other - t)), exit_cosine_far, into_far)
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
def _ring_depth(
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
    for k in range(_STOPS):
        t = k / (_STOPS - 4.0) if k < _STOPS - 3 else foot + (k - _STOPS + 2) * half
        stops[k] = min(max(t, 0.0), 1.0)
        at = k
        while at > 0 and stops[at - 1] > stops[at]:
            stops[at - 1], stops[at] = stops[at], stops[at - 1]
            at -= 1
    best, before, before_deep, before_slope = NOTHING, 0.0, NOTHING, 0.0
    for k in range(_STOPS):
        t = stops[k]
        deep, slope, exit_cosine, _, into = _depth(piece, ray, t, outline, first, last)
        best = max(best, deep)
        rises, falls = before_deep != NOTHING and before_slope > 0.0, deep != NOTHING and slope < 0.0
        if t > before and ((rises and (falls or deep < before_deep)) or (falls and before_deep < deep)):
            error_bound = _tangent_error(piece, t - before, abs(slope) + abs(before_slope), exit_cosine, into)
            low_deep = before_deep if rises and before_deep + before_slope * (t - before) + error_bound >= deep else NOTHING
            high_deep = deep if falls and deep - slope * (t - before) + error_bound >= before_deep else NOTHING
            top = _maximum_between(
                piece, ray, before, low_deep, before_slope, t, high_deep, slope, NOTHING, error_bound, outline, first, last
            )
            best = max(best, top)
        elif t > before and before_deep != NOTHING and deep != NOTHING and slope > before_slope:
            error_bound = _tangent_error(piece, t - before, abs(slope) + abs(before_slope), exit_cosine, into)
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
    deep, slope, _, _, _ = _depth(piece, ray, t, outline, first, last)
    if deep == NOTHING or slope == 0.0:
        return deep
    if slope > 0.0:
        return _maximum_between(piece, ray, t, deep, slope, 1.0, NOTHING, 0.0, floor, 0.0, outline, first, last)
    return _maximum_between(piece, ray, 0.0, NOTHING, 0.0, t, deep, slope, floor, 0.0, outline, first, last)


@kernel(fastmath=FUSED)
def _deepen(
    piece: Piece,
    bounds: Int32s,
    row: int,
    column: int,
    columns: int,
    rays: Rays,
    outline: Records[SolidPart],
    bodies: Records[SolidBody],
    shape: tuple[int, float],
    patch_columns_hit: Int32s,
    ray: Ray,
    stops: Array,
    tile: Cells,
) -> None:
    """Carve one piece of the path into a tile."""
    kind, size = shape
    top, bottom = patch_rows(bounds, row)
    count = patch_columns(bounds, column, columns, not rays.on_face, patch_columns_hit)
    for down in range(top, bottom):
        band = rays.bands[row // PATCH + down]
        deep = deepest_of(rays, band, piece.box)
        if deep <= 0.0:
            continue
        ray.reach = deep
        for n in range(count):
            first = column + patch_columns_hit[n] * PATCH
            patch_radius = aim_at_patch(ray, rays, band, first, deep, piece.cosine, piece.sine)
            if _outside_slab(piece, ray, 0.0, patch_radius + piece.slack)[0]:
                continue
            patch = tile[down * PATCHES + patch_columns_hit[n]]
            for r in range(PATCH):
                at = rays.rows[row + down * PATCH + r]
                ray.end = at.axis_depth
                for j in range(PATCH):
                    aim(ray, rays, at, first + j, piece.cosine, piece.sine)
                    floor: float = np.float64(patch[r * PATCH + j])  # float() keeps float32: callees would be compiled for it too
                    outside, foot, aside = _outside_slab(piece, ray, floor, piece.slack)
                    if outside:
                        continue
                    for body in range(bodies.shape[0]):
                        if kind == RING:
                            cut = _ring_depth(
                                piece, ray, foot, aside, floor, size, outline, bodies[body].first, bodies[body].after, stops
                            )
                        else:
                            cut = _convex_depth(piece, ray, foot, floor, outline, bodies[body].first, bodies[body].after)
                        if cut > floor:
                            floor = cut
                    found = np.float32(floor)
                    if found > patch[r * PATCH + j]:
                        patch[r * PATCH + j] = found


@kernel()
def new_buffers() -> Buffers:
    """Return the scratch buffers of one thread: a tile, indices of its patch columns, a ray, and values of t."""
    return blank_tile(), np.zeros(PATCHES, np.int32), np.zeros(1, RAY), np.zeros(_STOPS)


@kernel(fastmath=FUSED)
def carve_tile(
    rays: Rays,
    cutter: Solid,
    pieces: Records[Piece],
    bounds: Int32s,
    chosen: Int32s,
    row: int,
    column: int,
    buffers: Buffers,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen one tile of the depth grid by the pieces that reach the tile."""
    tile, patch_columns_hit, ray, stops = buffers
    outline, bodies, shape = cutter.outline, cutter.bodies, (cutter.kind, cutter.size)
    load_tile(depth, row, column, tile)
    for k in chosen:
        _deepen(
            pieces[k],
            bounds[k],
            row,
            column,
            depth.shape[1],
            rays,
            outline,
            bodies,
            shape,
            patch_columns_hit,
            ray[0],
            stops,
            tile,
        )
    store_tile(tile, row, column, work, depth)
