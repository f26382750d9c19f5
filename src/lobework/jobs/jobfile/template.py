"""A template in a job file: points, a curve of a drawing, or the side of the work itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any, Final, Literal

from lobework.errors import InputError
from lobework.jobs.jobfile.source import short_text, with_key_and_value
from lobework.jobs.jobfile.tables import Context, Key, Table, key_of, part_keys
from lobework.parts.template import Template, read_template
from lobework.quantities.fields import Length

__all__ = ["ALLOWED", "FollowsPiece", "TemplateReader"]

ALLOWED: Final = "'piece', or a table such as { points = [[0, 20], [-30, 25]], smooth = true } or { file = 'vase.svg' }"
_AXIS: Final = "Direction of the work's axis in the drawing, away from the headstock."
_SOURCES: Final = ("points", "file", "of")
_OF_A_FILE: Final = ("curve", "unit", "axis")


@dataclass(frozen=True, slots=True)
class FollowsPiece:
    """The side of the work as a template, from ``start`` to ``end`` mm along z, for a rubber of radius ``rubber`` mm."""

    start: float | None = None
    end: float | None = None
    rubber: float = 0.0


class TemplateReader:
    """Reads a template: the word ``piece``, or a table."""

    @property
    def form(self) -> Any:
        """The type of the word or the table."""
        return Literal["piece"] | _table().form

    def read(self, given: Any, context: Context) -> Template | FollowsPiece:
        """Return the template; the path of a drawing is relative to the folder of the job file."""
        if given == "piece":
            return FollowsPiece()
        if not isinstance(given, dict):
            raise InputError("does not fit here", given=short_text(given), remedy=f"write {ALLOWED}")
        values = _table().read(given, context)
        own = {name: values[key] for name, key in (("start", "from"), ("end", "to"), ("rubber", "rubber")) if key in values}
        try:
            if "file" in values:
                return _of_file(values, own, context)
            if "points" in values:
                return Template(points=values["points"], smooth=values.get("smooth", False), **own)
            return FollowsPiece(**own)
        except InputError as error:
            raise with_key_and_value(error, given) from None


@cache
def _table() -> Table:
    own = part_keys(Template)
    keys = {
        "points": Key(own["points"].type, own["points"].description, None, own["points"].about),
        "smooth": own["smooth"],
        "file": key_of(str, None, "Path of a drawing (.svg or .dxf), relative to the folder of this file."),
        "curve": key_of(
            str, "", "The curve in the drawing: an SVG id or a DXF layer; required if the drawing has several curves."
        ),
        "unit": key_of(Length, None, "Length of one unit of the drawing; default: the unit that the drawing declares."),
        "axis": key_of(Literal["up", "right"], "up", _AXIS),
        "of": key_of(Literal["piece"], None, "The side of the work itself."),
        "rubber": own["rubber"],
        "from": Key(
            own["start"].type, own["start"].description, None, "Start of the pass on the curve, given by z, or by x on a face."
        ),
        "to": Key(own["end"].type, own["end"].description, None, "End of the pass on the curve."),
    }
    return Table("Template", keys, _of_one_source, "A curve that the slides follow with the tip.")


def _of_one_source(values: dict[str, Any]) -> dict[str, Any]:
    sources = [key for key in _SOURCES if key in values]
    if len(sources) != 1:
        problem = f"{' and '.join(sources)} together" if sources else "neither points nor file"
        raise InputError(problem, remedy="write points, or file, or of = 'piece'")
    for key in (*(() if "file" in values else _OF_A_FILE), *(() if "points" in values else ("smooth",))):
        if key in values:
            goes_with = "points" if key == "smooth" else "file"
            raise InputError(f"can only be used with {goes_with}", key, remedy="remove this key")
    return values


def _of_file(values: dict[str, Any], own: dict[str, Any], context: Context) -> Template:
    unit = Fraction(repr(values["unit"])) if "unit" in values else None
    if unit is not None and unit <= 0:
        raise InputError(where="unit", given=short_text(values["unit"]), must_be="above zero")
    settings: dict[str, Any] = {
        "unit": unit,
        "axis": values.get("axis", "up"),
        "bare": context.units,
        "start": own.get("start"),
        "end": own.get("end"),
    }
    try:
        template = read_template(context.folder / values["file"], values.get("curve", ""), **settings)
    except InputError as error:
        raise type(error)(str(error), "file") from None
    return replace(template, **own)
