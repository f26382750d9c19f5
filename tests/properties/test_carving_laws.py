"""Laws of carving that every installed backend keeps, on jobs drawn to lean towards the degenerate."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from lobework.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.surface import Face
from tests.carving import BACKENDS, able, assert_same, carved, carvings, faces, rounds
from tests.strategies import numbers

every_backend = pytest.mark.parametrize("backend", BACKENDS, ids=[backend.name for backend in BACKENDS])
jobs, pairs = carvings(), carvings(count=2)


@every_backend
@settings(max_examples=8)
@given(job=pairs)
def test_cuts_are_their_union_in_any_order_as_often_as_you_like_and_nothing_comes_back(backend, job):
    stock, (first, second) = job
    assume(able(backend, stock, first, second))
    one, other = carved(backend, stock, first), carved(backend, stock, second)
    both = carved(backend, stock, first, second)
    assert np.array_equal(both, np.maximum(one, other))
    assert np.array_equal(both, carved(backend, stock, second, first))
    assert np.array_equal(both, carved(backend, stock, first, second, first, onto=both))
    assert np.array_equal(both, carved(backend, stock, second, onto=one))
    worn = np.where(stock.inside, np.float32(0.3), np.float32(0.0))
    assert np.array_equal(np.maximum(one, worn), carved(backend, stock, first, onto=worn))


def turned(sweep, angle):
    """A sweep turned about Z."""
    cos, sin = (0.0, 1.0) if angle == math.pi / 2 else (math.cos(angle), math.sin(angle))
    turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    return replace(sweep, tip=sweep.tip @ turn.T, outward=sweep.outward @ turn.T, level=sweep.level @ turn.T)


@every_backend
@settings(max_examples=8)
@given(job=carvings(of=rounds), columns=st.integers(1, 40))
def test_turning_a_round_job_by_whole_columns_turns_the_result(backend, job, columns):
    stock, (sweep,) = job
    assume(able(backend, stock, sweep))
    ahead = turned(sweep, columns * stock.column_step)
    assert_same(
        lambda shift: np.roll(carved(backend, stock, sweep, shift=shift), columns, axis=1),
        lambda shift: carved(backend, stock, ahead, shift=shift),
        within=2e-5,
    )


@every_backend
@settings(max_examples=8)
@given(job=carvings(of=faces))
def test_turning_a_face_by_a_quarter_turns_the_result(backend, job):
    """Columns run towards +X and rows towards +Y, so a quarter turn takes x to y and y to -x."""
    stock, (sweep,) = job
    assume(able(backend, stock, sweep))
    ahead = turned(sweep, math.pi / 2)
    assert_same(
        lambda shift: carved(backend, stock, sweep, shift=shift),
        lambda shift: carved(backend, stock, ahead, shift=(shift[1], -shift[0]))[:, ::-1].T,
        within=2e-5,
    )


def halved(sweep, surface, part):
    """The same path with one more place in each step, where the step's own rule says that the cutter passes."""
    if len(sweep.tip) == 1:
        return sweep
    tip, outward, level = sweep.tip, *(np.broadcast_to(way, sweep.tip.shape) for way in (sweep.outward, sweep.level))
    if isinstance(surface, Face):
        angle = np.arctan2(level[:, 1], level[:, 0])
        angle = angle[:-1] + part * np.angle(np.exp(1j * np.diff(angle)))
        between = (
            tip[:-1] + part * np.diff(tip, axis=0),
            outward[:-1],
            np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1),
        )
    else:
        radius, polar = np.hypot(tip[:, 0], tip[:, 1]), np.arctan2(tip[:, 1], tip[:, 0])
        on = part * np.angle(np.exp(1j * np.diff(polar)))
        cos, sin = np.cos(on), np.sin(on)

        def ahead(way):
            return np.stack([way[:, 0] * cos - way[:, 1] * sin, way[:, 0] * sin + way[:, 1] * cos, way[:, 2]], axis=-1)

        grown = ((1 - part) * radius[:-1] + part * radius[1:]) / radius[:-1]
        place = ahead(tip[:-1]) * np.stack([grown, grown, 0 * grown], axis=-1)
        place[:, 2] = (1 - part) * tip[:-1, 2] + part * tip[1:, 2]
        between = place, ahead(outward[:-1]), ahead(level[:-1])
    more = (
        np.insert(whole, np.arange(1, len(whole)), new, axis=0) for whole, new in zip((tip, outward, level), between, strict=True)
    )
    return type(sweep)(sweep.edge, sweep.held, *more)


@every_backend
@settings(max_examples=10)
@given(job=jobs, part=st.one_of(st.just(0.5), numbers(1e-3, 0.999)))
def test_splitting_a_pass_changes_nothing(backend, job, part):
    stock, (sweep,) = job
    assume(able(backend, stock, sweep))
    finer = halved(sweep, stock.surface, part)
    middle = len(finer.tip) // 2
    ways = [np.broadcast_to(way, finer.tip.shape).copy() for way in (finer.tip, finer.outward, finer.level)]
    halves = [
        type(sweep)(sweep.edge, sweep.held, *(way[run] for way in ways)) for run in (slice(middle + 1), slice(middle, None))
    ]
    for pieces in ((finer,), halves):
        assert_same(
            lambda shift: carved(backend, stock, sweep, shift=shift),
            lambda shift, pieces=pieces: carved(backend, stock, *pieces, shift=shift),
            within=1e-6,
        )


upright_frames = carvings(held=st.builds(CuttingFrame, radius=st.just(12.0), angle_deg=st.sampled_from([0.0, 35.0])), of=faces)
standing = carvings(
    held=st.one_of(st.just(DrillingSpindle()), st.just(FixedTool()), st.builds(EccentricFrame, radius=numbers(0.5, 2.5)))
)


@every_backend
@settings(max_examples=10)
@given(job=st.one_of(standing, upright_frames), more=numbers(1e-3, 0.5))
def test_a_deeper_pass_contains_a_shallower_one(backend, job, more):
    """Cutters are as wide or wider the further from the tip, so pushed in along their own line they cut all they cut before."""
    stock, (sweep,) = job
    assume(able(backend, stock, sweep))
    outward = np.broadcast_to(sweep.outward, sweep.tip.shape)
    deeper = replace(sweep, tip=sweep.tip - more * outward)
    if not isinstance(stock.surface, Face):
        assume(np.abs(np.vecdot(np.cross(sweep.tip, outward), [0.0, 0.0, 1.0])).max() < 1e-9)
    shallow, deep = carved(backend, stock, sweep), carved(backend, stock, deeper)
    assert_same(lambda shift: shallow, lambda shift: np.minimum(shallow, deep), within=2e-5)
