"""The cuts of a set-up and the moves of a program that go together, part by part, so that no more is looked at than must be."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.proof.setups import SetUp

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.proof.replay import Fed

    Ints = NDArray[np.int64]

__all__ = ["groups_of", "parts_of", "together"]

_POINTS: Final = 150_000
"""Of paths and moves, in a part; a part has one cut at least."""
_MOST_POINTS: Final = 1_500_000
"""Of paths and moves that may be compared all together."""
_AHEAD: Final = 16
"""Cuts that may be left out between two runs of moves."""


def together(setup: SetUp, moves: int = 0) -> bool:
    """Return whether a set-up and so many moves are few enough to be looked at all together."""
    return sum(each.x.size for each in setup.traces) + moves <= _MOST_POINTS


def groups_of(setup: SetUp) -> Iterator[SetUp]:
    """Yield the cuts of a set-up, in order, in groups of so many points as may be looked at together."""
    points, first = 0, 0
    for k, trace in enumerate(setup.traces, 1):
        points += trace.x.size
        if points >= _POINTS or k == len(setup.traces):
            yield SetUp(setup.traces[first:k])
            points, first = 0, k


def parts_of(
    setup: SetUp, feed: Fed, which: Ints, model: Callable[[Array], Array], within: float
) -> Iterator[tuple[SetUp, Ints]]:
    """Yield the cuts of a set-up, in order, with the moves that cut them.

    If there are as many runs of moves as cuts, each run is a cut. Otherwise a small set-up stays whole; in a large one, a run
    goes with the next cut that it is near to, or with the one before if it is near to none.

    Parameters
    ----------
    setup : SetUp
        The cuts.
    feed : Fed
        The moves at a feed of a program.
    which : (n,) int64
        Which of them are in this set-up.
    model : callable
        Of (n, 6) axes, where the tip is on the work.
    within : float, mm
        How near a run must be to its cut.
    """
    begins = feed.begins[which]
    begins[:1] = True
    edges = np.append(np.flatnonzero(begins), which.size)
    runs, cuts = len(edges) - 1, len(setup.traces)
    if cuts == 1 or not runs or (runs != cuts and together(setup, which.size)):
        yield setup, which
        return
    of_run = np.arange(runs) if runs == cuts else _aligned(setup, feed, which, edges, model, within)
    points, first, begun = 0, 0, 0
    for k, trace in enumerate(setup.traces):
        after = runs if k == cuts - 1 else int(np.searchsorted(of_run, k, side="right"))
        points += trace.x.size
        if points + edges[after] - edges[begun] >= _POINTS or k == cuts - 1:
            yield SetUp(setup.traces[first : k + 1]), which[edges[begun] : edges[after]]
            points, first, begun = 0, k + 1, after


def _aligned(setup: SetUp, feed: Fed, which: Ints, edges: Ints, model: Callable[[Array], Array], within: float) -> Ints:
    """Return which cut each run goes with, never one before that of the run before it."""
    found, k = np.zeros(len(edges) - 1, np.int64), 0
    for r in range(len(found)):
        mine = feed.of(which[[(edges[r] + edges[r + 1]) // 2, edges[r + 1] - 1]])
        places = model(0.5 * (mine.start + mine.end))
        for ahead in range(k, min(k + _AHEAD, len(setup.traces))):
            if SetUp(setup.traces[ahead : ahead + 1]).asked.nearest(places, within)[0].min() <= 2 * within:
                k = ahead
                break
        found[r] = k
    return found
