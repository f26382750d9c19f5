"""The zeros: where everything is counted from, as steps that a person can do at the lathe, one after the other."""

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

__all__ = ["ZEROS", "Stand", "refits", "stand_at_zero", "zero_again", "zero_steps"]

ZEROS: Final = "zeros"
"""How the names of the groups of the sheet begin that say them."""

_SAID_MM: Final = 5e-5
"""Half of what lengths are said to."""
_LOW_MM: Final = 0.01
"""By so much the spindle may stand lower on its arc before it is said: no height is set as finely."""


class Stand(NamedTuple):
    """Where the spindle's axis stands, mm, from where it stands with no lift: the tip on it has these x, y and z."""

    x: float
    y: float
    z: float


def stand_at_zero(cut: Cut) -> Stand:
    """Return where the spindle's axis stands with the spindle, and phase and index of every cam, at 0, followers bearing.

    The top of a lobe of each cam then points to the cutter's side (edge cam), or stands at the follower (face cam). Of followers
    of which the one that pushes furthest holds, the first bears alone.

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
    >>> stand_at_zero(Cut(number=1, passed=Pass(cams=(wave,)), lathe=lathe))
    Stand(x=-5.0, y=0.0, z=0.0)
    """
    return _stand(_first_alone(_at_zero(cut)))


def _at_zero(cut: Cut) -> Motion:
    """Return the motion of a cut with everything that is counted in degrees at 0."""
    cams = tuple(replace(drive, phase=Phase(), index=Phase(), twist=None) for drive in cut.passed.cams)
    return motion_of(replace(cut, passed=replace(cut.passed, spindle=Phase(), cams=cams)))


def _stand(motion: Motion) -> Stand:
    x, y, z = (motion.carriage(np.zeros(1)).shift[0] + 0.0).tolist()
    return Stand(x, y, z)


def _fitted(cut: Cut) -> list[int]:
    """Return the numbers of the cams that are more than arithmetic."""
    return [number for number, _ in enumerate(cut.passed.cams, 1) if cut.lathe.cam_shaft(number).turned_by != "software"]


def refits(before: Cut, now: Cut) -> bool:
    """Return whether a cam, its follower, its side or its gain is another than before: the zeros must then be set again."""
    return _fittings(before) != _fittings(now)


def _fittings(cut: Cut) -> list[tuple[Any, ...]]:
    drives = [cut.passed.cams[number - 1] for number in _fitted(cut)]
    together = cut.passed.together if len(drives) > 1 else None
    return [(drive.cam, drive.follower, drive.side, drive.gain, together) for drive in drives]


def zero_steps(cut: Cut, units: LengthUnit = "mm", *, again: bool = False) -> tuple[tuple[str, str], ...]:
    """Return how to set the zeros before a cut, in the order in which it is done: what, and how.

    Parameters
    ----------
    cut : Cut
        The first that they are for.
    units : "mm" or "inch"
        For lengths.
    again : bool
        Whether the spindle has its zero already, from an earlier cut.
    """
    motion = _at_zero(cut)
    first = _first_alone(motion)
    stand = _stand(first)
    zero = "0" if (axis := cut.lathe.axis("spindle")) is None else f"{axis.letter} 0"
    begins = f"turn it to {zero}" if again else f"turn it to where it stands as the job begins: that is {zero}"
    steps = [("spindle", f"{begins}; keep it there until the zeros are set")]
    steps += [_cam(cut, number) for number in _fitted(cut)]
    if message := "; ".join([*([f"{_bearing(motion)}{_rests(first, units)}"] if _fitted(cut) else []), *_held(motion)]):
        steps.append(("headstock", message))
    steps.append(("x and y", _tip(cut, stand, units)))
    steps.append(("z", _end(cut, stand, units)))
    for push, name, mm in _others(motion):
        message = f"with it alone bearing, {_place_of(name, cut)} must read {name} {show_place(name, mm, cut.lathe, units)}"
        steps.append((f"follower of cam {push.number}", f"{message}; shift this follower in its holder until it does"))
    if cut.passed.arc is not None and cut.passed.arc.cutter == "turns":
        steps.append(("cutter", "pointing along the spindle; at 90 degrees across it, from X plus"))
    if _fitted(cut):
        steps.append(("then", "set phase and index as below; x, y and z keep their zeros"))
    return tuple((f"{number}. {name}", message) for number, (name, message) in enumerate(steps, 1))


def _held(motion: Motion) -> list[str]:
    """Return which ways a headstock that could move must not, for no cam moves it so."""
    headstock, holder = motion.cut.lathe.headstock, []
    if headstock.sideways != "fixed" and not motion.sideways:
        holder.append(f"no cam moves it sideways: lock it{' upright over the pivot' if motion.rocks else ' so'}")
    if headstock.endways != "fixed" and not motion.endways:
        holder.append("no cam moves it endways: lock it so")
    return holder


def _alone(pushes: Pushes, push: Push) -> Pushes:
    return replace(pushes, each=(push,))


def _first_alone(motion: Motion) -> Motion:
    """Return a motion with the first of the followers bearing alone, of those of which the one that pushes furthest holds."""
    both = (motion.sideways, motion.endways)
    across, along = (_alone(each, each.each[0]) if each.furthest and each.each else each for each in both)
    return replace(motion, sideways=across, endways=along)


def _others(motion: Motion) -> Iterator[tuple[Push, str, float]]:
    """Yield each other of those followers, which slide tells where it holds the spindle alone, and where, mm."""
    for push in motion.sideways.each[1:] if motion.sideways.furthest else ():
        yield push, "x", _stand(replace(motion, sideways=_alone(motion.sideways, push))).x
    for push in motion.endways.each[1:] if motion.endways.furthest else ():
        yield push, "z", _stand(replace(motion, endways=_alone(motion.endways, push))).z


def _bearing(motion: Motion) -> str:
    """Return which followers are let bear for the zeros."""
    drawn = [f"cam {push.number}" for each in (motion.sideways, motion.endways) if each.furthest for push in each.each[1:]]
    if drawn:
        return f"draw the follower of {' and of '.join(drawn)} back, and let the other bear"
    return f"let the follower{'s' if len(motion.sideways) + len(motion.endways) > 1 else ''} bear"


def zero_again(before: Cut, now: Cut, units: LengthUnit = "mm") -> tuple[str, ...]:
    """Return how the zeros are set again where other cams or followers were fitted after a cut, or taken off, thing by thing."""
    motion = _at_zero(now)
    stand, fitted = _stand(_first_alone(motion)), _fitted(now)
    moved, was = (_ways(cut) for cut in (now, before))
    ways = [(name, way) for name, way in (("x", "sideways"), ("z", "endways")) if way in moved | was]
    reads = [(name, getattr(stand, name), "") for name, _ in ways]
    reads += [(name, mm, f"with the follower of cam {push.number} alone, ") for push, name, mm in _others(motion)]
    shifted = [*(["the follower in its holder"] if fitted else []), *(["the headstock"] if was - moved else [])]
    return (
        f"zeros again: {f'spindle, phase and index at 0; {_bearing(motion)}' if fitted else 'spindle at 0'}",
        *(f"{who}{_place_of(name, now)} must read {name} {show_place(name, mm, now.lathe, units)}" for name, mm, who in reads),
        f"shift {' and '.join(shifted)} until it does",
        *(f"then lock the headstock {way}, for no cam moves it so" for _, way in ways if way not in moved),
        *(["then set phase and index"] if fitted else []),
    )


def _ways(cut: Cut) -> set[str]:
    """Return which ways cams move the headstock."""
    return {cut.passed.cams[number - 1].moves for number in _fitted(cut)}


def _cam(cut: Cut, number: int) -> tuple[str, str]:
    """Return how one cam is brought to its zero."""
    drive, axis = cut.passed.cams[number - 1], cut.lathe.axis(f"cam {number}")
    sent = f"{axis.letter} and index at 0" if axis is not None else "phase and index at 0"
    top = "points to the cutter's side, X plus" if drive.moves == "sideways" else "stands at its follower"
    return cam_name(drive, number), f"{sent}, then turn the cam itself on its seat until the top of a lobe {top}"


def _rests(motion: Motion, units: LengthUnit) -> str:
    """Return how far the headstock then stands from its place without lift; on a rocking one that is upright."""
    x, _, z = _stand(motion)
    far_x, far_z = (show_length(abs(mm), units) if abs(mm) >= _SAID_MM else "" for mm in (x, z))
    to_x, to_z = "towards the cutter" if x > 0 else "away from the cutter", "forward" if z > 0 else "back"
    found = []
    if motion.rocks and motion.sideways:
        place = f"{far_x} from upright over the pivot, {to_x}" if far_x else "upright over the pivot"
        found.append(f", and shift it in its holder until the spindle's axis stands {place}")
    elif far_x:
        found.append(f"; the lobes now hold the headstock {far_x} {to_x}")
    if far_z:
        found.append(f"; the lobes now hold the headstock {far_z} {to_z}")
    return "".join(found) or "; the lobes now move the headstock nowhere"


def _tip(cut: Cut, stand: Stand, units: LengthUnit) -> str:
    """Return what to set x and y to, the tip on the spindle's axis."""
    now = " as it now stands" if _fitted(cut) else ""
    x, y = (show_place(name, mm, cut.lathe, units) for name, mm in (("x", stand.x), ("y", stand.y)))
    if abs(stand.y) < _LOW_MM:
        return f"tip on the spindle's axis{now}: set x to {x}, y to 0"
    low = show_length(abs(stand.y), units)
    return f"tip on the spindle's axis{now}: set x to {x}, y to {y} (at y 0 the tip is {low} above the axis as it now stands)"


def _place_of(slide: str, cut: Cut) -> str:
    return "the tip on the spindle's axis" if slide == "x" else _touches(cut)


def _touches(cut: Cut) -> str:
    return "the tip on the face of the work" if cut.approach.axis == "z" else "the tip at the end of the work"


def _end(cut: Cut, stand: Stand, units: LengthUnit) -> str:
    """Return what to set z to, the tip on the face or at the end of the work."""
    level = ", chucks that tilt set to 0" if _tilts(cut) else ""
    now = " as it now stands" if abs(stand.z) >= _SAID_MM else ""
    return f"{_touches(cut).removeprefix('the ')}{now}{level}: set z to {show_place('z', stand.z, cut.lathe, units)}"


def _tilts(cut: Cut) -> bool:
    """Return whether a chuck leans the work."""
    motions = (each.chuck.motions(np.zeros(1)).rotation[0, 2, 2] for each in cut.lathe.chucks)
    return any(not math.isclose(level, 1.0, abs_tol=1e-12) for level in motions)
