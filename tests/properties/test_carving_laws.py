"""Laws of carving that every installed backend keeps, on jobs drawn to lean towards the degenerate."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lobework.geometry.surface import Face
from tests.carving import JUDGE, assert_same, backends_for, carved, carvings
from tests.search import examples
from tests.strategies import numbers

SINGLE_MM = 5e-6
"""What single precision leaves: a tile keeps its coordinates to a millionth of a mm, and a flank is up to five times as steep."""


def assert_alike(backend, one, other):
    """Backends repeat every bit, but for the judge: it may stop 1e-7 mm short, elsewhere if it begins from other depths."""
    within = 1.5e-7 if backend.name == JUDGE.name else 0.0
    np.testing.assert_allclose(one, other, rtol=0, atol=within, equal_nan=False)


@backends_for()
@settings(max_examples=examples(4))
@given(data=st.data())
def test_carving_is_a_union_independent_of_order_and_repetition(backend, data):
    stock, (first, second) = data.draw(carvings(backend.can, count=2))
    one, other = carved(backend, stock, first), carved(backend, stock, second)
    both = carved(backend, stock, first, second)
    assert_alike(backend, both, np.maximum(one, other))
    assert_alike(backend, both, carved(backend, stock, second, first))
    assert_alike(backend, both, carved(backend, stock, first, second, first, onto=both))
    assert_alike(backend, both, carved(backend, stock, second, onto=one))
    worn = np.where(stock.inside, np.float32(0.3), np.float32(0.0))
    assert_alike(backend, np.maximum(one, worn), carved(backend, stock, first, onto=worn))


def turned(sweep, angle):
    """A sweep turned about Z."""
    cos, sin = (0.0, 1.0) if angle == math.pi / 2 else (math.cos(angle), math.sin(angle))
    turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    return replace(sweep, tip=sweep.tip @ turn.T, outward=sweep.outward @ turn.T, level=sweep.level @ turn.T)


@backends_for("round")
@settings(max_examples=examples(5))
@given(data=st.data(), columns=st.integers(1, 40))
def test_rotating_a_round_job_by_whole_columns_rotates_the_result(backend, data, columns):
    stock, (sweep,) = data.draw(carvings(backend.can - {"face"}))
    ahead = turned(sweep, columns * stock.column_step)
    assert_same(
        lambda shift: np.roll(carved(backend, stock, sweep, shift=shift), columns, axis=1),
        lambda shift: carved(backend, stock, ahead, shift=shift),
        within=2e-5,
    )


@backends_for("face")
@settings(max_examples=examples(5))
@given(data=st.data())
def test_rotating_a_face_by_a_quarter_turn_rotates_the_result(backend, data):
    """Columns run towards +X and rows towards +Y, so a quarter turn takes x to y and y to -x."""
    stock, (sweep,) = data.draw(carvings(backend.can - {"round"}))
    ahead = turned(sweep, math.pi / 2)
    assert_same(
        lambda shift: carved(backend, stock, sweep, shift=shift),
        lambda shift: carved(backend, stock, ahead, shift=(shift[1], -shift[0]))[:, ::-1].T,
        within=2e-5,
    )


def ahead(ways, angle):
    """(n, 3) turned about Z by (n,) rad."""
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([ways[:, 0] * cos - ways[:, 1] * sin, ways[:, 0] * sin + ways[:, 1] * cos, ways[:, 2]], axis=-1)


def halved(sweep, surface, part):
    """The same path with one more place in each step, where the step's own rule says that the cutter passes."""
    if len(sweep.tip) == 1:
        return sweep
    tip, outward, level = sweep.tip, *(np.broadcast_to(way, sweep.tip.shape) for way in (sweep.outward, sweep.level))
    if isinstance(surface, Face):
        frames = Rotation.from_matrix(np.stack([level, np.cross(outward, level), outward], axis=-1))
        turns = (frames[1:] * frames[:-1].inv()).as_rotvec()
        frame = (Rotation.from_rotvec(part * turns) * frames[:-1]).as_matrix()
        between = tip[:-1] + part * np.diff(tip, axis=0), frame[:, :, 2], frame[:, :, 0]
    else:
        radius, polar = np.hypot(tip[:, 0], tip[:, 1]), np.arctan2(tip[:, 1], tip[:, 0])
        on = part * np.angle(np.exp(1j * np.diff(polar)))
        grown = ((1 - part) * radius[:-1] + part * radius[1:]) / radius[:-1]
        place = ahead(tip[:-1], on) * np.stack([grown, grown, 0 * grown], axis=-1)
        place[:, 2] = (1 - part) * tip[:-1, 2] + part * tip[1:, 2]
        between = place, ahead(outward[:-1], on), ahead(level[:-1], on)
    more = (
        np.insert(whole, np.arange(1, len(whole)), new, axis=0) for whole, new in zip((tip, outward, level), between, strict=True)
    )
    return type(sweep)(sweep.edge, sweep.holder, *more)


@backends_for()
@settings(max_examples=examples(6))
@given(data=st.data(), part=st.one_of(st.just(0.5), numbers(1e-3, 0.999)))
def test_splitting_a_pass_changes_nothing(backend, data, part):
    stock, (sweep,) = data.draw(carvings(backend.can))
    finer = halved(sweep, stock.surface, part)
    middle = len(finer.tip) // 2
    ways = [np.broadcast_to(way, finer.tip.shape).copy() for way in (finer.tip, finer.outward, finer.level)]
    halves = [
        type(sweep)(sweep.edge, sweep.holder, *(way[run] for way in ways)) for run in (slice(middle + 1), slice(middle, None))
    ]
    for pieces in ((finer,), halves):
        assert_same(
            lambda shift: carved(backend, stock, sweep, shift=shift),
            lambda shift, pieces=pieces: carved(backend, stock, *pieces, shift=shift),
            within=SINGLE_MM if backend.name == "compiled" else 1e-6,
        )


@backends_for()
@settings(max_examples=examples(6))
@given(data=st.data(), more=numbers(1e-3, 0.5))
def test_a_deeper_pass_contains_a_shallower_one(backend, data, more):
    """Cutters are as wide or wider the further from the tip, so pushed in along their own line they cut all they cut before.

    A frame's wheel is not, above its axis: it must stand upright on a face, where each of its points goes as deep.
    """
    swinging = data.draw(st.booleans()) and "face" in backend.can
    stock, (sweep,) = data.draw(carvings(backend.can - ({"round", "leaning"} if swinging else {"cutting frame"})))
    outward = np.broadcast_to(sweep.outward, sweep.tip.shape)
    if not isinstance(stock.surface, Face):
        assume(np.abs(np.vecdot(np.cross(sweep.tip, outward), [0.0, 0.0, 1.0])).max() < 1e-9)
    shallow, deep = (carved(backend, stock, replace(sweep, tip=sweep.tip - down * outward)) for down in (0.0, more))
    walls = carved(backend, stock, sweep, shift=(2e-5, 2e-5)), carved(backend, stock, sweep, shift=(-2e-5, -2e-5))
    assert (deep >= np.minimum(shallow, np.minimum(*walls)) - 2e-5).all()
