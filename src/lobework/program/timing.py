"""Time laid over a path: how long each block takes, so that every axis keeps to its speed and its acceleration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.errors import SettingError
from lobework.kernels.compile_when_worth import compile_when_worth
from lobework.kernels.path.feed_limits import caps, settle

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Axis

__all__ = ["Paced", "SlowDown", "limits_of", "paced", "slow_downs"]

COMPILED_FROM: Final = 3_000
"""Blocks from which the compiled kernels pay for their start-up."""
_SPARE: Final = 1e-5
"""Of every limit, kept for feeds that are written to eleven figures."""
_STEEP: Final = 2.0
"""How many times slower the next block may be for the sake of a faster one."""
_SLOWER: Final = 0.99
"""Of the speed asked for; a block that goes slower is said."""
_EVEN: Final = 1e-5
"""Of the speed asked for; a smaller change is none."""


class Paced(NamedTuple):
    """How long each block takes, (n,) s; and what held it back, (n,): see `lobework.kernels.path.feed_limits.caps`."""

    seconds: Array
    holder: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SlowDown:
    """Where a cut goes slower than was asked for: places ``start`` to ``end`` by ``u``, at the worst of them.

    Parameters
    ----------
    start, end : float
        Where, in the cut's own ``u``.
    rate : float
        How fast at its slowest, as a part of what was asked for.
    axis : Axis
        That cannot follow.
    by_speed : bool
        Whether it cannot go faster; otherwise it cannot gain or lose speed faster.
    times : int
        In how many places the cut slows down.
    """

    start: float
    end: float
    rate: float
    axis: Axis
    by_speed: bool
    times: int


def limits_of(axes: Sequence[Axis]) -> tuple[Array, Array]:
    """Return the axes' top speeds and accelerations, (k,) mm or degrees a second, and a second squared, a little spared."""
    limits = np.array([(axis.top_speed, axis.acceleration) for axis in axes]).reshape(-1, 2) * (1 - _SPARE)
    return limits[:, 0], limits[:, 1]


def paced(moves: Array, asked: Array, top: Array, most: Array, lengths: Array | None = None) -> Paced:
    """Return the least time that each block of one uninterrupted run can take, from rest to rest.

    Each block is straight in axis space and is counted by the mean speed of every axis, which stays within the axis's top speed.
    From block to block that speed changes by no more than the acceleration times the shorter of the two's times, so that the
    change fits inside half of each; from rest and to rest it is no more than the acceleration times the block's own.

    Parameters
    ----------
    moves : (n, k) float64, mm or degrees
        How far each axis goes in each block.
    asked : (n,) float64
        The speed asked for: lengths a second, infinite for the fastest.
    top, most : (k,) float64, mm or degrees a second, and a second squared
        Each axis's top speed and acceleration, infinite where there is no end.
    lengths : (n,) float64, optional
        How long the blocks count for speed; alike unless given.

    Raises
    ------
    SettingError
        Where a block is as fast as one likes: nothing limits it.

    References
    ----------
    H. Pham, Q.-C. Pham, "A new approach to time-optimal path parameterization based on reachability analysis",
    IEEE Transactions on Robotics 34 (2018), 645-659.

    Examples
    --------
    >>> even = np.full((1000, 1), 0.001)
    >>> round(float(paced(even, np.full(1000, np.inf), np.array([np.inf]), np.array([4.0])).seconds.sum()), 2)
    1.0
    """
    n = len(moves)
    lengths = np.ones(n) if lengths is None else np.ascontiguousarray(lengths, dtype=np.float64)
    rates = np.ascontiguousarray(moves / lengths[:, None], dtype=np.float64)
    x, holder = np.array(asked, dtype=np.float64), np.full(n, -1, dtype=np.int64)
    with np.errstate(invalid="ignore", over="ignore"):
        compile_when_worth(caps, n, COMPILED_FROM)(rates, lengths, top, most, x, holder)
        compile_when_worth(settle, n, COMPILED_FROM)(rates, lengths, most, _STEEP, x, holder)
    if not np.isfinite(x).all():
        raise SettingError("pace='fastest': no axis limits it; give the lathe's axes a top_speed")
    return Paced(lengths / x, holder)


def slow_downs(u: Array, asked: Array, found: Paced, axes: Sequence[Axis]) -> SlowDown | None:
    """Return the worst place at which a run goes slower than was asked for; None where nowhere, but to set off and to stop.

    ``u`` (n + 1,) is where its blocks begin and end, ``asked`` (n,) their speeds in lengths of ``u`` a second.
    """
    rate = np.diff(u) / found.seconds / asked
    slow = (rate < _SLOWER) & (found.holder >= 0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], slow, [False]]).astype(np.int8)))
    spans = [_without_ends(rate, int(a), int(b)) for a, b in edges.reshape(-1, 2)]
    spans = [(first, last) for first, last in spans if first < last]
    if not spans:
        return None
    first, last = min(spans, key=lambda span: float(rate[span[0] : span[1]].min()))
    worst = first + int(rate[first:last].argmin())
    holder = int(found.holder[worst])
    return SlowDown(float(u[first]), float(u[last]), float(rate[worst]), axes[holder // 2], holder % 2 == 0, len(spans))


def _without_ends(rate: Array, first: int, last: int) -> tuple[int, int]:
    """Return a slow stretch without what of it is no more than setting off, or stopping."""
    n = len(rate)
    if first == 0 and n > 1:
        while first < last and rate[min(first + 1, n - 1)] > rate[first] * (1 + _EVEN):
            first += 1
    if last == n and n > 1:
        while last > first and rate[max(last - 2, 0)] > rate[last - 1] * (1 + _EVEN):
            last -= 1
    return first, last
