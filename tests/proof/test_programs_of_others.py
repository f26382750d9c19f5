"""Programs that lobework did not write: proved where they cut the job, and refused where they cannot be."""

from __future__ import annotations

from math import cos, radians, sin

import pytest

from lobework.errors import TooLargeError
from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cutter import Ball, Pen, Vee
from lobework.parts.headstock import Headstock
from lobework.parts.holder import CuttingFrame
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At, SlideArc
from lobework.text.cautions import READY

AXES = (("spindle", "C"), ("x", "X"), ("y", "Y"), ("z", "Z"), ("cutter", "B"))


def bench(letters="CXZ"):
    return Lathe(
        name="bench",
        headstock=Headstock(sideways="fixed"),
        axes=tuple(Axis(moves=moves, letter=letter) for moves, letter in AXES if letter in letters),
    )


def job(*passes, lathe=None, piece=None, cutter=None):
    return Job(
        title="other hands",
        lathe=lathe or bench(),
        piece=piece or Disc(diameter=60.0, thickness=30.0),
        cutter=cutter or Pen(),
        passes=passes,
    )


OPENING = f"(MSG, {'; '.join(READY)})\nM0\n"
"""The stop that every program opens with, and its words."""


def proof_of(made, text, **how):
    """Return the proof of a program that opens with the stop."""
    percent = text.lstrip().startswith("%")
    opened = text.replace("%", f"%\n{OPENING}", 1) if percent else OPENING + text
    return made.prove(opened.encode(), **how)


RINGS = Pass(at=At(x=20.0, depth=0.25)).series(2, x=-5.0)

STYLES = {
    "plain": """
        G21 G61 G90
        G0 Z5
        G0 X20 C0
        G1 Z-0.25 F60
        G1 C360 F720
        G0 Z5
        G0 X15
        G1 Z-0.25 F60
        G1 C720 F720
        G0 Z5
        M2""",
    "lower case, no spaces, signs and points everywhere": """
        %
        g21g61g90
        n10g0z+5.
        n20 x+020.000c0.
        n30g1z-.25f60.
        n40c+360.f720
        n50g0z+5.00
        n60x+15.
        n70g1z-.25 f 6 0
        n80c720.f720.
        n90g00z5.
        %""",
    "from where it stands, words in any order": """
        (rings) G21 G61 G91 (all from where the axes are)
        Z5 G0
        X20 G0
        F60 Z-5.25 G1
        F720 C360
        G0 Z5.25
        X-5
        G1 F60 Z-5.25
        F720 C360
        G0 Z5.25
        M30""",
    "in inches": """
        G20 G61
        G0 Z0.2
        G0 X0.787401574803 C90
        G1 Z-0.00984251968504 F2
        G93 G1 C450 F2
        G94 G0 Z0.2
        X0.590551181102
        G1 Z-0.00984251968504 F2
        G93 G1 C810 F2
        G94 G0 Z0.2
        M2""",
    "by the circle's other crossing, in two halves": """
        G21 G61
        G0 Z5
        G0 X-20 C0
        G1 Z-0.25 F60
        G1 C180 F720
        G1 C360
        G0 Z5
        G0 X15
        G1 Z-0.25 F60
        G1 C720 F720
        G0 Z5
        M2""",
}


@pytest.mark.parametrize("text", STYLES.values(), ids=STYLES)
def test_rings_are_proved_in_every_style(text):
    proof = proof_of(job(RINGS), text)
    assert proof.proved, str(proof)
    assert proof.deviation.mm < 1e-3


def test_arcs_lead_the_tip_round_a_dome():
    """Round a centre 20 mm under the face, from 80 to 20 degrees; radius and centre say the same arc."""
    swept = Pass(turns=0, at=At(x=0.0, z=-20.0, depth=0.0), arc=SlideArc(radius=20.0, from_deg=80.0, to_deg=20.0, cutter="keeps"))
    lathe, piece = bench("CXZ"), Disc(diameter=60.0, thickness=60.0)
    head = "G21 G61 G18\nG0 Z5\nG0 X19.69615506 C0\nG1 Z-16.52703645 F60\n"
    for arc in ("X6.84040287 Z-1.20614758 R20", "X6.84040287 Z-1.20614758 I-19.69615506 K-3.47296355"):
        proof = proof_of(job(swept, lathe=lathe, piece=piece), f"{head}G2 {arc} F200\nG0 Z5\nM2\n")
        assert proof.proved, str(proof)
    wrong = proof_of(job(swept, lathe=lathe, piece=piece), f"{head}G2 X6.84040287 Z-1.20614758 R20.5 F200\nG0 Z5\nM2\n")
    assert any("off the path of cut 1" in str(each) for each in wrong.problems)


def test_a_flute_along_a_barrel_may_be_cut_either_way():
    flute = Pass(turns=0, at=At(x=20.0, z=-5.0, depth=0.4), travel=At(z=-20.0))
    made = job(flute, piece=Barrel(diameter=40.0, length=40.0), cutter=Ball(radius=1.0))
    back = "G21 G61 G90\nG0 X25\nG0 Z-25 C0\nG1 X19.6 F60\nZ-5 F200\nG0 X25\nM2\n"
    assert proof_of(made, back).proved
    assert not proof_of(made, back.replace("C0", "C1")).proved
    assert not proof_of(made, back.replace("Z-5", "Z-5.02")).proved


def test_an_axis_that_stays_at_its_position_is_noted():
    made = job(RINGS, lathe=bench("CXYZ"))
    proof = proof_of(made, STYLES["plain"])
    assert proof.proved
    assert [str(each) for each in proof.findings] == ["note (program): Y: is never moved; it must stand at 0 mm"]


def test_an_axis_that_first_moves_at_a_feed_is_reported():
    proof = proof_of(job(RINGS), STYLES["plain"].replace("G0 X20 C0", "G0 X20"))
    assert proof.proved
    assert any("C is first moved by a feed move" in str(each) for each in proof.findings)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("G21 G61 G90", "G21 G64 G90", "round corners"),
        ("G21 G61 G90", "G21 G90", "neither G61 nor G64"),
        ("G21 G61 G90", "G21 G61", "neither G90 nor G91"),
        ("G0 Z5", "M3 S900\nG0 Z5", "its direction and speed are not proved"),
        ("G0 X20 C0", "G0 X20 C0 ; go", "not in the standard"),
    ],
)
def test_controller_dependent_behaviour_is_reported_as_a_note(old, new, message):
    proof = proof_of(job(RINGS), STYLES["plain"].replace(old, new))
    assert proof.code == 0
    assert any(message in str(each) for each in proof.findings)


@pytest.mark.parametrize("line", ["G92 X0", "G43 H1", "G28", "M6 T2", "#1=5", "G38.2 Z-3 F5", "O100", "G55"])
def test_a_line_that_is_not_understood_is_reported_and_nothing_is_proved(line):
    proof = proof_of(job(RINGS), STYLES["plain"].replace("G0 X20 C0", f"{line}\nG0 X20 C0"))
    assert proof.code == 2
    assert not proof.proved
    assert len(proof.wrong) == 1
    assert str(proof.wrong[0]).startswith("line 6: ")
    assert proof.summary.startswith("not proved: line 6: ")


def test_a_program_without_units_is_not_proved():
    proof = proof_of(job(RINGS), STYLES["plain"].replace("G21 ", ""))
    assert proof.code == 1
    assert any("neither G20 nor G21" in str(each) for each in proof.problems)


def test_a_wrong_direction_of_the_cutter_is_found():
    swept = Pass(turns=0, at=At(x=0.0, z=-20.0, depth=0.0), arc=SlideArc(radius=20.0, from_deg=80.0, to_deg=20.0))
    made = job(swept, lathe=bench("CXZB"), piece=Disc(diameter=60.0, thickness=60.0), cutter=Ball(radius=1.0))
    steps = "\n".join(
        f"X{x:.6f} Z{z:.6f} B{b:.6f} F200"
        for x, z, b in ((20 * sin(radians(b)), -20 + 20 * cos(radians(b)), b) for b in _down(80, 20, 0.5))
    )
    text = f"G21 G61\nG0 Z5\nG0 X19.69615506 B80 C0\nG1 Z-16.52703645 F60\n{steps}\nG0 Z5\nM2\n"
    assert proof_of(made, text).proved, str(proof_of(made, text))
    askew = proof_of(made, text.replace(" B50.000000", " B52.000000"))
    assert any("turned 2 degrees from its direction" in str(each) for each in askew.problems)


def _down(first, last, step):
    return [first - k * step for k in range(1, int((first - last) / step) + 1)]


def test_the_given_tolerance_is_used():
    with pytest.raises(ValueError, match="tolerance=0: must be above zero"):
        proof_of(job(RINGS), STYLES["plain"], tolerance=0.0)
    loose = proof_of(job(RINGS), STYLES["plain"].replace("X15", "X15.02"), tolerance=0.05)
    assert loose.proved
    assert loose.allowed == 0.05


@pytest.mark.parametrize(
    "word", ["C999999999999", "C9999999999999999999999", "X9999999999 C720000", "Z99999999999999999999999 C720000"]
)
def test_a_move_too_long_to_check_is_refused_with_its_line(word):
    with pytest.raises(TooLargeError, match=r"line 8: .* the move is too long to be checked; check the numbers on this line"):
        proof_of(job(RINGS), STYLES["plain"].replace("G1 C360", f"G1 {word}"))


ROUND = Barrel(diameter=40.0, length=40.0)
FLUTE = job(Pass(turns=0, at=At(x=20.0, z=-5.0, depth=0.4), travel=At(z=-20.0)), piece=ROUND, cutter=Ball(radius=1.0))
RING = job(Pass(at=At(x=20.0, depth=0.25)))
BAND = job(Pass(at=At(x=20.0, z=-10.0, depth=0.25)), piece=ROUND, cutter=Ball(radius=1.0))
FRAMED = job(
    Pass(at=At(x=20.0, depth=0.25)), lathe=bench("CXYZ"), cutter=Vee(angle_deg=90.0, width=2.0, holder=CuttingFrame(radius=20.0))
)
TO_RING, TO_BAND = "G0 Z5\nG0 X20 C0\nG1 Z-.25 F60\n", "G0 X30\nG0 Z-10 C0\nG1 X19.75 F30\nG1 C360 F720\nG0 X30\n"


def told(made, text):
    proof = proof_of(made, f"G21 G61 G90\n{text}M2\n")
    return [str(each) for each in proof.problems]


@pytest.mark.parametrize(
    ("made", "text", "message"),
    [
        (FLUTE, "G0 X30\nG0 Z-5 C0\nG1 X19.6 F30\nZ-7 F200\nG0 X30\nG0 Z-10\nG1 X19.6 F30\nZ-25\nG0 X30\n", "1.5 mm"),
        (FLUTE, "G0 X30\nG0 Z-5 C0\nG1 X19.6 F30\nZ-7\nZ-5\nG0 X30\nG0 Z-10\nG1 X19.6\nZ-25\nG0 X30\n", "1.5 mm"),
        (RING, f"{TO_RING}G1 C359.7 F720\nG0 Z5\n", "0.0524 mm"),
        (RING, f"{TO_RING}G1 C359.7 F720\nC0\nG0 Z5\n", "0.0524 mm"),
    ],
)
def test_a_missing_piece_between_two_points_of_the_path_deviates_by_half_its_length(made, text, message):
    """A chord of 0.3 degrees at 20 mm is 0.1047 mm."""
    assert any(f"deviates by {message} from the job" in each for each in told(made, text)), told(made, text)


@pytest.mark.parametrize(
    ("made", "text", "message"),
    [
        (FLUTE, "G0 X30\nG0 Z-5 C180\nG1 X-19.6 F30\nG1 Z-25 F200\nG1 X30 F100\n", "turned 180 degrees from its direction"),
        (BAND, "G0 X30\nG0 Z20\nG0 X-30 C0\nG0 Z-10\nG1 X-19.75 F30\nG1 C-360 F200\n", "turned 180 degrees from its direction"),
        (FLUTE, "G0 X30\nG0 Z-5 C0\nG1 X-30 F30\nG1 X19.6\nG1 Z-25 F200\nG0 X30\n", "line 6: cuts 39.6 mm off the path"),
        (BAND, f"{TO_BAND}G1 X-30 Z-12\n", "line 9: cuts 19.651 mm off the path"),
        (BAND, f"{TO_BAND}G0 X-30\n", "line 9: a rapid move goes 20 mm deep"),
        (BAND, f"{TO_BAND}G0 Z20\nG0 X-30\nG0 Z-10\nG0 X30\n", "line 12: a rapid move goes 20 mm deep"),
        (RING, f"G0 Z5\nG0 X10\nG0 Z-5\n{TO_RING}G1 C360 F720\nG0 Z5\n", "line 6: a rapid move goes 5 mm deep"),
        (FRAMED, "G0 Z5\nG0 X0 Y20 C0\nG1 Z-.25 F60\nG1 C360 F720\nG0 Z5\n", "turned 90 degrees from its direction"),
    ],
)
def test_a_move_through_the_work_or_an_approach_from_another_side_is_found(made, text, message):
    assert any(message in each for each in told(made, text)), told(made, text)


@pytest.mark.parametrize(
    ("made", "text"),
    [
        (RING, "G0 Z5\nG0 X20 C0\nG1 Z-.1 F60\nZ-.25\nC360 F720\nZ-.1\nG0 Z5\n"),
        (RING, f"{TO_RING}G1 C365 F720\nG0 Z5\n"),
        (FLUTE, "G0 X30\nG0 Z-5 C0\nG1 X19.6 F30\nZ-7\nZ-5\nG0 X30\nG0 Z-7\nG1 X19.6\nZ-25\nG0 X30\n"),
        (FRAMED, "G0 Z5\nG0 X-20 Y0 C0\nG1 Z-.25 F60\nG1 C360 F720\nG0 Z5\n"),
    ],
)
def test_a_plunge_in_steps_and_a_cut_in_pieces_or_too_long_are_accepted(made, text):
    assert told(made, text) == []
