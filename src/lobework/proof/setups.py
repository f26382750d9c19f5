"""Set-ups: consecutive cuts of a job without work by hand between them, and the stretches of a program for these cuts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.lathe.hand_settings import by_hand
from lobework.proof.polyline import Polyline, polyline

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.motion import Motion
    from lobework.kinematics.trace import Trace
    from lobework.lathe.passes import Cut
    from lobework.quantities.units import LengthUnit

__all__ = ["SetUp", "hand_work", "match", "set_ups", "stretches_of"]

_MOST_PAIRS: Final = 250_000
_MISFIT_COST: Final = 4.0
_SURPLUS_STOP_COST: Final = 0.5
_MISSING_STOP_COST: Final = 0.1
"""Costs of a stretch that does not fit, of a surplus stop, and of a missing stop; a missing cut costs 1."""


@dataclass(frozen=True, eq=False)
class SetUp:
    """Consecutive cuts of a job without work by hand between them.

    Parameters
    ----------
    traces : tuple of Trace
        The traces of these cuts.
    """

    traces: tuple[Trace, ...]

    @property
    def motion(self) -> Motion:
        """The motion of the lathe in this set-up."""
        return self.traces[0].motion

    @property
    def first(self) -> Cut:
        """The first cut of the set-up."""
        return self.traces[0].cut

    @cached_property
    def path(self) -> Array:
        """The paths of the cuts on the work, one after the other: (n, 3) mm."""
        return np.concatenate([np.stack([each.x, each.y, each.z], axis=-1) for each in self.traces])

    @cached_property
    def ends(self) -> NDArray[np.int64]:
        """The number of points of the path up to the end of each cut: (k,)."""
        return np.cumsum([each.x.size for each in self.traces], dtype=np.int64)

    @cached_property
    def target(self) -> Polyline:
        """The path as a polyline, for distances from it."""
        joined = np.ones(len(self.path), bool)
        joined[self.ends - 1] = False
        return polyline(self.path, joined)


def set_ups(traces: Sequence[Trace]) -> list[SetUp]:
    """Return the set-ups of a job, in order."""
    found: list[list[Trace]] = []
    before: Any = None
    for each in traces:
        now = _settings_by_hand(each.cut)
        if found and now == before:
            found[-1].append(each)
        else:
            found.append([each])
        before = now
    return [SetUp(tuple(each)) for each in found]


def _settings_by_hand(cut: Cut) -> tuple[Any, ...]:
    """Return all settings of a cut that are set by hand, because the lathe has no axis for them."""
    lathe, passed = cut.lathe, cut.passed
    cams: list[tuple[Any, ...]] = []
    for number, drive in enumerate(passed.cams, 1):
        turned_by = lathe.cam_shaft(number).turned_by
        if turned_by != "software":
            driven = turned_by == "motor"
            cams.append((drive.cam, drive.follower, drive.side, drive.gain, drive.index, drive.moves))
            cams.append(() if driven else (drive.ratio, cut.as_set(drive).phase))
    set_by_hand = tuple((name, place) for name, place in zip("xyz", cut.tip, strict=True) if lathe.axis(name) is None)
    fed = cut.number if lathe.axis(cut.approach.axis) is None else None
    turned = passed.spindle if lathe.axis("spindle") is None else None
    return lathe.chucks, tuple(cams), passed.together, set_by_hand, fed, turned


def hand_work(before: Cut, now: Cut, units: LengthUnit) -> str:
    """Return the instructions for the operator between two cuts, as one line."""
    was, must_be = by_hand(before, units), by_hand(now, units)
    removed = [f"take off {each.what}" for what, each in was.items() if what not in must_be and each.do == "fit"]
    return "; ".join(removed + [str(each) for what, each in must_be.items() if was.get(what) != each]) or "set the slides"


def stretches_of(stretch: NDArray[np.int32]) -> list[slice]:
    """Return a slice of the moves for each stretch that has moves; ``stretch``, (n,), is the stretch number of each move."""
    edges = np.flatnonzero(np.diff(stretch)) + 1
    return [slice(a, b) for a, b in zip([0, *edges.tolist()], [*edges.tolist(), stretch.size], strict=True) if b > a]


def match(stretches: Sequence[int], cuts: Sequence[int], misfit: Callable[[int, int], float]) -> list[int]:
    """Return the index of the set-up that each stretch of a program cuts; the indices never decrease.

    If there are as many stretches as set-ups, each stretch has a set-up of its own. Otherwise dynamic programming finds the
    assignment of least cost: the cost rises with the misfit of the paths and with the difference in the number of cuts.

    Parameters
    ----------
    stretches, cuts : sequence of int
        Number of times that the tip enters the work in each stretch; number of cuts in each set-up.
    misfit : callable
        Function of the indices of a stretch and a set-up: fraction of the stretch that is off the path of the set-up, 0 to 1.
    """
    n_stretches, n_setups = len(stretches), len(cuts)
    if n_stretches == n_setups or not n_stretches or not n_setups or n_stretches * n_setups > _MOST_PAIRS:
        return [min(k, n_setups - 1) for k in range(n_stretches)]
    slack = abs(n_stretches - n_setups) + 1
    cost, spare = np.full((n_stretches + 1, n_setups + 1), math.inf), np.zeros((n_stretches + 1, n_setups + 1), np.int64)
    previous: dict[tuple[int, int], tuple[int, int]] = {}
    cost[0, 0] = 0.0

    def relax(to: tuple[int, int], of: tuple[int, int], price: float, left: int) -> None:
        if cost[of] + price < cost[to]:
            cost[to], spare[to], previous[to] = cost[of] + price, left, of

    for i in range(n_stretches + 1):
        for k in range(n_setups + 1):
            if i and k:
                near = abs(i - k) <= slack or abs(i - k - n_stretches + n_setups) <= slack
                fit = _MISFIT_COST * (misfit(i - 1, k - 1) if near else 1.0)
                relax((i, k), (i - 1, k - 1), fit + abs(spare[i - 1, k - 1]), stretches[i - 1] - cuts[k - 1])
                relax((i, k), (i - 1, k), fit + _SURPLUS_STOP_COST, int(spare[i - 1, k]) + stretches[i - 1])
            if k:
                left = int(spare[i, k - 1])
                lacks = _MISSING_STOP_COST if left >= cuts[k - 1] else float(cuts[k - 1])
                relax((i, k), (i, k - 1), lacks, left - cuts[k - 1] if left >= cuts[k - 1] else left)
    at, found = (n_stretches, n_setups), [0] * n_stretches
    while at != (0, 0) and at in previous:
        before = previous[at]
        if before[0] < at[0]:
            found[at[0] - 1] = at[1] - 1
        at = before
    return found
