"""The zeros, followed step by step at a lathe that is worked out here by other arithmetic than the library's."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.gearing.screw import Screw
from lobework.kinematics.motion import motion_of
from lobework.lathe.lathe import Axis, CamShaft, HandAxis, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import EccentricCam, MotionLaw, Scallop, Wave
from lobework.parts.chuck import Dome
from lobework.parts.drive import Drive
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Turned
from lobework.parts.slide import Approach, At
from lobework.parts.template import template_of
from lobework.sheets.zeros import refits, zero_again, zero_steps
from tests.search import examples

HEIGHT = 250.0
PARTS = np.linspace(-1, 1, 8001)
WIDE = 1.2
SAID = 1.2e-4
"""Lengths are said to 0.1 um; what stands on the bench is worked out to a little more."""


def reach(drive, direction):
    """Return how far a follower's counting point stands off a cam that it bears on: from its axis, or its base."""
    cam, nose = drive.cam, drive.follower
    if isinstance(nose, Knife):
        rise = float(cam.rise_at(np.array([direction]))[0])
        return rise + (0.0 if cam.on == "face" else cam.base_radius)
    wide = WIDE if isinstance(nose, FlatFollower) else nose.radius / cam.base_radius * 1.2
    off = wide * PARTS
    rise = cam.rise_at(direction + off)
    if cam.on == "face":
        room = nose.radius**2 - (cam.base_radius * off) ** 2
        return float((rise[room >= 0] + np.sqrt(room[room >= 0])).max())
    r = cam.base_radius + rise
    if isinstance(nose, FlatFollower):
        return float((r * np.cos(off)).max())
    room = nose.radius**2 - (r * np.sin(off)) ** 2
    return float((r[room >= 0] * np.cos(off[room >= 0]) + np.sqrt(room[room >= 0])).max())


def slid(drive, turned):
    """Return how far one cam, turned on by so much, lets a headstock stand off where its follower would be at its axis, mm."""
    edge = drive.moves == "sideways"
    side = 1 if drive.side == "front" else -1
    nominal = math.pi if edge and side < 0 else 0.0
    return -side * drive.gain * reach(drive, nominal - turned)


def gap(drive, turned, lean, shift):
    """Return how far a follower stands off its cam on a headstock that leans, rad; ``shift`` mm from upright it is held.

    The spindle goes about a pivot below; the cam turns with the headstock; the follower keeps its height.
    """
    across, down = HEIGHT * math.sin(lean), HEIGHT * (1 - math.cos(lean))
    dx = (shift if drive.side == "front" else -shift) + (1 - 1 / drive.gain) * across - across
    return math.hypot(dx, down) - reach(drive, math.atan2(down, dx) + lean - turned)


def halved(low, high, of):
    """Return where a function goes through zero."""
    rising = of(high) > of(low)
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if (of(middle) > 0) == rising else (middle, high)
    return 0.5 * (low + high)


def numbers(cut):
    """Return what the steps say: x, y and z to set; and what each other follower must read, by cam."""
    steps = dict(zero_steps(cut))
    said = {name.partition(" ")[2]: message for name, message in steps.items()}
    x, y = (float(each) for each in re.search(r"set x to (\S+) mm, y to (\S+?)(?: mm.*)?$", said["x and y"]).groups())
    z = float(re.search(r"set z to (\S+) mm", said["z"])[1])
    others = {
        int(name.split()[-1]): float(re.search(r"[xz] must read (\S+) mm", message)[1])
        for name, message in said.items()
        if name.startswith("follower of cam")
    }
    return x, y, z, others


def cut_of(lathe, *drives, **given):
    return Cut(number=1, passed=Pass(at=At(x=17.0, depth=0.2), cams=drives, **given), lathe=lathe)


def sliding(**axes):
    moves = (("spindle", "C"), ("x", "X"), ("z", "Z"), ("cam 1", "A"), ("cam 2", "B"))
    head = Headstock(sideways="slides", endways="pumps")
    return Lathe(name="bench", headstock=head, axes=tuple(Axis(moves=each, letter=letter) for each, letter in moves), **axes)


def rocking():
    return replace(sliding(), headstock=Headstock(sideways="rocks", endways="pumps", pivot_height=HEIGHT))


def at_turn(cut, u):
    """Return where the model has the spindle's axis stand, and each cam, rad, at a place of the pass."""
    motion = motion_of(cut)
    turned = [math.radians(float(motion.axes(np.array([u]))[f"cam {k}"][0])) for k in range(1, len(cut.passed.cams) + 1)]
    index = [float(each.index.in_radians(each.cam.lobes)) for each in cut.passed.cams]
    return motion.carriage(np.array([u])).shift[0], [a + b for a, b in zip(turned, index, strict=True)]


edges = st.builds(
    lambda cam, nose, side, gain, phase, index: Drive(cam, follower=nose, side=side, gain=gain, phase=phase, index=index),
    st.sampled_from(
        [
            Wave(lobes=4, base_radius=60.0, rise=5.0),
            Wave(lobes=5, base_radius=50.0, rise=1.5),
            Scallop(lobes=6, base_radius=55.0, rise=4.0),
            EccentricCam(radius=40.0, offset=3.0),
            MotionLaw(law="cycloidal", lobes=3, base_radius=60.0, rise=3.0, rise_part="1/4", fall_part="1/3", dwell_part="1/6"),
        ]
    ),
    st.sampled_from([Knife(), Roller(2.0), Roller(25.0)]),
    st.sampled_from(["front", "back"]),
    st.sampled_from([1.0, 0.5, 1.75]),
    st.sampled_from(["0 deg", "1/3 lobe", "7 deg"]),
    st.sampled_from(["0 deg", "1/24 turn"]),
)
faces = st.builds(
    lambda rise, nose, side, gain: Drive(
        Wave(lobes=8, base_radius=40.0, rise=rise, on="face"), follower=nose, side=side, gain=gain, phase="1/4 lobe"
    ),
    st.sampled_from([0.5, 2.0]),
    st.sampled_from([Knife(), Roller(1.0), Roller(12.0)]),
    st.sampled_from(["front", "back"]),
    st.sampled_from([1.0, 0.5]),
)


@given(edges, st.floats(0, 1))
@settings(max_examples=examples(40), deadline=None)
def test_on_a_sliding_headstock_the_steps_put_the_tip_on_the_axis_at_the_x_of_the_model(drive, u):
    """Also for a wide roller that never comes to the base of its cam. The dial is set once; then the cam is turned."""
    cut = cut_of(sliding(), drive)
    x, y, z, _ = numbers(cut)
    (true_x, true_y, true_z), (turned,) = at_turn(cut, u)
    assert x + slid(drive, turned) - slid(drive, 0.0) == pytest.approx(true_x, abs=SAID)
    assert (y, z) == (true_y, true_z) == (0, 0)


@given(faces, st.floats(0, 1))
@settings(max_examples=examples(25), deadline=None)
def test_on_a_pumping_headstock_the_steps_put_the_tip_on_the_face_at_the_z_of_the_model(drive, u):
    cut = cut_of(sliding(), drive)
    x, _, z, _ = numbers(cut)
    (true_x, _, true_z), (turned,) = at_turn(cut, u)
    assert z + slid(drive, turned) - slid(drive, 0.0) == pytest.approx(true_z, abs=SAID)
    assert x == true_x == 0


@given(edges, st.floats(0, 1))
@settings(max_examples=examples(25), deadline=None)
def test_on_a_rocking_headstock_the_steps_put_the_tip_on_the_axis_at_the_x_and_y_of_the_model(drive, u):
    """The follower is shifted until the spindle stands so far from upright as the steps say; then the cam is turned."""
    cut = cut_of(rocking(), drive)
    try:
        x, y, _, _ = numbers(cut)
    except SettingError:
        reject()
    message = dict(zero_steps(cut))["3. headstock"]
    far = re.search(r"stands (\S+) mm from upright over the pivot, (away from|towards) the cutter", message)
    assert (0.0 if far is None else float(far[1]) * (-1 if far[2] == "away from" else 1)) == pytest.approx(x, abs=1e-9)
    shift = halved(1.0, 400.0, lambda far: gap(drive, 0.0, math.asin(x / HEIGHT), far))
    (true_x, true_y, _), (turned,) = at_turn(cut, u)
    lean = halved(-0.06, 0.06, lambda angle: gap(drive, turned, angle, shift))
    assert HEIGHT * math.sin(lean) == pytest.approx(true_x, abs=4 * SAID)
    assert HEIGHT * (math.cos(lean) - 1) == pytest.approx(true_y, abs=SAID)
    assert y == pytest.approx(HEIGHT * (math.cos(math.asin(x / HEIGHT)) - 1), abs=1.01e-2)


@given(edges, edges, st.floats(0, 1))
@settings(max_examples=examples(25), deadline=None)
def test_two_cams_that_add_up_are_set_together(one, other, u):
    first, second = replace(one, name="one"), replace(other, name="other", ratio=2)
    cut = cut_of(sliding(), first, second, together="sum")
    x, _, _, others = numbers(cut)
    (true_x, _, _), turned = at_turn(cut, u)
    both = sum(slid(each, by) - slid(each, 0.0) for each, by in zip((first, second), turned, strict=True))
    assert x + both == pytest.approx(true_x, abs=2 * SAID)
    assert others == {}


@given(edges, edges, st.floats(0, 1))
@settings(max_examples=examples(25), deadline=None)
def test_with_furthest_each_follower_is_zeroed_separately(one, other, u):
    first, second = replace(one, name="one"), replace(other, name="other", ratio=2, side=one.side)
    cut = cut_of(sliding(), first, second, together="furthest")
    x, _, _, others = numbers(cut)
    (true_x, _, _), turned = at_turn(cut, u)
    places = [at + slid(each, by) - slid(each, 0.0) for each, by, at in zip((first, second), turned, (x, others[2]), strict=True)]
    assert (min if one.side == "front" else max)(places) == pytest.approx(true_x, abs=SAID)


def test_a_flat_follower_is_set_as_others_are():
    """On an eccentric disc it lifts by the offset times one and the cosine; at zero by twice the offset."""
    drive = Drive(EccentricCam(radius=40.0, offset=3.0), follower=FlatFollower(), side="back")
    x, _, _, _ = numbers(cut_of(sliding(), drive))
    assert x == pytest.approx(slid(drive, 0.0) - (40 - 3), abs=SAID)
    assert x == pytest.approx(0.0, abs=SAID)


def test_a_roller_that_never_reaches_the_base_circle_has_the_zero_of_the_model():
    """It spans the hollows, so that the headstock never stands where x is counted from."""
    drive = Drive(Scallop(lobes=6, base_radius=55.0, rise=4.0), follower=Roller(25.0))
    cut = cut_of(sliding(), drive)
    least = min(reach(drive, phi) for phi in np.linspace(0, math.pi / 3, 61)) - 55 - 25
    assert least > 0.5
    x, _, _, _ = numbers(cut)
    assert x == pytest.approx(-4.0, abs=SAID)
    lowest = motion_of(cut).carriage(np.linspace(0, 1, 721)).shift[:, 0].max()
    assert lowest == pytest.approx(-least, abs=SAID)


def test_a_cam_in_software_moves_no_headstock_and_needs_no_step():
    lathe = replace(sliding(), axes=sliding().axes[:3], cams=(CamShaft(number=1, turned_by="software"),))
    cut = cut_of(lathe, Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Roller(3.0)))
    assert numbers(cut) == (0.0, 0.0, 0.0, {})
    assert [name for name, _ in zero_steps(cut)] == ["1. spindle", "2. headstock", "3. x and y", "4. z"]
    assert (
        dict(zero_steps(cut))["2. headstock"]
        == "no cam moves it sideways: lock it in place; no cam moves it endways: lock it in place"
    )
    still = replace(cut, lathe=replace(lathe, headstock=Headstock(sideways="fixed")))
    assert [name for name, _ in zero_steps(still)] == ["1. spindle", "2. x and y", "3. z"]
    assert dict(zero_steps(still, again=True))["1. spindle"].startswith("turn the spindle to C 0; ")


def test_dials_are_set_in_turns_of_their_screw_and_in_the_units_of_the_job():
    lathe = replace(sliding(), axes=sliding().axes[:1], hand=(HandAxis(moves="x", screw=Screw(lead=2.0, divisions=20)),))
    cut = cut_of(lathe, Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Knife()))
    assert dict(zero_steps(cut))["4. x and y"].endswith("set x to -5 mm = -2 turns 10 div of its screw, y to 0")
    assert "set x to -0.19685 in" in dict(zero_steps(cut_of(sliding(), *cut.passed.cams), "inch"))["4. x and y"]


def test_tilting_chucks_are_set_to_0_for_the_zero_of_z():
    leaning_chuck = sliding().mount(Dome(tilt_deg=20.0, behind=30.0))
    assert "chucks that tilt set to 0" in dict(zero_steps(cut_of(leaning_chuck)))["4. z"]
    assert "tilt" not in dict(zero_steps(cut_of(sliding())))["4. z"]


def test_a_rubber_does_not_change_the_zeros_of_the_tip():
    """The slides lead the tip along what the rubber's middle traces; x and z are said of the tip, with and without it."""
    wall = Turned(profile=((0.0, 12.0), (-30.0, 20.0)))
    way = template_of(wall)
    side = Approach(axis="x", surface=20.0)
    bare, ridden = (
        Cut(number=1, passed=Pass(turns=0, at=At(depth=0.3), template=each), lathe=sliding(), approach=side)
        for each in (way, replace(way, rubber=5.0))
    )
    assert zero_steps(bare) == zero_steps(ridden)
    for cut in (bare, ridden):
        assert motion_of(cut).place(np.zeros(1))[0] == pytest.approx(motion_of(cut).tip(np.zeros(1))[0])


def test_other_cams_followers_sides_and_gains_are_zeroed_again_and_a_phase_or_an_index_is_not():
    drive = Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Knife())
    before = cut_of(sliding(), drive)
    for change in (
        {"gain": 0.5},
        {"side": "back"},
        {"follower": Roller(3.0)},
        {"cam": Wave(lobes=6, base_radius=60.0, rise=5.0)},
    ):
        assert refits(before, cut_of(sliding(), replace(drive, **change)))
    for change in ({"phase": "1/2 lobe"}, {"index": "1/24 turn"}, {"ratio": 2}):
        assert not refits(before, cut_of(sliding(), replace(drive, **change)))
    assert refits(before, cut_of(sliding()))
    assert not refits(cut_of(sliding()), cut_of(sliding()))
    side = replace(cut_of(sliding(), replace(drive, gain=0.5)), approach=Approach(axis="x", surface=20.0))
    assert zero_again(before, side) == (
        "zeros again: spindle, phase and index at 0; let the follower bear",
        "with the tip on the spindle's axis, x must read -2.5 mm",
        "shift the follower in its holder until they are correct",
        "then set phase and index",
    )


def test_a_headstock_without_a_cam_is_locked_at_its_zero():
    edge = Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Knife())
    face = Drive(Wave(lobes=8, base_radius=40.0, rise=0.5, on="face"), follower=Knife(), side="back")
    assert zero_again(cut_of(sliding(), edge), cut_of(sliding())) == (
        "zeros again: spindle at 0",
        "with the tip on the spindle's axis, x must read 0 mm",
        "shift the headstock until they are correct",
        "then lock the headstock sideways: no cam moves it sideways",
    )
    assert zero_again(cut_of(sliding(), edge), cut_of(sliding(), face)) == (
        "zeros again: spindle, phase and index at 0; let the follower bear",
        "with the tip on the spindle's axis, x must read 0 mm",
        "with the tip on the face of the work, z must read 0.5 mm",
        "shift the follower in its holder and the headstock until they are correct",
        "then lock the headstock sideways: no cam moves it sideways",
        "then set phase and index",
    )
