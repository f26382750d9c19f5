"""Deepen a flat face by the volume that an upright blade without thickness sweeps, in closed form.

What the arrays hold:

* ``pieces`` : (n,) `Piece`.
* ``outline`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards.
* ``patch_columns_hit`` : (32,) int32: indices of the patch columns of a tile that a piece reaches.
* ``chosen`` : (k,) int32: indices of the pieces that reach the tile.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.records import Vector
from lobework.kernels.sweep.ray_blade import FUSED, NOTHING, rotated_back
from lobework.kernels.sweep.tiles import (
    HIGH_COLUMN,
    HIGH_ROW,
    LOW_COLUMN,
    LOW_ROW,
    NO_CELLS,
    PATCH,
    PATCHES,
    blank_tile,
    cell_above,
    cell_below,
    load_tile,
    patch_columns,
    patch_rows,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.tiles import Cells, Grid, Int32s

    Buffers = tuple[Cells, Int32s]

__all__ = [
    "FUSED",
    "NOTHING",
    "Piece",
    "UprightBlade",
    "carve_tile",
    "half_width_at",
    "height",
    "new_buffers",
    "prepare",
    "rotated_back",
]

_TOUCHES_MM: Final = 1e-9


class Piece:
    """A piece of the path of a blade that stands upright on a face."""

    tip: Vector
    """Position of the tip at the start of the piece, mm."""
    move: Vector
    """Displacement of the tip over the piece, mm."""
    direction_x: float
    """x of the unit direction of the blade's breadth at the start of the piece."""
    direction_y: float
    """y of the unit direction of the blade's breadth at the start of the piece."""
    end_direction_x: float
    """x of the unit direction of the blade's breadth at the end of the piece."""
    end_direction_y: float
    """y of the unit direction of the blade's breadth at the end of the piece."""
    turn_x: float
    """Change over the piece of the x of the unit direction of the blade's breadth."""
    turn_y: float
    """Change over the piece of the y of the unit direction of the blade's breadth."""
    normal_move: float
    """Component of ``move`` normal to the blade's plane at the start of the piece, mm."""
    normal_move_change: float
    """Change of ``normal_move`` over the piece because the blade turns, mm."""
    half_width_in_work: float
    """Half width of the blade at the surface when the tip is deepest, mm; negative if the blade is not in the work."""
    interpolation_error: float
    """Greatest deviation of a point's coordinates, relative to the blade, from linear interpolation over the piece, mm."""


class UprightBlade(NamedTuple):
    """A blade that stands upright on a face: its outline, (k,) EdgePart, from the centre line outwards."""

    outline: EdgeParts


@kernel(fastmath=FUSED)
def height(outline: EdgeParts, a: float, first: int, last: int) -> tuple[float, float, int]:
    """Return height, slope and part index of the outline at the distance ``a`` >= 0 from the centre line.

    Only the parts ``first`` to ``last`` are considered.
    """
    part = first
    while part < last and a > outline[part].far:
        part += 1
    if outline[part].is_arc:
        radius = outline[part].radius
        under = math.sqrt(max(radius * radius - a * a, 1e-16))
        return outline[part].centre - under, a / under, part
    rise = outline[part].rise
    return outline[part].low + rise * (a - outline[part].near), rise, part


@kernel()
def half_width_at(outline: EdgeParts, height_above_tip: float) -> float:
    """Return the greatest half width of the outline up to the height ``height_above_tip`` above its tip; -1 if negative."""
    if height_above_tip < 0:
        return -1.0
    for k in range(outline.shape[0]):
        part = outline[k]
        near, far = part.near, part.far
        if part.is_arc:
            centre, radius = part.centre, part.radius
            top = centre - math.sqrt(max(radius * radius - far * far, 0.0))
            if height_above_tip < top:
                return max(near, math.sqrt(max(radius * radius - (centre - height_above_tip) * (centre - height_above_tip), 0.0)))
        elif height_above_tip < part.low + part.rise * (far - near):
            return near + max(height_above_tip - part.low, 0.0) / part.rise
    return outline[outline.shape[0] - 1].far


@kernel()
def _depth_at(piece: Piece, x: float, y: float, outline: EdgeParts, half: float) -> float:
    """Return the greatest depth to which the blade cuts at (x, y) in one piece of the path; `NOTHING` if there is no cut.

    The blade passes over (x, y) when the distance of (x, y) from the blade's plane is zero. The distance is a quadratic in the
    fraction ``s`` of the piece; each root from 0 to 1 is a pose that may cut there.
    """
    px, py = x - piece.tip.x, y - piece.tip.y
    f0 = px * piece.direction_y - py * piece.direction_x
    f1 = px * piece.turn_y - py * piece.turn_x - piece.normal_move
    f2 = -piece.normal_move_change
    square = f1 * f1 - 4 * f2 * f0
    if square < 0:
        if square < -1e-14 * f1 * f1:
            return NOTHING
        square = 0.0
    twice = -0.5 * (f1 + math.copysign(math.sqrt(square), f1))
    deepest = NOTHING
    for root in range(2):
        s = f0 / twice if root == 0 else twice / f2
        if not -1.0 < s < 2.0:
            continue
        if s < 0.0 or s > 1.0:
            slack = _TOUCHES_MM / max(abs(f1 + 2 * f2 * s), 1e-6)
            if not -slack <= s <= 1.0 + slack:
                continue
            s = min(max(s, 0.0), 1.0)
        wx, wy = px - s * piece.move.x, py - s * piece.move.y
        square_w = wx * wx + wy * wy
        if square_w <= half * half:
            h, _, _ = height(outline, math.sqrt(square_w), 0, outline.shape[0] - 1)
            deepest = max(deepest, -(piece.tip.z + s * piece.move.z + h))
    return deepest


@kernel()
def prepare(pieces: Records[Piece], outline: EdgeParts, grid: Grid, bounds: Int32s) -> None:
    """Fill the derived fields of each piece, and the bounds of the cells that it reaches."""
    x0, y0, column_step, row_step = grid
    for k in range(pieces.shape[0]):
        piece = pieces[k]
        piece.turn_x, piece.turn_y = piece.end_direction_x - piece.direction_x, piece.end_direction_y - piece.direction_y
        piece.normal_move = piece.move.x * piece.direction_y - piece.move.y * piece.direction_x
        piece.normal_move_change = piece.move.x * piece.turn_y - piece.move.y * piece.turn_x
        wide = half_width_at(outline, -min(piece.tip.z, piece.tip.z + piece.move.z))
        across = (
            max(abs(piece.normal_move), abs(piece.normal_move + piece.normal_move_change))
            + math.hypot(piece.turn_x, piece.turn_y) * wide
        )
        piece.half_width_in_work = wide
        piece.interpolation_error = (
            max(abs(piece.normal_move_change), abs(piece.move.x * piece.turn_x + piece.move.y * piece.turn_y)) / 4
        )
        if wide < 0 or across <= _TOUCHES_MM:
            bounds[k] = NO_CELLS
            continue
        out = wide * (1 + (piece.turn_x * piece.turn_x + piece.turn_y * piece.turn_y)) + 2 * _TOUCHES_MM
        ex, ey = (
            out * max(abs(piece.direction_x), abs(piece.end_direction_x)),
            out * max(abs(piece.direction_y), abs(piece.end_direction_y)),
        )
        bounds[k, LOW_ROW] = cell_above((min(piece.tip.y, piece.tip.y + piece.move.y) - ey - y0) / row_step)
        bounds[k, HIGH_ROW] = cell_below((max(piece.tip.y, piece.tip.y + piece.move.y) + ey - y0) / row_step)
        bounds[k, LOW_COLUMN] = cell_above((min(piece.tip.x, piece.tip.x + piece.move.x) - ex - x0) / column_step)
        bounds[k, HIGH_COLUMN] = cell_below((max(piece.tip.x, piece.tip.x + piece.move.x) + ex - x0) / column_step)


@kernel()
def _misses_patch(piece: Piece, x: float, y: float, patch_radius: float) -> bool:
    """Return whether a piece misses a patch, whose cells lie within ``patch_radius`` mm of (x, y)."""
    patch_radius += piece.interpolation_error
    px, py = x - piece.tip.x, y - piece.tip.y
    qx, qy = px - piece.move.x, py - piece.move.y
    across, across_end = px * piece.direction_y - py * piece.direction_x, qx * piece.end_direction_y - qy * piece.end_direction_x
    if (across > patch_radius and across_end > patch_radius) or (across < -patch_radius and across_end < -patch_radius):
        return True
    along, along_end = px * piece.direction_x + py * piece.direction_y, qx * piece.end_direction_x + qy * piece.end_direction_y
    out = patch_radius + piece.half_width_in_work
    return (along > out and along_end > out) or (along < -out and along_end < -out)


@kernel(fastmath=FUSED)
def _deepen_on_face(
    piece: Piece,
    bounds: Int32s,
    row: int,
    column: int,
    columns: int,
    grid: Grid,
    outline: EdgeParts,
    patch_columns_hit: Int32s,
    tile: Cells,
) -> None:
    """Carve one piece of the path into a tile."""
    x0, y0, column_step, row_step = grid
    half = outline[outline.shape[0] - 1].far + _TOUCHES_MM
    patch_radius = 1.5 * math.hypot(row_step, column_step) + _TOUCHES_MM
    top, bottom = patch_rows(bounds, row)
    count = patch_columns(bounds, column, columns, False, patch_columns_hit)
    for down in range(top, bottom):
        y = y0 + (row + down * PATCH) * row_step
        for n in range(count):
            x = x0 + (column + patch_columns_hit[n] * PATCH) * column_step
            if _misses_patch(piece, x + 1.5 * column_step, y + 1.5 * row_step, patch_radius):
                continue
            patch = tile[down * PATCHES + patch_columns_hit[n]]
            for r in range(PATCH):
                for c in range(PATCH):
                    deep = np.float32(_depth_at(piece, x + c * column_step, y + r * row_step, outline, half))
                    if deep > patch[r * PATCH + c]:
                        patch[r * PATCH + c] = deep


@kernel()
def new_buffers() -> Buffers:
    """Return the buffers of one thread: a tile, and indices of patch columns."""
    return blank_tile(), np.zeros(PATCHES, np.int32)


@kernel(fastmath=FUSED)
def carve_tile(
    grid: Grid,
    cutter: UprightBlade,
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
    tile, patch_columns_hit = buffers
    load_tile(depth, row, column, tile)
    for k in chosen:
        _deepen_on_face(pieces[k], bounds[k], row, column, depth.shape[1], grid, cutter.outline, patch_columns_hit, tile)
    store_tile(tile, row, column, work, depth)
