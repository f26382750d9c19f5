"""Curves of an SVG file: paths, polylines and lines with their transforms, scaled to mm by width, height and viewBox."""

from __future__ import annotations

import io
import re
import warnings
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final
from xml.etree.ElementTree import Element, ParseError
from xml.parsers.expat import ExpatError, ParserCreate

import numpy as np

from lobework.errors import InputError, TooLargeError
from lobework.geometry.outline.outline import FLAT_MM, Drawn, PointBudget

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.quantities.units import LengthUnit

__all__ = ["drawn"]

_SVG: Final = "{http://www.w3.org/2000/svg}"
_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_PATH: Final = re.compile(rf"[MmZzLlHhVvCcSsQqTtAa]|{_NUMBER}|[\s,]+")
_WORD: Final = re.compile(rf"[A-Za-z]|{_NUMBER}")
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
"""Millimetres in each unit. Source: CSS Values and Units Module Level 3, 6.2: 1 in = 2.54 cm = 96 px = 72 pt = 6 pc."""
_MOST_DISTORTION: Final = Fraction(1, 1000)
_LONGEST_NUMBER: Final = 40
_LONGEST_BOX: Final = 200
_MOST_DIGITS: Final = 12
"""Maximum number of digits before the decimal point of a size, and maximum exponent; no page needs more."""
_MOST_ELEMENTS: Final = 10_000
_MOST_ATTRIBUTES: Final = 60_000
_MOST_LEVELS: Final = 100
_MOST_NUMBERS: Final = 60_000
"""Maximum number of numbers and letters in the paths and polylines of a file: slightly more than 20,000 points can need."""
_MOST_EXPANDED: Final = 1_000_000
"""Maximum number of characters to which all entity references of a file expand."""
_LONGEST_TRANSFORM: Final = 2_000
"""Maximum number of characters of a transform, a namespace name or a default attribute value, because the
library reads each of these texts once per element."""
_LONGEST_CAUSE: Final = 160
_LONGEST_SHOWN: Final = 42
_AGAIN: Final = "save the drawing again"
_PLAIN: Final = "save the drawing as plain SVG"
_SEPARATELY: Final = "save the one curve in a file of its own"


def drawn(data: bytes, unit: Fraction | None, bare: LengthUnit) -> Drawn:  # noqa: ARG001
    """Return the open curves of an SVG file by id.

    Raises
    ------
    InputError
        If the data is not SVG, or a curve does not conform to the standard.
    """
    from svgpathtools import Document
    from svgpathtools.document import CONVERSIONS

    try:
        _ContentCounter().read(data)
        document = Document(io.BytesIO(data), strict_transform_parsing=True)
    except InputError:
        raise
    except (ExpatError, ParseError, ValueError, LookupError) as error:
        raise InputError(f"is not SVG: {error}", remedy=_AGAIN) from None
    root = document.root
    if root.tag != f"{_SVG}svg":
        raise InputError("is not SVG: its root is not <svg> of http://www.w3.org/2000/svg", remedy=_AGAIN)
    scale, note = (unit, "") if unit is not None else _scale(root)
    kinds = {kind: CONVERSIONS[kind] for kind in ("path", "polyline", "line")}
    _require_few_numbers(root)
    for element in root.iter():
        _require_clean(element)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            paths = document.paths(path_conversions=kinds)
            return Drawn(_curves(root, paths, float(scale)), note)
        except InputError:
            raise
        except (ValueError, LookupError, TypeError, ArithmeticError, AssertionError, AttributeError) as error:
            raise InputError(f"has a damaged curve: {_short(error)}", remedy=_AGAIN) from None


def _short(error: Exception) -> str:
    message = " ".join(str(error).split()) or type(error).__name__
    return message if len(message) <= _LONGEST_CAUSE else f"{message[: _LONGEST_CAUSE - 3]}..."


def _curves(root: Element, paths: list[Any], scale: float) -> dict[str, Array]:
    """Return the curves, (n, 2) mm, in the order of the file; the keys are their ids."""
    order = {element: number for number, element in enumerate(root.iter())}
    budget = PointBudget()
    curves: dict[str, Array] = {}
    for path in sorted(paths, key=lambda each: order[each.element]):
        subpaths = _subpaths(path)
        for number, subpath in enumerate(subpaths, 1):
            called = path.element.get("id") or f"{path.element.tag.removeprefix(_SVG)} {len(curves) + 1}"
            whole = f"{called} {number}" if len(subpaths) > 1 else called
            curves[whole if whole not in curves else f"{whole} {len(curves) + 1}"] = _points(subpath, scale, budget)
    return curves


class _ContentCounter:
    """A parser that only counts the contents of a file, so that a file that is too large is refused before it is loaded.

    Entities: W3C, *Extensible Markup Language (XML) 1.0 (Fifth Edition)*, 4.2.
    """

    def __init__(self) -> None:
        self._elements = 0
        self._attributes = 0
        self._level = 0
        self._longest = 0
        self._references = 0

    def read(self, data: bytes) -> None:
        """Parse the file and count its contents.

        Raises
        ------
        ExpatError
            If the data is not XML.
        InputError
            If entities of the file are nested, or expand to too much text.
        TooLargeError
            If the file has too many elements, or its elements are nested too deeply.
        """
        self._references = data.count(b"&")
        parser = ParserCreate()
        parser.EntityDeclHandler = self._entity
        parser.AttlistDeclHandler = self._default
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.Parse(data, True)

    def _entity(self, name: str, is_parameter: bool, value: str | None, *_: object) -> None:
        if value is None or is_parameter or "&" in value or "%" in value:
            raise InputError(f"declares {name!r}, an entity that is more than plain text", remedy=_PLAIN)
        self._longest = max(self._longest, len(value))
        if self._longest * self._references > _MOST_EXPANDED:
            raise InputError(f"declares {name!r}, an entity with a long text that is used often", remedy=_PLAIN)

    def _default(self, element: str, attribute: str, kind: str, value: str | None, *_: object) -> None:
        if value is not None and len(value) > _LONGEST_TRANSFORM:
            raise InputError(f"declares {attribute!r}, an attribute with a long text", remedy=_PLAIN)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._elements += 1
        self._level += 1
        if self._elements > _MOST_ELEMENTS:
            raise TooLargeError(f"holds more than {_MOST_ELEMENTS:,} elements", remedy=_SEPARATELY)
        if self._level > _MOST_LEVELS:
            raise TooLargeError(f"has groups nested more than {_MOST_LEVELS} deep", remedy=_SEPARATELY)
        self._attributes += len(attributes)
        if self._attributes > _MOST_ATTRIBUTES:
            raise TooLargeError(f"holds more than {_MOST_ATTRIBUTES:,} attributes", remedy=_SEPARATELY)
        for attribute, value in attributes.items():
            if len(value) > _LONGEST_TRANSFORM and (attribute == "transform" or attribute.startswith("xmlns")):
                problem = f"has an attribute {attribute} of more than {_LONGEST_TRANSFORM:,} characters"
                raise TooLargeError(problem, remedy=_AGAIN)

    def _end(self, name: str) -> None:
        self._level -= 1


def _require_few_numbers(root: Element) -> None:
    """Refuse a file with more numbers than 20,000 points can need, before the numbers are converted."""
    written = [element.get("d", "") + element.get("points", "") for element in root.iter()]
    if sum(sum(1 for _ in _WORD.finditer(each)) for each in written) > _MOST_NUMBERS:
        raise TooLargeError(f"holds more than {_MOST_NUMBERS:,} numbers in its curves", remedy=_SEPARATELY)


def _require_clean(element: Element) -> None:
    """Refuse a path or polyline that the library would misread: invalid characters, no M first, or an odd count of numbers."""
    for kind, attribute, allowed in (("path", "d", _PATH), ("polyline", "points", _POINTS)):
        if element.tag == f"{_SVG}{kind}":
            given = element.get(attribute, "")
            left = allowed.sub("", given)
            where = f"<{kind}> {element.get('id')!r}" if element.get("id") else f"a <{kind}>"
            if left:
                raise InputError(f"{where} holds {left[:12]!r} among its numbers", remedy=_AGAIN)
            if kind == "path" and given.strip()[:1] not in ("", "M", "m"):
                raise InputError(f"{where} does not begin with M", remedy=_AGAIN)
            if kind == "polyline" and len(re.findall(_NUMBER, given)) % 2:
                raise InputError(f"{where} holds an odd count of numbers", remedy=_AGAIN)


def _scale(root: Element) -> tuple[Fraction, str]:
    """Return the size of one unit of the drawing, mm, and a note on the unit if it was assumed."""
    sizes = {name: _size(root, name) for name in ("width", "height")}
    box = root.get("viewBox")
    if box is None:
        return _MM_PER["px"], "the units of the drawing are assumed to be pixels, 96 to an inch"
    numbers = re.findall(_NUMBER, box[:_LONGEST_BOX])
    sides = [_number(each) for each in numbers[2:]]
    if len(box) > _LONGEST_BOX or _POINTS.sub("", box) or len(numbers) != 4 or any(side is None or side <= 0 for side in sides):
        raise InputError(f"viewBox={_quoted(box)} is not four numbers, width and height above zero", remedy=_AGAIN)
    scales = [size / side for size, side in zip(sizes.values(), sides, strict=True) if size is not None and side is not None]
    if not scales:
        return _MM_PER["px"], "the drawing specifies no width and height; 96 units are assumed to be an inch"
    if max(scales) - min(scales) > _MOST_DISTORTION * max(scales):
        raise InputError("its width and height do not match its viewBox: the drawing is distorted", remedy=_AGAIN)
    units = [_SIZE.fullmatch(root.get(name, "")) for name, size in sizes.items() if size is not None]
    pixels = all(each is not None and each[2] in ("", "px") for each in units)
    return scales[0], "the size of the drawing is in pixels, 96 to an inch" if pixels else ""


def _size(root: Element, name: str) -> Fraction | None:
    """Return the width or height of the drawing, mm; None if it is unspecified, or "auto" or "100%" of a page of unknown size."""
    given = root.get(name)
    if given is None or given.strip() in ("auto", "100%"):
        return None
    if given.strip().endswith("%"):
        remedy = "specify the size of one unit of the drawing, or save it with a size in mm"
        raise InputError(f"{name}={_quoted(given)} is a part of a page of unknown size", remedy=remedy)
    found = _SIZE.fullmatch(given)
    size = _number(found[1]) if found is not None and found[2] in _MM_PER else None
    if found is None or size is None or size <= 0:
        raise InputError(f"{name}={_quoted(given)} is not a size such as '100mm' or '4in'", remedy=_AGAIN)
    return size * _MM_PER[found[2]]


def _quoted(given: str) -> str:
    return repr(given if len(given) <= _LONGEST_SHOWN else f"{given[: _LONGEST_SHOWN - 3]}...")


def _number(written: str) -> Fraction | None:
    """Return the exact value of a written number; None if the number is larger than any page can need."""
    digits, _, power = written.lower().partition("e")
    if len(written) > _LONGEST_NUMBER or len(digits.partition(".")[0]) > _MOST_DIGITS:
        return None
    return Fraction(written) if abs(int(power or 0)) <= _MOST_DIGITS else None


def _subpaths(path: Any) -> list[Any]:
    """Return the connected subpaths of a path; for an empty path the list is empty."""
    return list(path.continuous_subpaths()) if len(path) else []


def _points(subpath: Any, scale: float, budget: PointBudget) -> Array:
    """Return a connected subpath as the points of a polyline, (n, 2) mm with y upwards."""
    found = [np.array([subpath[0].start])]
    found += [_flattened(segment, scale, budget) for segment in subpath]
    seen = np.concatenate(found)
    return np.stack([seen.real * scale, -seen.imag * scale], axis=-1)


def _flattened(segment: Any, scale: float, budget: PointBudget) -> Array:
    """Return the points of a segment, (n,) complex, without the first point, which belongs to the previous segment."""
    if hasattr(segment, "radius"):
        bend = max(abs(segment.radius.real), abs(segment.radius.imag)) * np.radians(segment.delta) ** 2
    else:
        corners = np.array(segment.bpoints())
        order = len(corners) - 1
        if order == 1:
            budget.reserve(1)
            return corners[1:]
        bend = order * (order - 1) * np.abs(np.diff(corners, 2)).max()
    steps = budget.reserve(max(1.0, float(np.sqrt(bend * scale / (8 * FLAT_MM)))))
    parts = np.linspace(0.0, 1.0, steps + 1)[1:]
    places = np.array([segment.point(part) for part in parts])
    places[-1] = segment.end
    return places
