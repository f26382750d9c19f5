"""The tables of a job file and of a lathe file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Annotated, Any, Final, Literal, NamedTuple

from pydantic import PlainValidator, WithJsonSchema

from lobework.errors import InputError, require
from lobework.gearing.dividing_wheel import Wheel
from lobework.jobs.jobfile.source import short_text
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
from lobework.jobs.jobfile.template import ALLOWED as TEMPLATE
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
_UNITS: Final = Key(Literal["mm", "inch"], "'mm' or 'inch'", "mm", "The unit of bare lengths; in a job, also of its outputs.")


@dataclass(frozen=True, slots=True)
class WrittenPass:
    """A pass with the series that repeat it.

    Parameters
    ----------
    passed : Pass
        The pass; its template is absent if the template is the side of the work.
    follows : FollowsPiece or None
        The part of the side of the work that is the template; None if the pass has another template, or none.
    repeats : list of (settings, place) pairs
        Count, steps and name of each series, innermost first, and the position of the series in the list, such as ``[2]``.
    """

    passed: Pass
    follows: FollowsPiece | None
    repeats: list[tuple[dict[str, Any], str]]


@cache
def job_table() -> Table:
    """Return the table of a whole job file."""
    keys = {
        "title": key_of(str, "", "Heading of the drawing, the settings and the program; default: the file's name."),
        "units": _UNITS,
        "lathe": Key(read_by(_LatheReader()), _LATHE, about="The lathe that cuts the job."),
        "chord": key_of(Length, None, "Largest distance of a straight move from the path on the work; default: 0.002 mm."),
        "resolution": key_of(Length, None, "Distance between neighbouring rays of the carved work; default: 0.05 mm."),
        "piece": Key(read_by(choice_of("piece")), "a [piece] table such as form = 'disc', diameter = 70, thickness = 8"),
        "cutter": Key(read_by(choice_of("cutter")), "a [cutter] table such as kind = 'vee', angle = 90, width = 3"),
        "chuck": Key(list_of(_chuck_choice()), "[[chuck]] tables", None, "The chucks, from the spindle outwards."),
        "pass": Key(list_of(_pass_table()), "one or more [[pass]] tables", about="The passes, in the order of cutting."),
        "program": Key(read_by(part_table(Feeds)), "a [program] table", None, "Speeds and clearances of the program."),
    }
    return Table("Job", keys, _as_written, "A job for the lathe.")


@cache
def lathe_table(*, in_file: bool) -> Table:
    """Return the table of a lathe: a lathe file has a key for its units, a table in a job file uses the job's units."""
    keys = {
        "name": key_of(str, "", "Name of the lathe in messages and sheets."),
        **({"units": _UNITS} if in_file else {}),
        "headstock": Key(read_by(part_table(Headstock)), "a [headstock] table with sideways = 'rocks', 'slides' or 'fixed'"),
        "axis": Key(list_of(_axis_table()), "[[axis]] tables", None, "The axes that the controller moves."),
        "hand": Key(
            list_of(_hand_table()), "[[hand]] tables", None, "The slides and angles that the operator sets by a screw or a wheel."
        ),
        "cam": Key(list_of(part_table(CamShaft)), "[[cam]] tables", None, "The drives of the lathe's cams."),
        "fittings": key_of(
            tuple[str, ...],
            None,
            "Fittings of the lathe for chucks, such as 'ring'; default: every fitting that the chucks need.",
        ),
        "swing": key_of(Length, None, "The largest radius about the spindle that clears the bed."),
        "controller": Key(
            read_by(part_table(Controller)), "a [controller] table", None, "The format of the controller's programs."
        ),
    }
    return Table("Lathe", keys, _as_written, "The lathe as it is set up.")


def _as_written(values: dict[str, Any]) -> dict[str, Any]:
    return values


class _LatheReader:
    """Reads the name or path of a lathe, or its table."""

    @property
    def form(self) -> Any:
        """The type of a text or a table."""
        return str | lathe_table(in_file=False).form

    def read(self, given: Any, context: Context) -> str | dict[str, Any]:
        """Return the name or path, or the values of the table by key."""
        if isinstance(given, str):
            return given
        if not isinstance(given, dict):
            raise InputError("does not fit here", given=short_text(given), remedy=f"write {_LATHE}")
        values: dict[str, Any] = lathe_table(in_file=False).read(given, context)
        return values


class _ByMotion(NamedTuple):
    """A key of an axis whose unit differs between a slide and a rotary axis."""

    description: str
    about: str
    on_slide: Callable[..., float]
    on_rotary: Callable[..., float]


_END: Final = "a length on x, y and z, an angle on a rotary axis"
_BY_MOTION: Final = {
    "low": _ByMotion(_END, "The lower end of the axis's travel.", length, angle),
    "high": _ByMotion(_END, "The upper end of the axis's travel.", length, angle),
    "steps": _ByMotion(
        "a number, or '400/mm' on x, y and z, '3200/turn' on a rotary axis",
        "Motor steps in a mm or a turn.",
        steps,
        turning_steps,
    ),
    "top_speed": _ByMotion(
        "a speed such as '600 mm/min' on x, y and z, '12 rpm' on a rotary axis",
        "The highest speed of the axis.",
        speed,
        turning_speed,
    ),
    "acceleration": _ByMotion(
        "such as '200 mm/s2' on x, y and z, '720 deg/s2' on a rotary axis",
        "The largest acceleration of the axis.",
        acceleration,
        turning_acceleration,
    ),
}


def _axis_keys(part: type) -> dict[str, Key]:
    """Return the keys of an axis; the values in `_BY_MOTION` are kept as written until the kind of axis is known."""
    as_written = PlainValidator(lambda given, info: (given, info.context.units))
    kept = Annotated[Any, as_written, WithJsonSchema({"type": ["number", "string"]})]
    own = part_keys(part)
    return own | {name: Key(kept, each.description, None, each.about) for name, each in _BY_MOTION.items() if name in own}


def _axis_table() -> Table:
    return Table("Axis", _axis_keys(Axis), lambda values: Axis(**_in_units(values)), "One axis that a controller moves.")


def _hand_table() -> Table:
    notches = key_of(int, None, "Number of notches of a wheel with one circle, in place of wheel.")
    keys = _axis_keys(HandAxis) | {"notches": notches}
    return Table("HandAxis", keys, _hand_axis, "A slide or an angle that the operator sets by a screw or a wheel.")


def _hand_axis(values: dict[str, Any]) -> HandAxis:
    notches = values.pop("notches", None)
    if notches is not None:
        slides = values["moves"] in ("x", "y", "z")
        require(not slides, "notches", notches, f"left out for {values['moves']!r}, which has a screw")
        require("wheel" not in values, "notches", notches, "left out if there is a wheel")
        try:
            values["wheel"] = Wheel(((str(notches), notches),), marks="notches")
        except InputError:
            require(False, "notches", notches, "a whole number of notches, 1 to 100000")
    return HandAxis(**_in_units(values))


def _in_units(values: dict[str, Any]) -> dict[str, Any]:
    """Return the settings of an axis; the settings in `_BY_MOTION` are read in the units of a slide or of a rotary axis."""
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
    name = key_of(str, "", "Name of the chuck in steps and settings; default: its kind.")
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
        place, description = slide_length(slide)
        own[slide] = replace(own[slide], type=place, description=description)
    return Table("At", own, builder_of(At))


def _pass_table() -> Table:
    own = part_keys(Pass)
    keys = {key: own[key] for key in ("name", "turns", "spindle", "at", "travel", "arc", "together")} | {
        **{key: replace(own[key], type=read_by(_at_table())) for key in ("at", "travel")},
        "template": Key(read_by(TemplateReader()), TEMPLATE, None, own["template"].about),
        "cam": Key(list_of(_cam_choice()), "[[pass.cam]] tables", None, "The cams that move the headstock."),
        "series": Key(
            read_by(OneOrMore(_series_table())),
            "a [pass.series] table",
            None,
            "The series that repeat the pass, innermost first.",
        ),
    }

    def build(values: dict[str, Any]) -> WrittenPass:
        settings = {key: value for key, value in values.items() if key not in ("cam", "series")}
        follows = settings.pop("template") if isinstance(settings.get("template"), FollowsPiece) else None
        return WrittenPass(Pass(cams=tuple(values.get("cam", ())), **settings), follows, values.get("series", []))

    return Table("Pass", keys, build, "One uninterrupted cut, and the series that repeat it.")


def _series_table() -> Table:
    steps = Annotated[dict[str, Any], PlainValidator(_steps), WithJsonSchema(_STEPS_SCHEMA)]
    keys = {
        "count": key_of(int, about="Number of repetitions, including the first."),
        "each": Key(steps, f"a table of {_STEPS}", None, "The settings that change at each repetition, and by how much."),
        "name": key_of(str, "", "Name of one repetition, such as row."),
    }
    return Table("Series", keys, _as_written, "The repetition of a pass, or of the series before this one.")


_STEPS_SCHEMA: Final = {
    "type": "object",
    "additionalProperties": {"anyOf": [{"type": ["number", "string"]}, {"type": "object"}]},
}


def _steps(given: Any, owner: str = "") -> dict[str, Any]:
    """Return steps by their full names, such as ``"cam 1.phase"``; a nested table holds the steps of a cam or a chuck."""
    if not isinstance(given, Mapping):
        raise InputError("is not a table", given=short_text(given), remedy=f"write {_STEPS}")
    found: dict[str, Any] = {}
    for name, step in given.items():
        found |= _steps(step, f"{owner}{name}.") if isinstance(step, Mapping) else {f"{owner}{name}": step}
    return found
