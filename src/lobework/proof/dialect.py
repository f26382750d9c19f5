"""Findings about the text of a program: unit of length, unmoved axes, limits of the controller, and remarks of the reader.

The settings of a controller are the fields of `lobework.lathe.lathe.Controller`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.checks.check import Finding
from lobework.kernels.rs274.block_kinds import RAPID
from lobework.proof.reader import LETTERS
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Controller, Lathe
    from lobework.proof.reader import Reading
    from lobework.proof.replay import FeedMoves

__all__ = ["axis_findings", "controller_findings", "remark_findings", "unit_findings"]

_UNIT_TOLERANCE: Final = 0.05
_PLACES: Final = 65


def controller_findings(reading: Reading, controller: Controller) -> Iterator[Finding]:
    """Yield a finding for each feature that the standard allows and this lathe's controller does not accept."""
    if reading.inverse and not controller.inverse_time:
        message = "uses inverse time (G93), which the lathe's controller does not accept (inverse_time = false)"
        yield Finding(kind="program", level="problem", where=f"line {reading.inverse}", message=message)
    line, length = reading.longest
    if length > controller.longest_line:
        message = f"has {length} characters; the lathe's controller accepts {controller.longest_line} (longest_line)"
        yield Finding(kind="program", level="problem", where=f"line {line}", message=message)


def unit_findings(fed: FeedMoves, letters: Mapping[str, str], traces: Sequence[Trace]) -> Iterator[Finding]:
    """Yield a finding if the program's lengths are in the wrong unit.

    This is the case if the ratio of the program's lengths to the job's is 25.4, or 1/25.4, for every slide.
    """
    largest = np.array([np.abs(fed.moves.end[fed.at, column]).max(initial=0.0) for column in range(3)])
    ratios = []
    for column, name in enumerate("xyz"):
        if LETTERS[column] in letters:
            job = max(float(np.abs(_axis_positions(each)[name]).max()) for each in traces)
            ratios += [largest[column] / job] if job > 0.01 and largest[column] > 0 else []
    for times, write in ((25.4, "G21"), (1 / 25.4, "G20")):
        if ratios and all(abs(each / times - 1) < _UNIT_TOLERANCE for each in ratios):
            message = f"lengths are {format_number(times, 4)} times those of the job; "
            message += f"if the program began with {write}, they would agree"
            yield Finding(kind="units", level="problem", where="whole program", message=message)


def axis_findings(reading: Reading, lathe: Lathe, traces: Sequence[Trace]) -> Iterator[Finding]:
    """Yield a finding for each axis that the program never moves, or whose first move starts from an unknown position."""
    for axis in lathe.axes:
        unit = "deg" if axis.rotary else "mm"
        if axis.letter in reading.named:
            at, line = reading.named[axis.letter]
            if reading.blocks.kind[at] != RAPID:
                message = f"{axis.letter} is first moved by a feed move, from an unknown position; the proof assumes 0 {unit}"
                yield Finding(kind="program", level="note", where=f"line {line}", message=message)
            continue
        targets = [_axis_positions(each).get(axis.moves) for each in traces]
        places = np.concatenate([each for each in targets if each is not None] or [np.zeros(0)])
        if places.size and np.ptp(places) <= JOIN_MM:
            message = f"is never moved; it must stand at {format_number(axis.sign * float(places[0]))} {unit}"
            yield Finding(kind="program", level="note", where=axis.letter, message=message)
        elif places.size:
            message = f"is never moved, but the job needs it to move the {axis.moves}"
            yield Finding(kind="program", level="problem", where=axis.letter, message=message)


def remark_findings(reading: Reading, controller: Controller) -> Iterator[Finding]:
    """Yield the reader's remarks as findings; a comment after ``;`` is not reported if the controller accepts it."""
    from lobework.kernels.rs274.interpret import SEMICOLON

    accepted = controller.comments == "semicolon"
    for each in reading.remarks:
        if accepted and each.code == SEMICOLON:
            continue
        level: Literal["note", "problem"] = "note" if each.level == "note" else "problem"
        yield Finding(kind="program", level=level, where=f"line {each.line}", message=each.message)


def _axis_positions(trace: Trace) -> dict[str, Array]:
    """Return the positions of the axes at evenly spaced points of a cut."""
    return trace.motion.axes(np.linspace(0.0, trace.cut.span, _PLACES))
