"""Writing of moves as lines of words, with fixed-point numbers without an exponent; words of stationary axes are omitted.

What the arrays hold:

* ``counts`` : (moves, axes) int64: positions, in units of the last decimal; ``last`` : (axes,) int64: last written positions.
* ``minutes`` : (moves,) float64: durations of the moves.
* ``places`` : (axes,) int64: numbers of decimals; ``letters`` : (axes,) uint8: letters of the axes.
* ``slides`` : (axes,) bool: whether an axis is a slide.
* ``state`` : (5,) int64: indexed by `NUMBER` to `TOO_SLOW`; ``out`` : (m,) uint8: the bytes written.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Int64s = NDArray[np.int64]

__all__ = ["LINES", "LONGEST", "MODE", "NUMBER", "TOO_SLOW", "write_moves"]

NUMBER: Final = 0
"""Index in the kernel's state of the number of the next line; 0 if lines are not numbered."""
LINES: Final = 1
"""Index in the state of the number of written lines."""
LONGEST: Final = 2
"""Index in the state of the length of the longest line, in characters."""
MODE: Final = 3
"""Index in the state of the feed mode, 93 or 94."""
TOO_SLOW: Final = 4
"""Index in the state of the flag that is 1 if a feed was too slow for a feed word."""
_INVERSE_TIME, _PER_MINUTE = 93, 94
"""G codes of the feed modes."""
_F, _G, _N = ord("F"), ord("G"), ord("N")
_NEW_LINE, _SPACE, _MINUS, _POINT, _ZERO = ord("\n"), ord(" "), ord("-"), ord("."), ord("0")


def write_moves(
    counts: Int64s,
    last: Int64s,
    minutes: Array,
    places: Int64s,
    letters: NDArray[np.uint8],
    slides: NDArray[np.bool_],
    inverse: bool,
    least_inverse_speed: float,
    most: int,
    state: Int64s,
    out: NDArray[np.uint8],
) -> int:
    """Write straight feed moves, one line each, and return the number of bytes.

    The duration of a move that moves no axis is added to the duration of the next move. In inverse time, the feed is the
    reciprocal of the duration in minutes. If the slides move more slowly than ``least_inverse_speed`` per minute, or inverse time
    may not be used, the feed is the length along the slides per minute or, if no slide moves, the angle per minute; length and
    angle are the roots of the sums of squares over the axes (NISTIR 6556, 2.1.2.5). Feeds have eleven significant figures.

    Parameters
    ----------
    counts : (n, k) int64
        Position at the end of each move, in units of the last decimal.
    last : (k,) int64
        In: the last positions written, in the same units; -2**62 or less if unknown. Out: the positions after these moves.
    minutes : (n,) float64
        Duration of each move.
    places : (k,) int64
        Number of decimals in the words of each axis.
    letters : (k,) uint8
        Letter of each axis.
    slides : (k,) bool
        Whether each axis is a slide.
    inverse : bool
        Whether inverse time may be used.
    least_inverse_speed : float
        Speed, in units of length per minute, below which the feed of slides is not given in inverse time.
    most : int
        Greatest line number; the lines after the line with this number are not numbered.
    state : (5,) int64
        See `NUMBER` and the constants after it.
    out : (m,) uint8
        Filled: the written bytes; the array must be long enough for all lines.
    """
    n, k = counts.shape
    at, waiting = 0, 0.0
    for i in range(n):
        waiting += minutes[i]
        changed, length, angle = _travel(counts[i], last, places, slides)
        if not changed:
            continue
        mode, feed = _INVERSE_TIME, 1 / waiting
        if not inverse or 0 < length < least_inverse_speed * waiting:
            mode, feed = _PER_MINUTE, (length if length > 0 else angle) / waiting
        waiting = 0.0
        power = 10 - math.floor(math.log10(feed)) if feed > 0 else 16
        if power > 15:
            power = 15
            state[TOO_SLOW] = 1
        if power < 1:
            power = 1
        if state[MODE] != mode:
            begin = at
            at = _begin_line(state, most, out, at)
            at = _code(mode, out, begin, at)
            at = _end_line(state, out, begin, at)
        begin = at
        at = _begin_line(state, most, out, at)
        at = _code(1, out, begin, at)
        for a in range(k):
            if counts[i, a] != last[a]:
                at = _word(letters[a], counts[i, a], places[a], out, begin, at)
        at = _word(_F, math.floor(feed * 10.0**power + 0.5), power, out, begin, at)
        at = _end_line(state, out, begin, at)
        state[MODE] = mode
        for a in range(k):
            last[a] = counts[i, a]
    return at


def _travel(counts: Int64s, last: Int64s, places: Int64s, slides: NDArray[np.bool_]) -> tuple[bool, float, float]:
    """Return whether a move changes any position, the move's length along the slides, and its angle about the rotary axes."""
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


def _begin_line(state: Int64s, most: int, out: NDArray[np.uint8], at: int) -> int:
    """Begin a line with its number, if lines are numbered; return the index of the next byte."""
    if state[NUMBER] > 0:
        at = _word(_N, state[NUMBER], 0, out, at, at)
        state[NUMBER] = state[NUMBER] + 1 if state[NUMBER] < most else 0
    return at


def _code(code: int, out: NDArray[np.uint8], begin: int, at: int) -> int:
    """Write a G word on a line that begins at ``begin``; return the index of the next byte."""
    return _word(_G, code, 0, out, begin, at)


def _end_line(state: Int64s, out: NDArray[np.uint8], begin: int, at: int) -> int:
    """End a line that begins at ``begin``, and count it; return the index of the next byte."""
    out[at] = _NEW_LINE
    state[LINES] += 1
    state[LONGEST] = max(state[LONGEST], at - begin)
    return at + 1


def _word(letter: int, value: int, decimals: int, out: NDArray[np.uint8], begin: int, at: int) -> int:
    """Write a letter and a number with ``decimals`` decimals on a line that begins at ``begin``; return the next byte's index.

    Trailing zeros after the decimal point are omitted.
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
