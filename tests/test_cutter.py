"""Cutters and what holds them: what they take, what they refuse, and in which words the sheet says them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lobework.errors import SettingError
from lobework.geometry.cutter_edge import Edge
from lobework.lathe.hand_settings import settings_of
from lobework.parts.cutter import Ball, FlatEnd, Pen, Profiled, RoundNosed, Vee
from lobework.parts.holder import HOLDERS, CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool

BLADE = ((0, 0), (0.5, 0), (1.5, 2))
HELD = (FixedTool(), DrillingSpindle(), CuttingFrame(radius=20.0, angle_deg=33.7), EccentricFrame(radius=6.0))


def held_by(holder):
    return [
        Vee(angle_deg=90.0, width=3.0, holder=holder),
        Ball(radius=1.5, holder=holder),
        FlatEnd(width=2.0, holder=holder),
        RoundNosed(radius=0.5, angle_deg=60.0, width=3.0, holder=holder),
        Profiled(points=BLADE, holder=holder),
    ]


@pytest.mark.parametrize("holder", HELD, ids=lambda holder: holder.kind)
def test_every_cutter_can_be_held_in_every_way(holder):
    for cutter in held_by(holder):
        assert cutter.holder == holder
        assert isinstance(cutter.edge, Edge)
        assert cutter.edge.width_at(0.2) == cutter.width_at(0.2) > 0
    assert {type(each) for each in HELD} == set(HOLDERS)


def test_the_default_holder_is_a_drilling_spindle():
    assert {cutter.holder for cutter in held_by(DrillingSpindle())} == {DrillingSpindle()}
    assert Vee(angle_deg=90.0, width=3.0).holder == Ball(radius=1.5).holder == DrillingSpindle()


def test_the_sheet_shows_the_holder_unless_it_is_the_default():
    """Common practice, no source: what goes without saying is not said."""
    assert settings_of(Ball(radius=1.5)) == [("radius", "1.5 mm")]
    assert settings_of(Ball(radius=1.5, holder=FixedTool()))[1:] == [("holder", "fixed")]
    frame = CuttingFrame(radius=25.4, angle_deg=33.7)
    assert settings_of(Ball(radius=1.5, holder=frame))[1:] == [("holder", "cutting frame, radius 25.4 mm, angle 33.7 deg")]
    assert settings_of(Ball(radius=1.5, holder=frame), "inch")[1:] == [("holder", "cutting frame, radius 1 in, angle 33.7 deg")]


def test_the_settings_show_a_profile_in_the_requested_unit():
    """One inch is 25.4 mm (Federal Register, 30 June 1959)."""
    cutter = Profiled(points=((0, 0), (2.54, 0), (5.08, 12.7)))
    assert settings_of(cutter) == [("points", "(0, 0), (2.54, 0), (5.08, 12.7) mm")]
    assert settings_of(cutter, "inch") == [("points", "(0, 0), (0.1, 0), (0.2, 0.5) in")]


@pytest.mark.parametrize("points", [BLADE, [[0, 0], [0.5, 0], [1.5, 2]], np.array(BLADE), tuple(map(list, BLADE))])
def test_points_may_be_lists_or_arrays_and_are_kept_as_pairs_of_numbers(points):
    assert Profiled(points=points).points == ((0.0, 0.0), (0.5, 0.0), (1.5, 2.0))
    assert hash(Profiled(points=points)) == hash(Profiled(points=BLADE))


def test_a_pen_draws_its_line_at_any_depth_and_has_no_edge():
    assert Pen(line=0.25).width_at(0.0) == Pen(line=0.25).width_at(3.0) == 0.25
    assert not hasattr(Pen(), "edge")


def nose(**given):
    return RoundNosed(**{"radius": 0.5, "angle_deg": 60.0, "width": 3.0, **given})


def profile(*points):
    return Profiled(points=points)


WRONG = {
    "a vee of no angle": (lambda: Vee(angle_deg=0.0, width=3.0), "angle=0: must be above 0 and below 180 degrees"),
    "a vee that is flat": (lambda: Vee(angle_deg=180.0, width=3.0), "angle=180: must be above 0 and below 180 degrees"),
    "a vee like a needle": (lambda: Vee(angle_deg=1e-300, width=3.0), "angle=1e-300: must be 0.001 degrees or more"),
    "a vee of no width": (lambda: Vee(angle_deg=90.0, width=0.0), "width=0: must be above zero"),
    "a vee without end": (lambda: Vee(angle_deg=90.0, width=math.inf), "width=inf: must be above zero"),
    "a vee of no number": (lambda: Vee(angle_deg=math.nan, width=3.0), "angle=nan: must be above 0 and below 180 degrees"),
    "a ball of no radius": (lambda: Ball(radius=0.0), "radius=0: must be above zero"),
    "a ball of no number": (lambda: Ball(radius=math.nan), "radius=nan: must be above zero"),
    "a flat below zero": (lambda: FlatEnd(width=-1.0), "width=-1: must be above zero"),
    "a nose of no radius": (lambda: nose(radius=0.0), "radius=0: must be above zero"),
    "a nose opened too far": (lambda: nose(angle_deg=180.0), "angle=180: must be 0 or more and below 180 degrees"),
    "a nose like a needle": (lambda: nose(angle_deg=1e-9), "angle=1e-09: must be 0, or 0.001 degrees or more"),
    "a nose wider than its shank": (
        lambda: nose(width=0.5),
        "width=0.5: must be at least 0.866025 mm, the width at which the nose meets the flanks",
    ),
    "a straight nose in a wide shank": (
        lambda: nose(angle_deg=0.0),
        "width=3: must be 1 mm, the width of the nose, because the sides are straight",
    ),
    "a pen without a line": (lambda: Pen(line=0.0), "line=0: must be above zero"),
    "points that are a number": (lambda: Profiled(points=3), "points=3: must be pairs of plain numbers, in mm"),
    "points that are a word": (lambda: Profiled(points="vee"), "points='vee': must be pairs of plain numbers, in mm"),
    "a point of three numbers": (lambda: profile((0, 0, 0), (1, 1, 1)), "points=((0, 0, 0), (1, 1, 1)): must be pairs of plain"),
    "a point of one number": (lambda: profile((0, 0), (1,)), "points=((0, 0), (1,)): must be pairs of plain numbers"),
    "a point in words": (lambda: profile((0, 0), ("1 mm", 1)), "points=((0, 0), ('1 mm', 1)): must be pairs of plain numbers"),
    "a point that is yes": (lambda: profile((0, 0), (True, 1)), "must be pairs of plain numbers, in mm"),
    "a wide array of points": (lambda: Profiled(points=np.zeros((9, 3))), "must be pairs of plain numbers, in mm"),
    "no point": (profile, "points=(): must be two points or more"),
    "the tip alone": (lambda: profile((0, 0)), "points=((0.0, 0.0),): must be two points or more"),
    "far too many points": (
        lambda: profile(*((k, k) for k in range(501))),
        "points=501 points: must be 500 points or fewer",
    ),
    "a tip to one side": (lambda: profile((0.1, 0), (1, 1)), "points=(0.1, 0.0): must be (0, 0), the tip, as the first point"),
    "a tip above the tip": (lambda: profile((0, 0.1), (1, 1)), "points=(0.0, 0.1): must be (0, 0), the tip, as the first point"),
    "a tip of no number": (
        lambda: profile((math.nan, 0), (1, 1)),
        "points=(nan, 0.0): must be (0, 0), the tip, as the first point",
    ),
    "a point of no number": (lambda: profile((0, 0), (1, math.nan)), "points=((0.0, 0.0), (1.0, nan)): must be finite numbers"),
    "a point without end": (lambda: profile((0, 0), (math.inf, 1)), "points=((0.0, 0.0), (inf, 1.0)): must be finite numbers"),
    "a profile that folds back": (
        lambda: profile((0, 0), (1, 1), (0.5, 2)),
        "points[3]=(0.5, 2.0): must be further out than 1 and no lower than 1; the profile folds back there",
    ),
    "a profile that goes straight up": (
        lambda: profile((0, 0), (1, 1), (1, 2)),
        "points[3]=(1.0, 2.0): must be further out than 1 and no lower than 1; the profile folds back there",
    ),
    "a profile that falls": (
        lambda: profile((0, 0), (1, 1), (2, 0.5)),
        "points[3]=(2.0, 0.5): must be further out than 1 and no lower than 1; the profile folds back there",
    ),
    "a holder's name": (lambda: Ball(radius=1.0, holder="fixed"), "holder='fixed': must be a holder such as DrillingSpindle()"),
    "a holder's class": (lambda: Ball(radius=1.0, holder=FixedTool), "must be a holder such as DrillingSpindle()"),
    "nothing to hold it": (lambda: profile(*BLADE).__class__(points=BLADE, holder=None), "holder=None: must be a holder such as"),
    "a frame of no radius": (lambda: CuttingFrame(radius=0.0), "radius=0: must be above zero"),
    "a frame below zero": (lambda: EccentricFrame(radius=-2.0), "radius=-2: must be above zero"),
    "a frame without end": (lambda: CuttingFrame(radius=math.inf), "radius=inf: must be above zero"),
    "a frame in words": (lambda: EccentricFrame(radius="1/4 in"), "radius='1/4 in': must be a plain number, in mm; in Python"),
    "a frame turned on and on": (
        lambda: CuttingFrame(radius=20.0, angle_deg=361.0),
        "angle=361: must be -360 to 360 degrees",
    ),
    "a frame turned by no number": (lambda: CuttingFrame(radius=20.0, angle_deg=math.nan), "angle=nan: must be -360 to 360"),
}


@pytest.mark.parametrize("case", WRONG)
def test_an_invalid_cutter_is_refused_in_one_line(case):
    make, message = WRONG[case]
    with pytest.raises(SettingError) as told:
        make()
    assert message in str(told.value)
    assert "\n" not in str(told.value)
