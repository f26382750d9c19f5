"""The six motion laws of cams, as `MotionLaw` cams cut them."""

from __future__ import annotations

from fractions import Fraction
from math import pi, sqrt

import numpy as np
import pytest
from numpy.testing import assert_allclose

from lobework.kinematics.contact import lift_of
from lobework.parts.cam import MotionLaw
from lobework.parts.follower import Knife
from tests.strategies import LAW_NAMES

S5 = sqrt(5)

# Peak velocity, acceleration and jerk of a unit rise over a unit angle, exact.
# modified sine: mechdesigner.support/motion-cam-law-modified-sinusoid.htm prints 1.76, 5.53, +69.47;
# modified trapezoid and 3-4-5: from the piecewise coefficients of Saltire Software, "Cam Functions";
# the rest follow from the textbook forms by differentiation.
FACTORS = {
    "harmonic": (pi / 2, pi**2 / 2, pi**3 / 2),
    "cycloidal": (2, 2 * pi, 4 * pi**2),
    "3-4-5": (15 / 8, 10 / sqrt(3), 60),
    "4-5-6-7": (35 / 16, 84 * S5 / 25, 105 / 2),
    "modified sine": (4 * pi / (4 + pi), 4 * pi**2 / (4 + pi), 16 * pi**3 / (4 + pi)),
    "modified trapezoid": (2, 8 * pi / (2 + pi), 32 * pi**2 / (2 + pi)),
}

# Peak of velocity times acceleration: the fourth characteristic of Hsu, Mechanical Sciences 13 (2022), 111-119;
# values worked out from the forms above.
POWER = {
    "harmonic": 3.875785,
    "cycloidal": 8.162097,
    "3-4-5": 6.694268,
    "4-5-6-7": 10.750226,
    "modified sine": 5.457753,
    "modified trapezoid": 8.089981,
}


def unit_rise(law):
    """A cam that rises by 1 mm over 1/4 of its turn; ``per`` is that angle, ``at`` its places by u in [0, 1]."""
    cam = MotionLaw(law=law, lobes=1, base_radius=40.0, rise=1.0, rise_part=Fraction(1, 4), fall_part=Fraction(1, 4))
    return cam, pi / 2, lambda u: -pi / 2 + u * pi / 2


@pytest.mark.parametrize("law", LAW_NAMES)
def test_peak_velocity_acceleration_and_jerk_are_the_exact_factors(law):
    cam, per, at = unit_rise(law)
    u = np.linspace(0, 1, 840_001)[1:-1]
    found = [np.abs(cam.derivative_at(at(u), order)).max() * per**order for order in (1, 2)]
    assert_allclose(found, FACTORS[law][:2], rtol=1e-10)
    assert np.abs(cam.derivative_at(at(u), 3)).max() * per**3 == pytest.approx(FACTORS[law][2], rel=2e-5)


@pytest.mark.parametrize("law", LAW_NAMES)
def test_peak_of_velocity_times_acceleration(law):
    cam, per, at = unit_rise(law)
    u = np.linspace(0, 1, 400_001)[1:-1]
    power = np.abs(cam.derivative_at(at(u), 1) * cam.derivative_at(at(u), 2)).max() * per**3
    assert power == pytest.approx(POWER[law], abs=1e-6)


def test_jerk_of_the_modified_sine_at_the_cross_over():
    """mechdesigner.support/motion-cam-law-modified-sinusoid.htm: -23.15."""
    cam, per, at = unit_rise("modified sine")
    assert cam.derivative_at(at(np.array([0.5])), 3)[0] * per**3 == pytest.approx(-16 * pi**3 / (3 * (4 + pi)), rel=1e-12)


def test_jerk_of_the_polynomials_at_ends_and_middle():
    """From 10u^3 - 15u^4 + 6u^5 (Saltire) and 35u^4 - 84u^5 + 70u^6 - 20u^7 (from memory, standard)."""
    for law, u, jerk in (("3-4-5", [1e-12, 0.5], [60, -30]), ("4-5-6-7", [0.5], [-52.5])):
        cam, per, at = unit_rise(law)
        assert_allclose(cam.derivative_at(at(np.array(u)), 3) * per**3, jerk, rtol=1e-9)
    cam, per, at = unit_rise("4-5-6-7")
    assert cam.derivative_at(at(np.linspace(0.01, 0.99, 100_001)), 3).max() * per**3 == pytest.approx(42, abs=1e-3)


def test_displacement_spots():
    """Modified sine and trapezoid at u = 1/8, 1/4, 3/8 (worked from the printed coefficients); every law is half up half-way."""
    spots = {"modified sine": (0.0199814, 0.1171785, 0.2874845), "modified trapezoid": (0.0176687, 0.1044802, 0.2676687)}
    for law, expected in spots.items():
        cam, _, at = unit_rise(law)
        assert_allclose(cam.rise_at(at(np.array([1, 2, 3]) / 8)), expected, atol=5.1e-8)
    for law in LAW_NAMES:
        cam, _, at = unit_rise(law)
        assert_allclose(cam.rise_at(at(np.array([0.0, 0.5, 1.0]))), [0, 0.5, 1], atol=1e-14)


def test_modified_sine_is_saltire_s_piecewise_form():
    """saltire.com/CamDesign/Cam%20Functions.html; its decimals are good to about 1e-7."""
    cam, _, at = unit_rise("modified sine")
    u = np.linspace(0, 1, 1001)
    first = 0.43990085 * u - 0.0350062 * np.sin(4 * pi * u)
    middle = 0.28004957 + 0.43990085 * u - 0.31505577 * np.cos(4 * pi * u / 3 - pi / 6)
    last = 0.56009915 + 0.43990085 * u - 0.0350062 * np.sin(4 * pi * u)
    assert_allclose(cam.rise_at(at(u)), np.select([u < 0.125, u <= 0.875], [first, middle], last), atol=1e-7)


def test_modified_trapezoid_is_saltire_s_piecewise_form():
    """saltire.com/CamDesign/Cam%20Functions.html, first half; its decimals are good to about 1e-7."""
    cam, _, at = unit_rise("modified trapezoid")
    u = np.linspace(0, 0.5, 501)
    first = 0.38898448 * u - 0.0309544 * np.sin(4 * pi * u)
    second = 2.44406184 * u**2 - 0.22203097 * u + 0.00723407
    third = 1.6110154 * u - 0.0309544 * np.sin(4 * pi * u - pi) - 0.3055077
    assert_allclose(cam.rise_at(at(u)), np.select([u < 0.125, u < 0.375], [first, second], third), atol=2e-7)


# Displacement mm, velocity mm/deg, acceleration mm/deg^2 of a cycloidal rise of 20 mm over 60 degrees:
# homework sheet HW4, fall 2008 (scribd 402730349).
CYCLOIDAL = np.array([
    [5, 0.075117, 0.044658, 0.017453],
    [10, 0.576689, 0.166667, 0.030230],
    [15, 1.816901, 0.333333, 0.034907],
    [20, 3.910022, 0.500000, 0.030230],
    [25, 6.741784, 0.622008, 0.017453],
    [30, 10, 0.666667, 0],
    [35, 13.25822, 0.622008, -0.017453],
    [40, 16.08998, 0.500000, -0.030230],
    [45, 18.18310, 0.333333, -0.034907],
    [50, 19.42331, 0.166667, -0.030230],
    [55, 19.92488, 0.044658, -0.017453],
    [60, 20, 0, 0],
])  # fmt: skip


def test_published_cycloidal_table_through_cam_and_follower():
    sixth = Fraction(1, 6)
    cam = MotionLaw(law="cycloidal", lobes=1, base_radius=40.0, rise=20.0, rise_part=sixth, fall_part=sixth)
    degrees, s, v, a = CYCLOIDAL.T
    psi = np.radians(degrees - 60)
    curve = lift_of(cam, Knife()).curve
    assert_allclose(curve.at(psi), s, atol=5.1e-6)
    assert_allclose(curve.slope(psi - 1e-12) * pi / 180, v, atol=5.1e-7)
    assert_allclose(cam.derivative_at(psi - 1e-12, 2) * (pi / 180) ** 2, a, atol=5.1e-7)


def test_simple_harmonic_valve_exercise():
    """Textbook exercise with answers (mycoursehelp.com/QA/design-a-cam-to-raise-a-valve-with-simpl/67124/1; Khurmi and Gupta,
    *Theory of Machines*, from memory): lift 50 mm, rise 1/3 rev, dwell 1/12, return 1/6, 100 rev/min.
    Answers 0.39 and 0.78 m/s (0.785, cut short), 6.17 and 24.67 m/s^2.
    """
    cam = MotionLaw(
        law="harmonic", lobes=1, base_radius=40.0, rise=50.0,
        rise_part=Fraction(1, 3), dwell_part=Fraction(1, 12), fall_part=Fraction(1, 6),
    )  # fmt: skip
    omega = 100 * 2 * pi / 60
    psi = np.linspace(-pi, pi, 720_001)[:-1]
    velocity = cam.derivative_at(psi, 1) * omega / 1000
    acceleration = np.abs(cam.derivative_at(psi, 2)) * omega**2 / 1000
    rising, falling = velocity > 1e-9, velocity < -1e-9
    assert velocity.max() == pytest.approx(0.392699, abs=1e-6)
    assert -velocity.min() == pytest.approx(0.785398, abs=1e-6)
    assert acceleration[rising].max() == pytest.approx(6.168503, abs=1e-6)
    assert acceleration[falling].max() == pytest.approx(24.674011, abs=1e-6)
    assert rising.mean() == pytest.approx(1 / 3, abs=1e-4)
    assert (np.abs(cam.rise_at(psi) - 50) < 1e-9).mean() == pytest.approx(1 / 12, abs=1e-3)
