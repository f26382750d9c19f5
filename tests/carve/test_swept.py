"""The judge of the judge: no place of a box is further inside a cutter than its bounds say."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.carve.backend import EVERYTHING
from lobework.carve.stock import stock_of
from lobework.parts.cutter import FlatEnd
from lobework.parts.piece import Disc
from tests.carving import carvings, on_face
from tests.search import examples
from tests.swept import Boxes, Outline, Steps, bounded, reached

BOXES, INSIDE = 40, 60


@settings(max_examples=examples(60))
@given(job=carvings(EVERYTHING - {"fixed"}), case=st.integers(0, 10**6))
def test_the_bounds_of_a_box_hold_at_all_tested_points(job, case):
    """By trying places in each box, its corners among them."""
    stock, (sweep,) = job
    drawn = np.random.default_rng(case)
    steps, outline = Steps(stock, sweep), Outline(sweep)
    rows, columns = np.nonzero(stock.inside)
    ray = drawn.integers(rows.size)
    start, way = stock.rays(rows[[ray]], columns[[ray]])
    size = 10.0 ** drawn.uniform(-4.0, 0.0, (2, BOXES))
    half_t, half_e = 0.5 * size[0], 2.0 * size[1]
    t, e = half_t + (1 - 2 * half_t) * drawn.random(BOXES), drawn.uniform(-1.0, 3.0, BOXES)
    boxes = Boxes(drawn.integers(steps.count, size=BOXES), t, e, half_t, half_e)
    bounds, grows = bounded(steps, outline, start[0], way[0], boxes)
    within = np.concatenate([drawn.uniform(-1.0, 1.0, (INSIDE, 2)), [[a, b] for a in (-1.0, 1.0) for b in (-1.0, 1.0)]])
    for part_t, part_e in within:
        moved = boxes._replace(t=t + part_t * half_t, e=e + part_e * half_e)
        there, _ = bounded(steps, outline, start[0], way[0], moved)
        assert (there <= bounds + grows.sum(axis=1) + 1e-9).all()


def test_a_ray_nearly_along_the_wall_of_a_tilted_drill_is_decided():
    """It comes within 2e-6 mm all along, which no bound on speed alone can tell."""
    turn = np.array([0.0, 0.03, 0.06])
    cos, sin, zero = np.cos(turn), np.sin(turn), 0 * turn
    lean, up = 0.28734789, 0.95782629
    outward, level = np.stack([lean * cos, lean * sin, zero + up], axis=-1), np.stack([up * cos, up * sin, zero - lean], axis=-1)
    sweep = on_face(FlatEnd(width=0.5), [[0.0, 0.0, 0.0], [0.0, 0.0, -0.4], [0.0, 0.0, 0.0]], outward, level)
    stock = stock_of(Disc(diameter=8.0, thickness=5.0), resolution=0.25)
    start, way = np.array([0.0, -0.25, 0.0]), np.array([0.0, 0.0, -1.0])
    assert not reached(stock, sweep, start, way, (0.0013, 2.0), 2e-6)
    assert reached(stock, sweep, start, way, (0.00125, 0.00125), -2e-6)
