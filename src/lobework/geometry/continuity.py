"""Adaptive sampling of a motion, to find values that are not finite, jumps, and extreme values."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.polynomial import chebyshev

from lobework.geometry.rigid import Array
from lobework.quantities.tolerances import JUMP_MM

__all__ = ["At", "Continuity", "Discontinuity", "all_finite", "continuity_of", "extremes_of", "turn_edges"]

At = Callable[[Array], Array]
"""A motion: a function from (n,) parameter values to (n, k) values, mm."""

_ORDER: Final = 8
_NODES: Final = np.arange(_ORDER + 1) / _ORDER
_DIFFERENCE: Final = np.diff(np.eye(_ORDER + 1), n=_ORDER, axis=0)[0]
"""Weights of the eighth difference of a cell's values. The difference is zero for a polynomial of lower degree. At a jump the
difference is at least as large as the jump."""
_MOST_HALVINGS: Final = 64
_MOST_ROUGH: Final = 16_384
"""Maximum number of cells that are halved at once.

If more cells are to be halved, those with the largest differences are chosen.
"""
_NARROWEST: Final = 1e-11
_ROUNDINGS: Final = 1024
"""Minimum width of a cell, in rounding errors of the parameter."""
_JUMP_SHARE: Final = 0.6
"""Minimum fraction of a cell's total change that occurs between two adjacent nodes if the cell contains a jump. For a linear
function the fraction is 1/8, for a square root about 1/3."""
_MERGE_CELLS: Final = 64
_FRACTIONS: Final = (1440, 256, 100, 7, 11, 13)
"""Numbers of equal parts of a turn at whose ends a mechanism is likely to change its motion: quarters of a degree, and common
divisions of wheels."""
_MOST_CELLS: Final = 16_384
_CELLS_PER_REPEATED_TURN: Final = 16
"""Cells per turn after the first period of a motion that is declared as periodic."""
_FINE: Final = 65
_SAME_MM: Final = 1e-7
_PEAKS: Final = 32
_REFINEMENTS: Final = 3


@dataclass(frozen=True, slots=True)
class Discontinuity:
    """A jump of a motion: a change of the values that does not become smaller as the interval becomes narrower.

    Parameters
    ----------
    before, after : float
        The parameter values before and after the jump.
    size : float, mm
        The largest change of any of the values at the jump.
    """

    before: float
    after: float
    size: float


@dataclass(frozen=True, slots=True)
class Continuity:
    """The result of `continuity_of`: the first value that is not finite, and the jumps.

    Parameters
    ----------
    lost : float or None
        The first parameter value at which a value was not finite; None if all were finite.
    steps : tuple of Discontinuity
        The jumps, in ascending order.
    """

    lost: float | None
    steps: tuple[Discontinuity, ...]


def all_finite(values: Array) -> bool:
    """Return whether all values of an array are finite.

    For speed, the values are tested one by one only if their sum is not finite.

    >>> all_finite(np.array([1.0, -2.0])), all_finite(np.array([np.inf, -np.inf]))
    (True, False)
    """
    with np.errstate(invalid="ignore", over="ignore"):
        return math.isfinite(float(np.sum(values))) or bool(np.isfinite(values).all())


def turn_edges(begin: float, turns: float, period: int = 0, *, finer: int = 1) -> Array:
    """Return the edges of the cells in which a motion is sampled, turns, in ascending order.

    The edges include whole turns and, if the number of turns is small enough, quarters of a degree and other simple fractions.

    Parameters
    ----------
    begin, turns : float
        Start and length of the motion, turns.
    period : int
        Turns after which the motion repeats; only the first period is sampled densely. Zero if it does not repeat.
    finer : int
        Factor by which the number of cells is increased, if the number of turns is small enough.

    Examples
    --------
    >>> edges = turn_edges(0.25, 1.0)
    >>> float(edges[0]), float(edges[-1]), 0.5 in edges, 1.0 in edges, 1.0 + 1 / 7 in edges
    (0.25, 1.25, True, True, True)
    """
    end, most = begin + turns, _MOST_CELLS
    closely = min(turns, period) if period else turns
    whole = np.arange(math.ceil(begin), math.floor(end) + 1, dtype=np.float64)
    if whole.size > most:
        whole = whole[np.linspace(0, whole.size - 1, most).astype(np.int64)]
    parts = [np.array([begin, end]), whole]
    if sum(_FRACTIONS) * closely <= _MOST_CELLS:
        parts += [_multiples(begin, begin + closely, n * finer) for n in _FRACTIONS]
    else:
        parts.append(np.linspace(begin, begin + closely, most + 1))
    if turns > closely:
        parts.append(np.linspace(begin + closely, end, min(math.ceil(_CELLS_PER_REPEATED_TURN * (turns - closely)), most) + 1))
    return np.unique(np.concatenate(parts))


def _multiples(low: float, high: float, n: int) -> Array:
    """Return the multiples of 1/n between two numbers."""
    multiples: Array = np.arange(math.ceil(low * n), math.floor(high * n) + 1) / n
    return multiples


def continuity_of(at: At, edges: Array) -> Continuity:
    """Return the first parameter value at which a motion is not finite, and the jumps of the motion.

    Each cell is sampled at nine nodes. A cell is halved again and again until its values lie on a smooth curve. In narrower cells
    the change caused by a fast motion, a corner or a vertical tangent becomes smooth or small, but a jump keeps its size.

    Parameters
    ----------
    at : callable
        The motion.
    edges : (m + 1,) float64
        Edges of the initial cells, ascending; a jump at an edge is found in the cells on both sides of the edge.

    Examples
    --------
    >>> found = continuity_of(lambda u: np.floor(u + 0.7)[:, None], turn_edges(0.0, 1.0))
    >>> [(round(each.after, 9), each.size) for each in found.steps]
    [(0.3, 1.0)]
    >>> continuity_of(lambda u: np.abs(np.sin(400 * u))[:, None], turn_edges(0.0, 1.0)).steps
    ()
    """
    low, high = (edges[:-1], edges[1:]) if edges.size > 1 else (edges, edges)
    narrowest = max(_NARROWEST, _ROUNDINGS * float(np.spacing(np.abs(edges).max())))
    found: list[Discontinuity] = []
    for _ in range(_MOST_HALVINGS):
        nodes, values = _sampled(at, low, high)
        if not all_finite(values):
            return Continuity(float(nodes[~np.isfinite(values).all(axis=2)].min()), ())
        rough = np.abs(np.einsum("mnk,n->mk", values, _DIFFERENCE)).max(axis=1, initial=0.0)
        halved = np.flatnonzero(~(rough <= JUMP_MM / 2))
        last = high[halved] - low[halved] <= narrowest
        for k in halved[last].tolist():
            found += _jump_in(nodes[k], values[k])
        halved = halved[~last]
        if not halved.size:
            break
        if halved.size > _MOST_ROUGH:
            halved = halved[np.argpartition(-rough[halved], _MOST_ROUGH)[:_MOST_ROUGH]]
        middle = 0.5 * (low[halved] + high[halved])
        low, high = np.concatenate([low[halved], middle]), np.concatenate([middle, high[halved]])
    return Continuity(None, _merged(found, _MERGE_CELLS * narrowest))


def _sampled(at: At, low: Array, high: Array) -> tuple[Array, Array]:
    """Return the nodes of cells, (m, 9), and the values at the nodes, (m, 9, k)."""
    nodes = low[:, None] + (high - low)[:, None] * _NODES
    nodes[:, -1] = high
    values = at(nodes.ravel())
    return nodes, values.reshape(*nodes.shape, -1)


def _jump_in(nodes: Array, values: Array) -> list[Discontinuity]:
    """Return the jump in a narrow cell as a list, which is empty if there is none."""
    steps = np.abs(np.diff(values, axis=0))
    column = int(steps.max(axis=0).argmax())
    worst = int(steps[:, column].argmax())
    size = float(steps[worst, column])
    if size >= JUMP_MM and size >= _JUMP_SHARE * float(np.ptp(values[:, column])):
        return [Discontinuity(float(nodes[worst]), float(nodes[worst + 1]), size)]
    return []


def _merged(steps: list[Discontinuity], within: float) -> tuple[Discontinuity, ...]:
    """Return the jumps in ascending order. If jumps are less than ``within`` apart, keep only the largest."""
    kept: list[Discontinuity] = []
    for step in sorted(steps, key=lambda each: each.before):
        if kept and step.before - kept[-1].after <= within:
            kept[-1] = max(kept[-1], step, key=lambda each: each.size)
        else:
            kept.append(step)
    return tuple(kept)


def extremes_of(at: At, edges: Array) -> tuple[Array, Array]:
    """Return the maximum of each column of a motion, (k,), and its position, (k,).

    For a smooth motion the maximum is accurate to 1e-6.

    Parameters
    ----------
    at : callable
        The motion.
    edges : (m + 1,) float64
        Edges of the initial cells; cells in which the motion is fast are halved.

    Examples
    --------
    >>> most, where = extremes_of(lambda u: np.sin(777 * u)[:, None], turn_edges(0.0, 1.0))
    >>> bool(abs(most[0] - 1.0) < 1e-9)
    True
    """
    low, high = (edges[:-1], edges[1:]) if edges.size > 1 else (edges, edges)
    narrowest = max(_NARROWEST, _ROUNDINGS * float(np.spacing(np.abs(edges).max())))
    done: list[tuple[Array, Array, Array]] = []
    most: Array = np.array(-math.inf)
    for _ in range(_MOST_HALVINGS):
        values = _sampled(at, low, high)[1]
        rough = np.abs(np.einsum("mnk,n->mk", values, _DIFFERENCE)).max(axis=1, initial=0.0)
        range_of = np.ptp(values, axis=1)
        most = np.maximum(most, values.max(axis=(0, 1)))
        candidates = (values.max(axis=1) + range_of + rough[:, None] >= most).any(axis=1) & (range_of.max(axis=1) > _SAME_MM)
        halved = candidates & ~(rough <= JUMP_MM / 2) & (high - low > narrowest)
        if halved.sum() > _MOST_ROUGH:
            least = np.partition(rough[halved], -_MOST_ROUGH)[-_MOST_ROUGH]
            halved &= rough >= least
        done.append((low[~halved], high[~halved], values[~halved]))
        if not halved.any():
            break
        middle = 0.5 * (low[halved] + high[halved])
        low, high = np.concatenate([low[halved], middle]), np.concatenate([middle, high[halved]])
    low, high, values = (np.concatenate(column) for column in zip(*done, strict=True))
    found = [_peak(at, low, high, values[:, :, k], k) for k in range(values.shape[2])]
    return np.array([peak for peak, _ in found]), np.array([where for _, where in found])


def _peak(at: At, low: Array, high: Array, values: Array, column: int) -> tuple[float, float]:
    """Return the maximum of one column and its position, from the cells whose polynomials have the largest maxima."""
    highest = values.max(axis=1)
    candidates = np.flatnonzero(highest + 0.5 * np.ptp(values, axis=1) >= highest.max())
    best = candidates[np.argsort(-(values[candidates] @ _TO_FINE.T).max(axis=1))[:_PEAKS]]
    most, where = -math.inf, float(low[0])
    low, high = low[best], high[best]
    for _ in range(_REFINEMENTS):
        places = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _FINE)
        values = at(places.ravel())[:, column].reshape(places.shape)
        top = values.argmax(axis=1)
        rows = np.arange(top.size)
        k = int(values[rows, top].argmax())
        if values[k, top[k]] > most:
            most, where = float(values[k, top[k]]), float(places[k, top[k]])
        low, high = places[rows, np.maximum(top - 1, 0)], places[rows, np.minimum(top + 1, _FINE - 1)]
    return most, where


def _to_fine() -> Array:
    """Return the matrix that evaluates the interpolating polynomial of a cell's nodes at a fine grid."""
    wide = 2 * np.linspace(0.0, 1.0, _FINE) - 1
    fine: Array = chebyshev.chebvander(wide, _ORDER) @ np.linalg.inv(chebyshev.chebvander(2 * _NODES - 1, _ORDER))
    return fine


_TO_FINE: Final = _to_fine()
