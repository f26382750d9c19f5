"""What a lathe can be set to: screws, notches, gears and limits, from the lathe to the sheet, the program and the check."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lobework.checks.check import travel_findings
from lobework.errors import SettingError
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_lathe, shipped_lathes
from lobework.lathe.hand_settings import by_hand
from lobework.lathe.lathe import Axis, HandAxis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.camshaft import CamShaft
from lobework.parts.chuck import Oval, PlainChuck
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.program.steps import Prompt
from lobework.quantities.units import Phase

SPINDLE = Axis(moves="spindle", letter="C")
TENTHS = Screw(lead=2.54, divisions=10)
BY_HAND = (
    HandAxis(moves="x", screw=TENTHS, low=-40.0, high=100.0),
    HandAxis(moves="z", screw=TENTHS),
    HandAxis(moves="cam 1 phase", wheel=Wheel([96], marks="notches"), low=0.0, high=180.0),
)
BENCH = Lathe(name="bench", headstock=Headstock(sideways="rocks", pivot_height=250.0), axes=(SPINDLE,), hand=BY_HAND)
WAVE = Drive(Wave(lobes=12, base_radius=62.0, rise=2.0), follower=Roller(3.0))


def rings(count=3, out=24.0, ratio=1, **each):
    drive = replace(WAVE, ratio=ratio)
    return Pass(name="rings", at=At(x=out, depth=0.4), cams=(drive,)).series(count, each or {"x": -0.9, "phase": "1/2 lobe"})


def job(passed, lathe=BENCH, **settings):
    work, cutter = Disc(diameter=120.0, thickness=8.0), Vee(angle_deg=90.0, width=3.0)
    return Job(title="Tide box, lid", lathe=lathe, piece=work, cutter=cutter, passes=[passed], **settings)


def said(sheet, group, name):
    entries = next(each.entries for each in sheet.groups if each.name.startswith(group))
    return next(entry.value for entry in entries if entry.name == name)


def prompts(program):
    return " / ".join(
        thing for section in program.sections for step in section.steps if isinstance(step, Prompt) for thing in step.instructions
    )


def test_the_settings_show_a_hand_set_slide_in_turns_of_its_screw_and_a_phase_in_notches():
    """24 mm on ten threads to the inch are 24 / 2.54 = 9.449 turns; half a lobe of twelve is 1/24 turn, 4 notches of 96."""
    sheet = job(rings()).settings()
    assert said(sheet, "pass 1", "begins at x") == "24 mm = 9 turns 4.5 div of its screw"
    assert said(sheet, "pass 1", "begins at depth") == "0.4 mm = 1.6 div of its screw"
    assert said(sheet, "cam 1", "phase") == "0 deg = 0 notches of 96"
    assert [step.values for step in sheet.steps[0].rows] == [
        ("24 mm = 9 turns 4.5 div of its screw", "0 deg = 0 notches of 96"),
        ("23.1 mm = 9 turns 0.9 div of its screw", "1/2 lobe = 15 deg = 4 notches of 96"),
        ("22.2 mm = 8 turns 7.4 div of its screw", "1 lobe = 30 deg = 8 notches of 96"),
    ]
    assert [column.by for column in sheet.steps[0].columns] == ["hand", "hand"]


def test_the_program_stops_for_settings_by_hand_with_the_words_of_the_sheet():
    stops = prompts(job(rings()).program())
    assert "set x slide to 23.1 mm = 9 turns 0.9 div of its screw" in stops
    assert "set cam 1 phase to 1/2 lobe = 15 deg = 4 notches of 96" in stops
    assert "feed the cutter in by hand to z -0.4 mm = -1.6 div of its screw" in stops


def test_steps_of_a_hand_set_slide_may_be_turns_and_those_of_a_phase_notches():
    cuts = job(rings(x="-1 turn", phase="4 notches of 96")).cuts()
    assert [cut.passed.at.x for cut in cuts] == pytest.approx([24.0, 21.46, 18.92])
    assert [cut.passed.cams[0].phase for cut in cuts] == [Phase.of(f"{n} turn") for n in ("0", "1/24", "1/12")]


def test_a_step_between_notches_is_refused_with_its_series_step():
    with pytest.raises(SettingError, match=r"pass\[1\]\.series step 2, cam\[1\]\.phase: 1/36 turn must coincide with a notch"):
        job(rings(phase="1/3 lobe")).settings()


def test_settings_by_hand_are_checked_against_the_ends_of_travel():
    far = job(rings(count=2, out=101.0))
    found = [finding for finding in far.check() if finding.kind == "travel"]
    assert [str(finding) for finding in found] == [
        (
            "problem (travel): rings 1, x: is set to 101 mm, 39 turns 7.6 div of its screw; its travel ends at 100 mm, "
            "39 turns 3.7 div of its screw"
        ),
        (
            "problem (travel): rings 2, x: is set to 100.1 mm, 39 turns 4.1 div of its screw; its travel ends at 100 mm, "
            "39 turns 3.7 div of its screw"
        ),
    ]
    with pytest.raises(
        SettingError, match=r"the x slide would be set to 101 mm = .*, but its travel ends at 100 mm = 39 turns 3.7 div"
    ):
        far.program()


def test_a_phase_beyond_the_travel_of_its_wheel_is_a_problem():
    (phase,) = [finding for finding in job(rings(count=2, phase="7/12 turn")).check() if finding.kind == "travel"]
    assert str(phase) == "problem (travel): rings 2, cam 1 phase: is set to 210 degrees; its travel ends at 180 degrees"


def test_a_hand_set_slide_cannot_travel_during_a_cut():
    with pytest.raises(
        SettingError, match=r"travel\.z: .* no axis that moves the z, which is set by hand; its axes move: spindle$"
    ):
        job(Pass(at=At(x=24.0), travel=At(z=-5.0))).settings()


def geared(*wheels):
    return replace(BENCH, cams=(CamShaft(number=1, turned_by="gears", wheels=wheels),))


def test_the_settings_list_the_gears_of_a_cam_and_whether_an_idle_wheel_is_needed():
    sheet = job(rings(ratio="1/3"), geared(20, 30, 40, 60)).settings()
    assert said(sheet, "cam 1", "gears") == "20 drives 60; one idle wheel: the cam turns in the direction of the spindle"
    sheet = job(rings(ratio="-1/3"), geared(20, 30, 40, 60)).settings()
    assert said(sheet, "cam 1", "gears") == "20 drives 60; no idle wheel: the cam turns against the spindle"


def test_gears_and_the_phase_of_a_geared_cam_are_set_by_hand():
    (cut, *_) = job(rings(ratio="1/3"), geared(20, 60)).cuts()
    by_what = by_hand(cut)
    assert str(by_what["cam 1 gears"]).startswith("fit cam 1 gears: 20 drives 60")
    assert "cam 1 phase" in by_what


def test_a_cam_in_software_is_neither_fitted_nor_set_by_hand():
    lathe = read_lathe("computed-bench")
    (cut, *_) = job(rings(ratio="5/7"), lathe).cuts()
    assert not [what for what in by_hand(cut) if what.startswith("cam 1")]
    sheet = job(rings(ratio="5/7"), lathe).settings()
    assert [column.by for column in sheet.steps[0].columns] == ["program", "program"]
    assert said(sheet, "cam 1", "turned by").endswith("the x slide follows its lift")


def test_the_settings_show_the_percent_of_a_motor_control():
    motor = Axis(moves="cam 1", letter="A")
    slides = Axis(moves="x", letter="X"), Axis(moves="z", letter="Z")
    by_percent = CamShaft(number=1, turned_by="motor", percent_places=2)
    lathe = Lathe(name="bench", headstock=BENCH.headstock, axes=(SPINDLE, motor, *slides), cams=(by_percent,))
    assert said(job(rings(ratio="3/4"), lathe).settings(), "cam 1", "percent to set") == "75 %"
    assert said(job(rings(ratio="2/3"), lathe).settings(), "cam 1", "percent to set").startswith("66.67 %, the nearest")


@pytest.mark.parametrize("name", shipped_lathes())
def test_every_built_in_lathe_writes_a_program_within_its_travel(name):
    lathe = read_lathe(name)
    waved = lathe.headstock.sideways != "fixed" or any(cam.turned_by == "software" for cam in lathe.cams)
    passed = rings(count=2) if waved else Pass(at=At(x=24.0, depth=0.4)).series(2, x=-0.9)
    whole = job(passed, lathe)
    assert len(whole.program().sections) == 2
    assert not list(travel_findings(whole.cuts(), whole.trace()))


def indexed(**travel):
    """A lathe on which nothing is driven but the slides, its spindle held by a wheel of 96 notches."""
    slides = Axis(moves="x", letter="X"), Axis(moves="z", letter="Z")
    spindle = HandAxis(moves="spindle", wheel=Wheel([96], marks="notches"), **travel)
    return Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=slides, hand=(spindle,))


def test_a_spindle_without_a_motor_is_set_by_the_notches_of_its_wheel():
    dots = Pass(name="dots", turns=0, at=At(x=24.0, depth=0.4)).series(3, spindle="1/12 turn")
    sheet = job(dots, indexed()).settings()
    assert [step.values for step in sheet.steps[0].rows] == [
        ("0 deg = 0 notches of 96",),
        ("1/12 turn = 30 deg = 8 notches of 96",),
        ("1/6 turn = 60 deg = 16 notches of 96",),
    ]
    with pytest.raises(SettingError, match=r"series step 2, spindle: 1/7 turn must coincide with a notch"):
        job(Pass(turns=0, at=At(x=24.0)).series(2, spindle="1/7 turn"), indexed()).settings()


def test_the_spindles_wheel_has_ends_of_travel_for_an_index_of_the_work():
    turned = PlainChuck(index="1/4 turn")
    (found,) = [each for each in job(Pass(turns=0), indexed(high=45.0).mount(turned)).check() if each.kind == "travel"]
    assert str(found).endswith("spindle by hand: is set to 90 degrees; its travel ends at 45 degrees")


def test_a_misspelt_fitting_gives_a_suggestion():
    lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), fittings=("rng",))
    with pytest.raises(SettingError, match=r"needs 'ring', and lathe 'bench' has 'rng'; did you mean 'ring'\?; use a lathe"):
        lathe.mount(Oval(throw=5.0))
