"""CSV of the program: one row for each move, dwell, stop or note, for controllers that do not read RS274/NGC."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.lathe.hand_settings import show_length
from lobework.program.blocks import Grid
from lobework.program.steps import Dwell, Feed, Prompt, Rapid
from lobework.targets.target import Target
from lobework.text.cautions import CAUTIONS
from lobework.text.printable import cell

if TYPE_CHECKING:
    from lobework.program.steps import Program, Section

__all__ = ["TARGET", "render"]


def _rows(section: Section, grid: Grid, letters: Sequence[str]) -> Iterator[Sequence[Any]]:
    """Yield the rows of one cut, with the known positions of the axes in the program's units."""
    scale, last = 10.0**grid.decimals, np.full(len(letters), np.nan)

    def row(step: str, minutes: float | str = "", message: str = "") -> Sequence[Any]:
        return [*head, step, minutes, *("" if np.isnan(each) else each for each in last.tolist()), cell(message)]

    head = [section.number, cell(section.title)]
    for note in section.notes:
        yield row("note", message=note)
    for step in section.steps:
        if isinstance(step, Prompt):
            last[:] = np.nan
            for instruction in step.instructions:
                yield row("stop", message=instruction)
        elif isinstance(step, Dwell):
            yield row("wait", step.seconds / 60)
        elif isinstance(step, Rapid | Feed):
            before = last.copy()
            for letter, place in step.to.items():
                at = letters.index(letter)
                last[at] = float(grid.counts(np.array([place]), at)[0]) / scale[at]
            if isinstance(step, Rapid):
                yield row("fast")
            else:
                travel = np.nan_to_num((last - before) * grid.units)
                yield row("feed", float(np.linalg.norm(travel)) / step.rate)
        else:
            moved = np.array([letters.index(letter) for letter in step.letters])
            places = np.repeat(last[None], len(step.minutes), axis=0)
            places[:, moved] = grid.counts(step.places, moved) / scale[moved]
            last[:] = places[-1]
            columns = [each.tolist() if not np.isnan(each).any() else [""] * len(each) for each in places.T]
            same = [[value] * len(step.minutes) for value in (*head, "cut")]
            yield from zip(*same, step.minutes.tolist(), *columns, [""] * len(step.minutes), strict=True)


def _notes(program: Program) -> Iterator[str]:
    """Yield the notes before the first move."""
    if program.air:
        yield f"trial in air: the tip stays at least {show_length(program.air, program.units)} off the work in every cut"
    yield from CAUTIONS


def render(program: Program) -> bytes:
    r"""Return the steps of the program as a CSV file, with the units in the first line.

    A row holds the number and title of the cut, the kind of step, its duration in minutes (empty for rapid moves and stops), the
    position of every axis after the step, and the text of a stop or a note. The kinds of step are "fast" (a rapid move), "feed"
    and "cut" (straight moves at a constant rate, of the given duration), "wait" (a dwell), "stop" (until the operator has
    followed the instruction) and "note". The first rows are notes that belong to no cut: whether the program is a trial in air (a
    dry run), and the cautions.

    Parameters
    ----------
    program : Program
        The steps.

    Returns
    -------
    bytes
        UTF-8. Numbers are exact when read back. The position of an axis is empty until a move sets it. An apostrophe
        is put before a text that a spreadsheet would take for a formula.

    References
    ----------
    Y. Shafranovich, *Common Format and MIME Type for Comma-Separated Values (CSV) Files*, RFC 4180.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.program.program import Feeds, Program
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> render(Program(title="Lid", lathe=lathe, axes=(), feeds=Feeds(), units="mm", sections=())).splitlines()[0]
    b'cut,title,step,minutes,message'
    """
    grid, letters = Grid.of(program.axes, program.lathe.controller, program.units), [axis.letter for axis in program.axes]
    length = "in" if program.units == "inch" else "mm"
    sense = {axis.letter: ", reversed" if axis.reversed else "" for axis in program.axes}
    units = [f"{axis.letter} {axis.moves}{sense[axis.letter]} ({'deg' if axis.rotary else length})" for axis in program.axes]
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["cut", "title", "step", "minutes", *units, "message"])
    writer.writerows(["", "", "note", "", *[""] * len(units), note] for note in _notes(program))
    for section in program.sections:
        writer.writerows(_rows(section, grid, letters))
    return out.getvalue().encode(errors="replace")


TARGET: Final = Target(
    name="moves", file="moves.csv", shows="program", description="the program as a table, for other controllers", render=render
)
