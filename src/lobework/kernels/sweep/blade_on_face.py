"""A flat outline without thickness swept over a depth grid: on a face in closed form.

What the arrays hold:

* ``pieces`` : (n,) `Piece`.
* ``outline`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, outwards.
* ``near`` : (32,) int32: the patches along the columns of a tile that a piece reaches.
* ``chosen`` : (k,) int32: pieces that reach the tile.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.records import Vector
from lobework.kernels.sweep.ray_blade import FUSED, NOTHING, turned_on
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
    rows_between,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.tiles import Cells, Grid, Whole

    Room = tuple[Cells, Whole]

__all__ = [
    "FUSED",
    "NOTHING",
    "Piece",
    "UprightBlade",
    "carve_tile",
    "height",
    "prepare",
    "reach",
    "room",
    "turned_on",
]

_TOUCHES_MM: Final = 1e-9


class Piece:
    """A piece of path of a blade that stands upright on a face."""

    tip: Vector
    """Where the tip is as the piece begins, mm."""
    move: Vector
    """How far the tip goes, mm."""
    way_x: float
    """Of the unit direction across the blade as the piece begins."""
    way_y: float
    """Of the unit direction across the blade as the piece begins."""
    end_way_x: float
    """Of the unit direction across the blade as the piece ends."""
    end_way_y: float
    """Of the unit direction across the blade as the piece ends."""
    turn_x: float
    """By how much that direction changes."""
    turn_y: float
    """By how much that direction changes."""
    crossing: float
    """How far the tip goes square to the blade as it stands where the piece begins, mm."""
    crossing_gain: float
    """By how much that changes as the blade turns, mm."""
    reach: float
    """How far from the middle line the blade comes out of the work at most, mm; below zero where it is not in it."""
    bow: float
    """How far the blade's turn may carry it aside of a straight move, mm."""


class UprightBlade(NamedTuple):
    """A blade that stands upright on a face: its outline, (k,) EdgePart, from the middle line outwards."""

    outline: EdgeParts


@kernel(fastmath=FUSED)
def height(outline: EdgeParts, a: float, first: int, last: int) -> tuple[float, float, int]:
    """Return the height and rise at ``a`` >= 0 from the middle line, by the parts ``first`` to ``last``, and which part it is."""
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
def reach(outline: EdgeParts, high: float) -> float:
    """Return how far from the middle line the outline has come at most, ``high`` above its tip; below zero under the tip."""
    if high < 0:
        return -1.0
    for k in range(outline.shape[0]):
        part = outline[k]
        near, far = part.near, part.far
        if part.is_arc:
            centre, radius = part.centre, part.radius
            top = centre - math.sqrt(max(radius * radius - far * far, 0.0))
            if high < top:
                return max(near, math.sqrt(max(radius * radius - (centre - high) * (centre - high), 0.0)))
        elif high < part.low + part.rise * (far - near):
            return near + max(high - part.low, 0.0) / part.rise
    return outline[outline.shape[0] - 1].far


@kernel()
def _on_face(piece: Piece, x: float, y: float, outline: EdgeParts, half: float) -> float:
    """Return how deep the blade of one piece of path goes at a place.

    The place is tip + w * way, the way across the blade's plane zero: a quadratic in the part of the piece done, each of
    whose roots is a pose that cuts there.
    """
    px, py = x - piece.tip.x, y - piece.tip.y
    f0 = px * piece.way_y - py * piece.way_x
    f1 = px * piece.turn_y - py * piece.turn_x - piece.crossing
    f2 = -piece.crossing_gain
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
def prepare(pieces: Records[Piece], outline: EdgeParts, grid: Grid, bounds: Whole) -> None:
    """Fill what is worked out of each piece, and its bounds in cells."""
    x0, y0, column_step, row_step = grid
    for k in range(pieces.shape[0]):
        piece = pieces[k]
        piece.turn_x, piece.turn_y = piece.end_way_x - piece.way_x, piece.end_way_y - piece.way_y
        piece.crossing = piece.move.x * piece.way_y - piece.move.y * piece.way_x
        piece.crossing_gain = piece.move.x * piece.turn_y - piece.move.y * piece.turn_x
        wide = reach(outline, -min(piece.tip.z, piece.tip.z + piece.move.z))
        across = (
            max(abs(piece.crossing), abs(piece.crossing + piece.crossing_gain)) + math.hypot(piece.turn_x, piece.turn_y) * wide
        )
        piece.reach = wide
        piece.bow = max(abs(piece.crossing_gain), abs(piece.move.x * piece.turn_x + piece.move.y * piece.turn_y)) / 4
        if wide < 0 or across <= _TOUCHES_MM:
            bounds[k] = NO_CELLS
            continue
        out = wide * (1 + (piece.turn_x * piece.turn_x + piece.turn_y * piece.turn_y)) + 2 * _TOUCHES_MM
        ex, ey = out * max(abs(piece.way_x), abs(piece.end_way_x)), out * max(abs(piece.way_y), abs(piece.end_way_y))
        bounds[k, LOW_ROW] = cell_above((min(piece.tip.y, piece.tip.y + piece.move.y) - ey - y0) / row_step)
        bounds[k, HIGH_ROW] = cell_below((max(piece.tip.y, piece.tip.y + piece.move.y) + ey - y0) / row_step)
        bounds[k, LOW_COLUMN] = cell_above((min(piece.tip.x, piece.tip.x + piece.move.x) - ex - x0) / column_step)
        bounds[k, HIGH_COLUMN] = cell_below((max(piece.tip.x, piece.tip.x + piece.move.x) + ex - x0) / column_step)


@kernel()
def _beside_on_face(piece: Piece, x: float, y: float, off: float) -> bool:
    """Return whether a patch about a place, none of whose cells is further off than that, is clear of a piece."""
    off += piece.bow
    px, py = x - piece.tip.x, y - piece.tip.y
    qx, qy = px - piece.move.x, py - piece.move.y
    across, across_end = px * piece.way_y - py * piece.way_x, qx * piece.end_way_y - qy * piece.end_way_x
    if (across > off and across_end > off) or (across < -off and across_end < -off):
        return True
    along, along_end = px * piece.way_x + py * piece.way_y, qx * piece.end_way_x + qy * piece.end_way_y
    out = off + piece.reach
    return (along > out and along_end > out) or (along < -out and along_end < -out)


@kernel(fastmath=FUSED)
def _deepen_on_face(
    piece: Piece, bounds: Whole, row: int, column: int, columns: int, grid: Grid, outline: EdgeParts, near: Whole, tile: Cells
) -> None:
    """Deepen a tile by one piece."""
    x0, y0, column_step, row_step = grid
    half = outline[outline.shape[0] - 1].far + _TOUCHES_MM
    off = 1.5 * math.hypot(row_step, column_step) + _TOUCHES_MM
    top, bottom = rows_between(bounds, row)
    count = patch_columns(bounds, column, columns, False, near)
    for down in range(top, bottom):
        y = y0 + (row + down * PATCH) * row_step
        for n in range(count):
            x = x0 + (column + near[n] * PATCH) * column_step
            if _beside_on_face(piece, x + 1.5 * column_step, y + 1.5 * row_step, off):
                continue
            patch = tile[down * PATCHES + near[n]]
            for r in range(PATCH):
                for c in range(PATCH):
                    deep = np.float32(_on_face(piece, x + c * column_step, y + r * row_step, outline, half))
                    if deep > patch[r * PATCH + c]:
                        patch[r * PATCH + c] = deep


@kernel()
def room() -> Room:
    """Return what one thread works in: a tile, and numbers of its patches."""
    return blank_tile(), np.zeros(PATCHES, np.int32)


@kernel(fastmath=FUSED)
def carve_tile(
    grid: Grid,
    cutter: UprightBlade,
    pieces: Records[Piece],
    bounds: Whole,
    chosen: Whole,
    row: int,
    column: int,
    room: Room,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen one tile of the depths by the pieces that reach it."""
    tile, near = room
    load_tile(depth, row, column, tile)
    for of in chosen:
        _deepen_on_face(pieces[of], bounds[of], row, column, depth.shape[1], grid, cutter.outline, near, tile)
    store_tile(tile, row, column, work, depth)
