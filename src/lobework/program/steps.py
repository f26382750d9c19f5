"""The steps of a program, independent of its file format, in mm, degrees and minutes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lobework.parts.slide import Approach
from lobework.program.blocks import Grid
from lobework.text.brief import Brief
from lobework.text.shown import Shown

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Axis, Lathe
    from lobework.parts.feeds import Feeds
    from lobework.program.timing import SlowDown
    from lobework.quantities.units import LengthUnit

__all__ = ["Dwell", "Feed", "Program", "Prompt", "Rapid", "Section", "Setup", "Step", "Timed"]

Setup = tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
"""Settings before the job: named groups of pairs; each pair is the name of a setting and its value."""


@dataclass(frozen=True, slots=True)
class Rapid:
    """A move at the greatest speed of the lathe; ``to`` maps letters of axes to target positions, mm or degrees."""

    to: Mapping[str, float] = field(hash=False)


@dataclass(frozen=True, slots=True)
class Feed:
    """A straight move to the target positions ``to``, at the feed rate ``rate``, mm a minute."""

    to: Mapping[str, float] = field(hash=False)
    rate: float


@dataclass(frozen=True, slots=True)
class Dwell:
    """A wait without motion, s."""

    seconds: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Timed(Brief):
    """Consecutive straight moves, each of a given duration.

    Parameters
    ----------
    minutes : (m,) float64
        Duration of each move.
    letters : tuple of str
        Letters of the axes that move.
    places : (m, k) float64, mm or degrees
        End of each move; one column for each letter.
    """

    minutes: Array
    letters: tuple[str, ...]
    places: Array


@dataclass(frozen=True, slots=True)
class Prompt:
    """A stop at which the program shows instructions to the operator and waits."""

    instructions: tuple[str, ...]


Step = Rapid | Feed | Dwell | Timed | Prompt


@dataclass(frozen=True, slots=True, repr=False)
class Section(Brief):
    """One cut of a program, from which the program can be started.

    Parameters
    ----------
    number : int
        Number of the cut.
    title : str
        Title of the cut.
    notes : tuple of str
        Remarks on the cut.
    steps : tuple of Step
        Steps in order; the tip moves clear of the work before anything else moves.
    slows : SlowDown, optional
        Stretch in which the cut is slower than its target speed.
    start_positions : mapping from letter to position
        Position of every axis at the start of the cut, mm or degrees.
    """

    number: int
    title: str
    notes: tuple[str, ...]
    steps: tuple[Step, ...]
    slows: SlowDown | None = None
    start_positions: Mapping[str, float] = field(default_factory=dict, hash=False)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Program(Shown):
    """A program for a controller, independent of its file format, in mm, degrees and minutes.

    Parameters
    ----------
    title : str
        Title of the job.
    lathe : Lathe
        Lathe for which the program is written.
    axes : tuple of Axis
        Axes that the program moves.
    feeds : Feeds
        Feeds and tolerance of the program.
    units : "mm" or "inch"
        Unit of lengths in the program.
    sections : tuple of Section
        The sections, one for each cut, in order.
    approach : Approach
        Direction from which the cutter comes to the work.
    air : float, mm
        Distance that the tip keeps from the work in a trial in air (dry run); zero if the program cuts.
    max_deviation : float, mm
        Greatest distance of the moves from the path on the work.
    setup : tuple
        Settings before the program: named groups of settings and their values.
    opening_groups : tuple
        Groups that come before the groups of ``setup``: the steps that set the zeros, and the positive directions.
    """

    title: str
    lathe: Lathe
    axes: tuple[Axis, ...]
    feeds: Feeds
    units: LengthUnit
    sections: tuple[Section, ...]
    approach: Approach = Approach()
    air: float = 0.0
    max_deviation: float = 0.0
    setup: Setup = ()
    opening_groups: Setup = ()

    def __repr__(self) -> str:
        cuts = "1 cut" if len(self.sections) == 1 else f"{len(self.sections)} cuts"
        return f"<program of {cuts} for {self.lathe.name}: {self.title or 'untitled'}>"

    @property
    def cutting(self) -> float:
        """Duration of all feed moves, minutes, including plunges, without waits and rapid moves."""
        return sum(minutes for minutes, cuts in self._times() if cuts)

    @property
    def whole(self) -> float:
        """Duration of all moves and waits, minutes, without the time that the operator needs at a stop.

        Rapid moves are counted at the top speeds of the axes; an axis without a top speed takes no time. The first moves
        are counted from position 0.
        """
        return sum(minutes for minutes, _ in self._times())

    def _times(self) -> Iterator[tuple[float, bool]]:
        """Yield the duration of each step in minutes, and whether it is a feed move."""
        tops: dict[str, float] = {axis.letter: axis.top_speed for axis in self.axes}
        at: dict[str, float] = dict.fromkeys(tops, 0.0)
        grid, columns = Grid.of(self.axes, self.lathe.controller, self.units), {letter: k for k, letter in enumerate(tops)}

        def rounded_to(to: Mapping[str, float]) -> dict[str, float]:
            """Return positions rounded to the precision of the program."""
            rounded = grid.nearest(np.array([to.get(letter, 0.0) for letter in tops]))
            return {letter: float(rounded[columns[letter]]) for letter in to}

        for step in (step for section in self.sections for step in section.steps):
            if isinstance(step, Timed):
                yield float(step.minutes.sum()), True
                at.update(zip(step.letters, step.places[-1].tolist(), strict=True))
            elif isinstance(step, Dwell):
                yield step.seconds / 60, False
            elif isinstance(step, Feed | Rapid):
                to = rounded_to(step.to)
                moved = {letter: abs(place - at[letter]) for letter, place in to.items()}
                fast = max((distance / tops[letter] for letter, distance in moved.items()), default=0.0) / 60
                yield (math.hypot(*moved.values()) / step.rate, True) if isinstance(step, Feed) else (fast, False)
                at.update(to)
