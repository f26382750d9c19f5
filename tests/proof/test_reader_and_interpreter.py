"""The reader beside an independent interpreter of the same standard: the same moves in the same time, the same lines refused.

The interpreter's folder is named by the environment variable LOBEWORK_RS274; see `tests.targets.test_rs274`.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from lobework.kernels.rs274.block_kinds import ARC, DWELL, FEED, RAPID, STOP, SWITCHED
from lobework.proof import read
from tests.search import examples
from tests.targets import test_rs274 as on_a_face

interpreter = on_a_face.interpreter
HEAD = "G21 G61 G17 G90 G94\n"
COMMAND = re.compile(r"\s*\d+ N.{5}\s?(\w+)\((.*)\)")
AXES = {"CANON_PLANE_XY": (0, 1, 2), "CANON_PLANE_YZ": (1, 2, 0), "CANON_PLANE_XZ": (2, 0, 1)}
MM = {"CANON_UNITS_MM": 1.0, "CANON_UNITS_INCHES": 25.4}


def carried_out(text):
    """Return what the interpreter's own words come to: kind, where the axes are (mm, degrees), seconds, of each block."""
    here, rate, scale, plane, found = np.zeros(6), 0.0, 1.0, (0, 1, 2), []
    for line in text.splitlines():
        name, given_to = COMMAND.fullmatch(line).groups()
        numbers = [float(each) for each in re.findall(r"-?\d+\.\d+|-?\d+", given_to)] if "CANON" not in given_to else []
        unit = np.array([scale] * 3 + [1.0] * 3)
        if name == "USE_LENGTH_UNITS":
            scale = MM[given_to]
        elif name == "SELECT_PLANE":
            plane = AXES[given_to]
        elif name == "SET_FEED_RATE":
            rate = numbers[0]
        elif name in ("STRAIGHT_TRAVERSE", "STRAIGHT_FEED"):
            to = np.array(numbers[:6]) * unit
            slides, angles = (np.linalg.norm(part) for part in ((to - here)[:3] / scale, (to - here)[3:]))
            seconds = math.nan if name == "STRAIGHT_TRAVERSE" else 60 * (slides if slides > 1e-3 else angles) / (rate or math.inf)
            found.append((RAPID if name == "STRAIGHT_TRAVERSE" else FEED, to, seconds))
            here = to
        elif name == "ARC_FEED":
            (a, b, c), (to_a, to_b, at_a, at_b, way, to_c) = plane, numbers[:6]
            to = here.copy()
            to[[a, b, c]], to[3:] = np.array([to_a, to_b, to_c]) * scale, numbers[6:9]
            start, end = (math.atan2(y - at_b * scale, x - at_a * scale) for x, y in ((here[a], here[b]), (to[a], to[b])))
            sweep = (way * (end - start)) % (2 * math.pi) or 2 * math.pi
            radius = math.hypot(here[a] - at_a * scale, here[b] - at_b * scale)
            found.append((ARC, to, 60 * math.hypot(radius * sweep, to[c] - here[c]) / scale / rate))
            here = to
        elif name == "DWELL":
            found.append((DWELL, here, numbers[0]))
        elif name in ("PROGRAM_STOP", "OPTIONAL_PROGRAM_STOP"):
            found.append((STOP if name == "PROGRAM_STOP" else SWITCHED, here, 0.0))
    return found


def read_out(text):
    """Return the same of our own reader."""
    reading = read(text)
    assert not reading.wrong, [str(each) for each in reading.wrong]
    found = zip(reading.blocks.kind.tolist(), reading.blocks.end, 60 * reading.blocks.minutes, strict=True)
    return [each for each in found if each[0] in (RAPID, FEED, ARC, DWELL, STOP, SWITCHED)]


places = st.integers(-400, 400).map(lambda k: k / 8)
feeds = st.integers(10, 300)


@st.composite
def programs(draw):
    """Lines of moves in every plane, unit, distance and feed mode; arcs by radii that are long enough."""
    lines, inverse, feed = [], False, False
    for _ in range(draw(st.integers(5, 40))):
        what = draw(st.sampled_from(["move", "move", "move", "arc", "mode", "turn", "wait"]))
        if what == "mode":
            mode = draw(st.sampled_from(["G17", "G18", "G19", "G20", "G21", "G90", "G91", "G93", "G94"]))
            if mode in ("G93", "G94"):
                inverse, feed = mode == "G93", False
            lines.append(draw(st.sampled_from([mode, mode.lower(), f" {mode[0]} {mode[1:]} "])))
        elif what == "wait":
            lines.append(draw(st.sampled_from(["G4 P0.5", "M0", "M1", "(all is well)", "m3 s600", "", "N10"])))
        else:
            letters = draw(st.lists(st.sampled_from("XYZABC" if what == "move" else "ABC"), min_size=1, max_size=4, unique=True))
            words = [f"{letter}{draw(places):+.3f}" for letter in letters]
            code = draw(st.sampled_from(["G0", "G1"]))
            if what == "arc":
                both = draw(st.sampled_from(["XYZ", "YZX", "ZXY"]))
                lines.append({"XYZ": "G17", "YZX": "G19", "ZXY": "G18"}[both])
                words = [f"{letter}{draw(places) + 0.06:.3f}" for letter in both[: draw(st.integers(2, 3))]]
                code = draw(st.sampled_from(["G2 R400", "G3 R400", "G2 R-400", "G3 R-400"]))
                lines.append("G91 G1 " + " ".join(f"{letter}1.5" for letter in both) + f" F{draw(feeds)}")
                feed = True
            if code != "G0" and (inverse or not feed or draw(st.booleans())):
                words.append(f"F{draw(feeds)}")
                feed = True
            lines.append(" ".join(draw(st.permutations([code, *words]))))
            lines += ["G90"] if what == "arc" and draw(st.booleans()) else []
    return (HEAD + "\n".join(lines) + "\nM2\n").encode()


@settings(max_examples=examples(25), phases=[Phase.generate], suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=programs())
def test_both_make_the_same_moves_in_the_same_time(text, interpreter, tmp_path):
    """To the four decimals that the interpreter prints; but it gives no time to a move in inverse time that goes nowhere."""
    answer = on_a_face.accepted(interpreter, text, tmp_path)
    assert answer.returncode == 0, answer.stderr + text.decode()
    theirs, ours = carried_out(answer.stdout), read_out(text)
    assert [each[0] for each in ours] == [each[0] for each in theirs]
    for (_, to, seconds), (_, their_to, their_seconds) in zip(ours, theirs, strict=True):
        assert abs(to - their_to).max() <= 0.6e-4 * 25.4
        if their_seconds > 1e-4 and seconds < 30:
            assert seconds == pytest.approx(their_seconds, rel=2e-3, abs=2e-3)


REFUSED = {
    "G93, no F": "G93\nG1 X1",
    "G93, F on one line only": "G93\nG1 X1 F2\nX2",
    "G94, F never set": "G1 X1",
    "G94 after G93": "F5\nG93\nG1 X1 F2\nG94\nG1 X2",
    "F below zero": "G1 X1 F-1",
    "two words of one letter": "G1 X1 X2 F3",
    "a sign without digits": "G1 X- F3",
    "no number": "G1 X$ F3",
    "an exponent": "G1 X1e3 F3",
    "no number, in letters": "G1 Xnan F3",
    "a word that nothing takes": "G1 X1 F3 Q7",
    "no such code": "G999",
    "two codes of one group": "G1 G0 X1 F3",
    "axis words without a motion": "G80\nX1",
    "a tool that is not there": "T99 M6",
    "a comment that is not closed": "(unclosed",
    "a comment in a comment": "((a(b))",
    "a line that is too long": f"({'x' * 260})",
    "a mark before the first line": "\ufeffG0 X1",
    "a minus that is none": "G0 X\N{MINUS SIGN}1",
    "a radius that is too short": "G2 X50 Y0 R2 F3",
    "a whole circle by its radius": "G2 X0 Y0 R2 F3",
    "ends at two distances": "G2 X50 Y0 I2 J0 F3",
    "a dwell below zero": "G4 P-1",
    "no dwell": "G4",
}


@pytest.mark.parametrize("text", REFUSED.values(), ids=REFUSED)
def test_the_reader_refuses_what_the_interpreter_refuses(text, interpreter, tmp_path):
    program = f"{HEAD}{text}\nM2\n".encode()
    assert on_a_face.accepted(interpreter, program, tmp_path).returncode != 0
    line = HEAD.count("\n") + text.count("\n") + 1
    assert [each.line for each in read(program).wrong] == [line]


@pytest.mark.parametrize("text", ["G21\nG0 X1\n", "%\nG21\nG0 X1\n"], ids=["no end", "one % of two"])
def test_both_refuse_a_truncated_program(text, interpreter, tmp_path):
    assert on_a_face.accepted(interpreter, text.encode(), tmp_path).returncode != 0
    assert "cut short" in str(read(text.encode()).wrong[-1])


MISSED = {
    "G93 with F0": ("G93\nG1 X1 F0", "wrong"),
    "a line number of six digits": ("N100000 G0 X1", "wrong"),
    "a move in inverse time that goes nowhere": ("G93 G1 X1 F1\nX1 F3", "note"),
    "a line that a switch leaves out": ("/G0 X1", "problem"),
}


@pytest.mark.parametrize(("text", "level"), MISSED.values(), ids=MISSED)
def test_the_reader_reports_what_the_interpreter_accepts_silently(text, level, interpreter, tmp_path):
    program = f"{HEAD}{text}\nM2\n".encode()
    assert on_a_face.accepted(interpreter, program, tmp_path).returncode == 0
    assert [each.level for each in read(program).remarks] == [level]
