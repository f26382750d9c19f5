"""Strategies for slide positions, travels, passes, cuts and jobs."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Final

from hypothesis import strategies as st

from lobework.jobs.job import Job
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cutter import Ball, FlatEnd, Pen, Vee
from lobework.parts.piece import Barrel, Disc
from lobework.parts.protocols import Cutter, Piece
from lobework.parts.slide import At
from lobework.parts.twist import Twist
from lobework.testing.benches import cut_on, high_enough, rocking, sliding
from lobework.testing.strategies.parts import chucks, drives, face_cams, numbers, scallops, turnings, waves

__all__ = ["cuts", "jobs", "passes", "places", "rocking_cuts", "sliding_cuts", "travels", "twists"]

places: Final = st.builds(
    At,
    x=st.one_of(st.just(0.0), numbers(-40.0, 40.0)),
    y=st.one_of(st.just(0.0), st.just(0.0), numbers(-5.0, 5.0)),
    depth=st.sampled_from([0.0, 0.4]),
)
travels: Final = st.one_of(st.just(At()), st.builds(At, x=numbers(-5.0, 5.0), y=st.just(0.0), z=numbers(-1.0, 1.0)))


@st.composite
def sliding_cuts(draw: st.DrawFn, max_turns: int = 3) -> Cut:
    """Return cuts on a headstock that slides and pumps, with up to two chucks and up to two cams, in any combination."""
    several = draw(st.lists(drives(sides=("front",)), max_size=2))
    several = several or draw(st.lists(drives(face_cams, sides=("front",)), max_size=2))
    return cut_on(
        sliding(*draw(st.lists(chucks, max_size=2))),
        *several,
        turns=draw(st.fractions(Fraction(1, 5), max_turns, max_denominator=6)),
        at=draw(places),
        travel=draw(travels),
        together=draw(st.sampled_from(["sum", "furthest", None])),
    )


@st.composite
def rocking_cuts(draw: st.DrawFn, max_turns: int = 3) -> Cut:
    """Return cuts on a rocking headstock; the pivot is high enough for the drawn cam to be followed."""
    drive = draw(drives(st.one_of(waves(), scallops())))
    return cut_on(
        rocking(high_enough(draw(st.sampled_from([200.0, 350.0])), drive), *draw(st.lists(chucks, max_size=1))),
        drive,
        turns=draw(st.fractions(Fraction(1, 5), max_turns, max_denominator=6)),
        at=draw(places),
        travel=draw(travels),
    )


cuts: Final = st.one_of(sliding_cuts(), rocking_cuts())


twists: Final = st.builds(
    Twist, angle=turnings, over=numbers(1.0, 60.0), start=numbers(-5.0, 5.0), ease=st.sampled_from(["0", "1/3", "1/2"])
)


@st.composite
def passes(draw: st.DrawFn, max_turns: int = 2) -> Pass:
    """Return passes for a sliding headstock, with up to two cams; some passes have no turns, some have a travel or a twist."""
    turns = draw(st.one_of(st.just(Fraction(0)), st.fractions(Fraction(1, 5), max_turns, max_denominator=6)))
    return Pass(
        turns=turns,
        at=draw(st.builds(At, x=numbers(0.0, 11.0), depth=st.sampled_from([0.0, 0.1, 0.4]))),
        travel=draw(travels),
        cams=tuple(
            replace(drive, twist=draw(st.one_of(st.none(), twists)))
            for drive in draw(st.lists(drives(st.one_of(waves(), scallops()), sides=("front",)), max_size=2))
        ),
        name=draw(st.sampled_from(["", "rings", "“waves” & (more)"])),
    )


_PIECES: Final[list[Piece]] = [Disc(diameter=24.0, thickness=4.0), Barrel(diameter=24.0, length=20.0)]
_CUTTERS: Final[list[Cutter]] = [Vee(angle_deg=90.0, width=3.0), Ball(radius=1.0), FlatEnd(width=2.0), Pen()]


@st.composite
def jobs(draw: st.DrawFn, most: int = 3) -> Job:
    """Return small jobs of up to ``most`` passes, on a face or the side of a barrel, in mm or inches."""
    return Job(
        title=draw(st.sampled_from(["", "lid", "Tide box: <lid>, 1/2"])),
        lathe=sliding(*draw(st.lists(chucks, max_size=1))),
        piece=draw(st.sampled_from(_PIECES)),
        cutter=draw(st.sampled_from(_CUTTERS)),
        passes=draw(st.lists(passes(), min_size=1, max_size=most)),
        units=draw(st.sampled_from(["mm", "inch"])),
        chord=0.05,
        resolution=1.0,
    )
