"""Exact sweep over a face along sloping segments: the cutter revolves, or is swung in a circle about an upright axis.

A segment rises ``m`` mm per mm. ``u`` is the coordinate of a ray along the segment, from its lower end, and ``v`` the coordinate
across the segment. A cutter at ``t`` along the segment is at the distance ``rho = sqrt(v^2 + (u - t)^2)`` from the ray and cuts
it at the height ``z + m t + h(rho)``, where ``h`` is the height of its edge. The minimum over the segment is computed for each
part of the edge. For ``t <= u`` the minimum is at ``t = u - |v| m / sqrt(k^2 - m^2)`` for a straight part of slope ``k``, and at
``t = u - m sqrt((R^2 - v^2) / (1 + m^2))`` for an arc of radius ``R``, with ``t`` clamped to the range in which the ray is under
that part. For ``t > u`` both terms increase with ``t``, so the minimum is where this range begins.

The cutter cuts a ray deepest from a position behind the ray, by at most ``m`` times the greatest ``rho / h'(rho)``. The slab
extends by this distance beyond the upper end of the segment.

What the arrays hold:

* ``segments`` : (n,) `lobework.kernels.sweep.segments.Segment`.
* ``parts``, ``slants`` : (p,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards; ``slants`` are
  straight parts only.
* ``chosen`` : (k,) int32: indices of the segments that reach the tile.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.level_on_face import RIM_MM
from lobework.kernels.sweep.simd import broadcast, load, maximum, minimum, sqrt, store, where_at_most
from lobework.kernels.sweep.slab import (
    first_cell,
    half_width_at,
    lanes_of,
    patch_box_of,
    patch_range,
    patch_steps,
    relative_to_tile,
    traversal_of,
)
from lobework.kernels.sweep.tiles import (
    LANES,
    PATCH,
    blank_tile,
    load_tile,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.kernels.sweep.edge_parts import EdgePart, EdgeParts
    from lobework.kernels.sweep.segments import Segments
    from lobework.kernels.sweep.slab import Placed, Traversal
    from lobework.kernels.sweep.tiles import Cells, Grid, Int32s

    Buffers = tuple[Cells]

__all__ = ["SlopingEdge", "carve_tile", "new_buffers"]

FUSED = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
_SHRINK: Final = np.float32(1.0 - 1e-6)
"""Factor applied to the distance of a part's outer end, so that rounding does not exclude a ray there."""
_EQUAL_MM: Final = 1e-9
"""Tolerance, mm, within which two lengths in float64 are considered equal."""


class SlopingEdge(NamedTuple):
    """An edge on a path that may slope.

    Parameters
    ----------
    parts : (p,) EdgePart
        Parts of the edge, from the centre line outwards; straight parts only if the edge is swung.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 if the edge revolves about its own centre line.
    """

    parts: EdgeParts
    swing: float


@kernel(fastmath=FUSED)
def _lead_bound(part: EdgePart, far: float, slope: float) -> float:
    """Return the greatest distance, mm, ahead of a rising cutter at which a part, up to ``far``, may cut deepest."""
    if slope == 0.0:
        return 0.0
    if not part.is_arc:
        return min(far, slope * far / part.rise) if part.rise > 0.0 else far
    return min(far, slope * math.sqrt(max(part.radius * part.radius - part.near * part.near, 0.0)))


@kernel(fastmath=FUSED)
def _cut_by_part(tile: Cells, placed: Placed, slope: float, part: EdgePart, traversal: Traversal, grid: Grid) -> None:
    """Deepen a tile by one part of an edge along a segment, within a slab.

    The part is lengthened by `RIM_MM` at the height of its outer end, so that rounding does not exclude a ray between two parts.
    """
    near, far, is_arc, radius, rise = part.near, part.far, part.is_arc, part.radius, part.rise
    slope_at_least_rise = not is_arc and rise <= slope
    if is_arc:
        behind = slope / math.sqrt(1.0 + slope * slope)
    else:
        behind = 0.0 if slope_at_least_rise else slope / math.sqrt(rise * rise - slope * slope)
    lane_u, lane_v = lanes_of(placed, grid)
    step_u, step_v = patch_steps(placed, traversal, grid)
    zero = broadcast(np.float32(0.0))
    lower, upper = broadcast(np.float32(placed.lower)), broadcast(np.float32(placed.upper))
    near_square, far_square = np.float32(near * near), np.float32(far * far)
    rim_square = broadcast(np.float32((far + RIM_MM) * (far + RIM_MM)))
    base, rising = np.float32(-placed.z - (part.centre if is_arc else part.low)), np.float32(slope)
    for line in range(traversal.first_line, traversal.after_line):
        first, last = patch_range(traversal, line)
        first_u, first_v = first_cell(placed, traversal, line, first, grid)
        patch = line * traversal.to_next_line + first * traversal.to_next_patch
        for _ in range(first, last):
            u, v = lane_u + np.float32(first_u), lane_v + np.float32(first_v)
            across = v * v
            outer = sqrt(maximum((np.float32(far + first_v) + lane_v) * (np.float32(far - first_v) - lane_v), zero)) * _SHRINK
            if slope_at_least_rise:
                lag = outer
            else:
                side = sqrt(maximum(np.float32(radius * radius) - across, zero)) if is_arc else maximum(v, zero - v)
                lag = minimum(side * np.float32(behind), outer)
            inner = sqrt(maximum(near_square - across, zero))
            lag = maximum(lag, inner)
            t = where_at_most(lower, u - inner, minimum(maximum(u - lag, lower), upper), maximum(lower, u + inner))
            ahead = u - t
            square = ahead * ahead + across
            under = minimum(maximum(square, broadcast(near_square)), broadcast(far_square))
            if is_arc:
                cut = base - rising * t + sqrt(maximum(np.float32(radius * radius) - under, zero))
            else:
                cut = base - rising * t - (sqrt(under) - np.float32(near)) * np.float32(rise)
            cut = where_at_most(square, rim_square, where_at_most(t, upper, cut, zero), zero)
            store(tile, patch, maximum(load(tile, patch), cut))
            first_u, first_v = first_u + step_u, first_v + step_v
            patch += traversal.to_next_patch


@kernel(fastmath=FUSED)
def _height_outside_circle(part: EdgePart, swing: float, u: float, across: float, low: float, high: float, slope: float) -> float:
    """Return the least height at which a swung straight part meets a ray outside its circle; infinite if there is none."""
    low_height, rise = part.low, part.rise
    near, far = swing + part.near, swing + part.far
    if across > (far + _EQUAL_MM) ** 2:
        return math.inf
    outer, inner = math.sqrt(max(far * far - across, 0.0)), math.sqrt(max(near * near - across, 0.0))
    lag = outer
    if rise > slope:
        lag = min(math.sqrt(across) * slope / math.sqrt(rise * rise - slope * slope), outer)
    t = min(max(u - max(lag, inner), low), high) if low <= u - inner + _EQUAL_MM else max(low, u + inner)
    rho = math.sqrt(across + (u - t) ** 2)
    if t > high + _EQUAL_MM or rho > far + _EQUAL_MM:
        return math.inf
    height: float = slope * t + low_height + rise * (max(rho, near) - near)
    return height


@kernel(fastmath=FUSED)
def _height_inside_circle(part: EdgePart, swing: float, u: float, across: float, low: float, high: float, slope: float) -> float:
    """Return the least height at which a swung straight part meets a ray inside its circle; infinite if there is none.

    The part rises towards the centre of the circle, so its height is a concave function of the position along the segment: the
    minimum is at an end of an interval.
    """
    low_height, rise = part.low, part.rise
    near, far = max(swing - part.far, 0.0), swing - part.near
    if far < 0.0 or across > (far + _EQUAL_MM) ** 2:
        return math.inf
    outer, inner = math.sqrt(max(far * far - across, 0.0)), math.sqrt(max(near * near - across, 0.0))
    least = math.inf
    for t in (low, high, u - outer, u - inner, u + inner, u + outer):
        place = min(max(t, low), high)
        rho = math.sqrt(across + (u - place) ** 2)
        if near - _EQUAL_MM <= rho <= far + _EQUAL_MM:
            least = min(least, slope * place + low_height + rise * max(far - rho, 0.0))
    return least


@kernel(fastmath=FUSED)
def _first_beyond(slants: EdgeParts, distance: float) -> int:
    """Return the index of the first straight part whose outer end is at ``distance`` or beyond."""
    low, high = 0, slants.shape[0]
    while low < high:
        middle = (low + high) // 2
        if slants[middle].far + _EQUAL_MM < distance:
            low = middle + 1
        else:
            high = middle
    return low


@kernel(fastmath=FUSED)
def _height(u: float, across: float, low: float, high: float, slope: float, swing: float, slants: EdgeParts) -> float:
    """Return the least height at which a swung edge meets a ray along a segment, relative to the tip at t = 0.

    The straight parts that reach the ray are evaluated from the lowest on. The search stops when the remaining parts are higher
    than the least height found.
    """
    nearest = math.sqrt(across + (u - min(max(u, low), high)) ** 2)
    furthest = math.sqrt(across + max(u - low, high - u) ** 2)
    least = math.inf
    if furthest >= swing:
        for p in range(_first_beyond(slants, max(nearest - swing, 0.0)), slants.shape[0]):
            if slants[p].near > furthest - swing + _EQUAL_MM or slope * low + slants[p].low >= least:
                break
            least = min(least, _height_outside_circle(slants[p], swing, u, across, low, high, slope))
    if nearest <= swing:
        for p in range(_first_beyond(slants, max(swing - furthest, 0.0)), slants.shape[0]):
            if slants[p].near > swing - nearest + _EQUAL_MM or slope * low + slants[p].low >= least:
                break
            least = min(least, _height_inside_circle(slants[p], swing, u, across, low, high, slope))
    return least


@kernel(fastmath=FUSED)
def _cut_swung(
    tile: Cells, placed: Placed, slope: float, swing: float, slants: EdgeParts, traversal: Traversal, grid: Grid
) -> None:
    """Deepen a tile by an edge swung in a circle along a segment, within a slab."""
    ax, ay, z, low, high, ux, uy = placed
    for line in range(traversal.first_line, traversal.after_line):
        first, last = patch_range(traversal, line)
        for place in range(first, last):
            patch = line * traversal.to_next_line + place * traversal.to_next_patch
            row, column = (line, place) if traversal.to_next_patch == 1 else (place, line)
            for lane in range(LANES):
                dx = (column * PATCH + lane % PATCH) * grid.column_step - ax
                dy = (row * PATCH + lane // PATCH) * grid.row_step - ay
                u, v = ux * dx + uy * dy, ux * dy - uy * dx
                cut = -z - _height(u, v * v, low, high, slope, swing, slants)
                if cut > tile[patch, lane]:
                    tile[patch, lane] = cut


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
    tile: Cells,
) -> None:
    """Deepen one tile by sloping segments."""
    for k in chosen:
        segment = segments[k]
        placed = relative_to_tile(segment, grid, row, column)
        patch_box = patch_box_of(bounds[k], row, column)
        depth, slope = -segment.z, segment.slope
        out = half_width_at(parts, depth)
        if swing > 0.0:
            traversal = traversal_of(placed, placed.lower - out - swing, placed.upper + out + swing, out + swing, patch_box, grid)
            _cut_swung(tile, placed, slope, swing, parts, traversal, grid)
            continue
        for p in range(parts.shape[0]):
            if parts[p].near >= out:
                break
            far = min(parts[p].far, out)
            low, high = (
                placed.lower - far * segment.lower_turn,
                placed.upper + max(far * segment.upper_turn, _lead_bound(parts[p], far, slope)),
            )
            _cut_by_part(tile, placed, slope, parts[p], traversal_of(placed, low, high, far, patch_box, grid), grid)


@kernel()
def new_buffers() -> Buffers:
    """Return the buffer of one thread: a tile."""
    return (blank_tile(),)


@kernel(fastmath=FUSED)
def carve_tile(
    grid: Grid,
    cutter: SlopingEdge,
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
    (tile,) = buffers
    load_tile(depth, row, column, tile)
    _cut_tile(segments, bounds, chosen, cutter.parts, cutter.swing, grid, row, column, tile)
    store_tile(tile, row, column, work, depth)
