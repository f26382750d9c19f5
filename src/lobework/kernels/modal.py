"""The words of a program as moves: the modal rules of a controller, line by line.

T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter - Version 3*, NISTIR 6556 (2000): 2.1.2.5 (feed),
3.3.5 and Table 4 (repeats, modal groups), 3.5 (codes), Table 8 (order of execution).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from lobework.kernels.scan import COMMENT, DELETE, PERCENT, REMARK

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.kernels.scan import Bytes, Ints
    from lobework.rigid import Array

__all__ = ["run_words"]

# What a block is; `lobework.proof.reader` has the same numbers.
RAPID: Final = 0
FEED: Final = 1
ARC: Final = 2
DWELL: Final = 3
STOP: Final = 4
END: Final = 5

# What is told of a line, by number; `lobework.proof.reader` has the words.
TWICE: Final = 32
ONE_GROUP: Final = 33
FOUR_M: Final = 34
UNKNOWN_CODE: Final = 35
NOT_A_LETTER: Final = 36
N_NOT_FIRST: Final = 37
DELETE_NOT_FIRST: Final = 38
STRAY_PERCENT: Final = 39
NO_CODE_FOR: Final = 40
NO_AXIS: Final = 41
NO_MOTION: Final = 42
NO_FEED: Final = 43
NO_INVERSE_FEED: Final = 44
NEGATIVE_FEED: Final = 45
ZERO_FEED: Final = 46
NEGATIVE: Final = 47
NO_P: Final = 48
NO_CENTRE: Final = 49
BOTH_CENTRES: Final = 50
NO_END: Final = 51
UNEVEN_ARC: Final = 52
SHORT_RADIUS: Final = 53
FULL_BY_RADIUS: Final = 54
CUT_SHORT: Final = 55
NO_SECOND_PERCENT: Final = 56
NOT_READ: Final = 57
NOT_READ_NOTE: Final = 58
ROUNDED: Final = 59
NO_PATH_MODE: Final = 60
NO_UNITS: Final = 61
STILL_INVERSE: Final = 62
AFTER_END: Final = 63
SEMICOLON: Final = 64
DELETED: Final = 65

_A = 65
_F, _G, _I, _J, _K, _M, _N, _P, _R, _S, _T = 5, 6, 8, 9, 10, 12, 13, 15, 17, 18, 19
_UNSET = -1
_MM_PER_INCH = 25.4
_UNEVEN_MM = 0.002
_UNEVEN_INCH = 0.0002
_WHOLE = 1e-4
_AXES = np.array([ord(each) - 65 for each in "XYZABC"])
_WORDS = np.array([each in "ABCDFGHIJKLMNPQRSTXYZ" for each in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"])


@njit(cache=True, error_model="numpy", nogil=True)
def _g_group(code: int) -> int:
    """Return the modal group of ten times a G number, 0 for none, and -1 where the standard has no such code (Table 4)."""
    if code in (0, 10, 20, 30, 382) or (800 <= code <= 890 and code % 10 == 0):
        return 1
    if code in (40, 100, 280, 300, 530, 920, 921, 922, 923):
        return 0
    if code in (170, 180, 190):
        return 2
    if code in (900, 910):
        return 3
    if code in (930, 940):
        return 5
    if code in (200, 210):
        return 6
    if code in (400, 410, 420):
        return 7
    if code in (430, 490):
        return 8
    if code in (980, 990):
        return 10
    if code in (540, 550, 560, 570, 580, 590, 591, 592, 593):
        return 12
    return 13 if code in (610, 611, 640) else -1


@njit(cache=True, error_model="numpy", nogil=True)
def _is_read(code: int) -> bool:
    """Return whether ten times a G number is one whose meaning is known here."""
    if code in (0, 10, 20, 30, 40, 170, 180, 190, 200, 210, 400, 490, 540, 610, 611, 640, 800, 900, 910, 930, 940):
        return True
    return code in (980, 990)


@njit(cache=True, error_model="numpy", nogil=True)
def _m_group(code: int) -> int:
    """Return the modal group of an M number; -1 where the standard has no such code (Table 4)."""
    if code in (0, 1, 2, 30, 60):
        return 4
    if code == 6:
        return 6
    if code in (3, 4, 5):
        return 7
    if code in (7, 8, 9):
        return 8
    return 9 if code in (48, 49) else -1


@njit(cache=True, error_model="numpy", nogil=True)
def _tell(told: Ints, count: int, code: int, line: int, word: int) -> int:
    """Note one thing, for as long as there is room."""
    if count < told.shape[0]:
        told[count, 0], told[count, 1], told[count, 2] = code, line, word
        return count + 1
    return count


@njit(cache=True, error_model="numpy", nogil=True)
def _arc(
    here: Array, end: Array, plane: int, clockwise: bool, offsets: Array, given: NDArray[np.bool_], scale: float, arc: Array
) -> int:
    """Fill an arc's first and second axis, centre, start and end radius, start angle and sweep; return what is wrong, or zero.

    ``offsets`` and ``given``: I, J, K and R.
    """
    first, second = (0, 1) if plane == 170 else ((2, 0) if plane == 180 else (1, 2))
    odd = 3 - first - second
    if given[odd]:
        return NO_CODE_FOR
    centred = given[first] or given[second]
    if centred and given[3]:
        return BOTH_CENTRES
    if not centred and not given[3]:
        return NO_CENTRE
    ax, ay, bx, by = here[first], here[second], end[first], end[second]
    within = _UNEVEN_MM if scale == 1.0 else _UNEVEN_INCH * scale
    if centred:
        cx = ax + (offsets[first] if given[first] else 0.0)
        cy = ay + (offsets[second] if given[second] else 0.0)
        if abs(math.hypot(ax - cx, ay - cy) - math.hypot(bx - cx, by - cy)) > within:
            return UNEVEN_ARC
    else:
        dx, dy, radius = bx - ax, by - ay, offsets[3]
        half = 0.5 * math.hypot(dx, dy)
        if half == 0.0:
            return FULL_BY_RADIUS
        if half - abs(radius) > within:
            return SHORT_RADIUS
        away = math.sqrt(max(radius * radius - half * half, 0.0))
        left = (radius > 0) != clockwise
        per = (away if left else -away) / (2 * half)
        cx, cy = 0.5 * (ax + bx) - dy * per, 0.5 * (ay + by) + dx * per
    begin = math.atan2(ay - cy, ax - cx)
    sweep = (math.atan2(by - cy, bx - cx) - begin) % (2 * math.pi)
    if ax == bx and ay == by:
        sweep = 0.0
    sweep = sweep if sweep > 0.0 else 2 * math.pi
    if clockwise:
        sweep = sweep - 2 * math.pi if sweep < 2 * math.pi else -sweep
    arc[0], arc[1], arc[2], arc[3] = first, second, cx, cy
    arc[4], arc[5] = math.hypot(ax - cx, ay - cy), math.hypot(bx - cx, by - cy)
    arc[6], arc[7] = begin, sweep
    return 0


@njit(cache=True, error_model="numpy", nogil=True)
def _length(here: Array, end: Array, arc: Array, is_arc: bool) -> float:
    """Return what a feed is counted over (2.1.2.5): the way of X, Y, Z where any of them moves, in mm; otherwise the angles."""
    if is_arc:
        odd = 3 - int(arc[0]) - int(arc[1])
        return math.hypot(0.5 * (arc[4] + arc[5]) * abs(arc[7]), end[odd] - here[odd])
    d = end - here
    along = math.sqrt(d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    return along if along > 0 else math.sqrt(d[3] * d[3] + d[4] * d[4] + d[5] * d[5])


@njit(cache=True, error_model="numpy", nogil=True)
def run_words(
    kinds: Bytes,
    values: Array,
    lines: Ints,
    inch: bool,
    block: Ints,
    ends: Array,
    minutes: Array,
    arcs: Array,
    named: Ints,
    told: Ints,
) -> tuple[int, int, int]:
    """Carry out a program's words, and return how many blocks there are, how much is told, and how many words were run.

    Parameters
    ----------
    kinds, values, lines : (n,)
        The words, as `lobework.kernels.scan.read_words` gives them.
    inch : bool
        What lengths are read in until the program says.
    block : (k, 2) int64
        Filled: what a block is, and its line.
    ends : (k, 6) float64
        Filled: where X, Y, Z (mm), A, B, C (degrees) are at its end.
    minutes : (k,) float64
        Filled: how long it takes; of a rapid move, not a number.
    arcs : (k, 8) float64
        Filled for arcs: first and second axis, centre, radius at start and end, mm, angle at the start and sweep, rad.
    named : (6, 2) int64
        Filled: the first block that names each axis, and its line; -1 where none does.
    told : (t, 3) int64
        Filled: what is to be told, the line, and the word.
    """
    n = kinds.size
    here, end = np.zeros(6), np.zeros(6)
    motion, plane, absolute, inverse, scale = _UNSET, 170, True, False, _MM_PER_INCH if inch else 1.0
    feed, units_said, path_said, moved = 0.0, False, False, False
    blocks, count, k, ended, begun = 0, 0, 0, False, False
    percents, last_line = 0, 0
    value, word = np.zeros(26), np.full(26, -1)
    offsets, given = np.zeros(4), np.zeros(4, np.bool_)
    groups, m_groups = np.zeros(14, np.int64), np.zeros(10, np.int64)
    named[:] = -1
    while k < n and not ended:
        line, first = lines[k], k
        last_line = line
        value[:], word[:], groups[:], m_groups[:] = 0.0, -1, -1, -1
        bare, m_words, wrong = -1, 0, count
        while k < n and lines[k] == line:
            kind = kinds[k]
            if kind < 32:
                count = _tell(told, count, int(kind), line, k)
            elif kind == PERCENT:
                if begun and not percents:
                    count = _tell(told, count, STRAY_PERCENT, line, k)
                percents += 1
                ended = percents == 2
            elif kind == DELETE:
                if k > first:
                    count = _tell(told, count, DELETE_NOT_FIRST, line, k)
                else:
                    count = _tell(told, count, DELETED, line, k)
                    wrong = count
            elif kind == REMARK:
                count = _tell(told, count, SEMICOLON, line, k)
                wrong += 1
            elif kind == COMMENT:
                pass
            else:
                letter = int(kind) - _A
                if not _WORDS[letter]:
                    count = _tell(told, count, NOT_A_LETTER, line, k)
                elif letter in (_G, _M):
                    times = 10.0 if letter == _G else 1.0
                    code = int(math.floor(values[k] * times + 0.5))
                    if abs(values[k] * times - code) > _WHOLE * times:
                        code = -1
                    group = _g_group(code) if letter == _G else _m_group(code)
                    if group < 0:
                        count = _tell(told, count, UNKNOWN_CODE, line, k)
                    elif letter == _G:
                        known = _is_read(code)
                        if group == 0:
                            if bare >= 0:
                                count = _tell(told, count, ONE_GROUP, line, k)
                            bare = code
                        elif groups[group] >= 0:
                            count = _tell(told, count, ONE_GROUP, line, k)
                        groups[group] = code
                        if not known:
                            count = _tell(told, count, NOT_READ, line, k)
                        elif code in (980, 990):
                            count = _tell(told, count, NOT_READ_NOTE, line, k)
                            wrong += 1
                    else:
                        m_words += 1
                        both = group == 8 and m_groups[8] + code == 15
                        if m_groups[group] >= 0 and not both:
                            count = _tell(told, count, ONE_GROUP, line, k)
                        if m_words == 5:
                            count = _tell(told, count, FOUR_M, line, k)
                        m_groups[group] = code
                        if code in (6, 60):
                            count = _tell(told, count, NOT_READ, line, k)
                elif word[letter] >= 0:
                    count = _tell(told, count, TWICE, line, k)
                else:
                    word[letter], value[letter] = k, values[k]
                    if letter == _N and k > first + (1 if kinds[first] == DELETE else 0):
                        count = _tell(told, count, N_NOT_FIRST, line, k)
            if kind != COMMENT and kind != PERCENT:
                begun = True
            k += 1
        if ended or count > wrong:
            continue
        if word[_S] >= 0 and value[_S] < 0:
            count = _tell(told, count, NEGATIVE, line, word[_S])
        if word[_T] >= 0 and value[_T] < 0:
            count = _tell(told, count, NEGATIVE, line, word[_T])
        # feed mode and feed
        if groups[5] >= 0 and (groups[5] == 930) != inverse:
            inverse, feed = groups[5] == 930, 0.0
        if word[_F] >= 0:
            if value[_F] < 0:
                count = _tell(told, count, NEGATIVE_FEED, line, word[_F])
            feed = value[_F]
        # dwell
        if groups[0] == 40:
            if word[_P] < 0:
                count = _tell(told, count, NO_P, line, first)
            elif value[_P] < 0:
                count = _tell(told, count, NEGATIVE, line, word[_P])
            else:
                block[blocks, 0], block[blocks, 1], ends[blocks], minutes[blocks] = DWELL, line, here, value[_P] / 60
                blocks += 1
        # plane, units, path, distance
        plane = groups[2] if groups[2] >= 0 else plane
        if groups[6] >= 0:
            scale, units_said = _MM_PER_INCH if groups[6] == 200 else 1.0, True
        if groups[13] >= 0:
            path_said = True
            if groups[13] == 640:
                count = _tell(told, count, ROUNDED, line, first)
        if groups[3] >= 0:
            absolute = groups[3] == 900
        if groups[1] >= 0:
            motion = _UNSET if groups[1] == 800 else groups[1]
        # motion
        axes = 0
        end[:] = here
        for a in range(6):
            letter = _AXES[a]
            if word[letter] >= 0:
                axes += 1
                to = value[letter] * scale if a < 3 else value[letter]
                end[a] = to if absolute else here[a] + to
                if named[a, 0] < 0:
                    named[a, 0], named[a, 1] = blocks, line
        arc = axes > 0 and motion in (20, 30)
        if axes and motion == _UNSET:
            count = _tell(told, count, NO_MOTION, line, first)
        elif not axes and groups[1] in (0, 10, 20, 30):
            count = _tell(told, count, NO_AXIS, line, first)
        for letter in (3, 7, _I, _J, _K, 11, _P, 16, _R):
            used = (letter == _P and groups[0] == 40) or (arc and letter in (_I, _J, _K, _R))
            if word[letter] >= 0 and not used:
                if letter == _P and groups[13] == 640:
                    count = _tell(told, count, NOT_READ_NOTE, line, word[letter])
                else:
                    count = _tell(told, count, NO_CODE_FOR, line, word[letter])
        if axes and motion != _UNSET:
            if not moved and not units_said:
                count = _tell(told, count, NO_UNITS, line, first)
            if not moved and not path_said:
                count = _tell(told, count, NO_PATH_MODE, line, first)
            moved = True
            problem = 0
            if arc:
                for o in range(4):
                    letter = (_I, _J, _K, _R)[o]
                    given[o] = word[letter] >= 0
                    offsets[o] = value[letter] * scale
                first_axis = 0 if plane == 170 else (2 if plane == 180 else 1)
                second_axis = 1 if plane == 170 else (0 if plane == 180 else 2)
                if word[_AXES[first_axis]] < 0 and word[_AXES[second_axis]] < 0:
                    problem = NO_END
                else:
                    problem = _arc(here, end, plane, motion == 20, offsets, given, scale, arcs[blocks])
            takes = math.nan
            if not problem and motion != 0:
                if inverse:
                    if word[_F] < 0:
                        problem = NO_INVERSE_FEED
                    elif feed == 0:
                        problem = ZERO_FEED
                    else:
                        takes = 1 / feed
                        if not arc and np.all(end == here):
                            count = _tell(told, count, STILL_INVERSE, line, first)
                elif feed == 0:
                    problem = NO_FEED
                else:
                    along = _length(here, end, arcs[blocks], arc)
                    turns_only = not arc and end[0] == here[0] and end[1] == here[1] and end[2] == here[2]
                    takes = along / (feed if turns_only else feed * scale)
            if problem:
                count = _tell(told, count, problem, line, first)
            block[blocks, 0] = RAPID if motion == 0 else (ARC if arc else FEED)
            block[blocks, 1], ends[blocks], minutes[blocks] = line, end, takes
            blocks += 1
            here[:] = end
        # stop
        if m_groups[4] in (0, 1):
            block[blocks, 0], block[blocks, 1], ends[blocks], minutes[blocks] = STOP, line, here, 0.0
            blocks += 1
        elif m_groups[4] in (2, 30):
            block[blocks, 0], block[blocks, 1], ends[blocks], minutes[blocks] = END, line, here, 0.0
            blocks += 1
            ended = True
            for later in range(k, n):
                if _A <= kinds[later] <= 90:
                    count = _tell(told, count, AFTER_END, lines[later], later)
                    break
    if not ended:
        count = _tell(told, count, NO_SECOND_PERCENT if percents else CUT_SHORT, last_line, max(n - 1, 0))
    return blocks, count, k
