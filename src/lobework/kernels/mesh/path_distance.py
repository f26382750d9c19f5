"""Distance of points from a path of straight segments, and the nearest points on the path.

What the arrays hold:

* ``points`` : (k, 3), ``path`` : (n, 3) float64, mm; ``joined`` : (n,) bool: whether a segment joins a point to the next point.
* ``boxes`` : (m, 6) float64, mm: bounding boxes, level by level: least x, y, z, then greatest x, y, z.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Ints = NDArray[np.int64]

__all__ = ["box_count", "fill_boxes", "nearest"]

BRANCH: Final = 8
_DEEPEST = 64


@kernel()
def box_count(n: int) -> int:
    """Return the number of boxes that `fill_boxes` fills for a path of ``n`` points."""
    total = 0
    while n > 1:
        n = (n + BRANCH - 1) // BRANCH
        total += n
    return max(total, 1)


@kernel()
def fill_boxes(path: Array, joined: NDArray[np.bool_], boxes: Array) -> None:
    """Fill the bounding boxes of the segments of a path, level by level.

    Parameters
    ----------
    path : (n, 3) float64
        Points of the path, one or more.
    joined : (n,) bool
        Whether a segment joins each point to the next point; false for the last point.
    boxes : (m, 6) float64
        Filled: least x, y, z, then greatest x, y, z. Boxes that contain eight segments each come first, then boxes that
        contain eight of these boxes each, and so on up to a single box.
    """
    n = path.shape[0]
    below, count = 0, (n + BRANCH - 1) // BRANCH
    for b in range(count):
        for a in range(3):
            low, high = math.inf, -math.inf
            for k in range(b * BRANCH, min((b + 1) * BRANCH, n)):
                low, high = min(low, path[k, a]), max(high, path[k, a])
                if joined[k]:
                    low, high = min(low, path[k + 1, a]), max(high, path[k + 1, a])
            boxes[b, a], boxes[b, 3 + a] = low, high
    at = count
    while count > 1:
        above = (count + BRANCH - 1) // BRANCH
        for b in range(above):
            for a in range(3):
                low, high = math.inf, -math.inf
                for k in range(below + b * BRANCH, min(below + (b + 1) * BRANCH, below + count)):
                    low, high = min(low, boxes[k, a]), max(high, boxes[k, 3 + a])
                boxes[at + b, a], boxes[at + b, 3 + a] = low, high
        below, at, count = at, at + above, above


@kernel()
def _squared_distance(px: float, py: float, pz: float, path: Array, joined: NDArray[np.bool_], k: int) -> tuple[float, float]:
    """Return the squared distance of a point from the segment k, and the position of the nearest point in the segment, 0 to 1."""
    ax, ay, az = path[k, 0], path[k, 1], path[k, 2]
    ux, uy, uz = px - ax, py - ay, pz - az
    if not joined[k]:
        return ux * ux + uy * uy + uz * uz, 0.0
    dx, dy, dz = path[k + 1, 0] - ax, path[k + 1, 1] - ay, path[k + 1, 2] - az
    length = dx * dx + dy * dy + dz * dz
    part = (ux * dx + uy * dy + uz * dz) / length if length > 0.0 else 0.0
    part = min(max(part, 0.0), 1.0)
    ux, uy, uz = ux - part * dx, uy - part * dy, uz - part * dz
    return ux * ux + uy * uy + uz * uz, part


@kernel()
def _to_box(px: float, py: float, pz: float, box: Array) -> float:
    dx = max(box[0] - px, 0.0, px - box[3])
    dy = max(box[1] - py, 0.0, py - box[4])
    dz = max(box[2] - pz, 0.0, pz - box[5])
    return float(dx * dx + dy * dy + dz * dz)


@kernel()
def nearest(
    points: Array,
    path: Array,
    joined: NDArray[np.bool_],
    boxes: Array,
    enough: float,
    beyond: float,
    distance: Array,
    segment: Ints,
    part: Array,
) -> None:
    """Fill, for each of many points, the nearest point on a path; consecutive points should be near each other.

    The search starts at the segment nearest to the previous point and follows the path while the distance does not increase. If
    the distance is then more than ``enough``, the boxes are searched for a nearer segment.

    Parameters
    ----------
    points : (k, 3) float64
        Points for which the nearest points on the path are searched.
    path, joined, boxes : (n, 3), (n,), (m, 6)
        As in `fill_boxes`.
    enough : float
        Distance at or below which the search ends, even if another segment is nearer.
    beyond : float
        If no point of the path is nearer than this distance, the result may be any point of the path.
    distance, segment, part : (k,)
        Filled: the distance from the path, the index of the nearest segment, and the position in this segment, 0 to 1.
    """
    n = path.shape[0]
    offsets = np.zeros(_DEEPEST, np.int64)
    counts = np.zeros(_DEEPEST, np.int64)
    levels, count, at = 0, n, 0
    while count > 1 or levels == 0:
        count = (count + BRANCH - 1) // BRANCH
        offsets[levels], counts[levels] = at, count
        at += count
        levels += 1
    stack, depth = np.zeros(_DEEPEST * BRANCH, np.int64), np.zeros(_DEEPEST * BRANCH, np.int64)
    enough_squared, beyond_squared = enough * enough, beyond * beyond
    k = 0
    for p in range(points.shape[0]):
        px, py, pz = points[p, 0], points[p, 1], points[p, 2]
        best, along = _squared_distance(px, py, pz, path, joined, k)
        for step in (1, -1):
            j = k + step
            while 0 <= j < n:
                other, there = _squared_distance(px, py, pz, path, joined, j)
                if other > best:
                    break
                best, along, k = other, there, j
                j += step
        if best > enough_squared:
            top = 1
            stack[0], depth[0] = 0, levels - 1
            while top > 0:
                top -= 1
                box, level = stack[top], depth[top]
                if _to_box(px, py, pz, boxes[offsets[level] + box]) >= min(best, beyond_squared):
                    continue
                if level == 0:
                    for j in range(box * BRANCH, min((box + 1) * BRANCH, n)):
                        other, there = _squared_distance(px, py, pz, path, joined, j)
                        if other < best:
                            best, along, k = other, there, j
                else:
                    for j in range(box * BRANCH, min((box + 1) * BRANCH, counts[level - 1])):
                        stack[top], depth[top] = j, level - 1
                        top += 1
        distance[p], segment[p], part[p] = math.sqrt(best), k, along
