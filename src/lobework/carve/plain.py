"""The plain way of carving: every ray is met with the cutter itself, pose by pose, and the deepest pose is searched for."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.carve.backend import EVERYTHING, Ability
from lobework.edge import Arc, Slant
from lobework.holder import CuttingFrame, EccentricFrame, FixedTool
from lobework.surface import Face

if TYPE_CHECKING:
    from lobework.carve.backend import Progress
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.edge import Edge
    from lobework.rigid import Array

__all__ = ["Plain"]

Places = NDArray[np.intp]
_Outline = Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]

_NODES: Final = 5
_GOLDEN: Final = (5**0.5 - 1) / 2
_NARROWINGS: Final = 24
_TURN_RAD: Final = 0.1
_PAIRS: Final = 30_000
_TOUCHES_MM: Final = 2e-8
_LEAST_UPRIGHT: Final = 0.2
_STEPS_BACK: Final = 8
_POLISHES: Final = 8
_STARTS: Final = ((0.25, 0.75), (0.25, 0.75))


@dataclass(frozen=True, slots=True)
class Plain:
    """Plain numpy, written to be read: the judge of every faster way.

    Parameters
    ----------
    stamps : bool
        Whether to cut at the places of each path alone, and not between them. A fixed blade, which has no thickness,
        then leaves next to nothing.

    Examples
    --------
    >>> from lobework.carve.stock import stock_of
    >>> from lobework.carve.sweep import Sweep
    >>> from lobework.cutter import Vee
    >>> from lobework.piece import Disc
    >>> stock = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.5)
    >>> up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    >>> vee = Vee(angle_deg=90.0, width=3.0)
    >>> groove = Sweep(vee.edge, vee.held, np.array([[-4.0, 0.0, -0.75], [4.0, 0.0, -0.75]]), up, level)
    >>> depth = stock.uncut()
    >>> Plain().carve(stock, [groove], depth)
    >>> depth[18:23, 20].round(6).tolist()
    [0.0, 0.25, 0.75, 0.25, 0.0]
    """

    stamps: bool = False
    name: str = field(default="plain", init=False)
    says: str = field(default="numpy, slow and plain: what the others are judged by", init=False)
    can: frozenset[Ability] = field(default=EVERYTHING, init=False)

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Deepen ``depth`` in place wherever a sweep goes deeper; see `Backend.carve`."""
        for number, sweep in enumerate(sweeps):
            upright = isinstance(stock.surface, Face) and sweep.upright
            along = isinstance(sweep.held, FixedTool | CuttingFrame)
            way = (
                _stamp_upright(stock, sweep, depth) if self.stamps and upright and not along else self._sweep(stock, sweep, depth)
            )
            for part in way:
                if progress is not None:
                    progress((number + part) / len(sweeps))

    def _sweep(self, stock: Stock, sweep: Sweep, depth: Depth) -> Iterator[float]:
        """Carve one sweep, some pieces of its path at a time; say how much is done after each."""
        path = _Path(sweep, around=not isinstance(stock.surface, Face))
        pieces = path.places() if self.stamps else path.pieces(_finest(sweep.edge))
        solid = _Blade(sweep.edge) if isinstance(sweep.held, FixedTool) else _solid_of(sweep)
        for part, near, row, column in _pairs(stock, sweep, path, pieces):
            reached = _searched(path, solid, _Rays.of(stock, row, column), near)
            deeper = reached > 0
            np.maximum.at(depth, (row[deeper], column[deeper]), reached[deeper].astype(np.float32))
            yield part


def _stamp_upright(stock: Stock, sweep: Sweep, depth: Depth) -> Iterator[float]:
    """Carve one upright cutter on a face at each place of its path alone."""
    off = _swung(sweep)
    x, y, kept = stock.across, stock.down, stock.inside
    for number, (at_x, at_y, at_z) in enumerate(sweep.tip):
        if at_z < 0:
            reach = off + sweep.edge.width_at(-at_z) / 2
            left, right = np.searchsorted(x, [at_x - reach, at_x + reach])
            first, last = np.searchsorted(y, [at_y - reach, at_y + reach])
            rho = np.sqrt((x[left:right] - at_x) ** 2 + (y[first:last, None] - at_y) ** 2)
            here = depth[first:last, left:right]
            np.maximum(here, -at_z - sweep.edge.at(rho - off), out=here, where=kept[first:last, left:right], casting="same_kind")
        if number % 1024 == 0:
            yield number / len(sweep.tip)
    yield 1.0


def _swung(sweep: Sweep) -> float:
    return sweep.held.radius if isinstance(sweep.held, EccentricFrame) else 0.0


def _finest(edge: Edge) -> float:
    """Return how long a step may be, so that no part of the edge is stepped over."""
    narrowest = min(part.far - part.near for part in edge.parts)
    return max(min(edge.half_width / 16, narrowest / 2), edge.half_width / 64)


class _Rays:
    """Some rays: where they start, which way they go, how far to the work's axis."""

    def __init__(self, start: Array, way: Array, most: Array) -> None:
        self.start, self.way, self.most = start, way, most

    @classmethod
    def of(cls, stock: Stock, row: Places, column: Places) -> _Rays:
        """Return the rays of rows and columns."""
        start, way = stock.rays(row, column)
        if isinstance(stock.surface, Face):
            return cls(start, way, np.full(len(start), np.inf))
        inwards = np.maximum(stock.profile[row, 2], 0.0)
        with np.errstate(divide="ignore"):
            return cls(start, way, stock.profile[row, 0] / inwards)

    def __getitem__(self, which: Places) -> _Rays:
        return _Rays(self.start[which], self.way[which], self.most[which])


class _Piece(NamedTuple):
    """Pieces of a path: which step between two of its places, and from where to where in it, 0 to 1."""

    step: Places
    begin: Array
    end: Array


class _Path:
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

    def places(self) -> _Piece:
        """Return the places of the path alone."""
        single = not self.move.any() and len(self.move) == 1
        step = np.append(np.arange(len(self.move)), [] if single else len(self.move) - 1).astype(np.intp)
        end = np.zeros(len(step))
        end[-1] = 0.0 if single else 1.0
        return _Piece(step, end, end)

    def pieces(self, finest: float) -> _Piece:
        """Return the whole path in pieces a few steps of ``finest`` mm long at the most, and of little turn."""
        move = self.move * np.stack([np.ones(len(self.move)), self._scale(), np.ones(len(self.move))], axis=-1)
        turning = np.linalg.norm(self.turn, axis=-1) + (np.abs(self.move[:, 1]) if self.around else 0.0)
        long = np.linalg.norm(move, axis=-1) / ((_NODES - 1) * finest)
        count = np.maximum(np.ceil(np.maximum(long, turning / _TURN_RAD)), 1).astype(np.intp)
        step = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(step)) - np.repeat(np.cumsum(count) - count, count)
        return _Piece(step, number / count[step], (number + 1) / count[step])

    def _scale(self) -> Array:
        return np.maximum(self.place[:, 0], self.place[:, 0] + self.move[:, 0]) if self.around else np.ones(len(self.move))

    def laid_out(self, step: Places, t: Array) -> Array:
        """Return (n, 3) x, y, z on a face; distance from Z, polar angle and z on a round surface."""
        laid_out: Array = self.place[step] + t[:, None] * self.move[step]
        return laid_out

    def pose(self, step: Places, t: Array) -> tuple[Array, Array, Array]:
        """Return the tip, and the directions outward and level: (n, 3) each."""
        tip = self.laid_out(step, t)
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
    straight: Array = (axis * vectors).sum(axis=-1, keepdims=True) * axis
    turned: Array = straight + (vectors - straight) * np.cos(angle) + np.cross(axis, vectors) * np.sin(angle)
    return turned


def _pairs(stock: Stock, sweep: Sweep, path: _Path, pieces: _Piece) -> Iterator[tuple[float, _Piece, Places, Places]]:
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
        yield min(1.0, (begin + _PAIRS) / float(upto[-1])), _Piece(*(of[each[work]] for of in pieces)), row[work], column[work]


def _boxes(stock: Stock, sweep: Sweep, path: _Path, pieces: _Piece) -> tuple[Places, Places, Places, Places]:
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
    first_column = np.floor((low[:, 1] - beside) / stock.column_step).astype(np.intp)
    columns = np.minimum(np.ceil((high[:, 1] + beside) / stock.column_step).astype(np.intp) - first_column + 1, stock.columns)
    first_row, rows = _rows_through(stock, np.maximum(nearest, 0.0), low[:, 2] - aside, high[:, 2] + aside, anywhere)
    return first_row, np.where(aside > 0, rows, 0), first_column, columns


def _out_of(path: _Path, step: Places, t: Array) -> Array:
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
    edge, held = sweep.edge, sweep.held
    if isinstance(held, CuttingFrame):
        ball = np.hypot(held.radius, edge.half_width)
        middle = held.radius * upright
        chord = np.where(above < middle, np.sqrt(np.maximum(ball**2 - (middle - above) ** 2, 0.0)), ball)
        return held.radius * leaning + chord, ball - middle
    swung = _swung(sweep)
    below = (swung + edge.half_width) * leaning
    height = (above + below) / upright
    wide = np.array([edge.width_at(float(each)) / 2 for each in height])
    return np.where(height >= 0, swung + wide + height * leaning, 0.0), below


def _between(places: Array, low: Array, high: Array) -> tuple[Places, Places]:
    """Return the first of evenly spaced places between two bounds, and how many."""
    margin = _TOUCHES_MM
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


class _Line(NamedTuple):
    """A straight part of an outline: from (r, y), in a unit direction, so long."""

    r: float
    y: float
    dr: float
    dy: float
    long: float


class _Circle(NamedTuple):
    """A round part of an outline: about (r, y), between near and far on both sides of the line to its middle (dr, dy)."""

    r: float
    y: float
    radius: float
    dr: float
    dy: float
    near: float
    far: float


@dataclass(frozen=True, slots=True)
class _Solid:
    """A solid of revolution: the outline of its half, r from its axis and y along it."""

    lines: tuple[_Line, ...]
    circles: tuple[_Circle, ...]
    edge: Edge
    swung: float
    frame: CuttingFrame | None

    def axis(self, tip: Array, outward: Array, level: Array) -> tuple[Array, Array]:
        """Return the origin of r and y, and the direction of the axis, in poses."""
        if self.frame is None:
            return tip, outward
        angle = np.radians(self.frame.angle_deg)
        return tip + self.frame.radius * outward, np.cos(angle) * np.cross(outward, level) - np.sin(angle) * level

    def holds(self, r: Array, y: Array) -> NDArray[np.bool_]:
        """Return whether places are in it."""
        if self.frame is None:
            return y >= self.edge.at(r - self.swung)
        return r <= self.frame.radius - self.edge.at(y)

    def depth(self, rays: _Rays, tip: Array, outward: Array, level: Array) -> Array:
        """Return how deep rays go until they leave the solid for good, mm: -inf where they miss it."""
        origin, axis = self.axis(tip, outward, level)
        base = ((tip - rays.start) * rays.way).sum(axis=-1)
        off = rays.start + base[:, None] * rays.way - origin
        meeting = _Meeting.of(off, rays.way, axis)
        most = rays.most - base
        ends = np.isfinite(most)
        ends[ends] = self.holds(*(of[ends] for of in meeting.at(np.where(ends, most, 0.0))))
        deepest: Array = np.where(ends, most, -np.inf)
        for line in self.lines:
            for found in meeting.with_line(line):
                deepest = np.where((found > deepest) & (found <= most), found, deepest)
        for circle in self.circles:
            for found in meeting.with_sphere(circle) if circle.r == 0 else meeting.with_ring(circle):
                deepest = np.where((found > deepest) & (found <= most), found, deepest)
        deepest += base
        return deepest


def _solid_of(sweep: Sweep) -> _Solid:
    """Return the solid that the edge describes as it revolves."""
    edge, held = sweep.edge, sweep.held
    if isinstance(held, CuttingFrame):
        outline = [_outline_in_frame(edge, held.radius, side) for side in (1, -1)]
        frame = held
    else:
        outline = [_outline_about_outward(edge, _swung(sweep), side) for side in (1, -1)]
        frame = None
    parts = [part for half in outline for part in half]
    lines = tuple(part for part in parts if isinstance(part, _Line))
    circles = tuple(dict.fromkeys(part for part in parts if isinstance(part, _Circle)))
    return _Solid(lines, circles, edge, _swung(sweep), frame)


def _outline_about_outward(edge: Edge, swung: float, side: int) -> Iterator[_Line | _Circle]:
    """Yield the parts of the edge on one side of its middle line, which stands ``swung`` mm off the axis."""
    for part in edge.parts:
        if isinstance(part, Arc):
            yield _Circle(swung, part.centre, part.radius, 0.0, -1.0, part.near, part.far)
        else:
            ends = ((swung + side * r, part.low + part.rise * (r - part.near)) for r in (part.near, part.far))
            yield from _line(*ends)
    if swung + side * edge.half_width >= 0:
        yield _Line(swung + side * edge.half_width, edge.height, 0.0, 1.0, np.inf)


def _outline_in_frame(edge: Edge, radius: float, side: int) -> Iterator[_Line | _Circle]:
    """Yield the parts of the edge on one side of its middle line, as a frame of this radius swings it."""
    for part in edge.parts:
        if isinstance(part, Arc):
            yield _Circle(radius - part.centre, 0.0, part.radius, 1.0, 0.0, part.near, part.far)
        else:
            ends = ((radius - part.low - part.rise * (r - part.near), side * r) for r in (part.near, part.far))
            yield from _line(*ends)
    yield from _line((0.0, side * edge.half_width), (radius - edge.height, side * edge.half_width))


def _line(a: tuple[float, float], b: tuple[float, float]) -> Iterator[_Line]:
    """Yield the part of a line that is on the outline's side of the axis, if any is."""
    (r0, y0), (r1, y1) = sorted((a, b))
    if r1 < 0 or a == b:
        return
    if r0 < 0:
        r0, y0 = 0.0, y0 + (y1 - y0) * -r0 / (r1 - r0)
    long = float(np.hypot(r1 - r0, y1 - y0))
    if long > 0:
        yield _Line(r0, y0, (r1 - r0) / long, (y1 - y0) / long, long)


@dataclass(frozen=True, slots=True)
class _Meeting:
    """Rays seen from an axis: y = y + e * climb, r^2 = square * e^2 + 2 * cross * e + off, e mm from where they start."""

    y: Array
    climb: Array
    square: Array
    cross: Array
    off: Array

    @classmethod
    def of(cls, start: Array, way: Array, axis: Array) -> _Meeting:
        y, climb = (start * axis).sum(axis=-1), (way * axis).sum(axis=-1)
        flat, moves = start - y[:, None] * axis, way - climb[:, None] * axis
        return cls(y, climb, (moves * moves).sum(axis=-1), (flat * moves).sum(axis=-1), (flat * flat).sum(axis=-1))

    def at(self, e: Array) -> tuple[Array, Array]:
        """Return r and y."""
        return np.sqrt(np.maximum((self.square * e + 2 * self.cross) * e + self.off, 0.0)), self.y + self.climb * e

    def with_line(self, line: _Line) -> Iterator[Array]:
        """Yield where rays meet a cone, cylinder or plane within the line's ends; -inf where they do not."""
        with np.errstate(divide="ignore", invalid="ignore"):
            start, gain = line.dy * line.r + line.dr * (self.y - line.y), line.dr * self.climb
            if line.dy == 0:
                roots: tuple[Array, ...] = ((line.y - self.y) / self.climb,)
            else:
                square, turned = line.dy**2 * self.square - gain**2, line.dy**2 * self.cross - start * gain
                roots = _roots(square, turned, line.dy**2 * self.off - start**2)
            for e in roots:
                r, y = self.at(e)
                along = line.dr * (r - line.r) + line.dy * (y - line.y)
                this_side_of_the_apex = (start + gain * e) * line.dy >= -1e-12
                hits = (along >= -_TOUCHES_MM) & (along <= line.long + _TOUCHES_MM) & this_side_of_the_apex
                yield np.where(hits & np.isfinite(e), e, -np.inf)

    def with_sphere(self, circle: _Circle) -> Iterator[Array]:
        """Yield where rays meet a sphere within the circle's ends."""
        lift = self.y - circle.y
        with np.errstate(divide="ignore", invalid="ignore"):
            for e in _roots(np.ones_like(lift), self.cross + lift * self.climb, self.off + lift**2 - circle.radius**2):
                yield np.where(self._ends_within(circle, e), e, -np.inf)

    def _ends_within(self, circle: _Circle, e: Array) -> NDArray[np.bool_]:
        r, y = self.at(e)
        r, y = r - circle.r, y - circle.y
        middle, side = r * circle.dr + y * circle.dy, np.abs(r * circle.dy - y * circle.dr)
        hits: NDArray[np.bool_] = (
            (middle >= -_TOUCHES_MM) & (side >= circle.near - _TOUCHES_MM) & (side <= circle.far + _TOUCHES_MM)
        )
        return hits & (np.abs(np.hypot(r, y) - circle.radius) < 10 * _TOUCHES_MM)

    def with_ring(self, circle: _Circle) -> Iterator[Array]:
        """Yield where rays meet a ring within the circle's ends: back from beyond it, no further than it is away."""
        lift, bound = self.y - circle.y, abs(circle.r) + circle.radius
        with np.errstate(invalid="ignore", divide="ignore"):
            near, far = np.sort(_roots(np.ones_like(lift), self.cross + lift * self.climb, self.off + lift**2 - bound**2), axis=0)
            e = far
            for _ in range(_STEPS_BACK):
                e = e - _away(circle, *self.at(e))
            for _ in range(_POLISHES):
                r, y = self.at(e)
                away = np.hypot(r - circle.r, y - circle.y)
                slope = ((r - circle.r) * (self.square * e + self.cross) / r + (y - circle.y) * self.climb) / away
                e = e - np.clip((away - circle.radius) / slope, -circle.radius / 4, circle.radius / 4)
            yield np.where((e >= near - _TOUCHES_MM) & self._ends_within(circle, e), e, -np.inf)


def _away(circle: _Circle, r: Array, y: Array) -> Array:
    """Return how far places are from the round part of an outline."""
    r, y = r - circle.r, y - circle.y
    middle, side = r * circle.dr + y * circle.dy, np.abs(r * circle.dy - y * circle.dr)
    away = np.hypot(middle, side)
    ends = [np.hypot(middle - np.sqrt(max(circle.radius**2 - at**2, 0.0)), side - at) for at in (circle.near, circle.far)]
    beside = (middle >= 0) & (side * circle.radius >= circle.near * away) & (side * circle.radius <= circle.far * away)
    distance: Array = np.where(beside, np.abs(away - circle.radius), np.minimum(*ends))
    return distance


def _roots(a: Array, b: Array, c: Array) -> tuple[Array, Array]:
    """Return the roots of a x^2 + 2 b x + c: nan where there are none."""
    under = b * b - a * c
    root = np.sqrt(np.where((under < 0) & (under > -1e-13 * b * b), 0.0, under))
    q = -(b + np.copysign(root, b))
    return q / a, c / q


@dataclass(frozen=True, slots=True)
class _Blade:
    """A fixed tool: flat, in the plane of outward and level."""

    edge: Edge

    def depth(self, rays: _Rays, tip: Array, outward: Array, level: Array) -> Array:
        """Return how deep rays go until they meet the blade in poses, mm: -inf where they miss it, or run along it."""
        across = np.cross(outward, level)
        climb = (rays.way * across).sum(axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            deep = ((tip - rays.start) * across).sum(axis=-1) / climb
        meets = np.isfinite(deep) & (deep <= rays.most)
        place = rays.start + np.where(meets, deep, 0.0)[:, None] * rays.way - tip
        meets &= (place * outward).sum(axis=-1) >= self.edge.at((place * level).sum(axis=-1))
        return np.where(meets, deep, -np.inf)

    def swept(self, path: _Path, rays: _Rays, pieces: _Piece) -> Array:
        """Return how deep rays go until they meet what the blade's edge and sides sweep over in a piece, mm."""
        square = np.cross(rays.way, np.where(np.abs(rays.way[:, [2]]) < 0.8, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]]))
        planes = np.stack([square, np.cross(rays.way, square)], axis=1)
        deepest = np.full(len(rays.start), -np.inf)
        for part, side, first in itertools.product((*self.edge.parts, None), (1.0, -1.0), itertools.product(*_STARTS)):
            found = self._met(
                path, rays, pieces, planes, partial(self._outline, part, side), first, np.inf if part is None else 1 + 1e-9
            )
            deepest = np.maximum(deepest, found)
        return deepest

    def _outline(self, part: Slant | Arc | None, side: float, at: Array) -> tuple[Array, Array]:
        """Return places of a part of the edge, or of the side above it: across and height, ``at`` from 0 to 1 along it."""
        if part is None:
            return np.full_like(at, side * self.edge.half_width), self.edge.height + at
        if isinstance(part, Slant):
            r = part.near + at * (part.far - part.near)
            return side * r, part.low + part.rise * (r - part.near)
        first, last = np.arcsin(part.near / part.radius), np.arcsin(min(part.far / part.radius, 1.0))
        angle = first + at * (last - first)
        return side * part.radius * np.sin(angle), part.centre - part.radius * np.cos(angle)

    def _met(
        self, path: _Path, rays: _Rays, pieces: _Piece, planes: Array, outline: _Outline, first: tuple[float, float], last: float
    ) -> Array:
        """Return where rays meet the surface that a part of the outline sweeps over, by Newton's way from one start."""
        long = pieces.end - pieces.begin
        at, of = np.full(len(long), first[0]), np.full(len(long), first[1])

        def off(at: Array, of: Array) -> Array:
            tip, outward, level = path.pose(pieces.step, pieces.begin + of * long)
            across, height = outline(at)
            place: Array = tip + across[:, None] * level + height[:, None] * outward - rays.start
            return place

        with np.errstate(all="ignore"):
            for _ in range(_POLISHES):
                miss = np.matvec(planes, off(at, of))
                by_at, by_of = (
                    np.matvec(planes, off(at + a, of + b) - off(at - a, of - b)) / 2e-4 for a, b in ((1e-4, 0.0), (0.0, 1e-4))
                )
                det = by_at[:, 0] * by_of[:, 1] - by_at[:, 1] * by_of[:, 0]
                at = at - np.clip((miss[:, 0] * by_of[:, 1] - miss[:, 1] * by_of[:, 0]) / det, -9.0, 9.0)
                of = of - np.clip((miss[:, 1] * by_at[:, 0] - miss[:, 0] * by_at[:, 1]) / det, -1.0, 1.0)
            place = off(at, of)
            meets = (
                (np.linalg.norm(np.matvec(planes, place), axis=-1) < _TOUCHES_MM)
                & (at >= -1e-9)
                & (at <= last)
                & (of >= -1e-9)
                & (of <= 1 + 1e-9)
            )
            deep = (place * rays.way).sum(axis=-1)
            return np.where(meets & (deep <= rays.most), deep, -np.inf)


def _searched(path: _Path, solid: _Solid | _Blade, rays: _Rays, pieces: _Piece) -> Array:
    """Return the greatest depth at which each ray is met in its piece: tried at nodes, then narrowed down about the best."""

    def tried(which: Places) -> Callable[[Array], Array]:
        near, step = rays[which], pieces.step[which]
        return lambda t: solid.depth(near, *path.pose(step, t))

    every = tried(np.arange(len(rays.start)))
    if (pieces.begin == pieces.end).all():
        return every(pieces.begin)
    t = pieces.begin[:, None] + (pieces.end - pieces.begin)[:, None] * np.linspace(0, 1, _NODES)
    t = np.sort(np.concatenate([t, _passing(path, rays, pieces, t)[:, None]], axis=1), axis=1)
    found = np.stack([every(node) for node in t.T], axis=1)
    deepest: Array = found.max(axis=1)
    around = np.pad(found, ((0, 0), (1, 1)), constant_values=-np.inf)
    tops = (found >= around[:, :-2]) & (found >= around[:, 2:]) & (found > -np.inf)
    which, node = np.nonzero(tops)
    best, step = t[which, node], ((pieces.end - pieces.begin) / (_NODES - 1))[which]
    low, high = np.maximum(best - step, pieces.begin[which]), np.minimum(best + step, pieces.end[which])
    np.maximum.at(deepest, which, _narrowed(tried(which), low, best, high, found[which, node]))
    return np.maximum(deepest, solid.swept(path, rays, pieces)) if isinstance(solid, _Blade) else deepest


def _narrowed(depth: Callable[[Array], Array], low: Array, best: Array, high: Array, found: Array) -> Array:
    """Return the greatest depth between two bounds, by golden sections about the best place so far."""
    for _ in range(_NARROWINGS):
        up = high - best > best - low
        probe = best + (1 - _GOLDEN) * np.where(up, high - best, low - best)
        reached = depth(probe)
        better = reached > found
        bound = np.where(better, best, probe)
        low, high = np.where(up == better, bound, low), np.where(up == better, high, bound)
        best, found = np.where(better, probe, best), np.where(better, reached, found)
    return found


def _passing(path: _Path, rays: _Rays, pieces: _Piece, t: Array) -> Array:
    """Return where in each piece the tip passes nearest to the ray: the foot of a parabola through three places."""
    ends = t[:, 0], t[:, _NODES // 2], t[:, -1]
    apart = []
    for at in ends:
        tip = path.pose(pieces.step, at)[0]
        off = tip - rays.start
        apart.append(((off - (off * rays.way).sum(axis=-1, keepdims=True) * rays.way) ** 2).sum(axis=-1))
    bend, tilt = apart[0] - 2 * apart[1] + apart[2], apart[2] - apart[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        foot = np.clip(np.where(bend > 0, -tilt / (2 * bend), 0.0), -1.0, 1.0)
    passing: Array = ends[1] + foot * (ends[2] - ends[0]) / 2
    return passing
