"""RS274/NGC: the program as lines for a controller, in inverse time so that spindle, cams and slides stay in step.

Source for every rule kept here: T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter -
Version 3*, NISTIR 6556 (2000).
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from lobework.hand import CAUTIONS, show_length, wrapped
from lobework.program import Feed, Prompt, Rapid, Timed
from lobework.targets.target import Target
from lobework.units import MM_PER, format_number

if TYPE_CHECKING:
    from lobework.program import Program, Section

__all__ = ["LONGEST_LINE", "SLOWEST_RATE", "TARGET", "render"]

LONGEST_LINE: Final = 250
"""Characters. The standard allows 256 (3.3); a widespread interpreter stops at 252."""

SLOWEST_RATE: Final = 0.1
"""Of the slides in inverse time, units of length a minute; found by reading slow programs back, no source."""

_COMMENT_ROOM: Final = 96
_MESSAGE_ROOM: Final = 200
_PLACES: Final = {"mm": 6, "inch": 7}
_ROTARY_PLACES: Final = 6


def _ascii(text: str) -> str:
    """Return text that may stand in a comment: printable ASCII without parentheses."""
    plain = unicodedata.normalize("NFKD", text).replace("(", "[").replace(")", "]")
    shown = (letter if " " <= letter <= "~" else "?" for letter in plain if not unicodedata.combining(letter))
    return " ".join("".join(shown).split())


def _comments(text: str, label: str = "") -> Iterator[str]:
    """Write a comment, over as many lines as it takes; its own words never come first, where they might command."""
    for number, line in enumerate(wrapped(_ascii(text), _COMMENT_ROOM - len(label) - 5) or [""]):
        yield f"({label}: {line})" if label and number == 0 else f"(- {line})"


def _messages(things: Sequence[str]) -> Iterator[str]:
    """Write what to do as messages that fit a line, each thing whole where it fits one, and stop after each."""
    lines: list[str] = []
    for part in (part for thing in things for part in wrapped(_ascii(thing), _MESSAGE_ROOM)):
        if lines and len(lines[-1]) + len(part) + 2 <= _MESSAGE_ROOM:
            lines[-1] += f"; {part}"
        else:
            lines.append(part)
    for line in lines:
        yield f"(MSG, {line})"
        yield "M0"


def _decimal(value: float, places: int) -> str:
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _figures(rate: float) -> str:
    """Return a rate to eight figures, without an exponent."""
    return _decimal(rate, max(1, 7 - math.floor(math.log10(rate))))


class _Words:
    """Writes axis words, leaving out those that have not changed as printed."""

    def __init__(self, program: Program) -> None:
        slides, turned = (float(MM_PER[program.units]), _PLACES[program.units]), (1.0, _ROTARY_PLACES)
        self._written: dict[str, tuple[float, int]] = {axis.letter: turned if axis.rotary else slides for axis in program.axes}
        self._slides = {axis.letter for axis in program.axes if not axis.rotary}
        self._last: dict[str, str] = {}

    def changed(self, to: Mapping[str, float]) -> tuple[str, float]:
        """Return the words for where to go that differ from where the axes are, and how far the slides go."""
        words = {}
        for letter, value in to.items():
            scale, places = self._written[letter]
            words[letter] = _decimal(value / scale, places)
        moved = {letter: word for letter, word in words.items() if self._last.get(letter) != word}
        along = math.hypot(
            *(float(word) - float(self._last.get(letter, word)) for letter, word in moved.items() if letter in self._slides)
        )
        self._last.update(words)
        return " ".join(f"{letter}{word}" for letter, word in moved.items()), along

    def forget(self) -> None:
        """Take it that a person may have moved any axis."""
        self._last.clear()


def _timed(step: Timed, words: _Words) -> Iterator[str]:
    """Write moves in inverse time; one too short to print lends its time to the next.

    Where the slides creep, the feed along them says the same time: interpreters raise a slower rate than
    `SLOWEST_RATE` in inverse time, and would hurry the spindle.
    """
    mode, waiting = "", 0.0
    for minutes, place in zip(step.minutes.tolist(), step.places.tolist(), strict=True):
        waiting += minutes
        moved, along = words.changed(dict(zip(step.letters, place, strict=True)))
        if moved:
            creeps = 0 < along < SLOWEST_RATE * waiting
            feed = along / waiting if creeps else 1 / waiting
            if mode != (mode := "G94" if creeps else "G93"):
                yield mode
            yield f"G1 {moved} F{_figures(feed)}"
            waiting = 0.0
    yield "G94"


def _section(section: Section, words: _Words, scale: float) -> Iterator[str]:
    yield from _comments(section.title, f"cut {section.number}")
    for note in section.notes:
        yield from _comments(note)
    for step in section.steps:
        if isinstance(step, Rapid):
            if moved := words.changed(step.to)[0]:
                yield f"G0 {moved}"
        elif isinstance(step, Feed):
            if moved := words.changed(step.to)[0]:
                yield f"G1 {moved} F{_decimal(step.rate / scale, 4)}"
        elif isinstance(step, Prompt):
            yield from _messages(step.says)
            words.forget()
        else:
            yield from _timed(step, words)


def _zeros(program: Program) -> Iterator[str]:
    for axis in program.axes:
        if axis.moves == "spindle":
            yield from _comments("the spindle where it stands when the job begins; keep it to the end", f"{axis.letter} 0")
        elif axis.moves == "cutter":
            yield from _comments(
                "the cutter pointing along the spindle; it turns about its tip, to X plus at 90", f"{axis.letter} 0"
            )
        elif axis.rotary:
            yield from _comments(f"{axis.moves}, its index at zero, with the top of a lobe towards X plus", f"{axis.letter} 0")
    headstock = program.lathe.headstock
    still = headstock.sideways == "fixed" and headstock.endways == "fixed"
    rest = "" if still else ", with the headstock at rest: followers on the base of their cams"
    end = "on the face of the work" if program.approach.axis == "z" else "at the end of the work"
    yield from _comments(f"X and Y on the spindle axis, Z {end}{rest}", "slides 0")


def _head(program: Program) -> Iterator[str]:
    unit = "inches" if program.units == "inch" else "mm"
    turning = ", ".join(f"{axis.letter} {axis.moves}" for axis in program.axes)
    feeds = program.feeds
    yield from _comments(program.title or "untitled", "job")
    yield from _comments(f"{program.lathe.name}; axes: {turning}", "lathe")
    yield from _comments(f"slides in {unit}, rotary words in degrees, every place absolute", "units")
    yield from _zeros(program)
    cuts = len(program.sections)
    yield from _comments(
        f"spindle {format_number(feeds.spindle_rpm)} turns a minute, constant; {cuts} cut{'s' if cuts != 1 else ''}, "
        f"{format_number(program.minutes, 2)} minutes under cut; between cuts the tip stands "
        f"{show_length(feeds.clear, program.units)} {'above the face' if program.approach.axis == 'z' else 'off the work'}",
        "time",
    )
    turned = ", ".join(axis.letter for axis in program.axes if axis.rotary)
    yield from _comments(f"fast moves of {turned} to where the next cut begins, often a turn or more back", "between cuts")
    for caution in CAUTIONS:
        yield from _comments(caution, "caution")


def _lines(program: Program) -> Iterator[str]:
    words, scale = _Words(program), float(MM_PER[program.units])
    yield from _head(program)
    yield "G20" if program.units == "inch" else "G21"
    yield "G17 G40 G49 G80 G90 G94"
    yield "G61"
    for section in program.sections:
        yield ""
        yield from _section(section, words, scale)
    yield ""
    yield "M2"


def render(program: Program) -> bytes:
    """Return the program as RS274/NGC.

    Cuts are in inverse time (G93) with exact path (G61); approach and retract are rapid, the plunge at a feed.
    Coordinates are absolute, to a millionth of a mm or degree, or a ten-millionth of an inch.

    Parameters
    ----------
    program : Program
        The steps.

    Returns
    -------
    bytes
        ASCII lines, each at most `LONGEST_LINE` characters.

    Examples
    --------
    >>> from lobework.lathe import Axis, Lathe
    >>> from lobework.carriage import Headstock
    >>> from lobework.program import Feeds, Program
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> empty = Program(title="Lid", lathe=lathe, axes=(), feeds=Feeds(), units="mm", sections=())
    >>> render(empty).split()[-1]
    b'M2'
    """
    return ("\n".join(_lines(program)) + "\n").encode("ascii")


TARGET: Final = Target(
    name="rs274", file="program.ngc", shows="program", says="RS274/NGC for a controller, in inverse time", render=render
)
