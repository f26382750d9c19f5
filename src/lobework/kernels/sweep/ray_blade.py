"""Where a straight ray meets a flat blade that goes along a piece of path, for certain: boxes of poses and depths, narrowed.

A piece turns little, so that over a box each of "how far off the blade's plane", "how far along its breadth" and "how far out of
its tip" is straight but for a known rest. What these leave of a box is taken again, halved where it does not narrow, the deeper
half first, until it is smaller than can be told; a box in which they leave nothing holds no meeting.

What the arrays hold:

* ``outline`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, outwards.
* ``bodies`` : (m,) `Body`.
* ``boxes`` : (`BOXES`,) `Places`: those that wait.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel
from lobework.kernels.records import Box, Vector, layout

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.rays import Ray

    Nine = tuple[float, float, float, float, float, float, float, float, float]
    Left = tuple[float, float, float, float, float, float, float, int]

__all__ = ["BOXES", "FUSED", "NOTHING", "PLACES", "Body", "Piece", "Places", "meets", "posed", "turned_on"]

FUSED: Final = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
NOTHING: Final = -1e30
"""Depth where a ray is not met."""
BOXES: Final = 256
"""Room for boxes that wait: each halving leaves one, and a box is too small to tell after some tens of them."""
_SLACK_MM: Final = 1e-9
_TOLD_MM: Final = 1e-7
_MET_MM: Final = 1e-8
_TRIED_MM: Final = 1e-4
_NARROWER: Final = 0.5
_DEEPER: Final = 0.125
_TANGENTS: Final = 9
_NONE, _BOTH, _DEPTHS, _POSES_UP, _POSES_DOWN = range(5)


class Piece:
    """A piece of path of a blade that may lean, as the radius at the polar angle sees it; on a face, as x, y and z are.

    The callers of `lobework.kernels.sweep.blade` fill the fields up to ``level_turn``, which fills the others. Both directions
    turn by a straight blend made even.
    """

    polar: float
    """Polar angle of the radius where the piece begins, rad; zero on a face."""
    swept: float
    """How far that radius turns in the piece, rad."""
    tip: Vector
    """Where the tip is as the piece begins, mm."""
    move: Vector
    """How far the tip goes, mm."""
    out: Vector
    """Unit direction out of the tip, along the blade's middle line."""
    out_turn: Vector
    """By how much that changes."""
    level: Vector
    """Unit direction of the blade's breadth."""
    level_turn: Vector
    """By how much that changes."""
    cosine: float
    """Of the polar angle."""
    sine: float
    """Of the polar angle."""
    out_blend: float
    """Half the square of the change of ``out``: what makes its blend even."""
    level_blend: float
    """Half the square of the change of ``level``: what makes its blend even."""
    bend: float
    """Bound of the second derivative, by the part done, of what `posed` returns, mm."""
    veer: float
    """Bound of the change in the piece of its derivatives by depth."""
    speed: float
    """Bound of the speed of a ray through the blade's own frame, mm a piece."""
    reach: float
    """How far from the middle line the blade comes out of the work at most, mm."""
    slack: float
    """By how much a patch may be off what straight lines tell, mm."""
    box: Box
    """What the blade keeps to, mm."""
    stays: bool
    """Whether the blade does not leave its own plane."""


class Body:
    """A stretch of an outline that does not bend inwards."""

    first: int
    """Its first part."""
    last: int
    """Its last part."""
    side: int
    """Its side of the middle line: 1 or -1, or 0 for both."""


class Places:
    """A box of poses and depths in which a ray may meet a blade."""

    begin: float
    """Part of the piece done where it begins."""
    end: float
    """Part of the piece done where it ends."""
    top: float
    """Its least depth, mm."""
    bottom: float
    """Its greatest depth, mm."""


PLACES: Final = layout(Places)
"""How numpy lays out `Places`."""


@kernel()
def turned_on(cosine: float, sine: float, angle: float) -> tuple[float, float]:
    """Return the cosine and sine of an angle less another one of a twentieth of a radian at the most."""
    q = angle * angle
    c, s = 1 - q * (0.5 - q * (1 / 24 - q / 720)), angle * (1 - q * (1 / 6 - q / 120))
    return cosine * c + sine * s, sine * c - cosine * s


@kernel(fastmath=FUSED)
def posed(piece: Piece, ray: Ray, s: float, d: float) -> Nine:
    """Return where the place ``d`` deep on a ray stands to the blade when the part ``s`` of a piece is done.

    Across the blade's plane, along its breadth, and out of its tip, mm; each with its slopes by depth and by the part done.
    See `meets` for what is given.
    """
    c, q = 1.0, 0.0
    if piece.swept != 0.0:
        c, q = turned_on(1.0, 0.0, s * piece.swept)
    x, y = ray.start.x + d * ray.way.x, ray.start.y + d * ray.way.y
    r, p = x * c - y * q, y * c + x * q
    xr, xp, xz = (
        r - piece.tip.x - s * piece.move.x,
        p - piece.tip.y - s * piece.move.y,
        ray.start.z + d * ray.way.z - piece.tip.z - s * piece.move.z,
    )
    dr, dp, dz = ray.way.x * c - ray.way.y * q, ray.way.y * c + ray.way.x * q, ray.way.z
    sr, sp, sz = p * piece.swept - piece.move.x, -r * piece.swept - piece.move.y, -piece.move.z
    outr, outp, outz = piece.out.x + s * piece.out_turn.x, piece.out.y + s * piece.out_turn.y, piece.out.z + s * piece.out_turn.z
    lr, lp, lz = (
        piece.level.x + s * piece.level_turn.x,
        piece.level.y + s * piece.level_turn.y,
        piece.level.z + s * piece.level_turn.z,
    )
    nr, np_, nz = outp * lz - outz * lp, outz * lr - outr * lz, outr * lp - outp * lr
    tr = piece.out_turn.y * lz - piece.out_turn.z * lp + outp * piece.level_turn.z - outz * piece.level_turn.y
    tp = piece.out_turn.z * lr - piece.out_turn.x * lz + outz * piece.level_turn.x - outr * piece.level_turn.z
    tz = piece.out_turn.x * lp - piece.out_turn.y * lr + outr * piece.level_turn.y - outp * piece.level_turn.x
    across = nr * xr + np_ * xp + nz * xz
    across_d = nr * dr + np_ * dp + nz * dz
    across_s = nr * sr + np_ * sp + nz * sz + tr * xr + tp * xp + tz * xz
    even_out, even_level = 1 + s * (1 - s) * piece.out_blend, 1 + s * (1 - s) * piece.level_blend
    along, out = lr * xr + lp * xp + lz * xz, outr * xr + outp * xp + outz * xz
    along_d = (lr * dr + lp * dp + lz * dz) * even_level
    along_s = (
        lr * sr + lp * sp + lz * sz + piece.level_turn.x * xr + piece.level_turn.y * xp + piece.level_turn.z * xz
    ) * even_level + along * (1 - 2 * s) * piece.level_blend
    out_d = (outr * dr + outp * dp + outz * dz) * even_out
    out_s = (
        outr * sr + outp * sp + outz * sz + piece.out_turn.x * xr + piece.out_turn.y * xp + piece.out_turn.z * xz
    ) * even_out + out * (1 - 2 * s) * piece.out_blend
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
def _left(piece: Piece, ray: Ray, s0: float, s1: float, d0: float, d1: float, outline: EdgeParts, body: Body) -> Left:
    """Return what is left of a box, from ``s0`` to ``s1`` done and ``d0`` to ``d1`` deep, for a stretch of the outline.

    The trace of the blade's plane is solved for that of the two which it fixes better, so that what else holds the blade
    narrows the other one. Then the place that seems deepest; how much is not told by straight lines, mm; and which is narrowed
    by the other: `_NONE` where nothing is left, `_BOTH` where the plane leaves no trace, `_DEPTHS`, or `_POSES` and which end of
    them is the deeper.
    """
    s, d, half_s, half_d = 0.5 * (s0 + s1), 0.5 * (d0 + d1), 0.5 * (s1 - s0), 0.5 * (d1 - d0)
    across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = posed(piece, ray, s, d)
    rest = (0.5 * piece.bend * half_s + piece.veer * half_d) * half_s + _SLACK_MM
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
    first, last, side = body.first, body.last, body.side
    near, far = outline[first].near, outline[last].far
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
            if not outline[part].is_arc:
                rise = outline[part].rise
                off = outline[part].low + rise * (a - outline[part].near) - up
                low, high = _trimmed(low, high, off - rise * a_rest - up_rest, rise * a_v - up_v)
                continue
            centre, radius = outline[part].centre, outline[part].radius
            for tangent in range(_TANGENTS):
                v = 0.5 * (low + high) if tangent == 0 else (low if tangent % 2 == 0 else high)
                to_a, under = a + a_v * v, centre - up - up_v * v
                away = math.sqrt(under * under + to_a * to_a)
                if tangent > 2 and away <= radius:
                    continue
                sine = outline[part].far / radius if under < 0.0 < to_a else to_a / max(away, 1e-12)
                sine = min(max(sine, outline[part].near / radius), outline[part].far / radius)
                cosine = math.sqrt(max(1.0 - sine * sine, 0.0))
                off = sine * a + cosine * (centre - up) - radius
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
def _beyond(outline: EdgeParts, along: float, out: float, body: Body) -> float:
    """Return how far a place in the blade's plane is outside a stretch of the outline, mm; not above zero in it."""
    first, last, side = body.first, body.last, body.side
    a = abs(along) if side == 0 else side * along
    near, far = outline[first].near, outline[last].far
    off = max(a - far, near - a) if side != 0 else a - far
    a = min(max(a, near), far)
    part = first
    while part < last and a > outline[part].far:
        part += 1
    if not outline[part].is_arc:
        rise = outline[part].rise
        return max(off, (outline[part].low + rise * (a - outline[part].near) - out) / math.sqrt(1.0 + rise * rise))
    centre = outline[part].centre
    return max(off, math.sqrt((centre - out) ** 2 + a * a) - outline[part].radius) if out < centre else off


@kernel(fastmath=FUSED)
def _checked(piece: Piece, ray: Ray, s: float, d: float, outline: EdgeParts, body: Body, for_s: bool) -> float:
    """Return the depth beside a place of a box at which the ray does meet a stretch of the blade, or `NOTHING`."""
    across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = posed(piece, ray, s, d)
    if for_s:
        step = -across / across_s
        s, along, out, left = s + step, along + step * along_s, out + step * out_s, piece.bend * step * step
    else:
        step = -across / across_d
        d, along, out, left = d + step, along + step * along_d, out + step * out_d, 0.0
    if left <= _MET_MM and -_SLACK_MM <= s <= 1.0 + _SLACK_MM and d <= ray.end and _beyond(outline, along, out, body) <= _MET_MM:
        return d
    return NOTHING


@kernel(fastmath=FUSED)
def meets(piece: Piece, ray: Ray, outline: EdgeParts, bodies: Records[Body], floor: float, boxes: Records[Places]) -> float:
    """Return how deep a ray meets a blade that goes along a piece of path, if deeper than ``floor``.

    Parameters
    ----------
    piece : Piece
        Of the path, all its fields filled.
    ray : Ray
        Seen from the plane in which the piece begins, with its end.
    outline : (k,) EdgePart
        Of the cutter, from the middle line outwards.
    bodies : (m,) Body
        The stretches of the outline that do not bend inwards.
    floor : float, mm
        Depths that are not greater are not needed. The parameter changes nothing else in the result.
    boxes : (BOXES,) Places
        Room to work in.
    """
    deepest = NOTHING
    if piece.stays and abs(posed(piece, ray, 0.5, 0.0)[1]) < _SLACK_MM:
        return deepest
    for k in range(bodies.shape[0]):
        box = boxes[0]
        box.begin, box.end, box.top, box.bottom = 0.0, 1.0, 0.0, ray.end
        waiting = 1
        while waiting > 0:
            waiting -= 1
            box = boxes[waiting]
            s0, s1, d0, d1 = box.begin, box.end, box.top, box.bottom
            while d1 > floor and d1 > deepest + _TOLD_MM:
                long, tall = s1 - s0, d1 - d0
                s0, s1, d0, d1, s, d, rest, by = _left(piece, ray, s0, s1, d0, d1, outline, bodies[k])
                if by == _NONE:
                    break
                passes = piece.speed * (s1 - s0)
                if by != _BOTH and rest < _TRIED_MM:
                    deepest = max(deepest, _checked(piece, ray, s, d, outline, bodies[k], by == _DEPTHS))
                elif d1 - d0 <= _TOLD_MM and passes <= _TOLD_MM:
                    deepest = max(deepest, d1)
                if s1 - s0 > _NARROWER * long and d1 - d0 > _NARROWER * tall:
                    part = 0.5 if by == _BOTH else _DEEPER
                    if by == _BOTH or (by != _DEPTHS and passes <= _TOLD_MM) or (by == _DEPTHS and d1 - d0 <= _TOLD_MM):
                        by, part = _DEPTHS if d1 - d0 > passes else _POSES_UP, 0.5
                    box = boxes[waiting]
                    box.begin, box.end, box.top, box.bottom = s0, s1, d0, d1
                    if by == _DEPTHS:
                        d0 = box.bottom = d1 - part * (d1 - d0)
                    elif by == _POSES_UP:
                        s0 = box.end = s1 - part * (s1 - s0)
                    else:
                        s1 = box.begin = s0 + part * (s1 - s0)
                    waiting += 1
    return deepest
