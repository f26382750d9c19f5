"""A program that is tried in air: how far each of its cuts is lifted, and whether all of it keeps off the work."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.proof.reader import LETTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lobework.kinematics.trace import Trace
    from lobework.proof.replay import Fed, Moves
    from lobework.proof.stops import Halt

__all__ = ["fed_to", "lowered"]

_FED_TO: Final = re.compile(r"feedthecutterinbyhandto[xz](-?[0-9]+(?:[.][0-9]+)?)(mm|in)")


def lowered(fed: Fed, traces: Sequence[Trace], into: str) -> Fed:
    """Return the moves at a feed of a lifted program, as they would cut.

    The runs are taken for the cuts of the job in order. A run is lifted by the distance, along the slide that feeds in, from
    where its cut begins in the job to where it begins in the program.
    """
    run = np.cumsum(fed.begins) - 1
    if not run.size:
        return fed
    edges = np.searchsorted(run, np.arange(run[-1] + 2))
    lifts = np.zeros(int(run[-1]) + 1)
    for r in range(lifts.size):
        mine = fed.at[edges[r] : edges[r + 1]]
        level = mine[~fed.plunges[edges[r] : edges[r + 1]]]
        begins = float(traces[min(r, len(traces) - 1)].motion.axes(np.zeros(1))[into][0])
        stands = fed.moves.start[level[0], fed.column] if level.size else fed.moves.end[mine, fed.column].min()
        lifts[r] = stands - begins
    return replace(fed, lift=lifts[run])


def fed_to(moves: Moves, halts: Sequence[Halt], into: str) -> Moves:
    """Return moves with the tip where the words of the stop before them have a person feed it in to, by the slide ``into``.

    Without such words it is taken to be at zero, in the work.
    """
    stands = np.full(len(moves.line), -np.inf)
    for halt in halts:
        flat = halt.words.replace("\n", "")
        if found := _FED_TO.search(flat):
            stands[moves.stretch >= halt.stops] = float(found[1]) * (25.4 if found[2] == "in" else 1.0)
    told, column = np.isfinite(stands), LETTERS.index(into.upper())
    start, end = moves.start.copy(), moves.end.copy()
    start[told, column] = end[told, column] = stands[told]
    return replace(moves, start=start, end=end)
