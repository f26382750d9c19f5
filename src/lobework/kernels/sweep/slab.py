"""The slab across a segment in which it may cut deepest, and which patches of a tile that is.

``u`` is the way along a segment, ``v`` across. A ray that a segment reaches best from one of its ends lies, unless the path
ends there too, within ``b sin(turn / 2)`` of that end along the segment, or beside its neighbour, ``b`` being the cutter's
half width: of two rays' ways, one along each, one is that short. So a segment need only visit a slab that much longer than
itself, and ``b`` to each side.

What the arrays hold:

* ``segments`` : (n,) `lobework.kernels.sweep.segments.Segment`.
* ``parts`` : (p,) `lobework.kernels.sweep.edge_parts.EdgePart`, outwards.
* ``bounds``, ``out`` : (n, 4) int32, cells: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.simd import columns, rows
from lobework.kernels.sweep.tiles import (
    HIGH_COLUMN,
    HIGH_ROW,
    LOW_COLUMN,
    LOW_ROW,
    NO_CELLS,
    PATCH,
    PATCHES,
    PRANGE_ALONE,
    SHARES,
    SIDE,
    cell_above,
    cell_below,
)

if TYPE_CHECKING:
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.segments import Segment, Segments
    from lobework.kernels.sweep.simd import Lanes
    from lobework.kernels.sweep.tiles import Grid, Whole

__all__ = [
    "Lines",
    "Placed",
    "Walk",
    "bounds_of",
    "bounds_of_all",
    "first_cell",
    "lanes_of",
    "lines_of",
    "patch_steps",
    "placed_in",
    "reach",
    "run_of",
    "walk_over",
]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_SLACK: Final = 0.01
"""Cells by which a slab is wider than it must be, for rounding."""
_TINY: Final = 1e-9


class Placed(NamedTuple):
    """A segment as a tile sees it, mm.

    The place on the segment that is nearest to the tile's middle, seen from the tile's first cell; how far from there the
    segment's lower end (negative) and its upper end are; and the unit direction of the segment.
    """

    x: float
    y: float
    z: float
    lower: float
    upper: float
    way_x: float
    way_y: float


class Lines(NamedTuple):
    """The rows and columns of a tile's patches that are visited: the first of each, and the one after the last."""

    top: int
    bottom: int
    left: int
    right: int


class Walk(NamedTuple):
    """How to go over a slab by its long lines of patches, which are rows or columns.

    In line 0 the first patch between the slab's sides, the one after the last, and by how much both move from line to line; the
    same between the slab's ends; how many patches on the next line is, and the next patch (32 and 1 where lines are rows, 1 and
    32 where they are columns); the first line and the one after the last; and the first patch along them and the one after the
    last that may be visited.
    """

    side_first: float
    side_after: float
    side_step: float
    end_first: float
    end_after: float
    end_step: float
    to_next_line: int
    to_next_patch: int
    first_line: int
    after_line: int
    first_patch: float
    after_patch: float


@kernel(fastmath=FUSED)
def reach(parts: EdgeParts, depth: float) -> float:
    """Return how far from its middle line an edge comes out of the work, mm, its tip ``depth`` mm deep; 0 where it is not in it.

    Parameters
    ----------
    parts : (p,) EdgePart
        Of the edge, from the middle line outwards.
    depth : float, mm
        Of its tip.
    """
    out = 0.0
    for p in range(parts.shape[0]):
        part = parts[p]
        near, far = part.near, part.far
        if not part.is_arc:
            low, rise = part.low, part.rise
            if depth > low:
                out = far if rise * (far - near) <= depth - low else near + (depth - low) / rise
        else:
            centre, radius = part.centre, part.radius
            if depth > centre - math.sqrt(radius * radius - near * near):
                out = far if depth >= centre else min(far, math.sqrt(max(radius * radius - (centre - depth) ** 2, 0.0)))
    return out


@kernel(fastmath=FUSED)
def bounds_of(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, out: Whole) -> None:
    """Fill (n, 4) int32, the lowest and highest row and column that each of (n,) segments reaches; none as `NO_CELLS`.

    Parameters
    ----------
    segments : (n,) Segment
        Of the path.
    parts : (p,) EdgePart
        Of the edge.
    swing : float, mm
        Radius of the circle in which the edge is swung.
    grid : Grid
        Of the face.
    out : (n, 4) int32
        Filled.
    """
    per_x, per_y = 1.0 / grid.column_step, 1.0 / grid.row_step
    at, r = 0.0, 0.0
    for k in range(segments.shape[0]):
        segment = segments[k]
        if segment.z != at:
            at = segment.z
            r = reach(parts, -at)
            r += swing if r > 0.0 else 0.0
        if r <= 0.0:
            out[k] = NO_CELLS
            continue
        ux, uy = segment.way_x, segment.way_y
        whole = segment.slope > 0.0 or swing > 0.0
        low, high = -r * (1.0 if whole else segment.lower_turn), segment.length + r * (1.0 if whole else segment.upper_turn)
        x, y, aside_x, aside_y = segment.x - grid.x, segment.y - grid.y, r * abs(uy), r * abs(ux)
        out[k, LOW_ROW] = cell_above((y + min(uy * low, uy * high) - aside_y) * per_y - _SLACK)
        out[k, HIGH_ROW] = cell_below((y + max(uy * low, uy * high) + aside_y) * per_y + _SLACK)
        out[k, LOW_COLUMN] = cell_above((x + min(ux * low, ux * high) - aside_x) * per_x - _SLACK)
        out[k, HIGH_COLUMN] = cell_below((x + max(ux * low, ux * high) + aside_x) * per_x + _SLACK)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def bounds_of_all(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, out: Whole) -> None:
    """Do as `bounds_of`, on every thread."""
    n = segments.shape[0]
    for share in prange(SHARES):
        first, after = n * share // SHARES, n * (share + 1) // SHARES
        bounds_of(segments[first:after], parts, swing, grid, out[first:after])


@kernel(fastmath=FUSED)
def placed_in(segment: Segment, grid: Grid, row: int, column: int) -> Placed:
    """Return a segment as the tile sees it whose first cell is at (row, column)."""
    dx = grid.x + column * grid.column_step - segment.x
    dy = grid.y + row * grid.row_step - segment.y
    ux, uy = segment.way_x, segment.way_y
    t = (dx + SIDE / 2 * grid.column_step) * ux + (dy + SIDE / 2 * grid.row_step) * uy
    t = min(max(t, 0.0), segment.length)
    return Placed(ux * t - dx, uy * t - dy, segment.z + segment.slope * t, -t, segment.length - t, ux, uy)


@kernel(fastmath=FUSED)
def lines_of(bounds: Whole, row: int, column: int) -> Lines:
    """Return the rows and columns of a tile's patches that a segment's bounds touch."""
    return Lines(
        max(bounds[LOW_ROW] - row, 0) // PATCH,
        min(bounds[HIGH_ROW] - row, SIDE - 1) // PATCH + 1,
        max(bounds[LOW_COLUMN] - column, 0) // PATCH,
        min(bounds[HIGH_COLUMN] - column, SIDE - 1) // PATCH + 1,
    )


@kernel(fastmath=FUSED)
def walk_over(placed: Placed, low: float, high: float, r: float, lines: Lines, grid: Grid) -> Walk:
    """Return how to go over a slab from ``low`` to ``high`` along a placed segment and ``r`` to each side, within some lines."""
    top, bottom, left, right = lines
    ax, ay, ux, uy = placed.x, placed.y, placed.way_x, placed.way_y
    by_rows = abs(uy) >= abs(ux)
    a, b, ua, ub = (ax, ay, ux, uy) if by_rows else (ay, ax, uy, ux)
    sa, sb = (grid.column_step, grid.row_step) if by_rows else (grid.row_step, grid.column_step)
    per_a, per_ub = 1.0 / (sa * PATCH), 1.0 / ub
    per_ua = 1.0 / (ua if abs(ua) > _TINY else _TINY)
    middle, line = (PATCH - 1) / 2 * sb, sb * PATCH
    side, side_half = a + ua * per_ub * (middle - b), (r + abs(ua) * middle) * abs(per_ub)
    end, end_half = a + ((low + high) * 0.5 - ub * (middle - b)) * per_ua, ((high - low) * 0.5 + abs(ub) * middle) * abs(per_ua)
    first, last = (1.0 - _SLACK) / PATCH, 1.0 + _SLACK / PATCH
    return Walk(
        (side - side_half) * per_a + first,
        (side + side_half) * per_a + last,
        ua * per_ub * line * per_a,
        (end - end_half) * per_a + first,
        (end + end_half) * per_a + last,
        -ub * per_ua * line * per_a,
        PATCHES if by_rows else 1,
        1 if by_rows else PATCHES,
        top if by_rows else left,
        bottom if by_rows else right,
        float(left if by_rows else top),
        float(right if by_rows else bottom),
    )


@kernel(fastmath=FUSED)
def run_of(walk: Walk, line: int) -> tuple[int, int]:
    """Return the first patch of a line that is visited, and the one after the last."""
    at = float(line)
    first = max(walk.side_first + walk.side_step * at, walk.end_first + walk.end_step * at, walk.first_patch)
    last = min(walk.side_after + walk.side_step * at, walk.end_after + walk.end_step * at, walk.after_patch)
    return (int(first), int(last)) if first < last else (0, 0)


@kernel(fastmath=FUSED)
def lanes_of(placed: Placed, grid: Grid) -> tuple[Lanes, Lanes]:
    """Return u and v of the lanes of a patch, from those of its first cell, mm."""
    ux, uy, sx, sy = placed.way_x, placed.way_y, grid.column_step, grid.row_step
    return (
        columns() * np.float32(ux * sx) + rows() * np.float32(uy * sy),
        rows() * np.float32(ux * sy) - columns() * np.float32(uy * sx),
    )


@kernel(fastmath=FUSED)
def first_cell(placed: Placed, walk: Walk, line: int, patch: int, grid: Grid) -> tuple[float, float]:
    """Return u and v of the first cell of a patch in a line, mm."""
    row, column = (line, patch) if walk.to_next_patch == 1 else (patch, line)
    dx, dy = column * PATCH * grid.column_step - placed.x, row * PATCH * grid.row_step - placed.y
    return placed.way_x * dx + placed.way_y * dy, placed.way_x * dy - placed.way_y * dx


@kernel(fastmath=FUSED)
def patch_steps(placed: Placed, walk: Walk, grid: Grid) -> tuple[float, float]:
    """Return by how much u and v grow from a patch to the next in a line, mm."""
    if walk.to_next_patch == 1:
        return placed.way_x * grid.column_step * PATCH, -placed.way_y * grid.column_step * PATCH
    return placed.way_y * grid.row_step * PATCH, placed.way_x * grid.row_step * PATCH
