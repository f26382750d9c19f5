"""The compiled path: cam lifts, headstock, spindle and a still chuck in one loop over the samples."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from numba import njit, prange

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.rigid import Array

    Whole = NDArray[np.int64]

__all__ = ["weave"]

_RESTART = 128


@njit(cache=True, error_model="numpy", inline="always")
def _lift(cells: Array, first: int, last: int, along: float) -> float:
    cell = min(max(int(along), 0), last)
    t = along - cell
    c = first + cell
    value: float = cells[c, 0] + t * (cells[c, 1] + t * (cells[c, 2] + t * cells[c, 3]))
    return value


@njit(cache=True, error_model="numpy", inline="always")
def _sine_cosine(a: float) -> tuple[float, float]:
    """Series to the 13th power: within 3e-17 for turns of less than 0.3 rad."""
    if abs(a) > 0.3:
        return math.sin(a), math.cos(a)
    q = a * a
    sine = a * (1 - q / 6 * (1 - q / 20 * (1 - q / 42 * (1 - q / 72 * (1 - q / 110 * (1 - q / 156))))))
    cosine = 1 - q / 2 * (1 - q / 12 * (1 - q / 30 * (1 - q / 56 * (1 - q / 90 * (1 - q / 132 * (1 - q / 182))))))
    return sine, cosine


@njit(cache=True, error_model="numpy", parallel=True)
def weave(
    starts: Array,
    steps: Array,
    counts: Whole,
    offsets: Whole,
    along: Array,
    cells_a_step: Array,
    first: Whole,
    last: Whole,
    scale: Array,
    cells: Array,
    sideways: int,
    endways: int,
    furthest: int,
    height: float,
    tip: Array,
    travel: Array,
    turned: float,
    shift: Array,
    u: Array,
    x: Array,
    y: Array,
    z: Array,
) -> None:
    """Fill u, x, y, z with every span's samples, each span's end left to the next.

    Parameters
    ----------
    starts, steps : (k,) float64, turns
        Where spans start, and from sample to sample.
    counts, offsets : (k,) int64
        Samples in each span, and where its first goes.
    along, cells_a_step : (k, p) float64
        Each push's place in its arc at the span's start, in cells, and its advance a sample.
    first, last : (k, p) int64
        The arc's first cell, and its last counted from there.
    scale : (p,) float64
        Factor of each push's curve.
    cells : (c, 4) float64, mm
        The cubics of all curves.
    sideways, endways : int
        How many pushes go across, and then along.
    furthest : int
        0: they add up; -1 or 1: the least or the greatest holds.
    height : float, mm
        Pivot to spindle; 0 where the headstock slides.
    tip, travel : (3,) float64, mm and mm/turn
        Of the cutter on the bench.
    turned : float, rad
        How far the still chuck turns the work.
    shift : (3,) float64, mm
        Where the still chuck's work stands on the spindle.
    u, x, y, z : (n,) float64
        Filled.
    """
    cg, sg = math.cos(turned), math.sin(turned)
    sx = shift[0] * cg + shift[1] * sg
    sy = shift[1] * cg - shift[0] * sg
    for k in prange(starts.size):
        step, begin, out = steps[k], starts[k], offsets[k]
        dc, ds = math.cos(2 * math.pi * step), -math.sin(2 * math.pi * step)
        for block in range(0, counts[k], _RESTART):
            theta = 2 * math.pi * (begin + block * step) + turned
            c, s = math.cos(theta), -math.sin(theta)
            for j in range(block, min(block + _RESTART, counts[k])):
                across = 0.0
                for p in range(sideways):
                    push = scale[p] * _lift(cells, first[k, p], last[k, p], along[k, p] + j * cells_a_step[k, p])
                    if furthest == 0 or p == 0:
                        across += push
                    else:
                        across = min(across, push) if furthest < 0 else max(across, push)
                out_along = 0.0
                for p in range(sideways, sideways + endways):
                    push = scale[p] * _lift(cells, first[k, p], last[k, p], along[k, p] + j * cells_a_step[k, p])
                    if furthest == 0 or p == sideways:
                        out_along += push
                    else:
                        out_along = min(out_along, push) if furthest < 0 else max(out_along, push)
                at = begin + j * step
                px, py = tip[0] + at * travel[0], tip[1] + at * travel[1]
                if height == 0.0:
                    px -= across
                else:
                    sa, ca = _sine_cosine(across / height)
                    py += height
                    px, py = px * ca - py * sa, px * sa + py * ca - height
                u[out + j] = at
                x[out + j] = px * c - py * s - sx
                y[out + j] = px * s + py * c - sy
                z[out + j] = tip[2] + at * travel[2] - out_along - shift[2]
                c, s = c * dc - s * ds, c * ds + s * dc
