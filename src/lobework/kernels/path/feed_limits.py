"""How fast each block of a path may be taken: up to its cap, and never a change of speed that an axis cannot follow.

A block is straight in axis space. Axis ``a`` moves ``q`` in a unit of the block's length ``h``, taken at ``x`` lengths a unit of
time; it follows from one block to the next where ``|q' x' - q x| max(x/h, x'/h') <= a``: the change fits inside half of each.

What can be done at two speeds can be done at both of them so many times slower, so the speeds from which the end can be reached
go from nothing to a bound, block by block, backwards; forwards the fastest within it is taken. These are the two passes of
the reference, on blocks instead of points.

References
----------
H. Pham, Q.-C. Pham, "A new approach to time-optimal path parameterization based on reachability analysis",
IEEE Transactions on Robotics 34 (2018), 645-659.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

__all__ = ["caps", "settle"]


def caps(q: Array, h: Array, top: Array, most: Array, x: Array, holder: NDArray[np.int64]) -> None:
    """Lower each block's speed to what every axis allows by itself, and from rest and to rest at the ends.

    Parameters
    ----------
    q : (n, k) float64
        How far each axis moves in a unit of length.
    h : (n,) float64
        The length of each block, above zero.
    top, most : (k,) float64
        Each axis's top speed and acceleration, infinite where there is no end.
    x : (n,) float64
        In: the speed asked for, above zero, infinite for the fastest. Out: the cap.
    holder : (n,) int64
        Out: twice the axis that lowered it, one more where by its acceleration; as it was where none did.
    """
    n, k = q.shape
    for i in range(n):
        for a in range(k):
            here = abs(q[i, a])
            if here * x[i] > top[a]:
                x[i], holder[i] = top[a] / here, 2 * a
            if most[a] < math.inf and (i == 0 or i == n - 1) and here * x[i] * x[i] > most[a] * h[i]:
                x[i], holder[i] = math.sqrt(most[a] * h[i] / here), 2 * a + 1


def settle(q: Array, h: Array, most: Array, steep: float, x: Array, holder: NDArray[np.int64]) -> None:
    """Lower capped speeds to the highest from which every axis follows; see `caps` for what the arguments are.

    ``steep`` is how many times slower than a block the next may be taken for the first's sake, where no slower first does as
    well: no block is taken at no speed at all.
    """
    n, k = q.shape
    for way in (-1, 1):
        for step in range(1, n):
            i = n - 1 - step if way < 0 else step
            j = i - way
            # Forwards, the speed of block j is known and the fastest of i is asked for. Backwards, trials of i are held against
            # the fastest that j then can be.
            low, high, trial, phase, by = 0.0, x[i], x[i], 0, holder[i]
            while True:
                if way > 0:
                    known, asked, at, to = x[j], x[i], j, i
                else:
                    known, asked, at, to = trial, x[j], i, j
                # The fastest of block ``to``, up to ``asked``, that block ``at`` can be followed by at ``known``.
                y, changed, fits = asked, True, True
                while changed and fits:
                    changed = False
                    for a in range(k):
                        if most[a] == math.inf:
                            continue
                        p, g = q[to, a], q[at, a] * known
                        if p < 0:
                            p, g = -p, -g
                        if abs(p * y - g) * max(known / h[at], y / h[to]) <= most[a] * (1 + 1e-11):
                            continue
                        turn = known * h[to] / h[at]
                        found = -1.0
                        if y > turn:
                            room = most[a] * h[to]
                            if p == 0:
                                found = room / abs(g)
                            else:
                                root = math.sqrt(g * g + 4 * p * room)
                                found = min(y, (g + root) / (2 * p) if g >= 0 else 2 * room / (root - g))
                                hump = g * g - 4 * p * room
                                if g > 0 and hump > 0:
                                    root = math.sqrt(hump)
                                    if found < (g + root) / (2 * p):
                                        found = min(found, 2 * room / (g + root))
                            if found <= turn:
                                found = -1.0
                        if found < 0 and p > 0:
                            room = most[a] * h[at] / known
                            found = min(y, turn, (g + room) / p)
                            if found < (g - room) / p * (1 - 1e-11):
                                found = -1.0
                        if found < 0:
                            fits = False
                            break
                        if found < y * (1 - 1e-12):
                            y, changed, by = found, True, 2 * a + 1
                if way > 0:
                    if fits and y < x[i]:
                        x[i], holder[i] = y, by
                    elif not fits:
                        x[i] = min(x[i], x[j])
                    break
                good = fits and y * steep >= trial
                if phase == 0:
                    if good:
                        low = trial
                        break
                    # The slower of the two, with every speed between possible: a common speed, or up from the next one's.
                    even, which = math.inf, -1
                    for a in range(k):
                        if most[a] < math.inf:
                            bend, room = abs(q[i, a] - q[j, a]), most[a] * min(h[i], h[j])
                            if bend > 0 and room / bend < even * even:
                                even, which = math.sqrt(room / bend), 2 * a + 1
                    y, up = x[j], trial
                    if even <= y:
                        up, holder[i] = min(trial, even), which
                    else:
                        for a in range(k):
                            if most[a] == math.inf:
                                continue
                            p, g = q[i, a], q[j, a] * y
                            if p < 0:
                                p, g = -p, -g
                            turn = y * h[i] / h[j]
                            start, end = y, math.inf
                            if turn > y:
                                room = most[a] * h[j] / y
                                end = (g + room) / p if p > 0 else math.inf
                                start = turn
                            if end >= turn or turn <= y:
                                room = most[a] * h[i]
                                if p == 0:
                                    end = room / abs(g) if g != 0 else math.inf
                                else:
                                    root = math.sqrt(g * g + 4 * p * room)
                                    end = (g + root) / (2 * p) if g >= 0 else 2 * room / (root - g)
                                    hump = g * g - 4 * p * room
                                    if g > 0 and hump > 0 and start < g / (2 * p):
                                        end = 2 * room / (g + math.sqrt(hump))
                            if end < up:
                                up, holder[i] = max(end, min(y, trial)), 2 * a + 1
                    low, phase = up, 1
                    trial = up * (1 + 1e-6)
                    if trial >= high:
                        break
                elif phase == 1 and not good:
                    break
                else:
                    phase += 1
                    holder[i] = by if by >= 0 else holder[i]
                    if good:
                        low = trial
                    else:
                        high = trial
                    if phase > 32 or high - low <= 1e-7 * high:
                        break
                    trial = 0.5 * (low + high)
            if way < 0:
                x[i] = low
