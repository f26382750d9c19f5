"""A template that leads the slides: its way, what it may not be, and what a pass along it does."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import ezdxf
import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import quad
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from lobework.errors import SettingError
from lobework.geometry.profile import Meridian
from lobework.jobs.job import Job
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass, cuts_of
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.holder import CuttingFrame, DrillingSpindle
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import Approach, At, SlideArc
from lobework.parts.template import Template, read_template, template_of
from tests.properties.test_path_laws import away_from_chord
from tests.search import examples
from tests.strategies import numbers, waves
from tests.targets import test_rs274 as on_a_face

VASE = ((0.0, 18.0), (-12.25, 21.5), (-30.0, 25.125), (-61.0, 14.0))
interpreter = on_a_face.interpreter
PARTS = np.linspace(0.0, 1.0, 401)


@st.composite
def ways(draw):
    """Return (z, x) points that go one way along z, up or down."""
    steps = draw(st.lists(numbers(0.5, 20.0), min_size=2, max_size=9))
    z = np.cumsum([draw(numbers(-30.0, 30.0)), *steps]) * draw(st.sampled_from([-1.0, 1.0]))
    return tuple((float(a), draw(numbers(2.0, 60.0))) for a in z)


@settings(max_examples=examples(30))
@given(points=ways(), at=st.builds(At, x=numbers(-5, 5), y=numbers(-1, 1), z=numbers(-5, 5), depth=numbers(0, 2)))
def test_the_tip_passes_every_point_evenly_by_length_and_depth_is_along_the_cross_slide(points, at):
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


def test_a_smooth_curve_that_reverses_slightly_is_refused():
    """By 0.003 mm, between places that were looked at."""
    back = Template(points=((-19.178, 2.0), (-19.678, 60.0), (-39.678, 2.0), (-40.178, 2.0)), smooth=True)
    with pytest.raises(SettingError, match=r"^points=smooth curve between points 2 and 3: must be monotonic along z"):
        back.require_one_way()
    with pytest.raises(SettingError, match=r"folds back"):
        Turned(profile=back.points)


@settings(max_examples=examples(60))
@given(points=ways(), axis=st.sampled_from([0, 1]), way=st.sampled_from([-1.0, 1.0]))
def test_the_least_progress_is_the_minimum_of_the_derivative(points, axis, way):
    """By scipy's spline, at its ends and where its second derivative is zero."""
    places = np.array(points)
    chords = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    slope = CubicSpline(chords, places[:, axis], bc_type="natural").derivative()
    turns = slope.derivative().roots(extrapolate=False)
    turns = turns[np.isfinite(turns)]
    least = [way * slope(np.array([a, b, *turns[(a < turns) & (turns < b)]])) for a, b in pairwise(chords)]
    assert_allclose(Meridian(places).least_progress(axis, way), [each.min() for each in least], rtol=1e-9, atol=1e-9)


SHARP = ((0.0, 60.0), (1.0, 60.0), (1.5, 60.0), (2.5, 60.0), (22.5, 2.0), (23.5, 60.0), (24.0, 39.57))
"""The way nearly stands where it bends most, which made its length 0.0006 mm wrong."""


@settings(max_examples=examples(12), deadline=None)
@given(points=ways())
@example(points=SHARP)
def test_a_smooth_template_is_the_natural_spline_over_chord_length_evenly_by_its_own_length(points):
    """By scipy's spline and its adaptive integral, from each place to the next, found by its z, which goes one way."""
    template = Template(points=points, smooth=True)
    try:
        template.require_one_way()
    except SettingError:
        assume(False)
    places = np.array(points)
    chords = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])
    spline = CubicSpline(chords, places, bc_type="natural")
    slope = spline.derivative()
    tips = template.tip(At(), PARTS[::8])
    off = [lambda t, z=z: float(spline(t)[0]) - z for z in tips[1:-1, 2]]
    t = np.array([0.0, *(brentq(each, 0.0, chords[-1], xtol=1e-14, rtol=1e-15) for each in off), chords[-1]])
    assert_allclose(tips[:, [2, 0]], spline(t), rtol=0, atol=1e-8)
    parts = np.array(
        [quad(lambda t: np.hypot(*slope(t)), a, b, epsabs=1e-11, epsrel=1e-12, limit=200)[0] for a, b in pairwise(t)]
    )
    assert_allclose(parts, parts.mean(), rtol=0, atol=1e-8)


@settings(max_examples=examples(20), deadline=None)
@given(points=ways(), first=numbers(0.0, 1.0), last=numbers(0.0, 1.0), smooth=st.booleans())
def test_from_and_to_select_a_part_in_either_direction(points, first, last, smooth):
    begin, end = points[0][0], points[-1][0]
    first, last = (begin + part * (end - begin) for part in (first, last))
    template = Template(points=points, smooth=smooth, start=first, end=last)
    if abs(first - last) > 1e-3:
        tips = template.tip(At(), np.array([0.0, 1.0]))
        assert_allclose(tips[:, 2], [first, last], rtol=0, atol=1e-9)
        if not smooth:
            by_z = np.array(sorted(points)).T
            assert_allclose(template.tip(At(), PARTS)[:, 0], np.interp(template.tip(At(), PARTS)[:, 2], *by_z), rtol=0, atol=1e-9)


def test_on_a_face_the_template_is_monotonic_in_x_and_depth_is_along_the_spindle():
    bowl = Template(points=((0.0, 40.0), (-6.0, 20.0), (-6.0, 5.0)), end=12.5)
    bowl.require_one_way("x")
    assert_allclose(bowl.tip(At(depth=0.5), np.array([0.0, 1.0]), "z"), [[40, 0, -0.5], [12.5, 0, -6.5]], rtol=0, atol=1e-12)
    with pytest.raises(SettingError, match=r"^points\[3\]=\(-6, 5\) mm: must be below z -6 mm"):
        bowl.require_one_way()


def test_the_template_of_a_side_is_its_carved_surface():
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
    assert str(refused.value) == "work of the form 'disc' has no side that a template can follow; write points, or name a file"


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


def test_a_closed_section_without_start_and_end_is_refused(section):
    with pytest.raises(SettingError, match=r"^points\[2\]=\(-61, 14\) mm: must be above z -61 mm"):
        read_template(section).require_one_way()


def test_a_horizontal_drawing_is_read_with_axis_right(tmp_path):
    path = tmp_path / "vase.dxf"
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_lwpolyline(VASE)
    document.saveas(path)
    assert read_template(path, axis="right").points == VASE
    assert read_template(path, axis="up").points == tuple((x, z) for z, x in VASE)


@pytest.mark.parametrize(
    ("settings_", "message"),
    [
        ({"points": ((0, 20),)}, "points=((0.0, 20.0),): must be two points or more"),
        ({"points": ((0, 20), (-5, math.nan))}, "points[2]=(-5.0, nan): must be finite numbers, within a kilometre"),
        ({"points": ((0, 20), (-5, 1e7))}, "points[2]=(-5.0, 10000000.0): must be finite numbers, within a kilometre"),
        (
            {"points": ((0, 20), (-5, 21), (-5, 21))},
            "points[3]=(-5.0, 21.0): must be different from the point before it; leave one out",
        ),
        (
            {"points": ((0, 20), (-5, 21), (-4, 22), (-9, 20))},
            "points[3]=(-4, 22) mm: must be below z -5 mm, the position of the previous point; the template folds back there",
        ),
        (
            {"points": ((-9, 20), (-5, 21), (-5, 22), (0, 20))},
            "points[3]=(-5, 22) mm: must be above z -5 mm, the position of the previous point; the template folds back there",
        ),
        (
            {"points": ((0, 10), (-1, 40), (-2, 10), (-20, 10)), "smooth": True},
            "points=smooth curve between points 2 and 3: must be monotonic along z; the curve folds back there; add points",
        ),
        ({"points": VASE, "start": 3.0}, "from=3: must be from -61 mm to 0 mm, the range of the template along z"),
        ({"points": VASE, "end": -70.0}, "to=-70: must be from -61 mm to 0 mm, the range of the template along z"),
        ({"points": VASE, "start": -5.0, "end": -5.0}, "to=-5: must be a position other than that of from"),
        ({"points": VASE, "end": math.nan}, "to=nan: must be a plain number, in mm"),
        (
            {"points": ((0, 20), (-10, 15), (-20, 20)), "rubber": 50.0},
            "rubber=50 mm: must be small enough to roll along the template",
        ),
        ({"points": VASE, "rubber": -1.0}, "rubber=-1: must be zero or more"),
        ({"points": VASE, "end": "4"}, "to=4: must be a plain number, in mm"),
        ({"points": [(0, "20"), (1, 2)]}, "points=[(0, '20'), (1, 2)]: must be pairs of plain numbers, in mm"),
        ({"points": [(-0.001 * k, 20) for k in range(20_001)]}, "points=20001 points: must be 20000 points or fewer"),
    ],
)
def test_an_invalid_template_is_refused(settings_, message):
    with pytest.raises(SettingError) as refused:
        Template(**settings_).require_one_way()
    assert str(refused.value) == message


AXES = (
    Axis(moves="spindle", letter="C"),
    Axis(moves="x", letter="X", low=-10.0, high=60.0),
    Axis(moves="z", letter="Z", low=-90.0, high=20.0),
    Axis(moves="cam 1", letter="A"),
)
BENCH = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=AXES)
WORK = Turned(profile=VASE)


def led(turns=0, template=None, at=None, lathe=BENCH, **more):
    passed = Pass(turns=turns, at=at or At(depth=0.5), template=template or template_of(WORK, -3, -57), **more)
    return Cut(number=1, passed=passed, lathe=lathe, approach=Approach(axis="x", surface=25.2))


@settings(max_examples=examples(12), deadline=None)
@given(points=ways(), turns=st.sampled_from([0, "1/3", "5/2"]), smooth=st.booleans(), wave=st.none() | waves())
def test_the_path_on_the_work_respects_the_chord_and_follows_the_template(points, turns, smooth, wave):
    template = Template(points=points, smooth=smooth)
    try:
        template.require_one_way()
    except SettingError:
        assume(False)
    cams = () if wave is None else (Drive(wave, follower=Roller(2.0), ratio="3/2"),)
    path = trace(led(turns, template, cams=cams), chord=5e-3)
    places = np.stack([path.x, path.y, path.z], axis=-1)
    assert max(away_from_chord(path.motion, path.u, places, part).max() for part in (0.25, 0.5, 0.75)) <= 1.05 * 5e-3
    tips = template.tip(At(depth=0.5), path.u / path.cut.span)
    assert_allclose(path.axes["x"], tips[:, 0], rtol=0, atol=1e-12)
    assert_allclose(path.axes["z"], tips[:, 2], rtol=0, atol=1e-12)
    assert_allclose(path.z, tips[:, 2], rtol=0, atol=1e-9)
    assert np.isin(np.round(path.cut.corners, 12), np.round(path.u, 12)).all()
    assert_allclose(path.motion.place_of(path.axes), places, rtol=0, atol=1e-9)
    if not cams:
        assert_allclose(np.hypot(path.x, path.y), np.abs(tips[:, 0]), rtol=0, atol=1e-9)
        on_its_side = np.where(tips[:, 0] < 0, -1, 1)  # a smooth curve may dip past the axis
        turned = np.unwrap(np.angle((path.x + 1j * path.y) * on_its_side))
        assert turned[-1] - turned[0] == pytest.approx(-2 * math.pi * float(Fraction(turns)), abs=1e-6)


def test_plain_and_compiled_agree_along_a_template():
    plain, compiled = (trace(led(3), backend=way) for way in ("plain", "compiled"))
    assert_array_equal(plain.x, compiled.x)


def test_steps_of_a_series_move_the_template():
    passed = led(1).passed.series(3, z=-1.5, depth=0.25)
    for number, cut in enumerate(cuts_of(passed, BENCH, approach=Approach(axis="x"))):
        assert_allclose(cut.tip[2], -3 - 1.5 * number, rtol=0, atol=1e-9)
        assert_allclose(cut.slides(np.array([0.5]))[0, 0], led(1).slides(np.array([0.5]))[0, 0] - 0.25 * number, atol=1e-9)


@settings(max_examples=examples(15), deadline=None)
@given(points=ways(), rubber=numbers(0.5, 12.0), smooth=st.booleans())
def test_a_rubber_touches_the_template_and_its_foremost_point_leads_the_tip(points, rubber, smooth):
    template = Template(points=points, smooth=smooth, rubber=rubber)
    try:
        template.require_one_way()
    except SettingError as refused:
        assume("smooth curve between" not in str(refused) and "roll along" not in str(refused))
        raise
    line = np.array(points)[:, ::-1]
    if smooth:
        line = Template(points=points, smooth=True).tip(At(), np.linspace(0.0, 1.0, 20001))[:, [0, 2]]
    middles = template.tip(At(), PARTS[::16])[:, [0, 2]] + [rubber, 0.0]
    starts, steps = line[:-1], np.diff(line, axis=0)
    for middle in middles:
        part = np.clip(((middle - starts) * steps).sum(axis=1) / (steps**2).sum(axis=1), 0.0, 1.0)
        nearest = np.hypot(*(starts + part[:, None] * steps - middle).T).min()
        assert nearest == pytest.approx(rubber, abs=1e-3)


def test_a_rubber_bridges_a_narrow_hollow_with_contact_on_both_sides():
    """On two points 2 mm apart, at the top of a notch 5 mm deep, a circle of 10 mm stands sqrt(99) above them, and its foremost
    place sqrt(99) - 10 = -0.0501 mm below: 4.9499 mm of the notch are missed. A circle of 0.5 mm goes 0.5 / sin(atan(1/5))
    - 0.5 = 2.0495 mm short of its bottom."""
    notch = ((0, 20), (-20, 20), (-21, 15), (-22, 20), (-42, 20))
    for rubber, gap in ((10.0, 5 - 10 + math.sqrt(99)), (0.5, 0.5 * math.sqrt(26) - 0.5)):
        template = Template(points=notch, rubber=rubber)
        template.require_one_way()
        ((place, found),) = template.spans()
        assert (place, found) == (pytest.approx(-21, abs=1e-9), pytest.approx(gap, abs=2e-3))
        tips = template.tip(At(), np.linspace(0.0, 1.0, 40001))
        assert np.interp(21.0, -tips[:, 2], tips[:, 0]) == pytest.approx(15 + gap, abs=2e-3)
        assert_allclose(tips[(tips[:, 2] > -19) | (tips[:, 2] < -23)][:, 0], 20, rtol=0, atol=1e-9)


def test_a_rubber_passes_a_concave_corner_between_two_curves():
    """An arc of radius 30 in little chords, meeting a straight line: no circle reaches into the corner."""
    angles = np.radians(np.linspace(90, 40, 400))
    arc = [(-30 * math.cos(a), 30 * math.sin(a)) for a in angles]
    template = Template(points=(*arc, (arc[-1][0] - 20, arc[-1][1])), rubber=3.0)
    template.require_one_way()
    ((_, gap),) = [each for each in template.spans() if each.gap > 0.01]
    assert gap == pytest.approx(3 / math.cos(math.radians(25)) - 3, abs=0.05)


@pytest.mark.parametrize(("holder", "radius"), [(DrillingSpindle(), 1.5), (CuttingFrame(radius=9.0), 9.0)])
@pytest.mark.parametrize("rubbed", [False, True])
def test_a_flute_along_the_side_is_the_envelope_of_circles_along_the_template(holder, radius, rubbed):
    """In the plane of X and Z a ball, or a frame that swings there, is a circle whose lowest
    place is the tip: rays along the side's normals meet all the circles at the depths that plane geometry gives."""
    apart, cut = 0.5, led(template=template_of(WORK, -1, -59, rubber=radius if rubbed else 0.0))
    job = Job(lathe=BENCH, piece=WORK, cutter=Ball(radius=1.5, holder=holder), passes=[cut.passed], resolution=apart, chord=1e-3)
    carved = job.carve(backend="compiled")
    if holder == DrillingSpindle() and not rubbed:
        assert_allclose(carved.depth, job.carve(backend="plain").depth, rtol=0, atol=2e-4)
    profile = WORK.surface.profile(carved.stock.row_positions)
    inside = (profile[:, 1] < -8) & (profile[:, 1] > -52)
    profile, deepest = profile[inside], carved.depth.max(axis=1)[inside]
    tips = cut.slides(np.linspace(0.0, 1.0, 4001))
    off = profile[:, None, :2] - (tips[:, [0, 2]] + [radius, 0.0])
    along = np.einsum("kpi,ki->kp", off, profile[:, 2:])
    below = along + np.sqrt(np.maximum(radius**2 - (off**2).sum(axis=2) + along**2, 0.0))
    expected = np.where(radius**2 > (off**2).sum(axis=2) - along**2, below, 0.0).max(axis=1)
    sloping = 0.5 * profile[:, 2]
    assert np.abs(expected - sloping).max() < 0.02 if rubbed else (expected > 0.49).all()
    assert_allclose(deepest, expected, rtol=0, atol=apart**2 / 8 / 1.5 + 2e-3)


def test_sheet_program_and_table_of_moves_name_the_template(tmp_path):
    job = Job(lathe=BENCH, piece=WORK, cutter=Ball(radius=1.5), passes=[led("1/4").passed.series(2, spindle="30 deg")])
    group = next(group for group in job.settings().groups if group.name == "pass 1")
    found = {entry.name: entry.value for entry in group.entries}
    assert found["template"] == "the side of the work"
    assert found["tip from"].startswith("z -3 mm, x 18.3484 mm")
    assert found["tip to"].startswith("z -57 mm, x 15.7032 mm")
    program = job.program()
    assert "guided by a template, the side of the work" in program.sections[0].notes[0]
    text = (job.write("rs274", tmp_path)).read_text(encoding="utf-8")
    assert "template" in text


def test_travel_is_checked_along_the_whole_template():
    short = Lathe(name="short", headstock=Headstock(sideways="fixed"), axes=(AXES[0], replace(AXES[1], high=24.0), AXES[2]))
    job = Job(lathe=short, piece=WORK, cutter=Ball(radius=1.5), passes=[led(lathe=short).passed])
    (finding,) = (each for each in job.check() if each.kind == "travel")
    assert str(finding) == "problem (travel): pass 1, x: goes to 24.6277 mm; the travel of X ends at 24 mm"


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (
            lambda: led(travel=At(z=-3)),
            "travel=given: must be left out if a template is given; the slides follow only the template",
        ),
        (
            lambda: led(arc=SlideArc(radius=25, from_deg=0, to_deg=50)),
            "arc=given: must be left out if a template is given; the slides follow only the template",
        ),
        (
            lambda: Pass(template="vase.svg"),
            "template='vase.svg': must be a Template, such as Template(points=[(0, 20), (-30, 25), (-60, 18)])",
        ),
        (
            lambda: motion_of(led(template=Template(points=((0, 20), (-5, 21), (-4, 22), (-9, 20))))),
            (
                "template: points[3]=(-4, 22) mm: must be below z -5 mm, the position of the previous point; "
                "the template folds back there"
            ),
        ),
        (
            lambda: motion_of(led(lathe=Lathe(name="bare", headstock=Headstock(sideways="fixed"), axes=AXES[:1] + AXES[2:3]))),
            (
                "template: the x slide follows the template during the cut, but lathe 'bare' has no axis that moves the x; "
                "its axes move: spindle, z"
            ),
        ),
    ],
)
def test_a_pass_that_cannot_follow_a_template_is_refused(make, message):
    with pytest.raises(SettingError) as refused:
        make()
    assert str(refused.value) == message


def test_an_independent_interpreter_leads_the_tip_along_the_template(interpreter, tmp_path):
    job = Job(lathe=BENCH, piece=WORK, cutter=Ball(radius=1.5), passes=[led("1/4").passed.series(2, spindle="30 deg")])
    (first, second), text = job.trace(), job.write("rs274", tmp_path).read_bytes()
    moves = on_a_face.read_back(interpreter, text, tmp_path)
    x, z, c = (np.array([place[on_a_face.COLUMNS[letter]] for kind, _, place in moves if kind == "feed"]) for letter in "XZC")
    tips = first.motion.place_of({"x": 25.4 * x, "z": 25.4 * z, "spindle": c})
    paths = [path.motion.place(np.linspace(0.0, path.cut.span, 20_001)) for path in (first, second)]
    off = [min(np.linalg.norm(path - tip, axis=1).min() for path in paths) for tip in tips]
    assert len(off) > 40
    assert max(off) < 0.005 + 0.002


def test_on_a_face_a_template_leads_the_tip_across_and_in():
    across = Template(points=((-0.4, 22.0), (-1.0, 14.0), (-0.4, 6.0)))
    cut = Pass(turns=0, at=At(depth=0.2), template=across)
    job = Job(lathe=BENCH, piece=Disc(diameter=50, thickness=6), cutter=Ball(radius=2), passes=[cut], resolution=0.25)
    (path,) = job.trace()
    assert_allclose(path.z, np.interp(path.x, [6, 14, 22], [-0.6, -1.2, -0.6]), rtol=0, atol=1e-9)
    carving = job.carve(backend="compiled")
    assert 1.2 - 1e-6 <= carving.depth.max() <= 1.21
    assert not [each for each in job.check() if each.level != "note"]


def test_the_sheet_shows_a_flute_led_by_a_rubber_in_the_width_of_the_cut():
    """In along the normal: the depth along x, less what the slope takes; and where the rubber bears, not where the tip is."""
    cut = led(template=template_of(WORK, -1, -59, rubber=4.0))
    job = Job(lathe=BENCH, piece=WORK, cutter=Ball(radius=4.0), passes=[cut.passed], chord=1e-3)
    widths = [stroke.width for stroke in job.drawing().strokes if stroke.ink == "cut"]
    slope = WORK.surface.profile(np.linspace(3, WORK.surface.length - 3, 501))[:, 2]
    least, most = (job.cutter.width_at(0.5 * part) for part in (slope.min(), slope.max()))
    assert least - 0.06 <= min(widths) <= least + 0.06
    assert most - 0.06 <= max(widths) <= most + 0.06
