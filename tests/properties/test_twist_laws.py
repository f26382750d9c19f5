"""What holds for every twist, every pass along the work, and every cam that exists only in software."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.errors import SettingError
from lobework.kinematics.closure import closure_of
from lobework.kinematics.motion import motion_of
from lobework.kinematics.sampling import spans_of
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import Wave
from lobework.parts.camshaft import CamShaft
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.slide import At, SlideArc
from lobework.parts.twist import Twist
from lobework.quantities.units import Phase
from tests.properties.test_path_laws import away_from_chord
from tests.search import examples
from tests.strategies import (
    AXES,
    chucks,
    cut_on,
    drives,
    face_cams,
    high_enough,
    numbers,
    phases,
    rocking,
    scallops,
    sliding,
    waves,
)

some = settings(max_examples=examples(25))
angles = st.one_of(numbers(-400.0, 400.0), st.sampled_from([0.0, 90.0, -360.0])).map(lambda deg: Phase(turns=Fraction(deg) / 360))
eases = st.sampled_from([0, "1/10", "1/3", "1/2"])
lengths = st.builds(Twist, angle=angles, over=numbers(5.0, 80.0), start=numbers(-20.0, 5.0), ease=eases)
turning = st.builds(Twist, angle=angles, turns=st.fractions(Fraction(1, 3), 5, max_denominator=6), ease=eases)
twists = st.one_of(lengths, turning)
ARC = SlideArc(radius=30.0, from_deg=20.0, to_deg=110.0, cutter="keeps")
COMPUTED = tuple(axis for axis in AXES if not axis.moves.startswith("cam"))


def computed(headstock=None, *chucks):
    """A lathe whose cams exist only in software."""
    cams = (CamShaft(number=1, turned_by="software"), CamShaft(number=2, turned_by="software"))
    bench = Lathe(name="bench", headstock=headstock or Headstock(sideways="fixed"), axes=COMPUTED, cams=cams)
    return replace(bench, chucks=sliding(*chucks).chucks)


@st.composite
def twisted_cuts(draw, of=twists):
    """Helices, rings, flutes and arcs with one or two twisted cams, on a sliding or a rocking headstock."""
    rocks = draw(st.booleans())
    drive = replace(draw(drives(st.one_of(waves(), scallops()), sides=("front",))), gain=1.0, twist=draw(of))
    turns = draw(st.sampled_from([0, "1/5", 1, 2]))
    twist = drive.twist
    if not turns and twist.turns is not None:
        turns = 1
    way = (
        {"arc": ARC} if draw(st.booleans()) else {"travel": draw(st.sampled_from([At(z=-30.0), At(z=-30.0, x=-4.0), At(z=20.0)]))}
    )
    mounted = draw(st.lists(chucks, max_size=1))
    lathe = rocking(high_enough(250.0, drive), *mounted) if rocks else sliding(*mounted)
    passed = Pass(turns=turns, spindle=draw(st.sampled_from([0, "25 deg"])), at=At(x=20.0, z=-5.0), cams=(drive,), **way)
    return Cut(number=1, passed=passed, lathe=lathe)


@some
@given(cut=twisted_cuts())
def test_a_zero_twist_changes_nothing(cut):
    (drive,) = cut.passed.cams
    none = replace(drive, twist=replace(drive.twist, angle=Phase()))
    u = np.linspace(0.0, cut.span, 101)
    here, there = (
        motion_of(replace(cut, passed=replace(cut.passed, cams=(each,)))).place(u) for each in (none, replace(drive, twist=None))
    )
    assert_allclose(here, there, rtol=0, atol=1e-11)


@given(twist=twists)
def test_an_eased_twist_starts_and_ends_at_rest_and_reaches_its_full_angle(twist):
    """A parabola at either end, straight between: half the way at half the angle, and symmetric about it."""
    way = np.linspace(-0.5, 1.5, 401)
    part = twist.eased_share(way)
    assert_allclose(part + part[::-1], 1.0, rtol=0, atol=1e-12)
    assert_allclose(twist.eased_share(np.array([0.0, 0.5, 1.0])), [0.0, 0.5, 1.0], rtol=0, atol=1e-12)
    assert (np.diff(part) >= 0).all()
    if twist.ease:
        assert np.ptp(part[way <= 0]) == np.ptp(part[way >= 1]) == 0
        bends = np.diff(part, 2) / (way[1] - way[0]) ** 2
        assert np.abs(bends).max() <= 1 / float(twist.ease * (1 - twist.ease)) + 1e-6
    else:
        assert_allclose(part, way, rtol=0, atol=1e-15)


@some
@given(drive=drives(waves()), twist=lengths, at=numbers(0.0, 1.0), chuck=chucks, turns=st.sampled_from([0, "1/4", 3]))
def test_a_ring_a_helix_and_a_flute_agree_at_their_crossings(drive, twist, at, chuck, turns):
    """Each stands on the same place of the work, cut by the same place of the cam."""
    drive = replace(drive, twist=twist)
    bench = sliding(chuck)
    passed = Pass(turns=turns, spindle="1/3 turn", at=At(x=20.0, z=-2.0), travel=At(z=-40.0), cams=(drive,))
    along = motion_of(Cut(number=1, passed=passed, lathe=bench))
    u = np.array([at * along.cut.span])
    z = -2.0 - 40.0 * at
    spindle = Fraction(1, 3) + Fraction(at) * passed.turns
    ring = Pass(turns=1, spindle=Phase(turns=spindle), at=At(x=20.0, z=z), cams=(drive,))
    round_it = motion_of(Cut(number=1, passed=ring, lathe=bench))
    assert_allclose(along.place(u), round_it.place(np.zeros(1)), rtol=0, atol=1e-6)
    for name, stands in round_it.axes(np.zeros(1)).items():
        assert_allclose(along.axes(u)[name], stands, rtol=0, atol=1e-6)


@some
@given(cut=twisted_cuts())
def test_the_axes_of_a_twisted_pass_put_the_tip_where_the_pass_does(cut):
    moved = motion_of(cut)
    u = np.linspace(0.0, cut.span, 61)
    assert_allclose(moved.place_of(moved.axes(u)), moved.place(u), rtol=0, atol=1e-9)
    assert_allclose(moved.place(u), moved.work(u).inverse().apply(moved.tip(u)), rtol=0, atol=1e-9)


@some
@given(cut=twisted_cuts(), chord=st.sampled_from([2e-3, 2e-2]))
def test_straight_moves_of_a_twisted_pass_deviate_by_at_most_the_chord(cut, chord):
    path = trace(cut, chord=chord)
    points = np.stack([path.x, path.y, path.z], axis=-1)
    strayed = max(away_from_chord(path.motion, path.u, points, part).max() for part in (0.12, 0.25, 0.5, 0.63, 0.88))
    assert strayed <= 1.05 * chord
    assert path.u[0] == 0.0
    assert path.u[-1] == cut.span


@some
@given(cut=twisted_cuts())
def test_plain_and_compiled_agree_on_a_twisted_pass(cut):
    """The spindle turned on as it begins, or not, through a chuck or none."""
    plain, compiled = (trace(cut, chord=0.01, backend=way) for way in ("plain", "compiled"))
    for axis in "xyz":
        assert_allclose(getattr(compiled, axis), getattr(plain, axis), rtol=0, atol=1e-9)


@some
@given(cut=twisted_cuts())
def test_every_corner_of_a_twisted_cam_is_a_span_boundary(cut):
    """Each place at which the follower passes from one arc of the lift to the next, found by looking densely."""
    moved = motion_of(cut)
    (push,) = moved.pushes
    edges = np.append(spans_of(moved, cut.span, 0.05).start, cut.span)
    u = np.linspace(0.0, cut.span, 20_001)
    arc, _ = push.curve.locate(push.along(u))
    for k in np.flatnonzero(np.diff(arc)):
        assert ((edges >= u[k] - 1e-12) & (edges <= u[k + 1] + 1e-12)).any()


@some
@given(drive=drives(sides=("front", "back")), twist=st.one_of(st.none(), twists), at=numbers(5.0, 30.0), chuck=chucks)
def test_a_cam_in_software_gives_the_path_of_one_that_slides_the_headstock(drive, twist, at, chuck):
    drive = replace(drive, twist=twist)
    passed = Pass(turns=2, at=At(x=at, z=-1.0), travel=At(z=-20.0), cams=(drive,))
    slid, led = (motion_of(Cut(number=1, passed=passed, lathe=lathe)) for lathe in (sliding(chuck), computed(None, chuck)))
    u = np.linspace(0.0, 2.0, 301)
    assert_allclose(led.place(u), slid.place(u), rtol=0, atol=1e-10)
    slides, axes = slid.axes(u), led.axes(u)
    assert axes.keys() == slides.keys() - {"cam 1"}
    moved = "x" if drive.moves == "sideways" else "z"
    assert_allclose(axes[moved], slides[moved] - (slid.sideways if moved == "x" else slid.endways).at(u), rtol=0, atol=1e-12)
    assert_allclose(led.place_of(axes), slid.place(u), rtol=0, atol=1e-10)
    assert_allclose(led.work(u).inverse().rotation, slid.work(u).inverse().rotation, rtol=0, atol=1e-12)


@some
@given(several=st.lists(drives(st.one_of(waves(), scallops()), sides=("front",)), min_size=2, max_size=2), rocks=st.booleans())
def test_a_mechanical_and_a_computed_cam_add_up(several, rocks):
    """Each moves its own: the headstock, and the slide."""
    bench = rocking(high_enough(250.0, several[0])) if rocks else sliding()
    half = replace(
        bench, axes=tuple(axis for axis in AXES if axis.moves != "cam 2"), cams=(CamShaft(number=2, turned_by="software"),)
    )
    passed = Pass(turns=2, at=At(x=20.0), cams=tuple(several))
    both = Cut(number=1, passed=passed, lathe=half)
    first = motion_of(Cut(number=1, passed=replace(passed, cams=several[:1]), lathe=bench))
    second = motion_of(cut_on(sliding(), several[1], turns=2, at=At(x=20.0)))
    u = np.linspace(0.0, 2.0, 301)
    pushed = second.sideways.at(u)
    across = first.axes(u) | {"x": 20.0 - pushed}
    assert_allclose(motion_of(both).place(u), first.place_of(across), rtol=0, atol=1e-10)
    plain, compiled = (trace(both, chord=0.01, backend=way) for way in ("plain", "compiled"))
    assert_allclose(compiled.x, plain.x, rtol=0, atol=1e-9)
    assert_allclose(compiled.y, plain.y, rtol=0, atol=1e-9)
    with pytest.raises(SettingError, match="exist only in software"):
        motion_of(replace(both, passed=replace(passed, together="furthest")))


@some
@given(drive=drives(waves(), sides=("front",)), angle=phases, turns=st.sampled_from([1, 2, "3/2"]))
def test_a_uniform_twist_by_turns_equals_a_change_of_ratio(drive, angle, turns):
    assume(drive.cam.lobes * drive.ratio != 0)
    twisted = replace(drive, twist=Twist(angle=angle, turns=turns))
    ratio = drive.ratio + Phase.of(angle).in_turns(drive.cam.lobes) / Fraction(turns)
    assume(ratio != 0)
    here, there = (motion_of(cut_on(sliding(), each, turns=2, at=At(x=20.0))) for each in (twisted, replace(drive, ratio=ratio)))
    u = np.linspace(0.0, 2.0, 201)
    assert_allclose(here.place(u), there.place(u), rtol=0, atol=1e-8)
    assert closure_of(here).turns == closure_of(there).turns
    assert closure_of(here).gap_deg == closure_of(there).gap_deg


@some
@given(twist=lengths, z=numbers(-60.0, 0.0), drive=drives(face_cams))
def test_the_twist_of_a_ring_on_a_locked_cam_is_a_phase_to_set(twist, z, drive):
    """By hand where nothing else turns the cam; a helix there is refused in one line."""
    locked = replace(sliding(), axes=COMPUTED)
    drive = replace(drive, ratio=Fraction(1), twist=twist)
    ring = Cut(number=1, passed=Pass(at=At(x=20.0, z=z), cams=(drive,)), lathe=locked)
    set_so = ring.as_set(ring.passed.cams[0])
    assert set_so.twist is None
    turned = float((set_so.phase + drive.phase * -1).in_degrees(drive.cam.lobes))
    told = twist.degrees(drive.cam.lobes) * twist.eased_share(twist.share_along(np.array([z])))[0]
    assert turned == pytest.approx(told, abs=1e-9 * (1 + abs(twist.degrees(drive.cam.lobes))))
    u = np.linspace(0.0, 1.0, 31)
    by_hand = replace(ring, passed=replace(ring.passed, cams=(set_so,)))
    assert_allclose(motion_of(ring).place(u), motion_of(by_hand).place(u), rtol=0, atol=1e-12)
    helix = replace(ring, passed=replace(ring.passed, travel=At(z=-1.0)))
    with pytest.raises(SettingError, match=r"cam\[1\].*the spindle turns cam 1, so the cam's phase cannot drift along the work"):
        motion_of(helix)


def test_a_twist_by_turns_needs_turns_and_an_independent_cam_drive():
    wave = Drive(Wave(lobes=8, base_radius=60.0, rise=1.0), follower=Knife(), twist=Twist(angle="1 lobe", turns=2))
    with pytest.raises(SettingError, match=r"^cam\[1\]: twist.turns=2: the spindle stands still in this pass; write twist.over"):
        motion_of(cut_on(sliding(), wave, turns=0, at=At(x=20.0), travel=At(z=-3.0)))
    with pytest.raises(SettingError, match="cannot drift from turn to turn during the cut"):
        motion_of(cut_on(replace(sliding(), axes=COMPUTED), wave, at=At(x=20.0)))
