"""Sampling of a path: spans in which the path is smooth, each with the number of steps that the chord tolerance requires."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lobework.errors import SettingError
from lobework.geometry.rigid import Array
from lobework.kinematics.takeover import takeovers
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.kinematics.cam_motion import Push
    from lobework.kinematics.motion import Motion

__all__ = ["Spans", "corners_of", "spans_of", "stretches"]

_CHUNK: Final = 8192
_PROBE: Final = 8
"""Number of intervals between probes in a span; probes are the points at which the path of a span is evaluated."""
_BETWEEN: Final = (np.arange(0, _PROBE, 2) + np.modf(np.arange(1, _PROBE, 2) * (math.sqrt(5) - 1) / 2)[0]) / _PROBE
"""Test points in every second interval between probes, at different fractions, so that no ripple is zero at all of them."""
_NOISE_MM: Final = 1e-10
_MARGIN: Final = 1.02
"""Safety factor on the greatest curvature of a span, which may lie between the probes."""
_INTERPOLATION_ERROR: Final = 0.02
"""Allowed error, between the probes, of the polynomial through the probes, as a fraction of the chord tolerance."""
_STRICT_HALVINGS: Final = 3
"""Number of halvings of a span after which the allowed error is `_LATER_ERROR` instead."""
_LATER_ERROR: Final = 0.5
_MOST_HALVINGS: Final = 20
_MOST_SPANS_PER_STRETCH: Final = 256
_MOST_EXTRA_SPANS: Final = 65_536
_SPANS_PER_BATCH: Final = 16_384
_REVERSAL_SAMPLES: Final = 64
"""Number of samples per turn; a cam that drifts is assumed to reverse at most once between two consecutive samples."""
_BISECTIONS: Final = 60
"""Number of bisections after which a root is exact to the last bit."""


@dataclass(frozen=True, eq=False, repr=False)
class Spans(Brief):
    """Intervals of ``u`` in which the path is smooth, each sampled uniformly; the end of each is the first sample of the next.

    Parameters
    ----------
    start, end : (k,) float64, turns
        Start and end of each span, ascending; each span starts at the end of the previous one.
    steps : (k,) int64
        Number of steps in each span, one or more.

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
        """(k,) turns: the step from sample to sample in each span."""
        step: Array = (self.end - self.start) / np.maximum(self.steps, 1)
        return step

    @cached_property
    def offsets(self) -> NDArray[np.int64]:
        """(k,): the index of the first sample of each span."""
        return np.cumsum(self.steps) - self.steps

    @property
    def total(self) -> int:
        """The number of samples, including the sample at the end of the last span."""
        return int(self.steps.sum()) + 1

    def turns(self, first: int = 0, stop: int | None = None) -> Array:
        """Return ``u`` of the samples from ``first`` up to but not including ``stop``; by default, of all samples."""
        return self.at(np.arange(first, self.total if stop is None else min(stop, self.total)))

    def at(self, samples: NDArray[np.int64]) -> Array:
        """Return ``u`` of the samples with the (n,) indices ``samples``."""
        span = np.searchsorted(self.offsets, samples, side="right") - 1
        u: Array = self.start[span] + (samples - self.offsets[span]) * self.step[span]
        u[samples == self.total - 1] = self.end[-1]
        return u

    def before(self, u: Array) -> NDArray[np.int64]:
        """Return the number of samples before each of (n,) values of ``u``."""
        span = np.maximum(np.searchsorted(self.start, u, side="right") - 1, 0)
        into = np.ceil((u - self.start[span]) / self.step[span])
        count: NDArray[np.int64] = self.offsets[span] + np.clip(into, 0, self.steps[span]).astype(np.int64)
        return count


def stretches(motion: Motion, span: float) -> int:
    """Return the least number of equal stretches of a path: sixteen or more per turn, and eight or more per lobe."""
    most_lobes = max((push.lobes * push.shaft.greatest_speed(span) / 360 for push in motion.pushes), default=0.0)
    return math.ceil(span * max(16, math.ceil(8 * most_lobes)))


def spans_of(motion: Motion, span: float, chord: float) -> Spans:
    """Return spans from 0 to ``span``, with boundaries at all possible corners and the longest steps that ``chord`` allows."""
    if not span:
        return Spans(np.zeros(1), np.zeros(1), np.zeros(1, dtype=np.int64))
    breaks = [np.linspace(0.0, span, stretches(motion, span) + 1)]
    breaks += [corners_of(push, span) for push in motion.pushes]
    breaks.append(motion.cut.corners[motion.cut.corners < span])
    smooth = np.sort(np.concatenate(breaks))
    by_axis = (motion.sideways, motion.endways, motion.leads_x, motion.leads_z)
    breaks += [takeovers(pushes, smooth) for pushes in by_axis if pushes.furthest and len(pushes) > 1]
    edges = np.sort(np.concatenate(breaks))
    keep = np.append(np.diff(edges) > 1e-12 * span, True)
    edges = edges[keep]
    edges[0], edges[-1] = 0.0, span
    start, end = edges[:-1], edges[1:]
    done: list[tuple[Array, Array, NDArray[np.int64]]] = []
    most = _MOST_SPANS_PER_STRETCH * start.size + _MOST_EXTRA_SPANS
    for halvings in range(_MOST_HALVINGS + 1):
        if start.size > most:
            raise SettingError(
                f"chuck: the chucks move the work so unevenly that no steps are small enough for a chord of {chord:g} mm",
                remedy="slow the chucks down, or allow a coarser chord",
            )
        batches = [slice(k, k + _SPANS_PER_BATCH) for k in range(0, start.size, _SPANS_PER_BATCH)]
        parts = [_step_counts(motion, start[batch], end[batch], chord, halvings) for batch in batches]
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


def corners_of(push: Push, span: float) -> Array:
    """Return the values of ``u`` at which a push's curve changes from arc to arc, or the twist of its cam changes its law."""
    if push.shaft.drift is not None:
        return _corners_of_drift(push, span)
    if push.rate == 0.0:
        return np.zeros(0)
    ends = sorted((push.start, push.start + push.rate * span))
    inside = np.concatenate([(reached - push.start) / push.rate for reached in _arc_boundaries(push, *ends)])
    return inside[(inside > 0) & (inside < span)]


def _corners_of_drift(push: Push, span: float) -> Array:
    """Return the result of `corners_of` for a cam that does not turn uniformly."""
    drift = push.shaft.drift
    assert drift is not None
    u = np.linspace(0.0, span, _REVERSAL_SAMPLES * math.ceil(span) + 1)
    joins = _roots(drift.fraction, u, np.array(drift.twist.joins))
    u = np.unique(np.concatenate([u, joins]))
    u = np.unique(np.concatenate([u, _reversals(push, u)]))
    along = push.along(u)
    corners = np.sort(np.concatenate(_arc_boundaries(push, float(along.min()), float(along.max()))))
    inside = np.concatenate([joins, _roots(push.along, u, corners)])
    return inside[(inside > 0) & (inside < span)]


def _arc_boundaries(push: Push, low: float, high: float) -> list[Array]:
    """Return, for each arc of a push's curve, the arguments between ``low`` and ``high`` at which the arc begins, rad."""
    curve, found = push.curve, [np.zeros(0)]
    for arc in curve.starts:
        first, last = math.ceil((low - arc) / curve.period), math.floor((high - arc) / curve.period)
        found.append(arc + curve.period * np.arange(first, last + 1))
    return found


def _roots(at: Callable[[Array], Array], u: Array, values: Array) -> Array:
    """Return the arguments at which the function ``at`` equals ``values``; ``at`` is monotonic between consecutive ``u``."""
    here = at(u)
    first, last = (np.searchsorted(values, each(here[:-1], here[1:])) for each in (np.minimum, np.maximum))
    count = last - first
    which = np.repeat(np.arange(count.size), count)
    value = values[np.arange(which.size) - np.repeat(np.cumsum(count) - count - first, count)]
    low, high, rises = u[which], u[which + 1], here[which] < here[which + 1]
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        short = (at(middle) < value) == rises
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return high


def _reversals(push: Push, u: Array) -> Array:
    """Return the values of ``u`` at which a cam reverses; the cam's angle is sampled at the given ``u``."""
    along = push.along(u)
    signs = np.sign(np.diff(along))
    back = np.flatnonzero(signs[:-1] * signs[1:] < 0)
    low, high, rises = u[back], u[back + 2], signs[back] > 0
    for _ in range(_BISECTIONS):
        third = (high - low) / 3
        on = (push.along(low + third) < push.along(high - third)) == rises
        low, high = np.where(on, low + third, low), np.where(on, high, high - third)
    return 0.5 * (low + high)


def _step_counts(
    motion: Motion, start: Array, end: Array, chord: float, halvings: int
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the number of steps of each span, and which spans must be halved.

    A span must be halved if its curvature varies too much, or its probes do not determine the path accurately enough.
    """
    places = np.linspace(0, 1, _PROBE + 1) if motion.still else np.append(np.linspace(0, 1, _PROBE + 1), _BETWEEN)
    probes = start[:, None] + (end - start)[:, None] * places
    points = np.concatenate([motion.place(part) for part in np.array_split(probes.ravel(), max(1, probes.size // _CHUNK))])
    points, between = np.split(points.reshape(*probes.shape, 3), [_PROBE + 1], axis=1)
    near, far = _bends(points, 1), _bends(points, 2)
    ends = np.maximum(2 * near[:, 0] - near[:, 1], 2 * near[:, -1] - near[:, -2])
    seen = np.maximum(np.maximum(near.max(axis=1), ends), far.max(axis=1) / 4)
    missed = np.zeros(start.size)
    if between.size:
        missed = np.abs(between - np.einsum("kpi,pb->kbi", points, _BETWEEN_MATRIX)).max(axis=(1, 2)) / chord
    left = chord * (1 - 1.6 * np.minimum(missed, _LATER_ERROR))
    most = _MARGIN * np.where(missed > _INTERPOLATION_ERROR, seen, np.clip(_greatest_bend(points, chord), seen, 2 * seen))
    steps = _PROBE * np.sqrt(most / (8 * chord))
    count = np.maximum(np.ceil(steps * np.sqrt(chord / left)), 1)
    lopsided = (most > 2 * near.mean(axis=1)) & (steps > 2)
    curling = np.maximum(np.abs(near[:, 0] - 2 * near[:, 1] + near[:, 2]), np.abs(near[:, -1] - 2 * near[:, -2] + near[:, -3]))
    lopsided |= (curling > 0.02 * most) & (steps > 2)
    rough = (far.max(axis=1) > 6 * near.max(axis=1)) | (far.max(axis=1) < 2 * near.max(axis=1))
    uneven = (lopsided | (rough & (steps > 0.5))) & (most > _NOISE_MM)
    uneven |= missed > (_INTERPOLATION_ERROR if halvings < _STRICT_HALVINGS else _LATER_ERROR)
    return count.astype(np.int64), uneven


def _greatest_bend(points: Array, chord: float) -> Array:
    """Return a bound of the second derivative in each span, (k,) mm per squared interval, computed from (k, 9, 3) probes.

    The chord of a step h deviates from the path by at most h**2 / 8 times the second derivative. The component of the
    second derivative along the path counts only in proportion to the angle by which the path turns in a step, but fully if the
    path may reverse.
    """
    speed, bend = np.einsum("kpi,pq->kqi", points, _SPEED_MATRIX), np.einsum("kpi,pq->kqi", points, _BEND_MATRIX)
    fast, straight = np.linalg.norm(speed, axis=2), np.linalg.norm(bend, axis=2)
    along = np.abs(np.einsum("kqi,kqi->kq", speed, bend)) / np.where(fast > 0, fast, 1.0)
    across = np.sqrt(np.maximum(straight**2 - along**2, 0.0))
    slowest = fast.min(axis=1) - straight.max(axis=1) / 2
    sharpest = across.max(axis=1)
    step = _PROBE / np.maximum(_PROBE * np.sqrt(sharpest / (8 * chord)), 1.0)
    turned = np.where(slowest > 0, step * sharpest / np.where(slowest > 0, slowest, 1.0), 1.0)
    most: Array = np.minimum(straight, across + np.minimum(turned, 1.0)[:, None] * along).max(axis=1)
    return most


def _derivative_matrices(places: Array) -> tuple[Array, Array]:
    """Return the matrices that map probes to the first and second derivative, at ``places``, of the polynomial through them."""
    middle = _PROBE / 2
    probes = np.arange(_PROBE + 1) - middle
    powers = np.linalg.inv(np.vander(probes / middle, increasing=True))
    t, order = (places - middle) / middle, np.arange(_PROBE + 1)
    slope = order[:, None] * t ** np.maximum(order - 1, 0)[:, None] / middle
    second = (order * (order - 1))[:, None] * t ** np.maximum(order - 2, 0)[:, None] / middle**2
    return powers.T @ slope, powers.T @ second


_SPEED_MATRIX, _BEND_MATRIX = _derivative_matrices(np.linspace(0.0, _PROBE, 2 * _PROBE + 1))


def _between_matrix() -> Array:
    """Return the matrix that maps the probes to the values, at `_BETWEEN`, of the polynomial through the probes."""
    probes = range(_PROBE + 1)
    at = _BETWEEN * _PROBE
    return np.array([np.prod([(at - q) / (p - q) for q in probes if q != p], axis=0) for p in probes])


_BETWEEN_MATRIX: Final = _between_matrix()


def _bends(points: Array, stride: int) -> Array:
    """Return the second difference across the path, mm, of each inner point and the points ``stride`` before and after it."""
    before, here, after = points[:, : -2 * stride], points[:, stride:-stride], points[:, 2 * stride :]
    bend, along = before - 2 * here + after, after - before
    straight, length = (np.einsum("kpi,kpi->kp", each, each) for each in (bend, along))
    with np.errstate(invalid="ignore", divide="ignore"):
        across = straight - np.einsum("kpi,kpi->kp", bend, along) ** 2 / length
    bent: Array = np.sqrt(np.where(length > 16 * straight, np.maximum(across, 0.0), straight))
    return bent
