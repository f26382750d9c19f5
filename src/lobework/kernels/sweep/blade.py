"""Deepen a depth grid by the volume that the blade of a fixed tool sweeps, on any surface and at any inclination.

What the arrays hold:

* ``pieces`` : (n,) `lobework.kernels.sweep.ray_blade.Piece`.
* ``outline`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards.
* ``bodies`` : (m,) `lobework.kernels.sweep.ray_blade.Body`.
* ``patch_columns_hit`` : (32,) int32: indices of the patch columns of a tile that a piece reaches.
* ``boxes`` : (256,) `lobework.kernels.sweep.ray_blade.PoseDepthBox`: scratch buffer.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.blade_on_face import half_width_at
from lobework.kernels.sweep.ray_blade import BOXES, FUSED, POSE_DEPTH_BOX, meets, posed
from lobework.kernels.sweep.rays import RAY, aim, aim_at_patch, bounds_in, deepest_of
from lobework.kernels.sweep.tiles import NO_CELLS, PATCH, PATCHES, blank_tile, load_tile, patch_columns, patch_rows, store_tile

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.ray_blade import Body, Piece, PoseDepthBox
    from lobework.kernels.sweep.rays import Ray, Rays, Row
    from lobework.kernels.sweep.tiles import Cells, Int32s

    Buffers = tuple[Cells, Int32s, Records[Ray], Records[PoseDepthBox]]


__all__ = ["Blade", "carve_tile", "new_buffers", "prepare"]

_SLACK_MM: Final = 1e-9


class Blade(NamedTuple):
    """A fixed tool's blade.

    Parameters
    ----------
    outline : (k,) EdgePart
        Outline of the cutter, from the centre line outwards.
    bodies : (m,) Body
        Convex stretches of the outline.
    """

    outline: EdgeParts
    bodies: Records[Body]


@kernel()
def _normal_velocity(piece: Piece, s: float, w: float, h: float) -> float:
    """Return the velocity of the blade's point (w, h) normal to the blade, at the start (s = 0) or end (s = 1), mm per piece."""
    outr, outp, outz = piece.out.x + s * piece.out_turn.x, piece.out.y + s * piece.out_turn.y, piece.out.z + s * piece.out_turn.z
    lr, lp, lz = (
        piece.level.x + s * piece.level_turn.x,
        piece.level.y + s * piece.level_turn.y,
        piece.level.z + s * piece.level_turn.z,
    )
    nr, np_, nz = outp * lz - outz * lp, outz * lr - outr * lz, outr * lp - outp * lr
    r, p = piece.tip.x + s * piece.move.x + w * lr + h * outr, piece.tip.y + s * piece.move.y + w * lp + h * outp
    vr = piece.move.x + w * piece.level_turn.x + h * piece.out_turn.x - piece.swept * p
    vp = piece.move.y + w * piece.level_turn.y + h * piece.out_turn.y + piece.swept * r
    return nr * vr + np_ * vp + nz * (piece.move.z + w * piece.level_turn.z + h * piece.out_turn.z)


@kernel()
def _largest_component(out: float, out_turn: float) -> float:
    """Return the greatest absolute value of one component of a direction over a piece."""
    return max(abs(out), abs(out + out_turn))


@kernel()
def _extent(
    tip: float, move: float, out: float, out_turn: float, level: float, level_turn: float, wide: float, tall: float
) -> tuple[float, float]:
    """Return a lower and an upper bound of one coordinate of the blade over a piece."""
    a, b = _largest_component(level, level_turn) * wide, 2 * _SLACK_MM
    least, over = min(out, out + out_turn, 0.0) * tall, max(out, out + out_turn, 0.0) * tall
    return min(tip, tip + move) + least - a - b, max(tip, tip + move) + over + a + b


@kernel()
def _prepare(piece: Piece, outline: EdgeParts, surface_height: float, on_face: bool) -> bool:
    """Fill the derived fields of one piece; return whether the piece may reach the work."""
    tip, move, out, out_turn, level, level_turn = piece.tip, piece.move, piece.out, piece.out_turn, piece.level, piece.level_turn
    outs, levels = out_turn.x**2 + out_turn.y**2 + out_turn.z**2, level_turn.x**2 + level_turn.y**2 + level_turn.z**2
    piece.cosine, piece.sine = math.cos(piece.polar), math.sin(piece.polar)
    piece.out_blend, piece.level_blend = outs / 2, levels / 2
    if on_face:
        upright, lowest, width_slope = (
            min(out.z, out.z + out_turn.z),
            min(tip.z, tip.z + move.z),
            _largest_component(level.z, level_turn.z),
        )
    else:
        upright, lowest, width_slope = (
            min(out.x, out.x + out_turn.x),
            min(tip.x, tip.x + move.x),
            _largest_component(level.x, level_turn.x),
        )
    wide, tall = outline[outline.shape[0] - 1].far, 0.0
    for _ in range(3):
        tall = (surface_height - lowest + width_slope * wide) / upright
        wide = half_width_at(outline, tall)
        if wide < 0.0:
            return False
    speed = math.sqrt(move.x**2 + move.y**2 + move.z**2) + abs(piece.swept) * (surface_height + abs(tip.y) + abs(move.y))
    turn, size = math.sqrt(outs) + math.sqrt(levels), 2 * (surface_height + wide + tall) + speed
    piece.second_derivative_bound = 1.5 * (surface_height * piece.swept**2 + 2 * turn * speed + turn * turn * (3 * size + speed))
    piece.depth_slope_change = 1.5 * (turn + abs(piece.swept) + turn * turn)
    piece.speed = speed + turn * size
    piece.half_width_in_work, piece.slack = wide, piece.second_derivative_bound / 8 + 2 * _SLACK_MM
    normal_velocity = 0.0
    for corner_ in range(8):
        w, h = wide if corner_ % 2 == 0 else -wide, tall if corner_ % 4 < 2 else 0.0
        normal_velocity = max(normal_velocity, abs(_normal_velocity(piece, float(corner_ // 4), w, h)))
    piece.moves_in_plane = normal_velocity <= _SLACK_MM
    low, high = piece.box.low, piece.box.high
    low.x, high.x = _extent(tip.x, move.x, out.x, out_turn.x, level.x, level_turn.x, wide, tall)
    low.y, high.y = _extent(tip.y, move.y, out.y, out_turn.y, level.y, level_turn.y, wide, tall)
    low.z, high.z = _extent(tip.z, move.z, out.z, out_turn.z, level.z, level_turn.z, wide, tall)
    return True


@kernel()
def prepare(pieces: Records[Piece], outline: EdgeParts, rays: Rays, surface_height: float, bounds: Int32s) -> None:
    """Fill the derived fields of each piece, and the bounds of the cells that it reaches."""
    for k in range(pieces.shape[0]):
        piece = pieces[k]
        bounds[k] = NO_CELLS
        if not _prepare(piece, outline, surface_height, rays.on_face):
            continue
        bounds_in(rays, piece.box, piece.polar, piece.swept, bounds[k])


@kernel(fastmath=FUSED)
def _misses_patch(piece: Piece, ray: Ray, deep: float, patch_radius: float) -> bool:
    """Return whether a piece misses all rays of a patch; they lie within ``patch_radius`` mm of the central ray ``ray``."""
    patch_radius += piece.slack
    least, most, in_least, in_most = 1e30, -1e30, 1e30, -1e30
    for end in range(4):
        across, _, _, along, _, _, _, _, _ = posed(piece, ray, float(end % 2), 0.0 if end < 2 else deep)
        least, most = min(least, across), max(most, across)
        in_least, in_most = min(in_least, along), max(in_most, along)
    return (
        least > patch_radius
        or most < -patch_radius
        or in_least > patch_radius + piece.half_width_in_work
        or in_most < -patch_radius - piece.half_width_in_work
    )


@kernel()
def _search_depth(piece: Piece, at: Row, on_face: bool) -> float:
    """Return the greatest depth to search along a row's rays: where a ray meets the axis, or leaves the box in r or z."""
    if on_face:
        return -piece.box.low.z
    deep = at.axis_depth
    if at.normal_r > 0.0:
        deep = min(deep, (at.radius - piece.box.low.x) / at.normal_r)
    if at.normal_z != 0.0:
        deep = min(deep, max(abs(at.z - piece.box.low.z), abs(at.z - piece.box.high.z)) / abs(at.normal_z))
    return deep


@kernel(fastmath=FUSED)
def _deepen(
    piece: Piece,
    bounds: Int32s,
    row: int,
    column: int,
    columns: int,
    rays: Rays,
    outline: EdgeParts,
    bodies: Records[Body],
    patch_columns_hit: Int32s,
    ray: Ray,
    boxes: Records[PoseDepthBox],
    tile: Cells,
) -> None:
    """Deepen a tile by one piece."""
    top, bottom = patch_rows(bounds, row)
    count = patch_columns(bounds, column, columns, not rays.on_face, patch_columns_hit)
    for down in range(top, bottom):
        band = rays.bands[row // PATCH + down]
        deep = deepest_of(rays, band, piece.box)
        if deep <= 0.0:
            continue
        for n in range(count):
            first = column + patch_columns_hit[n] * PATCH
            patch_radius = aim_at_patch(ray, rays, band, first, deep, piece.cosine, piece.sine)
            if _misses_patch(piece, ray, deep, patch_radius):
                continue
            patch = tile[down * PATCHES + patch_columns_hit[n]]
            for r in range(PATCH):
                at = rays.rows[row + down * PATCH + r]
                ray.end = _search_depth(piece, at, rays.on_face)
                for j in range(PATCH):
                    aim(ray, rays, at, first + j, piece.cosine, piece.sine)
                    cut = np.float32(meets(piece, ray, outline, bodies, float(patch[r * PATCH + j]), boxes))
                    if cut > patch[r * PATCH + j]:
                        patch[r * PATCH + j] = cut


@kernel()
def new_buffers() -> Buffers:
    """Return the buffers of one thread: a tile, indices of patch columns, a ray, and boxes of poses and depths."""
    return blank_tile(), np.zeros(PATCHES, np.int32), np.zeros(1, RAY), np.zeros(BOXES, POSE_DEPTH_BOX)


@kernel(fastmath=FUSED)
def carve_tile(
    rays: Rays,
    cutter: Blade,
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
    tile, patch_columns_hit, ray, boxes = buffers
    outline, bodies = cutter
    load_tile(depth, row, column, tile)
    for k in chosen:
        _deepen(pieces[k], bounds[k], row, column, depth.shape[1], rays, outline, bodies, patch_columns_hit, ray[0], boxes, tile)
    store_tile(tile, row, column, work, depth)
