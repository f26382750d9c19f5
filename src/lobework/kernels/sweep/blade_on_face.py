"""A flat outline without thickness swept over a depth grid: on a face in closed form.

An outline is (k, 5 or more) float64, one part a row, outwards from its middle line: near, far, whether it is round, and then the
height at ``near`` and the rise, or the height of the centre and the radius. Both sides of the middle line are alike.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.ray_blade import FUSED, NOTHING, turned_on
from lobework.kernels.sweep.tiles import (
    PATCH,
    PATCHES,
    PRANGE_ALONE,
    SHARES,
    blank_tile,
    cell_above,
    cell_below,
    corner,
    load_tile,
    lots,
    patch_columns,
    rows_between,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.tiles import Cells, Counts, Whole

    Grid = tuple[float, float, float, float]

__all__ = [
    "FUSED",
    "NOTHING",
    "blade_on_face",
    "height",
    "reach",
    "turned_on",
]

_TOUCHES_MM: Final = 1e-9


@kernel(fastmath=FUSED)
def height(outline: Array, a: float, first: int, last: int) -> tuple[float, float, int]:
    """Return the height and rise at ``a`` >= 0 from the middle line, by the parts ``first`` to ``last``, and which part it is."""
    part = first
    while part < last and a > outline[part, 1]:
        part += 1
    if outline[part, 2] != 0.0:
        radius = outline[part, 4]
        under = math.sqrt(max(radius * radius - a * a, 1e-16))
        return outline[part, 3] - under, a / under, part
    rise = outline[part, 4]
    return outline[part, 3] + rise * (a - outline[part, 0]), rise, part


@kernel()
def reach(outline: Array, high: float) -> float:
    """Return how far from the middle line the outline has come at most, ``high`` above its tip; below zero under the tip."""
    if high < 0:
        return -1.0
    for part in range(outline.shape[0]):
        near, far, c0, c1 = outline[part, 0], outline[part, 1], outline[part, 3], outline[part, 4]
        if outline[part, 2] != 0.0:
            top = c0 - math.sqrt(max(c1 * c1 - far * far, 0.0))
            if high < top:
                return max(near, math.sqrt(max(c1 * c1 - (c0 - high) * (c0 - high), 0.0)))  # type: ignore[no-any-return]
        elif high < c0 + c1 * (far - near):
            return near + max(high - c0, 0.0) / c1  # type: ignore[no-any-return]
    return outline[outline.shape[0] - 1, 1]  # type: ignore[no-any-return]


@kernel()
def _on_face(g: Array, x: float, y: float, outline: Array, half: float) -> float:
    """Return how deep the blade of one piece of path goes at a place.

    The place is tip + w * way, the way across the blade's plane zero: a quadratic in the part of the piece done, each of
    whose roots is a pose that cuts there.
    """
    px, py = x - g[0], y - g[1]
    f0 = px * g[7] - py * g[6]
    f1 = px * g[9] - py * g[8] - g[10]
    f2 = -g[11]
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
        wx, wy = px - s * g[3], py - s * g[4]
        square_w = wx * wx + wy * wy
        if square_w <= half * half:
            h, _, _ = height(outline, math.sqrt(square_w), 0, outline.shape[0] - 1)
            deepest = max(deepest, -(g[2] + s * g[5] + h))
    return deepest


@kernel()
def _bounds_on_face(pieces: Array, outline: Array, grid: Grid, bounds: Whole) -> None:
    """Fill each piece's bounds in cells, and the last columns of its row: how wide it cuts, and what patches may be off by."""
    x0, y0, column_step, row_step = grid
    for k in range(pieces.shape[0]):
        g = pieces[k]
        g[8], g[9] = g[12] - g[6], g[13] - g[7]
        g[10] = g[3] * g[7] - g[4] * g[6]
        g[11] = g[3] * g[9] - g[4] * g[8]
        wide = reach(outline, -min(g[2], g[2] + g[5]))
        across = max(abs(g[10]), abs(g[10] + g[11])) + math.hypot(g[8], g[9]) * wide
        g[14] = wide
        g[15] = max(abs(g[11]), abs(g[3] * g[8] + g[4] * g[9])) / 4
        if wide < 0 or across <= _TOUCHES_MM:
            bounds[k] = 1, 0, 1, 0
            continue
        out = wide * (1 + (g[8] * g[8] + g[9] * g[9])) + 2 * _TOUCHES_MM
        ex, ey = out * max(abs(g[6]), abs(g[12])), out * max(abs(g[7]), abs(g[13]))
        bounds[k, 0] = cell_above((min(g[1], g[1] + g[4]) - ey - y0) / row_step)
        bounds[k, 1] = cell_below((max(g[1], g[1] + g[4]) + ey - y0) / row_step)
        bounds[k, 2] = cell_above((min(g[0], g[0] + g[3]) - ex - x0) / column_step)
        bounds[k, 3] = cell_below((max(g[0], g[0] + g[3]) + ex - x0) / column_step)


@kernel()
def _beside_on_face(g: Array, x: float, y: float, off: float) -> bool:
    """Return whether a patch about a place, none of whose cells is further off than that, is clear of a piece."""
    off += g[15]
    px, py = x - g[0], y - g[1]
    qx, qy = px - g[3], py - g[4]
    across, across_end = px * g[7] - py * g[6], qx * g[13] - qy * g[12]
    if (across > off and across_end > off) or (across < -off and across_end < -off):
        return True
    along, along_end = px * g[6] + py * g[7], qx * g[12] + qy * g[13]
    out = off + g[14]
    return (along > out and along_end > out) or (along < -out and along_end < -out)  # type: ignore[no-any-return]


@kernel(fastmath=FUSED)
def _deepen_on_face(
    g: Array, bounds: Whole, row: int, column: int, columns: int, grid: Grid, outline: Array, near: Whole, tile: Cells
) -> None:
    """Deepen a tile by one piece."""
    x0, y0, column_step, row_step = grid
    half = outline[outline.shape[0] - 1, 1] + _TOUCHES_MM
    off = 1.5 * math.hypot(row_step, column_step) + _TOUCHES_MM
    top, bottom = rows_between(bounds, row)
    count = patch_columns(bounds, column, columns, False, near)
    for down in range(top, bottom):
        y = y0 + (row + down * PATCH) * row_step
        for n in range(count):
            x = x0 + (column + near[n] * PATCH) * column_step
            if _beside_on_face(g, x + 1.5 * column_step, y + 1.5 * row_step, off):
                continue
            patch = tile[down * PATCHES + near[n]]
            for r in range(PATCH):
                for c in range(PATCH):
                    deep = np.float32(_on_face(g, x + c * column_step, y + r * row_step, outline, half))
                    if deep > patch[r * PATCH + c]:
                        patch[r * PATCH + c] = deep


@kernel(fastmath=FUSED)
def _share_blade_on_face(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    grid: Grid,
    outline: Array,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen some tiles."""
    tile, near = blank_tile(), np.zeros(PATCHES, np.int32)
    columns = depth.shape[1]
    for number in tiles:
        row, column = corner(number, columns)
        load_tile(depth, row, column, tile)
        for of in order[starts[number] : starts[number + 1]]:
            _deepen_on_face(pieces[of], bounds[of], row, column, columns, grid, outline, near, tile)
        store_tile(tile, row, column, work, depth)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve_blade_on_face(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    grid: Grid,
    outline: Array,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, a thread a tile."""
    shares = min(SHARES, tiles.size)
    for share in prange(shares):
        _share_blade_on_face(tiles[share::shares], starts, order, pieces, bounds, grid, outline, work, depth)


def blade_on_face(pieces: Array, outline: Array, grid: Grid, work: Whole, depth: Cells) -> None:
    """Deepen a face's depths by a blade that goes along pieces of path.

    Parameters
    ----------
    pieces : (n, 16) float64
        Of each piece: the tip's x, y, z, mm; how far it goes; the blade's way across at the start, (x, y) unit, in
        columns 6 and 7; the same at the end in 12 and 13. The other columns are filled here. A blade turns from the one
        way to the other by their straight blend, so that pieces must turn little.
    outline : (k, 5 or more) float64
        See the module.
    grid : (x, y, column step, row step)
        Of the first cell, and from cell to cell, mm.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    _bounds_on_face(pieces, outline, grid, bounds)
    for part, tiles, starts, order in lots(bounds, depth.shape, False):
        _carve_blade_on_face(tiles, starts, order, pieces[part], bounds[part], grid, outline, work, depth)
