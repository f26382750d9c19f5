"""Carving is a drop-cutter upside down: a cutter dropped on a path turned over stops as high as the path's groove is deep."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from lobework.carve.stock import stock_of
from lobework.parts.cutter import Ball, FlatEnd, Vee
from lobework.parts.piece import Disc
from tests.carving import backends_for, carved, on_face

opencamlib = pytest.importorskip("opencamlib", reason="opencamlib has no wheel for this Python")

STOCK = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.25)
FLUTE_MM = 50.0
"""Of cutters as the library takes them. It adds this to a cone's own height, and takes the sum for that height where an edge
slopes; so a cone has none."""
CUTTERS = {
    "ball": (Ball(radius=1.3), opencamlib.BallCutter(2.6, FLUTE_MM)),
    "cone": (Vee(angle_deg=80.0, width=2.6), opencamlib.ConeCutter(2.6, np.radians(40.0), 0.0)),
    "cylinder": (FlatEnd(width=2.6), opencamlib.CylCutter(2.6, FLUTE_MM)),
}
ANGLE = np.linspace(0.0, 2 * np.pi, 49)
PATHS = {
    "waved ring": np.stack(
        [(7 + np.sin(5 * ANGLE)) * np.cos(ANGLE), (7 + np.sin(5 * ANGLE)) * np.sin(ANGLE), -0.5 - 0.3 * np.cos(3 * ANGLE)],
        axis=-1,
    ),
    "across and over the edge": np.array([[-9.3, -1.1, -0.2], [3.1, 2.3, -1.1], [11.2, 6.7, -0.4]]),
    "back and forth": np.array([[-4.0, 0.3, -0.9], [4.0, 0.3, -0.3], [-4.0, 0.3, -0.6], [0.1, -5.2, -0.6]]),
}


def dropped(cutter, path, places):
    """Where a cutter comes to rest on a wall of triangles whose top is the path turned over, (n,) mm above the plane."""
    surface = opencamlib.STLSurf()
    for a, b in itertools.pairwise(path):
        foot = (a + b) / 2 * [1, 1, 0] + [0, 0, -40.0]
        corners = (opencamlib.Point(*(float(c) for c in corner)) for corner in (a * [1, 1, -1], b * [1, 1, -1], foot))
        surface.addTriangle(opencamlib.Triangle(*corners))
    drop = opencamlib.BatchDropCutter()
    drop.setCutter(cutter)
    drop.setSTL(surface)
    for x, y in places:
        drop.appendPoint(opencamlib.CLPoint(float(x), float(y), 0.0))
    drop.run()
    return np.array([point.z for point in drop.getCLPoints()])


@backends_for("face", "drilling spindle")
@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("shape", CUTTERS)
def test_grooves_equal_the_drop_cutter_of_an_independent_library(backend, path, shape):
    """OpenCAMLib 2023.01.11, at each of some five thousand rays."""
    ours, theirs = CUTTERS[shape]
    x, y = np.meshgrid(STOCK.column_positions, STOCK.row_positions)
    places = np.stack([x, y], axis=-1)[STOCK.inside]
    depth = carved(backend, STOCK, on_face(ours, PATHS[path]))[STOCK.inside]
    height = dropped(theirs, PATHS[path], places)
    assert len(places) > 4000
    assert (depth > 0).sum() > 200
    assert np.abs(depth - np.maximum(height, 0.0)).max() < 1e-5
