"""The zeros of all scales, as steps for the operator at the lathe."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from lobework.kinematics.motion import motion_of
from lobework.lathe.hand_settings import cam_name, show_length, show_place
from lobework.quantities.units import Phase

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lobework.kinematics.cam_motion import Push, Pushes
    from lobework.kinematics.motion import Motion
    from lobework.lathe.passes import Cut
    from lobework.quantities.units import LengthUnit

__all__ = ["ZEROS", "AxisShift", "refits", "shift_at_zero", "zero_again", "zero_steps"]

ZEROS: Final = "zeros"
"""First word of the name of each group of the settings sheet that sets zeros."""

_SHOWN_MM: Final = 5e-5
"""Half of the precision to which lengths are printed."""
_LOW_MM: Final = 0.01
"""Greatest drop of a rocking spindle that is neglected, mm; heights cannot be set to this accuracy."""


class AxisShift(NamedTuple):
    """Displacement of the spindle's axis, mm, from its position without lift; also the x, y and z of a tip on the axis."""

    x: float
    y: float
    z: float


def shift_at_zero(cut: Cut) -> AxisShift:
    """Return the displacement of the spindle's axis with spindle, phases and indexes at 0 and the followers on their cams.

    The top of a lobe of each cam then points to the cutter's side (edge cam) or is at the follower (face cam). If only
    the follower that pushes the headstock furthest takes effect, only the first follower is on its cam.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.drive import Drive
    >>> from lobework.parts.follower import Knife
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="slides"))
    >>> wave = Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Knife(), index="1/8 turn")
    >>> shift_at_zero(Cut(number=1, passed=Pass(cams=(wave,)), lathe=lathe))
    AxisShift(x=-5.0, y=0.0, z=0.0)
    """
    return _shift_of(_first_alone(_motion_at_zero(cut)))


def _motion_at_zero(cut: Cut) -> Motion:
    """Return the motion of a cut with all angles at 0."""
    cams = tuple(replace(drive, phase=Phase(), index=Phase(), twist=None) for drive in cut.passed.cams)
    return motion_of(replace(cut, passed=replace(cut.passed, spindle=Phase(), cams=cams)))


def _shift_of(motion: Motion) -> AxisShift:
    """Return the displacement of the spindle's axis at the start of a motion."""
    x, y, z = (motion.carriage(np.zeros(1)).shift[0] + 0.0).tolist()
    return AxisShift(x, y, z)


def _real_cams(cut: Cut) -> list[int]:
    """Return the numbers of the cams that do not exist only in software."""
    return [number for number, _ in enumerate(cut.passed.cams, 1) if cut.lathe.cam_shaft(number).turned_by != "software"]


def refits(before: Cut, now: Cut) -> bool:
    """Return whether a cam, its follower, its side or its gain has changed, so that the zeros must be set again."""
    return _fittings(before) != _fittings(now)


def _fittings(cut: Cut) -> list[tuple[Any, ...]]:
    """Return, for each cam of a cut, the parts and settings on which its zero depends."""
    drives = [cut.passed.cams[number - 1] for number in _real_cams(cut)]
    together = cut.passed.together if len(drives) > 1 else None
    return [(drive.cam, drive.follower, drive.side, drive.gain, together) for drive in drives]


def zero_steps(cut: Cut, units: LengthUnit = "mm", *, again: bool = False) -> tuple[tuple[str, str], ...]:
    """Return the steps that set the zeros before a cut, in order: pairs of a name and an instruction.

    Parameters
    ----------
    cut : Cut
        The first cut for which the zeros are set.
    units : "mm" or "inch"
        Unit of lengths.
    again : bool
        Whether the zero of the spindle is already set, from an earlier cut.
    """
    motion = _motion_at_zero(cut)
    first = _first_alone(motion)
    shift = _shift_of(first)
    zero = "0" if (axis := cut.lathe.axis("spindle")) is None else f"{axis.letter} 0"
    begins = (
        f"turn the spindle to {zero}"
        if again
        else f"turn the spindle to its position at the start of the job: this position is {zero}"
    )
    steps = [("spindle", f"{begins}; keep it there until the zeros are set")]
    steps += [_cam(cut, number) for number in _real_cams(cut)]
    if message := "; ".join(
        [*([f"{_bearing_text(motion)}{_rest_text(first, units)}"] if _real_cams(cut) else []), *_locks(motion)]
    ):
        steps.append(("headstock", message))
    steps.append(("x and y", _xy_step(cut, shift, units)))
    steps.append(("z", _z_step(cut, shift, units)))
    for push, name, mm in _other_followers(motion):
        reading = f"{name} must read {show_place(name, mm, cut.lathe, units)}"
        message = f"let only this follower bear; with {_tip_place(name, cut)}, {reading}"
        steps.append(
            (f"follower of cam {push.number}", f"{message}; shift this follower in its holder until the reading is correct")
        )
    if cut.passed.arc is not None and cut.passed.arc.cutter == "turns":
        steps.append(
            (
                "cutter",
                (
                    "set 0 with the cutter pointing along the spindle; at 90 degrees it points across the spindle, from the X "
                    "plus side"
                ),
            )
        )
    if _real_cams(cut):
        steps.append(("then", "set phase and index as below; x, y and z keep their zeros"))
    return tuple((f"{number}. {name}", message) for number, (name, message) in enumerate(steps, 1))


def _locks(motion: Motion) -> list[str]:
    """Return instructions to lock the motions of the headstock that no cam drives."""
    headstock, locks = motion.cut.lathe.headstock, []
    if headstock.sideways != "fixed" and not motion.sideways:
        locks.append(f"no cam moves it sideways: lock it {'upright over the pivot' if motion.rocks else 'in place'}")
    if headstock.endways != "fixed" and not motion.endways:
        locks.append("no cam moves it endways: lock it in place")
    return locks


def _alone(pushes: Pushes, push: Push) -> Pushes:
    """Return the pushes of one direction, reduced to the single push ``push``."""
    return replace(pushes, each=(push,))


def _first_alone(motion: Motion) -> Motion:
    """Return a motion without the second and later pushes of each direction in which only the furthest push takes effect."""
    both = (motion.sideways, motion.endways)
    across, along = (_alone(each, each.each[0]) if each.furthest and each.each else each for each in both)
    return replace(motion, sideways=across, endways=along)


def _other_followers(motion: Motion) -> Iterator[tuple[Push, str, float]]:
    """Yield each push that `_first_alone` removes, the slide that measures it, and the reading with this push alone, mm."""
    for push in motion.sideways.each[1:] if motion.sideways.furthest else ():
        yield push, "x", _shift_of(replace(motion, sideways=_alone(motion.sideways, push))).x
    for push in motion.endways.each[1:] if motion.endways.furthest else ():
        yield push, "z", _shift_of(replace(motion, endways=_alone(motion.endways, push))).z


def _bearing_text(motion: Motion) -> str:
    """Return the instruction on which followers bear on their cams while the zeros are set."""
    withdrawn = [f"cam {push.number}" for each in (motion.sideways, motion.endways) if each.furthest for push in each.each[1:]]
    if withdrawn:
        return f"draw the follower of {' and of '.join(withdrawn)} back, and let the other follower bear"
    return f"let the follower{'s' if len(motion.sideways) + len(motion.endways) > 1 else ''} bear"


def zero_again(before: Cut, now: Cut, units: LengthUnit = "mm") -> tuple[str, ...]:
    """Return the instructions to set the zeros again if cams or followers were fitted or removed between two cuts."""
    motion = _motion_at_zero(now)
    shift, fitted = _shift_of(_first_alone(motion)), _real_cams(now)
    moved, was = (_cam_directions(cut) for cut in (now, before))
    directions = [(name, moves) for name, moves in (("x", "sideways"), ("z", "endways")) if moves in moved | was]
    reads = [(name, getattr(shift, name), "") for name, _ in directions]
    reads += [(name, mm, f"only the follower of cam {push.number} bearing and ") for push, name, mm in _other_followers(motion)]
    shifted = [*(["the follower in its holder"] if fitted else []), *(["the headstock"] if was - moved else [])]
    return (
        f"zeros again: {f'spindle, phase and index at 0; {_bearing_text(motion)}' if fitted else 'spindle at 0'}",
        *(
            f"with {who}{_tip_place(name, now)}, {name} must read {show_place(name, mm, now.lathe, units)}"
            for name, mm, who in reads
        ),
        f"shift {' and '.join(shifted)} until they are correct",
        *(f"then lock the headstock {moves}: no cam moves it {moves}" for _, moves in directions if moves not in moved),
        *(["then set phase and index"] if fitted else []),
    )


def _cam_directions(cut: Cut) -> set[str]:
    """Return the directions in which cams move the headstock: "sideways", "endways" or both."""
    return {cut.passed.cams[number - 1].moves for number in _real_cams(cut)}


def _cam(cut: Cut, number: int) -> tuple[str, str]:
    """Return the name of a cam, and the instruction to set it to its zero."""
    drive, axis = cut.passed.cams[number - 1], cut.lathe.axis(f"cam {number}")
    sent = f"set {axis.letter} and index to 0" if axis is not None else "set phase and index to 0"
    top = "points to the cutter's side, X plus" if drive.moves == "sideways" else "stands at its follower"
    return cam_name(drive, number), f"{sent}, then turn the cam itself on its seat until the top of a lobe {top}"


def _rest_text(motion: Motion, units: LengthUnit) -> str:
    """Return the text on the headstock's displacement from its position without lift; a rocking headstock is upright there."""
    x, _, z = _shift_of(motion)
    far_x, far_z = (show_length(abs(mm), units) if abs(mm) >= _SHOWN_MM else "" for mm in (x, z))
    to_x, to_z = "towards the cutter" if x > 0 else "away from the cutter", "forward" if z > 0 else "back"
    found = []
    if motion.rocks and motion.sideways:
        place = f"{far_x} from upright over the pivot, {to_x}" if far_x else "upright over the pivot"
        found.append(f", and shift it in its holder until the spindle's axis stands {place}")
    elif far_x:
        found.append(f"; the lobes now hold the headstock {far_x} {to_x}")
    if far_z:
        found.append(f"; the lobes now hold the headstock {far_z} {to_z}")
    return "".join(found) or "; the lobes do not displace the headstock now"


def _xy_step(cut: Cut, shift: AxisShift, units: LengthUnit) -> str:
    """Return the instruction to set x and y with the tip on the spindle's axis."""
    now = " as it now stands" if _real_cams(cut) else ""
    x, y = (show_place(name, mm, cut.lathe, units) for name, mm in (("x", shift.x), ("y", shift.y)))
    if abs(shift.y) < _LOW_MM:
        return f"tip on the spindle's axis{now}: set x to {x}, y to 0"
    low = show_length(abs(shift.y), units)
    return f"tip on the spindle's axis{now}: set x to {x}, y to {y} (at y 0 the tip is {low} above the axis as it now stands)"


def _tip_place(slide: str, cut: Cut) -> str:
    """Return the position of the tip at which a slide is read."""
    return "the tip on the spindle's axis" if slide == "x" else _touch_place(cut)


def _touch_place(cut: Cut) -> str:
    """Return the position of the tip at which z is set."""
    return "the tip on the face of the work" if cut.approach.axis == "z" else "the tip at the end of the work"


def _z_step(cut: Cut, shift: AxisShift, units: LengthUnit) -> str:
    """Return the instruction to set z with the tip on the face or at the end of the work."""
    level = ", chucks that tilt set to 0" if _tilts(cut) else ""
    now = " as it now stands" if abs(shift.z) >= _SHOWN_MM else ""
    return f"{_touch_place(cut).removeprefix('the ')}{now}{level}: set z to {show_place('z', shift.z, cut.lathe, units)}"


def _tilts(cut: Cut) -> bool:
    """Return whether a chuck tilts the work."""
    motions = (each.chuck.motions(np.zeros(1)).rotation[0, 2, 2] for each in cut.lathe.chucks)
    return any(not math.isclose(level, 1.0, abs_tol=1e-12) for level in motions)
