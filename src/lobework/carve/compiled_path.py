"""Input of the carving kernels: the rays of a stock, the path of a cutter divided into pieces, and the cutter's edge."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.geometry.cutter_edge import ArcSegment, LineSegment
from lobework.geometry.surface import Face

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.ray_blade import Body
    from lobework.kernels.sweep.rays import Rays
    from lobework.kernels.sweep.tiles import Grid

__all__ = [
    "FACE_CELLS",
    "JOINED_MM",
    "SOLID_CELLS",
    "Pieces",
    "bodies_of",
    "edge_parts",
    "grid_of",
    "pieces_of",
    "rays_of",
    "slant_parts",
    "steps_at_once",
    "stretches",
]

JOINED_MM: Final = 4e-5
"""Greatest deviation of a piece from the steps that it replaces, mm: a fiftieth of the deviation of the steps from the path."""
_JOIN_SIZES: Final = 16, 8, 4
_MOST_BOW: Final = 0.03
_AT_ONCE: Final = 1 << 14
FACE_CELLS: Final = 1 << 26
SOLID_CELLS: Final = 1 << 23
"""Sum, over the steps of a batch, of the cells that each reaches: less than one second of work between progress reports."""
_FEWEST: Final = 64
_CORNER: Final = 1e-9


def grid_of(stock: Stock) -> Grid:
    """Return the positions of the cells of a stock's face, in the layout of the kernels."""
    from lobework.kernels.sweep.tiles import Grid

    return Grid(float(stock.column_positions[0]), float(stock.row_positions[0]), stock.column_step, stock.row_step)


def rays_of(stock: Stock) -> Rays:
    """Return the rays of a stock in the layout of the kernels.

    >>> from lobework.carve.stock import stock_of
    >>> from lobework.parts.piece import Barrel
    >>> row = rays_of(stock_of(Barrel(diameter=10.0, length=9.0), resolution=0.5)).rows[2]
    >>> [round(float(row[name]), 3) for name in ("radius", "z", "normal_r", "normal_z", "axis_depth")]
    [5.0, -1.0, 1.0, 0.0, 5.0]
    """
    from lobework.kernels.records import zeros
    from lobework.kernels.sweep.rays import Band, Column, Rays, Row
    from lobework.kernels.sweep.tiles import PATCH, SIDE

    row_count, column_count = (-(-count // SIDE) * SIDE for count in stock.shape)
    rows, bands, columns = zeros(Row, row_count), zeros(Band, row_count // PATCH), zeros(Column, column_count)
    row_start, column_start = float(stock.row_positions[0]), float(stock.column_positions[0])
    column = stock.column_positions[0] + np.arange(column_count) * stock.column_step
    middle_of = column + (PATCH - 1) / 2 * stock.column_step
    if isinstance(stock.surface, Face):
        row = stock.row_positions[0] + np.arange(row_count) * stock.row_step
        rows["y"], rows["axis_depth"] = row, np.inf
        bands["y"] = row[::PATCH] + (PATCH - 1) / 2 * stock.row_step
        columns["x"], columns["middle_x"] = column, middle_of
        columns["spread"] = (PATCH - 1) / 2 * math.hypot(stock.row_step, stock.column_step)
        return Rays(rows, bands, columns, row_start, stock.row_step, column_start, stock.column_step, False, True)
    last = np.minimum(np.arange(row_count), stock.rows - 1)
    profile, rows["axis_depth"] = stock.profile[last], stock.to_axis[last]
    four = profile.reshape(-1, PATCH, 4)
    middle = (four.min(axis=1) + four.max(axis=1)) / 2
    for number, name in enumerate(("radius", "z", "normal_r", "normal_z")):
        rows[name], bands[name] = profile[:, number], middle[:, number]
    off = np.abs(four - middle[:, None]).max(axis=1)
    bands["spread"], bands["spread_per_mm"] = np.hypot(off[:, 0], off[:, 1]), np.hypot(off[:, 2], off[:, 3])
    columns["cosine"], columns["sine"] = np.cos(column), np.sin(column)
    columns["middle_cosine"], columns["middle_sine"] = np.cos(middle_of), np.sin(middle_of)
    columns["spread"] = (PATCH - 1) / 2 * stock.column_step
    straight = stock.surface.straight
    return Rays(rows, bands, columns, row_start, stock.row_step, column_start, stock.column_step, straight, False)


class Pieces(NamedTuple):
    """A batch of pieces of a path.

    On a round surface, the axes turn about Z with the tip: x is radial, y tangential. On a face, the axes are those of the work.
    ``done`` is the fraction of the path that is done after the batch. ``polar`` is the polar angle of the x axis at the start of
    each piece, and ``swept`` the change of this angle over the piece, rad. ``tips``, (n, 3) mm, and ``frames``, (n, 3, 3), are
    the tip and the frame of the cutter at the start, the middle and the end of each piece. The columns of a frame are level,
    across and outward.
    """

    done: float
    polar: Array
    swept: Array
    tips: tuple[Array, Array, Array]
    frames: tuple[Array, Array, Array]


def steps_at_once(stock: Stock, sweep: Sweep, cells: int, most: int = _AT_ONCE) -> int:
    """Return the number of steps of a path to carve together; the more cells of the grid each step reaches, the fewer.

    Parameters
    ----------
    stock, sweep : Stock, Sweep
        Stock to carve, and sweep that carves the stock.
    cells : int
        Greatest sum, over the steps, of the cells that each reaches.
    most : int
        Greatest number of steps.

    Examples
    --------
    >>> from lobework.carve.stock import stock_of
    >>> from lobework.carve.sweep import Sweep
    >>> from lobework.parts.cutter import Vee
    >>> from lobework.parts.piece import Barrel
    >>> vee, stock = Vee(angle_deg=90.0, width=3.0), stock_of(Barrel(diameter=40.0, length=40.0), resolution=0.02)
    >>> groove = Sweep(vee.edge, vee.holder, np.zeros((2, 3)), np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]]))
    >>> steps_at_once(stock, groove, 1 << 22), steps_at_once(stock, groove, 1 << 30)
    (186, 16384)
    """
    face = isinstance(stock.surface, Face)
    cell = stock.row_step * stock.column_step * (1.0 if face else float(stock.profile[:, 0].max()))
    width = 2 * sweep.edge.half_width
    reach = width * (width + 2 * getattr(sweep.holder, "radius", 0.0))
    return int(min(max(cells * cell / max(reach, 1e-12), _FEWEST), most))


def pieces_of(
    sweep: Sweep,
    around: bool,
    turn: float,
    longest: float = math.inf,
    reach: float = math.inf,
    turn_times_length: float = math.inf,
    at_once: int = _AT_ONCE,
) -> Iterator[Pieces]:
    """Yield the pieces of a path, in batches of some thousands.

    Parameters
    ----------
    sweep : Sweep
        Sweep with the path. A step without motion gives no piece; a path of one point, or without any motion, gives one piece.
    around : bool
        Whether polar angle, distance from Z and z vary linearly between two points of the path; if false, x, y and z do.
    turn, longest : float
        Greatest turn of a piece, rad, and greatest length of a piece, mm.
    reach : float, mm
        Greatest distance of a point of the cutter from the tip. Short steps are joined into one curved piece if no point within
        this distance is displaced by more than `JOINED_MM`. If ``reach`` is infinite, no steps are joined.
    turn_times_length : float, mm
        Greatest product of the length of a piece and its turn in rad; this product bounds the deviation of the piece from a
        straight line, in the cutter's axes.
    at_once : int
        Greatest number of steps that are processed together.

    Examples
    --------
    >>> from lobework.parts.cutter import Vee
    >>> from lobework.carve.sweep import Sweep
    >>> vee = Vee(angle_deg=90.0, width=3.0)
    >>> up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    >>> groove = Sweep(vee.edge, vee.holder, np.array([[-4.0, 0.0, -0.75], [4.0, 0.0, -0.75]]), up, level)
    >>> [len(some.polar) for some in pieces_of(groove, around=False, turn=0.02, longest=2.0)]
    [4]
    """
    total = max(len(sweep.tip) - 1, 1)
    for first in range(0, total, at_once):
        samples = _Samples(sweep, around, slice(first, min(first + at_once, total) + 1))
        way = samples.steps(turn, longest, reach)
        count = way.counts(turn, longest, turn_times_length)
        every = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(every)) - np.repeat(np.cumsum(count) - count, count)
        for some in range(0, len(every), _AT_ONCE):
            step, nth = every[some : some + _AT_ONCE], number[some : some + _AT_ONCE]
            begin, end = nth / count[step], (nth + 1) / count[step]
            low, middle, high = (way.at(step, t) for t in (begin, (begin + end) / 2, end))
            yield Pieces(
                (first + float(way.after[step[-1]])) / total,
                way.polar[step] + begin * way.swept[step],
                (end - begin) * way.swept[step],
                (low[0], middle[0], high[0]),
                (low[1], middle[1], high[1]),
            )


class _Steps(NamedTuple):
    """Steps of a path, some of them joined, in the axes of `Pieces`.

    ``after`` is the index of the sample at the end of each step. ``polar``, ``place`` and ``frame`` are the polar angle, the
    position of the tip and the frame of the cutter at the start of the step; ``swept``, ``move`` and the rotation vector ``turn``
    are the changes of these three over the step. In the middle of the step, the tip is off the straight line by a quarter of
    ``bow``.
    """

    after: NDArray[np.intp]
    polar: Array
    swept: Array
    place: Array
    move: Array
    bow: Array
    frame: Array
    turn: Array

    def counts(self, most: float, longest: float, turn_times_length: float) -> NDArray[np.intp]:
        """Return the number of pieces of each step: zero if the step has no motion; if none has any, one for the first."""
        turns, goes = (np.linalg.norm(each, axis=-1) for each in (self.turn, self.move))
        turned = np.maximum(np.abs(self.swept), turns)
        length = np.hypot(goes, self.place[:, 0] * np.abs(self.swept))
        parts = np.maximum(np.maximum(turned / most, length / longest), np.sqrt(turns * goes / turn_times_length))
        count: NDArray[np.intp] = np.ceil(parts).astype(np.intp)
        still = (turned == 0) & (length == 0)
        return np.where(still, 0, np.maximum(count, 1)) if not still.all() else (np.arange(len(length)) == 0).astype(np.intp)

    def at(self, step: NDArray[np.intp], t: Array) -> tuple[Array, Array]:
        """Return the tip, (n, 3), and the frame (columns level, across, outward), (n, 3, 3), at the fractions ``t`` of steps."""
        turn = t[:, None] * self.turn[step]
        frame = np.stack([_rotated(self.frame[step, :, k], turn) for k in range(3)], axis=-1)
        return self.place[step] + t[:, None] * (self.move[step] + (1 - t)[:, None] * self.bow[step]), frame


class _Samples:
    """Samples of a path, in the axes of `Pieces`: polar angle, tip, and frame of the cutter."""

    def __init__(self, sweep: Sweep, around: bool, places: slice) -> None:
        tip = sweep.tip[places]
        outward, level = (
            np.broadcast_to(ways[places] if len(ways) > 1 else ways, (len(tip), 3)) for ways in (sweep.outward, sweep.level)
        )
        if len(tip) == 1:
            tip, outward, level = (np.repeat(each, 2, axis=0) for each in (tip, outward, level))
        self.polar = np.arctan2(tip[:, 1], tip[:, 0]) if around else np.zeros(len(tip))
        self.place = np.stack([np.hypot(tip[:, 0], tip[:, 1]), 0 * self.polar, tip[:, 2]], axis=-1) if around else tip
        self.swept = (np.diff(self.polar) + math.pi) % (2 * math.pi) - math.pi
        outward, level = _about_z(-self.polar, outward), _about_z(-self.polar, level)
        self.frame = np.stack([level, np.cross(outward, level), outward], axis=-1)

    def steps(self, turn: float, longest: float, reach: float) -> _Steps:
        """Return the steps between the samples; consecutive steps are joined where the tolerance allows."""
        count = len(self.swept)
        unjoined = np.ones(count, dtype=bool)
        first, size = np.arange(count), np.ones(count, dtype=np.intp)
        bow = np.zeros((count, 3))
        for many in _JOIN_SIZES if math.isfinite(reach) else ():
            block = np.arange(0, count - many + 1, many)
            block = block[unjoined[block[:, None] + np.arange(many)].all(axis=-1)]
            bows, joins = self._fit_joined(block, many, turn, longest, reach)
            block = block[joins]
            bow[block], size[block] = bows[joins], many
            unjoined[block[:, None] + np.arange(many)] = False
            first[block[:, None] + np.arange(1, many)] = -1
        first = first[first >= 0]
        after = first + size[first]
        swept = np.concatenate([[0.0], np.cumsum(self.swept)])
        return _Steps(
            after,
            self.polar[first],
            np.where(size[first] == 1, self.swept[first], swept[after] - swept[first]),
            self.place[first],
            self.place[after] - self.place[first],
            bow[first],
            self.frame[first],
            _rotations_between(self.frame[first], self.frame[after]),
        )

    def _fit_joined(self, first: NDArray[np.intp], many: int, most: float, longest: float, reach: float) -> tuple[Array, Array]:
        """Return the bow, (n, 3), of one step in place of the ``many`` steps after each ``first`` sample, and whether it fits."""
        every = first[:, None] + np.arange(many + 1)
        place, frame = self.place[every], self.frame[every]
        turned, moved = self.swept[every[:, :-1]], np.diff(place, axis=1)
        radius = place[:, :1, 0]
        around = np.cumsum(turned, axis=1)
        length = np.cumsum(np.hypot(np.linalg.norm(moved, axis=-1), radius * np.abs(turned)), axis=1)
        by_angle = np.abs(around[:, -1:]) * radius > 0.01 * length[:, -1:]
        with np.errstate(invalid="ignore", divide="ignore"):
            t = np.where(by_angle, around / around[:, -1:], length / length[:, -1:])
        steps = np.diff(t, axis=1, prepend=0.0)
        goes_on = (steps > 0).all(axis=1)
        t = np.where(goes_on[:, None], t, np.linspace(0.0, 1.0, many + 1)[1:])[:, :, None]
        off = place[:, 1:] - place[:, :1] - t * (place[:, -1:] - place[:, :1])
        bow = off[:, many // 2 - 1] / (t * (1 - t))[:, many // 2 - 1]
        off -= t * (1 - t) * bow[:, None]
        turn = _rotations_between(frame[:, 0], frame[:, -1])
        apart = np.linalg.norm(off, axis=-1) + (radius + reach) * np.abs(around - t[:, :, 0] * around[:, -1:])
        for k in range(3):
            frame_deviation = frame[:, 1:, :, k] - _rotated(frame[:, :1, :, k], t * turn[:, None])
            apart += reach * np.linalg.norm(frame_deviation, axis=-1)
        bends, turns = np.linalg.norm(bow, axis=-1), np.linalg.norm(turn, axis=-1)
        between = steps.max(axis=1) ** 2 * (bends / 4 + reach * turns**2 / 8)
        fits = goes_on & (apart.max(axis=1) + between <= JOINED_MM) & (bends <= _MOST_BOW * length[:, -1])
        return bow, fits & (np.maximum(np.abs(around[:, -1]), turns) <= most) & (length[:, -1] <= longest)


def _about_z(angle: Array, vectors: Array) -> Array:
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=-1)


def _rotations_between(from_frames: Array, to_frames: Array) -> Array:
    """Return the rotations from the frames ``from_frames`` to the frames ``to_frames``, as rotation vectors, (n, 3) rad."""
    between = to_frames @ from_frames.transpose(0, 2, 1)
    twice = np.stack(
        [between[:, 2, 1] - between[:, 1, 2], between[:, 0, 2] - between[:, 2, 0], between[:, 1, 0] - between[:, 0, 1]], -1
    )
    sin = np.linalg.norm(twice, axis=-1) / 2
    angle = np.arctan2(sin, (np.trace(between, axis1=1, axis2=2) - 1) / 2)
    turns: Array = twice / 2 * np.where(sin > 1e-12, angle / np.maximum(sin, 1e-12), 0.0)[:, None]
    return turns


def _rotated(vectors: Array, turn: Array) -> Array:
    """Return vectors turned by rotation vectors (Rodrigues' formula)."""
    angle = np.linalg.norm(turn, axis=-1, keepdims=True)
    axis = turn / np.maximum(angle, 1e-300)
    along = (axis * vectors).sum(axis=-1, keepdims=True) * axis
    turned: Array = along + (vectors - along) * np.cos(angle) + np.cross(axis, vectors) * np.sin(angle)
    return turned


def edge_parts(edge: Edge) -> EdgeParts:
    """Return the parts of an edge, (k,), in the layout of the kernels.

    >>> from lobework.parts.cutter import Vee
    >>> parts = edge_parts(Vee(angle_deg=90.0, width=3.0).edge)
    >>> [parts[name].round(6).tolist() for name in ("near", "far", "low", "rise")]
    [[0.0], [1.5], [0.0], [1.0]]
    """
    return _records(edge.parts)


def slant_parts(edge: Edge, within: float) -> EdgeParts:
    """Return an edge in the layout of the kernels; straight parts replace its arcs with an error of at most ``within``, mm."""
    return _records(edge.chords(within))


def _records(parts: Sequence[LineSegment | ArcSegment]) -> EdgeParts:
    from lobework.kernels.records import zeros
    from lobework.kernels.sweep.edge_parts import EdgePart

    records = zeros(EdgePart, len(parts))
    for name in ("near", "far"):
        records[name] = [getattr(part, name) for part in parts]
    records["is_arc"] = [isinstance(part, ArcSegment) for part in parts]
    lines = [part if isinstance(part, LineSegment) else None for part in parts]
    records["low"] = [line.low if line else 0.0 for line in lines]
    records["rise"] = [line.slope if line else 0.0 for line in lines]
    arcs = [part if isinstance(part, ArcSegment) else None for part in parts]
    for name in ("centre", "radius"):
        records[name] = [getattr(arc, name) if arc else 0.0 for arc in arcs]
    return records


def stretches(edge: Edge) -> Iterator[tuple[int, int]]:
    """Yield the convex stretches of an edge: the index of the first part of each, and the index after its last part.

    Within a convex stretch, the slope never decreases outwards.

    >>> from lobework.geometry.cutter_edge import Edge
    >>> list(stretches(Edge.through(((0.0, 0.0), (1.0, 0.0), (2.0, 1.0), (3.0, 1.0)))))
    [(0, 2), (2, 3)]
    """
    parts = edge.parts
    breaks = [
        k for k in range(1, len(parts)) if _slope(parts[k], parts[k].near) < _slope(parts[k - 1], parts[k - 1].far) - _CORNER
    ]
    yield from itertools.pairwise([0, *breaks, len(parts)])


def _slope(part: LineSegment | ArcSegment, r: float) -> float:
    """Return the slope of a part ``r`` mm from the centre line."""
    if isinstance(part, LineSegment):
        return part.slope
    under = (part.radius - r) * (part.radius + r)
    return r / math.sqrt(under) if under > 0 else math.inf


def bodies_of(edge: Edge) -> Records[Body]:
    """Return the convex stretches of an edge as bodies: first part, last part and side.

    The stretch at the centre line is one body with side 0, which means both sides. Every other stretch is two bodies, one on each
    side: 1 and -1.

    >>> from lobework.parts.cutter import Vee
    >>> bodies_of(Vee(angle_deg=90.0, width=3.0).edge).tolist()
    [(0, 0, 0)]
    """
    from lobework.kernels.records import zeros
    from lobework.kernels.sweep.ray_blade import Body

    found = [(first, after - 1, side) for first, after in stretches(edge) for side in ((0,) if first == 0 else (1, -1))]
    bodies = zeros(Body, len(found))
    bodies["first"], bodies["last"], bodies["side"] = zip(*found, strict=True)
    return bodies
