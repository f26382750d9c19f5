"""A fixed tool's blade swept over a depth grid along pieces of path, over any surface and however it leans."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.blade_on_face import reach
from lobework.kernels.sweep.ray_blade import BENDS, BOXES, FUSED, SPEED, STAYS, VEERS, meets, posed
from lobework.kernels.sweep.rays import aim, aim_at_patch, bounds_in, deepest_of
from lobework.kernels.sweep.tiles import (
    PATCH,
    PATCHES,
    PRANGE_ALONE,
    SHARES,
    blank_tile,
    corner,
    load_tile,
    lots,
    next_ticket,
    patch_columns,
    rows_between,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.rays import Rays
    from lobework.kernels.sweep.tiles import Cells, Counts, Whole


__all__ = ["PIECE", "carve_tool"]

PIECE: Final = 36
"""Columns of a piece of path: see `carve_tool`."""
_WIDE: Final = 28
_OFF: Final = 29
_BOX: Final = 30
_SLACK_MM: Final = 1e-9


@kernel()
def _crosses(g: Array, s: float, w: float, h: float) -> float:
    """Return how fast a place of the blade leaves the blade's plane as a piece begins (s = 0) or ends, mm a piece."""
    outr, outp, outz = g[8] + s * g[11], g[9] + s * g[12], g[10] + s * g[13]
    lr, lp, lz = g[14] + s * g[17], g[15] + s * g[18], g[16] + s * g[19]
    nr, np_, nz = outp * lz - outz * lp, outz * lr - outr * lz, outr * lp - outp * lr
    r, p = g[2] + s * g[5] + w * lr + h * outr, g[3] + s * g[6] + w * lp + h * outp
    vr = g[5] + w * g[17] + h * g[11] - g[1] * p
    vp = g[6] + w * g[18] + h * g[12] + g[1] * r
    return nr * vr + np_ * vp + nz * (g[7] + w * g[19] + h * g[13])  # type: ignore[no-any-return]


@kernel()
def _prepare(g: Array, outline: Array, most: float, on_face: bool) -> bool:
    """Fill what is worked out of one piece alone; return whether it may reach the work."""
    up = 2 if on_face else 0
    outs, levels = g[11] ** 2 + g[12] ** 2 + g[13] ** 2, g[17] ** 2 + g[18] ** 2 + g[19] ** 2
    g[20], g[21], g[22], g[23] = math.cos(g[0]), math.sin(g[0]), outs / 2, levels / 2
    upright, lowest = min(g[8 + up], g[8 + up] + g[11 + up]), min(g[2 + up], g[2 + up] + g[5 + up])
    lean = max(abs(g[14 + up]), abs(g[14 + up] + g[17 + up]))
    wide, tall = outline[outline.shape[0] - 1, 1], 0.0
    for _ in range(3):
        tall = (most - lowest + lean * wide) / upright
        wide = reach(outline, tall)
        if wide < 0.0:
            return False
    speed = math.sqrt(g[5] ** 2 + g[6] ** 2 + g[7] ** 2) + abs(g[1]) * (most + abs(g[3]) + abs(g[6]))
    turn, size = math.sqrt(outs) + math.sqrt(levels), 2 * (most + wide + tall) + speed
    g[BENDS] = 1.5 * (most * g[1] ** 2 + 2 * turn * speed + turn * turn * (3 * size + speed))
    g[VEERS] = 1.5 * (turn + abs(g[1]) + turn * turn)
    g[SPEED] = speed + turn * size
    g[_WIDE], g[_OFF] = wide, g[BENDS] / 8 + 2 * _SLACK_MM
    crossing = 0.0
    for corner_ in range(8):
        w, h = wide if corner_ % 2 == 0 else -wide, tall if corner_ % 4 < 2 else 0.0
        crossing = max(crossing, abs(_crosses(g, float(corner_ // 4), w, h)))
    g[STAYS] = 1.0 if crossing <= _SLACK_MM else 0.0
    for i in range(3):
        a, b = max(abs(g[14 + i]), abs(g[14 + i] + g[17 + i])) * wide, 2 * _SLACK_MM
        least, over = min(g[8 + i], g[8 + i] + g[11 + i], 0.0) * tall, max(g[8 + i], g[8 + i] + g[11 + i], 0.0) * tall
        g[_BOX + i] = min(g[2 + i], g[2 + i] + g[5 + i]) + least - a - b
        g[_BOX + 3 + i] = max(g[2 + i], g[2 + i] + g[5 + i]) + over + a + b
    return True


@kernel()
def _lay(pieces: Array, outline: Array, rays: Rays, most: float, bounds: Whole) -> None:
    """Fill what is worked out of each piece, and its bounds in cells."""
    for k in range(pieces.shape[0]):
        g = pieces[k]
        bounds[k] = 1, 0, 1, 0
        if not _prepare(g, outline, most, rays.on_face):
            continue
        bounds_in(rays, g[_BOX:], g[0], g[1], bounds[k])


@kernel(fastmath=FUSED)
def _beside(g: Array, ray: Array, deep: float, off: float) -> bool:
    """Return whether the rays of a patch, none further off its middle one than that, are clear of a piece."""
    off += g[_OFF]
    least, most, in_least, in_most = 1e30, -1e30, 1e30, -1e30
    for end in range(4):
        across, _, _, along, _, _, _, _, _ = posed(g, ray, float(end % 2), 0.0 if end < 2 else deep)
        least, most = min(least, across), max(most, across)
        in_least, in_most = min(in_least, along), max(in_most, along)
    return least > off or most < -off or in_least > off + g[_WIDE] or in_most < -off - g[_WIDE]


@kernel()
def _ends(g: Array, at: Array, on_face: bool) -> float:
    """Return how deep a row's rays go, at most, before the axis or before they come under the blade or out of its z."""
    if on_face:
        return -g[_BOX + 2]  # type: ignore[no-any-return]
    deep = at[4]
    if at[2] > 0.0:
        deep = min(deep, (at[0] - g[_BOX]) / at[2])
    if at[3] != 0.0:
        deep = min(deep, max(abs(at[1] - g[_BOX + 2]), abs(at[1] - g[_BOX + 5])) / abs(at[3]))
    return deep  # type: ignore[no-any-return]


@kernel(fastmath=FUSED)
def _deepen(
    g: Array,
    bounds: Whole,
    row: int,
    column: int,
    columns: int,
    rays: Rays,
    outline: Array,
    bodies: Whole,
    near: Whole,
    ray: Array,
    boxes: Array,
    tile: Cells,
) -> None:
    """Deepen a tile by one piece."""
    top, bottom = rows_between(bounds, row)
    count = patch_columns(bounds, column, columns, not rays.on_face, near)
    for down in range(top, bottom):
        band = rays.bands[row // PATCH + down]
        deep = deepest_of(rays, band, g[_BOX:])
        if deep <= 0.0:
            continue
        for n in range(count):
            first = column + near[n] * PATCH
            off = aim_at_patch(ray, rays, band, first, deep, g[20], g[21])
            if _beside(g, ray, deep, off):
                continue
            patch = tile[down * PATCHES + near[n]]
            for r in range(PATCH):
                at = rays.rows[row + down * PATCH + r]
                ray[6] = _ends(g, at, rays.on_face)
                for j in range(PATCH):
                    aim(ray, rays, at, first + j, g[20], g[21])
                    cut = np.float32(meets(g, ray, outline, bodies, float(patch[r * PATCH + j]), boxes))
                    if cut > patch[r * PATCH + j]:
                        patch[r * PATCH + j] = cut


@kernel(fastmath=FUSED)
def _share(
    tiles: Counts,
    tickets: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    rays: Rays,
    outline: Array,
    bodies: Whole,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen tiles, as many as there are tickets."""
    k = next_ticket(tickets)
    if k >= tiles.size:
        return
    tile, near, ray, boxes = blank_tile(), np.zeros(PATCHES, np.int32), np.zeros(7), np.zeros((BOXES, 4))
    columns = depth.shape[1]
    while k < tiles.size:
        number = tiles[k]
        row, column = corner(number, columns)
        load_tile(depth, row, column, tile)
        for of in order[starts[number] : starts[number + 1]]:
            _deepen(pieces[of], bounds[of], row, column, columns, rays, outline, bodies, near, ray, boxes, tile)
        store_tile(tile, row, column, work, depth)
        k = next_ticket(tickets)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    pieces: Array,
    bounds: Whole,
    rays: Rays,
    outline: Array,
    bodies: Whole,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, a thread a tile."""
    tickets = np.zeros(1, np.int64)
    for _ in prange(SHARES):
        _share(tiles, tickets, starts, order, pieces, bounds, rays, outline, bodies, work, depth)


def carve_tool(
    pieces: Array,
    outline: Array,
    bodies: Whole,
    rays: Rays,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen depths by a blade that goes along pieces of path.

    Parameters
    ----------
    pieces : (n, PIECE) float64
        The first 20 columns that `lobework.kernels.sweep.ray_blade.meets` takes of a piece; on a face the angle is zero, and
        what is seen from it is x, y and z. The others are filled here. Both ways turn by a straight blend made even, so that
        pieces must turn little: a twentieth of a radian about the axis at the most, and a thirtieth by themselves.
    outline : (k, 5 or more) float64
        See `lobework.kernels.sweep.ray_blade.meets`.
    bodies : (m, 3) int32
        See `lobework.kernels.sweep.ray_blade.meets`.
    rays : Rays
        Of the stock.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    most = 0.0 if rays.on_face else float(rays.rows[:, 0].max())
    _lay(pieces, outline, rays, most, bounds)
    for part, tiles, starts, order in lots(bounds, depth.shape, not rays.on_face):
        _carve(tiles, starts, order, pieces[part], bounds[part], rays, outline, bodies, work, depth)
