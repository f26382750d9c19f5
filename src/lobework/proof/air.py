"""Programs for a trial in air (dry run): the lift of each cut, and the position of a tip that is fed in by hand."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.proof.reader import LETTERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lobework.kinematics.trace import Trace
    from lobework.proof.replay import FeedMoves, Moves
    from lobework.proof.stops import Halt

__all__ = ["with_hand_feed", "with_lift"]

_FED_TO: Final = re.compile(r"feedthecutterinbyhandto[xz](-?[0-9]+(?:[.][0-9]+)?)(mm|in)")


def with_lift(fed: FeedMoves, traces: Sequence[Trace], into: str) -> FeedMoves:
    """Return the feed moves of a lifted program, with the lift of each move; these lifts are removed before the comparison.

    The first run of moves is taken as the first cut of the job, and so on. The lift of a run is the distance along the infeed
    slide ``into`` from the start of the cut in the job to the start of the run in the program.
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


def with_hand_feed(moves: Moves, halts: Sequence[Halt], into: str) -> Moves:
    """Return the moves, with the infeed slide ``into`` at the position to which the operator has fed the tip in.

    The operator feeds the tip in at a stop. For moves without such a stop before them, the position is zero, in the work.
    """
    stands = np.full(len(moves.line), -np.inf)
    for halt in halts:
        flat = halt.words.replace("\n", "")
        if found := _FED_TO.search(flat):
            stands[moves.stretch >= halt.stops] = float(found[1]) * (25.4 if found[2] == "in" else 1.0)
    given, column = np.isfinite(stands), LETTERS.index(into.upper())
    start, end = moves.start.copy(), moves.end.copy()
    start[given, column] = end[given, column] = stands[given]
    return replace(moves, start=start, end=end)
