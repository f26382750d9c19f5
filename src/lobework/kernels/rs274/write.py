"""Moves as lines of words: fixed-point numbers without an exponent, those that have not changed left out.

What the arrays hold:

* ``counts`` : (moves, axes) int64, units of the last decimal; ``last`` : (axes,) int64, the same; ``minutes`` : (moves,) float64.
* ``places`` : (axes,) int64, decimals; ``letters`` : (axes,) uint8; ``slides`` : (axes,) bool.
* ``state`` : (5,) int64: by `NUMBER` to `SLOWEST`; ``out`` : (m,) uint8: the bytes written.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Whole = NDArray[np.int64]

__all__ = ["LINES", "LONGEST", "MODE", "NUMBER", "SLOWEST", "write_moves"]

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
_INVERSE_TIME, _PER_MINUTE = 93, 94
"""Feed modes, by their G code."""
_F, _G, _N = ord("F"), ord("G"), ord("N")
_NEW_LINE, _SPACE, _MINUS, _POINT, _ZERO = ord("\n"), ord(" "), ord("-"), ord("."), ord("0")


def write_moves(
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
        changed, length, angle = _gone(counts[i], last, places, slides)
        if not changed:
            continue
        mode, feed = _INVERSE_TIME, 1 / waiting
        if not inverse or 0 < length < creep * waiting:
            mode, feed = _PER_MINUTE, (length if length > 0 else angle) / waiting
        waiting = 0.0
        power = 10 - math.floor(math.log10(feed)) if feed > 0 else 16
        if power > 15:
            power = 15
            state[SLOWEST] = 1
        if power < 1:
            power = 1
        if state[MODE] != mode:
            begin = at
            at = _numbered(state, most, out, at)
            at = _code(mode, out, begin, at)
            at = _ended(state, out, begin, at)
        begin = at
        at = _numbered(state, most, out, at)
        at = _code(1, out, begin, at)
        for a in range(k):
            if counts[i, a] != last[a]:
                at = _word(letters[a], counts[i, a], places[a], out, begin, at)
        at = _word(_F, math.floor(feed * 10.0**power + 0.5), power, out, begin, at)
        at = _ended(state, out, begin, at)
        state[MODE] = mode
        for a in range(k):
            last[a] = counts[i, a]
    return at


def _gone(counts: Whole, last: Whole, places: Whole, slides: NDArray[np.bool_]) -> tuple[bool, float, float]:
    """Return whether a move goes anywhere, how far along the slides, and how far about the axes that turn."""
    changed = False
    length, angle = 0.0, 0.0
    for a in range(counts.size):
        if counts[a] != last[a]:
            changed = True
            if last[a] > -(2**62):
                off = (counts[a] - last[a]) / 10.0 ** places[a]
                if slides[a]:
                    length += off * off
                else:
                    angle += off * off
    return changed, math.sqrt(length), math.sqrt(angle)


def _numbered(state: Whole, most: int, out: NDArray[np.uint8], at: int) -> int:
    """Begin a line with its number, where lines have one; return where the next byte goes."""
    if state[NUMBER] > 0:
        at = _word(_N, state[NUMBER], 0, out, at, at)
        state[NUMBER] = state[NUMBER] + 1 if state[NUMBER] < most else 0
    return at


def _code(code: int, out: NDArray[np.uint8], begin: int, at: int) -> int:
    """Write a G word on a line that begins at ``begin``; return where the next byte goes."""
    return _word(_G, code, 0, out, begin, at)


def _ended(state: Whole, out: NDArray[np.uint8], begin: int, at: int) -> int:
    """End a line that begins at ``begin``, and count it; return where the next byte goes."""
    out[at] = _NEW_LINE
    state[LINES] += 1
    state[LONGEST] = max(state[LONGEST], at - begin)
    return at + 1


def _word(letter: int, value: int, decimals: int, out: NDArray[np.uint8], begin: int, at: int) -> int:
    """Write a letter and a number with ``decimals`` decimals on a line that begins at ``begin``; return where the next byte goes.

    Zeros at the end of the decimals are left out.
    """
    if at > begin:
        out[at] = _SPACE
        at += 1
    out[at] = letter
    at += 1
    if value < 0:
        value = -value
        out[at] = _MINUS
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
            out[at + figures - 1 - d] = _POINT
        else:
            out[at + figures - 1 - d] = _ZERO + value % 10
            value //= 10
    return at + figures
