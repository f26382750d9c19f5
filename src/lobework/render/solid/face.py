"""The solid of a carved disc: its face, its rim and its back."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lobework.errors import SettingError
from lobework.geometry.rigid import Array
from lobework.render.solid.shell import LEAST_WALL_MM, Corners, Shell, border, decimated

if TYPE_CHECKING:
    from lobework.carve import Stock
    from lobework.carve.stock import Depth

__all__ = ["disc_shell"]

_GAP = 0.5
"""Least distance from the edge to a ray that is a vertex, in grid steps; nearer rays would give sliver triangles."""


def disc_shell(
    stock: Stock, radius: float, thickness: float, depth: Depth, within: float, rounding: float
) -> tuple[Shell, float]:
    """Return the shell of a carved disc, and the greatest distance between it and a ray that is left out, mm.

    Parameters
    ----------
    stock : Stock
        The stock of the face.
    radius, thickness : float, mm
        Dimensions of the disc.
    depth : (rows, columns) float32, mm
        Depth of the carving.
    within : float, mm
        Greatest allowed distance between the shell and a ray that is left out.
    rounding : float, mm
        Greatest distance of the polygonal edge from the circle through its vertices.

    Raises
    ------
    SettingError
        If the disc is cut through.
    """
    deepest = np.where(stock.inside, depth, 0.0)
    row, column = np.unravel_index(deepest.argmax(), deepest.shape)
    left = thickness - float(deepest[row, column])
    if not left > LEAST_WALL_MM:
        raise SettingError(
            f"at x {stock.column_positions[column]:.3f}, y {stock.row_positions[row]:.3f} mm the cut goes through to the back, "
            f"{thickness:g} mm below the face",
            name="depth",
            given=f"{deepest[row, column]:g}",
            remedy="a solid needs a wall: cut less deep, or use thicker work",
        )
    x, y = stock.column_positions, stock.row_positions
    step = max(stock.row_step, stock.column_step)
    near = np.hypot(x, y[:, None]) <= radius - _GAP * step
    keep = near[:-1, :-1] & near[1:, :-1] & near[:-1, 1:] & near[1:, 1:]
    places = np.stack(np.broadcast_arrays(x, y[:, None], -deepest.astype(np.float64)), axis=-1)
    facets, left_out = decimated(places, keep, min(within, left / 2))

    shell = Shell()
    seen = np.zeros(deepest.size, dtype=bool)
    seen[facets.ravel()] = True
    number = np.cumsum(seen) - 1
    shell.add(places.reshape(-1, 3)[seen])
    shell.cover(number[facets])
    edge = np.flatnonzero(border(keep))
    rim_at = np.linspace(0.0, 2 * math.pi, _sides(radius, step, rounding), endpoint=False)
    round_it = radius * np.stack([np.cos(rim_at), np.sin(rim_at)], axis=-1)
    down = _depth_at(stock, radius, deepest, round_it)
    rim = shell.add(np.concatenate([round_it, -down[:, None]], axis=1))
    back = shell.add(np.concatenate([round_it, np.full((rim.size, 1), -thickness)], axis=1))
    inner, inner_at = _fill_corners(shell, number[edge], places.reshape(-1, 3)[edge, :2])
    shell.zip(inner, inner_at, rim, rim_at)
    shell.join(rim, back)
    shell.fan(np.array([0.0, 0.0, -thickness]), back, outwards=False)
    return shell, left_out


def _sides(radius: float, step: float, rounding: float) -> int:
    """Return the number of vertices of the edge: their spacing is at most that of the rays, and the sides fit the circle."""
    flat = math.pi / math.acos(max(1 - rounding / radius, 0.0))
    return 4 * math.ceil(max(2 * math.pi * radius / step, flat, 12) / 4)


def _fill_corners(shell: Shell, corners: Corners, at: Array) -> tuple[Corners, Array]:
    """Add triangles in the concave corners of the grid's stepped border; return the remaining ring and its angles, rad."""
    angle = np.arctan2(at[:, 1], at[:, 0]) % (2 * math.pi)
    order = np.argsort(angle)
    ring, angle, at = corners[order], angle[order], at[order]
    before, after = at - np.roll(at, 1, axis=0), np.roll(at, -1, axis=0) - at
    hollow = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < 0
    shell.cover(np.stack([np.roll(ring, 1), np.roll(ring, -1), ring], axis=-1)[hollow])
    return ring[~hollow], angle[~hollow]


def _depth_at(stock: Stock, radius: float, depth: NDArray[np.floating], at: Array) -> Array:
    """Return the depth of the face at (n, 2) points on its edge, interpolated between rays; outside rays are extrapolated."""
    filled = _extrapolated(stock, radius, depth)
    column = (at[:, 0] - stock.column_positions[0]) / stock.column_step
    row = (at[:, 1] - stock.row_positions[0]) / stock.row_step
    i, j = (np.clip(np.floor(each).astype(int), 0, size - 2) for each, size in ((column, stock.columns), (row, stock.rows)))
    u, v = np.clip(column - i, 0.0, 1.0), np.clip(row - j, 0.0, 1.0)
    level: Array = (1 - u) * filled[j, i] + u * filled[j, i + 1]
    above: Array = (1 - u) * filled[j + 1, i] + u * filled[j + 1, i + 1]
    between: Array = (1 - v) * level + v * above
    return between


def _extrapolated(stock: Stock, radius: float, depth: NDArray[np.floating]) -> Array:
    """Return the depths; just outside the edge they are extrapolated linearly, from zero to the greatest depth."""
    filled = depth.astype(np.float64)
    most = filled.max()
    away = np.hypot(stock.column_positions, stock.row_positions[:, None])
    layer = 0.9 * min(stock.row_step, stock.column_step)
    for low in np.arange(radius, radius + math.hypot(stock.row_step, stock.column_step), layer):
        row, column = np.nonzero((low < away) & (away <= low + layer))
        up = np.rint(stock.row_positions[row] / away[row, column]).astype(int)
        right = np.rint(stock.column_positions[column] / away[row, column]).astype(int)
        one, two = filled[row - up, column - right], filled[row - 2 * up, column - 2 * right]
        filled[row, column] = np.clip(2 * one - two, 0.0, most)
    return filled
