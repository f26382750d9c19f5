"""What is wrong with the work itself, before it is carved and after, and what a carving came to in lines for people."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from lobework.checks.workpiece import body_findings, carving_findings, carving_summary, work_findings
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_lathe
from lobework.lathe.passes import Pass
from lobework.parts.cutter import Ball, FlatEnd, Pen, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import At

BARREL = Barrel(diameter=24.0, length=12.0, bore=18.0)
VASE = Turned(profile=((0, 10), (-10, 12), (-20, 9)), hollow=((0, 8), (-10, 9.5), (-16, 6)))
DISC = Disc(diameter=24.0, thickness=3.0)
POT = Turned(profile=((0, 11), (-10, 12), (-20, 11)))
VEE = Vee(angle_deg=90.0, width=2.0)


def job(*passes, piece=BARREL, cutter=VEE, **given):
    usual = {"lathe": read_lathe("plain-bench"), "resolution": 0.4, "chord": 0.01}
    return Job(title="Tide box", passes=passes, piece=piece, cutter=cutter, **{**usual, **given})


def ring(x=12.0, z=-6.0, depth=0.3, name="rings", **given):
    return Pass(name=name, at=At(x=x, z=z, depth=depth), **given)


def found(*passes, **given):
    one = job(*passes, **given)
    return [str(each) for each in work_findings(one.piece, one.trace())]


def carved(*passes, **given):
    return job(*passes, **given).carve(backend="plain")


def said(carving):
    return [str(each) for each in carving_findings(carving)]


@pytest.mark.parametrize(("piece", "z"), [(BARREL, (0.0, -6.0, -12.0)), (VASE, (0.0, -7.0, -20.0))], ids=["barrel", "turned"])
def test_a_side_cut_between_its_ends_gives_no_finding(piece, z):
    for at in z:
        radius = float(np.interp(-at, [0, 7, 10, 12, 20], [10, 11.7, 12, 12, 9])) if piece is VASE else 12.0
        assert found(ring(x=radius, z=at, depth=0.1), piece=piece) == []


def test_a_tip_beyond_an_end_of_a_barrel_gives_a_warning_with_distance_and_first_cut():
    """A barrel of 12 mm: rings at z -6, -9, -12 and -15 leave it by 3 mm at most, the fourth first."""
    assert found(ring().series(4, z=-3.0)) == [
        "warning (work): rings: the tip cuts up to 3 mm beyond the edge of the work, first in rings 4; begin nearer the middle"
    ]
    (message,) = found(ring(z=0.5))
    assert "up to 0.5 mm beyond the edge of the work, first in rings" in message


@pytest.mark.parametrize(("z", "radius"), [(2.0, 9.6), (-22.0, 8.2)])
def test_a_tip_beyond_an_end_of_a_turned_piece_gives_a_warning(z, radius):
    (message,) = found(ring(x=radius, z=z, depth=0.4), piece=VASE)
    assert "the tip cuts up to 2 mm beyond the edge of the work, first in rings" in message


def test_a_helix_that_runs_off_the_end_gives_a_warning():
    (message,) = found(ring(z=-2.0, turns=3, travel=At(z=-11.0)))
    assert "up to 1 mm beyond the edge of the work" in message


def test_a_tip_beyond_the_end_but_clear_of_the_work_gives_no_edge_warning():
    assert found(ring(x=14.0, z=3.0, depth=0.5)) == [
        (
            "warning (work): rings: the tip stays at least 1.5 mm away from the work and cuts nothing; depth is "
            "positive into the work"
        )
    ]


def test_a_tip_through_the_wall_of_a_barrel_gives_a_warning():
    """Half of 24 - 18 mm."""
    assert found(ring(depth=2.0).series(3, depth=0.75)) == [
        (
            "warning (work): rings: the tip goes 3.5 mm deep, first in rings 3, but the work is 3 mm thick; keep the "
            "tip clear of what holds the work"
        )
    ]


def test_the_thickness_of_a_turned_wall_is_that_under_the_pass():
    """Two straight walls: 2 mm at the end away from the headstock, 6 mm at the other."""
    cup = Turned(profile=((0, 12), (-20, 12)), hollow=((0, 10), (-20, 6)))
    assert found(ring(z=-18.0, depth=4.0), piece=cup) == []
    (message,) = found(ring(z=-1.0, depth=4.0), piece=cup)
    assert "the tip goes 4 mm deep, first in rings, but the work is 2.2 mm thick" in message
    (message,) = found(ring(z=-15.0, depth=4.0).series(2, z=12.0), piece=cup)
    assert "first in rings 1, but the work is 2.6 mm thick" in message


@pytest.mark.parametrize("past", [0.4, 11.6, 12.4])
def test_a_cutter_that_enters_through_deeper_wood_gives_a_warning(past):
    """A pass that says no x begins at the axis, and its depth counts on from there: to the far side, and out of it."""
    solid = Barrel(diameter=24.0, length=12.0)
    (message,) = found(ring(depth=0.0).series(2, x=-12.0 - past), piece=solid)
    assert message == (
        "warning (work): rings: during the plunge the tip is deeper in the wood than at the start of the pass, first in rings 2; "
        "start x at the radius of the work there"
    )
    assert found(ring(depth=11.0), piece=solid) == []


def test_a_plunge_is_checked_like_any_pass():
    (message,) = found(ring(z=-13.0, turns=0))
    assert "up to 1 mm beyond the edge of the work" in message
    (message,) = found(ring(depth=3.4, turns=0))
    assert "goes 3.4 mm deep" in message
    assert found(ring(turns=0)) == []


def test_correct_work_gives_no_finding():
    assert said(carved(ring(depth=0.9))) == []


def test_work_cut_through_is_a_problem_with_place_pass_and_step():
    message = said(carved(ring(z=-6.0, depth=2.0).series(3, depth=0.6), cutter=Ball(radius=4.0)))
    assert message == [
        (
            "problem (carving): rings 3: the work is cut through at 0 degrees, z -6 mm: the cut is 3.2 mm deep, the "
            "work 3 mm thick; cut less deep"
        )
    ]


def test_work_cut_to_exactly_its_thickness_is_cut_through():
    (message, _) = said(carved(ring(x=6.0, z=0.0, depth=3.0), piece=DISC, cutter=Ball(radius=1.0)))
    assert message.startswith("problem (carving): rings: the work is cut through at x ")
    assert message.endswith(": the cut is 3 mm deep, the work 3 mm thick; cut less deep")


BODY = "so the body of the cutter would be in the wood; cut less deep, or use a cutter with a higher edge"


def test_carved_work_deeper_than_the_height_of_the_edge_is_a_problem():
    """A vee of 90 degrees, 2 mm wide, is 1 mm high: half its width times the cotangent of 45 degrees."""
    assert said(carved(ring(depth=1.3))) == [
        f"problem (carving): rings: 1.3 mm deep at 0 degrees, z -6 mm, but the cutter's edge is 1 mm high, {BODY}"
    ]
    assert said(carved(ring(depth=1.0))) == []
    assert [str(each) for each in carving_findings(carved(ring(depth=1.3)), bodies=False)] == []


def bodies(*passes, **given):
    one = job(*passes, **given)
    return [str(each) for each in body_findings(one.piece, one.cutter, one.trace())]


HELD = (DrillingSpindle(), FixedTool(), EccentricFrame(radius=2.0), CuttingFrame(radius=9.0, angle_deg=20.0))
HIGH = (
    (Vee(angle_deg=90.0, width=2.0), 1.0),
    (Ball(radius=1.25), 1.25),
    (RoundNosed(radius=0.5, angle_deg=0.0, width=1.0), 0.5),
    (Profiled(points=((0.0, 0.0), (0.5, 0.25), (1.0, 0.75))), 0.75),
)
"""Cutters, and how high the edge of each is, by hand."""


@pytest.mark.parametrize("holder", HELD, ids=lambda holder: holder.kind)
@pytest.mark.parametrize(("cutter", "high"), HIGH, ids=lambda it: getattr(it, "kind", ""))
@pytest.mark.parametrize(("piece", "at"), [(DISC, (6.0, 0.0)), (BARREL, (12.0, -6.0)), (POT, (12.0, -10.0))])
def test_a_cut_deeper_than_the_height_of_the_edge_is_a_problem_before_carving(holder, cutter, high, piece, at):
    given = {"piece": piece, "cutter": replace(cutter, holder=holder)}
    deep = [ring(*at, depth=high).series(3, depth=0.1), ring(*at, depth=high)]
    assert bodies(*deep, **given) == [
        (
            f"problem (work): rings: the tip goes {high + 0.2:g} mm deep, first in rings 2, but the cutter's edge is "
            f"{high:g} mm high, {BODY}"
        )
    ]


def test_a_pass_of_increasing_depth_is_checked_over_its_whole_length():
    plunge = ring(6.0, 0.0, depth=0.4, turns=0, travel=At(depth=0.9))
    assert len(bodies(plunge, piece=DISC)) == 1
    assert bodies(replace(plunge, travel=At(depth=0.6)), piece=DISC) == []


def test_pens_flat_ends_and_tips_beside_the_work_have_no_body_in_the_wood():
    deep = ring(6.0, 0.0, depth=2.0)
    assert bodies(deep, piece=DISC, cutter=Pen()) == []
    assert bodies(deep, piece=DISC, cutter=FlatEnd(width=2.0)) == []
    assert bodies(ring(15.0, 0.0, depth=2.0), piece=DISC) == []
    assert bodies(ring(12.0, 3.0, depth=2.0), piece=BARREL) == []


def test_the_height_of_an_edge_is_reported_in_the_units_of_the_job():
    (message,) = bodies(ring(6.0, 0.0, depth=2.0), piece=DISC, units="inch")
    assert "the tip goes 0.0787 in deep, first in rings, but the cutter's edge is 0.0394 in high" in message


def test_a_job_s_check_finds_a_body_in_the_wood_once():
    findings = job(ring(depth=1.3)).check()
    assert [each.level for each in findings if BODY in each.message] == ["problem"]


def test_a_flat_end_has_no_height_to_be_too_low():
    assert said(carved(ring(depth=1.3), cutter=FlatEnd(width=2.0))) == []


def test_a_cutter_that_touches_nothing_gives_a_warning():
    nothing = "warning (carving): whole job: no cutter reaches into the work; "
    assert said(carved(ring(depth=-0.5))) == [nothing + "depth is positive into the work, and the slides position the tip"]
    beside = carved(ring(x=20.0, z=0.0, depth=0.5), piece=DISC)
    assert said(beside) == [
        nothing + "the tip is deep enough, but beside the work: move x, y or z so that the tip is over the work"
    ]


def test_the_wall_under_a_tip_between_rays_is_measured():
    """A wall of 2 mm, cut 2.05 mm deep by a narrow vee 0.2 mm from the nearest rows of rays: 0.2 cot 15 less deep there."""
    through = carved(ring(z=-6.2, depth=2.05), piece=replace(BARREL, bore=20.0), cutter=Vee(angle_deg=30.0, width=1.0))
    assert through.depth.max() == pytest.approx(2.05 - 0.2 / math.tan(math.radians(15.0)), abs=1e-4)
    assert through.deepest == through.thinnest
    assert through.thinnest.wall == pytest.approx(-0.05, abs=1e-6)
    assert said(through)[0] == (
        "problem (carving): rings: the work is cut through at 0 degrees, z -6.2 mm: the cut is 2.05 mm deep, the "
        "work 2 mm thick; cut less deep"
    )


def test_a_piece_without_a_view_is_treated_as_a_face():
    """As a plugin's piece may: it has an outline and a surface, and no more."""
    cut = carved(ring(x=6.0, z=0.0, depth=0.5), piece=DISC)
    plate = replace(cut, piece=SimpleNamespace(form="plate", outline=DISC.outline, surface=DISC.surface))
    assert plate.deepest == cut.deepest
    assert said(plate) == said(cut) == []


def test_a_frame_whose_spindle_would_be_in_the_wood_is_found():
    deep = carved(ring(depth=2.0), cutter=FlatEnd(width=2.0, holder=CuttingFrame(radius=1.5)))
    where = "rings: 2 mm deep at 0 degrees, z -6 mm"
    assert (
        said(deep)[-1]
        == f"problem (carving): {where}, but the frame's radius is 1.5 mm, so the spindle of the frame would be in the wood"
    )


def lines(*passes, units="mm", **given):
    return carving_summary(carved(*passes, **given), units)


def test_a_summary_lists_rays_volume_land_deepest_thinnest_and_ridges():
    """A flat end takes 5 of 31 rows of a barrel; pi (12^2 - 11.5^2) times 2 mm. The ridge between balls of 1 mm, 1.6 mm apart:
    1 - sqrt(1 - 0.8^2)."""
    assert lines(ring(depth=0.5), cutter=FlatEnd(width=2.0 + 1e-6)) == [
        "carved on 31 x 189 rays, 0.4 mm apart",
        "removed 73.8 cubic mm; 83.3 % of the surface is untouched",
        "deepest 0.5 mm at 0 degrees, z -5.2 mm, by rings",
        "least wall left 2.5 mm at 0 degrees, z -5.2 mm",
    ]
    assert lines(ring(depth=0.5).series(2, z=-1.6), cutter=Ball(radius=1.0), chord=1e-4)[-1] == (
        "ridges between grooves stand up to 0.4 mm above the floors of the grooves"
    )


def test_a_summary_in_inches():
    """One inch is 25.4 mm (Federal Register, 30 June 1959): 73.8 cubic mm are 0.0045 cubic inches, 0.5 mm 0.01969 in."""
    assert lines(ring(depth=0.5), cutter=FlatEnd(width=2.0 + 1e-6), units="inch") == [
        "carved on 31 x 189 rays, 0.01575 in apart",
        "removed 0.0045 cubic inches; 83.3 % of the surface is untouched",
        "deepest 0.01969 in at 0 degrees, z -0.20472 in, by rings",
        "least wall left 0.09843 in at 0 degrees, z -0.20472 in",
    ]


def test_a_summary_of_uncut_work_states_that_nothing_is_cut():
    assert lines(ring(depth=-0.5)) == [
        "carved on 31 x 189 rays, 0.4 mm apart",
        "removed 0 cubic mm; 100 % of the surface is untouched",
    ]
