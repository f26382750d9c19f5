"""Self-intersection of plane polylines.

What the arrays hold:

* ``x``, ``y`` : (lines, vertices) float64, mm.
* ``lowest`` : (vertices,) float64, mm: least y of all vertices up to and including each vertex.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["crossing"]


@kernel()
def _separation(x: Array, y: Array, i: int, k: int) -> float:
    """Return a negative number if the line through segment i separates the ends of segment k, a positive number if not."""
    dx, dy = x[i + 1] - x[i], y[i + 1] - y[i]
    return float((dx * (y[k] - y[i]) - dy * (x[k] - x[i])) * (dx * (y[k + 1] - y[i]) - dy * (x[k + 1] - x[i])))


@kernel()
def crossing(x: Array, y: Array) -> tuple[int, int, int]:
    """Return the first of many polylines that intersects itself, and two of its segments that meet; all -1 if none does.

    Collinear segments do not count as meeting. Each segment is compared with the earlier segments, backwards, until all remaining
    segments are above this one; the search is fast for polylines that mostly descend in y.

    Parameters
    ----------
    x, y : (lines, vertices) float64
        Vertices of each polyline.

    Returns
    -------
    line, first, second : int
        Index of the polyline, and of the earlier and the later segment; segment ``k`` joins vertex k to the next.
    """
    lowest = np.zeros(x.shape[1])
    for line in range(x.shape[0]):
        here_x, here_y = x[line], y[line]
        lowest[0] = here_y[0]
        for k in range(x.shape[1] - 1):
            lowest[k + 1] = min(lowest[k], here_y[k + 1])
            high = max(here_y[k], here_y[k + 1])
            i = k - 2
            while i >= 0 and lowest[i + 1] <= high:
                one, other = _separation(here_x, here_y, i, k), _separation(here_x, here_y, k, i)
                if one <= 0 and other <= 0 and (one < 0 or other < 0):
                    return line, i, k
                i -= 1
    return -1, -1, -1
