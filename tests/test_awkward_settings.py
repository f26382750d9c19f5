"""Settings that a program can build, that no job file could write: each is answered in one line, or done."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lobework.errors import SettingError, TooLargeError
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass, cuts_of
from lobework.parts.cam import MotionLaw, Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.headstock import Headstock
from lobework.parts.slide import At

BENCH = Lathe(name="bench", headstock=Headstock(sideways="slides"))
WAVE = Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Knife())


def test_a_chuck_named_like_a_cam_cannot_be_stepped():
    steps = Pass(cams=(WAVE,)).series(2, shift=5)

    with pytest.raises(SettingError, match="'cam 1' is the name of a cam and of a chuck"):
        list(cuts_of(steps, BENCH.mount(EccentricChuck(shift=1.0), "cam 1")))


def test_an_unknown_motion_law_is_refused_with_its_line():
    with pytest.raises(SettingError, match="law=quick: must be 'harmonic', 'cycloidal'"):
        MotionLaw(law="quick", lobes=3, base_radius=40.0, rise=6.0)


def test_an_axis_is_numbered_in_plain_digits():
    with pytest.raises(SettingError, match="'cam 1', 'cam 2' and so on"):
        Axis(moves="cam \N{SUPERSCRIPT TWO}", letter="A")


def test_the_shortest_pass_has_two_samples():
    path = trace(Cut(number=1, passed=Pass(turns="1/10000000000000000", at=At(x=20.0), cams=(WAVE,)), lathe=BENCH))

    assert path.u.size >= 2
    assert path.u[-1] == float(path.cut.passed.turns)


def test_a_cam_too_fast_for_the_memory_limit_is_refused_with_its_size():
    driven = replace(BENCH, axes=(Axis(moves="cam 1", letter="A"),))

    with pytest.raises(TooLargeError, match="GB of memory; allowed: 4 GB"):
        trace(Cut(number=1, passed=Pass(at=At(x=20.0), cams=(replace(WAVE, ratio=10**9),)), lathe=driven))


@pytest.mark.parametrize(
    ("make", "message"),
    [(lambda: At(x=1e160), "within a kilometre"), (lambda: Oval(throw=5.0, ring_angle_deg=math.inf), "finite")],
)
def test_an_absurd_setting_is_refused_at_construction(make, message):
    with pytest.raises(SettingError, match=message):
        make()
