"""Interpretation of the words of a program as moves, line by line, according to the modal rules of a controller.

Rules: T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter - Version 3*, NISTIR 6556 (2000): 2.1.2.5
(feed), 3.3.5 and Table 4 (repeats, modal groups), 3.5 (codes), Table 8 (order of execution).

What the arrays hold:

* ``kinds``, ``values``, ``lines`` : (words,): as `lobework.kernels.rs274.scan.read_words` fills them.
* ``here``, ``end`` : (6,) float64, mm and degrees: positions of X, Y, Z, A, B, C before and after a line.
* ``value`` : (26,) float64, ``word`` : (26,) int64: number after each letter on a line, and index of the word, or -1.
* ``groups`` : (14,), ``m_groups`` : (10,) int64: code of each modal group on a line, G codes times ten; -1 if absent.
* ``state`` : (12,) int64: state of the controller, indexed by `_MOTION` to `_DISTANCE_IS_SET`.
* ``rates`` : (2,) float64: indexed by `_MM` and `_FEED`.
* ``arc``, ``arcs`` : (8,), (blocks, 8) float64: indexed by `_FIRST_AXIS` to `_SWEEP`.
* ``remarks`` : (t, 3) int64: remarks, with the columns `_CODE` to `_PLACE`.
* ``error`` : (2,) int64: the first error of a line, 0 if none, and the index of its word.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.rs274.block_kinds import ARC, DWELL, END, FEED, RAPID, STOP, SWITCHED
from lobework.kernels.rs274.scan import COMMENT, DELETE, PERCENT, SEMICOLON_COMMENT

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.rs274.scan import Bytes, Int32s, Ints

__all__ = ["run_words"]

# Numbers of the remarks on a line; `lobework.proof.reader` contains the texts of the remarks.
REPEATED_LETTER: Final = 32
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
MAY_STOP: Final = 66
NO_DISTANCE: Final = 67
MOTOR: Final = 68
INVERSE: Final = 69
"""Not a remark: the row of this number in the tally (see `TALLY_ROWS`) contains the first line with inverse time."""
TALLY_ROWS: Final = 72
"""Number of rows of the tally, which counts each remark: greater than all numbers here and in `lobework.kernels.rs274.scan`."""
ONCE: Final = NOT_READ_NOTE
"""A remark with this number or a greater one is recorded for the first line only; the tally counts all its lines."""

_A, _Z = 65, 90
_D, _F, _G, _H, _I, _J, _K, _L, _M, _N, _P, _Q, _R, _S, _T = 3, 5, 6, 7, 8, 9, 10, 11, 12, 13, 15, 16, 17, 18, 19
_UNSET = -1
_MM_PER_INCH = 25.4
_RADIUS_TOLERANCE_MM = 0.002
_RADIUS_TOLERANCE_INCH = 0.0002
_WHOLE = 1e-4
_AXES = np.array([ord(each) - 65 for each in "XYZABC"])
_WORDS = np.array([each in "ABCDFGHIJKLMNPQRSTXYZ" for each in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"])
_BY_CODE = np.array([_D, _H, _I, _J, _K, _L, _P, _Q, _R])
"""Letters of words that are allowed only with certain codes."""

_MOST_CODE = 1000
_ONE_BLOCK, _MOTION_GROUP, _PLANE_GROUP, _DISTANCE_GROUP, _FEED_GROUP, _UNITS_GROUP, _PATH_GROUP = 0, 1, 2, 3, 5, 6, 13
"""Modal groups of G codes, by their numbers in the standard."""
_STOP_GROUP, _COOLANT_GROUP = 4, 8
"""Modal groups of M codes, by their numbers in the standard."""
_CODE, _LINE, _PLACE = range(3)
"""Columns of ``remarks``: number of the remark (in the tally: number of its occurrences), line, and index of the word."""
_WORD = 1
"""Element of ``error`` after `_CODE`: the index of the word."""
_MM, _FEED = range(2)
"""Elements of ``rates``: millimetres per unit of length, and the feed."""
_FIRST_AXIS, _SECOND_AXIS, _CENTRE_1, _CENTRE_2, _RADIUS_BEGIN, _RADIUS_END, _ANGLE, _SWEEP = range(8)
"""Elements of an arc: both axes of its plane, its centre on both axes, radii at start and end, angle at the start, sweep."""
_G_GROUPS = {
    1: (0, 10, 20, 30, 382, *range(800, 900, 10)),
    0: (40, 100, 280, 300, 530, 920, 921, 922, 923),
    2: (170, 180, 190),
    3: (900, 910),
    5: (930, 940),
    6: (200, 210),
    7: (400, 410, 420),
    8: (430, 490),
    10: (980, 990),
    12: (540, 550, 560, 570, 580, 590, 591, 592, 593),
    13: (610, 611, 640),
}
_M_GROUPS = {4: (0, 1, 2, 30, 60), 6: (6,), 7: (3, 4, 5), 8: (7, 8, 9), 9: (48, 49)}
_READ = (0, 10, 20, 30, 40, 170, 180, 190, 200, 210, 400, 490, 540, 610, 611, 640, 800, 900, 910, 930, 940, 980, 990)


def _table(groups: dict[int, tuple[int, ...]]) -> Ints:
    """Return the modal group of each code; -1 if the standard does not define the code (Table 4)."""
    table = np.full(_MOST_CODE, -1)
    for group, codes in groups.items():
        table[list(codes)] = group
    return table


_G_GROUP, _M_GROUP = _table(_G_GROUPS), _table(_M_GROUPS)
"""Modal groups, indexed by ten times the G number and by the M number."""
_IS_READ = np.isin(np.arange(_MOST_CODE), _READ)
"""Whether this interpreter supports a G code, indexed by ten times its number."""

# Elements of the controller's state; all are integers.
(
    _MOTION,
    _PLANE,
    _ABSOLUTE,
    _INVERSE,
    _UNITS_IS_SET,
    _PATH_IS_SET,
    _MOVED,
    _BLOCKS,
    _BEGUN,
    _PERCENTS,
    _ENDED,
    _DISTANCE_IS_SET,
) = range(12)


@kernel(inline="always")
def _record_remark(remarks: Ints, code: int, line: int, word: int) -> None:
    """Record a remark: an error if there is space, any other remark once; the first row of ``remarks`` counts the records."""
    tally, at = remarks.shape[0] - TALLY_ROWS, remarks[0, 0] + 1
    remarks[tally + code, _CODE] += 1
    if code >= ONCE:
        if remarks[tally + code, _CODE] > 1:
            return
    elif at >= tally - (TALLY_ROWS - ONCE):
        return
    remarks[0, 0] = at
    remarks[at, _CODE], remarks[at, _LINE], remarks[at, _PLACE] = code, line, word


@kernel(inline="always")
def _record_error(error: Ints, code: int, word: int) -> None:
    """Record an error of a line, if the line has no earlier error."""
    if error[_CODE] == 0:
        error[_CODE], error[_WORD] = code, word


@kernel()
def _clear(all_of: Ints) -> None:
    for k in range(all_of.size):
        all_of[k] = -1


@kernel()
def _moved(here: Array, end: Array) -> int:
    """Return 2 if X, Y or Z moves, 1 if only A, B or C moves, and 0 if no axis moves."""
    for a in range(6):
        if here[a] != end[a]:
            return 2 if a < 3 else 1
    return 0


@kernel()
def _append_block(block: Int32s, ends: Array, minutes: Array, at: int, kind: int, line: int, end: Array, takes: float) -> int:
    """Fill one block, and return the index of the next block."""
    block[at, 0], block[at, 1], minutes[at] = kind, line, takes
    for a in range(6):
        ends[at, a] = end[a]
    return at + 1


@kernel()
def _arc(
    here: Array, end: Array, first: int, second: int, clockwise: bool, word: Ints, value: Array, scale: float, arc: Array
) -> int:
    """Fill an arc's first and second axis, centre, start and end radius, start angle and sweep; return the error, or zero."""
    normal_axis = 3 - first - second
    if word[_I + normal_axis] >= 0:
        return NO_CODE_FOR
    by_first, by_second, by_radius = word[_I + first] >= 0, word[_I + second] >= 0, word[_R] >= 0
    centred = by_first or by_second
    if centred and by_radius:
        return BOTH_CENTRES
    if not centred and not by_radius:
        return NO_CENTRE
    ax, ay, bx, by = here[first], here[second], end[first], end[second]
    within = _RADIUS_TOLERANCE_MM if scale == 1.0 else _RADIUS_TOLERANCE_INCH * scale
    if centred:
        cx = ax + (value[_I + first] * scale if by_first else 0.0)
        cy = ay + (value[_I + second] * scale if by_second else 0.0)
        if abs(math.hypot(ax - cx, ay - cy) - math.hypot(bx - cx, by - cy)) > within:
            return UNEVEN_ARC
    else:
        dx, dy, radius = bx - ax, by - ay, value[_R] * scale
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
    arc[_FIRST_AXIS], arc[_SECOND_AXIS], arc[_CENTRE_1], arc[_CENTRE_2] = first, second, cx, cy
    arc[_RADIUS_BEGIN], arc[_RADIUS_END] = math.hypot(ax - cx, ay - cy), math.hypot(bx - cx, by - cy)
    arc[_ANGLE], arc[_SWEEP] = begin, sweep
    return 0


@kernel()
def _length(here: Array, end: Array, arc: Array, is_arc: bool) -> float:
    """Return the length to which a feed refers (2.1.2.5): the path length of X, Y, Z, mm; if none of these moves, the angle."""
    if is_arc:
        normal_axis = 3 - int(arc[_FIRST_AXIS]) - int(arc[_SECOND_AXIS])
        return math.hypot(0.5 * (arc[_RADIUS_BEGIN] + arc[_RADIUS_END]) * abs(arc[_SWEEP]), end[normal_axis] - here[normal_axis])
    first = 0 if _moved(here, end) == 2 else 3
    along = 0.0
    for a in range(first, first + 3):
        along += (end[a] - here[a]) ** 2
    return math.sqrt(along)


@kernel()
def _code(letter: int, number: float, k: int, groups: Ints, m_groups: Ints, error: Ints, remarks: Ints, line: int) -> None:
    """Store one G or M word in its modal group, and record the errors and remarks about the word."""
    times = 10.0 if letter == _G else 1.0
    code = int(math.floor(number * times + 0.5))
    if code < 0 or code >= _MOST_CODE or abs(number * times - code) > _WHOLE * times:
        _record_error(error, UNKNOWN_CODE, k)
        return
    group = _G_GROUP[code] if letter == _G else _M_GROUP[code]
    mine = groups if letter == _G else m_groups
    if group < 0:
        _record_error(error, UNKNOWN_CODE, k)
        return
    both_coolants = letter == _M and group == _COOLANT_GROUP and mine[_COOLANT_GROUP] + code == 15
    if mine[group] >= 0 and not both_coolants:
        _record_error(error, ONE_GROUP, k)
    mine[group] = code
    if (not _IS_READ[code]) if letter == _G else code in (6, 60):
        _record_error(error, NOT_READ, k)
    elif letter == _G and group == 10:
        _record_remark(remarks, NOT_READ_NOTE, line, k)
    elif letter == _M and group == 7 and code != 5:
        _record_remark(remarks, MOTOR, line, k)


@kernel()
def _sort_words(
    kinds: Bytes,
    values: Array,
    lines: Int32s,
    k: int,
    word: Ints,
    value: Array,
    groups: Ints,
    m_groups: Ints,
    error: Ints,
    state: Ints,
    remarks: Ints,
) -> int:
    """Sort the words of one line by letter and modal group, and return the index of the first word of the next line."""
    line, first, m_words, deleted, acts = lines[k], k, 0, -1, False
    while k < kinds.size and lines[k] == line:
        kind, letter = kinds[k], int(kinds[k]) - _A
        if kind < 32:
            _record_error(error, int(kind), k)
        elif kind == PERCENT:
            if state[_BEGUN] and not state[_PERCENTS]:
                _record_error(error, STRAY_PERCENT, k)
            state[_PERCENTS] += 1
            state[_ENDED] = state[_PERCENTS] == 2
        elif kind == DELETE:
            if k > first:
                _record_error(error, DELETE_NOT_FIRST, k)
            else:
                deleted = k
        elif kind == SEMICOLON_COMMENT:
            _record_remark(remarks, SEMICOLON, line, k)
        elif kind != COMMENT:
            acts = True
            if not _WORDS[letter]:
                _record_error(error, NOT_A_LETTER, k)
            elif letter in (_G, _M):
                _code(letter, values[k], k, groups, m_groups, error, remarks, line)
                m_words += letter == _M
                if m_words == 5:
                    _record_error(error, FOUR_M, k)
            elif word[letter] >= 0:
                _record_error(error, REPEATED_LETTER, k)
            else:
                word[letter], value[letter] = k, values[k]
                if letter == _N and k > first + (1 if kinds[first] == DELETE else 0):
                    _record_error(error, N_NOT_FIRST, k)
        if kind != PERCENT:
            state[_BEGUN] = 1
        k += 1
    if deleted >= 0 and acts:
        _record_remark(remarks, DELETED, line, deleted)
    return k


@kernel()
def _set_modes(
    word: Ints, value: Array, groups: Ints, state: Ints, rates: Array, error: Ints, remarks: Ints, line: int, first: int
) -> None:
    """Set the modes that a line selects: feed, plane, units, distance, path and motion."""
    if (word[_S] >= 0 and value[_S] < 0) or (word[_T] >= 0 and value[_T] < 0):
        _record_error(error, NEGATIVE, word[_S] if word[_S] >= 0 and value[_S] < 0 else word[_T])
    if groups[_FEED_GROUP] >= 0 and (groups[_FEED_GROUP] == 930) != (state[_INVERSE] == 1):
        state[_INVERSE], rates[_FEED] = groups[_FEED_GROUP] == 930, 0.0
    if groups[_FEED_GROUP] == 930:
        at = remarks.shape[0] - TALLY_ROWS + INVERSE
        remarks[at, _LINE] = line if remarks[at, _CODE] == 0 else remarks[at, _LINE]
        remarks[at, _CODE] += 1
    if word[_F] >= 0:
        if value[_F] < 0:
            _record_error(error, NEGATIVE_FEED, word[_F])
        rates[_FEED] = value[_F]
    if groups[_ONE_BLOCK] == 40:
        if word[_P] < 0:
            _record_error(error, NO_P, first)
        elif value[_P] < 0:
            _record_error(error, NEGATIVE, word[_P])
    if groups[_PLANE_GROUP] >= 0:
        state[_PLANE] = groups[_PLANE_GROUP]
    if groups[_UNITS_GROUP] >= 0:
        rates[_MM], state[_UNITS_IS_SET] = _MM_PER_INCH if groups[_UNITS_GROUP] == 200 else 1.0, 1
    if groups[_PATH_GROUP] >= 0:
        state[_PATH_IS_SET] = 1
        if groups[_PATH_GROUP] == 640:
            _record_remark(remarks, ROUNDED, line, first)
    if groups[_DISTANCE_GROUP] >= 0:
        state[_ABSOLUTE], state[_DISTANCE_IS_SET] = groups[_DISTANCE_GROUP] == 900, 1
    if groups[_MOTION_GROUP] >= 0:
        state[_MOTION] = _UNSET if groups[_MOTION_GROUP] == 800 else groups[_MOTION_GROUP]


@kernel()
def _find_unused_words(word: Ints, groups: Ints, arc: bool, error: Ints, remarks: Ints, line: int) -> None:
    """Record the words that no code of the line uses."""
    for letter in _BY_CODE:
        if word[letter] < 0:
            continue
        if letter == _P:
            if groups[_PATH_GROUP] == 640:
                _record_remark(remarks, NOT_READ_NOTE, line, word[letter])
            elif groups[_ONE_BLOCK] != 40:
                _record_error(error, NO_CODE_FOR, word[letter])
        elif not arc or letter < _I or letter > _R or letter in (_L, _Q):
            _record_error(error, NO_CODE_FOR, word[letter])


@kernel()
def _time(
    word: Ints, here: Array, end: Array, arc: Array, is_arc: bool, state: Ints, rates: Array, error: Ints, first: int
) -> float:
    """Return the duration of a feed move, minutes (2.1.2.5)."""
    feed = rates[_FEED]
    if state[_INVERSE]:
        if word[_F] < 0:
            _record_error(error, NO_INVERSE_FEED, first)
        elif feed == 0:
            _record_error(error, ZERO_FEED, word[_F])
        return float(1 / feed)
    if feed == 0:
        _record_error(error, NO_FEED, first)
    turns_only = not is_arc and _moved(here, end) == 1
    return float(_length(here, end, arc, is_arc) / (feed if turns_only else feed * rates[_MM]))


@kernel()
def _move(
    word: Ints,
    value: Array,
    here: Array,
    end: Array,
    arc: Array,
    state: Ints,
    rates: Array,
    error: Ints,
    remarks: Ints,
    line: int,
    first: int,
) -> float:
    """Fill ``arc`` if the move is an arc, and return the duration of the move, minutes; NaN for a rapid move."""
    if not state[_MOVED] and not state[_UNITS_IS_SET]:
        _record_remark(remarks, NO_UNITS, line, first)
    if not state[_MOVED] and not state[_PATH_IS_SET]:
        _record_remark(remarks, NO_PATH_MODE, line, first)
    if not state[_MOVED] and not state[_DISTANCE_IS_SET]:
        _record_remark(remarks, NO_DISTANCE, line, first)
    state[_MOVED] = 1
    motion, plane = state[_MOTION], state[_PLANE]
    if motion == 0:
        return math.nan
    is_arc = motion >= 20
    if is_arc:
        one = 0 if plane == 170 else (2 if plane == 180 else 1)
        two = 1 if plane == 170 else (0 if plane == 180 else 2)
        if word[_AXES[one]] < 0 and word[_AXES[two]] < 0:
            _record_error(error, NO_END, first)
        else:
            problem = _arc(here, end, one, two, motion == 20, word, value, rates[_MM], arc)
            if problem:
                _record_error(error, problem, first)
    takes = _time(word, here, end, arc, is_arc, state, rates, error, first)
    if state[_INVERSE] and not is_arc and _moved(here, end) == 0:
        _record_remark(remarks, STILL_INVERSE, line, first)
    return takes


@kernel()
def run_words(
    kinds: Bytes,
    values: Array,
    lines: Int32s,
    inch: bool,
    block: Int32s,
    ends: Array,
    minutes: Array,
    arcs: Array,
    named: Ints,
    remarks: Ints,
) -> int:
    """Interpret the words of a program, and return the number of blocks.

    Parameters
    ----------
    kinds, values, lines : (n,)
        The words, as `lobework.kernels.rs274.scan.read_words` fills them.
    inch : bool
        Whether lengths are in inches until the program sets their unit; otherwise in mm.
    block : (k, 2) int32
        Filled: kind and line of each block.
    ends : (k, 6) float64
        Filled: positions of X, Y, Z (mm), A, B, C (degrees) at the end of each block.
    minutes : (k,) float64
        Filled: duration of each block; NaN for a rapid move.
    arcs : (k, 8) float64
        Filled for arcs: first and second axis; centre on both axes, radius at start and end, mm; angle at the start, sweep, rad.
    named : (6, 2) int64
        Filled: for each axis, the first block that names the axis, and the line of this block; -1 if no block names it.
    remarks : (t, 3) int64, zeros
        Filled: in the first row, the number of recorded remarks; in the following rows, number, line and word of each; in the
        last `TALLY_ROWS` rows, the tally: the number of occurrences of each remark, recorded or not.
    """
    n = kinds.size
    here, end, value, rates = np.zeros(6), np.zeros(6), np.zeros(26), np.zeros(2)
    word, groups, m_groups = np.zeros(26, np.int64), np.zeros(14, np.int64), np.zeros(10, np.int64)
    error, state = np.zeros(2, np.int64), np.zeros(12, np.int64)
    state[_MOTION], state[_PLANE], state[_ABSOLUTE] = _UNSET, 170, 1
    rates[_MM] = _MM_PER_INCH if inch else 1.0
    k, blocks = int(state[_BEGUN]), int(state[_BLOCKS])
    for a in range(6):
        named[a, 0] = named[a, 1] = -1
    while k < n and not state[_ENDED]:
        line, first = lines[k], k
        _clear(word)
        _clear(groups)
        _clear(m_groups)
        error[_CODE] = 0
        k = _sort_words(kinds, values, lines, k, word, value, groups, m_groups, error, state, remarks)
        if error[_CODE]:
            _record_remark(remarks, error[_CODE], line, error[_WORD])
        if error[_CODE] or state[_ENDED]:
            continue
        _set_modes(word, value, groups, state, rates, error, remarks, line, first)
        if groups[_ONE_BLOCK] == 40:
            blocks = _append_block(block, ends, minutes, blocks, DWELL, line, here, value[_P] / 60)
        axes = 0
        for a in range(6):
            letter = _AXES[a]
            end[a] = here[a]
            if word[letter] >= 0:
                axes += 1
                to = value[letter] * rates[_MM] if a < 3 else value[letter]
                end[a] = to if state[_ABSOLUTE] else here[a] + to
                if named[a, 0] < 0:
                    named[a, 0], named[a, 1] = blocks, line
        motion = state[_MOTION]
        if axes and motion == _UNSET:
            _record_error(error, NO_MOTION, first)
        elif not axes and groups[_MOTION_GROUP] >= 0 and groups[_MOTION_GROUP] < 800:
            _record_error(error, NO_AXIS if groups[_MOTION_GROUP] < 20 else NO_END, first)
        _find_unused_words(word, groups, axes > 0 and motion >= 20, error, remarks, line)
        if axes and motion != _UNSET:
            takes = _move(word, value, here, end, arcs[blocks], state, rates, error, remarks, line, first)
            blocks = _append_block(
                block, ends, minutes, blocks, RAPID if motion == 0 else (ARC if motion >= 20 else FEED), line, end, takes
            )
            for a in range(6):
                here[a] = end[a]
        if error[_CODE]:
            _record_remark(remarks, error[_CODE], line, error[_WORD])
        stop = m_groups[_STOP_GROUP]
        if stop >= 0:
            state[_ENDED] = stop > 1
            kind = END if stop > 1 else (SWITCHED if stop == 1 else STOP)
            blocks = _append_block(block, ends, minutes, blocks, kind, line, here, 0.0)
            if stop == 1:
                _record_remark(remarks, MAY_STOP, line, first)
    if not state[_ENDED]:
        _record_remark(remarks, NO_SECOND_PERCENT if state[_PERCENTS] else CUT_SHORT, lines[n - 1] if n else 1, n - 1)
    while k < n and state[_PERCENTS] < 2:
        if _A <= kinds[k] <= _Z:
            _record_remark(remarks, AFTER_END, lines[k], k)
            break
        k += 1
    return blocks
