"""The promise of every part about the units of its settings: the annotation of each field states its unit."""

from __future__ import annotations

import inspect
import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any, Final

import numpy as np

from lobework.errors import InputError
from lobework.plugins.sample import Sample
from lobework.quantities.fields import Angle, Length, Measure, Turning, hints_of
from lobework.testing.answers import answers
from lobework.testing.compare import Broken
from lobework.testing.promise import promised

__all__ = ["PARTS"]

PARTS: Final = ("chuck", "cam", "follower", "cutter", "piece")

_ENTRY: Final = re.compile(r"(?P<names>\w+(?:, \w+)*) : (?P<type>.+)")
_UNIT: Final = re.compile(r"[,(\[]\s*([^\W\d]+)")
_UNITS: Final = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("in", "inch", "inches"), "inches"),
    **dict.fromkeys(("cm", "centimetres"), "cm"),
    **dict.fromkeys(("deg", "degree", "degrees"), "degrees"),
    **dict.fromkeys(("rad", "radian", "radians"), "radians"),
}
_SIZES: Final = (1.25, 0.8, 1.0625, 2.0)
"""Factors for lengths; the first factor that the part accepts is used."""
_MOST: Final = 6
"""Largest number of doubtful settings of which every subset is tested; if there are more, only single settings are tested."""
_SAME: Final = 1e-9
_NOT_A_TURN: Final = 77.7
"""An angle that is not a whole turn, in degrees or radians."""


def _hints(part: Any) -> dict[str, Any]:
    made_of: type = type(part)
    return hints_of(made_of)


def _entries(part: type) -> dict[str, str]:
    """Return the type description of each setting, from the docstrings of the class of a part and its base classes."""
    found: dict[str, str] = {}
    for base in reversed(part.__mro__):
        for line in inspect.cleandoc(base.__dict__.get("__doc__") or "").splitlines():
            if entry := _ENTRY.fullmatch(line):
                found.update(dict.fromkeys(entry["names"].split(", "), entry["type"]))
    return found


def _unit_of(entry: str) -> str:
    """Return the unit that a type description contains; empty if there is no unit."""
    return next((_UNITS[word] for word in _UNIT.findall(entry) if word in _UNITS), "")


def _mark_of(hint: Any) -> str:
    """Return the mark of a field with the type ``hint``: "Length", "Angle", "Turning" or "number"; empty for any other type."""
    known = {Length: "Length", Angle: "Angle", Turning: "Turning", float: "number", int: "number"}
    if hint in known:
        return known[hint]
    measure = next((each for each in getattr(hint, "__metadata__", ()) if isinstance(each, Measure)), None)
    return "Length" if measure is not None and (measure.pairs or measure.takes_bare) else ""


def _errors_of_docstring(part: type) -> Iterator[str]:
    """Yield a message for each setting whose mark contradicts the name or the docstring of the setting."""
    entries, hints = _entries(part), hints_of(part)
    for each in fields(part):
        name, mark, entry = each.name, _mark_of(hints[each.name]), entries.get(each.name, "")
        unit = _unit_of(entry)
        if not mark:
            continue
        if unit in ("inches", "cm", "radians"):
            yield f"{name}: its docstring says {unit}, but settings are stored in mm and degrees; correct docstring and mark"
        elif unit == "mm" and mark != "Length":
            marked = f"the setting is marked {_mark_text(mark)}"
            yield f"{name}: its docstring says mm, but {marked}; mark the setting Length, from lobework.plugins"
        elif unit == "degrees" and mark not in ("Angle", "Turning"):
            marked = f"the setting is marked {_mark_text(mark)}"
            yield f"{name}: its docstring says degrees, but {marked}; mark the setting Angle, from lobework.plugins"
        elif name.endswith("_deg") != (mark == "Angle") and mark != "Turning":
            must_be = "a setting in degrees must be marked Angle and have a name that ends in _deg"
            yield f"{name}: the setting is marked {_mark_text(mark)}; {must_be}"
        elif mark in ("Length", "Angle") and entry and not unit and "float" in entry:
            unit = "mm" if mark == "Length" else "degrees"
            yield f"{name}: the setting is marked {mark}, but its docstring gives no unit; write {name} : float, {unit}"


def _mark_text(mark: str) -> str:
    return "as a plain number" if mark == "number" else mark


def _scaled(value: Any, size: float) -> Any:
    """Return the value of a setting multiplied by ``size``; a tuple is multiplied element by element."""
    if isinstance(value, float) and not isinstance(value, bool):
        return value * size
    if isinstance(value, tuple):
        return tuple(_scaled(each, size) for each in value)
    return value


def _parts_scaled(value: Any, size: float) -> Any:
    """Return a tuple of parts with all their lengths multiplied by ``size``; return any other value unchanged."""
    if isinstance(value, tuple) and value and all(is_dataclass(each) for each in value):
        return tuple(_resized(each, size, _lengths(each)) for each in value)
    return value


def _lengths(part: Any) -> set[str]:
    hints = _hints(part)
    return {each.name for each in fields(part) if each.init and _mark_of(hints[each.name]) == "Length"}


def _resized(part: Any, size: float, names: set[str]) -> Any:
    """Return a part with the settings ``names``, and the lengths of all parts contained in settings, multiplied by ``size``."""
    changed = {name: _scaled(getattr(part, name), size) for name in names}
    for each in fields(part):
        if each.init and each.name not in names:
            value = _parts_scaled(getattr(part, each.name), size)
            if value is not getattr(part, each.name):
                changed[each.name] = value
    return replace(part, **changed)


def _scales(sample: Sample, names: set[str]) -> bool | None:
    """Return whether the results of a part scale with the settings ``names``; None if the part accepts no factor."""
    kind, part = sample.kind, sample.part
    for size in _SIZES:
        try:
            other = _resized(part, size, names)
        except InputError:
            continue
        before, after = answers(kind, part), answers(kind, other, size)
        return all(
            _alike(before[what].numbers * (size if before[what].is_length else 1.0), after[what].numbers) for what in before
        )
    return None


def _alike(one: Any, other: Any) -> bool:
    if one.shape != other.shape:
        return False
    with np.errstate(invalid="ignore"):
        off = np.where(one == other, 0.0, np.abs(one - other))
    return bool((off <= _SAME * (1.0 + np.abs(np.where(np.isfinite(one), one, 0.0)))).all())


def _errors_by_scaling(sample: Sample) -> Iterator[str]:
    """Yield a message for each setting with a wrong mark.

    A mark is wrong if the part keeps its shape only when a setting not marked Length is scaled like a length, or only when a
    setting marked Length is not scaled.
    """
    part, lengths = sample.part, _lengths(sample.part)
    if _scales(sample, lengths) is not False:
        return
    entries, hints = _entries(type(part)), _hints(part)
    doubtful = [
        each.name
        for each in fields(part)
        if each.init
        and _mark_of(hints[each.name]) in ("Length", "Angle", "number")
        and isinstance(value := getattr(part, each.name), float)
        and math.isfinite(value)
        and value
        and not (_mark_of(hints[each.name]) == "number" and "," in entries.get(each.name, ""))
    ]
    for count in range(1, len(doubtful) + 1 if len(doubtful) <= _MOST else 2):
        for wrong in itertools.combinations(doubtful, count):
            if _scales(sample, lengths ^ set(wrong)):
                for name in wrong:
                    yield _scaling_message(name, name in lengths, _mark_of(hints[name]))
                return


def _scaling_message(name: str, is_length: bool, mark: str) -> str:
    if is_length:
        message = f"{name}: the setting is marked Length, but the part keeps its shape under scaling only if {name} is not scaled"
        return f"{message}; mark the setting with its true unit"
    only_if = f"the part keeps its shape under scaling only if {name} is scaled like the lengths"
    message = f"{name}: the setting is marked {_mark_text(mark)}, but {only_if}"
    return f"{message}; mark the setting Length, or name its unit in the docstring: {name} : float, turns"


def _errors_by_turning(sample: Sample) -> Iterator[str]:
    """Yield a message for each number or length to which a whole turn can be added without changing the results."""
    part, hints = sample.part, _hints(sample.part)
    for each in fields(part):
        if not each.init or hints[each.name] not in (float, Length) or not math.isfinite(getattr(part, each.name)):
            continue
        for unit, whole in (("degrees", 360.0), ("radians", 2 * math.pi)):
            if _changes(sample, each.name, _NOT_A_TURN) is True and _changes(sample, each.name, whole) is False:
                message = f"adding {whole:g} changes no result, so the setting is an angle in {unit}"
                yield f"{each.name}: {message}; mark the setting Angle, and store degrees"


def _changes(sample: Sample, name: str, more: float) -> bool | None:
    """Return whether adding ``more`` to the setting ``name`` changes the results; None if the part refuses the new value."""
    kind, part = sample.kind, sample.part
    try:
        other = replace(part, **{name: getattr(part, name) + more})
    except InputError:
        return None
    before, after = answers(kind, part), answers(kind, other)
    return not all(_alike(before[what].numbers, after[what].numbers) for what in before)


def _types_in(part: Any) -> Iterator[type]:
    """Yield the type of a part, and the types of all parts contained in its settings, except types of lobework itself."""
    yield type(part)
    for each in fields(part):
        value = getattr(part, each.name)
        for one in value if isinstance(value, tuple) else (value,):
            if is_dataclass(one) and not isinstance(one, type) and not type(one).__module__.startswith("lobework."):
                yield type(one)


def _units(sample: Sample) -> int:
    """Compare the mark of each setting with the docstring, the name and the effect of the setting."""
    part = sample.part
    types = set(_types_in(part))
    for wrong in itertools.chain(*map(_errors_of_docstring, types), _errors_by_scaling(sample), _errors_by_turning(sample)):
        raise Broken(wrong)
    return sum(len(fields(each)) for each in types) or 1


for _kind in PARTS:
    promised(
        _kind,
        "marks its settings with their units",
        "Lengths are marked Length and angles are marked Angle, in agreement with the docstring and the behaviour of the part.",
    )(_units)
