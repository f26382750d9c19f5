"""Convert the samples of a path over a face to straight segments; join collinear samples into one segment.

What the arrays hold:

* ``tip`` : (n, 3) float64, mm: samples of a path, x, y and z.
* ``segments`` : (n,) `Segment`.
* ``ends`` : (paths,) int64: index after the last sample of each path.
* ``within``, ``levels`` : (paths,) float64, mm: see `fill_paths`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.sweep.tiles import PRANGE_ALONE

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.tiles import Int64s

    Segments = Records["Segment"]

__all__ = ["Segment", "deepest_and_highest", "fill_paths", "fill_segments"]

FUSED = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""


_COINCIDENT_MM: Final = 1e-9
"""Samples closer than this coincide: the direction from one to the next would be a rounding error."""
_NEITHER, _LOWER, _UPPER = -1, 0, 1
"""The end of a segment at which the next segment joins."""


class Segment:
    """A straight piece of a path over a face, directed from its lower end to its upper end; if level, along the path."""

    x: float
    """x of the lower end, mm."""
    y: float
    """y of the lower end, mm."""
    z: float
    """z of the lower end, mm."""
    direction_x: float
    """x of the unit direction in the plane of the face, from the lower end to the upper end."""
    direction_y: float
    """y of the unit direction in the plane of the face, from the lower end to the upper end."""
    length: float
    """Length in the plane of the face, mm."""
    slope: float
    """Rise per mm of ``length``; zero or more."""
    lower_turn: float
    """Sine of half the turning angle of the path at the lower end, or an upper bound; 1 without a neighbour there."""
    upper_turn: float
    """Sine of half the turning angle of the path at the upper end, or an upper bound; 1 without a neighbour there."""


@kernel(fastmath=FUSED)
def _last_coincident(tip: Array, anchor: int, end: int) -> int:
    """Return the last of the consecutive samples, from ``anchor`` on, whose x and y are those of ``anchor``."""
    last = anchor
    while last + 1 < end:
        dx, dy = tip[last + 1, 0] - tip[anchor, 0], tip[last + 1, 1] - tip[anchor, 1]
        if dx * dx + dy * dy > _COINCIDENT_MM * _COINCIDENT_MM:
            break
        last += 1
    return last


@kernel(fastmath=FUSED)
def _fill(segment: Segment, x: float, y: float, z: float, dx: float, dy: float, length: float, slope: float) -> None:
    """Fill one segment without neighbours."""
    segment.x, segment.y, segment.z = x, y, z
    segment.direction_x, segment.direction_y, segment.length, segment.slope = dx, dy, length, slope
    segment.lower_turn, segment.upper_turn = 1.0, 1.0


@kernel(fastmath=FUSED)
def _join(segment: Segment, end: int, turn: float) -> None:
    """Fill the turn at one end of a segment."""
    if end == _LOWER:
        segment.lower_turn = turn
    else:
        segment.upper_turn = turn


@kernel(fastmath=FUSED)
def _may_join(tip: Array, k: int, tolerance_xy: float) -> bool:
    """Return whether sample ``k + 1`` lies within ``tolerance_xy`` of the line through the samples before and after it."""
    dx, dy = tip[k + 1, 0] - tip[k, 0], tip[k + 1, 1] - tip[k, 1]
    ex, ey = tip[k + 2, 0] - tip[k, 0], tip[k + 2, 1] - tip[k, 1]
    apart = dx * ey - dy * ex
    return bool(apart * apart <= 1.001 * tolerance_xy * tolerance_xy * (ex * ex + ey * ey))


@kernel(fastmath=FUSED)
def _last_in_line(tip: Array, anchor: int, end: int, tolerance_xy: float, tolerance_z: float) -> int:
    """Return the last sample that one segment from ``anchor`` can reach within tolerance of all samples between them.

    The tolerance is ``tolerance_xy`` in the plane of the face and ``tolerance_z`` in depth. Each sample narrows the intervals of
    the directions and slopes that the segment may have. The search ends at the first sample that does not advance along the
    segment, or to which the chord lies outside one of the intervals.
    """
    x, y, z = tip[anchor, 0], tip[anchor, 1], tip[anchor, 2]
    dx, dy = tip[anchor + 1, 0] - x, tip[anchor + 1, 1] - y
    length = math.sqrt(dx * dx + dy * dy)
    dx, dy = dx / length, dy / length
    left, right = tolerance_xy / length, -tolerance_xy / length
    slope = (tip[anchor + 1, 2] - z) / length
    steepest, flattest = slope + tolerance_z / length, slope - tolerance_z / length
    distance_covered, last = length, anchor + 1
    for k in range(anchor + 2, end):
        px, py = tip[k, 0] - x, tip[k, 1] - y
        along = px * dx + py * dy
        if along <= distance_covered:
            break
        per = 1.0 / along
        turn, slope = (py * dx - px * dy) * per, (tip[k, 2] - z) * per
        if turn > left or turn < right or slope > steepest or slope < flattest:
            break
        left, right = min(left, turn + tolerance_xy * per), max(right, turn - tolerance_xy * per)
        steepest, flattest = min(steepest, slope + tolerance_z * per), max(flattest, slope - tolerance_z * per)
        distance_covered, last = along, k
    return last


@kernel()
def deepest_and_highest(tip: Array) -> tuple[float, float]:
    """Return the least and the greatest z of (n, 3) samples, mm."""
    deepest, highest = tip[0, 2], tip[0, 2]
    for k in range(1, tip.shape[0]):
        deepest, highest = min(deepest, tip[k, 2]), max(highest, tip[k, 2])
    return deepest, highest


@kernel(fastmath=FUSED)
def fill_segments(
    tip: Array, first: int, end: int, tolerance_xy: float, tolerance_z: float, level: float, segments: Segments, at: int
) -> int:
    """Fill segments through the samples ``first`` to ``end - 1`` of a path; return the index after the last segment filled.

    Parameters
    ----------
    tip : (n, 3) float64, mm
        Samples of the path, C-contiguous.
    first, end : int
        Range of the samples, ``first`` to ``end - 1``: one sample or more.
    tolerance_xy, tolerance_z : float, mm
        Greatest distance of a sample from the segment that replaces it, in the plane of the face and in depth.
    level : float, mm
        z of a level path, used instead of the z of its samples; NaN if the path is not level.
    segments : (m,) Segment
        Segments to fill, from the index ``at`` on; at most ``end - first`` are filled. A vertical movement of the cutter gives
        one segment of zero length at its deepest point. A dwell gives no segment, unless the whole path is a dwell.
    at : int
        Index of the first segment to fill.
    """
    begin, k, is_level = at, first, not math.isnan(level)
    before_x, before_y, joined = 0.0, 0.0, _NEITHER
    while k < end - 1:
        x, y, z = tip[k, 0], tip[k, 1], tip[k, 2]
        last = _last_coincident(tip, k, end)
        if last > k:
            deepest = z
            if is_level:
                k = last
                continue
            for stop in range(k + 1, last + 1):
                deepest = min(deepest, tip[stop, 2])
            if deepest < max(z, tip[last, 2]):
                _fill(segments[at], x, y, deepest, 1.0, 0.0, 0.0, 0.0)
                at, joined = at + 1, _NEITHER
            k = last
            continue
        last = k + 1
        if k + 2 < end and _may_join(tip, k, tolerance_xy):
            last = _last_in_line(tip, k, end, tolerance_xy, math.inf if is_level else tolerance_z)
        dx, dy, dz = tip[last, 0] - x, tip[last, 1] - y, tip[last, 2] - z
        if is_level:
            z, dz = level, 0.0
        length = math.sqrt(dx * dx + dy * dy)
        per = 1.0 / length
        dx, dy, dz = dx * per, dy * per, dz * per
        rising = dz >= 0.0
        if rising:
            _fill(segments[at], x, y, z, dx, dy, length, dz)
        else:
            _fill(segments[at], tip[last, 0], tip[last, 1], tip[last, 2], -dx, -dy, length, -dz)
        if joined != _NEITHER:
            turn = min(0.5 * (abs(dx - before_x) + abs(dy - before_y)), 1.0)
            _join(segments[at - 1], joined, turn)
            _join(segments[at], _LOWER if rising else _UPPER, turn)
        before_x, before_y, joined = dx, dy, _UPPER if rising else _LOWER
        k, at = last, at + 1
    if at == begin:
        _fill(segments[at], tip[k, 0], tip[k, 1], level if is_level else tip[k, 2], 1.0, 0.0, 0.0, 0.0)
        at += 1
    return at


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def fill_paths(tip: Array, ends: Int64s, within: Array, levels: Array, segments: Segments) -> None:
    """Fill the segments of all paths, in parallel over the paths.

    Parameters
    ----------
    tip : (n, 3) float64, mm
        Samples of all paths, C-contiguous.
    ends : (k,) int64
        Index after the last sample of each path, which is the first sample of the next path.
    within, levels : (k,) float64, mm
        Arguments of `fill_segments` for each path: ``within`` for both ``tolerance_xy`` and ``tolerance_z``, and ``levels`` for
        ``level``.
    segments : (n,) Segment
        Filled. The segments of a path begin at the index of its first sample; the unused segments of the path are set to z = 0,
        where they cut nothing.
    """
    for k in prange(ends.size):
        first = ends[k - 1] if k > 0 else 0
        at = fill_segments(tip, first, ends[k], within[k], within[k], levels[k], segments, first)
        for left in range(at, ends[k]):
            segments[left].z = 0.0
