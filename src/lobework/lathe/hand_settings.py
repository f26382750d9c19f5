"""Manual settings of the lathe, in the words and units of the bench sheet."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.lathe.mounting import may_have, measures_of
from lobework.lathe.passes import step_measure
from lobework.parts.drive import Drive
from lobework.parts.slide import At
from lobework.quantities.fields import Measure, held_in, measures, show_pairs
from lobework.quantities.units import LengthUnit, Phase, format_length, format_number, format_phase, format_ratio
from lobework.text.printable import printable

if TYPE_CHECKING:
    from lobework.gearing.ratios import RealRatio
    from lobework.lathe.lathe import Lathe
    from lobework.lathe.passes import Cut
    from lobework.parts.twist import Twist

__all__ = [
    "HandSetting",
    "by_hand",
    "cam_name",
    "feed_in",
    "gears_of",
    "on_one_circle",
    "plain_name",
    "settings_of",
    "show",
    "show_length",
    "show_percent",
    "show_place",
    "show_ratio",
    "show_turned",
    "show_twist",
    "turns_with_spindle",
    "withdraw",
    "wrapped",
]

_PLACES: Final[dict[LengthUnit, int]] = {"mm": 4, "inch": 5}
_MOST_DIVISIONS: Final = 400
"""Largest denominator of a fraction of a turn or lobe; an angle with a larger denominator is shown only in degrees."""


def wrapped(text: str, width: int, **how: Any) -> list[str]:
    """Return a text as lines of at most ``width`` characters; a line is not broken at a hyphen or minus sign.

    The keyword arguments ``how`` are passed to `textwrap.wrap`.

    >>> wrapped("profile (0, 20), (-12.5, 19)", 19)
    ['profile (0, 20),', '(-12.5, 19)']
    """
    return textwrap.wrap(printable(text), width, break_on_hyphens=False, **how)


def plain_name(field: str) -> str:
    """Return a field's name in plain words.

    >>> plain_name("ring_angle_deg"), plain_name("base_radius")
    ('ring angle', 'base radius')
    """
    return field.removesuffix("_deg").replace("_", " ")


def show(value: Any, measure: Measure | None = None, units: LengthUnit = "mm", lobes: int | None = None) -> str:
    """Return a setting as text.

    Lengths are in the unit ``units``, rounded to 0.0001 mm or 0.00001 in. A phase in lobes is also shown in degrees.

    Parameters
    ----------
    value : object
        The stored value: mm, degrees, a `Phase`, a fraction, a number or a word.
    measure : Measure, optional
        Measure of the field, from `lobework.quantities.fields.measures`.
    units : "mm" or "inch"
        Unit of lengths.
    lobes : int, optional
        Number of lobes of the cam to which a phase belongs.

    Examples
    --------
    >>> from lobework.parts.follower import Roller
    >>> from lobework.quantities.fields import measures
    >>> show(Phase.of("5/24 lobe"), lobes=5), show(9.525, measures(Roller)["radius"], "inch")
    ('5/24 lobe = 15 deg', '0.375 in')
    >>> show(Phase.of("3/96 turn")), show(Phase.of("2 lobe"), lobes=12)
    ('1/32 turn = 11.25 deg', '2 lobes = 60 deg')
    """
    if measure is not None and measure.also_shown is not None:
        return f"{show(value, replace(measure, also_shown=None), units, lobes)} = {measure.also_shown(value)}"
    if isinstance(value, Phase):
        return _show_phase(value, lobes)
    if isinstance(value, Screw):
        return f"{show_length(value.lead, units)} a turn, {value.divisions} divisions"
    if _is_part(value):
        return ", ".join([value.kind, *(f"{name} {each}" for name, each in settings_of(value, units))])
    if measure is not None and measure.pairs:
        return show_pairs(value, units)
    if measure is not None:
        return show_length(value, units) if measure.takes_bare else measure.show(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return format_number(value, 6)
    if isinstance(value, tuple) and all(isinstance(each, str) for each in value):
        return ", ".join(value)
    return format_ratio(value) if isinstance(value, Fraction) else str(value)


def _show_phase(value: Phase, lobes: int | None) -> str:
    """Return a phase in lobes or fractions of a turn, and in degrees."""
    if value.lobes and lobes is None:
        return format_phase(value)
    exact = value.in_degrees(lobes or 1)
    degrees = format_number(float(exact), 6)
    if not value.lobes and value.turns and value.turns.denominator <= _MOST_DIVISIONS:
        return f"{_with_unit(value.turns, 'turn')} = {degrees} deg"
    finest = max(value.lobes.denominator, (value.turns * 360).denominator)
    if finest > _MOST_DIVISIONS or (not value.lobes and Fraction(degrees) == exact):
        return f"{degrees} deg"
    return f"{format_phase(value) if value.turns else _with_unit(value.lobes, 'lobe')} = {degrees} deg"


def _with_unit(value: Fraction, unit: str) -> str:
    return f"{value} {unit}" + ("s" if value.denominator == 1 and abs(value) != 1 else "")


def show_length(mm: float, units: LengthUnit = "mm") -> str:
    """Return a length as text, rounded to 0.0001 mm or 0.00001 in.

    >>> show_length(24 - 3 * 0.9), show_length(2.0, "inch")
    ('21.3 mm', '0.07874 in')
    """
    return format_length(mm, units, _PLACES[units])


def show_ratio(ratio: Fraction) -> str:
    """Return a ratio as text, as a fraction and in percent.

    >>> show_ratio(Fraction(-3, 4)), show_ratio(Fraction(2, 3))
    ('-3/4 (-75 %)', '2/3 (66.6667 %)')
    """
    return f"{format_ratio(ratio)} ({format_number(float(ratio * 100))} %)"


def show_place(slide: str, mm: float, lathe: Lathe, units: LengthUnit = "mm") -> str:
    """Return the position of the slide "x", "y" or "z" as text; for a slide that is set by hand, also in turns of its screw.

    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.lathe.lathe import HandAxis, Lathe
    >>> by_screw = HandAxis(moves="x", screw=Screw(lead=2.54))
    >>> show_place("x", 24.0, Lathe(name="bench", headstock=Headstock(sideways="fixed"), hand=(by_screw,)))
    '24 mm = 9 turns 4.5 div of its screw'
    """
    mark = measures(At)[slide]
    return show(mm, mark and lathe.on_scale(slide, mark), units)


def show_turned(name: str, drive: Drive, number: int, lathe: Lathe) -> str:
    """Return a cam's "phase" or "index" as text; for a setting made by hand on a wheel, also in notches of the wheel."""
    mark, lobes = measures(Drive)[name], drive.cam.lobes
    return show(getattr(drive, name), mark and lathe.on_scale(f"cam {number} {name}", mark, lobes), lobes=lobes)


def show_percent(run: RealRatio) -> str:
    """Return the percentage to which a control is set, with all its decimals."""
    return f"{format_number(float(run.actual * 100), 12)} %"


def show_twist(twist: Twist, units: LengthUnit = "mm", lobes: int | None = None) -> str:
    """Return a twist as text: the change of phase, and the length or the number of turns over which it takes place.

    >>> from lobework.parts.twist import Twist
    >>> show_twist(Twist(angle="60 deg", over=50.0, start=-5.0, ease="1/4"))
    '1/6 turn = 60 deg over 50 mm from z -5 mm on, eased over the first and the last 1/4'
    >>> show_twist(Twist(angle="-1/2 lobe", turns=3), lobes=12)
    '-1/2 lobe = -15 deg in 3 turns of the spindle'
    """
    turned = show(twist.angle, lobes=lobes)
    if twist.turns is not None:
        extent = "each turn of the spindle" if twist.turns == 1 else f"in {twist.turns} turns of the spindle"
    else:
        extent = f"over {show_length(twist.over or 0.0, units)} from z {show_length(twist.start, units)} on"
    return f"{turned} {extent}" + (f", eased over the first and the last {twist.ease}" if twist.ease else "")


def gears_of(drive: Drive, number: int, lathe: Lathe) -> str:
    """Return the gear train of a cam, from the spindle to the cam, and whether it needs an idle wheel.

    For a cam without gears the text is empty.
    """
    shaft = lathe.cam_shaft(number)
    return f"{shaft.train(drive.ratio)}; {shaft.idlers(drive.ratio)}" if shaft.turned_by == "gears" else ""


def settings_of(part: Any, units: LengthUnit = "mm", lobes: int | None = None, *, as_made: bool = True) -> list[tuple[str, str]]:
    """Return the name and the value, as text, of each setting of a part.

    Empty values and an unlimited travel are omitted. A part that belongs to another part, such as a cutter's holder, is omitted
    if it is the default. For a list of parts, such as the stages of a chuck, the settings of each part are listed with the number
    of the part. If ``as_made`` is False, the fixed properties of a chuck are omitted too: screw, wheel and travel.

    >>> from lobework.parts.chuck import EccentricChuck
    >>> from lobework.gearing.screw import Screw
    >>> settings_of(EccentricChuck(shift=16.0, screw=Screw(lead=2.54)))
    [('shift', '16 mm = 6 turns 3 div of its screw'), ('index', '0 deg'), ('screw', '2.54 mm a turn, 10 divisions')]
    """
    marks, found, settled = measures_of(part), [], () if as_made else _fixed_fields(type(part))
    for each in fields(part):
        value = getattr(part, each.name)
        if each.name in settled or value in ("", (), None, math.inf) or (_is_part(each.default) and value == each.default):
            continue
        if inner_parts := held_in(part, each.name):
            for one, inner in inner_parts.items():
                found += [(f"{one} {name}", text) for name, text in settings_of(inner, units, as_made=as_made)]
        else:
            found.append((plain_name(each.name), show(value, marks[each.name], units, lobes)))
    return found


def _fixed_fields(part: type) -> tuple[str, ...]:
    """Return the fields of a part that are fixed properties and not settings."""
    screw = ("screw", "travel") if may_have(part, Screw) else ()
    return (*screw, "wheel") if may_have(part, Wheel) else screw


def _is_part(value: Any) -> bool:
    return is_dataclass(value) and not isinstance(value, type) and hasattr(value, "kind")


def cam_name(drive: Drive, number: int) -> str:
    """Return "cam" and the number of a cam, followed by the name of the cam in the job if that name is different."""
    plain = f"cam {number}"
    return plain if drive.name == plain else f"{plain}, {drive.name}"


def turns_with_spindle(drive: Drive, number: int, lathe: Lathe) -> bool:
    """Return whether a cam is locked to the spindle."""
    return lathe.cam_shaft(number).turned_by == "spindle" and drive.ratio == 1


@dataclass(frozen=True, slots=True)
class HandSetting:
    """A manual setting: the action ``do`` is "set" or "fit", the name ``what`` is for example "cam 1 index".

    The ``value`` is text.
    """

    do: str
    what: str
    value: str

    def __str__(self) -> str:
        joins = " to " if self.do == "set" else ": "
        return f"{self.do} {self.what}{joins}{self.value}"


def _of_cam(drive: Drive, number: int, lathe: Lathe, units: LengthUnit) -> list[HandSetting]:
    name, turned_by = drive.name, lathe.cam_shaft(number).turned_by
    if turned_by == "software":
        return []
    shape = ", ".join([drive.cam.kind, *(f"{what} {value}" for what, value in settings_of(drive.cam, units))])
    nose = ", ".join([drive.follower.kind, *(f"{what} {value}" for what, value in settings_of(drive.follower, units))])
    found = [
        HandSetting("fit", name, shape),
        HandSetting("fit", f"{name} follower", nose),
        HandSetting("set", f"{name} follower side", drive.side),
        HandSetting("set", f"{name} gain", show(drive.gain)),
        HandSetting("set", f"{name} index", show_turned("index", drive, number, lathe)),
    ]
    if turned_by != "motor":
        found.append(HandSetting("set", f"{name} phase", show_turned("phase", drive, number, lathe)))
    if turned_by == "gears":
        found.append(HandSetting("fit", f"{name} gears", gears_of(drive, number, lathe)))
    return found


def on_one_circle(cuts: Sequence[Cut]) -> list[Cut]:
    """Return the cuts of a pass with only one circle of each wheel, so that the pin need not be moved to another circle.

    If no single circle of a wheel has a hole for every cut, the wheel is left unchanged.
    """
    first = cuts[0]
    found = list(cuts)
    for place, mounted in enumerate(first.lathe.chucks):
        if isinstance(getattr(mounted.chuck, "wheel", None), Wheel) and f"{mounted.name}.index" in first.stepped:
            chucks: list[Any] = [cut.lathe.chucks[place].chuck for cut in cuts]
            wheel = chucks[0].wheel.for_all(chuck.index.in_turns() for chuck in chucks)
            found = [_with_wheel(cut, place, wheel) for cut in found]
    hand = tuple(
        replace(each, wheel=each.wheel.for_all(_wheel_angle(cut, each.moves) for cut in cuts)) if each.wheel is not None else each
        for each in first.lathe.hand
    )
    return [replace(cut, lathe=replace(cut.lathe, hand=hand)) for cut in found] if hand != first.lathe.hand else found


def _with_wheel(cut: Cut, place: int, wheel: Wheel) -> Cut:
    chucks = list(cut.lathe.chucks)
    chucks[place] = chucks[place]._replace(chuck=replace(chucks[place].chuck, wheel=wheel))  # type: ignore[type-var]
    return replace(cut, lathe=replace(cut.lathe, chucks=tuple(chucks)))


def _wheel_angle(cut: Cut, moves: str) -> Fraction:
    """Return the angle to which a wheel is set by hand for a cut, turns; zero if the cut does not use the wheel."""
    if moves == "spindle":
        return cut.passed.spindle.in_turns() if cut.lathe.axis("spindle") is None else Fraction(0)
    _, number, name = moves.split()
    if int(number) > len(cut.passed.cams):
        return Fraction(0)
    drive = cut.as_set(cut.passed.cams[int(number) - 1])
    turned: Fraction = getattr(drive, name).in_turns(drive.cam.lobes)
    return turned


def by_hand(cut: Cut, units: LengthUnit = "mm") -> dict[str, HandSetting]:
    """Return all manual settings that a cut needs; the key of each setting is its ``what``. The program makes the other settings.

    Parameters
    ----------
    cut : Cut
        The cut, with its steps applied.
    units : "mm" or "inch"
        Unit of lengths.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.chuck import EccentricChuck
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed")).mount(EccentricChuck(shift=16.0))
    >>> print(by_hand(Cut(number=1, passed=Pass(), lathe=lathe))["eccentric shift"])
    set eccentric shift to 16 mm
    """
    found: list[HandSetting] = []
    if cut.lathe.axis("spindle") is None:
        measure = step_measure("spindle", cut.passed, cut.lathe)
        found.append(HandSetting("set", "spindle", show(cut.passed.spindle, measure)))
    for mounted in cut.lathe.chucks:
        found.append(HandSetting("fit", f"{mounted.name} chuck", mounted.chuck.kind))
        found += [
            HandSetting("set", f"{mounted.name} {name}", value)
            for name, value in settings_of(mounted.chuck, units, as_made=False)
        ]
    for number, drive in enumerate(cut.passed.cams, 1):
        found += _of_cam(cut.as_set(drive), number, cut.lathe, units)
    if len(cut.passed.cams) > 1 and cut.passed.together:
        found.append(HandSetting("set", "cams together", cut.passed.together))
    return {each.what: each for each in found}


def feed_in(cut: Cut, depth: float, units: LengthUnit) -> str:
    """Return the instruction to feed the cutter in by hand to the position ``depth``, mm, on a slide without an axis."""
    name = cut.approach.axis
    return f"feed the cutter in by hand to {name} {show_place(name, depth, cut.lathe, units)}"


def withdraw(cut: Cut, clear: float, units: LengthUnit) -> str:
    """Return the instruction to withdraw the cutter by hand to ``clear`` mm from the work, on a slide without an axis."""
    surface = "face" if cut.approach.axis == "z" else "work"
    return f"withdraw the cutter by hand, {show_length(clear, units)} clear of the {surface}"
