"""The tip led along an arc, as a spherical slide leads it: its way, its direction, what it leaves, and what is refused."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.errors import InputError, SettingError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_job
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass, cuts_of
from lobework.parts.chuck import EccentricChuck, Oval, PlainChuck
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.holder import CuttingFrame, DrillingSpindle
from lobework.parts.piece import Disc, Turned
from lobework.parts.slide import At, SlideArc
from lobework.sheets.settings import settings as sheet_of
from tests.properties.test_path_laws import away_from_chord
from tests.search import examples
from tests.strategies import AXES, numbers, waves

SWINGS = (*(axis for axis in AXES if axis.letter != "B"), Axis(moves="cutter", letter="B", low=-10.0, high=100.0))
BENCH = Lathe(name="bench", headstock=Headstock(sideways="slides", endways="pumps"), axes=SWINGS)
DOME = SlideArc(radius=25.0, from_deg=20.0, to_deg=80.0)


def cut(arc=DOME, at=At(z=-25.0), turns=2, lathe=BENCH, cams=()):
    return Cut(number=1, passed=Pass(turns=turns, at=at, arc=arc, cams=cams), lathe=lathe)


arcs = st.builds(
    SlideArc,
    radius=st.one_of(numbers(5.0, 60.0), numbers(-60.0, -5.0)),
    from_deg=numbers(-90.0, 90.0),
    to_deg=numbers(91.0, 200.0),
    cutter=st.sampled_from(["turns", "keeps"]),
)
centres = st.builds(At, x=numbers(-20.0, 20.0), y=st.sampled_from([0.0, 3.0]), z=numbers(-40.0, 5.0), depth=numbers(0.0, 2.0))


@given(arc=arcs, at=centres)
def test_the_tip_moves_round_the_centre_at_a_uniform_angular_rate(arc, at):
    path = trace(cut(arc, at), chord=0.01)
    moved = path.axes
    across, along = moved["x"] - at.x, moved["z"] - at.z
    radius = arc.radius - at.depth
    assert_allclose(np.hypot(across, along), abs(radius), rtol=0, atol=1e-12)
    angle = np.radians(arc.from_deg + path.u / 2 * (arc.to_deg - arc.from_deg))
    assert_allclose(across, radius * np.sin(angle), rtol=0, atol=1e-12)
    assert_allclose(along, radius * np.cos(angle), rtol=0, atol=1e-12)
    assert_allclose(moved["y"], at.y, rtol=0, atol=0)
    assert_allclose(path.cut.tip, [moved[axis][0] for axis in "xyz"], rtol=0, atol=1e-12)
    assert_allclose(np.add(path.cut.tip, path.cut.travel), [moved[axis][-1] for axis in "xyz"], rtol=0, atol=1e-12)
    assert ("cutter" in moved) is (arc.cutter == "turns")
    if "cutter" in moved:
        assert_allclose(moved["cutter"], np.degrees(angle), rtol=0, atol=1e-10)


@settings(max_examples=examples(40))
@given(
    arc=arcs,
    at=centres,
    wave=st.one_of(st.none(), waves()),
    chucks=st.sampled_from([(), (EccentricChuck(shift=5.0, index="30 deg"),), (Oval(throw=4.0), PlainChuck(index="1/7 turn"))]),
)
def test_plain_and_compiled_agree_and_respect_the_chord(arc, at, wave, chucks):
    lathe = BENCH
    for chuck in chucks:
        lathe = lathe.mount(chuck)
    cams = () if wave is None else (Drive(wave, follower=Roller(2.0)),)
    here = cut(arc, at, turns="5/3", lathe=lathe, cams=cams)
    plain, compiled = (trace(here, chord=5e-3, backend=way) for way in ("plain", "compiled"))
    for axis in "xyz":
        assert_allclose(getattr(compiled, axis), getattr(plain, axis), rtol=0, atol=1e-10)
    points = np.stack([plain.x, plain.y, plain.z], axis=-1)
    assert max(away_from_chord(plain.motion, plain.u, points, part).max() for part in (0.25, 0.5, 0.75)) <= 1.05 * 5e-3


@pytest.mark.parametrize("radius", [25.0, -25.0])
def test_a_cutter_that_turns_points_at_the_centre_and_one_that_keeps_its_direction_does_not(radius):
    """In a hollow it points away from it. Seen from the work, which turns under it."""
    at = At(x=3.0, z=-25.0)
    for how in ("turns", "keeps"):
        path = trace(cut(replace(DOME, radius=radius, cutter=how), at))
        theta = 2 * math.pi * path.u
        centre = np.stack([at.x * np.cos(theta), -at.x * np.sin(theta), np.full_like(theta, at.z)], axis=-1)
        from_centre = (path.pose.shift - centre) / radius
        out = path.pose.rotation[:, :, 2]
        if how == "turns":
            assert_allclose(out, from_centre, rtol=0, atol=1e-12)
        else:
            assert_allclose(out, np.tile([0.0, 0.0, 1.0], (len(out), 1)), rtol=0, atol=1e-12)
        assert_allclose(np.linalg.det(path.pose.rotation), 1.0, rtol=0, atol=1e-12)


def test_steps_of_a_series_move_the_centre_and_take_the_tip_towards_it():
    rings = Pass(turns=3, at=At(z=-25.0, depth=0.2), arc=DOME).series(3, x=1.5, depth=0.1)
    traces = [trace(each) for each in cuts_of(rings, BENCH)]
    for number, path in enumerate(traces):
        moved = path.axes
        assert_allclose(np.hypot(moved["x"] - 1.5 * number, moved["z"] + 25.0), 24.8 - 0.1 * number, rtol=0, atol=1e-12)
    assert traces[0].closure.turns is None


def sphere(radius=25.0, first=15.0, last=100.0):
    """Turned work that is a ball's side, and where its centre stands on z."""
    centre = -radius * math.cos(math.radians(first))
    profile = [(centre + radius * math.cos(a), radius * math.sin(a)) for a in np.radians(np.linspace(first, last, 41))]
    return Turned(profile=tuple(profile)), centre


@pytest.mark.parametrize("holder", [DrillingSpindle(), CuttingFrame(radius=8.0)], ids=lambda holder: holder.kind)
def test_a_dome_gets_a_groove_of_even_depth_along_the_arc(holder):
    """To what the side, a smooth curve through 41 places of a ball's, is off it; by the judge and the compiled kernels alike."""
    piece, centre = sphere()
    cutter, apart, chord = Ball(radius=1.5, holder=holder), 0.4, 1e-3
    groove = Pass(turns="1/24", at=At(z=centre, depth=0.5), arc=SlideArc(radius=25.0, from_deg=35.0, to_deg=75.0))
    traces = Job(title="dome", lathe=BENCH, piece=piece, cutter=cutter, passes=(groove,), resolution=apart, chord=chord).trace()
    plain, compiled = (traces.carve(backend=backend) for backend in ("plain", "compiled"))
    assert_allclose(compiled.depth, plain.depth, rtol=0, atol=2e-4)
    profile = piece.surface.profile(plain.stock.row_positions)
    angle = np.degrees(np.arctan2(profile[:, 0], profile[:, 1] - centre))
    deepest = plain.depth.max(axis=1)[(angle > 37) & (angle < 73)]
    off = np.abs(np.hypot(profile[:, 0], profile[:, 1] - centre) - 25.0).max() + chord
    assert deepest.size > 30
    assert 0.5 - apart**2 / 8 / cutter.radius - off <= deepest.min() <= deepest.max() <= 0.5 + off


def test_with_a_fixed_direction_of_the_cutter_the_groove_on_a_dome_is_uneven():
    piece, centre = sphere()
    arc = SlideArc(radius=25.0, from_deg=35.0, to_deg=75.0, cutter="keeps")
    groove = Pass(turns="1/24", at=At(z=centre, depth=0.5), arc=arc)
    job = Job(title="dome", lathe=BENCH, piece=piece, cutter=Ball(radius=1.5), passes=(groove,), resolution=0.4, chord=0.01)
    deepest = job.carve(backend="compiled").depth.max(axis=1)
    assert deepest.max() > 0.6


def test_a_hollow_in_a_face_is_cut_to_the_arc():
    """Along its way a ball's bottom follows the arc itself: sqrt(R^2 - x^2) less the height of its centre; common geometry."""
    bowl = Pass(turns="1/36", at=At(z=24.0, depth=0.5), arc=SlideArc(radius=-25.0, from_deg=-14.0, to_deg=14.0))
    job = Job(
        title="bowl",
        lathe=BENCH,
        piece=Disc(diameter=30.0, thickness=8.0),
        cutter=Ball(radius=2.0),
        passes=(bowl,),
        resolution=0.2,
        chord=1e-3,
    )
    traces = job.trace()
    plain, compiled = (traces.carve(backend=backend) for backend in ("plain", "compiled"))
    assert_allclose(compiled.depth, plain.depth, rtol=0, atol=2e-4)
    x, y = np.meshgrid(plain.stock.column_positions, plain.stock.row_positions)
    away = np.hypot(x, y)
    for radius in (1.0, 2.5, 4.0):
        ring = np.abs(away - radius) < 0.15
        truth = math.sqrt(25.5**2 - radius**2) - 24.0
        assert plain.depth[ring].max() == pytest.approx(truth, abs=0.02)


JOB = """
lathe = {{ headstock = {{ sideways = "fixed" }}, axis = [{axes}] }}
[piece]
form = "disc"
diameter = 70
thickness = 30
[cutter]
kind = "ball"
radius = 1
[[pass]]
turns = {turns}
at = {{ z = -25, depth = {depth} }}
arc = {arc}
{more}
"""
HAS = {"spindle": "C", "x": "X", "z": "Z", "cutter": "B"}


def written(tmp_path, arc='{ radius = "1 in", from = 15, to = "1/4 turn" }', turns=4, depth=0.5, more="", without=""):
    axes = ", ".join(f'{{ moves = "{moves}", letter = "{letter}" }}' for moves, letter in HAS.items() if moves != without)
    path = tmp_path / "dome.toml"
    path.write_text(JOB.format(axes=axes, arc=arc, turns=turns, depth=depth, more=more), encoding="utf-8")
    return path


def test_an_arc_of_a_job_file_is_read_and_listed_in_the_settings(tmp_path):
    job = read_job(written(tmp_path))
    assert job.passes[0].arc == SlideArc(radius=25.4, from_deg=15.0, to_deg=90.0, cutter="turns")
    found = {entry.name: entry.value for group in job.settings().groups for entry in group.entries}
    assert found["arc radius"] == "25.4 mm"
    assert (found["arc from"], found["arc to"], found["arc cutter"]) == ("15 deg", "90 deg", "turns")
    assert (found["arc about z"], found["begins at depth"]) == ("-25 mm", "0.5 mm")
    assert found["axis B"] == "moves the cutter, unlimited travel"
    assert "pointing along the spindle" in found["4. cutter"]


def test_the_program_moves_the_slides_and_the_cutter_together(tmp_path):
    program = read_job(written(tmp_path)).program()
    (timed,) = [step for step in program.sections[0].steps if hasattr(step, "minutes")]
    assert timed.letters == ("C", "X", "Z", "B")
    _, x, z, b = timed.places.T
    assert 20 < len(b) < 100
    assert_allclose(np.stack([x, z + 25.0]), 24.9 * np.stack([np.sin(np.radians(b)), np.cos(np.radians(b))]), atol=1e-6)
    assert "along an arc of 25.4 mm about z -25 mm, depth 0.5 mm, from 15 to 90 deg" in program.sections[0].notes[0]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"arc": "{ from = 15, to = 80 }"}, "pass[1].arc.radius: is missing; write a length"),
        (
            {"arc": "{ radius = 0, from = 15, to = 80 }"},
            "pass[1].arc.radius: 0 must be above zero over a dome, below zero in a hollow",
        ),
        (
            {"arc": "{ radius = 25, from = 15, to = '15 deg' }"},
            "pass[1].arc.to: '15 deg' must be different from the angle 'from', 15,",
        ),
        (
            {"arc": "{ radius = 25, from = -180, to = 180 }"},
            "pass[1].arc.to: 180 must be different from the angle 'from', -180, and less",
        ),
        ({"arc": "{ radius = 25, from = 15, to = 400 }"}, "pass[1].arc.to: 400 must be -360 to 360 degrees"),
        ({"arc": "{ radius = 25, from = 15, to = 80, cutter = 'stays' }"}, "write 'turns' or 'keeps'"),
        ({"arc": "{ radius = 25, from = 15, to = 80, centre = 3 }"}, "pass[1].arc.centre: there is no such key"),
        ({"arc": "25"}, "pass[1].arc: 25"),
        ({"depth": 26}, "pass[1].at.depth: 26 must be less than the arc's radius, 25.4"),
        ({"more": "travel = { x = 1 }"}, "pass[1].travel: {'x': 1} must be left out if an arc is given"),
        (
            {"without": "x"},
            "arc: the tip moves in X and Z during the cut, but lathe 'lathe of this job' has no axis that moves the x",
        ),
        ({"without": "z"}, "has no axis that moves the z"),
        (
            {"without": "cutter"},
            "(write 'keeps' if the cutter does not turn), but lathe 'lathe of this job' has no axis that moves the cutter",
        ),
    ],
)
def test_an_invalid_arc_is_refused_in_one_line(tmp_path, given, message):
    with pytest.raises(InputError, match=re.escape(message)) as raised:
        read_job(written(tmp_path, **given)).trace()
    assert "\n" not in str(raised.value)


def test_two_slides_alone_need_no_axis_that_turns_the_cutter(tmp_path):
    job = read_job(written(tmp_path, arc="{ radius = 25, from = 15, to = 80, cutter = 'keeps' }", without="cutter"))
    assert "cutter" not in job.trace()[0].axes
    assert "B" not in [axis.letter for axis in job.program().axes]


def test_an_invalid_arc_in_python_is_refused():
    for no_arc in ((25.0, 0.0, 90.0), At()):
        with pytest.raises(SettingError, match="a SlideArc, such as"):
            Pass(arc=no_arc)
    with pytest.raises(SettingError, match="radius='1 in': must be a plain number"):
        SlideArc(radius="1 in", from_deg=0.0, to_deg=90.0)


def test_a_swing_beyond_the_travel_of_its_axis_is_found_and_no_program_is_written():
    steep = Pass(turns=2, at=At(z=-25.0, depth=0.5), arc=replace(DOME, to_deg=120.0))
    job = Job(title="dome", lathe=BENCH, piece=Disc(diameter=80.0, thickness=60.0), cutter=Ball(radius=1.0), passes=(steep,))
    found = [str(finding) for finding in job.check() if finding.kind == "travel"]
    assert found == ["problem (travel): pass 1, cutter: goes to 120 degrees; the travel of B ends at 100 degrees"]
    with pytest.raises(SettingError, match="the lathe's cutter axis ends at 100 deg"):
        job.program()


def test_the_sheet_does_not_mention_a_cutter_that_does_not_turn():
    keeps = Cut(number=1, passed=Pass(at=At(z=-25.0), arc=replace(DOME, cutter="keeps")), lathe=BENCH)
    sheet = sheet_of("dome", BENCH, Disc(diameter=70.0, thickness=8.0), Ball(radius=1.0), [keeps])
    zeros = next(group for group in sheet.groups if group.name.startswith("zeros"))
    assert not any("cutter" in entry.name for entry in zeros.entries)
    assert motion_of(keeps).swings is None
