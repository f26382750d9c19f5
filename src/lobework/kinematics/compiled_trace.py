"""The path computed by the compiled loop: tables of the pushes, and runs of samples for which polynomials replace the chucks."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.rigid import Array
from lobework.kinematics.chuck_polynomials import A_TURN, fit_pieces, period_turns
from lobework.kinematics.motion import Still

if TYPE_CHECKING:
    from lobework.kernels.path.chucks import ChuckRuns
    from lobework.kernels.path.trace import Arc, Bench, Pushes
    from lobework.kinematics.motion import Motion
    from lobework.kinematics.sampling import Spans

__all__ = ["can_compile", "compiled_columns"]

_LONGEST_PERIOD: Final = 64
"""Longest period, turns, of chucks that are fitted over one period; otherwise they are fitted over the whole pass."""
_FIRST_STRETCH: Final = 8.0
"""Length of the first stretch, turns; the length of each later stretch follows from the number of pieces in the previous one."""
_PIECES_PER_STRETCH: Final = 1024
_RUNS_PER_STRETCH: Final = 16_384


def can_compile(motion: Motion) -> bool:
    """Return whether the compiled loop can compute a motion.

    All of these must be true: the spindle turns, unless nothing moves; the spindle starts at zero, or no chuck moves or
    tilts the work; the slides follow no template; all cams turn uniformly; on a rocking headstock, no cam that exists only in
    software moves the slide X while another cam rocks the headstock; and all pushes are combined by the same rule.
    """
    passed = motion.cut.passed
    begins = not passed.spindle.turns or motion.still is not None
    turns = begins and passed.template is None and (bool(passed.turns) or not motion.cut.span)
    evenly = all(push.shaft.drift is None for push in motion.pushes)
    return turns and evenly and not (motion.rocks and motion.sideways and motion.leads_x) and len(_combination_rules(motion)) <= 1


def _combination_rules(motion: Motion) -> set[int]:
    """Return the rules by which the pushes along each axis are combined: 0 for the sum, -1 for the least, 1 for the greatest."""
    found = set()
    for same_axis in ((motion.sideways, motion.leads_x), (motion.endways, motion.leads_z)):
        scales = [push.scale for pushes in same_axis for push in pushes]
        if len(scales) > 1:
            furthest = any(pushes.furthest for pushes in same_axis)
            found.add((-1 if scales[0] < 0 else 1) if furthest else 0)
    return found


def compiled_columns(motion: Motion, spans: Spans) -> Callable[[], tuple[Array, Array, Array]]:
    """Return a function that computes the columns x, y, z; each call fills the same arrays; z is allocated only if it varies."""
    from lobework.kernels.path.trace import SpanTable, fill_path

    total = spans.total
    x, y, level = np.zeros(total), np.zeros(total), motion.place(np.zeros(1))[0, 2]
    z = np.zeros(0 if motion.keeps_z else total)
    start, step, counts, offsets = spans.start, spans.step, spans.steps, spans.offsets
    pushes, (bench, arc) = _pushes(motion, spans), _bench_and_arc(motion)

    def fill() -> tuple[Array, Array, Array]:
        nonlocal z
        for k, deepens, runs in [(slice(None), False, _no_runs())] if motion.still else _runs(motion, spans):
            if deepens and not z.size:
                z = np.full(total, level)
            fill_path(SpanTable(start[k], step[k], counts[k], offsets[k]), _of_spans(pushes, k), bench, arc, runs, x, y, z)
            on_spindle = z
            for samples in _without_polynomial(runs):
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


def _without_polynomial(runs: ChuckRuns) -> Iterator[NDArray[np.int64]]:
    """Yield, in chunks, the indices of the samples that the compiled loop leaves in the spindle's frame."""
    without = np.nonzero(runs.which < 0)[0]
    for part in np.array_split(without, math.ceil(without.size / 256)) if without.size else ():
        count = runs.firsts[part + 1] - runs.firsts[part]
        yield np.repeat(runs.firsts[part] - np.cumsum(count) + count, count) + np.arange(count.sum())


def _no_runs() -> ChuckRuns:
    """Return the runs of a stack that is stationary."""
    from lobework.kernels.path.chucks import ChuckRuns

    none = np.zeros(0, dtype=np.int64)
    return ChuckRuns(none, none, np.zeros(0), np.zeros(0), np.zeros((0, 0, 0)), np.zeros(0, dtype=np.bool_))


def _runs(motion: Motion, spans: Spans) -> Iterator[tuple[slice, bool, ChuckRuns]]:
    """Yield stretches of spans, whether z may vary in each, and their polynomials; short stretches limit the use of memory."""
    from lobework.kernels.path.chucks import ChuckRuns

    turns = float(motion.cut.passed.turns)
    if not turns:
        return
    reach = _reach(motion)
    stated = math.lcm(*(each.period_turns or 0 for each in motion.cut.lathe.chucks))
    period = period_turns(motion.chucks, stated, turns, reach) if stated <= _LONGEST_PERIOD else 0
    stretch, pieces_per_turn, k, pieces = _FIRST_STRETCH, A_TURN, 0, None
    if period:
        periods = int(turns // period)
        bends = spans.start[: np.searchsorted(spans.start, period)]
        pieces = fit_pieces(motion.chucks, 0.0, period, reach, lambda u: spans.before(u) * periods, bends=bends)
        stretch = _RUNS_PER_STRETCH / pieces.which.size * period
    while k < spans.start.size:
        low = spans.start[k]
        stop = max(k + 1, int(np.searchsorted(spans.start, low + stretch)))
        high = spans.end[stop - 1]
        if pieces is None or not period:
            pieces = fit_pieces(motion.chucks, low, high, reach, spans.before, pieces_per_turn, spans.start[k:stop])
            stretch = max(_PIECES_PER_STRETCH, spans.total // 1024) / pieces.which.size * (high - low)
            pieces_per_turn = pieces.pieces_per_turn or pieces_per_turn
        wraps = np.arange(low // period, math.ceil(high / period)) if period else np.zeros(1)
        edges = np.append(pieces.edges[:-1] + period * wraps[:, None], np.inf)
        firsts = np.clip(spans.before(edges), spans.offsets[k], spans.offsets[stop - 1] + spans.steps[stop - 1])
        some = np.nonzero(np.diff(firsts))[0]
        half = np.tile(0.5 * np.diff(pieces.edges), wraps.size)[some]
        which = np.tile(pieces.which, wraps.size)[some]
        runs = ChuckRuns(np.append(firsts[some], firsts[-1]), which, edges[some] + half, 1 / half, pieces.terms, pieces.moves)
        yield slice(k, stop), pieces.deepens, runs
        k = stop


def _reach(motion: Motion) -> float:
    """Return an upper bound of the distance of the tip from the spindle's nose, mm."""
    tip = np.abs(motion.tip(np.linspace(0.0, float(motion.cut.passed.turns), 17)))
    return float(tip.sum(axis=1).max()) + sum(abs(push.scale) * max(map(abs, push.curve.extent)) for push in motion.pushes)


def _of_spans(pushes: Pushes, spans: slice) -> Pushes:
    """Return the pushes restricted to the slice ``spans``."""
    names = ("along", "cells_a_step", "first", "last")
    return pushes._replace(**{name: getattr(pushes, name)[spans] for name in names})


def _pushes(motion: Motion, spans: Spans) -> Pushes:
    """Return the pushes of a motion, with their positions in each span."""
    from lobework.kernels.path.trace import Pushes

    across, along_z = (*motion.sideways, *motion.leads_x), (*motion.endways, *motion.leads_z)
    pushes = (*across, *along_z)
    middle, step = 0.5 * (spans.start + spans.end), spans.step
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
    return Pushes(
        along=along,
        cells_a_step=cells_a_step,
        first=first,
        last=last,
        scale=np.array([push.scale for push in pushes]),
        cells=np.concatenate([push.curve.cells for push in pushes]) if pushes else np.zeros((1, 4)),
        sideways=len(across),
        endways=len(along_z),
        furthest=next(iter(_combination_rules(motion)), 0),
    )


def _bench_and_arc(motion: Motion) -> tuple[Bench, Arc]:
    """Return headstock, slides and stationary chucks, and the arc of the slides, whose centre is the field ``tip``."""
    from lobework.kernels.path.trace import Arc, Bench

    passed, tip = motion.cut.passed, np.array(motion.cut.tip)
    travel, arc = np.array(motion.cut.travel) / (float(passed.turns) or 1.0), Arc(0.0, 0.0, 0.0)
    if passed.arc is not None:
        at, (begin, end) = passed.at, passed.arc.angle(np.array([0.0, 1.0]))
        tip, travel = np.array([at.x, at.y, at.z]), np.zeros(3)
        arc = Arc(passed.arc.radius - at.depth, float(begin), float((end - begin) / float(passed.turns)))
    height = motion.cut.lathe.headstock.pivot_height if motion.rocks and motion.sideways else 0.0
    still, begins = motion.still or Still(0.0, 0j, 0.0), float(motion.theta(np.zeros(1))[0])
    across = still.across * np.exp(1j * begins)
    bench = Bench(
        height=height,
        rotation_bound=sum(abs(push.scale) * max(map(abs, push.curve.extent)) for push in motion.sideways) / (height or 1.0),
        tip=tip,
        travel=travel,
        turned=still.turned + begins,
        shift=np.array([across.real, across.imag, still.along]),
    )
    return bench, arc
