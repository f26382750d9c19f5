"""Approximation of a path by few straight moves, each as long as the allowed deviation from the samples permits.

What the arrays hold:

* ``u`` : (n,) float64: the path's parameter; ``places`` : (n, axes) float64, mm and degrees: positions of the axes, slides first.
* ``levers`` : (axes,) float64: greatest displacement of the tip on the work per unit of each axis.
* ``kept`` : (n,) bool: whether a move begins or ends at a sample.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

__all__ = ["merge", "merge_similar_blocks"]


def merge(u: Array, places: Array, levers: Array, slides: int, within: float, kept: NDArray[np.bool_]) -> int:
    """Mark the samples at which straight moves begin or end; return their number.

    The end of each move is found by doubling its length, then by bisection. The deviation of a move at a
    sample is the distance between the positions of the slides in the move and in the sample, plus the deviation of each rotary
    axis times the lever of the axis.

    Parameters
    ----------
    u : (n,) float64
        Parameter of the path, ascending; along a move, the position of every axis is a linear function of this parameter.
    places : (n, k) float64
        Position of each axis at each sample; slides first.
    levers : (k,) float64
        Greatest displacement of the tip on the work per unit of each axis; not used for slides.
    slides : int
        Number of slides among the axes.
    within : float
        Allowed deviation of a move.
    kept : (n,) bool
        Out: whether a move begins or ends at each sample.
    """
    n, k = places.shape
    kept[:] = False
    kept[0] = True
    count, i = 1, 0
    while i < n - 1:
        good, bad, reach = i + 1, n, 2
        while bad - good > 1:
            j = min(i + reach, n - 1) if bad == n else (good + bad) // 2
            fits = True
            for p in range(i + 1, j):
                part = (u[p] - u[i]) / (u[j] - u[i])
                square, off = 0.0, 0.0
                for a in range(k):
                    miss = places[i, a] + part * (places[j, a] - places[i, a]) - places[p, a]
                    if a < slides:
                        square += miss * miss
                    else:
                        off += levers[a] * abs(miss)
                if off + math.sqrt(square) > within:
                    fits = False
                    break
            if fits:
                good = j
                reach *= 2
            else:
                bad = j
        i = good
        kept[i] = True
        count += 1
    return count


def merge_similar_blocks(
    speed: Array, seconds: Array, speed_ratio: float, constant_within: float, least_seconds: float, kept: NDArray[np.bool_]
) -> None:
    """Unmark the boundaries between blocks that can be merged: blocks of similar speeds, and blocks of too short a duration.

    A stretch of constant speed is not merged with the blocks around it, because their lower speeds would reduce its speed.

    Parameters
    ----------
    speed, seconds : (n,) float64
        Speed and duration of each block.
    speed_ratio : float
        Greatest ratio of the speeds of blocks that are merged.
    constant_within : float
        Greatest relative change of a speed that counts as constant; if negative, no speed counts as constant.
    least_seconds : float, s
        Least duration of a merged block.
    kept : (n + 1,) bool
        In: all true. Out: true for the boundaries that remain.
    """
    low, high, spent, alone, even = speed[0], speed[0], seconds[0], True, False
    for i in range(1, len(speed)):
        same = abs(speed[i] - speed[i - 1]) <= constant_within * speed[i]
        other = max(high, speed[i]) > speed_ratio * min(low, speed[i]) or (same != even and not alone)
        if spent >= least_seconds and other:
            low, high, spent, alone = speed[i], speed[i], seconds[i], True
        else:
            kept[i] = False
            low, high, spent = min(low, speed[i]), max(high, speed[i]), spent + seconds[i]
            alone, even = False, same
