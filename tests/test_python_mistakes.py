"""What a person writes in a script by mistake is answered in one line that names the setting and shows how to write it."""

from __future__ import annotations

import numpy as np
import pytest

import lobework as lw
from lobework.errors import SettingError

CAM = lw.Wave(lobes=12, base_radius=62, rise=2.2)
DRIVE = lw.Drive(CAM, follower=lw.Roller(4))


def job(**given):
    usual = {
        "lathe": lw.read_lathe("rocking-bench"),
        "piece": lw.Disc(diameter=76, thickness=9),
        "cutter": lw.Vee(angle_deg=60, width=3),
        "passes": [lw.Pass(at=lw.At(x=35, depth=0.2), cams=[DRIVE])],
    }
    return lw.Job(**{**usual, **given})


MISTAKES = {
    "a cam without its drive": (lambda: lw.Pass(cams=[CAM]), r"cams\[1\]=Wave\(.*must be a Drive, such as"),
    "a word for the cams": (lambda: lw.Pass(cams="wave"), r"cams\[1\]='w': must be a Drive"),
    "a pair for a place": (lambda: lw.Pass(at=(35, 0.2)), r"at=\(35, 0.2\): must be an At, such as"),
    "a table for a travel": (lambda: lw.Pass(travel={"x": 1}), r"travel=.*must be an At"),
    "a list for steps": (lambda: lw.Pass().series(3, [("x", 1)]), r"each=.*must be a mapping"),
    "words for a length": (lambda: lw.Roller("1/8 in"), r"radius='1/8 in': must be a plain number, in mm; .*lobework.length"),
    "words for an angle": (lambda: lw.Vee(angle_deg="60 deg", width=3), r"angle_deg='60 deg'.*in degrees; .*lobework.angle"),
    "words for a place": (lambda: lw.At(x="35 mm"), r"x='35 mm': must be a plain number, in mm"),
    "words for a throw": (lambda: lw.Oval(throw="1/4 in"), r"throw='1/4 in': must be a plain number"),
    "words for a gain": (lambda: lw.Drive(CAM, follower=lw.Knife(), gain="2"), r"gain='2': must be a plain number$"),
    "a list for a radius": (lambda: lw.Roller([4]), r"radius=\[4\]: must be a plain number, in mm$"),
    "an array for a width": (lambda: lw.Vee(angle_deg=60, width=np.ones(2)), r"width=array.*must be a plain number"),
    "nothing for a diameter": (lambda: lw.Disc(diameter=None, thickness=9), r"diameter=None: must be a plain number"),
    "yes for a depth": (lambda: lw.At(depth=True), r"depth=True: must be a plain number"),
    "a follower's name": (lambda: lw.Drive(CAM, follower="knife"), r"follower='knife': must be a follower such as"),
    "a follower's class": (lambda: lw.Drive(CAM, follower=lw.Roller), r"follower=<class .*must be a follower such as"),
    "a cam's name": (lambda: lw.Drive("wave", follower=lw.Knife()), r"cam='wave': must be a cam such as"),
    "a chuck's name": (lambda: lw.read_lathe("plain-bench").mount("oval"), r"chuck='oval': must be a chuck such as"),
    "a chuck's class": (lambda: lw.read_lathe("plain-bench").mount(lw.Oval), r"chuck=<class .*must be a chuck such as"),
    "a lathe's name": (lambda: job(lathe="rocking-bench"), r"lathe='rocking-bench': must be a Lathe, such as read_lathe"),
    "a cutter's class": (lambda: job(cutter=lw.Pen), r"cutter=<class .*must be a cutter such as"),
    "no piece": (lambda: job(piece=None), r"piece=None: must be a piece such as"),
    "a word for passes": (lambda: job(passes="rings"), r"passes\[1\]='r': must be a Pass"),
    "passes in a list of lists": (lambda: job(passes=[[lw.Pass()]]), r"passes\[1\]=\[Pass.*must be a Pass"),
    "a table for feeds": (lambda: job(feeds={"clear": 5}), r"feeds=.*must be Feeds"),
    "words for a speed": (
        lambda: lw.Axis(moves="x", letter="X", top_speed="600 mm/min"),
        r"top_speed='600 mm/min': must be a plain number",
    ),
    "a length for a screw": (
        lambda: lw.HandAxis(moves="x", screw=2.54),
        r"screw=2.54: must be a Screw, such as Screw\(lead=2.54\)",
    ),
    "a number for a wheel": (
        lambda: lw.HandAxis(moves="spindle", wheel=96),
        r"wheel=96: must be a Wheel, such as Wheel\(\[96\]\)",
    ),
    "a number for wheels": (
        lambda: lw.CamShaft(number=1, turned_by="gears", wheels=60),
        r"wheels=60: must be a list of teeth, such as \[20, 30, 40, 60\]",
    ),
    "an axis for axes": (
        lambda: lw.Lathe(name="bench", headstock=lw.Headstock(sideways="slides"), axes=lw.Axis(moves="spindle", letter="C")),
        r"axes=Axis\(.*must be a tuple of Axis",
    ),
    "a word for followers": (
        lambda: lw.Headstock(sideways="slides", followers="front"),
        r"followers='front': must be a list, such as \['front', 'back'\]",
    ),
    "words for a chord": (lambda: job(chord="0.01"), r"chord='0.01': must be a plain number"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_an_error_is_one_line_that_names_the_setting(mistake):
    write, message = MISTAKES[mistake]
    with pytest.raises(SettingError, match=message) as told:
        write()
    assert "\n" not in str(told.value)


def test_a_single_pass_or_drive_is_accepted_as_a_list_of_one():
    one = lw.Pass(at=lw.At(x=35), cams=DRIVE)
    assert one == lw.Pass(at=lw.At(x=35), cams=[DRIVE])
    assert job(passes=one).passes == (one,)


@pytest.mark.parametrize("number", [4, np.float64(4), np.float32(4), np.int64(4)])
def test_any_real_number_is_accepted(number):
    assert lw.Roller(number) == lw.Roller(4.0)
