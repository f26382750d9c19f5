"""The solid of a carved barrel or turned piece: its side, its ends, and its hollow."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lobework.errors import SettingError
from lobework.geometry.rigid import Array
from lobework.render.solid.hollow import Hollow
from lobework.render.solid.shell import LEAST_WALL_MM, Corners, Shell, decimated

if TYPE_CHECKING:
    from lobework.carve import Stock
    from lobework.carve.stock import Depth

__all__ = ["side_shell"]

_POINT_MM: Final = 1e-9
_LEVEL_MM: Final = 1e-9


def side_shell(stock: Stock, hollow: Hollow | None, depth: Depth, within: float, rounding: float) -> tuple[Shell, float]:
    """Return the shell of round work, and the greatest distance between it and a ray that is left out, mm.

    Parameters
    ----------
    stock : Stock
        The stock of a round surface.
    hollow : Hollow or None
        The hollow of the work.
    depth : (rows, columns) float32, mm
        Depth of the carving.
    within : float, mm
        Greatest allowed distance between the shell and a ray that is left out.
    rounding : float, mm
        Greatest distance of the polygonal wall of the hollow from the circles through its vertices.

    Raises
    ------
    SettingError
        If the work is cut through to its hollow or its axis, if cuts meet under the surface, or if the rays are too far apart for
        the wall that is left.
    """
    radius, z, out, along = (part[:, None] for part in stock.profile.T)
    deep = depth.astype(np.float64)
    points = [end for end in (0, -1) if radius[end, 0] <= _POINT_MM]
    for end in points:
        deep[end] = deep[end].min()
    r, height = radius - deep * out, z - deep * along
    r[points] = 0.0
    _require_above_axis(stock, deep, r, points)
    if not stock.surface.straight:  # type: ignore[union-attr]
        within = _safe_within(stock, deep, within)
    least_wall = _least_wall(stock, hollow, deep) if hollow else math.inf
    for end, direction in ((0, 1), (-1, -1)):
        if end not in points:
            _trim_to_end(r[::direction], height[::direction], float(z[end, 0]), direction)
            if hollow and hollow.open[end]:
                least_wall = min(least_wall, _least_ring(stock, hollow, deep, r, end))
    del deep

    places = np.zeros((stock.rows, stock.columns + 1, 3))
    places[:, :-1, 0], places[:, :-1, 1], places[:, :-1, 2] = (
        r * np.cos(stock.column_positions),
        r * np.sin(stock.column_positions),
        height,
    )
    places[:, -1] = places[:, 0]
    del r, height
    facets, left_out = decimated(places, np.ones((stock.rows - 1, stock.columns), dtype=bool), min(within, least_wall / 4))
    shell = Shell()
    first, last = _add_side(shell, places, facets, points)
    _add_ends(shell, stock, hollow, first, last, points, min(rounding, least_wall / 4))
    return shell, left_out


def _add_side(shell: Shell, places: Array, facets: Corners, points: list[int]) -> tuple[Corners, Corners]:
    """Add the side to a shell; return the vertices of the first row and of the last row of the side."""
    rows, columns = places.shape[0], places.shape[1] - 1
    row, column = np.divmod(facets, columns + 1)
    column %= columns
    for end in points:
        column[row == end % rows] = 0
    node = row * (columns + 1) + column
    seen = np.zeros(rows * (columns + 1), dtype=bool)
    seen[node.ravel()] = True
    number = np.cumsum(seen) - 1
    shell.add(places.reshape(-1, 3)[seen])
    shell.cover(number[node][:, ::-1])
    return number[:columns], number[-columns - 1 : -1]


def _add_ends(
    shell: Shell, stock: Stock, hollow: Hollow | None, first: Corners, last: Corners, points: list[int], rounding: float
) -> None:
    """Add the flat ends and the hollow to a shell."""
    rings = hollow.cover(shell, stock.column_positions, rounding) if hollow else [None, None]
    for end, ring, inner, z in ((0, first, rings[0], stock.profile[0, 1]), (-1, last, rings[1], stock.profile[-1, 1])):
        if end in points:
            continue
        if inner is None:
            shell.fan(np.array([0.0, 0.0, z]), ring, outwards=end == 0)
        else:
            shell.join(inner, ring, outwards=end == 0)


def _trim_to_end(r: Array, z: Array, plane: float, direction: int) -> None:
    """Move the first row of a carved side into the plane of the work's end, in place.

    Rays may be inclined to this plane. If the carved side crosses the plane, it begins at its last crossing; the material outside
    that crossing is undercut and is omitted. If the rays are inclined away from the end, the cut is extended to the end parallel
    to the axis.
    """
    beyond = direction * (z - plane) > _LEVEL_MM
    leaning = np.flatnonzero(beyond.any(axis=0))
    if leaning.size:
        rows = len(z)
        last = rows - 1 - beyond[::-1, leaning].argmax(axis=0)
        if last.max() > rows - 3:
            problem = f"depth: no wood is left under the cut at the end of the work, z {plane:g} mm"
            raise SettingError(problem, remedy="cut less deep")
        u = last + (z[last, leaning] - plane) / (z[last, leaning] - z[last + 1, leaning])
        reach = min(int(last.max()) + 8, rows - 1)
        at = u + (reach - u) * (np.arange(reach + 1) / reach)[:, None]
        k = np.clip(np.floor(at).astype(int), 0, rows - 2)
        part = at - k
        for each in (r, z):
            each[: reach + 1, leaning] = (1 - part) * each[k, leaning] + part * each[k + 1, leaning]
    z[0] = plane


def _place(stock: Stock, row: int, column: int) -> str:
    return f"z {stock.profile[row, 1]:.3f} mm, {math.degrees(stock.column_positions[column]):.2f} deg"


def _cut_through(stock: Stock, deep: Array, row: int, column: int, what: str) -> SettingError:
    return SettingError(
        f"at {_place(stock, row, column)} the cut goes through to {what}",
        name="depth",
        given=f"{deep[row, column]:g}",
        remedy="a solid needs a wall: cut less deep, or use thicker work",
    )


def _require_above_axis(stock: Stock, deep: Array, r: Array, points: list[int]) -> None:
    lowest = r.copy()
    lowest[points] = np.inf
    row, column = np.unravel_index(lowest.argmin(), r.shape)
    if not lowest[row, column] > LEAST_WALL_MM:
        raise _cut_through(stock, deep, int(row), int(column), "the axis")


def _safe_within(stock: Stock, deep: Array, within: float) -> float:
    """Return the distance ``within``, reduced so that no two parts of the surface can meet.

    An error is raised if two parts meet even at distance zero. The rays of a bead converge, and the rays on both sides of a
    flange face each other, so the wall between two cuts may be thin.
    """
    for less in (within, within / 4, within / 16, within / 64, 0.0):
        column, first, second = _first_meeting(stock, np.ascontiguousarray(deep.T) + less)
        if column < 0:
            return less
    raise SettingError(
        f"the cuts at {_place(stock, first, column)} and {_place(stock, second + 1, column)} meet under the surface",
        name="depth",
        given=f"{deep[[first, first + 1, second, second + 1], column].max():g}",
        remedy="a solid needs wood between the cuts: cut less deep",
    )


def _first_meeting(stock: Stock, depth: Array) -> tuple[int, int, int]:
    """Return the index of a column in which two parts of the surface meet, and the rows before the meeting; -1 if no parts meet.

    ``depth`` is (columns, rows). Neighbouring rows meet if their rays cross and both are cut beyond the crossing. Other parts
    meet if the polyline through the points of a column crosses itself.
    """
    from lobework.kernels.mesh.self_crossing import crossing

    radius, z, out, along = stock.profile.T
    turn, step_r, step_z = out[:-1] * along[1:] - along[:-1] * out[1:], np.diff(radius), np.diff(z)
    with np.errstate(divide="ignore", invalid="ignore"):
        above, below = (step_z * out[k] - step_r * along[k] for k in (slice(1, None), slice(None, -1)))
        above, below = (np.where(far / turn > 0, far / turn, np.inf) for far in (above, below))
    folded = (depth[:, :-1] >= above) & (depth[:, 1:] >= below)
    if folded.any():
        column, row = np.unravel_index(int(folded.argmax()), folded.shape)
        return int(column), int(row), int(row)
    return crossing(radius - depth * out, z - depth * along)


def _least_wall(stock: Stock, hollow: Hollow, deep: Array) -> float:
    """Return the least distance from the carved side to the hollow, mm."""
    radius, z, out, along = stock.profile.T
    column = deep.argmax(axis=1)
    most = deep[np.arange(stock.rows), column]
    under = hollow.ray_length(radius, z, out, along)
    away = np.where(most < under, hollow.distance(radius - most * out, z - most * along), -1.0)
    row = int(away.argmin())
    if not away[row] > LEAST_WALL_MM:
        row = int(np.where(away > LEAST_WALL_MM, np.inf, under - most).argmin())
        raise _cut_through(stock, deep, row, int(column[row]), f"the hollow, {under[row]:.3g} mm under the surface")
    chord = float(radius.max()) * (1 - math.cos(math.pi / stock.columns)) + _profile_sagitta(stock)
    if chord > away[row] / 4:
        raise SettingError(
            f"with rays this far apart, the solid deviates by {chord:.2g} mm from the round work, too much for the "
            f"{away[row]:.2g} mm of wall left at {_place(stock, row, int(column[row]))}",
            name="resolution",
            given=f"{stock.row_step:g}",
            remedy="carve at a finer resolution",
        )
    return float(away[row])


def _least_ring(stock: Stock, hollow: Hollow, deep: Array, r: Array, end: int) -> float:
    """Return the least width of the flat ring at an open end, mm."""
    column = int(r[end].argmin())
    left = float(r[end, column] - hollow.line[end, 0])
    if not left > LEAST_WALL_MM:
        raise _cut_through(stock, deep, end, column, "the hollow, at its mouth")
    return left


def _profile_sagitta(stock: Stock) -> float:
    """Return the greatest distance of the profile from the chords between its rows, mm."""
    surface = stock.surface
    between = surface.profile((stock.row_positions[1:] + stock.row_positions[:-1]) / 2)[:, :2]  # type: ignore[union-attr]
    chords = (stock.profile[1:, :2] + stock.profile[:-1, :2]) / 2
    most: NDArray[np.float64] = np.hypot(*(between - chords).T).max()
    return float(most)
