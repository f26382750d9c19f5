"""Direction of the cutter on the work, compared with its direction in the job."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.sweep import has_edge
from lobework.checks.check import Finding
from lobework.parts.abilities import holder_of
from lobework.parts.holder import CuttingFrame, FixedTool
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.motion import Motion
    from lobework.parts.protocols import Cutter
    from lobework.proof.replay import Moves
    from lobework.proof.sampling import Samples
    from lobework.proof.setups import SetUp

__all__ = ["direction_findings"]

_MOST_SAMPLES: Final = 20_000
_LEAST_REACH_MM: Final = 1.0
_MAJORITY: Final = 0.5


def direction_findings(
    setup: SetUp,
    moves: Moves,
    samples: Samples,
    counts: NDArray[np.bool_],
    columns: Mapping[str, int],
    cutter: Cutter,
    within: float,
) -> Iterator[Finding]:
    """Yield a finding for each cut in which a wrong direction of the cutter displaces its edge by more than ``within``, mm.

    A cutter that swings is compared at every sample. A fixed cutter has a wrong direction if the work is at a wrong angle. This
    is reported only if the error exceeds 90 degrees, or extends over most of a cut, because at a crossing of the path a sample
    may be matched with the wrong branch.

    Parameters
    ----------
    setup : SetUp
        The cuts.
    moves : Moves
        Feed moves in this set-up.
    samples : Samples
        Samples of these moves.
    counts : (k,) bool
        Whether each sample is compared.
    columns : mapping
        Map from the name of what an axis moves, such as "spindle", to the column of this axis in the moves.
    cutter : Cutter
        The cutter.
    within : float, mm
        Greatest allowed displacement of the end of the edge that is furthest from the tip.
    """
    turns = "cutter" in columns and any(each.motion.swings is not None for each in setup.traces)
    reach = max(cutter.edge.height, cutter.edge.half_width) if has_edge(cutter) else 0.0
    allowed = within / max(reach, _LEAST_REACH_MM)
    chosen = np.flatnonzero(counts)
    chosen = chosen[:: max(1, math.ceil(chosen.size / _MOST_SAMPLES))]
    _, segment, along = setup.target.nearest(samples.points[chosen], 0.0)
    which = np.searchsorted(setup.ends, segment, side="right")
    begins = np.concatenate([[0], setup.ends[:-1]])
    for k in np.unique(which):
        trace, mine = setup.traces[k], which == k
        at = segment[mine] - begins[k]
        u = trace.u[at] + along[mine] * (trace.u[np.minimum(at + 1, trace.u.size - 1)] - trace.u[at])
        move = samples.move[chosen[mine]]
        axes = moves.start[move] + samples.part[chosen[mine], None] * (moves.end[move] - moves.start[move])
        actual = {name: axes[:, column] for name, column in columns.items()}
        off = _difference(trace.motion, actual, trace.motion.axes(u), cutter)
        worst = int(off.argmax())
        if not off[worst] <= (allowed if turns or (~(off <= allowed)).mean() > _MAJORITY else math.sqrt(2)):
            turned = math.degrees(2 * math.asin(min(0.5 * off[worst], 1.0)))
            message = f"the cutter is turned {format_number(turned, 2)} degrees from its direction in cut "
            message += f"{trace.cut.number} ({trace.cut.title}); "
            message += f"allowed {format_number(math.degrees(allowed), 2)} degrees"
            yield Finding(kind="direction", level="problem", where=f"line {moves.line[move[worst]]}", message=message)


def _difference(motion: Motion, actual: Mapping[str, Array], target: Mapping[str, Array], cutter: Cutter) -> Array:
    """Return the length, (n,), of the difference between the cutter's actual unit vector on the work and the job's.

    The vector points into the work. If the groove depends on the rotation of the cutter about this vector, a second vector,
    across the first, is compared too, and the greater difference is returned.
    """
    stands, wanted = motion.pose_of(actual).rotation, motion.pose_of(target).rotation
    into = 2 if motion.swings is not None or motion.cut.approach.axis == "z" else 0
    apart: Array = np.linalg.norm(stands[:, :, into] - wanted[:, :, into], axis=1)
    if isinstance(holder_of(cutter), FixedTool | CuttingFrame):
        one, other = stands[:, :, 2 - into], wanted[:, :, 2 - into]
        across = np.minimum(np.linalg.norm(one - other, axis=1), np.linalg.norm(one + other, axis=1))
        apart = np.maximum(apart, across)
    return apart
