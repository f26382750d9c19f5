"""Closure of a pass: the turns after which its path closes, and the gap if the pass ends before that."""

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

_LARGEST_DENOMINATOR: Final = 10**9
"""Largest denominator of the number of a cam's turns in the pass, if this number is known only as a float."""
_POINTS: Final = 7
"""Number of points of a turn at which a path is compared with itself, if a chuck does not state its period."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    """The closure of a pass.

    Parameters
    ----------
    turns : int or None
        Whole number of spindle turns after which all waves and chucks, and therefore the path, return to their start.
        None if there is no such number: a slide travels, the twist of a cam is eased, or a chuck never returns to its start or
        does not state its period.
    lobes_a_turn : tuple of Fraction
        Lobes that each cam produces in one turn of the work.
    gap_mm : float
        Distance between the first and the last point of the pass on the work.
    gap_deg : tuple of Fraction
        For each cam, the angle on the work, degrees, between the end of the pass and the nearest position at which the cam's
        wave would close. The angle is positive if the wave has passed this position, negative if it has not reached it, in
        either direction of rotation. Exactly half-way between two such positions, the angle is minus half a lobe.
    """

    turns: int | None
    lobes_a_turn: tuple[Fraction, ...]
    gap_mm: float
    gap_deg: tuple[Fraction, ...]


def closure_of(motion: Motion) -> Closure:
    """Return the closure of a cut.

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
    periods = [mounted.period_turns for mounted in motion.cut.lathe.chucks]
    never = 0 in periods
    ratios = [_mean_ratio(drive) for drive in passed.cams]
    waves = [turns_to_close(drive.cam.lobes, ratio) for drive, ratio in zip(passed.cams, ratios, strict=True)]
    turns = lcm(*waves, *(period for period in periods if period))
    ends = motion.place(np.array([0.0, motion.cut.span]))
    eases = any(push.shaft.drift is not None for push in motion.pushes)
    never_closes = never or eases or (None in periods and _distance_after(motion, turns) > JOIN_MM)
    lobes_a_turn = tuple(drive.cam.lobes * abs(ratio) for drive, ratio in zip(passed.cams, ratios, strict=True))
    passed_lobes = (
        _cam_turns(motion, number, ratio) * passed.cams[number - 1].cam.lobes for number, ratio in enumerate(ratios, 1)
    )
    gaps = tuple(
        _distance_from_whole(past) / lobes * 360 if lobes else Fraction(0)
        for past, lobes in zip(passed_lobes, lobes_a_turn, strict=True)
    )
    return Closure(
        turns=None if never_closes or any(motion.cut.travel) else turns,
        lobes_a_turn=lobes_a_turn,
        gap_mm=float(math.dist(ends[0], ends[1])),
        gap_deg=gaps,
    )


def _mean_ratio(drive: Drive) -> Fraction:
    """Return the number of turns of a cam per turn of the spindle, including a uniform twist from turn to turn."""
    twist = drive.twist
    if twist is None or twist.turns is None or twist.ease:
        return drive.ratio
    return drive.ratio + twist.angle.in_turns(drive.cam.lobes) / twist.turns


def _cam_turns(motion: Motion, number: int, ratio: Fraction) -> Fraction:
    """Return the number of turns of a cam in the pass, without sign; exact if the cam does not drift along the work."""
    cut = motion.cut
    twist = cut.passed.cams[number - 1].twist
    if twist is None or (cut.keeps_z if twist.over is not None else not twist.ease):
        return cut.passed.turns * abs(ratio)
    shaft = next(push.shaft for push in motion.pushes if push.number == number)
    begins, ends = shaft.at(np.array([0.0, cut.span])).tolist()
    return abs(Fraction((ends - begins) / 360).limit_denominator(_LARGEST_DENOMINATOR))


def _distance_after(motion: Motion, turns: int) -> float:
    """Return the greatest distance, mm, from samples of one turn of the path to the points ``turns`` turns later."""
    u = np.arange(_POINTS) / _POINTS
    return float(np.linalg.norm(motion.place(u + turns) - motion.place(u), axis=1).max())


def _distance_from_whole(lobes: Fraction) -> Fraction:
    """Return the difference of ``lobes`` from the nearest whole number, from -1/2 up to but not including 1/2."""
    over = lobes % 1
    return over - 1 if over >= Fraction(1, 2) else over
