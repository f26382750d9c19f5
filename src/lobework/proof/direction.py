"""Where the cutter points as it cuts, beside where the job has it point."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.sweep import has_edge
from lobework.check import Finding
from lobework.units import format_number

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from lobework.kinds import Cutter
    from lobework.motion import Motion
    from lobework.proof.replay import Moves
    from lobework.proof.sampling import Samples
    from lobework.proof.setups import SetUp
    from lobework.rigid import Array

__all__ = ["direction_findings"]

_MOST_LOOKED_AT: Final = 20_000
_LEAST_REACH_MM: Final = 1.0


def direction_findings(
    setup: SetUp,
    moves: Moves,
    samples: Samples,
    counts: NDArray[np.bool_],
    columns: Mapping[str, int],
    cutter: Cutter,
    within: float,
) -> Iterator[Finding]:
    """Yield where the cutter, turning as it cuts, points so far off that its edge would be off by more than ``within``, mm.

    Parameters
    ----------
    setup : SetUp
        The cuts.
    moves : Moves
        At a feed, in this set-up.
    samples : Samples
        Of these moves.
    counts : (k,) bool
        Which of the samples count.
    columns : mapping
        From what is moved to its column in the moves.
    cutter : Cutter
        That points.
    within : float, mm
        How far off the far end of its edge may be.
    """
    if "cutter" not in columns or all(each.motion.swings is None for each in setup.traces):
        return
    reach = max(cutter.edge.height, cutter.edge.half_width) if has_edge(cutter) else 0.0
    allowed = within / max(reach, _LEAST_REACH_MM)
    chosen = np.flatnonzero(counts)
    chosen = chosen[:: max(1, math.ceil(chosen.size / _MOST_LOOKED_AT))]
    _, segment, along = setup.asked.nearest(samples.points[chosen], 0.0)
    which = np.searchsorted(setup.ends, segment, side="right")
    begins = np.concatenate([[0], setup.ends[:-1]])
    for k in np.unique(which):
        trace, mine = setup.traces[k], which == k
        at = segment[mine] - begins[k]
        u = trace.u[at] + along[mine] * (trace.u[np.minimum(at + 1, trace.u.size - 1)] - trace.u[at])
        move = samples.move[chosen[mine]]
        axes = moves.start[move] + samples.part[chosen[mine], None] * (moves.end[move] - moves.start[move])
        led = {name: axes[:, column] for name, column in columns.items()}
        off = np.linalg.norm(_points(trace.motion, led) - _points(trace.motion, trace.motion.axes(u)), axis=1)
        worst = int(off.argmax())
        if off[worst] > allowed:
            turned = math.degrees(2 * math.asin(min(0.5 * off[worst], 1.0)))
            says = f"the cutter points {format_number(turned, 2)} degrees off, in cut {trace.cut.number} ({trace.cut.title}); "
            says += f"allowed {format_number(math.degrees(allowed), 2)} degrees"
            yield Finding(kind="direction", level="problem", where=f"line {moves.line[move[worst]]}", says=says)


def _points(motion: Motion, axes: Mapping[str, Array]) -> Array:
    """Return (n, 3), where the cutter points from on the work."""
    points: Array = motion.pose_of(axes).rotation[:, :, 2]
    return points
