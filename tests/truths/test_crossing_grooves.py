"""Grooves that cross, against the union of their cutters' hulls in a general mesh library."""

from __future__ import annotations

import itertools
import math
from functools import lru_cache

import manifold3d
import numpy as np
import pytest

from lobework.carve.stock import Stock
from lobework.parts.cutter import Ball, Vee
from lobework.parts.piece import Disc
from tests.carving import backends_for, carved, on_face

SPIN = np.exp(2j * math.pi * np.arange(128) / 128)
TALL_MM = 6.0


def outline(cutter):
    """A cutter's (r, height) rings, mm, its side going straight up."""
    edge = cutter.edge
    if isinstance(cutter, Ball):
        angle = np.linspace(0.0, math.pi / 2, 21)
        as_large = cutter.radius * math.sqrt(angle[1] / math.sin(angle[1]))
        r, height = as_large * np.sin(angle), cutter.radius - as_large * np.cos(angle)
    else:
        r = np.array([0.0, edge.half_width])
        height = edge.at(r)
    return [*zip(r, height, strict=True), (r[-1], height[-1] + TALL_MM)]


def swept(cutter, path):
    """The union of the hulls of a cutter at the two ends of each step; facets as wide, taken all round, as what they stand for.

    A polygon's breadth, taken all round, is its perimeter over pi (Cauchy, from memory).
    """
    as_wide = (math.pi / SPIN.size) / math.sin(math.pi / SPIN.size)
    spin = as_wide * SPIN
    solid = np.array([(r * way.real, r * way.imag, height) for r, height in outline(cutter) for way in spin])
    hulls = [manifold3d.Manifold.hull_points(np.concatenate([solid + a, solid + b])) for a, b in itertools.pairwise(path)]
    return manifold3d.Manifold.batch_boolean(hulls, manifold3d.OpType.Add)


def ring(middle, radius, depth, lean, places=24):
    """A closed path, deeper on one side where it leans."""
    angle = np.linspace(0.0, 2 * math.pi, places + 1)
    x, y = middle + radius * np.cos(angle), radius * np.sin(angle)
    return np.stack([x, y, -depth - lean * np.cos(2 * angle)], axis=-1)


PATHS = (ring(-1.2, 3.0, 0.7, 0.2), ring(1.3, 2.8, 0.8, -0.1))
STOCK = Stock(Disc(diameter=14.0, thickness=5.0).surface, 160, 200, 0.0613, 0.0587, -79.7 * 0.0613, -99.4 * 0.0587)


@lru_cache
def swept_volumes(cutter):
    """What each path's swept cutter holds below the face, mm^3, then what they hold together."""
    solids = [swept(cutter, path).trim_by_plane((0.0, 0.0, -1.0), 0.0) for path in PATHS]
    return [solid.volume() for solid in (*solids, solids[0] + solids[1])]


@backends_for("face", "drilling spindle")
@pytest.mark.parametrize("cutter", [Vee(angle_deg=90.0, width=3.0), Ball(radius=1.0)], ids=lambda it: it.kind)
def test_crossing_grooves_take_away_the_union_of_the_swept_cutters(backend, cutter):
    """manifold3d; and whatever crosses, no less goes than one groove takes, nor more than all would alone."""
    *alone, union = swept_volumes(cutter)
    cell = STOCK.row_step * STOCK.column_step
    single = [carved(backend, STOCK, on_face(cutter, path)).sum(dtype=np.float64) * cell for path in PATHS]
    both = carved(backend, STOCK, *(on_face(cutter, path) for path in PATHS)).sum(dtype=np.float64) * cell
    assert max(single) < both < 0.99 * sum(single)
    assert both == pytest.approx(union, rel=1e-4)
    assert single == pytest.approx(alone, rel=1e-4)
