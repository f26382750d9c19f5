"""The compiled path: cam lifts, headstock, spindle and chucks in one loop over the samples.

What the arrays hold:

* ``x``, ``y``, ``z`` : (n,) float64, mm: samples of the tip on the work.
* ``ramp`` : (256,) float64: 0, 1, 2 ...; ``cosines``, ``sines`` : (256,) float64: cosines and sines of ``ramp`` times the
  spindle's angle from sample to sample.
* ``pushed``, ``px``, ``py``, ``pz`` : (256,) float64, mm: scratch buffers for one block of samples.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import prange

from lobework.kernels.jit import kernel
from lobework.kernels.path.chucks import FUSED, ChuckRuns, through_chucks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Int64s = NDArray[np.int64]

__all__ = ["Arc", "Bench", "Pushes", "SpanTable", "fill_path"]

_BLOCK = 256
_SHARES = 64
S3, S5, S7, S9, S11, S13 = ((-1) ** k / math.factorial(2 * k + 1) for k in range(1, 7))
C2, C4, C6, C8, C10, C12 = ((-1) ** k / math.factorial(2 * k) for k in range(1, 7))


class Arc(NamedTuple):
    """A circular arc that the slides follow.

    Parameters
    ----------
    radius : float, mm
        Radius of the arc; zero if the slides follow no arc.
    begin : float, rad
        Angle at which the arc begins, from +Z towards +X.
    swept : float, rad/turn
        Angle of the arc per turn of the spindle.
    """

    radius: float
    begin: float
    swept: float


class SpanTable(NamedTuple):
    """The spans of a path, each with evenly spaced samples.

    Parameters
    ----------
    starts, steps : (k,) float64, turns
        Start of each span, and step from sample to sample.
    counts, offsets : (k,) int64
        Number of samples in each span, and index of its first sample.
    """

    starts: Array
    steps: Array
    counts: Int64s
    offsets: Int64s


class Pushes(NamedTuple):
    """The displacements that cams give the headstock or the slides, those across the spindle first, then those along it.

    Parameters
    ----------
    along, cells_a_step : (k, p) float64, cells
        Position of each push in its arc at the start of each span, and step of this position per sample.
    first, last : (k, p) int64
        First cell of the push's arc, and last cell of the arc, counted from the first.
    scale : (p,) float64
        Factor on the curve of each push.
    cells : (c, 4) float64, mm
        Coefficients of the cubics of all curves, the constant first.
    sideways, endways : int
        Number of pushes across the spindle, and along it.
    furthest : int
        Rule by which pushes are combined: 0 for their sum, -1 for the minimum, 1 for the maximum.
    """

    along: Array
    cells_a_step: Array
    first: Int64s
    last: Int64s
    scale: Array
    cells: Array
    sideways: int
    endways: int
    furthest: int


class Bench(NamedTuple):
    """Headstock, slides and stationary chucks.

    Parameters
    ----------
    height : float, mm
        Height of the spindle above the pivot; 0 if the headstock slides.
    rotation_bound : float, rad
        Upper bound of the headstock's rotation.
    tip, travel : (3,) float64, mm and mm/turn
        Position of the cutter on the bench, and its travel per turn; if the slides follow an arc, the centre of the arc and zero.
    turned : float, rad
        Constant angle of the work: the angle by stationary chucks plus the spindle's angle at the start.
    shift : (3,) float64, mm
        Constant shift of the work by stationary chucks, rotated by the spindle's angle at the start.
    """

    height: float
    rotation_bound: float
    tip: Array
    travel: Array
    turned: float
    shift: Array


@kernel(fastmath=FUSED)
def _add_push(ramp: Array, pushed: Array, pushes: Pushes, k: int, p: int, begin: int, rule: int) -> None:
    """Combine the displacement of push ``p`` in span ``k`` with ``pushed``, for a block of samples from ``begin`` on.

    Samples are processed in runs that are in one cell of the curve.

    ``rule`` selects the operation: 2 stores the displacement, 0 adds it, -1 takes the minimum, 1 takes the maximum.
    """
    along, a_step, scale = pushes.along[k, p], pushes.cells_a_step[k, p], pushes.scale[p]
    first, last = pushes.first[k, p], pushes.last[k, p]
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
        c = pushes.cells[first + cell]
        c0, c1, c2, c3 = scale * c[0], scale * c[1], scale * c[2], scale * c[3]
        t0 = at - cell
        if rule == 2:
            part = pushed[done : min(done + (run + 15) // 16 * 16, size)]
            for j in range(part.size):
                t = t0 + ramp[j] * a_step
                part[j] = c0 + t * (c1 + t * (c2 + t * c3))
        elif rule == 0:
            part = pushed[done : done + run]
            for j in range(run):
                t = t0 + ramp[j] * a_step
                part[j] += c0 + t * (c1 + t * (c2 + t * c3))
        else:
            part = pushed[done : done + run]
            for j in range(run):
                t = t0 + ramp[j] * a_step
                push = c0 + t * (c1 + t * (c2 + t * c3))
                part[j] = min(part[j], push) if rule < 0 else max(part[j], push)
        done += run


@kernel(fastmath=FUSED)
def _combine_pushes(ramp: Array, pushed: Array, pushes: Pushes, k: int, begin: int, low: int, high: int) -> None:
    """Fill ``pushed`` with the combined displacement of the pushes with indices from ``low`` up to but not including ``high``."""
    for p in range(low, high):
        _add_push(ramp, pushed, pushes, k, p, begin, 2 if p == low else pushes.furthest)


@kernel(fastmath=FUSED)
def _cosines_and_sines(cosines: Array, sines: Array, angle: float, count: int) -> None:
    """Fill the cosines and sines of 0, 1, 2 ... times ``angle``: the first eight directly, the rest by addition theorems."""
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


@kernel(fastmath=FUSED)
def _rock(px: Array, py: Array, across: Array, height: float, rotation_bound: float) -> None:
    """Rotate points about the pivot by the angles ``across / height``, which are at most ``rotation_bound`` rad.

    If ``rotation_bound`` is below 0.05 rad, sine and cosine are power series up to the 8th power; below 0.3 rad, up to the 13th.
    The error of both is within 1e-17.
    """
    per = 1 / height
    if rotation_bound < 0.05:
        for j in range(px.size):
            a = across[j] * per
            q = a * a
            s = a + a * q * (S3 + q * (S5 + q * S7))
            c = 1 + q * (C2 + q * (C4 + q * (C6 + q * C8)))
            x, y = px[j], py[j] + height
            px[j] = x * c - y * s
            py[j] = x * s + y * c - height
    elif rotation_bound < 0.3:
        for j in range(px.size):
            a = across[j] * per
            q = a * a
            s = a + a * q * (S3 + q * (S5 + q * (S7 + q * (S9 + q * (S11 + q * S13)))))
            c = 1 + q * (C2 + q * (C4 + q * (C6 + q * (C8 + q * (C10 + q * C12)))))
            x, y = px[j], py[j] + height
            px[j] = x * c - y * s
            py[j] = x * s + y * c - height
    else:
        for j in range(px.size):
            a = across[j] * per
            x, y, s, c = px[j], py[j] + height, math.sin(a), math.cos(a)
            px[j] = x * c - y * s
            py[j] = x * s + y * c - height


@kernel(fastmath=FUSED)
def _slide_positions(
    ramp: Array,
    px: Array,
    py: Array,
    z: Array,
    begin: float,
    step: float,
    tip_x: float,
    tip_y: float,
    tip_z: float,
    travel_x: float,
    travel_y: float,
    travel_z: float,
    arc: Arc,
) -> None:
    """Fill the positions of the tip on the bench, as given by the slides."""
    if arc.radius != 0.0:
        for j in range(px.size):
            angle = arc.begin + (begin + ramp[j] * step) * arc.swept
            px[j] = tip_x + arc.radius * math.sin(angle)
            py[j] = tip_y
            z[j] = tip_z + arc.radius * math.cos(angle)
        return
    if travel_x == 0.0 and travel_y == 0.0 and travel_z == 0.0:
        px[:], py[:], z[:] = tip_x, tip_y, tip_z
        return
    for j in range(px.size):
        u = begin + ramp[j] * step
        px[j] = tip_x + u * travel_x
        py[j] = tip_y + u * travel_y
        z[j] = tip_z + u * travel_z


@kernel(fastmath=FUSED)
def _to_work(
    x: Array, y: Array, px: Array, py: Array, cosines: Array, sines: Array, c: float, s: float, sx: float, sy: float
) -> None:
    """Rotate a block of samples back by the spindle's angle, and subtract the chuck's shift."""
    for j in range(x.size):
        cosine = c * cosines[j] - s * sines[j]
        sine = s * cosines[j] + c * sines[j]
        x[j] = px[j] * cosine + py[j] * sine - sx
        y[j] = py[j] * cosine - px[j] * sine - sy


@kernel(fastmath=FUSED)
def _fill_rocking_block(
    x: Array,
    y: Array,
    cosines: Array,
    sines: Array,
    ramp: Array,
    c: float,
    s: float,
    sx: float,
    sy: float,
    tip_x: float,
    tip_y: float,
    height: float,
    pushes: Pushes,
    span: int,
    begin: int,
) -> None:
    """Fill a block of samples in one loop, for a headstock that one cam rocks by less than 0.05 rad, and stationary slides."""
    along, a_step, scale = pushes.along[span, 0], pushes.cells_a_step[span, 0], pushes.scale[0]
    first, last = pushes.first[span, 0], pushes.last[span, 0]
    size = x.size
    above, per = tip_y + height, scale / height
    done = 0
    while done < size:
        at = along + (begin + done) * a_step
        cell = min(max(int(at), 0), last)
        run = size - done
        if a_step > 0 and cell < last:
            run = min(run, int((cell + 1 - at) / a_step) + 1)
        elif a_step < 0 and cell > 0:
            run = min(run, int((cell - at) / a_step) + 1)
        k = pushes.cells[first + cell]
        c0, c1, c2, c3 = per * k[0], per * k[1], per * k[2], per * k[3]
        t0 = at - cell
        end = min(done + (run + 15) // 16 * 16, size)
        xs, ys, cs, ss = x[done:end], y[done:end], cosines[done:end], sines[done:end]
        for j in range(xs.size):
            t = t0 + ramp[j] * a_step
            a = c0 + t * (c1 + t * (c2 + t * c3))
            q = a * a
            sa = a + a * q * (S3 + q * (S5 + q * S7))
            ca = 1 + q * (C2 + q * (C4 + q * (C6 + q * C8)))
            px = tip_x * ca - above * sa
            py = tip_x * sa + above * ca - height
            cosine = c * cs[j] - s * ss[j]
            sine = s * cs[j] + c * ss[j]
            xs[j] = px * cosine + py * sine - sx
            ys[j] = py * cosine - px * sine - sy
        done += run


@kernel(parallel=True, fastmath=FUSED)
def fill_path(spans: SpanTable, pushes: Pushes, bench: Bench, arc: Arc, runs: ChuckRuns, x: Array, y: Array, z: Array) -> None:
    """Fill x, y, z with the samples of every span; the sample at the end of a span belongs to the next span.

    Parameters
    ----------
    spans : SpanTable
        The spans of the path.
    pushes : Pushes
        The displacements by cams.
    bench : Bench
        Headstock, slides and stationary chucks.
    arc : Arc
        The arc that the slides follow; not a field of ``bench``, because numba's parallel loops take no tuple from a tuple.
    runs : ChuckRuns
        The stack of chucks, if it moves; empty if it is stationary.
    x, y, z : (n,) float64, mm
        Filled; an empty ``z`` is not changed.
    """
    starts, steps, counts, offsets = spans
    sideways, endways = pushes.sideways, pushes.endways
    height, rotation_bound, tip, travel, turned, shift = bench
    firsts, which, _, _, terms, moves = runs
    cg, sg = math.cos(turned), math.sin(turned)
    sx = shift[0] * cg + shift[1] * sg
    sy = shift[1] * cg - shift[0] * sg
    tip_x, tip_y, tip_z = tip[0], tip[1], tip[2] - shift[2]
    travel_x, travel_y, travel_z = travel
    plainly = sideways == 1 and endways == 0 and height != 0.0 and rotation_bound < 0.05
    plainly = plainly and travel_x == 0.0 and travel_y == 0.0 and travel_z == 0.0 and arc.radius == 0.0
    shares = min(_SHARES, starts.size)
    for share in prange(shares):
        pushed, px, py, pz = np.zeros(_BLOCK), np.zeros(_BLOCK), np.zeros(_BLOCK), np.zeros(_BLOCK)
        cosines, sines, ramp = np.zeros(_BLOCK), np.zeros(_BLOCK), np.arange(_BLOCK).astype(np.float64)
        t, motions, run = np.zeros(_BLOCK), np.zeros((moves.size, _BLOCK)), 0
        if which.size > 0:
            run = np.searchsorted(firsts, offsets[share * starts.size // shares], side="right") - 1
        if terms.size > 0:
            for f in range(moves.size):
                motions[f, :] = terms[0, f, 0]
        for k in range(share * starts.size // shares, (share + 1) * starts.size // shares):
            step = steps[k]
            _cosines_and_sines(cosines, sines, 2 * math.pi * step, min(_BLOCK, counts[k]))
            for block in range(0, counts[k], _BLOCK):
                size = min(_BLOCK, counts[k] - block)
                begin, out = starts[k] + block * step, offsets[k] + block
                xs, ys = x[out : out + size], y[out : out + size]
                theta = 2 * math.pi * begin + turned
                c, s = math.cos(theta), math.sin(theta)
                if plainly:
                    _fill_rocking_block(xs, ys, cosines, sines, ramp, c, s, sx, sy, tip_x, tip_y, height, pushes, k, block)
                    if z.size > 0:
                        z[out : out + size] = tip_z
                else:
                    _slide_positions(
                        ramp, px[:size], py[:size], pz[:size], begin, step, tip_x, tip_y, tip_z, travel_x, travel_y, travel_z, arc
                    )
                    if sideways > 0:
                        _combine_pushes(ramp, pushed[:size], pushes, k, block, 0, sideways)
                        if height == 0.0:
                            px[:size] -= pushed[:size]
                        else:
                            _rock(px[:size], py[:size], pushed[:size], height, rotation_bound)
                    if endways > 0:
                        _combine_pushes(ramp, pushed[:size], pushes, k, block, sideways, sideways + endways)
                        pz[:size] -= pushed[:size]
                    if z.size > 0:
                        z[out : out + size] = pz[:size]
                    _to_work(xs, ys, px[:size], py[:size], cosines, sines, c, s, sx, sy)
                if which.size > 0:
                    run = through_chucks(xs, ys, z[out : out + size], out, begin, step, ramp, run, runs, t, motions)
