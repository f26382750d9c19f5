"""The description of a lathe: its headstock, its driven and manual axes, the drive of its cams, and its controller."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lobework.lathe.hand_settings import show_length
from lobework.quantities.units import LengthUnit, format_number
from lobework.sheets.directions import plus_of
from lobework.sheets.settings import Entry, Group, axis_entry, bed_entries, hand_entry

if TYPE_CHECKING:
    from lobework.lathe.lathe import Axis, Controller, Lathe
    from lobework.parts.camshaft import CamShaft

__all__ = ["lathe_sheet"]


def lathe_sheet(lathe: Lathe, units: LengthUnit = "mm") -> tuple[Group, ...]:
    """Return the description of a lathe.

    Parameters
    ----------
    lathe : Lathe
        The lathe; its chucks are not described.
    units : "mm" or "inch"
        Unit of lengths and speeds.

    Returns
    -------
    tuple of Group
        The groups of the description, from the headstock to the controller; empty groups are omitted.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.lathe.lathe import Lathe
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="rocks", pivot_height=250.0))
    >>> print(lathe_sheet(lathe)[0].entries[0].value)
    rocks about a pivot 250 mm below the spindle
    """
    groups = {
        "headstock": _headstock(lathe, units),
        "bed": bed_entries(lathe, units),
        "moved by the controller": [
            (name, _axis_description(message, axis, units)) for axis in lathe.axes for name, message in [axis_entry(axis, units)]
        ],
        "set by hand": [hand_entry(each, units) for each in lathe.hand],
        "cams": _cams(lathe),
        "controller": _controller(lathe.controller, units) if lathe.axes else [],
    }
    return tuple(Group(name, tuple(Entry(*each) for each in entries)) for name, entries in groups.items() if entries)


def _headstock(lathe: Lathe, units: LengthUnit) -> list[tuple[str, str]]:
    """Return the motions of the headstock, and the sides on which it has followers."""
    headstock = lathe.headstock
    sideways = {
        "rocks": f"rocks about a pivot {show_length(headstock.pivot_height, units)} below the spindle",
        "slides": "slides across the bench",
        "fixed": "stands still",
    }
    endways = {"pumps": "pumps along the spindle", "fixed": "stands still"}
    both = " or ".join(headstock.followers)
    followers = [("followers", f"{both}; the front is the cutter's side" if len(headstock.followers) > 1 else f"{both} alone")]
    return [
        ("sideways", sideways[headstock.sideways]),
        ("endways", endways[headstock.endways]),
        *(followers if _headstock_moves(lathe) else []),
    ]


def _headstock_moves(lathe: Lathe) -> bool:
    """Return whether the headstock can move."""
    return lathe.headstock.sideways != "fixed" or lathe.headstock.endways != "fixed"


def _axis_description(message: str, axis: Axis, units: LengthUnit) -> str:
    """Return the motion and travel of an axis, with the top speed, acceleration and steps of its motor."""
    scale, unit = (360.0, "turn") if axis.rotary else (25.4, "in") if units == "inch" else (1.0, "mm")
    many = "turns" if axis.rotary else unit
    found = [message, *([plus_of(axis)] if axis.rotary else [])]
    if math.isfinite(axis.top_speed):
        found.append(f"at most {format_number(axis.top_speed * 60 / scale)} {many} a minute")
    if math.isfinite(axis.acceleration):
        found.append(f"{format_number(axis.acceleration / scale)} {unit if axis.acceleration == scale else many}/s2")
    if axis.steps:
        found.append(f"{format_number(axis.steps * (1.0 if axis.rotary else scale))} steps a{'n' if unit == 'in' else ''} {unit}")
    return "; ".join(found)


def _cams(lathe: Lathe) -> list[tuple[str, str]]:
    """Return the description of each cam's drive; if the headstock can move, also one entry for all cams that are not listed."""
    others = [("any other cam", "locked to the spindle")] if _headstock_moves(lathe) else []
    return [(f"cam {number}", _drive(lathe.cam_shaft(number), lathe)) for number in _cam_numbers(lathe)] + others


def _cam_numbers(lathe: Lathe) -> list[int]:
    """Return the numbers of the cams that the lathe describes."""
    moves = [*(axis.moves for axis in lathe.axes), *(each.moves for each in lathe.hand)]
    moved = {int(each.split()[1]) for each in moves if each.startswith("cam ")}
    return sorted(moved | {cam.number for cam in lathe.cams})


def _drive(cam: CamShaft, lathe: Lathe) -> str:
    """Return the description of what turns a cam."""
    if cam.turned_by == "gears":
        room = "one pair" if cam.pairs == 1 else f"{cam.pairs} pairs"
        return f"turned by gears from the spindle, at most {room} of the wheels {', '.join(map(str, cam.wheels))}"
    if cam.turned_by == "motor":
        axis = lathe.axis(f"cam {cam.number}")
        assert axis is not None
        message = f"turned by its own motor, axis {axis.letter}"
        decimals = "no decimals" if cam.percent_places == 0 else f"{cam.percent_places} decimals"
        return (
            message
            if cam.percent_places is None
            else f"{message}; its controller accepts the ratio as a percentage with {decimals}"
        )
    return (
        "exists only in software: a slide follows the lift of the cam" if cam.turned_by == "software" else "locked to the spindle"
    )


def _controller(controller: Controller, units: LengthUnit) -> list[tuple[str, str]]:
    """Return the properties of a controller."""
    slides = controller.slide_places or {"mm": 6, "inch": 7}[units]
    comments = {"parentheses": "in parentheses", "semicolon": "after a semicolon", "none": "omitted"}
    return [
        ("lines", f"at most {controller.longest_line} characters{', numbered' if controller.line_numbers else ''}"),
        ("decimals", f"{slides} on slides, {controller.rotary_places} on rotary axes"),
        ("inverse time", "known (G93)" if controller.inverse_time else "not known"),
        ("remarks", comments[controller.comments]),
    ]
