"""The path that is cut: the cutter's pose seen from the piece, sampled as finely as the work asks and no finer."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.closure import Closure, closure_of
from lobework.errors import SettingError, TooLargeError, require
from lobework.motion import Motion, Push, Still, motion_of
from lobework.passes import Cut
from lobework.rigid import Array, Rigid
from lobework.stack import A_TURN, comes_back, in_pieces
from lobework.tolerances import CHORD_MM, CONTACT_MM

__all__ = ["Spans", "Trace", "Way", "estimate", "lay_out", "trace"]

Way = Literal["auto", "plain", "compiled"]

COMPILED_FROM: Final = 25_000
"""Samples from which the compiled way pays for its start-up."""
BYTES_A_SAMPLE: Final = 32
MOST_BYTES: Final = 4 * 10**9
_CHUNK: Final = 8192
_PROBE: Final = 8
_TRIAL_TURNS: Final = 4
_BETWEEN: Final = (np.arange(0, _PROBE, 2) + np.modf(np.arange(1, _PROBE, 2) * (math.sqrt(5) - 1) / 2)[0]) / _PROBE
"""A place after every second probe, each at another part of the way: nothing comes round with all of them."""
_NOISE_MM: Final = 1e-10
_MOST_HALVINGS: Final = 20
_MOST_PARTS: Final = 256
_PARTS_AT_ONCE: Final = 65_536
_LONGEST_PERIOD: Final = 64
_FIRST_STRETCH: Final = 8.0
_PIECES_AT_ONCE: Final = 1024
_RUNS_AT_ONCE: Final = 16_384


@dataclass(frozen=True, eq=False)
class Spans:
    """Stretches of ``u`` in which the path is smooth, each sampled evenly, its end left to the next.

    Parameters
    ----------
    start, end : (k,) float64, turns
        In order, each beginning where the last one ends.
    steps : (k,) int64
        In each, one or more.

    Examples
    --------
    >>> Spans(np.array([0.0, 0.5]), np.array([0.5, 1.0]), np.array([1, 2])).turns().tolist()
    [0.0, 0.5, 0.75, 1.0]
    """

    start: Array
    end: Array
    steps: NDArray[np.int64]

    @cached_property
    def step(self) -> Array:
        """(k,) turns from sample to sample in each."""
        step: Array = (self.end - self.start) / np.maximum(self.steps, 1)
        return step

    @cached_property
    def offsets(self) -> NDArray[np.int64]:
        """(k,): the place of each span's first sample."""
        return np.cumsum(self.steps) - self.steps

    @property
    def total(self) -> int:
        """How many samples there are, the last included."""
        return int(self.steps.sum()) + 1

    def turns(self, first: int = 0, stop: int | None = None) -> Array:
        """Return ``u`` of the samples from ``first`` to before ``stop``; of all unless said."""
        return self.at(np.arange(first, self.total if stop is None else min(stop, self.total)))

    def at(self, samples: NDArray[np.int64]) -> Array:
        """Return ``u`` of (n,) samples."""
        span = np.searchsorted(self.offsets, samples, side="right") - 1
        u: Array = self.start[span] + (samples - self.offsets[span]) * self.step[span]
        u[samples == self.total - 1] = self.end[-1]
        return u

    def before(self, u: Array) -> NDArray[np.int64]:
        """Return how many samples come before (n,) turns."""
        span = np.maximum(np.searchsorted(self.start, u, side="right") - 1, 0)
        into = np.ceil((u - self.start[span]) / self.step[span])
        count: NDArray[np.int64] = self.offsets[span] + np.clip(into, 0, self.steps[span]).astype(np.int64)
        return count


@dataclass(frozen=True, eq=False)
class Trace:
    """One cut's path on the piece.

    Parameters
    ----------
    motion : Motion
        What was traced; it gives every axis and pose at any ``u``.
    spans : Spans
        How it was sampled.
    x, y, z : (n,) float64, mm
        The cutter's tip on the piece; z is 0 on the face, negative below it, and read-only where it never changes.
    """

    motion: Motion
    spans: Spans
    x: Array
    y: Array
    z: Array

    @cached_property
    def u(self) -> Array:
        """(n,) float64: spindle turns since the pass began; the first is 0, the last is ``cut.passed.turns``."""
        return self.spans.turns()

    @property
    def cut(self) -> Cut:
        """The cut that was traced."""
        return self.motion.cut

    @property
    def axes(self) -> dict[str, Array]:
        """What each axis does, by the name of what it moves: "spindle", "x", "y", "z", "cam 1", "cam 2" (mm, degrees).

        A cam's angle counts its phase, not its index, which is set by hand on notches.
        """
        return self.motion.axes(self.u)

    @property
    def headstock(self) -> dict[str, Array]:
        """How far the cams push the spindle: "sideways" (along its arc where it rocks) and "endways", (n,) mm."""
        motion = self.motion
        return {
            "sideways": motion.displaced(motion.sideways, self.u),
            "endways": motion.displaced(motion.endways, self.u),
        }

    @property
    def pose(self) -> Rigid:
        """Where the bench's frame, moved to the cutter's tip and turned with the cutter, stands on the piece: n rigid motions."""
        turned = self.motion.work(self.u).inverse() @ self.motion.cutter(self.u)
        return Rigid(turned.rotation, np.stack([self.x, self.y, self.z], axis=-1))

    @property
    def closure(self) -> Closure:
        """How the path joins up."""
        return closure_of(self.motion)


def trace(cut: Cut, *, chord: float = CHORD_MM, way: Way = "auto") -> Trace:
    """Return the path of one cut.

    Parameters
    ----------
    cut : Cut
        What is cut, on which lathe.
    chord : float, mm
        How far the path may stray from the straight line between two samples.
    way : "auto", "plain" or "compiled"
        "auto" takes the compiled way where there are samples enough to pay for its start-up.

    Raises
    ------
    SettingError
        Where the lathe cannot do what the cut asks, ``chord`` is finer than `CONTACT_MM`, or no steps are small enough for how
        unevenly the chucks move.
    TooLargeError
        Where the samples would take more than `MOST_BYTES`.

    Examples
    --------
    >>> from lobework.carriage import Headstock
    >>> from lobework.lathe import Lathe
    >>> from lobework.passes import Pass
    >>> from lobework.slide import At
    >>> bench = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> circle = trace(Cut(number=1, passed=Pass(at=At(x=10.0)), lathe=bench))
    >>> circle.u.size, bool(np.allclose(np.hypot(circle.x, circle.y), 10.0))
    (161, True)
    """
    require(CONTACT_MM <= chord < math.inf, "chord", chord, f"at least {CONTACT_MM:g} mm: contact is not known finer")
    motion = motion_of(cut)
    _refuse_too_large(math.ceil(float(cut.passed.turns) * _splits_a_turn(motion)))
    if cut.passed.turns > _TRIAL_TURNS:
        _refuse_too_large(estimate(cut, chord=chord))
    spans = _spans(motion, float(cut.passed.turns), chord)
    total = int(spans.steps.sum())
    _refuse_too_large(total)
    if way == "compiled" or (way == "auto" and total >= COMPILED_FROM):
        return _compiled(motion, spans)
    return _plain(motion, spans)


def estimate(cut: Cut, *, chord: float = CHORD_MM) -> int:
    """Return about how many samples the trace of ``cut`` would take, from its first turns."""
    turns = float(cut.passed.turns)
    if not turns:
        return 1
    tried = min(turns, _TRIAL_TURNS)
    motion = motion_of(cut)
    pieces = turns * _splits_a_turn(motion)
    if pieces * BYTES_A_SAMPLE > MOST_BYTES:
        return int(pieces)
    return math.ceil(float(_spans(motion, tried, chord).steps.sum()) * turns / tried)


def _refuse_too_large(samples: int) -> None:
    if samples * BYTES_A_SAMPLE > MOST_BYTES:
        raise TooLargeError(
            f"turns: this pass needs about {samples:.3g} samples, {samples * BYTES_A_SAMPLE / 1e9:.3g} GB; "
            f"allowed: {MOST_BYTES / 1e9:g} GB; ask for fewer turns or a coarser chord"
        )


def _splits_a_turn(motion: Motion) -> int:
    quickest = max((push.lobes * abs(float(push.ratio)) for push in (*motion.sideways, *motion.endways)), default=0.0)
    return max(16, math.ceil(8 * quickest))


def _spans(motion: Motion, turns: float, chord: float) -> Spans:
    """Return spans that end wherever the path may have a corner, with the fewest steps that keep to ``chord``."""
    if not turns:
        return Spans(np.zeros(1), np.zeros(1), np.zeros(1, dtype=np.int64))
    breaks = [np.linspace(0.0, turns, math.ceil(turns * _splits_a_turn(motion)) + 1)]
    breaks += [_corners(push, turns) for push in (*motion.sideways, *motion.endways)]
    if motion.furthest:
        smooth = np.sort(np.concatenate(breaks))
        breaks += [_changes(pushes, smooth) for pushes in (motion.sideways, motion.endways) if len(pushes) > 1]
    edges = np.sort(np.concatenate(breaks))
    keep = np.append(np.diff(edges) > 1e-12 * turns, True)
    edges = edges[keep]
    edges[0], edges[-1] = 0.0, turns
    start, end = edges[:-1], edges[1:]
    done: list[tuple[Array, Array, NDArray[np.int64]]] = []
    most = _MOST_PARTS * start.size + _PARTS_AT_ONCE
    for halvings in range(_MOST_HALVINGS + 1):
        if start.size > most:
            raise SettingError(
                f"chuck: the chucks move the work so unevenly that no steps are small enough for a chord of {chord:g} mm; "
                "slow them, or ask for a coarser chord"
            )
        several = range(0, start.size, _PARTS_AT_ONCE)
        parts = [_steps(motion, start[k : k + _PARTS_AT_ONCE], end[k : k + _PARTS_AT_ONCE], chord) for k in several]
        count, uneven = (np.concatenate(column) for column in zip(*parts, strict=True))
        uneven &= halvings < _MOST_HALVINGS
        done.append((start[~uneven], end[~uneven], count[~uneven]))
        if not uneven.any():
            break
        start, end = start[uneven], end[uneven]
        middle = 0.5 * (start + end)
        start, end = np.concatenate([start, middle]), np.concatenate([middle, end])
    start, end, count = (np.concatenate(column) for column in zip(*done, strict=True))
    order = np.argsort(start)
    return Spans(start[order], end[order], count[order])


def _corners(push: Push, turns: float) -> Array:
    """Return the turns at which a push's curve goes from one arc to the next."""
    curve = push.curve
    if push.rate == 0.0:
        return np.zeros(0)
    ends = sorted((push.start, push.start + push.rate * turns))
    found = [np.zeros(0)]
    for arc in curve.starts:
        first, last = math.ceil((ends[0] - arc) / curve.period), math.floor((ends[1] - arc) / curve.period)
        found.append((arc + curve.period * np.arange(first, last + 1) - push.start) / push.rate)
    inside = np.concatenate(found)
    return inside[(inside > 0) & (inside < turns)]


def _changes(pushes: tuple[Push, ...], smooth: Array) -> Array:
    """Return the turns at which another push takes over the headstock."""

    def holds(u: Array) -> NDArray[np.intp]:
        each = np.array([push.at(u) for push in pushes])
        holder: NDArray[np.intp] = each.argmin(axis=0) if pushes[0].scale < 0 else each.argmax(axis=0)
        return holder

    grid = (smooth[:-1, None] + np.diff(smooth)[:, None] * np.linspace(0, 1, 9)[:-1]).ravel()
    grid = np.append(grid, smooth[-1])
    holder = holds(grid)
    where = np.nonzero(np.diff(holder))[0]
    low, high, before = grid[where], grid[where + 1], holder[where]
    for _ in range(60):
        middle = 0.5 * (low + high)
        same = holds(middle) == before
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return high


def _steps(motion: Motion, start: Array, end: Array, chord: float) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return how many steps each span needs, and which spans bend so unevenly that they are better halved."""
    places = np.linspace(0, 1, _PROBE + 1) if motion.still else np.append(np.linspace(0, 1, _PROBE + 1), _BETWEEN)
    probes = start[:, None] + (end - start)[:, None] * places
    points = np.concatenate([motion.place(part) for part in np.array_split(probes.ravel(), max(1, probes.size // _CHUNK))])
    points, between = np.split(points.reshape(*probes.shape, 3), [_PROBE + 1], axis=1)
    near, far = _bends(points, 1), _bends(points, 2)
    ends = np.maximum(2 * near[:, 0] - near[:, 1], 2 * near[:, -1] - near[:, -2])
    most = 1.02 * np.maximum(np.maximum(near.max(axis=1), ends), far.max(axis=1) / 4)
    steps = _PROBE * np.sqrt(most / (8 * chord))
    count = np.maximum(np.ceil(steps), 1)
    lopsided = (most > 2 * near.mean(axis=1)) & (steps > 2)
    curling = np.maximum(np.abs(near[:, 0] - 2 * near[:, 1] + near[:, 2]), np.abs(near[:, -1] - 2 * near[:, -2] + near[:, -3]))
    lopsided |= (curling > 0.02 * most) & (steps > 2)
    rough = (far.max(axis=1) > 6 * near.max(axis=1)) | (far.max(axis=1) < 2 * near.max(axis=1))
    uneven = (lopsided | (rough & (steps > 0.5))) & (most > _NOISE_MM)
    if between.size:
        uneven |= np.abs(between - np.einsum("kpi,pb->kbi", points, _TO_BETWEEN)).max(axis=(1, 2)) > chord / 2
    return count.astype(np.int64), uneven


def _to_between() -> Array:
    """Return the matrix from the probes to what the polynomial through all of them says between."""
    ways = range(_PROBE + 1)
    at = _BETWEEN * _PROBE
    return np.array([np.prod([(at - q) / (p - q) for q in ways if q != p], axis=0) for p in ways])


_TO_BETWEEN: Final = _to_between()


def _bends(points: Array, stride: int) -> Array:
    """Return by how much each inner point bends away from its neighbours ``stride`` to either side, mm, across the path."""
    before, here, after = points[:, : -2 * stride], points[:, stride:-stride], points[:, 2 * stride :]
    bend, along = before - 2 * here + after, after - before
    straight, length = (np.einsum("kpi,kpi->kp", each, each) for each in (bend, along))
    with np.errstate(invalid="ignore", divide="ignore"):
        across = straight - np.einsum("kpi,kpi->kp", bend, along) ** 2 / length
    bent: Array = np.sqrt(np.where(length > 16 * straight, np.maximum(across, 0.0), straight))
    return bent


def _plain(motion: Motion, spans: Spans) -> Trace:
    """Return the trace by array arithmetic, a chunk at a time."""
    x, y, z = (np.zeros(spans.total) for _ in range(3))
    for first in range(0, spans.total, _CHUNK):
        part = slice(first, first + _CHUNK)
        x[part], y[part], z[part] = motion.place(spans.turns(part.start, part.stop)).T
    return Trace(motion, spans, x, y, z)


def _compiled(motion: Motion, spans: Spans) -> Trace:
    """Return the same trace by the compiled loop."""
    return Trace(motion, spans, *_prepared(motion, spans)())


def lay_out(motion: Motion, chord: float) -> Callable[[], tuple[Array, Array, Array]]:
    """Return what fills the columns x, y, z of a trace by the compiled loop, time and again in the same memory."""
    return _prepared(motion, _spans(motion, float(motion.cut.passed.turns), chord))


def _prepared(motion: Motion, spans: Spans) -> Callable[[], tuple[Array, Array, Array]]:
    """Return what fills the columns; z only gets memory of its own once it is seen to change."""
    from lobework.kernels.weave import weave

    step, offsets, total = spans.step, spans.offsets, spans.total
    x, y, level = np.zeros(total), np.zeros(total), motion.place(np.zeros(1))[0, 2]
    z = np.zeros(0 if motion.level else total)
    still = motion.still or Still(0.0, 0j, 0.0)
    shift = np.array([still.across.real, still.across.imag, still.along])
    tables = _loop_tables(motion, spans, step)

    def fill() -> tuple[Array, Array, Array]:
        nonlocal z
        for k, deepens, runs in _STILL_RUNS if motion.still else _runs(motion, spans):
            if deepens and not z.size:
                z = np.full(total, level)
            weave(spans.start[k], step[k], spans.steps[k], offsets[k], *tables.of(k), still.turned, shift, *runs, x, y, z)
            on_spindle = z
            for samples in runs.left():
                deep = on_spindle[samples] if on_spindle.size else np.full(samples.size, motion.cut.tip[2])
                here = np.stack([x[samples], y[samples], deep], axis=-1)
                x[samples], y[samples], deep = motion.through_chucks(here, 2 * math.pi * spans.at(samples)).T
                if z.size or (deep != level).any():
                    z = z if z.size else np.full(total, level)
                    z[samples] = deep
        x[-1:], y[-1:], last = motion.place(spans.end[-1:]).T
        z = np.full(total, level) if not z.size and last != level else z
        z[-1:] = last
        return x, y, z if z.size else np.broadcast_to(level, total)

    return fill


class _Runs(NamedTuple):
    """Runs of samples and the polynomials that each takes: the arguments of the compiled loop; see `lobework.kernels.through`."""

    firsts: NDArray[np.int64]
    which: NDArray[np.int64]
    middles: Array
    scales: Array
    terms: Array
    moves: NDArray[np.bool_]

    def left(self) -> Iterator[NDArray[np.int64]]:
        """Yield the samples that the compiled loop leaves on the spindle, a chunk at a time."""
        runs = np.nonzero(self.which < 0)[0]
        for part in np.array_split(runs, math.ceil(runs.size / 256)) if runs.size else ():
            count = self.firsts[part + 1] - self.firsts[part]
            yield np.repeat(self.firsts[part] - np.cumsum(count) + count, count) + np.arange(count.sum())


_NONE: Final = np.zeros(0, dtype=np.int64)
_STILL_RUNS: Final = (
    (slice(None), False, _Runs(_NONE, _NONE, np.zeros(0), np.zeros(0), np.zeros((0, 0, 0)), np.zeros(0, bool))),
)


def _runs(motion: Motion, spans: Spans) -> Iterator[tuple[slice, bool, _Runs]]:
    """Yield spans a stretch at a time, whether depth may change in them, and their polynomials: memory stays bounded."""
    turns = float(motion.cut.passed.turns)
    if not turns:
        return
    reach = _reach(motion)
    stated = math.lcm(*(each.comes_back or 0 for each in motion.cut.lathe.chucks))
    period = comes_back(motion.chucks, stated, turns, reach) if stated <= _LONGEST_PERIOD else 0
    stretch, a_turn, k, pieces = _FIRST_STRETCH, A_TURN, 0, None
    if period:
        times = int(turns // period)
        bends = spans.start[: np.searchsorted(spans.start, period)]
        pieces = in_pieces(motion.chucks, 0.0, period, reach, lambda u: spans.before(u) * times, tried=bends)
        stretch = _RUNS_AT_ONCE / pieces.which.size * period
    while k < spans.start.size:
        low = spans.start[k]
        stop = max(k + 1, int(np.searchsorted(spans.start, low + stretch)))
        high = spans.end[stop - 1]
        if pieces is None or not period:
            pieces = in_pieces(motion.chucks, low, high, reach, spans.before, a_turn, spans.start[k:stop])
            stretch = max(_PIECES_AT_ONCE, spans.total // 1024) / pieces.which.size * (high - low)
            a_turn = pieces.a_turn or a_turn
        wraps = np.arange(low // period, math.ceil(high / period)) if period else np.zeros(1)
        edges = np.append(pieces.edges[:-1] + period * wraps[:, None], np.inf)
        firsts = np.clip(spans.before(edges), spans.offsets[k], spans.offsets[stop - 1] + spans.steps[stop - 1])
        some = np.nonzero(np.diff(firsts))[0]
        half = np.tile(0.5 * np.diff(pieces.edges), wraps.size)[some]
        which = np.tile(pieces.which, wraps.size)[some]
        runs = _Runs(np.append(firsts[some], firsts[-1]), which, edges[some] + half, 1 / half, pieces.terms, pieces.moves)
        yield slice(k, stop), pieces.deepens, runs
        k = stop


def _reach(motion: Motion) -> float:
    """Return how far from the spindle's nose the tip may come, mm."""
    tip = np.abs(motion.tip(np.linspace(0.0, float(motion.cut.passed.turns), 17)))
    return float(tip.sum(axis=1).max()) + sum(
        abs(push.scale) * max(map(abs, push.curve.extent)) for push in (*motion.sideways, *motion.endways)
    )


class _LoopTables(NamedTuple):
    """The arguments of the compiled loop that depend on the motion; see `lobework.kernels.weave.weave`."""

    along: Array
    cells_a_step: Array
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    scale: Array
    cells: Array
    sideways: int
    endways: int
    furthest: int
    height: float
    most: float
    tip: Array
    travel: Array
    arc: Array

    def of(self, spans: slice) -> _LoopTables:
        """Return those of some spans only."""
        return self._replace(
            along=self.along[spans], cells_a_step=self.cells_a_step[spans], first=self.first[spans], last=self.last[spans]
        )


def _loop_tables(motion: Motion, spans: Spans, step: Array) -> _LoopTables:
    """Return the tables of the pass; along an arc ``tip`` is its centre."""
    pushes = (*motion.sideways, *motion.endways)
    passed = motion.cut.passed
    height = motion.cut.lathe.headstock.pivot_height if motion.rocks else 0.0
    middle = 0.5 * (spans.start + spans.end)
    shape = (middle.size, len(pushes))
    along, cells_a_step = np.zeros(shape), np.zeros(shape)
    first, last = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    used = 0
    for p, push in enumerate(pushes):
        curve = push.curve
        arc, halfway = curve.locate(push.start + push.rate * middle)
        rate = push.rate * curve.counts[arc] / curve.widths[arc]
        along[:, p] = halfway + rate * (spans.start - middle)
        cells_a_step[:, p] = rate * step
        first[:, p] = used + curve.first[arc]
        last[:, p] = curve.counts[arc] - 1
        used += curve.cells.shape[0]
    tables = _LoopTables(
        along=along,
        cells_a_step=cells_a_step,
        first=first,
        last=last,
        scale=np.array([push.scale for push in pushes]),
        cells=np.concatenate([push.curve.cells for push in pushes]) if pushes else np.zeros((1, 4)),
        sideways=len(motion.sideways),
        endways=len(motion.endways),
        furthest=(-1 if pushes[0].scale < 0 else 1) if motion.furthest else 0,
        height=height,
        most=sum(abs(push.scale) * max(map(abs, push.curve.extent)) for push in motion.sideways) / (height or 1.0),
        tip=np.array(motion.cut.tip),
        travel=np.array(motion.cut.travel) / (float(passed.turns) or 1.0),
        arc=np.zeros(3),
    )
    if passed.arc is None:
        return tables
    at, (begin, end) = passed.at, passed.arc.angle(np.array([0.0, 1.0]))
    swing = np.array([passed.arc.radius - at.depth, begin, (end - begin) / float(passed.turns)])
    return tables._replace(tip=np.array([at.x, at.y, at.z]), travel=np.zeros(3), arc=swing)
