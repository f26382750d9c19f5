"""The steps of a program, in no format yet; mm, degrees and minutes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lobework.parts.slide import Approach
from lobework.program.blocks import Grid
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Axis, Lathe
    from lobework.parts.feeds import Feeds
    from lobework.program.timing import SlowDown
    from lobework.quantities.units import LengthUnit

__all__ = ["Dwell", "Feed", "Program", "Prompt", "Rapid", "Section", "Setup", "Step", "Timed"]

Setup = tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
"""What to set before the job: groups by name, each of settings and what to set them to."""


@dataclass(frozen=True, slots=True)
class Rapid:
    """Go as fast as the lathe will: letters to where they go, mm or degrees."""

    to: Mapping[str, float] = field(hash=False)


@dataclass(frozen=True, slots=True)
class Feed:
    """Go in a straight line at a rate, mm a minute."""

    to: Mapping[str, float] = field(hash=False)
    rate: float


@dataclass(frozen=True, slots=True)
class Dwell:
    """Wait where everything stands, s."""

    seconds: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Timed(Brief):
    """Go through places, each in its own time.

    Parameters
    ----------
    minutes : (m,) float64
        That each move takes.
    letters : tuple of str
        What moves.
    places : (m, k) float64, mm or degrees
        Where each move ends, by letter.
    """

    minutes: Array
    letters: tuple[str, ...]
    places: Array


@dataclass(frozen=True, slots=True)
class Prompt:
    """Stop, say what a person must do, thing by thing, and wait."""

    instructions: tuple[str, ...]


Step = Rapid | Feed | Dwell | Timed | Prompt


@dataclass(frozen=True, slots=True, repr=False)
class Section(Brief):
    """One cut, which can be started from by itself.

    Parameters
    ----------
    number : int
        Of the cut.
    title : str
        Of the cut.
    notes : tuple of str
        What to know of it.
    steps : tuple of Step
        In order; the tip is sent clear before anything else moves.
    slows : SlowDown, optional
        Where it goes slower than was asked for.
    stands : mapping from letter to place
        Where every axis stands as the cut begins, mm or degrees.
    """

    number: int
    title: str
    notes: tuple[str, ...]
    steps: tuple[Step, ...]
    slows: SlowDown | None = None
    stands: Mapping[str, float] = field(default_factory=dict, hash=False)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Program:
    """What a controller is told, in no format yet; mm, degrees and minutes.

    Parameters
    ----------
    title : str
        Of the job.
    lathe : Lathe
        That it is for.
    axes : tuple of Axis
        That it moves.
    feeds : Feeds
        That it keeps to.
    units : "mm" or "inch"
        To write lengths in.
    sections : tuple of Section
        The cuts, in order.
    approach : Approach
        From where the cutter comes to the work.
    air : float, mm
        How far off the work it all stays; zero of a program that cuts.
    max_deviation : float, mm
        How far its moves stray from the path on the work, at most.
    setup : tuple
        What to set before it: groups by name, each of settings and what to set them to.
    begins : tuple
        Before that, in the same manner: how the zeros are set, and which way plus is.
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
    begins: Setup = ()

    def __repr__(self) -> str:
        cuts = "1 cut" if len(self.sections) == 1 else f"{len(self.sections)} cuts"
        return f"<program of {cuts} for {self.lathe.name}: {self.title or 'untitled'}>"

    @property
    def cutting(self) -> float:
        """Minutes under cut: of all moves at a feed, plunges among them; no waits, no fast moves."""
        return sum(minutes for minutes, cuts in self._times() if cuts)

    @property
    def whole(self) -> float:
        """Minutes in all: under cut, waits, and fast moves at the axes' top speeds; without what a person takes at a stop.

        Fast moves of an axis of which no top speed is known count as none; the first are counted from 0.
        """
        return sum(minutes for minutes, _ in self._times())

    def _times(self) -> Iterator[tuple[float, bool]]:
        """Yield how many minutes each step takes, and whether it is at a feed."""
        tops: dict[str, float] = {axis.letter: axis.top_speed for axis in self.axes}
        at: dict[str, float] = dict.fromkeys(tops, 0.0)
        grid, columns = Grid.of(self.axes, self.lathe.controller, self.units), {letter: k for k, letter in enumerate(tops)}

        def said(to: Mapping[str, float]) -> dict[str, float]:
            """Return places as words say them."""
            rounded = grid.nearest(np.array([to.get(letter, 0.0) for letter in tops]))
            return {letter: float(rounded[columns[letter]]) for letter in to}

        for step in (step for section in self.sections for step in section.steps):
            if isinstance(step, Timed):
                yield float(step.minutes.sum()), True
                at.update(zip(step.letters, step.places[-1].tolist(), strict=True))
            elif isinstance(step, Dwell):
                yield step.seconds / 60, False
            elif isinstance(step, Feed | Rapid):
                to = said(step.to)
                far = {letter: abs(place - at[letter]) for letter, place in to.items()}
                fast = max((way / tops[letter] for letter, way in far.items()), default=0.0) / 60
                yield (math.hypot(*far.values()) / step.rate, True) if isinstance(step, Feed) else (fast, False)
                at.update(to)
