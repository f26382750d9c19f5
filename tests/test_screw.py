"""The screw of a slide: what is written in turns, and how a length is said in them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import InputError, SettingError
from lobework.gearing.screw import Screw, Wound

TENTH = Screw(lead=2.54, divisions=10)
WRITTEN = {
    "16 turns": 40.64,
    "1 turn": 2.54,
    "3 turns 4 div": 8.636,
    "-1/2 turn": -1.27,
    "-3 turns 4 div": -8.636,
    "4 div": 1.016,
    "2.5 turns": 6.35,
    "1 1/2 turns 1 division": 4.064,
    "+1 turn": 2.54,
    "3 mm": 3.0,
    "1/8 in": 3.175,
}


@pytest.mark.parametrize(("text", "mm"), WRITTEN.items())
def test_turns_and_divisions_are_read_as_a_length(text, mm):
    """Ten threads an inch, ten divisions (from memory): a turn is a tenth of an inch, a division a hundredth."""
    assert TENTH.read(text) == mm


def test_a_bare_number_is_in_the_unit_of_the_file():
    assert TENTH.read(2, "inch") == 50.8


@pytest.mark.parametrize("text", ["turns", "div", "", "3", "16 turn s", "4 div 3 turns", "3 turns 4", "one turn"])
def test_text_without_turns_is_not_read_as_turns(text):
    assert Wound.of(text) is None


@pytest.mark.parametrize("text", ["1/0 turn", "1.2.3 turns", "3/ turns"])
def test_turns_that_are_not_a_number_are_refused(text):
    with pytest.raises(InputError, match=r"divides by zero|is not a number|is not understood"):
        TENTH.read(text)


@given(turns=st.integers(-400, 400), divisions=st.integers(0, 99), lead=st.sampled_from([2.54, 1.0, 1.5, 3.175, 2.0]))
def test_whole_divisions_are_printed_as_written_and_read_back(turns, divisions, lead):
    screw = Screw(lead=lead, divisions=100)
    mm = screw.read(f"{turns} turns {divisions} div" if turns else f"{divisions} div")
    assert screw.turns(mm) == turns + (-1 if turns < 0 else 1) * Fraction(divisions, 100)
    assert screw.read(screw.setting_text(mm)) == mm


@given(mm=st.floats(-500, 500, allow_nan=False, allow_subnormal=False), lead=st.sampled_from([2.54, 1.0, 25.4 / 13]))
def test_any_length_is_printed_within_a_twentieth_of_a_division(mm, lead):
    screw = Screw(lead=lead, divisions=10)
    assert abs(screw.read(screw.setting_text(mm)) - mm) <= lead / 10 / 20 * (1 + 1e-9)


BAD = {
    "no lead": (lambda: Screw(lead=0.0), "lead=0: must be above zero, and below a metre"),
    "a lead below zero": (lambda: Screw(lead=-2.54), "lead=-2.54: must be above zero, and below a metre"),
    "no divisions": (lambda: Screw(lead=1.0, divisions=0), "divisions=0: must be a whole number from 1 to 10000"),
    "half a division": (lambda: Screw(lead=1.0, divisions=9.5), "divisions=9.5: must be a whole number from 1 to 10000"),
    "words": (
        lambda: Screw(lead="0.1 in"),
        "lead='0.1 in': must be a plain number, in mm; in Python write lobework.length('0.1 in')",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_an_invalid_screw_is_refused_in_one_line(case):
    make, message = BAD[case]
    with pytest.raises(SettingError) as told:
        make()
    assert str(told.value) == message
