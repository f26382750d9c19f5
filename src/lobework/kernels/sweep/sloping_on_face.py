"""Cutters swept over a face along segments that rise, exactly: a revolving cutter, or one swung about an upright axis.

A segment rises ``m`` mm a mm, and ``u`` is the way along it from its lower end, ``v`` across. A cutter at ``t`` stands
``rho = sqrt(v^2 + (u - t)^2)`` from a ray and cuts it at ``z + m t + h(rho)``, ``h`` the height of its edge; the least over
the segment is sought, part of the edge by part. On the way towards the ray, and under a slant of rise ``k``, that is at
``t = u - |v| m / sqrt(k^2 - m^2)``; under an arc of radius ``R`` at ``t = u - m sqrt((R^2 - v^2) / (1 + m^2))``; held to the
places at which the ray is under that part. On the way from the ray both rise, so it is where that begins.

A ray that is cut deepest from within a segment lies up to ``m`` times the greatest ``rho / h'(rho)`` ahead of there: the slab is
that much longer at its upper end.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.level_on_face import RIM_MM
from lobework.kernels.sweep.simd import at_most, greater, lay, lesser, root, spread, take
from lobework.kernels.sweep.slab import (
    bounds_of,
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
    MOST_REFERENCES,
    PATCH,
    PRANGE_ALONE,
    SHARES,
    bin_to_tiles,
    blank_tile,
    busy_tiles,
    corner,
    load_tile,
    next_ticket,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.slab import Placed, Walk
    from lobework.kernels.sweep.tiles import Cells, Counts, Whole

__all__ = ["carve_sloping"]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_INWARDS: Final = np.float32(1.0 - 1e-6)
"""So that what stands just under a part's far end is not rounded out from under it."""
_CLOSE: Final = 1e-9
"""Lengths nearer than this, mm, are one, where there is room for all of float64."""


@kernel(fastmath=FUSED)
def _ahead(part: Array, far: float, slope: float) -> float:
    """Return how far ahead of a cutter that rises, mm, a part of its edge may cut deepest, in the work as far as ``far`` mm."""
    kind, near, _, _, b = part
    if slope == 0.0:
        return 0.0
    if kind == 0.0:
        return min(far, slope * far / b) if b > 0.0 else far
    return min(far, slope * math.sqrt(max(b * b - near * near, 0.0)))


@kernel(fastmath=FUSED)
def _cut_by_part(tile: Cells, placed: Placed, slope: float, part: Array, walk: Walk, grid: Array) -> None:
    """Deepen a tile by one part of an edge along a segment, in a slab's lines.

    It counts as reaching a hair further than it does, as high as at its end, so that no ray is rounded out between two parts.
    """
    kind, near, far, a, b = part
    is_arc = kind == 1.0
    steep = not is_arc and b <= slope
    behind = slope / math.sqrt(1.0 + slope * slope) if is_arc else 0.0 if steep else slope / math.sqrt(b * b - slope * slope)
    lane_u, lane_v = lanes_of(placed, grid)
    step_u, step_v = patch_steps(placed, walk, grid)
    none = spread(np.float32(0.0))
    lower, upper = spread(np.float32(placed[3])), spread(np.float32(placed[4]))
    near_square, far_square = np.float32(near * near), np.float32(far * far)
    rim_square = spread(np.float32((far + RIM_MM) * (far + RIM_MM)))
    base, rising = np.float32(-placed[2] - a), np.float32(slope)
    for line in range(walk[8], walk[9]):
        first, last = run_of(walk, line)
        first_u, first_v = first_cell(placed, walk, line, first, grid)
        patch = line * walk[6] + first * walk[7]
        for _ in range(first, last):
            u, v = lane_u + np.float32(first_u), lane_v + np.float32(first_v)
            across = v * v
            outer = root(greater((np.float32(far + first_v) + lane_v) * (np.float32(far - first_v) - lane_v), none)) * _INWARDS
            if steep:
                lag = outer
            else:
                side = root(greater(np.float32(b * b) - across, none)) if is_arc else greater(v, none - v)
                lag = lesser(side * np.float32(behind), outer)
            inner = root(greater(near_square - across, none))
            lag = greater(lag, inner)
            t = at_most(lower, u - inner, lesser(greater(u - lag, lower), upper), greater(lower, u + inner))
            ahead = u - t
            square = ahead * ahead + across
            under = lesser(greater(square, spread(near_square)), spread(far_square))
            if is_arc:
                cut = base - rising * t + root(greater(np.float32(b * b) - under, none))
            else:
                cut = base - rising * t - (root(under) - np.float32(near)) * np.float32(b)
            cut = at_most(square, rim_square, at_most(t, upper, cut, none), none)
            lay(tile, patch, greater(take(tile, patch), cut))
            first_u, first_v = first_u + step_u, first_v + step_v
            patch += walk[7]


@kernel(fastmath=FUSED)
def _outside(part: Array, swing: float, u: float, across: float, low: float, high: float, slope: float) -> float:
    """Return the least height at which a swung slant, outside its circle, meets a ray; infinite where it does not."""
    _, near, far, a, rise = part
    near, far = swing + near, swing + far
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
    height: float = slope * t + a + rise * (max(rho, near) - near)
    return height


@kernel(fastmath=FUSED)
def _within(part: Array, swing: float, u: float, across: float, low: float, high: float, slope: float) -> float:
    """Return the least height at which a swung slant, inside its circle, meets a ray; infinite where it does not.

    The slant rises towards the circle's middle, so its height along the segment bends down, and is least at an end.
    """
    _, near, far, a, rise = part
    near, far = max(swing - far, 0.0), swing - near
    if far < 0.0 or across > (far + _CLOSE) ** 2:
        return math.inf
    outer, inner = math.sqrt(max(far * far - across, 0.0)), math.sqrt(max(near * near - across, 0.0))
    least = math.inf
    for t in (low, high, u - outer, u - inner, u + inner, u + outer):
        place = min(max(t, low), high)
        rho = math.sqrt(across + (u - place) ** 2)
        if near - _CLOSE <= rho <= far + _CLOSE:
            least = min(least, slope * place + a + rise * max(far - rho, 0.0))
    return least


@kernel(fastmath=FUSED)
def _first_beyond(slants: Array, off: float) -> int:
    """Return the first slant that ends at ``off`` or beyond."""
    low, high = 0, slants.shape[0]
    while low < high:
        middle = (low + high) // 2
        if slants[middle, 2] + _CLOSE < off:
            low = middle + 1
        else:
            high = middle
    return low


@kernel(fastmath=FUSED)
def _height(u: float, across: float, low: float, high: float, slope: float, swing: float, slants: Array) -> float:
    """Return the least height above the place where t is 0 at which a swung edge meets a ray along a segment.

    Only those slants are tried that reach the ray, from the lowest on, until what is left is higher than what was found.
    """
    nearest = math.sqrt(across + (u - min(max(u, low), high)) ** 2)
    furthest = math.sqrt(across + max(u - low, high - u) ** 2)
    least = math.inf
    if furthest >= swing:
        for p in range(_first_beyond(slants, max(nearest - swing, 0.0)), slants.shape[0]):
            if slants[p, 1] > furthest - swing + _CLOSE or slope * low + slants[p, 3] >= least:
                break
            least = min(least, _outside(slants[p], swing, u, across, low, high, slope))
    if nearest <= swing:
        for p in range(_first_beyond(slants, max(swing - furthest, 0.0)), slants.shape[0]):
            if slants[p, 1] > swing - nearest + _CLOSE or slope * low + slants[p, 3] >= least:
                break
            least = min(least, _within(slants[p], swing, u, across, low, high, slope))
    return least


@kernel(fastmath=FUSED)
def _cut_swung(tile: Cells, placed: Placed, slope: float, swing: float, slants: Array, walk: Walk, grid: Array) -> None:
    """Deepen a tile by an edge swung in a circle along a segment, in a slab."""
    ax, ay, z, low, high, ux, uy = placed
    for line in range(walk[8], walk[9]):
        first, last = run_of(walk, line)
        for place in range(first, last):
            patch = line * walk[6] + place * walk[7]
            row, column = (line, place) if walk[7] == 1 else (place, line)
            for lane in range(LANES):
                dx = (column * PATCH + lane % PATCH) * grid[2] - ax
                dy = (row * PATCH + lane // PATCH) * grid[3] - ay
                u, v = ux * dx + uy * dy, ux * dy - uy * dx
                cut = -z - _height(u, v * v, low, high, slope, swing, slants)
                if cut > tile[patch, lane]:
                    tile[patch, lane] = cut


@kernel(fastmath=FUSED)
def _cut_tile(
    segments: Array, bounds: Whole, chosen: Whole, parts: Array, swing: float, grid: Array, row: int, column: int, tile: Cells
) -> None:
    """Deepen one tile by segments that rise."""
    for k in chosen:
        segment = segments[k]
        placed = placed_in(segment, grid, row, column)
        lines = lines_of(bounds[k], row, column)
        depth, slope = -segment[2], segment[6]
        out = reach(parts, depth)
        if swing > 0.0:
            walk = walk_over(placed, placed[3] - out - swing, placed[4] + out + swing, out + swing, lines, grid)
            _cut_swung(tile, placed, slope, swing, parts, walk, grid)
            continue
        for p in range(parts.shape[0]):
            if parts[p, 1] >= out:
                break
            far = min(parts[p, 2], out)
            low, high = placed[3] - far * segment[7], placed[4] + max(far * segment[8], _ahead(parts[p], far, slope))
            _cut_by_part(tile, placed, slope, parts[p], walk_over(placed, low, high, far, lines, grid), grid)


@kernel(fastmath=FUSED)
def _carve_tiles(
    tiles: Counts,
    tickets: Counts,
    starts: Counts,
    order: Whole,
    segments: Array,
    bounds: Whole,
    parts: Array,
    swing: float,
    grid: Array,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen tiles, as many as there are tickets."""
    k = next_ticket(tickets)
    if k >= tiles.size:
        return
    tile = blank_tile()
    while k < tiles.size:
        number = tiles[k]
        row, column = corner(number, depth.shape[1])
        load_tile(depth, row, column, tile)
        chosen = order[starts[number] : starts[number + 1]]
        _cut_tile(segments, bounds, chosen, parts, swing, grid, row, column, tile)
        store_tile(tile, row, column, work, depth)
        k = next_ticket(tickets)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def carve_sloping(segments: Array, parts: Array, swing: float, grid: Array, work: Whole, depth: Cells) -> None:
    """Deepen a face by segments that rise, or are level.

    Parameters
    ----------
    segments : (n, 9) float64
        See `lobework.kernels.sweep.segments`.
    parts : (p, 5) float64
        Of the edge; see `lobework.kernels.sweep.slab.reach`. Slants alone where it is swung.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 where it revolves about its own middle line.
    grid : (4,) float64, mm
        x and y of the first cell, and from cell to cell along x and y.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the one after the last.
    depth : (rows, columns) float32, mm
        Deepened.
    """
    n = segments.shape[0]
    bounds = np.zeros((n, 4), np.int32)
    for share in prange(SHARES):
        first, after = n * share // SHARES, n * (share + 1) // SHARES
        bounds_of(segments[first:after], parts, swing, grid, bounds[first:after])
    taken = 0
    while taken < n:
        starts, order, more = bin_to_tiles(bounds[taken:], depth.shape[0], depth.shape[1], False, MOST_REFERENCES)
        tiles, tickets = busy_tiles(starts), np.zeros(1, np.int64)
        part, reached = segments[taken : taken + more], bounds[taken : taken + more]
        for _ in prange(SHARES):
            _carve_tiles(tiles, tickets, starts, order, part, reached, parts, swing, grid, work, depth)
        taken += more
