"""What is left in the wood: depths along every ray, and what can be read off them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.holder import CuttingFrame, EccentricFrame
from lobework.surface import Face

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.kinds import Piece
    from lobework.rigid import Array

__all__ = ["Carving", "Spot"]

_SAME_MM: Final = 1e-4
"""Cuts that reach one point within this of each other count as equally deep there; the first is named."""
_AT_ONCE: Final = 1 << 18
"""So many rays are looked at together: whole grids of numbers would outgrow what carving may take."""
_LEVEL_MM: Final = 1e-5
"""Steps smaller than this between two rays are rounding, not ridges."""


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


@dataclass(frozen=True, eq=False, kw_only=True)
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
        untouched = [((self.depth[rows] == 0) & self.stock.inside[rows]).sum(axis=1) for rows in self._some_rows()]
        return float((self.stock.areas[:, 0] * np.concatenate(untouched)).sum())

    @cached_property
    def land_part(self) -> float:
        """The part of the surface that no cutter has touched, 0 to 1."""
        return self.land / float((self.stock.areas[:, 0] * self.stock.inside.sum(axis=1)).sum())

    @cached_property
    def deepest(self) -> Spot:
        """Where the work is cut deepest, and by which pass and step."""
        return self.spot(*np.unravel_index(int(self.depth.argmax()), self.stock.shape))

    @cached_property
    def thinnest(self) -> Spot:
        """Where the least is left of the work, and by which pass and step."""
        least, place = math.inf, (0, 0)
        for rows in self._some_rows():
            wall = self._wall(rows)
            row, column = np.unravel_index(int(np.where(np.isnan(wall), np.inf, wall).argmin()), wall.shape)
            if wall[row, column] < least:
                least, place = float(wall[row, column]), (rows.start + int(row), int(column))
        return self.spot(*place)

    @cached_property
    def cusp(self) -> float:
        """How high the highest ridge between two grooves stands above the shallower of their floors, mm.

        Looked for along every row and column; land, which no cutter has touched, is no ridge.
        """
        twice = 1 if isinstance(self.stock.surface, Face) else 2
        return max(_highest_ridge(line) for line in itertools.chain((np.tile(row, twice) for row in self.depth), self.depth.T))

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
        from lobework.carve.plain import Plain

        start, way = (each[0] for each in self.stock.rays(np.array([row]), np.array([column])))
        bottom = start + float(self.depth[row, column]) * way
        ray = self.stock.ray(row, column)
        best, title = 0.0, ""
        for sweep in self.sweeps:
            here = ray.uncut()
            Plain().carve(ray, list(_near(sweep, bottom)), here)
            reached = float(here[0, column if ray.columns > 1 else 0])
            if reached > best + _SAME_MM:
                best, title = reached, sweep.title
        return title


def _near(sweep: Sweep, point: Array) -> Iterator[Sweep]:
    """Yield the stretches of a sweep whose cutter may reach a point."""
    swung = sweep.held.radius if isinstance(sweep.held, CuttingFrame | EccentricFrame) else 0.0
    steps = np.linalg.norm(np.diff(sweep.tip, axis=0), axis=1).max(initial=0.0)
    reach = 2 * (sweep.edge.half_width + swung) + sweep.edge.height + steps
    near = np.flatnonzero(np.linalg.norm(sweep.tip - point, axis=1) <= reach)
    for run in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
        if run.size:
            part = slice(max(run[0] - 1, 0), run[-1] + 2)
            turned = {name: each[part] if len(each := getattr(sweep, name)) > 1 else each for name in ("outward", "level")}
            yield replace(sweep, tip=sweep.tip[part], **turned)


def _highest_ridge(line: NDArray[np.float32]) -> float:
    """Return the greatest height of a ridge above the shallower of the floors beside it, along one line of depths."""
    line = np.pad(line, 1)
    turns = np.flatnonzero(np.abs(np.diff(line)) > _LEVEL_MM)
    if turns.size < 2:
        return 0.0
    sinking = line[turns + 1] > line[turns]
    changes = np.flatnonzero(sinking[1:] != sinking[:-1])
    floors = np.array([line[turns[k] + 1] for k in changes[sinking[changes]]])
    if floors.size < 2:
        return 0.0
    places = turns[changes[sinking[changes]]] + 1
    tops = np.minimum.reduceat(line, places)[:-1]
    heights = np.minimum(floors[:-1], floors[1:]) - tops
    return float(heights[tops > 0].max(initial=0.0))
