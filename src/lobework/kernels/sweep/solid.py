"""Deepen a depth grid by the volume that solids of revolution sweep along pieces of path, on any surface, at any inclination.

For each ray near a piece, `lobework.kernels.sweep.solid_search` finds the greatest depth over the piece. A ray whose first
tangent nowhere exceeds its present depth is skipped at once. If the depth is greatest within a piece, the ray leaves the solid
where the velocity of the solid's surface is tangential to it (the condition of the envelope). On a solid whose axis points out of
the work, such points are near its centre line, because the path climbs little. Only the rays in this region, the slab of the
piece, are searched.

What the arrays hold:

* ``pieces`` : (n,) `lobework.kernels.sweep.solid_piece.Piece`.
* ``outline`` : (p,) `lobework.kernels.sweep.ray_solid.SolidPart`.
* ``bodies`` : (m,) `SolidBody`.
* ``stops`` : (12,) float64, values of t at which the depth of a ring is evaluated, in increasing order.
* ``patch_columns_hit`` : (32,) int32: indices of the patch columns of a tile that a piece reaches.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.rays import RAY, aim, aim_at_patch, deepest_of
from lobework.kernels.sweep.solid_contact import FUSED
from lobework.kernels.sweep.solid_piece import RING, Piece
from lobework.kernels.sweep.solid_search import STOPS, convex_depth, ring_depth
from lobework.kernels.sweep.tiles import PATCH, PATCHES, blank_tile, load_tile, patch_columns, patch_rows, store_tile

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.rays import Ray, Rays
    from lobework.kernels.sweep.tiles import Cells, Int32s

    Buffers = tuple[Cells, Int32s, Records[Ray], Array]

__all__ = ["Solid", "SolidBody", "carve_tile", "new_buffers"]

_NO_MM: Final = 1e-12


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
                            cut = ring_depth(
                                piece, ray, foot, aside, floor, size, outline, bodies[body].first, bodies[body].after, stops
                            )
                        else:
                            cut = convex_depth(piece, ray, foot, floor, outline, bodies[body].first, bodies[body].after)
                        if cut > floor:
                            floor = cut
                    found = np.float32(floor)
                    if found > patch[r * PATCH + j]:
                        patch[r * PATCH + j] = found


@kernel()
def new_buffers() -> Buffers:
    """Return the scratch buffers of one thread: a tile, indices of its patch columns, a ray, and values of t."""
    return blank_tile(), np.zeros(PATCHES, np.int32), np.zeros(1, RAY), np.zeros(STOPS)


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
