"""What each kind of lathe really turns a cam at."""

from __future__ import annotations

from fractions import Fraction

import pytest

from lobework.gearing.ratios import of_steps
from lobework.lathe.actual_ratio import run_of
from lobework.lathe.lathe import Axis, Lathe
from lobework.parts.camshaft import CamShaft
from lobework.parts.headstock import Headstock

MOTOR = Axis(moves="cam 1", letter="A", steps=3200.0)
SLIDE = Axis(moves="x", letter="X")


def lathe(*axes, **shaft):
    return Lathe(
        name="bench", headstock=Headstock(sideways="slides"), axes=axes, cams=(CamShaft(number=1, **shaft),) if shaft else ()
    )


def test_a_cam_without_a_drive_is_locked_to_the_spindle():
    assert run_of(lathe(), 1, Fraction(1)).exact
    assert run_of(lathe(), 1, Fraction(2, 3)).actual == 1


def test_a_cam_in_software_runs_at_any_ratio():
    run = run_of(lathe(SLIDE, turned_by="software"), 1, Fraction(355, 113))
    assert (run.exact, run.max_deviation) == (True, 0)


@pytest.mark.parametrize("sign", [1, -1])
def test_gears_use_the_nearest_ratio_in_both_directions(sign):
    geared = lathe(turned_by="gears", wheels=(20, 30, 40, 60))
    assert run_of(geared, 1, Fraction(sign * 2, 3)).exact
    off = run_of(geared, 1, Fraction(sign * 3, 7))
    assert (off.description, off.actual) == ("20 drives 30, 40 drives 60", Fraction(sign * 4, 9))


def test_a_motor_ratio_is_rounded_to_percent_and_its_position_to_steps():
    spindle = Axis(moves="spindle", letter="C", steps=6400.0)
    run = run_of(lathe(MOTOR, spindle, turned_by="motor", percent_places=1), 1, Fraction(2, 3))
    assert run.description == "percent, 1 decimal; motor, 3200 steps a turn"
    assert run.actual == Fraction(667, 1000)
    assert (
        run.max_deviation
        == of_steps(Fraction(2, 3), cam=3200, spindle=6400).max_deviation
        == Fraction(180, 3200) * Fraction(3, 2) + Fraction(180, 6400)
    )


def test_a_motor_without_data_is_assumed_exact():
    run = run_of(lathe(Axis(moves="cam 1", letter="A")), 1, Fraction(2, 3))
    assert (run.description, run.exact, run.max_deviation) == ("motor", True, 0)
