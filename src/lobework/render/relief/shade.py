"""Light on a body in a view: a lamp at the upper left with its shadows, and the diffuse light of the room."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.render.relief.body import surface_of
from lobework.render.relief.finish import lit
from lobework.render.relief.light import Grid, Lamp, Light, broad, gloss
from lobework.render.relief.view import TILT, to_eye
from lobework.render.relief.wood import grain

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Stock
    from lobework.render.relief.view import Seen, Window
    from lobework.render.relief.wood import Tree, Wood

__all__ = ["shade"]

_BEARING, _HEIGHT = 132.0, 36.0
_LAMP: Final = broad(_BEARING, _HEIGHT, (10.0, 7.0), 4)
_MIDDLE: Final = Lamp.at(_BEARING, _HEIGHT, 1.0)
_SPREAD: Final = 0.13
"""Half the apparent height of the lamp, as a slope."""
_LAMP_PART: Final = 0.90
_FILL: Final = Lamp.at(-8.0, 30.0, 0.10)
"""A weak fill light from the right."""
_STEPS, _FAR_STEPS = 14, 24
_FARTHEST_MM: Final = 8.0
_LOWEST: Final = 0.12
"""Least slope from a point up to the surface towards the lamp for which the surface shades the point."""


def shade(
    stock: Stock, depth: Grid, seen: Seen, window: Window, wood: Wood, tree: Tree, ambient: Grid, times: int
) -> tuple[Grid, Grid]:
    """Return the colours of a view.

    Parameters
    ----------
    stock, depth : Stock and (rows, columns) mm
        The stock, and the depth of the carving.
    seen : Seen
        The visible point of each fine dot.
    window : Window
        The window, in fine dots.
    wood, tree : Wood, Tree
        The kind of wood, and the position of the piece in the tree.
    ambient : (a, b)
        The room's light on the surface rolled out flat.
    times : int
        Number of fine dots along each side of a dot.

    Returns
    -------
    (m, n, 3) and (m, n)
        The colour of each dot in linear light, and the coverage of each dot by the work.
    """
    lamp = _open_lamp(to_eye(seen.faces, window.facing))
    ambient_light = np.ones(seen.dot.size, dtype=np.float32)
    side = np.flatnonzero(seen.side)
    lamp[side] *= _lamp_on_side(stock, depth, seen, side, window)
    row = np.clip(seen.along[side] * (ambient.shape[0] / surface_of(stock).length), 0, ambient.shape[0] - 1).astype(np.intp)
    column = np.floor(seen.angle[side] * (ambient.shape[1] / (2 * math.pi))).astype(np.intp) % ambient.shape[1]
    ambient_light[side] = ambient[row, column]
    inside = np.flatnonzero(seen.inside)
    if inside.size:
        mouth = float(np.hypot(seen.place[0, inside], seen.place[1, inside]).max())
        shut = np.exp((seen.place[2, inside] - seen.place[2, inside].max()) / (0.5 * mouth))
        lamp[inside] *= shut**2
        ambient_light[inside] = 0.8 * shut
    eye = to_eye(seen.faces, window.facing)
    sheen = gloss((eye[0], eye[1], eye[2]), _LAMP) * np.minimum(lamp, 1)
    ambient_light *= 0.80 + 0.20 * eye[1]
    ambient_light += _FILL.share * np.maximum(eye[0] * _FILL.right + eye[2] * _FILL.out, 0)
    colour = grain(wood, tree, (seen.place[0], seen.place[1], seen.place[2]), window.dot)
    return _to_dots(seen, window, times, colour, (lamp, ambient_light, sheen, seen.depth))


def _open_lamp(eye: Grid) -> Grid:
    """Return the lamp's light on points without shadows."""
    falls: Grid = np.zeros(eye.shape[1:], dtype=np.float32)
    for each in _LAMP:
        falls += np.maximum(eye[0] * each.right + eye[1] * each.up + eye[2] * each.out, 0) * (each.share * _LAMP_PART)
    return falls


def _lamp_on_side(stock: Stock, depth: Grid, seen: Seen, side: NDArray[np.intp], window: Window) -> Grid:
    """Return, for points on the side, the fraction of the lamp that the carved surface does not hide."""
    along, angle, cut = seen.along[side], seen.angle[side], seen.depth[side]
    radius, _, out, up = (np.interp(along, stock.row_positions, part).astype(np.float32) for part in stock.profile.T)
    radius = np.maximum(radius, 1e-3)
    cos, sin, none = np.cos(angle), np.sin(angle), np.zeros_like(angle)
    axes = ((out * cos, out * sin, up), (up * cos, up * sin, -out), (-sin, cos, none))
    square, forth, round_it = (to_eye(np.stack(each), window.facing) for each in axes)
    rises, ahead, aside = (
        part[0] * _MIDDLE.right + part[1] * _MIDDLE.up + part[2] * _MIDDLE.out for part in (square, forth, round_it)
    )
    level = np.maximum(np.hypot(ahead, aside), 1e-4)
    rises, ahead, aside = rises / level, ahead / level, aside / level
    falls_away = aside**2 / (2 * radius)
    horizon = np.full_like(cut, -1.0)
    deepest = float(depth.max())
    first = max(1.2 * window.dot, 2 * stock.row_step)
    steps = np.geomspace(first, min(deepest / _LOWEST, _FARTHEST_MM) + first, _STEPS)
    for step in steps.tolist() if deepest > 0 else ():
        row = np.rint((along + step * ahead) / stock.row_step).astype(np.int32)
        column = np.rint((angle + step * aside / radius) / stock.column_step).astype(np.int32) % stock.columns
        beside = (row >= 0) & (row < stock.rows)
        rise = (cut - depth[np.clip(row, 0, stock.rows - 1), column]) / step - step * falls_away
        horizon = np.maximum(horizon, np.where(beside, rise, -1.0))
    sees: Grid = np.clip((rises - horizon) / (2 * _SPREAD) + 0.5, 0, 1) * np.clip(rises / (2 * _SPREAD) + 0.6, 0, 1)
    if not surface_of(stock).straight:
        sees *= _lamp_past_body(stock, seen.place[:, side], window)
    return sees


def _lamp_past_body(stock: Stock, place: Grid, window: Window) -> Grid:
    """Return the fraction of the lamp that the uncarved shape of the work does not hide; a bulge may hide it from the foot."""
    high, low = math.cos(TILT), math.sin(TILT)
    near, climbs = _MIDDLE.out * high - _MIDDLE.up * low, _MIDDLE.up * high + _MIDDLE.out * low
    cos, sin = math.cos(window.facing), math.sin(window.facing)
    x, y = near * cos - _MIDDLE.right * sin, near * sin + _MIDDLE.right * cos
    radius, z = stock.profile[::-1, 0], stock.profile[::-1, 1]
    far = 2 * float(radius.max())
    clear: Grid = np.ones(place.shape[1], dtype=np.float32)
    for step in np.geomspace(far / 60, far, _FAR_STEPS).tolist():
        off = np.hypot(place[0] + step * x, place[1] + step * y)
        wide = np.interp(place[2] + step * climbs, z, radius, left=0.0, right=0.0)
        clear = np.minimum(clear, np.clip(1 - (wide - off) / (0.06 * step + 0.02 * far), 0, 1))
    return clear


def _to_dots(seen: Seen, window: Window, times: int, colour: Grid, parts: tuple[Grid, Grid, Grid, Grid]) -> tuple[Grid, Grid]:
    """Return the colours of dots, from the means over their fine dots, and the coverage of each dot."""
    rows, columns = window.rows // times, window.columns // times
    row, column = np.divmod(seen.dot, window.columns)
    of = row // times * columns + column // times
    met = np.bincount(of, minlength=rows * columns)

    def mean(values: Grid) -> Grid:
        total = np.bincount(of, weights=values, minlength=rows * columns) / np.maximum(met, 1)
        return total.reshape(rows, columns).astype(np.float32)

    wood = np.stack([mean(colour[:, k]) for k in range(3)], axis=-1)
    lamp, ambient, sheen, cut = (mean(part) for part in parts)
    covers = (met / times**2).reshape(rows, columns).astype(np.float32)
    return lit(wood, Light(lamp, ambient, sheen), cut, times * window.dot), covers
