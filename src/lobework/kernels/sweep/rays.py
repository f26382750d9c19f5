"""The rays of a stock, as the kernels for any surface take them: how a piece of path sees them, which of them it may reach.

What the arrays hold:

* ``rays`` : `Rays`, of (rows,) `Row`, (patches,) `Band` and (columns,) `Column`.
* ``bounds`` : (4,) int32, cells: of one piece; see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

from lobework.kernels.jit import kernel
from lobework.kernels.records import Vector, layout
from lobework.kernels.sweep.tiles import HIGH_COLUMN, HIGH_ROW, LOW_COLUMN, LOW_ROW, PATCH, cell_above, cell_below

if TYPE_CHECKING:
    from lobework.kernels.records import Box, Records
    from lobework.kernels.sweep.tiles import Whole

__all__ = ["RAY", "Band", "Column", "Ray", "Rays", "Row", "aim", "aim_at_patch", "bounds_in", "deepest_of"]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""


class Row:
    """A row of a stock's grid: where its rays begin and which way they go."""

    radius: float
    """Of a round surface, mm."""
    z: float
    """Of a round surface, mm."""
    normal_r: float
    """The part of a round surface's outward normal along the radius."""
    normal_z: float
    """The part of a round surface's outward normal along z."""
    axis_depth: float
    """Depth at which a ray meets the axis, mm; infinite on a face."""
    y: float
    """Of a face, mm."""


class Band:
    """Four rows of a stock's grid, one patch wide: the ray in their middle, and how far their own rays are off it."""

    radius: float
    """Of a round surface, mm."""
    z: float
    """Of a round surface, mm."""
    normal_r: float
    """The part of a round surface's outward normal along the radius."""
    normal_z: float
    """The part of a round surface's outward normal along z."""
    off: float
    """How far a row is off the middle at the surface, mm."""
    off_per_mm: float
    """How much further for each mm of depth."""
    y: float
    """Of a face, mm."""


class Column:
    """A column of a stock's grid, and the middle of the patch that begins there."""

    cosine: float
    """Of its polar angle, on a round surface."""
    sine: float
    """Of its polar angle, on a round surface."""
    middle_cosine: float
    """Of the polar angle of the patch's middle, on a round surface."""
    middle_sine: float
    """Of the polar angle of the patch's middle, on a round surface."""
    x: float
    """Of a face, mm."""
    middle_x: float
    """Of the patch's middle on a face, mm."""
    off: float
    """How far the patch's cells are off its middle: mm on a face; for each mm from the axis on a round surface."""


class Ray:
    """A ray into the work, as a piece of path sees it."""

    start: Vector
    """Where it leaves the surface, mm."""
    way: Vector
    """Its unit direction."""
    end: float
    """Greatest depth along the ray that is searched, mm."""
    reach: float
    """Depth beyond which the piece does not reach, mm."""


RAY: Final = layout(Ray)
"""How numpy lays out a `Ray`."""


class Rays(NamedTuple):
    """The rays of a stock, in whole patches and tiles.

    Parameters
    ----------
    rows : (rows to the whole tile,) Row
    bands : (patches,) Band
    columns : (columns to the whole tile,) Column
    row_start, row_step : float, mm
        y of a face's first row, and from row to row of any surface.
    column_start, column_step : float
        Of a round surface, the angle of the first column and from column to column, rad; of a face, x of them, mm.
    is_straight : bool
        Whether it is a cylinder.
    on_face : bool
        Whether it is a face.
    """

    rows: Records[Row]
    bands: Records[Band]
    columns: Records[Column]
    row_start: float
    row_step: float
    column_start: float
    column_step: float
    is_straight: bool
    on_face: bool


@kernel(fastmath=FUSED, inline="always")
def _straight_in(ray: Ray, x: float, y: float) -> None:
    """Fill in a ray that goes into a face."""
    ray.start.x, ray.start.y, ray.start.z = x, y, 0.0
    ray.way.x, ray.way.y, ray.way.z = 0.0, 0.0, -1.0


@kernel(fastmath=FUSED, inline="always")
def _point(ray: Ray, at: Row | Band, cosine: float, sine: float, cosine_seen: float, sine_seen: float) -> None:
    """Fill in a ray that goes into a round surface, as the radius at the angle of the last two sees it."""
    c, s = cosine * cosine_seen + sine * sine_seen, sine * cosine_seen - cosine * sine_seen
    ray.start.x, ray.start.y, ray.start.z = at.radius * c, at.radius * s, at.z
    ray.way.x, ray.way.y, ray.way.z = -at.normal_r * c, -at.normal_r * s, -at.normal_z


@kernel(fastmath=FUSED, inline="always")
def aim(ray: Ray, rays: Rays, at: Row, column: int, cosine: float, sine: float) -> None:
    """Fill in the start and way of a row's ray, as the radius at an angle sees it."""
    of = rays.columns[column]
    if rays.on_face:
        _straight_in(ray, of.x, at.y)
    else:
        _point(ray, at, of.cosine, of.sine, cosine, sine)


@kernel(fastmath=FUSED, inline="always")
def aim_at_patch(ray: Ray, rays: Rays, band: Band, column: int, deep: float, cosine: float, sine: float) -> float:
    """Fill in the ray in the middle of a patch; return how far off it the patch's are, down to ``deep``."""
    of = rays.columns[column]
    if rays.on_face:
        _straight_in(ray, of.middle_x, band.y)
        return of.off
    _point(ray, band, of.middle_cosine, of.middle_sine, cosine, sine)
    return of.off * (band.radius + band.off) + band.off + band.off_per_mm * deep


@kernel()
def _longest(band: Band, low: float, bottom: float, top: float) -> float:
    """Return how deep a patch's rays go, at most, before they come nearer the axis than ``low`` or out of a range of z."""
    deep = 1e9
    if band.normal_r > band.off_per_mm:
        deep = (band.radius + band.off - low) / (band.normal_r - band.off_per_mm)
    if abs(band.normal_z) > band.off_per_mm:
        deep = min(deep, (max(abs(band.z - bottom), abs(band.z - top)) + band.off) / (abs(band.normal_z) - band.off_per_mm))
    return deep


@kernel(fastmath=FUSED)
def deepest_of(rays: Rays, band: Band, box: Box) -> float:
    """Return how deep a patch's rays go, at most, before they leave a piece's box."""
    return -box.low.z if rays.on_face else _longest(band, max(box.low.x, 0.0), box.low.z, box.high.z)


@kernel()
def bounds_in(rays: Rays, box: Box, polar: float, swept: float, bounds: Whole) -> None:
    """Fill the bounds in cells of a piece from a polar angle on, which turns so far: the lowest and highest row and column.

    ``box`` is what it keeps to, as the radius where it begins sees it.
    """
    if rays.on_face:
        x, y, column_step, row_step = rays.column_start, rays.row_start, rays.column_step, rays.row_step
        bounds[LOW_ROW], bounds[HIGH_ROW] = cell_above((box.low.y - y) / row_step), cell_below((box.high.y - y) / row_step)
        bounds[LOW_COLUMN], bounds[HIGH_COLUMN] = (
            cell_above((box.low.x - x) / column_step),
            cell_below((box.high.x - x) / column_step),
        )
        return
    row_step, column_step, column_start = rays.row_step, rays.column_step, rays.column_start
    low, aside, bottom, top = max(box.low.x, 0.0), max(abs(box.low.y), abs(box.high.y)), box.low.z, box.high.z
    beside = math.asin(aside / low) if 0 <= aside < low else math.pi
    first, last = min(polar, polar + swept) - beside, max(polar, polar + swept) + beside
    bounds[LOW_COLUMN] = cell_above((first - column_start) / column_step - 1e-9)
    bounds[HIGH_COLUMN] = cell_below((last - column_start) / column_step + 1e-9)
    if rays.is_straight:
        from_top = rays.bands[0].z + 1.5 * row_step
        bounds[LOW_ROW] = cell_above((from_top - top) / row_step - 1e-9)
        bounds[HIGH_ROW] = cell_below((from_top - bottom) / row_step + 1e-9)
        return
    bounds[LOW_ROW], bounds[HIGH_ROW] = 1, 0
    for k in range(rays.bands.shape[0]):
        band = rays.bands[k]
        deep = _longest(band, low, bottom, top)
        if deep < 0:
            continue
        off = band.off + band.off_per_mm * deep
        end = band.z - band.normal_z * deep
        if min(band.z, end) - off <= top and max(band.z, end) + off >= bottom:
            if bounds[HIGH_ROW] < bounds[LOW_ROW]:
                bounds[LOW_ROW] = k * PATCH
            bounds[HIGH_ROW] = k * PATCH + PATCH - 1
