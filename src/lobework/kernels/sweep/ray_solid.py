"""The exit of a straight ray from a solid of revolution, and the normal of the surface there.

A solid is described in the half plane (r, y): ``r`` is the distance from the axis of the solid, ``y`` the position along the
axis. The point of a ray at ``e`` mm from its origin is at ``y + axial_slope e`` along the axis; the distance r of this point from
the axis follows from ``r^2 = square e^2 + 2 half_linear e + constant``.

What the arrays hold:

* ``outline`` : (p,) `SolidPart`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from lobework.kernels.records import Records

__all__ = ["NOTHING", "SolidPart", "last_exit", "signed_distance"]

NOTHING: Final = -1e30
"""Value that stands for the depth of a ray without a contact."""
FUSED: Final = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
_TOUCHES_MM: Final = 1e-10
_ON_AXIS_MM: Final = 1e-7
_NO_MM: Final = 1e-12
_MET_MM: Final = 1e-9
_SETTLED_MM: Final = 1e-11
_ROUNDS: Final = 60


class SolidPart:
    """A part of a solid's outline, mm.

    A straight part extends from a point in a unit direction over a length, with the solid on its left (side 1) or right (-1); its
    radius, near and far are zero. An arc has a centre, and a line of symmetry from the centre in a unit direction; on both sides
    of this line it extends from the distance near to the distance far, with the solid inside its circle; its length and side are
    zero.
    """

    r: float
    """Distance of the first point of a straight part, or of the centre of an arc, from the axis."""
    y: float
    """Position of the same point along the axis."""
    direction_r: float
    """Component of the unit direction along r."""
    direction_y: float
    """Component of the unit direction along y."""
    length: float
    """Length of a straight part."""
    side: float
    """Side of a straight part on which the solid is: 1 left, -1 right."""
    radius: float
    """Radius of an arc."""
    near: float
    """Least distance of an arc from its line of symmetry."""
    far: float
    """Greatest distance of an arc from its line of symmetry."""
    is_arc: bool
    """Whether the part is an arc."""


@kernel(fastmath=FUSED, inline="always")
def _from_axis(square: float, half_linear: float, constant: float, e: float) -> float:
    return math.sqrt(max((square * e + 2.0 * half_linear) * e + constant, 0.0))


@kernel(fastmath=FUSED)
def _torus_root(part: SolidPart, y: float, axial_slope: float, square: float, half_linear: float, constant: float) -> float:
    """Return the last point ``e`` at which a ray meets the torus that an arc generates, or `NOTHING`.

    The search begins beyond the torus and steps back by the distance from the torus, so that no step passes the root (sphere
    tracing); near the root, Newton steps are used.
    """
    lift, bound = y - part.y, abs(part.r) + part.radius
    half = half_linear + lift * axial_slope
    discriminant = half * half - (constant + lift * lift - bound * bound)
    if discriminant < 0.0:
        return NOTHING
    span = math.sqrt(discriminant)
    e, least = span - half, -span - half - _TOUCHES_MM
    for _ in range(_ROUNDS):
        r = _from_axis(square, half_linear, constant, e)
        out_r, out_y = r - part.r, y + axial_slope * e - part.y
        middle, side = (
            out_r * part.direction_r + out_y * part.direction_y,
            abs(out_r * part.direction_y - out_y * part.direction_r),
        )
        away = math.sqrt(out_r * out_r + out_y * out_y)
        beside = middle >= 0.0 and part.near * away <= side * part.radius and side * part.radius <= part.far * away
        if beside:
            short = away - part.radius
            slope = (out_r * (square * e + half_linear) / max(r, _NO_MM) + out_y * axial_slope) / max(away, _NO_MM)
            if abs(short) < _SETTLED_MM:
                return e
            if slope > 0.0 and abs(short) < 0.3 * part.radius * slope:
                ahead = e - short / slope
                r = _from_axis(square, half_linear, constant, ahead)
                after = math.hypot(r - part.r, y + axial_slope * ahead - part.y) - part.radius
                if -_SETTLED_MM < after < 0.9 * short:
                    e = ahead
                    continue
            step = abs(short)
        else:
            ends = 1e30
            for end in range(2):
                beside_end = part.near if end == 0 else part.far
                up = math.sqrt(max(part.radius * part.radius - beside_end * beside_end, 0.0))
                ends = min(ends, math.hypot(middle - up, side - beside_end))
            step = ends
        e -= max(step, 1e-10)
        if e < least:
            return NOTHING
    return NOTHING


@kernel(fastmath=FUSED)
def signed_distance(outline: Records[SolidPart], first: int, last: int, r: float, y: float) -> tuple[float, float, float]:
    """Return the signed distance of a point from a convex solid, positive outside, and the normal's components along r and y.

    The distance and the normal are those of the part for which the distance is greatest.
    """
    furthest, normal_r, normal_y = NOTHING, 0.0, 0.0
    for p in range(first, last):
        part = outline[p]
        if not part.is_arc:
            out_r, out_y = part.side * part.direction_y, -part.side * part.direction_r
            out = out_r * (r - part.r) + out_y * (y - part.y)
        else:
            away_r, away_y = r - part.r, y - part.y
            middle, side = (
                away_r * part.direction_r + away_y * part.direction_y,
                away_r * part.direction_y - away_y * part.direction_r,
            )
            towards = 1.0 if side >= 0.0 else -1.0
            away = math.sqrt(middle * middle + side * side)
            sine = abs(side) / max(away, _NO_MM) if middle > 0.0 else 1.0
            sine = min(max(sine, part.near / part.radius), part.far / part.radius)
            cosine = math.sqrt(max(1.0 - sine * sine, 0.0))
            out_r, out_y = (
                cosine * part.direction_r + towards * sine * part.direction_y,
                cosine * part.direction_y - towards * sine * part.direction_r,
            )
            out = out_r * away_r + out_y * away_y - part.radius
        if out > furthest:
            furthest, normal_r, normal_y = out, out_r, out_y
    return furthest, normal_r, normal_y


@kernel(fastmath=FUSED, inline="always")
def last_exit(
    outline: Records[SolidPart],
    first: int,
    last: int,
    y: float,
    axial_slope: float,
    square: float,
    half_linear: float,
    constant: float,
    ray_end: float,
    is_convex: bool,
) -> tuple[float, float, float]:
    """Return the last ``e`` at which a ray leaves a solid, or `NOTHING`, and the components of the outward normal along r and y.

    Parameters
    ----------
    outline : (p,) SolidPart
        Parts of outlines, in any order.
    first, last : int
        Range of the solid's parts: from ``first`` up to, but not including, ``last``.
    y, axial_slope, square, half_linear, constant : float
        Coefficients of the ray; see the module's docstring.
    ray_end : float, mm
        End of the ray. If the ray is still inside the solid there, the end is returned, with a normal of zero.
    is_convex : bool
        Whether the solid is convex, so that a ray leaves it only once.
    """
    deepest, normal_r, normal_y = NOTHING, 0.0, 0.0
    beyond = False
    for p in range(first, last):
        part = outline[p]
        for root in range(2):
            if not part.is_arc:
                base, gain = part.direction_y * part.r + part.direction_r * (y - part.y), part.direction_r * axial_slope
                if part.direction_y == 0.0:
                    if root == 1:
                        break
                    e = (part.y - y) / axial_slope
                else:
                    tall = part.direction_y * part.direction_y
                    a, b, c = tall * square - gain * gain, tall * half_linear - base * gain, tall * constant - base * base
                    discriminant = b * b - a * c
                    if discriminant < 0.0:
                        if discriminant < -1e-13 * b * b:
                            break
                        discriminant = 0.0
                    q = -(b + math.copysign(math.sqrt(discriminant), b))
                    e = q / a if root == 0 else c / q
                if not abs(e) < 1e9:
                    continue
                r = _from_axis(square, half_linear, constant, e)
                along = part.direction_r * (r - part.r) + part.direction_y * (y + axial_slope * e - part.y)
                slack = _ON_AXIS_MM if part.r == 0.0 else _TOUCHES_MM
                if along < -slack or along > part.length + _TOUCHES_MM or (base + gain * e) * part.direction_y < -1e-12:
                    continue
                out_r, out_y = part.side * part.direction_y, -part.side * part.direction_r
            else:
                if part.r == 0.0:
                    lift = y - part.y
                    half = half_linear + lift * axial_slope
                    discriminant = half * half - (constant + lift * lift - part.radius * part.radius)
                    if discriminant < 0.0:
                        break
                    e = math.sqrt(discriminant) - half if root == 0 else -math.sqrt(discriminant) - half
                else:
                    if root == 1:
                        break
                    e = _torus_root(part, y, axial_slope, square, half_linear, constant)
                    if e == NOTHING:
                        break
                r = _from_axis(square, half_linear, constant, e)
                out_r, out_y = (r - part.r) / part.radius, (y + axial_slope * e - part.y) / part.radius
                middle, side = (
                    out_r * part.direction_r + out_y * part.direction_y,
                    abs(out_r * part.direction_y - out_y * part.direction_r),
                )
                if (
                    middle < -_TOUCHES_MM
                    or side * part.radius < part.near - _TOUCHES_MM
                    or side * part.radius > part.far + _TOUCHES_MM
                ):
                    continue
            if r < _MET_MM:
                out_r, exit_cosine = 0.0, out_y * axial_slope
            else:
                exit_cosine = out_r * (square * e + half_linear) / r + out_y * axial_slope
            if e <= ray_end:
                if e > deepest and exit_cosine > -1e-9:
                    deepest, normal_r, normal_y = e, out_r, out_y
                    if is_convex and exit_cosine > 1e-6:
                        return deepest, normal_r, normal_y
            else:
                beyond = True
    if (
        beyond
        and signed_distance(outline, first, last, _from_axis(square, half_linear, constant, ray_end), y + axial_slope * ray_end)[
            0
        ]
        <= 0.0
    ):
        return ray_end, 0.0, 0.0
    return deepest, normal_r, normal_y
