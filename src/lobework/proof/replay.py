"""Carries a program out on the lathe: every move straight in the space of the axes, one after the other."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.proof.reader import ARC, FEED, LETTERS, RAPID, STOP, SWITCHED
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

__all__ = ["Fed", "Moves", "fed_of", "modelled", "replayed"]

_ARC_MM: Final = 1e-4
"""How far a straight move may stray from the arc that it is a part of."""
_MOST_CHORDS: Final = 100_000
_FIELDS: Final = ("rapid", "line", "start", "end", "seconds", "whole", "joined", "part", "stretch")


@dataclass(frozen=True, eq=False, repr=False)
class Moves(Brief):
    """The moves of a program, each straight in the space of the axes.

    Parameters
    ----------
    rapid : (n,) bool
        Whether each goes as fast as the lathe will.
    line : (n,) int32
        Where it stands in the program.
    start, end : (n, 6) float64, mm and degrees
        Where X, Y, Z, A, B, C are before and after it; a reversed axis as the model of the lathe counts.
    seconds, whole : (n,) float64
        How long it takes, and the block that it is a part of.
    joined : (n,) bool
        Whether it goes on from the one before without a stop.
    part : (n,) bool
        Whether it goes on along the arc that the one before is a part of.
    stretch : (n,) int32
        How many stops for a person come before it.
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
        """Return some of them."""
        return replace(self, **{name: getattr(self, name)[which] for name in _FIELDS})

    def standing(self, halts: Sequence[Halt]) -> Moves:
        """Return them with a move at a feed that goes nowhere for each halt which no move at a feed follows before the next.

        The tip cuts there: a person feeds it in, and withdraws it.
        """
        fed = set(self.stretch[~self.rapid].tolist())
        alone = [each for each in halts if each.stops not in fed]
        if not alone:
            return self
        at = np.searchsorted(self.stretch, [each.stops for each in alone])
        no, zero, places = np.zeros(len(alone), bool), np.zeros(len(alone)), np.array([each.at for each in alone])
        line = np.array([each.line for each in alone])
        stops = np.array([each.stops for each in alone])
        put = dict(zip(_FIELDS, (no, line, places, places, zero, zero, no, no, stops), strict=True))

        def with_those(name: str) -> Any:
            return np.insert(getattr(self, name), at, put[name], axis=0)

        return replace(self, **{name: with_those(name) for name in _FIELDS})


@dataclass(frozen=True, eq=False)
class Fed:
    """The moves at a feed, of which no more is kept than must be.

    Parameters
    ----------
    moves : Moves
        All of a program.
    at : (n,) int64
        Which of them are at a feed.
    line, stretch : (n,) int32
        Of these moves; see `Moves`.
    begins : (n,) bool
        Whether each begins elsewhere than the one before ends: others have gone between.
    plunges : (n,) bool
        Whether each goes along the slide ``column`` alone: straight in, or out.
    column : int
        Of the slide that feeds in.
    lift : (n,) float64 or None
        How far each is lifted along that slide, mm; None of a program that cuts.
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
        """Return some of them, as they would cut."""
        found = self.moves.of(self.at[which])
        if self.lift is not None:
            found.start[:, self.column] -= self.lift[which]
            found.end[:, self.column] -= self.lift[which]
        return found


def fed_of(moves: Moves, into: str) -> Fed:
    """Return the moves at a feed, the tip being fed in along the slide ``into``."""
    at, column = np.flatnonzero(~moves.rapid), LETTERS.index(into.upper())
    begins = np.diff(at, prepend=-2) > 1
    parted = np.flatnonzero(begins)[1:]
    begins[parted] = (moves.start[at[parted]] != moves.end[at[parted - 1]]).any(axis=1)
    plunges = _only(moves.start, moves.end, column)[at]
    return Fed(moves, at, moves.line[at], moves.stretch[at], begins, plunges, column)


def modelled(blocks: ReadBlocks, lathe: Lathe) -> ReadBlocks:
    """Return a program's blocks with every place as the lathe's model has it: the one place where words become axes.

    A slide's word is a place in mm, and the word of an axis that turns is an angle in degrees, both in the sense of the model
    unless the lathe says that an axis counts the other way.
    """
    sense = np.array([_sense(lathe, letter) for letter in LETTERS])
    if (sense == 1.0).all():
        return blocks
    return replace(blocks, start=blocks.start * sense + 0.0, end=blocks.end * sense + 0.0)


def _sense(lathe: Lathe, letter: str) -> float:
    """Return 1.0, or -1.0 for an axis that turns the other way when its controller counts up."""
    return -1.0 if any(axis.reversed for axis in lathe.axes if axis.letter == letter) else 1.0


def replayed(blocks: ReadBlocks, lathe: Lathe, into: str) -> Moves:
    """Return the moves that a program's blocks come to on a lathe.

    Arcs become chords; a rapid move takes as long as the axis that needs longest at its top speed. Where the tip only goes in or
    out, along the slide ``into``, it comes from rest and goes to rest.
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
    gone = np.cumsum(~moving & (blocks.kind != SWITCHED), dtype=np.int32)[moving]
    plunge = _only(start, end, LETTERS.index(into.upper()))
    alike = np.diff(gone) == 0
    alike &= ~rapid[1:] & ~rapid[:-1] & (plunge[1:] == plunge[:-1])
    stretch = np.cumsum(blocks.kind == STOP, dtype=np.int32)[moving]
    joined = np.concatenate([np.zeros(min(rapid.size, 1), bool), alike])
    moves = Moves(rapid, blocks.line[moving], start, end, seconds, seconds, joined, np.zeros(rapid.size, bool), stretch)
    return _chorded(moves, kind == ARC, blocks.arc[moving])


def _top_speed(lathe: Lathe, letter: str) -> float:
    return next((axis.top_speed for axis in lathe.axes if axis.letter == letter), math.inf)


def _only(start: Array, end: Array, column: int) -> Bools:
    """Return which moves change one axis and no other."""
    moved = start != end
    only: Bools = moved[:, column] & (moved.sum(axis=1) == 1)
    return only


def _chorded(moves: Moves, arcs: Bools, arc: Array) -> Moves:
    """Return moves with each arc made into chords."""
    if not arcs.any():
        return moves
    radius = np.maximum(arc[:, 4:6].max(axis=1), _ARC_MM)
    widest = 2 * np.arccos(1 - _ARC_MM / np.maximum(radius, 2 * _ARC_MM))
    counts = np.where(arcs, np.clip(np.ceil(np.abs(arc[:, 7]) / widest), 1, _MOST_CHORDS), 1).astype(np.int64)
    which = np.repeat(np.arange(counts.size), counts)
    step = np.arange(which.size) - np.repeat(np.cumsum(counts) - counts, counts)
    many = moves.of(which)
    last = step == counts[which] - 1
    end = _along(many, arc[which], (step + 1) / counts[which])
    end[last | ~arcs[which]] = many.end[last | ~arcs[which]]
    first = step == 0
    start = np.concatenate([many.start[:1], end[:-1]])
    start[first] = many.start[first]
    return replace(many, start=start, end=end, seconds=many.seconds / counts[which], joined=many.joined | ~first, part=~first)


def _along(moves: Moves, arc: Array, part: Array) -> Array:
    """Return where the axes are with a part of each arc done, 0 to 1."""
    at = moves.start + part[:, None] * (moves.end - moves.start)
    angle, radius = arc[:, 6] + part * arc[:, 7], arc[:, 4] + part * (arc[:, 5] - arc[:, 4])
    rows = np.arange(part.size)
    at[rows, arc[:, 0].astype(np.int64)] = arc[:, 2] + radius * np.cos(angle)
    at[rows, arc[:, 1].astype(np.int64)] = arc[:, 3] + radius * np.sin(angle)
    return at
