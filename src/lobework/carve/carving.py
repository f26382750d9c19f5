"""What is left in the wood: depths along every ray, and what can be read off them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.geometry.surface import Face
from lobework.parts.abilities import seen_on
from lobework.parts.holder import CuttingFrame, EccentricFrame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Piece
    from lobework.quantities.units import LengthUnit

__all__ = ["Carving", "Spot"]

_SAME_MM: Final = 1e-4
"""Cuts that reach one point within this of each other count as equally deep there; the first is named."""
_AT_ONCE: Final = 1 << 18
"""So many rays are looked at together: whole grids of numbers would outgrow what carving may take."""
_NEAR: Final = 32
_LEVEL_MM: Final = 1e-5
"""Steps smaller than this between two rays are rounding, not ridges, and so shallow a place is land."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One ray of a carving.

    Parameters
    ----------
    row, column : int
        Of the grid.
    place : (float, float)
        X and Y, mm, on a face; angle about Z, degrees, and z, mm, on a round surface.
    depth : float, mm
        How deep the work is cut there.
    wall : float, mm
        How much is left under it; negative where it is cut through.
    cut : str
        Title of the cut that goes deepest there: the pass and its step; empty where none goes.
    """

    row: int
    column: int
    place: tuple[float, float]
    depth: float
    wall: float
    cut: str


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Carving:
    """A piece once its cuts are carved.

    Parameters
    ----------
    title : str
        Of the job.
    piece : Piece
        What was carved.
    stock : Stock
        The rays.
    depth : (rows, columns) float32, mm
        How deep the work is cut along each ray; zero where it is not, and where there is no work.
    sweeps : sequence of Sweep
        What carved it, in the order of the job's cuts.
    units : "mm" or "inch"
        Of the scale bar of its pictures.

    Examples
    --------
    >>> from lobework import At, Ball, Disc, Job, Pass, read_lathe
    >>> ring = Pass(name="ring", at=At(x=20.0, depth=0.5))
    >>> disc, ball = Disc(diameter=60.0, thickness=5.0), Ball(radius=1.5)
    >>> job = Job(lathe=read_lathe("plain-bench"), piece=disc, cutter=ball, passes=[ring])
    >>> carving = job.carve(0.1)
    >>> round(carving.volume, 1), round(carving.deepest.depth, 4), carving.deepest.cut, round(carving.thinnest.wall, 4)
    (97.3, 0.5, 'ring', 4.5)
    """

    title: str
    piece: Piece
    stock: Stock
    depth: Depth
    sweeps: Sequence[Sweep]
    units: LengthUnit = "mm"

    def __repr__(self) -> str:
        rows, columns = self.stock.shape
        return f"<carving of {len(self.sweeps)} cuts on {rows} x {columns} rays: {self.title or 'untitled'}>"

    @property
    def wall(self) -> Array:
        """(rows, columns) mm: what is left under each ray, negative where it is cut through; not a number off the work."""
        return self._wall(slice(None))

    def _wall(self, rows: slice) -> Array:
        wall = self.stock.wall if len(self.stock.wall) == 1 else self.stock.wall[rows]
        return np.where(self.stock.inside[rows], wall - self.depth[rows], np.nan)

    def _some_rows(self) -> Iterator[slice]:
        """Yield the rows of the grid, some at a time."""
        rows, columns = self.stock.shape
        step = max(1, _AT_ONCE // columns)
        return (slice(first, min(first + step, rows)) for first in range(0, rows, step))

    @cached_property
    def volume(self) -> float:
        """Removed, mm^3; what is cut away behind the wall does not count."""
        wall = self.stock.wall
        kept = ((rows, np.minimum(self.depth[rows], wall if len(wall) == 1 else wall[rows])) for rows in self._some_rows())
        return float(sum(self.stock.volumes(depth, rows).sum() for rows, depth in kept))

    @cached_property
    def land(self) -> float:
        """The surface that no cutter has touched, mm^2."""
        untouched = [((self.depth[rows] <= _LEVEL_MM) & self.stock.inside[rows]).sum(axis=1) for rows in self._some_rows()]
        return float((self.stock.areas[:, 0] * np.concatenate(untouched)).sum())

    @cached_property
    def land_part(self) -> float:
        """The part of the surface that no cutter has touched, 0 to 1."""
        return self.land / float((self.stock.areas[:, 0] * self.stock.inside.sum(axis=1)).sum())

    @cached_property
    def deepest(self) -> Spot:
        """Where the work is cut deepest, and by which pass and step: between rays too, where a tip goes deeper."""
        found = self.spot(*np.unravel_index(int(self.depth.argmax()), self.stock.shape))
        return max((found, *self._tips), key=lambda spot: spot.depth)

    @cached_property
    def thinnest(self) -> Spot:
        """Where the least is left of the work, and by which pass and step: between rays too, where a tip leaves less."""
        least, place = math.inf, (0, 0)
        for rows in self._some_rows():
            wall = self._wall(rows)
            row, column = np.unravel_index(int(np.where(np.isnan(wall), np.inf, wall).argmin()), wall.shape)
            if wall[row, column] < least:
                least, place = float(wall[row, column]), (rows.start + int(row), int(column))
        return min((self.spot(*place), *self._tips), key=lambda spot: spot.wall)

    @cached_property
    def _tips(self) -> tuple[Spot, ...]:
        """Where the tip of each sweep goes deepest, and where it leaves least; an eccentric frame's middle is no tip."""
        return tuple(
            itertools.chain.from_iterable(self._of_tip(each) for each in self.sweeps if each.holder.kind != "eccentric frame")
        )

    def _of_tip(self, sweep: Sweep) -> Iterator[Spot]:
        """Yield where a sweep's tip goes deepest, and where it leaves least; nothing where it never is in the work."""
        stock, surface = self.stock, self.stock.surface
        seen = seen_on(self.piece, sweep.tip)
        if isinstance(surface, Face):
            on_it = np.hypot(seen[:, 0], seen[:, 1]) <= surface.radius
            across, down, wall = seen[:, 0], seen[:, 1], np.full(len(seen), surface.thickness)
            place = seen[:, :2]
        else:
            down = self.piece.outline[0, 1] - seen[:, 1]
            on_it = (down >= 0) & (down <= surface.length)
            across = np.arctan2(sweep.tip[:, 1], sweep.tip[:, 0]) % (2 * math.pi)
            wall = np.interp(down, stock.down, np.broadcast_to(stock.wall[:, 0], stock.rows))
            place = np.stack([np.degrees(across), surface.profile(np.clip(down, 0, surface.length))[:, 1]], axis=-1)
        for score in (seen[:, 2], seen[:, 2] - wall):
            k = int(np.where(on_it, score.round(9), -np.inf).argmax())
            if on_it[k] and seen[k, 2] > 0:
                row = round((down[k] - stock.down[0]) / stock.row_step)
                column = round((across[k] - stock.across[0]) / stock.column_step) % stock.columns
                depth = float(seen[k, 2])
                where = float(place[k, 0]), float(place[k, 1])
                yield Spot(row=row, column=column, place=where, depth=depth, wall=float(wall[k]) - depth, cut=sweep.title)

    @cached_property
    def cusp(self) -> float:
        """How high the highest ridge between two grooves stands above the shallower of their floors, mm.

        Looked for along every row and column; land, which no cutter has touched, is no ridge, nor is the flank of a groove
        that a row runs along.
        """
        highest = 0.0
        for first, lines, along_row in self._some_lines():
            heights, places, falls = _ridges(lines.ravel())
            for each in np.flatnonzero(heights > highest)[np.argsort(-heights[heights > highest])].tolist():
                number, place = divmod(int(places[each]), lines.shape[1])
                row, column = (first + number, place % self.stock.columns) if along_row else (place, first + number)
                step = self._cell(row) if along_row else self.stock.row_step
                if not self._in_a_groove(row, column, along_row, float(falls[each]) / step):
                    highest = float(heights[each])
                    break
        return highest

    def _some_lines(self) -> Iterator[tuple[int, Depth, bool]]:
        """Yield some rows at a time, then some columns: the first one's number, their depths with a zero after each, and which.

        Rows go round twice on a round surface, so that every ridge lies between its floors.
        """
        twice = 1 if isinstance(self.stock.surface, Face) else 2
        for rows in self._some_rows():
            yield rows.start, np.pad(np.tile(self.depth[rows], twice), ((0, 0), (0, 1))), True
        step = max(1, _AT_ONCE // self.stock.rows)
        for first in range(0, self.stock.columns, step):
            yield first, np.pad(self.depth[:, first : first + step].T, ((0, 0), (0, 1))), False

    def _cell(self, row: int) -> float:
        """Return how far it is from column to column, mm."""
        wide = 1.0 if isinstance(self.stock.surface, Face) else float(self.stock.profile[row, 0])
        return self.stock.column_step * wide

    def _in_a_groove(self, row: int, column: int, along_row: bool, falls: float) -> bool:
        """Return whether the surface rises to a side of a line, and slopes across it more than it falls along it: no ridge."""
        line, place = (self.depth[:, column], row) if along_row else (self.depth[row], column)
        step = self.stock.row_step if along_row else self._cell(row)
        ways = line[place::-1], line[place:]
        slopes = [_first_slope(way) / step for way in ways]
        return min(slopes) < 0 and max(map(abs, slopes)) > falls

    def spot(self, row: int | np.intp, column: int | np.intp) -> Spot:
        """Return what is known of one ray."""
        row, column = int(row), int(column)
        if isinstance(self.stock.surface, Face):
            place = float(self.stock.across[column]), float(self.stock.down[row])
        else:
            place = math.degrees(self.stock.across[column]), float(self.stock.profile[row, 1])
        depth, wall = float(self.depth[row, column]), float(self._wall(slice(row, row + 1))[0, column])
        return Spot(row=row, column=column, place=place, depth=depth, wall=wall, cut=self._cut_by(row, column))

    def _cut_by(self, row: int, column: int) -> str:
        """Return the title of the cut that goes deepest along one ray."""
        from lobework.carve.plain import PlainBackend

        start, way = (each[0] for each in self.stock.rays(np.array([row]), np.array([column])))
        bottom = start + float(self.depth[row, column]) * way
        ray = self.stock.ray(row, column)
        best, title = 0.0, ""
        for sweep in self.sweeps:
            here = ray.uncut()
            PlainBackend().carve(ray, list(_near(sweep, bottom)), here)
            reached = float(here[0, column if ray.columns > 1 else 0])
            if reached > best + _SAME_MM:
                best, title = reached, sweep.title
        return title


def _near(sweep: Sweep, point: Array) -> Iterator[Sweep]:
    """Yield the stretches of a sweep whose cutter may reach a point."""
    off = point - sweep.tip
    outward = np.broadcast_to(sweep.outward, off.shape)
    far = np.linalg.norm(off, axis=1)
    turns = np.linalg.norm(np.diff(outward, axis=0), axis=1).max(initial=0.0)
    steps = np.linalg.norm(np.diff(sweep.tip, axis=0), axis=1).max(initial=0.0) + turns * far
    height = np.vecdot(off, outward)
    aside = np.sqrt(np.maximum((far - height) * (far + height), 0.0))
    reach: Array | float = sweep.edge.half_width
    if isinstance(sweep.holder, EccentricFrame):
        reach += sweep.holder.radius
    elif isinstance(sweep.holder, CuttingFrame):
        up = np.clip(height + steps, 0.0, sweep.holder.radius)
        reach += np.sqrt(up * (2 * sweep.holder.radius - up))
    near = np.flatnonzero((height >= -steps - _SAME_MM) & (aside <= reach + steps + _SAME_MM))
    for run in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
        if run.size:
            part = slice(max(run[0] - 1, 0), run[-1] + 2)
            turned = {name: each[part] if len(each := getattr(sweep, name)) > 1 else each for name in ("outward", "level")}
            yield replace(sweep, tip=sweep.tip[part], **turned)


def _ridges(line: Depth) -> tuple[Depth, NDArray[np.intp], Array]:
    """Return what stands between two floors along a line of depths; at a depth of zero nothing does.

    Returns
    -------
    heights : (n,) mm
        Above the shallower of the floors beside it.
    places : (n,)
        In the line.
    falls : (n,) mm a cell
        How steeply it falls to that side to which it falls less.
    """
    depths = np.pad(line, 1)
    steps = np.diff(depths)
    turns = np.flatnonzero((np.abs(steps) > _LEVEL_MM) | ((depths[1:] > _LEVEL_MM) != (depths[:-1] > _LEVEL_MM)))
    sinking = steps[turns] > 0
    ends = np.flatnonzero(sinking[1:] != sinking[:-1])
    floors, tops = ends[sinking[ends]], ends[~sinking[ends]]
    last, following = turns[tops], turns[tops + 1]
    height = depths[last + 1]
    floor = depths[turns[floors] + 1]
    falls = np.minimum(np.abs(steps[last]), np.abs(steps[following])) / ((following - last + 1) / 2)
    stands = height > _LEVEL_MM
    return (np.minimum(floor[:-1], floor[1:]) - height)[stands], ((last + following - 1) // 2)[stands], falls[stands]


def _first_slope(way: Depth) -> float:
    """Return by how much a line of depths first changes from where it begins, mm a cell; zero where it never does."""
    for near in (way[:_NEAR], way):
        changes = np.flatnonzero(np.abs(near - way[0]) > _LEVEL_MM)
        if changes.size:
            return float(way[changes[0]] - way[0]) / int(changes[0])
    return 0.0
