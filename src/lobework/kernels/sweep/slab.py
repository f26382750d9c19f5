"""The slab around a segment in which the segment may cut deepest, and the patches of a tile that the slab covers.

``u`` is the coordinate along a segment, ``v`` the coordinate across it, and ``b`` the half width of the cutter. A ray may be
cut deepest from the joint of two segments with the turning angle ``turn`` between them. Such a ray lies beyond the ends
of both segments; for at least one of them, the distance of the ray beyond the end, measured along the segment, is at most
``b sin(turn / 2)``. So a segment needs to be compared only with the rays in a slab, which extends ``b sin(turn / 2)`` beyond a
joint, ``b`` beyond an end of the path, and ``b`` to each side.

What the arrays hold:

* ``segments`` : (n,) `lobework.kernels.sweep.segments.Segment`.
* ``parts`` : (p,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards.
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
    from lobework.kernels.sweep.tiles import Grid, Int32s

__all__ = [
    "PatchBox",
    "Placed",
    "Traversal",
    "bounds_of",
    "bounds_of_all",
    "first_cell",
    "half_width_at",
    "lanes_of",
    "patch_box_of",
    "patch_range",
    "patch_steps",
    "relative_to_tile",
    "traversal_of",
]

FUSED = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
_MARGIN_CELLS: Final = 0.01
"""Margin of a slab for rounding errors, in cells."""
_TINY: Final = 1e-9


class Placed(NamedTuple):
    """A segment relative to a tile, mm.

    The reference point is the point of the segment nearest to the middle of the tile. ``x`` and ``y`` are its coordinates
    relative to the tile's first cell, ``z`` is its height. ``lower`` (negative or zero) and ``upper`` are the positions of the
    segment's ends along the segment, relative to the reference point; ``direction_x`` and ``direction_y`` are its unit direction.
    """

    x: float
    y: float
    z: float
    lower: float
    upper: float
    direction_x: float
    direction_y: float


class PatchBox(NamedTuple):
    """The range of a tile's patches to visit: rows ``top`` to ``bottom - 1``, columns ``left`` to ``right - 1``."""

    top: int
    bottom: int
    left: int
    right: int


class Traversal(NamedTuple):
    """The traversal of a slab by lines of patches: rows if the segment's direction is nearer to y than to x, else columns.

    ``side_first`` and ``side_after`` are, in line 0, the first patch between the sides of the slab and the one after the last;
    ``side_step`` is the increment of both from line to line. ``end_first``, ``end_after`` and ``end_step`` are the same for
    the ends of the slab. ``to_next_line`` and ``to_next_patch`` are increments of the patch number: 32 and 1 if lines are rows,
    1 and 32 if they are columns. ``first_line`` and ``after_line`` are the first line and the one after the last;
    ``first_patch`` and ``after_patch`` limit the patches of every line in the same way.
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
def half_width_at(parts: EdgeParts, depth: float) -> float:
    """Return the half width of an edge at the surface of the work, mm; 0 if the edge is not in the work.

    Parameters
    ----------
    parts : (p,) EdgePart
        Parts of the edge, from the centre line outwards.
    depth : float, mm
        Depth of the tip.
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
def bounds_of(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, out: Int32s) -> None:
    """Fill the lowest and highest row and column that each segment reaches; `NO_CELLS` if a segment reaches no cell.

    Parameters
    ----------
    segments : (n,) Segment
        Segments of the path.
    parts : (p,) EdgePart
        Parts of the edge, from the centre line outwards.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 if the edge revolves about its own centre line.
    grid : Grid
        Grid of the face.
    out : (n, 4) int32
        Filled, one row for each segment.
    """
    per_x, per_y = 1.0 / grid.column_step, 1.0 / grid.row_step
    at, r = 0.0, 0.0
    for k in range(segments.shape[0]):
        segment = segments[k]
        if segment.z != at:
            at = segment.z
            r = half_width_at(parts, -at)
            r += swing if r > 0.0 else 0.0
        if r <= 0.0:
            out[k] = NO_CELLS
            continue
        ux, uy = segment.direction_x, segment.direction_y
        whole = segment.slope > 0.0 or swing > 0.0
        low, high = -r * (1.0 if whole else segment.lower_turn), segment.length + r * (1.0 if whole else segment.upper_turn)
        x, y, aside_x, aside_y = segment.x - grid.x, segment.y - grid.y, r * abs(uy), r * abs(ux)
        out[k, LOW_ROW] = cell_above((y + min(uy * low, uy * high) - aside_y) * per_y - _MARGIN_CELLS)
        out[k, HIGH_ROW] = cell_below((y + max(uy * low, uy * high) + aside_y) * per_y + _MARGIN_CELLS)
        out[k, LOW_COLUMN] = cell_above((x + min(ux * low, ux * high) - aside_x) * per_x - _MARGIN_CELLS)
        out[k, HIGH_COLUMN] = cell_below((x + max(ux * low, ux * high) + aside_x) * per_x + _MARGIN_CELLS)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def bounds_of_all(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, out: Int32s) -> None:
    """Do the same as `bounds_of`, in parallel on all threads."""
    n = segments.shape[0]
    for share in prange(SHARES):
        first, after = n * share // SHARES, n * (share + 1) // SHARES
        bounds_of(segments[first:after], parts, swing, grid, out[first:after])


@kernel(fastmath=FUSED)
def relative_to_tile(segment: Segment, grid: Grid, row: int, column: int) -> Placed:
    """Return a segment relative to the tile whose first cell is at (row, column)."""
    dx = grid.x + column * grid.column_step - segment.x
    dy = grid.y + row * grid.row_step - segment.y
    ux, uy = segment.direction_x, segment.direction_y
    t = (dx + SIDE / 2 * grid.column_step) * ux + (dy + SIDE / 2 * grid.row_step) * uy
    t = min(max(t, 0.0), segment.length)
    return Placed(ux * t - dx, uy * t - dy, segment.z + segment.slope * t, -t, segment.length - t, ux, uy)


@kernel(fastmath=FUSED)
def patch_box_of(bounds: Int32s, row: int, column: int) -> PatchBox:
    """Return the range of a tile's patches that a segment's bounds overlap."""
    return PatchBox(
        max(bounds[LOW_ROW] - row, 0) // PATCH,
        min(bounds[HIGH_ROW] - row, SIDE - 1) // PATCH + 1,
        max(bounds[LOW_COLUMN] - column, 0) // PATCH,
        min(bounds[HIGH_COLUMN] - column, SIDE - 1) // PATCH + 1,
    )


@kernel(fastmath=FUSED)
def traversal_of(placed: Placed, low: float, high: float, r: float, patch_box: PatchBox, grid: Grid) -> Traversal:
    """Return the traversal of a slab, ``low`` to ``high`` along a segment and ``r`` to each side, limited to ``patch_box``."""
    top, bottom, left, right = patch_box
    ax, ay, ux, uy = placed.x, placed.y, placed.direction_x, placed.direction_y
    by_rows = abs(uy) >= abs(ux)
    a, b, ua, ub = (ax, ay, ux, uy) if by_rows else (ay, ax, uy, ux)
    sa, sb = (grid.column_step, grid.row_step) if by_rows else (grid.row_step, grid.column_step)
    per_a, per_ub = 1.0 / (sa * PATCH), 1.0 / ub
    per_ua = 1.0 / (ua if abs(ua) > _TINY else _TINY)
    middle, line = (PATCH - 1) / 2 * sb, sb * PATCH
    side, side_half = a + ua * per_ub * (middle - b), (r + abs(ua) * middle) * abs(per_ub)
    end, end_half = a + ((low + high) * 0.5 - ub * (middle - b)) * per_ua, ((high - low) * 0.5 + abs(ub) * middle) * abs(per_ua)
    first, last = (1.0 - _MARGIN_CELLS) / PATCH, 1.0 + _MARGIN_CELLS / PATCH
    return Traversal(
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
def patch_range(traversal: Traversal, line: int) -> tuple[int, int]:
    """Return the first patch to visit in a line, and the patch after the last; the two are equal if there is none to visit."""
    at = float(line)
    first = max(
        traversal.side_first + traversal.side_step * at, traversal.end_first + traversal.end_step * at, traversal.first_patch
    )
    last = min(
        traversal.side_after + traversal.side_step * at, traversal.end_after + traversal.end_step * at, traversal.after_patch
    )
    return (int(first), int(last)) if first < last else (0, 0)


@kernel(fastmath=FUSED)
def lanes_of(placed: Placed, grid: Grid) -> tuple[Lanes, Lanes]:
    """Return u and v of each lane of a patch, relative to those of its first cell, mm."""
    ux, uy, sx, sy = placed.direction_x, placed.direction_y, grid.column_step, grid.row_step
    return (
        columns() * np.float32(ux * sx) + rows() * np.float32(uy * sy),
        rows() * np.float32(ux * sy) - columns() * np.float32(uy * sx),
    )


@kernel(fastmath=FUSED)
def first_cell(placed: Placed, traversal: Traversal, line: int, patch: int, grid: Grid) -> tuple[float, float]:
    """Return u and v of the first cell of a patch in a line, mm."""
    row, column = (line, patch) if traversal.to_next_patch == 1 else (patch, line)
    dx, dy = column * PATCH * grid.column_step - placed.x, row * PATCH * grid.row_step - placed.y
    return placed.direction_x * dx + placed.direction_y * dy, placed.direction_x * dy - placed.direction_y * dx


@kernel(fastmath=FUSED)
def patch_steps(placed: Placed, traversal: Traversal, grid: Grid) -> tuple[float, float]:
    """Return the increments of u and v from one patch to the next in a line, mm."""
    if traversal.to_next_patch == 1:
        return placed.direction_x * grid.column_step * PATCH, -placed.direction_y * grid.column_step * PATCH
    return placed.direction_y * grid.row_step * PATCH, placed.direction_x * grid.row_step * PATCH
