"""What a program asks of the lathe's axes, beside what they can do."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.check import Finding
from lobework.proof.reader import LETTERS
from lobework.tolerances import JOIN_MM
from lobework.units import format_number

if TYPE_CHECKING:
    from lobework.lathe import Axis
    from lobework.proof.replay import Moves
    from lobework.rigid import Array

__all__ = ["Use", "limit_findings", "used"]

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
    """

    axis: Axis
    low: float
    high: float
    speed: float
    acceleration: float
    lines: tuple[int, int, int, int]
    over: float = 0.0

    def __str__(self) -> str:
        unit = "deg" if self.axis.rotary else "mm"
        parts = [f"{_shown(self.low)} to {_shown(self.high)} {unit}{_of_travel(self.axis)}"]
        parts += [f"{_shown(self.speed)} {unit}/s{_of(self.axis.top_speed)}"]
        parts += [f"{_shown(self.acceleration)} {unit}/s2{_of(self.axis.acceleration)}"]
        return f"{self.axis.letter} ({self.axis.moves}): {', '.join(parts)}"


def used(moves: Moves, axes: Sequence[Axis]) -> list[Use]:
    """Return what moves ask of each axis."""
    if not len(moves.line):
        return []
    feed = moves.of(~moves.rapid)
    with np.errstate(divide="ignore", invalid="ignore"):
        speeds = np.where(feed.end == feed.start, 0.0, (feed.end - feed.start) / feed.seconds[:, None])
    return [_use(axis, moves, feed, speeds[:, LETTERS.index(axis.letter)]) for axis in axes]


def _use(axis: Axis, moves: Moves, feed: Moves, speed: Array) -> Use:
    column = LETTERS.index(axis.letter)
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


def _changes(feed: Moves, speed: Array) -> tuple[Array, Array, Array, Array]:
    """Return every change of speed, the time that it has, the move that it comes with, and what of it may be printing.

    From move to move the change has half of each; from rest and to rest it has the whole block.
    """
    n = speed.size
    joined = feed.joined[1:]
    length = np.where(feed.part[1:], np.minimum(feed.seconds[1:], feed.seconds[:-1]), np.minimum(feed.whole[1:], feed.whole[:-1]))
    onward = np.flatnonzero(joined)
    starts = np.flatnonzero(~feed.joined)
    stops = np.flatnonzero(np.append(~joined, True))
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
        unit = "degrees" if axis.rotary else "mm"
        short = "deg" if axis.rotary else "mm"
        for end, goes, beyond, line in (
            ("low", use.low, axis.low - use.low, use.lines[0]),
            ("high", use.high, use.high - axis.high, use.lines[1]),
        ):
            if beyond > JOIN_MM:
                limit = f"the travel of {axis.letter} ends at {format_number(getattr(axis, end))} {unit}"
                says = f"goes to {format_number(goes)} {unit}; {limit}"
                yield Finding(kind="travel", level="problem", where=f"line {line}, {axis.letter}", says=says)
        if use.speed > axis.top_speed * (1 + _PRINTED):
            says = (
                f"the {axis.moves} would go at {_shown(use.speed)} {short}/s; it does {_shown(axis.top_speed)} {short}/s at most"
            )
            yield Finding(kind="speed", level="problem", where=f"line {use.lines[2]}, {axis.letter}", says=says)
        if use.acceleration - use.over > axis.acceleration * (1 + _PRINTED):
            says = f"the {axis.moves} would change speed by {_shown(use.acceleration)} {short}/s2; it does "
            says += f"{_shown(axis.acceleration)} {short}/s2 at most"
            yield Finding(kind="acceleration", level="problem", where=f"line {use.lines[3]}, {axis.letter}", says=says)


def _shown(value: float) -> str:
    if not math.isfinite(value):
        return "endless"
    return f"{value:.4g}" if 0 < abs(value) < 10 and abs(value) >= 1e-4 else format_number(value, 1 if abs(value) > 1000 else 3)


def _of(limit: float) -> str:
    return "" if math.isinf(limit) else f" of {_shown(limit)}"


def _of_travel(axis: Axis) -> str:
    low, high = (_shown(each) if math.isfinite(each) else "" for each in (axis.low, axis.high))
    if low and high:
        return f" of {low} to {high}"
    return f" from {low} on" if low else (f" up to {high}" if high else "")
