"""Division of the bytes of a program into words; a word is a letter with a number, a comment or a mark.

Rules of a line: T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter - Version 3*, NISTIR 6556 (2000), 3.3.

What the arrays hold:

* ``data`` : (m,) uint8: the file.
* ``kinds``, ``exact`` : uint8, ``values`` : float64, ``lines`` : int32, ``spans`` : (n, 2) int32: the words; see `read_words`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Bytes = NDArray[np.uint8]
    Ints = NDArray[np.int64]
    Int32s = NDArray[np.int32]

__all__ = [
    "BAD_N",
    "COMMENT",
    "DELETE",
    "LONGEST",
    "NESTED_COMMENT",
    "NO_DIGITS",
    "NO_MEANING",
    "NO_NUMBER",
    "PARAMETER",
    "PERCENT",
    "SEMICOLON_COMMENT",
    "TOO_LONG",
    "UNCLOSED",
    "read_words",
]

LONGEST: Final = 256
"""Greatest number of characters in a line (3.3)."""

COMMENT: Final = ord("(")
PERCENT: Final = ord("%")
DELETE: Final = ord("/")
SEMICOLON_COMMENT: Final = ord(";")

# Numbers of the errors of a line; `lobework.proof.reader` contains the texts of the errors.
TOO_LONG: Final = 1
UNCLOSED: Final = 2
NESTED_COMMENT: Final = 3
NO_NUMBER: Final = 4
NO_DIGITS: Final = 5
PARAMETER: Final = 6
NO_MEANING: Final = 7
BAD_N: Final = 8

_NEWLINE, _RETURN, _TAB, _BLANK = 10, 13, 9, 32
_OPEN, _CLOSE, _POINT, _PLUS, _MINUS = 40, 41, 46, 43, 45
_ZERO, _NINE, _A, _Z, _N, _SMALL_A, _SMALL_Z = 48, 57, 65, 90, 78, 97, 122
_CROSS, _BRACKET = ord("#"), ord("[")
_MOST_EXACT = 1 << 53
_MOST_PLACES = 22
_TENS = np.array([10.0**k for k in range(_MOST_PLACES + 1)])


@kernel()
def _white(byte: int) -> bool:
    return byte in (_BLANK, _TAB, _RETURN)


@kernel()
def _number(data: Bytes, k: int, end: int) -> tuple[int, float, int]:
    """Return the end of the number that begins at byte ``k``, its value, and a status.

    The status is 1 if the value is the nearest double, 0 if the number has too many digits, and the negative of an error's number
    if the number cannot be read. A mantissa up to 2^53 and a power of ten up to 10^22 are exact doubles, and their quotient is
    rounded once.
    """
    negative, point, digits, places = False, False, 0, 0
    mantissa, exact = np.int64(0), True
    while k < end and _white(data[k]):
        k += 1
    if k < end and data[k] in (_PLUS, _MINUS):
        negative = data[k] == _MINUS
        k += 1
    last = k
    while k < end:
        byte = data[k]
        if _ZERO <= byte <= _NINE:
            digits += 1
            if mantissa < _MOST_EXACT // 10:
                mantissa = mantissa * 10 + (byte - _ZERO)
                places += 1 if point else 0
            elif byte != _ZERO or not point:
                exact = False
        elif byte == _POINT and not point:
            point = True
        elif not _white(byte):
            break
        k += 1
        last = k if not _white(byte) else last
    if not digits:
        return k, 0.0, -PARAMETER if k < end and data[k] in (_CROSS, _BRACKET) else -NO_NUMBER
    if k < end and data[k] in (_POINT, _PLUS, _MINUS):
        return k, 0.0, -NO_DIGITS
    exact = exact and places <= _MOST_PLACES
    value = float(mantissa) / _TENS[places] if exact else 0.0
    return last, -value if negative else value, 1 if exact else 0


@kernel()
def _line_number(data: Bytes, k: int, end: int) -> bool:
    """Return whether the bytes are one to five digits; white space is ignored (3.3.1)."""
    digits = 0
    for j in range(k, end):
        if _ZERO <= data[j] <= _NINE:
            digits += 1
        elif not _white(data[j]):
            return False
    return 1 <= digits <= 5


@kernel()
def read_words(data: Bytes, longest: int, kinds: Bytes, values: Array, exact: Bytes, lines: Int32s, spans: Int32s) -> int:
    """Split a program into words, and return their number.

    Parameters
    ----------
    data : (m,) uint8
        The file.
    longest : int
        Greatest allowed number of characters in a line.
    kinds : (>= m,) uint8
        Filled: the letter of each word, as a capital; or `COMMENT`, `PERCENT`, `DELETE` or `SEMICOLON_COMMENT`; or the number of
        an error, below 32. The rest of a line with an error is not read.
    values : (>= m,) float64
        Filled: the value of the number after the letter.
    exact : (>= m,) uint8
        Filled: 1 if the value is the nearest double; 0 if the number has too many digits, in which case the value is zero.
    lines : (>= m,) int32
        Filled: the line of each word, from 1.
    spans : (>= m, 2) int32
        Filled: offsets, in the file, of the start and the end of each word.
    """
    n, k, line, size = 0, 0, 0, data.size
    while k < size:
        line += 1
        end = k
        while end < size and data[end] != _NEWLINE:
            end += 1
        first, wrong = k, 0
        if end - k - (1 if end > k and data[end - 1] == _RETURN else 0) > longest:
            wrong = TOO_LONG
        while k < end and not wrong:
            byte, begin = data[k], k
            if _SMALL_A <= byte <= _SMALL_Z:
                byte -= 32
            if _white(byte):
                k += 1
                continue
            value, status = 0.0, 1
            if byte == _OPEN:
                k += 1
                while k < end and data[k] != _CLOSE and data[k] != _OPEN:
                    k += 1
                if k == end:
                    wrong = UNCLOSED
                elif data[k] == _OPEN:
                    wrong = NESTED_COMMENT
                k += 1
            elif _A <= byte <= _Z:
                k, value, status = _number(data, k + 1, end)
                if status < 0:
                    wrong = -status
                elif byte == _N and not _line_number(data, begin + 1, k):
                    wrong = BAD_N
            elif byte in (PERCENT, DELETE):
                k += 1
            elif byte == SEMICOLON_COMMENT:
                k = end
            else:
                wrong = PARAMETER if byte == _CROSS else NO_MEANING
            if wrong:
                first = begin
            else:
                kinds[n], values[n], exact[n] = byte, value, status
                lines[n], spans[n, 0], spans[n, 1] = line, begin, k
                n += 1
        if wrong:
            kinds[n], lines[n], spans[n, 0], spans[n, 1], exact[n] = wrong, line, first, min(k + 1, end), 1
            n += 1
        k = end + 1
    return n
