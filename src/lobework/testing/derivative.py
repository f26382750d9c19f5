"""Numerical derivatives with error estimates, and detection of jumps."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["jump_between", "slope_of"]

_CELLS: Final = 256
_EDGES: Final = 0.05
"""Fraction of an interval that is not searched for jumps at either end of the interval: the curvature may be unbounded there."""


def slope_of(at: Callable[[Array], Array], x: Array, step: Array) -> tuple[Array, Array]:
    """Return the slope of the function ``at`` at the points ``x``, (n,), and an estimate of the error of the slope, (n,).

    The slope is the Richardson extrapolation of central differences with the steps ``step`` and ``step / 2``. The error estimate
    is the difference between the extrapolation and the central difference with the smaller step, plus the rounding error.
    """
    wide, narrow = ((at(x + h) - at(x - h)) / (2 * h) for h in (step, step / 2))
    best: Array = (4 * narrow - wide) / 3
    rounding = 4e-16 * np.abs(at(x)) / step
    return best, np.abs(best - narrow) + rounding


def jump_between(slope_at: Callable[[Array], Array], first: float, last: float, order: int, steepest: float) -> float | None:
    """Return the angle between two corners at which the slope (order 1) or curvature (order 2) jumps; None if there is no jump.

    The change from one cell to the next is compared with the change between cells a quarter as wide. The change is proportional
    to the width if the function is smooth, and independent of the width at a jump.
    """
    width = last - first
    low, high = first + _EDGES * width, last - _EDGES * width
    coarse, step = np.linspace(low, high, _CELLS + 1, retstep=True)
    change = _changes(slope_at, coarse, float(step), order)
    scale = steepest if order == 1 else max(float(np.abs(np.diff(slope_at(coarse)) / step).max()), steepest / width)
    for k in np.argsort(-change)[:8].tolist():
        if change[k] <= 0.02 * scale:
            break
        near = np.linspace(coarse[max(k - 1, 0)], coarse[min(k + order + 1, _CELLS)], 4 * (order + 2) + 1)
        fine = _changes(slope_at, near, float(near[1] - near[0]), order)
        if fine.max() > 0.6 * change[k]:
            return _refined_place(slope_at, near, fine, order)
    return None


def _refined_place(slope_at: Callable[[Array], Array], near: Array, fine: Array, order: int) -> float:
    """Return the angle of a jump, by refining the cells around the jump."""
    for _ in range(8):
        k = int(fine.argmax())
        near = np.linspace(near[k], near[k + order], 4 * (order + 2) + 1)
        fine = _changes(slope_at, near, float(near[1] - near[0]), order)
    return float(near[int(fine.argmax()) : int(fine.argmax()) + order + 1].mean())


def _changes(slope_at: Callable[[Array], Array], x: Array, step: float, order: int) -> Array:
    """Return the change of the slope or curvature from each point to the next."""
    found: Array = np.abs(np.diff(slope_at(x), n=order)) / step ** (order - 1)
    return found
