"""The result of carving: depths, volume removed, uncut area, deepest point, thinnest point and highest ridge."""

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
from lobework.text.shown import Shown

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Piece
    from lobework.quantities.units import LengthUnit

__all__ = ["Carving", "Spot"]

_SAME_MM: Final = 1e-4
"""Two cuts whose depths at a point differ by less than this count as equally deep; the earlier cut is named."""
_TIE_MM: Final = 1e-6
"""Two rays whose depths differ by less than this count as equally deep; the first ray, row by row, is reported."""
_RAYS_PER_BATCH: Final = 1 << 18
"""Number of rays processed together: small enough to keep temporary arrays within the memory allowed for carving."""
_NEAR: Final = 32
"""Number of cells at the start of a line that are searched before the whole line."""
_ROUNDING_MM: Final = 1e-5
"""A smaller step between two rays is a rounding error, not part of a ridge; a point with a smaller depth counts as uncut."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One point of a carving: on a ray, or between rays on the path of a tip.

    Parameters
    ----------
    row, column : int
        Row and column of the ray, or of the nearest ray.
    place : (float, float)
        Position of the point: on a face X and Y, mm; on a round surface the angle about Z, degrees, and z, mm.
    depth : float, mm
        Depth of the cut.
    wall : float, mm
        Remaining thickness of the work; negative if the work is cut through.
    cut : str
        Title of the deepest cut at the point, with its pass and step; empty if no cut reaches the point.
    """

    row: int
    column: int
    place: tuple[float, float]
    depth: float
    wall: float
    cut: str


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Carving(Shown):
    """A carved piece.

    Parameters
    ----------
    title : str
        Title of the job.
    piece : Piece
        The work.
    stock : Stock
        The rays.
    depth : (rows, columns) float32, mm
        Depth of the cut along each ray; zero if the ray is uncut or has no work under it.
    sweeps : sequence of Sweep
        Sweeps of the cutter, in the order of the job's cuts.
    units : "mm" or "inch"
        Unit of the scale bar in pictures of the carving.

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
        """(rows, columns) mm: remaining thickness under each ray; negative if cut through, and NaN outside the work."""
        return self._wall(slice(None))

    def _wall(self, rows: slice) -> Array:
        """Return the remaining thickness under the rays of some rows, as in `wall`."""
        wall = self.stock.wall if len(self.stock.wall) == 1 else self.stock.wall[rows]
        return np.where(self.stock.inside[rows], wall - self.depth[rows], np.nan)

    def _row_batches(self) -> Iterator[slice]:
        """Yield all rows of the grid in batches."""
        rows, columns = self.stock.shape
        step = max(1, _RAYS_PER_BATCH // columns)
        return (slice(first, min(first + step, rows)) for first in range(0, rows, step))

    @cached_property
    def volume(self) -> float:
        """Volume removed, mm^3; depth beyond the thickness of the work does not count."""
        wall = self.stock.wall
        kept = ((rows, np.minimum(self.depth[rows], wall if len(wall) == 1 else wall[rows])) for rows in self._row_batches())
        return float(sum(self.stock.volumes(depth, rows).sum() for rows, depth in kept))

    @cached_property
    def land(self) -> float:
        """Area of the uncut surface, mm^2."""
        untouched = [((self.depth[rows] <= _ROUNDING_MM) & self.stock.inside[rows]).sum(axis=1) for rows in self._row_batches()]
        return float((self.stock.areas[:, 0] * np.concatenate(untouched)).sum())

    @cached_property
    def land_part(self) -> float:
        """Fraction of the surface that is uncut, 0 to 1."""
        return self.land / float((self.stock.areas[:, 0] * self.stock.inside.sum(axis=1)).sum())

    @cached_property
    def deepest(self) -> Spot:
        """The deepest point, with the pass and step that cut it; the point may lie between rays, on the path of a tip."""
        found = self.spot(*np.unravel_index(int((self.depth >= self.depth.max() - _TIE_MM).argmax()), self.stock.shape))
        tip = max(self._tip_spots, key=lambda spot: spot.depth, default=found)
        return tip if tip.depth > found.depth + _TIE_MM else found

    @cached_property
    def thinnest(self) -> Spot:
        """The point of the thinnest wall, with the pass and step that cut it; it may lie between rays, on the path of a tip."""
        least, place = math.inf, (0, 0)
        for rows in self._row_batches():
            wall = self._wall(rows)
            known = np.where(np.isnan(wall), np.inf, wall)
            row, column = np.unravel_index(int((known <= known.min() + _TIE_MM).argmax()), wall.shape)
            if known[row, column] < least - _TIE_MM:
                least, place = float(wall[row, column]), (rows.start + int(row), int(column))
        found = self.spot(*place)
        tip = min(self._tip_spots, key=lambda spot: spot.wall, default=found)
        return tip if tip.wall < found.wall - _TIE_MM else found

    @cached_property
    def _tip_spots(self) -> tuple[Spot, ...]:
        """Deepest and thinnest point on the path of each tip; none for an eccentric frame, whose path is not that of its tip."""
        return tuple(
            itertools.chain.from_iterable(
                self._spots_of_tip(each) for each in self.sweeps if each.holder.kind != "eccentric frame"
            )
        )

    def _spots_of_tip(self, sweep: Sweep) -> Iterator[Spot]:
        """Yield the deepest and the thinnest point on the path of a sweep's tip; nothing if the tip is never in the work."""
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
            wall = np.interp(down, stock.row_positions, np.broadcast_to(stock.wall[:, 0], stock.rows))
            place = np.stack([np.degrees(across), surface.profile(np.clip(down, 0, surface.length))[:, 1]], axis=-1)
        for score in (seen[:, 2], seen[:, 2] - wall):
            k = int(np.where(on_it, score.round(9), -np.inf).argmax())
            if on_it[k] and seen[k, 2] > 0:
                row = round((down[k] - stock.row_positions[0]) / stock.row_step)
                column = round((across[k] - stock.column_positions[0]) / stock.column_step) % stock.columns
                depth = float(seen[k, 2])
                where = float(place[k, 0]), float(place[k, 1])
                yield Spot(row=row, column=column, place=where, depth=depth, wall=float(wall[k]) - depth, cut=sweep.title)

    @cached_property
    def cusp(self) -> float:
        """Height of the highest ridge between two grooves, mm, above the floor of the shallower groove.

        Ridges are searched for along every row and column. Uncut surface is not a ridge, and neither is the flank of a groove
        that runs along a row or column.
        """
        highest = 0.0
        for first, lines, along_row in self._line_batches():
            heights, places, falls = _ridges(lines.ravel())
            for each in np.flatnonzero(heights > highest)[np.argsort(-heights[heights > highest])].tolist():
                number, place = divmod(int(places[each]), lines.shape[1])
                row, column = (first + number, place % self.stock.columns) if along_row else (place, first + number)
                step = self._cell_width(row) if along_row else self.stock.row_step
                if not self._is_groove_flank(row, column, along_row, float(falls[each]) / step):
                    highest = float(heights[each])
                    break
        return highest

    def _line_batches(self) -> Iterator[tuple[int, Depth, bool]]:
        """Yield the depths in batches of rows, then in batches of columns, with a zero appended to each row or column.

        A batch is a tuple: the index of its first row or column, its depths, and whether its lines are rows. On a round surface,
        each row is followed by a copy of itself, so that every ridge lies between its two floors.
        """
        twice = 1 if isinstance(self.stock.surface, Face) else 2
        for rows in self._row_batches():
            yield rows.start, np.pad(np.tile(self.depth[rows], twice), ((0, 0), (0, 1))), True
        step = max(1, _RAYS_PER_BATCH // self.stock.rows)
        for first in range(0, self.stock.columns, step):
            yield first, np.pad(self.depth[:, first : first + step].T, ((0, 0), (0, 1))), False

    def _cell_width(self, row: int) -> float:
        """Return the distance between neighbouring columns in a row, mm."""
        wide = 1.0 if isinstance(self.stock.surface, Face) else float(self.stock.profile[row, 0])
        return self.stock.column_step * wide

    def _is_groove_flank(self, row: int, column: int, along_row: bool, falls: float) -> bool:
        """Return whether a point is on the flank of a groove, not on a ridge.

        On a flank the surface rises to one side of the line, and the steeper of the two slopes across the line exceeds
        ``falls``, the slope along the line.
        """
        line, place = (self.depth[:, column], row) if along_row else (self.depth[row], column)
        step = self.stock.row_step if along_row else self._cell_width(row)
        sides = line[place::-1], line[place:]
        slopes = [_first_slope(side) / step for side in sides]
        return min(slopes) < 0 and max(map(abs, slopes)) > falls

    def spot(self, row: int | np.intp, column: int | np.intp) -> Spot:
        """Return the position, depth, remaining thickness and deepest cut of one ray."""
        row, column = int(row), int(column)
        if isinstance(self.stock.surface, Face):
            place = float(self.stock.column_positions[column]), float(self.stock.row_positions[row])
        else:
            place = math.degrees(self.stock.column_positions[column]), float(self.stock.profile[row, 1])
        depth, wall = float(self.depth[row, column]), float(self._wall(slice(row, row + 1))[0, column])
        return Spot(row=row, column=column, place=place, depth=depth, wall=wall, cut=self._deepest_cut(row, column))

    def _deepest_cut(self, row: int, column: int) -> str:
        """Return the title of the deepest cut along one ray."""
        from lobework.carve.plain import PlainBackend

        start, direction = (each[0] for each in self.stock.rays(np.array([row]), np.array([column])))
        bottom = start + float(self.depth[row, column]) * direction
        ray = self.stock.ray(row, column)
        best, title = 0.0, ""
        for sweep in self.sweeps:
            here = ray.uncut()
            PlainBackend().carve(ray, list(_nearby(sweep, bottom)), here)
            reached = float(here[0, column if ray.columns > 1 else 0])
            if reached > best + _SAME_MM:
                best, title = reached, sweep.title
        return title


def _nearby(sweep: Sweep, point: Array) -> Iterator[Sweep]:
    """Yield the stretches of a sweep in which the cutter may reach a point."""
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
    """Return the ridges between two floors along a line of depths; uncut surface is not a ridge.

    Returns
    -------
    heights : (n,) mm
        Height of each ridge above the shallower of its two neighbouring floors.
    places : (n,)
        Index of each ridge in the line.
    falls : (n,) mm per cell
        The smaller of the slopes on the two sides of each ridge.
    """
    depths = np.pad(line, 1)
    steps = np.diff(depths)
    turns = np.flatnonzero((np.abs(steps) > _ROUNDING_MM) | ((depths[1:] > _ROUNDING_MM) != (depths[:-1] > _ROUNDING_MM)))
    sinking = steps[turns] > 0
    ends = np.flatnonzero(sinking[1:] != sinking[:-1])
    floors, tops = ends[sinking[ends]], ends[~sinking[ends]]
    last, following = turns[tops], turns[tops + 1]
    height = depths[last + 1]
    floor = depths[turns[floors] + 1]
    falls = np.minimum(np.abs(steps[last]), np.abs(steps[following])) / ((following - last + 1) / 2)
    stands = height > _ROUNDING_MM
    return (np.minimum(floor[:-1], floor[1:]) - height)[stands], ((last + following - 1) // 2)[stands], falls[stands]


def _first_slope(line: Depth) -> float:
    """Return the mean slope from the start of a line of depths to its first change, mm per cell; zero if no depth changes."""
    for part in (line[:_NEAR], line):
        changes = np.flatnonzero(np.abs(part - line[0]) > _ROUNDING_MM)
        if changes.size:
            return float(line[changes[0]] - line[0]) / int(changes[0])
    return 0.0
