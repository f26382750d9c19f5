"""The tables that a job file and a lathe file are made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Annotated, Any, Final, Literal, NamedTuple

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
    builder_of,
    choice_of,
    first_line,
    key_of,
    list_of,
    part_keys,
    part_table,
    quantity,
    read_by,
    slide_length,
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
        "title": key_of(str, "", "What the drawing, the settings and the program are headed; the file's name unless given."),
        "units": _UNITS,
        "lathe": Key(read_by(_LatheReader()), _LATHE, about="The lathe that cuts it."),
        "chord": key_of(Length, None, "How far a straight move may stray from the path on the work; 0.002 mm unless set."),
        "resolution": key_of(Length, None, "From ray to ray of the work when it is carved; 0.05 mm unless set."),
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
        "name": key_of(str, "", "For messages and sheets."),
        **({"units": _UNITS} if in_file else {}),
        "headstock": Key(read_by(part_table(Headstock)), "a [headstock] table with sideways = 'rocks', 'slides' or 'fixed'"),
        "axis": Key(list_of(_axis_table()), "[[axis]] tables", None, "What a controller can move."),
        "hand": Key(list_of(_hand_table()), "[[hand]] tables", None, "What a person sets by a screw or a wheel."),
        "cam": Key(list_of(part_table(CamShaft)), "[[cam]] tables", None, "What turns its cams."),
        "fittings": key_of(tuple[str, ...], None, "What chucks may need of it, such as 'ring'; unless given, all they need."),
        "swing": key_of(Length, None, "The largest radius about the spindle that clears the bed."),
        "controller": Key(
            read_by(part_table(Controller)), "a [controller] table", None, "How the controller wants its programs written."
        ),
    }
    return Table("Lathe", keys, _as_written, "The lathe as it is set up.")


def _as_written(values: dict[str, Any]) -> dict[str, Any]:
    return values


class _LatheReader:
    """Reads a lathe's name or path, as it is, or its table."""

    @property
    def form(self) -> Any:
        """The type of either."""
        return str | lathe_table(in_file=False).form

    def read(self, given: Any, context: Context) -> str | dict[str, Any]:
        """Return the text, or what the table holds."""
        if isinstance(given, str):
            return given
        if not isinstance(given, dict):
            raise InputError(f"{shown(given)} does not fit here; write {_LATHE}")
        holder: dict[str, Any] = lathe_table(in_file=False).read(given, context)
        return holder


class _ByMotion(NamedTuple):
    """A key of an axis that is written in one way for a slide, and in another for an axis that turns."""

    description: str
    about: str
    on_slide: Callable[..., float]
    on_rotary: Callable[..., float]


_END: Final = "a length on x, y and z, an angle on what turns"
_BY_MOTION: Final = {
    "low": _ByMotion(_END, "The lower end of its travel.", length, angle),
    "high": _ByMotion(_END, "The upper end of its travel.", length, angle),
    "steps": _ByMotion(
        "a number, or '400/mm' on x, y and z, '3200/turn' on what turns", "Steps of its motor.", steps, turning_steps
    ),
    "top_speed": _ByMotion(
        "a speed such as '600 mm/min' on x, y and z, '12 rpm' on what turns", "The most it can do.", speed, turning_speed
    ),
    "acceleration": _ByMotion(
        "such as '200 mm/s2' on x, y and z, '720 deg/s2' on what turns",
        "How fast its speed may change.",
        acceleration,
        turning_acceleration,
    ),
}


def _axis_keys(part: type) -> dict[str, Key]:
    """Return the keys of an axis; those in `_BY_MOTION` are kept as written until it is known whether it turns."""
    as_written = PlainValidator(lambda given, info: (given, info.context.units))
    kept = Annotated[Any, as_written, WithJsonSchema({"type": ["number", "string"]})]
    own = part_keys(part)
    return own | {name: Key(kept, each.description, None, each.about) for name, each in _BY_MOTION.items() if name in own}


def _axis_table() -> Table:
    return Table("Axis", _axis_keys(Axis), lambda values: Axis(**_in_units(values)), "One axis that a controller moves.")


def _hand_table() -> Table:
    notches = key_of(int, None, "Of a wheel with one circle of them, in place of wheel.")
    keys = _axis_keys(HandAxis) | {"notches": notches}
    return Table("HandAxis", keys, _hand_axis, "What a person sets by a screw or a wheel.")


def _hand_axis(values: dict[str, Any]) -> HandAxis:
    notches = values.pop("notches", None)
    if notches is not None:
        slides = values["moves"] in ("x", "y", "z")
        require(not slides, "notches", notches, f"left out of {values['moves']!r}, which has a screw")
        require("wheel" not in values, "notches", notches, "left out where there is a wheel")
        try:
            values["wheel"] = Wheel(((str(notches), notches),), marks="notches")
        except InputError:
            require(False, "notches", notches, "a whole number of them, 1 to 100000")
    return HandAxis(**_in_units(values))


def _in_units(values: dict[str, Any]) -> dict[str, Any]:
    """Return the settings of an axis with those in `_BY_MOTION` in the units of a slide, or of an axis that turns."""
    slides = values["moves"] in ("x", "y", "z")
    for name, key in _BY_MOTION.items():
        if name in values:
            given, units = values[name]
            read = partial(key.on_slide, bare=units) if slides else key.on_rotary
            try:
                values[name] = quantity(read, given, key.description)
            except InputError as error:
                raise error.replaced(where=name) from None
    return values


def _chuck_choice() -> Choice:
    name = key_of(str, "", "What steps and settings call it; its kind unless given.")
    return Choice("chuck", {"name": name}, lambda chuck, values: Mounted(values.get("name") or values["kind"], chuck))


def _cam_choice() -> Choice:
    keys = {key: own for key, own in part_keys(Drive).items() if key in _DRIVEN}
    twist = "a table such as { angle = '60 deg', over = '50 mm' }"
    keys["twist"] = Key(read_by(_twist_table()), twist, None, keys["twist"].about)
    return Choice("cam", keys, lambda cam, values: Drive(cam, **{key: values[key] for key in _DRIVEN if key in values}))


def _twist_table() -> Table:
    fields = {"from" if key == "start" else key: key for key in part_keys(Twist)}
    keys = {key: part_keys(Twist)[name] for key, name in fields.items()}
    return Table("Twist", keys, lambda values: Twist(**{fields[key]: value for key, value in values.items()}), first_line(Twist))


def _at_table() -> Table:
    own = part_keys(At)
    for slide in ("x", "y", "z"):
        reads, message = slide_length(slide)
        own[slide] = replace(own[slide], type=reads, description=message)
    return Table("At", own, builder_of(At))


def _pass_table() -> Table:
    own = part_keys(Pass)
    keys = {key: own[key] for key in ("name", "turns", "spindle", "at", "travel", "arc", "together")} | {
        **{key: replace(own[key], type=read_by(_at_table())) for key in ("at", "travel")},
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
        "count": key_of(int, about="How many times, the first included."),
        "each": Key(steps, f"a table of {_STEPS}", None, "What moves on each time, and how far."),
        "name": key_of(str, "", "What one repetition is called, such as row."),
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
