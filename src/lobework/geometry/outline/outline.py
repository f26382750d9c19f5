"""One curve of a drawing, as points in millimetres."""

from __future__ import annotations

import importlib
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.errors import InputError, TooLargeError, nearest
from lobework.files.inputs import read_bytes
from lobework.quantities.units import LengthUnit
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from fractions import Fraction

    from lobework.geometry.rigid import Array

__all__ = ["FLAT_MM", "Drawn", "Outline", "Room", "read_outline"]

FLAT_MM: Final = 2e-4
"""How far a bent curve may be from the straight lines that stand for it: a tenth of what a trace may stray."""
_MOST_BYTES: Final = 2_000_000
_MOST_POINTS: Final = 20_000
_MOST_LISTED: Final = 12
_LONGEST_NAME: Final = 60
_KINDS: Final = {".svg": "svg", ".dxf": "dxf"}
_NEEDS: Final = {"svg": "svgpathtools", "dxf": "ezdxf"}


class Room:
    """How many more points the curves of one file may come to; counted before they are worked out."""

    def __init__(self) -> None:
        self.left = _MOST_POINTS

    def take(self, points: float) -> int:
        """Return how many points a curve comes to, once there is room for them.

        Raises
        ------
        TooLargeError
            Where there is none; not a number of points never has any.
        """
        if not points <= self.left:
            message = f"its curves come to more than {_MOST_POINTS:,} points, so that they stay within {FLAT_MM:g} mm"
            raise TooLargeError(f"{message}; save the one curve by itself, or say how large one unit of the drawing is")
        self.left -= math.ceil(points)
        return math.ceil(points)


class Drawn(NamedTuple):
    """What a drawing holds: its open curves by name, (n, 2) mm, y up, and what to know of its size."""

    curves: dict[str, Array]
    note: str


@dataclass(frozen=True, slots=True, repr=False)
class Outline(Brief):
    """One curve of a drawing.

    Parameters
    ----------
    name : str
        What the drawing calls it.
    points : tuple of (x, y) pairs, mm
        From its beginning, x to the right and y up, counted from the drawing's own zero.
    note : str
        What was taken for granted of its size; empty where the file says it.
    """

    name: str
    points: tuple[tuple[float, float], ...]
    note: str = ""


def read_outline(path: Path | str, curve: str = "", *, unit: Fraction | None = None, bare: LengthUnit = "mm") -> Outline:
    """Return a curve of a DXF or SVG file.

    Polylines keep their points; arcs, splines and Bezier curves become straight lines, 0.0002 mm from them at the most. Of an
    SVG, paths, polylines and lines are read; of a DXF, polylines, lines, arcs and splines of the model, those that meet joined.

    Parameters
    ----------
    path : path
        Ends in .dxf or .svg.
    curve : str
        Its name: an SVG's id, a DXF's layer; needed where the file holds several.
    unit : Fraction, mm, optional
        What one unit of the drawing is, in place of what the file says.
    bare : "mm" or "inch"
        The unit of a DXF that says none.

    Raises
    ------
    InputError
        Where the file cannot be read, is broken or holds no such curve, or what reads it is not installed.
    TooLargeError
        Where it is longer than 2 MB, or its curves come to more than 20,000 points in all.
    """
    name, kind = Path(path).name, _KINDS.get(Path(path).suffix.lower())
    if Path(path).suffix.lower() == ".svgz":
        raise InputError("is compressed; save the drawing as plain .svg", name)
    if kind is None:
        raise InputError("is neither .dxf nor .svg; save the drawing as one of them", name)
    too_long = f"{_MOST_BYTES // 10**6} MB; save the one curve by itself"
    data = read_bytes(path, _MOST_BYTES, absent="its path is taken from where the job file lies", too_long=too_long, where=name)
    if not data.strip():
        raise InputError("is empty; save the drawing again", name)
    if data.startswith(b"\x1f\x8b"):
        raise InputError(f"is compressed; save the drawing as plain .{kind}", name)
    reader = importlib.import_module(f"lobework.geometry.outline.{kind}")
    try:
        found: Drawn = reader.drawn(data, unit, bare)
    except ImportError:
        needs = f"reading {kind.upper()} needs {_NEEDS[kind]}, which is not installed; run: pip install 'lobework[outline]'"
        raise InputError(needs, name) from None
    except InputError as error:
        raise error.at(name) from None
    picked = _picked(found.curves, curve, name)
    points = found.curves[picked]
    if not np.isfinite(points).all():
        number = int(np.nonzero(~np.isfinite(points).all(axis=1))[0][0]) + 1
        raise InputError(f"point {number} of curve {_named(picked)} is no finite number; draw it again", name)
    points = points[np.append(True, (points[1:] != points[:-1]).any(axis=1))]
    if (points[0] == points[-1]).all():
        raise InputError(f"curve {_named(picked)} is closed, so it has no end to go to; draw one side of it, open", name)
    return Outline(picked, tuple((float(x), float(y)) for x, y in points + 0.0), found.note)


def _picked(curves: dict[str, Array], curve: str, name: str) -> str:
    """Return the name of the curve that is meant."""
    shown = ", ".join(_named(each) for each in list(curves)[:_MOST_LISTED]) + (", ..." if len(curves) > _MOST_LISTED else "")
    if not curves:
        raise InputError("holds no open curve; draw the outline as one path or polyline", name)
    if curve and curve not in curves:
        short = [each for each in curves if len(each) <= _LONGEST_NAME]
        raise InputError(f"holds no curve {_named(curve)}{nearest(curve, short)}; it holds {shown}", name)
    if not curve and len(curves) > 1:
        raise InputError(f"holds {len(curves)} curves: {shown}; write curve = one of them", name)
    return curve or next(iter(curves))


def _named(curve: str) -> str:
    return repr(curve if len(curve) <= _LONGEST_NAME else f"{curve[: _LONGEST_NAME - 3]}...")
