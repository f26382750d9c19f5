"""Jumps of the path of a cut: discontinuities, mostly of a chuck or a cam, which no lathe can follow."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.checks.check import Finding, show_small
from lobework.geometry.continuity import Discontinuity, continuity_of
from lobework.kinematics.sampling import corners_of
from lobework.quantities.tolerances import JUMP_MM
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.cam_motion import Push
    from lobework.kinematics.motion import Motion
    from lobework.kinematics.trace import Trace

__all__ = ["Jump", "jump_findings", "jumps_of"]

_SEARCH_TURNS: Final = 1e-6
"""Distance on either side of a position within which a jump is searched for, turns."""
_NARROW: Final = 1e-6
"""Step between samples, turns; smaller steps occur only at a jump or a near jump."""
_MOST_NARROW: Final = 1024
"""Greatest number of narrow steps that are examined."""
_JUMP_DEG: Final = 1e-4
_SAME_PLACE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Jump:
    """One jump of a path.

    Parameters
    ----------
    u : float
        Position in the cut: turns of the spindle, or the fraction of the cut if the spindle stands still.
    mm : float
        Distance by which the tip jumps on the work.
    degrees : float
        Angle by which the work jumps relative to the cutter.
    part : str
        The part that jumps: "chuck 'oval'", "cam 1"; empty if unknown.
    """

    u: float
    mm: float
    degrees: float
    part: str


def jumps_of(trace: Trace) -> list[Jump]:
    """Return the jumps of the path of one cut, in order, each with the part that causes it.

    Every chuck and every cam's lift is examined separately; the path itself is examined where its samples are very close.
    """
    motion = trace.motion
    found = [jump for part, step in _part_jumps(motion) if (jump := _jump_on_work(motion, step, part)) is not None]
    for step in _path_jumps(trace):
        if (
            not any(abs(each.u - step.after) <= _SAME_PLACE for each in found)
            and (jump := _jump_on_work(motion, step, "")) is not None
        ):
            found.append(jump)
    return sorted(found, key=lambda each: each.u)


def _part_jumps(motion: Motion) -> Iterator[tuple[str, Discontinuity]]:
    """Yield the name of each part that jumps, and the jump at its position in the pass."""
    passed, span = motion.cut.passed, motion.cut.span
    begins, turns = float(passed.spindle.in_turns()), float(passed.turns)
    for mounted in motion.cut.lathe.chucks if turns else ():
        for step in mounted.jumps(turns, begins):
            yield (
                f"chuck {mounted.name!r}",
                Discontinuity(max(step.before - begins, 0.0), min(step.after - begins, turns), step.size),
            )
    for push in motion.pushes:
        if push.curve.jumps.size and span:
            for step in _lift_jumps(push, span):
                yield push.name, step


def _lift_jumps(push: Push, span: float) -> Iterator[Discontinuity]:
    """Yield the jumps of a lift in the pass; they are at boundaries between arcs of the lift curve."""
    for corner in np.append(corners_of(push, span), [0.0, span]).tolist():
        near = np.unique(np.clip([corner - _SEARCH_TURNS, corner, corner + _SEARCH_TURNS], 0.0, span))
        yield from continuity_of(lambda u: push.at(u)[:, None], near).steps


def _path_jumps(trace: Trace) -> tuple[Discontinuity, ...]:
    """Return the jumps of the path where its samples are very close together."""
    spans = trace.spans
    narrow = np.flatnonzero(spans.step < _NARROW)
    if not narrow.size or not trace.cut.span:
        return ()
    narrow = narrow[np.argsort(spans.step[narrow])[:_MOST_NARROW]]
    return continuity_of(trace.motion.place, np.unique(np.concatenate([spans.start[narrow], spans.end[narrow]]))).steps


def _jump_on_work(motion: Motion, step: Discontinuity, part: str) -> Jump | None:
    """Return the jump on the work that a jump of a part causes; None if the jump on the work is negligible."""
    gap, span = step.after - step.before, motion.cut.span
    u = np.clip([step.before - gap, step.before, step.after, step.after + gap], 0.0, span)
    mm = float(np.linalg.norm(np.diff(motion.place(u), axis=0), axis=1).max())
    degrees = _greatest_rotation(motion.work(u).rotation)
    return None if mm < JUMP_MM and degrees < _JUMP_DEG else Jump(step.after, mm, degrees, part)


def _greatest_rotation(rotation: Array) -> float:
    """Return the greatest angle between consecutive rotations, degrees."""
    rotation = np.broadcast_to(rotation, (max(len(rotation), 2), 3, 3))
    between = np.linalg.norm(np.diff(rotation, axis=0), axis=(1, 2)).max()
    return math.degrees(2 * math.asin(min(0.5 * float(between) / math.sqrt(2), 1.0)))


def jump_findings(traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield a finding for each part that makes the path of a pass jump: the angle of the spindle, and the size of the jump."""
    for _, of_group in itertools.groupby(traces, key=lambda each: each.cut.group):
        same = list(of_group)
        found = [(trace, jump) for trace in same for jump in jumps_of(trace)]
        for part in dict.fromkeys(jump.part for _, jump in found):
            yield _finding([each for each in found if each[1].part == part], len(same))


def _finding(found: Sequence[tuple[Trace, Jump]], cuts: int) -> Finding:
    """Return the finding on the jumps of one part in one pass: the largest jump, its position, and the number of other jumps."""
    trace, worst = max(found, key=lambda each: (round(each[1].mm, 6), round(each[1].degrees, 6)))
    cut = trace.cut
    name = cut.passed.name or f"pass {cut.group}"
    turned = "" if worst.mm >= JUMP_MM else f" and the work turns suddenly by {format_number(worst.degrees, 4)} degrees"
    done = (
        f"after {format_number(worst.u, 6)} turns"
        if cut.passed.turns
        else f"after {format_number(100 * worst.u, 4)} % of the pass"
    )
    at = format_number(round(360 * float(trace.motion.turns(np.array([worst.u]))[0]) % 360, 4), 4)
    where = f"at a spindle angle of {at} degrees, {done}" + (f" of {cut.title}" if cuts > 1 else "")
    others = len(found) - 1
    more = f", and at {others} more place{'s' if others > 1 else ''}" if others else ""
    message = f"the path jumps by {show_small(worst.mm, cut.units)}{turned} {where}{more}; no lathe can follow this path"
    remedy = "change the settings of the part, or correct the part" if worst.part else "divide the pass into several passes"
    return Finding(
        kind="jump", level="problem", where=f"{name}, {worst.part}" if worst.part else name, message=f"{message}: {remedy}"
    )
