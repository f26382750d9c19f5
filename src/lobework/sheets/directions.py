"""Positive directions of rotary axes, indexes and cams as seen at the lathe, and the effect of the lever that gives a gain.

A positive angle turns the work, a cam or a cutter in the direction that drives a right-hand screw towards plus Z (for a cutter,
plus Y). It is the motion of the part itself, not that of the tool relative to the part. RS274/NGC and ISO 841 (the latter from
memory) define the direction by the motion of the tool relative to the work (T. R. Kramer, F. M. Proctor, E. Messina, *The NIST
RS274/NGC Interpreter - Version 3*, NISTIR 6556, 2000, 2.1.2.2). A controller that follows that definition turns the work in the
opposite direction: see ``reversed`` of `lobework.lathe.lathe.Axis`.
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

DIRECTIONS: Final = "positive directions"
"""Name of this group on the settings sheet."""

SEEN: Final = "from the free end of the work towards the headstock: the cutter on the right (X plus), Y plus upwards"
"""Viewpoint for all rotations except those of a cutter."""

_MIRROR: Final = "the lathe is a mirror image of this description: read clockwise for counterclockwise; the pattern is mirrored"
_IF_REVERSED: Final = (
    "if an axis turns the other way, change the setting reversed (default: false) in the [[axis]] table of that axis, and write "
    "the program again"
)
_QUARTER_TURN_DEG: Final = 90.0


def plus_of(axis: Axis) -> str:
    """Return a description of the direction in which a rotary axis turns as its value increases.

    >>> from lobework.lathe.lathe import Axis
    >>> plus_of(Axis(moves="spindle", letter="C"))
    'turns the work counterclockwise: the wood at the cutter goes up'
    """
    if axis.moves == "spindle":
        message = "turns the work counterclockwise: the wood at the cutter goes up"
    elif axis.moves == "cutter":
        message = (
            "turns the cutter counterclockwise, seen from above: at 0 the cutter points along the spindle, at 90 "
            "across the spindle, from the "
            "X plus side"
        )
    else:
        message = f"turns {axis.moves} counterclockwise, like the work"
    return message + (f"; {axis.letter} is reversed: its words in the program have the opposite sign" if axis.reversed else "")


def trial_of(axis: Axis) -> str:
    """Return an instruction to test the direction of a rotary axis before cutting.

    >>> from lobework.lathe.lathe import Axis
    >>> trial_of(Axis(moves="spindle", letter="C", reversed=True))
    'move C from 0 to -90: a mark on the work, made at the cutter, must come to the top'
    """
    if axis.low <= 0 and axis.high >= _QUARTER_TURN_DEG:
        command, result = f"move {axis.letter} from 0 to {axis.sign * _QUARTER_TURN_DEG:g}", "come to the top"
        cutter_result = "point across the spindle, from the X plus side"
    else:
        command, result = f"move {axis.letter} a little towards {'minus' if axis.reversed else 'plus'}", "go up"
        cutter_result = "swing from along the spindle towards X plus"
    if axis.moves == "cutter":
        return f"{command}: the cutter must {cutter_result}"
    what, where = ("the work", "at the cutter") if axis.moves == "spindle" else (axis.moves, "on the cutter's side")
    return f"{command}: a mark on {what}, made {where}, must {result}"


def trials(axes: Iterable[Axis]) -> tuple[str, ...]:
    """Return the test of each rotary axis, and the remedy for an axis that turns the wrong way; empty if no axis is rotary."""
    found = tuple(trial_of(axis) for axis in axes if axis.rotary)
    return (*found, _IF_REVERSED) if found else ()


def directions(cuts: Sequence[Cut]) -> tuple[tuple[str, str], ...]:
    """Return pairs of a name and a description: the positive direction of everything that turns in the cuts, and its test.

    Parameters
    ----------
    cuts : sequence of Cut
        Every cut of the job, at least one.
    """
    lathe = cuts[0].lathe
    axes = [axis for axis in lathe.axes if axis.rotary and _turns_in(axis, cuts)]
    entries = [("seen", SEEN), ("cutter on the left", _MIRROR)]
    if lathe.axis("spindle") is None:
        entries.append(("spindle plus", "turns the work counterclockwise: the wood at the cutter goes up"))
    entries += [(f"{axis.letter} plus", plus_of(axis)) for axis in axes]
    if any(cut.passed.cams for cut in cuts):
        entries.append(("phase, index plus", "turn a cam further counterclockwise, like the work"))
    if any(_is_indexed(each.chuck) for each in lathe.chucks):
        message = "turns the work further counterclockwise, so that the next cut lies clockwise of the one before it on the work"
        entries.append(("chuck's index plus", message))
    entries += _push_directions(cuts)
    return (*entries, *(("try it first", trial) for trial in trials(axes)))


def _turns_in(axis: Axis, cuts: Sequence[Cut]) -> bool:
    """Return whether a rotary axis is used in any of the cuts."""
    if axis.moves == "cutter":
        return any(cut.passed.arc is not None and cut.passed.arc.cutter == "turns" for cut in cuts)
    number = 0 if axis.moves == "spindle" else int(axis.moves.split()[1])
    return number == 0 or any(number <= len(cut.passed.cams) for cut in cuts)


def _is_indexed(chuck: object) -> bool:
    """Return whether a chuck has an index."""
    return any(each.name == "index" for each in fields(chuck))  # type: ignore[arg-type]


def _push_directions(cuts: Sequence[Cut]) -> list[tuple[str, str]]:
    """Return the direction in which a lifted follower pushes the headstock, for edge and face cams, and the meaning of a gain."""
    drives = [
        drive
        for cut in cuts
        for number, drive in enumerate(cut.passed.cams, 1)
        if cut.lathe.cam_shaft(number).turned_by != "software"
    ]
    entries = []
    for moves, front, back in (
        ("sideways", "away from the cutter (X minus)", "towards the cutter (X plus)"),
        ("endways", "back, away from the free end of the work (Z minus)", "forward, towards the free end of the work (Z plus)"),
    ):
        sides = {drive.side for drive in drives if drive.moves == moves}
        name = "edge cam" if moves == "sideways" else "face cam"
        for side, direction in (("front", front), ("back", back)):
            if side in sides:
                entries.append((name, f"a lobe under a follower at the {side} pushes the headstock {direction}"))
    gains = sorted({drive.gain for drive in drives} - {1.0})
    if gains:
        shown = show(gains[0]) + (f" to {show(gains[-1])}" if len(gains) > 1 else "")
        lever = "a lever from the headstock moves the follower by 1 - 1/gain of the spindle's travel, in the same direction"
        message = (
            f"{shown}: travel of the spindle, at spindle height, divided by the lift of the follower; {lever} "
            "(in the opposite direction if 1 - 1/gain is negative)"
        )
        entries.append(("gain", message))
    return entries
