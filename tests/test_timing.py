"""Time laid over a path: no axis beyond its limits, and no slower than need be.

Closed forms: from rest to rest over ``d`` an axis takes 2 sqrt(d/a), or d/v + v/a where it comes to its top speed (constant
acceleration, any handbook of mechanics). The library that it is compared with is toppra, by the authors of H. Pham, Q.-C. Pham,
"A new approach to time-optimal path parameterization based on reachability analysis", IEEE Trans. Robotics 34 (2018), 645-659.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.kernels.compile_when_worth import compiled
from lobework.kernels.path.feed_limits import caps, reduce_to_followable
from lobework.lathe.lathe import Axis
from lobework.program.timing import BlockTimes, block_times, limits_of, slow_downs


def used(moves, seconds, top, most):
    """Return the most of each kind that a run asks of its axes, as a part of their limits."""
    v = moves / seconds[:, None]
    short = np.minimum(seconds[1:], seconds[:-1])[:, None]
    speed = (np.abs(v) / top).max()
    change = (np.abs(np.diff(v, axis=0)) / short / most).max(initial=0.0)
    ends = max((np.abs(v[0]) / seconds[0] / most).max(), (np.abs(v[-1]) / seconds[-1] / most).max())
    return speed, max(change, ends)


def drawn_run(rng):
    """Return a run of any kind: corners, axes that stand still, limits without end, one block, blocks of any length."""
    n, k = int(rng.integers(1, 25)), int(rng.integers(1, 5))
    moves = rng.normal(size=(n, k)) * 10 ** rng.uniform(-4, 4, size=k)
    moves *= 10 ** rng.uniform(-3 * rng.integers(0, 2), 0, size=(n, 1))
    moves[rng.random((n, k)) < 0.3] = 0.0
    moves = np.cumsum(moves, axis=0) if rng.random() < 0.3 else moves
    lengths = 10 ** rng.uniform(-3 * rng.integers(0, 2), 0, size=n)
    top, most = 10 ** rng.uniform(-2, 4, size=k), 10 ** rng.uniform(-2, 5, size=k)
    top[rng.random(k) < 0.2], most[rng.random(k) < 0.2] = np.inf, np.inf
    return moves, np.full(n, 10 ** rng.uniform(-3, 6)), top, most, lengths


@pytest.mark.parametrize("seed", range(4))
def test_no_block_exceeds_an_axis_limit_or_takes_zero_time(seed):
    rng = np.random.default_rng(seed)
    for _ in range(500):
        moves, asked, top, most, lengths = drawn_run(rng)
        found = block_times(moves, asked, top, most, lengths)
        assert (found.seconds > 0).all()
        assert (lengths / found.seconds <= asked * (1 + 1e-12)).all()
        assert max(used(moves, found.seconds, top, most)) <= 1 + 1e-9


def test_plain_and_compiled_timing_agree():
    rng = np.random.default_rng(7)
    for _ in range(40):
        moves, asked, top, most, lengths = drawn_run(rng)
        ways = []
        for first, then in ((caps, reduce_to_followable), (compiled(caps), compiled(reduce_to_followable))):
            x, limiting = asked.copy(), np.full(len(asked), -1)
            with np.errstate(invalid="ignore", over="ignore"):
                first(moves / lengths[:, None], lengths, top, most, x, limiting)
                then(moves / lengths[:, None], lengths, most, 2.0, x, limiting)
            ways.append((x, limiting))
        assert ways[1][0] == pytest.approx(ways[0][0], rel=1e-9)


def fastest(points, top, most):
    return float(
        block_times(np.diff(points, axis=0), np.full(len(points) - 1, np.inf), np.array(top), np.array(most)).seconds.sum()
    )


@pytest.mark.parametrize(("top", "exact"), [(np.inf, 2 * math.sqrt(7 / 3)), (1.0, 7 / 1.0 + 1.0 / 3), (2.0, 7 / 2.0 + 2.0 / 3)])
def test_a_straight_line_takes_the_time_of_constant_acceleration(top, exact):
    graded = 0.5 - 0.5 * np.cos(np.linspace(0, math.pi, 1001))
    assert fastest(7.0 * graded[:, None], [top], [3.0]) == pytest.approx(exact, rel=1e-3)


def test_the_slowest_of_several_axes_sets_the_pace():
    graded = 0.5 - 0.5 * np.cos(np.linspace(0, math.pi, 1001))
    line = graded[:, None] * [7.0, 40.0, 0.0, -1.0]
    assert fastest(line, [np.inf] * 4, [3.0, 2.0, 1e-9, 5.0]) == pytest.approx(2 * math.sqrt(40 / 2), rel=1e-3)


def test_a_circle_is_taken_at_the_speed_that_its_curvature_allows():
    """At constant speed round a radius r both axes need v^2/r: on a circle of many turns the ends do not count."""
    turns, r, a = 40, 5.0, 20.0
    angle = np.linspace(0, 2 * math.pi * turns, 40_001)
    seconds = fastest(np.column_stack([r * np.cos(angle), r * np.sin(angle)]), [np.inf] * 2, [a, a])
    assert seconds <= turns * 2 * math.pi * math.sqrt(r / a) * 1.01


@pytest.mark.parametrize("case", range(4))
def test_smooth_paths_take_the_time_of_the_published_algorithm(case):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import toppra
        from toppra import algorithm, constraint

        toppra.setup_logging("ERROR")
        rng = np.random.default_rng((3, case))
        at, points = np.linspace(0, 1, 12), np.cumsum(rng.normal(size=(12, 3)), axis=0)
        top, most = 10 ** rng.uniform(0, 2, 3), 10 ** rng.uniform(0, 2.5, 3)
        path = toppra.SplineInterpolator(at, points)
        limits = [
            constraint.JointVelocityConstraint(np.column_stack([-top, top])),
            constraint.JointAccelerationConstraint(np.column_stack([-most, most])),
        ]
        grid = np.linspace(0, 1, 2001)
        published = algorithm.TOPPRA(limits, path, gridpoints=grid, parametrizer="ParametrizeConstAccel").compute_trajectory()
    ours = fastest(path(np.linspace(0, 1, 8001)), top, most)
    assert ours == pytest.approx(published.duration, rel=0.01)


def test_twice_the_speed_and_four_times_the_acceleration_halve_the_time():
    """Time scales: with t for 2t speeds double and accelerations are four times as high."""
    rng = np.random.default_rng(11)
    points = np.cumsum(rng.normal(size=(200, 3)), axis=0)
    one, other = fastest(points, [3.0] * 3, [2.0] * 3), fastest(points, [6.0] * 3, [8.0] * 3)
    assert other == pytest.approx(one / 2, rel=1e-6)


def test_without_limits_the_fastest_pace_is_refused():
    with pytest.raises(SettingError, match="top_speed"):
        fastest(np.arange(4.0)[:, None], [np.inf], [np.inf])


X = Axis(moves="x", letter="X", top_speed=10.0, acceleration=5.0)
C = Axis(moves="spindle", letter="C", top_speed=90.0)


def test_a_slow_down_is_reported_with_place_axis_and_cause():
    moves = np.full((100, 2), [0.1, 1.0])
    moves[40:50, 1] = 5.0
    axes = [replace(X, acceleration=500.0), C]
    found = block_times(moves, np.full(100, 60.0), *limits_of(axes))
    slow = slow_downs(np.arange(101.0), np.full(100, 60.0), found, axes)
    assert (slow.axis, slow.by_speed, slow.times) == (C, True, 1)
    assert 30 <= slow.start <= 40
    assert 50 <= slow.end <= 60
    assert slow.rate == pytest.approx(90.0 / 5 / 60, rel=1e-4)


def test_acceleration_at_start_and_stop_is_not_reported_as_slow_down():
    moves = np.full((4000, 1), 0.01)
    asked = np.full(4000, 900.0)
    found = block_times(moves, asked, *limits_of([X]))
    assert found.seconds[0] > 2 / 900.0
    assert slow_downs(np.arange(4001.0), asked, found, [X]) is None
    assert slow_downs(np.arange(4001.0), asked, BlockTimes(found.seconds, np.full(4000, -1)), [X]) is None
