"""Whether a pass comes back to where it began, after how many turns, and the gap where it does not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.gearing.ratios import turns_to_close
from lobework.quantities.tolerances import JOIN_MM

if TYPE_CHECKING:
    from lobework.kinematics.motion import Motion
    from lobework.parts.drive import Drive

__all__ = ["Closure", "closure_of"]

_FINEST: Final = 10**9
_PLACES: Final = 7
"""Where in a turn a path is looked at that is led by a chuck which does not say when it comes back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """How a pass joins up.

    Parameters
    ----------
    turns : int or None
        Whole spindle turns after which every wave and every chuck comes back to its start, and the path with it; None where
        that is not so, because a slide travels, a cam's twist is eased, or a chuck never comes back, or does not say when.
    lobes_a_turn : tuple of Fraction
        Lobes that each cam shows in one turn of the work.
    gap_mm : float
        Between the first and the last point of the pass on the work.
    gap_deg : tuple of Fraction
        How far each cam's wave, at the end of the pass, stands from the nearest place where it would join its beginning, degrees
        of the work: above zero if it has gone past that place, below zero if it has yet to come there, whichever way the cam
        turns. Exactly half-way between two such places it counts as short of the next one: minus half a lobe.
    """

    turns: int | None
    lobes_a_turn: tuple[Fraction, ...]
    gap_mm: float
    gap_deg: tuple[Fraction, ...]


def closure_of(motion: Motion) -> Closure:
    """Return how a cut joins up.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.drive import Drive
    >>> from lobework.parts.follower import Knife
    >>> from lobework.lathe.lathe import Axis, Lathe
    >>> from lobework.kinematics.motion import motion_of
    >>> from lobework.lathe.passes import Cut, Pass
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=(Axis(moves="cam 1", letter="A"),))
    >>> passed = Pass(cams=(Drive(Wave(lobes=1, base_radius=60.0, rise=5.0), ratio="1/2", follower=Knife()),))
    >>> closure = closure_of(motion_of(Cut(number=1, passed=passed, lathe=lathe)))
    >>> closure.turns, closure.lobes_a_turn, closure.gap_deg
    (2, (Fraction(1, 2),), (Fraction(-360, 1),))
    """
    passed = motion.cut.passed
    said = [mounted.period_turns for mounted in motion.cut.lathe.chucks]
    never = 0 in said
    ratios = [_steady(drive) for drive in passed.cams]
    waves = [turns_to_close(drive.cam.lobes, ratio) for drive, ratio in zip(passed.cams, ratios, strict=True)]
    turns = lcm(*waves, *(each for each in said if each))
    ends = motion.place(np.array([0.0, motion.cut.span]))
    eases = any(push.shaft.drift is not None for push in motion.pushes)
    goes_own_way = never or eases or (None in said and _apart_later(motion, turns) > JOIN_MM)
    shown = tuple(drive.cam.lobes * abs(ratio) for drive, ratio in zip(passed.cams, ratios, strict=True))
    turned = (_turned(motion, number, ratio) * passed.cams[number - 1].cam.lobes for number, ratio in enumerate(ratios, 1))
    gaps = tuple(_short_of_whole(past) / lobes * 360 if lobes else Fraction(0) for past, lobes in zip(turned, shown, strict=True))
    return Closure(
        turns=None if goes_own_way or any(motion.cut.travel) else turns,
        lobes_a_turn=shown,
        gap_mm=float(math.dist(ends[0], ends[1])),
        gap_deg=gaps,
    )


def _steady(drive: Drive) -> Fraction:
    """Return the turns of a cam in one of the spindle, with a twist from turn to turn that goes evenly."""
    twist = drive.twist
    if twist is None or twist.turns is None or twist.ease:
        return drive.ratio
    return drive.ratio + twist.angle.in_turns(drive.cam.lobes) / twist.turns


def _turned(motion: Motion, number: int, ratio: Fraction) -> Fraction:
    """Return how many turns a cam makes in the pass, one way or the other: exactly, where it does not drift with the place."""
    cut = motion.cut
    twist = cut.passed.cams[number - 1].twist
    if twist is None or (cut.level if twist.over is not None else not twist.ease):
        return cut.passed.turns * abs(ratio)
    shaft = next(push.shaft for push in motion.pushes if push.number == number)
    begins, ends = shaft.at(np.array([0.0, cut.span])).tolist()
    return abs(Fraction((ends - begins) / 360).limit_denominator(_FINEST))


def _apart_later(motion: Motion, turns: int) -> float:
    """Return how far the path is, so many turns later, from where it was: at most, at several places of a turn."""
    u = np.arange(_PLACES) / _PLACES
    return float(np.linalg.norm(motion.place(u + turns) - motion.place(u), axis=1).max())


def _short_of_whole(lobes: Fraction) -> Fraction:
    """Return how many lobes are over (positive) or missing (negative) from the nearest whole number; half counts as missing."""
    over = lobes % 1
    return over - 1 if over >= Fraction(1, 2) else over
