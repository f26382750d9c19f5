"""The rays of a stock for the kernels of any surface: a ray in the frame of a piece, and the range of rays that a piece reaches.

What the arrays hold:

* ``rays`` : `Rays`, with (rows,) `Row`, (patches,) `Band` and (columns,) `Column`.
* ``bounds`` : (4,) int32: the range of cells of one piece; see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

from lobework.kernels.jit import kernel
from lobework.kernels.records import Vector, layout
from lobework.kernels.sweep.tiles import HIGH_COLUMN, HIGH_ROW, LOW_COLUMN, LOW_ROW, PATCH, cell_above, cell_below

if TYPE_CHECKING:
    from lobework.kernels.records import Box, Records
    from lobework.kernels.sweep.tiles import Int32s

__all__ = ["RAY", "Band", "Column", "Ray", "Rays", "Row", "aim", "aim_at_patch", "bounds_in", "deepest_of"]

FUSED = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""


class Row:
    """A row of a stock's grid: the origins and directions of its rays."""

    radius: float
    """Radius of a round surface at the row, mm."""
    z: float
    """z of a round surface at the row, mm."""
    normal_r: float
    """Radial component of a round surface's outward unit normal."""
    normal_z: float
    """Axial component of a round surface's outward unit normal."""
    axis_depth: float
    """Depth at which a ray meets the axis, mm; infinite on a face."""
    y: float
    """y of the row on a face, mm."""


class Band:
    """The four rows of a stock's grid that a patch spans: the ray in their middle, and bounds on the distance of rays from it."""

    radius: float
    """Radius of a round surface in the middle, mm."""
    z: float
    """z of a round surface in the middle, mm."""
    normal_r: float
    """Radial component of a round surface's outward normal in the middle."""
    normal_z: float
    """Axial component of a round surface's outward normal in the middle."""
    spread: float
    """Upper bound of the distance of a row from the middle on a round surface, mm."""
    spread_per_mm: float
    """Increase of ``spread`` per mm of depth."""
    y: float
    """y of the middle on a face, mm."""


class Column:
    """A column of a stock's grid, and the middle of the patch that begins at the column."""

    cosine: float
    """Cosine of the column's polar angle, on a round surface."""
    sine: float
    """Sine of the column's polar angle, on a round surface."""
    middle_cosine: float
    """Cosine of the polar angle of the patch's middle, on a round surface."""
    middle_sine: float
    """Sine of the polar angle of the patch's middle, on a round surface."""
    x: float
    """x of the column on a face, mm."""
    middle_x: float
    """x of the patch's middle on a face, mm."""
    spread: float
    """Greatest distance of the patch's cells from its middle: on a face in mm, on a round surface per mm of radius."""


class Ray:
    """A ray into the work, in the frame of a piece of path."""

    start: Vector
    """Origin of the ray on the surface, mm."""
    direction: Vector
    """Unit direction of the ray."""
    end: float
    """Greatest depth along the ray that is searched, mm."""
    reach: float
    """Depth beyond which the piece does not reach, mm."""


RAY: Final = layout(Ray)
"""Numpy data type of a `Ray`."""


class Rays(NamedTuple):
    """The rays of a stock, whose grid is extended to whole tiles.

    Parameters
    ----------
    rows : (rows in whole tiles,) Row
    bands : (patches,) Band
    columns : (columns in whole tiles,) Column
    row_start, row_step : float, mm
        Position of the first row (y on a face), and spacing of the rows.
    column_start, column_step : float
        Position of the first column and spacing of the columns: x on a face, mm; polar angle on a round surface, rad.
    is_cylinder : bool
        Whether the surface is a cylinder.
    on_face : bool
        Whether the surface is a face.
    """

    rows: Records[Row]
    bands: Records[Band]
    columns: Records[Column]
    row_start: float
    row_step: float
    column_start: float
    column_step: float
    is_cylinder: bool
    on_face: bool


@kernel(fastmath=FUSED, inline="always")
def _fill_on_face(ray: Ray, x: float, y: float) -> None:
    """Fill a ray that enters a face at (x, y)."""
    ray.start.x, ray.start.y, ray.start.z = x, y, 0.0
    ray.direction.x, ray.direction.y, ray.direction.z = 0.0, 0.0, -1.0


@kernel(fastmath=FUSED, inline="always")
def _fill_on_round(ray: Ray, at: Row | Band, cosine: float, sine: float, cosine_seen: float, sine_seen: float) -> None:
    """Fill a ray that enters a round surface, in a frame that is rotated about Z.

    ``cosine`` and ``sine`` are those of the ray's polar angle, ``cosine_seen`` and ``sine_seen`` those of the frame's.
    """
    c, s = cosine * cosine_seen + sine * sine_seen, sine * cosine_seen - cosine * sine_seen
    ray.start.x, ray.start.y, ray.start.z = at.radius * c, at.radius * s, at.z
    ray.direction.x, ray.direction.y, ray.direction.z = -at.normal_r * c, -at.normal_r * s, -at.normal_z


@kernel(fastmath=FUSED, inline="always")
def aim(ray: Ray, rays: Rays, at: Row, column: int, cosine: float, sine: float) -> None:
    """Fill the origin and direction of one ray, in the frame at the polar angle with the given ``cosine`` and ``sine``."""
    grid_column = rays.columns[column]
    if rays.on_face:
        _fill_on_face(ray, grid_column.x, at.y)
    else:
        _fill_on_round(ray, at, grid_column.cosine, grid_column.sine, cosine, sine)


@kernel(fastmath=FUSED, inline="always")
def aim_at_patch(ray: Ray, rays: Rays, band: Band, column: int, deep: float, cosine: float, sine: float) -> float:
    """Fill the middle ray of a patch; return a bound of the distance of other rays from it, down to the depth ``deep``, mm."""
    grid_column = rays.columns[column]
    if rays.on_face:
        _fill_on_face(ray, grid_column.middle_x, band.y)
        return grid_column.spread
    _fill_on_round(ray, band, grid_column.middle_cosine, grid_column.middle_sine, cosine, sine)
    return grid_column.spread * (band.radius + band.spread) + band.spread + band.spread_per_mm * deep


@kernel()
def _longest(band: Band, low: float, bottom: float, top: float) -> float:
    """Return an upper bound of the depth at which a patch's rays come nearer to the axis than ``low`` or leave a range of z."""
    deep = 1e9
    if band.normal_r > band.spread_per_mm:
        deep = (band.radius + band.spread - low) / (band.normal_r - band.spread_per_mm)
    if abs(band.normal_z) > band.spread_per_mm:
        deep = min(deep, (max(abs(band.z - bottom), abs(band.z - top)) + band.spread) / (abs(band.normal_z) - band.spread_per_mm))
    return deep


@kernel(fastmath=FUSED)
def deepest_of(rays: Rays, band: Band, box: Box) -> float:
    """Return an upper bound of the depth at which a patch's rays leave the bounding box of a piece."""
    return -box.low.z if rays.on_face else _longest(band, max(box.low.x, 0.0), box.low.z, box.high.z)


@kernel()
def bounds_in(rays: Rays, box: Box, polar: float, swept: float, bounds: Int32s) -> None:
    """Fill ``bounds`` with the lowest and highest row and column that a piece of path can reach.

    The piece begins at the angle ``polar`` and turns by ``swept``; ``box`` is its bounding box in the frame that turns with the
    piece.
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
    if rays.is_cylinder:
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
        spread = band.spread + band.spread_per_mm * deep
        end = band.z - band.normal_z * deep
        if min(band.z, end) - spread <= top and max(band.z, end) + spread >= bottom:
            if bounds[HIGH_ROW] < bounds[LOW_ROW]:
                bounds[LOW_ROW] = k * PATCH
            bounds[HIGH_ROW] = k * PATCH + PATCH - 1
