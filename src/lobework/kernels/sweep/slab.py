"""The slab across a segment in which it may cut deepest, and which patches of a tile that is.

``u`` is the way along a segment, ``v`` across. A ray that a segment reaches best from one of its ends lies, unless the path
ends there too, within ``b sin(turn / 2)`` of that end along the segment, or beside its neighbour, ``b`` being the cutter's
half width: of two rays' ways, one along each, one is that short. So a segment need only visit a slab that much longer than
itself, and ``b`` to each side.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.simd import columns, rows
from lobework.kernels.sweep.tiles import PATCH, PATCHES, SIDE, cell_above, cell_below

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.simd import Lanes
    from lobework.kernels.sweep.tiles import Whole

    Placed = tuple[float, float, float, float, float, float, float]
    Lines = tuple[int, int, int, int]
    Walk = tuple[float, float, float, float, float, float, int, int, int, int, float, float]

__all__ = ["bounds_of", "first_cell", "lanes_of", "lines_of", "patch_steps", "placed_in", "reach", "run_of", "walk_over"]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_SLACK: Final = 0.01
"""Cells by which a slab is wider than it must be, for rounding."""
_TINY: Final = 1e-9


@kernel(fastmath=FUSED)
def reach(parts: Array, depth: float) -> float:
    """Return how far from its middle line an edge comes out of the work, mm, its tip ``depth`` mm deep; 0 where it is not in it.

    Parameters
    ----------
    parts : (p, 5) float64, mm
        Of the edge, from the middle line outwards: 0, near, far, low, rise of a slant; 1, near, far, centre, radius of an arc.
    depth : float, mm
        Of its tip.
    """
    out = 0.0
    for p in range(parts.shape[0]):
        kind, near, far, a, b = parts[p]
        if kind == 0.0:
            if depth > a:
                out = far if b * (far - near) <= depth - a else near + (depth - a) / b
        elif depth > a - math.sqrt(b * b - near * near):
            out = far if depth >= a else min(far, math.sqrt(max(b * b - (a - depth) ** 2, 0.0)))
    return out


@kernel(fastmath=FUSED)
def bounds_of(segments: Array, parts: Array, swing: float, grid: Array, out: Whole) -> None:
    """Fill (n, 4) int32, the lowest and highest row and column that each of (n, 9) segments reaches; none is as 0, -1.

    Parameters
    ----------
    segments : (n, 9) float64
        See `lobework.kernels.sweep.segments`.
    parts : (p, 5) float64
        See `reach`.
    swing : float, mm
        Radius of the circle in which the edge is swung.
    grid : (4,) float64, mm
        x and y of the first cell, and from cell to cell along x and y.
    out : (n, 4) int32
        Filled.
    """
    per_x, per_y = 1.0 / grid[2], 1.0 / grid[3]
    at, r = 0.0, 0.0
    for k in range(segments.shape[0]):
        segment = segments[k]
        if segment[2] != at:
            at = segment[2]
            r = reach(parts, -at)
            r += swing if r > 0.0 else 0.0
        if r <= 0.0:
            out[k, 0], out[k, 1], out[k, 2], out[k, 3] = 0, -1, 0, -1
            continue
        ux, uy = segment[3], segment[4]
        whole = segment[6] > 0.0 or swing > 0.0
        low, high = -r * (1.0 if whole else segment[7]), segment[5] + r * (1.0 if whole else segment[8])
        x, y, aside_x, aside_y = segment[0] - grid[0], segment[1] - grid[1], r * abs(uy), r * abs(ux)
        out[k, 0] = cell_above((y + min(uy * low, uy * high) - aside_y) * per_y - _SLACK)
        out[k, 1] = cell_below((y + max(uy * low, uy * high) + aside_y) * per_y + _SLACK)
        out[k, 2] = cell_above((x + min(ux * low, ux * high) - aside_x) * per_x - _SLACK)
        out[k, 3] = cell_below((x + max(ux * low, ux * high) + aside_x) * per_x + _SLACK)


@kernel(fastmath=FUSED)
def placed_in(segment: Array, grid: Array, row: int, column: int) -> Placed:
    """Return a segment as the tile sees it whose first cell is at (row, column); mm.

    x and y, from that cell, and z, of the place on the segment that is nearest to the tile's middle; how far the segment's
    lower end (negative) and its upper one are from there; and its direction.
    """
    dx = grid[0] + column * grid[2] - segment[0]
    dy = grid[1] + row * grid[3] - segment[1]
    ux, uy = segment[3], segment[4]
    t = (dx + SIDE / 2 * grid[2]) * ux + (dy + SIDE / 2 * grid[3]) * uy
    t = min(max(t, 0.0), segment[5])
    return ux * t - dx, uy * t - dy, segment[2] + segment[6] * t, -t, segment[5] - t, ux, uy


@kernel(fastmath=FUSED)
def lines_of(bounds: Whole, row: int, column: int) -> Lines:
    """Return the first row of a tile's patches that a segment's bounds touch, the one after the last, and so its columns."""
    return (
        max(bounds[0] - row, 0) // PATCH,
        min(bounds[1] - row, SIDE - 1) // PATCH + 1,
        max(bounds[2] - column, 0) // PATCH,
        min(bounds[3] - column, SIDE - 1) // PATCH + 1,
    )


@kernel(fastmath=FUSED)
def walk_over(placed: Placed, low: float, high: float, r: float, lines: Lines, grid: Array) -> Walk:
    """Return how to go over a slab from ``low`` to ``high`` along a placed segment and ``r`` to each side, by its long lines.

    For line 0: the first patch between the slab's sides, the one after the last, and by how much both move from line to
    line; the same between its ends; how many patches on it is to the next line, and to the next patch: 32 and 1 where
    lines are rows, 1 and 32 where they are columns; the first line and the one after the last, and the first patch along
    them and the one after the last, as `lines_of` has them: no patch outside is visited.
    """
    top, bottom, left, right = lines
    ax, ay, _, _, _, ux, uy = placed
    by_rows = abs(uy) >= abs(ux)
    a, b, ua, ub = (ax, ay, ux, uy) if by_rows else (ay, ax, uy, ux)
    sa, sb = (grid[2], grid[3]) if by_rows else (grid[3], grid[2])
    per_a, per_ub = 1.0 / (sa * PATCH), 1.0 / ub
    per_ua = 1.0 / (ua if abs(ua) > _TINY else _TINY)
    middle, line = (PATCH - 1) / 2 * sb, sb * PATCH
    side, side_half = a + ua * per_ub * (middle - b), (r + abs(ua) * middle) * abs(per_ub)
    end, end_half = a + ((low + high) * 0.5 - ub * (middle - b)) * per_ua, ((high - low) * 0.5 + abs(ub) * middle) * abs(per_ua)
    first, last = (1.0 - _SLACK) / PATCH, 1.0 + _SLACK / PATCH
    return (
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
    first = max(walk[0] + walk[2] * at, walk[3] + walk[5] * at, walk[10])
    last = min(walk[1] + walk[2] * at, walk[4] + walk[5] * at, walk[11])
    return (int(first), int(last)) if first < last else (0, 0)


@kernel(fastmath=FUSED)
def lanes_of(placed: Placed, grid: Array) -> tuple[Lanes, Lanes]:
    """Return u and v of the lanes of a patch, from those of its first cell, mm."""
    ux, uy, sx, sy = placed[5], placed[6], grid[2], grid[3]
    return (
        columns() * np.float32(ux * sx) + rows() * np.float32(uy * sy),
        rows() * np.float32(ux * sy) - columns() * np.float32(uy * sx),
    )


@kernel(fastmath=FUSED)
def first_cell(placed: Placed, walk: Walk, line: int, patch: int, grid: Array) -> tuple[float, float]:
    """Return u and v of the first cell of a patch in a line, mm."""
    row, column = (line, patch) if walk[7] == 1 else (patch, line)
    dx, dy = column * PATCH * grid[2] - placed[0], row * PATCH * grid[3] - placed[1]
    return placed[5] * dx + placed[6] * dy, placed[5] * dy - placed[6] * dx


@kernel(fastmath=FUSED)
def patch_steps(placed: Placed, walk: Walk, grid: Array) -> tuple[float, float]:
    """Return by how much u and v grow from a patch to the next in a line, mm."""
    if walk[7] == 1:
        return placed[5] * grid[2] * PATCH, -placed[6] * grid[2] * PATCH
    return placed[6] * grid[3] * PATCH, placed[5] * grid[3] * PATCH
