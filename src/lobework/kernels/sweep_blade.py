"""A flat outline without thickness swept over a depth grid: on a face in closed form, on a round surface by Newton's way.

An outline is (k, 5 or more) float64, one part a row, outwards from its middle line: near, far, whether it is round, and then the
height at ``near`` and the rise, or the height of the centre and the radius. Both sides of the middle line are alike.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit, prange

from lobework.kernels.tiles import (
    MOST_REFERENCES,
    PATCH,
    PATCHES,
    PRANGE_ALONE,
    SHARES,
    bin_to_tiles,
    blank_tile,
    busy_tiles,
    cell_above,
    cell_below,
    corner,
    load_tile,
    store_tile,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lobework.kernels.tiles import Cells, Counts, Whole
    from lobework.rigid import Array

    Grid = tuple[float, float, float, float]
    Steps = tuple[float, float, float, bool]

__all__ = [
    "FUSED",
    "NOTHING",
    "blade_on_face",
    "blade_on_round",
    "height",
    "lots",
    "outside",
    "patch_columns",
    "reach",
    "rows_between",
]

FUSED: Final = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
NOTHING: Final = -1e30
"""Depth where a ray is not met."""
_TOUCHES_MM: Final = 1e-9
_SETTLED_MM: Final = 1e-8
_ROUNDS: Final = 40
_DOUBT: Final = 0.2
_RADIAL: Final = 1.0
_STAYS: Final = 2.0
_GOLDEN: Final = (5**0.5 - 1) / 2


def lots(bounds: Whole, shape: tuple[int, ...], wraps: bool) -> Iterator[tuple[slice, Counts, Counts, Whole]]:
    """Yield as many pieces of path at a time as can be binned, with the tiles that they reach and what reaches into each.

    ``bounds`` and ``wraps`` are those of `lobework.kernels.tiles.bin_to_tiles`, as are what is yielded after the tiles.
    """
    taken = 0
    while taken < len(bounds):
        starts, order, more = bin_to_tiles(bounds[taken:], shape[0], shape[1], wraps, MOST_REFERENCES)
        yield slice(taken, taken + more), busy_tiles(starts), starts, order
        taken += more


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
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


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def outside(outline: Array, a: float, up: float, first: int, last: int) -> tuple[float, float, float, int]:
    """Return how far below the outline a place is, ``a`` from its middle line and ``up`` above the tip; by a; by up; the part.

    Of a round part it is the distance from its circle, or from the line up its side: it never grows faster than a and up do.
    """
    part = first
    while part < last and a > outline[part, 1]:
        part += 1
    if outline[part, 2] != 0.0:
        under = outline[part, 3] - up
        if under <= 0.0:
            return a - outline[part, 4], 1.0, 0.0, part
        away = math.sqrt(under * under + a * a)
        return away - outline[part, 4], a / away, -under / away, part
    rise = outline[part, 4]
    return outline[part, 3] + rise * (a - outline[part, 0]) - up, rise, -1.0, part


@njit(cache=True, error_model="numpy", nogil=True)
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


@njit(cache=True, error_model="numpy", nogil=True)
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


@njit(cache=True, error_model="numpy", nogil=True)
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


@njit(cache=True, error_model="numpy", nogil=True)
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


@njit(cache=True, error_model="numpy", nogil=True)
def rows_between(bounds: Whole, row: int) -> tuple[int, int]:
    """Return the first patch along the rows of a tile that a piece reaches, and the one after the last."""
    return max((bounds[0] - row) // PATCH, 0), min((bounds[1] - row) // PATCH + 1, PATCHES)


@njit(cache=True, error_model="numpy", nogil=True)
def patch_columns(bounds: Whole, column: int, columns: int, wraps: bool, found: Whole) -> int:
    """Fill ``found`` with the patches along the columns of a tile that a piece reaches; return how many."""
    count = 0
    low, high = bounds[2], bounds[3]
    for patch in range(PATCHES):
        left = column + patch * PATCH
        if left >= columns:
            break
        if wraps:
            after = (left - low) % columns
            touches = after <= high - low or after + PATCH > columns
        else:
            touches = left <= high and left + PATCH > low
        if touches:
            found[count] = patch
            count += 1
    return count


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
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


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
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


@njit(cache=True, error_model="numpy", parallel=PRANGE_ALONE, fastmath=FUSED)
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


@njit(cache=True, error_model="numpy", nogil=True)
def longest(band: Array, low: float, bottom: float, top: float) -> float:
    """Return how deep a patch's rays go, at most, before they come nearer the axis than ``low`` or out of a range of z."""
    deep = 1e9
    if band[2] > 0:
        deep = (band[0] + band[4] - low) / band[2]
    if band[3] != 0:
        deep = min(deep, (max(abs(band[1] - bottom), abs(band[1] - top)) + band[4]) / abs(band[3]))
    return deep * 1.1 + band[4]  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy", nogil=True)
def bounds_around(
    g: Array, low: float, aside: float, bottom: float, top: float, bands: Array, steps: Steps, bounds: Whole
) -> None:
    """Fill the bounds of a piece whose cutter keeps ``low`` from the axis, ``aside`` of its tip, and in a range of z.

    ``bands`` are the rows, four at a time: radius, z, and the normal's parts along both, in their middle; how far a row is
    off it, and how much further for each mm of depth.
    """
    row_step, column_step, column_start, straight = steps
    beside = math.asin(aside / low) if 0 <= aside < low else math.pi
    first, last = min(g[0], g[0] + g[1]) - beside, max(g[0], g[0] + g[1]) + beside
    bounds[2] = cell_above((first - column_start) / column_step - 1e-9)
    bounds[3] = cell_below((last - column_start) / column_step + 1e-9)
    if straight:
        from_top = bands[0, 1] + 1.5 * row_step
        bounds[0] = cell_above((from_top - top) / row_step - 1e-9)
        bounds[1] = cell_below((from_top - bottom) / row_step + 1e-9)
        return
    bounds[0], bounds[1] = 1, 0
    for k in range(bands.shape[0]):
        deep = longest(bands[k], low, bottom, top)
        if deep < 0:
            continue
        off = bands[k, 4] + bands[k, 5] * deep
        end = bands[k, 1] - bands[k, 3] * deep
        if min(bands[k, 1], end) - off <= top and max(bands[k, 1], end) + off >= bottom:
            if bounds[1] < bounds[0]:
                bounds[0] = k * PATCH
            bounds[1] = k * PATCH + PATCH - 1


@njit(cache=True, error_model="numpy", nogil=True)
def turned_on(cosine: float, sine: float, angle: float) -> tuple[float, float]:
    """Return the cosine and sine of an angle less another one of a twentieth of a radian at the most."""
    q = angle * angle
    c, s = 1 - q * (0.5 - q * (1 / 24 - q / 720)), angle * (1 - q * (1 / 6 - q / 120))
    return cosine * c + sine * s, sine * c - cosine * s


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _posed(
    g: Array, cosine: float, sine: float, ray: Array, s: float, d: float
) -> tuple[float, float, float, float, float, float, float, float, float]:
    """Return where the point ``d`` deep on a ray stands to the blade when the part ``s`` of a piece is done.

    Across the blade's plane, along its breadth, and out of its tip: each with its slopes by depth and by the part done.
    """
    c, q = turned_on(cosine, sine, s * g[1])
    r, z = ray[0] - d * ray[2], ray[1] - d * ray[3]
    xr, xp, xz = r * c - g[2] - s * g[3], r * q, z - g[4] - s * g[5]
    dr, dp, dz = -ray[2] * c, -ray[2] * q, -ray[3]
    sr, sp, sz = r * q * g[1] - g[3], -r * c * g[1], -g[5]
    outr, outp, outz = g[6] + s * g[9], g[7] + s * g[10], g[8] + s * g[11]
    lr, lp, lz = g[12] + s * g[15], g[13] + s * g[16], g[14] + s * g[17]
    nr, np_, nz = outp * lz - outz * lp, outz * lr - outr * lz, outr * lp - outp * lr
    tr = g[10] * lz - g[11] * lp + outp * g[17] - outz * g[16]
    tp = g[11] * lr - g[9] * lz + outz * g[15] - outr * g[17]
    tz = g[9] * lp - g[10] * lr + outr * g[16] - outp * g[15]
    across = nr * xr + np_ * xp + nz * xz
    across_d = nr * dr + np_ * dp + nz * dz
    across_s = nr * sr + np_ * sp + nz * sz + tr * xr + tp * xp + tz * xz
    between = s * (1 - s)
    even_out, even_level = 1 + between * g[20], 1 + between * g[21]
    along = (lr * xr + lp * xp + lz * xz) * even_level
    along_d = (lr * dr + lp * dp + lz * dz) * even_level
    along_s = (lr * sr + lp * sp + lz * sz + g[15] * xr + g[16] * xp + g[17] * xz) * even_level
    out = (outr * xr + outp * xp + outz * xz) * even_out
    out_d = (outr * dr + outp * dp + outz * dz) * even_out
    out_s = (outr * sr + outp * sp + outz * sz + g[9] * xr + g[10] * xp + g[11] * xz) * even_out
    return across, across_d, across_s, along, along_d, along_s, out, out_d, out_s


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _leaves(
    g: Array, cosine: float, sine: float, ray: Array, s: float, d: float, outline: Array, first: int, last: int, side: int
) -> float:
    """Return how deep a ray goes until it leaves, for good, what the parts ``first`` to ``last`` sweep over in one piece.

    The ray is in it while it is above the edge, inside the sides, and met between the piece's ends: each is very nearly a
    concave function of the depth, so that their tangents, taken again and again where the first of them ends, close in on
    it. Tangents that leave nothing between them are doubted as long as they are taken from afar.
    """
    near, far = outline[first, 0], outline[last, 1] + _TOUCHES_MM
    radial = g[22] == _RADIAL
    for _ in range(_ROUNDS):
        across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = _posed(g, cosine, sine, ray, s, d)
        if not radial:
            for _polish in range(8):
                if abs(across) < 1e-11:
                    break
                s -= across / across_s
                if not abs(s) < 30.0:
                    return NOTHING
                across, across_d, across_s, along, along_d, along_s, out, out_d, out_s = _posed(g, cosine, sine, ray, s, d)
            if abs(across) > _SETTLED_MM:
                return NOTHING
            by_d = -across_d / across_s
            along_d += along_s * by_d
            out_d += out_s * by_d
        else:
            by_d = 0.0
        low, high = 0.0, ray[4]
        slack = _TOUCHES_MM / max(abs(across_s), 1e-6)
        if abs(by_d) < 1e-12:
            if not -slack <= s <= 1 + slack:
                return NOTHING
        else:
            from_start, to_end = d - (s + slack) / by_d, d + (1 + slack - s) / by_d
            low, high = max(low, min(from_start, to_end)), min(high, max(from_start, to_end))
        sign = 1.0 if along >= 0 else -1.0
        if side != 0:
            sign = float(side)
        a, a_d = sign * along, sign * along_d
        if a_d > 0:
            high = min(high, d + (far - a) / a_d)
        elif a_d < 0:
            low = max(low, d + (far - a) / a_d)
        elif a > far:
            return NOTHING
        if side != 0:
            from_near = near - _TOUCHES_MM
            if a_d > 0:
                low = max(low, d + (from_near - a) / a_d)
            elif a_d < 0:
                high = min(high, d + (from_near - a) / a_d)
            elif a < from_near:
                return NOTHING
        if a <= far + 2 * _SETTLED_MM * (1 + abs(a_d)):
            below, by_a, by_out, _ = outside(outline, min(max(a, near), far), out, first, last)
            below_d = by_a * a_d + by_out * out_d
            if below_d > 0:
                high = min(high, d - below / below_d)
            elif below_d < 0:
                low = max(low, d - below / below_d)
            elif below > 0:
                return NOTHING
        if not high < 1e8:
            return NOTHING
        if low > high + _TOUCHES_MM:
            aim = 0.5 * (low + high)
            if low - high > _DOUBT * abs(aim - d) + _SETTLED_MM:
                return NOTHING
            s += by_d * (aim - d)
            d = aim
            continue
        if abs(high - d) <= _SETTLED_MM:
            return high  # type: ignore[no-any-return]
        s += by_d * (high - d)
        d = high
    return NOTHING


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _within(g: Array, cosine: float, sine: float, ray: Array, s: float, d: float, outline: Array, body: Whole) -> float:
    """Return how far a point of a ray is inside a stretch of the blade's outline in one pose, below zero outside it."""
    _, _, _, along, _, _, out, _, _ = _posed(g, cosine, sine, ray, s, d)
    a = abs(along) if body[2] == 0 else body[2] * along
    near, far = outline[body[0], 0], outline[body[1], 1]
    below, _, _, _ = outside(outline, min(max(a, near), far), out, body[0], body[1])
    inside = min(-below, far - a)
    return inside if body[2] == 0 else min(inside, a - near)  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _pierced(g: Array, cosine: float, sine: float, ray: Array, outline: Array, bodies: Whole) -> float:
    """Return how deep a ray meets a blade that does not leave its own plane, slid along that plane or still.

    A ray that runs along the plane meets nothing: it would have to lie on a line of no width.
    """
    across, across_d, _, _, _, _, _, _, _ = _posed(g, cosine, sine, ray, 0.0, 0.0)
    if abs(across_d) < _TOUCHES_MM:
        return NOTHING
    d = -across / across_d
    if not 0.0 <= d <= ray[4]:
        return NOTHING
    for k in range(bodies.shape[0]):
        low, high = 0.0, 1.0
        first, second = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        at_first = _within(g, cosine, sine, ray, first, d, outline, bodies[k])
        at_second = _within(g, cosine, sine, ray, second, d, outline, bodies[k])
        for _ in range(_ROUNDS):
            if at_first >= at_second:
                high, second, at_second = second, first, at_first
                first = high - _GOLDEN * (high - low)
                at_first = _within(g, cosine, sine, ray, first, d, outline, bodies[k])
            else:
                low, first, at_first = first, second, at_second
                second = low + _GOLDEN * (high - low)
                at_second = _within(g, cosine, sine, ray, second, d, outline, bodies[k])
        if max(at_first, at_second) >= -_SETTLED_MM:
            return d
    return NOTHING


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _on_round(g: Array, cosine: float, sine: float, ray: Array, outline: Array, bodies: Whole) -> float:
    """Return how deep the blade of one piece goes along a ray.

    How far the ray is off its plane is about a quadratic in the part of the piece done; each root starts a search.
    """
    starts, above = 1, 0.0
    first_s, second_s = 0.0, 0.0
    if g[22] == _STAYS:
        return _pierced(g, cosine, sine, ray, outline, bodies)
    if g[22] == _RADIAL:
        first_s = math.atan2(sine, cosine) / g[1]
    else:
        above = max(0.5 * _posed(g, cosine, sine, ray, 0.5, 0.0)[6], 0.0)
        begin = _posed(g, cosine, sine, ray, 0.0, above)[0]
        middle = _posed(g, cosine, sine, ray, 0.5, above)[0]
        end = _posed(g, cosine, sine, ray, 1.0, above)[0]
        bend = 2 * (begin - 2 * middle + end)
        slope = end - begin - bend
        square = slope * slope - 4 * bend * begin
        if square < 0:
            first_s = -0.5 * slope / bend
        else:
            twice = -0.5 * (slope + math.copysign(math.sqrt(square), slope))
            first_s, second_s = begin / twice, twice / bend
            starts = 2
    deepest = NOTHING
    for start in range(starts):
        s = first_s if start == 0 else second_s
        if not abs(s) < 30.0:
            continue
        for body in range(bodies.shape[0]):
            deepest = max(
                deepest, _leaves(g, cosine, sine, ray, s, above, outline, bodies[body, 0], bodies[body, 1], bodies[body, 2])
            )
    return deepest


@njit(cache=True, error_model="numpy", nogil=True)
def _bounds_on_round(pieces: Array, outline: Array, bands: Array, steps: Steps, most: float, bounds: Whole) -> None:
    """Fill what is worked out of each piece, and its bounds in cells."""
    for k in range(pieces.shape[0]):
        g = pieces[k]
        g[18], g[19] = math.cos(g[0]), math.sin(g[0])
        outs, levels = g[9] ** 2 + g[10] ** 2 + g[11] ** 2, g[15] ** 2 + g[16] ** 2 + g[17] ** 2
        g[20], g[21] = outs / 2, levels / 2
        aslant = max(abs(g[7]), abs(g[13])) + abs(g[10]) + abs(g[16])
        g[22] = _RADIAL if aslant < 1e-12 and abs(g[1]) > 1e-12 else 0.0
        wide = outline[outline.shape[0] - 1, 1]
        lean_r, lean_p = max(abs(g[12]), abs(g[12] + g[15])), max(abs(g[13]), abs(g[13] + g[16]))
        lean_z = max(abs(g[14]), abs(g[14] + g[17]))
        tall = 0.0
        upright = min(g[6], g[6] + g[9])
        for _ in range(3):
            tall = (most - min(g[2], g[2] + g[3]) + lean_r * wide) / upright
            wide = reach(outline, tall)
            if wide < 0:
                break
        moved = math.sqrt(g[3] ** 2 + (max(g[2], g[2] + g[3]) * g[1]) ** 2 + g[5] ** 2)
        turned = abs(g[1]) + math.sqrt(outs) + math.sqrt(levels)
        g[23] = wide
        g[24] = (most * g[1] ** 2 + 2 * turned * moved + turned**2 * (moved + math.hypot(wide, tall))) / 4
        low = min(g[2], g[2] + g[3]) - lean_r * max(wide, 0.0)
        g[25] = low
        crossing = 0.0
        for end in range(2):
            for corner_ in range(4):
                w = wide if corner_ % 2 == 0 else -wide
                crossing = max(crossing, abs(_crosses(g, float(end), w, tall if corner_ < 2 else 0.0)))
        bounds[k] = 1, 0, 1, 0
        g[26] = g[27] = 0.0
        if crossing <= _TOUCHES_MM:
            g[22] = _STAYS
        if wide < 0 or (g[22] == _STAYS and aslant < 1e-12):
            continue
        aside = lean_p * wide + max(abs(g[7]), abs(g[7] + g[10])) * tall + 2 * _TOUCHES_MM
        rise, fall = max(g[8], g[8] + g[11], 0.0) * tall, min(g[8], g[8] + g[11], 0.0) * tall
        g[26] = min(g[4], g[4] + g[5]) - lean_z * wide + fall - 2 * _TOUCHES_MM
        g[27] = max(g[4], g[4] + g[5]) + lean_z * wide + rise + 2 * _TOUCHES_MM
        bounds_around(g, low, aside, g[26], g[27], bands, steps, bounds[k])


@njit(cache=True, error_model="numpy", nogil=True)
def _crosses(g: Array, s: float, w: float, h: float) -> float:
    """Return how fast a point of the blade leaves the blade's plane as a piece begins (s = 0) or ends, mm a piece."""
    outr, outp, outz = g[6] + s * g[9], g[7] + s * g[10], g[8] + s * g[11]
    lr, lp, lz = g[12] + s * g[15], g[13] + s * g[16], g[14] + s * g[17]
    nr, np_, nz = outp * lz - outz * lp, outz * lr - outr * lz, outr * lp - outp * lr
    vr = g[3] + w * g[15] + h * g[9] - g[1] * (w * lp + h * outp)
    vp = (g[2] + s * g[3]) * g[1] + w * g[16] + h * g[10] + g[1] * (w * lr + h * outr)
    vz = g[5] + w * g[17] + h * g[11]
    return nr * vr + np_ * vp + nz * vz  # type: ignore[no-any-return]


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _beside_on_round(g: Array, band: Array, cosine: float, sine: float, off: float) -> bool:
    """Return whether the rays of a patch, none further off its middle one than that, are clear of a piece."""
    deep = longest(band, g[25], g[26], g[27])
    if deep < 0:
        return True
    off += band[4] + band[5] * deep + g[24]
    least, most, in_least, in_most = 1e30, -1e30, 1e30, -1e30
    for end in range(4):
        across, _, _, along, _, _, _, _, _ = _posed(g, cosine, sine, band, float(end % 2), 0.0 if end < 2 else deep)
        least, most = min(least, across), max(most, across)
        in_least, in_most = min(in_least, along), max(in_most, along)
    return least > off or most < -off or in_least > off + g[23] or in_most < -off - g[23]


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _deepen_on_round(
    g: Array,
    bounds: Whole,
    row: int,
    column: int,
    columns: int,
    rays: Array,
    bands: Array,
    turns: Array,
    outline: Array,
    bodies: Whole,
    near: Whole,
    tile: Cells,
) -> None:
    """Deepen a tile by one piece."""
    top, bottom = rows_between(bounds, row)
    count = patch_columns(bounds, column, columns, True, near)
    for down in range(top, bottom):
        band = bands[row // PATCH + down]
        for n in range(count):
            first = column + near[n] * PATCH
            c = turns[first, 2] * g[18] + turns[first, 3] * g[19]
            q = turns[first, 3] * g[18] - turns[first, 2] * g[19]
            if _beside_on_round(g, band, c, q, turns[first, 4] * (band[0] + band[4])):
                continue
            patch = tile[down * PATCHES + near[n]]
            for j in range(PATCH):
                c = turns[first + j, 0] * g[18] + turns[first + j, 1] * g[19]
                q = turns[first + j, 1] * g[18] - turns[first + j, 0] * g[19]
                for r in range(PATCH):
                    deep = np.float32(_on_round(g, c, q, rays[row + down * PATCH + r], outline, bodies))
                    if deep > patch[r * PATCH + j]:
                        patch[r * PATCH + j] = deep


@njit(cache=True, error_model="numpy", nogil=True, fastmath=FUSED)
def _share_blade_on_round(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    rays: Array,
    bands: Array,
    turns: Array,
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
            _deepen_on_round(pieces[of], bounds[of], row, column, columns, rays, bands, turns, outline, bodies, near, tile)
        store_tile(tile, row, column, work, depth)


@njit(cache=True, error_model="numpy", parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve_blade_on_round(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    rays: Array,
    bands: Array,
    turns: Array,
    outline: Array,
    bodies: Whole,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, a thread a tile."""
    shares = min(SHARES, tiles.size)
    for share in prange(shares):
        _share_blade_on_round(
            tiles[share::shares], starts, order, pieces, bounds, rays, bands, turns, outline, bodies, work, depth
        )


def blade_on_round(
    pieces: Array,
    outline: Array,
    bodies: Whole,
    rays: Array,
    bands: Array,
    turns: Array,
    steps: Steps,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen a round surface's depths by a blade that goes along pieces of path.

    Parameters
    ----------
    pieces : (n, 28) float64
        Of each piece: the tip's polar angle, rad, and its change; its distance from the axis, mm, and its change; its z
        and its change; the blade's way out of its tip (columns 6 to 8), away from the axis, round it and along it, and its
        change (9 to 11); the way of its breadth (12 to 14) and its change (15 to 17). The others are filled here. Both
        ways turn by a straight blend made even, so that pieces must turn little.
    outline : (k, 5 or more) float64
        See the module.
    bodies : (m, 3) int32
        First and last part of each stretch of the outline that does not bend inwards, and its side of the middle line: 1
        or -1, or 0 for both.
    rays : (rows to the whole patch, 5) float64
        Radius, z, the normal's parts along both, and the depth at which the axis is met.
    bands : (patches, 6) float64
        See `bounds_around`.
    turns : (columns to the whole tile, 5) float64
        Cosine and sine of each column, of the middle of the patch that begins there, and how far its cells are off it for
        each mm from the axis.
    steps : (row step, column step, angle of the first column, whether it is a cylinder)
        mm, rad, rad.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    _bounds_on_round(pieces, outline, bands, steps, rays[:, 0].max(), bounds)
    for part, tiles, starts, order in lots(bounds, depth.shape, True):
        _carve_blade_on_round(tiles, starts, order, pieces[part], bounds[part], rays, bands, turns, outline, bodies, work, depth)
