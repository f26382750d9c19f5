"""Contact of a straight ray with a flat blade that moves along a piece of path: branch and bound over boxes of poses and depths.

A pose is the position and direction of the blade at ``s``, the fraction of the piece that is completed. A piece turns little, so
that over a box each coordinate of a point of the ray in the blade's frame (distance from the blade's plane, position along its
width, height above its tip) is linear in s and in the depth, with a known error bound. These bounds narrow a box. The
remaining box is narrowed again. If the box narrows too little, it is divided, and its deeper part is processed first. The
search ends at boxes smaller than the tolerance. A box of which nothing remains contains no contact.

What the arrays hold:

* ``outline`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards.
* ``bodies`` : (m,) `Body`.
* ``boxes`` : (`BOXES`,) `PoseDepthBox`: stack of the boxes that are not yet processed.
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
    Narrowed = tuple[float, float, float, float, float, float, float, int]

__all__ = ["BOXES", "FUSED", "NOTHING", "POSE_DEPTH_BOX", "Body", "Piece", "PoseDepthBox", "meets", "posed", "rotated_back"]

FUSED: Final = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
NOTHING: Final = -1e30
"""Value that stands for the depth of a ray without a contact."""
BOXES: Final = 256
"""Capacity of the stack of boxes: each division adds one box, and after some tens of divisions a box is below the tolerance."""
_SLACK_MM: Final = 1e-9
_TOLERANCE_MM: Final = 1e-7
_MET_MM: Final = 1e-8
_CHECK_BELOW_MM: Final = 1e-4
_NARROWED_TO: Final = 0.5
_DEEP_PART: Final = 0.125
_TANGENTS: Final = 9
_EMPTY, _UNDETERMINED, _DEPTHS, _POSES_UP, _POSES_DOWN = range(5)


class Piece:
    """A piece of the path of a blade; the blade may be inclined.

    The frame of the vectors turns about Z with the path: x is along the radius at the current polar angle, y along the tangent.
    On a face, these vectors are in the frame of the work. The callers of `lobework.kernels.sweep.carve.carve_blade` fill the
    fields up to ``level_turn``, and `lobework.kernels.sweep.blade.prepare` fills the other fields. ``out`` and ``level`` are
    interpolated linearly and then brought back to unit length, to second order.
    """

    polar: float
    """Polar angle of the radius at the beginning of the piece, rad; zero on a face."""
    swept: float
    """Change of the polar angle over the piece, rad."""
    tip: Vector
    """Position of the tip at the beginning of the piece, mm."""
    move: Vector
    """Displacement of the tip over the piece, mm."""
    out: Vector
    """Unit direction outwards from the tip, along the blade's centre line, at the beginning of the piece."""
    out_turn: Vector
    """Change of ``out`` over the piece."""
    level: Vector
    """Unit direction of the blade's width at the beginning of the piece."""
    level_turn: Vector
    """Change of ``level`` over the piece."""
    cosine: float
    """Cosine of ``polar``."""
    sine: float
    """Sine of ``polar``."""
    out_blend: float
    """Half the squared length of ``out_turn``; ``1 + s (1 - s) out_blend`` brings the interpolated ``out`` to unit length."""
    level_blend: float
    """Half the squared length of ``level_turn``, used for ``level`` in the same way."""
    second_derivative_bound: float
    """Upper bound of the second derivatives, with respect to s, of the coordinates that `posed` returns, mm."""
    depth_slope_change: float
    """Upper bound of the change, over the piece, of the derivatives with respect to the depth that `posed` returns."""
    speed: float
    """Upper bound of the speed of a point of a ray in the blade's frame, mm per piece."""
    half_width_in_work: float
    """Greatest distance from the centre line at which the blade is in the work, mm."""
    slack: float
    """Error bound of the linear interpolation of a patch's position over the piece, mm."""
    box: Box
    """Bounding box of the part of the blade that is in the work, mm."""
    moves_in_plane: bool
    """Whether the blade moves only in its own plane."""


class Body:
    """A convex stretch of an outline, in which the slope does not decrease outwards."""

    first: int
    """Index of the first part of the stretch."""
    last: int
    """Index of the last part of the stretch."""
    side: int
    """Side of the centre line on which the stretch lies: 1 or -1, or 0 for both sides."""


class PoseDepthBox:
    """A box of poses and depths in which a ray may meet a blade."""

    begin: float
    """Least fraction s of the piece."""
    end: float
    """Greatest fraction s of the piece."""
    top: float
    """Least depth, mm."""
    bottom: float
    """Greatest depth, mm."""


POSE_DEPTH_BOX: Final = layout(PoseDepthBox)
"""Numpy data type of `PoseDepthBox`."""


@kernel()
def rotated_back(cosine: float, sine: float, angle: float) -> tuple[float, float]:
    """Return the cosine and sine of an angle reduced by ``angle``, which is at most a twentieth of a radian."""
    q = angle * angle
    c, s = 1 - q * (0.5 - q * (1 / 24 - q / 720)), angle * (1 - q * (1 / 6 - q / 120))
    return cosine * c + sine * s, sine * c - cosine * s


@kernel(fastmath=FUSED)
def posed(piece: Piece, ray: Ray, s: float, d: float) -> Nine:
    """Return the coordinates, in the blade's frame at ``s``, of the point at the depth ``d`` on a ray.

    The coordinates are the distance from the blade's plane, the position along its width, and the height above its tip, mm; each
    is followed by its derivatives with respect to the depth and to s. See `meets` for the parameters.
    """
    c, q = 1.0, 0.0
    if piece.swept != 0.0:
        c, q = rotated_back(1.0, 0.0, s * piece.swept)
    x, y = ray.start.x + d * ray.direction.x, ray.start.y + d * ray.direction.y
    r, p = x * c - y * q, y * c + x * q
    xr, xp, xz = (
        r - piece.tip.x - s * piece.move.x,
        p - piece.tip.y - s * piece.move.y,
        ray.start.z + d * ray.direction.z - piece.tip.z - s * piece.move.z,
    )
    dr, dp, dz = ray.direction.x * c - ray.direction.y * q, ray.direction.y * c + ray.direction.x * q, ray.direction.z
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
def _trimmed(low: float, high: float, at: float, slope: float) -> tuple[float, float]:
    """Return the part of the range ``low`` to ``high`` of v where ``at + slope v <= 0``; low is above high if there is none."""
    if slope > 0.0:
        return low, min(high, -at / slope)
    if slope < 0.0:
        return max(low, -at / slope), high
    return (low, high) if at <= 0.0 else (1.0, -1.0)


@kernel(fastmath=FUSED)
def _narrowed(piece: Piece, ray: Ray, s0: float, s1: float, d0: float, d1: float, outline: EdgeParts, body: Body) -> Narrowed:
    """Return the part of a box, ``s0`` to ``s1`` and depths ``d0`` to ``d1``, in which a ray may meet a stretch of the outline.

    The equation of the blade's plane is solved for one variable, s or the depth, whichever the equation determines better; the
    outline then narrows the other variable. The result is the four limits; s and the depth of the point that appears to be
    deepest; the error bound of the linear approximation, mm; and a code of the variable that the outline narrowed: `_DEPTHS` for
    the depth, or `_POSES_UP` or `_POSES_DOWN` for s, where the depth is greatest at the upper or lower end of s; `_UNDETERMINED`
    if the plane determines neither variable; `_EMPTY` if nothing remains of the box.
    """
    s, d, half_s, half_d = 0.5 * (s0 + s1), 0.5 * (d0 + d1), 0.5 * (s1 - s0), 0.5 * (d1 - d0)
    across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = posed(piece, ray, s, d)
    rest = (0.5 * piece.second_derivative_bound * half_s + piece.depth_slope_change * half_d) * half_s + _SLACK_MM
    if abs(across) > abs(across_s) * half_s + abs(across_d) * half_d + rest:
        return s0, s1, d0, d1, s, d, rest, _EMPTY
    for_s = abs(across_s) * half_s >= abs(across_d) * half_d
    if for_s:
        coefficient, other, half, free = across_s, across_d, half_s, half_d
        along_u, along_v, out_u, out_v = along_s, along_d, out_s, out_d
    else:
        coefficient, other, half, free = across_d, across_s, half_d, half_s
        along_u, along_v, out_u, out_v = along_d, along_s, out_d, out_s
    fixed = abs(coefficient) * half > 2.0 * rest
    at, slope, spread = (-across / coefficient, -other / coefficient, rest / abs(coefficient)) if fixed else (0.0, 0.0, half)
    low, high = _trimmed(-free, free, across - rest - abs(coefficient) * half, other)
    low, high = _trimmed(low, high, -across - rest - abs(coefficient) * half, -other)
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
            return s0, s1, d0, d1, s, d, rest, _EMPTY
    ends_low, ends_high = at + slope * low, at + slope * high
    least, most = max(min(ends_low, ends_high) - spread, -half), min(max(ends_low, ends_high) + spread, half)
    if least > most:
        return s0, s1, d0, d1, s, d, rest, _EMPTY
    if for_s:
        s, s0, s1, d0, d1 = s + min(max(ends_high, -half), half), s + least, s + most, d + low, d + high
        return s0, s1, d0, d1, s, d1, rest, _DEPTHS if fixed else _UNDETERMINED
    s0, s1, d0, d1 = s + low, s + high, d + least, d + most
    if slope > 0.0:
        return s0, s1, d0, d1, s1, d + min(ends_high, half), rest, _POSES_UP if fixed else _UNDETERMINED
    return s0, s1, d0, d1, s0, d + min(ends_low, half), rest, _POSES_DOWN if fixed else _UNDETERMINED


@kernel(fastmath=FUSED)
def _beyond(outline: EdgeParts, along: float, out: float, body: Body) -> float:
    """Return the distance of a point of the blade's plane from a stretch of the outline, mm; zero or negative inside."""
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
    """Return a depth near ``d`` at which the ray is verified to meet a stretch of the blade, or `NOTHING`.

    One Newton step from ``s`` and ``d`` leads to the blade's plane; the step changes s if ``for_s`` is true, otherwise the depth.
    """
    across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = posed(piece, ray, s, d)
    if for_s:
        step = -across / across_s
        s, along, out, left = s + step, along + step * along_s, out + step * out_s, piece.second_derivative_bound * step * step
    else:
        step = -across / across_d
        d, along, out, left = d + step, along + step * along_d, out + step * out_d, 0.0
    if left <= _MET_MM and -_SLACK_MM <= s <= 1.0 + _SLACK_MM and d <= ray.end and _beyond(outline, along, out, body) <= _MET_MM:
        return d
    return NOTHING


@kernel(fastmath=FUSED)
def meets(piece: Piece, ray: Ray, outline: EdgeParts, bodies: Records[Body], floor: float, boxes: Records[PoseDepthBox]) -> float:
    """Return the greatest depth at which a ray meets a blade along a piece of path, if this depth exceeds ``floor``.

    Parameters
    ----------
    piece : Piece
        Piece of path, with all fields filled.
    ray : Ray
        Ray in the frame at the beginning of the piece, with its ``end`` filled.
    outline : (k,) EdgePart
        Edge of the cutter, from the centre line outwards.
    bodies : (m,) Body
        Convex stretches of the outline.
    floor : float, mm
        Depths up to this value are not searched for. The parameter has no other effect on the result.
    boxes : (BOXES,) PoseDepthBox
        Scratch buffer.
    """
    deepest = NOTHING
    if piece.moves_in_plane and abs(posed(piece, ray, 0.5, 0.0)[1]) < _SLACK_MM:
        return deepest
    for k in range(bodies.shape[0]):
        box = boxes[0]
        box.begin, box.end, box.top, box.bottom = 0.0, 1.0, 0.0, ray.end
        waiting = 1
        while waiting > 0:
            waiting -= 1
            box = boxes[waiting]
            s0, s1, d0, d1 = box.begin, box.end, box.top, box.bottom
            while d1 > floor and d1 > deepest + _TOLERANCE_MM:
                long, tall = s1 - s0, d1 - d0
                s0, s1, d0, d1, s, d, rest, narrowed_by = _narrowed(piece, ray, s0, s1, d0, d1, outline, bodies[k])
                if narrowed_by == _EMPTY:
                    break
                passes = piece.speed * (s1 - s0)
                if narrowed_by != _UNDETERMINED and rest < _CHECK_BELOW_MM:
                    deepest = max(deepest, _checked(piece, ray, s, d, outline, bodies[k], narrowed_by == _DEPTHS))
                elif d1 - d0 <= _TOLERANCE_MM and passes <= _TOLERANCE_MM:
                    deepest = max(deepest, d1)
                if s1 - s0 > _NARROWED_TO * long and d1 - d0 > _NARROWED_TO * tall:
                    part = 0.5 if narrowed_by == _UNDETERMINED else _DEEP_PART
                    if (
                        narrowed_by == _UNDETERMINED
                        or (narrowed_by != _DEPTHS and passes <= _TOLERANCE_MM)
                        or (narrowed_by == _DEPTHS and d1 - d0 <= _TOLERANCE_MM)
                    ):
                        narrowed_by, part = _DEPTHS if d1 - d0 > passes else _POSES_UP, 0.5
                    box = boxes[waiting]
                    box.begin, box.end, box.top, box.bottom = s0, s1, d0, d1
                    if narrowed_by == _DEPTHS:
                        d0 = box.bottom = d1 - part * (d1 - d0)
                    elif narrowed_by == _POSES_UP:
                        s0 = box.end = s1 - part * (s1 - s0)
                    else:
                        s1 = box.begin = s0 + part * (s1 - s0)
                    waiting += 1
    return deepest
