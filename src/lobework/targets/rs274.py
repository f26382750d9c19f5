"""RS274/NGC: the program as text for a controller, with inverse-time feed so that spindle, cams and slides stay synchronised.

The rules are those of T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter -
Version 3*, NISTIR 6556 (2000).
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.checks.check import show_small
from lobework.errors import SettingError
from lobework.kernels.compile_when_worth import compile_when_worth
from lobework.kernels.rs274.write import LINES, LONGEST, MODE, NUMBER, TOO_SLOW, write_moves
from lobework.lathe.hand_settings import show_length, wrapped
from lobework.lathe.lathe import Controller
from lobework.program.blocks import Grid
from lobework.program.steps import Dwell, Feed, Prompt, Rapid
from lobework.quantities.units import MM_PER, format_number
from lobework.sheets.zeros import ZEROS
from lobework.targets.target import Target
from lobework.text.cautions import CAUTIONS
from lobework.text.printable import printable

if TYPE_CHECKING:
    from lobework.program.steps import Program, Section, Timed

__all__ = ["LAST_NUMBER", "SLOWEST_RATE", "TARGET", "render"]

SLOWEST_RATE: Final = 0.1
"""Least speed of the slides in inverse time, units of length per minute. Source: tests of interpreters only."""
LAST_NUMBER: Final = 99_999
"""The greatest line number, which has five digits (section 3.3); the lines after it are not numbered."""
_COMPILED_FROM: Final = 1_000
_UNKNOWN: Final = -(2**62)
_COMMENT_ROOM: Final = 96
_MESSAGE_ROOM: Final = 200
_MODES: Final = "G17 G40 G49 G80 G90 G94"


def _ascii(text: str) -> str:
    """Return text in a form that a comment can hold: printable ASCII without parentheses."""
    plain = unicodedata.normalize("NFKD", printable(text)).replace("(", "[").replace(")", "]")
    shown = (letter if " " <= letter <= "~" else "?" for letter in plain if not unicodedata.combining(letter))
    return " ".join("".join(shown).split())


def _decimal(value: float, places: int) -> str:
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _figures(rate: float) -> str:
    """Return a rate with eleven significant digits, without an exponent."""
    return _decimal(rate, max(1, 10 - math.floor(math.log10(rate))))


class _Lines:
    """The lines of a program, in the form that its controller accepts."""

    def __init__(self, controller: Controller) -> None:
        self.controller = controller
        self.text = bytearray()
        self.state = np.zeros(5, dtype=np.int64)
        self.state[NUMBER] = int(controller.line_numbers)

    @property
    def count(self) -> int:
        """The number of lines."""
        return int(self.state[LINES])

    def block(self, words: str) -> None:
        """Add a block: a line that the controller executes."""
        number = int(self.state[NUMBER])
        self._add(f"N{number} {words}" if number else words)
        self.state[NUMBER] = number + 1 if 0 < number < LAST_NUMBER else 0

    def blank(self) -> None:
        """Add an empty line."""
        self._add("")

    def comment(self, text: str, label: str = "") -> None:
        """Add a comment, on several lines if needed.

        Each line begins with a label or a dash, because a controller may execute a comment whose first word is a command.
        """
        width = min(_COMMENT_ROOM, self.controller.longest_line)
        label = _ascii(label)[: width // 2]
        room = width - len(label) - 5
        for number, line in enumerate(wrapped(_ascii(text), room) or [""]):
            self._remark(f"{label}: {line}" if label and number == 0 else f"- {line}")

    def stop(self, instructions: Sequence[str]) -> None:
        """Add messages with instructions, and a stop (M0) after each message.

        A message holds as many instructions as fit into a line; an instruction that is longer than a line is divided.
        """
        lines: list[str] = []
        room = min(_MESSAGE_ROOM, self.controller.longest_line - 7)
        for part in (part for instruction in instructions for part in wrapped(_ascii(instruction), room)):
            if lines and len(lines[-1]) + len(part) + 2 <= room:
                lines[-1] += f"; {part}"
            else:
                lines.append(part)
        for line in lines:
            self._remark(f"MSG, {line}" if self.controller.comments == "parentheses" else line)
            self.block("M0")

    def moves(self, text: bytes, state: np.ndarray) -> None:
        """Add lines that are already formatted."""
        self.text += text
        self.state[:] = state

    def _remark(self, text: str) -> None:
        if self.controller.comments != "none":
            self._add(f"({text})" if self.controller.comments == "parentheses" else f"; {text}")

    def _add(self, line: str) -> None:
        self.state[LINES] += 1
        self.state[LONGEST] = max(self.state[LONGEST], len(line))
        self.text += line.encode("ascii") + b"\n"


class _Positions:
    """The last written positions of the axes, so that unchanged words can be omitted."""

    def __init__(self, program: Program) -> None:
        self.grid = Grid.of(program.axes, program.lathe.controller, program.units)
        self.letters: list[str] = [axis.letter for axis in program.axes]
        self.slides = np.array([not axis.rotary for axis in program.axes], dtype=np.bool_)
        self.last = np.full(len(self.letters), _UNKNOWN, dtype=np.int64)

    def changed(self, to: Mapping[str, float]) -> str:
        """Return the words of an end point, without the words of axes that do not move."""
        words = []
        for letter, value in to.items():
            at = self.letters.index(letter)
            decimals = int(self.grid.decimals[at])
            count = int(self.grid.counts(np.array([value]), at)[0])
            if count != self.last[at]:
                self.last[at] = count
                words.append(f"{letter}{_decimal(count / 10**decimals, decimals)}")
        return " ".join(words)

    def forget(self) -> None:
        """Mark all positions as unknown, at a stop or at the start of a cut, so that the next move writes all its words."""
        self.last[:] = _UNKNOWN


def _timed(step: Timed, places: _Positions, lines: _Lines, title: str) -> None:
    """Write moves in inverse time, or at the equivalent feed.

    In inverse time, interpreters raise a slide speed that is below `SLOWEST_RATE`, which would also accelerate the spindle. A
    move below this speed is written with the feed that gives the same duration.
    """
    at = np.array([places.letters.index(letter) for letter in step.letters], dtype=np.int64)
    counts = np.ascontiguousarray(places.grid.counts(step.places, at))
    decimals, last, state = places.grid.decimals[at], places.last[at], lines.state.copy()
    figures = [
        max(len(str(int(np.abs(column).max(initial=0)))), int(n) + 1) for column, n in zip(counts.T, decimals, strict=True)
    ]
    out = np.zeros((sum(figures) + 4 * len(figures) + 60) * len(counts) + 64, dtype=np.uint8)
    letters = np.frombuffer("".join(step.letters).encode("ascii"), dtype=np.uint8)
    inverse = lines.controller.inverse_time
    state[MODE] = 94
    size = compile_when_worth(write_moves, len(counts), _COMPILED_FROM)(
        counts, last, step.minutes, decimals, letters, places.slides[at], inverse, SLOWEST_RATE, LAST_NUMBER, state, out
    )
    lines.moves(out[:size].tobytes(), state)
    places.last[at] = last
    if state[TOO_SLOW]:
        problem = f"{title}: a move is too slow to be written as a feed"
        raise SettingError(problem, remedy="increase the speed in [program]")
    if state[MODE] == 93:
        lines.block("G94")


def _section(section: Section, program: Program, places: _Positions, lines: _Lines) -> None:
    """Write one cut with all modes and all positions, so that the program can be started from this cut."""
    lines.comment(section.title, f"cut {section.number}")
    for note in section.notes:
        lines.comment(note)
    stands = ", ".join(f"{letter}{_position_word(places, letter, place)}" for letter, place in section.start_positions.items())
    if stands:
        lines.comment(f"{stands}; move the tip clear first, then the other axes", "begins at")
    lines.block("G20" if program.units == "inch" else "G21")
    lines.block(_MODES)
    lines.block("G61")
    places.forget()
    title = f"cut {section.number} ({section.title})"
    for step in section.steps:
        if isinstance(step, Rapid):
            if moved := places.changed(step.to):
                lines.block(f"G0 {moved}")
        elif isinstance(step, Feed):
            if moved := places.changed(step.to):
                lines.block(f"G1 {moved} F{_figures(step.rate / float(MM_PER[program.units]))}")
        elif isinstance(step, Dwell):
            lines.block(f"G4 P{_decimal(step.seconds, 3)}")
        elif isinstance(step, Prompt):
            lines.stop(step.instructions)
            places.forget()
        else:
            _timed(step, places, lines, title)


def _position_word(places: _Positions, letter: str, place: float) -> str:
    at, grid = places.letters.index(letter), places.grid
    return _decimal(int(grid.signs[at]) * place / float(grid.units[at]), int(grid.decimals[at]))


def _zeros(program: Program, lines: _Lines) -> None:
    """Write the positive directions, and the steps for setting the zeros."""
    for name, entries in program.opening_groups:
        for what, message in entries:
            lines.comment(message, f"{name}, {what}" if name == ZEROS else what)


def _minutes(program: Program) -> str:
    unknown = ", ".join(axis.letter for axis in program.axes if axis.top_speed == math.inf)
    fast = f", rapid moves of {unknown} not counted" if unknown else ""
    return (
        f"{format_number(program.cutting, 2)} minutes of cutting time (all feed moves, including plunges), "
        f"{format_number(program.whole, 2)} minutes in all (with dwells and rapid moves, without stops{fast})"
    )


def _pace(program: Program) -> str:
    feeds = program.feeds
    over = f"{show_length(feeds.feed, program.units)} a minute over the work"
    spindle = f"{format_number(feeds.spindle_rpm)} turns a minute"
    slows = ", slower where an axis cannot follow" if any(section.slows for section in program.sections) else ""
    return {
        "spindle": f"spindle {spindle}, constant{slows}",
        "cutter": f"the cutter {over}, the spindle {spindle} at most{slows}",
        "fastest": "as fast as every axis can",
    }[feeds.pace]


def _head(program: Program, lines: _Lines) -> None:
    unit = "inches" if program.units == "inch" else "mm"
    turning = ", ".join(f"{axis.letter} {axis.moves}" for axis in program.axes)
    away = show_length(program.feeds.clear, program.units)
    if program.air:
        lines.comment(
            f"the tip stays at least {show_length(program.air, program.units)} off the work in every cut", "trial in air"
        )
    lines.comment(program.title or "untitled", "job")
    lines.comment(f"{program.lathe.name}; axes: {turning}", "lathe")
    lines.comment(f"slides in {unit}, rotary axes in degrees, absolute positions", "units")
    _zeros(program, lines)
    cuts = len(program.sections)
    lines.comment(f"{_pace(program)}; {cuts} cut{'s' if cuts != 1 else ''}; {_minutes(program)}", "time")
    lines.comment(f"the tip stands {away} {'above the face' if program.approach.axis == 'z' else 'off the work'}", "between cuts")
    if program.max_deviation:
        lines.comment(f"at most {show_small(program.max_deviation, program.units)} from the path on the work", "accuracy")
    turned = ", ".join(axis.letter for axis in program.axes if axis.rotary)
    lines.comment(f"rapid moves turn {turned} to the start of the next cut, often by a turn or more", "between cuts")
    for name, entries in program.setup:
        lines.comment("; ".join(f"{what} {value}" for what, value in entries), f"set {_ascii(name)}")
    for caution in CAUTIONS:
        lines.comment(caution, "caution")


def _contents(program: Program, starts: Sequence[tuple[int, int]], lines: _Lines) -> None:
    """Write a list of the cuts, with the line on which each cut begins, so that the program can be started from any cut."""
    lines.comment("the program can be started from any cut, on these lines", "restart")
    room = min(_COMMENT_ROOM, lines.controller.longest_line) - 5
    for section, (line, number) in zip(program.sections, starts, strict=True):
        entry = f"{f'N{number}' if number else f'line {line}'}: cut {section.number}, {_ascii(section.title)}"
        lines.comment(entry if len(entry) <= room else f"{entry[: room - 3]}...")


def _body(program: Program) -> tuple[_Lines, list[tuple[int, int]]]:
    """Return the lines of all cuts and, for each cut, its first line and the number of its first block (0 if unnumbered)."""
    lines, places, starts = _Lines(program.lathe.controller), _Positions(program), []
    for section in program.sections:
        lines.blank()
        starts.append((lines.count + 1, int(lines.state[NUMBER])))
        _section(section, program, places, lines)
    lines.blank()
    lines.block("M2")
    return lines, starts


def render(program: Program) -> bytes:
    """Return the program as RS274/NGC.

    Cuts use inverse-time feed (G93) and exact path mode (G61). Approach and retract are rapid moves; the plunge is a feed move.
    Coordinates are absolute, with the decimals that the lathe declares for its controller.

    Parameters
    ----------
    program : Program
        The steps.

    Returns
    -------
    bytes
        ASCII lines, none longer than the controller accepts.

    Raises
    ------
    SettingError
        If a line would be longer than the controller accepts, or if a feed is too slow to be written.

    Examples
    --------
    >>> from lobework.lathe.lathe import Axis, Lathe
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.program.program import Feeds, Program
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> empty = Program(title="Lid", lathe=lathe, axes=(), feeds=Feeds(), units="mm", sections=())
    >>> render(empty).split()[-1]
    b'M2'
    """
    body, starts = _body(program)
    controller = program.lathe.controller
    before = 0
    for _ in range(2):
        head = _Lines(controller)
        _head(program, head)
        _contents(program, [(line + before, number) for line, number in starts], head)
        before = head.count
    longest = max(int(head.state[LONGEST]), int(body.state[LONGEST]))
    if longest > controller.longest_line:
        raise SettingError(
            name="longest_line",
            given=f"{controller.longest_line}",
            must_be=f"{longest} or more in [controller], the length of the longest line of this program",
            remedy="or give fewer decimals in [controller]",
        )
    return bytes(head.text + body.text)


TARGET: Final = Target(
    name="rs274", file="program.ngc", shows="program", description="RS274/NGC for a controller, in inverse time", render=render
)
