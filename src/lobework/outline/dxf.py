"""Curves of a DXF: polylines with their bulges, lines, arcs and splines of the model, joined where their ends meet."""

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
from lobework.outline.outline import FLAT_MM, Drawn
from lobework.units import format_number

if TYPE_CHECKING:
    from lobework.rigid import Array
    from lobework.units import LengthUnit

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
"""Millimetres in a unit of $INSUNITS: in, ft, mm, cm, m, 1/1000 in, 1/1000 mm, dm. Source: DXF reference, HEADER section."""
_JOINS_MM: Final = 1e-3
"""Ends of lines and arcs nearer than this meet: drawings are written with three places or more."""
_MOST_ENTITIES: Final = 20_000
_MOST_STEPS: Final = 20_000
_FRAME: Final = 16
"""Flag of a vertex that only frames a spline. Source: DXF reference, VERTEX, group code 70."""


def drawn(data: bytes, unit: Fraction | None, bare: LengthUnit) -> Drawn:
    """Return the open curves of a DXF by their layers.

    Raises
    ------
    InputError
        Where it is no DXF, is cut short, has a curve that does not lie flat, or says a unit that is not known here.
    """
    document = _read(data)
    try:
        scale, note = (unit, "") if unit is not None else _scale(int(document.header.get("$INSUNITS", 0)), bare)
        parts = _parts(document, float(scale))
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 - a broken drawing trips the library in any way
        raise _not_whole(error) from None
    curves: dict[str, Array] = {}
    for layer, pieces in parts.items():
        whole = _joined(pieces, layer)
        for number, points in enumerate(whole, 1):
            curves[f"{layer} {number}" if len(whole) > 1 else layer] = points
    return Drawn(curves, note)


def _read(data: bytes) -> Any:
    """Return the document; the library finds out a file's encoding by its path."""
    import ezdxf

    logging.getLogger("ezdxf").addHandler(logging.NullHandler())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "outline.dxf"
        path.write_bytes(data)
        try:
            return ezdxf.readfile(path)  # type: ignore[attr-defined]
        except OSError:
            raise InputError("is not a DXF; save the drawing again") from None
        except Exception as error:  # noqa: BLE001 - a broken drawing trips the library in any way
            raise _not_whole(error) from None


def _not_whole(error: Exception) -> InputError:
    says = " ".join(str(error).split()).removeprefix("DXFStructureError: ").rstrip(".")[:120]
    return InputError(f"is not a whole DXF: {says or type(error).__name__}; save the drawing again")


def _scale(units: int, bare: LengthUnit) -> tuple[Fraction, str]:
    """Return how many mm one unit of the drawing is, and what was taken for granted."""
    if units == 0:
        return _MM_PER[4 if bare == "mm" else 1], f"it says no unit, so one is 1 {'mm' if bare == 'mm' else 'in'} as in the job"
    if units not in _MM_PER:
        raise InputError(f"$INSUNITS={units}: this unit is not known here; say how large one unit of the drawing is")
    return _MM_PER[units], ""


def _parts(document: Any, scale: float) -> dict[str, list[Array]]:
    """Return what is drawn on each layer, one (n, 2) mm a polyline, line, arc or spline."""
    found: dict[str, list[Array]] = defaultdict(list)
    entities = document.modelspace().query("LWPOLYLINE POLYLINE LINE ARC ELLIPSE SPLINE")
    if len(entities) > _MOST_ENTITIES:
        raise TooLargeError(f"holds {len(entities):,} lines and curves; at most {_MOST_ENTITIES:,}; save the one curve by itself")
    for entity in entities:
        points = _points(entity, FLAT_MM / scale) * scale
        if len(points) < 2:
            continue
        if np.isfinite(points).all() and np.ptp(points[:, 2]) > FLAT_MM:
            raise InputError(f"a curve on layer {entity.dxf.layer!r} does not lie flat; draw it in the plane of X and Y")
        found[entity.dxf.layer].append(points[:, :2])
    return found


def _points(entity: Any, flat: float) -> Array:
    """Return (n, 3) of the drawing's units, in its own axes, no more than ``flat`` from the curve."""
    kind = entity.dxftype()
    if kind == "LINE":
        places = [entity.dxf.start, entity.dxf.end]
    elif kind == "SPLINE":
        places = list(entity.construction_tool().flattening(flat / 2))
    elif kind == "LWPOLYLINE":
        corners = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
        return _through(entity, corners, entity.dxf.elevation, flat, closed=entity.closed)
    elif kind == "POLYLINE":
        if not (entity.is_2d_polyline or entity.is_3d_polyline):
            return np.zeros((0, 3))
        seen = [each for each in entity.vertices if not each.dxf.flags & _FRAME]
        if entity.is_2d_polyline:
            corners = np.array([(*each.dxf.location.vec2, each.dxf.bulge) for each in seen], dtype=np.float64).reshape(-1, 3)
            return _through(entity, corners, entity.dxf.elevation.z, flat, closed=entity.is_closed)
        places = [each.dxf.location for each in (*seen, *seen[:1])[: len(seen) + entity.is_closed]]
    else:
        places = list(entity.flattening(flat / 2))
    return np.array([tuple(place) for place in places], dtype=np.float64).reshape(-1, 3)


def _through(entity: Any, corners: Array, elevation: float, flat: float, *, closed: bool) -> Array:
    """Return a polyline's corners, (k, 3) x, y and bulge, with the places of its arcs between them: (n, 3)."""
    corners = np.concatenate([corners, corners[:1]]) if closed else corners
    found = [corners[:1, :2]]
    for (x, y, bulge), (to_x, to_y, _) in itertools.pairwise(corners):
        start, chord = complex(x, y), complex(to_x - x, to_y - y)
        turned = 4 * math.atan(bulge)
        if turned and math.isfinite(abs(chord)):
            radius = abs(chord) / 2 / math.sin(abs(turned) / 2)
            steps = math.ceil(abs(turned) * math.sqrt(radius / (8 * flat)))
            parts = np.arange(1, max(1, min(steps, _MOST_STEPS))) / max(1, min(steps, _MOST_STEPS))
            way = chord * np.exp(1j * turned * (parts - 1) / 2) * np.sin(parts * turned / 2) / math.sin(turned / 2)
            found.append(np.stack([(start + way).real, (start + way).imag], axis=-1))
        found.append(np.array([[to_x, to_y]]))
    flat_on = np.concatenate(found)
    places = (entity.ocs().to_wcs((x, y, elevation)) for x, y in flat_on)
    return np.array([tuple(place) for place in places])


def _joined(pieces: list[Array], layer: str) -> list[Array]:
    """Return curves made of pieces whose ends meet; each goes the way of the first of its pieces that has an open end."""
    meets = _meeting(np.array([place for piece in pieces for place in (piece[0], piece[-1])]), layer)
    left, curves = dict.fromkeys(range(len(pieces))), []
    for only_open in (True, False):
        for begin in [end for k in left for end in (2 * k, 2 * k + 1)]:
            if begin // 2 in left and not (only_open and begin in meets):
                curves.append(_walked(pieces, meets, begin, left))
    return curves


def _walked(pieces: list[Array], meets: dict[int, int], begin: int, left: dict[int, None]) -> Array:
    """Return the curve that begins at an end of a piece, taking its pieces from those ``left``."""
    found: list[Array] = []
    end: int | None = begin
    while end is not None and end // 2 in left:
        del left[end // 2]
        piece = pieces[end // 2][:: -1 if end % 2 else 1]
        found.append(piece[1:] if found else piece)
        end = meets.get(end ^ 1)
    curve = np.concatenate(found)
    if end == begin:
        curve[-1] = curve[0]
    return curve


def _meeting(ends: Array, layer: str) -> dict[int, int]:
    """Return the end that each end meets; pieces stand two ends each, one after the other."""
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    finite = np.isfinite(ends.sum(axis=1))
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
                raise InputError(f"three lines of layer {layer!r} meet at {where}; put the outline on a layer by itself")
            found.update({number: near[0]} if near else {})
    return found
