"""Whether the tip stands clear while anything but the slide that feeds in moves, and at the end."""

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

__all__ = ["clear_findings", "end_findings", "unsaid"]


def unsaid(places: int | None, units: LengthUnit) -> float:
    """Return how far a place of a slide may be from what is asked for, mm, because its words have so many decimals."""
    if places is None:
        return 1e-6
    return float(10.0**-places * (25.4 if units == "inch" else 1.0))


def clear_findings(
    moves: Moves, into: str, named: tuple[int, int] | None, level: float, slack: float, units: LengthUnit
) -> Iterator[Finding]:
    """Yield fast moves of other axes before the tip is sent clear, or while it is nearer to the work than clear.

    Parameters
    ----------
    moves : Moves
        All of the program.
    into : "x" or "z"
        The slide that feeds in.
    named : (int, int) or None
        The block and the line that first send that slide somewhere.
    level : float, mm
        Where it stands clear.
    slack : float, mm
        How much nearer it may be for the decimals of words.
    units : "mm" or "inch"
        That lengths are shown in.
    """
    column = LETTERS.index(into.upper())
    moved = moves.start != moves.end
    others = moves.rapid & np.delete(moved, column, axis=1).any(axis=1)
    before = np.flatnonzero(others & (moves.line <= (named[1] if named else np.iinfo(np.int64).max)))
    if before.size:
        message = f"moves other axes before the tip is clear; send {into.upper()} out to {show_length(level, units)} before it"
        yield Finding(kind="clear", level="problem", where=f"line {moves.line[before[0]]}", message=message)
    nearest = np.minimum(moves.start[:, column], moves.end[:, column])
    low = others & ~(nearest >= level - slack)
    low[before] = False
    near = np.flatnonzero(low)
    if near.size:
        worst = near[int(nearest[near].argmin())]
        goes, asked = (show_length(float(each), units) for each in (nearest[worst], level))
        message = f"a fast move of other axes with the tip at {into.upper()} {goes}; the job has it stand clear at {asked}"
        more = f" (and {near.size - 1} more moves)" if near.size > 1 else ""
        yield Finding(kind="clear", level="warning", where=f"line {moves.line[worst]}", message=message + more)


def end_findings(
    at: Array, line: int, into: str, level: float, slack: float, touches: Callable[[Array], NDArray[np.bool_]], units: LengthUnit
) -> Iterator[Finding]:
    """Yield that the program ends with the tip in the work, or nearer to it than clear; ``at`` (1, 6) is where the axes stand."""
    stands = float(at[0, LETTERS.index(into.upper())])
    if touches(at)[0]:
        message = "the program ends with the tip in the work; send it clear first"
        yield Finding(kind="clear", level="problem", where=f"line {line}", message=message)
    elif not stands >= level - slack:
        shown = f"{into.upper()} {show_length(stands, units)}; the job has it stand clear at {show_length(level, units)}"
        yield Finding(kind="clear", level="warning", where=f"line {line}", message=f"the program ends with the tip at {shown}")
