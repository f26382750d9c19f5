"""Transformation of samples by a stack of chucks whose pose is given by polynomials.

What the arrays hold:

* ``x``, ``y``, ``z`` : (n,) float64, mm: samples.
* ``terms`` : (pieces, 5 or 12, 8 or 24) float64: coefficients of the stack's functions, the constant first.
* ``motions`` : (5 or 12, n or more) float64: values of these functions, indexed by `_COSINE` to `_SHIFT_Z` or `_XX` to `_TO_Z`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Int64s = NDArray[np.int64]

__all__ = ["FUSED", "ChuckRuns", "through_chucks"]

FUSED = {"contract"}
"""A multiplication and an addition may be fused, with one rounding instead of two; operations are not reordered."""
_COSINE, _SINE, _SHIFT_X, _SHIFT_Y, _SHIFT_Z = range(5)
"""Indices of the functions of a stack that turns about Z only."""
_XX, _XY, _XZ, _YX, _YY, _YZ, _ZX, _ZY, _ZZ, _TO_X, _TO_Y, _TO_Z = range(12)
"""Indices of the functions of any other stack: the rotation matrix, row by row, and the shift."""


class ChuckRuns(NamedTuple):
    """Runs of samples, and the polynomials of the chucks' motion on each.

    Parameters
    ----------
    firsts : (r + 1,) int64
        First sample of each run, and the first sample after the last run.
    which : (r,) int64
        Index into ``terms`` for each run; -1 if the run has no polynomial.
    middles, scales : (r,) float64, turns and 1/turns
        For each run, the variable of the polynomials is ``t = (u - middle) * scale``, from -1 to 1 across the piece.
    terms : (pieces, 5 or 12, 8 or 24) float64
        Coefficients of the polynomials for cosine, sine and shift, or for rotation matrix and shift.
    moves : (5 or 12,) bool
        Which of these functions are not constant.
    """

    firsts: Int64s
    which: Int64s
    middles: Array
    scales: Array
    terms: Array
    moves: NDArray[np.bool_]


@kernel(fastmath=FUSED)
def _filled(out: Array, t: Array, terms: Array) -> None:
    """Fill ``out`` with the values of a polynomial at ``t``, by Horner's rule on eight terms at a time."""
    for last in range(terms.size - 8, -8, -8):
        a, b, c, d = terms[last], terms[last + 1], terms[last + 2], terms[last + 3]
        e, f, g, h = terms[last + 4], terms[last + 5], terms[last + 6], terms[last + 7]
        if last == terms.size - 8:
            for j in range(out.size):
                s = t[j]
                out[j] = a + s * (b + s * (c + s * (d + s * (e + s * (f + s * (g + s * h))))))
        else:
            for j in range(out.size):
                s = t[j]
                out[j] = a + s * (b + s * (c + s * (d + s * (e + s * (f + s * (g + s * (h + s * out[j])))))))


@kernel(fastmath=FUSED)
def through_chucks(
    x: Array,
    y: Array,
    z: Array,
    sample: int,
    begin: float,
    step: float,
    ramp: Array,
    run: int,
    runs: ChuckRuns,
    t: Array,
    motions: Array,
) -> int:
    """Transform evenly spaced samples from the spindle's frame to the frame of the work, in place; return the last sample's run.

    Parameters
    ----------
    x, y, z : (n,) float64, mm
        In: positions in the spindle's frame. Out: positions in the frame of the work; samples in runs without a polynomial are
        not changed. An empty ``z`` is not changed.
    sample : int
        Index of the first sample.
    begin, step : float, turns
        Position of the first sample, and step from one sample to the next.
    ramp : (n or more,) float64
        0, 1, 2 ...
    run : int
        Run that contains the first sample, or an earlier run.
    runs : ChuckRuns
        All runs of the stretch.
    t : (n or more,) float64
        Scratch buffer whose length is a multiple of 16.
    motions : (5 or 12, n or more) float64
        Scratch buffer of the same length; on entry, it contains the values of the constant functions.
    """
    firsts, which, middles, scales, terms, moves = runs
    size = x.size
    planar = moves.size == _SHIFT_Z + 1
    done = 0
    while done < size:
        while firsts[run + 1] <= sample + done:
            run += 1
        end = min(size, firsts[run + 1] - sample)
        piece = which[run]
        if piece >= 0:
            count = end - done
            padded = (count + 15) // 16 * 16
            a_step = step * scales[run]
            at = (begin - middles[run]) * scales[run] + done * a_step
            ts = t[:padded]
            for j in range(padded):
                ts[j] = at + ramp[j] * a_step
            for f in range(moves.size):
                if moves[f]:
                    _filled(motions[f, :padded], ts, terms[piece, f])
            xs, ys, zs = x[done:end], y[done:end], z[done:end]
            if planar:
                c, s, sx, sy, sz = motions[_COSINE], motions[_SINE], motions[_SHIFT_X], motions[_SHIFT_Y], motions[_SHIFT_Z]
                for j in range(count):
                    px, py = xs[j] - sx[j], ys[j] - sy[j]
                    xs[j] = c[j] * px + s[j] * py
                    ys[j] = c[j] * py - s[j] * px
                for j in range(zs.size):
                    zs[j] -= sz[j]
            else:
                for j in range(count):
                    px, py, pz = xs[j] - motions[_TO_X, j], ys[j] - motions[_TO_Y, j], zs[j] - motions[_TO_Z, j]
                    xs[j] = motions[_XX, j] * px + motions[_YX, j] * py + motions[_ZX, j] * pz
                    ys[j] = motions[_XY, j] * px + motions[_YY, j] * py + motions[_ZY, j] * pz
                    zs[j] = motions[_XZ, j] * px + motions[_YZ, j] * py + motions[_ZZ, j] * pz
        done = end
    return run
