"""The tables that a job file and a lathe file are made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Annotated, Any, Final, Literal

from pydantic import PlainValidator, WithJsonSchema

from lobework.errors import InputError, require
from lobework.gearing.dividing_wheel import Wheel
from lobework.jobs.jobfile.source import shown
from lobework.jobs.jobfile.tables import (
    Choice,
    Context,
    Key,
    OneOrMore,
    Table,
    built,
    choice_of,
    chosen,
    first_line,
    list_of,
    part_keys,
    part_table,
    quantity,
    read_by,
    reading,
    wound_on,
)
from lobework.jobs.jobfile.template import SAYS as TEMPLATE
from lobework.jobs.jobfile.template import FollowsPiece, TemplateReader
from lobework.lathe.lathe import Axis, Controller, HandAxis
from lobework.lathe.mounting import Mounted
from lobework.lathe.passes import Pass
from lobework.parts.camshaft import CamShaft
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.headstock import Headstock
from lobework.parts.slide import At
from lobework.parts.twist import Twist
from lobework.quantities.fields import Length
from lobework.quantities.units import (
    acceleration,
    angle,
    length,
    speed,
    steps,
    turning_acceleration,
    turning_speed,
    turning_steps,
)

__all__ = ["WrittenPass", "job_table", "lathe_table"]

_DRIVEN: Final = ("ratio", "follower", "phase", "index", "side", "gain", "twist", "name")
_TEXT: Final = reading(str)
_STEPS: Final = "steps such as { x = -0.9, phase = '1/2 lobe' }"
_LATHE: Final = "a lathe's name such as 'rocking-bench', the path of a lathe file, or a table"
_UNITS: Final = Key(Literal["mm", "inch"], "'mm' or 'inch'", "mm", "The unit of bare lengths; in a job, of its outputs too.")


@dataclass(frozen=True, slots=True)
class WrittenPass:
    """A pass, and how it is repeated.

    Parameters
    ----------
    passed : Pass
        What is cut.
    follows : FollowsPiece or None
        Whether its template is the side of the work.
    repeats : list of (settings, place) pairs
        Count, steps and name of each series, innermost first, and its place in the list of them.
    """

    passed: Pass
    follows: FollowsPiece | None
    repeats: list[tuple[dict[str, Any], str]]


@cache
def job_table() -> Table:
    """Return the table that a whole job file is."""
    keys = {
        "title": Key(*_TEXT, "", "What the drawing, the settings and the program are headed; the file's name unless given."),
        "units": _UNITS,
        "lathe": Key(read_by(_LatheReader()), _LATHE, about="The lathe that cuts it."),
        "chord": Key(*reading(Length), None, "How far a straight move may stray from the path on the work; 0.002 mm unless set."),
        "resolution": Key(*reading(Length), None, "From ray to ray of the work when it is carved; 0.05 mm unless set."),
        "piece": Key(read_by(choice_of("piece")), "a [piece] table such as form = 'disc', diameter = 70, thickness = 8"),
        "cutter": Key(read_by(choice_of("cutter")), "a [cutter] table such as kind = 'vee', angle = 90, width = 3"),
        "chuck": Key(list_of(_chuck_choice()), "[[chuck]] tables", None, "The chucks, from the spindle outwards."),
        "pass": Key(list_of(_pass_table()), "one or more [[pass]] tables", about="What is cut, in order."),
        "program": Key(read_by(part_table(Feeds)), "a [program] table", None, "Speeds and clearances of the program."),
    }
    return Table("Job", keys, _as_written, "A job for the lathe.")


@cache
def lathe_table(*, in_file: bool) -> Table:
    """Return the table of a lathe: a file of its own names its units, a table in a job uses the job's."""
    keys = {
        "name": Key(*_TEXT, "", "For messages and sheets."),
        **({"units": _UNITS} if in_file else {}),
        "headstock": Key(read_by(part_table(Headstock)), "a [headstock] table with sideways = 'rocks', 'slides' or 'fixed'"),
        "axis": Key(list_of(_axis_table()), "[[axis]] tables", None, "What a controller can move."),
        "hand": Key(list_of(_hand_table()), "[[hand]] tables", None, "What a person sets by a screw or a wheel."),
        "cam": Key(list_of(part_table(CamShaft)), "[[cam]] tables", None, "What turns its cams."),
        "fittings": Key(
            *reading(tuple[str, ...]), None, "What chucks may need of it, such as 'ring'; unless given, all they need."
        ),
        "swing": Key(*reading(Length), None, "The largest radius about the spindle that clears the bed."),
        "controller": Key(
            read_by(part_table(Controller)), "a [controller] table", None, "How the controller wants its programs written."
        ),
    }
    return Table("Lathe", keys, _as_written, "The lathe as it is set up.")


def _as_written(values: dict[str, Any]) -> dict[str, Any]:
    return values


class _LatheReader:
    """Reads a lathe's name or path, as it is, or its table."""

    def form(self) -> Any:
        """Return the type of either."""
        return str | lathe_table(in_file=False).form()

    def read(self, given: Any, context: Context) -> str | dict[str, Any]:
        """Return the text, or what the table holds."""
        if isinstance(given, str):
            return given
        if not isinstance(given, dict):
            raise InputError(f"{shown(given)} does not fit here; write {_LATHE}")
        holder: dict[str, Any] = lathe_table(in_file=False).read(given, context)
        return holder


_PLACE: Final = "a length on x, y and z, an angle on what turns"
_BY_KIND: Final[dict[str, tuple[str, str, Callable[..., float], Callable[..., float]]]] = {
    "low": (_PLACE, "The lower end of its travel.", length, angle),
    "high": (_PLACE, "The upper end of its travel.", length, angle),
    "steps": ("a number, or '400/mm' on x, y and z, '3200/turn' on what turns", "Steps of its motor.", steps, turning_steps),
    "top_speed": (
        "a speed such as '600 mm/min' on x, y and z, '12 rpm' on what turns",
        "The most it can do.",
        speed,
        turning_speed,
    ),
    "acceleration": (
        "such as '200 mm/s2' on x, y and z, '720 deg/s2' on what turns",
        "How fast its speed may change.",
        acceleration,
        turning_acceleration,
    ),
}
"""Keys that read one way on a slide, another on what turns: what may be written, what it is, and both ways."""


def _by_kind(part: type) -> dict[str, Key]:
    """Return the keys of an axis's settings; some cannot be read before it is known whether it turns."""
    as_given = PlainValidator(lambda given, info: (given, info.context.units))
    reads = Annotated[Any, as_given, WithJsonSchema({"type": ["number", "string"]})]
    own = part_keys(part)
    return own | {name: Key(reads, message, None, about) for name, (message, about, *_) in _BY_KIND.items() if name in own}


def _axis_table() -> Table:
    return Table("Axis", _by_kind(Axis), lambda values: Axis(**_known(values)), "One axis that a controller moves.")


def _hand_table() -> Table:
    notches = Key(*reading(int), None, "Of a wheel with one circle of them, in place of wheel.")
    keys = _by_kind(HandAxis) | {"notches": notches}
    return Table("HandAxis", keys, _hand_of, "What a person sets by a screw or a wheel.")


def _hand_of(values: dict[str, Any]) -> HandAxis:
    notches = values.pop("notches", None)
    if notches is not None:
        slides = values["moves"] in ("x", "y", "z")
        require(not slides, "notches", notches, f"left out of {values['moves']!r}, which has a screw")
        require("wheel" not in values, "notches", notches, "left out where there is a wheel")
        try:
            values["wheel"] = Wheel(((str(notches), notches),), marks="notches")
        except InputError:
            require(False, "notches", notches, "a whole number of them, 1 to 100000")
    return HandAxis(**_known(values))


def _known(values: dict[str, Any]) -> dict[str, Any]:
    """Return an axis's settings, all read now that it is known whether it slides or turns."""
    slides = values["moves"] in ("x", "y", "z")
    for name, (message, _, on_slides, on_turning) in _BY_KIND.items():
        if name in values:
            given, units = values[name]
            reads = partial(on_slides, bare=units) if slides else on_turning
            try:
                values[name] = quantity(reads, given, message)
            except InputError as error:
                raise error.replaced(where=name) from None
    return values


def _chuck_choice() -> Choice:
    def table(name: str, part: type) -> Table:
        called = Key(*_TEXT, "", "What steps and settings call it; its kind unless given.")
        named = {**chosen("chuck", "kind", name, part), "name": called}
        make = built(part, *named)
        return part_table(part, named, lambda values: Mounted(values.get("name") or name, make(values)))

    return Choice("chuck", "kind", table)


def _cam_choice() -> Choice:
    message = "a table such as { angle = '60 deg', over = '50 mm' }"
    drive = {key: holder for key, holder in part_keys(Drive).items() if key in _DRIVEN}
    drive["twist"] = Key(read_by(_twist_table()), message, None, drive["twist"].about)

    def table(name: str, part: type) -> Table:
        named = {**chosen("cam", "shape", name, part), **drive}
        make = built(part, *named)

        def driven(values: dict[str, Any]) -> Drive:
            return Drive(make(values), **{key: value for key, value in values.items() if key in _DRIVEN})

        return part_table(part, named, driven)

    return Choice("cam", "shape", table)


def _twist_table() -> Table:
    fields = {"from" if key == "start" else key: key for key in part_keys(Twist)}
    keys = {key: part_keys(Twist)[name] for key, name in fields.items()}
    return Table("Twist", keys, lambda values: Twist(**{fields[key]: value for key, value in values.items()}), first_line(Twist))


def _at_table() -> Table:
    own = part_keys(At)
    for slide in ("x", "y", "z"):
        reads, message = wound_on(slide)
        own[slide] = replace(own[slide], reads=reads, description=message)
    return Table("At", own, built(At))


def _pass_table() -> Table:
    own = part_keys(Pass)
    keys = {key: own[key] for key in ("name", "turns", "spindle", "at", "travel", "arc", "together")} | {
        **{key: replace(own[key], reads=read_by(_at_table())) for key in ("at", "travel")},
        "template": Key(read_by(TemplateReader()), TEMPLATE, None, own["template"].about),
        "cam": Key(list_of(_cam_choice()), "[[pass.cam]] tables", None, "The cams that move the headstock."),
        "series": Key(read_by(OneOrMore(_series_table())), "a [pass.series] table", None, "How it is repeated, innermost first."),
    }

    def passed(values: dict[str, Any]) -> WrittenPass:
        settings = {key: value for key, value in values.items() if key not in ("cam", "series")}
        follows = settings.pop("template") if isinstance(settings.get("template"), FollowsPiece) else None
        return WrittenPass(Pass(cams=tuple(values.get("cam", ())), **settings), follows, values.get("series", []))

    return Table("Pass", keys, passed, "One uninterrupted cut, and how it is repeated.")


def _series_table() -> Table:
    steps = Annotated[dict[str, Any], PlainValidator(_steps), WithJsonSchema(_STEPS_SCHEMA)]
    keys = {
        "count": Key(*reading(int), about="How many times, the first included."),
        "each": Key(steps, f"a table of {_STEPS}", None, "What moves on each time, and how far."),
        "name": Key(*_TEXT, "", "What one repetition is called, such as row."),
    }
    return Table("Series", keys, _as_written, "How a pass, or the series before this one, is repeated.")


_STEPS_SCHEMA: Final = {
    "type": "object",
    "additionalProperties": {"anyOf": [{"type": ["number", "string"]}, {"type": "object"}]},
}


def _steps(given: Any, within: str = "") -> dict[str, Any]:
    """Return steps under their full names: a table within a table is a cam's or a chuck's."""
    if not isinstance(given, Mapping):
        raise InputError(f"{shown(given)} is not a table; write {_STEPS}")
    flat: dict[str, Any] = {}
    for name, step in given.items():
        full = f"{within}{name}"
        flat.update(_steps(step, f"{full}.") if isinstance(step, Mapping) else {full: step})
    return flat
