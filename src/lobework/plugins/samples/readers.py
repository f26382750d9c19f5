"""Readers of the files of built-in targets, which return the lines in a file, mm; the readers share no code with the writers."""

from __future__ import annotations

import csv
import io
import itertools
import re
import zipfile
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

import numpy as np

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["axes_in", "corners_in_3mf", "corners_in_stl", "moves_in", "rows_in", "strokes_in"]

_SVG: Final = "{http://www.w3.org/2000/svg}"
_3MF: Final = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
_MM: Final = {"mm": 1.0, "cm": 10.0, "in": 25.4, "millimeter": 1.0, "inch": 25.4, "micron": 1e-3}
_MOVES: Final = ("fast", "feed", "cut")
_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)"


def strokes_in(file: bytes) -> list[Array]:
    """Return the paths of the cuts in a drawing (SVG): each (n, 2) mm, with Y upwards."""
    root = ET.fromstring(file)
    wide, unit = re.fullmatch(rf"({_NUMBER})(\w+)", root.attrib["width"]).groups()  # type: ignore[union-attr]
    scale = float(wide) * _MM[unit] / float(root.attrib["viewBox"].split()[2])
    layers = [
        group
        for group in root.iter(f"{_SVG}g")
        if group.attrib.get("id", "").startswith("pass-") and "-cut-" not in group.attrib["id"]
    ]
    found = []
    for path in itertools.chain.from_iterable(layer.iter(f"{_SVG}path") for layer in layers):
        places = np.array(re.findall(_NUMBER, path.attrib["d"]), dtype=np.float64).reshape(-1, 2)
        closed = path.attrib["d"].rstrip().endswith(("Z", "z"))
        found.append(np.concatenate([places, places[: int(closed)]]) * scale * (1.0, -1.0))
    return found


def axes_in(file: bytes) -> list[Array]:
    """Return the path of the tip of the cutter on the work for each cut in a table of axes: each (n, 3) mm."""
    rows = list(csv.DictReader(io.StringIO(file.decode())))
    unit, mm = ("in", 25.4) if rows and "piece x (in)" in rows[0] else ("mm", 1.0)
    by_cut = itertools.groupby(rows, key=lambda row: row["cut"])
    return [mm * np.array([[float(row[f"piece {axis} ({unit})"]) for axis in "xyz"] for row in of_cut]) for _, of_cut in by_cut]


def moves_in(file: bytes) -> list[Array]:
    """Return the path of the slides in a program: (n, 3) mm; an axis that never moves is at zero.

    Source: NISTIR 6556 (2000): G20 and G21 choose inches and mm, text in parentheses is a comment, and axes
    that a line does not contain keep their position.
    """
    scale, place, found = 1.0, dict.fromkeys("XYZ", 0.0), []
    for line in re.sub(r"\(.*?\)", "", file.decode("ascii")).splitlines():
        words = re.findall(rf"([A-Z])({_NUMBER})", line)
        codes = {word for letter, number in words if letter == "G" for word in [float(number)]}
        scale = 25.4 if 20.0 in codes else 1.0 if 21.0 in codes else scale
        if codes & {0.0, 1.0}:
            place.update({letter: float(number) * scale for letter, number in words if letter in place})
            found.append(list(place.values()))
    return [np.array(found)]


def rows_in(file: bytes) -> list[Array]:
    """Return the path of the slides in a table of moves: (n, 3) mm; an axis that never moves is at zero."""
    head, *rows = csv.reader(io.StringIO(file.decode()))
    columns = {name[0]: (at, _MM[name[-3:-1]]) for at, name in enumerate(head) if name.endswith(("(mm)", "(in)"))}
    places = [[row[columns[each][0]] if each in columns else "0" for each in "XYZ"] for row in rows if row[2] in _MOVES]
    scale = [columns[each][1] if each in columns else 1.0 for each in "XYZ"]
    return [np.array([[float(each or 0) for each in place] for place in places]) * scale]


def corners_in_stl(file: bytes) -> list[Array]:
    """Return the triangles of a binary STL file: each (3, 3) mm; the format has no unit, so mm is assumed."""
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    return list(np.frombuffer(file, kind, offset=84)["corners"].astype(np.float64))


def corners_in_3mf(file: bytes) -> list[Array]:
    """Return the vertices of a 3MF model: (n, 3) mm."""
    with zipfile.ZipFile(io.BytesIO(file)) as package:
        model = ET.fromstring(package.read("3D/3dmodel.model"))
    scale = _MM[model.attrib.get("unit", "millimeter")]
    return [np.array([list(_corner(each)) for each in model.iter(f"{_3MF}vertex")]) * scale]


def _corner(vertex: ET.Element) -> Iterator[float]:
    return (float(vertex.attrib[axis]) for axis in "xyz")
