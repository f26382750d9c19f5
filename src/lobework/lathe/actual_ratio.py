"""The actual ratio at which a lathe turns a cam, compared with the ratio that the pattern needs."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from lobework.gearing.change_wheels import train_for
from lobework.gearing.ratios import RealRatio, of_percent, of_steps

if TYPE_CHECKING:
    from lobework.lathe.lathe import Lathe

__all__ = ["run_of"]


def run_of(lathe: Lathe, number: int, ratio: Fraction) -> RealRatio:
    """Return the actual ratio at which a lathe turns a cam.

    Change wheels produce the nearest ratio that the owned wheels allow. A motor produces the nearest ratio that can be set on its
    control; if its number of steps is known, the positions are rounded to whole steps.

    Parameters
    ----------
    lathe : Lathe
        The lathe.
    number : int
        Number of the cam: 1, 2 and so on.
    ratio : Fraction
        Cam turns per spindle turn that the pattern needs, not zero.

    Examples
    --------
    >>> from lobework.parts.camshaft import CamShaft
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.lathe.lathe import Axis, Lathe
    >>> lathe = Lathe(
    ...     name="bench",
    ...     headstock=Headstock(sideways="slides"),
    ...     axes=(Axis(moves="cam 1", letter="A", steps=3200.0),),
    ...     cams=(CamShaft(number=1, turned_by="motor", percent_places=2),),
    ... )
    >>> run = run_of(lathe, 1, Fraction(2, 3))
    >>> run.description, float(run.actual), round(float(run.max_deviation), 4)
    ('percent, 2 decimals; motor, 3200 steps a turn', 0.6667, 0.0844)
    """
    shaft = lathe.cam_shaft(number)
    if shaft.turned_by == "spindle":
        return RealRatio(description="locked to the spindle", target=ratio, actual=Fraction(1))
    if shaft.turned_by == "software":
        return RealRatio(description="computed by the control", target=ratio, actual=ratio)
    if shaft.turned_by == "gears":
        train = train_for(ratio, shaft.wheels, shaft.pairs)
        return RealRatio(description=f"{train}", target=ratio, actual=train.ratio if ratio > 0 else -train.ratio)
    places = shaft.percent_places
    set_to = RealRatio(description="motor", target=ratio, actual=ratio) if places is None else of_percent(ratio, places)
    steps, spindle_steps = (_steps(lathe, moves) for moves in (f"cam {number}", "spindle"))
    if steps is None:
        return set_to
    in_steps = of_steps(ratio, steps, spindle_steps)
    return replace(
        set_to,
        description="; ".join(dict.fromkeys((set_to.description, in_steps.description))).removeprefix("motor; "),
        max_deviation=in_steps.max_deviation,
    )


def _steps(lathe: Lathe, moves: str) -> Fraction | None:
    """Return the motor's steps per turn of an axis; None if the number is unspecified, or if there is no such axis."""
    axis = lathe.axis(moves)
    return Fraction(axis.steps) if axis is not None and axis.steps else None
