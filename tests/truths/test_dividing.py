"""Dividing wheels against published plates and tables."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.gearing.dividing_wheel import Wheel, wheel_phase
from lobework.quantities.units import angle, phase

PLATE = Wheel([96, 112, 144, 360])
HEAD = [24, 25, 28, 30, 34, 37, 38, 39, 41, 42, 43]


def test_twelve_parts_of_a_division_plate():
    """Holtzapffel, *Turning and Mechanical Manipulation* IV, ch. V: circles 96, 112, 144, 360; twelve parts are 8, 16, 24, 32
    of 96, or 12, 24, 36, 48 of 144."""
    for part in range(1, 5):
        settings = PLATE.settings(Fraction(part, 12))
        assert f"{8 * part} holes of the 96 circle" in settings
        assert f"{12 * part} holes of the 144 circle" in settings
        assert PLATE.setting_text(Fraction(part, 12)) == f"{8 * part} holes of the 96 circle"


@pytest.mark.parametrize("parts", [2, 3, 4, 6, 8, 12])
def test_the_divisors_of_96(parts):
    """J. Lukin, *The Lathe & Its Uses*: an overhead wheel of 96 divides by 2, 3, 4, 6, 8, 12."""
    assert Wheel([96]).setting_text(Fraction(1, parts)) == f"{96 // parts} holes of the 96 circle"


@pytest.mark.parametrize("parts", [2, 3, 4, 6, 8, 9])
def test_the_divisors_of_72(parts):
    """J. Lukin, *The Lathe & Its Uses*: an overhead wheel of 72 divides by 2, 3, 4, 6, 8, 9."""
    assert Wheel([72]).setting_text(Fraction(1, parts)) == f"{72 // parts} holes of the 72 circle"


def test_six_divisions_on_a_head_of_forty_to_one():
    """US Army Ordnance training text od1644, dividing head: 6 turns and 12 holes of 18, or 26 of 39."""
    assert Wheel([18, *HEAD], worm=40).settings(Fraction(1, 6))[0] == "6 turns and 12 holes of the 18 circle"
    assert "6 turns and 26 holes of the 39 circle" in Wheel(HEAD, worm=40).settings(Fraction(1, 6))


def test_forty_two_divisions_on_a_head_of_forty_to_one():
    """The same text: 40 holes of 42, or 20 of 21."""
    assert Wheel(HEAD, worm=40).setting_text(Fraction(1, 42)) == "40 holes of the 42 circle"
    assert Wheel([21], worm=40).setting_text(Fraction(1, 42)) == "20 holes of the 21 circle"


@pytest.mark.parametrize(
    ("degrees", "circle", "setting"),
    [
        ("1 deg", 18, "2 holes of the 18 circle"),
        ("1 deg", 27, "3 holes of the 27 circle"),
        ("35 deg", 18, "3 turns and 16 holes of the 18 circle"),
        ("11.5 deg", 18, "1 turn and 5 holes of the 18 circle"),
        ("2.5 deg", 18, "5 holes of the 18 circle"),
        ("146/3 deg", 27, "5 turns and 11 holes of the 27 circle"),
        ("9 deg", 18, "1 turn"),
    ],
)
def test_angular_indexing(degrees, circle, setting):
    """*Machinery's Handbook*, 1916, angular indexing with a worm of 40 (a turn of the crank is 9 degrees).

    48 degrees 40 minutes is worked out: 146/3 degrees are 146/27 turns.
    """
    wheel = Wheel([circle], worm=40)
    assert wheel.setting_text(phase(degrees).in_turns()) == setting
    assert setting == "1 turn" or wheel.read(setting) == phase(degrees)


def test_fifty_four_minutes_are_two_holes_of_twenty():
    """US Army Ordnance training text od1644."""
    assert Wheel([20], worm=40).setting_text(phase("0.9 deg").in_turns()) == "2 holes of the 20 circle"


def test_twenty_four_minutes_are_a_hole_of_twenty_three_only_approximately():
    """The same text: one hole in 22 1/2, so the circle of 23 is used, which is not exact: 9/23 of a degree for 0.4."""
    near, off = Wheel([23], worm=40).nearest(phase("0.4 deg").in_turns())
    assert (near, off) == ("1 hole of the 23 circle", Fraction(9, 23) - Fraction(2, 5))
    with pytest.raises(SettingError, match=r"the nearest is 1 hole of the 23 circle, 0\.008696 degrees less"):
        Wheel([23], worm=40).setting_text(phase("0.4 deg").in_turns())


plates = st.lists(st.integers(1, 400), min_size=1, max_size=5, unique=True)


@given(circles=plates, worm=st.sampled_from([1, 5, 40, 60]), turns=st.fractions(-3, 3, max_denominator=400))
def test_the_nearest_hole_is_the_nearest_there_is_and_reads_back(circles, worm, turns):
    wheel = Wheel(circles, worm=worm)
    near, off = wheel.nearest(turns)
    found = turns + off / 360
    assert abs(off) == min(abs(Fraction(round(turns * worm * n), n) / worm - turns) * 360 for n in circles)
    if "holes" in near or "hole" in near:
        assert wheel_phase(near, wheel).in_turns() == found
    assert (wheel.settings(turns) != ()) == (off == 0)


@given(circles=plates, hole=st.integers(-1000, 1000), place=st.integers(0, 4))
def test_every_hole_of_a_circle_can_be_set(circles, hole, place):
    holes = circles[place % len(circles)]
    wheel = Wheel({f"circle {n}": n for n in circles})
    turns = Fraction(hole, holes)
    assert wheel.read(f"{hole} holes of circle {holes}") == phase(f"{turns} turn")
    assert any(f"of the circle {holes} circle" in way or " of " not in way for way in wheel.settings(turns))


def test_an_angle_is_the_same_in_every_notation():
    assert Wheel([96]).read("8 holes of 96") == Wheel([96]).read("8 holes") == phase("1/12 turn") == phase("30 deg")
    assert angle("1/12 turn") == 30.0


BAD = {
    "no circles": (lambda: Wheel([]), r"circles=\[\]: must be the holes of each circle, such as .*"),
    "a circle of none": (lambda: Wheel([96, 0]), r"circles=\[96, 0\]: must be whole numbers of holes, 1 to 100000"),
    "half a hole": (lambda: Wheel([9.5]), r"circles=\[9.5\]: must be whole numbers of holes, 1 to 100000"),
    "a word": (lambda: Wheel("96"), "circles='96': must be the holes of each circle, such as .*"),
    "one circle twice": (lambda: Wheel([96, 96]), r"circles=\[96, 96\]: must be different circles"),
    "a worm of none": (lambda: Wheel([96], worm=0), "worm=0: must be a whole number of crank turns, 1 to 100000"),
    "half a worm": (lambda: Wheel([96], worm=2.5), "worm=2.5: must be a whole number of crank turns, 1 to 100000"),
}


@pytest.mark.parametrize("case", BAD)
def test_an_invalid_wheel_is_refused_in_one_line(case):
    make, message = BAD[case]
    with pytest.raises(SettingError, match=message) as told:
        make()
    assert "\n" not in str(told.value)
