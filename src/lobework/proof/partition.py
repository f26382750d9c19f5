"""Partition of a set-up into parts, each with its cuts and the moves that cut them, to limit the use of memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.proof.setups import SetUp

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.proof.replay import FeedMoves

    Ints = NDArray[np.int64]

__all__ = ["cut_groups", "fits_in_one_part", "parts_of"]

_POINTS: Final = 150_000
"""Number of points of paths and moves in a part; a part has at least one cut."""
_MOST_POINTS: Final = 1_500_000
"""Greatest number of points of paths and moves that are compared without partition."""
_AHEAD: Final = 16
"""Greatest number of cuts that may be missing between two runs of moves."""


def fits_in_one_part(setup: SetUp, moves: int = 0) -> bool:
    """Return whether a set-up and a number of moves are small enough to be compared without partition."""
    return sum(each.x.size for each in setup.traces) + moves <= _MOST_POINTS


def cut_groups(setup: SetUp) -> Iterator[SetUp]:
    """Yield the cuts of a set-up, in order, in groups of limited size."""
    points, first = 0, 0
    for k, trace in enumerate(setup.traces, 1):
        points += trace.x.size
        if points >= _POINTS or k == len(setup.traces):
            yield SetUp(setup.traces[first:k])
            points, first = 0, k


def parts_of(
    setup: SetUp, feed: FeedMoves, which: Ints, model: Callable[[Array], Array], within: float
) -> Iterator[tuple[SetUp, Ints]]:
    """Yield the parts of a set-up, in order: their cuts, and the moves that cut them.

    If there are as many runs of moves as cuts, each run is assigned to one cut. Otherwise a small set-up is one part. In a large
    set-up, a run is assigned to the next cut that is near the run; if no cut is near, to the same cut as the run before.

    Parameters
    ----------
    setup : SetUp
        The cuts.
    feed : FeedMoves
        The feed moves of the program.
    which : (n,) int64
        Indices of the feed moves in this set-up.
    model : callable
        The lathe's model: a function from (n, 6) positions of the axes to positions of the tip on the work.
    within : float, mm
        Greatest distance of a run from its cut.
    """
    begins = feed.begins[which]
    begins[:1] = True
    edges = np.append(np.flatnonzero(begins), which.size)
    runs, cuts = len(edges) - 1, len(setup.traces)
    if cuts == 1 or not runs or (runs != cuts and fits_in_one_part(setup, which.size)):
        yield setup, which
        return
    of_run = np.arange(runs) if runs == cuts else _cuts_of_runs(setup, feed, which, edges, model, within)
    points, first, begun = 0, 0, 0
    for k, trace in enumerate(setup.traces):
        after = runs if k == cuts - 1 else int(np.searchsorted(of_run, k, side="right"))
        points += trace.x.size
        if points + edges[after] - edges[begun] >= _POINTS or k == cuts - 1:
            yield SetUp(setup.traces[first : k + 1]), which[edges[begun] : edges[after]]
            points, first, begun = 0, k + 1, after


def _cuts_of_runs(
    setup: SetUp, feed: FeedMoves, which: Ints, edges: Ints, model: Callable[[Array], Array], within: float
) -> Ints:
    """Return the index of the cut of each run; the indices never decrease."""
    found, k = np.zeros(len(edges) - 1, np.int64), 0
    for r in range(len(found)):
        mine = feed.of(which[[(edges[r] + edges[r + 1]) // 2, edges[r + 1] - 1]])
        places = model(0.5 * (mine.start + mine.end))
        for ahead in range(k, min(k + _AHEAD, len(setup.traces))):
            if SetUp(setup.traces[ahead : ahead + 1]).target.nearest(places, within)[0].min() <= 2 * within:
                k = ahead
                break
        found[r] = k
    return found
