"""What the reader makes of a line: the standard's rules of words, numbers and groups, its feeds, and its arcs.

The standard: T. R. Kramer, F. M. Proctor, E. Messina, The NIST RS274/NGC Interpreter - Version 3, NISTIR 6556 (2000).
"""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.kernels.rs274.block_kinds import ARC, DWELL, END, FEED, RAPID, STOP, SWITCHED
from lobework.proof import read
from lobework.proof.reader import load

HEAD = "G21 G61 G17 G90 G94\n"


def blocks(lines, head=HEAD):
    """Return the blocks of a sound program without its end."""
    reading = read(f"{head}{lines}\nM2\n".encode())
    assert not reading.remarks, [str(each) for each in reading.remarks]
    return reading.blocks


def minutes(lines, head=HEAD):
    return blocks(lines, head).minutes[-2]


def wrong(lines, head=HEAD, end="\nM2\n"):
    """Return what is said of a program that cannot be run."""
    return [str(each) for each in read(f"{head}{lines}{end}".encode()).wrong]


def test_spaces_do_not_change_the_meaning_of_a_line():
    """3.3: 'g0x +0. 12 34y 7' is 'g0 x+0.1234 y7'."""
    assert blocks("g0x +0. 12 34y 7").end[0, :2].tolist() == [0.1234, 7.0]


@pytest.mark.parametrize(
    "written", ["G1 X2 F3", "g1x2f3", "F3 X2 G1", "\tG01 x 2. f+3.0 ", "N7 G1 (to two) X+2 F3 (there)", "G1.0 X2.00 F03"]
)
def test_words_are_read_in_any_order_case_and_spacing(written):
    found = blocks(written)
    assert (found.kind[0], found.end[0, 0], found.minutes[0]) == (FEED, 2.0, 2 / 3)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_both_kinds_of_line_endings_are_read(end):
    reading = read(end.join(["%", "G21 G61 G90", "", "(a comment)", "G0 X1", "%", "G0 X9 nonsense"]).encode())
    assert not reading.remarks
    assert reading.blocks.end[:, 0].tolist() == [1.0]


@given(st.decimals(min_value=-(10**6), max_value=10**6, allow_nan=False, places=6))
def test_a_decimal_is_read_to_the_nearest_double(number):
    assert blocks(f"G0 X{number:f}").end[0, 0] == float(number)


@given(st.from_regex(r"[+-]?([0-9]{1,30}\.?[0-9]{0,40}|\.[0-9]{1,40})", fullmatch=True, alphabet="+-.0123456789"))
def test_a_decimal_of_any_length_is_read_to_the_nearest_double(number):
    assert blocks(f"G0 Z{number}").end[0, 2] == float(Decimal(number))


def test_codes_and_the_moves_that_they_make():
    found = read(f"{HEAD}G0 X1\nG1 Y2 F60\nX3\nG2 X5 Y2 I1 J0\nG4 P3\nM0\nM1\nM2\n".encode()).blocks
    assert found.kind.tolist() == [RAPID, FEED, FEED, ARC, DWELL, STOP, SWITCHED, END]
    assert found.line.tolist() == [2, 3, 4, 5, 6, 7, 8, 9]
    assert found.minutes[4] == 3 / 60


def test_positions_are_absolute_or_incremental():
    assert blocks("G0 X1 A10\nG91 X1 A-30\nX1\nG90 X1").end[:4, [0, 3]].tolist() == [[1, 10], [2, -20], [3, -20], [1, -20]]


def test_lengths_are_in_either_unit_and_angles_in_degrees():
    found = blocks("G0 X1 Z-2 C360", head="G20 G61 G17 G90 G94\n")
    assert found.end[0].tolist() == [25.4, 0.0, -50.8, 0.0, 0.0, 360.0]


def test_a_feed_of_slides_ignores_rotary_axes():
    """2.1.2.5: X10 C360 at F100 takes a tenth of a minute, 6 s."""
    assert minutes("G1 X10 C360 F100") * 60 == pytest.approx(6.0, abs=1e-12)


def test_a_feed_of_slides_is_along_their_common_path():
    assert minutes("G1 X3 Y4 Z12 A90 F13") == pytest.approx(1.0)


def test_a_feed_of_one_rotary_axis_is_in_degrees():
    """2.1.2.5: C360 at F360 takes a minute; also where lengths are inches."""
    assert minutes("G1 C360 F360") == 1.0
    assert minutes("G1 C360 F360", head="G20 G61 G17 G90 G94\n") == 1.0


def test_a_feed_of_several_rotary_axes_is_along_the_root_of_the_sum_of_squares():
    """2.1.2.5: A3 B4 at F5 takes a minute."""
    assert minutes("G1 A3 B4 F5") == 1.0


def test_a_feed_with_inch_units_is_in_inches_per_minute():
    assert minutes("G1 X10 F20", head="G20 G61 G17 G90 G94\n") == pytest.approx(0.5)


@pytest.mark.parametrize("move", ["G1 X10", "G1 C360 X1", "G2 X2 Y0 I1 J0", "G3 X5 Y5 R50 Z3"])
def test_in_inverse_time_a_move_takes_a_part_of_a_minute(move):
    """3.5.19: F2.0 is half a minute."""
    assert minutes(f"G93\n{move} F2.0") == 0.5


def test_an_arc_given_by_its_centre_goes_round_it():
    """3.5.3.2: from X7 Y7, G17 G2 X10 Y16 I3 J4 Z9 has its centre at 10, 11 and a radius of 5."""
    found = blocks("G0 X7 Y7\nG17 G2 x10 y16 i3 j4 z9 F100").arc[1]
    assert found[2:6].tolist() == [10.0, 11.0, 5.0, 5.0]
    assert found[7] == pytest.approx(math.atan2(5, 0) - math.atan2(-4, -3) - 2 * math.pi)


@pytest.mark.parametrize(
    ("plane", "to", "offsets"), [("G17", "X10 Y0", "I5 J0"), ("G18", "X10 Z0", "I5 K0"), ("G19", "Y0 Z10", "J0 K5")]
)
@pytest.mark.parametrize("code", ["G2", "G3"])
def test_half_a_circle_is_as_long_in_every_plane(plane, to, offsets, code):
    assert minutes(f"{plane} {code} {to} {offsets} F10") == pytest.approx(math.pi * 5 / 10)


def test_a_whole_circle_ends_where_it_starts():
    assert blocks("G0 X5 Y0\nG3 X5 Y0 I-5 J0 F10").arc[1, 7] == pytest.approx(2 * math.pi)


def test_the_sign_of_a_radius_selects_the_short_or_the_long_arc():
    short, long = blocks("G2 X6 Y0 R5 F10").arc[0, 7], blocks("G2 X6 Y0 R-5 F10").arc[0, 7]
    assert short == pytest.approx(-2 * math.asin(3 / 5))
    assert long == pytest.approx(short + 2 * math.asin(3 / 5) * 2 - 2 * math.pi)


def test_the_time_of_a_helix_follows_from_its_length():
    assert minutes("G2 X10 Y0 Z5 I5 J0 F10") == pytest.approx(math.hypot(5 * math.pi, 5) / 10)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("G1 X1 X2 F3", "two words with the same letter"),
        ("G0 G1 X1 F3", "two codes of one modal group"),
        ("M0 M2", "two codes of one modal group"),
        ("M3 M7 M8 M48 M0", "more than four M words"),
        ("G1 X1", "no feed is set"),
        ("G93\nG1 X1", "every move needs its own feed"),
        ("G93\nG1 X1 F2\nX2", "every move needs its own feed"),
        ("G93\nG1 X1 F0", "never ends"),
        ("F10\nG93\nG1 X1 F2\nG94\nG1 X2", "no feed is set"),
        ("G1 X1 F-1", "is below zero"),
        ("G4 P-1", "is below zero"),
        ("G4", "without its seconds"),
        ("S-3", "is below zero"),
        ("G1 X1e3 F2", "numbers have no exponent"),
        ("G1 X- F2", "no number after it"),
        ("G1 X1.2.3 F2", "is no number"),
        ("G1 X$ F2", "no number after it"),
        ("G1 X[3+4] F2", "parameters and expressions"),
        ("#1=3", "parameters and expressions"),
        ("G999", "is no code of the standard"),
        ("M100", "is no code of the standard"),
        ("G1 U3 F2", "no word of the standard"),
        ("O100 call", "no word of the standard"),
        ("X1", "axis words without a motion"),
        ("G0", "without an end point"),
        ("G1 X1 F2\nG80\nX2", "axis words without a motion"),
        ("G0 X1 Q7", "no code on this line uses 'Q7'"),
        ("G0 X1 I7", "no code on this line uses 'I7'"),
        ("N123456 G0 X1", "one to five digits"),
        ("N000009 G0 X1", "one to five digits"),
        ("N5. G0 X1", "one to five digits"),
        ("G0 N5 X1", "must come first"),
        ("G0 X1 /", "only at the start of a line"),
        ("(unclosed", "not closed"),
        ("((a(b))", "contains another comment"),
        ("G0 X1 )", "has no meaning"),
        (f"G0 X1 ({'x' * 250})", "longer than 256"),
        ("G0 \N{MINUS SIGN}1", "has no meaning"),
        ("G2 X5 Y0 F3", "without a centre or a radius"),
        ("G2 X5 Y0 I2 R3 F3", "a centre and a radius"),
        ("G2 I2 J0 F3", "without an end"),
        ("G2 X5 Y0 I2.4 J0 F3", "different distances"),
        ("G2 X5 Y0 R2.4 F3", "less than half the way"),
        ("G2 X0 Y0 R2.4 F3", "ends where it starts"),
        ("G2 X5 Y0 I2.5 K1 F3", "no code on this line uses"),
        ("%", "ends only a program that begins with %"),
    ],
)
def test_a_violation_of_the_standard_is_reported_with_its_line(line, message):
    """3.3, 3.3.2.1, 3.3.5, 3.5.3, 3.5.19."""
    said = wrong(line)
    assert len(said) == 1
    assert f"line {2 + line.count(chr(10))}: " in said[0]
    assert message in said[0]


@pytest.mark.parametrize("ends", ["I2.501 J0", "I2.499 J0", "R2.499"])
def test_the_end_of_an_arc_may_deviate_by_0_002_mm(ends):
    """3.5.3: by 0.002 mm, or 0.0002 inch."""
    assert blocks(f"G2 X5 Y0 {ends} F3").kind[0] == ARC
    assert wrong(f"G2 X5 Y0 {ends} F3", head="G20 G61\n")


@pytest.mark.parametrize(
    "line",
    [
        "G28",
        "G30 X0",
        "G53 G0 X1",
        "G92 X0",
        "G43 H1",
        "G41 D1",
        "G55",
        "G10 L2 P1 X3",
        "G38.2 X3 F3",
        "G81 X1 R2 Z-3 F4",
        "M6 T1",
        "M60",
    ],
)
def test_unknown_codes_that_could_move_an_axis_are_refused(line):
    said = wrong(line)
    assert len(said) == 1
    assert "not understood" in said[0]


@pytest.mark.parametrize(
    "line", ["G54", "G40", "G49", "G80", "S1200", "M5", "M7 M8", "M9", "M48", "M49", "T3", "G61.1", "(MSG, set the cam)"]
)
def test_codes_that_do_not_affect_the_path_are_accepted(line):
    assert blocks(f"{line}\nG0 X1").end[0, 0] == 1.0


@pytest.mark.parametrize("text", ["G21 G61\nG0 X1\n", "", "%\nG21 G61\nG0 X1\n", "G21 G61\nG0 X1\nG1 X2 F"])
def test_a_program_without_an_end_is_reported_as_cut_short(text):
    assert any("cut short" in str(each) for each in read(text.encode()).wrong)


def test_text_after_the_end_is_not_executed():
    reading = read(f"{HEAD}G0 X1\nM30\nG0 X2\nrubbish $\n".encode())
    assert reading.blocks.end[:, 0].tolist() == [1.0, 1.0]
    assert [str(each) for each in reading.remarks] == ["note: line 4: 'G0 X2': comes after the program's end and is never run"]


@pytest.mark.parametrize(
    ("text", "level", "message"),
    [
        ("G21 G64 G90\nG0 X1\nM2", "note", "round corners"),
        ("G21 G90\nG0 X1\nM2", "note", "neither G61 nor G64"),
        ("G61 G90\nG0 X1\nM2", "problem", "neither G20 nor G21"),
        ("G21 G61 G90\n/G0 X1\nM2", "problem", "a switch on the controller"),
        ("G21 G61 G90\nG0 X1 ; so\nM2", "note", "not in the standard"),
        ("G21 G61 G90\nG93 G1 X1 F1\nX1 F3\nM2", "note", "of zero length"),
        ("G21 G61 G90\nG98\nM2", "note", "is ignored"),
        ("G21 G61 G90\nM1\nM2", "note", "stops only if a switch"),
        ("G21 G61\nG0 X1\nM2", "note", "neither G90 nor G91"),
        ("G21 G61 G90\nM3 S1200\nM2", "note", "turns a motor"),
        ("G21 G61 G90\nG0 X1 ; so\nG0 X2 ; so\nG0 X3 ; so\nM2", "note", "(and 2 more lines like it)"),
    ],
)
def test_controller_dependent_behaviour_is_reported(text, level, message):
    (remark,) = read(text.encode()).remarks
    assert remark.level == level
    assert message in remark.message


def test_all_errors_are_reported():
    said = wrong("G1 X1 X2 F3\nG28\nG0 X1\n$\nG0 Y1 Y2")
    assert [each.partition(":")[0] for each in said] == ["line 2", "line 3", "line 5", "line 6"]


@given(st.binary(max_size=300))
def test_no_bytes_crash_the_reader(data):
    reading = read(data)
    assert np.isfinite(reading.blocks.end).all()


def test_unreadable_files_are_reported(tmp_path):
    with pytest.raises(ValueError, match="there is no such file"):
        load(tmp_path / "none.ngc")
    with pytest.raises(ValueError, match="is a folder"):
        load(tmp_path)
    with pytest.raises(ValueError, match="is not a valid file name"):
        load("a\0b")
