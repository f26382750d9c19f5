"""The work: its surface, the wall behind it, its sheet, and the forms that no lathe could hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.geometry.surface import Face, Round
from lobework.lathe.hand_settings import settings_of
from lobework.parts.piece import Barrel, Disc, Turned
from tests.search import examples
from tests.strategies import numbers

GOBLET = Turned(profile=((0, 20), (-20, 25), (-40, 15)))
FORMS = (
    Barrel(diameter=40.0, length=30.0),
    Turned(profile=((0, 20), (-30, 20))),
    Turned(profile=((0, 25), (-30, 15))),
    Turned(profile=((5, 18), (-10, 22), (-25, 17))),
    GOBLET,
)


def sphere(radius, count=41, part=1.0):
    """Points of a sphere about the origin, from 60 degrees above its middle to 60 below, or a part of that."""
    angle = part * np.linspace(np.pi / 3, -np.pi / 3, count)
    return tuple(zip((radius * np.sin(angle)).tolist(), (radius * np.cos(angle)).tolist(), strict=True))


def wall_at(piece, z):
    """The wall under the row whose ray starts at z."""
    surface = piece.surface
    s = np.linspace(0.0, surface.length, 4001)
    near = np.interp(-np.atleast_1d(z), -surface.profile(s)[:, 1], s)
    return surface.wall(near)


def test_a_disc_is_seen_from_the_cutter_with_depth_behind_its_face():
    disc = Disc(diameter=70.0, thickness=8.0)
    assert disc.surface == Face(radius=35.0, thickness=8.0)
    assert disc.seen(np.array([[3.0, -4.0, -0.5]])).tolist() == [[3.0, -4.0, 0.5]]


@pytest.mark.parametrize(("bore", "wall"), [(0.0, 25.0), (42.0, 4.0), (49.5, 0.25)])
def test_the_wall_of_a_barrel_is_half_the_difference_of_its_diameters(bore, wall):
    surface = Barrel(diameter=50.0, length=60.0, bore=bore).surface
    s = np.array([0.0, 12.5, 60.0])
    assert surface.wall(s).tolist() == [wall] * 3
    assert surface.profile(s).tolist() == [[25.0, -at, 1.0, 0.0] for at in s]
    assert surface.straight
    assert surface.length == 60.0


def test_a_straight_turned_piece_is_a_barrel():
    turned, barrel = Turned(profile=((0, 20), (-30, 20)), hollow=((0, 12), (-30, 12))), Barrel(diameter=40, length=30, bore=24)
    s = np.linspace(0.0, 30.0, 31)
    assert turned.surface.profile(s) == pytest.approx(barrel.surface.profile(s), abs=1e-12)
    assert turned.surface.wall(s) == pytest.approx(barrel.surface.wall(s), abs=1e-12)
    assert turned.outline == pytest.approx(barrel.outline)
    points = np.array([[19.0, 0.0, -3.0], [0.0, 18.5, -7.0], [-19.5, 0.1, -11.0]])
    assert turned.seen(points) == pytest.approx(barrel.seen(points), abs=1e-9)


@pytest.mark.parametrize("lean_deg", [-50.0, -20.0, 0.0, 20.0, 50.0])
@pytest.mark.parametrize("across", [1.0, 8.0])
def test_the_wall_of_a_hollow_cone_is_its_thickness_along_the_normal(lean_deg, across):
    """Two cones a distance a apart along the radius, their sides at the angle t to the axis, stand a cos(t) apart."""
    slope = math.tan(math.radians(lean_deg))
    cone = [(z, 60.0 + z * slope) for z in (20.0, 0.0, -20.0, -40.0)]
    piece = Turned(profile=cone[1:3], hollow=[(z, r - across) for z, r in cone])
    s = np.linspace(0.0, piece.surface.length, 9)
    assert piece.surface.wall(s) == pytest.approx([across * math.cos(math.radians(lean_deg))] * 9)


def test_the_wall_between_two_spheres_is_the_difference_of_their_radii():
    """Concentric arcs; away from their ends the curves through their points, and the lines along them, keep to 2e-4 mm."""
    bowl = Turned(profile=sphere(25.0), hollow=sphere(22.0))
    assert wall_at(bowl, np.linspace(-15.0, 15.0, 31)) == pytest.approx([3.0] * 31, abs=2e-4)


def test_the_wall_of_solid_work_is_its_distance_from_the_axis_along_the_normal():
    """Along the normal, r / cos(t) on a cone whose side is at the angle t to the axis; the radius of a sphere."""
    assert wall_at(Turned(profile=sphere(25.0)), np.linspace(-15.0, 15.0, 31)) == pytest.approx([25.0] * 31, abs=2e-3)
    cone = Turned(profile=((0, 30), (-40, 10))).surface
    s = np.linspace(0.0, cone.length, 9)
    lean = math.atan(20 / 40)
    assert cone.wall(s) == pytest.approx(cone.profile(s)[:, 0] / math.cos(lean))


def test_a_hollow_that_ends_inside_is_closed_flat():
    """A ray from the side of the cone at z climbs towards the floor by the sine of the cone's angle for each mm."""
    cup = Turned(profile=((0, 30), (-40, 10)), hollow=((0, 18), (-20, 18)))
    climb = math.sin(math.atan(20 / 40))
    assert wall_at(cup, [-22.0, -24.0, -26.0]) == pytest.approx([2 / climb, 4 / climb, 6 / climb], rel=1e-5)
    assert wall_at(cup, -39.0) == pytest.approx(wall_at(Turned(profile=((0, 30), (-40, 10))), -39.0))


@pytest.mark.parametrize("hollow", [((3, 15), (-60, 15)), ((-60, 15), (-61, 15))])
def test_a_hollow_may_open_at_the_ends_but_not_extend_beyond_them(hollow):
    def make():
        return Turned(profile=((0, 20), (-40, 20)), hollow=hollow)

    if hollow[0][0] > -40:
        assert make().surface.wall(np.array([0.0, 20.0, 40.0])) == pytest.approx([5.0] * 3)
    else:
        with pytest.raises(SettingError, match="hollow=z -60 to -61: must be inside the work"):
            make()


@given(st.sampled_from(FORMS), numbers(0.0, 1.0), numbers(-10.0, 10.0), numbers(-2.0, 4.0))
@settings(max_examples=examples(60))
def test_a_point_at_a_depth_has_its_position_on_the_unrolled_side(piece, part, angle, depth):
    """Built from the surface's own point and normal; angle times the greatest radius, length along, depth square to it."""
    surface = piece.surface
    s = part * surface.length
    radius, z, across, along = surface.profile(np.array([s]))[0]
    away = radius - depth * across
    turn = np.linspace(0.0, angle, 40)
    points = np.stack([away * np.cos(turn), away * np.sin(turn), np.full(40, z - depth * along)], axis=-1)
    widest, top = piece.outline[1] / [math.pi, 1.0]
    assert piece.seen(points)[-1] == pytest.approx([widest * angle, top - s, depth], abs=1e-6)


@pytest.mark.parametrize("piece", FORMS)
@pytest.mark.parametrize("beyond", [0.5, 4.0])
def test_a_point_beyond_an_end_is_beyond_the_sheet_by_the_same_distance(piece, beyond):
    """Along the surface's own direction at its end."""
    surface = piece.surface
    for s, sign in ((0.0, 1.0), (surface.length, -1.0)):
        radius, z, across, along = surface.profile(np.array([s]))[0]
        point = np.array([[radius - sign * beyond * along, 0.0, z + sign * beyond * across]])
        seen = piece.seen(point)[0]
        assert seen[1] == pytest.approx(piece.outline[0, 1] - s + sign * beyond, abs=1e-6)
        assert seen[2] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("piece", FORMS)
def test_the_sheet_of_a_side_has_its_greatest_circumference_as_width_and_its_length_as_height(piece):
    surface = piece.surface
    assert isinstance(surface, Round)
    widest = surface.profile(np.linspace(0.0, surface.length, 4001))[:, 0].max()
    assert np.ptp(piece.outline, axis=0) == pytest.approx([2 * math.pi * widest, surface.length], rel=1e-5)


def test_the_settings_show_a_profile_in_the_requested_unit():
    """One inch is 25.4 mm (Federal Register, 30 June 1959)."""
    piece = Turned(profile=((0, 25.4), (-50.8, 12.7)))
    assert settings_of(piece) == [("profile", "(0, 25.4), (-50.8, 12.7) mm")]
    assert settings_of(piece, "inch") == [("profile", "(0, 1), (-2, 0.5) in")]


def turned(*profile, hollow=()):
    return Turned(profile=profile, hollow=hollow)


STRAIGHT = ((0, 20), (-40, 20))
WRONG = {
    "a disc of no size": (lambda: Disc(diameter=0.0, thickness=8.0), "diameter=0: must be above zero"),
    "a barrel without end": (lambda: Barrel(diameter=50.0, length=math.inf), "length=inf: must be above zero"),
    "a barrel of no number": (lambda: Barrel(diameter=math.nan, length=60.0), "diameter=nan: must be above zero"),
    "a bore as wide as the work": (
        lambda: Barrel(diameter=50.0, length=60.0, bore=50.0),
        "bore=50: must be zero or more and below the diameter, 50 mm",
    ),
    "a bore wider than the work": (lambda: Barrel(diameter=50.0, length=60.0, bore=51.0), "bore=51: must be zero or more and"),
    "a bore below zero": (lambda: Barrel(diameter=50.0, length=60.0, bore=-1.0), "bore=-1: must be zero or more and below"),
    "a bore in words": (lambda: Barrel(diameter=50.0, length=60.0, bore="1 in"), "bore='1 in': must be a plain number, in mm"),
    "a profile that is a number": (lambda: Turned(profile=3), "profile=3: must be pairs of plain numbers, in mm"),
    "a profile in words": (lambda: turned((0, "20"), (-1, 20)), "profile=((0, '20'), (-1, 20)): must be pairs of plain"),
    "a profile of triples": (lambda: turned((0, 20, 1), (-1, 20, 1)), "must be pairs of plain numbers, in mm"),
    "no profile": (lambda: Turned(profile=()), "profile=(): must be two points or more"),
    "one point": (lambda: turned((0, 20)), "profile=((0.0, 20.0),): must be two points or more"),
    "one point of a hollow": (
        lambda: turned(*STRAIGHT, hollow=((0, 10),)),
        "hollow=((0.0, 10.0),): must be two points or more",
    ),
    "far too many points": (
        lambda: turned(*((-k, 20) for k in range(2001))),
        "profile=2001 points: must be 2000 points or fewer",
    ),
    "a point of no number": (lambda: turned((0, 20), (-1, math.nan)), "profile=((0.0, 20.0), (-1.0, nan)): must be finite"),
    "a point without end": (lambda: turned((0, 20), (-math.inf, 20)), "profile=((0.0, 20.0), (-inf, 20.0)): must be finite"),
    "a profile that folds back": (
        lambda: turned((0, 20), (-10, 25), (-5, 20)),
        "profile[3]=(-5.0, 20.0): must be further towards the headstock than z -10; the profile folds back there",
    ),
    "a profile that goes straight in": (
        lambda: turned((0, 20), (0, 25), (-5, 20)),
        "profile[2]=(0.0, 25.0): must be further towards the headstock than z 0; the profile folds back there",
    ),
    "a profile away from the headstock": (lambda: turned((0, 20), (40, 20)), "profile[2]=(40.0, 20.0): must be further towards"),
    "a profile through the axis": (
        lambda: turned((0, 20), (-10, -1), (-20, 20)),
        "profile=((0.0, 20.0), (-10.0, -1.0), (-20.0, 20.0)): must be radii above zero; end the profile at a small radius",
    ),
    "a profile that ends in a point": (
        lambda: turned((0, 20), (-40, 0)),
        "must be radii above zero; end the profile at a small radius",
    ),
    "a curve that folds back between its points": (
        lambda: turned((0, 20), (-0.1, 1), (-40, 20)),
        "profile=smooth curve through the points: must be a curve that neither folds back nor crosses the axis; add points",
    ),
    "a curve that crosses the axis between its points": (
        lambda: turned((0, 30), (-10, 2), (-30, 2), (-40, 30)),
        "profile=smooth curve through the points: must be a curve that neither folds back nor crosses the axis; add points",
    ),
    "a hollow that folds back": (
        lambda: turned(*STRAIGHT, hollow=((0, 10), (-20, 12), (-10, 10))),
        "hollow[3]=(-10.0, 10.0): must be further towards the headstock than z -20; the profile folds back there",
    ),
    "a hollow through the axis": (
        lambda: turned(*STRAIGHT, hollow=((0, 10), (-20, -1))),
        "hollow=((0.0, 10.0), (-20.0, -1.0)): must be radii of zero or more",
    ),
    "a hollow wider than the work": (
        lambda: turned(*STRAIGHT, hollow=((0, 25), (-40, 25))),
        "hollow=radius 25: must be below the work's outer radius, 20 mm at z 0 mm; make the hollow smaller",
    ),
    "a hollow as wide as the work": (
        lambda: turned(*STRAIGHT, hollow=STRAIGHT),
        "hollow=radius 20: must be below the work's outer radius, 20 mm at z 0 mm; make the hollow smaller",
    ),
    "a hollow that comes out in one place": (
        lambda: turned(*STRAIGHT, hollow=((0, 15), (-20, 21), (-40, 15))),
        "must be below the work's outer radius, 20 mm at z -",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_invalid_work_is_refused_in_one_line(case):
    make, message = WRONG[case]
    with pytest.raises(SettingError) as told:
        make()
    assert message in str(told.value)
    assert "\n" not in str(told.value)
