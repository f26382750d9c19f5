"""The angle that a cutting frame is set to, pass by pass: along grooves and patterns, and how far off it is elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lobework.checks.cutting_frame import GrooveAngle, frame_by_cut, groove_angle_of
from lobework.gearing.helix import helix_angle, lead_of_twist
from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.holder import CuttingFrame
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import At
from lobework.parts.template import template_of
from lobework.parts.twist import Twist
from lobework.targets import rs274

AXES = tuple(Axis(moves=moves, letter=letter) for moves, letter in (("spindle", "C"), ("x", "X"), ("z", "Z"), ("cam 1", "A")))
BENCH = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=AXES)
BARREL = Barrel(diameter=50.0, length=70.0)
CONE = Turned(profile=((0.0, 10.0), (-60.0, 30.0)))


def framed(angle=0.0):
    return Ball(radius=1.5, holder=CuttingFrame(radius=20.0, angle_deg=angle))


def job(*passes, piece=BARREL, angle=0.0, cutter=None):
    return Job(lathe=BENCH, piece=piece, cutter=cutter or framed(angle), passes=passes, chord=0.01)


def groove_angle(*passes, **how):
    made = job(*passes, **how)
    return groove_angle_of(made.cuts(), made.cutter, made.piece)


def found(made):
    return [str(each) for each in made.check() if each.kind == "frame"]


HELIX = Pass(turns="1/5", at=At(x=25.0, z=-10.0, depth=0.5), travel=At(z=-50.0), name="helix")


@pytest.mark.parametrize("way", [1, -1])
def test_the_angle_of_a_helical_groove_follows_from_lead_and_diameter(way):
    along = groove_angle(replace(HELIX, at=At(x=25.0, z=-35 - 25 * way, depth=0.5), travel=At(z=50.0 * way)))
    expected = helix_angle(50.0, way * 250.0)
    assert along.of == "groove"
    assert (along.low_deg, along.high_deg) == pytest.approx((expected, expected), abs=1e-4)
    assert along.message(round(expected, 2)) == f"{round(expected, 2):g} deg, as set in the job: along the groove"
    assert (
        along.message(0.0)
        == f"0 deg, as set in the job: {abs(expected):.1f} deg off the groove, all along; {expected:.1f} deg would fit exactly"
    )


def test_with_a_varying_diameter_the_best_angle_is_the_middle_of_the_range():
    """On a cone that is rolled out, seen along x: at each end the angle whose tangent is circumference over lead."""
    way = Pass(turns="1/3", template=template_of(CONE), at=At(depth=0.4))
    along = groove_angle(way, piece=CONE)
    ends = [math.degrees(math.atan(2 * math.pi * radius / (-60 * 3))) for radius in (10.0, 30.0)]
    assert along.high_deg == pytest.approx(ends[0], abs=0.05)
    assert along.low_deg == pytest.approx(ends[1], abs=0.05)
    assert along.best_deg == pytest.approx(sum(ends) / 2, abs=0.05)
    off, z = along.misfit(along.best_deg)
    assert off == pytest.approx((ends[0] - ends[1]) / 2, abs=0.05)
    assert z in (pytest.approx(0.0, abs=0.2), pytest.approx(-60.0, abs=0.2))
    assert along.misfit(ends[0])[1] == pytest.approx(-60.0, abs=0.2)


def test_flutes_along_the_work_have_the_angle_0():
    along = groove_angle(Pass(turns=0, template=template_of(CONE), at=At(depth=0.4)), piece=CONE)
    assert (along.of, round(along.low_deg, 9), round(along.high_deg, 9)) == ("groove", 0, 0)


def crest(path, waves):
    """Return where round the work one of the waves of a ring stands, rad: the phase of its Fourier sum."""
    u = np.linspace(0.0, 1.0, 720, endpoint=False)
    seen = path.motion.place(u) @ np.array([1.0, 1j, 0.0])
    return np.angle((np.abs(seen) * (seen / np.abs(seen)) ** waves).sum()) / waves


@pytest.mark.parametrize(("angle", "ratio"), [("90 deg", "1"), ("-45 deg", "1"), ("90 deg", "3/2"), ("60 deg", "-2")])
def test_the_angle_of_rings_is_that_of_their_winding_pattern(angle, ratio):
    """By a wave that is followed from ring to ring."""
    wave = Drive(Wave(lobes=2, base_radius=60.0, rise=2.0), ratio=ratio, follower=Knife(), twist=Twist(angle=angle, over=50.0))
    rings = Pass(at=At(x=25.0, z=-10.0, depth=0.5), cams=(wave,)).series(9, z=-0.5)
    made = job(rings)
    along = groove_angle_of(made.cuts(), made.cutter, made.piece)
    expected = helix_angle(50.0, lead_of_twist(50.0, float(wave.twist.angle.in_degrees()), float(wave.ratio)))
    assert along.of == "pattern"
    assert along.low_deg == pytest.approx(expected, abs=1e-6)
    waves = 2 * abs(float(wave.ratio))
    apart = np.unwrap([crest(path, waves) for path in made.trace()], period=2 * math.pi / waves)
    assert math.degrees(math.atan(25.0 * (apart[-1] - apart[0]) / (8 * 0.5))) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("ratio", ["1", "-3/2"])
def test_rings_with_a_stepped_phase_have_the_angle_of_the_equal_twist(ratio):
    wave = Drive(Wave(lobes=2, base_radius=60.0, rise=2.0), ratio=ratio, follower=Knife())
    ring = Pass(at=At(x=25.0, z=-10.0, depth=0.5), cams=(wave,))
    stepped = groove_angle(ring.series(9, z=-0.5, phase="0.9 deg"))
    twisted = groove_angle(replace(ring, cams=(replace(wave, twist=Twist(angle="90 deg", over=50.0)),)).series(9, z=-0.5))
    assert (stepped.of, stepped.best_deg) == ("pattern", pytest.approx(twisted.best_deg, abs=1e-9))
    assert groove_angle(ring.series(9, z=-0.5, phase="1/2 lobe")) is None


@pytest.mark.parametrize("each", [{"phase": "0.9 deg"}, {"twist": "1.8 deg"}, {"phase": "-0.45 deg", "twist": "-4 deg"}])
def test_twist_and_phase_steps_of_rings_add_up(each):
    """By a wave that is followed from the fourth ring to the fifth, and by the sums: 90 degrees in 50 mm and what is stepped."""
    wave = Drive(Wave(lobes=2, base_radius=60.0, rise=2.0), follower=Knife(), twist=Twist(angle="90 deg", over=50.0))
    made = job(Pass(at=At(x=25.0, z=-10.0, depth=0.5), cams=(wave,)).series(9, z=-0.5, **each))
    cuts, paths = made.cuts(), made.trace()
    here, there = (crest(paths[k], 2) for k in (4, 5))
    along = groove_angle_of(cuts[4:6], made.cutter, made.piece)
    seen = math.degrees(math.atan(25.0 * (there - here) / 0.5))
    assert along.low_deg == pytest.approx(seen, abs=0.2)
    assert abs(along.low_deg - helix_angle(50.0, lead_of_twist(50.0, 90.0))) > 2


def test_without_an_inclined_groove_there_is_no_frame_angle():
    assert groove_angle(Pass(at=At(x=25.0, z=-10.0, depth=0.5))) is None
    assert groove_angle(Pass(turns=0, at=At(x=25.0, z=-10.0, depth=0.5))) is None
    assert groove_angle(Pass(turns=20, at=At(x=25.0, z=-10.0, depth=0.5), travel=At(z=-20.0))) is None
    assert groove_angle(HELIX, cutter=Ball(radius=1.5)) is None
    assert groove_angle(HELIX, piece=Disc(diameter=50.0, thickness=5.0)) is None


def angle_on_the_sheet(made):
    (said,) = (each.value for group in made.settings().groups for each in group.entries if each.name == "angle of the frame")
    return said


def test_the_sheet_shows_the_angle_of_the_job_and_the_angle_that_would_fit():
    assert angle_on_the_sheet(job(HELIX, angle=-32.1)) == "-32.1 deg, as set in the job: along the groove"
    assert angle_on_the_sheet(job(HELIX)) == (
        "0 deg, as set in the job: 32.1 deg off the groove, all along; -32.1 deg would fit exactly"
    )
    along_a_cone = Pass(turns="1/3", template=template_of(CONE), at=At(depth=0.4))
    assert angle_on_the_sheet(job(along_a_cone, piece=CONE, angle=-20.0)) == (
        "-20 deg, as set in the job: at most 26.3 deg off the groove, at z -59.88 mm; "
        "-32.8 deg would fit best, at most 13.5 deg off"
    )


def wound_on_a_taper(angle=30.0, cuts=6):
    """Rings on a barrel of 46 mm at one end and 30 at the other, each nearer to the headstock and further in."""
    taper = Turned(profile=((0.0, 23.0), (-30.0, 19.0), (-60.0, 15.0)))
    wave = Drive(Wave(lobes=8, base_radius=60.0, rise=0.6), follower=Knife(), twist=Twist(angle="60 deg", over=60.0))
    ring = Pass(name="rings", at=At(x=22.6, z=-3.0, depth=0.3), cams=(wave,)).series(cuts, z=-10.0, x=-4 / 3)
    return job(ring, piece=taper, angle=angle)


def test_sheet_and_program_name_one_angle_to_set_and_for_each_cut_the_angle_that_would_fit():
    """By hand: at a radius r, 60 degrees over 60 mm are r pi / 3 round and 60 / cos(slope) down the taper."""
    made = wound_on_a_taper()
    text = rs274.render(made.program()).decode("ascii").replace(")\n(-", "")
    said = angle_on_the_sheet(made)
    assert said.startswith("30 deg, as set in the job: at most ")
    assert f"angle of the frame {said}" in " ".join(text.split())
    (steps,) = made.settings().steps
    at = [column.name for column in steps.columns].index("best angle of the frame")
    assert steps.columns[at].by == "information"
    slope = math.atan(8 / 60)
    by_hand = [math.degrees(math.atan((23 - (3 + 10 * k) * 8 / 60) * math.pi / 3 / 60 * math.cos(slope))) for k in range(6)]
    for row, expected in zip(steps.rows, by_hand, strict=True):
        best, off = (float(each.split()[0]) for each in row.values[at].split(", "))
        assert best == pytest.approx(expected, abs=0.06)
        assert off == pytest.approx(30 - expected, abs=0.06)
        assert f"best angle of the frame: {row.values[at]}" in text
    (finding,) = found(made)
    assert f"set the frame to {groove_angle_of(made.cuts(), made.cutter, made.piece).best_deg:.1f} deg" in finding


def test_if_one_angle_fits_all_cuts_no_cut_lists_its_own_angle():
    (steps,) = job(HELIX.series(3, spindle="1/3 turn")).settings().steps
    assert [column.name for column in steps.columns] == ["spindle"]
    assert frame_by_cut(job(HELIX).cuts(), framed(), BARREL) == {}
    on_a_cone = Pass(turns="1/3", template=template_of(CONE), at=At(depth=0.4)).series(3, spindle="1/3 turn")
    assert frame_by_cut(job(on_a_cone, piece=CONE).cuts(), framed(), CONE) == {}


def test_the_check_reports_where_the_frame_angle_deviates():
    assert found(job(HELIX, angle=-32.0)) == []
    assert found(job(HELIX, angle=30.0)) == [
        (
            "warning (frame): helix: the frame is set to 30 deg, 62.1 deg off the groove at z -10 mm; "
            "set the frame to -32.1 deg in the job"
        )
    ]


def test_misfit_angles_are_taken_modulo_180_degrees():
    steep = GrooveAngle(of="groove", low_deg=85.0, high_deg=97.0, low_z=0.0, high_z=-9.0)
    assert steep.best_deg == -89.0
    assert steep.misfit(-89.0) == (6.0, 0.0)
    assert steep.misfit(90.0) == (7.0, -9.0)


def test_the_check_reports_where_a_template_leads_a_round_cutter_too_deep():
    """On the cone's slope, atan(1/3), a frame of 20 mm goes 20 (1 - cos) = 1.026 mm deeper than its tip is led."""
    flute = Pass(turns=0, template=template_of(CONE, -25, -35), at=At(depth=0.4))
    (message,) = (str(each) for each in job(flute, piece=CONE).check() if each.kind == "template")
    assert message == (
        "warning (template): pass 1: on the slope at z -25 mm the cutter goes 1.026 mm deeper than where the template is level; "
        "use a rubber with the radius of the cutter's sweep: rubber = '20 mm'"
    )
    led = replace(flute, template=replace(flute.template, rubber=20.0))
    assert [each for each in job(led, piece=CONE).check() if each.kind == "template"] == []
    assert [each for each in job(flute, piece=CONE, cutter=Ball(radius=1.5)).check() if each.kind == "template"] == []
