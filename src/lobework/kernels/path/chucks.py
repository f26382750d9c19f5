"""Samples carried through a stack of chucks whose place is known as polynomials.

What the arrays hold:

* ``x``, ``y``, ``z`` : (n,) float64, mm: samples.
* ``terms`` : (pieces, 5 or 12, 8 or 24) float64: coefficients of the stack's functions, the constant first.
* ``holder`` : (5 or 12, n or more) float64: values of those functions, by `_COSINE` to `_SHIFT_Z` or by `_XX` to `_TO_Z`.
* ``firsts`` : (runs + 1,) int64, samples; ``which`` : (runs,) int64, pieces; ``middles``, ``scales`` : (runs,) float64.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Whole = NDArray[np.int64]

__all__ = ["FUSED", "through_chucks"]

FUSED = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_COSINE, _SINE, _SHIFT_X, _SHIFT_Y, _SHIFT_Z = range(5)
"""Functions of a stack that turns about Z alone."""
_XX, _XY, _XZ, _YX, _YY, _YZ, _ZX, _ZY, _ZZ, _TO_X, _TO_Y, _TO_Z = range(12)
"""Functions of any other stack: its rotation, row after row, and its shift."""


@kernel(fastmath=FUSED)
def _filled(out: Array, t: Array, terms: Array) -> None:
    """Fill a polynomial's values, eight terms at a time."""
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
    firsts: Whole,
    which: Whole,
    middles: Array,
    scales: Array,
    terms: Array,
    moves: NDArray[np.bool_],
    t: Array,
    motions: Array,
) -> int:
    """Carry evenly spaced samples over from the spindle to the work, in place; return the run of the last.

    Parameters
    ----------
    x, y, z : (n,) float64, mm
        On the spindle; on the work afterwards, but for runs of no polynomial. An empty ``z`` is left alone.
    sample : int
        Number of the first.
    begin, step : float, turns
        Where the first stands, and from one to the next.
    ramp : (n or more,) float64
        0, 1, 2 ...
    run : int
        In which the first lies, or an earlier one.
    firsts : (r + 1,) int64
        First sample of each run, and the one after the last run.
    which : (r,) int64
        Whose polynomials each run takes; -1 where none are known.
    middles, scales : (r,) float64, turns and 1/turns
        ``t = (u - middle) * scale`` goes from -1 to 1.
    terms : (pieces, 5 or 12, 8 or 24) float64
        Of cosine, sine and shift; or of the rotation's rows and the shift.
    moves : (5 or 12,) bool
        Which of them are no constants.
    t : (n or more,) float64
        Room to work in, in sixteens.
    motions : (5 or 12, n or more) float64
        Likewise, where the constants already stand.
    """
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
            room = (count + 15) // 16 * 16
            a_step = step * scales[run]
            at = (begin - middles[run]) * scales[run] + done * a_step
            ts = t[:room]
            for j in range(room):
                ts[j] = at + ramp[j] * a_step
            for f in range(moves.size):
                if moves[f]:
                    _filled(motions[f, :room], ts, terms[piece, f])
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
