"""Reader of programs: converts the lines to moves of axes, and lists the errors in the lines.

The reader shares no code with the writer of programs. The rules are those of T. R. Kramer, F. M. Proctor, E. Messina, *The NIST
RS274/NGC Interpreter - Version 3*, NISTIR 6556 (2000).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.errors import TooLargeError
from lobework.files.inputs import read_bytes
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.quantities.units import LengthUnit

    Ints = NDArray[np.int64]

__all__ = [
    "LETTERS",
    "ReadBlocks",
    "Reading",
    "Remark",
    "load",
    "read",
]

LETTERS: Final = "XYZABC"
"""The letters of axes, in the order of columns."""

_MOST_BYTES: Final = 256 * 10**6
_MOST_FLAGS: Final = 100
_MOST_SHOWN: Final = 60
_NEWLINE: Final = 10
_CHUNK: Final = 1 << 20

Level = Literal["wrong", "problem", "note"]


@dataclass(frozen=True, slots=True)
class Remark:
    """A remark on one line of a program.

    Parameters
    ----------
    line : int
        Line number, from 1.
    level : "wrong", "problem" or "note"
        ``wrong``: the program cannot be run, or is not understood. ``problem``: the program can be run, but a controller may do
        something else. ``note``: for information.
    message : str
        The problem, and the remedy.
    code : int
        Number of the remark in the kernel; zero if the remark does not come from the kernel.
    """

    line: int
    level: Level
    message: str
    code: int = 0

    def __str__(self) -> str:
        return f"{'' if self.level == 'wrong' else f'{self.level}: '}line {self.line}: {self.message}"


@dataclass(frozen=True, eq=False, repr=False)
class ReadBlocks(Brief):
    """The blocks of a program in the order in which a controller runs them: moves, dwells and stops.

    Parameters
    ----------
    kind, line : (n,) int32
        Kind of each block, one of `lobework.kernels.rs274.block_kinds`, and its line.
    start, end : (n, 6) float64, mm and degrees
        Positions of X, Y, Z, A, B, C before and after each block.
    minutes : (n,) float64
        Duration of each block; NaN for rapid moves.
    arc : (n, 8) float64
        Geometry of arcs; see `lobework.kernels.rs274.interpret.run_words`.
    """

    kind: NDArray[np.int32]
    line: NDArray[np.int32]
    start: Array
    end: Array
    minutes: Array
    arc: Array


@dataclass(frozen=True, eq=False, repr=False)
class Reading(Brief):
    """The result of reading a program.

    Parameters
    ----------
    data : bytes
        Contents of the file.
    blocks : ReadBlocks
        The blocks of the program.
    named : dict from letter to (int, int)
        For each axis that the program names, the first block with its letter, and the line of this block.
    remarks : tuple of Remark
        The remarks, in the order of lines.
    inverse : int
        The first line with inverse time (G93); zero if there is none.
    """

    data: bytes
    blocks: ReadBlocks
    named: dict[str, tuple[int, int]]
    remarks: tuple[Remark, ...]
    inverse: int = 0

    @property
    def wrong(self) -> tuple[Remark, ...]:
        """The remarks that prevent the program from being run."""
        return tuple(each for each in self.remarks if each.level == "wrong")

    @cached_property
    def _ends(self) -> Ints:
        """Offset of the end of each line in the file, (n,): its newline, or the end of the file."""
        data = np.frombuffer(self.data, np.uint8)
        found = [first + np.flatnonzero(data[first : first + _CHUNK] == _NEWLINE) for first in range(0, data.size, _CHUNK)]
        return np.concatenate([*found, [len(self.data)]]).astype(np.int64)

    @property
    def longest(self) -> tuple[int, int]:
        """The number of the longest line, and its number of characters."""
        lengths = np.diff(self._ends, prepend=-1) - 1
        longest = int(lengths.argmax())
        return longest + 1, len(self.line(longest + 1).rstrip(b"\r"))

    def line(self, line: int) -> bytes:
        """Return the bytes of a line; empty if there is no such line."""
        if not 1 <= line <= self._ends.size:
            return b""
        return self.data[0 if line == 1 else int(self._ends[line - 2]) + 1 : int(self._ends[line - 1])]

    def text(self, line: int) -> str:
        """Return a line as text, shortened if it is long."""
        return _shortened(self.line(line))


def read(data: bytes, units: LengthUnit = "mm", *, longest: int = 0) -> Reading:
    r"""Read a program.

    Parameters
    ----------
    data : bytes
        Contents of the file.
    units : "mm" or "inch"
        Unit of lengths before the first G20 or G21.
    longest : int
        Greatest number of characters in a line, if it is more than the standard allows.

    Raises
    ------
    TooLargeError
        If the file is longer than 256 MB.

    Examples
    --------
    >>> reading = read(b"G21 G61 G90\nG0 X+0. 12 34 y 7\nG93 G1 x 1 f 2.0\nM2\n")
    >>> reading.blocks.end[:2, :2].tolist(), reading.blocks.minutes[1].item(), reading.remarks
    ([[0.1234, 7.0], [1.0, 7.0]], 0.5, ())
    """
    from lobework.kernels.rs274.interpret import INVERSE, TALLY_ROWS, run_words
    from lobework.kernels.rs274.scan import LONGEST, read_words

    if len(data) > _MOST_BYTES:
        raise TooLargeError(f"is longer than {_MOST_BYTES // 10**6} MB", remedy="split the program")
    source = np.frombuffer(data, dtype=np.uint8)
    most = source.size + 1
    kinds, exact = np.zeros(most, np.uint8), np.zeros(most, np.uint8)
    values, lines, spans = np.zeros(most), np.zeros(most, np.int32), np.zeros((most, 2), np.int32)
    n = read_words(source, max(longest, LONGEST), kinds, values, exact, lines, spans)
    for k in np.nonzero(exact[:n] == 0)[0]:
        values[k] = float(b"".join(data[spans[k, 0] + 1 : spans[k, 1]].split()))
    most = 3 * (int(lines[n - 1]) if n else 0) + 1
    block, minutes, arcs = np.zeros((most, 2), np.int32), np.zeros(most), np.zeros((most, 8))
    ends, named, flags = (
        np.zeros((most + 1, 6)),
        np.zeros((6, 2), np.int64),
        np.zeros((_MOST_FLAGS + 2 * TALLY_ROWS, 3), np.int64),
    )
    count = run_words(kinds[:n], values[:n], lines[:n], units == "inch", block, ends[1:], minutes, arcs, named, flags)
    del kinds, values, exact, lines
    blocks = ReadBlocks(block[:count, 0], block[:count, 1], ends[:count], ends[1 : count + 1], minutes[:count], arcs[:count])
    names = {letter: (int(at), int(line)) for letter, (at, line) in zip(LETTERS, named, strict=True) if at >= 0}
    reading = Reading(data, blocks, names, (), int(flags[INVERSE - TALLY_ROWS, 1]))
    remarks = _remarks(reading, flags[1 : flags[0, 0] + 1], flags[-TALLY_ROWS:, 0], spans, units)
    return replace(reading, remarks=tuple(remarks))


def load(path: Path | str) -> bytes:
    """Return the contents of a program's file.

    Raises
    ------
    InputError
        If the file is missing, is a folder, is longer than 256 MB, or cannot be read.
    """
    too_long = f"{_MOST_BYTES // 10**6} MB; split the program"
    return read_bytes(path, _MOST_BYTES, absent="lobework program writes one", too_long=too_long)


def _shortened(text: bytes) -> str:
    plain = " ".join(text.decode("ascii", "replace").replace("\N{REPLACEMENT CHARACTER}", "?").split())
    return plain if len(plain) <= _MOST_SHOWN else f"{plain[: _MOST_SHOWN - 3]}..."


def _remarks(reading: Reading, flags: Ints, tally: Ints, spans: NDArray[np.int32], units: LengthUnit) -> Iterator[Remark]:
    """Yield the remarks for the kernels' flags; a remark that is given only once gives the number of similar lines."""
    for code, line, word in flags.tolist():
        level, message = _messages()[code]
        at = _shortened(reading.data[spans[word, 0] : spans[word, 1]])
        unit = "inches" if units == "inch" else "mm"
        message = message.format(text=repr(reading.text(line)), word=repr(at), units=unit)
        alike = int(tally[code]) - 1 if level != "wrong" else 0
        yield Remark(line, level, message + (f" (and {alike} more lines like it)" if alike else ""), code)


@cache
def _messages() -> dict[int, tuple[Level, str]]:
    """Return the level and the message of each flag of the kernels."""
    from lobework.kernels.rs274 import interpret, scan

    return {
        scan.TOO_LONG: ("wrong", f"is longer than {scan.LONGEST} characters; split it"),
        scan.UNCLOSED: ("wrong", "{text}: a comment is not closed; write ) before the line ends"),
        scan.NESTED_COMMENT: ("wrong", "{text}: a comment contains another comment; write [ ] for the inner ( )"),
        scan.NO_NUMBER: ("wrong", "{text}: a letter has no number after it, at {word}; write one"),
        scan.NO_DIGITS: ("wrong", "{text}: {word} is no number; write a decimal such as -12.5"),
        scan.PARAMETER: ("wrong", "{text}: not understood: parameters and expressions; write the numbers themselves"),
        scan.NO_MEANING: ("wrong", "{text}: {word} has no meaning in a program; remove it"),
        scan.BAD_N: ("wrong", "{text}: a line number has one to five digits and nothing else"),
        interpret.REPEATED_LETTER: (
            "wrong",
            "{text}: two words with the same letter, the second {word}; write only one on a line",
        ),
        interpret.ONE_GROUP: ("wrong", "{text}: two codes of one modal group, the second {word}; write only one on a line"),
        interpret.FOUR_M: ("wrong", "{text}: more than four M words; write at most four on a line"),
        interpret.UNKNOWN_CODE: ("wrong", "{text}: not understood: {word} is no code of the standard"),
        interpret.NOT_A_LETTER: (
            "wrong",
            "{text}: not understood: {word}; no word of the standard has that letter, and numbers have no exponent",
        ),
        interpret.N_NOT_FIRST: ("wrong", "{text}: a line number must come first on its line; move {word}"),
        interpret.DELETE_NOT_FIRST: ("wrong", "{text}: a / may stand only at the start of a line, or in a comment"),
        interpret.STRAY_PERCENT: (
            "wrong",
            "{text}: % ends only a program that begins with %; write % before its first line",
        ),
        interpret.NO_CODE_FOR: ("wrong", "{text}: no code on this line uses {word}"),
        interpret.NO_AXIS: ("wrong", "{text}: a motion without an end point; write an axis word"),
        interpret.NO_MOTION: ("wrong", "{text}: axis words without a motion; write G0 or G1 before them"),
        interpret.NO_FEED: ("wrong", "{text}: a feed move, and no feed is set; write F on this line or before it"),
        interpret.NO_INVERSE_FEED: (
            "wrong",
            "{text}: in inverse time (G93) every move needs its own feed; write F on this line",
        ),
        interpret.NEGATIVE_FEED: ("wrong", "{text}: {word} is below zero; write a feed above zero"),
        interpret.ZERO_FEED: ("wrong", "{text}: in inverse time (G93) F0 is a move that never ends; write F above zero"),
        interpret.NEGATIVE: ("wrong", "{text}: {word} is below zero; write zero or more"),
        interpret.NO_P: ("wrong", "{text}: a dwell (G4) without its seconds; write P"),
        interpret.NO_CENTRE: ("wrong", "{text}: an arc without a centre or a radius; write its offsets in the plane, or R"),
        interpret.BOTH_CENTRES: ("wrong", "{text}: an arc with a centre and a radius; write one of them"),
        interpret.NO_END: ("wrong", "{text}: an arc without an end in its plane; write one of the plane's axes"),
        interpret.UNEVEN_ARC: (
            "wrong",
            "{text}: the arc's ends lie at different distances from its centre, by more than 0.002 mm or 0.0002 in",
        ),
        interpret.SHORT_RADIUS: ("wrong", "{text}: the arc's radius is less than half the way from its start to its end"),
        interpret.FULL_BY_RADIUS: ("wrong", "{text}: an arc given by its radius ends where it starts; give its centre"),
        interpret.CUT_SHORT: ("wrong", "the program is cut short: it ends without M2, M30 or a second %"),
        interpret.NO_SECOND_PERCENT: (
            "wrong",
            "the program is cut short: it begins with %, and ends without M2, M30 or a second %",
        ),
        interpret.NOT_READ: ("wrong", "{text}: not understood: {word} could move an axis or change the meaning of words"),
        interpret.NOT_READ_NOTE: ("note", "{text}: {word} is ignored: it has no effect here"),
        interpret.ROUNDED: ("note", "G64 lets a controller round corners; the proof holds for the exact path (G61)"),
        interpret.NO_PATH_MODE: ("note", "neither G61 nor G64 before the first move; the proof holds for the exact path (G61)"),
        interpret.NO_UNITS: (
            "problem",
            "neither G20 nor G21 before the first move: the unit depends on the controller (assumed: {units}); write one of them",
        ),
        interpret.STILL_INVERSE: ("note", "{text}: a move of zero length in inverse time; some controllers refuse it"),
        interpret.AFTER_END: ("note", "{text}: comes after the program's end and is never run"),
        interpret.SEMICOLON: ("note", "{text}: a comment after ; is not in the standard; some controllers refuse it"),
        interpret.MAY_STOP: (
            "note",
            "{text}: M1 stops only if a switch on the controller is on; the proof assumes no stop; M0 always stops",
        ),
        interpret.DELETED: (
            "problem",
            "{text}: a switch on the controller can skip this line; the proof assumes that it is run; remove the /",
        ),
        interpret.NO_DISTANCE: (
            "note",
            "neither G90 nor G91 before the first move: the proof assumes G90 (absolute), but a controller keeps its last mode",
        ),
        interpret.MOTOR: (
            "note",
            "{text}: {word} turns a motor that the job does not describe; its direction and speed are not proved",
        ),
    }
