"""Clearance of the tip during rapid moves of axes other than the infeed slide, and at the end of the program."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from lobework.checks.check import Finding
from lobework.lathe.hand_settings import show_length
from lobework.proof.reader import LETTERS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.proof.replay import Moves
    from lobework.quantities.units import LengthUnit

__all__ = ["clear_findings", "end_findings", "resolution"]


def resolution(places: int | None, units: LengthUnit) -> float:
    """Return the resolution of a slide's words, mm; ``places`` is the number of decimals, or None if unlimited."""
    if places is None:
        return 1e-6
    return float(10.0**-places * (25.4 if units == "inch" else 1.0))


def clear_findings(
    moves: Moves, into: str, named: tuple[int, int] | None, level: float, slack: float, units: LengthUnit
) -> Iterator[Finding]:
    """Yield findings on rapid moves of other axes that come before the tip is clear, or have less clearance than in the job.

    Parameters
    ----------
    moves : Moves
        All moves of the program.
    into : "x" or "z"
        The slide that feeds the tip in.
    named : (int, int) or None
        The block and the line that first move the infeed slide; None if no block does.
    level : float, mm
        Position of the infeed slide at which the tip is clear.
    slack : float, mm
        Allowance for the rounding of words.
    units : "mm" or "inch"
        Unit of the lengths in messages.
    """
    column = LETTERS.index(into.upper())
    moved = moves.start != moves.end
    others = moves.rapid & np.delete(moved, column, axis=1).any(axis=1)
    before = np.flatnonzero(others & (moves.line <= (named[1] if named else np.iinfo(np.int64).max)))
    if before.size:
        message = f"moves other axes before the tip is clear; move {into.upper()} out to {show_length(level, units)} first"
        yield Finding(kind="clear", level="problem", where=f"line {moves.line[before[0]]}", message=message)
    nearest = np.minimum(moves.start[:, column], moves.end[:, column])
    low = others & ~(nearest >= level - slack)
    low[before] = False
    near = np.flatnonzero(low)
    if near.size:
        worst = near[int(nearest[near].argmin())]
        actual, target = (show_length(float(each), units) for each in (nearest[worst], level))
        message = f"a rapid move of other axes with the tip at {into.upper()} {actual}; in the job, the tip is clear at {target}"
        more = f" (and {near.size - 1} more moves)" if near.size > 1 else ""
        yield Finding(kind="clear", level="warning", where=f"line {moves.line[worst]}", message=message + more)


def end_findings(
    at: Array, line: int, into: str, level: float, slack: float, touches: Callable[[Array], NDArray[np.bool_]], units: LengthUnit
) -> Iterator[Finding]:
    """Yield a finding if the program ends with the tip in the work, or with too little clearance.

    The array ``at``, (1, 6), is the final position of the axes; the other arguments are those of `clear_findings`.
    """
    stands = float(at[0, LETTERS.index(into.upper())])
    if touches(at)[0]:
        message = "the program ends with the tip in the work; retract the tip first"
        yield Finding(kind="clear", level="problem", where=f"line {line}", message=message)
    elif not stands >= level - slack:
        tip = f"the tip at {into.upper()} {show_length(stands, units)}; in the job, it is clear at {show_length(level, units)}"
        yield Finding(kind="clear", level="warning", where=f"line {line}", message=f"the program ends with {tip}")
