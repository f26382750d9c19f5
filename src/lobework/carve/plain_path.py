"""A cutter's poses along its path, and the rays that it may reach there, as the plain way of carving goes through them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.surface import Face
from lobework.parts.holder import CuttingFrame, EccentricFrame

if TYPE_CHECKING:
    from lobework.carve.stock import Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.rigid import Array

__all__ = ["NODES", "Path", "Piece", "Places", "Rays", "pairs", "swung"]

Places = NDArray[np.intp]

NODES: Final = 5
"""How many places of each piece are tried before the best is looked for between them."""
_TURN_RAD: Final = 0.1
_PAIRS: Final = 30_000
_MARGIN_MM: Final = 1e-7
_LEAST_UPRIGHT: Final = 0.2


class Rays:
    """Some rays: where they start, which way they go, how far to the work's axis."""

    def __init__(self, start: Array, way: Array, most: Array) -> None:
        self.start, self.way, self.most = start, way, most

    @classmethod
    def of(cls, stock: Stock, row: Places, column: Places) -> Rays:
        """Return the rays of rows and columns."""
        start, way = stock.rays(row, column)
        if isinstance(stock.surface, Face):
            return cls(start, way, np.full(len(start), np.inf))
        inwards = np.maximum(stock.profile[row, 2], 0.0)
        with np.errstate(divide="ignore"):
            return cls(start, way, stock.profile[row, 0] / inwards)

    def __getitem__(self, which: Places) -> Rays:
        return Rays(self.start[which], self.way[which], self.most[which])


class Piece(NamedTuple):
    """Pieces of a path: which step between two of its places, and from where to where in it, 0 to 1."""

    step: Places
    begin: Array
    end: Array


class Path:
    """The poses of a cutter between the places of its path."""

    def __init__(self, sweep: Sweep, around: bool) -> None:
        count = len(sweep.tip)
        self.around = around
        first = np.arange(max(count - 1, 1))
        last = np.minimum(first + 1, count - 1)
        outward, level = np.broadcast_to(sweep.outward, (count, 3)), np.broadcast_to(sweep.level, (count, 3))
        place = sweep.tip
        if around:
            polar = np.unwrap(np.arctan2(place[:, 1], place[:, 0]))
            place = np.stack([np.hypot(place[:, 0], place[:, 1]), polar, place[:, 2]], axis=-1)
            outward, level = _about_z(-polar, outward), _about_z(-polar, level)
        self.place, self.move = place[first], place[last] - place[first]
        self.outward, self.level = outward[first], level[first]
        self.turn = _turns(outward, level, first, last)
        self.turns = bool(np.abs(self.turn).max() > 0)
        self.stands = not around and len(sweep.outward) == len(sweep.level) == 1
        self.count = count

    def places(self) -> Piece:
        """Return the places of the path alone: where each step begins, and where the last one ends."""
        place = np.arange(self.count)
        step = np.minimum(place, len(self.move) - 1)
        at = (place - step).astype(np.float64)
        return Piece(step, at, at)

    def pieces(self, finest: float) -> Piece:
        """Return the whole path in pieces a few steps of ``finest`` mm long at the most, and of little turn."""
        move = self.move * np.stack([np.ones(len(self.move)), self._scale(), np.ones(len(self.move))], axis=-1)
        turning = np.linalg.norm(self.turn, axis=-1) + (np.abs(self.move[:, 1]) if self.around else 0.0)
        long = np.linalg.norm(move, axis=-1) / ((NODES - 1) * finest)
        count = np.maximum(np.ceil(np.maximum(long, turning / _TURN_RAD)), 1).astype(np.intp)
        step = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(step)) - np.repeat(np.cumsum(count) - count, count)
        return Piece(step, number / count[step], (number + 1) / count[step])

    def _scale(self) -> Array:
        return np.maximum(self.place[:, 0], self.place[:, 0] + self.move[:, 0]) if self.around else np.ones(len(self.move))

    def laid_out(self, step: Places, t: Array) -> Array:
        """Return (n, 3) x, y, z on a face; distance from Z, polar angle and z on a round surface."""
        laid_out: Array = self.place[step] + t[:, None] * self.move[step]
        return laid_out

    def pose(self, step: Places, t: Array) -> tuple[Array, Array, Array]:
        """Return the tip, and the directions outward and level: (n, 3) each, or (1, 3) where they never change."""
        tip = self.laid_out(step, t)
        if self.stands:
            return tip, self.outward[:1], self.level[:1]
        outward, level = self.outward[step], self.level[step]
        if self.turns:
            outward, level = _turned(outward, t[:, None] * self.turn[step]), _turned(level, t[:, None] * self.turn[step])
        if self.around:
            polar = tip[:, 1]
            tip = np.stack([tip[:, 0] * np.cos(polar), tip[:, 0] * np.sin(polar), tip[:, 2]], axis=-1)
            outward, level = _about_z(polar, outward), _about_z(polar, level)
        return tip, outward, level


def _about_z(angle: Array, vectors: Array) -> Array:
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=-1)


def _turns(outward: Array, level: Array, first: Places, last: Places) -> Array:
    """Return the turn from one frame to the next: (n, 3), along the axis of the turn, rad long."""
    frame = np.stack([level, np.cross(outward, level), outward], axis=-1)
    between = frame[last] @ frame[first].transpose(0, 2, 1)
    skew = between - between.transpose(0, 2, 1)
    twice = np.stack([skew[:, 2, 1], skew[:, 0, 2], skew[:, 1, 0]], axis=-1)
    sin = np.linalg.norm(twice, axis=-1) / 2
    angle = np.arctan2(sin, (np.trace(between, axis1=1, axis2=2) - 1) / 2)
    turns: Array = twice / 2 * np.where(sin > 1e-12, angle / np.maximum(sin, 1e-12), 0.0)[:, None]
    return turns


def _turned(vectors: Array, turn: Array) -> Array:
    """Return vectors turned about axes (Rodrigues)."""
    angle = np.linalg.norm(turn, axis=-1, keepdims=True)
    axis = turn / np.maximum(angle, 1e-300)
    straight: Array = np.vecdot(axis, vectors)[:, None] * axis
    turned: Array = straight + (vectors - straight) * np.cos(angle) + np.cross(axis, vectors) * np.sin(angle)
    return turned


def pairs(stock: Stock, sweep: Sweep, path: Path, pieces: Piece) -> Iterator[tuple[float, Piece, Places, Places]]:
    """Yield rays beside the pieces that may reach them, some thousands at a time: the part done, pieces, rows, columns."""
    first_row, rows, first_column, columns = _boxes(stock, sweep, path, pieces)
    size = rows * columns
    upto = np.cumsum(size)
    for begin in range(0, int(upto[-1]), _PAIRS):
        number = np.arange(begin, min(begin + _PAIRS, int(upto[-1])))
        each = np.searchsorted(upto, number, side="right")
        number -= (upto - size)[each]
        row, column = first_row[each] + number // columns[each], (first_column[each] + number % columns[each]) % stock.columns
        work = stock.inside[row, column]
        yield min(1.0, (begin + _PAIRS) / float(upto[-1])), Piece(*(of[each[work]] for of in pieces)), row[work], column[work]


def _boxes(stock: Stock, sweep: Sweep, path: Path, pieces: Piece) -> tuple[Places, Places, Places, Places]:
    """Return the rays that the cutter may reach in each piece: the first row, how many, the first column, how many."""
    ends = [path.laid_out(pieces.step, t) for t in (pieces.begin, pieces.end)]
    low, high = np.minimum(*ends), np.maximum(*ends)
    upright = np.minimum(*(_out_of(path, pieces.step, t) for t in (pieces.begin, pieces.end))) - (
        _TURN_RAD**2 if path.turns else 0.0
    )
    leaning = np.sqrt(1 - np.clip(upright, 0.0, 1.0) ** 2)
    inner, top = (low[:, 0], _widest(stock)) if path.around else (low[:, 2], 0.0)
    aside, below = _reach(sweep, np.maximum(upright, _LEAST_UPRIGHT), leaning, top - inner)
    anywhere = upright < _LEAST_UPRIGHT
    if not path.around:
        spread = np.where(anywhere, 4 * stock.surface.radius, aside)  # type: ignore[union-attr]
        first_row, rows = _between(stock.down, low[:, 1] - spread, high[:, 1] + spread)
        first_column, columns = _between(stock.across, low[:, 0] - spread, high[:, 0] + spread)
        return first_row, rows, first_column, columns
    nearest = inner - below
    anywhere |= nearest <= 0
    beside = np.where(anywhere, np.pi, np.arctan2(aside, np.maximum(nearest, 1e-9)))
    zero = stock.across[0]
    first_column = np.floor((low[:, 1] - beside - zero) / stock.column_step).astype(np.intp)
    columns = np.minimum(
        np.ceil((high[:, 1] + beside - zero) / stock.column_step).astype(np.intp) - first_column + 1, stock.columns
    )
    first_row, rows = _rows_through(stock, np.maximum(nearest, 0.0), low[:, 2] - aside, high[:, 2] + aside, anywhere)
    return first_row, np.where(aside > 0, rows, 0), first_column, columns


def _out_of(path: Path, step: Places, t: Array) -> Array:
    """Return how far the cutter points out of the work: the part of ``outward`` along z on a face, away from Z if round."""
    tip, outward, _ = path.pose(step, t)
    if not path.around:
        return outward[:, 2]
    away: Array = (tip[:, :2] * outward[:, :2]).sum(axis=-1) / np.maximum(np.hypot(tip[:, 0], tip[:, 1]), 1e-12)
    return away


def _widest(stock: Stock) -> float:
    return float(stock.profile[:, 0].max())


def _reach(sweep: Sweep, upright: Array, leaning: Array, above: Array) -> tuple[Array, Array]:
    """Return how far the cutter stands to the side of its tip, and below it, where it is lower than ``above`` over the tip."""
    edge, holder = sweep.edge, sweep.holder
    if isinstance(holder, CuttingFrame):
        ball = np.hypot(holder.radius, edge.half_width)
        middle = holder.radius * upright
        chord = np.where(above < middle, np.sqrt(np.maximum(ball**2 - (middle - above) ** 2, 0.0)), ball)
        return holder.radius * leaning + chord, ball - middle
    off = swung(sweep)
    below = (off + edge.half_width) * leaning
    height = (above + below) / upright
    wide = np.array([edge.width_at(float(each)) / 2 for each in height])
    return np.where(height >= 0, off + wide + height * leaning, 0.0), below


def _between(places: Array, low: Array, high: Array) -> tuple[Places, Places]:
    """Return the first of evenly spaced places between two bounds, and how many."""
    margin = _MARGIN_MM
    first = np.searchsorted(places, low - margin)
    return first, np.searchsorted(places, high + margin, side="right") - first


def _rows_through(stock: Stock, nearest: Array, low: Array, high: Array, anywhere: NDArray[np.bool_]) -> tuple[Places, Places]:
    """Return the rows whose rays come, no nearer to the axis than ``nearest``, between two bounds of z."""
    radius, z, across, along = stock.profile.T
    first, rows = np.zeros(len(low), dtype=np.intp), np.zeros(len(low), dtype=np.intp)
    for part in np.array_split(np.arange(len(low)), max(1, len(low) * stock.rows // 1_000_000)):
        with np.errstate(divide="ignore"):
            longest = np.where(across > 0, (radius - nearest[part, None]) / np.maximum(across, 0.0), np.inf)
        end = z - along * longest
        passes = (longest >= 0) & (np.minimum(z, end) <= high[part, None]) & (np.maximum(z, end) >= low[part, None])
        passes |= anywhere[part, None]
        first[part] = passes.argmax(axis=1)
        rows[part] = np.where(passes.any(axis=1), stock.rows - passes[:, ::-1].argmax(axis=1) - first[part], 0)
    return first, rows


def swung(sweep: Sweep) -> float:
    """Return how far the edge's middle line stands off the axis that it revolves about, mm."""
    return sweep.holder.radius if isinstance(sweep.holder, EccentricFrame) else 0.0
