"""The depth at which a ray leaves a solid of revolution at one point of a piece of its path, and the derivative of the depth.

The slope of a tangent of the depth, a function of t, is ``n . v / n . d``, where v and n are the velocity and the normal of the
solid's surface at the point at which the ray leaves the solid, and d is the direction of the ray; t is the fraction of the piece
that is completed. A ray that misses the solid has instead a distance by which it misses, with a derivative too.

What the arrays hold:

* ``outline`` : (p,) `lobework.kernels.sweep.ray_solid.SolidPart`; the parts from ``first`` to before ``last`` are one solid.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.blade_on_face import rotated_back
from lobework.kernels.sweep.ray_solid import NOTHING, last_exit, signed_distance
from lobework.kernels.sweep.solid_piece import Piece

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.rays import Ray

__all__ = ["FUSED", "TOLERANCE_MM", "exit_depth", "miss_distance", "tangent_error"]

FUSED: Final = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
TOLERANCE_MM: Final = 1e-6
"""A search ends where the depth, or the distance along the ray, can change no more than this, mm."""
_NO_MM: Final = 1e-12
_LEAST_SQUARE: Final = 1e-12


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
def exit_depth(
    piece: Piece, ray: Ray, t: float, outline: Records[SolidPart], first: int, last: int
) -> tuple[float, float, float, float, float]:
    """Return the depth at which a ray leaves the solid at t, or `NOTHING`; its derivative; and the cosine of the exit angle.

    The fourth value is the decrease of the derivative per unit of t that follows from the curvature about the solid's axis; the
    fifth is the bow of the path into the surface, for `tangent_error`.
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
def tangent_error(piece: Piece, span: float, more: float, exit_cosine: float, into: float) -> float:
    """Return an upper bound of the amount by which the depth exceeds its tangent, mm, at the distance ``span`` in t.

    ``more`` is the change of the tangent over that distance, ``exit_cosine`` the cosine of the exit angle. In the frame of the
    solid a ray moves straight, except that the path turns and bows ``into`` the surface; the deviation grows with the square of
    ``span``.
    """
    return ((piece.deviation + max(into, 0.0)) * span * span + more * piece.turn) / max(exit_cosine - piece.turn, _LEAST_SQUARE)


@kernel(fastmath=FUSED)
def miss_distance(piece: Piece, ray: Ray, t: float, outline: Records[SolidPart], first: int, last: int) -> tuple[float, float]:
    """Return the distance by which a ray misses a convex solid at t (zero or negative at a contact), and its derivative."""
    x, y, z, wx, wy, wz, ax, ay, az, px, py, _ = _in_solid_frame(piece, ray, t)
    up, axial_slope = x * ax + y * ay + z * az, wx * ax + wy * ay + wz * az
    half_linear, constant = x * wx + y * wy + z * wz - up * axial_slope, x * x + y * y + z * z - up * up
    square = max(1.0 - axial_slope * axial_slope, 0.0)
    low, high = 0.0, min(ray.end, ray.reach)
    least, above, grows_above, below, grows_below = 1e30, 0.0, 0.0, 0.0, 0.0
    while high - low >= TOLERANCE_MM:
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
