"""The path on the work that straight moves of the axes come to, sampled as finely as it bends."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Ints = NDArray[np.int64]

__all__ = ["Place", "Samples", "TooFarError", "sampled"]

Place = Callable[["Array"], "Array"]
"""Where the axes stand, (n, k), to where the tip is on the work, (n, 3) mm."""

_CHUNK: Final = 8192
_QUARTERS: Final = np.array([0.25, 0.5, 0.75])
_MOST_HALVINGS: Final = 16
_MOST_PIECES: Final = 1_000_000
_MOST_SAMPLES: Final = 10_000_000
_ROUGH: Final = 0.3
_LOPSIDED: Final = 3.0


class TooFarError(Exception):
    """A move goes so far that nobody could look at all of it; ``move`` is which."""

    def __init__(self, move: int) -> None:
        self.move = move
        super().__init__(move)


class Samples(NamedTuple):
    """Places on the work, in the order that they are cut.

    ``points``: (n, 3) mm. ``move``: (n,), the move that ends or passes there. ``part``: (n,), how much of it is done.
    """

    points: Array
    move: Ints
    part: Array


def sampled(place: Place, start: Array, end: Array, pieces: Ints, chord: float, span: float = math.inf) -> Samples:
    """Return places along (n, k) moves so near together that the path strays no more than ``chord``, mm, between them.

    Each move gives its own beginning first, and its end last.

    Parameters
    ----------
    place : callable
        The lathe's model.
    start, end : (n, k) float64
        Of each move, straight in the space of the axes.
    pieces : (n,) int64
        In how many pieces to look at each at first; in each of them the path should bend one way.
    chord : float, mm
        How far it may stray.
    span : float, mm
        How far apart they may be.

    Raises
    ------
    TooFarError
        Where that takes more places than can be kept.
    """
    if not pieces.sum(dtype=np.float64) <= _MOST_PIECES:
        raise TooFarError(int(pieces.argmax()))
    if not pieces.size:
        return Samples(np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros(0))
    move = np.repeat(np.arange(pieces.size), pieces)
    k = np.arange(move.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    low = k / pieces[move]
    width = 1 / pieces[move]
    way = end - start

    def at(move: Ints, part: Array) -> Array:
        chunks = (slice(j, j + _CHUNK) for j in range(0, max(move.size, 1), _CHUNK))
        return np.concatenate([place(start[move[each]] + part[each, None] * way[move[each]]) for each in chunks])

    done: list[tuple[Ints, Array, Array, Ints]] = []
    first = at(move, low)
    closes = np.append(np.diff(move) > 0, True)
    last = np.roll(first, -1, axis=0)
    last[closes] = at(move[closes], np.ones(pieces.size))
    for halvings in range(_MOST_HALVINGS + 1):
        inner = at(np.repeat(move, 3), (low[:, None] + width[:, None] * _QUARTERS).ravel()).reshape(-1, 3, 3)
        five = np.concatenate([first[:, None], inner, last[:, None]], axis=1)
        bends = np.linalg.norm(five[:, :-2] - 2 * five[:, 1:-1] + five[:, 2:], axis=2)
        curls = np.linalg.norm(five[:, 0] - 4 * five[:, 1] + 6 * five[:, 2] - 4 * five[:, 3] + five[:, 4], axis=1)
        most = bends.max(axis=1)
        bent = np.ceil(1.05 * np.sqrt(2 * most / chord))
        wanted = np.maximum(np.maximum(bent, np.ceil(np.linalg.norm(np.diff(five, axis=1), axis=2).sum(axis=1) / span)), 1)
        if not wanted.sum() <= _MOST_SAMPLES:
            raise TooFarError(int(np.bincount(move, wanted).argmax()))
        steps = wanted.astype(np.int64)
        uneven = (bent > 4) & ((most > _LOPSIDED * bends.min(axis=1)) | (curls > _ROUGH * most))
        uneven &= halvings < _MOST_HALVINGS
        done.append((move[~uneven], low[~uneven], width[~uneven], steps[~uneven]))
        if not uneven.any():
            break
        half = 0.5 * width[uneven]
        move, low, width = np.tile(move[uneven], 2), np.concatenate([low[uneven], low[uneven] + half]), np.tile(half, 2)
        middle = five[uneven, 2]
        first, last = np.concatenate([five[uneven, 0], middle]), np.concatenate([middle, five[uneven, 4]])
    move, low, width, steps = (np.concatenate(column) for column in zip(*done, strict=True))
    order = np.lexsort((low, move))
    return _laid_out(at, move[order], low[order], width[order], steps[order])


def _laid_out(at: Callable[[Ints, Array], Array], move: Ints, low: Array, width: Array, steps: Ints) -> Samples:
    """Return the samples of pieces, each in so many steps; a move's own end comes after those of its last piece."""
    closes = np.append(np.diff(move) > 0, True)
    counts = steps + closes
    which = np.repeat(np.arange(move.size), counts)
    step = np.arange(which.size) - np.repeat(np.cumsum(counts) - counts, counts)
    part = low[which] + width[which] * step / steps[which]
    part[step == steps[which]] = 1.0
    return Samples(at(move[which], part), move[which], part)
