"""The settings sheet, independent of a file format: every value to set before the job, and the cuts in order."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from lobework.checks.cutting_frame import frame_by_cut, groove_angle_of
from lobework.errors import require
from lobework.lathe.hand_settings import (
    cam_name,
    gears_of,
    on_one_circle,
    plain_name,
    settings_of,
    show,
    show_length,
    show_percent,
    show_place,
    show_ratio,
    show_turned,
    show_twist,
    turns_with_spindle,
)
from lobework.lathe.passes import step_measure
from lobework.parts.abilities import holder_of
from lobework.parts.feeds import Feeds
from lobework.parts.holder import CuttingFrame
from lobework.parts.slide import At
from lobework.quantities.fields import Measure, measures, show_pairs
from lobework.quantities.units import LengthUnit, format_number
from lobework.sheets.directions import DIRECTIONS, directions
from lobework.sheets.zeros import ZEROS, refits, shift_at_zero, zero_steps
from lobework.text.brief import Brief
from lobework.text.cautions import SILENT
from lobework.text.shown import Shown

if TYPE_CHECKING:
    from lobework.lathe.lathe import Axis, HandAxis, Lathe
    from lobework.lathe.passes import Cut, Pass
    from lobework.parts.drive import Drive
    from lobework.parts.protocols import Cutter, Piece

__all__ = [
    "SET_BY",
    "Column",
    "CutRow",
    "Entry",
    "Group",
    "Settings",
    "Steps",
    "axis_entry",
    "bed_entries",
    "hand_entry",
    "set_up",
    "settings",
]

SET_BY: Final = {"program": "by program", "hand": "by hand", "information": "for information"}
"""Text for each way in which a column of the steps is set."""
_PROGRAM: Final = "program"
_MOST_SHOWN: Final = 12
"""Greatest number of points of a template that are listed."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One setting: its name and its value."""

    name: str
    value: str


@dataclass(frozen=True, slots=True, repr=False)
class Group(Brief):
    """Settings of one part of the lathe or the job."""

    name: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A setting that changes from cut to cut: its name, and who sets it; "information" if it is not set."""

    name: str
    by: Literal["program", "hand", "information"]


@dataclass(frozen=True, slots=True)
class CutRow:
    """One cut: its number in the job, its step numbers in the series, and the value of each column."""

    number: int
    step_numbers: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True, repr=False)
class Steps(Brief):
    """The cuts of one pass of the job, in order."""

    name: str
    step_heading: str
    columns: tuple[Column, ...]
    rows: tuple[CutRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Settings(Shown):
    """The settings sheet, independent of a file format.

    Parameters
    ----------
    title : str
        Title of the job.
    groups : tuple of Group
        The set-up, from the work and the lathe to the cams of each pass.
    steps : tuple of Steps
        The cuts, pass by pass.
    """

    title: str
    groups: tuple[Group, ...]
    steps: tuple[Steps, ...]

    def __repr__(self) -> str:
        cuts = sum(len(each.rows) for each in self.steps)
        return f"<settings, {len(self.groups)} groups and {cuts} cuts: {self.title or 'untitled'}>"

    @property
    def by_hand(self) -> bool:
        """Whether everything is set by hand, because no program can be written for this lathe."""
        return not any(group.name == _PROGRAM for group in self.groups)


def _group(name: str, *entries: tuple[str, str]) -> Group:
    """Return a group of entries, each given as a name and a value."""
    return Group(name, tuple(Entry(*each) for each in entries))


def _travel(axis: Axis | HandAxis, units: LengthUnit) -> str:
    """Return the description of an axis's travel; empty if it is unlimited."""

    def end(value: float) -> str:
        return f"{format_number(value)} deg" if axis.rotary else show_length(value, units)

    return f", from {end(axis.low)} to {end(axis.high)}" if math.isfinite(axis.low) or math.isfinite(axis.high) else ""


def axis_entry(axis: Axis, units: LengthUnit) -> tuple[str, str]:
    """Return two texts: the name of an axis; the part that the axis moves, with its travel."""
    plain = f"the {axis.moves}" if axis.moves in ("spindle", "cutter") else axis.moves
    what = plain if axis.rotary else f"the {axis.moves} slide"
    turned = ", reversed" if axis.reversed else ""
    return f"axis {axis.letter}", f"moves {what}{_travel(axis, units) or ', unlimited travel'}{turned}"


def hand_entry(hand: HandAxis, units: LengthUnit) -> tuple[str, str]:
    """Return two texts: the name of an axis that is set by hand; the screw or wheel of the axis, with its travel."""
    name = hand.moves if hand.rotary else f"{hand.moves} slide"
    scale = show(hand.screw, units=units) if hand.screw is not None else str(hand.wheel)
    return name, scale + _travel(hand, units)


def _cam(drive: Drive, number: int, lathe: Lathe, units: LengthUnit) -> Group:
    """Return the settings of a cam, its drive and its follower."""
    driven = " on the spindle itself" if turns_with_spindle(drive, number, lathe) else ""
    return _group(
        cam_name(drive, number),
        ("shape", drive.cam.kind),
        *settings_of(drive.cam, units),
        ("ratio to spindle", show_ratio(drive.ratio) + driven),
        *_cam_drive(drive, number, lathe),
        ("phase", show_turned("phase", drive, number, lathe)),
        ("index", show_turned("index", drive, number, lathe)),
        *((("twist", show_twist(drive.twist, units, drive.cam.lobes)),) if drive.twist else ()),
        ("follower", drive.follower.kind),
        *((f"follower {name}", value) for name, value in settings_of(drive.follower, units)),
        ("follower side", drive.side),
        ("gain", show(drive.gain)),
    )


def _cam_drive(drive: Drive, number: int, lathe: Lathe) -> list[tuple[str, str]]:
    """Return the entry on what turns a cam, with the value to set."""
    shaft = lathe.cam_shaft(number)
    if (run := shaft.percent(drive.ratio)) is not None:
        percent = show_percent(run)
        return [
            ("percent to set", percent if run.exact else f"{percent}, the nearest possible; the check gives the gap at the join")
        ]
    if shaft.turned_by == "software":
        slide = "x" if drive.moves == "sideways" else "z"
        return [("turned by", f"nothing: the cam exists only in software, and the {slide} slide follows its lift")]
    return [("gears", gears)] if (gears := gears_of(drive, number, lathe)) else []


def _pass(cut: Cut, units: LengthUnit, frame: str) -> Group:
    """Return the settings of a pass; the text ``frame`` gives the angle of the cutting frame, and is empty without one."""
    passed = cut.passed
    arc = [(f"arc {name}", value) for name, value in settings_of(passed.arc, units)] if passed.arc else []
    slides = {name: _slide(name, cut) for name in measures(At)}
    off = "off the template" if passed.template else "arc about" if arc else "begins at"
    at = [
        (
            f"{off if name != 'depth' else 'begins at'} {name}",
            show_place(slide, getattr(passed.at, name), cut.lathe, units),
        )
        for name, slide in slides.items()
        if not passed.template or name == "depth" or getattr(passed.at, name)
    ]
    travel = [
        (f"travels by {name}", show_place(slide, mm, cut.lathe, units))
        for name, slide in slides.items()
        if (mm := getattr(passed.travel, name))
    ]
    together = [("cams together", passed.together)] if passed.together and len(passed.cams) > 1 else []
    still = "none: the slides move while the spindle stands still" if cut.span else "none: plunge and retract only"
    turns = show(passed.turns) if passed.turns else still
    begins = [("spindle begins at", _value("spindle", passed.spindle, cut, units))] if passed.spindle.turns else []
    angle = [("angle of the frame", frame)] if frame else []
    path = [*at, *arc, *_template(cut, units), *travel]
    return _group(_pass_name(passed, cut.group), ("spindle turns", turns), *begins, *path, *angle, *together)


def _template(cut: Cut, units: LengthUnit) -> list[tuple[str, str]]:
    """Return the entries on the template that guides the slides, and on the positions of the tip at both ends of the pass."""
    if (template := cut.passed.template) is None:
        return []
    through = f"{len(template.points)} points" if len(template.points) > _MOST_SHOWN else show_pairs(template.points, units)
    what = template.source or f"{'smooth' if template.smooth else 'straight'} through {through}"
    slides: Sequence[Literal["x", "z"]] = ("z", "x") if cut.approach.axis == "x" else ("x", "z")
    begins = dict(zip("xyz", cut.tip, strict=True))
    ends = dict(zip("xyz", np.add(cut.tip, cut.travel).tolist(), strict=True))
    tip_from, tip_to = (
        ", ".join(f"{slide} {show_place(slide, place[slide], cut.lathe, units)}" for slide in slides) for place in (begins, ends)
    )
    note = [("template's size", template.note)] if template.note else []
    rubber = [("rubber on it", f"radius {show_length(template.rubber, units)}")] if template.rubber else []
    return [("template", what), *note, *rubber, ("tip from", tip_from), ("tip to", tip_to)]


def _pass_name(passed: Pass, number: int) -> str:
    """Return the heading of a pass."""
    return f"pass {number}: {passed.name}" if passed.name else f"pass {number}"


def _has_program(cut: Cut) -> bool:
    """Return whether a program can be written: the lathe has driven axes, and one for the spindle if the pass turns it."""
    return cut.lathe.axis("spindle") is not None or (bool(cut.lathe.axes) and not cut.passed.turns)


def _set_by(full: str, cut: Cut) -> Literal["program", "hand"]:
    """Return who sets a setting that changes from cut to cut: a program, if it can be written and an axis can make the change."""
    if not _has_program(cut):
        return "hand"
    owner, _, name = full.rpartition(".")
    if not owner:
        return "program" if cut.lathe.axis(_slide(name, cut)) else "hand"
    turned_by = {drive.name: cut.lathe.cam_shaft(number).turned_by for number, drive in enumerate(cut.passed.cams, 1)}.get(owner)
    return "program" if turned_by == "software" or (turned_by == "motor" and name == "phase") else "hand"


def _slide(name: str, cut: Cut) -> str:
    """Return the slide that a field of `At` sets; for the depth, the slide that feeds into the work."""
    return cut.approach.axis if name == "depth" else name


def _value(full: str, value: Any, cut: Cut, units: LengthUnit) -> str:
    """Return the text for the value of a setting that changes from cut to cut."""
    owner = full.rpartition(".")[0]
    if full == "depth":
        return show_place(_slide(full, cut), value, cut.lathe, units)
    measure: Measure | None = step_measure(full, cut.passed, cut.lathe)
    lobes = next((drive.cam.lobes for drive in cut.passed.cams if drive.name == owner), None)
    return show(value, measure, units, lobes)


def _steps(cuts: Sequence[Cut], cutter: Cutter, piece: Piece, units: LengthUnit) -> Steps:
    """Return the table of the cuts of one pass."""
    cuts = on_one_circle(cuts)
    first = cuts[0]
    columns = [Column(plain_name(full).replace(".", " "), _set_by(full, first)) for full in first.stepped]
    extra: list[dict[int, str]] = []
    for name, by_cut in (
        ("best angle of the frame", frame_by_cut(cuts, cutter, piece)),
        ("tip on the axis at the zeros", _zeros_by_cut(cuts, units)),
    ):
        if by_cut:
            columns.append(Column(name, "information"))
            extra.append(by_cut)
    rows = tuple(
        CutRow(
            cut.number,
            ".".join(str(level.number) for level in cut.levels),
            (
                *(_value(full, value, cut, units) for full, value in cut.stepped.items()),
                *(by_cut[cut.number] for by_cut in extra),
            ),
        )
        for cut in cuts
    )
    heading = ".".join(level.name or "step" for level in first.levels)
    return Steps(_pass_name(first.passed, first.group), heading, tuple(columns), rows)


def _zeros_by_cut(cuts: Sequence[Cut], units: LengthUnit) -> dict[int, str]:
    """Return, by cut number, the readings of x and z with the tip on the spindle's axis and all angles at 0.

    The map is empty if no cam or follower is changed between the cuts.
    """
    if not any(refits(before, now) for before, now in itertools.pairwise(cuts)):
        return {}
    shifts = {cut.number: shift_at_zero(cut) for cut in cuts}
    return {number: f"x {show_length(at.x, units)}, z {show_length(at.z, units)}" for number, at in shifts.items()}


def _headstock(lathe: Lathe, units: LengthUnit) -> list[tuple[str, str]]:
    """Return the settings of the headstock.

    The pivot height is omitted if the headstock does not rock, and the sides of the followers if both sides are allowed.
    """
    headstock = lathe.headstock
    omitted = {"pivot height"} if headstock.sideways != "rocks" else set()
    omitted |= {"followers"} if len(headstock.followers) > 1 else set()
    return [setting for setting in settings_of(headstock, units) if setting[0] not in omitted]


def bed_entries(lathe: Lathe, units: LengthUnit) -> list[tuple[str, str]]:
    """Return the swing over the bed and the fittings of a lathe, if they are given."""
    found = [("swing", show_length(lathe.swing, units))] if lathe.swing < math.inf else []
    return found + ([("fittings", ", ".join(lathe.fittings))] if lathe.fittings else [])


def _program(feeds: Feeds, cuts: Sequence[Cut], units: LengthUnit, slows: Sequence[str]) -> Group:
    """Return the speeds, clearance and tolerance of the program, and where in each cut the program slows down."""
    spindle, by_feed = f"{format_number(feeds.spindle_rpm)} turns a minute", show_length(feeds.feed, units)
    feed = (("feed over the work", f"{by_feed} a minute"),)
    paces = {
        "spindle": (("spindle", spindle), *(feed if any(cut.span and not cut.passed.turns for cut in cuts) else ())),
        "cutter": (*feed, ("spindle", f"{spindle} at most")),
        "fastest": (("pace", "as fast as every axis can"),),
    }
    silent = cuts[0].lathe.controller.comments == "none"
    return _group(
        _PROGRAM,
        *paces[feeds.pace],
        ("clear of the face" if cuts[0].approach.axis == "z" else "clear of the work", show_length(feeds.clear, units)),
        ("plunge", f"{show_length(feeds.plunge, units)} a minute"),
        *((("dwell after the plunge", f"{format_number(feeds.dwell)} s"),) if feeds.dwell else ()),
        ("tolerance", f"{show_length(feeds.tolerance, units)} on the work"),
        *(("slows down", each) for each in slows),
        *((("remarks", f"none: {SILENT}"),) if silent else ()),
    )


def settings(
    title: str,
    lathe: Lathe,
    piece: Piece,
    cutter: Cutter,
    cuts: Sequence[Cut],
    units: LengthUnit = "mm",
    feeds: Feeds | None = None,
    slows: Sequence[str] = (),
) -> Settings:
    """Return the settings sheet of a job.

    The settings of every part are read from its fields, so the settings of your own chucks and cams appear automatically.

    Parameters
    ----------
    title : str
        Title of the job.
    lathe : Lathe
        The lathe, set up for the first cut.
    piece : Piece
        The work.
    cutter : Cutter
        The cutter, or the pen.
    cuts : sequence of Cut
        Every cut of the job in order, at least one.
    units : "mm" or "inch"
        Unit of lengths.
    feeds : Feeds, optional
        Speeds and tolerance of the program.
    slows : sequence of str
        Descriptions of where the program is slower than its target speed.

    Returns
    -------
    Settings
        The groups of the set-up, then the cuts.

    Raises
    ------
    SettingError
        If there is no cut.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.cutter import Pen
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.lathe.passes import Pass, cuts_of
    >>> from lobework.parts.piece import Disc
    >>> from lobework.parts.slide import At
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"))
    >>> cuts = list(cuts_of(Pass(at=At(x=24.0)).series(3, x=-0.9), lathe))
    >>> sheet = settings("Lid", lathe, Disc(diameter=70.0, thickness=8.0), Pen(), cuts)
    >>> [step.values for step in sheet.steps[0].rows]
    [('24 mm',), ('23.1 mm',), ('22.2 mm',)]
    """
    groups = set_up(lathe, piece, cutter, cuts, units, feeds, slows)
    by_pass = (list(same) for _, same in itertools.groupby(cuts, key=lambda cut: cut.group))
    steps = tuple(_steps(same, cutter, piece, units) for same in by_pass)
    return Settings(title=title or "untitled", groups=groups, steps=steps)


def set_up(
    lathe: Lathe,
    piece: Piece,
    cutter: Cutter,
    cuts: Sequence[Cut],
    units: LengthUnit = "mm",
    feeds: Feeds | None = None,
    slows: Sequence[str] = (),
) -> tuple[Group, ...]:
    """Return the groups of the set-up before the cuts; the parameters are those of `settings`."""
    require(len(cuts) > 0, "cuts", len(cuts), "one or more", "add a pass to the job")
    groups = [
        _group("work", ("form", piece.form), *settings_of(piece, units)),
        _group("cutter", ("kind", cutter.kind), *settings_of(cutter, units)),
        _group(
            "lathe",
            ("name", lathe.name),
            *(axis_entry(axis, units) for axis in lathe.axes),
            *((f"{name} by hand", message) for name, message in (hand_entry(each, units) for each in lathe.hand)),
            *bed_entries(lathe, units),
        ),
        _group("headstock", *_headstock(lathe, units)),
    ]
    for place, mounted in enumerate(lathe.chucks, 1):
        name = f"chuck {place} from the spindle: {mounted.name}"
        needs = (("fittings required", ", ".join(mounted.needs)),) if mounted.needs else ()
        groups.append(_group(name, ("kind", mounted.chuck.kind), *settings_of(mounted.chuck, units), *needs))
    groups.append(_group(DIRECTIONS, *directions(cuts)))
    groups.append(_group(f"{ZEROS}, before the first cut", *zero_steps(cuts[0], units)))
    before = cuts[0]
    for _, of_group in itertools.groupby(cuts, key=lambda cut: cut.group):
        same = list(of_group)
        if refits(before, same[0]):
            groups.append(
                _group(
                    f"{ZEROS}, before pass {same[0].group}: after a change of its cams", *zero_steps(same[0], units, again=True)
                )
            )
        before = same[-1]
        groups.append(_pass(same[0], units, _frame(same, cutter, piece, units)))
        groups += [_cam(drive, place, same[0].lathe, units) for place, drive in enumerate(same[0].passed.cams, 1)]
    if all(_has_program(cut) for cut in cuts):
        groups.append(_program(feeds or Feeds(), cuts, units, slows))
    return tuple(groups)


def _frame(cuts: Sequence[Cut], cutter: Cutter, piece: Piece, units: LengthUnit) -> str:
    """Return the angle of the cutting frame for one pass, with its misfit; empty if there is no groove or pattern to follow."""
    groove_angle, holder = groove_angle_of(cuts, cutter, piece), holder_of(cutter)
    return groove_angle.message(holder.angle_deg, units) if groove_angle is not None and isinstance(holder, CuttingFrame) else ""
