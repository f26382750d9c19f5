"""Interpolation of heights and slopes between the rays of a grid, by cubic splines through them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.rigid import Array
from lobework.text.brief import Brief

__all__ = ["Taps", "heights", "taps", "values"]

Grid = NDArray[np.floating[Any]]

_BAND: Final = 32
"""Number of rows that are processed together, so that they stay in the cache."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Taps(Brief):
    """The four grid points next to each position on an axis, and their weights for value and slope: (4, n) each."""

    index: NDArray[np.intp]
    value: Grid
    slope: Grid


def taps(place: Array, count: int, *, wraps: bool) -> Taps:
    """Return the interpolation taps of positions, which are given in grid steps from the first ray.

    Source: E. Catmull and R. Rom, "A class of local interpolating splines", 1974 (the uniform cubic).
    """
    first = np.floor(place).astype(np.intp)
    t = place - first
    value = 0.5 * np.stack([-t + 2 * t**2 - t**3, 2 - 5 * t**2 + 3 * t**3, t + 4 * t**2 - 3 * t**3, -(t**2) + t**3])
    slope = 0.5 * np.stack([-1 + 4 * t - 3 * t**2, -10 * t + 9 * t**2, 1 + 8 * t - 9 * t**2, -2 * t + 3 * t**2])
    index = first + np.arange(-1, 3)[:, None]
    index = index % count if wraps else np.clip(index, 0, count - 1)
    return Taps(index, value.astype(np.float32), slope.astype(np.float32))


def _down(grid: Grid, index: NDArray[np.intp], weight: Grid) -> Grid:
    found = np.zeros((index.shape[1], grid.shape[1]), dtype=np.float32)
    for top in range(0, len(found), _BAND):
        band = slice(top, top + _BAND)
        for k in range(4):
            part = grid[index[k, band]]
            part *= weight[k, band, None]
            found[band] += part
    return found


def _across(grid: Grid, index: NDArray[np.intp], weight: Grid) -> Grid:
    found = np.zeros((grid.shape[0], index.shape[1]), dtype=np.float32)
    for top in range(0, len(found), _BAND):
        band = slice(top, top + _BAND)
        for k in range(4):
            part = grid[band].take(index[k], axis=1)
            part *= weight[k]
            found[band] += part
    return found


def heights(grid: Grid, rows: Taps, columns: Taps) -> tuple[Grid, Grid, Grid]:
    """Return the values of a grid and its slopes along rows and columns, per grid step, at the given rows and columns."""
    value, slope = _across(grid, columns.index, columns.value), _across(grid, columns.index, columns.slope)
    return _down(value, rows.index, rows.value), _down(value, rows.index, rows.slope), _down(slope, rows.index, rows.value)


def values(grid: Grid, rows: Taps, columns: Taps) -> Grid:
    """Return the values of a grid at the given rows and columns."""
    return _down(_across(grid, columns.index, columns.value), rows.index, rows.value)
