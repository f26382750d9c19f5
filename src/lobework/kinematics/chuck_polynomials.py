"""A stack of chucks as polynomials of the spindle's turns, so that the compiled loop need not call each chuck for each sample."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from lobework.geometry.rigid import Array, Rigid
from lobework.quantities.tolerances import STACK_MM
from lobework.text.brief import Brief

__all__ = ["A_TURN", "PolynomialPieces", "fit_pieces", "period_turns"]

Chucks = Callable[[Array], Rigid]
Whole = NDArray[np.int64]

A_TURN: Final = 1.0
"""Initial number of pieces per turn of the spindle."""
_TERMS: Final = 24
"""Number of coefficients of the polynomial that is fitted to a piece."""
_SHORT_TERMS: Final = 8
"""Number of coefficients of the polynomials of subdivided pieces."""
_SAMPLES_PER_PART: Final = 64
"""Least mean number of samples in each part of a subdivided piece."""
_MOST_PARTS: Final = 128
_PIECES_PER_BATCH: Final = 96
_LEAST_SAMPLES: Final = 48
"""Least number of samples for which a polynomial is fitted: fit and test take 37 evaluations of the chucks."""
_ERROR_SHARE_MM: Final = STACK_MM / 2
"""Allowed error of a fitted polynomial; the subdivision into polynomials of fewer terms may add the same error again."""
_EPS: Final = float(np.finfo(np.float64).eps)

_NODES: Final = np.cos(np.pi * (np.arange(_TERMS) + 0.5) / _TERMS)
_TESTS: Final = np.cos(2 * np.pi * np.arange(_TERMS // 2 + 1) / _TERMS)
_NODES_AND_TESTS: Final = np.concatenate([_NODES, _TESTS])
_TILT: Final = np.array([2, 5, 6, 7])
_OPPOSITE: Final = np.array([1.0, -1.0])[:, None, None]
_PLANE: Final = np.array([0, 3, 9, 10, 11])
_NO_POINTS: Final = np.zeros(0)


def _chebyshev_matrix(nodes: Array) -> Array:
    """Return the matrix that maps values at Chebyshev nodes to the coefficients of Chebyshev polynomials."""
    coefficients: Array = chebyshev.chebvander(nodes, nodes.size - 1) * np.append(1.0, np.full(nodes.size - 1, 2.0)) / nodes.size
    return coefficients


def _power_matrix(terms: int) -> Array:
    """Return the matrix that maps ``terms`` coefficients of Chebyshev polynomials to coefficients of powers."""
    return np.stack([np.pad(chebyshev.cheb2poly(unit), (0, terms - 1 - k)) for k, unit in enumerate(np.eye(terms))])


_CHEBYSHEV_MATRIX: Final = _chebyshev_matrix(_NODES)
_TEST_MATRIX: Final = chebyshev.chebvander(_TESTS, _TERMS - 1).T
_POWER_MATRIX: Final = _power_matrix(_TERMS)


@cache
def _subdivision(parts: int) -> tuple[Array, Array]:
    """Return the matrix that maps Chebyshev coefficients of a piece to short power series of its equal parts, and error bounds.

    The error bounds are (24,): the largest error per unit of each coefficient.
    """
    middles = (2 * np.arange(parts) + 1 - parts) / parts
    inside = chebyshev.chebvander((middles[:, None] + _NODES / parts).ravel(), _TERMS - 1).reshape(parts, _TERMS, _TERMS)
    coefficients = inside.transpose(0, 2, 1) @ _CHEBYSHEV_MATRIX
    powers = coefficients[..., :_SHORT_TERMS] @ _power_matrix(_SHORT_TERMS)
    return powers.transpose(1, 0, 2).reshape(_TERMS, -1), np.abs(coefficients[..., _SHORT_TERMS:]).sum(axis=-1).max(axis=0)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class PolynomialPieces(Brief):
    """The pose of the work on the spindle as piecewise polynomials.

    Parameters
    ----------
    edges : (m + 1,) float64, turns
        Boundaries of the pieces.
    which : (m,) int64
        Index into ``terms`` for each piece; -1 if no polynomial is accurate enough, or if direct evaluation is faster.
    terms : (k, 5 or 12, 8 or 24) float64
        Coefficients of powers of t, which runs from -1 to 1 across the piece. There are five functions if the work only turns
        about the spindle's axis (cosine and sine of its angle, and the shift), otherwise twelve (rotation matrix and shift).
    moves : (5 or 12,) bool
        Which of these functions are not constant.
    pieces_per_turn : float
        Reciprocal of the median length of the fitted pieces, before subdivision; 0 if no piece is fitted.
    """

    edges: Array
    which: Whole
    terms: Array
    moves: NDArray[np.bool_]
    pieces_per_turn: float

    @property
    def deepens(self) -> bool:
        """Whether the transformation by the pose may change the z of a point."""
        return self.moves.size > _PLANE.size or bool(self.moves[-1])


def period_turns(chucks: Chucks, stated: int, turns: float, reach: float) -> int:
    """Return the period of a stack, turns: ``stated`` if below ``turns`` and confirmed by samples of the pose, otherwise 0."""
    if not 0 < stated < turns:
        return 0
    u = stated * (np.arange(16 * stated) + 0.3) / (16 * stated)
    periods = np.linspace(1, max(turns // stated - 1, 1), u.size).round()
    first, later = _poses(chucks, u), _poses(chucks, u + periods * stated)
    off = _distance(first - later, reach + np.abs(first[9:]).max())
    return stated if off.max() <= STACK_MM + 64 * _EPS * turns * 2 * math.pi * reach else 0


def fit_pieces(
    chucks: Chucks,
    low: float,
    high: float,
    reach: float,
    samples: Callable[[Array], Whole],
    pieces_per_turn: float = A_TURN,
    bends: Array = _NO_POINTS,
) -> PolynomialPieces:
    """Return the polynomials of a stack of chucks; their error is at most `STACK_MM`, apart from rounding.

    Parameters
    ----------
    chucks : callable
        Function from (n,) spindle angles, rad, to the poses of the work on the spindle.
    low, high : float, turns
        Range in which the polynomials are fitted.
    reach : float, mm
        Greatest distance from the spindle's nose of the points to be transformed.
    samples : callable
        Function from (n,) turns to the number of samples before each of these; pieces with few samples are not fitted.
    pieces_per_turn : float
        Initial number of pieces per turn. A piece whose polynomial is not accurate enough is halved, repeatedly if necessary.
    bends : (m,) float64, turns
        Additional points, ascending, at which the polynomials are tested: boundaries of the spans of the path's sampling.
    """
    edges = np.linspace(low, high, math.ceil((high - low) * pieces_per_turn) + 1)
    start, end = edges[:-1], edges[1:]
    begins, which, kept = [np.zeros(0)], [np.zeros(0, dtype=np.int64)], [np.zeros((0, 12, _TERMS))]
    first = _poses(chucks, np.array([low]))
    tilts, moves, found = False, np.zeros(12, dtype=bool), 0
    while start.size:
        sampled = samples(end) - samples(start) >= _LEAST_SAMPLES
        begins.append(start[~sampled])
        which.append(np.full(begins[-1].size, -1))
        start, end = start[sampled], end[sampled]
        near = np.zeros(start.size, dtype=bool)
        for part in (slice(k, k + _PIECES_PER_BATCH) for k in range(0, start.size, _PIECES_PER_BATCH)):
            coefficients, near[part], moving, tilting = _fitted(chucks, start[part], end[part], reach, first, bends)
            tilts |= tilting
            moves |= moving
            kept.append(coefficients[near[part]])
        begins.append(start[near])
        which.append(found + np.arange(begins[-1].size))
        found += begins[-1].size
        start, end = start[~near], end[~near]
        middle = 0.5 * (start + end)
        start, end = np.concatenate([start, middle]), np.concatenate([middle, end])
    begin = np.concatenate(begins)
    order = np.argsort(begin)
    edges, place = np.append(begin[order], high), np.concatenate(which)[order]
    used = np.arange(12) if tilts else _PLANE
    coefficients = np.concatenate(kept)[:, used]
    known = np.diff(edges)[place >= 0]
    inside = int((samples(edges[1:]) - samples(edges[:-1]))[place >= 0].sum())
    parts = _part_count(coefficients, used, reach, inside)
    if parts > 1:
        short = coefficients[:, moves[used]].reshape(-1, _TERMS) @ _subdivision(parts)[0]
        divided = np.zeros((len(coefficients), parts, used.size, _SHORT_TERMS))
        divided[..., 0] = coefficients[:, None, :, 0]
        divided[:, :, moves[used]] = short.reshape(len(coefficients), -1, parts, _SHORT_TERMS).swapaxes(1, 2)
        terms = divided.reshape(-1, used.size, _SHORT_TERMS)
        count = np.where(place >= 0, parts, 1)
        number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        edges = np.append(np.repeat(edges[:-1], count) + number * np.repeat(np.diff(edges) / count, count), high)
        place = np.where(np.repeat(place, count) >= 0, np.repeat(place * parts, count) + number, -1)
    else:
        terms = coefficients @ _POWER_MATRIX
    return PolynomialPieces(edges, place, terms, moves[used], float(1 / np.median(known)) if known.size else 0.0)


def _part_count(coefficients: Array, used: Whole, reach: float, samples: int) -> int:
    """Return the number of parts per piece that makes short polynomials accurate enough; 1 if there are too few samples."""
    far = reach + np.abs(coefficients[:, -3:, 0]).max(initial=0.0)
    most = np.zeros((12, _TERMS))
    most[used] = np.abs(coefficients).max(axis=0, initial=0.0)
    parts = 2
    while parts <= _MOST_PARTS and samples >= _SAMPLES_PER_PART * parts * len(coefficients) > 0:
        if _distance(most @ _subdivision(parts)[1], 2 * far) <= _ERROR_SHARE_MM:
            return parts
        parts *= 2
    return 1


def _poses(chucks: Chucks, u: Array) -> Array:
    """Return the pose of the work on the spindle at (n,) turns: (12, n), the rows of the rotation matrix and the shift."""
    standing = chucks(2 * math.pi * u)
    places = np.zeros((12, u.size))
    places[:9], places[9:] = standing.rotation.reshape(-1, 9).T, standing.shift.T
    return places


def _distance(difference: Array, reach: Array | float) -> Array:
    """Return an upper bound of the distance, mm, between the images of a point under two poses that differ by ``difference``.

    The point is at most ``reach`` mm from the spindle's nose.
    """
    square = difference * difference
    distance: Array = np.sqrt(square[:9].sum(axis=0)) * reach + np.sqrt(square[9:].sum(axis=0))
    return distance


def _fitted(
    chucks: Chucks, start: Array, end: Array, reach: float, first: Array, bends: Array
) -> tuple[Array, NDArray[np.bool_], NDArray[np.bool_], bool]:
    """Return the coefficients of each piece, which pieces are accurate enough, which functions vary, and whether the work tilts.

    The coefficients are (m, 12, 24). The polynomials interpolate at Chebyshev nodes. They are tested at the points at which
    such an interpolation is least accurate, and at the points ``bends``.
    """
    half, middle = 0.5 * (end - start), 0.5 * (start + end)
    turns = middle[:, None] + half[:, None] * _NODES_AND_TESTS
    places = _poses(chucks, turns.ravel())
    moves = (places != first).any(axis=1)
    places = places.reshape(12, *turns.shape)
    coefficients = places[moves, :, :_TERMS] @ _CHEBYSHEV_MATRIX
    off = np.zeros((12, start.size, _TESTS.size))
    off[moves] = coefficients @ _TEST_MATRIX - places[moves, :, _TERMS:]
    far = reach + np.abs(places[9:]).max(axis=(0, 2))
    steps = _distance(np.diff(places[:, :, :_TERMS], axis=2), far[:, None])
    speed = (steps / -np.diff(_NODES)).max(axis=1) / half
    rounding = _EPS * (32 * far + 2 * np.maximum(np.abs(start), np.abs(end)) * speed)
    every = np.zeros((start.size, 12, _TERMS))
    every[..., 0] = first[:, 0]
    every[:, moves] = coefficients.transpose(1, 0, 2)
    near = _distance(off, far[:, None]).max(axis=1) <= _ERROR_SHARE_MM + rounding
    before = np.searchsorted(bends, start)
    count = np.where(near, np.searchsorted(bends, end) - before, 0)
    piece = np.repeat(np.arange(start.size), count)
    if piece.size:
        u = bends[np.repeat(before - np.cumsum(count) + count, count) + np.arange(piece.size)]
        fitted = np.einsum("kfw,kw->fk", every[piece], chebyshev.chebvander((u - middle[piece]) / half[piece], _TERMS - 1))
        accurate = _distance(fitted - _poses(chucks, u), far[piece]) <= _ERROR_SHARE_MM + rounding[piece]
        near[piece[~accurate]] = False
    square = np.abs(places[[0, 1]] - places[[4, 3]] * _OPPOSITE).max() <= 4 * _EPS
    return every, near, moves, bool(places[_TILT].any()) or not square
