"""Numbers of numpy, scalars and arrays without dimensions, are taken wherever Python's are, and kept as Python's."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from fractions import Fraction

import numpy as np
import pytest

import lobework as lw
from lobework.errors import InputError
from lobework.gearing import change_wheels, ratios
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.plugins.registry import installed
from lobework.quantities import units
from lobework.render import relief

WAVE = lw.Wave(lobes=4, base_radius=60.0, rise=5.0)
ROLLER = lw.Roller(3.0)
AXES = (lw.Axis(moves="x", letter="X", low=-10.0, high=10.0, steps=400.0, top_speed=20.0, acceleration=50.0),)
RING = lw.Pass(turns=2, at=lw.At(x=12.0, depth=0.25), cams=[lw.Drive(WAVE, follower=ROLLER, ratio=2)])
LATHE = lw.Lathe(name="bench", headstock=lw.Headstock(sideways="rocks", pivot_height=250.0), axes=AXES, swing=200.0)
PARTS = [
    WAVE,
    lw.EccentricCam(radius=30.0, offset=2.0),
    lw.MotionLaw(law="harmonic", lobes=3, base_radius=40.0, rise=6.0, rise_part=0.25, fall_part=0.25),
    ROLLER,
    lw.Vee(angle_deg=60.0, width=3.0),
    lw.Ball(radius=2.0),
    lw.RoundNosed(radius=0.5, angle_deg=60.0, width=3.0),
    lw.Pen(line=0.5),
    lw.Disc(diameter=70.0, thickness=8.0),
    lw.Barrel(diameter=40.0, length=60.0, bore=10.0),
    lw.At(x=24.0, y=1.0, z=-2.0, depth=0.5),
    lw.SlideArc(radius=25.0, from_deg=0.0, to_deg=80.0),
    lw.EccentricChuck(shift=3.0, index=90, travel=20.0),
    lw.Oval(throw=5.0, ring_angle_deg=30.0, swing=1.0, swings=2, swing_phase=45),
    lw.StraightLine(per_turn=12.0, travel=40.0, start=-20.0),
    lw.Dome(shift=1.0, tilt_deg=30.0, behind=20.0),
    lw.Twist(angle=90, over=50.0),
    lw.Twist(angle=90, turns=2),
    lw.Feeds(spindle_rpm=2.0),
    lw.CuttingFrame(radius=20.0, angle_deg=30.0),
    lw.EccentricFrame(radius=6.0),
    Screw(lead=2.5, divisions=10),
    Wheel([96, 144], worm=40),
    lw.CamShaft(number=1, turned_by="gears", wheels=(20, 40), pairs=1),
    lw.CamShaft(number=2, turned_by="motor", percent_places=2),
    lw.Controller(longest_line=120, slide_places=4, rotary_places=5),
    lw.Train((100, 32), (24, 48)),
    lw.Profiled(points=((0.0, 0.0), (0.5, 2.0))),
    lw.Turned(profile=((0.0, 20.0), (-20.0, 25.0), (-40.0, 15.0)), hollow=((0.0, 5.0), (-10.0, 4.0))),
    lw.Template(points=((0.0, 20.0), (-30.0, 25.0)), start=0.0, end=-20.0, rubber=2.0),
    lw.Drive(WAVE, follower=ROLLER, ratio=0.75, phase=22.5, index=90, gain=0.5),
    RING,
    RING.series(3, x=-1.0),
    *AXES,
    LATHE,
    lw.Job(lathe=LATHE, piece=lw.Disc(diameter=70.0, thickness=8.0), cutter=lw.Pen(), passes=[RING], chord=0.25, resolution=0.5),
]
NUMBERS = {
    "scalar": lambda given: np.int64(given) if isinstance(given, int) else np.float64(given),
    "narrow": lambda given: np.uint16(given) if isinstance(given, int) and given >= 0 else np.float32(given),
    "array": np.array,
    "long": lambda given: np.int32(given) if isinstance(given, int) else np.longdouble(given),
}


def in_numpy(value, number):
    """A field's value, its numbers as numpy has them."""
    if isinstance(value, units.Phase) and not value.lobes:
        return number(float(value.turns * 360))
    if isinstance(value, tuple) and not hasattr(value, "_fields"):
        return tuple(in_numpy(each, number) for each in value)
    if isinstance(value, Fraction):
        return number(float(value)) if float(np.float32(value)) == value else value
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return number(value) if plain and (math.isinf(value) or float(np.float32(value)) == value) else value


def of_numpy(value):
    """Whether a number of numpy is left anywhere in a part."""
    if is_dataclass(value):
        return any(of_numpy(getattr(value, each.name)) for each in fields(value))
    if isinstance(value, tuple):
        return any(of_numpy(each) for each in value)
    return isinstance(value, np.generic | np.ndarray)


def given_in_numpy(part, number):
    return replace(part, **{each.name: in_numpy(getattr(part, each.name), number) for each in fields(part)})


@pytest.mark.parametrize("number", NUMBERS.values(), ids=NUMBERS)
@pytest.mark.parametrize("part", PARTS, ids=lambda part: type(part).__name__)
def test_a_part_accepts_numpy_numbers_and_stores_python_numbers(part, number):
    made = given_in_numpy(part, number)
    assert made == part
    assert repr(made) == repr(part)
    assert not of_numpy(made)


SAMPLES = [each.part for each in installed().samples("built-in") if is_dataclass(each.part) and each.kind != "backend"]


@pytest.mark.parametrize("part", SAMPLES, ids=lambda part: type(part).__name__)
def test_every_built_in_part_accepts_numpy_numbers(part):
    made = given_in_numpy(part, NUMBERS["scalar"])
    assert made == part
    assert not of_numpy(made)


def test_the_list_of_tested_parts_is_complete():
    """Of the public names; a part that is added is added above."""
    named = {kind for name in lw.__all__ if is_dataclass(kind := getattr(lw, name)) and kind.__module__ not in NOT_GIVEN}
    assert named - {type(part) for part in (*PARTS, *SAMPLES)} == WITHOUT_NUMBERS


NOT_GIVEN = {
    "lobework.carve.carving",
    "lobework.checks.check",
    "lobework.kinematics.closure",
    "lobework.kinematics.contact",
    "lobework.kinematics.trace",
    "lobework.geometry.rigid",
    "lobework.program.steps",
    "lobework.proof.report",
    "lobework.render.drawing",
    "lobework.sheets.settings",
}
WITHOUT_NUMBERS = {lw.CamShape, lw.Cut, lw.DrillingSpindle, lw.FixedTool, lw.HandAxis, lw.Headstock, lw.Phase, lw.RealRatio}


@pytest.mark.parametrize("kind", [np.float64, np.float32, np.array])
def test_a_phase_accepts_numpy_numbers(kind):
    drives = [lw.Drive(WAVE, follower=ROLLER, phase=kind(each)) for each in np.linspace(0.0, 90.0, 5)]
    assert [drive.phase for drive in drives] == [lw.Phase.of(each) for each in (0, 22.5, 45, 67.5, 90)]


def test_steps_of_a_series_accept_numpy_numbers():
    job = PARTS[-1]
    plain = replace(job, passes=[RING.series(3, x=-1.5, phase=22.5)])
    stepped = replace(job, passes=[RING.series(np.int64(3), {"x": np.float32(-1.5)}, phase=np.float64(22.5))])
    assert stepped.cuts()[2].passed == plain.cuts()[2].passed
    assert not any(of_numpy(cut.passed) for cut in stepped.cuts())


def test_units_accept_numpy_numbers():
    assert units.length(np.float64(2), bare="inch") == units.length(2, bare="inch")
    assert units.ratio(np.float64(0.1)) == Fraction(1, 10)
    assert units.ratio(np.int64(-3)) == -3
    assert units.phase(np.array(2)) == units.phase(2)
    assert units.Phase(np.float64(0.5)) * np.int64(3) == units.Phase(Fraction(3, 2))


def test_functions_accept_numpy_numbers():
    three, one_third = np.int64(3), Fraction(1, 3)
    assert ratios.nearest_percent(np.float64(0.125), three) == ratios.nearest_percent(0.125, 3)
    assert ratios.nearest_percent(one_third, np.int8(20)) == ratios.nearest_percent(one_third, 20)
    assert ratios.of_steps(one_third, np.int32(3200), np.int32(3200)) == ratios.of_steps(one_third, 3200, 3200)
    assert ratios.of_step_parts(one_third, np.int32(320), np.int32(320), np.int8(100)) == ratios.of_step_parts(
        one_third, 320, 320, 100
    )
    assert change_wheels.train_for(one_third, np.array([20, 30, 60]), np.int64(1)) == change_wheels.train_for(
        one_third, [20, 30, 60], 1
    )
    assert change_wheels.train_to_cut(one_third, np.float64(0.01), three, np.int8(12), np.int16(100)).ratio == one_third


def test_a_carving_and_its_picture_accept_numpy_numbers():
    job = replace(PARTS[-1], cutter=lw.Vee(angle_deg=60.0, width=3.0), passes=[replace(RING, cams=())])
    carving = job.carve(np.float32(1.0))
    assert np.array_equal(carving.depth, job.carve(1.0).depth)
    assert relief.picture(carving, np.int64(200)).dots.shape[0] == 200


@pytest.mark.parametrize("given", [True, np.True_, np.array(True), np.complex128(1.0), np.array([1.0]), np.timedelta64(1, "ns")])
@pytest.mark.parametrize(
    "make",
    [
        lw.Roller,
        units.length,
        lambda given: lw.Wave(lobes=given, base_radius=60.0, rise=5.0),
        lambda given: lw.Drive(WAVE, follower=ROLLER, phase=given),
        lambda given: lw.Drive(WAVE, follower=ROLLER, ratio=given),
        RING.series,
        lambda given: Wheel([96], worm=given),
        lambda given: lw.CamShaft(number=given, turned_by="spindle"),
        lambda given: lw.Train((given,), (20,)),
        lambda given: replace(LATHE, swing=given),
        lambda given: replace(PARTS[-1], chord=given),
        lambda given: replace(PARTS[-1], resolution=given),
    ],
)
def test_values_that_are_not_real_numbers_are_refused_in_one_line(make, given):
    with pytest.raises(InputError) as error:
        make(given)
    assert "\n" not in str(error.value)
