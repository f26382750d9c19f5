"""Polylines in space, with the distance from points to them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.text.brief import Brief

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Ints = NDArray[np.int64]

__all__ = ["Polyline", "polyline"]

_EXACT: Final = 256
"""Number of points with the greatest distances for which the nearest segment is always found."""


@dataclass(frozen=True, eq=False, repr=False)
class Polyline(Brief):
    """A polyline, with a tree of boxes for distance queries.

    Parameters
    ----------
    points : (n, 3) float64, mm
        Vertices; C-contiguous.
    joined : (n,) bool
        Whether a segment joins each vertex to the next.
    boxes : (m, 6) float64
        Bounding boxes of runs of segments.
    """

    points: Array
    joined: NDArray[np.bool_]
    boxes: Array

    def nearest(self, points: Array, enough: float, beyond: float = math.inf) -> tuple[Array, Ints, Array]:
        """Return the distances of (n, 3) points from the polyline, mm, the nearest segments, the fractions along these, 0 to 1.

        The search for a point ends at the first segment nearer than ``enough``; this need not be the nearest segment. For a
        point that is further than ``beyond`` from every segment, any segment may be returned. For the points with the greatest
        distances, the nearest segment is always found.
        """
        far, segment, part = self._search(points, enough, beyond)
        if enough > 0 and far.size:
            worst = np.argpartition(far, -min(_EXACT, far.size))[-_EXACT:]
            far[worst], segment[worst], part[worst] = self._search(points[worst], 0.0, math.inf)
        return far, segment, part

    def _search(self, points: Array, enough: float, beyond: float) -> tuple[Array, Ints, Array]:
        from lobework.kernels.mesh.path_distance import nearest

        n = len(points)
        found = np.zeros(n), np.zeros(n, np.int64), np.zeros(n)
        nearest(np.ascontiguousarray(points), self.points, self.joined, self.boxes, enough, beyond, *found)
        return found


def polyline(points: Array, joined: NDArray[np.bool_]) -> Polyline:
    """Return the polyline through (n, 3) points; n is at least 1."""
    from lobework.kernels.mesh.path_distance import box_count, fill_boxes

    points = np.ascontiguousarray(points)
    boxes = np.zeros((box_count(len(points)), 6))
    fill_boxes(points, joined, boxes)
    return Polyline(points, joined, boxes)
