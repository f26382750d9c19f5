"""The pieces that a proof is made of, beside plain ways of saying the same."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.proof import read
from lobework.proof.limits import axis_uses
from lobework.proof.polyline import polyline
from lobework.proof.replay import replay
from lobework.proof.sampling import sample
from lobework.proof.setups import match
from tests.proof.test_faulty_programs import bench
from tests.search import examples


def plainly(point, path, joined):
    """Return how far a point is from a path, looking at every segment."""
    best = np.linalg.norm(path - point, axis=1).min()
    for a, b in ((path[k], path[k + 1]) for k in np.flatnonzero(joined[:-1])):
        along = np.clip(np.dot(point - a, b - a) / max(np.dot(b - a, b - a), 1e-300), 0, 1)
        best = min(best, np.linalg.norm(point - a - along * (b - a)))
    return best


@settings(max_examples=examples(30))
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 120))
def test_the_nearest_point_equals_that_of_an_exhaustive_search(seed, count):
    rng = np.random.default_rng(seed)
    path = np.cumsum(rng.normal(size=(count, 3)), axis=0)
    joined = rng.random(count) < 0.8
    joined[-1] = False
    points = rng.normal(size=(20, 3)) * 5
    far, segment, along = polyline(path, joined).nearest(points, 0.0)
    for k, point in enumerate(points):
        assert far[k] == pytest.approx(plainly(point, path, joined), rel=1e-12)
        step = path[segment[k] + 1] - path[segment[k]] if joined[segment[k]] else 0.0
        assert np.linalg.norm(path[segment[k]] + along[k] * step - point) == pytest.approx(far[k], rel=1e-9)


def test_the_approximate_distance_is_an_upper_bound_and_exact_beyond_the_threshold():
    turn = np.linspace(0, 40 * math.pi, 4000)
    path = np.stack([turn * np.cos(turn), turn * np.sin(turn), 0 * turn], axis=-1)
    joined = np.append(np.ones(len(turn) - 1, bool), False)
    points = path[::7] + np.random.default_rng(1).normal(size=path[::7].shape)
    exact, _, _ = polyline(path, joined).nearest(points, 0.0)
    quick, _, _ = polyline(path, joined).nearest(points, 1.0)
    assert (quick >= exact - 1e-12).all()
    assert (quick[exact > 1.0] == exact[exact > 1.0]).all()
    assert quick.max() == exact.max()


def wave(axes):
    """A model that bends more and more, with a corner in the middle."""
    u = axes[:, 0]
    return np.stack([u, np.sin(u * u), np.abs(u - 2.0)], axis=-1)


@pytest.mark.parametrize("chord", [1e-2, 1e-4])
def test_samples_are_dense_enough_for_the_given_chord(chord):
    start, end = np.zeros((2, 1)), np.array([[4.0], [0.5]])
    samples = sample(wave, start, end, np.array([3, 1]), chord)
    assert samples.move[0] == 0
    assert (samples.part[samples.move == 1][[0, -1]] == [0.0, 1.0]).all()
    joined = np.append(np.diff(samples.move) == 0, False)
    dense = wave(np.linspace(0, 4, 40_001)[:, None])
    far, _, _ = polyline(samples.points, joined).nearest(dense, 0.0)
    assert far.max() <= 1.2 * chord
    assert len(samples.points) < 40 / math.sqrt(chord)


def test_an_arc_is_divided_into_chords_within_the_tolerance():
    moves = replay(read(b"G21 G61\nG0 X20 Y0 C0\nG3 X-20 Y0 I-20 J0 Z-4 C90 F60\nM2\n").blocks, bench(), "z")
    arc = moves.of(~moves.rapid)
    assert len(arc.line) < 500
    assert np.hypot(arc.end[:, 0], arc.end[:, 1]) == pytest.approx(np.full(len(arc.line), 20.0), abs=1e-12)
    middle = 0.5 * (arc.start + arc.end)
    assert (20 - np.hypot(middle[:, 0], middle[:, 1])).max() <= 1.0001e-4
    assert arc.seconds.sum() == pytest.approx(math.hypot(20 * math.pi, 4))
    assert arc.end[-1].tolist() == [-20.0, 0.0, -4.0, 0.0, 0.0, 90.0]
    assert (arc.start[1:] == arc.end[:-1]).all()


def test_speed_and_acceleration_are_those_of_the_shared_rule():
    """Mean speed of each block; from block to block within the shorter's time, from rest and to rest within the block's own."""
    text = b"G21 G61\nG0 X0 Z5\nG93\nG1 X6 F60\nX8 F120\nX3 F60\nG94\nG0 Z9\nM2\n"
    moves = replay(read(text).blocks, bench(), "z")
    (x,) = axis_uses(moves, [axis for axis in bench().axes if axis.moves == "x"])
    assert (x.low, x.high, x.speed) == (0.0, 8.0, 6.0)
    assert x.acceleration == pytest.approx((4.0 + 5.0) / 0.5)
    assert x.lines == (2, 5, 4, 6)


def test_a_rapid_move_takes_the_time_of_its_slowest_axis():
    lathe = bench(X={"top_speed": 10.0}, C={"top_speed": 90.0})
    moves = replay(read(b"G21 G61\nG0 X20 C360\nG0 X50\nM2\n").blocks, lathe, "z")
    assert moves.seconds.tolist() == [4.0, 3.0]


FITS = {"as many": ([1, 1, 1], [1, 1, 1], [0, 1, 2]), "a stop less": ([1, 2, 1], [1, 1, 1, 1], [0, 1, 3])}
FITS |= {"a stop more": ([1, 1, 1], [3], [0, 0, 0]), "a stop less, later": ([1, 1, 2], [1, 1, 1, 1], [0, 1, 2])}


@pytest.mark.parametrize(("stretches", "cuts", "expected"), FITS.values(), ids=FITS)
def test_cutting_intervals_are_assigned_to_setups_by_the_number_of_plunges(stretches, cuts, expected):
    assert match(stretches, cuts, lambda i, k: 0.0) == expected


@pytest.mark.parametrize("lost", range(5))
def test_a_missing_interval_is_identified_from_the_others(lost):
    left = [k for k in range(5) if k != lost]
    assert match([1] * 4, [1] * 5, lambda i, k: float(left[i] != k)) == left
