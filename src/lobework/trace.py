"""The path that is cut: the cutter's pose seen from the piece, sampled as finely as the work asks and no finer."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.closure import Closure, closure_of
from lobework.errors import TooLargeError, require
from lobework.motion import Motion, Push, Still, motion_of
from lobework.passes import Cut
from lobework.rigid import Array, Rigid
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
_NOISE_MM: Final = 1e-10
_MOST_HALVINGS: Final = 20


@dataclass(frozen=True, slots=True, eq=False)
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

    @property
    def step(self) -> Array:
        """(k,) turns from sample to sample in each."""
        step: Array = (self.end - self.start) / np.maximum(self.steps, 1)
        return step

    @property
    def offsets(self) -> NDArray[np.int64]:
        """(k,): the place of each span's first sample."""
        return np.cumsum(self.steps) - self.steps

    @property
    def total(self) -> int:
        """How many samples there are, the last included."""
        return int(self.steps.sum()) + 1

    def turns(self, first: int = 0, stop: int | None = None) -> Array:
        """Return ``u`` of the samples from ``first`` to before ``stop``; of all unless said."""
        stop = self.total if stop is None else min(stop, self.total)
        sample, offsets = np.arange(first, stop), self.offsets
        span = np.searchsorted(offsets, sample, side="right") - 1
        u: Array = self.start[span] + (sample - offsets[span]) * self.step[span]
        if stop == self.total:
            u[-1] = self.end[-1]
        return u


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
        """Where the bench's frame, moved to the cutter's tip, stands on the piece: n rigid motions."""
        return Rigid(self.motion.work(self.u).inverse().rotation, np.stack([self.x, self.y, self.z], axis=-1))

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
        Where the lathe cannot do what the cut asks, or ``chord`` is finer than `CONTACT_MM`.
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
    for halvings in range(_MOST_HALVINGS + 1):
        count, uneven = _steps(motion, start, end, chord)
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
    probes = start[:, None] + (end - start)[:, None] * np.linspace(0, 1, _PROBE + 1)
    points = np.concatenate([motion.place(part) for part in np.array_split(probes.ravel(), max(1, probes.size // _CHUNK))])
    points = points.reshape(*probes.shape, 3)
    near, far = _bends(points, 1), _bends(points, 2)
    ends = np.maximum(2 * near[:, 0] - near[:, 1], 2 * near[:, -1] - near[:, -2])
    most = 1.02 * np.maximum(np.maximum(near.max(axis=1), ends), far.max(axis=1) / 4)
    steps = _PROBE * np.sqrt(most / (8 * chord))
    count = np.maximum(np.ceil(steps), 1)
    lopsided = (most > 2 * near.mean(axis=1)) & (steps > 2)
    curling = np.maximum(np.abs(near[:, 0] - 2 * near[:, 1] + near[:, 2]), np.abs(near[:, -1] - 2 * near[:, -2] + near[:, -3]))
    lopsided |= (curling > 0.02 * most) & (steps > 2)
    rough = (far.max(axis=1) > 6 * near.max(axis=1)) | (far.max(axis=1) < 2 * near.max(axis=1))
    return count.astype(np.int64), (lopsided | (rough & (steps > 0.5))) & (most > _NOISE_MM)


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
    fill, columns = _prepared(motion, spans)
    fill()
    return Trace(motion, spans, *columns)


def lay_out(motion: Motion, chord: float) -> tuple[Callable[[], None], tuple[Array, Array, Array]]:
    """Return what fills the columns x, y, z of a trace by the compiled loop, and the columns: memory to use again."""
    return _prepared(motion, _spans(motion, float(motion.cut.passed.turns), chord))


def _prepared(motion: Motion, spans: Spans) -> tuple[Callable[[], None], tuple[Array, Array, Array]]:
    from lobework.kernels.weave import weave

    step, offsets, total = spans.step, spans.offsets, spans.total
    x, y, deep = np.zeros(total), np.zeros(total), np.zeros(0 if motion.level else total)
    z: Array = np.broadcast_to(motion.place(np.zeros(1))[:, 2], total) if motion.level else deep
    still = motion.still or Still(0.0, 0j, 0.0)
    shift = np.array([still.across.real, still.across.imag, still.along])
    tables = _loop_tables(motion, spans, step)

    def fill() -> None:
        weave(spans.start, step, spans.steps, offsets, *tables, still.turned, shift, x, y, deep)
        if motion.still is None:
            _through_chucks(motion, spans, x, y, deep)
        x[-1:], y[-1:], deep[-1:] = motion.place(spans.end[-1:]).T

    return fill, (x, y, z)


def _through_chucks(motion: Motion, spans: Spans, x: Array, y: Array, z: Array) -> None:
    """Carry points on the spindle over to the work, in place: for chucks that vary or tilt."""
    for first in range(0, spans.total, _CHUNK):
        part = slice(first, first + _CHUNK)
        theta = 2 * math.pi * spans.turns(part.start, part.stop)
        x[part], y[part], z[part] = motion.through_chucks(np.stack([x[part], y[part], z[part]], axis=-1), theta).T


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


def _loop_tables(motion: Motion, spans: Spans, step: Array) -> _LoopTables:
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
    return _LoopTables(
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
    )
