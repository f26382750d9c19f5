"""Exact sweep over a face along sloping segments: of a revolving cutter, or of one swung in a circle about an upright axis.

A segment rises ``m`` mm per mm; ``u`` is the coordinate of a ray along it from its lower end, ``v`` the coordinate across it. A
cutter at ``t`` along the segment is at the distance ``rho = sqrt(v^2 + (u - t)^2)`` from the ray and cuts it at the height
``z + m t + h(rho)``, where ``h`` is the height of its edge. The minimum over the segment is computed for each part of the edge.
For ``t <= u`` the minimum is at ``t = u - |v| m / sqrt(k^2 - m^2)`` for a straight part of slope ``k``, and at
``t = u - m sqrt((R^2 - v^2) / (1 + m^2))`` for an arc of radius ``R``, with ``t`` clamped to the range in which the ray is under
that part. For ``t > u`` both terms increase with ``t``, so the minimum is where this range begins.

A ray is ahead of the position that cuts it deepest by at most ``m`` times the greatest ``rho / h'(rho)``: the slab extends that
far beyond the upper end of the segment.

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
    lanes_of,
    lines_of,
    patch_steps,
    placed_in,
    reach,
    run_of,
    walk_over,
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
    from lobework.kernels.sweep.slab import Placed, Walk
    from lobework.kernels.sweep.tiles import Cells, Grid, Whole

    Room = tuple[Cells]

__all__ = ["SlopingEdge", "carve_tile", "room"]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_INWARDS: Final = np.float32(1.0 - 1e-6)
"""Factor applied to the distance of a part's outer end, so that rounding does not exclude a ray there."""
_CLOSE: Final = 1e-9
"""Tolerance, mm, within which two lengths in float64 are considered equal."""


class SlopingEdge(NamedTuple):
    """An edge on a path that may slope.

    Parameters
    ----------
    parts : (p,) EdgePart
        Parts of the edge, from the centre line outwards; straight parts only if the edge is swung.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 if it revolves about its own centre line.
    """

    parts: EdgeParts
    swing: float


@kernel(fastmath=FUSED)
def _ahead(part: EdgePart, far: float, slope: float) -> float:
    """Return the greatest distance, mm, ahead of a rising cutter at which a part may cut deepest; ``far`` limits the part."""
    if slope == 0.0:
        return 0.0
    if not part.is_arc:
        return min(far, slope * far / part.rise) if part.rise > 0.0 else far
    return min(far, slope * math.sqrt(max(part.radius * part.radius - part.near * part.near, 0.0)))


@kernel(fastmath=FUSED)
def _cut_by_part(tile: Cells, placed: Placed, slope: float, part: EdgePart, walk: Walk, grid: Grid) -> None:
    """Deepen a tile by one part of an edge along a segment, within a slab.

    The part is lengthened by `RIM_MM` at the height of its outer end, so that rounding does not exclude a ray between two parts.
    """
    near, far, is_arc, radius, rise = part.near, part.far, part.is_arc, part.radius, part.rise
    steep = not is_arc and rise <= slope
    if is_arc:
        behind = slope / math.sqrt(1.0 + slope * slope)
    else:
        behind = 0.0 if steep else slope / math.sqrt(rise * rise - slope * slope)
    lane_u, lane_v = lanes_of(placed, grid)
    step_u, step_v = patch_steps(placed, walk, grid)
    none = broadcast(np.float32(0.0))
    lower, upper = broadcast(np.float32(placed.lower)), broadcast(np.float32(placed.upper))
    near_square, far_square = np.float32(near * near), np.float32(far * far)
    rim_square = broadcast(np.float32((far + RIM_MM) * (far + RIM_MM)))
    base, rising = np.float32(-placed.z - (part.centre if is_arc else part.low)), np.float32(slope)
    for line in range(walk.first_line, walk.after_line):
        first, last = run_of(walk, line)
        first_u, first_v = first_cell(placed, walk, line, first, grid)
        patch = line * walk.to_next_line + first * walk.to_next_patch
        for _ in range(first, last):
            u, v = lane_u + np.float32(first_u), lane_v + np.float32(first_v)
            across = v * v
            outer = sqrt(maximum((np.float32(far + first_v) + lane_v) * (np.float32(far - first_v) - lane_v), none)) * _INWARDS
            if steep:
                lag = outer
            else:
                side = sqrt(maximum(np.float32(radius * radius) - across, none)) if is_arc else maximum(v, none - v)
                lag = minimum(side * np.float32(behind), outer)
            inner = sqrt(maximum(near_square - across, none))
            lag = maximum(lag, inner)
            t = where_at_most(lower, u - inner, minimum(maximum(u - lag, lower), upper), maximum(lower, u + inner))
            ahead = u - t
            square = ahead * ahead + across
            under = minimum(maximum(square, broadcast(near_square)), broadcast(far_square))
            if is_arc:
                cut = base - rising * t + sqrt(maximum(np.float32(radius * radius) - under, none))
            else:
                cut = base - rising * t - (sqrt(under) - np.float32(near)) * np.float32(rise)
            cut = where_at_most(square, rim_square, where_at_most(t, upper, cut, none), none)
            store(tile, patch, maximum(load(tile, patch), cut))
            first_u, first_v = first_u + step_u, first_v + step_v
            patch += walk.to_next_patch


@kernel(fastmath=FUSED)
def _outside(part: EdgePart, swing: float, u: float, across: float, low: float, high: float, slope: float) -> float:
    """Return the least height at which a swung straight part meets a ray outside its circle; infinite if it does not."""
    low_height, rise = part.low, part.rise
    near, far = swing + part.near, swing + part.far
    if across > (far + _CLOSE) ** 2:
        return math.inf
    outer, inner = math.sqrt(max(far * far - across, 0.0)), math.sqrt(max(near * near - across, 0.0))
    lag = outer
    if rise > slope:
        lag = min(math.sqrt(across) * slope / math.sqrt(rise * rise - slope * slope), outer)
    t = min(max(u - max(lag, inner), low), high) if low <= u - inner + _CLOSE else max(low, u + inner)
    rho = math.sqrt(across + (u - t) ** 2)
    if t > high + _CLOSE or rho > far + _CLOSE:
        return math.inf
    height: float = slope * t + low_height + rise * (max(rho, near) - near)
    return height


@kernel(fastmath=FUSED)
def _within(part: EdgePart, swing: float, u: float, across: float, low: float, high: float, slope: float) -> float:
    """Return the least height at which a swung straight part meets a ray inside its circle; infinite if it does not.

    The part rises towards the centre of the circle, so its height is a concave function of the position along the segment: the
    minimum is at an end of an interval.
    """
    low_height, rise = part.low, part.rise
    near, far = max(swing - part.far, 0.0), swing - part.near
    if far < 0.0 or across > (far + _CLOSE) ** 2:
        return math.inf
    outer, inner = math.sqrt(max(far * far - across, 0.0)), math.sqrt(max(near * near - across, 0.0))
    least = math.inf
    for t in (low, high, u - outer, u - inner, u + inner, u + outer):
        place = min(max(t, low), high)
        rho = math.sqrt(across + (u - place) ** 2)
        if near - _CLOSE <= rho <= far + _CLOSE:
            least = min(least, slope * place + low_height + rise * max(far - rho, 0.0))
    return least


@kernel(fastmath=FUSED)
def _first_beyond(slants: EdgeParts, off: float) -> int:
    """Return the index of the first straight part whose outer end is at ``off`` or beyond."""
    low, high = 0, slants.shape[0]
    while low < high:
        middle = (low + high) // 2
        if slants[middle].far + _CLOSE < off:
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
            if slants[p].near > furthest - swing + _CLOSE or slope * low + slants[p].low >= least:
                break
            least = min(least, _outside(slants[p], swing, u, across, low, high, slope))
    if nearest <= swing:
        for p in range(_first_beyond(slants, max(swing - furthest, 0.0)), slants.shape[0]):
            if slants[p].near > swing - nearest + _CLOSE or slope * low + slants[p].low >= least:
                break
            least = min(least, _within(slants[p], swing, u, across, low, high, slope))
    return least


@kernel(fastmath=FUSED)
def _cut_swung(tile: Cells, placed: Placed, slope: float, swing: float, slants: EdgeParts, walk: Walk, grid: Grid) -> None:
    """Deepen a tile by an edge swung in a circle along a segment, within a slab."""
    ax, ay, z, low, high, ux, uy = placed
    for line in range(walk.first_line, walk.after_line):
        first, last = run_of(walk, line)
        for place in range(first, last):
            patch = line * walk.to_next_line + place * walk.to_next_patch
            row, column = (line, place) if walk.to_next_patch == 1 else (place, line)
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
    bounds: Whole,
    chosen: Whole,
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
        placed = placed_in(segment, grid, row, column)
        lines = lines_of(bounds[k], row, column)
        depth, slope = -segment.z, segment.slope
        out = reach(parts, depth)
        if swing > 0.0:
            walk = walk_over(placed, placed.lower - out - swing, placed.upper + out + swing, out + swing, lines, grid)
            _cut_swung(tile, placed, slope, swing, parts, walk, grid)
            continue
        for p in range(parts.shape[0]):
            if parts[p].near >= out:
                break
            far = min(parts[p].far, out)
            low, high = (
                placed.lower - far * segment.lower_turn,
                placed.upper + max(far * segment.upper_turn, _ahead(parts[p], far, slope)),
            )
            _cut_by_part(tile, placed, slope, parts[p], walk_over(placed, low, high, far, lines, grid), grid)


@kernel()
def room() -> Room:
    """Return the buffer of one thread: a tile."""
    return (blank_tile(),)


@kernel(fastmath=FUSED)
def carve_tile(
    grid: Grid,
    cutter: SlopingEdge,
    segments: Segments,
    bounds: Whole,
    chosen: Whole,
    row: int,
    column: int,
    room: Room,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen one tile of the depths by the segments that reach it."""
    (tile,) = room
    load_tile(depth, row, column, tile)
    _cut_tile(segments, bounds, chosen, cutter.parts, cutter.swing, grid, row, column, tile)
    store_tile(tile, row, column, work, depth)
