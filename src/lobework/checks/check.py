"""Checks of closure, bridging, templates, travel and ratios; also the class `Finding`, one result of a check."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

import numpy as np

from lobework.gearing.ratios import turns_to_close
from lobework.kinematics.contact import largest_roller, lift_of
from lobework.lathe.actual_ratio import run_of
from lobework.lathe.hand_settings import show_length, show_percent
from lobework.lathe.lathe import Axis, HandAxis
from lobework.parts.chuck import PlainChuck
from lobework.quantities.tolerances import JOIN_MM, VISIBLE_MM
from lobework.quantities.units import MM_PER, LengthUnit, Phase, format_length, format_number
from lobework.text.printable import printable

if TYPE_CHECKING:
    from lobework.gearing.ratios import RealRatio
    from lobework.kinematics.trace import Trace
    from lobework.lathe.passes import Cut
    from lobework.parts.drive import Drive

__all__ = [
    "Finding",
    "bridging_findings",
    "closure_findings",
    "ratio_findings",
    "show_small",
    "template_findings",
    "travel_findings",
]

_TRAVEL_SLACK = 1e-9
"""Distance beyond the end of a travel that is treated as a rounding error, mm or degrees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One result of a check.

    Parameters
    ----------
    kind : str
        Subject of the check: "closure", "bridging", "travel", "ratio", "template", "frame", "work", "jump", "carving",
        "picture", or a word of your own.
    level : "note", "warning" or "problem"
        "note": information; "warning": probably a mistake; "problem": the job cannot be cut.
    where : str
        The pass and, if the finding concerns one of them, the cam or axis.
    message : str
        One line: the result with its numbers, and a remedy if there is one.

    Examples
    --------
    >>> print(Finding(kind="travel", level="problem", where="pass 1, x", message="goes to 80 mm; the travel ends at 75 mm"))
    problem (travel): pass 1, x: goes to 80 mm; the travel ends at 75 mm
    """

    kind: str
    level: Literal["note", "warning", "problem"]
    where: str
    message: str

    def __str__(self) -> str:
        return printable(f"{self.level} ({self.kind}): {self.where}: {self.message}")


def _by_group(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterator[tuple[str, list[Cut], list[Trace]]]:
    """Yield the name, cuts and traces of each pass of the job, so that a finding on all steps of a pass is reported once."""
    for group in dict.fromkeys(cut.group for cut in cuts):
        picked = [(cut, trace) for cut, trace in zip(cuts, traces, strict=True) if cut.group == group]
        name = picked[0][0].passed.name or f"pass {group}"
        yield name, [cut for cut, _ in picked], [trace for _, trace in picked]


def closure_findings(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield the finding on the closure of each pass: turns until the path closes, lobes per turn, and the gap at the join."""
    for name, same, paths in _by_group(cuts, traces):
        passed = same[0].passed
        if not passed.turns:
            continue
        worst = max((path.closure for path in paths), key=lambda closure: closure.gap_mm)
        lobes_shown = " and ".join(_in_lobes(drive, lobes) for drive, lobes in zip(passed.cams, worst.lobes_a_turn, strict=True))
        if worst.turns is None:
            yield Finding(
                kind="closure",
                level="note",
                where=name,
                message=f"{_why_open(same[0])}; the path ends {show_small(worst.gap_mm, same[0].units)} from its start"
                + _lobes_clause(lobes_shown),
            )
        elif worst.gap_mm <= JOIN_MM:
            turns = _turns(Fraction(worst.turns))
            yield Finding(kind="closure", level="note", where=name, message=f"closes after {turns}" + _lobes_clause(lobes_shown))
        else:
            leave = "leaves" if passed.turns == 1 else "leave"
            gaps = ", ".join(
                f"the wave of {drive.name} ends {format_number(float(gap), 4)} degrees from its start"
                for drive, gap in zip(passed.cams, worst.gap_deg, strict=True)
                if gap
            )
            yield Finding(
                kind="closure",
                level="warning",
                where=name,
                message=f"{_turns(passed.turns)} {leave} a gap of {show_small(worst.gap_mm, same[0].units)} at the join"
                + (f" ({gaps})" if gaps else "")
                + f"; the path closes after {_turns(Fraction(worst.turns))}: set turns = {worst.turns}"
                + (", or choose another ratio" if passed.cams else ""),
            )


def bridging_findings(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield a finding for each hollow of a cam that the follower bridges.

    The finding gives the position, width and depth of the hollow, and a follower that would reach the bottom.
    """
    for name, same, _ in _by_group(cuts, traces):
        for drive in same[0].passed.cams:
            for bridge in lift_of(drive.cam, drive.follower).bridges:
                reaches = largest_roller(drive.cam)
                size = show_small(reaches, same[0].units)
                remedy = (
                    f"a roller of {size} radius or less would reach the bottom"
                    if reaches > 0
                    else "only a knife would reach the bottom"
                )
                wide, deep = show_small(bridge.width, same[0].units), show_small(bridge.depth, same[0].units)
                first, last = (format_number(math.degrees(angle), 3) for angle in (bridge.first, bridge.last))
                each = f" in each of {drive.cam.lobes} lobes" if drive.cam.lobes > 1 else ""
                yield Finding(
                    kind="bridging",
                    level="warning",
                    where=f"{name}, {drive.name}",
                    message=f"the {drive.follower.kind} bridges the cam from {first} to {last} degrees{each}, "
                    f"{wide} wide, and stays up to {deep} above the bottom of the hollow; {remedy}",
                )


def template_findings(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield findings on each template whose size is based on an assumption, or with a hollow that the rubber bridges."""
    for name, same, _ in _by_group(cuts, traces):
        template = same[0].passed.template
        if template is not None and template.note:
            message = f"{template.source}: {template.note}; if this is wrong, give the size of its unit, such as unit = '1 mm'"
            yield Finding(kind="template", level="note", where=name, message=message)
        feeds: Literal["x", "z"] = "x" if same[0].approach.axis == "z" else "z"
        spanned = template.spans(feeds) if template is not None else []
        if spanned and (worst := max(spanned, key=lambda each: each.gap)).gap > VISIBLE_MM:
            place, gap = show_length(round(worst.place, 2), same[0].units), show_small(worst.gap, same[0].units)
            spans = f"the rubber bridges the hollow at {feeds} {place}, and stays {gap} above its bottom"
            message = f"{spans}; a smaller rubber would reach the bottom"
            yield Finding(kind="template", level="warning", where=name, message=message)


def travel_findings(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield a finding for each axis, driven or set by hand, that would leave its travel.

    The finding gives the extreme position of the axis, and the end of its travel.
    """
    for cut, trace in zip(cuts, traces, strict=True):
        lathe = cut.lathe
        places = {**{name: (float(at.min()), float(at.max())) for name, at in trace.axes.items()}, **_hand_positions(cut)}
        axes: tuple[Axis | HandAxis, ...] = (*lathe.axes, *lathe.hand)
        for axis in axes:
            name = "spindle by hand" if isinstance(axis, HandAxis) and axis.moves == "spindle" else axis.moves
            if name not in places:
                continue
            for position, end, over in _ends(places[name], axis):
                if not over <= _TRAVEL_SLACK:
                    verb, whose = ("goes", f"the travel of {axis.letter}") if isinstance(axis, Axis) else ("is set", "its travel")
                    yield Finding(
                        kind="travel",
                        level="problem",
                        where=f"{cut.title}, {name}",
                        message=f"{verb} to {_place_text(position, axis, cut.units)}; "
                        f"{whose} ends at {_place_text(end, axis, cut.units)}",
                    )


def _ends(places: tuple[float, float], axis: Axis | HandAxis) -> Iterator[tuple[float, float, float]]:
    """Yield, for both directions, the extreme position of an axis, the end of its travel, and the distance beyond this end."""
    least, most = places
    yield least, axis.low, axis.low - least
    yield most, axis.high, most - axis.high


def _place_text(place: float, axis: Axis | HandAxis, units: LengthUnit) -> str:
    """Return the text for a position of an axis."""
    wound = f", {axis.screw.setting_text(place)} of its screw" if isinstance(axis, HandAxis) and axis.screw is not None else ""
    return f"{format_number(place)} degrees" if axis.rotary else f"{show_length(place, units)}{wound}"


def _hand_positions(cut: Cut) -> dict[str, tuple[float, float]]:
    """Return the angles that are set by hand for this cut, degrees: the least and the greatest, by name.

    The angles are the phase and index of each cam, and the angle of the spindle, which includes the index of the first chuck.
    """
    found = {
        f"cam {number} {name}": float(getattr(drive, name).in_degrees(drive.cam.lobes))
        for number, drive in enumerate(map(cut.as_set, cut.passed.cams), 1)
        for name in ("phase", "index")
    }
    chuck = cut.lathe.chucks[0].chuck if cut.lathe.chucks else None
    by_drive = cut.passed.spindle if cut.lathe.axis("spindle") is None else Phase()
    found["spindle by hand"] = float((by_drive + (chuck.index if isinstance(chuck, PlainChuck) else Phase())).in_degrees())
    return {name: (at, at) for name, at in found.items()}


def ratio_findings(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield findings on each cam: the actual ratio of its drive with the gap at the join, and motor steps that are too coarse."""
    for name, same, paths in _by_group(cuts, traces):
        passed, lathe = same[0].passed, same[0].lathe
        radius = max(float(np.hypot(path.x, path.y).max()) for path in paths)
        for number, drive in enumerate(passed.cams, 1):
            shaft, where = lathe.cam_shaft(number), f"{name}, {drive.name}"
            if passed.turns and radius and drive.ratio and shaft.turned_by in ("gears", "motor"):
                actual = run_of(lathe, number, drive.ratio)
                if not actual.exact:
                    yield _ratio_finding(actual, drive, same[0], radius, where)
                elif shaft.wheels or shaft.percent_places is not None:
                    yield Finding(
                        kind="ratio", level="note", where=where, message=f"runs at {drive.ratio} exactly: {actual.description}"
                    )
                axis = lathe.axis(f"cam {number}")
                if axis and axis.steps and (coarse := _half_a_step(drive, axis.steps)) > VISIBLE_MM:
                    finer = f"use more than {axis.steps:g} steps a turn"
                    message = f"half a step of the cam's motor moves the headstock {show_small(coarse, same[0].units)}; {finer}"
                    yield Finding(kind="ratio", level="warning", where=where, message=message)


def _ratio_finding(actual: RealRatio, drive: Drive, cut: Cut, radius: float, where: str) -> Finding:
    """Return the finding on a drive whose actual ratio is inexact: the gap at the join, and the turns until it is visible."""
    closes = turns_to_close(drive.cam.lobes, drive.ratio)
    until = actual.turns_until_seen(radius)
    assert until is not None
    gap = (
        f"{format_number(abs(float(actual.gap(closes))), 4)} degrees, {show_small(abs(actual.gap_mm(closes, radius)), cut.units)}"
    )
    return Finding(
        kind="ratio",
        level="warning" if until <= cut.passed.turns else "note",
        where=where,
        message=f"runs at {show_percent(actual)}, not {drive.ratio} ({actual.description}): after {_turns(Fraction(closes))} the "
        f"gap at the join is {gap} at a radius of {show_small(radius, cut.units)}; this is visible after "
        f"{_turns(Fraction(until))}; use a ratio that the drive can make, or gears",
    )


def _half_a_step(drive: Drive, steps: float) -> float:
    """Return the greatest displacement of the headstock, mm, that half a step of a cam's motor causes."""
    lift, cam = lift_of(drive.cam, drive.follower).curve, np.linspace(0, 2 * math.pi, 4097)
    return drive.gain * float(np.abs(lift.at(cam + math.pi / steps) - lift.at(cam)).max())


def _why_open(cut: Cut) -> str:
    """Return the reason why a pass does not close."""
    if any(cut.travel):
        return "the slides travel, so the pass does not close"
    if eased := [drive.name for drive in cut.passed.cams if drive.twist and drive.twist.ease]:
        return f"the twist of {eased[0]} is eased, so the pass does not close"
    if never := [mounted.name for mounted in cut.lathe.chucks if mounted.period_turns == 0]:
        return f"chuck {never[0]!r} never returns to its starting position, so the pass never closes"
    return "a chuck does not return to its starting position with the spindle, and the chuck's period is not known"


def show_small(mm: float, units: LengthUnit = "mm") -> str:
    """Return the text for a length: three decimals in mm, four in inches; for a very small length, three significant figures.

    >>> show_small(0.4), show_small(0.00123), show_small(0.4, "inch"), show_small(0.00123, "inch")
    ('0.4 mm', '0.00123 mm', '0.0157 in', '0.0000484 in')
    """
    least, places = {"mm": (0.01, 3), "inch": (0.001, 4)}[units]
    value = mm / float(MM_PER[units])
    if 0 < abs(value) < least:
        places = 2 - math.floor(math.log10(abs(value)))
    return format_length(mm, units, places)


def _turns(value: Fraction) -> str:
    """Return the text for a number of turns."""
    return "1 turn" if value == 1 else f"{value} turns"


def _lobes_clause(lobes_shown: str) -> str:
    """Return the last clause of a message, which gives the lobes per turn; empty without cams."""
    return f"; the pattern has {lobes_shown} per turn" if lobes_shown else ""


def _in_lobes(drive: Drive, lobes: Fraction) -> str:
    """Return the text for a number of lobes of a cam."""
    return f"{lobes} {'lobe' if lobes == 1 else 'lobes'} of {drive.name}"
