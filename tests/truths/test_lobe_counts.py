"""How many waves a cam shows at a ratio, and what becomes of their height."""

from __future__ import annotations

from fractions import Fraction
from math import pi

import numpy as np
import pytest
from hypothesis import given
from numpy.testing import assert_allclose

from lobework.kinematics.closure import closure_of
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.parts.cam import Scallop, Wave
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.slide import At
from tests.strategies import cut_on, numbers, on_work, rocking, sliding

SCALLOP = Scallop(lobes=4, base_radius=62.0, rise=5.0)


def tops(path):
    """How many times a closed path stands further out than on either side."""
    out = np.abs(path[:-1])
    return int(((out > np.roll(out, 1)) & (out >= np.roll(out, -1))).sum())


@pytest.mark.parametrize(
    ("ratio", "turns", "lobes"),
    [("3/4", 1, 3), ("3/2", 1, 6), ("1/2", 1, 2), ("1/4", 1, 1), ("-3/4", 1, 3), ("5/4", 1, 5), ("2/3", 3, 8)],
)
@pytest.mark.parametrize("lathe", [sliding(), rocking(250.0)], ids=["slides", "rocks"])
def test_lobes_that_a_four_lobed_cam_shows(ratio, turns, lobes, lathe):
    """Common practice, no source: lobes times ratio in each turn; 8/3 a turn close after 3."""
    drive = Drive(SCALLOP, ratio=ratio, follower=Roller(3.0), phase="11 deg")
    path = trace(cut_on(lathe, drive, turns=turns, at=At(x=24.0)))
    assert tops(on_work(path)) == lobes
    assert path.closure.lobes_a_turn == (Fraction(lobes, turns),)
    assert path.closure.turns == turns
    assert path.closure.gap_mm < 1e-8


@pytest.mark.parametrize("way", [1, -1], ids=["forward", "backward"])
@pytest.mark.parametrize(
    ("lobes_a_turn", "turns", "over"),
    [
        ("5/2", 1, "-1/2"),  # half-way between two lobes: short of the third
        ("249/100", 1, "49/100"),
        ("251/100", 1, "-49/100"),
        ("1/2", 1, "-1/2"),
        ("1/2", 3, "-1/2"),
        ("1/2", 2, "0"),
        ("3/10", "5/3", "-1/2"),
        ("9/4", 1, "1/4"),
        ("11/4", 1, "-1/4"),
    ],
)
def test_a_gap_is_measured_from_the_nearest_lobe_and_half_a_lobe_counts_as_short(lobes_a_turn, turns, over, way):
    """By hand: what the lobes gone are more or less than a whole number, and a lobe is 360 degrees over lobes a turn wide."""
    drive = Drive(SCALLOP, ratio=way * Fraction(lobes_a_turn) / 4, follower=Roller(3.0), phase="11 deg")
    closure = closure_of(motion_of(cut_on(sliding(), drive, turns=Fraction(turns), at=At(x=24.0))))
    assert closure.gap_deg == (Fraction(over) / Fraction(lobes_a_turn) * 360,)


def waves_on_the_work(cam, ratio, u):
    return np.abs(on_work(cut_on(sliding(), Drive(cam, ratio=ratio, follower=Roller(3.0)), at=At(x=24.0)), u)) - 24


def test_one_lobe_at_400_per_cent_is_not_the_four_lobed_cam():
    """Common practice, no source: one broad lobe followed four times has no sharp hollows; its shape changes with its rise."""
    u = np.linspace(0, 1, 4001)
    one, lower = Scallop(lobes=1, base_radius=62.0, rise=20.0), Scallop(lobes=1, base_radius=62.0, rise=5.0)
    fast = on_work(trace(cut_on(sliding(), Drive(one, ratio="400 %", follower=Roller(3.0)), at=At(x=24.0))))
    assert tops(fast) == 4
    shown = {name: waves_on_the_work(cam, r, u) for name, cam, r in [("four", SCALLOP, 1), ("one", lower, 4), ("bold", one, 4)]}
    heights = {name: wave / np.ptp(wave) for name, wave in shown.items()}
    assert np.abs(heights["four"] - heights["one"]).max() > 0.1
    assert np.abs(heights["bold"] - heights["one"]).max() > 0.01
    bend = {name: np.abs(np.diff(wave, 2)).max() for name, wave in heights.items()}
    assert bend["four"] > 20 * bend["one"], "the four-lobed cam's hollows are sharp, the one-lobed cam has none"


def test_two_cams_add_24_waves_to_8():
    """A cam geared 8:1 and another 24:1: *Popular Science Monthly* 46 (1895), p. 610."""
    slow, quick = Wave(lobes=1, base_radius=40.0, rise=4.0), Wave(lobes=1, base_radius=40.0, rise=1.0)
    drives = Drive(slow, ratio=8, follower=Knife()), Drive(quick, ratio=24, follower=Knife())
    cut = cut_on(sliding(), *drives, at=At(x=30.0), together="sum")
    out = np.abs(on_work(cut, np.arange(512) / 512))
    spectrum = 2 * np.abs(np.fft.rfft(out)) / 512
    assert spectrum[[8, 24]] == pytest.approx([2.0, 0.5], abs=1e-9)
    assert np.delete(spectrum, [0, 8, 24]).max() < 1e-9
    assert out.mean() == pytest.approx(32.5, abs=1e-9)
    assert trace(cut).closure.lobes_a_turn == (8, 24)


@given(x=numbers(8.0, 200.0))
def test_the_wave_has_the_same_height_at_every_cutting_radius(x):
    """pledge.co.uk, rosengin.htm: same number and height of waves at every cutting diameter; reversed on the axis's other side
    (from memory, no source).
    """
    u = np.linspace(0, 1, 193)
    drive = Drive(Wave(lobes=6, base_radius=60.0, rise=3.0), follower=Roller(2.0))
    near, beyond = (np.abs(on_work(cut_on(sliding(), drive, at=At(x=side * x)), u)) for side in (1, -1))
    assert np.ptp(near) == pytest.approx(3.0, abs=1e-9)
    assert_allclose(near - x, x - beyond, rtol=0, atol=1e-9)


@pytest.mark.parametrize("x", [10.0, 25.0, 60.0])
def test_on_a_rocking_headstock_the_wave_has_the_same_height_at_every_radius(x):
    """pledge.co.uk, rosengin.htm; the arc's own droop is all that is added."""
    u = np.linspace(0, 1, 721)
    cut = cut_on(rocking(300.0), Drive(Wave(lobes=6, base_radius=60.0, rise=3.0), follower=Roller(2.0)), at=At(x=x))
    motion = motion_of(cut)
    travel = np.ptp(motion.sideways.at(u))
    droop = 3.0**2 / (2 * 300.0)
    assert travel == pytest.approx(3.0, abs=droop)
    assert np.ptp(np.abs(on_work(cut, u))) == pytest.approx(travel, abs=droop**2 / x + 3.0**3 / 300.0**2)


@given(x=numbers(8.0, 200.0))
def test_a_follower_at_the_back_reverses_the_wave(x):
    """Common practice, no source; the back follower meets the cam half a turn away."""
    u = np.linspace(0, 1, 193)
    cam = Wave(lobes=6, base_radius=60.0, rise=3.0)
    front, back = (
        np.abs(on_work(cut_on(sliding(), Drive(cam, follower=Roller(2.0), side=s), at=At(x=x)), u)) for s in ("front", "back")
    )
    assert_allclose(front - x, x - back, rtol=0, atol=1e-9)


def test_with_a_knife_on_a_slide_the_cut_is_the_outline_of_the_cam():
    """With ratio 1 the work shows the rosette: r(w) = x + rise(w), common practice, no source."""
    path = on_work(cut_on(sliding(), Drive(SCALLOP, follower=Knife()), at=At(x=24.0)), np.linspace(0, 1, 301))
    assert_allclose(np.abs(path) - 24, SCALLOP.rise_at(np.angle(path)), rtol=0, atol=1e-9)
    assert np.angle(path[1]) == pytest.approx(-2 * pi / 300, abs=1e-12)
