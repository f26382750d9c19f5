"""A carved round piece as a body in space: patches of points with their positions in the work and their normals."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.geometry.surface import Round
from lobework.render.relief.light import Grid
from lobework.render.relief.sample import heights, taps
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.carve.stock import Stock
    from lobework.geometry.rigid import Array

__all__ = ["Patch", "ends", "inner_wall", "side", "surface_of", "widest"]

_ROWS: Final = 513
_BEHIND: Final = 0.15
"""Margin by which the computed side extends beyond its silhouette, as a difference of cosines."""
_SOLID: Final = 0.9995
"""Least thickness of a wall, as a fraction of the distance to the axis, for which the work counts as solid."""
_AT_THE_END: Final = 0.1
"""A hollow that begins within this fraction of the length from the end is open there."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class Patch(Brief):
    """A grid of points on the surface of a body.

    Parameters
    ----------
    place, faces : (3, m, n) float32
        Positions, mm, and outward unit normals, in the coordinates X, Y, Z of the work.
    kind : "side", "end" or "inside"
        The part of the surface.
    along, angle : (m,) mm and (n,) rad
        Coordinates on the side: length along the profile, and angle about the axis.
    depth : (m, n) mm
        Depth of the carving on the side.
    """

    place: Grid
    faces: Grid
    kind: Literal["side", "end", "inside"]
    along: Grid
    angle: Grid
    depth: Grid


def surface_of(stock: Stock) -> Round:
    """Return the surface of a stock of round work."""
    if not isinstance(stock.surface, Round):
        raise TypeError("the stock has a face, not a round surface")
    return stock.surface


def widest(surface: Round) -> float:
    """Return the greatest radius, mm."""
    return float(surface.profile(np.linspace(0.0, surface.length, _ROWS))[:, 0].max())


def side(stock: Stock, depth: Grid, facing: float, tilt: float, spacing: float) -> Patch:
    """Return the part of the carved side that is visible from the angle ``facing`` and the elevation ``tilt``, rad.

    The points of the uncarved side are ``spacing`` mm apart at most.
    """
    surface = surface_of(stock)
    along = np.linspace(0.0, surface.length, max(2, math.ceil(surface.length / spacing) + 1))
    profile = surface.profile(along).astype(np.float32)
    radius, z, out, up = (part[:, None] for part in profile.T)
    leans = max(float((up / np.maximum(out, 1e-3)).max()), 0.0)
    around = math.acos(max(-1.0, -math.tan(tilt) * leans - _BEHIND))
    angle = facing + np.linspace(-around, around, max(8, math.ceil(2 * around * float(radius.max()) / spacing) + 1))
    rows = taps(along / stock.row_step, stock.rows, wraps=False)
    columns = taps(angle / stock.column_step, stock.columns, wraps=True)
    cut, by_row, by_column = heights(depth, rows, columns)
    np.maximum(cut, 0, out=cut)
    left = radius - cut * out
    forth, round_it = by_row / stock.row_step, by_column / (stock.column_step * np.maximum(left, 0.02 * radius + 1e-3))
    cos, sin = np.cos(angle).astype(np.float32), np.sin(angle).astype(np.float32)
    faces_out, faces_up = out + forth * up, up - forth * out
    faces = np.stack([faces_out * cos - round_it * sin, faces_out * sin + round_it * cos, faces_up])
    faces /= np.sqrt((faces**2).sum(axis=0))
    place = np.stack([left * cos, left * sin, z - cut * up])
    return Patch(place=place, faces=faces, kind="side", along=along, angle=angle, depth=cut)


def inner_wall(surface: Round) -> Array:
    """Return the inner wall, (k, 2) mm: radius and z, from the end away from the headstock; no rows if the work is not hollow.

    Examples
    --------
    >>> from lobework.parts.piece import Barrel
    >>> inner_wall(Barrel(diameter=50.0, length=60.0, bore=42.0).surface)[[0, -1]].round(9).tolist()[1]
    [21.0, -60.0]
    >>> len(inner_wall(Barrel(diameter=50.0, length=60.0).surface))
    0
    """
    along = np.linspace(0.0, surface.length, _ROWS)
    radius, z, out, up = surface.profile(along).T
    wall = surface.wall(along)
    hollow = np.isfinite(wall) & (wall * out < _SOLID * radius)
    wall = np.where(hollow, wall, 0.0)
    line = np.stack([np.maximum(radius - wall * out, 0.0), z - wall * up], axis=-1)[hollow]
    lowest = np.minimum.accumulate(line[:, 1]) if len(line) else line[:, 1]
    falls: Array = line[np.concatenate([[True], line[1:, 1] < lowest[:-1]])] if len(line) else line
    return falls


def opens(surface: Round, wall: Array) -> bool:
    """Return whether a hollow is open at the end away from the headstock."""
    end = float(surface.profile(np.zeros(1))[0, 1])
    return len(wall) > 1 and end - float(wall[0, 1]) < _AT_THE_END * surface.length


def ends(stock: Stock, depth: Grid, tilt: float, spacing: float) -> list[Patch]:
    """Return patches of the end away from the headstock, and of the part of the hollow that is visible at elevation ``tilt``."""
    surface = surface_of(stock)
    radius, z, out, up = surface.profile(np.zeros(1))[0].tolist()
    if radius < spacing:
        return []
    angle = np.linspace(0.0, 2 * math.pi, max(16, math.ceil(2 * math.pi * radius / spacing) + 1))
    cut = np.interp(angle, stock.column_positions, depth[0], period=2 * math.pi)
    wall = inner_wall(surface)
    hollow = opens(surface, wall)
    mouth, mouth_z = wall[0].tolist() if hollow else (0.0, z)
    inward = _steps(radius - mouth, spacing)
    rim, rim_z = radius - cut * out, z - cut * up
    found = [_revolved(rim + inward * (mouth - rim), rim_z + inward * (mouth_z - rim_z), angle, "end")]
    if hollow:
        shown = wall[wall[:, 1] >= mouth_z - (mouth + wall[:, 0].max()) * math.tan(tilt)]
        far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(shown, axis=0).T))])
        down = far[-1] * _steps(float(far[-1]), spacing)
        level = np.zeros_like(angle)
        found.append(
            _revolved(np.interp(down, far, shown[:, 0]) + level, np.interp(down, far, shown[:, 1]) + level, angle, "inside")
        )
        if len(shown) == len(wall):
            floor = float(wall[-1, 0])
            found.append(
                _revolved(
                    floor * (1 - _steps(floor, spacing)) + level,
                    float(wall[-1, 1]) + 0 * _steps(floor, spacing) + level,
                    angle,
                    "inside",
                )
            )
    return found


def _steps(length: float, spacing: float) -> Array:
    """Return fractions of a length, 0 to 1, as a column; they divide it into steps of at most ``spacing``."""
    return np.linspace(0.0, 1.0, max(2, math.ceil(length / spacing) + 1))[:, None]


def _revolved(radius: Array, z: Array, angle: Array, kind: Literal["end", "inside"]) -> Patch:
    """Return a patch of revolution, (m, n) points; its rows run inwards over an end, or down an inner wall."""
    out_to, height, turn = (part.astype(np.float32) for part in (radius, z, angle))
    run, fall = np.gradient(out_to, axis=0), np.gradient(height, axis=0)
    length = np.maximum(np.hypot(run, fall), 1e-9)
    out, up = fall / length, -run / length
    cos, sin = np.cos(turn), np.sin(turn)
    place = np.stack([out_to * cos, out_to * sin, height])
    return Patch(
        place=place, faces=np.stack([out * cos, out * sin, up]), kind=kind, along=turn, angle=turn, depth=np.zeros_like(out_to)
    )
