"""Samples of the path on the work that results from straight moves of the axes; their spacing follows the curvature."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Ints = NDArray[np.int64]

__all__ = ["Place", "Samples", "TooFarError", "sample"]

Place = Callable[["Array"], "Array"]
"""Function from positions of the axes, (n, k), to positions of the tip on the work, (n, 3) mm."""

_CHUNK: Final = 8192
_QUARTERS: Final = np.array([0.25, 0.5, 0.75])
_MOST_HALVINGS: Final = 16
_MOST_PIECES: Final = 1_000_000
_MOST_SAMPLES: Final = 10_000_000
_MOST_FOURTH: Final = 0.3
_MOST_RATIO: Final = 3.0


class TooFarError(Exception):
    """A move that is too long to be sampled; ``move`` is its index."""

    def __init__(self, move: int) -> None:
        self.move = move
        super().__init__(move)


class Samples(NamedTuple):
    """Sampled positions on the work, in the order in which they are cut.

    ``points``: (n, 3) mm. ``move``: (n,), index of the move of each sample. ``part``: (n,), fraction of the move, 0 to 1.
    """

    points: Array
    move: Ints
    part: Array


def sample(place: Place, start: Array, end: Array, pieces: Ints, chord: float, span: float = math.inf) -> Samples:
    """Return samples of the path of (n, k) moves; between two samples the path deviates from the chord by ``chord``, mm, at most.

    The samples of a move begin with its start, and end with its end.

    Parameters
    ----------
    place : callable
        The lathe's model.
    start, end : (n, k) float64
        Start and end of each move, which is straight in the space of the axes.
    pieces : (n,) int64
        Number of equal pieces into which each move is first divided. The path in a piece should have no inflection.
    chord : float, mm
        Greatest deviation of the path from the chord between two samples.
    span : float, mm
        Greatest distance between two samples.

    Raises
    ------
    TooFarError
        If more samples are needed than fit into memory.
    """
    if not pieces.sum(dtype=np.float64) <= _MOST_PIECES:
        raise TooFarError(int(pieces.argmax()))
    if not pieces.size:
        return Samples(np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros(0))
    move = np.repeat(np.arange(pieces.size), pieces)
    k = np.arange(move.size) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    low = k / pieces[move]
    width = 1 / pieces[move]
    travel = end - start

    def at(move: Ints, part: Array) -> Array:
        chunks = (slice(j, j + _CHUNK) for j in range(0, max(move.size, 1), _CHUNK))
        return np.concatenate([place(start[move[each]] + part[each, None] * travel[move[each]]) for each in chunks])

    done: list[tuple[Ints, Array, Array, Ints]] = []
    first = at(move, low)
    closes = np.append(np.diff(move) > 0, True)
    last = np.roll(first, -1, axis=0)
    last[closes] = at(move[closes], np.ones(pieces.size))
    for halvings in range(_MOST_HALVINGS + 1):
        inner = at(np.repeat(move, 3), (low[:, None] + width[:, None] * _QUARTERS).ravel()).reshape(-1, 3, 3)
        five = np.concatenate([first[:, None], inner, last[:, None]], axis=1)
        second = np.linalg.norm(five[:, :-2] - 2 * five[:, 1:-1] + five[:, 2:], axis=2)
        fourth = np.linalg.norm(five[:, 0] - 4 * five[:, 1] + 6 * five[:, 2] - 4 * five[:, 3] + five[:, 4], axis=1)
        most = second.max(axis=1)
        steps_for_chord = np.ceil(1.05 * np.sqrt(2 * most / chord))
        wanted = np.maximum(
            np.maximum(steps_for_chord, np.ceil(np.linalg.norm(np.diff(five, axis=1), axis=2).sum(axis=1) / span)), 1
        )
        if not wanted.sum() <= _MOST_SAMPLES:
            raise TooFarError(int(np.bincount(move, wanted).argmax()))
        steps = wanted.astype(np.int64)
        divide = (steps_for_chord > 4) & ((most > _MOST_RATIO * second.min(axis=1)) | (fourth > _MOST_FOURTH * most))
        divide &= halvings < _MOST_HALVINGS
        done.append((move[~divide], low[~divide], width[~divide], steps[~divide]))
        if not divide.any():
            break
        half = 0.5 * width[divide]
        move, low, width = np.tile(move[divide], 2), np.concatenate([low[divide], low[divide] + half]), np.tile(half, 2)
        middle = five[divide, 2]
        first, last = np.concatenate([five[divide, 0], middle]), np.concatenate([middle, five[divide, 4]])
    move, low, width, steps = (np.concatenate(column) for column in zip(*done, strict=True))
    order = np.lexsort((low, move))
    return _samples(at, move[order], low[order], width[order], steps[order])


def _samples(at: Callable[[Ints, Array], Array], move: Ints, low: Array, width: Array, steps: Ints) -> Samples:
    """Return the samples of pieces with ``steps`` equal steps each; the end of a move follows the samples of its last piece."""
    closes = np.append(np.diff(move) > 0, True)
    counts = steps + closes
    which = np.repeat(np.arange(move.size), counts)
    step = np.arange(which.size) - np.repeat(np.cumsum(counts) - counts, counts)
    part = low[which] + width[which] * step / steps[which]
    part[step == steps[which]] = 1.0
    return Samples(at(move[which], part), move[which], part)
