"""Which way plus is, by eye: of every axis that turns, of an index, of a face cam, and what the lever of a gain does.

Plus turns the work itself, a cam or a cutter by the right-hand rule: the way that carries a right-hand screw towards plus Z (for
a cutter, plus Y). RS274/NGC, and ISO 841 (from memory), speak of the tool as seen from the work instead (T. R. Kramer, F. M.
Proctor, E. Messina, *The NIST RS274/NGC Interpreter - Version 3*, NISTIR 6556, 2000, 2.1.2.2); a controller that is wired so
turns the work the other way: see ``reversed`` of `lobework.lathe.lathe.Axis`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Final

from lobework.lathe.hand_settings import show

if TYPE_CHECKING:
    from lobework.lathe.lathe import Axis
    from lobework.lathe.passes import Cut

__all__ = ["DIRECTIONS", "SEEN", "directions", "plus_of", "trial_of", "trials"]

DIRECTIONS: Final = "which way is plus"
"""Name of the group on the sheet."""

SEEN: Final = "from the free end of the work towards the headstock: the cutter on the right (X plus), Y plus upwards"
"""From where everything that turns is looked at, but a cutter."""

_MIRROR: Final = "the lathe is a mirror image of this: read clockwise for counterclockwise; the pattern comes out mirrored"
_OTHERWISE: Final = (
    "if one goes the other way, change reversed in its [[axis]] table of the lathe (false unless written), and write the "
    "program anew"
)
_QUARTER: Final = 90.0


def plus_of(axis: Axis) -> str:
    """Return which way a rotary axis turns from lower numbers to higher, by eye.

    >>> from lobework.lathe.lathe import Axis
    >>> plus_of(Axis(moves="spindle", letter="C"))
    'turns the work counterclockwise: the wood at the cutter goes up'
    """
    if axis.moves == "spindle":
        message = "turns the work counterclockwise: the wood at the cutter goes up"
    elif axis.moves == "cutter":
        message = (
            "turns the cutter counterclockwise, seen from above: from along the spindle, at 0, to across it, from X plus, at 90"
        )
    else:
        message = f"turns {axis.moves} counterclockwise, as the work"
    return message + (f"; {axis.letter} is reversed: its words in the program have the other sign" if axis.reversed else "")


def trial_of(axis: Axis) -> str:
    """Return how to try which way a rotary axis turns, before anything is cut.

    >>> from lobework.lathe.lathe import Axis
    >>> trial_of(Axis(moves="spindle", letter="C", reversed=True))
    'send C from 0 to -90: a mark on the work, made at the cutter, must come to the top'
    """
    if axis.low <= 0 and axis.high >= _QUARTER:
        sent, comes = f"send {axis.letter} from 0 to {axis.sign * _QUARTER:g}", "come to the top"
        points = "point across the spindle, from X plus"
    else:
        sent, comes = f"send {axis.letter} a little towards {'minus' if axis.reversed else 'plus'}", "go up"
        points = "swing from along the spindle towards X plus"
    if axis.moves == "cutter":
        return f"{sent}: the cutter must {points}"
    what, where = ("the work", "at the cutter") if axis.moves == "spindle" else (axis.moves, "on the cutter's side")
    return f"{sent}: a mark on {what}, made {where}, must {comes}"


def trials(axes: Iterable[Axis]) -> tuple[str, ...]:
    """Return how to try each rotary axis, and what to do if one turns the other way; nothing where none is rotary."""
    found = tuple(trial_of(axis) for axis in axes if axis.rotary)
    return (*found, _OTHERWISE) if found else ()


def directions(cuts: Sequence[Cut]) -> tuple[tuple[str, str], ...]:
    """Return which way plus is of all that turns in some cuts, and how to try it: names, and what is said of each.

    Parameters
    ----------
    cuts : sequence of Cut
        Every cut of the job, at least one.
    """
    lathe = cuts[0].lathe
    axes = [axis for axis in lathe.axes if axis.rotary and _used(axis, cuts)]
    said = [("seen", SEEN), ("cutter on the left", _MIRROR)]
    if lathe.axis("spindle") is None:
        said.append(("spindle plus", "turns the work counterclockwise: the wood at the cutter goes up"))
    said += [(f"{axis.letter} plus", plus_of(axis)) for axis in axes]
    if any(cut.passed.cams for cut in cuts):
        said.append(("phase, index plus", "turn a cam on counterclockwise, as the work"))
    if any(_is_indexed(each.chuck) for each in lathe.chucks):
        message = "turns the work on counterclockwise, so that the next cut comes clockwise of the last on the work"
        said.append(("chuck's index plus", message))
    said += _pushes(cuts)
    return (*said, *(("try it first", trial) for trial in trials(axes)))


def _used(axis: Axis, cuts: Sequence[Cut]) -> bool:
    """Return whether an axis turns in any of some cuts."""
    if axis.moves == "cutter":
        return any(cut.passed.arc is not None and cut.passed.arc.cutter == "turns" for cut in cuts)
    number = 0 if axis.moves == "spindle" else int(axis.moves.split()[1])
    return number == 0 or any(number <= len(cut.passed.cams) for cut in cuts)


def _is_indexed(chuck: object) -> bool:
    return any(each.name == "index" for each in fields(chuck))  # type: ignore[arg-type]


def _pushes(cuts: Sequence[Cut]) -> list[tuple[str, str]]:
    """Return which way a follower that is lifted moves the headstock, by edge and face cams, and what a gain is."""
    drives = [
        drive
        for cut in cuts
        for number, drive in enumerate(cut.passed.cams, 1)
        if cut.lathe.cam_shaft(number).turned_by != "software"
    ]
    said = []
    for moves, front, back in (
        ("sideways", "away from the cutter (X minus)", "towards the cutter (X plus)"),
        ("endways", "back, away from the free end of the work (Z minus)", "forward, towards the free end of the work (Z plus)"),
    ):
        sides = {drive.side for drive in drives if drive.moves == moves}
        name = "edge cam" if moves == "sideways" else "face cam"
        for side, way in (("front", front), ("back", back)):
            if side in sides:
                said.append((name, f"a lobe under a follower at the {side} pushes the headstock {way}"))
    gains = sorted({drive.gain for drive in drives} - {1.0})
    if gains:
        shown = show(gains[0]) + (f" to {show(gains[-1])}" if len(gains) > 1 else "")
        lever = "a lever from the headstock carries the follower along with the spindle by 1 - 1/gain of the spindle's travel"
        message = (
            f"{shown}: travel of the spindle, at its own height, over the lift of the follower; {lever} (below zero, against it)"
        )
        said.append(("gain", message))
    return said
