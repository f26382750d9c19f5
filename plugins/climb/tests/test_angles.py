"""Pressure angles compared with closed forms and an independently computed table."""

from fractions import Fraction
from math import acos, asin, atan, degrees, pi, sin, sqrt

import numpy as np
import pytest
from lobework_climb import climb, steepest

from lobework import (
    Drive,
    EccentricCam,
    FlatFollower,
    Headstock,
    Knife,
    Lathe,
    MotionLaw,
    Pass,
    Roller,
    Scallop,
    Wave,
)
from lobework.plugins import Cut, cuts_of, motion_of, trace

SLIDES = Headstock(sideways="slides", endways="pumps")


def cut_by(drive, headstock=SLIDES, name=""):
    return Cut(number=1, passed=Pass(cams=[drive], name=name), lathe=Lathe(name="bench", headstock=headstock))


def found(cam, follower, headstock=SLIDES, **more):
    cut = cut_by(Drive(cam, follower=follower, **more), headstock)
    return steepest(cut.passed.cams[0], motion_of(cut))


@pytest.mark.parametrize(("follower", "nose", "published"), [(Roller(8.0), 8.0, 15.257523), (Knife(), 0.0, 19.471221)])
@pytest.mark.parametrize("more", [{}, {"side": "back"}, {"gain": 2.5}])
def test_an_eccentric_disc_is_steepest_at_asin_of_offset_over_reach(follower, nose, published, more):
    """Closed form asin(e / (R + q)), a quarter turn from the top; R = 30, e = 10."""
    angle, at = found(EccentricCam(radius=30.0, offset=10.0), follower, **more)
    assert angle == pytest.approx(degrees(asin(10 / (30 + nose))), abs=1e-6)
    assert angle == pytest.approx(published, abs=1e-6)
    assert min(at, 360 - at) == pytest.approx(90, abs=0.05)


@pytest.mark.parametrize("cam", [EccentricCam(radius=30.0, offset=10.0), Wave(lobes=3, base_radius=40.0, rise=6.0)])
def test_a_flat_follower_has_pressure_angle_zero(cam):
    assert found(cam, FlatFollower()).angle_deg == 0
    assert list(findings(Drive(cam, follower=FlatFollower()))) == []


@pytest.mark.parametrize(("lobes", "base", "rise"), [(1, 30.0, 10.0), (4, 60.0, 20.0), (12, 40.0, 5.0), (60, 40.0, 5.0)])
def test_a_wave_under_a_knife(lobes, base, rise):
    """r = base + a (1 + cos lobes psi), a half the rise: tan = lobes a / sqrt((base + a)^2 - a^2), at cos = -a / (base + a)."""
    a = rise / 2
    angle, at = found(Wave(lobes=lobes, base_radius=base, rise=rise), Knife())
    assert angle == pytest.approx(degrees(atan(lobes * a / sqrt((base + a) ** 2 - a**2))), abs=1e-5)
    pitch, steep_at = 360 / lobes, degrees(acos(-a / (base + a))) / lobes
    assert min(at, pitch - at) == pytest.approx(steep_at, abs=0.02 * pitch)


def test_a_wave_on_the_face():
    """tan = lobes a / track, at half of the rise."""
    angle, at = found(Wave(lobes=8, base_radius=40.0, rise=3.0, on="face"), Knife())
    assert angle == pytest.approx(degrees(atan(8 * 1.5 / 40)), abs=1e-5)
    assert at in (pytest.approx(11.25, abs=0.1), pytest.approx(33.75, abs=0.1))


@pytest.mark.parametrize("nose", [0.0, 4.0])
def test_a_scallop_is_steepest_at_its_hollow(nose):
    """Triangle of cam centre, arc centre and hollow: sin = d sin(pi / lobes) / (radius of the arc + radius of the roller)."""
    base, top, lobes = 50.0, 54.0, 6
    d = (top**2 - base**2) / (2 * (top - base * sqrt(3) / 2))
    angle, at = found(Scallop(lobes=lobes, base_radius=base, rise=top - base), Roller(nose) if nose else Knife())
    assert angle == pytest.approx(degrees(asin(d * sin(pi / lobes) / (top - d + nose))), abs=1e-4)
    assert at == pytest.approx(30, abs=1e-3)


@pytest.mark.parametrize(
    ("law", "rise", "turn", "base", "angle", "part"),
    [
        ("cycloidal", 20, 60, 40, 37.8355, 0.459),
        ("cycloidal", 20, 60, 60, 28.8218, 0.471),
        ("cycloidal", 10, 90, 30, 20.1447, 0.471),
        ("harmonic", 10, 90, 30, 16.1021, 0.454),
        ("harmonic", 25, 120, 40, 20.1894, 0.424),
    ],
)
def test_a_rise_by_a_law(law, rise, turn, base, angle, part):
    """Computed from tan = s' / (base + s), no source; ``part`` is the fraction of the rise period at the steepest place."""
    rise_part = Fraction(turn, 360)
    cam = MotionLaw(law=law, lobes=1, base_radius=float(base), rise=float(rise), rise_part=rise_part, fall_part=1 - rise_part)
    steep = found(cam, Knife())
    assert steep.angle_deg == pytest.approx(angle, abs=6e-5)
    assert (steep.at_deg - (360 - turn)) / turn == pytest.approx(part, abs=1e-3)


def test_a_rocking_headstock_tends_to_a_sliding_one_as_the_pivot_rises():
    cam = Wave(lobes=6, base_radius=50.0, rise=6.0)
    slid = found(cam, Roller(4.0)).angle_deg
    rocks = (Headstock(sideways="rocks", pivot_height=height) for height in (1e3, 1e4, 1e5))
    off = [abs(found(cam, Roller(4.0), headstock).angle_deg - slid) for headstock in rocks]
    assert off[0] > off[1] > off[2]
    assert off[2] < 0.02


@pytest.mark.parametrize("side", ["front", "back"])
@pytest.mark.parametrize(
    ("offset", "radius", "nose", "height"), [(1, 30, 8, 250), (10, 30, 8, 250), (5, 60, 3, 120), (20, 60, 3, 250)]
)
def test_on_a_rocking_headstock_one_flank_is_steeper_than_on_one_that_slides(side, offset, radius, nose, height):
    """The contact tilts by reach / height: tan becomes tan / (1 - reach / height tan), with the headstock upright."""
    psi = np.linspace(0, 2 * np.pi, 100_001)
    root = np.sqrt((radius + nose) ** 2 - (offset * np.sin(psi)) ** 2)
    reach, tangent = offset * np.cos(psi) + root, offset * np.sin(psi) / root
    expected = degrees(atan((tangent / (1 - reach / height * tangent)).max()))
    headstock = Headstock(sideways="rocks", pivot_height=float(height))
    rocked = found(EccentricCam(radius=float(radius), offset=float(offset)), Roller(float(nose)), headstock, side=side)
    assert rocked.angle_deg == pytest.approx(expected, abs=0.01)
    assert rocked.angle_deg > degrees(asin(offset / (radius + nose)))


def findings(drive, name="waves", headstock=SLIDES):
    cut = cut_by(drive, headstock, name)
    return climb([cut], [trace(cut)])


def test_a_cam_with_a_small_pressure_angle_has_no_finding():
    assert list(findings(Drive(Wave(lobes=12, base_radius=62.0, rise=2.2), follower=Roller(4.0)))) == []


@pytest.mark.parametrize(("lobes", "level"), [(10, None), (11, "warning"), (30, "warning"), (31, "problem")])
def test_above_30_degrees_is_a_warning_and_above_60_a_problem(lobes, level):
    """tan = 3 lobes / sqrt(53^2 - 3^2): 10 lobes 29.55 degrees, 11 31.95; 30 59.55, 31 60.36."""
    cam = Wave(lobes=lobes, base_radius=50.0, rise=6.0)
    levels = [each.level for each in findings(Drive(cam, follower=Knife()))]
    assert levels == ([level] if level else [])


def test_a_finding_gives_the_place_the_angle_and_the_remedies():
    (said,) = findings(Drive(Wave(lobes=12, base_radius=40.0, rise=6.0), follower=Roller(2.0)), name="waves")
    assert str(said) == (
        "warning (climb): waves, cam 1: the pressure angle of the roller is 38.3 degrees, 9.5 degrees from the top of a lobe in "
        "each of 12 lobes; above 30 degrees friction and wear are high: use about 73 % of the rise (with 1.37 times the gain for "
        "the same travel of the headstock), fewer lobes, or a base radius 1.37 times as large"
    )


@pytest.mark.parametrize("eased", [{"rise": 0.73 * 6}, {"base_radius": 1.37 * 40}])
def test_the_advised_settings_give_about_30_degrees(eased):
    cam = Wave(**{"lobes": 12, "base_radius": 40.0, "rise": 6.0, **eased})
    assert found(cam, Roller(2.0)).angle_deg == pytest.approx(30, abs=1)


def test_one_cam_of_two_is_named_and_a_series_is_reported_once():
    easy, steep = (Wave(lobes=lobes, base_radius=50.0, rise=4.0) for lobes in (3, 24))
    cams = [Drive(easy, follower=Knife(), name="slow"), Drive(steep, follower=Knife(), name="quick")]
    lathe = Lathe(name="bench", headstock=SLIDES)
    cuts = list(cuts_of(Pass(cams=cams, name="twofold").series(5, x=-1), lathe))
    found_here = list(climb(cuts, [trace(cut) for cut in cuts]))
    assert [each.where for each in found_here] == ["twofold, quick"]


def test_a_pass_without_cams_has_no_finding():
    cut = Cut(number=1, passed=Pass(), lathe=Lathe(name="bench", headstock=SLIDES))
    assert list(climb([cut], [trace(cut)])) == []
