"""The moves of one cut: few straight blocks within the tolerance of its path on the work, each with its duration."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import SettingError
from lobework.kernels.compile_when_worth import compile_when_worth
from lobework.kernels.path.polyline_fit import merge, merge_similar_blocks
from lobework.program.timing import COMPILED_FROM, BlockTimes, SlowDown, block_times, limits_of, slow_downs
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

_UNIFORM: Final = 1e-9
"""Greatest deviation of samples from a uniform motion, mm or degrees, besides rounding; within it, one move is enough."""
_BETWEEN_SHARE: Final = 0.1
"""Allowed deviation of a move between two neighbouring check points, as a fraction of the tolerance."""
_BOW_POINTS: Final = (0.25, 0.75)
"""Points of an interval at which the path is compared with its chord; an S-shaped path crosses the chord at the middle."""
_BOW_SHARE: Final = 0.75
"""Deviation of a circular arc from its chord at `_BOW_POINTS`, relative to the deviation at the middle."""
_SHARE: Final = 0.9
"""Allowed deviation at check points, as a fraction of the tolerance less rounding; the rest is kept for points between them."""
_LEVER_SAMPLES: Final = 257
_LEVER_STEP_DEG: Final = 1e-3
_FEWEST_PIECES: Final = 4096
"""Least number of pieces in which a cut is timed, to find the stretches where the cut slows down."""
_MOST_PIECES: Final = 500_000
_MANY_PIECES: Final = 50_000
_GRADED_PIECES: Final = 512
"""Number of pieces in which a cut of uniform motion is timed."""
_SPEED_RATIO: Final = 1.06
"""Greatest ratio of the speeds of pieces that are merged into one block."""
_DURATION_RATIO: Final = 1.02
"""Greatest ratio of the durations of consecutive moves."""
_SPEED_NOISE: Final = 1e-6
"""Relative difference of speeds that is neglected."""
_SHORTEST_S: Final = 1e-3
"""Least duration of a block that is added only for its timing."""
_SUBDIVISIONS: Final = 4
"""Subdivisions of each interval of a trace when the length of its path is measured; this reduces chord errors to a sixteenth."""
_ROUNDING_FACTOR: Final = 4.0
"""Factor on the duration in which a rounding step takes the whole acceleration of an axis."""
_UNLIMITED: Final = 1e6
"""Target speed, in ``u`` per second, of a move that does not move the tip on the work."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Grid(Brief):
    """Positions of the axes that can be represented at the precision of the program.

    Parameters
    ----------
    units : (k,) float64, mm or degrees
        Unit in which the positions of each axis are written.
    decimals : (k,) int64
        Number of decimals of each axis.
    signs : (k,) int64
        1, or -1 if the controller counts in the opposite direction: see `lobework.lathe.lathe.Axis`.
    """

    units: Array
    decimals: NDArray[np.int64]
    signs: NDArray[np.int64]

    @classmethod
    def of(cls, axes: Sequence[Axis], controller: Controller, units: LengthUnit) -> Grid:
        """Return the grid of the given axes in a program that is written in ``units``."""
        slides = controller.slide_places or {"mm": 6, "inch": 7}[units]
        return cls(
            np.array([1.0 if axis.rotary else float(MM_PER[units]) for axis in axes]),
            np.array([controller.rotary_places if axis.rotary else slides for axis in axes], dtype=np.int64),
            np.array([axis.sign for axis in axes], dtype=np.int64),
        )

    @property
    def step(self) -> Array:
        """The distance between neighbouring positions of each axis, (k,) mm or degrees."""
        return self.units / 10.0**self.decimals

    def nearest(self, places: Array) -> Array:
        """Return (n, k) positions rounded to the grid."""
        found: Array = np.rint(places / self.units * 10.0**self.decimals) / 10.0**self.decimals * self.units
        return found + 0.0

    def counts(self, places: Array, at: int | NDArray[np.int64]) -> NDArray[np.int64]:
        """Return positions of the axis or axes ``at`` as whole multiples of the last decimal, with the sign of the controller."""
        found: NDArray[np.int64] = np.rint(places / self.units[at] * 10.0 ** self.decimals[at]).astype(np.int64) * self.signs[at]
        return found


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Blocks(Brief):
    """The moves of one cut, without a stop between two moves.

    Parameters
    ----------
    seconds : (m,) float64
        Duration of each move.
    places : (m + 1, k) float64, mm or degrees
        Start of the first move, then the end of each move, rounded to the precision of the program.
    slows : SlowDown or None
        Stretch in which the cut is slower than its target speed.
    rate : float
        The target speed: turns a minute, or mm a minute over the work.
    max_deviation : float, mm
        Greatest distance of the moves from the path on the work.
    """

    seconds: Array
    places: Array
    slows: SlowDown | None = None
    rate: float = 0.0
    max_deviation: float = 0.0


def blocks_of(trace: Trace, axes: Sequence[Axis], feeds: Feeds, units: LengthUnit) -> Blocks:
    """Return the moves of one cut; at least one axis must move in the cut.

    Parameters
    ----------
    trace : Trace
        The cut.
    axes : sequence of Axis
        Axes that the program moves in the cut.
    feeds : Feeds
        The target speed and the tolerance.
    units : "mm" or "inch"
        Unit of lengths in the program.

    Raises
    ------
    SettingError
        If the decimals of the program are too few for the tolerance, or no axis limits the speed at the fastest pace.

    References
    ----------
    The greedy choice of the longest move within a tolerance: H. Imai, M. Iri, "Computational-geometric methods for polygonal
    approximations of a curve", Computer Vision, Graphics, and Image Processing 36 (1986), 31-41.
    """
    return _Planner(trace, axes, feeds, units).blocks()


class _Planner:
    """The computation of `blocks_of`."""

    def __init__(self, trace: Trace, axes: Sequence[Axis], feeds: Feeds, units: LengthUnit) -> None:
        self.trace, self.motion, self.feeds = trace, trace.motion, feeds
        self.axes = sorted(axes, key=lambda axis: axis.rotary)
        self.order = [self.axes.index(axis) for axis in axes]
        self.slides = sum(not axis.rotary for axis in axes)
        self.grid, self.units = Grid.of(self.axes, trace.cut.lathe.controller, units), units
        self.top, self.most = limits_of(self.axes)
        self.later = np.concatenate(([True], np.diff(trace.u) > 0))
        self.u = trace.u[self.later]
        self.at_feed = not trace.cut.passed.turns
        self.places = self._places(self.u)
        self.checked: tuple[Array, Array] | None = None
        self.rounding_error = self.max_deviation = 0.0
        self.fastest = feeds.pace == "fastest" and not self.at_feed
        if self.fastest:
            self._require_speeds()

    def blocks(self) -> Blocks:
        """Return the moves that the tolerance requires, and further moves if the timing requires more."""
        nodes, found, places = self._timed(self._nodes())
        target = self._target_speeds(nodes)
        slows = None if self.fastest else slow_downs(nodes, target, found, self.axes)
        return Blocks(found.seconds, places[:, self.order], slows, self._rate, self.max_deviation)

    def _require_speeds(self) -> None:
        """Raise `SettingError` if an axis that moves has no top speed."""
        for axis, moves in zip(self.axes, np.ptp(self.places, axis=0), strict=True):
            if moves and axis.top_speed == math.inf:
                raise SettingError(
                    f"pace='fastest': axis {axis.letter}, which moves {axis.moves}, has no top_speed",
                    remedy="give it a top_speed in the lathe file, or use pace = 'spindle'",
                )

    def _places(self, u: Array) -> Array:
        """Return the positions of the axes, (n, k), at (n,) values of ``u``."""
        moved = self.motion.axes(u)
        return np.stack([np.broadcast_to(moved[axis.moves], u.shape) for axis in self.axes], axis=-1)

    def _on_work(self, columns: Iterable[Array]) -> Array:
        """Return the tip on the work, (n, 3) mm, for positions of the axes, one column for each axis."""
        return self.motion.place_of({axis.moves: column for axis, column in zip(self.axes, columns, strict=True)})

    def _nodes(self) -> Array:
        """Return the ends, by ``u``, of straight moves that stay within the tolerance of the path."""
        uniform, rounding_error = _is_uniform(self.u, self.places), self._rounding_error()
        left = _SHARE * (self.feeds.tolerance - rounding_error)
        if left < _BETWEEN_SHARE * self.feeds.tolerance:
            unit, short = float(MM_PER[self.units]), "in" if self.units == "inch" else "mm"
            least = rounding_error / (1 - _BETWEEN_SHARE / _SHARE) / unit
            raise SettingError(
                name="tolerance",
                given=f"{self.feeds.tolerance / unit:g}",
                must_be=f"above {least:.2g} {short}, the rounding error of the controller's decimals",
                remedy="raise the tolerance in [program], or the number of decimals in [controller]",
            )
        self.rounding_error = self.max_deviation = rounding_error
        if uniform:
            return self.u[[0, -1]]
        levers = self._levers()
        u = self._check_points(levers)
        places = self._places(u)
        self.checked = u, self._on_work(places.T)
        kept = np.zeros(len(u), dtype=np.bool_)
        while True:
            compile_when_worth(merge, len(u), COMPILED_FROM)(u, places, levers, self.slides, left, kept)
            if self._within_tolerance(u[kept], places[kept]) or kept.all():
                return u[kept]
            left *= 0.5

    def _check_points(self, levers: Array) -> Array:
        """Return the points at which moves are compared with the path: the points of the trace, and more where the path bends."""
        u, ends, off = self.u, self.places, np.zeros(len(self.u) - 1)
        for part in _BOW_POINTS:
            miss = np.abs(ends[:-1] + part * np.diff(ends, axis=0) - self._places(u[:-1] + part * np.diff(u))) / _BOW_SHARE
            off = np.maximum(off, np.linalg.norm(miss[:, : self.slides], axis=1) + miss[:, self.slides :] @ levers[self.slides :])
        parts = 2 * np.maximum(np.ceil(np.sqrt(off / (_BETWEEN_SHARE * self.feeds.tolerance))), 1).astype(np.int64)
        first = np.repeat(u[:-1], parts)
        within = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
        found: Array = np.append(first + within * np.repeat(np.diff(u) / parts, parts), u[-1])
        return found

    def _levers(self) -> Array:
        """Return the greatest displacement of the tip on the work per degree of each rotary axis, mm; 1 for a slide."""
        u = self.u[np.unique(np.linspace(0, len(self.u) - 1, _LEVER_SAMPLES).astype(np.int64))]
        places = self._places(u)
        here, levers = self._on_work(places.T), np.ones(len(self.axes))
        for a in range(self.slides, len(self.axes)):
            turned = places.copy()
            turned[:, a] += _LEVER_STEP_DEG
            levers[a] = 1.05 * float(np.linalg.norm(self._on_work(turned.T) - here, axis=1).max()) / _LEVER_STEP_DEG
        return levers

    def _rounding_error(self) -> float:
        """Return an upper bound of the error on the work due to rounding of the positions, mm."""
        coarse = self.grid.step.max() > 1e-5
        levers = self._levers() if coarse else np.where(np.arange(len(self.axes)) < self.slides, 1.0, 10.0)
        half = 0.5 * self.grid.step
        return float(np.linalg.norm(half[: self.slides])) + float(half[self.slides :] @ levers[self.slides :])

    def _timed(self, path: Array) -> tuple[Array, BlockTimes, Array]:
        """Return the ends of the moves by ``u``, the durations of the moves, and the positions of the axes at their ends.

        The moves of ``path`` are used unchanged if they reach their target speed. Otherwise a path that is straight in axis space
        is divided more finely towards its ends, and any other path is divided into moves of about equal durations, because the
        time for a change of speed between two moves is at most the duration of the shorter of these two moves.
        """
        if self.fastest and len(path) == 2:
            return self._graded(path)
        fine = (
            path
            if len(path) > _MANY_PIECES
            else np.linspace(0.0, path[-1], min(max(_FEWEST_PIECES, 8 * len(path)), _MANY_PIECES) + 1)
        )
        target = self._target_speeds(fine)
        if not self.fastest and target.max() <= _SPEED_RATIO * target.min():
            nodes, found, places = self._solved(path, self._places(path))
            if len(path) == 2 or not (found.limiting >= 0).any():
                return nodes, found, places
        seconds = block_times(np.diff(self._places(fine), axis=0), target, self.top, self.most, np.diff(fine)).seconds
        when = np.concatenate([[0.0], np.cumsum(seconds)])
        gone = np.concatenate([[0.0], np.cumsum(seconds / self._durations(path, fine, when))])
        many = math.ceil(gone[-1])
        while many <= _MOST_PIECES:
            nodes = np.interp(np.linspace(0.0, gone[-1], many + 1), gone, fine)
            places = self._places(nodes)
            if self._within_tolerance(nodes, places):
                return self._solved(nodes, places)
            many = 1 + many * 5 // 4
        return self._solved(path, self._places(path))

    def _durations(self, path: Array, fine: Array, when: Array) -> Array:
        """Return the duration allowed for a move at each piece of a path; ``when`` is the time at the ends of the pieces.

        The duration is at most that of the move of ``path`` to which the piece belongs, and shorter if the speed changes much.
        From one move to the next, the duration changes by at most a factor of `_DURATION_RATIO`.
        """
        speeds = np.diff(fine) / np.diff(when)
        changes = 2 * float(np.abs(np.diff(np.log(speeds))).sum()) / math.log(_SPEED_RATIO)
        longest = when[-1] / max(1.0, min(changes, when[-1] / self._shortest_block()))
        block = np.searchsorted(path, fine[:-1], side="right") - 1
        target = np.minimum(np.diff(np.interp(path, fine, when))[block], longest)
        grows = math.log(_DURATION_RATIO) * 0.5 * (when[1:] + when[:-1])
        target = np.minimum.accumulate(target - grows) + grows
        found: Array = np.minimum.accumulate((target + grows)[::-1])[::-1] - grows
        return found

    def _graded(self, path: Array) -> tuple[Array, BlockTimes, Array]:
        """Return moves along a path that is straight in axis space; the moves become shorter towards both ends of the path."""
        pieces = path[-1] * (0.5 - 0.5 * np.cos(np.linspace(0.0, math.pi, _GRADED_PIECES + 1)))
        lengths = np.diff(pieces)
        seconds = block_times(
            np.diff(self._places(pieces), axis=0), self._target_speeds(pieces), self.top, self.most, lengths
        ).seconds
        kept = np.ones(len(pieces), dtype=np.bool_)
        compile_when_worth(merge_similar_blocks, len(seconds), COMPILED_FROM)(
            lengths / seconds, seconds, _SPEED_RATIO, _SPEED_NOISE, self._shortest_block(), kept
        )
        return self._solved(pieces[kept], self._places(pieces[kept]))

    def _shortest_block(self) -> float:
        """Return the least duration of a move that is added for timing, s.

        If a move were shorter, the rounding of positions could exceed the acceleration of an axis.
        """
        with np.errstate(divide="ignore"):
            noise = np.sqrt(self.grid.step / self.most)
        return max(_SHORTEST_S, _ROUNDING_FACTOR * float(noise.max(initial=0.0)))

    def _within_tolerance(self, nodes: Array, places: Array) -> bool:
        """Return whether straight moves stay within the tolerance of the path; their greatest deviation is stored."""
        if self.checked is None:
            return True
        u, true = self.checked
        off = self._on_work([np.interp(u, nodes, column) for column in places.T]) - true
        self.max_deviation = math.sqrt(float(np.einsum("ij,ij->i", off, off).max())) + self.rounding_error
        return self.max_deviation <= self.feeds.tolerance

    def _solved(self, nodes: Array, places: Array) -> tuple[Array, BlockTimes, Array]:
        """Return moves between positions on the path, rounded to the precision of the program, with their durations."""
        places = self.grid.nearest(places)
        moves = np.diff(places, axis=0)
        stays = ~np.any(moves != 0, axis=1)
        if stays.any():
            keep = np.concatenate([[True], ~stays])
            nodes, places = nodes[keep], places[keep]
            moves = np.diff(places, axis=0)
        found = block_times(moves, self._target_speeds(nodes), self.top, self.most, np.diff(nodes))
        return nodes, found, places

    def _target_speeds(self, nodes: Array) -> Array:
        """Return the target speed of each move, in ``u`` per second."""
        turning = np.full(len(nodes) - 1, self.feeds.spindle_rpm / 60)
        if self.at_feed or self.feeds.pace == "cutter":
            lengths = self._lengths(nodes)
            with np.errstate(divide="ignore"):
                over = np.diff(nodes) * self.feeds.feed / 60 / lengths
            if not self.at_feed:
                over = np.minimum(over, turning)
            found: Array = np.where(np.isfinite(over), over, _UNLIMITED)
            return found
        return turning if self.feeds.pace == "spindle" else np.full(len(turning), math.inf)

    def _lengths(self, nodes: Array) -> Array:
        """Return the length of each move on the work, mm, measured at its ends and at points closer than the samples."""
        many = _SUBDIVISIONS * (len(self.u) - 1)
        u = np.union1d(nodes, np.interp(np.arange(many + 1) / _SUBDIVISIONS, np.arange(len(self.u)), self.u))
        steps = np.linalg.norm(np.diff(self._on_work(self._places(u).T), axis=0), axis=1)
        found: Array = np.diff(np.interp(nodes, u, np.concatenate([[0.0], np.cumsum(steps)])))
        return found

    @property
    def _rate(self) -> float:
        """The target speed in the unit of its setting: mm a minute over the work, or turns a minute."""
        return self.feeds.feed if self.at_feed or self.feeds.pace == "cutter" else self.feeds.spindle_rpm


def _is_uniform(u: Array, places: Array) -> bool:
    """Return whether every axis moves uniformly from the first sample to the last."""
    part = ((u - u[0]) / (u[-1] - u[0]))[:, None]
    off = np.abs(places[0] + part * (places[-1] - places[0]) - places).max(axis=0)
    rounding: Array = 4 * np.finfo(np.float64).eps * np.abs(places).max(axis=0)
    return bool(np.all(off <= _UNIFORM + rounding))
