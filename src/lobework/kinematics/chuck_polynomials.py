"""A stack of chucks as polynomials of the spindle's turns, so that the compiled path need not ask each chuck for each sample."""

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

__all__ = ["A_TURN", "PolynomialPieces", "in_pieces", "period_turns"]

Chucks = Callable[[Array], Rigid]
Whole = NDArray[np.int64]

A_TURN: Final = 1.0
"""Pieces to begin with in one turn of the spindle."""
_TERMS: Final = 24
_FEW: Final = 8
"""Terms of narrow pieces, where samples are many."""
_MANY: Final = 64
_MOST_PARTS: Final = 128
_AT_ONCE: Final = 96
_WORTH: Final = 48
"""Samples from which a piece is worth asking the chucks for: it takes 37 places of theirs to make and to try."""
_SHARE_MM: Final = STACK_MM / 2
"""What the waves of a piece may miss, and what its parts of few terms may miss besides."""
_EPS: Final = float(np.finfo(np.float64).eps)

_NODES: Final = np.cos(np.pi * (np.arange(_TERMS) + 0.5) / _TERMS)
_TRIALS: Final = np.cos(2 * np.pi * np.arange(_TERMS // 2 + 1) / _TERMS)
_PLACES: Final = np.concatenate([_NODES, _TRIALS])
_TILT: Final = np.array([2, 5, 6, 7])
_OPPOSITE: Final = np.array([1.0, -1.0])[:, None, None]
_PLANE: Final = np.array([0, 3, 9, 10, 11])
_NOWHERE: Final = np.zeros(0)


def _to_waves(nodes: Array) -> Array:
    """Return the matrix from values at Chebyshev's places to the waves (his polynomials) that add up to them."""
    waves: Array = chebyshev.chebvander(nodes, nodes.size - 1) * np.append(1.0, np.full(nodes.size - 1, 2.0)) / nodes.size
    return waves


def _to_powers(terms: int) -> Array:
    """Return the matrix from so many waves to powers."""
    return np.stack([np.pad(chebyshev.cheb2poly(wave), (0, terms - 1 - k)) for k, wave in enumerate(np.eye(terms))])


_TO_WAVES: Final = _to_waves(_NODES)
_TO_TRIALS: Final = chebyshev.chebvander(_TRIALS, _TERMS - 1).T
_TO_POWERS: Final = _to_powers(_TERMS)


@cache
def _to_parts(parts: int) -> tuple[Array, Array]:
    """Return the matrix from waves to the few powers of each of a piece's equal parts, and how much of each they may miss."""
    middles = (2 * np.arange(parts) + 1 - parts) / parts
    inside = chebyshev.chebvander((middles[:, None] + _NODES / parts).ravel(), _TERMS - 1).reshape(parts, _TERMS, _TERMS)
    waves = inside.transpose(0, 2, 1) @ _TO_WAVES
    powers = waves[..., :_FEW] @ _to_powers(_FEW)
    return powers.transpose(1, 0, 2).reshape(_TERMS, -1), np.abs(waves[..., _FEW:]).sum(axis=-1).max(axis=0)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class PolynomialPieces(Brief):
    """Where the work stands on the spindle, piece by piece.

    Parameters
    ----------
    edges : (m + 1,) float64, turns
        Between which the pieces lie.
    which : (m,) int64
        Whose polynomials each piece takes; -1 where none were found, or asking for the samples themselves is quicker.
    terms : (k, 5 or 12, 8 or 24) float64
        Of the cosine and sine of its turn and its shift, where the work only turns about the spindle's axis; otherwise of
        its rotation's nine and the shift. Powers of t, which goes from -1 to 1 across the piece.
    moves : (5 or 12,) bool
        Which of them are no constants.
    a_turn : float
        How many of those that have a polynomial go in a turn, most of them, before they are parted; 0 where none has.
    """

    edges: Array
    which: Whole
    terms: Array
    moves: NDArray[np.bool_]
    a_turn: float

    @property
    def deepens(self) -> bool:
        """Whether they may change how deep a point is."""
        return self.moves.size > _PLANE.size or bool(self.moves[-1])


def period_turns(chucks: Chucks, stated: int, turns: float, reach: float) -> int:
    """Return after how many turns a stack repeats itself, 0 where it does not within ``turns``: as stated, where that is true."""
    if not 0 < stated < turns:
        return 0
    tried = stated * (np.arange(16 * stated) + 0.3) / (16 * stated)
    times = np.linspace(1, max(turns // stated - 1, 1), tried.size).round()
    first, later = _places(chucks, tried), _places(chucks, tried + times * stated)
    off = _apart(first - later, reach + np.abs(first[9:]).max())
    return stated if off.max() <= STACK_MM + 64 * _EPS * turns * 2 * math.pi * reach else 0


def in_pieces(
    chucks: Chucks,
    low: float,
    high: float,
    reach: float,
    samples: Callable[[Array], Whole],
    a_turn: float = A_TURN,
    tried: Array = _NOWHERE,
) -> PolynomialPieces:
    """Return a stack of chucks as polynomials that keep within `STACK_MM`, apart from rounding.

    Parameters
    ----------
    chucks : callable
        Spindle angles, (n,) rad, to where the work stands on the spindle.
    low, high : float, turns
        From where to where.
    reach : float, mm
        How far from the spindle's nose a point may be that is carried through them.
    samples : callable
        How many samples come before (n,) turns: a piece of few is not worth it.
    a_turn : float
        How many pieces to begin with; those in which no polynomial is near enough are halved again and again.
    tried : (m,) float64, turns
        In order, where polynomials must be near enough besides: where a path that was looked at closely bends.
    """
    edges = np.linspace(low, high, math.ceil((high - low) * a_turn) + 1)
    start, end = edges[:-1], edges[1:]
    begins, which, kept = [np.zeros(0)], [np.zeros(0, dtype=np.int64)], [np.zeros((0, 12, _TERMS))]
    first = _places(chucks, np.array([low]))
    tilts, moves, found = False, np.zeros(12, dtype=bool), 0
    while start.size:
        worth = samples(end) - samples(start) >= _WORTH
        begins.append(start[~worth])
        which.append(np.full(begins[-1].size, -1))
        start, end = start[worth], end[worth]
        near = np.zeros(start.size, dtype=bool)
        for part in (slice(k, k + _AT_ONCE) for k in range(0, start.size, _AT_ONCE)):
            waves, near[part], moving, tilting = _fitted(chucks, start[part], end[part], reach, first, tried)
            tilts |= tilting
            moves |= moving
            kept.append(waves[near[part]])
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
    waves = np.concatenate(kept)[:, used]
    known = np.diff(edges)[place >= 0]
    inside = int((samples(edges[1:]) - samples(edges[:-1]))[place >= 0].sum())
    parts = _parts(waves, used, reach, inside)
    if parts > 1:
        few = waves[:, moves[used]].reshape(-1, _TERMS) @ _to_parts(parts)[0]
        parted = np.zeros((len(waves), parts, used.size, _FEW))
        parted[..., 0] = waves[:, None, :, 0]
        parted[:, :, moves[used]] = few.reshape(len(waves), -1, parts, _FEW).swapaxes(1, 2)
        terms = parted.reshape(-1, used.size, _FEW)
        count = np.where(place >= 0, parts, 1)
        number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        edges = np.append(np.repeat(edges[:-1], count) + number * np.repeat(np.diff(edges) / count, count), high)
        place = np.where(np.repeat(place, count) >= 0, np.repeat(place * parts, count) + number, -1)
    else:
        terms = waves @ _TO_POWERS
    return PolynomialPieces(edges, place, terms, moves[used], float(1 / np.median(known)) if known.size else 0.0)


def _parts(waves: Array, used: Whole, reach: float, samples: int) -> int:
    """Return into how many parts to divide every piece, so that a few terms do in each; 1 where samples are too few for that."""
    far = reach + np.abs(waves[:, -3:, 0]).max(initial=0.0)
    most = np.zeros((12, _TERMS))
    most[used] = np.abs(waves).max(axis=0, initial=0.0)
    parts = 2
    while parts <= _MOST_PARTS and samples >= _MANY * parts * len(waves) > 0:
        if _apart(most @ _to_parts(parts)[1], 2 * far) <= _SHARE_MM:
            return parts
        parts *= 2
    return 1


def _places(chucks: Chucks, u: Array) -> Array:
    """Return where the work stands at (n,) turns: (12, n), the rotation's rows and the shift."""
    standing = chucks(2 * math.pi * u)
    places = np.zeros((12, u.size))
    places[:9], places[9:] = standing.rotation.reshape(-1, 9).T, standing.shift.T
    return places


def _apart(difference: Array, reach: Array | float) -> Array:
    """Return how far apart (12, ...) differences of place put points as far away as ``reach``, mm."""
    square = difference * difference
    apart: Array = np.sqrt(square[:9].sum(axis=0)) * reach + np.sqrt(square[9:].sum(axis=0))
    return apart


def _fitted(
    chucks: Chucks, start: Array, end: Array, reach: float, first: Array, tried: Array
) -> tuple[Array, NDArray[np.bool_], NDArray[np.bool_], bool]:
    """Return each piece's waves, (m, 12, 24), in which they are near enough, which of the twelve move, and any tilt.

    The places through which they go are Chebyshev's, and they are tried where a polynomial through those is worst, and at
    ``tried`` besides.
    """
    half, middle = 0.5 * (end - start), 0.5 * (start + end)
    turns = middle[:, None] + half[:, None] * _PLACES
    places = _places(chucks, turns.ravel())
    moves = (places != first).any(axis=1)
    places = places.reshape(12, *turns.shape)
    waves = places[moves, :, :_TERMS] @ _TO_WAVES
    off = np.zeros((12, start.size, _TRIALS.size))
    off[moves] = waves @ _TO_TRIALS - places[moves, :, _TERMS:]
    far = reach + np.abs(places[9:]).max(axis=(0, 2))
    steps = _apart(np.diff(places[:, :, :_TERMS], axis=2), far[:, None])
    speed = (steps / -np.diff(_NODES)).max(axis=1) / half
    rounding = _EPS * (32 * far + 2 * np.maximum(np.abs(start), np.abs(end)) * speed)
    every = np.zeros((start.size, 12, _TERMS))
    every[..., 0] = first[:, 0]
    every[:, moves] = waves.transpose(1, 0, 2)
    near = _apart(off, far[:, None]).max(axis=1) <= _SHARE_MM + rounding
    before = np.searchsorted(tried, start)
    count = np.where(near, np.searchsorted(tried, end) - before, 0)
    piece = np.repeat(np.arange(start.size), count)
    if piece.size:
        u = tried[np.repeat(before - np.cumsum(count) + count, count) + np.arange(piece.size)]
        said = np.einsum("kfw,kw->fk", every[piece], chebyshev.chebvander((u - middle[piece]) / half[piece], _TERMS - 1))
        holder = _apart(said - _places(chucks, u), far[piece]) <= _SHARE_MM + rounding[piece]
        near[piece[~holder]] = False
    square = np.abs(places[[0, 1]] - places[[4, 3]] * _OPPOSITE).max() <= 4 * _EPS
    return every, near, moves, bool(places[_TILT].any()) or not square
