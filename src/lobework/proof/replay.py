"""The moves of the lathe's axes in a program; each move is straight in the space of the axes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.kernels.rs274.block_kinds import ARC, FEED, RAPID, STOP, SWITCHED
from lobework.proof.reader import LETTERS
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Lathe
    from lobework.proof.reader import Ints, ReadBlocks
    from lobework.proof.stops import Halt

    Bools = NDArray[np.bool_]
    Int32s = NDArray[np.int32]

__all__ = ["FeedMoves", "Moves", "feed_moves", "replay", "with_model_signs"]

_ARC_MM: Final = 1e-4
"""Greatest deviation of a chord from its arc."""
_MOST_CHORDS: Final = 100_000
_FIELDS: Final = ("rapid", "line", "start", "end", "seconds", "whole", "joined", "part", "stretch")


@dataclass(frozen=True, eq=False, repr=False)
class Moves(Brief):
    """The moves of a program; each move is straight in the space of the axes.

    Parameters
    ----------
    rapid : (n,) bool
        Whether each move is a rapid move.
    line : (n,) int32
        Line of the program that gives each move.
    start, end : (n, 6) float64, mm and degrees
        Positions of X, Y, Z, A, B, C before and after each move. A reversed axis has the sense of the lathe's model.
    seconds, whole : (n,) float64
        Duration of each move, and duration of the whole block to which the move belongs.
    joined : (n,) bool
        Whether each move follows the move before it without a stop.
    part : (n,) bool
        Whether each move continues the arc of the move before it.
    stretch : (n,) int32
        Number of operator stops before each move.
    """

    rapid: Bools
    line: Int32s
    start: Array
    end: Array
    seconds: Array
    whole: Array
    joined: Bools
    part: Bools
    stretch: Int32s

    def of(self, which: Bools | Ints | slice) -> Moves:
        """Return the chosen moves."""
        return replace(self, **{name: getattr(self, name)[which] for name in _FIELDS})

    def with_hand_cuts(self, halts: Sequence[Halt]) -> Moves:
        """Return the moves, with an added feed move of zero length for each halt without feed moves before the next halt.

        At such a halt, the operator feeds the tip in and withdraws it; the added move represents that cut.
        """
        fed = set(self.stretch[~self.rapid].tolist())
        alone = [each for each in halts if each.stops not in fed]
        if not alone:
            return self
        at = np.searchsorted(self.stretch, [each.stops for each in alone])
        no, zero, places = np.zeros(len(alone), bool), np.zeros(len(alone)), np.array([each.position for each in alone])
        line = np.array([each.line for each in alone])
        stops = np.array([each.stops for each in alone])
        added = dict(zip(_FIELDS, (no, line, places, places, zero, zero, no, no, stops), strict=True))

        def inserted(name: str) -> Any:
            return np.insert(getattr(self, name), at, added[name], axis=0)

        return replace(self, **{name: inserted(name) for name in _FIELDS})


@dataclass(frozen=True, eq=False)
class FeedMoves:
    """The feed moves of a program, kept as indices into all of its moves to save memory.

    Parameters
    ----------
    moves : Moves
        All moves of the program.
    at : (n,) int64
        Indices of the feed moves.
    line, stretch : (n,) int32
        Line and stretch of each feed move; see `Moves`.
    begins : (n,) bool
        Whether each move begins a run: the move does not start where the feed move before it ends.
    plunges : (n,) bool
        Whether each move moves only the slide ``column``, straight in or out.
    column : int
        Column of the slide that feeds the tip in.
    lift : (n,) float64 or None
        Distance by which each move is lifted along that slide, mm; None for a program that cuts.
    """

    moves: Moves
    at: Ints
    line: Int32s
    stretch: Int32s
    begins: Bools
    plunges: Bools
    column: int
    lift: Array | None = None

    def of(self, which: Ints | slice) -> Moves:
        """Return the chosen feed moves, with their lift removed."""
        found = self.moves.of(self.at[which])
        if self.lift is not None:
            found.start[:, self.column] -= self.lift[which]
            found.end[:, self.column] -= self.lift[which]
        return found


def feed_moves(moves: Moves, into: str) -> FeedMoves:
    """Return the feed moves of a program; ``into`` is the slide that feeds the tip in."""
    at, column = np.flatnonzero(~moves.rapid), LETTERS.index(into.upper())
    begins = np.diff(at, prepend=-2) > 1
    parted = np.flatnonzero(begins)[1:]
    begins[parted] = (moves.start[at[parted]] != moves.end[at[parted - 1]]).any(axis=1)
    plunges = _moves_only(moves.start, moves.end, column)[at]
    return FeedMoves(moves, at, moves.line[at], moves.stretch[at], begins, plunges, column)


def with_model_signs(blocks: ReadBlocks, lathe: Lathe) -> ReadBlocks:
    """Return a program's blocks with all positions in the sense of the lathe's model; no other function converts positions.

    The word of a slide is a position in mm, and the word of a rotary axis is an angle in degrees. Their sense is that of the
    model, except for the axes that the lathe declares reversed.
    """
    sense = np.array([_sense(lathe, letter) for letter in LETTERS])
    if (sense == 1.0).all():
        return blocks
    return replace(blocks, start=blocks.start * sense + 0.0, end=blocks.end * sense + 0.0)


def _sense(lathe: Lathe, letter: str) -> float:
    """Return 1.0, or -1.0 for a reversed axis."""
    return -1.0 if any(axis.reversed for axis in lathe.axes if axis.letter == letter) else 1.0


def replay(blocks: ReadBlocks, lathe: Lathe, into: str) -> Moves:
    """Return the moves of the lathe's axes that result from the blocks of a program.

    Each arc becomes chords. The duration of a rapid move is the time that its slowest axis needs at top speed. A move
    of only the slide ``into``, which takes the tip in or out, begins and ends at rest.
    """
    moving = np.isin(blocks.kind, (RAPID, FEED, ARC))
    kind = blocks.kind[moving]
    places = np.zeros((kind.size + 1, len(LETTERS)))
    places[1:] = blocks.end[moving]
    places[0] = blocks.start[moving.argmax()] if kind.size else 0.0
    start, end = places[:-1], places[1:]
    rapid = kind == RAPID
    speeds = np.array([_top_speed(lathe, letter) for letter in LETTERS])
    seconds = blocks.minutes[moving] * 60
    seconds[rapid] = (np.abs(end[rapid] - start[rapid]) / speeds).max(axis=1)
    interruptions = np.cumsum(~moving & (blocks.kind != SWITCHED), dtype=np.int32)[moving]
    plunge = _moves_only(start, end, LETTERS.index(into.upper()))
    continues = np.diff(interruptions) == 0
    continues &= ~rapid[1:] & ~rapid[:-1] & (plunge[1:] == plunge[:-1])
    stretch = np.cumsum(blocks.kind == STOP, dtype=np.int32)[moving]
    joined = np.concatenate([np.zeros(min(rapid.size, 1), bool), continues])
    moves = Moves(rapid, blocks.line[moving], start, end, seconds, seconds, joined, np.zeros(rapid.size, bool), stretch)
    return _with_chords(moves, kind == ARC, blocks.arc[moving])


def _top_speed(lathe: Lathe, letter: str) -> float:
    return next((axis.top_speed for axis in lathe.axes if axis.letter == letter), math.inf)


def _moves_only(start: Array, end: Array, column: int) -> Bools:
    """Return which moves move one axis and no other."""
    moved = start != end
    only: Bools = moved[:, column] & (moved.sum(axis=1) == 1)
    return only


def _with_chords(moves: Moves, arcs: Bools, arc: Array) -> Moves:
    """Return the moves with each arc replaced by chords."""
    if not arcs.any():
        return moves
    radius = np.maximum(arc[:, 4:6].max(axis=1), _ARC_MM)
    widest = 2 * np.arccos(1 - _ARC_MM / np.maximum(radius, 2 * _ARC_MM))
    counts = np.where(arcs, np.clip(np.ceil(np.abs(arc[:, 7]) / widest), 1, _MOST_CHORDS), 1).astype(np.int64)
    which = np.repeat(np.arange(counts.size), counts)
    step = np.arange(which.size) - np.repeat(np.cumsum(counts) - counts, counts)
    many = moves.of(which)
    last = step == counts[which] - 1
    end = _on_arc(many, arc[which], (step + 1) / counts[which])
    end[last | ~arcs[which]] = many.end[last | ~arcs[which]]
    first = step == 0
    start = np.concatenate([many.start[:1], end[:-1]])
    start[first] = many.start[first]
    return replace(many, start=start, end=end, seconds=many.seconds / counts[which], joined=many.joined | ~first, part=~first)


def _on_arc(moves: Moves, arc: Array, part: Array) -> Array:
    """Return the positions of the axes at a fraction ``part`` of each arc, 0 to 1."""
    at = moves.start + part[:, None] * (moves.end - moves.start)
    angle, radius = arc[:, 6] + part * arc[:, 7], arc[:, 4] + part * (arc[:, 5] - arc[:, 4])
    rows = np.arange(part.size)
    at[rows, arc[:, 0].astype(np.int64)] = arc[:, 2] + radius * np.cos(angle)
    at[rows, arc[:, 1].astype(np.int64)] = arc[:, 3] + radius * np.sin(angle)
    return at
