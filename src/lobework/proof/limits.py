"""Travel, speed and acceleration that a program needs from each axis, compared with the limits of the lathe."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.checks.check import Finding
from lobework.proof.reader import LETTERS
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import MM_PER, format_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Axis
    from lobework.proof.replay import Moves
    from lobework.quantities.units import LengthUnit

__all__ = ["Use", "axis_uses", "limit_findings"]

_BATCH: Final = 100_000
"""Number of moves that are processed together."""
_FEED_ROUNDING: Final = 4e-8
"""Relative error of a speed whose feed is written with eight significant digits."""


@dataclass(frozen=True, slots=True)
class Use:
    """Travel, greatest speed and greatest acceleration of one axis in a program.

    Parameters
    ----------
    axis : Axis
        The axis, with its limits.
    low, high : float, mm or degrees
        Least and greatest position of the axis.
    speed, acceleration : float, mm or degrees a second, and a second squared
        Greatest speed and greatest acceleration in feed moves.
    lines : tuple of int
        Lines of the program with the values of ``low``, ``high``, ``speed`` and ``acceleration``.
    rounding_part : float
        Amount of the acceleration that may be due to the rounding of feed words; the rest is compared with the limit.
    units : "mm" or "inch"
        Unit of the lengths in the report.
    """

    axis: Axis
    low: float
    high: float
    speed: float
    acceleration: float
    lines: tuple[int, int, int, int]
    rounding_part: float = 0.0
    units: LengthUnit = "mm"

    def __str__(self) -> str:
        places = f"{self.formatted(self.low)} to {self.formatted(self.high)} {self.unit}{self._of_travel()}"
        speeds = f"{self.formatted(self.speed)} {self.unit}/s{self._of(self.axis.top_speed)}"
        accelerations = f"{self.formatted(self.acceleration)} {self.unit}/s2{self._of(self.axis.acceleration)}"
        sense = ", reversed" if self.axis.reversed else ""
        return f"{self.axis.letter} ({self.axis.moves}{sense}): {places}, {speeds}, {accelerations}"

    @property
    def unit(self) -> str:
        """The unit of the positions of the axis in the report."""
        return "deg" if self.axis.rotary else "in" if self.units == "inch" else "mm"

    def formatted(self, value: float) -> str:
        """Return a position, a speed or an acceleration as text, in the units of the report."""
        if not math.isfinite(value):
            return "infinite"
        value /= 1.0 if self.axis.rotary else float(MM_PER[self.units])
        return f"{value:.4g}" if 1e-4 <= abs(value) < 10 else format_number(value, 1 if abs(value) > 1000 else 3)

    def _of(self, limit: float) -> str:
        return "" if math.isinf(limit) else f" of {self.formatted(limit)}"

    def _of_travel(self) -> str:
        low, high = (self.formatted(each) if math.isfinite(each) else "" for each in (self.axis.low, self.axis.high))
        if low and high:
            return f" of {low} to {high}"
        return f" from {low} on" if low else (f" up to {high}" if high else "")


class _FeedMoves(NamedTuple):
    """Feed moves: their indices ``at``, and columns of `lobework.proof.replay.Moves`.

    ``ends``: whether the last move ends at rest.
    """

    at: NDArray[np.int64]
    line: NDArray[np.int32]
    seconds: Array
    whole: Array
    joined: NDArray[np.bool_]
    part: NDArray[np.bool_]
    ends: bool


def axis_uses(moves: Moves, axes: Sequence[Axis], units: LengthUnit = "mm") -> list[Use]:
    """Return the travel, speed and acceleration of each axis in the given moves; the report gives lengths in ``units``."""
    if not len(moves.line):
        return []
    fed = np.flatnonzero(~moves.rapid)
    batches = [_batch(moves, fed, first) for first in range(0, max(fed.size, 1), _BATCH)]
    return [replace(_greatest(_use(axis, moves, batch) for batch in batches), units=units) for axis in axes]


def _batch(moves: Moves, fed: NDArray[np.int64], first: int) -> _FeedMoves:
    """Return a batch of the feed moves, with one move before the batch and one move after the batch."""
    at = fed[max(first - 1, 0) : first + _BATCH + 1]
    last = first + _BATCH + 1
    ends = last >= fed.size or not bool(moves.joined[fed[last]])
    return _FeedMoves(at, moves.line[at], moves.seconds[at], moves.whole[at], moves.joined[at], moves.part[at], ends)


def _greatest(uses: Iterable[Use]) -> Use:
    """Return the greatest values of one axis over several batches of moves."""
    found = list(uses)
    quickest, hardest = max(found, key=lambda use: use.speed), max(found, key=lambda use: use.acceleration - use.rounding_part)
    lines = (*found[0].lines[:2], quickest.lines[2], hardest.lines[3])
    hard, rounding_part = hardest.acceleration, hardest.rounding_part
    return replace(found[0], speed=quickest.speed, acceleration=hard, rounding_part=rounding_part, lines=lines)


def _use(axis: Axis, moves: Moves, feed: _FeedMoves) -> Use:
    column = LETTERS.index(axis.letter)
    travel = moves.end[feed.at, column] - moves.start[feed.at, column]
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.where(travel == 0.0, 0.0, travel / feed.seconds)
    places = moves.end[:, column]
    least, most = int(places.argmin()), int(places.argmax())
    lines = [int(moves.line[least]), int(moves.line[most]), 0, 0]
    if not speed.size:
        return Use(axis, float(places[least]), float(places[most]), 0.0, 0.0, (lines[0], lines[1], 0, 0))
    quickest = int(np.abs(speed).argmax())
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        change, duration, at, rounding = _changes(feed, speed)
        accelerations = np.where(change == 0.0, 0.0, np.nan_to_num(change / duration, nan=math.inf, posinf=math.inf))
        rounding_part = np.where(np.isfinite(accelerations), np.nan_to_num(rounding / duration), 0.0)
    hardest = int((accelerations - rounding_part).argmax())
    lines[2:] = int(feed.line[quickest]), int(feed.line[at[hardest]])
    return Use(
        axis,
        float(places[least]),
        float(places[most]),
        float(abs(speed[quickest])),
        float(accelerations[hardest]),
        (lines[0], lines[1], lines[2], lines[3]),
        float(rounding_part[hardest]),
    )


def _changes(feed: _FeedMoves, speed: Array) -> tuple[Array, Array, Array, Array]:
    """Return every change of speed, its duration, the index of its move, and the amount due to rounding at most.

    A change from one move to the next lasts half of each move. A change from rest or to rest lasts the whole block.
    """
    n = speed.size
    joined = feed.joined[1:]
    length = np.where(feed.part[1:], np.minimum(feed.seconds[1:], feed.seconds[:-1]), np.minimum(feed.whole[1:], feed.whole[:-1]))
    onward = np.flatnonzero(joined)
    starts = np.flatnonzero(~feed.joined)
    stops = np.flatnonzero(np.append(~joined, feed.ends))
    change = np.concatenate([np.abs(np.diff(speed))[onward], np.abs(speed[starts]), np.abs(speed[stops])])
    duration = np.concatenate([length[onward], feed.whole[starts], feed.whole[stops]])
    at = np.concatenate([onward + 1, starts, stops])
    both = np.concatenate([(np.abs(speed[1:]) + np.abs(speed[:-1]))[onward], np.abs(speed[starts]), np.abs(speed[stops])])
    assert n == feed.line.size
    return change, duration, at, _FEED_ROUNDING * both


def limit_findings(uses: Sequence[Use]) -> Iterator[Finding]:
    """Yield a finding for each limit of an axis that a program exceeds, with the line, the value and the limit."""
    for use in uses:
        axis = use.axis
        unit = "degrees" if axis.rotary else use.unit
        for end, goes, beyond, line in (
            (axis.low, use.low, axis.low - use.low, use.lines[0]),
            (axis.high, use.high, use.high - axis.high, use.lines[1]),
        ):
            if not beyond <= JOIN_MM:
                message = f"goes to {use.formatted(goes)} {unit}; the travel of {axis.letter} ends at {use.formatted(end)} {unit}"
                yield Finding(kind="travel", level="problem", where=f"line {line}, {axis.letter}", message=message)
        if not use.speed <= axis.top_speed * (1 + _FEED_ROUNDING):
            most = f"its top speed is {use.formatted(axis.top_speed)} {use.unit}/s"
            message = f"the {axis.moves} would move at {use.formatted(use.speed)} {use.unit}/s; {most}"
            yield Finding(kind="speed", level="problem", where=f"line {use.lines[2]}, {axis.letter}", message=message)
        if not use.acceleration - use.rounding_part <= axis.acceleration * (1 + _FEED_ROUNDING):
            most = f"its limit is {use.formatted(axis.acceleration)} {use.unit}/s2"
            message = f"the {axis.moves} would accelerate at {use.formatted(use.acceleration)} {use.unit}/s2; {most}"
            yield Finding(kind="acceleration", level="problem", where=f"line {use.lines[3]}, {axis.letter}", message=message)
