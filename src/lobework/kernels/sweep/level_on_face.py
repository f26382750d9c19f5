"""Exact sweep over a face at constant depth: the cutter revolves, or is swung in a circle about an upright axis.

The height of an edge never decreases outwards. A level cutter of any shape therefore cuts a ray deepest where its centre line is
nearest to the ray; a swung cutter, where its circle is nearest. So the square of the smallest distance from the path is stored
for each ray, and the height of the edge is evaluated once for each depth. Sloping paths are in
`lobework.kernels.sweep.sloping_on_face`.

What the arrays hold:

* ``segments`` : (n,) `lobework.kernels.sweep.segments.Segment`, level.
* ``parts`` : (p,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards.
* ``square_distances`` : (1024, 16) float32, mm^2: squared distances from the path, in the layout of a tile of depths.
* ``box`` : (4,) int32: the box of patches of ``square_distances`` that have been updated, indexed by `_TOP` to `_RIGHT`.
* ``chosen`` : (k,) int32: indices of the segments that reach the tile.
* ``bounds``, ``work``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.simd import (
    any_at_most,
    broadcast,
    lane,
    load,
    load_square,
    maximum,
    minimum,
    sqrt,
    store,
    store_square,
    where_at_most,
)
from lobework.kernels.sweep.slab import (
    PatchBox,
    Placed,
    first_cell,
    half_width_at,
    lanes_of,
    patch_box_of,
    patch_range,
    patch_steps,
    relative_to_tile,
    traversal_of,
)
from lobework.kernels.sweep.tiles import AFTER, FIRST, LANES, PATCH, PATCHES

if TYPE_CHECKING:
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.segments import Segment, Segments
    from lobework.kernels.sweep.simd import Lanes
    from lobework.kernels.sweep.slab import Traversal
    from lobework.kernels.sweep.tiles import Cells, Grid, Int32s

    Buffers = tuple[Cells, Int32s]

__all__ = ["RIM_MM", "LevelEdge", "carve_tile", "count_to_last_path_end", "new_buffers"]

FUSED = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
RIM_MM: Final = 2e-6
"""Tolerance by which a rounded distance may exceed the outer end of an edge and still count as within the edge."""
_FAR: Final = np.float32(1e30)
_MAX_PAIR_TURN: Final = 0.1
_MAX_PAIR_CELLS: Final = 8
_TOP, _BOTTOM, _LEFT, _RIGHT = range(4)
"""Indices into a box of patches: its first row, the row after its last, its first column, the column after its last."""


class LevelEdge(NamedTuple):
    """An edge at constant depth.

    Parameters
    ----------
    parts : (p,) EdgePart
        Parts of the edge, from the centre line outwards.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 if the edge revolves about its own centre line.
    """

    parts: EdgeParts
    swing: float


@kernel(fastmath=FUSED)
def _nearest(square_distances: Cells, placed: Placed, traversal: Traversal, grid: Grid) -> None:
    """Update the least squared distances in a tile, mm^2, with those from a level segment, within a slab."""
    lane_u, lane_v = lanes_of(placed, grid)
    step_u, step_v = patch_steps(placed, traversal, grid)
    lower, upper = broadcast(np.float32(placed.lower)), broadcast(np.float32(placed.upper))
    for line in range(traversal.first_line, traversal.after_line):
        first, last = patch_range(traversal, line)
        first_u, first_v = first_cell(placed, traversal, line, first, grid)
        u, v, patch = (
            lane_u + np.float32(first_u),
            lane_v + np.float32(first_v),
            line * traversal.to_next_line + first * traversal.to_next_patch,
        )
        for _ in range(first, last):
            ahead = u - minimum(maximum(u, lower), upper)
            store(square_distances, patch, minimum(load(square_distances, patch), ahead * ahead + v * v))
            u, v = u + np.float32(step_u), v + np.float32(step_v)
            patch += traversal.to_next_patch


@kernel(fastmath=FUSED)
def _nearest_of_two(square_distances: Cells, one: Placed, two: Placed, traversal: Traversal, grid: Grid) -> None:
    """Update the least squared distances in a tile, mm^2, with those from two level segments, within a slab around both."""
    lane_u, lane_v = lanes_of(one, grid)
    lane_s, lane_w = lanes_of(two, grid)
    step_u, step_v = patch_steps(one, traversal, grid)
    step_s, step_w = patch_steps(two, traversal, grid)
    lower, upper = broadcast(np.float32(one.lower)), broadcast(np.float32(one.upper))
    lower_two, upper_two = broadcast(np.float32(two.lower)), broadcast(np.float32(two.upper))
    for line in range(traversal.first_line, traversal.after_line):
        first, last = patch_range(traversal, line)
        first_u, first_v = first_cell(one, traversal, line, first, grid)
        first_s, first_w = first_cell(two, traversal, line, first, grid)
        u, v = lane_u + np.float32(first_u), lane_v + np.float32(first_v)
        s, w = lane_s + np.float32(first_s), lane_w + np.float32(first_w)
        patch = line * traversal.to_next_line + first * traversal.to_next_patch
        for _ in range(first, last):
            ahead = u - minimum(maximum(u, lower), upper)
            ahead_two = s - minimum(maximum(s, lower_two), upper_two)
            store(
                square_distances,
                patch,
                minimum(load(square_distances, patch), minimum(ahead * ahead + v * v, ahead_two * ahead_two + w * w)),
            )
            u, v = u + np.float32(step_u), v + np.float32(step_v)
            s, w = s + np.float32(step_s), w + np.float32(step_w)
            patch += traversal.to_next_patch


@kernel(fastmath=FUSED)
def _nearest_swung(square_distances: Cells, placed: Placed, traversal: Traversal, grid: Grid, swing: float) -> None:
    """Update the least squared distances in a tile, mm^2, with those from a circle of radius ``swing`` moved along a segment."""
    lane_u, lane_v = lanes_of(placed, grid)
    step_u, step_v = patch_steps(placed, traversal, grid)
    circle, zero = np.float32(swing), broadcast(np.float32(0.0))
    lower, upper = broadcast(np.float32(placed.lower)), broadcast(np.float32(placed.upper))
    for line in range(traversal.first_line, traversal.after_line):
        first, last = patch_range(traversal, line)
        first_u, first_v = first_cell(placed, traversal, line, first, grid)
        u, v, patch = (
            lane_u + np.float32(first_u),
            lane_v + np.float32(first_v),
            line * traversal.to_next_line + first * traversal.to_next_patch,
        )
        for _ in range(first, last):
            ahead = u - minimum(maximum(u, lower), upper)
            furthest = maximum((u - lower) * (u - lower), (u - upper) * (u - upper))
            outside = sqrt(ahead * ahead + v * v) - circle
            inside = circle - sqrt(furthest + v * v)
            apart = maximum(maximum(outside, inside), zero)
            store(square_distances, patch, minimum(load(square_distances, patch), apart * apart))
            u, v = u + np.float32(step_u), v + np.float32(step_v)
            patch += traversal.to_next_patch


@kernel(fastmath=FUSED)
def _heights(square: Lanes, parts: EdgeParts, zero: Lanes) -> Lanes:
    """Return the height of an edge above its tip at squared distances from its centre line; 1e30 outside the edge.

    The height on each part is clamped to those at its ends, so that rounding never makes it decrease outwards.
    """
    outermost = parts.shape[0] - 1
    heights: Lanes = broadcast(_FAR)
    for p in range(outermost, -1, -1):
        part = parts[p]
        near, far = part.near, part.far
        if not part.is_arc:
            low, rise = part.low, part.rise
            lowest, highest = low, low + rise * (far - near)
            height = (sqrt(square) - np.float32(near)) * np.float32(rise) + np.float32(low)
        else:
            centre, radius = part.centre, part.radius
            lowest = centre - math.sqrt(radius * radius - near * near)
            highest = centre - math.sqrt(max(radius * radius - far * far, 0.0))
            height = np.float32(centre) - sqrt(maximum(np.float32(radius * radius) - square, zero))
        height = minimum(maximum(height, broadcast(np.float32(lowest))), broadcast(np.float32(highest)))
        rim = far + (RIM_MM if p == outermost else 0.0)
        heights = where_at_most(square, broadcast(np.float32(rim * rim)), height, heights)
    return heights


@kernel(fastmath=FUSED)
def _apply_edge(
    square_distances: Cells, parts: EdgeParts, tip: float, box: Int32s, row: int, column: int, work: Int32s, depth: Cells
) -> None:
    """Deepen a tile of the depths by an edge whose tip is ``tip`` mm deep, in a box of ``square_distances``; then empty the box.

    Patches that were cut are reset to 1e30. The box must contain all patches with a distance less than the edge's half width: a
    patch outside the box would not be reset, and would be cut again at the next depth or in the next tile.
    """
    deep, zero, far = np.float32(tip), broadcast(np.float32(0.0)), broadcast(_FAR)
    near = broadcast(np.float32((parts[parts.shape[0] - 1].far + RIM_MM) ** 2))
    for line in range(box[_TOP], box[_BOTTOM]):
        down = row + line * PATCH
        first, last = 0, 0
        if down + PATCH <= depth.shape[0]:
            first, last = work[down, FIRST], work[down, AFTER]
            for k in range(1, PATCH):
                first, last = max(first, work[down + k, FIRST]), min(last, work[down + k, AFTER])
        for patch in range(line * PATCHES + box[_LEFT], line * PATCHES + box[_RIGHT]):
            square = load(square_distances, patch)
            if not any_at_most(square, near):
                continue
            store(square_distances, patch, far)
            cut = deep - _heights(square, parts, zero)
            across = column + patch % PATCHES * PATCH
            if first <= across and across + PATCH <= last:
                store_square(depth, down, across, maximum(load_square(depth, down, across), cut))
            else:
                for k in range(LANES):
                    r, c = down + k // PATCH, across + k % PATCH
                    if r < depth.shape[0] and work[r, FIRST] <= c < work[r, AFTER]:
                        depth[r, c] = max(depth[r, c], lane(cut, k))
    box[_TOP], box[_BOTTOM], box[_LEFT], box[_RIGHT] = PATCHES, 0, PATCHES, 0


@kernel(fastmath=FUSED)
def _traversal_of_two(one: Segment, two: Segment, placed: Placed, r: float, patch_box: PatchBox, grid: Grid) -> Traversal:
    """Return the traversal of one slab around two consecutive segments with a small turn between them; see `traversal_of`."""
    dx, dy = two.x + two.length * two.direction_x - one.x, two.y + two.length * two.direction_y - one.y
    length = math.sqrt(dx * dx + dy * dy)
    turn, per = one.upper_turn, 1.0 / length
    widest = max(one.lower_turn, turn, two.upper_turn)
    askew = 2.0 * turn
    start_x, start_y = placed.x + placed.lower * placed.direction_x, placed.y + placed.lower * placed.direction_y
    both = Placed(start_x, start_y, 0.0, 0.0, length, dx * per, dy * per)
    low, high = -r * (max(one.lower_turn, turn) + askew), length + r * (max(turn, two.upper_turn) + askew)
    return traversal_of(both, low, high, r + (min(one.length, two.length) + r * widest) * askew, patch_box, grid)


@kernel(fastmath=FUSED)
def _cut_tile(
    segments: Segments,
    bounds: Int32s,
    chosen: Int32s,
    parts: EdgeParts,
    swing: float,
    grid: Grid,
    row: int,
    column: int,
    square_distances: Cells,
    box: Int32s,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen one tile by level segments: consecutive segments of equal depth are applied in one pass, short ones in pairs."""
    r, z, at = 0.0, 0.0, 0
    while at < chosen.size:
        k = chosen[at]
        segment = segments[k]
        if segment.z != z:
            if box[_TOP] < box[_BOTTOM]:
                _apply_edge(square_distances, parts, -z, box, row, column, work, depth)
            z = segment.z
            r = half_width_at(parts, -z) + swing
        placed = relative_to_tile(segment, grid, row, column)
        top, bottom, left, right = patch_box_of(bounds[k], row, column)
        joined = at + 1 < chosen.size and chosen[at + 1] == k + 1 and segment.upper_turn < _MAX_PAIR_TURN and swing == 0.0
        if joined and segment.length + segments[k + 1].length < _MAX_PAIR_CELLS * grid.column_step:
            top_two, bottom_two, left_two, right_two = patch_box_of(bounds[k + 1], row, column)
            top, bottom, left, right = min(top, top_two), max(bottom, bottom_two), min(left, left_two), max(right, right_two)
            traversal = _traversal_of_two(segment, segments[k + 1], placed, r, PatchBox(top, bottom, left, right), grid)
            _nearest_of_two(square_distances, placed, relative_to_tile(segments[k + 1], grid, row, column), traversal, grid)
            at += 1
        elif swing > 0.0:
            traversal = traversal_of(placed, placed.lower - r, placed.upper + r, r, PatchBox(top, bottom, left, right), grid)
            _nearest_swung(square_distances, placed, traversal, grid, swing)
        else:
            low, high = placed.lower - r * segment.lower_turn, placed.upper + r * segment.upper_turn
            _nearest(square_distances, placed, traversal_of(placed, low, high, r, PatchBox(top, bottom, left, right), grid), grid)
        box[_TOP], box[_BOTTOM], box[_LEFT], box[_RIGHT] = (
            min(box[_TOP], top),
            max(box[_BOTTOM], bottom),
            min(box[_LEFT], left),
            max(box[_RIGHT], right),
        )
        at += 1
    if box[_TOP] < box[_BOTTOM]:
        _apply_edge(square_distances, parts, -z, box, row, column, work, depth)


@kernel(fastmath=FUSED)
def count_to_last_path_end(segments: Segments) -> int:
    """Return the number of segments up to the last one that ends a path; all of them if none does.

    Segments are then processed in the same pairs, whatever other paths are carved with them.
    """
    every: int = segments.shape[0]
    n = every
    while n > 0 and segments[n - 1].upper_turn < 1.0:
        n -= 1
    return n if n > 0 else every


@kernel()
def new_buffers() -> Buffers:
    """Return the buffers of one thread: a tile of squared distances, and the box of patches that have been updated."""
    return np.full((PATCHES * PATCHES, LANES), _FAR, np.float32), np.array([PATCHES, 0, PATCHES, 0], np.int32)


@kernel(fastmath=FUSED)
def carve_tile(
    grid: Grid,
    cutter: LevelEdge,
    segments: Segments,
    bounds: Int32s,
    chosen: Int32s,
    row: int,
    column: int,
    buffers: Buffers,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen one tile of the depth grid by the segments that reach the tile."""
    square_distances, box = buffers
    last = chosen.size
    while last > 0 and chosen[last - 1] >= segments.shape[0]:
        last -= 1
    _cut_tile(segments, bounds, chosen[:last], cutter.parts, cutter.swing, grid, row, column, square_distances, box, work, depth)
