"""Lathes and cuts for tests."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Final

import numpy as np

from lobework.kinematics.contact import lift_of
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.mounting import Mounted
from lobework.lathe.passes import Cut, Pass, Together
from lobework.parts.drive import Drive
from lobework.parts.headstock import Headstock
from lobework.parts.slide import At

__all__ = ["AXES", "cut_on", "fixed", "high_enough", "rocking", "sliding"]

AXES: Final = tuple(
    Axis(moves=moves, letter=letter)  # type: ignore[arg-type]
    for moves, letter in (("spindle", "C"), ("x", "X"), ("y", "Y"), ("z", "Z"), ("cam 1", "A"), ("cam 2", "B"))
)
"""The axes of the spindle, the three slides and two cams, with unlimited travel."""


def fixed(*chucks: Any) -> Lathe:
    """Return a lathe with a fixed headstock and the chucks ``chucks``."""
    return _mounted(Headstock(sideways="fixed"), chucks)


def sliding(*chucks: Any) -> Lathe:
    """Return a lathe with a headstock that slides sideways and pumps endways."""
    return _mounted(Headstock(sideways="slides", endways="pumps"), chucks)


def rocking(pivot_height: float, *chucks: Any) -> Lathe:
    """Return a lathe with a headstock that rocks sideways and pumps endways."""
    return _mounted(Headstock(sideways="rocks", endways="pumps", pivot_height=pivot_height), chucks)


def high_enough(least: float, *drives: Drive) -> float:
    """Return a pivot height of at least ``least`` mm at which a rocking headstock follows the cams of all ``drives``.

    A rocking headstock jumps if the slope of the lift, in mm per radian of the cam, reaches about the pivot height divided by
    the gain.
    """
    slopes = (drive.gain * float(np.abs(lift_of(drive.cam, drive.follower).curve.sides()[1]).max()) for drive in drives)
    return max(least, 1.4 * max(slopes, default=0.0))


def _mounted(headstock: Headstock, chucks: tuple[Any, ...]) -> Lathe:
    named = tuple(Mounted(f"chuck {number}", chuck) for number, chuck in enumerate(chucks, 1))
    return Lathe(name="bench", headstock=headstock, axes=AXES, chucks=named)


def cut_on(
    lathe: Lathe,
    *cams: Any,
    turns: Fraction | int = 1,
    at: At | None = None,
    travel: At | None = None,
    together: Together | None = None,
) -> Cut:
    """Return the cut of one pass on the lathe ``lathe``."""
    passed = Pass(turns=Fraction(turns), at=at or At(), travel=travel or At(), cams=cams, together=together)
    return Cut(number=1, passed=passed, lathe=lathe)
