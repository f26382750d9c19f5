"""What a program asks of the lathe's axes, beside what they can do."""

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

__all__ = ["Use", "limit_findings", "used"]

_AT_A_TIME: Final = 100_000
"""Moves that are looked at together."""
_PRINTED: Final = 4e-8
"""Of a speed: what it may be off by where a feed is written to eight figures."""


@dataclass(frozen=True, slots=True)
class Use:
    """What a program asks of one axis, and on which line it asks most.

    Parameters
    ----------
    axis : Axis
        With its limits.
    low, high : float, mm or degrees
        The least and greatest place that it is sent to.
    speed, acceleration : float, mm or degrees a second, and a second squared
        The most at a feed.
    lines : tuple of int
        Where: low, high, speed, acceleration.
    over : float
        By how much the acceleration may be greater than the limit for the figures of its feed.
    units : "mm" or "inch"
        To say lengths in.
    """

    axis: Axis
    low: float
    high: float
    speed: float
    acceleration: float
    lines: tuple[int, int, int, int]
    over: float = 0.0
    units: LengthUnit = "mm"

    def __str__(self) -> str:
        places = f"{self.shown(self.low)} to {self.shown(self.high)} {self.unit}{self._of_travel()}"
        speeds = f"{self.shown(self.speed)} {self.unit}/s{self._of(self.axis.top_speed)}"
        gains = f"{self.shown(self.acceleration)} {self.unit}/s2{self._of(self.axis.acceleration)}"
        way = ", reversed" if self.axis.reversed else ""
        return f"{self.axis.letter} ({self.axis.moves}{way}): {places}, {speeds}, {gains}"

    @property
    def unit(self) -> str:
        """What its places are said in."""
        return "deg" if self.axis.rotary else "in" if self.units == "inch" else "mm"

    def shown(self, value: float) -> str:
        """Return a place, a speed or an acceleration in that unit."""
        if not math.isfinite(value):
            return "endless"
        value /= 1.0 if self.axis.rotary else float(MM_PER[self.units])
        return f"{value:.4g}" if 1e-4 <= abs(value) < 10 else format_number(value, 1 if abs(value) > 1000 else 3)

    def _of(self, limit: float) -> str:
        return "" if math.isinf(limit) else f" of {self.shown(limit)}"

    def _of_travel(self) -> str:
        low, high = (self.shown(each) if math.isfinite(each) else "" for each in (self.axis.low, self.axis.high))
        if low and high:
            return f" of {low} to {high}"
        return f" from {low} on" if low else (f" up to {high}" if high else "")


class _Fed(NamedTuple):
    """The moves at a feed: which they are, and of each what is in `lobework.proof.replay.Moves`."""

    at: NDArray[np.int64]
    line: NDArray[np.int32]
    seconds: Array
    whole: Array
    joined: NDArray[np.bool_]
    part: NDArray[np.bool_]
    ends: bool


def used(moves: Moves, axes: Sequence[Axis], units: LengthUnit = "mm") -> list[Use]:
    """Return what moves ask of each axis, to be said in ``units``."""
    if not len(moves.line):
        return []
    fed = np.flatnonzero(~moves.rapid)
    pieces = [_piece(moves, fed, first) for first in range(0, max(fed.size, 1), _AT_A_TIME)]
    return [replace(_most(_use(axis, moves, piece) for piece in pieces), units=units) for axis in axes]


def _piece(moves: Moves, fed: NDArray[np.int64], first: int) -> _Fed:
    """Return some of the moves at a feed, with the one before and the one after them."""
    at = fed[max(first - 1, 0) : first + _AT_A_TIME + 1]
    last = first + _AT_A_TIME + 1
    ends = last >= fed.size or not bool(moves.joined[fed[last]])
    return _Fed(at, moves.line[at], moves.seconds[at], moves.whole[at], moves.joined[at], moves.part[at], ends)


def _most(uses: Iterable[Use]) -> Use:
    """Return the most that is asked of one axis by several pieces of a program."""
    found = list(uses)
    quickest, hardest = max(found, key=lambda use: use.speed), max(found, key=lambda use: use.acceleration - use.over)
    lines = (*found[0].lines[:2], quickest.lines[2], hardest.lines[3])
    return replace(found[0], speed=quickest.speed, acceleration=hardest.acceleration, over=hardest.over, lines=lines)


def _use(axis: Axis, moves: Moves, feed: _Fed) -> Use:
    column = LETTERS.index(axis.letter)
    way = moves.end[feed.at, column] - moves.start[feed.at, column]
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.where(way == 0.0, 0.0, way / feed.seconds)
    places = moves.end[:, column]
    least, most = int(places.argmin()), int(places.argmax())
    lines = [int(moves.line[least]), int(moves.line[most]), 0, 0]
    if not speed.size:
        return Use(axis, float(places[least]), float(places[most]), 0.0, 0.0, (lines[0], lines[1], 0, 0))
    quickest = int(np.abs(speed).argmax())
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        change, short, at, printed = _changes(feed, speed)
        gains = np.where(change == 0.0, 0.0, np.nan_to_num(change / short, nan=math.inf, posinf=math.inf))
        over = np.where(np.isfinite(gains), np.nan_to_num(printed / short), 0.0)
    hardest = int((gains - over).argmax())
    lines[2:] = int(feed.line[quickest]), int(feed.line[at[hardest]])
    return Use(
        axis,
        float(places[least]),
        float(places[most]),
        float(abs(speed[quickest])),
        float(gains[hardest]),
        (lines[0], lines[1], lines[2], lines[3]),
        float(over[hardest]),
    )


def _changes(feed: _Fed, speed: Array) -> tuple[Array, Array, Array, Array]:
    """Return every change of speed, the time that it has, the move that it comes with, and what of it may be printing.

    From move to move the change has half of each; from rest and to rest it has the whole block.
    """
    n = speed.size
    joined = feed.joined[1:]
    length = np.where(feed.part[1:], np.minimum(feed.seconds[1:], feed.seconds[:-1]), np.minimum(feed.whole[1:], feed.whole[:-1]))
    onward = np.flatnonzero(joined)
    starts = np.flatnonzero(~feed.joined)
    stops = np.flatnonzero(np.append(~joined, feed.ends))
    change = np.concatenate([np.abs(np.diff(speed))[onward], np.abs(speed[starts]), np.abs(speed[stops])])
    short = np.concatenate([length[onward], feed.whole[starts], feed.whole[stops]])
    at = np.concatenate([onward + 1, starts, stops])
    both = np.concatenate([(np.abs(speed[1:]) + np.abs(speed[:-1]))[onward], np.abs(speed[starts]), np.abs(speed[stops])])
    assert n == feed.line.size
    return change, short, at, _PRINTED * both


def limit_findings(uses: Sequence[Use]) -> Iterator[Finding]:
    """Yield the limits of axes that a program goes beyond, with the line, the number and the limit."""
    for use in uses:
        axis = use.axis
        unit = "degrees" if axis.rotary else use.unit
        for end, goes, beyond, line in (
            (axis.low, use.low, axis.low - use.low, use.lines[0]),
            (axis.high, use.high, use.high - axis.high, use.lines[1]),
        ):
            if not beyond <= JOIN_MM:
                message = f"goes to {use.shown(goes)} {unit}; the travel of {axis.letter} ends at {use.shown(end)} {unit}"
                yield Finding(kind="travel", level="problem", where=f"line {line}, {axis.letter}", message=message)
        if not use.speed <= axis.top_speed * (1 + _PRINTED):
            most = f"it does {use.shown(axis.top_speed)} {use.unit}/s at most"
            message = f"the {axis.moves} would go at {use.shown(use.speed)} {use.unit}/s; {most}"
            yield Finding(kind="speed", level="problem", where=f"line {use.lines[2]}, {axis.letter}", message=message)
        if not use.acceleration - use.over <= axis.acceleration * (1 + _PRINTED):
            most = f"it does {use.shown(axis.acceleration)} {use.unit}/s2 at most"
            message = f"the {axis.moves} would change speed by {use.shown(use.acceleration)} {use.unit}/s2; {most}"
            yield Finding(kind="acceleration", level="problem", where=f"line {use.lines[3]}, {axis.letter}", message=message)
