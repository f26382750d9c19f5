"""Duration and speeds of a program, compared with the feeds of the job and the limits of the lathe.

`lobework.proof.reader` finds the duration of each move by the rules of the standard (NISTIR 6556, 2.1.2.5). The target is
computed here from the job's feeds and traces, independently of the writer of programs.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.checks.check import Finding
from lobework.lathe.hand_settings import show_length
from lobework.proof.clearance import resolution
from lobework.proof.order import begins_run
from lobework.proof.reader import LETTERS
from lobework.quantities.tolerances import FEED_SHARE, JOIN_MM, PACE_SHARE, SLOW_MARGIN_S, SLOW_SHARE
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

_MOST_REPEATED: Final = 0.125
"""Greatest fraction of a cut's path that may be cut twice: a cut may be made in pieces, or continue past its end."""
_WINDOW: Final = 0.75
_PLACES: Final = 257
_LIMITED: Final = 2.0
"""Greatest ratio of a move's duration to the least possible duration; programs may distribute acceleration over moves freely."""


class _Worst(NamedTuple):
    """The worst case of one kind: ratio of the actual value to the target, line of the program, actual value, and target."""

    ratio: float
    line: int
    actual: float
    target: float


class Pace:
    """Durations and speeds of a program, collected part by part.

    Parameters
    ----------
    feeds : Feeds
        The job's feeds.
    lathe : Lathe
        The lathe, for the limits of its axes.
    into : "x" or "z"
        The slide that feeds the tip in.
    units : "mm" or "inch"
        Unit of the lengths in messages.
    """

    def __init__(self, feeds: Feeds, lathe: Lathe, into: str, units: LengthUnit) -> None:
        self.feeds, self.lathe, self.into, self.units = feeds, lathe, into, units
        self.worst: dict[str, _Worst] = {}
        self.target_s, self.cutting_s, self.sound = 0.0, 0.0, True
        self.slow_cuts: list[tuple[Trace, float, float]] = []
        self.twice: list[tuple[int, float, float]] = []
        self.idle: list[int] = []

    def add(
        self, setup: SetUp, moves: Moves, samples: Samples, tolerance: float, clear: float, *, sound: bool, one_each: bool
    ) -> None:
        """Add the feed moves of the given cuts.

        ``sound``: whether all moves keep to the path. ``one_each``: whether each cut has exactly one run of moves.
        """
        self.sound &= sound
        if not len(moves.line):
            return
        lengths, middle = _lengths(samples, len(moves.line)), _middles(samples, len(moves.line))
        far, segment, along = setup.target.nearest(samples.points[middle], tolerance, 4 * tolerance)
        on_path = far <= 2 * tolerance
        cut = np.searchsorted(setup.ends, segment, side="right")
        column = LETTERS.index(self.into.upper())
        moved = moves.start != moves.end
        straight = moved[:, column] & (moved.sum(axis=1) == 1)
        inward = straight & (moves.end[:, column] < moves.start[:, column])
        inward[inward] = ~self._along_path(setup, np.flatnonzero(inward), samples, tolerance)
        cuts = on_path & ~inward & moved.any(axis=1)
        self._add_plunges(moves, np.flatnonzero(inward), column, tolerance)
        self._add_cuts(setup, moves, np.flatnonzero(cuts), lengths, cut, segment, along)
        self._add_totals(setup, moves, cuts, lengths, tolerance, one_each=one_each)
        deepest = [float(each.motion.tip(np.zeros(1))[0, "xyz".index(self.into)]) for each in setup.traces]
        far_in = [max(clear - depth, 0.0) for depth in deepest] if self.lathe.axis(self.into) is not None else []
        self.target_s += math.fsum(60 * each / self._plunge_rate(each) for each in far_in) + len(deepest) * self.feeds.dwell
        self.cutting_s += float(moves.seconds[~cuts].sum())

    def _along_path(self, setup: SetUp, which: Ints, samples: Samples, tolerance: float) -> NDArray[np.bool_]:
        """Return which of the given moves begin and end on the path of a cut: these moves cut, although they move straight in."""
        ends = np.concatenate([np.searchsorted(samples.move, which), np.searchsorted(samples.move, which, side="right") - 1])
        far, _, _ = setup.target.nearest(samples.points[ends], tolerance, 4 * tolerance)
        both: NDArray[np.bool_] = np.maximum(far[: which.size], far[which.size :]) <= 2 * tolerance
        return both

    def _plunge_rate(self, far: float) -> float:
        """Return the greatest mean speed of a plunge of ``far`` mm from rest to rest, mm a minute."""
        axis = self.lathe.axis(self.into)
        if axis is None or far <= 0:
            return self.feeds.plunge
        return min(self.feeds.plunge, 60 * axis.top_speed, 60 * math.sqrt(axis.acceleration * far))

    def _add_plunges(self, moves: Moves, which: Ints, column: int, tolerance: float) -> None:
        for k in which.tolist():
            far = float(moves.start[k, column] - moves.end[k, column])
            seconds = float(moves.seconds[k])
            rate = 60 * far / seconds if seconds > 0 else math.inf
            self._note("plunge", rate / self.feeds.plunge, int(moves.line[k]), rate, self.feeds.plunge)
            slowest = self._plunge_rate(far)
            if not seconds <= (1 + SLOW_SHARE) * 60 * far / slowest + SLOW_MARGIN_S and not far <= tolerance:
                self._note("slow plunge", slowest / rate, int(moves.line[k]), rate, slowest)

    def _add_cuts(self, setup: SetUp, moves: Moves, which: Ints, lengths: Array, cut: Ints, segment: Ints, along: Array) -> None:
        """Note the worst moves of two kinds: faster than the job's feeds, and much slower.

        The rounding of words changes the length of a move a little; at most two slides contribute to this change.
        """
        turning = np.array([each.cut.passed.turns > 0 for each in setup.traces])[cut[which]]
        spindle = self.lathe.axis("spindle")
        turned = np.zeros(which.size)
        if spindle is not None:
            c = LETTERS.index(spindle.letter)
            turned = (moves.end[which, c] - moves.start[which, c]) / 360
            self._note_reversal(moves, which[turning & (turned < 0) & (lengths[which] > JOIN_MM)])
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
        rounding = math.sqrt(2) * resolution(self.lathe.controller.slide_places, self.units)
        for name, wanted, rate, most, spare in (
            ("spindle", by_turn, rpm, self.feeds.spindle_rpm, 0.0),
            ("feed", by_feed, speed, self.feeds.feed, 1e-4 + 60 * rounding / self.feeds.feed),
        ):
            if which.size and wanted.max() > 0:
                with np.errstate(divide="ignore", invalid="ignore"):
                    times = np.where(wanted > 0, (wanted - spare) / seconds, 0.0)
                worst = int(np.nan_to_num(times, nan=math.inf).argmax())
                self._note(name, float(times[worst]), int(moves.line[which[worst]]), float(rate[worst]), most)
        least = np.maximum(by_turn, by_feed)
        limited = self._least_on_lathe(setup, which, turning, turned, over, cut, segment, along)
        allowed = np.maximum((1 + SLOW_SHARE) * least, _LIMITED * limited) + SLOW_MARGIN_S
        late = np.flatnonzero(~(seconds <= allowed))
        if late.size:
            worst = int(late[(seconds[late] / allowed[late]).argmax()])
            best = max(float(least[worst]), float(limited[worst]), 1e-9)
            self._note("slow", float(seconds[worst]) / best, int(moves.line[which[worst]]), float(seconds[worst]), best)

    def _note_reversal(self, moves: Moves, which: Ints) -> None:
        """Note the first cutting move in which the spindle turns opposite to its direction in the job."""
        if which.size:
            self._note("backwards", 1.0, int(moves.line[which[0]]), 0.0, 0.0)

    def _least_on_lathe(
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
        """Return the least duration of each move, s, that the limits of the lathe's axes allow near the position of the move."""
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
            whole = max(_path_length(trace), JOIN_MM)
            half = _WINDOW * np.where(turning[mine], turned[mine], over[mine] / whole * trace.cut.span)
            found[mine] = np.interp(middle + half, u, seconds) - np.interp(middle - half, u, seconds)
        return found

    def _add_totals(
        self, setup: SetUp, moves: Moves, cuts: NDArray[np.bool_], lengths: Array, tolerance: float, *, one_each: bool
    ) -> None:
        """Compare the duration of each cut, or of all cuts, with its target, and the length of the moves with the path length."""
        targets = [float(least_seconds(each, self.lathe, self.feeds)[1][-1]) for each in setup.traces]
        self.target_s += math.fsum(targets)
        self.cutting_s += float(moves.seconds[cuts].sum())
        if one_each:
            takes = np.bincount((np.cumsum(begins_run(moves)) - 1)[cuts], moves.seconds[cuts], len(targets))
            for trace, seconds, wanted in zip(setup.traces, takes.tolist(), targets, strict=True):
                if not seconds <= (1 + SLOW_SHARE) * wanted + SLOW_MARGIN_S:
                    self.slow_cuts.append((trace, seconds, wanted))
        if not self.sound:
            return
        run = np.cumsum(begins_run(moves)) - 1
        idle = np.flatnonzero(np.bincount(run, cuts) == 0)
        meant = sum(not each.cut.span for each in setup.traces)
        if idle.size > meant:
            self.idle.append(int(moves.line[np.searchsorted(run, idle[-1])]))
        paths = [_path_length(each) for each in setup.traces]
        done, whole = float(lengths[cuts].sum()), math.fsum(paths)
        if not done - whole <= _MOST_REPEATED * min(paths) + tolerance:
            self.twice.append((int(moves.line[0]), done, whole))

    def _note(self, name: str, ratio: float, line: int, actual: float, target: float) -> None:
        if name not in self.worst or not ratio <= self.worst[name].ratio:
            self.worst[name] = _Worst(ratio, line, actual, target)

    def findings(self, dwells: Array) -> Iterator[Finding]:
        """Yield findings where the program is faster or much slower than the job's feeds.

        ``dwells`` are the durations of the program's dwells, (n,) minutes.
        """
        yield from self._faster()
        if "backwards" in self.worst:
            message = "the spindle turns opposite to its direction in the job while the tool cuts"
            yield Finding(kind="direction", level="warning", where=f"line {self.worst['backwards'].line}", message=message)
        reported = False
        for name in ("slow plunge", "slow"):
            if name in self.worst and not (name == "slow" and self.slow_cuts):
                worst, reported = self.worst[name], True
                if name == "slow":
                    message = f"this move takes {_duration(worst.actual)}; the job specifies {_duration(worst.target)}"
                else:
                    message = (
                        f"the tip plunges at {self._a_minute(worst.actual)}; the job specifies {self._a_minute(worst.target)}"
                    )
                yield Finding(kind="time", level="warning", where=f"line {worst.line}", message=message)
        for trace, seconds, wanted in self.slow_cuts[:1]:
            more = f", and {len(self.slow_cuts) - 1} more cuts are slower" if len(self.slow_cuts) > 1 else ""
            message, reported = (
                f"takes {_duration(seconds)}; at the job's feeds, this lathe would need {_duration(wanted)}{more}",
                True,
            )
            where = f"cut {trace.cut.number} ({trace.cut.title})"
            yield Finding(kind="time", level="warning", where=where, message=message)
        for line, done, whole in self.twice[:1]:
            message = (
                f"cuts {show_length(round(done, 2), self.units)} along a path of {show_length(round(whole, 2), self.units)}: "
            )
            yield Finding(
                kind="order", level="warning", where=f"from line {line} on", message=f"{message}part of the path is cut twice"
            )
        for line in self.idle[:1]:
            message = "plunges and retracts at a position where the job has no cut"
            yield Finding(kind="order", level="warning", where=f"line {line}", message=message)
        takes = self.cutting_s + 60 * float(dwells.sum())
        if self.sound and not reported and not takes <= (1 + SLOW_SHARE) * self.target_s + SLOW_MARGIN_S * max(1, len(dwells)):
            message = (
                f"takes {_duration(takes)} in feed moves and dwells; "
                f"at the job's feeds, this lathe would need {_duration(self.target_s)}"
            )
            yield Finding(kind="time", level="warning", where="whole program", message=message)

    def _faster(self) -> Iterator[Finding]:
        for name in ("spindle", "feed", "plunge"):
            worst = self.worst.get(name)
            if worst is None or worst.ratio <= 1 + (FEED_SHARE if name == "feed" else PACE_SHARE):
                continue
            if name == "spindle":
                message = (
                    f"the spindle turns at {_rate(worst.actual)} turns a minute; the job specifies {_rate(worst.target)} at most"
                )
            else:
                what = "the cutter moves over the work" if name == "feed" else "the tip plunges"
                message = f"{what} at {self._a_minute(worst.actual)}; the job specifies {self._a_minute(worst.target)} at most"
            yield Finding(kind="time", level="problem", where=f"line {worst.line}", message=message)

    def _a_minute(self, rate: float) -> str:
        return "infinite speed" if math.isinf(rate) else f"{show_length(float(f'{rate:.4g}'), self.units)} a minute"


def _rate(value: float) -> str:
    return f"{value:.4g}"


def _duration(seconds: float) -> str:
    """Return a duration as text, in seconds or in minutes.

    >>> _duration(0.5), _duration(90.0), _duration(10800.0)
    ('0.5 s', '1.5 minutes', '180 minutes')
    """
    return f"{format_number(seconds, 2)} s" if seconds < 60 else f"{format_number(seconds / 60, 2)} minutes"


def _lengths(samples: Samples, count: int) -> Array:
    """Return the length of the tip's path on the work in each of ``count`` moves, mm."""
    within = np.diff(samples.move) == 0
    steps = np.linalg.norm(np.diff(samples.points, axis=0), axis=1)
    return np.bincount(samples.move[1:][within], steps[within], count).astype(np.float64)


def _middles(samples: Samples, count: int) -> Ints:
    """Return the index of the middle sample of each of ``count`` moves."""
    first = np.searchsorted(samples.move, np.arange(count))
    last = np.searchsorted(samples.move, np.arange(count), side="right") - 1
    found: Ints = (first + last + 1) // 2
    return found


def _path_length(trace: Trace) -> float:
    """Return the length of a cut's path on the work, mm."""
    return float(np.sqrt(np.diff(trace.x) ** 2 + np.diff(trace.y) ** 2 + np.diff(trace.z) ** 2).sum())


def least_seconds(trace: Trace, lathe: Lathe, feeds: Feeds) -> tuple[Array, Array]:
    """Return points of a cut, (n,) values of ``u``, and the least time from the start of the cut to each point, (n,) s.

    The cut starts and ends at rest. The speed is that of the job's feeds, reduced where a limit of an axis requires it. These
    limits are the top speed, the acceleration on the curve of the path, and the acceleration along the path.

    Parameters
    ----------
    trace : Trace
        The cut.
    lathe : Lathe
        The lathe, for the limits of its axes.
    feeds : Feeds
        The job's feeds.
    """
    span = trace.cut.span
    if not span:
        return np.zeros(1), np.zeros(1)
    u = np.unique(np.concatenate([trace.u, np.linspace(0.0, span, _PLACES)])) if trace.u.size < _PLACES else np.unique(trace.u)
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
            for direction in (slice(None), slice(None, None, -1)):
                gained = np.concatenate([[0.0], np.cumsum(change[direction])])
                most[direction] = np.minimum.accumulate(most[direction] - gained) + gained
            speed = np.sqrt(np.maximum(most, 0.0))
            rate = np.minimum(0.5 * (speed[1:] + speed[:-1]), cap)
        seconds = np.where(np.isfinite(rate) & (rate > 0), du / rate, 0.0)
    return u, np.concatenate([[0.0], np.cumsum(seconds)])
