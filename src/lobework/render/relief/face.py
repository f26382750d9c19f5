"""The picture of a carved face, seen from the cutter."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.geometry.surface import Face
from lobework.render.relief.bar import Bar, bar_of, draw_bar
from lobework.render.relief.finish import averaged, lit
from lobework.render.relief.ground import Body, sheet
from lobework.render.relief.light import Field, Grid, Light, light
from lobework.render.relief.sample import heights, taps
from lobework.render.relief.wood import grain, tree_of, wood_of

if TYPE_CHECKING:
    from lobework.carve.stock import Stock
    from lobework.quantities.units import LengthUnit

__all__ = ["extended", "pictured_face"]

_WORK_FRACTION: Final = 0.82
"""Width of the work as a fraction of the picture's width."""


def extended(stock: Stock, depth: Grid, cells: int = 4) -> Grid:
    """Return the depths, with the values at the rim repeated outside the rim, so that there is no step at the rim."""
    rows, columns = np.nonzero(~stock.inside)
    x, y = stock.column_positions[columns], stock.row_positions[rows]
    off = np.hypot(x, y)
    radius, step = float(stock.column_positions[-1]), stock.column_step
    near = off < radius + cells * step
    rows, columns, x, y, off = rows[near], columns[near], x[near], y[near], off[near]
    back = (radius - step) / off
    found = depth.copy()
    middle = (stock.columns - 1) / 2
    found[rows, columns] = depth[
        np.rint(y * back / stock.row_step + middle).astype(np.intp), np.rint(x * back / step + middle).astype(np.intp)
    ]
    return found


def _field(stock: Stock, depth: Grid, at: Grid, spacing: float) -> tuple[Field, Grid]:
    """Return the surface with a rounded edge, on the square grid with the coordinates ``at``, mm; also its depths, mm."""
    columns = taps((at - stock.column_positions[0]) / stock.column_step, stock.columns, wraps=False)
    rows = taps((-at - stock.row_positions[0]) / stock.row_step, stock.rows, wraps=False)
    cut, down, across = heights(extended(stock, depth), rows, columns)
    np.maximum(cut, 0, out=cut)
    right, up = across * (-1 / stock.column_step), down * (-1 / stock.row_step)
    x, y = at.astype(np.float32)[None, :], -at.astype(np.float32)[:, None]
    off = np.hypot(x, y)
    radius = float(stock.column_positions[-1])
    rounding = min(0.012 * radius, 0.3)
    past = np.maximum((off - (radius - rounding)) / rounding, 0)
    drop = (0.45 * rounding) * past**2
    lower = drop > cut
    slope = np.where(lower, (-0.9) * past / np.maximum(off, 1e-3), 0)
    right, up = np.where(lower, slope * x, right), np.where(lower, slope * y, up)
    return Field(-np.maximum(cut, drop), right, up, spacing), cut


def pictured_face(
    stock: Stock, depth: Grid, material: str, dots: int, units: LengthUnit | None
) -> tuple[Grid, float, Bar | None]:
    """Return the picture, (dots, dots, 3) in linear light, the distance from dot to dot, mm, and the scale bar.

    If ``units`` is None, there is no bar.
    """
    surface = stock.surface
    if not isinstance(surface, Face):
        raise TypeError("a round piece has no face")
    radius, thickness = surface.radius, surface.thickness
    dot = 2 * radius / round(_WORK_FRACTION * dots)
    times = 2 if stock.column_step > dot / 3 else 3
    wide = 2 * math.ceil(radius / dot + 2) + dots % 2
    spacing = dot / times
    at = (np.arange(wide * times) - (wide * times - 1) / 2) * spacing
    field, cut = _field(stock, depth, at, spacing)
    fine = light(field)
    shone = Light(*(averaged(each, times) for each in (fine.lamp, fine.ambient, fine.sheen)))
    through = averaged((cut >= thickness).astype(np.float32), times)
    deep = averaged(cut, times)

    place = ((np.arange(dots) - (dots - 1) / 2) * dot).astype(np.float32)
    ground = sheet(dots, dots, dot, [Body(lambda a, b: np.hypot(a, b) - radius, thickness)])
    inner = slice((dots - wide) // 2, (dots - wide) // 2 + wide)
    a, b = np.meshgrid(place[inner], -place[inner])
    colour = lit(grain(wood_of(material), tree_of(surface), (a, b, -deep), dot), shone, deep, dot)
    covers = np.clip((radius - np.hypot(a, b)) / dot + 0.5, 0, 1) * (1 - through)
    ground[inner, inner] += covers[..., None] * (colour - ground[inner, inner])
    bar = None if units is None else bar_of(2 * radius, units)
    if bar is not None:
        draw_bar(ground, inner.start, dots - round(0.03 * dots), bar, dot)
    return ground, dot, bar
