"""A periodic function as a spline of cubic polynomials: the form in which a computed lift is stored."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lobework.errors import PluginError
from lobework.geometry.rigid import Array
from lobework.quantities.tolerances import JUMP_MM
from lobework.text.brief import Brief

__all__ = ["Curve", "tabulate"]

_INSET = 1e-9
"""Distance of the first and last knot from the corners of an arc, as a fraction of its width."""
_FEWEST_CELLS, _MOST_CELLS = 16, 1024
_NARROWEST = 1e-11
_MOST_COARSE, _MOST_COARSE_PER_CORNER = 2**14, 2**6
"""Greatest number of cells that are still too coarse, and additional number per corner; a function that is smooth except at a few
points has fewer such cells."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Curve(Brief):
    """A periodic function in arcs of equal cubic cells; the function is smooth within an arc, and may have corners between arcs.

    Parameters
    ----------
    period : float, rad
        Period of the function.
    starts : (k,) float64, rad
        Starts of the arcs, ascending, all within one period.
    widths : (k,) float64, rad
        Widths of the arcs; their sum is one period.
    counts, first : (k,) int64
        Number of cells of each arc, and index of the arc's first cell.
    cells : (c, 4) float64
        Coefficients of 1, t, t**2 and t**3 for each cell; t runs from 0 to 1 across the cell.
    """

    period: float
    starts: Array
    widths: Array
    counts: NDArray[np.int64]
    first: NDArray[np.int64]
    cells: Array

    def locate(self, psi: Array) -> tuple[NDArray[np.int64], Array]:
        """Return, for each angle, the index of the arc that contains the angle, and the position in the arc, in cells."""
        inside = np.mod(psi - self.starts[0], self.period) + self.starts[0]
        arc = np.searchsorted(self.starts, inside, side="right") - 1
        along: Array = (inside - self.starts[arc]) * (self.counts[arc] / self.widths[arc])
        return arc, along

    def _cell(self, psi: Array) -> tuple[Array, Array, Array]:
        """Return, for (n,) angles, rad, the coefficients of their cells, t in these cells, and the number of cells per rad."""
        arc, along = self.locate(psi)
        cell = np.clip(along.astype(np.int64), 0, self.counts[arc] - 1)
        return self.cells[self.first[arc] + cell], along - cell, self.counts[arc] / self.widths[arc]

    def at(self, psi: Array) -> Array:
        """Return the value of the function at (n,) angles, rad."""
        c, t, _ = self._cell(psi)
        value: Array = c[..., 0] + t * (c[..., 1] + t * (c[..., 2] + t * c[..., 3]))
        return value

    def slope(self, psi: Array) -> Array:
        """Return the slope of the function, per rad, at (n,) angles, rad; at a corner, the slope of the following arc."""
        c, t, per = self._cell(psi)
        slope: Array = (c[..., 1] + t * (2 * c[..., 2] + t * 3 * c[..., 3])) * per
        return slope

    def sides(self) -> tuple[Array, Array]:
        """Return the values and the slopes, per rad, at both ends and at the steepest inner point of every cell: (m,) each.

        At a corner, the slopes on both sides are included.
        """
        per = np.repeat(self.counts / self.widths, self.counts)
        c = self.cells.T
        with np.errstate(divide="ignore", invalid="ignore"):
            steepest = -c[2] / (3 * c[3])
        t = np.stack([np.zeros_like(per), np.ones_like(per), np.where((steepest > 0) & (steepest < 1), steepest, 0.0)])
        value = c[0] + t * (c[1] + t * (c[2] + t * c[3]))
        slope = (c[1] + t * (2 * c[2] + t * 3 * c[3])) * per
        return value.ravel(), slope.ravel()

    @property
    def jumps(self) -> Array:
        """Angles, (j,) rad, at which the value jumps by `JUMP_MM` or more from the end of one arc to the start of the next."""
        ends = self.cells[self.first + self.counts - 1].sum(axis=1)
        step = np.abs(self.cells[self.first, 0] - np.roll(ends, 1))
        jumps: Array = self.starts[~(step < JUMP_MM)]
        return jumps

    @property
    def extent(self) -> tuple[float, float]:
        """The least and the greatest value of the function."""
        c = self.cells.T
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(c[2] ** 2 - 3 * c[1] * c[3])
            turning = np.stack([-c[1] / (c[2] + root), -c[1] / (c[2] - root)])
        t = np.concatenate(
            [np.zeros((1, c.shape[1])), np.ones((1, c.shape[1])), np.where((turning > 0) & (turning < 1), turning, 0.0)]
        )
        values = c[0] + t * (c[1] + t * (c[2] + t * c[3]))
        return float(values.min()), float(values.max())


def tabulate(at: Callable[[Array], tuple[Array, Array]], corners: Array, period: float, within: float) -> Curve:
    """Return the spline that interpolates the function ``at``; its error at the middle of each cell is at most ``within``.

    Parameters
    ----------
    at : callable
        The function to interpolate: takes (n,) angles, rad; returns (n,) values and (n,) slopes.
    corners : (k,) float64, rad
        Angles at which the slope or the curvature jumps; in any period and any order.
    period : float, rad
        Period of the function ``at``.
    within : float
        Allowed error, in the unit of the values. An arc that exceeds the allowed error (because its curvature is unbounded at
        one end) is halved repeatedly, until three halvings do not reduce the error.

    Raises
    ------
    PluginError
        If too many cells exceed the allowed error: the slopes are not the derivative of the values, or corners are missing.
    """
    inside = np.sort(np.mod(np.asarray(corners, dtype=np.float64), period))
    starts = np.concatenate([[inside[0]], inside[1:][np.diff(inside) > _NARROWEST * period]]) if inside.size else np.zeros(1)
    if starts.size > 1 and starts[0] + period - starts[-1] <= _NARROWEST * period:
        starts = starts[:-1]
    ends = np.append(starts[1:], starts[0] + period)
    pending = [(a, b, _FEWEST_CELLS, (np.inf,) * 3) for a, b in zip(starts, ends, strict=True)]
    done: list[tuple[float, float, Array]] = []
    while pending:
        if sum(count for _, _, count, _ in pending) > _MOST_COARSE + _MOST_COARSE_PER_CORNER * starts.size:
            raise PluginError("the slope is not the derivative of the shape, or a corner is missing from the list of corners")
        knots = [_knots(a, b, 2 * count) for a, b, count, _ in pending]
        values, slopes = at(np.concatenate([inner for _, inner in knots]))
        after, offset = [], 0
        for (a, b, count, before), (true, inner) in zip(pending, knots, strict=True):
            part = slice(offset, offset + inner.size)
            offset += inner.size
            value = values[part] + slopes[part] * (true - inner)
            cells, misfit = _cubics(value, slopes[part], (b - a) / count)
            if misfit <= within or (count == _MOST_CELLS and misfit > 0.8 * before[0]) or b - a <= _NARROWEST * period:
                done.append((a, b, cells))
            elif count < _MOST_CELLS:
                wanted = int(np.ceil(count * 1.15 * (misfit / within) ** 0.25))
                after.append((a, b, min(max(wanted, 2 * count), _MOST_CELLS), before))
            else:
                middle = 0.5 * (a + b)
                history = (*before[1:], misfit)
                after += [(a, middle, _FEWEST_CELLS, history), (middle, b, _FEWEST_CELLS, history)]
        pending = after
    done.sort(key=lambda arc: arc[0])
    counts = np.array([cells.shape[0] for _, _, cells in done], dtype=np.int64)
    return Curve(
        period=period,
        starts=np.array([a for a, _, _ in done]),
        widths=np.array([b - a for a, b, _ in done]),
        counts=counts,
        first=np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64),
        cells=np.concatenate([cells for _, _, cells in done]),
    )


def _knots(a: float, b: float, count: int) -> tuple[Array, Array]:
    """Return evenly spaced angles, and the same angles with the first and last moved inwards, away from the corners."""
    true = np.linspace(a, b, count + 1)
    inner = true.copy()
    inner[0] += _INSET * (b - a)
    inner[-1] -= _INSET * (b - a)
    return true, inner


def _cubics(value: Array, slope: Array, width: float) -> tuple[Array, float]:
    """Return Hermite cubics through every second point, and their greatest error at the points in between."""
    v, m = value[::2], slope[::2] * width
    rise = np.diff(v)
    cells = np.stack([v[:-1], m[:-1], 3 * rise - 2 * m[:-1] - m[1:], m[:-1] + m[1:] - 2 * rise], axis=-1)
    middle = cells @ np.array([1, 0.5, 0.25, 0.125])
    leaning = cells @ np.array([0, 1, 1, 0.75])
    off = np.abs(middle - value[1::2]).max()
    lean = np.abs(leaning - slope[1::2] * width).max() / 8
    return cells, float(max(off, lean))
