"""The plain way of carving: every ray is met with the cutter itself, pose by pose, and the deepest pose is searched for."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.backend import EVERYTHING, Ability
from lobework.carve.plain_cutter import Blade, Solid
from lobework.carve.plain_path import NODES, Path, Piece, Places, Rays, pairs, swung
from lobework.geometry.surface import Face
from lobework.parts.holder import CuttingFrame, FixedTool

if TYPE_CHECKING:
    from lobework.carve.backend import Progress
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array

__all__ = ["PlainBackend"]

_GOLDEN: Final = (5**0.5 - 1) / 2
_NARROWINGS: Final = 24
_DOUBT: Final = 0.1
_CLOSER: Final = 3


@dataclass(frozen=True, slots=True)
class PlainBackend:
    """Plain numpy, written to be read: the judge of every faster way.

    A ray is tried at places a sixteenth of the cutter's half width apart, or nearer, then searched about the best of them. Where
    it may be met only between two of these, it is also tried where it passes nearest to each part of the cutter.

    Parameters
    ----------
    stamps : bool
        Whether to cut at the places of each path alone, and not between them. A fixed blade, which has no thickness,
        then leaves next to nothing.
    name, description, can : as in `Backend`
        Not to be given.

    Examples
    --------
    >>> from lobework.carve.stock import stock_of
    >>> from lobework.carve.sweep import Sweep
    >>> from lobework.parts.cutter import Vee
    >>> from lobework.parts.piece import Disc
    >>> stock = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.5)
    >>> up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    >>> vee = Vee(angle_deg=90.0, width=3.0)
    >>> groove = Sweep(vee.edge, vee.holder, np.array([[-4.0, 0.0, -0.75], [4.0, 0.0, -0.75]]), up, level)
    >>> depth = stock.uncut()
    >>> PlainBackend().carve(stock, [groove], depth)
    >>> depth[18:23, 20].round(6).tolist()
    [0.0, 0.25, 0.75, 0.25, 0.0]
    """

    stamps: bool = False
    name: str = field(default="plain", init=False)
    description: str = field(default="numpy, slow and plain: what the others are judged by", init=False)
    can: frozenset[Ability] = field(default=EVERYTHING, init=False)

    def carve(self, stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Progress | None = None) -> None:
        """Deepen ``depth`` in place wherever a sweep goes deeper; see `Backend.carve`."""
        for number, sweep in enumerate(sweeps):
            stands = isinstance(stock.surface, Face) and sweep.upright and not isinstance(sweep.holder, FixedTool | CuttingFrame)
            carve = _stamped if self.stamps and stands else self._swept
            for part in itertools.chain(carve(stock, sweep, depth), (1.0,)):
                if progress is not None:
                    progress((number + part) / len(sweeps))

    def _swept(self, stock: Stock, sweep: Sweep, depth: Depth) -> Iterator[float]:
        """Carve one sweep, some pieces of its path at a time; say how much is done after each."""
        path = Path(sweep, around=not isinstance(stock.surface, Face))
        pieces = path.places() if self.stamps else path.pieces(_finest(sweep.edge))
        solid = Blade(sweep.edge) if isinstance(sweep.holder, FixedTool) else Solid.of(sweep)
        for part, near, row, column in pairs(stock, sweep, path, pieces):
            reached = _searched(path, solid, Rays.of(stock, row, column), near)
            deeper = reached > 0
            np.maximum.at(depth, (row[deeper], column[deeper]), reached[deeper].astype(np.float32))
            yield part


def _finest(edge: Edge) -> float:
    """Return how long a step may be, so that no part of the edge is stepped over."""
    narrowest = min(part.far - part.near for part in edge.parts)
    return max(min(edge.half_width / 16, narrowest / 2), edge.half_width / 64)


def _searched(path: Path, solid: Solid | Blade, rays: Rays, pieces: Piece) -> Array:
    """Return the greatest depth at which each ray is met in its piece: tried at nodes, then narrowed down about the best."""

    def tried(which: Places) -> Callable[[Array], Array]:
        near, step = rays[which], pieces.step[which]
        return lambda t: solid.depth(near, *path.pose(step, t))

    every = tried(np.arange(len(rays.start)))
    if (pieces.begin == pieces.end).all():
        return every(pieces.begin)
    t = pieces.begin[:, None] + (pieces.end - pieces.begin)[:, None] * np.linspace(0, 1, NODES)
    t = np.sort(np.concatenate([t, _passing(path, rays, pieces, t)[:, None]], axis=1), axis=1)
    found = np.stack([every(node) for node in t.T], axis=1)
    deepest: Array = found.max(axis=1)
    around = np.pad(found, ((0, 0), (1, 1)), constant_values=-np.inf)
    tops = (found >= around[:, :-2]) & (found >= around[:, 2:]) & (found > -np.inf)
    which, node = np.nonzero(tops)
    best, step = t[which, node], ((pieces.end - pieces.begin) / (NODES - 1))[which]
    low, high = np.maximum(best - step, pieces.begin[which]), np.minimum(best + step, pieces.end[which])
    np.maximum.at(deepest, which, _narrowed(tried(which), low, best, high, found[which, node]))
    if isinstance(solid, Solid):
        which, best = _touched(path, solid, rays, pieces)
        part = (pieces.end - pieces.begin)[which] / (NODES - 1)
        low, high = np.maximum(best - part, pieces.begin[which]), np.minimum(best + part, pieces.end[which])
        np.maximum.at(deepest, which, _narrowed(tried(which), low, best, high, tried(which)(best)))
    return np.maximum(deepest, solid.swept(path, rays, pieces)) if isinstance(solid, Blade) else deepest


def _touched(path: Path, solid: Solid, rays: Rays, pieces: Piece) -> tuple[Places, Array]:
    """Return the rays that may meet a solid only between two nodes, each with the place in its piece where they would.

    Rays are looked at where they pass through none of a solid's parts at the ends of a piece and in its middle, but a parabola
    through what they miss by has its top between, no lower than what it may be wrong by as the path turns.
    """

    def through(which: Places, t: Array) -> Array:
        return solid.through(rays[which], *path.pose(pieces.step[which], t))

    long = pieces.end - pieces.begin
    every = np.arange(len(long))
    ends = [through(every, pieces.begin + part * long) for part in (0.0, 0.5, 1.0)]
    foot, top = _parabola(*ends)
    doubt = _DOUBT * (np.max(ends, axis=0) - np.min(ends, axis=0))
    which, part = np.nonzero((np.max(ends, axis=0) < 0) & (np.abs(foot) < 1) & (top > -doubt))
    middle, wide = (pieces.begin + pieces.end)[which] / 2 + foot[which, part] * long[which] / 2, long[which] / 2
    for _ in range(_CLOSER):
        wide = wide / 8
        ends = [through(which, middle + side * wide)[np.arange(len(which)), part] for side in (-1, 0, 1)]
        foot, _ = _parabola(*ends)
        middle = np.clip(middle + np.clip(np.nan_to_num(foot), -8, 8) * wide, pieces.begin[which], pieces.end[which])
    return which, middle


def _parabola(before: Array, here: Array, after: Array) -> tuple[Array, Array]:
    """Return where the parabola through three values, one apart, has its top, and how high: not a number if it has none."""
    bend, tilt = before - 2 * here + after, (after - before) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(bend < 0, -tilt / bend, np.nan), here - np.where(bend < 0, tilt**2 / (2 * bend), np.nan)


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


def _passing(path: Path, rays: Rays, pieces: Piece, t: Array) -> Array:
    """Return where in each piece the tip passes nearest to the ray: the foot of a parabola through three places."""
    ends = t[:, 0], t[:, NODES // 2], t[:, -1]
    apart = []
    for at in ends:
        tip = path.pose(pieces.step, at)[0]
        off = tip - rays.start
        apart.append(np.linalg.vector_norm(off - np.vecdot(off, rays.way)[:, None] * rays.way, axis=-1) ** 2)
    bend, tilt = apart[0] - 2 * apart[1] + apart[2], apart[2] - apart[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        foot = np.clip(np.where(bend > 0, -tilt / (2 * bend), 0.0), -1.0, 1.0)
    passing: Array = ends[1] + foot * (ends[2] - ends[0]) / 2
    return passing


def _stamped(stock: Stock, sweep: Sweep, depth: Depth) -> Iterator[float]:
    """Carve one upright cutter on a face at each place of its path alone."""
    off = swung(sweep)
    x, y, kept = stock.across, stock.down, stock.inside
    for number, (at_x, at_y, at_z) in enumerate(sweep.tip):
        if at_z < 0:
            reach = off + sweep.edge.width_at(-at_z) / 2
            left, first = np.searchsorted(x, at_x - reach), np.searchsorted(y, at_y - reach)
            right, last = np.searchsorted(x, at_x + reach, side="right"), np.searchsorted(y, at_y + reach, side="right")
            rho = np.sqrt((x[left:right] - at_x) ** 2 + (y[first:last, None] - at_y) ** 2)
            here = depth[first:last, left:right]
            np.maximum(here, -at_z - sweep.edge.at(rho - off), out=here, where=kept[first:last, left:right], casting="same_kind")
        if number % 1024 == 0:
            yield number / len(sweep.tip)
