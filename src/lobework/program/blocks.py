"""The moves of one cut: as few straight blocks as keep to its path on the work, each in its own time."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import SettingError
from lobework.kernels.compile_when_worth import compile_when_worth
from lobework.kernels.path.polyline_fit import alike, merge
from lobework.program.timing import COMPILED_FROM, Paced, SlowDown, limits_of, paced, slow_downs
from lobework.quantities.units import MM_PER
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Axis, Controller
    from lobework.parts.feeds import Feeds
    from lobework.quantities.units import LengthUnit

__all__ = ["Blocks", "Grid", "blocks_of"]

_STRAIGHT: Final = 1e-9
"""Where every sample is this near to one even motion, mm or degrees beyond rounding, one move says it all."""
_SEEN: Final = 0.1
"""Of the tolerance: what a move may miss between two places that are looked at."""
_QUARTERS: Final = (0.25, 0.75)
"""Where a way is looked at between two places: one that bends to and fro passes through the middle."""
_MOST_THERE: Final = 0.75
"""What a bow misses there, of what it misses in its middle."""
_SHARE: Final = 0.9
"""Of what rounding leaves of the tolerance; the rest is for what is not looked at."""
_LOOKED_AT: Final = 257
_TURNED_DEG: Final = 1e-3
_FINE: Final = 4096
"""Pieces that a cut is looked at in, to see where it slows down."""
_MOST_PIECES: Final = 500_000
_MANY: Final = 50_000
_GRADED: Final = 512
"""Pieces that an even cut is looked at in."""
_ALIKE: Final = 1.06
"""How much faster one of the pieces that become one block may be than another."""
_GROWS: Final = 1.02
"""How much longer than a move the next may be."""
_LEVEL: Final = 1e-6
_QUICKEST_S: Final = 1e-3
"""The least time of a block that is only there for time."""
_MEASURED: Final = 4
"""Parts of each piece of a trace, to measure how long its path is: a chord there strays a sixteenth as far."""
_ROUNDINGS: Final = 4.0
_AT_ONCE: Final = 1e6
"""Lengths a second of a move that goes nowhere on the work."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Grid(Brief):
    """The places that words with so many decimals can say, by axis.

    Parameters
    ----------
    units : (k,) float64, mm or degrees
        The unit of each axis's words.
    places : (k,) int64
        Their decimals.
    signs : (k,) int64
        1, or -1 where the controller counts the other way: see `lobework.lathe.lathe.Axis`.
    """

    units: Array
    places: NDArray[np.int64]
    signs: NDArray[np.int64]

    @classmethod
    def of(cls, axes: Sequence[Axis], controller: Controller, units: LengthUnit) -> Grid:
        """Return the grid of some axes' words in a program that is written in ``units``."""
        slides = controller.slide_places or {"mm": 6, "inch": 7}[units]
        return cls(
            np.array([1.0 if axis.rotary else float(MM_PER[units]) for axis in axes]),
            np.array([controller.rotary_places if axis.rotary else slides for axis in axes], dtype=np.int64),
            np.array([axis.sign for axis in axes], dtype=np.int64),
        )

    @property
    def step(self) -> Array:
        """(k,) from one such place to the next, mm or degrees."""
        return self.units / 10.0**self.places

    def nearest(self, places: Array) -> Array:
        """Return the nearest of them to (n, k) places."""
        found: Array = np.rint(places / self.units * 10.0**self.places) / 10.0**self.places * self.units
        return found + 0.0

    def counts(self, places: Array, at: int | NDArray[np.int64]) -> NDArray[np.int64]:
        """Return places of one axis, or (n, m) of several, as whole numbers of their last decimal, as the controller counts."""
        found: NDArray[np.int64] = np.rint(places / self.units[at] * 10.0 ** self.places[at]).astype(np.int64) * self.signs[at]
        return found


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Blocks(Brief):
    """One cut's moves, without a stop.

    Parameters
    ----------
    seconds : (m,) float64
        That each takes.
    places : (m + 1, k) float64, mm or degrees
        Where they begin and end, as words can say it.
    slows : SlowDown or None
        Where it goes slower than was asked for.
    rate : float
        What was asked for there: turns a minute, or mm a minute over the work.
    max_deviation : float, mm
        How far they stray from the path on the work, at most.
    """

    seconds: Array
    places: Array
    slows: SlowDown | None = None
    rate: float = 0.0
    max_deviation: float = 0.0


def blocks_of(trace: Trace, axes: Sequence[Axis], feeds: Feeds, units: LengthUnit) -> Blocks:
    """Return the moves of a cut that goes somewhere.

    Parameters
    ----------
    trace : Trace
        The cut.
    axes : sequence of Axis
        What the program moves in it.
    feeds : Feeds
        The pace that is asked for, and how far the moves may stray.
    units : "mm" or "inch"
        That the program is written in.

    Raises
    ------
    SettingError
        Where words cannot say the path within the tolerance, or nothing limits the fastest pace.

    References
    ----------
    The greedy longest move within a tolerance: H. Imai, M. Iri, "Computational-geometric methods for polygonal approximations of
    a curve", Computer Vision, Graphics, and Image Processing 36 (1986), 31-41.
    """
    return _Planner(trace, axes, feeds, units).blocks()


class _Planner:
    def __init__(self, trace: Trace, axes: Sequence[Axis], feeds: Feeds, units: LengthUnit) -> None:
        self.trace, self.motion, self.feeds = trace, trace.motion, feeds
        self.axes = sorted(axes, key=lambda axis: axis.rotary)
        self.order = [self.axes.index(axis) for axis in axes]
        self.slides = sum(not axis.rotary for axis in axes)
        self.grid, self.units = Grid.of(self.axes, trace.cut.lathe.controller, units), units
        self.top, self.most = limits_of(self.axes)
        self.later = np.concatenate(([True], np.diff(trace.u) > 0))
        self.u = trace.u[self.later]
        self.goes_by_feed = not trace.cut.passed.turns
        self.places = self._places(self.u)
        self.looked_at: tuple[Array, Array] | None = None
        self.rounds = self.max_deviation = 0.0
        self.fastest = feeds.pace == "fastest" and not self.goes_by_feed
        if self.fastest:
            self._require_speeds()

    def blocks(self) -> Blocks:
        """Return the moves: those that the path asks for; more of them where time asks for more."""
        nodes, found, places = self._timed(self._path())
        asked = self._asked(nodes)
        slows = None if self.fastest else slow_downs(nodes, asked, found, self.axes)
        return Blocks(found.seconds, places[:, self.order], slows, self._rate, self.max_deviation)

    def _require_speeds(self) -> None:
        """Refuse the fastest pace where nobody said how fast an axis is."""
        for axis, moves in zip(self.axes, np.ptp(self.places, axis=0), strict=True):
            if moves and axis.top_speed == math.inf:
                raise SettingError(
                    f"pace='fastest': nobody said how fast axis {axis.letter} is, which moves {axis.moves}; give it a top_speed "
                    "in the lathe file, or ask for pace = 'spindle'"
                )

    def _places(self, u: Array) -> Array:
        moved = self.motion.axes(u)
        return np.stack([np.broadcast_to(moved[axis.moves], u.shape) for axis in self.axes], axis=-1)

    def _on_work(self, columns: Iterable[Array]) -> Array:
        return self.motion.place_of({axis.moves: column for axis, column in zip(self.axes, columns, strict=True)})

    def _path(self) -> Array:
        """Return where straight moves keep to the path, by ``u``."""
        even, rounds = _even(self.u, self.places), self._rounds()
        left = _SHARE * (self.feeds.tolerance - rounds)
        if left < _SEEN * self.feeds.tolerance:
            unit, short = float(MM_PER[self.units]), "in" if self.units == "inch" else "mm"
            least = rounds / (1 - _SEEN / _SHARE) / unit
            raise SettingError(
                f"tolerance={self.feeds.tolerance / unit:g}: must be above {least:.2g} {short}, for that is what the "
                "controller's decimals leave unsaid; raise it in [program], or the decimals in [controller]"
            )
        self.rounds = self.max_deviation = rounds
        if even:
            return self.u[[0, -1]]
        levers = self._levers()
        u = self._looked_at(levers)
        places = self._places(u)
        self.looked_at = u, self._on_work(places.T)
        kept = np.zeros(len(u), dtype=np.bool_)
        while True:
            compile_when_worth(merge, len(u), COMPILED_FROM)(u, places, levers, self.slides, left, kept)
            if self._keeps_to(u[kept], places[kept]) or kept.all():
                return u[kept]
            left *= 0.5

    def _looked_at(self, levers: Array) -> Array:
        """Return every place at which a move is held against the path: those of the trace, and as many between as it bends."""
        u, ends, off = self.u, self.places, np.zeros(len(self.u) - 1)
        for part in _QUARTERS:
            miss = np.abs(ends[:-1] + part * np.diff(ends, axis=0) - self._places(u[:-1] + part * np.diff(u))) / _MOST_THERE
            off = np.maximum(off, np.linalg.norm(miss[:, : self.slides], axis=1) + miss[:, self.slides :] @ levers[self.slides :])
        parts = 2 * np.maximum(np.ceil(np.sqrt(off / (_SEEN * self.feeds.tolerance))), 1).astype(np.int64)
        first = np.repeat(u[:-1], parts)
        within = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
        found: Array = np.append(first + within * np.repeat(np.diff(u) / parts, parts), u[-1])
        return found

    def _levers(self) -> Array:
        """Return how far the tip moves over the work for a degree of each axis that turns, at most, mm."""
        u = self.u[np.unique(np.linspace(0, len(self.u) - 1, _LOOKED_AT).astype(np.int64))]
        places = self._places(u)
        here, levers = self._on_work(places.T), np.ones(len(self.axes))
        for a in range(self.slides, len(self.axes)):
            turned = places.copy()
            turned[:, a] += _TURNED_DEG
            levers[a] = 1.05 * float(np.linalg.norm(self._on_work(turned.T) - here, axis=1).max()) / _TURNED_DEG
        return levers

    def _rounds(self) -> float:
        """Return how far words stray from what they are to say, on the work, at most, mm."""
        coarse = self.grid.step.max() > 1e-5
        levers = self._levers() if coarse else np.where(np.arange(len(self.axes)) < self.slides, 1.0, 10.0)
        half = 0.5 * self.grid.step
        return float(np.linalg.norm(half[: self.slides])) + float(half[self.slides :] @ levers[self.slides :])

    def _timed(self, path: Array) -> tuple[Array, Paced, Array]:
        """Return the moves, by ``u``, with the time of each and where they begin and end.

        Those of the path itself, where they can be taken as asked for. Otherwise, of a path that is straight in the axes, more of
        them towards its ends; of any other, moves that take about as long, each, as the next: a change of speed has no more time
        than the shorter of two moves.
        """
        if self.fastest and len(path) == 2:
            return self._set_off(path)
        fine = path if len(path) > _MANY else np.linspace(0.0, path[-1], min(max(_FINE, 8 * len(path)), _MANY) + 1)
        asked = self._asked(fine)
        if not self.fastest and asked.max() <= _ALIKE * asked.min():
            nodes, found, places = self._solved(path, self._places(path))
            if len(path) == 2 or not (found.holder >= 0).any():
                return nodes, found, places
        seconds = paced(np.diff(self._places(fine), axis=0), asked, self.top, self.most, np.diff(fine)).seconds
        when = np.concatenate([[0.0], np.cumsum(seconds)])
        gone = np.concatenate([[0.0], np.cumsum(seconds / self._durations(path, fine, when))])
        many = math.ceil(gone[-1])
        while many <= _MOST_PIECES:
            nodes = np.interp(np.linspace(0.0, gone[-1], many + 1), gone, fine)
            places = self._places(nodes)
            if self._keeps_to(nodes, places):
                return self._solved(nodes, places)
            many = 1 + many * 5 // 4
        return self._solved(path, self._places(path))

    def _durations(self, path: Array, fine: Array, when: Array) -> Array:
        """Return how long a move may take where each piece of a path is, by when its ends are passed.

        No longer than that of the path there, nor than speeds ask for that change; from move to move a little longer or shorter.
        """
        speeds = np.diff(fine) / np.diff(when)
        changes = 2 * float(np.abs(np.diff(np.log(speeds))).sum()) / math.log(_ALIKE)
        longest = when[-1] / max(1.0, min(changes, when[-1] / self._quickest()))
        block = np.searchsorted(path, fine[:-1], side="right") - 1
        asked = np.minimum(np.diff(np.interp(path, fine, when))[block], longest)
        grows = math.log(_GROWS) * 0.5 * (when[1:] + when[:-1])
        asked = np.minimum.accumulate(asked - grows) + grows
        found: Array = np.minimum.accumulate((asked + grows)[::-1])[::-1] - grows
        return found

    def _set_off(self, path: Array) -> tuple[Array, Paced, Array]:
        """Return moves along a path that is straight in the axes, short where it sets off and stops."""
        pieces = path[-1] * (0.5 - 0.5 * np.cos(np.linspace(0.0, math.pi, _GRADED + 1)))
        lengths = np.diff(pieces)
        seconds = paced(np.diff(self._places(pieces), axis=0), self._asked(pieces), self.top, self.most, lengths).seconds
        kept = np.ones(len(pieces), dtype=np.bool_)
        compile_when_worth(alike, len(seconds), COMPILED_FROM)(lengths / seconds, seconds, _ALIKE, _LEVEL, self._quickest(), kept)
        return self._solved(pieces[kept], self._places(pieces[kept]))

    def _quickest(self) -> float:
        """Return how long a move takes at least that is only there for time, s: long enough for rounding to be no jerk."""
        with np.errstate(divide="ignore"):
            noise = np.sqrt(self.grid.step / self.most)
        return max(_QUICKEST_S, _ROUNDINGS * float(noise.max(initial=0.0)))

    def _keeps_to(self, nodes: Array, places: Array) -> bool:
        """Return whether straight moves from place to place keep to the path; how far they stray is noted."""
        if self.looked_at is None:
            return True
        u, true = self.looked_at
        off = self._on_work([np.interp(u, nodes, column) for column in places.T]) - true
        self.max_deviation = math.sqrt(float(np.einsum("ij,ij->i", off, off).max())) + self.rounds
        return self.max_deviation <= self.feeds.tolerance

    def _solved(self, nodes: Array, places: Array) -> tuple[Array, Paced, Array]:
        """Return the moves between places on the path, as words say them, with the time of each."""
        places = self.grid.nearest(places)
        moves = np.diff(places, axis=0)
        stays = ~np.any(moves != 0, axis=1)
        if stays.any():
            keep = np.concatenate([[True], ~stays])
            nodes, places = nodes[keep], places[keep]
            moves = np.diff(places, axis=0)
        found = paced(moves, self._asked(nodes), self.top, self.most, np.diff(nodes))
        return nodes, found, places

    def _asked(self, nodes: Array) -> Array:
        """Return how fast each move is to go, in ``u`` a second."""
        turning = np.full(len(nodes) - 1, self.feeds.spindle_rpm / 60)
        if self.goes_by_feed or self.feeds.pace == "cutter":
            lengths = self._lengths(nodes)
            with np.errstate(divide="ignore"):
                over = np.diff(nodes) * self.feeds.feed / 60 / lengths
            if not self.goes_by_feed:
                over = np.minimum(over, turning)
            found: Array = np.where(np.isfinite(over), over, _AT_ONCE)
            return found
        return turning if self.feeds.pace == "spindle" else np.full(len(turning), math.inf)

    def _lengths(self, nodes: Array) -> Array:
        """Return how far the tip goes over the work in each move, mm: through its ends and places nearer than samples."""
        many = _MEASURED * (len(self.u) - 1)
        u = np.union1d(nodes, np.interp(np.arange(many + 1) / _MEASURED, np.arange(len(self.u)), self.u))
        steps = np.linalg.norm(np.diff(self._on_work(self._places(u).T), axis=0), axis=1)
        found: Array = np.diff(np.interp(nodes, u, np.concatenate([[0.0], np.cumsum(steps)])))
        return found

    @property
    def _rate(self) -> float:
        return self.feeds.feed if self.goes_by_feed or self.feeds.pace == "cutter" else self.feeds.spindle_rpm


def _even(u: Array, places: Array) -> bool:
    """Return whether every axis moves evenly from the first sample to the last."""
    part = ((u - u[0]) / (u[-1] - u[0]))[:, None]
    off = np.abs(places[0] + part * (places[-1] - places[0]) - places).max(axis=0)
    rounding: Array = 4 * np.finfo(np.float64).eps * np.abs(places).max(axis=0)
    return bool(np.all(off <= _STRAIGHT + rounding))
