"""The smooth curve of a turned profile, against closed forms and an independent spline."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import fixed_quad
from scipy.interpolate import CubicSpline

from lobework.geometry.profile import Meridian
from tests.search import examples
from tests.strategies import numbers

RADIUS = 20.0


@st.composite
def profiles(draw):
    """Points that go down, evenly or not, straight or wavy, up to nine."""
    steps = draw(st.lists(st.one_of(st.just(4.0), numbers(3.0, 9.0)), min_size=1, max_size=8))
    radii = [draw(st.one_of(st.just(20.0), numbers(16.0, 24.0))) for _ in range(len(steps) + 1)]
    return np.stack([np.array(radii), -np.concatenate([[0.0], np.cumsum(steps)])], axis=-1)


def on_a_circle(count):
    """Points of a circle of radius 20 mm about the origin, from 60 degrees above to 60 below, outermost in the middle."""
    angle = np.linspace(np.pi / 3, -np.pi / 3, count)
    return Meridian(RADIUS * np.stack([np.cos(angle), np.sin(angle)], axis=-1))


def orders(errors):
    """How many times smaller the error becomes, each time that the points stand twice as close."""
    return [float(coarse / fine) for coarse, fine in itertools.pairwise(errors)]


def test_the_curve_through_points_on_a_circle_tends_to_the_circle():
    """de Boor, *A Practical Guide to Splines*, ch. V: error of the fourth order, but where the natural ends hold the curve
    straight of the second."""
    everywhere, inside = [], []
    for count in (9, 17, 33, 65):
        curve = on_a_circle(count)
        s = np.linspace(0.0, curve.length, 1201)
        off = np.abs(np.hypot(*curve.at(s)[:, :2].T) - RADIUS)
        everywhere.append(off.max())
        inside.append(off[np.abs(s / curve.length - 0.5) < 0.1].max())
    assert orders(everywhere) == pytest.approx([4.0] * 3, abs=0.1)
    assert min(orders(inside)) > 15.0


def test_the_normals_tend_to_the_radii_of_the_circle():
    """One order less than the curve: of the first at the ends, of the third inside."""
    errors = []
    for count in (33, 65, 129):
        curve = on_a_circle(count)
        at = curve.at(np.linspace(0.0, curve.length, 1201))
        off = np.abs(at[:, 2:] - at[:, :2] / RADIUS).max(axis=1)
        errors.append((off.max(), off[480:720].max()))
    assert orders(each[0] for each in errors) == pytest.approx([2.0] * 2, abs=0.05)
    assert min(orders(each[1] for each in errors)) > 7.5
    assert errors[-1][1] < 1e-6


def test_the_length_tends_to_that_of_the_arc():
    """Two thirds of pi times the radius."""
    errors = [abs(on_a_circle(count).length - 2 * np.pi / 3 * RADIUS) for count in (9, 17, 33, 65)]
    assert min(orders(errors)) > 7.5
    assert errors[-1] < 3e-5


def test_the_length_tends_to_that_of_a_parabola():
    """x = z^2 / 4f from its vertex to z: f (u sqrt(1 + u^2) + arsinh u) long, u = z / 2f (a handbook of mathematics,
    *from memory*)."""
    f, z = 5.0, 15.0
    u = z / (2 * f)
    long = 2 * f * (u * np.sqrt(1 + u * u) + np.arcsinh(u))
    errors = []
    for count in (9, 17, 33, 65):
        down = np.linspace(z, -z, count)
        errors.append(abs(Meridian(np.stack([30 - down**2 / (4 * f), down], axis=-1)).length - long))
    assert min(orders(errors)) > 7.5
    assert errors[-1] < 1e-5


@given(profiles())
@settings(max_examples=examples(40))
def test_the_curve_is_the_natural_cubic_spline_over_the_length_of_its_chords(points):
    """SciPy's own, and its length by SciPy's own quadrature, up to every point and part of the way to the next."""
    curve = Meridian(points)
    knots = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    spline = CubicSpline(knots, points, bc_type="natural" if len(points) > 2 else ((2, [0.0, 0.0]), (2, [0.0, 0.0])))
    places = np.sort(np.concatenate([knots, knots[:-1] + 0.377 * np.diff(knots)]))
    lengths = [fixed_quad(lambda t: np.hypot(*spline(t, 1).T), a, b, n=60)[0] for a, b in itertools.pairwise(places)]
    at, slope = curve.at(np.concatenate([[0.0], np.cumsum(lengths)])), spline(places, 1)
    assert curve.length == pytest.approx(sum(lengths), abs=1e-7)
    assert at[:, :2] == pytest.approx(spline(places), abs=1e-7)
    assert at[:, 2:] == pytest.approx(np.stack([-slope[:, 1], slope[:, 0]], axis=-1) / np.hypot(*slope.T)[:, None], abs=1e-7)


@given(st.lists(numbers(0.1, 20.0), min_size=1, max_size=6), numbers(-1.4, 1.4))
@settings(max_examples=examples(40))
def test_a_curve_through_collinear_points_is_straight(steps, lean):
    """Distance along it, and a normal square to it, away from the axis on the way to the headstock."""
    along = np.concatenate([[0.0], np.cumsum(steps)])
    way = np.array([np.sin(lean), -np.cos(lean)])
    curve = Meridian(np.array([40.0, 0.0]) + along[:, None] * way)
    s = np.linspace(0.0, along[-1], 23)
    assert curve.length == pytest.approx(along[-1])
    assert curve.at(s)[:, :2] == pytest.approx(np.array([40.0, 0.0]) + s[:, None] * way, abs=1e-9)
    assert curve.at(s)[:, 2:] == pytest.approx(np.broadcast_to([np.cos(lean), np.sin(lean)], (23, 2)), abs=1e-9)


@given(profiles(), st.sampled_from([0.001, 0.05, 1.0]))
@settings(max_examples=examples(40))
def test_the_polyline_is_within_the_tolerance_of_the_curve(points, within):
    curve = Meridian(points)
    line = curve.polyline(within)
    assert line[[0, -1]] == pytest.approx(points[[0, -1]], abs=1e-9)
    s = np.linspace(0.0, curve.length, 7 * (len(line) - 1) + 1)
    part = np.linspace(0.0, len(line) - 1, s.size)
    k = np.minimum(part.astype(int), len(line) - 2)
    start, step = line[k], line[k + 1] - line[k]
    off = curve.at(s)[:, :2] - start
    across = np.abs(step[:, 0] * off[:, 1] - step[:, 1] * off[:, 0]) / np.hypot(*step.T)
    assert across.max() <= 1.05 * within


def test_beyond_its_ends_the_curve_stays_at_its_ends():
    curve = Meridian(np.array([[20.0, 0.0], [25.0, -20.0], [15.0, -40.0]]))
    assert curve.at(np.array([-1.0, curve.length + 1.0]))[:, :2] == pytest.approx(np.array([[20.0, 0.0], [15.0, -40.0]]))
