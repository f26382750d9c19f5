"""A cutter's outline: its widths and heights against the trigonometry of the shapes that it is ground to."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.geometry.cutter_edge import ArcSegment, Edge, LineSegment
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from tests.strategies import numbers

angles = st.one_of(st.sampled_from([1.0, 60.0, 90.0, 120.0, 179.0]), numbers(0.5, 179.5))
sizes = numbers(0.05, 20.0)
parts_of = st.one_of(st.just(0.0), st.just(1.0), numbers(0.0, 1.0))


@st.composite
def round_noses(draw):
    """Round-nosed cutters from one that is all nose to one that is nearly all flank."""
    angle, radius = draw(angles), draw(sizes)
    least = 2 * radius * math.cos(math.radians(angle) / 2)
    return RoundNosed(radius=radius, angle_deg=angle, width=least + draw(st.one_of(st.just(0.0), numbers(0.01, 10.0))))


@st.composite
def profiles(draw):
    """Profiles of up to six straight parts, level ones among them."""
    steps = draw(st.lists(st.tuples(numbers(0.05, 3.0), st.one_of(st.just(0.0), numbers(0.0, 5.0))), min_size=1, max_size=6))
    return Profiled(points=tuple(map(tuple, np.concatenate([[[0.0, 0.0]], np.cumsum(steps, axis=0)]).tolist())))


cutters = st.one_of(
    st.builds(Vee, angle_deg=angles, width=sizes),
    st.builds(Ball, radius=sizes),
    st.builds(FlatEnd, width=sizes),
    round_noses(),
    profiles(),
)


@given(angles, sizes, parts_of)
def test_a_vee_is_twice_the_depth_times_the_tangent_of_half_its_angle_wide(angle, width, part):
    """Trigonometry of the right-angled triangle; no wider than its shoulders."""
    half = math.tan(math.radians(angle) / 2)
    edge = Vee(angle_deg=angle, width=width).edge
    assert edge.height == pytest.approx(width / 2 / half)
    assert edge.width_at(part * edge.height) == pytest.approx(2 * part * edge.height * half)
    assert edge.width_at(2 * edge.height) == width == 2 * edge.half_width


@given(sizes, parts_of)
def test_a_ball_cuts_the_chord_of_its_circle(radius, part):
    """Chord at sagitta d of a circle of radius r: 2 sqrt(2 r d - d^2) (Euclid, *Elements*, III.35).

    A depth known to 1e-16 of the radius has a chord known to 3e-8 of it at the tip.
    """
    depth = part * radius
    edge = Ball(radius=radius).edge
    assert edge.width_at(depth) == pytest.approx(2 * math.sqrt(depth * (2 * radius - depth)), rel=1e-9, abs=5e-8 * radius)
    assert edge.width_at(3 * radius) == 2 * radius
    assert edge.height == radius


@given(sizes, numbers(0.0, 5.0))
def test_a_flat_end_has_the_same_width_at_every_depth(width, depth):
    edge = FlatEnd(width=width).edge
    assert edge.width_at(depth) == width
    assert edge.height == 0.0


@given(round_noses(), numbers(0.0, 1.2))
def test_a_round_nose_is_a_ball_up_to_its_tangent_flanks_and_a_vee_above(cutter, part):
    """A flank at half the angle a to the middle line touches a circle of radius r at r cos(a/2) across, r (1 - sin(a/2)) up."""
    half = math.radians(cutter.angle_deg) / 2
    touch, low = cutter.radius * math.cos(half), cutter.radius * (1 - math.sin(half))
    edge = cutter.edge
    height = low + (cutter.width / 2 - touch) / math.tan(half)
    assert edge.height == pytest.approx(height, rel=1e-9, abs=1e-9)
    depth = part * height
    if depth <= low:
        wide = 2 * math.sqrt(2 * cutter.radius * depth - depth**2)
    else:
        wide = min(2 * (touch + (depth - low) * math.tan(half)), cutter.width)
    assert edge.width_at(depth) == pytest.approx(wide, rel=1e-7, abs=5e-8 * cutter.radius)


def test_a_round_nose_runs_into_its_flank_without_a_corner():
    """Slope of a circle at x across: x / sqrt(r^2 - x^2); of a flank: the cotangent of half the angle."""
    nose, flank = RoundNosed(radius=0.5, angle_deg=60.0, width=3.0).edge.parts
    assert isinstance(nose, ArcSegment)
    assert isinstance(flank, LineSegment)
    assert nose.far / math.sqrt(nose.radius**2 - nose.far**2) == pytest.approx(flank.slope) == pytest.approx(math.sqrt(3.0))


def test_a_round_nose_without_an_angle_is_a_ball():
    assert RoundNosed(radius=0.7, angle_deg=0.0, width=1.4).edge == Ball(radius=0.7).edge


@given(profiles(), numbers(0.0, 1.0))
def test_a_profile_runs_straight_from_point_to_point(cutter, part):
    across, up = np.array(cutter.points).T
    r = part * across[-1]
    assert cutter.edge.at(np.array([r, -r])) == pytest.approx([np.interp(r, across, up)] * 2, abs=1e-9)


@given(cutters, numbers(0.0, 1.0))
def test_edge_height_is_the_inverse_of_edge_width(cutter, part):
    """No higher: level parts are as wide as their outer end. Not so near a ball's side that its slope outdoes the rounding."""
    edge = cutter.edge
    depth = part * edge.height
    reach = edge.width_at(depth) / 2
    assert 0 <= reach <= edge.half_width
    assert edge.at(np.array([reach * (1 - 1e-7)]))[0] <= depth + 1e-9
    if reach < edge.half_width:
        assert edge.at(np.array([reach + 1e-3]))[0] > depth


@given(cutters)
def test_outside_a_cutter_there_is_no_edge_and_above_its_tip_no_groove(cutter):
    edge = cutter.edge
    assert edge.at(np.array([edge.half_width * (1 + 1e-9), 1e6, -1e6])).tolist() == [np.inf] * 3
    assert edge.at(np.zeros(1)).tolist() == [0.0]
    assert edge.width_at(-1e-12) == 0.0
    assert cutter.width_at(0.3) == edge.width_at(0.3)


@given(cutters, st.sampled_from([1e-5, 1e-3, 0.1, 50.0]))
def test_straight_segments_lie_inside_the_edge_within_the_tolerance(cutter, within):
    """Of a chord, no point is further inside its circle than the sagitta."""
    edge, chords = cutter.edge, cutter.edge.chords(within)
    straight = Edge(chords)
    assert straight.half_width == edge.half_width
    assert straight.height == pytest.approx(edge.height, abs=1e-9)
    r = np.linspace(0.0, edge.half_width, 501)
    assert (straight.at(r) >= edge.at(r) - 1e-9).all()
    for part in edge.parts:
        here = [each for each in chords if part.near <= each.near and each.far <= part.far]
        if isinstance(part, ArcSegment):
            middles = [(np.array((each.near + each.far) / 2), each) for each in here]
            short = [part.radius - math.hypot(r, part.centre - each.at(r)) for r, each in middles]
            assert min(short) >= -1e-9
            assert max(short) <= within + 1e-9
        else:
            assert here == [part]


BAD = {
    "nothing": ((), "one part or more"),
    "a start above the tip": ((LineSegment(0.0, 1.0, 0.5, 1.0),), r"begins at \(0, 0\)"),
    "a start beside the tip": ((LineSegment(0.1, 1.0, 0.0, 1.0),), r"begins at \(0, 0\)"),
    "a gap across": ((LineSegment(0.0, 1.0, 0.0, 1.0), LineSegment(1.1, 2.0, 1.0, 1.0)), r"begins at \(1, 1\)"),
    "a step up": ((LineSegment(0.0, 1.0, 0.0, 1.0), LineSegment(1.0, 2.0, 1.5, 1.0)), r"begins at \(1, 1\)"),
    "a fall": ((LineSegment(0.0, 1.0, 0.0, 1.0), LineSegment(1.0, 2.0, 1.0, -0.5)), "outwards and never descends"),
    "no width": ((LineSegment(0.0, 0.0, 0.0, 1.0),), "outwards and never descends"),
    "no end": ((LineSegment(0.0, math.inf, 0.0, 1.0),), "outwards and never descends"),
    "no number": ((LineSegment(0.0, 1.0, math.nan, 1.0),), r"begins at \(0, 0\)"),
    "an arc off the tip": ((ArcSegment(0.0, 1.0, 2.0, 1.0),), r"begins at \(0, 0\)"),
    "an arc beyond its circle": ((ArcSegment(0.0, 1.5, 1.0, 1.0),), "no further out than its radius"),
}


@pytest.mark.parametrize("case", BAD)
def test_an_edge_that_no_cutter_has_is_refused(case):
    parts, message = BAD[case]
    with pytest.raises(SettingError, match=message) as told:
        Edge(parts)
    assert "\n" not in str(told.value)
