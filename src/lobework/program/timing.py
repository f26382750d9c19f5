"""Timing of a path: the duration of each block such that every axis stays within its top speed and its acceleration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.errors import SettingError
from lobework.kernels.compile_when_worth import compile_when_worth
from lobework.kernels.path.feed_limits import caps, reduce_to_followable

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Axis

__all__ = ["BlockTimes", "SlowDown", "block_times", "limits_of", "slow_downs"]

COMPILED_FROM: Final = 3_000
"""Number of blocks from which the compiled kernels save more time than their start-up takes."""
_RESERVE: Final = 1e-5
"""Fraction of every limit that is kept in reserve, because feeds are written with eleven significant digits."""
_GREATEST_SLOWDOWN: Final = 2.0
"""Greatest factor by which a block may be slowed so that its neighbour can be faster."""
_SLOW: Final = 0.99
"""Fraction of the target speed below which a block is reported as slow."""
_UNIFORM: Final = 1e-5
"""Relative change of speed that is neglected."""


class BlockTimes(NamedTuple):
    """Duration of each block, (n,) s, and number of the limit that determines this duration, (n,).

    The limits are numbered as in `lobework.kernels.path.feed_limits.caps`.
    """

    seconds: Array
    limiting: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SlowDown:
    """The worst stretch in which a cut is slower than its target speed.

    Parameters
    ----------
    start, end : float
        Start and end of the stretch, in the ``u`` of the cut.
    rate : float
        Least speed in the stretch, as a fraction of the target speed.
    axis : Axis
        The axis that limits the speed.
    by_speed : bool
        True if the top speed of the axis is the limit, False if its acceleration is.
    times : int
        Number of stretches in which the cut slows down.
    """

    start: float
    end: float
    rate: float
    axis: Axis
    by_speed: bool
    times: int


def limits_of(axes: Sequence[Axis]) -> tuple[Array, Array]:
    """Return the axes' top speeds and accelerations, less a small reserve: (k,) mm or degrees per second and second squared."""
    limits = np.array([(axis.top_speed, axis.acceleration) for axis in axes]).reshape(-1, 2) * (1 - _RESERVE)
    return limits[:, 0], limits[:, 1]


def block_times(moves: Array, target: Array, top: Array, most: Array, lengths: Array | None = None) -> BlockTimes:
    """Return the least duration of each block of one uninterrupted run, from rest to rest.

    Each block is straight in axis space. In each block, the mean speed of every axis stays within its top speed. From one block
    to the next, this mean speed changes by at most the acceleration times the shorter of the two durations, so that the change
    fits into half of each block. In the first and the last block, the mean speed is at most the acceleration
    times the duration of the block.

    Parameters
    ----------
    moves : (n, k) float64, mm or degrees
        Displacement of each axis in each block.
    target : (n,) float64
        Target speed, in the unit of ``lengths`` per second; infinite for the fastest pace.
    top, most : (k,) float64, mm or degrees per second and second squared
        Top speed and acceleration of each axis, infinite if unlimited.
    lengths : (n,) float64, optional
        Length of each block, in the unit of the target speeds; 1 by default.

    Raises
    ------
    SettingError
        If no limit applies to a block.

    References
    ----------
    H. Pham, Q.-C. Pham, "A new approach to time-optimal path parameterization based on reachability analysis",
    IEEE Transactions on Robotics 34 (2018), 645-659.

    Examples
    --------
    >>> even = np.full((1000, 1), 0.001)
    >>> round(float(block_times(even, np.full(1000, np.inf), np.array([np.inf]), np.array([4.0])).seconds.sum()), 2)
    1.0
    """
    n = len(moves)
    lengths = np.ones(n) if lengths is None else np.ascontiguousarray(lengths, dtype=np.float64)
    rates = np.ascontiguousarray(moves / lengths[:, None], dtype=np.float64)
    x, limiting = np.array(target, dtype=np.float64), np.full(n, -1, dtype=np.int64)
    with np.errstate(invalid="ignore", over="ignore"):
        compile_when_worth(caps, n, COMPILED_FROM)(rates, lengths, top, most, x, limiting)
        compile_when_worth(reduce_to_followable, n, COMPILED_FROM)(rates, lengths, most, _GREATEST_SLOWDOWN, x, limiting)
    if not np.isfinite(x).all():
        raise SettingError("pace='fastest': no axis limits it", remedy="give the lathe's axes a top_speed")
    return BlockTimes(lengths / x, limiting)


def slow_downs(u: Array, target: Array, found: BlockTimes, axes: Sequence[Axis]) -> SlowDown | None:
    """Return the worst stretch in which a run is slower than its target; None if only its start and its stop are slower.

    ``u`` (n + 1,) are the boundaries of the blocks, ``target`` (n,) the target speeds of the blocks in ``u`` per second.
    """
    rate = np.diff(u) / found.seconds / target
    slow = (rate < _SLOW) & (found.limiting >= 0)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], slow, [False]]).astype(np.int8)))
    spans = [_without_start_and_stop(rate, int(a), int(b)) for a, b in edges.reshape(-1, 2)]
    spans = [(first, last) for first, last in spans if first < last]
    if not spans:
        return None
    first, last = min(spans, key=lambda span: float(rate[span[0] : span[1]].min()))
    worst = first + int(rate[first:last].argmin())
    limiting = int(found.limiting[worst])
    return SlowDown(float(u[first]), float(u[last]), float(rate[worst]), axes[limiting // 2], limiting % 2 == 0, len(spans))


def _without_start_and_stop(rate: Array, first: int, last: int) -> tuple[int, int]:
    """Return a slow stretch without the acceleration from rest and the deceleration to rest."""
    n = len(rate)
    if first == 0 and n > 1:
        while first < last and rate[min(first + 1, n - 1)] > rate[first] * (1 + _UNIFORM):
            first += 1
    if last == n and n > 1:
        while last > first and rate[max(last - 2, 0)] > rate[last - 1] * (1 + _UNIFORM):
            last -= 1
    return first, last
