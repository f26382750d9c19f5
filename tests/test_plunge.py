"""Passes of no turns: the cutter goes straight in and out again, the spindle still; from trace to drawing, program and wood."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.checks.check import closure_findings
from lobework.errors import SettingError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_lathe
from lobework.kinematics.trace import Spans, estimate, trace
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.cutter import Ball, FlatEnd, Pen, Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.program.program import Feed, Prompt, Rapid, Timed
from lobework.targets import rs274, svg, text
from lobework.text.cautions import CAUTIONS
from tests.search import examples
from tests.strategies import cut_on, fixed, numbers, sliding

DISC = Disc(diameter=24.0, thickness=6.0)
BARREL = Barrel(diameter=24.0, length=12.0)
WAVE = Wave(lobes=4, base_radius=60.0, rise=5.0)


def job(*passes, **given):
    usual = {"lathe": read_lathe("plain-bench"), "piece": DISC, "cutter": Ball(radius=1.0), "resolution": 0.2}
    return Job(title="Tide box", passes=passes, **{**usual, **given})


def dot(x=6.0, z=0.0, depth=0.5, name="dots", **given):
    return Pass(name=name, turns=0, at=At(x=x, z=z, depth=depth), **given)


def test_zero_turns_give_a_single_sample():
    spans = Spans(np.zeros(1), np.zeros(1), np.zeros(1, dtype=np.int64))
    assert (spans.total, spans.turns().tolist(), spans.step.tolist(), spans.offsets.tolist()) == (1, [0.0], [0.0], [0])


@given(numbers(-20.0, 20.0), numbers(-5.0, 5.0), numbers(-1.0, 2.0), st.sampled_from(["plain", "compiled", "auto"]))
@settings(max_examples=examples(20))
def test_a_plunge_is_one_point_at_the_positions_of_the_slides_plain_and_compiled(x, y, depth, way):
    one = trace(cut_on(fixed(), turns=0, at=At(x=x, y=y, depth=depth)), backend=way)
    assert np.stack([one.x, one.y, one.z], -1) == pytest.approx(np.array([[x, y, -depth]]))
    assert one.u.tolist() == [0.0]
    assert estimate(one.cut) == 1


@given(st.fractions(-1, 1, max_denominator=24), st.sampled_from(["plain", "compiled"]))
@settings(max_examples=examples(15))
def test_a_plunge_with_a_cam_is_at_the_start_of_the_turning_pass(phase, way):
    drive = Drive(WAVE, follower=Knife(), phase=f"{phase} turn")
    still = trace(cut_on(sliding(), drive, turns=0, at=At(x=20.0)), backend=way)
    turning = trace(cut_on(sliding(), drive, turns=1, at=At(x=20.0)))
    assert (still.x.size, still.y.size) == (1, 1)
    assert (still.x[0], still.y[0], still.z[0]) == pytest.approx((turning.x[0], turning.y[0], turning.z[0]), abs=1e-9)


def test_a_plunge_neither_closes_nor_leaves_a_gap():
    cut = cut_on(sliding(), Drive(WAVE, follower=Knife(), ratio=Fraction(2, 3)), turns=0, at=At(x=20.0))
    assert list(closure_findings([cut], [trace(cut)])) == []
    assert job(dot().series(3, x=-1.0)).check() == []


def test_turns_below_zero_are_refused():
    with pytest.raises(SettingError, match=r"^turns=-1: must be zero or more, at most a million$"):
        Pass(turns=-1)


def volume(cutter, depth, piece=DISC, resolution=0.1, **given):
    at = {"x": 12.0, "z": -6.0} if piece is BARREL else {"x": 0.0}
    return job(dot(**at, depth=depth, **given), cutter=cutter, piece=piece).carve(resolution, backend="plain").volume


def test_a_drilled_dot_is_the_cutters_own_tip():
    """A cone, pi r^2 d / 3 (Euclid, *Elements*, XII.10); a spherical cap, pi d^2 (3 R - d) / 3 (Archimedes); a cylinder."""
    assert volume(Vee(angle_deg=90.0, width=3.0), 1.2) == pytest.approx(math.pi * 1.2**3 / 3, rel=0.01)
    assert volume(Ball(radius=1.5), 0.9) == pytest.approx(math.pi * 0.9**2 * (4.5 - 0.9) / 3, rel=0.01)
    assert volume(FlatEnd(width=3.03), 0.7) == pytest.approx(math.pi * 1.515**2 * 0.7, rel=0.02)


def test_a_dot_in_a_barrel_is_the_overlap_of_a_cylinder_and_a_ball():
    """A ball of 1.5 mm sunk 0.9 mm into a cylinder of 12 mm: at each height a disc of the ball, as
    much of it as lies within the cylinder, integrated over the height."""
    x = np.linspace(11.1, 12.0, 40001)
    half = np.sqrt(np.maximum(1.5**2 - (x - 12.6) ** 2, 0.0))
    within = np.minimum(half, np.sqrt(np.maximum(144.0 - x**2, 0.0)))
    straight = within * np.sqrt(np.maximum(half**2 - within**2, 0.0))
    discs = 2 * (straight + half**2 * np.arcsin(within / np.maximum(half, 1e-12)))
    exact = float(np.trapezoid(discs, x))
    assert volume(Ball(radius=1.5), 0.9, BARREL) == pytest.approx(exact, rel=0.01)


def test_a_plunge_of_an_eccentric_frame_leaves_a_ring():
    """Pappus: a right-angled vee's section d^2 round the circle of the frame."""
    ring = Vee(angle_deg=90.0, width=2.0, holder=EccentricFrame(radius=4.0))
    assert volume(ring, 0.8) == pytest.approx(2 * math.pi * 4.0 * 0.8**2, rel=0.01)


def test_a_plunge_of_a_cutting_frame_leaves_a_boat_of_the_length_of_its_chord():
    """A vee of 90 degrees on a frame of radius R: at q along the boat it is d(q) = sqrt(R^2 - q^2) - R + d deep, and d(q)^2
    across."""
    frame, depth = CuttingFrame(radius=10.0), 0.8
    one = job(dot(x=0.0, depth=depth), cutter=Vee(angle_deg=90.0, width=3.0, holder=frame)).carve(0.1, backend="plain")
    q = np.linspace(-4.0, 4.0, 80001)
    deep = np.maximum(np.sqrt(100.0 - q**2) - 10.0 + depth, 0.0)
    assert one.volume == pytest.approx(np.trapezoid(deep**2, q), rel=0.01)
    touched = one.stock.column_positions[one.depth[one.stock.rows // 2] > 0]
    half = math.sqrt(depth * (20.0 - depth))
    assert touched[[0, -1]] == pytest.approx([-half, half], abs=0.1)


def strokes(*passes, **given):
    return list(job(*passes, **given).drawing().strokes)


def test_a_dot_is_drawn_in_its_true_width():
    """Chord of the ball at its depth."""
    (stroke,) = strokes(dot(x=6.0, depth=0.4))
    assert stroke.points.tolist() == [[6.0, 0.0], [6.0, 0.0]]
    assert stroke.width == pytest.approx(2 * math.sqrt(0.4 * 1.6))
    assert stroke.ink == "cut"


def test_a_dot_of_a_pen_has_the_width_of_its_line():
    (stroke,) = strokes(dot(), cutter=Pen(line=0.4))
    assert np.ptp(stroke.points) == 6.0
    assert stroke.width == 0.4


def test_a_dot_clear_of_the_work_is_drawn_as_air():
    (stroke,) = strokes(dot(depth=-0.5))
    assert stroke.ink == "air"


def test_the_ring_of_an_eccentric_frame_is_drawn_round_its_middle():
    (stroke,) = strokes(dot(x=6.0, depth=0.4), cutter=Vee(angle_deg=90.0, width=2.0, holder=EccentricFrame(radius=4.0)))
    assert stroke.closed
    assert np.hypot(stroke.points[:, 0] - 6.0, stroke.points[:, 1]) == pytest.approx(4.0)
    assert stroke.width == pytest.approx(0.8)


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, -45.0])
def test_the_boat_of_a_cutting_frame_is_drawn_along_its_swing_in_the_length_of_its_chord(angle):
    """Chord of the frame's circle at the depth."""
    frame = CuttingFrame(radius=10.0, angle_deg=angle)
    (stroke,) = strokes(dot(x=6.0, depth=0.8), cutter=Vee(angle_deg=90.0, width=3.0, holder=frame))
    first, last = stroke.points
    assert math.dist(first, last) == pytest.approx(2 * math.sqrt(0.8 * 19.2))
    assert (first + last) / 2 == pytest.approx([6.0, 0.0])
    assert math.tan(math.atan2(*(last - first)[::-1])) == pytest.approx(math.tan(math.radians(angle)), rel=1e-6)
    carving = job(dot(x=6.0, depth=0.8), cutter=Vee(angle_deg=90.0, width=3.0, holder=frame)).carve(0.4, backend="plain")
    y, x = np.nonzero(carving.depth > 0.3)
    lies = np.polyfit(x, y, 1)[0] if angle != 90.0 else math.inf
    assert angle == 90.0 or lies == pytest.approx(math.tan(math.radians(angle)), abs=0.05)


def test_a_fixed_blade_marks_its_own_breadth():
    (stroke,) = strokes(dot(x=6.0, depth=0.4), cutter=Vee(angle_deg=90.0, width=2.0, holder=FixedTool()))
    assert sorted(stroke.points[:, 0]) == pytest.approx([5.6, 6.4])
    assert np.ptp(stroke.points[:, 1]) < 1e-12


@pytest.mark.parametrize("holder", [DrillingSpindle(), FixedTool(), CuttingFrame(radius=10.0), EccentricFrame(radius=4.0)])
def test_a_plunge_into_a_side_is_drawn_at_its_angle_and_z(holder):
    """At angle zero, z -6: the middle of the sheet."""
    cutter = Vee(angle_deg=90.0, width=2.0, holder=holder)
    points = np.concatenate([each.points for each in strokes(dot(12.0, -6.0, 0.4), cutter=cutter, piece=BARREL)])
    assert (points.max(axis=0) + points.min(axis=0)) / 2 == pytest.approx([0.0, -6.0], abs=1e-9)
    long = {DrillingSpindle: 0.0, FixedTool: 0.8, CuttingFrame: 2 * math.sqrt(0.4 * 19.6), EccentricFrame: 8.0}[type(holder)]
    assert np.ptp(points[:, 1]) == pytest.approx(long, abs=1e-9)


@pytest.mark.parametrize("piece", [DISC, BARREL], ids=lambda piece: piece.form)
def test_the_program_of_a_plunge_moves_in_and_out_without_rotation(piece):
    at = {"x": 12.0, "z": -6.0} if piece is BARREL else {}
    made = job(dot(**at).series(3, {"x": -1.0} if piece is DISC else {"z": -1.0}), piece=piece).program()
    for section in made.sections:
        kinds = [type(step) for step in section.steps if not isinstance(step, Prompt)]
        assert kinds[-3:] == [Rapid, Feed, Rapid]
        assert not any(isinstance(step, Timed) for step in section.steps)
        assert section.notes[0].startswith("plunge and retract only, the spindle stands still; ")
    assert made.cutting == pytest.approx(3 * (5 + 0.5) / 60, rel=1e-9)
    lines = rs274.render(made).decode("ascii").splitlines()
    assert sum(line.startswith("G1 ") for line in lines) == 3
    assert not any(line == "G93" for line in lines)


def test_every_output_shows_a_plunge_among_turning_passes():
    one = job(Pass(name="rings", at=At(x=9.0, depth=0.3)), dot().series(4, x=-1.0, name="dot"))
    drawn = svg.render(one.drawing()).decode()
    assert drawn.count("<path") >= 5
    said = text.render(one.settings()).decode()
    assert "none: plunge and retract only" in said
    assert CAUTIONS[0] in " ".join(said.split())
    assert [section.title for section in one.program().sections] == ["rings", "dots 1", "dots 2", "dots 3", "dots 4"]
