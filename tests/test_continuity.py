"""A motion is finite and continuous, or it is found where it is not; how far it goes is converged."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.geometry.continuity import all_finite, continuity_of, extremes_of, turn_edges
from lobework.quantities.tolerances import JUMP_MM

ONE_TURN = turn_edges(0.0, 1.0)


def found(law, edges=ONE_TURN):
    return continuity_of(lambda u: np.asarray(law(u), dtype=np.float64)[:, None], edges)


CONTINUOUS = {
    "at rest": np.zeros_like,
    "a wave": lambda u: 30 * np.sin(2 * math.pi * u),
    "a wave of 64 swings": lambda u: 30 * np.sin(2 * math.pi * 64 * u + 1),
    "a wave of 1000 swings": lambda u: 30 * np.sin(2 * math.pi * 1000 * u + 1),
    "a wave of 5000 swings": lambda u: 3 * np.sin(2 * math.pi * 5000 * u + 1),
    "a corner": lambda u: 30 * np.abs(u - 0.317),
    "corners of a quick wave": lambda u: 3 * np.abs(np.sin(500 * u)),
    "a vertical tangent": lambda u: 10 * np.sqrt(np.abs(u - 0.317)),
    "vertical tangents all over": lambda u: 10 * np.sqrt(np.abs(np.sin(7 * u))),
    "a cube root": lambda u: 10 * np.cbrt(u - 0.317),
    "an inverse cosine": lambda u: 100 * np.arccos(np.clip(np.cos(5 * u), -1, 1)),
    "an inverse sine of a sine": lambda u: 100 * np.arcsin(np.clip(np.sin(2 * math.pi * u), -1, 1)),
    "a ramp of a hundred-thousandth": lambda u: 10 / (1 + np.exp(-np.clip((u - 0.317) * 1e5, -40, 40))),
    "a ramp of ten millionths of a millionth more": lambda u: 10 / (1 + np.exp(-np.clip((u - 0.317) * 1e7, -40, 40))),
    "a sawtooth without a jump": lambda u: np.interp(np.mod(u * 7, 1), [0, 0.9, 1], [0, 5, 0]),
    "less than a jump": lambda u: 0.9 * JUMP_MM * (u > 0.317) + np.sin(u),
}


@pytest.mark.parametrize("law", CONTINUOUS)
def test_continuous_functions_are_not_reported(law):
    assert found(CONTINUOUS[law]) == continuity_of(lambda u: u[:, None], ONE_TURN)


JUMPS = {
    "inside": (lambda u: 5.0 * (u > 0.317), [0.317]),
    "at a fraction, its own value the later": (lambda u: 5.0 * (u >= 1 / 3), [1 / 3]),
    "at a fraction, its own value the earlier": (lambda u: 5.0 * (u > 1 / 3), [1 / 3]),
    "at the beginning": (lambda u: 5.0 * (u > 0), [0.0]),
    "at the end": (np.floor, [1.0]),
    "at one place": (lambda u: 5.0 * (u == 0.5), [0.5]),
    "by little": (lambda u: 1.1 * JUMP_MM * (u > 0.317), [0.317]),
    "by little in a quick wave": (lambda u: 1e-3 * (u > 0.317) + 30 * np.sin(2 * math.pi * 900 * u), [0.317]),
    "there and back in a ten-thousandth": (lambda u: 1.0 * ((u > 0.317) & (u < 0.3171)), [0.317, 0.3171]),
    "by half a turn of an arc tangent": (lambda u: np.arctan(np.tan(2 * math.pi * u)), [0.25, 0.75]),
    "beside a vertical tangent": (lambda u: np.sqrt(np.abs(u - 0.3)) + (u > 0.3), [0.3]),
    "at each of many steps": (lambda u: np.floor(u * 40 + 0.5) / 40, [(k + 0.5) / 40 for k in range(40)]),
}


@pytest.mark.parametrize("law", JUMPS)
def test_jumps_are_found_at_their_positions(law):
    jumps, places = JUMPS[law]
    steps = found(jumps).steps
    assert [each.after for each in steps] == pytest.approx(places, abs=1e-9)
    assert all(each.before <= place + 1e-15 and place <= each.after + 1e-15 for each, place in zip(steps, places, strict=True))


@given(at=st.floats(0.0, 1.0), size=st.floats(2 * JUMP_MM, 10.0), swings=st.integers(0, 500), phase=st.floats(0, 6))
def test_a_jump_of_any_size_at_any_place_is_found_in_any_wave(at, size, swings, phase):
    (step,) = found(lambda u: size * (u >= at) + 5 * np.sin(2 * math.pi * swings * u + phase)).steps or [None]
    if at > 0:
        assert step is not None
        assert step.after == pytest.approx(at, abs=1e-9)
        assert step.size == pytest.approx(size, abs=1e-5)


@given(at=st.floats(0.0, 0.9999), wide=st.floats(1e-4, 0.1), lost=st.sampled_from([math.nan, math.inf, -math.inf]))
def test_non_finite_values_over_a_ten_thousandth_of_a_turn_are_found(at, wide, lost):
    lies = found(lambda u: np.where((u >= at) & (u <= at + wide), lost, np.sin(u))).lost
    assert lies is not None
    assert at <= lies <= at + wide


def test_a_non_finite_value_at_one_fraction_of_a_turn_is_found():
    for place in (0.0, 1.0, 0.25, 1 / 3, 1 / 7, 3 / 11, 5 / 13, 0.01, 1 / 96, 0.5 / 360):
        assert found(lambda u, place=place: np.where(u == place, np.nan, u)).lost == place


def test_jumps_at_whole_turns_are_found_in_a_pass_of_many():
    steps = found(lambda u: np.floor(u) % 5 == 3, turn_edges(0.0, 1000.0)).steps
    assert len(steps) == 400
    assert {round(each.after, 9) % 5 for each in steps} == {3.0, 4.0}


def test_jumps_after_the_declared_period_are_found():
    steps = found(lambda u: 1.0 * (u > 7.317), turn_edges(0.0, 20.0, 1)).steps
    assert [each.after for each in steps] == pytest.approx([7.317], abs=1e-9)


@given(
    swings=st.sampled_from([1, 3, 64, 97, 500, 1000]),
    phase=st.floats(0, 6.3),
    turns=st.sampled_from([0.001, 0.3, 1.0, 2.5]),
    begin=st.floats(-2, 2),
)
def test_the_extremes_of_a_fast_motion_converge(swings, phase, turns, begin):
    def law(u):
        return (20 + 3 * np.cos(2 * math.pi * swings * u + phase)) * np.cos(2 * math.pi * u + 1)

    most, where = extremes_of(lambda u: np.stack([law(u), -law(u)], axis=-1), turn_edges(begin, turns))
    tried = law(begin + np.linspace(0.0, turns, 400_001))
    assert most[0] >= tried.max() - 1e-9
    assert most[1] >= -tried.min() - 1e-9
    assert law(where) * [1, -1] == pytest.approx(most, abs=1e-12)


def test_all_finite_detects_infinity_and_nan():
    assert all_finite(np.array([1e308, 1e308]))
    assert not all_finite(np.array([np.inf, -np.inf]))
    assert not all_finite(np.array([0.0, np.nan]))
