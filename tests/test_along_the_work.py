"""Passes along the work: flutes while the spindle stands, ropes, twisted rings; from the job file to sheet, program and wood."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from lobework.checks.check import closure_findings, travel_findings
from lobework.errors import SettingError, TooLargeError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_job
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.hand_settings import by_hand
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel
from lobework.parts.slide import Approach, At, SlideArc
from lobework.parts.twist import Twist
from lobework.program.program import program
from lobework.program.steps import Timed
from lobework.sheets.settings import settings as sheet_of
from tests.carving import BACKENDS
from tests.strategies import cut_on, fixed, sliding
from tests.test_bad_input import bench  # noqa: F401 - a fixture

RADIUS, DEEP, BALL = 12.0, 0.8, 2.0
BARREL = Barrel(diameter=2 * RADIUS, length=40.0)
FLUTE = Pass(name="flutes", turns=0, at=At(x=RADIUS, z=-5.0, depth=DEEP), travel=At(z=-30.0))
SIDE = Approach(axis="x", surface=RADIUS)


def job(*passes, lathe=None, **given):
    return Job(title="Tide box", lathe=lathe or fixed(), piece=BARREL, cutter=Ball(radius=BALL), passes=list(passes), **given)


def overlap(apart, radius, other):
    """The area that two circles have in common, mm^2; from memory."""
    first = (apart**2 + radius**2 - other**2) / (2 * apart * radius)
    second = (apart**2 + other**2 - radius**2) / (2 * apart * other)
    under = (-apart + radius + other) * (apart + radius - other) * (apart - radius + other) * (apart + radius + other)
    return radius**2 * math.acos(first) + other**2 * math.acos(second) - math.sqrt(under) / 2


@pytest.mark.parametrize("backend", BACKENDS, ids=lambda backend: backend.name)
def test_a_flute_has_the_section_of_two_overlapping_circles(backend):
    """A ball led along a cylinder leaves, away from the ends, what two circles have in common."""
    carving = job(FLUTE, chord=0.01).carve(0.1, backend=backend.name)
    inside = (carving.stock.row_positions > 8) & (carving.stock.row_positions < 32)
    deep = carving.depth[inside].astype(np.float64)
    section = ((RADIUS**2 - (RADIUS - deep) ** 2) / 2).sum(axis=1) * carving.stock.column_step
    assert section == pytest.approx(overlap(RADIUS - DEEP + BALL, RADIUS, BALL), rel=0.01)
    assert deep.max() == pytest.approx(DEEP, abs=1e-3)


def test_flutes_are_spaced_by_the_spindle_step():
    traces = job(FLUTE.series(5, spindle="1/5 turn")).trace()
    for number, path in enumerate(traces):
        assert np.angle((path.x + 1j * path.y) * np.exp(2j * math.pi * number / 5)) == pytest.approx(0, abs=1e-12)
        assert np.hypot(path.x, path.y) == pytest.approx(RADIUS - DEEP, abs=1e-12)
        assert (path.z[0], path.z[-1]) == pytest.approx((-5.0, -35.0))
        assert path.axes["spindle"] == pytest.approx(72.0 * number)


def test_a_flute_can_follow_an_arc():
    arc = SlideArc(radius=30.0, from_deg=60.0, to_deg=110.0, cutter="keeps")
    path = trace(Cut(number=1, passed=Pass(turns=0, arc=arc, at=At(x=-10.0, z=-20.0)), lathe=fixed()))
    assert np.hypot(path.x + 10.0, path.z + 20.0) == pytest.approx(30.0, abs=1e-9)
    assert path.y == pytest.approx(0.0)
    assert path.u[-1] == 1.0


def test_a_flute_has_no_closure_finding_and_its_ends_are_checked_against_the_travel():
    lathe = replace(
        fixed(), axes=(Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z", low=-30))
    )
    cut = Cut(number=1, passed=FLUTE, lathe=lathe, approach=SIDE)
    assert list(closure_findings([cut], [trace(cut)])) == []
    assert [str(each) for each in travel_findings([cut], [trace(cut)])] == [
        "problem (travel): flutes, z: goes to -35 mm; the travel of Z ends at -30 mm"
    ]


def test_the_time_of_a_flute_is_its_length_divided_by_the_feed():
    """30 mm at 120 mm a minute."""
    traces = job(FLUTE.series(2, spindle="1/5 turn")).trace()
    made = program("Tide box", list(traces), Feeds(feed=120.0), piece=BARREL)
    assert len(made.sections) == 2
    timed = [step for section in made.sections for step in section.steps if isinstance(step, Timed)]
    assert sum(step.minutes.sum() for step in timed) == pytest.approx(2 * 30 / 120, rel=1e-6)
    assert {letter for step in timed for letter in step.letters} <= {"X", "Z", "C", "Y"}


def test_the_sheet_states_that_the_slides_move_while_the_spindle_is_still():
    sheet = sheet_of("Tide box", fixed(), BARREL, Ball(radius=BALL), list(cuts_of(FLUTE.series(3, spindle="1/3 turn"), fixed())))
    told = {entry.name: entry.value for group in sheet.groups if group.name == "pass 1: flutes" for entry in group.entries}
    assert told["spindle turns"] == "none: the slides move while the spindle stands still"
    assert told["travels by z"] == "-30 mm"
    assert sheet.steps[0].columns[0].name == "spindle"
    assert sheet.steps[0].columns[0].by == "program"
    assert [row.values for row in sheet.steps[0].rows] == [("0 deg",), ("1/3 turn = 120 deg",), ("2/3 turn = 240 deg",)]


def test_a_spindle_without_an_axis_is_turned_by_hand():
    lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=(Axis(moves="z", letter="Z"),))
    first, second = cuts_of(FLUTE.series(2, spindle="1/96 turn"), lathe)
    assert str(by_hand(first)["spindle"]) == "set spindle to 0 deg"
    assert str(by_hand(second)["spindle"]) == "set spindle to 1/96 turn = 3.75 deg"


TWISTED = """
title = "Tide box"
lathe = "{lathe}"
piece = {{ form = "barrel", diameter = "2 in", length = "2 1/4 in" }}
cutter = {{ kind = "ball", radius = 1 }}

[[pass]]
name = "rings"
at = {{ x = "1 in", z = -4, depth = 0.5 }}
{more}

[[pass.cam]]
shape = "wave"
lobes = 8
base_radius = 60
rise = 1
follower = {{ kind = "knife" }}
twist = {{ {twist} }}

[pass.series]
count = {count}
each = {{ {each} }}
"""


def written(folder, *, lathe="rocking-bench", more="", twist="angle = 90, over = 48, from = -4", count=3, each="z = -2"):
    path = folder / "lid.toml"
    path.write_text(TWISTED.format(lathe=lathe, more=more, twist=twist, count=count, each=each), encoding="utf-8")
    return path


def test_the_rings_of_a_locked_cam_have_their_phases_in_the_steps_to_set_by_hand(tmp_path):
    """Two notches of 96 are 7.5 degrees, and 4 mm of 48 a twelfth of 90 degrees."""
    made = read_job(written(tmp_path, lathe="hand-bench", each="z = -4"))
    steps = made.settings().steps[0]
    assert [(column.name, column.by) for column in steps.columns] == [("z", "hand"), ("cam 1 phase", "hand")]
    phases = ["0 deg = 0 notches of 96", "1/48 turn = 7.5 deg = 2 notches of 96", "1/24 turn = 15 deg = 4 notches of 96"]
    assert [row.values[1] for row in steps.rows] == phases
    assert [by_hand(cut)["cam 1 phase"].value for cut in made.cuts()] == phases


def test_a_phase_that_is_not_a_simple_fraction_is_shown_in_degrees(tmp_path):
    """2.1 mm of 50.8, in the first sixth: 22.5 times (2.1 / 50.8)^2 / (2 / 6) / (5 / 6) degrees."""
    made = read_job(
        written(tmp_path, twist="angle = '1/2 lobe', over = '2 in', from = -4, ease = '1/6'", each="z = -2.1", count=2)
    )
    told = 22.5 * (2.1 / 50.8) ** 2 / (2 / 6) / (5 / 6)
    assert made.settings().steps[0].rows[1].values == ("-6.1 mm", f"{told:.6f} deg")


def test_the_sheet_shows_the_twist_of_a_cam(tmp_path):
    made = read_job(written(tmp_path, twist="angle = '-1 lobe', over = '2 in', from = -4, ease = '1/6'"))
    told = {entry.name: entry.value for group in made.settings().groups if group.name == "cam 1" for entry in group.entries}
    assert told["twist"] == "-1 lobe = -45 deg over 50.8 mm from z -4 mm on, eased over the first and the last 1/6"
    assert [column.by for column in made.settings().steps[0].columns] == ["program", "program"]


def test_a_series_may_step_the_angle_of_a_twist(tmp_path):
    """Once to the right and once to the left: the two cross."""
    made = read_job(written(tmp_path, more="travel = { z = -48 }\nturns = 10", count=2, each="twist = -180"))
    right, left = (motion_of(cut).axes(np.array([0.0, 10.0]))["cam 1"] for cut in made.cuts())
    assert right == pytest.approx([0.0, 3690.0])
    assert left == pytest.approx([0.0, 3510.0])
    assert made.settings().steps[0].rows[1].values == ("-1/4 turn = -90 deg",)


WRONG = {
    "neither over nor turns": (
        {"twist": "angle = 90"},
        "pass[1].cam[1].twist: neither over nor turns is given; write either over (a length) or turns (of the spindle)",
    ),
    "both over and turns": (
        {"twist": "angle = 90, over = 50, turns = 2"},
        "pass[1].cam[1].twist: both over and turns are given; write either over (a length) or turns (of the spindle)",
    ),
    "over nothing": (
        {"twist": "angle = 90, over = 0"},
        "pass[1].cam[1].twist.over: 0 must be a length above zero; to reverse the twist, write a negative angle",
    ),
    "in no turns": (
        {"twist": "angle = 90, turns = 0"},
        "twist.turns: 0 must be above zero; to reverse the twist, write a negative angle",
    ),
    "from somewhere, by turns": (
        {"twist": "angle = 90, turns = 2, from = 3"},
        "twist.from: 3 must be left out if turns is given",
    ),
    "eased more than a half": (
        {"twist": "angle = 90, over = 50, ease = 0.6"},
        "pass[1].cam[1].twist.ease: 0.6 must be the fraction of the length at each end, 0 to 1/2",
    ),
    "no angle": ({"twist": "over = 50"}, "pass[1].cam[1].twist.angle: is missing"),
    "no such key": ({"twist": "angle = 90, over = 50, lead = 3"}, "pass[1].cam[1].twist.lead: there is no such key"),
    "a helix on a locked cam": (
        {"lathe": "geared-bench", "more": "travel = { z = -1 }"},
        "gears turn cam 1, so the cam's phase cannot drift along the work during the cut; give the cam its own motor, or cut",
    ),
    "from turn to turn while the spindle stands": (
        {"more": "turns = 0\ntravel = { z = -1 }", "twist": "angle = 90, turns = 2"},
        (
            "twist.turns=2: the spindle stands still in this pass; write twist.over, the length along the work over which the "
            "cam twists"
        ),
    ),
    "a phase between notches": (
        {"lathe": "hand-bench", "each": "z = -1"},
        "cam[1].phase: ",
    ),
    "a spindle turned on by lobes": ({"more": "spindle = '1 lobe'"}, "pass[1].spindle: '1 lobe' must be in degrees or turns"),
}


@pytest.mark.parametrize("case", WRONG)
def test_invalid_values_are_refused_in_one_line(case, bench):  # noqa: F811 - the fixture
    given, message = WRONG[case]
    written(bench.folder, **given)
    for command in ("settings", "program"):
        line = bench.refusal(command, bench.job)
        assert line.startswith(f"{bench.job}:")
        assert message in line


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"over": "2 in"}, "over='2 in': must be a plain number, in mm"),
        ({"over": math.nan}, "over=nan: must be a length above zero"),
        ({"over": 50.0, "start": math.nan}, "from=nan: must be a length within a kilometre"),
        ({"over": 50.0, "angle": "1e7 lobe"}, "angle=10000000 lobe: must be at most 1000000 turns or lobes of the cam"),
        ({"turns": -1}, "turns=-1: must be above zero; to reverse the twist, write a negative angle"),
    ],
)
def test_a_twist_in_python_has_the_same_limits(given, message):
    with pytest.raises(SettingError, match=f"^{re.escape(message)}"):
        Twist(**{"angle": "90 deg", **given})


def test_a_trace_too_large_for_memory_is_refused_first():
    """A hundred million lobes go by in one flute."""
    twist = Twist(angle="1000000 turn", over=0.001)
    drive = Drive(Wave(lobes=100, base_radius=60.0, rise=1.0), follower=Knife(), twist=twist)
    with pytest.raises(TooLargeError, match="less twist"):
        trace(cut_on(sliding(), drive, turns=0, at=At(x=20.0), travel=At(z=-30.0)))
