"""What the compiled way's kernels are given: the rays of a stock, a cutter's path in pieces, and its edge."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.edge import Arc, Slant
from lobework.surface import Face

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Stock
    from lobework.carve.sweep import Sweep
    from lobework.edge import Edge
    from lobework.rigid import Array

__all__ = ["Pieces", "Rays", "bodies_of", "edge_rows", "pieces_of", "stretches"]

_AT_ONCE: Final = 1 << 14
_CORNER: Final = 1e-9


class Rays(NamedTuple):
    """The rays of a stock, in whole patches and tiles: as `lobework.kernels.sweep_tool.carve_tool` takes them."""

    rays: Array
    bands: Array
    turns: Array
    steps: tuple[float, float, float, bool]
    grid: Array
    on_face: bool

    @classmethod
    def of(cls, stock: Stock) -> Rays:
        """Return them.

        >>> from lobework.carve.stock import stock_of
        >>> from lobework.piece import Barrel
        >>> Rays.of(stock_of(Barrel(diameter=10.0, length=9.0), resolution=0.5)).rays[2].round(3).tolist()
        [5.0, -1.0, 1.0, 0.0, 5.0]
        """
        from lobework.kernels.tiles import PATCH, SIDE

        rows, columns = (-(-count // SIDE) * SIDE for count in stock.shape)
        column = stock.across[0] + np.arange(columns) * stock.column_step
        middle_of = column + (PATCH - 1) / 2 * stock.column_step
        grid = np.array([stock.across[0], stock.down[0], stock.column_step, stock.row_step])
        if isinstance(stock.surface, Face):
            row = stock.down[0] + np.arange(rows) * stock.row_step
            rays = np.column_stack([row, np.zeros((rows, 3)), np.full(rows, np.inf)])
            bands = np.column_stack([row[::PATCH] + (PATCH - 1) / 2 * stock.row_step, np.zeros((rows // PATCH, 5))])
            off = (PATCH - 1) / 2 * math.hypot(stock.row_step, stock.column_step)
            turns = np.column_stack([column, 0 * column, middle_of, 0 * column, np.full(columns, off)])
            return cls(rays, bands, turns, (0.0, 0.0, 0.0, False), grid, True)
        profile = stock.profile[np.minimum(np.arange(rows), stock.rows - 1)]
        with np.errstate(divide="ignore"):
            axis = profile[:, 0] / np.maximum(profile[:, 2], 0.0)
        four = profile.reshape(-1, PATCH, 4)
        middle = (four.min(axis=1) + four.max(axis=1)) / 2
        off = np.abs(four - middle[:, None]).max(axis=1)
        bands = np.column_stack([middle, np.hypot(off[:, 0], off[:, 1]), np.hypot(off[:, 2], off[:, 3])])
        turns = np.stack([np.cos(column), np.sin(column), np.cos(middle_of), np.sin(middle_of)], axis=-1)
        turns = np.column_stack([turns, np.full(columns, (PATCH - 1) / 2 * stock.column_step)])
        steps = stock.row_step, stock.column_step, float(stock.across[0]), stock.surface.straight
        return cls(np.column_stack([profile, axis]), bands, turns, steps, grid, False)


class Pieces(NamedTuple):
    """Some pieces of a path, as the radius through its tip where each begins sees them; on a face, as x, y and z do.

    The part of the path done with them; the polar angle of that radius and how far it turns, rad; and where each piece begins,
    in its middle and where it ends, the tip, (n, 3) mm, and the frame of level, across and outward, (n, 3, 3).
    """

    done: float
    polar: Array
    swept: Array
    tips: tuple[Array, Array, Array]
    frames: tuple[Array, Array, Array]


def pieces_of(sweep: Sweep, around: bool, turn: float, longest: float = math.inf) -> Iterator[Pieces]:
    """Yield a path in pieces that turn no more than ``turn`` rad and are no longer than ``longest`` mm, some thousands at a time.

    Parameters
    ----------
    sweep : Sweep
        Of one place, which gives one piece that goes nowhere, or more. Steps that go nowhere give none.
    around : bool
        Whether the path goes round Z, so that it is straight in polar angle, distance from Z and z.
    turn, longest : float
        Of a piece.

    Examples
    --------
    >>> from lobework.cutter import Vee
    >>> from lobework.carve.sweep import Sweep
    >>> vee = Vee(angle_deg=90.0, width=3.0)
    >>> up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    >>> groove = Sweep(vee.edge, vee.held, np.array([[-4.0, 0.0, -0.75], [4.0, 0.0, -0.75]]), up, level)
    >>> [len(some.polar) for some in pieces_of(groove, around=False, turn=0.02, longest=2.0)]
    [4]
    """
    total = max(len(sweep.tip) - 1, 1)
    for first in range(0, total, _AT_ONCE):
        way = _Way(sweep, around, slice(first, min(first + _AT_ONCE, total) + 1))
        count = way.counts(turn, longest)
        every = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(every)) - np.repeat(np.cumsum(count) - count, count)
        for some in range(0, len(every), _AT_ONCE):
            step, nth = every[some : some + _AT_ONCE], number[some : some + _AT_ONCE]
            begin, end = nth / count[step], (nth + 1) / count[step]
            low, middle, high = (way.at(step, t) for t in (begin, (begin + end) / 2, end))
            yield Pieces(
                (first + float(step[-1]) + 1) / total,
                way.polar[step] + begin * way.swept[step],
                (end - begin) * way.swept[step],
                (low[0], middle[0], high[0]),
                (low[1], middle[1], high[1]),
            )


class _Way:
    """A path's steps as the radius through its own tip sees them: polar angle and place, and the frame of the cutter."""

    def __init__(self, sweep: Sweep, around: bool, places: slice) -> None:
        tip = sweep.tip[places]
        outward, level = (
            np.broadcast_to(ways[places] if len(ways) > 1 else ways, (len(tip), 3)) for ways in (sweep.outward, sweep.level)
        )
        if len(tip) == 1:
            tip, outward, level = (np.repeat(each, 2, axis=0) for each in (tip, outward, level))
        polar = np.arctan2(tip[:, 1], tip[:, 0]) if around else np.zeros(len(tip))
        self.place = np.stack([np.hypot(tip[:, 0], tip[:, 1]), 0 * polar, tip[:, 2]], axis=-1) if around else tip
        self.polar = polar[:-1]
        self.swept = (np.diff(polar) + math.pi) % (2 * math.pi) - math.pi
        self.move = np.diff(self.place, axis=0)
        outward, level = _about_z(-polar, outward), _about_z(-polar, level)
        self.frame = np.stack([level, np.cross(outward, level), outward], axis=-1)
        self.turn = _turns(self.frame)

    def counts(self, most: float, longest: float) -> NDArray[np.intp]:
        """Return into how many pieces to cut each step; none for a step that goes nowhere."""
        turned = np.maximum(np.abs(self.swept), np.linalg.norm(self.turn, axis=-1))
        long = np.hypot(np.linalg.norm(self.move, axis=-1), self.place[:-1, 0] * np.abs(self.swept))
        count: NDArray[np.intp] = np.ceil(np.maximum(turned / most, long / longest)).astype(np.intp)
        still = (turned == 0) & (long == 0)
        return np.where(still, 0, np.maximum(count, 1)) if not still.all() else (np.arange(len(long)) == 0).astype(np.intp)

    def at(self, step: NDArray[np.intp], t: Array) -> tuple[Array, Array]:
        """Return (n, 3) and (n, 3, 3): the tip, and level, across and outward, t of a step done."""
        turn = t[:, None] * self.turn[step]
        frame = np.stack([_turned(self.frame[step, :, k], turn) for k in range(3)], axis=-1)
        return self.place[step] + t[:, None] * self.move[step], frame


def _about_z(angle: Array, vectors: Array) -> Array:
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=-1)


def _turns(frames: Array) -> Array:
    """Return the turn from each frame to the next: (n - 1, 3), along its axis, rad long."""
    between = frames[1:] @ frames[:-1].transpose(0, 2, 1)
    twice = np.stack(
        [between[:, 2, 1] - between[:, 1, 2], between[:, 0, 2] - between[:, 2, 0], between[:, 1, 0] - between[:, 0, 1]], -1
    )
    sin = np.linalg.norm(twice, axis=-1) / 2
    angle = np.arctan2(sin, (np.trace(between, axis1=1, axis2=2) - 1) / 2)
    turns: Array = twice / 2 * np.where(sin > 1e-12, angle / np.maximum(sin, 1e-12), 0.0)[:, None]
    return turns


def _turned(vectors: Array, turn: Array) -> Array:
    """Return vectors turned about axes (Rodrigues' formula)."""
    angle = np.linalg.norm(turn, axis=-1, keepdims=True)
    axis = turn / np.maximum(angle, 1e-300)
    along = (axis * vectors).sum(axis=-1, keepdims=True) * axis
    turned: Array = along + (vectors - along) * np.cos(angle) + np.cross(axis, vectors) * np.sin(angle)
    return turned


def edge_rows(edge: Edge) -> Array:
    """Return (k, 5) float64, an edge as `lobework.kernels.sweep_blade` takes it.

    >>> from lobework.cutter import Vee
    >>> edge_rows(Vee(angle_deg=90.0, width=3.0).edge).round(6).tolist()
    [[0.0, 1.5, 0.0, 0.0, 1.0]]
    """
    rows = [
        (part.near, part.far, 1.0, part.centre, part.radius)
        if isinstance(part, Arc)
        else (part.near, part.far, 0.0, part.low, part.rise)
        for part in edge.parts
    ]
    return np.array(rows, dtype=np.float64)


def stretches(edge: Edge) -> Iterator[tuple[int, int]]:
    """Yield the stretches of an edge that do not bend inwards: its first part, and the one after its last.

    >>> from lobework.edge import Edge
    >>> list(stretches(Edge.through(((0.0, 0.0), (1.0, 0.0), (2.0, 1.0), (3.0, 1.0)))))
    [(0, 2), (2, 3)]
    """
    parts = edge.parts
    breaks = [k for k in range(1, len(parts)) if _rise(parts[k], parts[k].near) < _rise(parts[k - 1], parts[k - 1].far) - _CORNER]
    yield from itertools.pairwise([0, *breaks, len(parts)])


def _rise(part: Slant | Arc, r: float) -> float:
    """Return how steep a part is, r mm from the middle line."""
    if isinstance(part, Slant):
        return part.rise
    under = (part.radius - r) * (part.radius + r)
    return r / math.sqrt(under) if under > 0 else math.inf


def bodies_of(edge: Edge) -> NDArray[np.int32]:
    """Return the stretches of an edge that do not bend inwards: first and last part, and 0 for both sides, or 1 and -1.

    >>> from lobework.cutter import Vee
    >>> bodies_of(Vee(angle_deg=90.0, width=3.0).edge).tolist()
    [[0, 0, 0]]
    """
    bodies = [(first, after - 1, side) for first, after in stretches(edge) for side in ((0,) if first == 0 else (1, -1))]
    return np.array(bodies, dtype=np.int32)
