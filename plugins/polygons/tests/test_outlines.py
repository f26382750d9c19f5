"""The outlines of the cams compared with published formulas for polygons and figures of constant width."""

from itertools import pairwise
from math import cos, inf, pi, sin, sqrt, tan

import numpy as np
import pytest
from lobework_polygons import Arched, ConstantWidth, Polygon
from numpy.testing import assert_allclose

from lobework.plugins import FlatFollower, Knife, Roller, SettingError, largest_roller, lift_of

ROUND = np.linspace(0.0, 2 * pi, 1441)


def outline(cam, psi):
    return cam.base_radius + cam.rise_at(psi)


def length_and_area(cam):
    """Return the length and the area of the outline, by Gauss quadrature between neighbouring corners."""
    starts = np.sort(np.asarray(cam.corners))
    edges = np.append(starts, starts[0] + 2 * pi / cam.lobes)
    nodes, weights = np.polynomial.legendre.leggauss(80)
    length = area = 0.0
    for a, b in pairwise(edges):
        psi = (a + b) / 2 + (b - a) / 2 * nodes
        radius, slope = outline(cam, psi), cam.slope_at(psi)
        length += (b - a) / 2 * (weights * np.hypot(radius, slope)).sum()
        area += (b - a) / 4 * (weights * radius**2).sum()
    return cam.lobes * length, cam.lobes * area


@pytest.mark.parametrize("sides", [3, 4, 5, 6, 12, 100])
@pytest.mark.parametrize("corner", [0.0, 0.5, 7.0, 29.9])
def test_length_and_area_of_a_rounded_polygon(sides, corner):
    """The polygon through the centres of the corner arcs has the length 2 n a tan(pi / n) and the area n a^2 tan(pi / n). A band
    of width c round it adds 2 pi c to the length, and the length times c plus pi c^2 to the area (J. Steiner, from memory).
    """
    a = 30.0 - corner
    length, area = 2 * sides * a * tan(pi / sides), sides * a**2 * tan(pi / sides)
    expected = length + 2 * pi * corner, area + length * corner + pi * corner**2
    assert length_and_area(Polygon(sides=sides, base_radius=30.0, corner=corner)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("sides", [3, 4, 6, 11])
def test_corners_of_a_polygon_lie_on_its_circumscribed_circle(sides):
    """Circumradius = apothem / cos(pi / n)."""
    cam = Polygon(sides=sides, base_radius=30.0)
    assert outline(cam, np.array([0.0, 2 * pi / sides])) == pytest.approx(30 / cos(pi / sides), rel=1e-15)
    assert (outline(cam, ROUND).max(), outline(cam, ROUND).min()) == pytest.approx((30 / cos(pi / sides), 30), rel=1e-4)


@pytest.mark.parametrize("sides", [3, 5, 7, 21])
@pytest.mark.parametrize("corner", [0.0, 2.0, 20.0, 39.0])
def test_a_figure_of_constant_width_has_the_perimeter_of_a_circle(sides, corner):
    """E. Barbier, J. math. pures appl. 5 (1860), 273-286: pi times the width, whatever the figure (from memory)."""
    assert length_and_area(ConstantWidth(sides=sides, width=80.0, corner=corner))[0] == pytest.approx(80 * pi, rel=1e-12)


def test_area_of_the_triangle_of_constant_width():
    """Reuleaux's triangle: (pi - sqrt 3) w^2 / 2, the least of all figures of the width w (Blaschke, Lebesgue; from memory)."""
    assert length_and_area(ConstantWidth(sides=3, width=80.0))[1] == pytest.approx((pi - sqrt(3)) / 2 * 80**2, rel=1e-12)


@pytest.mark.parametrize("sides", [3, 5, 9])
@pytest.mark.parametrize("corner", [0.0, 6.0, 36.0])
def test_two_opposite_flats_are_one_width_apart_at_every_angle(sides, corner):
    lift = lift_of(ConstantWidth(sides=sides, width=80.0, corner=corner), FlatFollower())
    apart = lift.curve.at(ROUND) + lift.curve.at(ROUND + pi) + 2 * lift.rest
    assert_allclose(apart, 80.0, rtol=0, atol=1e-6)
    assert not lift.bridges


def test_two_opposite_flats_on_a_polygon_have_no_constant_distance():
    lift = lift_of(Polygon(sides=5, base_radius=40.0), FlatFollower())
    assert np.ptp(lift.curve.at(ROUND) + lift.curve.at(ROUND + pi)) > 1


@pytest.mark.parametrize("sides", [3, 4, 6])
@pytest.mark.parametrize("corner", [0.0, 5.0])
def test_a_flat_rides_from_corner_to_corner_of_a_polygon(sides, corner):
    """Its reach is the projection of the corner arc's centre on its travel, plus the radius of the arc."""
    cam = Polygon(sides=sides, base_radius=30.0, corner=corner)
    lift = lift_of(cam, FlatFollower())
    away = ROUND - 2 * pi / sides * np.round(ROUND * sides / (2 * pi))
    expected = (30 - corner) / cos(pi / sides) * np.cos(away) + corner
    assert_allclose(lift.curve.at(ROUND) + lift.rest, expected, rtol=0, atol=1e-6)


GROWN = [
    (Polygon(sides=4, base_radius=30.0), Polygon(sides=4, base_radius=34.0, corner=4.0)),
    (Polygon(sides=5, base_radius=30.0, corner=6.0), Polygon(sides=5, base_radius=34.0, corner=10.0)),
    (ConstantWidth(sides=3, width=70.0), ConstantWidth(sides=3, width=78.0, corner=4.0)),
    (ConstantWidth(sides=5, width=70.0, corner=3.0), ConstantWidth(sides=5, width=78.0, corner=7.0)),
]


@pytest.mark.parametrize(("cam", "grown"), GROWN)
def test_the_centre_of_a_roller_follows_the_outline_offset_by_its_radius(cam, grown):
    """An offset curve of arcs and straight lines consists of arcs about the same centres and of straight lines."""
    lift = lift_of(cam, Roller(4.0))
    assert_allclose(lift.curve.at(ROUND) + lift.rest, outline(grown, ROUND), rtol=0, atol=1e-6)


@pytest.mark.parametrize("cam", [pair[0] for pair in GROWN])
def test_a_knife_follows_the_outline(cam):
    lift = lift_of(cam, Knife())
    assert_allclose(lift.curve.at(ROUND) + lift.rest, outline(cam, ROUND), rtol=0, atol=1e-6)


@pytest.mark.parametrize("bow", [-8.0, -0.5, 0.5, 4.0])
@pytest.mark.parametrize("corner", [0.0, 3.0])
def test_an_arched_side_is_the_arc_of_its_chord_and_bow(bow, corner):
    """Every point of a side is at one radius from one centre; without rounding the side runs from corner to corner."""
    cam = Arched(sides=5, base_radius=45.0, bow=bow, corner=corner)
    half = (45 - bow) * tan(pi / 5)
    radius = (half**2 + bow**2) / (2 * abs(bow))
    assert abs(cam.arc) == pytest.approx(radius, rel=1e-14)
    first, last = cam.corners if len(cam.corners) == 2 else (0.0, 2 * pi / 5)
    psi = np.linspace(first, last, 301)
    points = outline(cam, psi) * np.exp(1j * (psi - pi / 5))
    assert_allclose(np.abs(points - (45.0 - cam.arc)), radius, rtol=1e-12)
    if not corner:
        assert points[0] == pytest.approx((45 - bow) - 1j * half, abs=1e-12)


@pytest.mark.parametrize("bow", [-8.0, 4.0])
def test_a_rounded_corner_runs_smoothly_into_its_sides(bow):
    cam = Arched(sides=5, base_radius=45.0, bow=bow, corner=3.0)
    for at in cam.corners:
        before, after = np.array([at - 1e-9]), np.array([at + 1e-9])
        assert cam.slope_at(before) == pytest.approx(cam.slope_at(after), abs=1e-5)
        assert cam.rise_at(before) == pytest.approx(cam.rise_at(after), abs=1e-6)


def test_the_largest_roller_for_a_hollow_side_has_the_radius_of_its_arc():
    cam = Arched(sides=4, base_radius=45.0, bow=-3.0)
    assert largest_roller(cam) == pytest.approx(-cam.arc, rel=1e-3)
    assert lift_of(cam, Roller(-0.98 * cam.arc)).bridges == ()
    assert lift_of(cam, Roller(-1.05 * cam.arc)).bridges
    assert largest_roller(Arched(sides=4, base_radius=45.0, bow=3.0)) == inf


def test_the_bounds_of_the_bow_give_a_round_cam_and_a_vertical_flank():
    base, half = 40.0, pi / 3
    assert_allclose(outline(Arched(sides=3, base_radius=base, bow=base * (1 - cos(half))), ROUND), base, rtol=1e-14)
    upright = Arched(sides=3, base_radius=base, bow=-base * sin(half))
    assert abs(upright.slope_at(np.array([1e-12]))[0]) > 1e4


@pytest.mark.parametrize("bow", [1e-9, -1e-9, 0.0])
def test_an_almost_straight_side_is_as_exact_as_a_straight_one(bow):
    cam, flat = (each(sides=6, base_radius=40.0, corner=5.0, **more) for each, more in ((Arched, {"bow": bow}), (Polygon, {})))
    assert_allclose(cam.rise_at(ROUND), flat.rise_at(ROUND), rtol=0, atol=2e-9)
    assert_allclose(cam.slope_at(ROUND), flat.slope_at(ROUND), rtol=0, atol=1e-7)


@pytest.mark.parametrize(
    "cam",
    [
        Polygon(sides=5, base_radius=40.0, corner=40.0),
        Arched(sides=5, base_radius=40.0, bow=-3.0, corner=40.0),
        Arched(sides=5, base_radius=40.0, bow=3.0, corner=40.0),
        ConstantWidth(sides=5, width=80.0, corner=40.0),
    ],
)
def test_the_largest_corner_radius_gives_a_round_disc(cam):
    assert_allclose(outline(cam, ROUND), 40.0, rtol=1e-12)
    assert cam.rise == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("sides", [2, 0, -3, 2.5, 4.0, True, 1001, "six"])
@pytest.mark.parametrize("shape", [Polygon, Arched, ConstantWidth])
def test_sides_are_a_whole_number(sides, shape):
    size = {"width": 80.0} if shape is ConstantWidth else {"base_radius": 40.0}
    with pytest.raises(SettingError, match=r"^sides="):
        shape(sides=sides, **size, **({"bow": 1.0} if shape is Arched else {}))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: ConstantWidth(sides=4, width=80.0), "sides=4: must be an odd number from 3 to 1000"),
        (lambda: ConstantWidth(sides=3, width=80.0, corner=41.0), "corner=41: must be from 0 to half the width, 40"),
        (lambda: ConstantWidth(sides=3, width=-1.0), "width=-1: must be above zero"),
        (lambda: Polygon(sides=4, base_radius=30.0, corner=31.0), "corner=31: must be from 0 to the base radius, 30"),
        (lambda: Polygon(sides=4, base_radius=30.0, corner=-1.0), "corner=-1: must be from 0 to the base radius, 30"),
        (lambda: Polygon(sides=4, base_radius=0.0), "base_radius=0: must be above zero"),
        (
            lambda: Arched(sides=3, base_radius=40.0, bow=21.0),
            "bow=21: must be from -34.641, where a hollow overhangs, to 20, where the cam is round",
        ),
        (
            lambda: Arched(sides=3, base_radius=40.0, bow=-35.0),
            "bow=-35: must be from -34.641, where a hollow overhangs, to 20, where the cam is round",
        ),
    ],
)
def test_invalid_settings_are_refused_in_one_line(make, message):
    with pytest.raises(SettingError) as refused:
        make()
    assert str(refused.value) == message


def test_numpy_numbers_are_stored_as_python_numbers():
    assert repr(Polygon(sides=np.int64(4), base_radius=np.float32(30))) == repr(Polygon(sides=4, base_radius=30.0))
