"""Order of the cuts in a program, compared with the job."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.checks.check import Finding
from lobework.proof.polyline import polyline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.proof.polyline import Polyline
    from lobework.proof.replay import Moves
    from lobework.proof.sampling import Samples
    from lobework.proof.setups import SetUp

__all__ = ["begins_run", "order_findings"]

_PLACES: Final = 24
"""Number of points of a cut that are searched for in a run of moves."""


def begins_run(moves: Moves) -> NDArray[np.bool_]:
    """Return which moves begin a run: the moves that do not start where the previous move ends."""
    begins: NDArray[np.bool_] = np.ones(len(moves.start), bool)
    if len(moves.start):
        begins[1:] = (moves.start[1:] != moves.end[:-1]).any(axis=1)
    return begins


def order_findings(setup: SetUp, moves: Moves, samples: Samples, within: float) -> Iterator[Finding]:
    """Yield a finding for the first cut of a set-up that does not come after the previous cut of the job.

    Parameters
    ----------
    setup : SetUp
        The cuts, all of which are known to be in the program.
    moves : Moves
        Feed moves in this set-up.
    samples : Samples
        Samples of these moves.
    within : float, mm
        Greatest distance of a point of a cut from the program's path.
    """
    run = (np.cumsum(begins_run(moves)) - 1)[samples.move]
    count = int(run[-1]) + 1 if run.size else 0
    edges = np.searchsorted(run, np.arange(count + 1))
    if count == len(setup.traces):
        middle = samples.points[(edges[1:] + edges[:-1]) // 2]
        _, segment, _ = setup.target.nearest(middle, 0.0)
        if (np.searchsorted(setup.ends, segment, side="right") == np.arange(count)).all():
            return
    kept: dict[int, Polyline] = {}

    def run_path(r: int) -> Polyline:
        if r not in kept:
            points = samples.points[edges[r] : edges[r + 1]]
            joined = np.ones(len(points), bool)
            joined[-1] = False
            kept[r] = polyline(points, joined)
        return kept[r]

    first = 0
    for k, trace in enumerate(setup.traces):
        places = np.unique(np.linspace(0, trace.x.size - 1, _PLACES).astype(np.int64))
        missing = np.stack([trace.x[places], trace.y[places], trace.z[places]], axis=-1)
        r = first
        while r < count:
            missing = missing[run_path(r).nearest(missing, within)[0] > within]
            if not len(missing):
                break
            r += 1
        if len(missing):
            cut, before = trace.cut, setup.traces[max(k - 1, 0)].cut
            message = f"comes before cut {before.number} ({before.title}) in the program, but after this cut in the job"
            yield Finding(kind="order", level="warning", where=f"cut {cut.number} ({cut.title})", message=message)
            return
        kept = {at: each for at, each in kept.items() if at >= r}
        first = r
