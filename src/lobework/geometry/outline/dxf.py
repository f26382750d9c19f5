"""Curves of a DXF file: polylines with bulges, lines, arcs and splines of the model space, joined where their ends meet."""

from __future__ import annotations

import itertools
import logging
import math
import tempfile
from collections import defaultdict
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.errors import InputError, TooLargeError
from lobework.geometry.outline.outline import FLAT_MM, Drawn, PointBudget
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from lobework.geometry.rigid import Array
    from lobework.quantities.units import LengthUnit

__all__ = ["drawn"]

_MM_PER: Final = {
    1: Fraction(254, 10),
    2: Fraction(3048, 10),
    4: Fraction(1),
    5: Fraction(10),
    6: Fraction(1000),
    9: Fraction(254, 10_000),
    13: Fraction(1, 1000),
    14: Fraction(100),
}
"""Millimetres in each unit of $INSUNITS: in, ft, mm, cm, m, 1/1000 in, 1/1000 mm, dm. Source: DXF reference, HEADER section."""
_JOINS_MM: Final = 1e-3
"""Lines and arcs whose ends are closer than this are joined: drawings are saved with three decimals or more."""
_MOST_ENTITIES: Final = 8_000
"""Maximum number of entities in a file, including tables, vertices and ends of sections."""
_MOST_TAGS: Final = 120_000
_MOST_DEGREE: Final = 15
_MOST_FITTED: Final = 1_000
"""Maximum number of fit points of a spline; the spline is computed from a system with this number of equations."""
_FURTHEST_MM: Final = 1e6
_BINARY: Final = b"AutoCAD Binary DXF\r\n"
_LONGEST_LAYER: Final = 60
_SEPARATELY: Final = "save the one curve in a file of its own"
_FRAME: Final = 16
"""Flag of a vertex that is a control point of a spline's frame. Source: DXF reference, VERTEX, group code 70."""


def drawn(data: bytes, unit: Fraction | None, bare: LengthUnit) -> Drawn:
    """Return the open curves of a DXF file by layer.

    Raises
    ------
    InputError
        If the data is not a DXF file or is truncated, or if a curve is not planar or the unit is not supported.
    """
    _require_few(data)
    document = _read(data)
    try:
        scale, note = (unit, "") if unit is not None else _scale(int(document.header.get("$INSUNITS", 0)), bare)
        parts = _parts(document, float(scale))
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 - for a damaged drawing the library may raise any exception
        raise _damaged(error) from None
    curves: dict[str, Array] = {}
    for layer, pieces in parts.items():
        whole = _joined_curves(pieces, layer)
        for number, points in enumerate(whole, 1):
            curves[f"{layer} {number}" if len(whole) > 1 else layer] = points
    return Drawn(curves, note)


def _require_few(data: bytes) -> None:
    """Refuse a file with more tags or entities than the library can read in a second or two.

    Source: DXF reference, "About ASCII DXF files", "About binary DXF files": an entity begins with group code 0.
    """
    if data.startswith(_BINARY):
        codes = _binary_codes(data)
    elif data.count(b"\n") + data.count(b"\r") > 4 * _MOST_TAGS:
        raise TooLargeError(f"holds more than {_MOST_TAGS:,} values", remedy=_SEPARATELY)
    else:
        codes = (code.strip() == b"0" for code in data.splitlines()[::2])
    entities = 0
    for number, begins in enumerate(codes):
        entities += begins
        if entities > _MOST_ENTITIES:
            raise TooLargeError(f"holds more than {_MOST_ENTITIES:,} lines and other entities", remedy=_SEPARATELY)
        if number > _MOST_TAGS:
            raise TooLargeError(f"holds more than {_MOST_TAGS:,} values", remedy=_SEPARATELY)


def _binary_codes(data: bytes) -> Iterator[bool]:
    """Yield for each readable tag of a binary DXF file whether the tag begins an entity."""
    from ezdxf.lldxf.tagger import binary_tags_loader

    try:
        for tag in binary_tags_loader(data):
            yield tag.code == 0
    except Exception as error:  # noqa: BLE001 - for a damaged drawing the library may raise any exception
        raise _damaged(error) from None


def _read(data: bytes) -> Any:
    """Return the document; the data is first saved in a file, because the library detects the encoding only of files."""
    import ezdxf

    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "outline.dxf"
        path.write_bytes(data)
        try:
            return ezdxf.readfile(path)  # type: ignore[attr-defined]
        except OSError:
            raise InputError("is not a DXF file", remedy="save the drawing again") from None
        except Exception as error:  # noqa: BLE001 - for a damaged drawing the library may raise any exception
            raise _damaged(error) from None


def _damaged(error: Exception) -> InputError:
    message = " ".join(str(error).split()).removeprefix("DXFStructureError: ").rstrip(".")[:120]
    return InputError(f"is a damaged or truncated DXF file: {message or type(error).__name__}", remedy="save the drawing again")


def _scale(units: int, bare: LengthUnit) -> tuple[Fraction, str]:
    """Return the size of one unit of the drawing, mm, and a note on the unit if it was assumed."""
    if units == 0:
        return _MM_PER[
            4 if bare == "mm" else 1
        ], f"the drawing specifies no unit; one unit is assumed to be 1 {'mm' if bare == 'mm' else 'in'}, as in the job"
    if units not in _MM_PER:
        remedy = "specify the size of one unit of the drawing"
        raise InputError(f"$INSUNITS={units}: this unit is not supported", remedy=remedy)
    return _MM_PER[units], ""


def _parts(document: Any, scale: float) -> dict[str, list[Array]]:
    """Return the polylines, lines, arcs and splines of each layer, each as (n, 2) mm."""
    found: dict[str, list[Array]] = defaultdict(list)
    budget = PointBudget()
    for entity in document.modelspace().query("LWPOLYLINE POLYLINE LINE ARC ELLIPSE SPLINE"):
        points = _Curve(entity, FLAT_MM / scale, _FURTHEST_MM / scale, budget).points() * scale
        if len(points) < 2:
            continue
        if np.isfinite(points).all() and np.ptp(points[:, 2]) > FLAT_MM:
            remedy = "draw it in the plane of X and Y"
            raise InputError(f"a curve on layer {_layer(entity)} is not in a plane parallel to X and Y", remedy=remedy)
        found[entity.dxf.layer].append(points[:, :2])
    return found


def _layer(entity: Any) -> str:
    layer = str(entity.dxf.layer)
    return repr(layer if len(layer) <= _LONGEST_LAYER else f"{layer[: _LONGEST_LAYER - 3]}...")


class _Curve:
    """One entity of the drawing, which is converted to points in the drawing's units.

    Parameters
    ----------
    entity : Any
        The entity, an object of the library.
    flat : float
        Maximum deviation of the polyline from the curve.
    furthest : float
        Maximum size of a curved entity, and maximum distance from the origin of the drawing.
    budget : PointBudget
        The number of points that the curves of the file may still use.
    """

    def __init__(self, entity: Any, flat: float, furthest: float, budget: PointBudget) -> None:
        self._entity = entity
        self._flat = flat
        self._furthest = furthest
        self._budget = budget

    def points(self) -> Array:
        """Return the points, (n, 3), in the units and axes of the drawing."""
        entity, kind = self._entity, self._entity.dxftype()
        if kind == "LINE":
            self._budget.reserve(2)
            places = [entity.dxf.start, entity.dxf.end]
        elif kind == "SPLINE":
            places = self._spline()
        elif kind == "LWPOLYLINE":
            self._budget.reserve(len(entity))
            corners = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
            return self._polyline_points(corners, entity.dxf.elevation, closed=entity.closed)
        elif kind == "POLYLINE":
            if not (entity.is_2d_polyline or entity.is_3d_polyline):
                return np.zeros((0, 3))
            seen = [each for each in entity.vertices if not each.dxf.flags & _FRAME]
            self._budget.reserve(len(seen))
            if entity.is_2d_polyline:
                corners = np.array([(*each.dxf.location.vec2, each.dxf.bulge) for each in seen], dtype=np.float64).reshape(-1, 3)
                return self._polyline_points(corners, entity.dxf.elevation.z, closed=entity.is_closed)
            places = [each.dxf.location for each in (*seen, *seen[:1])[: len(seen) + entity.is_closed]]
        else:
            size = entity.dxf.radius if kind == "ARC" else entity.dxf.major_axis.magnitude * max(1.0, abs(entity.dxf.ratio))
            self._require_near([entity.dxf.center, (size,)])
            places = self._limited(entity.flattening(self._flat / 2))
        return np.array([tuple(place) for place in places], dtype=np.float64).reshape(-1, 3)

    def _spline(self) -> list[Any]:
        entity = self._entity
        for name, most in (("degree", _MOST_DEGREE), ("fit_points", _MOST_FITTED), ("control_points", self._budget.left)):
            count = entity.dxf.degree if name == "degree" else len(getattr(entity, name))
            if not count <= most:
                problem = f"a spline on layer {_layer(entity)} has {name.replace('_', ' ')} {count:,}; at most {most:,}"
                raise TooLargeError(problem, remedy="draw it with fewer")
        self._require_near([*entity.fit_points, *entity.control_points])
        return self._limited(entity.construction_tool().flattening(self._flat / 2))

    def _limited(self, places: Iterable[Any]) -> list[Any]:
        """Return the points of an iterator; refuse more points than remain available."""
        found = list(itertools.islice(places, self._budget.left + 1))
        self._budget.reserve(len(found))
        return found

    def _require_near(self, places: Iterable[Iterable[float]]) -> None:
        if not all(abs(each) <= self._furthest for place in places for each in place):
            size = f"larger than {_FURTHEST_MM:,.0f} mm, or further than that from the origin"
            problem = f"a curve on layer {_layer(self._entity)} is {size}"
            remedy = "specify the size of one unit of the drawing, or draw the curve again"
            raise TooLargeError(problem, remedy=remedy)

    def _polyline_points(self, corners: Array, elevation: float, *, closed: bool) -> Array:
        """Return the points, (n, 3), of a polyline; its ``corners`` are (k, 3): x, y and bulge. Arcs are approximated."""
        corners = np.concatenate([corners, corners[:1]]) if closed else corners
        found = [corners[:1, :2]]
        for (x, y, bulge), (to_x, to_y, _) in itertools.pairwise(corners):
            start, chord = complex(x, y), complex(to_x - x, to_y - y)
            if not abs(bulge * chord) / 2 <= self._flat and math.isfinite(abs(chord)):
                turned = 4 * math.atan(bulge)
                radius = abs(chord) / 2 / math.sin(abs(turned) / 2)
                self._require_near([(radius, *corners[0, :2], x, y)])
                steps = self._budget.reserve(max(1.0, abs(turned) * math.sqrt(radius / (8 * self._flat))))
                parts = np.arange(1, steps) / steps
                offset = chord * np.exp(1j * turned * (parts - 1) / 2) * np.sin(parts * turned / 2) / math.sin(turned / 2)
                found.append(np.stack([(start + offset).real, (start + offset).imag], axis=-1))
            found.append(np.array([[to_x, to_y]]))
        flat_on = np.concatenate(found)
        places = (self._entity.ocs().to_wcs((x, y, elevation)) for x, y in flat_on)
        return np.array([tuple(place) for place in places]).reshape(-1, 3)


def _joined_curves(pieces: list[Array], layer: str) -> list[Array]:
    """Return the curves that result when pieces whose ends meet are joined.

    An open curve begins at the first of its free ends.
    """
    joints = _joints(np.array([place for piece in pieces for place in (piece[0], piece[-1])]), layer)
    left, curves = dict.fromkeys(range(len(pieces))), []
    for only_open in (True, False):
        for begin in [end for k in left for end in (2 * k, 2 * k + 1)]:
            if begin // 2 in left and not (only_open and begin in joints):
                curves.append(_joined_curve(pieces, joints, begin, left))
    return curves


def _joined_curve(pieces: list[Array], joints: dict[int, int], begin: int, left: dict[int, None]) -> Array:
    """Return the curve that begins at the end ``begin`` of a piece; remove the pieces of the curve from ``left``."""
    found: list[Array] = []
    end: int | None = begin
    while end is not None and end // 2 in left:
        del left[end // 2]
        piece = pieces[end // 2][:: -1 if end % 2 else 1]
        found.append(piece[1:] if found else piece)
        end = joints.get(end ^ 1)
    curve = np.concatenate(found)
    if end == begin:
        curve[-1] = curve[0]
    return curve


def _joints(ends: Array, layer: str) -> dict[int, int]:
    """Return for each end the number of the other end that it meets; the ends of piece k have the numbers 2 k and 2 k + 1."""
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    finite = np.abs(ends).max(axis=1) <= 2 * _FURTHEST_MM
    places = np.floor(np.where(finite[:, None], ends, 0.0) / _JOINS_MM).astype(np.int64)
    for number in np.nonzero(finite)[0].tolist():
        cells[tuple(places[number].tolist())].append(number)
    found: dict[int, int] = {}
    for (across, up), inside in cells.items():
        around = [each for dx in (-1, 0, 1) for dy in (-1, 0, 1) for each in cells.get((across + dx, up + dy), ())]
        for number in inside:
            near = [each for each in around if each != number and math.dist(ends[each], ends[number]) <= _JOINS_MM]
            if len(near) > 1:
                x, y = ends[number]
                where = f"{format_number(float(x))}, {format_number(float(y))} mm"
                remedy = "put the outline on a layer by itself"
                raise InputError(f"three lines of layer {layer!r} meet at {where}", remedy=remedy)
            found.update({number: near[0]} if near else {})
    return found
