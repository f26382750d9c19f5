"""How long a program takes, beside what the job asks for and what the lathe can do.

The minutes of each move are those of the standard (NISTIR 6556, 2.1.2.5), as `lobework.proof.reader` counts them. What the job
asks for is taken from its feeds and its traces, and counted here anew.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.checks.check import Finding
from lobework.lathe.hand_settings import show_length
from lobework.proof.clear import unsaid
from lobework.proof.order import begins_run
from lobework.proof.reader import LETTERS
from lobework.quantities.tolerances import JOIN_MM, PACE_S, PACE_SHARE, SLOW_SHARE, WAY_SHARE
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Lathe
    from lobework.parts.feeds import Feeds
    from lobework.proof.replay import Moves
    from lobework.proof.sampling import Samples
    from lobework.proof.setups import SetUp
    from lobework.quantities.units import LengthUnit

    Ints = NDArray[np.int64]

__all__ = ["Pace", "least_seconds"]

_TWICE: Final = 0.125
"""Of the path of a cut: how much of it may be cut again, where a cut is made in pieces or goes on past its end."""
_WINDOW: Final = 0.75
_FEWEST: Final = 257
_LIMITED: Final = 2.0
"""Times the least that a move can take on a lathe with limits: how its changes of speed are spread over moves is free."""


class _Worst(NamedTuple):
    """The worst place of one kind: how many times what is asked, on which line, how fast it goes there, and what is asked."""

    times: float
    line: int
    goes: float
    asked: float


class Pace:
    """Collects the time of a program, part by part.

    Parameters
    ----------
    feeds : Feeds
        What the job asks for.
    lathe : Lathe
        What its axes can do.
    into : "x" or "z"
        The slide that takes the tip in.
    units : "mm" or "inch"
        That lengths are shown in.
    """

    def __init__(self, feeds: Feeds, lathe: Lathe, into: str, units: LengthUnit) -> None:
        self.feeds, self.lathe, self.into, self.units = feeds, lathe, into, units
        self.worst: dict[str, _Worst] = {}
        self.asked_s, self.cutting_s, self.sound = 0.0, 0.0, True
        self.slow_cuts: list[tuple[Trace, float, float]] = []
        self.twice: list[tuple[int, float, float]] = []
        self.idle: list[int] = []

    def take(
        self, setup: SetUp, moves: Moves, samples: Samples, tolerance: float, clear: float, *, sound: bool, one_each: bool
    ) -> None:
        """Take the moves at a feed of some cuts; ``sound``: all keep to the path; ``one_each``: each cut has a run of its own."""
        self.sound &= sound
        if not len(moves.line):
            return
        lengths, middle = _lengths(samples, len(moves.line)), _middles(samples, len(moves.line))
        far, segment, along = setup.asked.nearest(samples.points[middle], tolerance, 4 * tolerance)
        on_path = far <= 2 * tolerance
        cut = np.searchsorted(setup.ends, segment, side="right")
        column = LETTERS.index(self.into.upper())
        moved = moves.start != moves.end
        straight = moved[:, column] & (moved.sum(axis=1) == 1)
        inward = straight & (moves.end[:, column] < moves.start[:, column])
        inward[inward] = ~self._along_path(setup, np.flatnonzero(inward), samples, tolerance)
        cuts = on_path & ~inward & moved.any(axis=1)
        self._take_plunges(moves, np.flatnonzero(inward), column, tolerance)
        self._take_cuts(setup, moves, np.flatnonzero(cuts), lengths, cut, segment, along)
        self._take_totals(setup, moves, cuts, lengths, tolerance, one_each=one_each)
        deepest = [float(each.motion.tip(np.zeros(1))[0, "xyz".index(self.into)]) for each in setup.traces]
        far_in = [max(clear - depth, 0.0) for depth in deepest] if self.lathe.axis(self.into) is not None else []
        self.asked_s += math.fsum(60 * each / self._plunge(each) for each in far_in) + len(deepest) * self.feeds.dwell
        self.cutting_s += float(moves.seconds[~cuts].sum())

    def _along_path(self, setup: SetUp, which: Ints, samples: Samples, tolerance: float) -> NDArray[np.bool_]:
        """Return which of some moves begin and end on the path of a cut: they cut, though they go straight in."""
        ends = np.concatenate([np.searchsorted(samples.move, which), np.searchsorted(samples.move, which, side="right") - 1])
        far, _, _ = setup.asked.nearest(samples.points[ends], tolerance, 4 * tolerance)
        both: NDArray[np.bool_] = np.maximum(far[: which.size], far[which.size :]) <= 2 * tolerance
        return both

    def _plunge(self, far: float) -> float:
        """Return how fast the tip can go in, mm a minute, ``far`` mm from rest to rest."""
        axis = self.lathe.axis(self.into)
        if axis is None or far <= 0:
            return self.feeds.plunge
        return min(self.feeds.plunge, 60 * axis.top_speed, 60 * math.sqrt(axis.acceleration * far))

    def _take_plunges(self, moves: Moves, which: Ints, column: int, tolerance: float) -> None:
        for k in which.tolist():
            far = float(moves.start[k, column] - moves.end[k, column])
            seconds = float(moves.seconds[k])
            rate = 60 * far / seconds if seconds > 0 else math.inf
            self._note("plunge", rate / self.feeds.plunge, int(moves.line[k]), rate, self.feeds.plunge)
            slowest = self._plunge(far)
            if not seconds <= (1 + SLOW_SHARE) * 60 * far / slowest + PACE_S and not far <= tolerance:
                self._note("slow plunge", slowest / rate, int(moves.line[k]), rate, slowest)

    def _take_cuts(self, setup: SetUp, moves: Moves, which: Ints, lengths: Array, cut: Ints, segment: Ints, along: Array) -> None:
        """Note the moves that go faster than the job asks for, and those that take far longer.

        The decimals of its words make a move a little longer or shorter than asked, over the work by two slides at the most.
        """
        turning = np.array([each.cut.passed.turns > 0 for each in setup.traces])[cut[which]]
        spindle = self.lathe.axis("spindle")
        turned = np.zeros(which.size)
        if spindle is not None:
            c = LETTERS.index(spindle.letter)
            turned = (moves.end[which, c] - moves.start[which, c]) / 360
            self._take_backwards(moves, which[turning & (turned < 0) & (lengths[which] > JOIN_MM)])
            turned = np.abs(turned)
        seconds = moves.seconds[which]
        over = lengths[which]
        by_turn = np.where(turning, 60 * turned / self.feeds.spindle_rpm, 0.0)
        by_feed = 60 * over / self.feeds.feed
        if self.feeds.pace == "fastest":
            by_turn, by_feed = np.zeros(which.size), np.where(turning, 0.0, by_feed)
        elif self.feeds.pace == "spindle":
            by_feed = np.where(turning, 0.0, by_feed)
        with np.errstate(divide="ignore", invalid="ignore"):
            rpm, speed = 60 * turned / seconds, 60 * over / seconds
        longer = math.sqrt(2) * unsaid(self.lathe.controller.slide_places, self.units)
        for name, wanted, rate, most, spare in (
            ("spindle", by_turn, rpm, self.feeds.spindle_rpm, 0.0),
            ("feed", by_feed, speed, self.feeds.feed, 1e-4 + 60 * longer / self.feeds.feed),
        ):
            if which.size and wanted.max() > 0:
                with np.errstate(divide="ignore", invalid="ignore"):
                    times = np.where(wanted > 0, (wanted - spare) / seconds, 0.0)
                worst = int(np.nan_to_num(times, nan=math.inf).argmax())
                self._note(name, float(times[worst]), int(moves.line[which[worst]]), float(rate[worst]), most)
        least = np.maximum(by_turn, by_feed)
        limited = self._limited(setup, which, turning, turned, over, cut, segment, along)
        allowed = np.maximum((1 + SLOW_SHARE) * least, _LIMITED * limited) + PACE_S
        late = np.flatnonzero(~(seconds <= allowed))
        if late.size:
            worst = int(late[(seconds[late] / allowed[late]).argmax()])
            best = max(float(least[worst]), float(limited[worst]), 1e-9)
            self._note("slow", float(seconds[worst]) / best, int(moves.line[which[worst]]), float(seconds[worst]), best)

    def _take_backwards(self, moves: Moves, which: Ints) -> None:
        """Note where the spindle turns the other way from the job's while it cuts."""
        if which.size:
            self._note("backwards", 1.0, int(moves.line[which[0]]), 0.0, 0.0)

    def _limited(
        self,
        setup: SetUp,
        which: Ints,
        turning: NDArray[np.bool_],
        turned: Array,
        over: Array,
        cut: Ints,
        segment: Ints,
        along: Array,
    ) -> Array:
        """Return how long each move takes at least, s, for what the lathe's axes can do about there."""
        found = np.zeros(which.size)
        if all(math.isinf(axis.top_speed) and math.isinf(axis.acceleration) for axis in self.lathe.axes):
            return found
        begins = np.concatenate([[0], setup.ends[:-1]])
        for k in np.unique(cut[which]).tolist():
            mine = np.flatnonzero(cut[which] == k)
            trace = setup.traces[k]
            u, seconds = least_seconds(trace, self.lathe, self.feeds)
            at = segment[which[mine]] - begins[k]
            middle = trace.u[at] + along[which[mine]] * (trace.u[np.minimum(at + 1, trace.u.size - 1)] - trace.u[at])
            whole = max(_way(trace), JOIN_MM)
            half = _WINDOW * np.where(turning[mine], turned[mine], over[mine] / whole * trace.cut.span)
            found[mine] = np.interp(middle + half, u, seconds) - np.interp(middle - half, u, seconds)
        return found

    def _take_totals(
        self, setup: SetUp, moves: Moves, cuts: NDArray[np.bool_], lengths: Array, tolerance: float, *, one_each: bool
    ) -> None:
        """Compare the time of each cut, or of all together, and the length of what is cut with that of the path."""
        asked = [float(least_seconds(each, self.lathe, self.feeds)[1][-1]) for each in setup.traces]
        self.asked_s += math.fsum(asked)
        self.cutting_s += float(moves.seconds[cuts].sum())
        if one_each:
            takes = np.bincount((np.cumsum(begins_run(moves)) - 1)[cuts], moves.seconds[cuts], len(asked))
            for trace, seconds, wanted in zip(setup.traces, takes.tolist(), asked, strict=True):
                if not seconds <= (1 + SLOW_SHARE) * wanted + PACE_S:
                    self.slow_cuts.append((trace, seconds, wanted))
        if not self.sound:
            return
        run = np.cumsum(begins_run(moves)) - 1
        idle = np.flatnonzero(np.bincount(run, cuts) == 0)
        meant = sum(not each.cut.span for each in setup.traces)
        if idle.size > meant:
            self.idle.append(int(moves.line[np.searchsorted(run, idle[-1])]))
        ways = [_way(each) for each in setup.traces]
        done, whole = float(lengths[cuts].sum()), math.fsum(ways)
        if not done - whole <= _TWICE * min(ways) + tolerance:
            self.twice.append((int(moves.line[0]), done, whole))

    def _note(self, name: str, times: float, line: int, goes: float, asked: float) -> None:
        if name not in self.worst or not times <= self.worst[name].times:
            self.worst[name] = _Worst(times, line, goes, asked)

    def findings(self, dwells: Array) -> Iterator[Finding]:
        """Yield where the program is faster or much slower than the job asks for; ``dwells``: (n,) minutes that it waits."""
        yield from self._faster()
        if "backwards" in self.worst:
            message = "the spindle turns backwards while it cuts; the job has it turn the other way"
            yield Finding(kind="direction", level="warning", where=f"line {self.worst['backwards'].line}", message=message)
        told = False
        for name, what in (("slow plunge", "goes in"), ("slow", "takes")):
            if name in self.worst and not (name == "slow" and self.slow_cuts):
                worst, told = self.worst[name], True
                if name == "slow":
                    message = f"this move takes {_shown(worst.goes)}; the job asks for {_shown(worst.asked)}"
                else:
                    message = f"the tip {what} at {self._a_minute(worst.goes)}; the job asks for {self._a_minute(worst.asked)}"
                yield Finding(kind="time", level="warning", where=f"line {worst.line}", message=message)
        for trace, seconds, wanted in self.slow_cuts[:1]:
            more = f", and {len(self.slow_cuts) - 1} more cuts are slower" if len(self.slow_cuts) > 1 else ""
            message, told = f"takes {_shown(seconds)}; the job and the lathe ask for {_shown(wanted)}{more}", True
            where = f"cut {trace.cut.number} ({trace.cut.title})"
            yield Finding(kind="time", level="warning", where=where, message=message)
        for line, done, whole in self.twice[:1]:
            message = (
                f"cuts {show_length(round(done, 2), self.units)} along a path of {show_length(round(whole, 2), self.units)}: "
            )
            yield Finding(kind="order", level="warning", where=f"from line {line} on", message=f"{message}something is cut twice")
        for line in self.idle[:1]:
            message = "goes in at a feed and out again, and the job cuts nothing there"
            yield Finding(kind="order", level="warning", where=f"line {line}", message=message)
        takes = self.cutting_s + 60 * float(dwells.sum())
        if self.sound and not told and not takes <= (1 + SLOW_SHARE) * self.asked_s + PACE_S * max(1, len(dwells)):
            message = f"takes {_shown(takes)} at a feed and in dwells; the job and the lathe ask for {_shown(self.asked_s)}"
            yield Finding(kind="time", level="warning", where="whole program", message=message)

    def _faster(self) -> Iterator[Finding]:
        for name in ("spindle", "feed", "plunge"):
            worst = self.worst.get(name)
            if worst is None or worst.times <= 1 + (WAY_SHARE if name == "feed" else PACE_SHARE):
                continue
            if name == "spindle":
                message = (
                    f"the spindle turns at {_rate(worst.goes)} turns a minute; the job asks for {_rate(worst.asked)} at most"
                )
            else:
                what = "the cutter goes over the work" if name == "feed" else "the tip goes into the work"
                message = f"{what} at {self._a_minute(worst.goes)}; the job asks for {self._a_minute(worst.asked)} at most"
            yield Finding(kind="time", level="problem", where=f"line {worst.line}", message=message)

    def _a_minute(self, rate: float) -> str:
        return "endless speed" if math.isinf(rate) else f"{show_length(float(f'{rate:.4g}'), self.units)} a minute"


def _rate(value: float) -> str:
    return f"{value:.4g}"


def _shown(seconds: float) -> str:
    """Return a time in the unit that suits it.

    >>> _shown(0.5), _shown(90.0), _shown(10800.0)
    ('0.5 s', '1.5 minutes', '180 minutes')
    """
    return f"{format_number(seconds, 2)} s" if seconds < 60 else f"{format_number(seconds / 60, 2)} minutes"


def _lengths(samples: Samples, count: int) -> Array:
    """Return how far the tip goes over the work in each of ``count`` moves, mm."""
    within = np.diff(samples.move) == 0
    steps = np.linalg.norm(np.diff(samples.points, axis=0), axis=1)
    return np.bincount(samples.move[1:][within], steps[within], count).astype(np.float64)


def _middles(samples: Samples, count: int) -> Ints:
    """Return which sample is in the middle of each of ``count`` moves."""
    first = np.searchsorted(samples.move, np.arange(count))
    last = np.searchsorted(samples.move, np.arange(count), side="right") - 1
    found: Ints = (first + last + 1) // 2
    return found


def _way(trace: Trace) -> float:
    """Return how long the path of a cut is on the work, mm."""
    return float(np.sqrt(np.diff(trace.x) ** 2 + np.diff(trace.y) ** 2 + np.diff(trace.z) ** 2).sum())


def least_seconds(trace: Trace, lathe: Lathe, feeds: Feeds) -> tuple[Array, Array]:
    """Return places of a cut, (n,) by its ``u``, and how many seconds have gone by there at least, (n,), from rest to rest.

    The speed is the one that the job asks for, less where an axis cannot follow: at most its top speed, at most what its
    acceleration allows where the path bends in its axis, and changed no faster than the acceleration allows.

    Parameters
    ----------
    trace : Trace
        The cut.
    lathe : Lathe
        With the limits of its axes.
    feeds : Feeds
        With what is asked for.
    """
    span = trace.cut.span
    if not span:
        return np.zeros(1), np.zeros(1)
    u = np.unique(np.concatenate([trace.u, np.linspace(0.0, span, _FEWEST)])) if trace.u.size < _FEWEST else np.unique(trace.u)
    du = np.diff(u)
    on_work = np.stack([np.interp(u, trace.u, each) for each in (trace.x, trace.y, trace.z)], axis=-1)
    steps = np.linalg.norm(np.diff(on_work, axis=0), axis=1)
    turning = trace.cut.passed.turns > 0
    cap = np.full(du.size, math.inf)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if turning and feeds.pace != "fastest":
            cap = np.minimum(cap, feeds.spindle_rpm / 60)
        if not turning or feeds.pace == "cutter":
            cap = np.minimum(cap, np.where(steps > 0, du * feeds.feed / 60 / steps, math.inf))
        limits = [axis for axis in lathe.axes if not (math.isinf(axis.top_speed) and math.isinf(axis.acceleration))]
        axes = trace.motion.axes(u) if limits else {}
        rate, limited = np.zeros(du.size), False
        node = np.full(u.size, math.inf)
        gain = np.full(du.size, math.inf)
        for axis in limits:
            if axis.moves not in axes:
                continue
            slope = np.abs(np.diff(np.broadcast_to(axes[axis.moves], u.shape)) / du)
            limited = True
            cap = np.minimum(cap, np.where(slope > 0, axis.top_speed / slope, math.inf))
            gain = np.minimum(gain, np.where(slope > 0, axis.acceleration / slope, math.inf))
            bend = np.abs(np.diff(np.diff(np.broadcast_to(axes[axis.moves], u.shape)) / du)) / (0.5 * (du[1:] + du[:-1]))
            node[1:-1] = np.minimum(node[1:-1], np.where(bend > 0, np.sqrt(axis.acceleration / bend), math.inf))
        if not limited or np.isinf(gain).all():
            rate = cap
        else:
            node[1:-1] = np.minimum(node[1:-1], np.minimum(cap[1:], cap[:-1]))
            node[0] = node[-1] = 0.0
            most = np.where(np.isfinite(node), node, 1e6) ** 2
            change = 2 * np.minimum(gain, 1e12) * du
            for way in (slice(None), slice(None, None, -1)):
                gone = np.concatenate([[0.0], np.cumsum(change[way])])
                most[way] = np.minimum.accumulate(most[way] - gone) + gone
            speed = np.sqrt(np.maximum(most, 0.0))
            rate = np.minimum(0.5 * (speed[1:] + speed[:-1]), cap)
        seconds = np.where(np.isfinite(rate) & (rate > 0), du / rate, 0.0)
    return u, np.concatenate([[0.0], np.cumsum(seconds)])
