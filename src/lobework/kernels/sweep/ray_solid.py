"""Where a straight ray leaves a solid of revolution, and which way its skin faces there.

A solid is seen in the half plane of ``r``, the distance from its axis, and ``y``, the way along it. Its outline is (p, 8)
float64, one part a row, in any order: 0, r, y, dr, dy, length, side for a straight part, from a place in a unit direction, and
the solid on the left of it (side 1) or on the right (-1); or 1, r, y, radius, dr, dy, near, far for a round one, about a middle,
between two distances from the line from there in a unit direction, on both sides of it, and the solid within. A ray is seen as
``y + climb e`` and ``r^2 = square e^2 + 2 cross e + off``, ``e`` mm from where it starts.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["COLUMNS", "NOTHING", "gap", "leaves"]

COLUMNS: Final = 8
NOTHING: Final = -1e30
"""Depth where a ray is not met."""
FUSED: Final = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_TOUCHES_MM: Final = 1e-10
_ON_AXIS_MM: Final = 1e-7
_NO_MM: Final = 1e-12
_MET_MM: Final = 1e-9
_SETTLED_MM: Final = 1e-11
_ROUNDS: Final = 60


@kernel(fastmath=FUSED, inline="always")
def _from_axis(square: float, cross: float, off: float, e: float) -> float:
    return math.sqrt(max((square * e + 2.0 * cross) * e + off, 0.0))


@kernel(fastmath=FUSED)
def _ring_root(part: Array, y: float, climb: float, square: float, cross: float, off: float) -> float:
    """Return the furthest place at which a ray meets a ring, by steps back from beyond it that never pass it, then Newton's."""
    lift, bound = y - part[2], abs(part[1]) + part[3]
    half = cross + lift * climb
    under = half * half - (off + lift * lift - bound * bound)
    if under < 0.0:
        return NOTHING
    span = math.sqrt(under)
    e, least = span - half, -span - half - _TOUCHES_MM
    for _ in range(_ROUNDS):
        r = _from_axis(square, cross, off, e)
        out_r, out_y = r - part[1], y + climb * e - part[2]
        middle, side = out_r * part[4] + out_y * part[5], abs(out_r * part[5] - out_y * part[4])
        away = math.sqrt(out_r * out_r + out_y * out_y)
        beside = middle >= 0.0 and part[6] * away <= side * part[3] and side * part[3] <= part[7] * away
        if beside:
            short = away - part[3]
            slope = (out_r * (square * e + cross) / max(r, _NO_MM) + out_y * climb) / max(away, _NO_MM)
            if abs(short) < _SETTLED_MM:
                return e  # type: ignore[no-any-return]
            if slope > 0.0 and abs(short) < 0.3 * part[3] * slope:
                ahead = e - short / slope
                r = _from_axis(square, cross, off, ahead)
                after = math.hypot(r - part[1], y + climb * ahead - part[2]) - part[3]
                if -_SETTLED_MM < after < 0.9 * short:
                    e = ahead
                    continue
            step = abs(short)
        else:
            ends = 1e30
            for k in range(6, 8):
                up = math.sqrt(max(part[3] * part[3] - part[k] * part[k], 0.0))
                ends = min(ends, math.hypot(middle - up, side - part[k]))
            step = ends
        e -= max(step, 1e-10)
        if e < least:
            return NOTHING
    return NOTHING


@kernel(fastmath=FUSED)
def gap(outline: Array, first: int, last: int, r: float, y: float) -> tuple[float, float, float]:
    """Return how far outside a convex solid a place is, by the part it is furthest beyond, and that part's normal there."""
    furthest, normal_r, normal_y = NOTHING, 0.0, 0.0
    for p in range(first, last):
        part = outline[p]
        if part[0] == 0.0:
            out_r, out_y = part[6] * part[4], -part[6] * part[3]
            out = out_r * (r - part[1]) + out_y * (y - part[2])
        else:
            away_r, away_y = r - part[1], y - part[2]
            middle, side = away_r * part[4] + away_y * part[5], away_r * part[5] - away_y * part[4]
            towards = 1.0 if side >= 0.0 else -1.0
            away = math.sqrt(middle * middle + side * side)
            sine = abs(side) / max(away, _NO_MM) if middle > 0.0 else 1.0
            sine = min(max(sine, part[6] / part[3]), part[7] / part[3])
            cosine = math.sqrt(max(1.0 - sine * sine, 0.0))
            out_r, out_y = cosine * part[4] + towards * sine * part[5], cosine * part[5] - towards * sine * part[4]
            out = out_r * away_r + out_y * away_y - part[3]
        if out > furthest:
            furthest, normal_r, normal_y = out, out_r, out_y
    return furthest, normal_r, normal_y


@kernel(fastmath=FUSED, inline="always")
def leaves(
    outline: Array,
    first: int,
    last: int,
    y: float,
    climb: float,
    square: float,
    cross: float,
    off: float,
    most: float,
    convex: bool,
) -> tuple[float, float, float]:
    """Return where a ray leaves a solid for good, and the skin's outward normal there, along r and y.

    Parameters
    ----------
    outline : (p, 8) float64
        See the module.
    first, last : int
        The solid's parts: from ``first`` up to, not including, ``last``.
    y, climb, square, cross, off : float
        The ray; see the module.
    most : float, mm
        The ray's end: where it is still in the solid there, that is where it leaves, with no normal.
    convex : bool
        Whether the solid is convex, and so left but once.
    """
    deepest, normal_r, normal_y = NOTHING, 0.0, 0.0
    beyond = False
    for p in range(first, last):
        part = outline[p]
        for root in range(2):
            if part[0] == 0.0:
                base, gain = part[4] * part[1] + part[3] * (y - part[2]), part[3] * climb
                if part[4] == 0.0:
                    if root == 1:
                        break
                    e = (part[2] - y) / climb
                else:
                    tall = part[4] * part[4]
                    a, b, c = tall * square - gain * gain, tall * cross - base * gain, tall * off - base * base
                    under = b * b - a * c
                    if under < 0.0:
                        if under < -1e-13 * b * b:
                            break
                        under = 0.0
                    q = -(b + math.copysign(math.sqrt(under), b))
                    e = q / a if root == 0 else c / q
                if not abs(e) < 1e9:
                    continue
                r = _from_axis(square, cross, off, e)
                along = part[3] * (r - part[1]) + part[4] * (y + climb * e - part[2])
                slack = _ON_AXIS_MM if part[1] == 0.0 else _TOUCHES_MM
                if along < -slack or along > part[5] + _TOUCHES_MM or (base + gain * e) * part[4] < -1e-12:
                    continue
                out_r, out_y = part[6] * part[4], -part[6] * part[3]
            else:
                if part[1] == 0.0:
                    lift = y - part[2]
                    half = cross + lift * climb
                    under = half * half - (off + lift * lift - part[3] * part[3])
                    if under < 0.0:
                        break
                    e = math.sqrt(under) - half if root == 0 else -math.sqrt(under) - half
                else:
                    if root == 1:
                        break
                    e = _ring_root(part, y, climb, square, cross, off)
                    if e == NOTHING:
                        break
                r = _from_axis(square, cross, off, e)
                out_r, out_y = (r - part[1]) / part[3], (y + climb * e - part[2]) / part[3]
                middle, side = out_r * part[4] + out_y * part[5], abs(out_r * part[5] - out_y * part[4])
                if middle < -_TOUCHES_MM or side * part[3] < part[6] - _TOUCHES_MM or side * part[3] > part[7] + _TOUCHES_MM:
                    continue
            if r < _MET_MM:
                out_r, leaving = 0.0, out_y * climb
            else:
                leaving = out_r * (square * e + cross) / r + out_y * climb
            if e <= most:
                if e > deepest and leaving > -1e-9:
                    deepest, normal_r, normal_y = e, out_r, out_y
                    if convex and leaving > 1e-6:
                        return deepest, normal_r, normal_y
            else:
                beyond = True
    if beyond and gap(outline, first, last, _from_axis(square, cross, off, most), y + climb * most)[0] <= 0.0:
        return most, 0.0, 0.0
    return deepest, normal_r, normal_y
