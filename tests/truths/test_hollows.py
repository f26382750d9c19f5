"""Hollows that a follower spans, against hand geometry."""

from __future__ import annotations

from fractions import Fraction
from math import cos, pi, sin, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.kinematics.contact import largest_roller, lift_of, pressure_angle, touch_at
from lobework.parts.cam import MotionLaw, Scallop, Wave
from lobework.parts.follower import FlatFollower, Knife, Roller
from tests.strategies import numbers

SCALLOP = Scallop(lobes=6, base_radius=50.0, rise=4.0)


def arcs(cam):
    """Radius of a scallop's arcs and how far out their centres stand: the circle through the top and two hollows, by hand."""
    low, top, half = cam.base_radius, cam.base_radius + cam.rise, pi / cam.lobes
    hollow = low * np.exp(1j * half)
    chord_middle, normal = (top + hollow) / 2, 1j * (top - hollow)
    centre = chord_middle.real - normal.real * chord_middle.imag / normal.imag
    return top - centre, centre


def by_hand(cam, rho):
    """A roller in the hollow touches two equal arcs: how far apart it touches them, and how far above the corner it hangs."""
    arc, out = arcs(cam)
    half = pi / cam.lobes
    roller = out * cos(half) + sqrt((arc + rho) ** 2 - (out * sin(half)) ** 2)
    touch = out + (roller * np.exp(1j * half) - out) * arc / (arc + rho)
    return 2 * abs((touch * np.exp(-1j * half)).imag), roller - rho - cam.base_radius, np.angle(touch)


@given(lobes=st.integers(2, 12), base=numbers(20.0, 80.0), part=numbers(0.02, 0.9), rho=numbers(0.2, 6.0))
def test_a_roller_bridges_a_scallop_corner_as_two_tangent_circles_do(lobes, base, part, rho):
    """Common practice, no source; the geometry of three circles, by hand."""
    half = pi / lobes
    tallest = base * ((1 + sin(half)) / cos(half) - 1) if lobes > 2 else base
    cam = Scallop(lobes=lobes, base_radius=base, rise=part * min(tallest, 0.3 * base))
    width, depth, first = by_hand(cam, rho)
    (bridge,) = lift_of(cam, Roller(rho)).bridges
    assert bridge.width == pytest.approx(width, abs=1e-6)
    assert bridge.depth == pytest.approx(depth, abs=1e-6)
    pitch = 2 * pi / cam.lobes
    assert bridge.first % pitch == pytest.approx(first % pitch, abs=1e-6)
    assert bridge.last - bridge.first == pytest.approx(2 * (pi / cam.lobes - first), abs=1e-6)


def test_the_lift_in_the_hollow_is_that_of_two_tangent_circles():
    for rho in (1.0, 5.0, 12.0):
        lift = lift_of(SCALLOP, Roller(rho))
        assert lift.curve.at(np.array([pi / 6]))[0] == pytest.approx(by_hand(SCALLOP, rho)[1], abs=1e-9)


def test_a_knife_misses_nothing_and_a_flat_spans_the_chord_between_lobes():
    """A flat rests on two tops at once: on a scallop, over the common tangent of two arcs."""
    assert lift_of(SCALLOP, Knife()).bridges == ()
    arc, out = arcs(SCALLOP)
    (bridge,) = lift_of(SCALLOP, FlatFollower()).bridges
    assert bridge.width == pytest.approx(2 * out * sin(pi / 6), abs=1e-6)
    assert bridge.depth == pytest.approx(out * cos(pi / 6) + arc - 50.0, abs=1e-6)


def test_only_a_knife_reaches_a_sharp_hollow():
    assert largest_roller(SCALLOP) == 0.0


def hollow_radius(cam):
    """Radius of curvature in a harmonic hollow, r^2 / (r'' - r), by the polar formula with r' = 0; face cam: track^2 / h''."""
    bend = cam.rise * cam.lobes**2 / 2
    if cam.on == "face":
        return cam.base_radius**2 / bend
    return cam.base_radius**2 / (bend - cam.base_radius)


@given(
    lobes=st.sampled_from([4, 8, 12, 24]),
    steep=numbers(4.0, 30.0),
    base=numbers(20.0, 100.0),
    on=st.sampled_from(["edge", "face"]),
)
def test_the_largest_roller_has_the_radius_of_curvature_of_the_harmonic_hollow(lobes, steep, base, on):
    """Standard formula (METU *Mechanisms*, 8.5: the roller must be no larger than the least radius of curvature)."""
    cam = Wave(lobes=lobes, base_radius=base, rise=2 * steep * base / lobes**2, on=on)
    assert largest_roller(cam) == pytest.approx(hollow_radius(cam), abs=1e-9)


@pytest.mark.parametrize(("rise_part", "fall_part"), [("1/8", "1/2"), ("1/2", "1/2"), ("1/3", "1/12")])
@pytest.mark.parametrize("on", ["edge", "face"])
def test_the_largest_roller_has_the_radius_of_curvature_at_the_foot_of_a_harmonic_rise(rise_part, fall_part, on):
    """Over an angle b the rise is h (1 - cos(pi t / b)) / 2, whose second derivative at its foot is h pi^2 / (2 b^2)."""
    cam = MotionLaw(law="harmonic", lobes=5, base_radius=60.0, rise=6.0, rise_part=rise_part, fall_part=fall_part, on=on)
    bend = 6.0 * pi**2 / (2 * (min(float(cam.rise_part), float(cam.fall_part)) * 2 * pi / 5) ** 2)
    assert largest_roller(cam) == pytest.approx(3600.0 / (bend - 60.0 if on == "edge" else bend), abs=1e-9)


@pytest.mark.parametrize("gap", ["1/500", "1/40"])
def test_a_roller_larger_than_the_largest_does_not_reach_everywhere_in_a_narrow_bottom(gap):
    """By trial: one as large as is said reaches everywhere, one 3 % larger does not."""
    part = (1 - Fraction(gap)) / 2
    cam = MotionLaw(law="cycloidal", lobes=6, base_radius=60.0, rise=12.0, rise_part=part, fall_part=part)
    largest = largest_roller(cam)
    assert not lift_of(cam, Roller(0.9999 * largest)).bridges
    assert max(bridge.depth for bridge in lift_of(cam, Roller(1.03 * largest)).bridges) > 1e-9


def test_a_flat_on_a_face_cam_is_refused_as_it_rests_on_every_top_at_once():
    cam = Wave(lobes=4, base_radius=60.0, rise=5.0, on="face")
    for ask in (
        lambda: lift_of(cam, FlatFollower()),
        lambda: touch_at(cam, FlatFollower(), np.zeros(1)),
        lambda: pressure_angle(cam, FlatFollower()),
    ):
        with pytest.raises(SettingError, match="this flat is too wide for the waves of a face cam; use a knife, or a"):
            ask()


@pytest.mark.parametrize("on", ["edge", "face"])
@pytest.mark.parametrize(("lobes", "rise"), [(12, 4.0), (8, 6.0), (24, 1.5)])
def test_a_roller_of_the_radius_of_the_hollow_reaches_and_a_larger_one_does_not(on, lobes, rise):
    """Contact by the same formula: at the very radius the touch is a point, a tenth more leaves a gap."""
    cam = Wave(lobes=lobes, base_radius=60.0, rise=rise, on=on)
    exact = hollow_radius(cam)
    for radius in (0.5 * exact, 0.999 * exact, exact):
        reached = lift_of(cam, Roller(radius))
        assert reached.curve.at(np.array([pi / lobes]))[0] == pytest.approx(0, abs=1e-9)
        assert all(bridge.depth < 1e-9 for bridge in reached.bridges)
    larger = lift_of(cam, Roller(1.1 * exact))
    assert larger.curve.at(np.array([pi / lobes]))[0] > 1e-4
    (bridge,) = larger.bridges
    assert bridge.depth == pytest.approx(larger.curve.at(np.array([pi / lobes]))[0], abs=1e-9)


def test_a_convex_cam_takes_any_roller():
    assert largest_roller(Wave(lobes=2, base_radius=60.0, rise=2.0)) == np.inf
