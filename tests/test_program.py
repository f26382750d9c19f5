"""The program before it has a format: what moves when, how long it takes, and what hands must do."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.gearing.dividing_wheel import Wheel
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, CamShaft, HandAxis, Lathe
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, StraightLine
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import Approach, At
from lobework.program.program import Dwell, Feed, Feeds, Prompt, Rapid, Timed, program

EDGE = Wave(lobes=4, base_radius=60.0, rise=5.0)
FACE = Wave(lobes=24, base_radius=40.0, rise=2.0, on="face")
ALL = ("spindle C", "cam 1 A", "cam 2 B", "x X", "y Y", "z Z")


def lathe(*axes, chuck=None, **limits):
    made = []
    for each in axes or ALL:
        moves, letter = each.rsplit(" ", 1)
        low, high = limits.get(moves.replace(" ", "_"), (-np.inf, np.inf))
        made.append(Axis(moves=moves, letter=letter, low=low, high=high))
    bench = Lathe(name="bench", headstock=Headstock(sideways="slides", endways="pumps"), axes=tuple(made))
    return bench.mount(chuck) if chuck else bench


def traced(on, *items):
    cuts = []
    for group, item in enumerate(items, 1):
        cuts += list(cuts_of(item, on, first=len(cuts) + 1, group=group))
    return [trace(cut) for cut in cuts]


def ring(**given):
    return Pass(**{"name": "ring", "turns": 4, "at": At(x=24.0, depth=0.4), **given})


def waved(**given):
    return Drive(EDGE, **{"ratio": Fraction(3, 4), "follower": Roller(3.0), **given})


def steps_of(made):
    return [step for section in made.sections for step in section.steps]


def of_kind(made, kind):
    return [step for step in steps_of(made) if isinstance(step, kind)]


def test_the_tip_is_clear_before_anything_else_moves_fast():
    made = program("Lid", traced(lathe(), ring(cams=(waved(),)).series(4, x=-1.0)), Feeds(clear=4.0))
    height = None
    for step in steps_of(made):
        if isinstance(step, Rapid):
            assert set(step.to) == {"Z"} or "Z" not in step.to
            height = step.to.get("Z", height)
            assert height == 4.0
        elif isinstance(step, Feed):
            assert set(step.to) == {"Z"}
            height = step.to["Z"]
        elif isinstance(step, Timed):
            height = step.places[-1, step.letters.index("Z")]


def test_each_cut_is_approached_plunged_into_and_left():
    made = program("Lid", traced(lathe(), ring().series(3, x=-1.0)))
    for section in made.sections[1:]:
        assert [type(step) for step in section.steps] == [Rapid, Rapid, Feed, Dwell, Timed, Rapid]
    assert [type(step) for step in made.sections[0].steps] == [Prompt, Rapid, Rapid, Feed, Dwell, Timed, Rapid]


def test_nothing_moves_before_the_zeros_are_set_by_hand():
    made = program("Lid", traced(lathe(), ring()))
    first = steps_of(made)[0]
    assert isinstance(first, Prompt)
    assert "zeros" in first.instructions[0]


def test_the_plunge_ends_where_the_cut_begins():
    made = program("Lid", traced(lathe(), ring(at=At(x=24.0, z=-0.1, depth=0.3))), Feeds(plunge=45.0))
    (plunge,) = of_kind(made, Feed)
    assert (plunge.to, plunge.rate) == ({"Z": -0.4}, 45.0)


def test_time_is_turns_over_speed():
    made = program("Lid", traced(lathe(), ring(turns=Fraction(7, 2)).series(4, x=-1.0)), Feeds(spindle_rpm=2.5))
    assert [step.minutes.sum() for step in of_kind(made, Timed)] == pytest.approx([1.4] * 4, rel=1e-14)
    assert made.cutting == pytest.approx(5.6 + 4 * (5.0 + 0.4) / 60, rel=1e-12)


def test_turns_smaller_than_one_step_give_no_move():
    made = program("Lid", traced(lathe(), ring(turns=6.3e-11)), Feeds())
    assert of_kind(made, Timed) == []
    assert [feed.to for feed in of_kind(made, Feed)] == [{"Z": -0.4}]


def test_uniform_motion_is_one_move_from_the_first_sample_to_the_last():
    (one,) = traced(lathe(), ring(cams=(waved(phase="1/8 lobe"),), travel=At(x=-2.0, z=0.3)))
    made = program("Lid", [one])
    (cut,), (approach,) = of_kind(made, Timed), [step for step in of_kind(made, Rapid) if "X" in step.to]
    assert cut.places.shape == (1, 5)
    names = {"C": "spindle", "A": "cam 1", "X": "x", "Y": "y", "Z": "z"}
    ends = dict(zip(cut.letters, cut.places[0], strict=True))
    assert ends == pytest.approx({letter: one.axes[moves][-1] for letter, moves in names.items()}, abs=1e-12)
    assert approach.to == {letter: one.axes[moves][0] for letter, moves in names.items() if letter != "Z"}


def prompts(*items, on=None):
    """Return what hands are told to change, between stopping the cutter and starting it again."""
    changes = []
    for step in of_kind(program("Lid", traced(on or lathe(), *items)), Prompt)[1:]:
        before, *told, after = step.instructions
        assert before == "stop the cutter"
        assert after.startswith("start the cutter, then hands away")
        changes.append(tuple(told))
    return changes


def test_without_manual_changes_there_is_no_stop():
    assert prompts(ring(cams=(waved(),)).series(6, {"x": -1.0, "phase": "1/2 lobe", "depth": 0.1})) == []


def test_a_stepped_chuck_is_prompted_with_its_new_value():
    on = lathe(chuck=EccentricChuck(shift=2.0))
    said = prompts(ring().series(3, {"eccentric.shift": 0.5, "index": "1/96 turn"}), on=on)
    assert said == [
        ("set eccentric shift to 2.5 mm", "set eccentric index to 1/96 turn = 3.75 deg"),
        ("set eccentric shift to 3 mm", "set eccentric index to 1/48 turn = 7.5 deg"),
    ]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"index": "1/2 lobe"}, "set cam 1 index to 1/2 lobe = 45 deg"),
        ({"gain": 0.5}, "set cam 1 gain to 0.5"),
        ({"side": "back"}, "set cam 1 follower side to back"),
        ({"follower": Knife()}, "fit cam 1 follower: knife"),
    ],
)
def test_a_drive_changed_by_hand_is_prompted(change, message):
    drive = waved()
    ((said, *zeros),) = prompts(ring(cams=(drive,)), ring(cams=(replace(drive, **change),)))
    assert said == message
    assert [each.split(":")[0] for each in zeros[:1]] == ([] if "index" in change else ["zeros again"])


def test_a_new_cam_is_prompted_with_its_shape_and_an_unused_one_is_taken_off():
    two = (waved(), Drive(FACE, follower=Knife()))
    other = Drive(Wave(lobes=6, base_radius=60.0, rise=3.0), ratio=Fraction(3, 4), follower=Roller(3.0))
    (said,) = prompts(ring(cams=two), ring(cams=(other,)))
    assert said == (
        "take off cam 2",
        "take off cam 2 follower",
        "fit cam 1: wave, lobes 6, base radius 60 mm, rise 3 mm, on edge",
        "zeros again: spindle, phase and index at 0; let the follower bear",
        "with the tip on the spindle's axis, x must read -3 mm",
        "with the tip on the face of the work, z must read 0 mm",
        "shift the follower in its holder and the headstock until they are correct",
        "then lock the headstock endways: no cam moves it endways",
        "then set phase and index",
    )


def test_a_phase_is_set_by_hand_if_the_cam_is_on_the_spindle():
    on = lathe("spindle C", "x X", "z Z")
    (said,) = prompts(ring(cams=(waved(ratio=1),)).series(2, phase="1/4 lobe"), on=on)
    assert said == ("set cam 1 phase to 1/4 lobe = 22.5 deg",)


def test_wheels_and_notches_of_a_geared_cam_are_prompted_when_they_change():
    wheels = CamShaft(number=1, turned_by="gears", wheels=(20, 24, 32, 40))
    notches = HandAxis(moves="cam 1 phase", wheel=Wheel(circles=((("96", 96)),), marks="notches"))
    on = replace(lathe("spindle C", "x X", "z Z"), cams=(wheels,), hand=(notches,))
    first, last = ring(cams=(waved(),)), ring(cams=(waved(ratio="1/2", phase="1/12 turn"),))
    (said,) = prompts(first, last, on=on)
    assert "set cam 1 phase to 1/12 turn = 30 deg = 8 notches of 96" in said
    assert any(each.startswith("fit cam 1 gears: 20 drives 40") for each in said)


def test_a_slide_without_an_axis_is_set_by_hand():
    on = lathe("spindle C", "z Z")
    assert prompts(ring().series(2, x=-0.9), on=on) == [("set x slide to 23.1 mm",)]


def test_depth_without_an_axis_is_fed_and_withdrawn_by_hand():
    on = lathe("spindle C", "x X")
    made = program("Lid", traced(on, ring().series(2, x=-0.9)))
    said = [step.instructions[0] if isinstance(step, Prompt) else type(step).__name__ for step in steps_of(made)]
    ready = "set up the lathe and its zeros as the settings say"
    away, into = "withdraw the cutter by hand, 5 mm clear of the face", "feed the cutter in by hand to z -0.4 mm"
    assert said == [away, ready, "Rapid", into, "Timed", away, "Rapid", into, "Timed", away]


def test_only_axes_that_the_job_uses_are_moved():
    made = program("Lid", traced(lathe(), ring(cams=(waved(),))))
    assert [axis.letter for axis in made.axes] == ["C", "A", "X", "Y", "Z"]


def test_a_lathe_without_a_spindle_axis_is_refused():
    with pytest.raises(SettingError, match="spindle"):
        program("Lid", traced(lathe("x X", "z Z"), ring()))


def test_a_move_past_the_end_of_an_axis_is_refused_with_the_cut_and_the_axis():
    on = lathe(x=(20.0, 160.0))
    with pytest.raises(SettingError, match=r"cut 6 \(ring 6\): X would go to 19 mm, but the .* axis ends at 20 mm; "):
        program("Lid", traced(on, ring().series(8, x=-1.0)))


def test_a_move_past_the_end_of_an_axis_is_reported_in_the_units_of_the_program():
    with pytest.raises(
        SettingError, match=r"X would go to 0\.74803 in, but the travel of the lathe's x axis ends at 0\.7874 in; "
    ):
        program("Lid", traced(lathe(x=(20.0, 160.0)), ring().series(8, x=-1.0)), units="inch")


def test_clear_beyond_the_z_axis_is_refused():
    with pytest.raises(SettingError, match="Z would go to 5 mm"):
        program("Lid", traced(lathe(z=(-60.0, 4.0)), ring()))


def test_a_tip_that_would_not_be_clear_of_the_cut_is_refused():
    with pytest.raises(SettingError, match=r"clear=5: must be above 6 mm"):
        program("Lid", traced(lathe(), ring(at=At(x=24.0, z=-0.2), travel=At(z=6.2))))


@pytest.mark.parametrize("turns", [2, Fraction(1, 24)])
def test_a_tip_that_would_not_be_clear_of_a_pumped_face_is_refused(turns):
    """On the back, a face cam of 2 mm rise brings the work 2 mm nearer, whichever part of it the cut itself uses."""
    pumped = ring(turns=turns, cams=(Drive(FACE, follower=Knife(), side="back", ratio=Fraction(1, 48)),))
    with pytest.raises(SettingError, match=r"clear=1\.9: must be above 2 mm"):
        program("Lid", traced(lathe(), pumped), Feeds(clear=1.9))
    program("Lid", traced(lathe(), pumped), Feeds(clear=2.1))


@pytest.mark.parametrize(
    ("chuck", "turns", "back"),
    [
        (StraightLine(per_turn=5.0, travel=30.0), 4, True),
        (StraightLine(per_turn=0.0, travel=30.0), 4, False),
        (Oval(throw=3.0, swing=1.0, swings="1/3"), 4, True),
        (Oval(throw=3.0, swing=1.0, swings="1/3"), 6, False),
        (Oval(throw=3.0), Fraction(7, 2), True),
        (EccentricChuck(shift=3.0), Fraction(7, 2), False),
    ],
)
def test_the_spindle_turns_back_before_a_chuck_that_it_drives_is_set_by_hand(chuck, turns, back):
    """The slide that the spindle drives goes back with it, to where the settings say that the next cut begins."""
    made = program("Lid", traced(lathe(chuck=chuck), ring(turns=turns, cams=(waved(),)).series(2, index="1/4 turn")))
    first = made.sections[0].steps
    assert (first[-1] == Rapid({"C": 0.0, "A": 0.0})) == back
    assert isinstance(made.sections[1].steps[0], Prompt)


def test_a_tip_that_would_not_be_clear_of_a_tilted_face_is_refused():
    """A disc of 60 mm tilted by 30 degrees about its middle stands 30 sin 30 = 15 mm out at its rim."""
    tilted = traced(lathe(chuck=Dome(tilt_deg=30.0)), ring())
    disc = Disc(diameter=60.0, thickness=8.0)
    with pytest.raises(SettingError, match=r"clear=14\.9: must be above 15 mm"):
        program("Lid", tilted, Feeds(clear=14.9), piece=disc)
    program("Lid", tilted, Feeds(clear=15.1), piece=disc)


def test_the_error_states_the_clear_height_for_all_cuts():
    """Tilted by 20, 25 and 30 degrees, the rim of 60 mm stands 30 sin 30 = 15 mm out at the third cut."""
    tilted = traced(lathe(chuck=Dome(tilt_deg=20.0)), ring().series(3, **{"dome.tilt": 5}))
    message = r"clear=5: must be above 15 mm, the highest point of cut 3 \(ring 3\) or of the face of the work; raise clear"
    with pytest.raises(SettingError, match=message):
        program("Lid", tilted, piece=Disc(diameter=60.0, thickness=8.0))


def test_a_tip_that_would_not_be_clear_of_the_side_of_tilted_work_is_refused():
    """A barrel 40 mm long and of 10 mm radius, tilted square about the middle of its end: it reaches out by its length, and
    its far end by the corner's distance."""
    approach = Approach(axis="x", surface=10.0)
    cuts = cuts_of(ring(turns=0, at=At(x=10.0, depth=0.3)), lathe(chuck=Dome(tilt_deg=90.0)), approach=approach)
    tilted, barrel = [trace(cut) for cut in cuts], Barrel(diameter=20.0, length=40.0)
    reach = np.hypot(40.0, 10.0) - 10.0
    with pytest.raises(SettingError, match=f"must be above {reach:.5g}"):
        program("Lid", tilted, Feeds(clear=reach - 0.01), piece=barrel)
    program("Lid", tilted, Feeds(clear=reach + 0.01), piece=barrel)


@pytest.mark.parametrize(
    "wrong",
    [
        {"spindle_rpm": 0.0},
        {"spindle_rpm": -2.0},
        {"clear": 0.0},
        {"plunge": 0.0},
        {"spindle_rpm": np.nan},
        {"feed": 0.0},
        {"tolerance": 0.0},
        {"dwell": -1.0},
        {"pace": "hurried"},
    ],
)
def test_invalid_feeds_are_refused_with_their_name(wrong):
    with pytest.raises(SettingError, match=next(iter(wrong))):
        Feeds(**wrong)


def test_a_job_without_a_cut_is_refused():
    with pytest.raises(SettingError, match="traces=0"):
        program("Lid", [])


def test_the_plunge_respects_the_limits_of_its_axis():
    """From rest to rest over d, half of it to speed up: v^2 <= a d."""
    slow = replace(lathe(), axes=tuple(replace(axis, top_speed=2.0, acceleration=0.5) for axis in lathe().axes))
    (plunge,) = of_kind(program("Lid", traced(slow, ring()), Feeds(plunge=600.0)), Feed)
    assert plunge.rate / 60 == pytest.approx(np.sqrt(0.5 * 5.4), rel=1e-4)


def test_a_job_that_never_turns_the_spindle_needs_no_axis_for_it():
    flute = ring(turns=0, travel=At(x=-6.0))
    made = program("Lid", traced(lathe("x X", "z Z"), flute), Feeds(feed=120.0))
    assert [axis.letter for axis in made.axes] == ["X", "Z"]
    (cut,) = of_kind(made, Timed)
    assert cut.minutes.sum() == pytest.approx(6.0 / 120.0, rel=1e-9)
