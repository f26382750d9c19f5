"""The cuts of a job that need no hand between them, and which stretches of a program cut them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.lathe.hand_settings import by_hand
from lobework.proof.line import Line, laid

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.motion import Motion
    from lobework.kinematics.trace import Trace
    from lobework.lathe.passes import Cut
    from lobework.quantities.units import LengthUnit

__all__ = ["SetUp", "divided", "hand_work", "matched", "set_ups"]

_TOO_MANY: Final = 250_000
_UNFIT: Final = 4.0
_STOPS_MORE: Final = 0.5
_STOPS_LESS: Final = 0.1
"""Prices, where a cut that is nowhere costs one: of a stretch that does not fit, a stop too many, a stop too few."""


@dataclass(frozen=True, eq=False)
class SetUp:
    """Cuts that follow one another with no hand between them.

    Parameters
    ----------
    traces : tuple of Trace
        Of these cuts.
    """

    traces: tuple[Trace, ...]

    @property
    def motion(self) -> Motion:
        """The lathe as it is set for them."""
        return self.traces[0].motion

    @property
    def first(self) -> Cut:
        """The first of them."""
        return self.traces[0].cut

    @cached_property
    def path(self) -> Array:
        """(n, 3) mm, what they cut on the work, one after the other."""
        return np.concatenate([np.stack([each.x, each.y, each.z], axis=-1) for each in self.traces])

    @cached_property
    def ends(self) -> NDArray[np.int64]:
        """(k,): how many points of the path have gone by at the end of each cut."""
        return np.cumsum([each.x.size for each in self.traces], dtype=np.int64)

    @cached_property
    def asked(self) -> Line:
        """The path, to be asked how near it comes."""
        joined = np.ones(len(self.path), bool)
        joined[self.ends - 1] = False
        return laid(self.path, joined)


def set_ups(traces: Sequence[Trace]) -> list[SetUp]:
    """Return the cuts of a job, those together that need no hand between them."""
    found: list[list[Trace]] = []
    before: Any = None
    for each in traces:
        now = _by_hand(each.cut)
        if found and now == before:
            found[-1].append(each)
        else:
            found.append([each])
        before = now
    return [SetUp(tuple(each)) for each in found]


def _by_hand(cut: Cut) -> tuple[Any, ...]:
    """Return everything of a cut that no axis of its lathe sets."""
    lathe, passed = cut.lathe, cut.passed
    cams: list[tuple[Any, ...]] = []
    for number, drive in enumerate(passed.cams, 1):
        turned_by = lathe.cam_shaft(number).turned_by
        if turned_by != "software":
            driven = turned_by == "motor"
            cams.append((drive.cam, drive.follower, drive.side, drive.gain, drive.index, drive.moves))
            cams.append(() if driven else (drive.ratio, cut.as_set(drive).phase))
    holder = tuple((name, place) for name, place in zip("xyz", cut.tip, strict=True) if lathe.axis(name) is None)
    fed = cut.number if lathe.axis(cut.approach.axis) is None else None
    turned = passed.spindle if lathe.axis("spindle") is None else None
    return lathe.chucks, tuple(cams), passed.together, holder, fed, turned


def hand_work(before: Cut, now: Cut, units: LengthUnit) -> str:
    """Return what a person must change between two cuts."""
    was, must_be = by_hand(before, units), by_hand(now, units)
    gone = [f"take off {each.what}" for what, each in was.items() if what not in must_be and each.do == "fit"]
    return "; ".join(gone + [str(each) for what, each in must_be.items() if was.get(what) != each]) or "set the slides"


def divided(stretch: NDArray[np.int32]) -> list[slice]:
    """Return the moves of each stretch that has any, from (n,) numbers of stretches."""
    edges = np.flatnonzero(np.diff(stretch)) + 1
    return [slice(a, b) for a, b in zip([0, *edges.tolist()], [*edges.tolist(), stretch.size], strict=True) if b > a]


def matched(stretches: Sequence[int], cuts: Sequence[int], misfit: Callable[[int, int], float]) -> list[int]:
    """Return which set-up each stretch of a program cuts, in order.

    As many of the one as of the other go one to one. Otherwise they are laid so that the cuts in each come nearest to what was
    counted, and the places to where they should be.

    Parameters
    ----------
    stretches, cuts : sequence of int
        How often the tip goes into the work in each stretch; how many cuts each set-up has.
    misfit : callable
        Of a stretch and a set-up: 0 where the one is all on the path of the other, 1 where nothing of it is.
    """
    many, sets = len(stretches), len(cuts)
    if many == sets or not many or not sets or many * sets > _TOO_MANY:
        return [min(k, sets - 1) for k in range(many)]
    slack = abs(many - sets) + 1
    cost, spare = np.full((many + 1, sets + 1), math.inf), np.zeros((many + 1, sets + 1), np.int64)
    came: dict[tuple[int, int], tuple[int, int]] = {}
    cost[0, 0] = 0.0

    def way(to: tuple[int, int], of: tuple[int, int], price: float, left: int) -> None:
        if cost[of] + price < cost[to]:
            cost[to], spare[to], came[to] = cost[of] + price, left, of

    for i in range(many + 1):
        for k in range(sets + 1):
            if i and k:
                near = abs(i - k) <= slack or abs(i - k - many + sets) <= slack
                fit = _UNFIT * (misfit(i - 1, k - 1) if near else 1.0)
                way((i, k), (i - 1, k - 1), fit + abs(spare[i - 1, k - 1]), stretches[i - 1] - cuts[k - 1])
                way((i, k), (i - 1, k), fit + _STOPS_MORE, int(spare[i - 1, k]) + stretches[i - 1])
            if k:
                left = int(spare[i, k - 1])
                lacks = _STOPS_LESS if left >= cuts[k - 1] else float(cuts[k - 1])
                way((i, k), (i, k - 1), lacks, left - cuts[k - 1] if left >= cuts[k - 1] else left)
    at, found = (many, sets), [0] * many
    while at != (0, 0) and at in came:
        before = came[at]
        if before[0] < at[0]:
            found[at[0] - 1] = at[1] - 1
        at = before
    return found
