"""A template as job files write it: points, a curve of a drawing, or the side of the work itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any, Final, Literal

from lobework.errors import InputError
from lobework.jobs.jobfile.source import pointed, shown
from lobework.jobs.jobfile.tables import Context, Key, Table, key_of, part_keys
from lobework.parts.template import Template, read_template
from lobework.quantities.fields import Length

__all__ = ["SAYS", "FollowsPiece", "TemplateReader"]

SAYS: Final = "'piece', or a table such as { points = [[0, 20], [-30, 25]], smooth = true } or { file = 'vase.svg' }"
_AXIS: Final = "Where the axis of the work points in the drawing, away from the headstock."
_WAYS: Final = ("points", "file", "of")
_OF_A_FILE: Final = ("curve", "unit", "axis")


@dataclass(frozen=True, slots=True)
class FollowsPiece:
    """The side of the work itself, or the part of it from ``start`` to ``end`` mm along z, and what follows it."""

    start: float | None = None
    end: float | None = None
    rubber: float = 0.0


class TemplateReader:
    """Reads a template: the word piece, or a table."""

    @property
    def form(self) -> Any:
        """The type of either."""
        return Literal["piece"] | _table().form

    def read(self, given: Any, context: Context) -> Template | FollowsPiece:
        """Return the template; a file's path is taken from the job file's folder."""
        if given == "piece":
            return FollowsPiece()
        if not isinstance(given, dict):
            raise InputError(f"{shown(given)} does not fit here; write {SAYS}")
        values = _table().read(given, context)
        own = {name: values[key] for name, key in (("start", "from"), ("end", "to"), ("rubber", "rubber")) if key in values}
        try:
            if "file" in values:
                return _of_file(values, own, context)
            if "points" in values:
                return Template(points=values["points"], smooth=values.get("smooth", False), **own)
            return FollowsPiece(**own)
        except InputError as error:
            raise pointed(error, given) from None


@cache
def _table() -> Table:
    own = part_keys(Template)
    keys = {
        "points": Key(own["points"].type, own["points"].description, None, own["points"].about),
        "smooth": own["smooth"],
        "file": key_of(str, None, "A drawing that ends in .svg or .dxf, by its path from here."),
        "curve": key_of(str, "", "Which curve of the drawing: an SVG's id, a DXF's layer; needed where it holds several."),
        "unit": key_of(Length, None, "What one unit of the drawing is, in place of what it says itself."),
        "axis": key_of(Literal["up", "right"], "up", _AXIS),
        "of": key_of(Literal["piece"], None, "The side of the work itself."),
        "rubber": own["rubber"],
        "from": Key(own["start"].type, own["start"].description, None, "Where on it the pass begins, by z, on a face by x."),
        "to": Key(own["end"].type, own["end"].description, None, "Where on it the pass ends."),
    }
    return Table("Template", keys, _of_one_kind, "A curve along which the slides lead the tip.")


def _of_one_kind(values: dict[str, Any]) -> dict[str, Any]:
    ways = [key for key in _WAYS if key in values]
    if len(ways) != 1:
        message = f"{' and '.join(ways)} together" if ways else "neither points nor file"
        raise InputError(f"{message}; write points, or file, or of = 'piece'")
    for key in (*(() if "file" in values else _OF_A_FILE), *(() if "points" in values else ("smooth",))):
        if key in values:
            goes_with = "points" if key == "smooth" else "file"
            raise InputError(f"goes with {goes_with} only; leave it out", key)
    return values


def _of_file(values: dict[str, Any], own: dict[str, Any], context: Context) -> Template:
    unit = Fraction(repr(values["unit"])) if "unit" in values else None
    if unit is not None and unit <= 0:
        raise InputError(f"{shown(values['unit'])} must be above zero", "unit")
    how: dict[str, Any] = {
        "unit": unit,
        "axis": values.get("axis", "up"),
        "bare": context.units,
        "start": own.get("start"),
        "end": own.get("end"),
    }
    try:
        template = read_template(context.folder / values["file"], values.get("curve", ""), **how)
    except InputError as error:
        raise type(error)(str(error), "file") from None
    return replace(template, **own)
