"""A template that leads the slides: its way, what it may not be, and what a pass along it does."""

from __future__ import annotations

import math
from fractions import Fraction

import ezdxf
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.interpolate import CubicSpline

from lobework.errors import SettingError
from lobework.piece import Barrel, Disc, Turned
from lobework.slide import At
from lobework.template import Template, read_template, template_of
from tests.strategies import numbers

VASE = ((0.0, 18.0), (-12.25, 21.5), (-30.0, 25.125), (-61.0, 14.0))
PARTS = np.linspace(0.0, 1.0, 401)


@st.composite
def ways(draw):
    """Return (z, x) points that go one way along z, up or down."""
    steps = draw(st.lists(numbers(0.5, 20.0), min_size=2, max_size=9))
    z = np.cumsum([draw(numbers(-30.0, 30.0)), *steps]) * draw(st.sampled_from([-1.0, 1.0]))
    return tuple((float(a), draw(numbers(2.0, 60.0))) for a in z)


@given(points=ways(), at=st.builds(At, x=numbers(-5, 5), y=numbers(-1, 1), z=numbers(-5, 5), depth=numbers(0, 2)))
def test_it_goes_evenly_by_length_through_every_point_and_depth_is_cut_in_by_the_cross_slide(points, at):
    template = Template(points=points)
    template.require_one_way()
    corners = np.concatenate([[0.0], template.corners(), [1.0]])
    tips = template.tip(at, corners)
    assert_allclose(tips[:, 2] - at.z, [z for z, _ in points], rtol=0, atol=1e-9)
    assert_allclose(tips[:, 0] - at.x + at.depth, [x for _, x in points], rtol=0, atol=1e-9)
    assert (tips[:, 1] == at.y).all()
    chords = np.hypot(*np.diff(np.array(points), axis=0).T)
    assert_allclose(np.diff(corners), chords / chords.sum(), rtol=1e-9, atol=1e-12)
    assert_allclose(template.tip(at, (corners[1:] + corners[:-1]) / 2), (tips[1:] + tips[:-1]) / 2, rtol=0, atol=1e-9)


@settings(max_examples=12)
@given(points=ways())
def test_a_smooth_template_is_the_natural_spline_over_chord_length_evenly_by_its_own_length(points):
    """By scipy's spline."""
    template = Template(points=points, smooth=True)
    try:
        template.require_one_way()
    except SettingError:
        assume(False)
    places = np.array(points)
    chords = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    spline = CubicSpline(chords, places, bc_type="natural")
    fine = spline(np.linspace(0.0, chords[-1], 20_001))
    lengths = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))])
    expected = [np.interp(PARTS * lengths[-1], lengths, column) for column in fine.T]
    tips = template.tip(At(), PARTS)
    assert_allclose(tips[:, [2, 0]].T, expected, rtol=0, atol=1e-4)


@settings(max_examples=40)
@given(points=ways(), first=numbers(0.0, 1.0), last=numbers(0.0, 1.0), smooth=st.booleans())
def test_from_and_to_take_a_part_of_it_either_way(points, first, last, smooth):
    begin, end = points[0][0], points[-1][0]
    first, last = (begin + part * (end - begin) for part in (first, last))
    template = Template(points=points, smooth=smooth, start=first, end=last)
    if abs(first - last) > 1e-3:
        tips = template.tip(At(), np.array([0.0, 1.0]))
        assert_allclose(tips[:, 2], [first, last], rtol=0, atol=1e-9)
        if not smooth:
            by_z = np.array(sorted(points)).T
            assert_allclose(template.tip(At(), PARTS)[:, 0], np.interp(template.tip(At(), PARTS)[:, 2], *by_z), rtol=0, atol=1e-9)


def test_on_a_face_it_goes_one_way_across_and_depth_goes_in_along_the_spindle():
    bowl = Template(points=((0.0, 40.0), (-6.0, 20.0), (-6.0, 5.0)), end=12.5)
    bowl.require_one_way("x")
    assert_allclose(bowl.tip(At(depth=0.5), np.array([0.0, 1.0]), "z"), [[40, 0, -0.5], [12.5, 0, -6.5]], rtol=0, atol=1e-12)
    with pytest.raises(SettingError, match=r"^points\[3\]=\(-6.0, 5.0\): must be below z -6"):
        bowl.require_one_way()


def test_the_side_of_the_work_is_followed_as_it_is_carved():
    """A turned piece's own surface is its profile; a barrel's is a cylinder."""
    vase = Turned(profile=VASE)
    tips = template_of(vase).tip(At(), PARTS)
    side = vase.surface.profile(PARTS * vase.surface.length)
    assert_allclose(tips[:, [0, 2]], side[:, :2], rtol=0, atol=1e-9)
    barrel = template_of(Barrel(diameter=50, length=60), start=-10, end=-40).tip(At(depth=0.5), PARTS)
    assert_allclose(barrel[:, 0], 24.5, rtol=0, atol=1e-12)
    assert_allclose(barrel[[0, -1], 2], [-10, -40], rtol=0, atol=1e-9)
    with pytest.raises(SettingError) as refused:
        template_of(Disc(diameter=50, thickness=5))
    assert str(refused.value) == (
        "template='piece': must be points or a file where the work has no side; a disc is cut on its face"
    )  # fmt: skip


SECTION = "M 0 61 L 14 61 L 25.125 30 L 21.5 12.25 L 18 0 L 15 0 L 10 55 L 0 55"


@pytest.fixture
def section(tmp_path):
    path = tmp_path / "vase.svg"
    drawn = f'<path id="section" d="{SECTION}"/>'
    size = 'width="50mm" height="70mm" viewBox="0 0 50 70"'
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{drawn}</svg>', encoding="utf-8")
    return path


def test_of_the_section_of_a_hollow_vase_the_outer_side_is_followed(section):
    template = read_template(section, start=-2.0, end=-55.0)
    template.require_one_way()
    assert template.points == VASE[::-1]
    assert template.source == "vase.svg, section"
    assert_allclose(template.tip(At(), np.array([0.0, 1.0]))[:, 2], [-2, -55], rtol=0, atol=1e-9)
    inner = read_template(section, start=-2.0, end=-54.9999, unit=Fraction(1))
    assert inner.points == VASE[::-1]


def test_a_section_of_which_no_part_is_said_folds_back(section):
    with pytest.raises(SettingError, match=r"^points\[2\]=\(-61.0, 14.0\): must be above z -61"):
        read_template(section).require_one_way()


def test_a_drawing_that_lies_has_its_axis_to_the_right(tmp_path):
    path = tmp_path / "vase.dxf"
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_lwpolyline(VASE)
    document.saveas(path)
    assert read_template(path, axis="right").points == VASE
    assert read_template(path, axis="up").points == tuple((x, z) for z, x in VASE)


@pytest.mark.parametrize(
    ("settings_", "says"),
    [
        ({"points": ((0, 20),)}, "points=((0.0, 20.0),): must be two points or more"),
        ({"points": ((0, 20), (-5, math.nan))}, "points[2]=(-5.0, nan): must be finite numbers, within a kilometre"),
        ({"points": ((0, 20), (-5, 1e7))}, "points[2]=(-5.0, 10000000.0): must be finite numbers, within a kilometre"),
        (
            {"points": ((0, 20), (-5, 21), (-5, 21))},
            "points[3]=(-5.0, 21.0): must be another place than the point before it; leave one out",
        ),
        (
            {"points": ((0, 20), (-5, 21), (-4, 22), (-9, 20))},
            "points[3]=(-4.0, 22.0): must be below z -5, where the point before it is; the template folds back there",
        ),
        (
            {"points": ((-9, 20), (-5, 21), (-5, 22), (0, 20))},
            "points[3]=(-5.0, 22.0): must be above z -5, where the point before it is; the template folds back there",
        ),
        (
            {"points": ((0, 10), (-1, 40), (-2, 10), (-20, 10)), "smooth": True},
            "points=its smooth curve between points 2 and 3: must be one way along z; it folds back there; add points",
        ),
        ({"points": VASE, "start": 3.0}, "from=3: must be from -61 to 0 mm, where the template runs along z"),
        ({"points": VASE, "end": -70.0}, "to=-70: must be from -61 to 0 mm, where the template runs along z"),
        ({"points": VASE, "start": -5.0, "end": -5.0}, "to=-5: must be another place than from, -5.0"),
        ({"points": VASE, "end": math.nan}, "to=nan: must be a plain number, in mm"),
        ({"points": VASE, "end": "4"}, "to=4: must be a plain number, in mm"),
        ({"points": [(0, "20"), (1, 2)]}, "points=[(0, '20'), (1, 2)]: must be pairs of plain numbers, in mm"),
        ({"points": [(-0.001 * k, 20) for k in range(20_001)]}, "points=20001 points: must be 20000 points or fewer"),
    ],
)
def test_what_cannot_lead_a_slide_is_refused(settings_, says):
    with pytest.raises(SettingError) as refused:
        Template(**settings_).require_one_way()
    assert str(refused.value) == says
