"""Solids of revolution swept over a depth grid along pieces of path, over any surface and however they lean.

A piece of path turns little, so that how deep a convex solid cuts a ray bends down all along it, or nearly: it lies below each
of its tangents, but for a doubt that grows with the turn and the bow of the path. From where the solid's axis passes the ray
the deepest place is looked for uphill, until the tangents on both sides of it leave nothing above what is found; a ray whose
first tangent promises no more than it is deep already is left at once. A tangent is known from the skin where the ray leaves
the solid: ``n . v / n . way``, v the skin's speed there and n its normal.

A ray that is cut deepest from within a piece leaves the solid where its skin neither comes nor goes, ``n . v = 0``. For a solid
about the way out of the work that is near its middle line, as the path climbs little: only that slab is visited.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.blade_on_face import reach, turned_on
from lobework.kernels.sweep.ray_solid import NOTHING, gap, leaves
from lobework.kernels.sweep.rays import aim, aim_at_patch, bounds_in, deepest_of
from lobework.kernels.sweep.tiles import (
    PATCH,
    PATCHES,
    PRANGE_ALONE,
    SHARES,
    blank_tile,
    corner,
    load_tile,
    lots,
    next_ticket,
    patch_columns,
    rows_between,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.rays import Rays
    from lobework.kernels.sweep.tiles import Cells, Counts, Whole

    Shape = tuple[int, float]

__all__ = ["PIECE", "carve_solid"]

PIECE: Final = 66
"""A piece of path: see `carve_solid`."""
TIP: Final = 48
OUT: Final = 54
_BOX: Final = 60
DRILL: Final = 0
FRAME: Final = 1
RING: Final = 2
FUSED: Final = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_WITHIN_MM: Final = 1e-6
_NO_MM: Final = 1e-12
_LEAST_SQUARE: Final = 1e-12
_INTO_MM: Final = 1e-7
_SLACK_MM: Final = 1e-9
_ASTRAY_MM: Final = 1.0
"""A ray that leaves a solid so far outside the work, beyond what a piece reaches, tells nothing of where it is met inside."""
_ROUNDS: Final = 60
_SHORTEST: Final = 1 / 64
_STOPS: Final = 12
_NEAR: Final = 0.6
"""A top that the skin's bend puts nearer than this part of the way to a piece's end is looked for there."""
_OVER: Final = 1.2
"""How far past where the bend puts a top it is looked for, so that it lies between."""


@kernel(fastmath=FUSED, inline="always")
def _seen(
    g: Array, ray: Array, t: float
) -> tuple[float, float, float, float, float, float, float, float, float, float, float, float]:
    """Return a ray's start off the solid's middle, its way, and the solid's axis and middle, t of a piece done.

    All are as the path's radius there sees them. ``ray`` is a start and a way, 3 each, as the radius in the middle of the piece
    sees them, and the ray's end.
    """
    sx, sy, wx, wy = ray[0], ray[1], ray[3], ray[4]
    if g[1] != 0.0:
        c, q = turned_on(1.0, 0.0, (t - 0.5) * g[1])
        sx, sy = sx * c - sy * q, sy * c + sx * q
        wx, wy = wx * c - wy * q, wy * c + wx * q
    bow = t * (1.0 - t)
    px, py, pz = g[2] + t * g[5] + bow * g[8], g[3] + t * g[6] + bow * g[9], g[4] + t * g[7] + bow * g[10]
    ax, ay, az = g[11] + t * g[14] + bow * g[45], g[12] + t * g[15] + bow * g[46], g[13] + t * g[16] + bow * g[47]
    if g[17] != 0.0:
        per = 1.0 / math.sqrt(ax * ax + ay * ay + az * az)
        ax, ay, az = ax * per, ay * per, az * per
    return sx - px, sy - py, ray[2] - pz, wx, wy, ray[5], ax, ay, az, px, py, pz


@kernel(fastmath=FUSED, inline="always")
def _climb(
    g: Array,
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
    """Return how fast the skin comes on where a ray meets it, n . v, and the ray leaves, n . way; and its bend about the axis.

    And by how much the path bows into the skin, ``-n . bow``.
    """
    x, y, z = x + e * wx, y + e * wy, z + e * wz
    up = x * ax + y * ay + z * az
    rx, ry, rz = x - up * ax, y - up * ay, z - up * az
    r = math.sqrt(rx * rx + ry * ry + rz * rz)
    scale = normal_r / r if r > _NO_MM else 0.0
    nx, ny, nz = normal_y * ax + scale * rx, normal_y * ay + scale * ry, normal_y * az + scale * rz
    bow = 1.0 - 2.0 * t
    vx, vy, vz = g[5] + bow * g[8] - g[1] * (y + py), g[6] + bow * g[9] + g[1] * (x + px), g[7] + bow * g[10]
    if g[17] != 0.0:
        dx, dy, dz = g[14] + bow * g[45], g[15] + bow * g[46], g[16] + bow * g[47]
        ox, oy, oz = ay * dz - az * dy, az * dx - ax * dz, ax * dy - ay * dx
        vx, vy, vz = vx + oy * z - oz * y, vy + oz * x - ox * z, vz + ox * y - oy * x
    return nx * vx + ny * vy + nz * vz, nx * wx + ny * wy + nz * wz, scale, -(nx * g[8] + ny * g[9] + nz * g[10])


@kernel(fastmath=FUSED)
def _depth(g: Array, ray: Array, t: float, outline: Array, first: int, last: int) -> tuple[float, float, float, float, float]:
    """Return how deep a ray goes in the solid, t of a piece done; how that grows with t; how squarely it leaves, 0 to 1.

    And by how much less it grows later on, as far as the skin's bend about the solid's axis tells; and by how much more, as the
    path bows, for `_doubt`.
    """
    x, y, z, wx, wy, wz, ax, ay, az, px, py, _ = _seen(g, ray, t)
    base = -(x * wx + y * wy + z * wz)
    x, y, z = x + base * wx, y + base * wy, z + base * wz
    up, climb = x * ax + y * ay + z * az, wx * ax + wy * ay + wz * az
    square = max(1.0 - climb * climb, 0.0)
    e, normal_r, normal_y = leaves(
        outline, first, last, up, climb, square, -up * climb, x * x + y * y + z * z - up * up, ray[6] - base, g[44] != 0.0
    )
    if e == NOTHING:
        return NOTHING, 0.0, 1.0, 0.0, 0.0
    if normal_r == 0.0 and normal_y == 0.0:
        return e + base, 0.0, 1.0, 0.0, 0.0
    comes, leaving, bend, into = _climb(g, t, e, x, y, z, wx, wy, wz, ax, ay, az, px, py, normal_r, normal_y)
    leaving = max(leaving, _LEAST_SQUARE)
    per = 1.0 / leaving
    return e + base, comes * per, leaving, g[30] * g[30] * bend * per, into


@kernel(fastmath=FUSED, inline="always")
def _doubt(g: Array, span: float, more: float, square: float, into: float) -> float:
    """Return how far above its tangent the depth may be, ``span`` of a piece away, where the tangent promises ``more``.

    A ray, as the solid sees it, goes straight but for how the path turns and bows ``into`` the skin; that grows with the square
    of the span.
    """
    return ((g[32] + max(into, 0.0)) * span * span + more * g[33]) / max(square - g[33], _LEAST_SQUARE)  # type: ignore[no-any-return]


@kernel(fastmath=FUSED)
def _misses(g: Array, ray: Array, t: float, outline: Array, first: int, last: int) -> tuple[float, float]:
    """Return by how much a ray misses a convex solid, t of a piece done, and how that grows with t."""
    x, y, z, wx, wy, wz, ax, ay, az, px, py, _ = _seen(g, ray, t)
    up, climb = x * ax + y * ay + z * az, wx * ax + wy * ay + wz * az
    cross, off = x * wx + y * wy + z * wz - up * climb, x * x + y * y + z * z - up * up
    square = max(1.0 - climb * climb, 0.0)
    low, high = 0.0, min(ray[6], ray[7])
    least, above, grows_above, below, grows_below = 1e30, 0.0, 0.0, 0.0, 0.0
    while high - low >= _WITHIN_MM:
        e = 0.5 * (low + high)
        r = math.sqrt(max((square * e + 2.0 * cross) * e + off, 0.0))
        out, normal_r, normal_y = gap(outline, first, last, r, up + climb * e)
        grows = normal_r * (square * e + cross) / max(r, _NO_MM) + normal_y * climb
        comes, _, _, _ = _climb(g, t, e, x, y, z, wx, wy, wz, ax, ay, az, px, py, normal_r, normal_y)
        least = min(least, out)
        if out <= 0.0 or abs(grows) < _NO_MM:
            return out, -comes
        if grows > 0.0:
            high, above, grows_above = e, grows, -comes
        else:
            low, below, grows_below = e, grows, -comes
    if below == 0.0 or above == 0.0:
        return least, grows_above + grows_below
    share = -below / (above - below)
    return least, share * grows_above + (1.0 - share) * grows_below


@kernel(fastmath=FUSED)
def _passed(g: Array, ray: Array, floor: float, off: float) -> tuple[bool, float, float]:
    """Return whether a piece passes a ray by; where its tip is nearest to it; and how far aside of the tip's way the ray is.

    All that is ``off`` mm about the ray is passed by too; the ray is taken from ``floor`` to as deep as the piece reaches, and
    the tip is nearest at its own height.
    """
    x, y, z, wx, wy, wz = ray[0] - g[18], ray[1] - g[19], ray[2] - g[20], ray[3], ray[4], ray[5]
    u, per_u = x * g[24] + y * g[25] + z * g[26], wx * g[24] + wy * g[25] + wz * g[26]
    v, per_v = x * g[27] + y * g[28] + z * g[29], wx * g[27] + wy * g[28] + wz * g[29]
    u_low, u_high, v_low, v_high = u + floor * per_u, u + ray[7] * per_u, v + floor * per_v, v + ray[7] * per_v
    aside, ahead, behind = g[34] + off, 0.5 * g[30] + g[36] + off, -0.5 * g[30] - g[37] - off
    passed = min(v_low, v_high) > aside or max(v_low, v_high) < -aside
    passed = passed or min(u_low, u_high) > ahead or max(u_low, u_high) < behind
    up, climb = x * g[21] + y * g[22] + z * g[23], wx * g[21] + wy * g[22] + wz * g[23]
    e = -up / climb if climb < -0.05 else 0.0
    t = 0.5 + (u + e * per_u) / g[30] if g[30] > _NO_MM else 0.5
    return passed, min(max(t, 0.0), 1.0), v + e * per_v


@kernel(fastmath=FUSED)
def _first_met(g: Array, ray: Array, t: float, outline: Array, first: int, last: int) -> float:
    """Return a place in a piece where a ray meets a convex solid that it misses at t; -1 where there is none to be had.

    How much a ray misses by bends up all along a piece, so its tangents lead to where it is met, and never past; but where it is
    least apart may wander along the ray as the solid turns. Where that leaves a doubt, the piece is gone through from its
    beginning, by steps that pass no place where it may be met unless they are the shortest.
    """
    wanders = g[33] * min(ray[6], ray[7])
    for _ in range(_ROUNDS):
        out, grows = _misses(g, ray, t, outline, first, last)
        if out <= 0.0:
            return t
        if out > max((grows + wanders) * t, (wanders - grows) * (1.0 - t)) + g[43]:
            return -1.0
        far = 0.0 if grows > 0.0 else 1.0
        if t == far or out > abs(grows * (far - t)) + g[43]:
            break
        t = min(max(t - (out + _INTO_MM) / grows, 0.0), 1.0)
    t = 0.0
    while t < 1.0:
        out, grows = _misses(g, ray, t, outline, first, last)
        if out <= 0.0:
            return t
        t += max(out / (max(-grows, 0.0) + wanders + g[43]), _SHORTEST)
    return -1.0


@kernel(fastmath=FUSED)
def _top(
    g: Array,
    ray: Array,
    low: float,
    low_deep: float,
    low_slope: float,
    high: float,
    high_deep: float,
    high_slope: float,
    floor: float,
    doubt: float,
    outline: Array,
    first: int,
    last: int,
) -> float:
    """Return the depth at a top between two places of a piece, uphill from both, or met at one of them alone.

    Given up where its tangents, and what they may be doubted by, leave no more than ``floor``. A place whose tangent leads to
    below the other place is across a leap from it, and counts as not met.
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
        if more <= _WITHIN_MM or most + doubt <= floor:
            break
        deep, slope, _, _, _ = _depth(g, ray, t, outline, first, last)
        best = max(best, deep)
        if slope >= 0.0 and deep >= low_deep and deep != NOTHING:
            low, low_deep, low_slope = t, deep if deep + slope * (high - t) + doubt >= high_deep else NOTHING, slope
        elif slope < 0.0 and deep >= high_deep:
            high, high_deep, high_slope = t, deep if deep - slope * (t - low) + doubt >= low_deep else NOTHING, slope
        elif low_deep < high_deep:
            low, low_deep = t, NOTHING
        else:
            high, high_deep = t, NOTHING
    return best


@kernel(fastmath=FUSED)
def _uphill(g: Array, ray: Array, t: float, floor: float, outline: Array, first: int, last: int) -> float:
    """Return how deep a ray is cut by a convex solid in a piece of path, from t on; any, if no deeper than ``floor``."""
    deep, slope, square, bend, into = _depth(g, ray, t, outline, first, last)
    if deep < -ray[7] - _ASTRAY_MM:
        t = _first_met(g, ray, t, outline, first, last)
        if t < 0.0:
            return NOTHING
        deep, slope, square, bend, into = _depth(g, ray, t, outline, first, last)
        if deep == NOTHING:
            return NOTHING
    end = 1.0 if slope >= 0.0 else 0.0
    for ahead in range(2):
        more = abs(slope * (end - t))
        doubt = _doubt(g, end - t, more, square, into)
        if more <= _WITHIN_MM or deep + more + doubt <= floor:
            return deep
        other = end
        if ahead == 0:
            if not abs(slope) < _NEAR * bend * abs(end - t):
                continue
            other = t + _OVER * slope / bend
        far, at, square_far, bend, into_far = _depth(g, ray, other, outline, first, last)
        if far < deep and (at >= 0.0) == (slope >= 0.0):
            far = NOTHING
        if far == NOTHING or (at >= 0.0) != (slope >= 0.0):
            if far != NOTHING:
                doubt = max(doubt, _doubt(g, other - t, abs(at * (other - t)), square_far, into_far))
            if slope >= 0.0:
                return _top(g, ray, t, deep, slope, other, far, at, floor, doubt, outline, first, last)
            return _top(g, ray, other, far, at, t, deep, slope, floor, doubt, outline, first, last)
        if ahead == 1:
            return max(deep, far)
        if far > deep:
            t, deep, slope, square, into = other, far, at, square_far, into_far
    return deep


@kernel(fastmath=FUSED)
def _ringed(
    g: Array,
    ray: Array,
    foot: float,
    aside: float,
    floor: float,
    swing: float,
    outline: Array,
    first: int,
    last: int,
    stops: Array,
) -> float:
    """Return how deep a ray is cut by an edge swung in a circle, in a piece of path: about both of its crossings of the circle.

    The cylinder about the whole follows in the outline, for rays that none of the places tried meets.
    """
    half = math.sqrt(max(swing * swing - aside * aside, 0.0)) / max(g[30], _NO_MM)
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
        deep, slope, square, _, into = _depth(g, ray, t, outline, first, last)
        best = max(best, deep)
        rises, falls = before_deep != NOTHING and before_slope > 0.0, deep != NOTHING and slope < 0.0
        if t > before and ((rises and (falls or deep < before_deep)) or (falls and before_deep < deep)):
            doubt = _doubt(g, t - before, abs(slope) + abs(before_slope), square, into)
            low_deep = before_deep if rises and before_deep + before_slope * (t - before) + doubt >= deep else NOTHING
            high_deep = deep if falls and deep - slope * (t - before) + doubt >= before_deep else NOTHING
            top = _top(g, ray, before, low_deep, before_slope, t, high_deep, slope, NOTHING, doubt, outline, first, last)
            best = max(best, top)
        elif t > before and before_deep != NOTHING and deep != NOTHING and slope > before_slope:
            doubt = _doubt(g, t - before, abs(slope) + abs(before_slope), square, into)
            low_deep = before_deep if rises and before_deep + before_slope * (t - before) > best else NOTHING
            high_deep = deep if falls and deep - slope * (t - before) > best else NOTHING
            if max(low_deep, high_deep) != NOTHING:
                top = _top(g, ray, before, low_deep, before_slope, t, high_deep, slope, best, doubt, outline, first, last)
                best = max(best, top)
        before, before_deep, before_slope = t, deep, slope
    if best != NOTHING:
        return best
    t = _first_met(g, ray, min(max(foot, 0.0), 1.0), outline, last, int(np.int32(outline.shape[0])))
    if t < 0.0:
        return NOTHING
    deep, slope, _, _, _ = _depth(g, ray, t, outline, first, last)
    if deep == NOTHING or slope == 0.0:
        return deep
    if slope > 0.0:
        return _top(g, ray, t, deep, slope, 1.0, NOTHING, 0.0, floor, 0.0, outline, first, last)
    return _top(g, ray, 0.0, NOTHING, 0.0, t, deep, slope, floor, 0.0, outline, first, last)


@kernel()
def _heights(edge: Array, far: float) -> tuple[float, float]:
    """Return between which heights above its tip a cutter's skin turns about its middle line, as far out as ``far``.

    That is where the skin's normal meets the middle line: ``h + r / k`` for a rise k at r, h high.
    """
    low, high = 1e30, 0.0
    for p in range(edge.shape[0]):
        near, end, arc, a, b = edge[p, 0], min(edge[p, 1], far), edge[p, 2] != 0.0, edge[p, 3], edge[p, 4]
        if near >= far:
            break
        if arc:
            low, high = min(low, a), max(high, a)
        elif b > 0.05:
            low, high = min(low, a + near / b), max(high, a + b * (end - near) + end / b)
    return (low, high) if low <= high else (0.0, 0.0)


@kernel()
def _ahead(edge: Array, far: float, climb: float, speed: float, height: float, along: float, aside: float) -> float:
    """Return how far ahead of, or behind, its middle line a cutter may be met deepest, ``far`` mm of it in the work.

    Its skin at r, of rise k, h high, comes on by ``r e . (v + (h + r / k - height) w) = r climb / k``, e the way there from the
    middle line, v the speed at ``height``, and w what it grows by for each mm above, ``along`` v and ``aside``.
    """
    out = 0.0
    for p in range(edge.shape[0]):
        if edge[p, 0] >= far:
            break
        for end in range(3):
            r = edge[p, 0] if end == 0 else min(edge[p, 1], far)
            if edge[p, 2] != 0.0:
                up = math.sqrt(max(edge[p, 4] ** 2 - r * r, 0.0))
                h, per = edge[p, 3] - up, up / max(r, _NO_MM)
                steep = math.sqrt(max(edge[p, 4] ** 2 - edge[p, 0] ** 2, 0.0))
            else:
                h, per = edge[p, 3] + edge[p, 4] * (r - edge[p, 0]), 1.0 / max(edge[p, 4], _NO_MM)
                steep = r * per
            if end == 2:
                per, steep = 0.0, 0.0
            off = abs(h + r * per - height)
            left = speed - off * along
            if left <= 0.0:
                out = max(out, r)
            else:
                out = max(out, min(r if edge[p, 2] == 0.0 else min(edge[p, 1], far), (steep * climb + r * off * aside) / left))
    return out


@kernel()
def _footprint(g: Array, edge: Array, shape: Shape, most: float, out: int) -> tuple[float, float, float]:
    """Return how wide and how tall a solid is in the work, and how far a frame's wheel reaches; below zero: not in it.

    ``out`` is the coordinate that goes out of the work, ``most`` the greatest that the work has.
    """
    kind, size = shape
    upright = min(g[OUT + out], g[OUT + 3 + out])
    lean = math.sqrt(max(1.0 - upright * upright, 0.0))
    lowest = min(g[TIP + out], g[TIP + 3 + out])
    wide, along, tall = edge[edge.shape[0] - 1, 1], size, 0.0
    for _ in range(4):
        spread = math.hypot(along, wide) if kind == FRAME else wide + size
        tall = (most - lowest + lean * spread) / upright
        wide = reach(edge, tall)
        if wide < 0.0:
            break
        if kind == FRAME:
            along = math.sqrt(size * size - (size - tall) ** 2) if tall < size else size
    return wide, tall, along


@kernel()
def _prepare(g: Array, edge: Array, shape: Shape, most: float, on_face: bool) -> bool:
    """Fill what is worked out of one piece alone; return whether it may reach the work."""
    kind, size = shape
    g[41], g[42] = math.cos(g[0] + 0.5 * g[1]), math.sin(g[0] + 0.5 * g[1])
    g[44] = 0.0 if kind == RING else 1.0
    g[17] = g[14] ** 2 + g[15] ** 2 + g[16] ** 2 + g[45] ** 2 + g[46] ** 2 + g[47] ** 2
    wide, tall, along = _footprint(g, edge, shape, most, 2 if on_face else 0)
    if wide < 0.0:
        return False
    for i in range(3):
        g[18 + i] = 0.5 * (g[TIP + i] + g[TIP + 3 + i])
    ox, oy, oz = g[OUT] + g[OUT + 3], g[OUT + 1] + g[OUT + 4], g[OUT + 2] + g[OUT + 5]
    per = 1.0 / math.sqrt(ox * ox + oy * oy + oz * oz)
    ox, oy, oz = ox * per, oy * per, oz * per
    g[21], g[22], g[23] = ox, oy, oz
    vx, vy, vz = g[TIP + 3] - g[TIP] - g[1] * g[19], g[TIP + 4] - g[TIP + 1] + g[1] * g[18], g[TIP + 5] - g[TIP + 2]
    wx, wy, wz = g[OUT + 3] - g[OUT] - g[1] * oy, g[OUT + 4] - g[OUT + 1] + g[1] * ox, g[OUT + 5] - g[OUT + 2]
    low, high = _heights(edge, wide) if kind == DRILL else (0.0, tall)
    height = 0.5 * (low + high)
    vx, vy, vz = vx + height * wx, vy + height * wy, vz + height * wz
    rises = vx * ox + vy * oy + vz * oz
    ux, uy, uz = vx - rises * ox, vy - rises * oy, vz - rises * oz
    speed = math.sqrt(ux * ux + uy * uy + uz * uz)
    if speed > _NO_MM:
        ux, uy, uz = ux / speed, uy / speed, uz / speed
    elif abs(oz) < 0.8:
        per = 1.0 / math.hypot(ox, oy)
        ux, uy, uz = -oy * per, ox * per, 0.0
    else:
        per = 1.0 / math.hypot(oy, oz)
        ux, uy, uz = 0.0, -oz * per, oy * per
    g[24], g[25], g[26] = ux, uy, uz
    g[27], g[28], g[29] = oy * uz - oz * uy, oz * ux - ox * uz, ox * uy - oy * ux
    g[30] = speed
    turn = math.sqrt((g[OUT + 3] - g[OUT]) ** 2 + (g[OUT + 4] - g[OUT + 1]) ** 2 + (g[OUT + 5] - g[OUT + 2]) ** 2)
    turn = max(turn, math.sqrt(g[17]))
    radius = size + wide if kind != FRAME else math.hypot(along, wide)
    bow = math.sqrt(g[8] ** 2 + g[9] ** 2 + g[10] ** 2)
    swerves = turn * math.sqrt(g[5] ** 2 + g[6] ** 2 + g[7] ** 2)
    sag = (0.0 if on_face else most * g[1] ** 2) / 8 + (radius + tall) * turn * turn / 4 + bow / 4 + swerves
    g[33] = abs(g[1]) + turn
    tilts = abs(g[14] * ox + g[15] * oy + g[16] * oz) + turn * turn if kind == FRAME else 0.0
    g[32] = 0.5 * (((0.0 if on_face else most) + radius + tall) * g[33] ** 2 + size * turn * tilts) + bow * g[33] + swerves
    g[43] = 2 * _SLACK_MM + 0.5 * ((0.0 if on_face else most) + size + radius) * g[33] ** 2 + bow + swerves
    sways = math.sqrt(wx * wx + wy * wy + wz * wz)
    g[40] = sag + (0.0 if on_face else most * g[1] ** 2) / 8 + 0.5 * sways * (max(tall, high) + radius) + 2 * _SLACK_MM
    if kind == FRAME:
        ax, ay, az = g[11] + 0.5 * g[14], g[12] + 0.5 * g[15], g[13] + 0.5 * g[16]
        cos_u, cos_v = abs(ax * ux + ay * uy + az * uz), abs(ax * g[27] + ay * g[28] + az * g[29])
        g[34] = along * math.sqrt(max(1.0 - cos_v * cos_v, 0.0)) + wide * cos_v
        g[35] = along * math.sqrt(max(1.0 - cos_u * cos_u, 0.0)) + wide * cos_u
    else:
        g[34], g[35] = radius, radius
    g[36], g[37], g[38] = g[35], g[35], g[35]
    if kind == DRILL and speed > _NO_MM:
        along, aside = abs(wx * ux + wy * uy + wz * uz), abs(wx * g[27] + wy * g[28] + wz * g[29])
        g[38] = min(_ahead(edge, wide, abs(rises), speed, height, along, aside) + wide * bow / speed, g[35])
    for i in range(3):
        up = min(g[OUT + i], g[OUT + 3 + i])
        over = max(g[OUT + i], g[OUT + 3 + i])
        aside = radius * math.sqrt(max(1.0 - min(up * up, over * over), 0.0)) if up * over > 0.0 else radius
        aside += turn * turn * tall / 8 + bow / 4 + 2 * _SLACK_MM
        g[_BOX + i] = min(g[TIP + i], g[TIP + 3 + i]) + min(tall * up, 0.0) - aside
        g[_BOX + 3 + i] = max(g[TIP + i], g[TIP + 3 + i]) + max(tall * over, 0.0) + aside
    return True


@kernel()
def _join(g: Array, h: Array) -> None:
    """Shorten what the slabs of a piece and of the one after it have beyond their ends, if they join."""
    apart = abs(g[0] + g[1] - h[0])
    for i in range(3):
        apart = max(apart, abs(g[TIP + 3 + i] - h[TIP + i]), abs(g[OUT + 3 + i] - h[OUT + i]))
    if apart > _SLACK_MM or min(g[30], h[30]) <= _NO_MM:
        return
    turn = math.sqrt((g[24] - h[24]) ** 2 + (g[25] - h[25]) ** 2 + (g[26] - h[26]) ** 2)
    ahead = max(g[38], h[38])
    g[36] = min(ahead + g[35] * turn, g[35])
    h[37] = min(ahead + h[35] * turn, h[35])


@kernel()
def _lay(pieces: Array, edge: Array, shape: Shape, rays: Rays, most: float, bounds: Whole) -> None:
    """Fill what is worked out of each piece, and its bounds in cells."""
    for k in range(pieces.shape[0]):
        g = pieces[k]
        bounds[k] = 1, 0, 1, 0
        if not _prepare(g, edge, shape, most, rays.on_face):
            g[30] = 0.0
        else:
            bounds_in(rays, g[_BOX:], g[0], g[1], bounds[k])
        if k > 0:
            _join(pieces[k - 1], g)


@kernel(fastmath=FUSED)
def _deepen(
    g: Array,
    bounds: Whole,
    row: int,
    column: int,
    columns: int,
    rays: Rays,
    outline: Array,
    bodies: Whole,
    shape: Shape,
    near: Whole,
    ray: Array,
    stops: Array,
    tile: Cells,
) -> None:
    """Deepen a tile by one piece."""
    kind, size = shape
    top, bottom = rows_between(bounds, row)
    count = patch_columns(bounds, column, columns, not rays.on_face, near)
    for down in range(top, bottom):
        band = rays.bands[row // PATCH + down]
        deep = deepest_of(rays, band, g[_BOX:])
        if deep <= 0.0:
            continue
        ray[7] = deep
        for n in range(count):
            first = column + near[n] * PATCH
            off = aim_at_patch(ray, rays, band, first, deep, g[41], g[42])
            if _passed(g, ray, 0.0, off + g[40])[0]:
                continue
            patch = tile[down * PATCHES + near[n]]
            for r in range(PATCH):
                at = rays.rows[row + down * PATCH + r]
                ray[6] = at[4]
                for j in range(PATCH):
                    aim(ray, rays, at, first + j, g[41], g[42])
                    floor: float = np.float64(patch[r * PATCH + j])  # float() keeps 32 bits: all is compiled for them too
                    passed, foot, aside = _passed(g, ray, floor, g[40])
                    if passed:
                        continue
                    for body in range(bodies.shape[0]):
                        if kind == RING:
                            cut = _ringed(g, ray, foot, aside, floor, size, outline, bodies[body, 0], bodies[body, 1], stops)
                        else:
                            cut = _uphill(g, ray, foot, floor, outline, bodies[body, 0], bodies[body, 1])
                        if cut > floor:
                            floor = cut
                    found = np.float32(floor)
                    if found > patch[r * PATCH + j]:
                        patch[r * PATCH + j] = found


@kernel(fastmath=FUSED)
def _share(
    tiles: Counts,
    tickets: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    rays: Rays,
    outline: Array,
    bodies: Whole,
    shape: Shape,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen tiles, as many as there are tickets."""
    k = next_ticket(tickets)
    if k >= tiles.size:
        return
    tile, near, ray, stops = blank_tile(), np.zeros(PATCHES, np.int32), np.zeros(8), np.zeros(_STOPS)
    columns = depth.shape[1]
    while k < tiles.size:
        number = tiles[k]
        row, column = corner(number, columns)
        load_tile(depth, row, column, tile)
        for of in order[starts[number] : starts[number + 1]]:
            _deepen(
                pieces[of],
                bounds[of],
                row,
                column,
                columns,
                rays,
                outline,
                bodies,
                shape,
                near,
                ray,
                stops,
                tile,
            )
        store_tile(tile, row, column, work, depth)
        k = next_ticket(tickets)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    rays: Rays,
    outline: Array,
    bodies: Whole,
    shape: Shape,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, a thread a tile."""
    tickets = np.zeros(1, np.int64)
    for _ in prange(SHARES):
        _share(tiles, tickets, starts, order, pieces, bounds, rays, outline, bodies, shape, work, depth)


def carve_solid(
    pieces: Array,
    edge: Array,
    shape: Shape,
    outline: Array,
    bodies: Whole,
    rays: Rays,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen depths by a solid of revolution that goes along pieces of path.

    Parameters
    ----------
    pieces : (n, PIECE) float64
        Of each piece: the polar angle where it begins and how far it turns, rad (0 and 1); as that radius sees them, the
        solid's middle, how far it goes, and how far it bows aside, a quarter of it half-way, mm (2 to 10); the axis and how
        far it turns (11 to 16), and how far its end bows aside, as the middle does (45 to 47); the tip where the piece begins and
        ends, mm (`TIP`); and the way out of the work there (`OUT`). On a face the angle is zero, and what is seen from it is x, y
        and z. The other columns are filled here.
        Pieces must turn little: a thirtieth of a radian at the most.
    edge : (k, 5) float64
        Of the cutter; see `lobework.kernels.sweep.blade_on_face.reach`.
    shape : (int, float)
        `DRILL` and zero; `FRAME` and the radius of the swing, mm; or `RING` and the radius of the circle, mm.
    outline : (p, 8) float64
        See `lobework.kernels.sweep.ray_solid`.
    bodies : (m, 2) int32
        The first part in the outline of each solid, and the one after its last. They are convex, but for a ring.
    rays : Rays
        Of the stock.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32, mm
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    most = 0.0 if rays.on_face else float(rays.rows[:, 0].max())
    _lay(pieces, edge, shape, rays, most, bounds)
    for part, tiles, starts, order in lots(bounds, depth.shape, not rays.on_face):
        _carve(tiles, starts, order, pieces[part], bounds[part], rays, outline, bodies, shape, work, depth)
