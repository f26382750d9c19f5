"""The round disc off its centre: the one cam whose lift has a closed form for every follower."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, degrees

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.kinematics.contact import lift_of, pressure_angle, touch_at
from lobework.parts.cam import CamShape, EccentricCam, MotionLaw
from lobework.parts.follower import FlatFollower, Knife, Roller
from tests.strategies import eccentrics, numbers

# R = 30, e = 10, q = 8, worked out from closed forms, *from memory*: the slider-crank with crank e and rod R + q; a knife as
# q = 0; a flat R + e cos(theta).
TABLE = np.array([
    [0, 48, 40, 40],
    [30, 46.329870, 38.240653, 38.660254],
    [45, 44.407377, 36.225827, 37.071068],
    [60, 42, 33.722813, 35],
    [90, 36.660606, 28.284271, 30],
    [120, 32, 23.722813, 25],
    [180, 28, 20, 20],
])  # fmt: skip
DISC = EccentricCam(radius=30.0, offset=10.0)


def closed_form(disc, follower, phi):
    if isinstance(follower, FlatFollower):
        return disc.radius + disc.offset * np.cos(phi)
    rod = disc.radius + follower.rest
    return disc.offset * np.cos(phi) + np.sqrt(rod**2 - (disc.offset * np.sin(phi)) ** 2)


@pytest.mark.parametrize(("follower", "column"), [(Roller(8.0), 1), (Knife(), 2), (FlatFollower(), 3)])
def test_table_of_the_slider_crank(follower, column):
    assert_allclose(touch_at(DISC, follower, np.radians(TABLE[:, 0])).reach, TABLE[:, column], atol=5.1e-7)


any_follower = st.one_of(st.just(Knife()), st.just(FlatFollower()), st.builds(Roller, numbers(0.01, 100.0)))
directions = st.lists(numbers(-7.0, 7.0), min_size=1, max_size=20)


@given(disc=eccentrics(), follower=any_follower, phi=directions)
def test_contact_is_the_closed_form_of_the_slider_crank(disc, follower, phi):
    phi = np.array(phi)
    assert_allclose(touch_at(disc, follower, phi).reach, closed_form(disc, follower, phi), rtol=0, atol=1e-9)


@given(disc=eccentrics(), follower=any_follower)
def test_lift_is_the_closed_form_of_the_slider_crank(disc, follower):
    phi = np.linspace(-4, 4, 1777)
    lift = lift_of(disc, follower)
    assert_allclose(lift.curve.at(phi) + lift.rest, closed_form(disc, follower, phi), rtol=0, atol=1e-9)
    assert lift.bridges == ()


@given(disc=eccentrics(), radius=numbers(0.01, 100.0))
def test_greatest_pressure_angle_is_asin_of_offset_over_rod(disc, radius):
    assert pressure_angle(disc, Roller(radius)) == pytest.approx(degrees(asin(disc.offset / (disc.radius + radius))), abs=1e-4)
    assert pressure_angle(disc, FlatFollower()) == 0.0


def test_pressure_angles_of_the_table():
    assert pressure_angle(DISC, Roller(8.0)) == pytest.approx(15.257523, abs=1e-6)
    assert pressure_angle(DISC, Knife()) == pytest.approx(19.471221, abs=1e-6)


def test_second_harmonic_is_offset_squared_over_four_rods():
    """To first order in (e / rod)^2; the flat has none: its motion is pure harmonic."""
    phi = 2 * np.pi * np.arange(256) / 256

    def harmonic(follower, order):
        return 2 * abs(np.fft.rfft(lift_of(DISC, follower).curve.at(phi))[order]) / 256

    rod = 30.0 + 8.0
    assert harmonic(Roller(8.0), 2) == pytest.approx(10**2 / (4 * rod), rel=1.2 * (10 / rod) ** 2 / 4)
    assert harmonic(FlatFollower(), 1) == pytest.approx(10, abs=1e-9)
    assert max(harmonic(FlatFollower(), order) for order in range(2, 20)) < 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class HarmonicContour(CamShape):
    """The contour that lifts a flat by ``s = 50 + 25 cos(phi)``: it touches ``s`` out along phi and ``s'`` across it."""

    kind = "harmonic contour"

    def rise_at(self, psi):
        phi = psi.copy()
        for _ in range(9):
            s, ds = 50 + 25 * np.cos(phi), -25 * np.sin(phi)
            turning = 1 + (-25 * np.cos(phi) * s - ds**2) / (s**2 + ds**2)
            phi -= (np.remainder(phi + np.arctan2(ds, s) - psi + np.pi, 2 * np.pi) - np.pi) / turning
        return np.hypot(50 + 25 * np.cos(phi), 25 * np.sin(phi)) - self.base_radius


def test_flat_faced_harmonic_cam_has_a_round_contour_25_off_centre():
    """Textbook problem: flat-faced follower, simple harmonic out and back in one turn, 50 mm, least radius 25 mm; find the
    contour (th4.ilovetranslation.com/8w8ZRY4te-L=d). It is a circle of 50 mm, 25 mm off centre, and the face is 50 mm long.
    """
    phi = np.linspace(-np.pi, np.pi, 721)
    shape = HarmonicContour(lobes=1, base_radius=25.0, rise=50.0)
    contour = (25 + shape.rise_at(phi)) * np.exp(1j * phi)
    assert_allclose(np.abs(contour - 25), 50, atol=1e-11)
    asked = MotionLaw(law="harmonic", lobes=1, base_radius=25.0, rise=50.0)
    for cam in (shape, EccentricCam(radius=50.0, offset=25.0)):
        assert_allclose(lift_of(cam, FlatFollower()).curve.at(phi), asked.rise_at(phi), atol=1e-9)
        touched = touch_at(cam, FlatFollower(), phi)
        face = (25 + cam.rise_at(touched.psi)) * np.sin(touched.psi - phi)
        assert face.max() - face.min() == pytest.approx(50, abs=1e-5)
