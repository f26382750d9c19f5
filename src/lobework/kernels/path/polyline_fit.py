"""The fewest straight moves that keep to a path: each goes on as far as all that it passes over allows.

What the arrays hold:

* ``u`` : (n,) float64: the path's parameter; ``places`` : (n, axes) float64, mm and degrees: where each axis is, slides first.
* ``levers`` : (axes,) float64: how far the work moves under the tip for a unit of each axis.
* ``kept`` : (n,) bool: where a move begins or ends.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

__all__ = ["alike", "merge"]


def merge(u: Array, places: Array, levers: Array, slides: int, within: float, kept: NDArray[np.bool_]) -> int:
    """Mark the samples at which one straight move ends and the next begins; return how many.

    The longest move from each sample is found by doubling, then by halving. What it misses at a sample is how far the slides are
    from there, and how far each axis that turns is, by its lever.

    Parameters
    ----------
    u : (n,) float64
        The parameter of the path, rising; along a move every axis goes evenly by it.
    places : (n, k) float64
        Where each axis is; slides first.
    levers : (k,) float64
        How far the work moves under the tip for a unit of each axis; not used of slides.
    slides : int
        How many of the axes are slides.
    within : float
        How much a move may miss.
    kept : (n,) bool
        Out.
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


def alike(speed: Array, seconds: Array, apart: float, level: float, quickest: float, kept: NDArray[np.bool_]) -> None:
    """Unmark the ends of blocks that are taken at one speed, but for so much, or are too short in time to be told apart.

    A stretch at an even speed stays by itself, or the speeds on the way to it would hold it down.

    Parameters
    ----------
    speed, seconds : (n,) float64
        Of each block.
    apart : float
        How many times as fast as the slowest of one block its quickest part may be.
    level : float
        By what part a speed may change that is even; below zero, none is.
    quickest : float, s
        That a block takes at least.
    kept : (n + 1,) bool
        All true; out: the ends that stay.
    """
    low, high, spent, alone, even = speed[0], speed[0], seconds[0], True, False
    for i in range(1, len(speed)):
        same = abs(speed[i] - speed[i - 1]) <= level * speed[i]
        other = max(high, speed[i]) > apart * min(low, speed[i]) or (same != even and not alone)
        if spent >= quickest and other:
            low, high, spent, alone = speed[i], speed[i], seconds[i], True
        else:
            kept[i] = False
            low, high, spent = min(low, speed[i]), max(high, speed[i]), spent + seconds[i]
            alone, even = False, same
