"""Greatest speed of each block of a path: at most the block's cap, and without a change of speed that an axis cannot follow.

A block is straight in axis space. An axis moves by ``q`` per unit of the block's length ``h``; ``x`` is the block's speed, in
length per unit of time. An axis of acceleration ``a`` can follow from a block to the next block (with primed symbols) if
``|q' x' - q x| max(x/h, x'/h') <= a``: the change of the axis's speed then fits into half the duration of each block.

If the speeds of two consecutive blocks are feasible, they remain feasible when both are divided by the same factor. The speeds
of a block from which the end of the path can be reached therefore range from zero to an upper bound. A backward pass computes
these bounds, block by block; a forward pass takes the greatest speed within the bounds. These are the two passes of the
reference, applied to blocks instead of points.

What the arrays hold:

* ``q`` : (blocks, axes) float64: displacement of each axis per unit of length.
* ``h`` : (blocks,) float64: lengths.
* ``top``, ``acceleration`` : (axes,) float64: top speeds and accelerations, infinite if unlimited.
* ``x`` : (blocks,) float64: speeds.
* ``limits`` : (blocks,) int64: twice the index of the axis that limits the speed, plus 1 if by its acceleration; -1 for none.

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

    Int64s = NDArray[np.int64]

__all__ = ["caps", "reduce_to_followable"]


def caps(q: Array, h: Array, top: Array, acceleration: Array, x: Array, limits: Int64s) -> None:
    """Reduce each block's speed to the greatest that all axes allow in this block alone; the path begins and ends at rest.

    Parameters
    ----------
    q : (n, k) float64
        Displacement of each axis per unit of length.
    h : (n,) float64
        Length of each block, above zero.
    top, acceleration : (k,) float64
        Top speed and acceleration of each axis, infinite if unlimited.
    x : (n,) float64
        In: the target speed of each block, above zero; infinite for the greatest possible speed. Out: the cap of each block.
    limits : (n,) int64
        Out: twice the index of the axis that reduced the speed, plus 1 if by its acceleration; unchanged if no axis reduced it.
    """
    n, k = q.shape
    for i in range(n):
        for a in range(k):
            here = abs(q[i, a])
            if here * x[i] > top[a]:
                x[i], limits[i] = top[a] / here, 2 * a
            if acceleration[a] < math.inf and (i == 0 or i == n - 1) and here * x[i] * x[i] > acceleration[a] * h[i]:
                x[i], limits[i] = math.sqrt(acceleration[a] * h[i] / here), 2 * a + 1


def reduce_to_followable(q: Array, h: Array, acceleration: Array, greatest_slowdown: float, x: Array, limits: Int64s) -> None:
    """Reduce capped speeds to the greatest that every axis can follow from block to block; see `caps` for the arguments.

    ``greatest_slowdown`` is the greatest allowed ratio of a block's speed to the speed of the next block, if the next block is
    slowed so that this block can be faster. Without this limit, a block could be slowed to zero.
    """
    n = q.shape[0]
    for i in range(n - 2, -1, -1):
        x[i] = _fastest_before(q, h, acceleration, greatest_slowdown, x, limits, i)
    for i in range(1, n):
        y, fits, by = _fastest_after(q, h, acceleration, i - 1, i, x[i - 1], x[i], limits[i])
        if fits and y < x[i]:
            x[i], limits[i] = y, by
        elif not fits:
            x[i] = min(x[i], x[i - 1])


def _fastest_before(q: Array, h: Array, acceleration: Array, greatest_slowdown: float, x: Array, limits: Int64s, i: int) -> float:
    """Return the greatest speed of block ``i``, up to its cap, that the next block can follow; store the limit in ``limits``.

    The speed is found by bisection: each trial speed is compared with the greatest speed that the next block can then have.
    """
    cap: float = x[i]
    y, fits, by = _fastest_after(q, h, acceleration, i, i + 1, cap, x[i + 1], limits[i])
    if fits and y * greatest_slowdown >= cap:
        return cap
    low = _safe_before(q, h, acceleration, i, cap, x[i + 1], limits)
    high, trial = cap, low * (1 + 1e-6)
    if trial >= high:
        return low
    for halving in range(32):
        y, fits, by = _fastest_after(q, h, acceleration, i, i + 1, trial, x[i + 1], by)
        good = fits and y * greatest_slowdown >= trial
        if halving == 0 and not good:
            return low
        limits[i] = by if by >= 0 else limits[i]
        if good:
            low = trial
        else:
            high = trial
        if high - low <= 1e-7 * high:
            return low
        trial = 0.5 * (low + high)
    return low


def _safe_before(q: Array, h: Array, acceleration: Array, i: int, cap: float, after: float, limits: Int64s) -> float:
    """Return a speed of block ``i``, up to its cap, that the next block can follow; store the limit in ``limits``.

    The result is the greatest speed at which both blocks can run, if this common speed is not above ``after``, the speed of the
    next block. Otherwise, the result is the end of the range of feasible speeds that begins at ``after``.
    """
    j = i + 1
    even, which = math.inf, -1
    for a in range(q.shape[1]):
        if acceleration[a] < math.inf:
            bend, bound = abs(q[i, a] - q[j, a]), acceleration[a] * min(h[i], h[j])
            if bend > 0 and bound / bend < even * even:
                even, which = math.sqrt(bound / bend), 2 * a + 1
    if even <= after:
        limits[i] = which
        return min(cap, even)
    up = cap
    for a in range(q.shape[1]):
        if acceleration[a] == math.inf:
            continue
        end = _end_of_feasible_speeds(q[i, a], q[j, a] * after, after, h[i], h[j], acceleration[a])
        if end < up:
            up, limits[i] = max(end, min(after, cap)), 2 * a + 1
    return up


def _end_of_feasible_speeds(p: float, g: float, after: float, here: float, ahead: float, acceleration: float) -> float:
    """Return the end of the range of a block's speeds that an axis can follow; the range begins at the next block's speed.

    ``p`` is the displacement of the axis per unit of the block's length, ``g`` the speed of the axis in the next block, ``after``
    the speed of the next block; ``here`` and ``ahead`` are the lengths of the block and of the next block.
    """
    if p < 0:
        p, g = -p, -g
    turn = after * here / ahead
    start, end = after, math.inf
    if turn > after:
        bound = acceleration * ahead / after
        end = (g + bound) / p if p > 0 else math.inf
        start = turn
    if end >= turn or turn <= after:
        bound = acceleration * here
        if p == 0:
            return bound / abs(g) if g != 0 else math.inf
        root = math.sqrt(g * g + 4 * p * bound)
        end = (g + root) / (2 * p) if g >= 0 else 2 * bound / (root - g)
        discriminant = g * g - 4 * p * bound
        if g > 0 and discriminant > 0 and start < g / (2 * p):
            end = 2 * bound / (g + math.sqrt(discriminant))
    return end


def _fastest_after(
    q: Array, h: Array, acceleration: Array, at: int, to: int, known: float, asked: float, by: int
) -> tuple[float, bool, int]:
    """Return the greatest speed of the block ``to``, up to ``asked``, that can follow the speed ``known`` of the block ``at``.

    Also returned are whether such a speed exists, and the limit of the speed as in `caps`; ``by`` if no axis reduces the speed.
    """
    y, changed = asked, True
    while changed:
        changed = False
        for a in range(q.shape[1]):
            if acceleration[a] == math.inf:
                continue
            p, g = q[to, a], q[at, a] * known
            if p < 0:
                p, g = -p, -g
            if abs(p * y - g) * max(known / h[at], y / h[to]) <= acceleration[a] * (1 + 1e-11):
                continue
            found = _fastest_on_axis(p, g, y, known, h[at], h[to], acceleration[a])
            if found < 0:
                return y, False, by
            if found < y * (1 - 1e-12):
                y, changed, by = found, True, 2 * a + 1
    return y, True, by


def _fastest_on_axis(p: float, g: float, y: float, known: float, before: float, here: float, acceleration: float) -> float:
    """Return the greatest speed of a block, up to ``y``, that an axis can follow from the previous block; -1 if there is none.

    ``p`` >= 0 is the displacement of the axis per unit of the block's length, ``g`` the speed of the axis in the previous block,
    ``known`` the speed of the previous block; ``before`` and ``here`` are the lengths of the previous block and of this one.
    """
    turn = known * here / before
    if y > turn:
        bound = acceleration * here
        if p == 0:
            found = bound / abs(g)
        else:
            root = math.sqrt(g * g + 4 * p * bound)
            found = min(y, (g + root) / (2 * p) if g >= 0 else 2 * bound / (root - g))
            discriminant = g * g - 4 * p * bound
            if g > 0 and discriminant > 0:
                root = math.sqrt(discriminant)
                if found < (g + root) / (2 * p):
                    found = min(found, 2 * bound / (g + root))
        if found > turn:
            return found
    if p > 0:
        bound = acceleration * before / known
        found = min(y, turn, (g + bound) / p)
        if found >= (g - bound) / p * (1 - 1e-11):
            return found
    return -1.0
