"""Helix, lead and frame angle against handbooks and training texts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.gearing.helix import (
    helix_angle,
    lead_from_angle,
    lead_of_travel,
    lead_of_twist,
)
from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cutter import Ball
from lobework.parts.headstock import Headstock
from lobework.parts.holder import CuttingFrame
from lobework.parts.piece import Barrel
from lobework.parts.slide import At

INCH = 25.4


def lead_angle(diameter: float, lead: float) -> float:
    """Return a thread's lead angle, degrees: the complement of the angle to the axis."""
    return 90 - helix_angle(diameter, lead)


def test_ninety_degrees_over_two_inches_on_two_inches_is_38_1_degrees():
    """Common practice, no source."""
    assert round(helix_angle(2 * INCH, lead_of_twist(2 * INCH, 90)), 1) == 38.1


@pytest.mark.parametrize(("twist", "frame"), [(30, 14.67), (45, 21.44)])
def test_a_twist_over_one_diameter_gives_a_smaller_frame_angle_than_the_twist(twist, frame):
    """Common practice, no source: the twist is mostly 30 to 45 degrees. The frame's angle is another: atan(pi twist / 360)."""
    assert helix_angle(40, lead_of_twist(40, twist)) == pytest.approx(frame, abs=0.005)
    assert helix_angle(40, lead_of_twist(40, twist)) == pytest.approx(math.degrees(math.atan(math.pi * twist / 360)), abs=1e-12)


@pytest.mark.parametrize(
    ("diameter", "lead", "printed", "places"),
    [
        (0.2175 * INCH, INCH / 20, 4.18, 0.006),
        (0.6043 * INCH, 0.03937 * INCH, 1.19, 0.005),
        (0.5873 * INCH, 0.03937 * INCH, 1.22, 0.005),
        (0.6299 * INCH, 0.03937 * INCH, 1.14, 0.005),
        (60.0, 25.0, 7.5, 0.06),
    ],
)
def test_lead_angles_of_thread_worksheets(diameter, lead, printed, places):
    """Thread worksheets: scribd.com/document/490365997 and 329605126; the last row, rounded down by three minutes there, is
    angelfire.com/d20/lathework/page25.htm."""
    assert lead_angle(diameter, lead) == pytest.approx(printed, abs=places)


@pytest.mark.parametrize(
    ("threads", "pitch_diameter", "degrees", "minutes"),
    [
        (20, 0.2175, 4, 11),
        (18, 0.2764, 3, 40),
        (16, 0.3344, 3, 24),
        (14, 0.3911, 3, 20),
        (13, 0.4500, 3, 7),
        (12, 0.5084, 2, 59),
        (11, 0.5660, 2, 56),
        (10, 0.6850, 2, 40),
        (9, 0.8028, 2, 31),
        (8, 0.9188, 2, 29),
        (7, 1.0322, 2, 31),
        (7, 1.1572, 2, 15),
    ],
)
def test_lead_angles_of_unified_coarse_threads(threads, pitch_diameter, degrees, minutes):
    """Pitch diameters: noxmetals.co/resources/thread-pitch-reference; minutes: the lead angles of ASME B1.1, from memory."""
    assert round(lead_angle(pitch_diameter, 1 / threads) * 60) == 60 * degrees + minutes


@pytest.mark.parametrize(
    ("diameter", "lead", "angle"), [(0.125, 0.67, 30.25), (0.25, 0.78, 44.0), (4.0, 36.0, 19.25), (1.0, 3.6, 41.0)]
)
def test_table_angles_of_milling_tables_to_about_a_degree(diameter, lead, angle):
    """Settings of the table for spirals as milling handbooks list them; from memory, and good to a degree or so."""
    assert helix_angle(diameter, lead) == pytest.approx(angle, abs=1.25)


def test_a_larger_diameter_has_a_larger_angle_and_a_larger_lead_a_smaller():
    """Brown & Sharpe, Practical Treatise on Milling and Milling Machines, p. 64."""
    assert helix_angle(20, 100) < helix_angle(40, 100) < helix_angle(60, 100)
    assert helix_angle(40, 50) > helix_angle(40, 100) > helix_angle(40, 200)


leads = st.floats(1e-3, 1e5) | st.floats(-1e5, -1e-3)


@given(diameter=st.floats(0.1, 1e3), lead=leads)
def test_lead_and_angle_are_inverse_functions(diameter, lead):
    assert lead_from_angle(diameter, helix_angle(diameter, lead)) == pytest.approx(lead, rel=1e-9)


@given(over=st.floats(1, 1e3), turns=st.floats(0.01, 10))
def test_a_twist_of_whole_turns_has_the_lead_of_the_same_slide_travel(over, turns):
    assert lead_of_twist(over, 360 * turns) == pytest.approx(lead_of_travel(over, turns), rel=1e-12)


def test_an_infinite_lead_has_angle_0_and_a_zero_lead_has_angle_90():
    assert helix_angle(40, math.inf) == 0 == helix_angle(40, lead_of_twist(50, 0))
    assert helix_angle(40, 0) == 90
    assert lead_from_angle(40, 90) == 0
    assert lead_from_angle(40, 0) == math.inf


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: helix_angle(0, 10), "diameter=0: must be above zero"),
        (lambda: helix_angle(math.nan, 10), "diameter=nan: must be above zero"),
        (lambda: helix_angle(10, math.nan), "lead=nan: must be a number, in mm"),
        (lambda: lead_from_angle(10, 91.0), "angle=91: must be -90 to 90 degrees"),
        (lambda: lead_of_travel(10, 0), "turns=0: must be above zero"),
        (lambda: lead_of_twist(0.0, 90), "over=0: must be above zero"),
        (lambda: lead_of_twist(10, math.inf), "twist=inf: must be finite, in degrees"),
        (lambda: lead_of_twist(10, 90, ratio=0), "ratio=0: must be a number other than zero"),
    ],
)
def test_invalid_values_are_refused(ask, message):
    with pytest.raises(SettingError) as refused:
        ask()
    assert str(refused.value) == message


AXES = tuple(Axis(moves=moves, letter=letter) for moves, letter in (("spindle", "C"), ("x", "X"), ("z", "Z"), ("cam 1", "A")))
BENCH = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=AXES)
BARREL = Barrel(diameter=2 * INCH, length=70)


def helix(cutter, depth=0.5, way=1, resolution=0.25, **more):
    """Return the job of a groove on a two-inch barrel that turns by a quarter in two inches, well inside its ends."""
    at = At(x=INCH, z=-35 - way * INCH, depth=depth)
    groove = Pass(turns="1/4", at=at, travel=At(z=2 * INCH * way), name="helix")
    return Job(lathe=BENCH, piece=BARREL, cutter=cutter, passes=[groove], resolution=resolution, chord=1e-3, **more)


@pytest.mark.parametrize("depth", [0.2, 0.5])
def test_a_helical_groove_has_the_volume_of_pappus_theorem(depth):
    """Pappus' second theorem, along a helix: a ball's section square to the groove, below a side that is bent there by the square
    of the angle's cosine over its radius (Euler), times the length of the helix on which its centroid lies; half a cap of the
    ball at either end. Within half a per cent, for rays a fifteenth of the ball apart."""
    radius, turns, lead = 1.5, 0.25, 8 * INCH
    x = np.linspace(-radius, radius, 200_001)
    side = -(x**2) / 2 / INCH * math.cos(math.radians(helix_angle(2 * INCH, lead))) ** 2
    floor = radius - depth - np.sqrt(radius**2 - x**2)
    deep = np.maximum(side - floor, 0.0)
    area, moment = np.trapezoid(deep, x), np.trapezoid(deep * (side + floor) / 2, x)
    middle = math.hypot(2 * math.pi * (INCH + moment / area), lead) * turns
    cap = math.pi * depth**2 * (3 * radius - depth) / 3
    carving = helix(Ball(radius=radius), depth, resolution=0.1).carve(backend="compiled")
    assert carving.volume == pytest.approx(area * middle + cap, rel=0.005)


def test_a_frame_set_at_the_helix_cuts_a_clean_groove_and_at_the_mirror_angle_a_wide_one():
    """Common practice, no source."""
    for way in (1, -1):
        angle = helix_angle(2 * INCH, way * 8 * INCH)
        removed = {}
        for stands in (angle - 4, angle, angle + 4, -angle):
            cutter = Ball(radius=1.5, holder=CuttingFrame(radius=20, angle_deg=stands))
            removed[stands] = helix(cutter, way=way, resolution=0.6).carve(backend="compiled").volume
        assert min(removed, key=removed.__getitem__) == angle
        assert removed[-angle] > 2.5 * removed[angle]
