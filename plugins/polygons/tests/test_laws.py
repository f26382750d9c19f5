"""Properties of every cam with sides, at any settings."""

from math import cos, pi, sin

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from lobework_polygons import Arched, ConstantWidth, Polygon
from numpy.testing import assert_allclose

from lobework.plugins import FlatFollower, lift_of

ROUND = np.linspace(0.0, 2 * pi, 721)
parts = st.one_of(st.sampled_from([0.0, 1e-6, 0.5, 1.0]), st.floats(0, 1))
sides = st.integers(3, 40)


@st.composite
def arched(draw):
    count, base = draw(sides), draw(st.floats(1, 100))
    hollow, full = -base * sin(pi / count), base * (1 - cos(pi / count))
    part = draw(parts)
    return Arched(sides=count, base_radius=base, bow=(1 - part) * 0.99 * hollow + part * full, corner=draw(parts) * base)


polygons = st.builds(
    lambda n, base, part: Polygon(sides=n, base_radius=base, corner=part * base), sides, st.floats(1, 100), parts
)
constant = st.builds(
    lambda n, width, part: ConstantWidth(sides=2 * n + 1, width=width, corner=part * width / 2),
    st.integers(1, 20),
    st.floats(1, 200),
    parts,
)
cams = st.one_of(polygons, arched(), constant)


@settings(deadline=None)
@given(cam=cams)
def test_the_rise_falls_from_a_corner_to_the_middle_of_a_side_and_is_symmetric(cam):
    pitch = 2 * pi / cam.sides
    height = cam.rise_at(np.linspace(0, pitch / 2, 201))
    assert_allclose([height[0], height[-1]], [cam.rise, 0], rtol=0, atol=1e-9 * cam.base_radius)
    assert np.diff(height).max() <= 1e-9 * cam.base_radius
    assert_allclose(cam.rise_at(-ROUND), cam.rise_at(ROUND), rtol=0, atol=1e-9 * cam.base_radius)


@settings(deadline=None)
@given(cam=cams)
def test_the_rise_is_continuous_at_the_corners(cam):
    at = np.array(cam.corners)
    before, after = cam.rise_at(at - 1e-9), cam.rise_at(at + 1e-9)
    steep = np.abs(cam.slope_at(np.concatenate([at - 1e-9, at + 1e-9]))).max()
    assert np.abs(before - after).max() <= 4e-9 * (steep + cam.base_radius)


@settings(deadline=None, max_examples=30)
@given(cam=constant)
def test_the_distance_of_two_opposite_flats_is_the_width(cam):
    lift = lift_of(cam, FlatFollower())
    assert_allclose(lift.curve.at(ROUND) + lift.curve.at(ROUND + pi) + 2 * lift.rest, cam.width, rtol=0, atol=2e-6)
