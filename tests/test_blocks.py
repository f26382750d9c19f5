"""The moves of a cut: few, true to the path on the work, and at the pace that was asked for."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, CamShaft, Controller, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import Wave
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.slide import Approach, At, SlideArc
from lobework.program.blocks import Grid, blocks_of

AXES = (
    Axis(moves="spindle", letter="C", top_speed=180.0, acceleration=360.0),
    Axis(moves="x", letter="X", top_speed=30.0, acceleration=100.0),
    Axis(moves="z", letter="Z", top_speed=30.0, acceleration=100.0),
)
CAM = Drive(Wave(lobes=12, base_radius=60.0, rise=3.0), follower=Roller(2.0))
FREE = {"top_speed": math.inf, "acceleration": math.inf}


def lathe(axes=AXES, controller=None, **limits):
    """A lathe that has a slide follow the computed lift of its cam."""
    return Lathe(
        name="bench",
        headstock=Headstock(sideways="fixed"),
        axes=tuple(replace(axis, **limits) for axis in axes),
        cams=(CamShaft(number=1, turned_by="software"),),
        controller=controller or Controller(),
    )


def planned(passed, feeds=None, on=None, approach=None, units="mm", chord=2e-3):
    on = on or lathe()
    each = trace(Cut(number=1, passed=passed, lathe=on, approach=approach or Approach()), chord=chord)
    return each, blocks_of(each, on.axes, feeds or Feeds(), units)


def furthest(each, blocks, on_axes=AXES):
    """How far the moves stray from the path, looked at 20 times in each move, nearest places by the finest sampling."""
    part = np.linspace(0, 1, 21)[:, None]
    moved = np.concatenate([a + part * (b - a) for a, b in zip(blocks.places, blocks.places[1:], strict=False)])
    on_work = each.motion.place_of({axis.moves: column for axis, column in zip(on_axes, moved.T, strict=True)})
    spindle = moved[:, [axis.moves for axis in on_axes].index("spindle")] / 360
    true = each.motion.place(np.clip(spindle, 0, each.cut.span))
    return float(np.linalg.norm(on_work - true, axis=1).max())


@pytest.mark.parametrize("tolerance", [0.02, 0.005, 0.001])
def test_a_computed_lift_is_within_the_tolerance_with_nearly_the_least_number_of_moves(tolerance):
    """A chord of length h on a curve of second derivative c strays by h^2 c/8: no fewer can be than the integral of the root of
    c/8 over the tolerance, by any book of approximation."""
    each, blocks = planned(Pass(at=At(x=24.0), cams=(CAM,)), Feeds(tolerance=tolerance), lathe(**FREE))
    assert furthest(each, blocks) <= tolerance
    assert blocks.max_deviation <= tolerance
    u = np.linspace(0, 1, 100_001)
    bend = np.gradient(np.gradient(each.motion.axes(u)["x"], u), u)
    least = np.trapezoid(np.sqrt(np.abs(bend) / (8 * tolerance)), u)
    assert least <= len(blocks.seconds) <= 1.15 * least


def test_uniform_motion_is_one_move():
    each, blocks = planned(Pass(turns=4, at=At(x=24.0), travel=At(x=-2.0)))
    assert blocks.places.tolist() == [[0.0, 24.0, 0.0], [1440.0, 22.0, 0.0]]
    assert blocks.seconds.sum() == pytest.approx(120.0, rel=1e-12)
    assert blocks.slows is None
    assert each.cut.span == 4


def test_a_wave_that_the_slide_cannot_follow_is_slowed_down():
    """A slide at A sin(12 theta): it needs 12 A times the spindle's rad a second, and 144 A times that squared."""
    each, blocks = planned(Pass(at=At(x=24.0), cams=(CAM,)), Feeds(spindle_rpm=10.0))
    assert blocks.slows is not None
    assert blocks.slows.axis.letter == "X"
    assert 0 < blocks.slows.rate < 1
    assert blocks.seconds.sum() > 6.0
    assert furthest(each, blocks) <= 0.005


def test_the_spindle_speed_is_kept_if_every_axis_can_follow():
    _, blocks = planned(Pass(at=At(x=24.0), cams=(CAM,)), Feeds(spindle_rpm=2.0), lathe(**FREE))
    assert blocks.seconds.sum() == pytest.approx(30.0, rel=1e-9)
    turned = np.diff(blocks.places[:, 0])
    assert turned / blocks.seconds == pytest.approx(12.0, rel=1e-5)


def test_with_pace_cutter_the_speed_over_the_work_is_constant():
    each, blocks = planned(
        Pass(turns=2, at=At(x=24.0), travel=At(x=-12.0)), Feeds(pace="cutter", feed=300.0, spindle_rpm=100.0), lathe(**FREE)
    )
    u = np.concatenate([[0], np.cumsum(np.diff(blocks.places[:, 0]))]) / 360
    fine = np.linspace(0, 2, 20_001)
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(each.motion.place(fine), axis=0), axis=1))])
    over = np.diff(np.interp(u, fine, along)) / blocks.seconds * 60
    assert over == pytest.approx(300.0, rel=0.01)
    inside = np.gradient(along, fine) * np.interp(fine, u[1:], np.diff(u) / blocks.seconds * 60)
    assert np.percentile(np.abs(inside / 300.0 - 1), 99) < 0.07
    assert len(blocks.seconds) < 60


def test_on_a_short_path_the_spindle_does_not_exceed_its_speed():
    _, blocks = planned(Pass(at=At(x=0.01)), Feeds(pace="cutter", feed=300.0, spindle_rpm=6.0), lathe(**FREE))
    assert blocks.seconds.sum() == pytest.approx(10.0, rel=1e-6)


def test_with_a_still_spindle_the_slides_move_at_the_feed():
    passed = Pass(turns=Fraction(0), at=At(x=20.0, z=-3.0, depth=0.3), travel=At(z=-40.0))
    for pace in ("spindle", "cutter", "fastest"):
        _, blocks = planned(passed, Feeds(feed=120.0, pace=pace), approach=Approach(axis="x", surface=20.0))
        assert blocks.seconds.sum() == pytest.approx(60 * 40 / 120, rel=1e-3)


def test_the_fastest_turn_takes_the_time_of_a_trapezoidal_velocity_profile():
    """d/v + v/a: any handbook of mechanics."""
    _, blocks = planned(Pass(turns=2, at=At(x=24.0)), Feeds(pace="fastest"))
    assert blocks.seconds.sum() == pytest.approx(720 / 180 + 180 / 360, rel=0.01)
    assert len(blocks.seconds) < 160


def test_the_fastest_pace_requires_a_top_speed():
    with pytest.raises(SettingError, match="axis C, which moves spindle, has no top_speed"):
        planned(Pass(at=At(x=24.0)), Feeds(pace="fastest"), lathe(**FREE))


@pytest.mark.parametrize(("places", "units"), [(3, "mm"), (4, "inch"), (None, "inch")])
def test_positions_are_representable_at_the_output_precision(places, units):
    controller = Controller(slide_places=places, rotary_places=4)
    _, blocks = planned(Pass(at=At(x=24.0), cams=(CAM,)), Feeds(), lathe(controller=controller), units=units)
    words = blocks.places[:, 1] / {"mm": 1.0, "inch": 25.4}[units] * 10 ** (places or 7)
    assert words == pytest.approx(np.rint(words), abs=1e-5)
    assert Grid.of(AXES, controller, units).step[0] == 1e-4
    assert blocks.max_deviation <= 0.005


def test_decimals_too_few_for_the_tolerance_are_refused_with_the_number():
    with pytest.raises(SettingError, match=r"tolerance=0\.002: must be above 0\.0\d+ mm.*decimals in \[controller\]"):
        planned(Pass(at=At(x=24.0)), Feeds(tolerance=0.002), lathe(controller=Controller(slide_places=2)))


def test_the_number_of_moves_of_an_arc_follows_from_its_sagitta():
    """A chord of angle phi on radius r strays by r(1 - cos(phi/2)), by any book of geometry."""
    passed = Pass(turns=3, at=At(z=-25.0), arc=SlideArc(radius=25.0, from_deg=0.0, to_deg=90.0, cutter="keeps"))
    _, blocks = planned(passed, Feeds(tolerance=0.005), lathe(**FREE))
    least = math.radians(90) / (2 * math.acos(1 - 0.005 / 25.0))
    assert least <= len(blocks.seconds) <= 1.2 * least + 1
