"""Curves of an SVG: its paths, polylines and lines, moved by their groups, in millimetres by width, height and viewBox."""

from __future__ import annotations

import io
import re
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final
from xml.etree.ElementTree import Element, ParseError

import numpy as np

from lobework.errors import InputError, TooLargeError
from lobework.outline.outline import FLAT_MM, Drawn

if TYPE_CHECKING:
    from lobework.rigid import Array
    from lobework.units import LengthUnit

__all__ = ["drawn"]

_SVG: Final = "{http://www.w3.org/2000/svg}"
_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_PATH: Final = re.compile(rf"[MmZzLlHhVvCcSsQqTtAa]|{_NUMBER}|[\s,]+")
_POINTS: Final = re.compile(rf"{_NUMBER}|[\s,]+")
_SIZE: Final = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]*)\s*")
_MM_PER: Final = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "in": Fraction(254, 10),
    "pt": Fraction(254, 720),
    "pc": Fraction(254, 60),
    "px": Fraction(254, 960),
    "": Fraction(254, 960),
}
"""Millimetres in a unit. Source: CSS Values and Units Module Level 3, 6.2: 1 in = 2.54 cm = 96 px = 72 pt = 6 pc."""
_ALIKE: Final = Fraction(1, 1000)
_MOST_STEPS: Final = 20_000


def drawn(data: bytes, unit: Fraction | None, bare: LengthUnit) -> Drawn:  # noqa: ARG001
    """Return the open curves of an SVG by their ids.

    Raises
    ------
    InputError
        Where it is no SVG, or anything in a curve is not as the standard has it.
    """
    from svgpathtools import Document
    from svgpathtools.document import CONVERSIONS

    try:
        document = Document(io.BytesIO(data), strict_transform_parsing=True)
    except (ParseError, ValueError, LookupError) as error:
        raise InputError(f"is not SVG: {error}; save the drawing again") from None
    root = document.root
    if root.tag != f"{_SVG}svg":
        raise InputError("is not SVG: its root is no <svg> of http://www.w3.org/2000/svg; save the drawing again")
    scale, note = (unit, "") if unit is not None else _scale(root)
    kinds = {kind: CONVERSIONS[kind] for kind in ("path", "polyline", "line")}
    for element in root.iter():
        _require_clean(element)
    try:
        paths = document.paths(path_conversions=kinds)
    except (ValueError, LookupError, TypeError, ArithmeticError, AssertionError) as error:
        raise InputError(f"has a curve out of order: {error}; save the drawing again") from None
    order = {element: number for number, element in enumerate(root.iter())}
    curves: dict[str, Array] = {}
    for path in sorted(paths, key=lambda each: order[each.element]):
        stretches = _stretches(path)
        for number, stretch in enumerate(stretches, 1):
            called = path.element.get("id") or f"{path.element.tag.removeprefix(_SVG)} {len(curves) + 1}"
            whole = f"{called} {number}" if len(stretches) > 1 else called
            curves[whole if whole not in curves else f"{whole} {len(curves) + 1}"] = _points(stretch, float(scale))
    return Drawn(curves, note)


def _require_clean(element: Element) -> None:
    """Refuse what a lenient reader would pass over: letters or words within a path's or a polyline's numbers."""
    for kind, attribute, allowed in (("path", "d", _PATH), ("polyline", "points", _POINTS)):
        if element.tag == f"{_SVG}{kind}":
            given = element.get(attribute, "")
            left = allowed.sub("", given)
            where = f"<{kind}> {element.get('id')!r}" if element.get("id") else f"a <{kind}>"
            if left:
                raise InputError(f"{where} holds {left[:12]!r} among its numbers; save the drawing again")
            if kind == "path" and given.strip()[:1] not in ("", "M", "m"):
                raise InputError(f"{where} does not begin with M; save the drawing again")
            if kind == "polyline" and len(re.findall(_NUMBER, given)) % 2:
                raise InputError(f"{where} holds an odd count of numbers; save the drawing again")


def _scale(root: Element) -> tuple[Fraction, str]:
    """Return how many mm one unit of the drawing is, and what was taken for granted."""
    sizes = [_size(root, name) for name in ("width", "height")]
    box = root.get("viewBox")
    if box is None:
        return _MM_PER["px"], "its units are pixels, 96 to an inch"
    numbers = re.findall(_NUMBER, box)
    if _POINTS.sub("", box) or len(numbers) != 4 or any(Fraction(each) <= 0 for each in numbers[2:]):
        raise InputError(f"viewBox={box!r} is not four numbers, width and height above zero; save the drawing again")
    scales = [size / Fraction(side) for size, side in zip(sizes, numbers[2:], strict=True) if size is not None]
    if not scales:
        return _MM_PER["px"], "it says no width and height, so 96 of its units are an inch"
    if max(scales) - min(scales) > _ALIKE * max(scales):
        raise InputError("its width and height do not go with its viewBox: it is drawn out of shape; save the drawing again")
    pixels = all(_SIZE.fullmatch(root.get(name, ""))[2] in ("", "px") for name in ("width", "height") if root.get(name))  # type: ignore[index]
    return scales[0], "its size is in pixels, 96 to an inch" if pixels else ""


def _size(root: Element, name: str) -> Fraction | None:
    """Return width or height, mm; None where it is not said, or in parts of a page."""
    given = root.get(name)
    if given is None or given.strip() == "auto" or given.strip().endswith("%"):
        return None
    found = _SIZE.fullmatch(given)
    if found is None or found[2] not in _MM_PER or Fraction(found[1]) <= 0:
        raise InputError(f"{name}={given!r} is not a size such as '100mm' or '4in'; save the drawing again")
    return Fraction(found[1]) * _MM_PER[found[2]]


def _stretches(path: Any) -> list[Any]:
    """Return the stretches of a path that hang together; none of one without a line."""
    return list(path.continuous_subpaths()) if len(path) else []


def _points(stretch: Any, scale: float) -> Array:
    """Return (n, 2) mm: a stretch of a path as straight lines, y up."""
    found = [np.array([stretch[0].start])]
    found += [_flattened(segment, scale) for segment in stretch]
    seen = np.concatenate(found)
    return np.stack([seen.real * scale, -seen.imag * scale], axis=-1)


def _flattened(segment: Any, scale: float) -> Array:
    """Return the places of a segment, its beginning left to the one before it: (n,) complex."""
    if hasattr(segment, "radius"):
        bend = max(abs(segment.radius.real), abs(segment.radius.imag)) * np.radians(segment.delta) ** 2
    else:
        corners = np.array(segment.bpoints())
        order = len(corners) - 1
        if order == 1:
            return corners[1:]
        bend = order * (order - 1) * np.abs(np.diff(corners, 2)).max()
    steps = np.sqrt(bend * scale / (8 * FLAT_MM))
    if not steps <= _MOST_STEPS:
        raise TooLargeError("has a curve too large to be an outline; say how large one unit of the drawing is")
    parts = np.linspace(0.0, 1.0, max(2, int(np.ceil(steps)) + 1))[1:]
    places = np.array([segment.point(part) for part in parts])
    places[-1] = segment.end
    return places
