"""What a program leaves unsaid, says in another unit, or says as its controller does not take it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.checks.check import Finding
from lobework.proof.reader import LETTERS, RAPID
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Controller, Lathe
    from lobework.proof.reader import Reading
    from lobework.proof.replay import Fed

__all__ = ["controller_findings", "remark_findings", "unit_findings", "unsaid_findings"]

_LIKE_AN_INCH: Final = 0.05
_SEEN: Final = 65


def controller_findings(reading: Reading, controller: Controller) -> Iterator[Finding]:
    """Yield what the controller of this lathe does not take, though the standard allows it."""
    if reading.inverse and not controller.inverse_time:
        message = "inverse time (G93), which the lathe's controller does not know (inverse_time = false)"
        yield Finding(kind="program", level="problem", where=f"line {reading.inverse}", message=message)
    line, length = reading.longest
    if length > controller.longest_line:
        message = f"a line of {length} characters; the lathe's controller takes {controller.longest_line} (longest_line)"
        yield Finding(kind="program", level="problem", where=f"line {line}", message=message)


def unit_findings(fed: Fed, letters: Mapping[str, str], traces: Sequence[Trace]) -> Iterator[Finding]:
    """Yield that lengths are in the wrong unit, where all of them are an inch in mm, or a mm in inches, of the job's."""
    here = np.array([np.abs(fed.moves.end[fed.at, column]).max(initial=0.0) for column in range(3)])
    ratios = []
    for column, name in enumerate("xyz"):
        if LETTERS[column] in letters:
            job = max(float(np.abs(_axes(each)[name]).max()) for each in traces)
            ratios += [here[column] / job] if job > 0.01 and here[column] > 0 else []
    for times, write in ((25.4, "G21"), (1 / 25.4, "G20")):
        if ratios and all(abs(each / times - 1) < _LIKE_AN_INCH for each in ratios):
            message = f"its lengths are {format_number(times, 4)} times the job's; they would fit if it began with {write}"
            yield Finding(kind="units", level="problem", where="whole program", message=message)


def unsaid_findings(reading: Reading, lathe: Lathe, traces: Sequence[Trace]) -> Iterator[Finding]:
    """Yield axes that the program leaves where they stand."""
    for axis in lathe.axes:
        unit = "deg" if axis.rotary else "mm"
        if axis.letter in reading.named:
            at, line = reading.named[axis.letter]
            if reading.blocks.kind[at] != RAPID:
                message = f"{axis.letter} is first sent anywhere at a feed, from wherever it stands; taken as 0 {unit}"
                yield Finding(kind="program", level="note", where=f"line {line}", message=message)
            continue
        asked = [_axes(each).get(axis.moves) for each in traces]
        places = np.concatenate([each for each in asked if each is not None] or [np.zeros(0)])
        if places.size and np.ptp(places) <= JOIN_MM:
            message = f"never sent anywhere; it must stand at {format_number(axis.sign * float(places[0]))} {unit}"
            yield Finding(kind="program", level="note", where=axis.letter, message=message)
        elif places.size:
            message = f"never sent anywhere, and the job moves the {axis.moves} by it"
            yield Finding(kind="program", level="problem", where=axis.letter, message=message)


def remark_findings(reading: Reading, controller: Controller) -> Iterator[Finding]:
    """Yield what the reader has to say."""
    from lobework.kernels.rs274.interpret import SEMICOLON

    declared = controller.comments == "semicolon"
    for each in reading.remarks:
        if declared and each.code == SEMICOLON:
            continue
        level: Literal["note", "problem"] = "note" if each.level == "note" else "problem"
        yield Finding(kind="program", level=level, where=f"line {each.line}", message=each.message)


def _axes(trace: Trace) -> dict[str, Array]:
    """Return the axes of a cut here and there."""
    return trace.motion.axes(np.linspace(0.0, trace.cut.span, _SEEN))
