"""One curve of a drawing as points in millimetres."""

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

__all__ = ["FLAT_MM", "Drawn", "Outline", "PointBudget", "read_outline"]

FLAT_MM: Final = 2e-4
"""Maximum deviation of a polyline from the curve that it approximates: a tenth of the deviation that is allowed for a trace."""
_MOST_BYTES: Final = 2_000_000
_MOST_POINTS: Final = 20_000
_MOST_LISTED: Final = 12
_LONGEST_NAME: Final = 60
_KINDS: Final = {".svg": "svg", ".dxf": "dxf"}
_NEEDS: Final = {"svg": "svgpathtools", "dxf": "ezdxf"}


class PointBudget:
    """Number of points that the curves of one file may still use; it is reduced before the points of a curve are computed."""

    def __init__(self) -> None:
        self.left = _MOST_POINTS

    def reserve(self, points: float) -> int:
        """Subtract the points of a curve from the remaining points, and return their number, rounded up.

        Raises
        ------
        TooLargeError
            If too few points remain, or ``points`` is NaN.
        """
        if not points <= self.left:
            problem = f"its curves need more than {_MOST_POINTS:,} points for an accuracy of {FLAT_MM:g} mm"
            remedy = "save the one curve in a file of its own, or specify the size of one unit of the drawing"
            raise TooLargeError(problem, remedy=remedy)
        self.left -= math.ceil(points)
        return math.ceil(points)


class Drawn(NamedTuple):
    """The contents of a drawing: its open curves by name, (n, 2) mm with y upwards, and a note on the unit if it was assumed."""

    curves: dict[str, Array]
    note: str


@dataclass(frozen=True, slots=True, repr=False)
class Outline(Brief):
    """One curve of a drawing.

    Parameters
    ----------
    name : str
        Name of the curve in the drawing.
    points : tuple of (x, y) pairs, mm
        Points from the beginning of the curve, x to the right and y upwards, relative to the origin of the drawing.
    note : str
        Assumption about the unit; empty if the file specifies the unit.
    """

    name: str
    points: tuple[tuple[float, float], ...]
    note: str = ""


def read_outline(path: Path | str, curve: str = "", *, unit: Fraction | None = None, bare: LengthUnit = "mm") -> Outline:
    """Return a curve of a DXF or SVG file.

    The points of polylines are used unchanged. Arcs, splines and Bezier curves are approximated by polylines, which deviate from
    the curves by at most 0.0002 mm. From an SVG file, paths, polylines and lines are read. From a DXF file, polylines, lines,
    arcs and splines of the model space are read, and curves whose ends meet are joined.

    Parameters
    ----------
    path : path
        A file whose name ends in .dxf or .svg.
    curve : str
        Name of the curve: the id in an SVG file, the layer in a DXF file. Required if the file contains several curves.
    unit : Fraction, mm, optional
        Size of one unit of the drawing. Default: as specified in the file.
    bare : "mm" or "inch"
        Unit to assume for a DXF file that specifies no unit.

    Raises
    ------
    InputError
        If the file cannot be read, is damaged or contains no such curve, or the library that reads this format is not installed.
    TooLargeError
        If the file is longer than 2 MB, or its curves need more than 20,000 points in all.
    """
    name, kind = Path(path).name, _KINDS.get(Path(path).suffix.lower())
    if Path(path).suffix.lower() == ".svgz":
        raise InputError("is compressed", name, remedy="save the drawing as plain .svg")
    if kind is None:
        raise InputError("is neither .dxf nor .svg", name, remedy="save the drawing as .dxf or .svg")
    too_long = f"{_MOST_BYTES // 10**6} MB; save the one curve in a file of its own"
    data = read_bytes(
        path, _MOST_BYTES, absent="its path is relative to the folder of the job file", too_long=too_long, where=name
    )
    if not data.strip():
        raise InputError("is empty", name, remedy="save the drawing again")
    if data.startswith(b"\x1f\x8b"):
        raise InputError("is compressed", name, remedy=f"save the drawing as plain .{kind}")
    reader = importlib.import_module(f"lobework.geometry.outline.{kind}")
    try:
        found: Drawn = reader.drawn(data, unit, bare)
    except ImportError:
        problem = f"reading {kind.upper()} needs {_NEEDS[kind]}, which is not installed"
        raise InputError(problem, name, remedy="run: pip install 'lobework[outline]'") from None
    except InputError as error:
        raise error.at(name) from None
    chosen = _chosen(found.curves, curve, name)
    points = found.curves[chosen]
    if not np.isfinite(points).all():
        number = int(np.nonzero(~np.isfinite(points).all(axis=1))[0][0]) + 1
        raise InputError(f"point {number} of curve {_quoted(chosen)} is not finite", name, remedy="draw it again")
    points = points[np.append(True, (points[1:] != points[:-1]).any(axis=1))]
    if (points[0] == points[-1]).all():
        raise InputError(
            f"curve {_quoted(chosen)} is closed, so it has no end", name, remedy="draw one side of it as an open curve"
        )
    return Outline(chosen, tuple((float(x), float(y)) for x, y in points + 0.0), found.note)


def _chosen(curves: dict[str, Array], curve: str, name: str) -> str:
    """Return the name of the requested curve; if no curve is requested, return the name of the only curve."""
    shown = ", ".join(_quoted(each) for each in list(curves)[:_MOST_LISTED]) + (", ..." if len(curves) > _MOST_LISTED else "")
    if not curves:
        raise InputError("holds no open curve", name, remedy="draw the outline as one path or polyline")
    if curve and curve not in curves:
        short = [each for each in curves if len(each) <= _LONGEST_NAME]
        raise InputError(f"holds no curve {_quoted(curve)}{nearest(curve, short)}; it holds {shown}", name)
    if not curve and len(curves) > 1:
        raise InputError(
            f"holds {len(curves)} curves: {shown}", name, remedy="write the name of one of them, as in curve = 'side'"
        )
    return curve or next(iter(curves))


def _quoted(curve: str) -> str:
    return repr(curve if len(curve) <= _LONGEST_NAME else f"{curve[: _LONGEST_NAME - 3]}...")
