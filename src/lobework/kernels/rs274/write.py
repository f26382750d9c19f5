"""Moves as lines of words: fixed-point numbers without an exponent, those that have not changed left out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Whole = NDArray[np.int64]

__all__ = ["LINES", "LONGEST", "MODE", "NUMBER", "SLOWEST", "spell"]

NUMBER: Final = 0
"""Where the kernel's state holds the number of the next line; 0 where lines have none."""
LINES: Final = 1
"""Where it holds how many lines are written."""
LONGEST: Final = 2
"""Where it holds how long the longest is, in characters."""
MODE: Final = 3
"""Where it holds the feed mode, 93 or 94."""
SLOWEST: Final = 4
"""Where it holds whether a feed was too slow to say."""


def spell(
    counts: Whole,
    last: Whole,
    minutes: Array,
    places: Whole,
    letters: NDArray[np.uint8],
    slides: NDArray[np.bool_],
    inverse: bool,
    creep: float,
    most: int,
    state: Whole,
    out: NDArray[np.uint8],
) -> int:
    """Write straight moves at a feed, each a line, and return how many bytes; one that goes nowhere lends its time to the next.

    In inverse time a feed is one over the minutes; where the slides go, but slower than ``creep`` a minute, and where there is no
    inverse time, it is the length along the slides a minute, or where none goes the angle: the root of the sum of squares
    (NISTIR 6556, 2.1.2.5). Feeds have eleven figures.

    Parameters
    ----------
    counts : (n, k) int64
        Where each move ends, in units of the last decimal.
    last : (k,) int64
        Where the axes stand, as far as is written; a number beyond any place where it is not known. Out: where they stand then.
    minutes : (n,) float64
        That each takes.
    places : (k,) int64
        Decimals of each axis's words.
    letters : (k,) uint8
    slides : (k,) bool
        Which axes slide.
    inverse : bool
        Whether inverse time may be used.
    creep : float
        Units of length a minute.
    most : int
        The last line number.
    state : (5,) int64
        See `NUMBER` and those after it.
    out : (m,) uint8
        Room enough.
    """
    n, k = counts.shape
    at, waiting = 0, 0.0
    for i in range(n):
        waiting += minutes[i]
        changed = False
        length, angle = 0.0, 0.0
        for a in range(k):
            if counts[i, a] != last[a]:
                changed = True
                if last[a] > -(2**62):
                    off = (counts[i, a] - last[a]) / 10.0 ** places[a]
                    if slides[a]:
                        length += off * off
                    else:
                        angle += off * off
        if not changed:
            continue
        length, angle = math.sqrt(length), math.sqrt(angle)
        mode, feed = 93, 1 / waiting
        if not inverse or 0 < length < creep * waiting:
            mode, feed = 94, (length if length > 0 else angle) / waiting
        waiting = 0.0
        power = 10 - math.floor(math.log10(feed)) if feed > 0 else 16
        if power > 15:
            power = 15
            state[4] = 1
        if power < 1:
            power = 1
        for part in range(0 if state[3] != mode else 1, 2):
            begin = at
            for f in range(k + 2):
                value, decimals, letter = 0, 0, 0
                if f == 0:
                    if state[0] > 0:
                        value, letter = state[0], 78
                        state[0] = state[0] + 1 if state[0] < most else 0
                elif f <= k:
                    if part == 1 and counts[i, f - 1] != last[f - 1]:
                        value, decimals, letter = counts[i, f - 1], places[f - 1], letters[f - 1]
                elif part == 1:
                    value, decimals, letter = math.floor(feed * 10.0**power + 0.5), power, 70
                if letter > 0:
                    if at > begin:
                        out[at] = 32
                        at += 1
                    out[at] = letter
                    at += 1
                    if value < 0:
                        value = -value
                        out[at] = 45
                        at += 1
                    while decimals > 0 and value % 10 == 0:
                        value //= 10
                        decimals -= 1
                    figures, rest = 1, value // 10
                    while rest > 0:
                        rest //= 10
                        figures += 1
                    figures = max(figures, decimals + 1) + (1 if decimals > 0 else 0)
                    for d in range(figures):
                        if decimals > 0 and d == decimals:
                            out[at + figures - 1 - d] = 46
                        else:
                            out[at + figures - 1 - d] = 48 + value % 10
                            value //= 10
                    at += figures
                if f == 0:
                    if at > begin:
                        out[at] = 32
                        at += 1
                    out[at] = 71
                    out[at + 1] = 49 if part == 1 else 57
                    at += 2
                    if part == 0:
                        out[at] = 48 + mode - 90
                        at += 1
            out[at] = 10
            at += 1
            state[1] += 1
            state[2] = max(state[2], at - begin - 1)
        state[3] = mode
        for a in range(k):
            last[a] = counts[i, a]
    return at
