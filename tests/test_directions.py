"""Which way plus is, by eye: each sentence beside the model; and axes that are wired the other way."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from lobework.errors import InputError, SettingError
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_job
from lobework.kinematics.motion import motion_of
from lobework.lathe.lathe import Axis, CamShaft, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import MotionLaw
from lobework.parts.chuck import Dome, EccentricChuck, PlainChuck
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At, SlideArc
from lobework.sheets.directions import DIRECTIONS, SEEN, directions, plus_of, trial_of, trials
from lobework.targets import moves
from lobework.targets.rs274 import render
from tests.drawn_programs import drawn
from tests.search import examples, seed

MOVES = (("spindle", "C"), ("x", "X"), ("z", "Z"), ("cam 1", "A"), ("cutter", "B"))
AXES = tuple(Axis(moves=moved, letter=letter) for moved, letter in MOVES)
BENCH = Lathe(name="bench", headstock=Headstock(sideways="slides", endways="pumps"), axes=AXES)
LEANING = {"law": "harmonic", "lobes": 1, "rise": 4.0, "rise_part": "1/8", "fall_part": "3/4"}
"""A lobe that rises steeply and falls slowly, so that it shows which way it turns."""


def cut_of(lathe=BENCH, **given):
    return Cut(number=1, passed=Pass(**{"at": At(x=20.0, depth=0.3), **given}), lathe=lathe)


def seen_to_turn(before, after):
    """Return how far something turns, degrees, counterclockwise to who looks along minus Z, X on the right and Y up."""
    (x, y), (to_x, to_y) = before[:2], after[:2]
    return math.degrees(math.atan2(x * to_y - y * to_x, x * to_x + y * to_y))


def test_c_plus_turns_the_work_counterclockwise_and_a_mark_at_the_cutter_comes_to_the_top():
    motion = motion_of(cut_of())
    mark = np.array([[20.0, 0.0, 0.0]])
    begins, quarter = (motion.work(np.array([u])).apply(mark)[0] for u in (0.0, 0.25))
    assert begins == pytest.approx([20, 0, 0])
    assert quarter == pytest.approx([0, 20, 0])
    assert seen_to_turn(begins, quarter) == pytest.approx(90)
    assert plus_of(AXES[0]) == "turns the work counterclockwise: the wood at the cutter goes up"
    assert trial_of(AXES[0]) == "move C from 0 to 90: a mark on the work, made at the cutter, must come to the top"
    assert "the cutter on the right (X plus), Y plus upwards" in SEEN


@pytest.mark.parametrize("on", ["edge", "face"])
@pytest.mark.parametrize("by", ["axis", "phase", "index"])
def test_axis_phase_and_index_turn_a_cam_counterclockwise(on, by):
    """Its mark goes to the top, so that what stood that far below the cutter's side comes to a follower in front."""
    cam = MotionLaw(base_radius=60.0, on=on, **LEANING)
    turned = {by: "30 deg"} if by != "axis" else {}
    motion = motion_of(cut_of(cams=(Drive(cam, follower=Knife(), **turned),)))
    axes = {"cam 1": np.array([30.0])} if by == "axis" else {}
    pushes = motion.sideways if on == "edge" else motion.endways
    (push,) = pushes
    lifted = -float(push.with_cam_at(axes["cam 1"])[0] if by == "axis" else pushes.at(np.zeros(1))[0])
    below, above = (float(cam.rise_at(np.radians(np.array([at])))[0]) for at in (-30.0, 30.0))
    assert lifted == pytest.approx(below, abs=1e-6)
    assert abs(below - above) > 1
    assert plus_of(AXES[3]) == "turns cam 1 counterclockwise, like the work"


@pytest.mark.parametrize("chuck", [PlainChuck(), EccentricChuck(shift=0.0), Dome()], ids=lambda chuck: chuck.kind)
def test_an_index_turns_the_work_counterclockwise_and_the_next_cut_is_clockwise(chuck):
    before, after = (motion_of(cut_of(BENCH.mount(replace(chuck, index=f"{at} deg")))) for at in (0, 25))
    mark = np.array([[10.0, 0.0, 0.0]])
    assert seen_to_turn(*(each.work(np.zeros(1)).apply(mark)[0] for each in (before, after))) == pytest.approx(25)
    assert seen_to_turn(*(each.place(np.zeros(1))[0] for each in (before, after))) == pytest.approx(-25)
    said = dict(directions([cut_of(BENCH.mount(chuck))]))["chuck's index plus"]
    assert said == "turns the work further counterclockwise, so that the next cut lies clockwise of the one before it on the work"


@pytest.mark.parametrize(
    ("on", "side", "sign", "message"),
    [
        ("edge", "front", -1, "at the front pushes the headstock away from the cutter (X minus)"),
        ("edge", "back", 1, "at the back pushes the headstock towards the cutter (X plus)"),
        ("face", "front", -1, "at the front pushes the headstock back, away from the free end of the work (Z minus)"),
        ("face", "back", 1, "at the back pushes the headstock forward, towards the free end of the work (Z plus)"),
    ],
)
def test_a_lobe_pushes_the_headstock_in_the_stated_direction(on, side, sign, message):
    drive = Drive(MotionLaw(base_radius=60.0, on=on, **{**LEANING, "lobes": 2}), follower=Knife(), side=side)
    cut = cut_of(cams=(drive,))
    shift = motion_of(cut).carriage(np.zeros(1)).shift[0]
    assert shift[0 if on == "edge" else 2] == pytest.approx(4 * sign)
    assert dict(directions([cut]))[f"{on} cam"] == f"a lobe under a follower {message}"


def test_plus_swings_the_cutter_counterclockwise_from_the_spindle_direction_towards_x():
    """Seen from above, minus Z is up the page and X on the right: from its back along Z to X is counterclockwise about Y."""
    motion = motion_of(cut_of(turns="1/4", at=At(z=-25.0), arc=SlideArc(radius=25.0, from_deg=0.0, to_deg=90.0)))
    back = np.array([[0.0, 0.0, 1.0]])
    begins, ends = (motion.cutter(np.array([u])).apply(back)[0] for u in (0.0, 0.25))
    assert begins == pytest.approx([0, 0, 1])
    assert ends == pytest.approx([1, 0, 0])
    assert np.cross(begins, ends) == pytest.approx([0, 1, 0])
    assert plus_of(AXES[4]).startswith(
        "turns the cutter counterclockwise, seen from above: at 0 the cutter points along the spindle, at 90 across"
    )
    assert trial_of(AXES[4]) == "move B from 0 to 90: the cutter must point across the spindle, from the X plus side"


def test_a_gain_other_than_1_is_listed():
    """tests/test_zeros.py follows the lever: there the follower goes along by 1 - 1/gain of the spindle's travel."""
    drive = Drive(MotionLaw(base_radius=60.0, **LEANING), follower=Knife())
    assert "gain" not in dict(directions([cut_of(cams=(drive,))]))
    said = dict(directions([cut_of(cams=(replace(drive, gain=gain),)) for gain in (0.5, 0.75)]))["gain"]
    assert said.startswith("0.5 to 0.75: travel of the spindle, at spindle height, divided by the lift of the follower; a lever")


def test_cams_in_software_and_unused_axes_are_not_listed():
    lathe = replace(BENCH, axes=AXES[:3], cams=(CamShaft(number=1, turned_by="software"),))
    cut = cut_of(lathe, cams=(Drive(MotionLaw(base_radius=60.0, **LEANING), follower=Knife()),))
    assert "edge cam" not in dict(directions([cut]))
    assert not any("move A" in message or "move B" in message for _, message in directions([cut_of()]))


def test_an_axis_with_less_than_a_quarter_turn_has_a_small_trial_move():
    short = replace(AXES[4], low=0.0, high=60.0)
    assert trial_of(short) == "move B a little towards plus: the cutter must swing from along the spindle towards X plus"
    back = replace(AXES[0], low=-400.0, high=45.0, reversed=True)
    assert trial_of(back) == "move C a little towards minus: a mark on the work, made at the cutter, must go up"
    assert trials(AXES[1:3]) == ()


WAVED = Drive(MotionLaw(base_radius=60.0, **{**LEANING, "lobes": 6, "rise": 1.0}), follower=Knife(), ratio=2, phase="1/4 lobe")


def job(*reversed_letters, piece=None):
    axes = tuple(replace(axis, top_speed=30.0, reversed=axis.letter in reversed_letters) for axis in AXES[:4])
    ring = Pass(name="ring", at=At(x=20.0, z=-8.0 if piece else 0.0, depth=0.3), cams=(WAVED,))
    disc = Disc(diameter=60.0, thickness=8.0)
    return Job(lathe=replace(BENCH, axes=axes), piece=piece or disc, cutter=Ball(radius=1.0), passes=[ring.series(2, x=-1.0)])


def words(text, letter):
    lines = [line for line in text.decode("ascii").splitlines() if not line.startswith("(")]
    return [float(found[1]) for line in lines if (found := re.search(rf"\b{letter}(-?[\d.]+)", line))]


@pytest.mark.parametrize("piece", [None, Barrel(diameter=40.0, length=40.0)])
def test_only_the_words_of_a_reversed_axis_have_the_opposite_sign(piece):
    one, other = (render(job(*letters, piece=piece).program()) for letters in ("", "CA"))
    for letter in "CA":
        assert words(other, letter) == [-each for each in words(one, letter)]
        assert any(words(one, letter))
    for letter in "XZF":
        assert words(other, letter) == words(one, letter)
    begins = re.findall(rb"begins at: C(\S+), X\S+, Z\S+, A(\S+);", other)
    assert [(float(c), float(a)) for c, a in begins] == [(-c, -a) for c, a in [(0.0, 15.0)] * 2]


def test_the_table_of_moves_has_the_reversed_signs_and_lists_the_reversed_axes():
    def rows(*letters):
        return list(csv.reader(io.StringIO(moves.render(job(*letters).program()).decode())))

    one, other = rows(), rows("A")
    at = next(k for k, name in enumerate(one[0]) if name.startswith("A "))
    assert (one[0][at], other[0][at]) == ("A cam 1 (deg)", "A cam 1, reversed (deg)")
    same = [(float(a[at] or 0), float(b[at] or 0)) for a, b in zip(one[1:], other[1:], strict=True) if a[2] != "note"]
    assert any(a for a, _ in same)
    assert all(a == -b for a, b in same)


def test_a_program_for_a_reversed_axis_is_proved_and_one_with_the_other_sign_is_not():
    there, back = job(), job("C")
    assert back.prove(render(back.program())).proved
    assert there.prove(render(there.program())).proved
    for one, other in ((there, back), (back, there)):
        assert not one.prove(render(other.program())).proved
    told = "\n".join(back.prove(render(back.program())).lines())
    assert re.search(r"^C \(spindle, reversed\): 0 to 360 deg", told, re.MULTILINE)


@pytest.mark.drawn
def test_programs_of_random_lathes_with_reversed_axes_are_proved():
    proved = 0
    for number, each in drawn(range(examples(12)), seed=seed(841)):
        axes = tuple(replace(axis, reversed=axis.rotary and bool((number + k) % 3)) for k, axis in enumerate(each.lathe.axes))
        turned = replace(each, lathe=replace(each.lathe, axes=axes))
        try:
            text = render(turned.program())
        except InputError:
            continue
        proof = turned.prove(text)
        assert proof.proved, str(proof)
        proved += 1
    assert proved > 0.4 * examples(12)


def test_a_slide_is_not_reversed():
    with pytest.raises(SettingError, match="reversed=true: must be left out for the x slide"):
        Axis(moves="x", letter="X", reversed=True)


JOB = """
[lathe]
headstock = { sideways = "fixed" }
axis = [
    { moves = "spindle", letter = "C", reversed = true, low = -30, high = 400 },
    { moves = "x", letter = "X" },
    { moves = "z", letter = "Z" },
]

[piece]
form = "disc"
diameter = 60
thickness = 8

[cutter]
kind = "vee"
angle = 90
width = 3

[[pass]]
at = { x = 20, depth = 0.3 }
"""


def test_a_job_file_can_reverse_an_axis_and_its_limits_keep_the_sign_of_plus(tmp_path):
    path = tmp_path / "ring.toml"
    path.write_text(JOB, encoding="utf-8")
    made = read_job(path)
    assert [axis.reversed for axis in made.lathe.axes] == [True, False, False]
    assert words(render(made.program()), "C") == [0.0, -360.0]
    sheet = {group.name: {each.name: each.value for each in group.entries} for group in made.settings().groups}
    assert sheet["lathe"]["axis C"].endswith("from -30 deg to 400 deg, reversed")
    assert sheet[DIRECTIONS]["C plus"].endswith("; C is reversed: its words in the program have the opposite sign")
    path.write_text(JOB.replace("high = 400", "high = 300"), encoding="utf-8")
    with pytest.raises(SettingError, match="C would go to 360 deg, but the travel of the lathe's spindle axis ends at 300 deg"):
        read_job(path).program()
    path.write_text(JOB.replace("reversed = true", 'reversed = "yes"'), encoding="utf-8")
    with pytest.raises(InputError, match="reversed"):
        read_job(path)


def test_head_and_air_program_describe_a_trial_of_each_axis_before_any_move():
    for air in (0.0, 5.0):
        text = render(job("A").program(air)).decode("ascii")
        head, _, rest = text.partition("\n\n")
        head = head.replace(")\n(-", "")
        assert "C plus: turns the work counterclockwise" in head
        assert "move C from 0 to 90: a mark on the work, made at the cutter, must come to the top" in head
        assert "move A from 0 to -90: a mark on cam 1" in head
        first = rest.partition("G0 ")[0]
        assert ("move C from 0 to 90" in first) == bool(air)
