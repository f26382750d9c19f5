"""Contact in the cases where it is easy to be wrong."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose

from lobework.errors import PluginError
from lobework.kinematics.contact import lift_of, pressure_angle, touch_at
from lobework.parts.cam import CamShape, EccentricCam, MotionLaw, Scallop, Wave
from lobework.parts.follower import FlatFollower, Knife, Roller


def test_the_touching_point_and_the_follower_share_a_normal():
    """The line from the touching point to the roller's centre is as long as its radius and square to the edge."""
    cam, roller = Wave(lobes=5, base_radius=40.0, rise=4.0), Roller(3.0)
    phi = np.linspace(0, 2, 50)
    found = touch_at(cam, roller, phi)
    point = (40 + cam.rise_at(found.psi)) * np.exp(1j * found.psi)
    tangent = (cam.slope_at(found.psi) + 1j * (40 + cam.rise_at(found.psi))) * np.exp(1j * found.psi)
    out = found.reach * np.exp(1j * phi) - point
    assert_allclose(np.abs(out), 3, atol=1e-11)
    assert_allclose((out.conj() * tangent).real / np.abs(tangent), 0, atol=1e-6)


def test_a_knife_follows_every_cam_exactly():
    phi = np.linspace(0, 7, 701)
    for cam in (Wave(lobes=5, base_radius=40.0, rise=4.0), Scallop(lobes=3, base_radius=40.0, rise=9.0)):
        assert_allclose(lift_of(cam, Knife()).curve.at(phi), cam.rise_at(phi), atol=1e-9)


@dataclass(frozen=True, slots=True, kw_only=True)
class Peaked(CamShape):
    """One lobe that comes to a point."""

    kind = "peaked"

    @property
    def corners(self):
        return (0.0,)

    def rise_at(self, psi):
        return self.rise * (1 - np.abs(np.sin(psi / 2)))

    def slope_at(self, psi):
        return -self.rise / 2 * np.cos(psi / 2) * np.sign(np.sin(psi / 2))


def test_a_roller_pivots_about_a_peak_while_its_normal_is_between_those_of_the_sides():
    """A circle of the roller's radius about the peak itself; the sides lean by atan(5 / 40), so up to 0.013 rad of direction."""
    cam = Peaked(lobes=1, base_radius=30.0, rise=10.0)
    phi = np.linspace(-0.0135, 0.0135, 41)
    swung = 40 * np.cos(phi) + np.sqrt(5**2 - (40 * np.sin(phi)) ** 2)
    assert_allclose(touch_at(cam, Roller(5.0), phi).reach, swung, atol=1e-9)
    lift = lift_of(cam, Roller(5.0))
    assert_allclose(lift.curve.at(phi) + lift.rest, swung, atol=1e-9)
    assert (touch_at(cam, Roller(5.0), np.array([0.02])).psi > 1e-4).all()


def test_face_cam_and_roller_are_an_offset_of_a_straight_wave():
    """Along the track the wave is a plain graph; the roller's centre lies on its parallel curve (offset by the normal)."""
    cam, radius = Wave(lobes=6, base_radius=50.0, rise=2.0, on="face"), 1.5
    psi = np.linspace(0, 2 * pi / 6, 301)[:-1]
    slope = cam.slope_at(psi) / 50.0
    across = 50.0 * psi - radius * slope / np.hypot(1, slope)
    along = cam.rise_at(psi) + radius / np.hypot(1, slope)
    assert_allclose(lift_of(cam, Roller(radius)).curve.at(across / 50.0) + radius, along, atol=1e-9)


def test_edge_cam_and_roller_are_the_parallel_curve_of_the_edge():
    cam, radius = Wave(lobes=3, base_radius=50.0, rise=4.0), 2.5
    psi = np.linspace(0, 2 * pi / 3, 301)
    edge = (50 + cam.rise_at(psi)) * np.exp(1j * psi)
    tangent = (cam.slope_at(psi) + 1j * (50 + cam.rise_at(psi))) * np.exp(1j * psi)
    centre = edge - 1j * radius * tangent / np.abs(tangent)
    lift = lift_of(cam, Roller(radius))
    assert_allclose(lift.curve.at(np.angle(centre)) + lift.rest, np.abs(centre), atol=1e-9)


def test_a_roller_wider_than_the_cam_still_rests_on_it():
    disc = EccentricCam(radius=5.0, offset=3.0)
    phi = np.linspace(0, 2 * pi, 41)
    assert_allclose(
        touch_at(disc, Roller(200.0), phi).reach, 3 * np.cos(phi) + np.sqrt(205**2 - (3 * np.sin(phi)) ** 2), atol=1e-9
    )


@pytest.mark.parametrize(
    ("law", "rise", "part", "prime", "angle"),
    [
        ("cycloidal", 20, 6, 40, 37.8355),
        ("cycloidal", 20, 6, 60, 28.8218),
        ("cycloidal", 10, 4, 30, 20.1447),
        ("harmonic", 10, 4, 30, 16.1021),
        ("harmonic", 25, 3, 40, 20.1894),
    ],
)
def test_greatest_pressure_angle_of_radial_followers(law, rise, part, prime, angle):
    """tan(alpha) = s' / (Rp + s), standard (siliconwit.com, cam-follower experiments); maxima worked out, printed to 1e-4."""
    cam = MotionLaw(
        law=law, lobes=1, base_radius=float(prime), rise=float(rise), rise_part=Fraction(1, part), fall_part=Fraction(1, part)
    )
    assert pressure_angle(cam, Knife()) == pytest.approx(angle, abs=1.5e-4)


def test_a_flat_has_no_pressure_angle():
    assert pressure_angle(Wave(lobes=3, base_radius=50.0, rise=4.0), FlatFollower()) == 0.0


@dataclass(frozen=True, slots=True)
class Wedge:
    """A nose with a sharp tip, and flanks that rise by ``steep`` for each mm aside."""

    kind = "wedge"
    form = "shaped"
    rest = 0.0
    steep: float
    half_width: float

    def nose_at(self, q):
        return -self.steep * np.abs(q)

    def nose_slope_at(self, q):
        return -self.steep * np.sign(q)


def test_a_wedge_steeper_than_the_wave_follows_it_as_a_knife_does():
    """From geometry: only its tip touches, whose lift is the cam's own rise."""
    cam, phi = Wave(lobes=12, base_radius=60.0, rise=4.0), np.linspace(0, np.pi / 6, 301)
    wedge, knife = lift_of(cam, Wedge(1.2, 4.0)), lift_of(cam, Knife())
    assert not wedge.bridges
    assert_allclose(wedge.curve.at(phi), knife.curve.at(phi), rtol=0, atol=2e-10)
    assert_allclose(wedge.curve.slope(phi), knife.curve.slope(phi), rtol=0, atol=1e-6)


@pytest.mark.parametrize("steep", [0.05, 0.2, 0.35])
def test_a_blunt_wedge_rides_an_eccentric_disc_on_its_tip_or_on_a_flank(steep):
    """From geometry: the tip touches where the disc leans less than a flank; else the flank's line is the disc's tangent."""
    cam, phi = EccentricCam(radius=30.0, offset=10.0), np.linspace(0, 2 * np.pi, 721)
    aside, up = 10 * np.sin(phi), 10 * np.cos(phi)
    root = np.hypot(1, steep)
    on_tip = up + np.sqrt(30.0**2 - aside**2)
    tangent = up - steep * np.abs(aside) + 30 * root
    on_flank = np.abs(aside) > 30 * steep / root
    expected = np.where(on_flank, tangent, on_tip)
    lift = lift_of(cam, Wedge(steep, 60.0))
    assert_allclose(touch_at(cam, Wedge(steep, 60.0), phi).reach, expected, rtol=0, atol=1e-9)
    assert_allclose(lift.curve.at(phi) + lift.rest, expected, rtol=0, atol=1e-9)


class Contrary(Wedge):
    """A nose whose slope has the wrong sign."""

    __slots__ = ()

    def nose_slope_at(self, q):
        return self.steep * np.sign(q)


class Unmarked(EccentricCam):
    """A disc with more corners than anybody could find, none of which it names."""

    __slots__ = ()
    kind = "unmarked"

    def rise_at(self, psi):
        return EccentricCam.rise_at(self, psi) + 0.1 * np.abs(np.sin(500 * psi))


@pytest.mark.parametrize(
    ("cam", "follower"),
    [(Wave(lobes=12, base_radius=60.0, rise=4.0), Contrary(1.2, 4.0)), (Unmarked(radius=30.0, offset=5.0), Knife())],
)
def test_a_slope_that_is_not_the_derivative_is_attributed_to_its_plugin(cam, follower):
    message = f"cam '{cam.kind}' under follower '{follower.kind}': their contact cannot be computed: one of the two shapes is "
    with pytest.raises(PluginError, match=message):
        lift_of(cam, follower)
