"""The picture of a carved barrel or turned piece: two views from the side, and the surface rolled out flat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.render.relief.bar import Bar, bar_of, draw_bar
from lobework.render.relief.body import ends, side, surface_of, widest
from lobework.render.relief.finish import averaged, lit
from lobework.render.relief.ground import Body, sheet
from lobework.render.relief.light import Field, Grid, Light, light
from lobework.render.relief.sample import heights, taps
from lobework.render.relief.shade import shade
from lobework.render.relief.view import DENSE, TILT, Window, see
from lobework.render.relief.wood import Tree, Wood, grain, tree_of, wood_of

if TYPE_CHECKING:
    from lobework.carve.stock import Stock
    from lobework.quantities.units import LengthUnit

__all__ = ["pictured_round"]

_MARGIN: Final = 0.075
"""Width of each margin as a fraction of the picture's long side."""
_GAP: Final = 0.055
_THICK: Final = 0.045
"""Apparent thickness of the rolled-out surface as a fraction of its shorter side, for its shadow."""
_TIMES: Final = 2
"""Number of fine dots along each side of a dot in the views."""
_FLATTEST_DEG: Final = 15.0
"""Lowest elevation of light for which shadows continue across the join of the rolled-out surface."""


@dataclass(frozen=True, slots=True)
class _Layout:
    """The layout of the picture: its size, mm, and the positions of the views and of the rolled-out surface.

    A view has the position of the middle of its top, and the surface that of its upper left corner, both in mm from the upper
    left corner of the picture.
    """

    width: float
    height: float
    views: tuple[tuple[float, float], ...]
    strip: tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Work:
    """The carved work, its wood, and its position in the tree."""

    stock: Stock
    depth: Grid
    wood: Wood
    tree: Tree


def _layout_of(view: tuple[float, float], strip: tuple[float, float]) -> _Layout:
    """Return the layout that gives the larger scale.

    Either each view is above the half of the rolled-out surface that it shows, or one view is on each side of the surface.
    """
    (wide, high), (long, tall) = view, strip
    gap = _GAP * max(long, tall)
    above = _Layout(max(long, 2 * wide + gap), high + gap + tall, ((long / 4, 0.0), (3 * long / 4, 0.0)), (0.0, high + gap))
    most = max(high, tall)
    ends_at, level = 2 * wide + long + 2 * gap, (most - high) / 2
    beside = _Layout(ends_at, most, ((wide / 2, level), (ends_at - wide / 2, level)), (wide + gap, (most - tall) / 2))
    best = min((above, beside), key=lambda each: max(each.width, each.height))
    margin = _MARGIN * max(best.width, best.height) / (1 - 2 * _MARGIN)
    views = tuple((x + margin, y + margin) for x, y in best.views)
    return _Layout(best.width + 2 * margin, best.height + 2 * margin, views, (best.strip[0] + margin, best.strip[1] + margin))


def _heights(stock: Stock) -> tuple[float, float]:
    """Return the least height and the greatest height of the piece in a view, mm."""
    radius, z = stock.profile[:, 0], stock.profile[:, 1]
    middle, half = z * math.cos(TILT), radius * math.sin(TILT)
    return float((middle - half).min()), float((middle + half).max())


def pictured_round(
    stock: Stock, depth: Grid, material: str, dots: int, units: LengthUnit | None
) -> tuple[Grid, float, Bar | None]:
    """Return the picture, (m, n, 3) in linear light, the distance from dot to dot, mm, and the scale bar.

    ``dots`` is the number of dots on the picture's long side. If ``units`` is None, there is no bar.
    """
    radius = widest(surface_of(stock))
    work = _Work(stock=stock, depth=depth, wood=wood_of(material), tree=tree_of(surface_of(stock)))
    low, high = _heights(stock)
    size = (2 * math.pi * radius, surface_of(stock).length)
    places = _layout_of((2 * radius, high - low), size)
    dot = max(places.width, places.height) / dots
    rows, columns = (math.ceil(length / dot - 1e-6) for length in (places.height, places.width))
    corner = (round(places.strip[0] / dot), round(places.strip[1] / dot))
    bodies = [_veneer(corner, size, dot, rows, columns)]
    bodies += [_foot(stock, x, y + high, dot, rows, columns) for x, y in places.views]
    picture = sheet(rows, columns, dot, bodies)
    colour, covers, ambient = _strip(work, dot)
    _blend(picture, colour, covers, corner)
    for number, (x, y) in enumerate(places.views):
        left, top = math.floor((x - radius) / dot) - 1, math.floor(y / dot) - 1
        window = Window(
            facing=math.pi / 2 + number * math.pi,
            left=left * dot - x,
            top=y + high - top * dot,
            rows=(math.ceil((high - low) / dot) + 3) * _TIMES,
            columns=(math.ceil(2 * radius / dot) + 3) * _TIMES,
            dot=dot / _TIMES,
        )
        _blend(picture, *_view(work, ambient, window), (left, top))
    bar = None if units is None else bar_of(size[0], units)
    if bar is not None:
        draw_bar(picture, corner[0], rows - round(0.03 * dots), bar, dot)
    return picture, dot, bar


def _blend(picture: Grid, colour: Grid, covers: Grid, corner: tuple[int, int]) -> None:
    """Blend colours into a picture, in place, in proportion to their coverage."""
    left, top = corner
    under = picture[top : top + covers.shape[0], left : left + covers.shape[1]]
    rows, columns, _ = under.shape
    under += covers[:rows, :columns, None] * (colour[:rows, :columns] - under)


def _veneer(corner: tuple[int, int], size: tuple[float, float], dot: float, rows: int, columns: int) -> Body:
    """Return the rolled-out surface as a body on the sheet, for its shadow."""
    wide, high = size[0] / 2, size[1] / 2
    x, y = (corner[0] - columns / 2) * dot + wide, (rows / 2 - corner[1]) * dot - high

    def outside(a: Grid, b: Grid) -> Grid:
        over_x, over_y = np.abs(a - x) - wide, np.abs(b - y) - high
        off: Grid = np.hypot(np.maximum(over_x, 0), np.maximum(over_y, 0)) + np.minimum(np.maximum(over_x, over_y), 0)
        return off

    return Body(outside, _THICK * min(size))


def _foot(stock: Stock, x: float, level: float, dot: float, rows: int, columns: int) -> Body:
    """Return the foot of a piece as an elliptical body on the sheet; z = 0 is ``level`` mm below the picture's top."""
    radius, z = stock.profile[-1, :2].tolist()
    right, up = x - columns * dot / 2, rows * dot / 2 - (level - z * math.cos(TILT))

    def outside(a: Grid, b: Grid) -> Grid:
        off: Grid = (np.hypot(a - right, (b - up) / math.sin(TILT)) - radius) * 0.5
        return off

    return Body(outside, 0.22 * widest(surface_of(stock)))


def _strip(work: _Work, dot: float) -> tuple[Grid, Grid, Grid]:
    """Return the surface rolled out flat, with angle zero at its left: colour, coverage of each dot, and the room's light."""
    stock, depth = work.stock, work.depth
    surface, radius = surface_of(stock), widest(surface_of(stock))
    around, length = 2 * math.pi * radius, surface.length
    rows, columns = math.ceil(length / dot), math.ceil(around / dot)
    times = 2 if min(stock.row_step, stock.column_step * radius) > dot / 3 else 3
    over = min(math.ceil(float(depth.max()) / math.tan(math.radians(_FLATTEST_DEG)) / dot) + 2, columns)
    angle = ((np.arange((columns + 2 * over) * times) + 0.5) / times - over) * dot / radius
    along = (np.arange(rows * times) + 0.5) * dot / times
    across = taps(angle / stock.column_step, stock.columns, wraps=True)
    cut, by_row, by_column = heights(depth, taps(along / stock.row_step, stock.rows, wraps=False), across)
    np.maximum(cut, 0, out=cut)
    out_to = np.interp(along, stock.row_positions, stock.profile[:, 0]).astype(np.float32)[:, None]
    by_column /= -stock.column_step * np.maximum(out_to, 0.05 * radius)
    fine = light(Field(-cut, by_column, by_row / stock.row_step, dot / times))
    middle = slice(over, over + columns)
    shone = Light(*(np.ascontiguousarray(averaged(each, times)[:, middle]) for each in (fine.lamp, fine.ambient, fine.sheen)))
    wall = np.interp(along, stock.row_positions, np.broadcast_to(stock.wall[:, 0], stock.rows))[:, None]
    through = averaged((cut >= wall).astype(np.float32), times)[:, middle]
    deep = np.ascontiguousarray(averaged(cut, times)[:, middle])

    theta = ((np.arange(columns) + 0.5) * dot / radius).astype(np.float32)
    at = np.minimum((np.arange(rows) + 0.5) * dot, length)
    out_to, z, out, up = (part[:, None] for part in surface.profile(at).astype(np.float32).T)
    left = out_to - deep * out
    own = grain(work.wood, work.tree, (left * np.cos(theta), left * np.sin(theta), z - deep * up), dot)
    covers = np.clip(length / dot - np.arange(rows), 0, 1)[:, None] * np.clip(around / dot - np.arange(columns), 0, 1)
    return lit(own, shone, deep, dot), covers.astype(np.float32) * (1 - through), shone.ambient


def _view(work: _Work, ambient: Grid, window: Window) -> tuple[Grid, Grid]:
    """Return a view of the piece in a window of fine dots: colour, and coverage of each dot."""
    spacing = DENSE * window.dot
    patches = [side(work.stock, work.depth, window.facing, TILT, spacing), *ends(work.stock, work.depth, TILT, spacing)]
    return shade(work.stock, work.depth, see(patches, window), window, work.wood, work.tree, ambient, _TIMES)
