"""How fast each block of a path may be taken: up to its cap, and never a change of speed that an axis cannot follow.

A block is straight in axis space. Axis ``a`` moves ``q`` in a unit of the block's length ``h``, taken at ``x`` lengths a unit of
time; it follows from one block to the next where ``|q' x' - q x| <= a min(h/x, h'/x')``: the change fits inside half of each.

The caps make one common speed possible on both sides of every node, so ``(y, y)`` always is: going up from there, the first speed
at which an axis stops following bounds the faster of the two. Backwards every block is held to what lets the next be reached,
forwards to what can be reached from the one before: the same two passes as in the reference, on blocks instead of points.

References
----------
H. Pham, Q.-C. Pham, "A new approach to time-optimal path parameterization based on reachability analysis",
IEEE Transactions on Robotics 34 (2018), 645-659.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.rigid import Array

__all__ = ["caps", "settle"]


def caps(q: Array, h: Array, top: Array, most: Array, x: Array, held: NDArray[np.int64]) -> None:
    """Lower each block's speed to what every axis allows by itself, and on both sides of every node, and at rest at the ends.

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
    held : (n,) int64
        Out: twice the axis that lowered it, one more where by its acceleration; as it was where none did.
    """
    n, k = q.shape
    for i in range(n):
        for a in range(k):
            here = abs(q[i, a])
            if here * x[i] > top[a]:
                x[i], held[i] = top[a] / here, 2 * a
            if most[a] < math.inf:
                if (i == 0 or i == n - 1) and here * x[i] * x[i] > most[a] * h[i]:
                    x[i], held[i] = math.sqrt(most[a] * h[i] / here), 2 * a + 1
                if i > 0:
                    turn, room = abs(q[i, a] - q[i - 1, a]), most[a] * min(h[i], h[i - 1])
                    for j in (i - 1, i):
                        if turn * x[j] * x[j] > room:
                            x[j], held[j] = math.sqrt(room / turn), 2 * a + 1


def settle(q: Array, h: Array, most: Array, x: Array, held: NDArray[np.int64]) -> None:
    """Lower capped speeds to the highest from which every axis follows; see `caps` for what the arguments are."""
    n, k = q.shape
    for way in (-1, 1):
        for step in range(1, n):
            i = n - 1 - step if way < 0 else step
            j = i - way
            y = x[j]
            if x[i] <= y:
                continue
            up = x[i]
            even = y * h[i] / h[j]
            for a in range(k):
                if most[a] == math.inf:
                    continue
                here, goal = q[i, a], q[j, a] * y
                if here < 0:
                    here, goal = -here, -goal
                start = y
                if even > y:
                    room = most[a] * h[j] / y
                    end = (goal + room) / here if here > 0 else math.inf
                    if end < even:
                        if end < up:
                            up, held[i] = max(end, y), 2 * a + 1
                        continue
                    start = even
                room = most[a] * h[i]
                if here == 0:
                    end = room / abs(goal) if goal != 0 else math.inf
                else:
                    whole = goal * goal + 4 * here * room
                    root = math.sqrt(whole)
                    end = (goal + root) / (2 * here) if goal >= 0 else 2 * room / (root - goal)
                    hump = goal * goal - 4 * here * room
                    if goal > 0 and hump > 0 and start < goal / (2 * here):
                        end = 2 * room / (goal + math.sqrt(hump))
                if end < up:
                    up, held[i] = max(end, y), 2 * a + 1
            x[i] = up
