"""The rays of a stock, as the kernels for any surface take them: how a piece of path sees them, which of them it may reach."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.tiles import PATCH, cell_above, cell_below

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.tiles import Whole

__all__ = ["Rays", "aim", "aim_at_patch", "bounds_in", "deepest_of"]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""


class Rays(NamedTuple):
    """The rays of a stock, in whole patches and tiles.

    Parameters
    ----------
    rows : (rows to the whole tile, 5) float64
        Of a round surface: radius, z, the normal's parts along both, and the depth at which the axis is met. Of a face: y, then
        any, and infinity.
    bands : (patches, 6) float64
        Of a round surface, four rows at a time: radius, z, and the normal's parts along both, in their middle; how far a row is
        off it, and how much further for each mm of depth. Of a face: y of the middle, then any.
    turns : (columns to the whole tile, 5) float64
        Of a round surface: cosine and sine of each column, of the middle of the patch that begins there, and how far its cells
        are off it for each mm from the axis. Of a face: x, any, x of the middle, any, and how far a patch's cells are off it.
    grid : (4,) float64
        Of a round surface: from row to row, mm, and from column to column, the angle of the first column, rad, and 1 for a
        cylinder or 0. Of a face: x and y of the first cell, and from cell to cell along x and y, mm.
    on_face : bool
        Whether it is one.
    """

    rows: Array
    bands: Array
    turns: Array
    grid: Array
    on_face: bool


@kernel(fastmath=FUSED, inline="always")
def _point(ray: Array, at: Array, cosine: float, sine: float, cosine_seen: float, sine_seen: float) -> None:
    """Fill in a ray that goes into a round surface, as the radius at the angle of the last two sees it."""
    c, s = cosine * cosine_seen + sine * sine_seen, sine * cosine_seen - cosine * sine_seen
    ray[0], ray[1], ray[2] = at[0] * c, at[0] * s, at[1]
    ray[3], ray[4], ray[5] = -at[2] * c, -at[2] * s, -at[3]


@kernel(fastmath=FUSED, inline="always")
def aim(ray: Array, rays: Rays, at: Array, column: int, cosine: float, sine: float) -> None:
    """Fill in the start and way, 3 each, of a row's ray, as the radius at an angle sees it."""
    if rays.on_face:
        ray[0], ray[1], ray[2], ray[3], ray[4], ray[5] = rays.turns[column, 0], at[0], 0.0, 0.0, 0.0, -1.0
    else:
        _point(ray, at, rays.turns[column, 0], rays.turns[column, 1], cosine, sine)


@kernel(fastmath=FUSED, inline="always")
def aim_at_patch(ray: Array, rays: Rays, band: Array, column: int, deep: float, cosine: float, sine: float) -> float:
    """Fill in the ray in the middle of a patch; return how far off it the patch's are, down to ``deep``."""
    if rays.on_face:
        ray[0], ray[1], ray[2], ray[3], ray[4], ray[5] = rays.turns[column, 2], band[0], 0.0, 0.0, 0.0, -1.0
        return rays.turns[column, 4]  # type: ignore[no-any-return]
    _point(ray, band, rays.turns[column, 2], rays.turns[column, 3], cosine, sine)
    return rays.turns[column, 4] * (band[0] + band[4]) + band[4] + band[5] * deep  # type: ignore[no-any-return]


@kernel()
def _longest(band: Array, low: float, bottom: float, top: float) -> float:
    """Return how deep a patch's rays go, at most, before they come nearer the axis than ``low`` or out of a range of z."""
    deep = 1e9
    if band[2] > band[5]:
        deep = (band[0] + band[4] - low) / (band[2] - band[5])
    if abs(band[3]) > band[5]:
        deep = min(deep, (max(abs(band[1] - bottom), abs(band[1] - top)) + band[4]) / (abs(band[3]) - band[5]))
    return deep


@kernel(fastmath=FUSED)
def deepest_of(rays: Rays, band: Array, box: Array) -> float:
    """Return how deep a patch's rays go, at most, before they leave a piece's box: its least x, y and z, and the greatest."""
    return -box[2] if rays.on_face else _longest(band, max(box[0], 0.0), box[2], box[5])


@kernel()
def bounds_in(rays: Rays, box: Array, polar: float, swept: float, bounds: Whole) -> None:
    """Fill the bounds in cells of a piece from a polar angle on, which turns so far: the lowest and highest row and column.

    ``box`` is what it keeps to, as the radius where it begins sees it: its least x, y and z, and the greatest.
    """
    if rays.on_face:
        x, y, column_step, row_step = rays.grid
        bounds[0], bounds[1] = cell_above((box[1] - y) / row_step), cell_below((box[4] - y) / row_step)
        bounds[2], bounds[3] = cell_above((box[0] - x) / column_step), cell_below((box[3] - x) / column_step)
        return
    row_step, column_step, column_start, straight = rays.grid
    low, aside, bottom, top = max(box[0], 0.0), max(abs(box[1]), abs(box[4])), box[2], box[5]
    beside = math.asin(aside / low) if 0 <= aside < low else math.pi
    first, last = min(polar, polar + swept) - beside, max(polar, polar + swept) + beside
    bounds[2] = cell_above((first - column_start) / column_step - 1e-9)
    bounds[3] = cell_below((last - column_start) / column_step + 1e-9)
    if straight != 0.0:
        from_top = rays.bands[0, 1] + 1.5 * row_step
        bounds[0] = cell_above((from_top - top) / row_step - 1e-9)
        bounds[1] = cell_below((from_top - bottom) / row_step + 1e-9)
        return
    bounds[0], bounds[1] = 1, 0
    for k in range(rays.bands.shape[0]):
        band = rays.bands[k]
        deep = _longest(band, low, bottom, top)
        if deep < 0:
            continue
        off = band[4] + band[5] * deep
        end = band[1] - band[3] * deep
        if min(band[1], end) - off <= top and max(band[1], end) + off >= bottom:
            if bounds[1] < bounds[0]:
                bounds[0] = k * PATCH
            bounds[1] = k * PATCH + PATCH - 1
