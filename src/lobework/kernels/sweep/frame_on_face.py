"""A solid of revolution about an axis along the surface, swept over a depth grid: the deepest pose for each ray, searched for.

The solid's outline is that of `lobework.kernels.sweep.blade_on_face`, swung at a radius: the distance from the axis, ``w``
along it from the middle line, is the radius less the outline's height at ``|w|``. A pose has three ways square to each other:
``w`` along the axis, ``q`` in the plane of the swing, and out of the tip to the axis. Where the outline does not bend inwards the
solid is convex, and so is the depth it reaches along a straight path: its tangents bound it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.blade_on_face import FUSED, NOTHING, height, reach
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
    from lobework.kernels.sweep.blade_on_face import Grid
    from lobework.kernels.sweep.tiles import Cells, Counts, Whole

    Met = tuple[float, float, int, float, float]

__all__ = ["frame_on_face"]

_TOUCHES_MM: Final = 1e-9
_SETTLED_MM: Final = 2e-7
_STEEP: Final = 1e30
_ROUNDS: Final = 60
_SPREAD: Final = 1e-3
_CUTS: Final = 22
_SAG: Final = 23
_BOXES: Final = 24
_LOW: Final = 37
_BEND: Final = 40


@kernel(fastmath=FUSED)
def _out_of_swing(slope: float) -> float:
    """Return a slope as a direction to look in, where the solid is not met: towards it."""
    return _STEEP if slope > 0 else (-_STEEP if slope < 0 else 0.0)


@kernel(fastmath=FUSED)
def _at(g: Array, pw: float, pq: float, s: float, ahead: float, radius: float, outline: Array, body: Whole) -> Met:
    """Return how deep the solid goes when the part ``s`` of a piece is done, its slope, the part met, w there and its slope.

    ``pw`` and ``pq`` are the ray's place in the first pose. On the middle line the slope is that ahead (1) or behind (-1).
    """
    first, last, side = body[0], body[1], body[2]
    turn = s * g[8]
    square = turn * turn
    c, n = 1 - square * (0.5 - square / 24), turn * (1 - square / 6)
    w0, q0 = pw - s * g[11], pq - s * g[12]
    w, q = c * w0 - n * q0, c * q0 + n * w0
    w_s = n * g[12] - c * g[11] - g[8] * q
    q_s = -c * g[12] - n * g[11] + g[8] * w
    sign = float(side)
    if side == 0:
        sign = 1.0 if w > 0 or (w == 0.0 and w_s * ahead > 0) else -1.0
    a, a_s = sign * w, sign * w_s
    if a > outline[last, 1] + _TOUCHES_MM:
        return NOTHING, _out_of_swing(-a_s), 0, w, w_s
    if a < outline[first, 0] - _TOUCHES_MM:
        return NOTHING, _out_of_swing(a_s), 0, w, w_s
    h, rise, part = height(outline, max(a, outline[first, 0]), first, last)
    rho, rho_s = radius - h, -rise * a_s
    if rho <= abs(q):
        return NOTHING, _out_of_swing(rho_s - math.copysign(q_s, q * q_s)), 0, w, w_s
    root = math.sqrt(rho * rho - q * q)
    deep = root - radius - g[2] - s * g[5]
    return deep, (rho * rho_s - q * q_s) / root - g[5], part + 1 if sign > 0 else -part - 1, w, w_s


@kernel(fastmath=FUSED)
def _between(
    g: Array,
    p: float,
    q: float,
    low: float,
    high: float,
    begin: Met,
    end: Met,
    best: float,
    radius: float,
    outline: Array,
    body: Whole,
) -> float:
    """Return the greatest depth between two parts of a piece, or ``best`` where that is greater.

    Where the depth rises from the one and falls to the other, its slope is brought to nothing by secants, and by halves
    where those do not do.
    """
    best = max(best, begin[0], end[0])
    deep_low, slope_low, deep_high, slope_high = begin[0], begin[1], end[0], end[1]
    stayed = 0
    for _ in range(_ROUNDS):
        if not (slope_low > 0 and slope_high < 0):
            break
        wide = high - low
        s = 0.5 * (low + high)
        if deep_low > NOTHING and deep_high > NOTHING:
            if min(slope_low, -slope_high) * wide <= _SETTLED_MM:
                break
            if abs(stayed) < 3:
                s = low + wide * slope_low / (slope_low - slope_high)
        elif wide < 1e-7:
            break
        if not low < s < high:
            s = 0.5 * (low + high)
        deep, slope, _, _, _ = _at(g, p, q, s, 1.0, radius, outline, body)
        best = max(best, deep)
        if slope > 0:
            stayed = stayed + 1 if stayed > 0 else 1
            low, deep_low, slope_low = s, deep, slope
        elif slope < 0:
            stayed = stayed - 1 if stayed < 0 else -1
            high, deep_high, slope_high = s, deep, slope
        else:
            break
    return best


@kernel()
def _border(outline: Array, body: Whole, w: float, rising: bool) -> float:
    """Return the next w, on from one, at which a part of a body gives way to another or to nothing; far off beyond the last."""
    found = 1e30
    sign = 1.0 if rising else -1.0
    for part in range(body[0], body[1] + 1):
        for end in range(2):
            smooth = outline[part, 5] == 0.0 if end == 0 else part < body[1]
            for side in range(-1, 2, 2):
                if not smooth and (body[2] == 0 or body[2] == side):
                    at = sign * side * outline[part, end]
                    if sign * w < at < found:
                        found = at
    return sign * found


@kernel(fastmath=FUSED)
def _stretch(
    g: Array,
    p: float,
    q: float,
    low: float,
    high: float,
    begin: Met,
    end: Met,
    best: float,
    radius: float,
    outline: Array,
    body: Whole,
) -> float:
    """Return the greatest depth between two parts of a piece on the way between which w goes one way, as `_between` does.

    The depth has a corner wherever one part of the outline gives way to the next: it is looked at on both sides of each.
    """
    w, rising = begin[3], end[3] > begin[3]
    for _ in range(4 * outline.shape[0]):
        w = _border(outline, body, w, rising)
        if not (begin[3] < w < end[3] or end[3] < w < begin[3]):
            break
        s = low + (high - low) * (w - begin[3]) / (end[3] - begin[3])
        fast = (end[3] - begin[3]) / (high - low)
        for _trial in range(3):
            met = _at(g, p, q, s, 1.0, radius, outline, body)
            if abs(met[3] - w) < 1e-9:
                break
            s = min(max(s - (met[3] - w) / fast, low), high)
        aside = 1e-8 / abs(fast)
        before, after = max(s - aside, low), min(s + aside, high)
        met = _at(g, p, q, before, 1.0, radius, outline, body)
        best = _between(g, p, q, low, before, begin, met, best, radius, outline, body)
        begin = _at(g, p, q, after, 1.0, radius, outline, body)
        low = after
    return _between(g, p, q, low, high, begin, end, best, radius, outline, body)


@kernel(fastmath=FUSED)
def _deepest(g: Array, p: float, q: float, radius: float, outline: Array, bodies: Whole) -> float:
    """Return the greatest depth that a ray is met at as a piece goes on.

    Its slope grows by the piece's bend at the most, none where nothing turns: a depth that falls faster from the start, or
    rises faster to the end, has its greatest there. Where the ray turns round along the solid's axis on the way, as
    under a frame that turns, each way is searched.
    """
    best = NOTHING
    half_bend = 0.5 * g[_BEND]
    for k in range(bodies.shape[0]):
        body = bodies[k]
        begin = _at(g, p, q, 0.0, 1.0, radius, outline, body)
        if begin[1] <= -half_bend and (begin[0] > NOTHING or half_bend == 0.0):
            best = max(best, begin[0])
            continue
        end = _at(g, p, q, 1.0, -1.0, radius, outline, body)
        if end[1] >= half_bend and (end[0] > NOTHING or half_bend == 0.0):
            best = max(best, begin[0], end[0])
        elif begin[4] * end[4] < 0:
            turn = begin[4] / (begin[4] - end[4])
            there = _at(g, p, q, turn, 1.0, radius, outline, body)
            best = _stretch(g, p, q, 0.0, turn, begin, there, best, radius, outline, body)
            best = _stretch(g, p, q, turn, 1.0, there, end, best, radius, outline, body)
        elif begin[0] > NOTHING or end[0] > NOTHING or (begin[1] > 0 and end[1] < 0):
            best = _stretch(g, p, q, 0.0, 1.0, begin, end, best, radius, outline, body)
    return best


@kernel()
def _no_steeper(outline: Array, slope: float) -> float:
    """Return how far from the middle line an outline that bends outwards alone rises no more steeply than ``slope``."""
    out = 0.0
    for part in range(outline.shape[0]):
        if outline[part, 2] != 0.0:
            steep = slope * outline[part, 4] / math.sqrt(1 + slope * slope)
            if steep < outline[part, 1]:
                return max(out, steep)  # type: ignore[no-any-return]
        elif outline[part, 4] > slope:
            return out
        out = outline[part, 1]
    return out


@kernel()
def _look_out(
    g: Array, moves: Array, k: int, wide: float, chord: float, tall: float, radius: float, outline: Array, one: bool
) -> None:
    """Fill boxes of (w, q) in the poses of a piece, in which rays can be met deepest there; from column `_BOXES` on.

    ``wide``, ``chord`` and ``tall`` bound the part of the solid in the work. A ray is met deepest where the solid slides along
    itself there, or at a joint, where it does for some motion between that before and that after. ``moves`` (n, 2, 6) are
    the tip's motion along q, w and out, and the turn about those, as each piece begins and ends. The solid slides along
    itself at its lower side, its height z over the tip, where ``dz/dq vq + dz/dw vw = vo``, v being its motion there.
    """
    g[_BOXES] = 1
    g[_BOXES + 1], g[_BOXES + 2], g[_BOXES + 3], g[_BOXES + 4] = -wide, wide, -chord, chord
    under = radius - tall
    if not one or under <= 0 or k == 0 or k == moves.shape[0] - 1:
        return
    low, high = np.full(6, 1e30), np.full(6, -1e30)
    for j in range(k - 1, k + 2):
        for end in range(2):
            speed = math.hypot(moves[j, end, 0], moves[j, end, 1])
            if speed < 1e-9:
                return
            for axis in range(6):
                low[axis] = min(low[axis], moves[j, end, axis] / speed - _SPREAD)
                high[axis] = max(high[axis], moves[j, end, axis] / speed + _SPREAD)
    turn_q, turn_w, turn_o = max(-low[3], high[3]), max(-low[4], high[4]), max(-low[5], high[5])
    steep, _ = _steepest(outline, radius, wide, chord, tall)
    out_w, out_q = wide, chord
    for _ in range(3):
        low_q = low[0] - turn_o * out_w + min(low[4], 0.0) * tall
        high_q = high[0] + turn_o * out_w + max(high[4], 0.0) * tall
        least = min(low_q / radius, low_q / under) + low[4] - steep * turn_o
        most = max(high_q / radius, high_q / under) + high[4] + steep * turn_o
        if least > 0 or most < 0:
            aside = turn_q * out_w + steep * (max(-low[1], high[1]) + turn_q * tall)
            ends = ((low[2] - aside) / least, (low[2] - aside) / most, (high[2] + aside) / least, (high[2] + aside) / most)
            g[_BOXES + 3] = max(-chord, min(ends[0], ends[1], ends[2], ends[3]))
            g[_BOXES + 4] = min(chord, max(ends[0], ends[1], ends[2], ends[3]))
            out_q = max(-g[_BOXES + 3], g[_BOXES + 4])
        low_w, high_w = low[1] - turn_o * out_q - turn_q * tall, high[1] + turn_o * out_q + turn_q * tall
        if low_w > 0 or high_w < 0:
            fast_q = max(-low_q, high_q) / under + turn_w
            slope = (max(-low[2], high[2]) + turn_q * out_w + out_q * fast_q) / min(abs(low_w), abs(high_w))
            out_w = min(wide, _no_steeper(outline, slope))
            g[_BOXES + 1], g[_BOXES + 2] = -out_w, out_w
    half = outline[outline.shape[0] - 1, 1]
    if wide >= half:
        g[_BOXES] = 3
        g[_BOXES + 5], g[_BOXES + 6], g[_BOXES + 7], g[_BOXES + 8] = half, half, -chord, chord
        g[_BOXES + 9], g[_BOXES + 10], g[_BOXES + 11], g[_BOXES + 12] = -half, -half, -chord, chord


@kernel()
def _beside(g: Array, w0: float, q0: float, w1: float, q1: float, off: float) -> bool:
    """Return whether a patch, none of whose rays is further off than that, goes by all boxes from one (w, q) to another."""
    for box in range(int(g[_BOXES])):
        at = _BOXES + 1 + 4 * box
        low_w, high_w, low_q, high_q = g[at] - off, g[at + 1] + off, g[at + 2] - off, g[at + 3] + off
        if max(w0, w1) < low_w or min(w0, w1) > high_w or max(q0, q1) < low_q or min(q0, q1) > high_q:
            continue
        mw, mq = 0.5 * (low_w + high_w), 0.5 * (low_q + high_q)
        dw, dq = w1 - w0, q1 - q0
        if abs((w0 - mw) * dq - (q0 - mq) * dw) <= 0.5 * ((high_w - low_w) * abs(dq) + (high_q - low_q) * abs(dw)):
            return False
    return True


@kernel()
def _steepest(outline: Array, radius: float, wide: float, chord: float, tall: float) -> tuple[float, float]:
    """Return how steep the solid's lower side is at most along its axis and across it, in so much of it; 1e6 at the most."""
    under = max(radius - tall, 1e-6 * radius)
    steep = 0.0
    for part in range(outline.shape[0]):
        if outline[part, 0] <= wide:
            _, rise, _ = height(outline, min(outline[part, 1], wide), part, part)
            steep = max(steep, rise)
    return min(steep * radius / under, 1e6), min(chord / under, 1e6)


@kernel()
def _outer(g: Array) -> tuple[float, float, float, float]:
    """Return the least and greatest w and q in all boxes of a piece."""
    low_w, high_w, low_q, high_q = g[_BOXES + 1], g[_BOXES + 2], g[_BOXES + 3], g[_BOXES + 4]
    for box in range(1, int(g[_BOXES])):
        at = _BOXES + 1 + 4 * box
        low_w, high_w = min(low_w, g[at]), max(high_w, g[at + 1])
        low_q, high_q = min(low_q, g[at + 2]), max(high_q, g[at + 3])
    return low_w, high_w, low_q, high_q


@kernel()
def _spread(way: float, low: float, high: float) -> tuple[float, float]:
    return min(way * low, way * high), max(way * low, way * high)


@kernel()
def _bounds_on_face(pieces: Array, radius: float, outline: Array, one: bool, grid: Grid, bounds: Whole) -> None:
    """Fill what is worked out of each piece, and its bounds in cells."""
    x0, y0, column_step, row_step = grid
    moves = np.zeros((pieces.shape[0], 2, 6))
    for k in range(pieces.shape[0]):
        g = pieces[k]
        g[11], g[12] = g[3] * g[6] + g[4] * g[7], g[3] * g[7] - g[4] * g[6]
        for end in range(2):
            c, n = math.cos(end * g[8]), math.sin(end * g[8])
            moves[k, end, 0], moves[k, end, 1] = c * g[12] + n * g[11], c * g[11] - n * g[12]
            moves[k, end, 2], moves[k, end, 5] = g[5], g[8]
    for k in range(pieces.shape[0]):
        g = pieces[k]
        bounds[k] = 1, 0, 1, 0
        deep = -min(g[2], g[2] + g[5])
        if g[_CUTS] == 0.0 or not deep > 0:
            continue
        wide, chord = reach(outline, deep), radius if deep >= radius else math.sqrt(deep * (2 * radius - deep))
        _look_out(g, moves, k, wide, chord, min(deep, radius), radius, outline, one)
        low_w, high_w, low_q, high_q = _outer(g)
        moved, extent = math.hypot(g[3], g[4]), math.hypot(wide, chord)
        turned = abs(g[8])
        steep, level = _steepest(outline, radius, wide, chord, deep)
        aside_w, aside_q = abs(g[12]) + turned * moved, abs(g[11]) + turned * moved
        g[_BEND] = turned * (steep * (2 * aside_w + turned * extent) + level * (2 * aside_q + turned * extent))
        g[_SAG] = turned * (2 * moved + turned * (moved + math.hypot(wide, chord))) / 8 + 2 * _TOUCHES_MM
        left, right, bottom, top = 1e30, -1e30, 1e30, -1e30
        for end in range(2):
            c, n = math.cos(end * g[8]), math.sin(end * g[8])
            wx, wy = c * g[6] - n * g[7], c * g[7] + n * g[6]
            x, y = g[0] + end * g[3], g[1] + end * g[4]
            xw, xq = _spread(wx, low_w, high_w), _spread(wy, low_q, high_q)
            yw, yq = _spread(wy, low_w, high_w), _spread(-wx, low_q, high_q)
            left, right = min(left, x + xw[0] + xq[0]), max(right, x + xw[1] + xq[1])
            bottom, top = min(bottom, y + yw[0] + yq[0]), max(top, y + yw[1] + yq[1])
        bounds[k, 0] = cell_above((bottom - g[_SAG] - y0) / row_step)
        bounds[k, 1] = cell_below((top + g[_SAG] - y0) / row_step)
        bounds[k, 2] = cell_above((left - g[_SAG] - x0) / column_step)
        bounds[k, 3] = cell_below((right + g[_SAG] - x0) / column_step)


@kernel(fastmath=FUSED)
def _deepen_on_face(
    g: Array,
    bounds: Whole,
    row: int,
    column: int,
    columns: int,
    grid: Grid,
    radius: float,
    outline: Array,
    bodies: Whole,
    near: Whole,
    tile: Cells,
) -> None:
    """Deepen a tile by one piece."""
    x0, y0, column_step, row_step = grid
    off = 1.5 * math.hypot(row_step, column_step) + g[_SAG]
    lowest = np.float32(-min(g[2], g[2] + g[5]))
    c, n = math.cos(g[8]), math.sin(g[8])
    top, bottom = rows_between(bounds, row)
    count = patch_columns(bounds, column, columns, False, near)
    for down in range(top, bottom):
        y = y0 + (row + down * PATCH) * row_step - g[1]
        for m in range(count):
            x = x0 + (column + near[m] * PATCH) * column_step - g[0]
            mx, my = x + 1.5 * column_step, y + 1.5 * row_step
            ex, ey = mx - g[3], my - g[4]
            pw, pq = mx * g[6] + my * g[7], mx * g[7] - my * g[6]
            ew, eq = ex * g[6] + ey * g[7], ex * g[7] - ey * g[6]
            if _beside(g, pw, pq, c * ew - n * eq, c * eq + n * ew, off):
                continue
            patch = tile[down * PATCHES + near[m]]
            for i in range(PATCH):
                for j in range(PATCH):
                    now = patch[i * PATCH + j]
                    if now < lowest:
                        px, py = x + j * column_step, y + i * row_step
                        w, q = px * g[6] + py * g[7], px * g[7] - py * g[6]
                        deep = np.float32(_deepest(g, w, q, radius, outline, bodies))
                        if deep > now:
                            patch[i * PATCH + j] = deep


@kernel(fastmath=FUSED)
def _share_frame_on_face(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    grid: Grid,
    radius: float,
    outline: Array,
    bodies: Whole,
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
            _deepen_on_face(pieces[of], bounds[of], row, column, columns, grid, radius, outline, bodies, near, tile)
        store_tile(tile, row, column, work, depth)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve_frame_on_face(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    grid: Grid,
    radius: float,
    outline: Array,
    bodies: Whole,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, a thread a tile."""
    shares = min(SHARES, tiles.size)
    for share in prange(shares):
        _share_frame_on_face(tiles[share::shares], starts, order, pieces, bounds, grid, radius, outline, bodies, work, depth)


def frame_on_face(
    pieces: Array, radius: float, outline: Array, bodies: Whole, one: bool, grid: Grid, work: Whole, depth: Cells
) -> None:
    """Deepen a face's depths by a solid of revolution that goes along pieces of path.

    Parameters
    ----------
    pieces : (n, 41) float64
        Of each piece: the tip's x, y, z, mm; how far it goes; the solid's axis at the start, (x, y) unit, in columns 6 and
        7; how far it turns, rad, in 8, a twentieth at the most; whether the piece is to be cut, in 22, or stands there for
        its neighbours. The others are filled here.
    radius : float, mm
        From the axis to the tip.
    outline : (k, 6) float64
        See `lobework.kernels.sweep.blade_on_face`; and whether the outline has a corner where the part begins.
    bodies : (m, 3) int32
        First and last part of each stretch of the outline that does not bend inwards, and its side of the middle line: 1
        or -1, or 0 for both.
    one : bool
        Whether there is one such stretch alone.
    grid : (x, y, column step, row step)
        Of the first cell, and from cell to cell, mm.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    _bounds_on_face(pieces, radius, outline, one, grid, bounds)
    for part, tiles, starts, order in lots(bounds, depth.shape, False):
        _carve_frame_on_face(tiles, starts, order, pieces[part], bounds[part], grid, radius, outline, bodies, work, depth)
