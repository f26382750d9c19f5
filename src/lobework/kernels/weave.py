"""The compiled path: cam lifts, headstock, spindle and a still chuck in one loop over the samples."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numba import njit, prange

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.rigid import Array

    Whole = NDArray[np.int64]

__all__ = ["weave"]

_BLOCK = 256
_SHARES = 64


@njit(cache=True, error_model="numpy", nogil=True)
def _lifts(
    pushed: Array, scale: float, along: float, a_step: float, begin: int, cells: Array, first: int, last: int, furthest: int
) -> None:
    """Lay one push over a block of samples: its curve's cubics, one run of samples a cell."""
    size = pushed.size
    done = 0
    while done < size:
        at = along + (begin + done) * a_step
        cell = min(max(int(at), 0), last)
        run = size - done
        if a_step > 0 and cell < last:
            run = min(run, int((cell + 1 - at) / a_step) + 1)
        elif a_step < 0 and cell > 0:
            run = min(run, int((cell - at) / a_step) + 1)
        c = cells[first + cell]
        c0, c1, c2, c3 = scale * c[0], scale * c[1], scale * c[2], scale * c[3]
        t0 = at - cell
        if furthest == 0:
            for j in range(run):
                t = t0 + j * a_step
                pushed[done + j] += c0 + t * (c1 + t * (c2 + t * c3))
        else:
            for j in range(run):
                t = t0 + j * a_step
                push = c0 + t * (c1 + t * (c2 + t * c3))
                pushed[done + j] = min(pushed[done + j], push) if furthest < 0 else max(pushed[done + j], push)
        done += run


@njit(cache=True, error_model="numpy", nogil=True)
def _turns(cosines: Array, sines: Array, angle: float, count: int) -> None:
    """Fill the cosines and sines of 0, 1, 2 ... times an angle: the first few exact, the rest turned on from them."""
    known = min(8, count)
    for j in range(known):
        cosines[j], sines[j] = math.cos(j * angle), math.sin(j * angle)
    while known < count:
        c, s = math.cos(known * angle), math.sin(known * angle)
        more = min(known, count - known)
        for j in range(more):
            cosines[known + j] = cosines[j] * c - sines[j] * s
            sines[known + j] = sines[j] * c + cosines[j] * s
        known += more


@njit(cache=True, error_model="numpy", nogil=True)
def _rock(px: Array, py: Array, across: Array, height: float) -> None:
    """Turn points about the pivot by the headstock's rock; by series to the 13th power, within 3e-17 below 0.3 rad."""
    most = 0.0
    for j in range(px.size):
        most = max(most, abs(across[j]))
    if most > 0.3 * height:
        for j in range(px.size):
            a = across[j] / height
            x, y, s, c = px[j], py[j] + height, math.sin(a), math.cos(a)
            px[j], py[j] = x * c - y * s, x * s + y * c - height
        return
    per = 1 / height
    for j in range(px.size):
        a = across[j] * per
        q = a * a
        s = a * (1 - q / 6 * (1 - q / 20 * (1 - q / 42 * (1 - q / 72 * (1 - q / 110 * (1 - q / 156))))))
        c = 1 - q / 2 * (1 - q / 12 * (1 - q / 30 * (1 - q / 56 * (1 - q / 90 * (1 - q / 132)))))
        x, y = px[j], py[j] + height
        px[j], py[j] = x * c - y * s, x * s + y * c - height


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
    spans = starts.size
    shares = min(_SHARES, spans)
    for share in prange(shares):
        pushed, px, py = np.zeros(_BLOCK), np.zeros(_BLOCK), np.zeros(_BLOCK)
        cosines, sines = np.zeros(_BLOCK), np.zeros(_BLOCK)
        for k in range(share * spans // shares, (share + 1) * spans // shares):
            step = steps[k]
            _turns(cosines, sines, 2 * math.pi * step, min(_BLOCK, counts[k]))
            for block in range(0, counts[k], _BLOCK):
                size = min(_BLOCK, counts[k] - block)
                begin, out = starts[k] + block * step, offsets[k] + block
                for j in range(size):
                    at = begin + j * step
                    u[out + j] = at
                    px[j] = tip[0] + at * travel[0]
                    py[j] = tip[1] + at * travel[1]
                    z[out + j] = tip[2] + at * travel[2] - shift[2]
                if sideways > 0:
                    pushed[:size] = 0.0 if furthest == 0 else -furthest * math.inf
                    for p in range(sideways):
                        _lifts(
                            pushed[:size],
                            scale[p],
                            along[k, p],
                            cells_a_step[k, p],
                            block,
                            cells,
                            first[k, p],
                            last[k, p],
                            furthest,
                        )
                    if height == 0.0:
                        for j in range(size):
                            px[j] -= pushed[j]
                    else:
                        _rock(px[:size], py[:size], pushed[:size], height)
                if endways > 0:
                    pushed[:size] = 0.0 if furthest == 0 else -furthest * math.inf
                    for p in range(sideways, sideways + endways):
                        _lifts(
                            pushed[:size],
                            scale[p],
                            along[k, p],
                            cells_a_step[k, p],
                            block,
                            cells,
                            first[k, p],
                            last[k, p],
                            furthest,
                        )
                    for j in range(size):
                        z[out + j] -= pushed[j]
                theta = 2 * math.pi * begin + turned
                c, s = math.cos(theta), math.sin(theta)
                for j in range(size):
                    cosine = c * cosines[j] - s * sines[j]
                    sine = s * cosines[j] + c * sines[j]
                    x[out + j] = px[j] * cosine + py[j] * sine - sx
                    y[out + j] = py[j] * cosine - px[j] * sine - sy
