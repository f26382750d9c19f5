"""Where a straight ray meets a flat blade that goes along a piece of path, for certain: boxes of poses and depths, narrowed.

A piece turns little, so that over a box each of "how far off the blade's plane", "how far along its breadth" and "how far out of
its tip" is straight but for a known rest. What these leave of a box is taken again, halved where it does not narrow, the deeper
half first, until it is smaller than can be told; a box in which they leave nothing holds no meeting.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.tiles import Whole

    Nine = tuple[float, float, float, float, float, float, float, float, float]
    Left = tuple[float, float, float, float, float, float, float, int]

__all__ = ["BENDS", "BOXES", "FUSED", "NOTHING", "SPEED", "STAYS", "VEERS", "meets", "posed", "turned_on"]

FUSED: Final = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
NOTHING: Final = -1e30
"""Depth where a ray is not met."""
BOXES: Final = 256
"""Room for boxes that wait: each halving leaves one, and a box is too small to tell after some tens of them."""
BENDS: Final = 24
"""Column: how fast, at most, what `posed` returns bends by the part done, mm."""
VEERS: Final = 25
"""Column: how much, at most, its slopes by depth change in the piece."""
SPEED: Final = 26
"""Column: how fast, at most, a ray passes through the blade's own frame, mm a piece."""
STAYS: Final = 27
"""Column: 1 for a blade that does not leave its own plane."""
_SLACK_MM: Final = 1e-9
_TOLD_MM: Final = 1e-7
_MET_MM: Final = 1e-8
_TRIED_MM: Final = 1e-4
_NARROWER: Final = 0.5
_DEEPER: Final = 0.125
_TANGENTS: Final = 9
_NONE, _BOTH, _DEPTHS, _POSES_UP, _POSES_DOWN = range(5)


@kernel()
def turned_on(cosine: float, sine: float, angle: float) -> tuple[float, float]:
    """Return the cosine and sine of an angle less another one of a twentieth of a radian at the most."""
    q = angle * angle
    c, s = 1 - q * (0.5 - q * (1 / 24 - q / 720)), angle * (1 - q * (1 / 6 - q / 120))
    return cosine * c + sine * s, sine * c - cosine * s


@kernel(fastmath=FUSED)
def posed(g: Array, ray: Array, s: float, d: float) -> Nine:
    """Return where the place ``d`` deep on a ray stands to the blade when the part ``s`` of a piece is done.

    Across the blade's plane, along its breadth, and out of its tip, mm; each with its slopes by depth and by the part done.
    See `meets` for what is given.
    """
    c, q = 1.0, 0.0
    if g[1] != 0.0:
        c, q = turned_on(1.0, 0.0, s * g[1])
    x, y = ray[0] + d * ray[3], ray[1] + d * ray[4]
    r, p = x * c - y * q, y * c + x * q
    xr, xp, xz = r - g[2] - s * g[5], p - g[3] - s * g[6], ray[2] + d * ray[5] - g[4] - s * g[7]
    dr, dp, dz = ray[3] * c - ray[4] * q, ray[4] * c + ray[3] * q, ray[5]
    sr, sp, sz = p * g[1] - g[5], -r * g[1] - g[6], -g[7]
    outr, outp, outz = g[8] + s * g[11], g[9] + s * g[12], g[10] + s * g[13]
    lr, lp, lz = g[14] + s * g[17], g[15] + s * g[18], g[16] + s * g[19]
    nr, np_, nz = outp * lz - outz * lp, outz * lr - outr * lz, outr * lp - outp * lr
    tr = g[12] * lz - g[13] * lp + outp * g[19] - outz * g[18]
    tp = g[13] * lr - g[11] * lz + outz * g[17] - outr * g[19]
    tz = g[11] * lp - g[12] * lr + outr * g[18] - outp * g[17]
    across = nr * xr + np_ * xp + nz * xz
    across_d = nr * dr + np_ * dp + nz * dz
    across_s = nr * sr + np_ * sp + nz * sz + tr * xr + tp * xp + tz * xz
    even_out, even_level = 1 + s * (1 - s) * g[22], 1 + s * (1 - s) * g[23]
    along, out = lr * xr + lp * xp + lz * xz, outr * xr + outp * xp + outz * xz
    along_d = (lr * dr + lp * dp + lz * dz) * even_level
    along_s = (lr * sr + lp * sp + lz * sz + g[17] * xr + g[18] * xp + g[19] * xz) * even_level + along * (1 - 2 * s) * g[23]
    out_d = (outr * dr + outp * dp + outz * dz) * even_out
    out_s = (outr * sr + outp * sp + outz * sz + g[11] * xr + g[12] * xp + g[13] * xz) * even_out + out * (1 - 2 * s) * g[22]
    return across, across_d, across_s, along * even_level, along_d, along_s, out * even_out, out_d, out_s


@kernel(inline="always")
def _trimmed(low: float, high: float, at: float, by: float) -> tuple[float, float]:
    """Return what is left of a range of v where ``at + by v`` is not above zero."""
    if by > 0.0:
        return low, min(high, -at / by)
    if by < 0.0:
        return max(low, -at / by), high
    return (low, high) if at <= 0.0 else (1.0, -1.0)


@kernel(fastmath=FUSED)
def _left(g: Array, ray: Array, s0: float, s1: float, d0: float, d1: float, outline: Array, body: Whole) -> Left:
    """Return what is left of a box, from ``s0`` to ``s1`` done and ``d0`` to ``d1`` deep, for a stretch of the outline.

    The trace of the blade's plane is solved for that of the two which it fixes better, so that what else holds the blade
    narrows the other one. Then the place that seems deepest; how much is not told by straight lines, mm; and which is narrowed
    by the other: `_NONE` where nothing is left, `_BOTH` where the plane leaves no trace, `_DEPTHS`, or `_POSES` and which end of
    them is the deeper.
    """
    s, d, half_s, half_d = 0.5 * (s0 + s1), 0.5 * (d0 + d1), 0.5 * (s1 - s0), 0.5 * (d1 - d0)
    across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = posed(g, ray, s, d)
    rest = (0.5 * g[BENDS] * half_s + g[VEERS] * half_d) * half_s + _SLACK_MM
    if abs(across) > abs(across_s) * half_s + abs(across_d) * half_d + rest:
        return s0, s1, d0, d1, s, d, rest, _NONE
    for_s = abs(across_s) * half_s >= abs(across_d) * half_d
    if for_s:
        by, other, half, free = across_s, across_d, half_s, half_d
        along_u, along_v, out_u, out_v = along_s, along_d, out_s, out_d
    else:
        by, other, half, free = across_d, across_s, half_d, half_s
        along_u, along_v, out_u, out_v = along_d, along_s, out_d, out_s
    fixed = abs(by) * half > 2.0 * rest
    at, slope, spread = (-across / by, -other / by, rest / abs(by)) if fixed else (0.0, 0.0, half)
    low, high = _trimmed(-free, free, across - rest - abs(by) * half, other)
    low, high = _trimmed(low, high, -across - rest - abs(by) * half, -other)
    first, last, side = body[0], body[1], body[2]
    near, far = outline[first, 0], outline[last, 1]
    up, up_v, up_rest = out + out_u * at, out_v + out_u * slope, abs(out_u) * spread + rest
    for turn in range(2):
        sign = 1.0 - 2.0 * turn
        if side == -sign:
            continue
        a, a_v, a_rest = sign * (along + along_u * at), sign * (along_v + along_u * slope), abs(along_u) * spread + rest
        low, high = _trimmed(low, high, a - far - a_rest, a_v)
        if side != 0:
            low, high = _trimmed(low, high, near - a - a_rest, -a_v)
        for part in range(first, last + 1):
            c0, c1 = outline[part, 3], outline[part, 4]
            if outline[part, 2] == 0.0:
                off = c0 + c1 * (a - outline[part, 0]) - up
                low, high = _trimmed(low, high, off - c1 * a_rest - up_rest, c1 * a_v - up_v)
                continue
            for tangent in range(_TANGENTS):
                v = 0.5 * (low + high) if tangent == 0 else (low if tangent % 2 == 0 else high)
                to_a, under = a + a_v * v, c0 - up - up_v * v
                away = math.sqrt(under * under + to_a * to_a)
                if tangent > 2 and away <= c1:
                    continue
                sine = outline[part, 1] / c1 if under < 0.0 < to_a else to_a / max(away, 1e-12)
                sine = min(max(sine, outline[part, 0] / c1), outline[part, 1] / c1)
                cosine = math.sqrt(max(1.0 - sine * sine, 0.0))
                off = sine * a + cosine * (c0 - up) - c1
                low, high = _trimmed(low, high, off - sine * a_rest - cosine * up_rest, sine * a_v - cosine * up_v)
        if low > high:
            return s0, s1, d0, d1, s, d, rest, _NONE
    ends_low, ends_high = at + slope * low, at + slope * high
    least, most = max(min(ends_low, ends_high) - spread, -half), min(max(ends_low, ends_high) + spread, half)
    if least > most:
        return s0, s1, d0, d1, s, d, rest, _NONE
    if for_s:
        s, s0, s1, d0, d1 = s + min(max(ends_high, -half), half), s + least, s + most, d + low, d + high
        return s0, s1, d0, d1, s, d1, rest, _DEPTHS if fixed else _BOTH
    s0, s1, d0, d1 = s + low, s + high, d + least, d + most
    if slope > 0.0:
        return s0, s1, d0, d1, s1, d + min(ends_high, half), rest, _POSES_UP if fixed else _BOTH
    return s0, s1, d0, d1, s0, d + min(ends_low, half), rest, _POSES_DOWN if fixed else _BOTH


@kernel(fastmath=FUSED)
def _beyond(outline: Array, along: float, out: float, body: Whole) -> float:
    """Return how far a place in the blade's plane is outside a stretch of the outline, mm; not above zero in it."""
    first, last, side = body[0], body[1], body[2]
    a = abs(along) if side == 0 else side * along
    near, far = outline[first, 0], outline[last, 1]
    off = max(a - far, near - a) if side != 0 else a - far
    a = min(max(a, near), far)
    part = first
    while part < last and a > outline[part, 1]:
        part += 1
    c0, c1 = outline[part, 3], outline[part, 4]
    if outline[part, 2] == 0.0:
        return max(off, (c0 + c1 * (a - outline[part, 0]) - out) / math.sqrt(1.0 + c1 * c1))  # type: ignore[no-any-return]
    return max(off, math.sqrt((c0 - out) ** 2 + a * a) - c1) if out < c0 else off  # type: ignore[no-any-return]


@kernel(fastmath=FUSED)
def _checked(g: Array, ray: Array, s: float, d: float, outline: Array, body: Whole, for_s: bool) -> float:
    """Return the depth beside a place of a box at which the ray does meet a stretch of the blade, or `NOTHING`."""
    across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = posed(g, ray, s, d)
    if for_s:
        step = -across / across_s
        s, along, out, left = s + step, along + step * along_s, out + step * out_s, g[BENDS] * step * step
    else:
        step = -across / across_d
        d, along, out, left = d + step, along + step * along_d, out + step * out_d, 0.0
    if left <= _MET_MM and -_SLACK_MM <= s <= 1.0 + _SLACK_MM and d <= ray[6] and _beyond(outline, along, out, body) <= _MET_MM:
        return d
    return NOTHING


@kernel(fastmath=FUSED)
def meets(g: Array, ray: Array, outline: Array, bodies: Whole, floor: float, boxes: Array) -> float:
    """Return how deep a ray meets a blade that goes along a piece of path, if deeper than ``floor``.

    Parameters
    ----------
    g : (28 or more,) float64
        A piece: the polar angle of the plane through the axis that it is seen from, rad, and its change in the piece; and seen
        from there the blade's tip, mm (columns 2 to 4), and its move (5 to 7), its way out of the tip (8 to 10) and the change
        of that (11 to 13), the way of its breadth (14 to 16) and its change (17 to 19); the angle's cosine and sine; half the
        squares of both changes; and `BENDS`, `VEERS`, `SPEED` and `STAYS`.
    ray : (7,) float64
        Its start and way, seen from the plane in which the piece begins, and how deep it goes.
    outline : (k, 5 or more) float64
        See `lobework.kernels.sweep.blade_on_face`.
    bodies : (m, 3) int32
        First and last part of each stretch of the outline that does not bend inwards, and its side of the middle line: 1
        or -1, or 0 for both.
    floor : float, mm
        What is no deeper is of no use. It does not change what is returned otherwise.
    boxes : (BOXES, 4) float64
        Room to work in.
    """
    deepest = NOTHING
    if g[STAYS] != 0.0 and abs(posed(g, ray, 0.5, 0.0)[1]) < _SLACK_MM:
        return deepest
    for k in range(bodies.shape[0]):
        boxes[0, 0], boxes[0, 1], boxes[0, 2], boxes[0, 3] = 0.0, 1.0, 0.0, ray[6]
        waiting = 1
        while waiting > 0:
            waiting -= 1
            s0, s1, d0, d1 = boxes[waiting]
            while d1 > floor and d1 > deepest + _TOLD_MM:
                long, tall = s1 - s0, d1 - d0
                s0, s1, d0, d1, s, d, rest, by = _left(g, ray, s0, s1, d0, d1, outline, bodies[k])
                if by == _NONE:
                    break
                passes = g[SPEED] * (s1 - s0)
                if by != _BOTH and rest < _TRIED_MM:
                    deepest = max(deepest, _checked(g, ray, s, d, outline, bodies[k], by == _DEPTHS))
                elif d1 - d0 <= _TOLD_MM and passes <= _TOLD_MM:
                    deepest = max(deepest, d1)
                if s1 - s0 > _NARROWER * long and d1 - d0 > _NARROWER * tall:
                    part = 0.5 if by == _BOTH else _DEEPER
                    if by == _BOTH or (by != _DEPTHS and passes <= _TOLD_MM) or (by == _DEPTHS and d1 - d0 <= _TOLD_MM):
                        by, part = _DEPTHS if d1 - d0 > passes else _POSES_UP, 0.5
                    boxes[waiting, 0], boxes[waiting, 1], boxes[waiting, 2], boxes[waiting, 3] = s0, s1, d0, d1
                    if by == _DEPTHS:
                        d0 = boxes[waiting, 3] = d1 - part * (d1 - d0)
                    elif by == _POSES_UP:
                        s0 = boxes[waiting, 1] = s1 - part * (s1 - s0)
                    else:
                        s1 = boxes[waiting, 0] = s0 + part * (s1 - s0)
                    waiting += 1
    return deepest
