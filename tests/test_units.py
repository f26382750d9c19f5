"""What people write, and what it means."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import InputError
from lobework.quantities.units import (
    MM_PER,
    Phase,
    angle,
    format_length,
    format_number,
    format_phase,
    format_ratio,
    length,
    number,
    phase,
    ratio,
)
from tests.strategies import phases

lengths = st.floats(-1e6, 1e6, allow_nan=False).filter(lambda mm: mm == 0 or abs(mm) > 1e-9)


def test_an_inch_is_25_4_mm_exactly():
    """International yard and pound agreement, 1 July 1959 (Federal Register, 30 June 1959)."""
    assert MM_PER["in"] * 36 == Fraction("914.4")
    assert length("1 in") == 25.4
    assert length("5/16 in") == 7.9375
    assert length(1, bare="inch") == 25.4


@pytest.mark.parametrize(
    ("written", "mm"),
    [
        ("3", 3.0),
        ("3 mm", 3.0),
        ("3mm", 3.0),
        ("-0.4", -0.4),
        (".5 mm", 0.5),
        ("1 3/8 in", 34.925),
        ("-3/4 in", -19.05),
        ("2 cm", 20.0),
        ("1e-2 mm", 0.01),
    ],
)
def test_lengths_are_read_in_the_usual_notations(written, mm):
    assert length(written) == mm


def test_holes_of_a_96_plate_and_minutes_of_arc():
    """A plate of 96 divides by 2, 3, 4, 6, 8, 12 (Lukin, *The Lathe and Its Uses*); 24 holes are a quarter turn."""
    assert angle("24/96 turn") == 90.0
    assert phase("24/96 turn") == phase("90 deg")
    assert {n for n in (2, 3, 4, 6, 8, 12) if (phase(f"1/{n} turn").turns * 96).denominator == 1} == {2, 3, 4, 6, 8, 12}


def test_ratios_stay_exact():
    assert ratio("-3/4") == Fraction(-3, 4)
    assert ratio("66.67 %") == Fraction(6667, 10000)
    assert ratio(0.1) == Fraction(1, 10)
    assert ratio(2) == 2


def test_a_phase_in_lobes_depends_on_the_number_of_lobes():
    half = Phase.of("1/2 lobe")
    assert [half.in_degrees(lobes) for lobes in (1, 4, 12)] == [180, 45, 15]
    assert half * 2 + Phase.of("1 turn") == Phase(turns=Fraction(1), lobes=Fraction(1))
    assert (half * 96).in_turns(4) == 12


@pytest.mark.parametrize(
    ("reader", "written", "message"),
    [
        (length, "3 furlongs", "'3 furlongs': the unit 'furlongs' is not allowed here; allowed: mm, cm, in, inch"),
        (length, "2 deg", "unit 'deg' is not allowed here"),
        (angle, "3 mm", "unit 'mm' is not allowed here; allowed: deg, turn"),
        (ratio, "1/0", "'1/0' divides by zero"),
        (ratio, "3 mm", "unit 'mm' is not allowed here"),
        (phase, "1 lobes of", "is not understood"),
        (phase, "1 radian", "allowed: deg, turn, lobe"),
        (length, "", "is not understood"),
        (length, "1,5 mm", "is not understood"),
        (length, float("nan"), "is not a finite number"),
        (length, True, "is not a number"),
        (length, [3], "is not a number"),
        (number, "1/2/3", "is not a number"),
        (ratio, "1e999999999", "is not a number"),
    ],
)
def test_text_that_is_not_understood_is_refused_in_one_line_with_an_example(reader, written, message):
    with pytest.raises(InputError) as error:
        reader(written)
    assert message in str(error.value)
    assert "write" in str(error.value)
    assert "\n" not in str(error.value)


@given(mm=lengths, unit=st.sampled_from(["mm", "inch"]))
def test_a_length_reads_back_to_the_last_bit(mm, unit):
    assert length(format_length(mm, unit)) == mm


@given(mm=lengths, unit=st.sampled_from(["mm", "inch"]), places=st.integers(0, 6))
def test_a_rounded_length_reads_back_to_its_decimals(mm, unit, places):
    scale = 25.4 if unit == "inch" else 1.0
    assert abs(length(format_length(mm, unit, places)) - mm) <= scale * 0.5000001 * 10.0**-places + 1e-9 * abs(mm)


@given(value=st.fractions(max_denominator=10**6))
def test_a_ratio_reads_back_exactly(value):
    assert ratio(format_ratio(value)) == value


@given(value=phases)
def test_a_phase_reads_back_exactly(value):
    assert phase(format_phase(value)) == value


@given(value=st.floats(-1e9, 1e9), places=st.integers(0, 8))
def test_numbers_are_written_without_exponent_or_negative_zero(value, places):
    text = format_number(value, places)
    assert "e" not in text
    assert text != "-0"
    assert not (("." in text) and text.endswith(("0", ".")))
    assert abs(Fraction(text) - Fraction(value)) <= Fraction(1, 2) * Fraction(1, 10**places)


@given(a=phases, b=phases, times=st.integers(-5, 5), lobes=st.integers(1, 40))
def test_phases_add_up_exactly(a, b, times, lobes):
    assert (a + b).in_turns(lobes) == a.in_turns(lobes) + b.in_turns(lobes)
    assert (a * times).in_degrees(lobes) == times * a.in_degrees(lobes)


@given(text=st.text(alphabet="0123456789./-+ emindgturlobs%", max_size=12))
def test_any_text_is_read_or_refused(text):
    for reader in (length, angle, ratio, phase):
        try:
            reader(text)
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017 - either outcome is right
