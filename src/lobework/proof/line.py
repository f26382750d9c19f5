"""A path of straight segments that can be asked how near it comes."""

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

__all__ = ["Line", "laid"]

_CERTAIN: Final = 256


@dataclass(frozen=True, eq=False, repr=False)
class Line(Brief):
    """A path of straight segments that can be asked how near it comes.

    Parameters
    ----------
    points : (n, 3) float64, mm
        C-contiguous.
    joined : (n,) bool
        Whether a segment goes from each to the next.
    boxes : (m, 6) float64
        Round them.
    """

    points: Array
    joined: NDArray[np.bool_]
    boxes: Array

    def nearest(self, points: Array, enough: float, beyond: float = math.inf) -> tuple[Array, Ints, Array]:
        """Return how far (n, 3) points are, mm, from which segment, and how far along it.

        A place within ``enough`` does, though there may be a nearer one, and any place does for points that are ``beyond`` from
        all of them; for the furthest points the nearest is found.
        """
        far, segment, part = self._searched(points, enough, beyond)
        if enough > 0 and far.size:
            worst = np.argpartition(far, -min(_CERTAIN, far.size))[-_CERTAIN:]
            far[worst], segment[worst], part[worst] = self._searched(points[worst], 0.0, math.inf)
        return far, segment, part

    def _searched(self, points: Array, enough: float, beyond: float) -> tuple[Array, Ints, Array]:
        from lobework.kernels.mesh.path_distance import nearest

        n = len(points)
        found = np.zeros(n), np.zeros(n, np.int64), np.zeros(n)
        nearest(np.ascontiguousarray(points), self.points, self.joined, self.boxes, enough, beyond, *found)
        return found


def laid(points: Array, joined: NDArray[np.bool_]) -> Line:
    """Return (n, 3) points, one or more, as a path that can be asked."""
    from lobework.kernels.mesh.path_distance import box_count, lay_boxes

    points = np.ascontiguousarray(points)
    boxes = np.zeros((box_count(len(points)), 6))
    lay_boxes(points, joined, boxes)
    return Line(points, joined, boxes)
