"""The program in RS274/NGC, held to the standard's text and read by an independent interpreter.

The standard: T. R. Kramer, F. M. Proctor, E. Messina, The NIST RS274/NGC Interpreter - Version 3, NISTIR 6556 (2000).
The interpreter's folder is named by the environment variable LOBEWORK_RS274.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.headstock import Headstock
from lobework.parts.slide import At
from lobework.program.program import Feeds, Prompt, program
from lobework.targets.rs274 import render

CLIENT = Path(__file__).with_name("interpreter_client.py")
LETTERS = {"X": "x", "Y": "y", "Z": "z", "A": "cam 1", "C": "spindle"}
COLUMNS = {letter: column for column, letter in enumerate("XYZABC")}

NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
LINE = re.compile(rf"(?:[A-DF-MP-TX-Z]{NUMBER} ?)*(?:\([^()]*\))?")
GROUPS = ({"G0", "G1", "G80"}, {"G4"}, {"G17"}, {"G90"}, {"G93", "G94"}, {"G20", "G21"}, {"G40"}, {"G49"}, {"G61"}, {"M0", "M2"})


def settings_of(folder):
    """Return the environment that a file of ``export NAME=value`` lines makes."""
    told = subprocess.run(["sh", "-c", f". '{folder}/rs274.env' && env -0"], capture_output=True, text=True, check=True).stdout
    return dict(line.split("=", 1) for line in told.split("\0") if line)


@pytest.fixture(scope="session")
def interpreter():
    """The interpreter's environment, with its Python module where it can be found."""
    folder = os.environ.get("LOBEWORK_RS274", "")
    if not (Path(folder) / "rs274.env").is_file():
        (pytest.fail if os.environ.get("CI") else pytest.skip)(
            "the independent RS274/NGC interpreter is not here: set LOBEWORK_RS274 to the folder that holds rs274.env"
        )
    environment = settings_of(folder)
    module = next(Path(folder).rglob("gcode.cpython-*.so")).parent
    return {**environment, "PYTHONPATH": str(module)}


def at_home_in(folder, interpreter):
    """Return the interpreter's environment with ``folder`` as its home.

    The interpreter maps a file of tools in its home folder and shortens that file when it starts: a second one that starts
    in the same home ends the first with a bus error.
    """
    return {**interpreter, "HOME": str(folder)}


def accepted(interpreter, text, folder):
    """Run the interpreter itself; return its answer, which is an error unless its code is 0."""
    (folder / "tool.tbl").write_text("T1 P1 Z0 D3.0\n", encoding="ascii")
    (folder / "program.ngc").write_bytes(text)
    command = ["rs274", "-g", "-t", "tool.tbl", "program.ngc"]
    told = subprocess.run(command, cwd=folder, env=at_home_in(folder, interpreter), capture_output=True, text=True, check=False)
    assert told.returncode >= 0, f"signal {-told.returncode} ended the interpreter: this is not an answer"
    return told


def read_back(interpreter, text, folder):
    """Return what the interpreter commands, every digit of it, from whichever Python its module was built for."""
    (folder / "program.ngc").write_bytes(text)
    pythons = [sys.executable, *filter(None, map(shutil.which, ("/usr/bin/python3", "python3.11", "python3.12", "python3.13")))]
    for python in pythons:
        if subprocess.run([python, "-c", "import gcode"], env=interpreter, capture_output=True, check=False).returncode == 0:
            break
    else:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no Python here loads the interpreter's module")
    told = subprocess.run(
        [python, str(CLIENT), "program.ngc"],
        cwd=folder,
        env=at_home_in(folder, interpreter),
        capture_output=True,
        text=True,
        check=True,
    )
    moves = [json.loads(line) for line in told.stdout.splitlines() if line.startswith('["')]
    return [(kind, rate, np.array(place)) for kind, rate, *place in moves if kind in ("rapid", "feed")]


def cuts_in(moves, unit):
    """Return each cut as (minutes, places): the moves that turn the spindle, timed by the interpreter's own rates.

    A rate is over X Y Z where any of them moves, otherwise over the angles (NISTIR 6556, 2.1.2.5); the module turns
    every rate from the program's units of length to inches, one over angles among them.
    """
    cuts, before = [], None
    for kind, rate, place in moves:
        if kind == "feed" and before is not None and place[5] != before[5]:
            if not cuts or cuts[-1][2] != "open":
                cuts.append([[0.0], [before], "open"])
            slides, angles = (np.linalg.norm(part) for part in ((place - before)[:3], (place - before)[3:]))
            cuts[-1][0].append(cuts[-1][0][-1] + (slides or angles / unit) / rate)
            cuts[-1][1].append(place)
        elif cuts:
            cuts[-1][2] = "closed"
        before = place
    return [(np.array(minutes), np.array(places)) for minutes, places, _ in cuts]


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_interpreter_gives_back_every_axis_at_every_sample_to_the_printed_precision(lid, units, interpreter, tmp_path):
    feeds = Feeds(spindle_rpm=3.0)
    text = render(program("Tide box, lid", lid, feeds, units))
    assert accepted(interpreter, text, tmp_path).returncode == 0
    cuts = cuts_in(read_back(interpreter, text, tmp_path), {"mm": 25.4, "inch": 1.0}[units])
    assert len(cuts) == len(lid)
    printed = {"mm": 0.5e-6, "inch": 0.5e-7 * 25.4}[units] + 1e-11
    for (minutes, places), each in zip(cuts, lid, strict=True):
        assert minutes[-1] == pytest.approx(each.u[-1] / feeds.spindle_rpm, rel=2e-6)
        at = each.u / each.u[-1] * minutes[-1]
        for letter, moves in LETTERS.items():
            told = np.interp(at, minutes, places[:, COLUMNS[letter]]) * (25.4 if letter in "XYZ" else 1.0)
            within = printed if letter in "XYZ" else 0.5e-6 + 1e-11 * abs(each.axes[moves]).max()
            assert abs(told - each.axes[moves]).max() <= within


@pytest.mark.parametrize(("units", "short"), [("mm", "mm"), ("inch", "in")])
def test_the_head_states_the_deviation_in_program_units_without_exponent(lid, units, short):
    text = render(program("Tide box, lid", lid, Feeds(), units)).decode("ascii")
    (said,) = re.findall(r"\(accuracy: at most ([0-9.]+) (\w+) from the path on the work\)", text)
    assert said[1] == short
    assert float(said[0]) > 0


def test_very_slow_moves_keep_the_spindle_speed(lid, interpreter, tmp_path):
    """In inverse time the interpreter raises a rate below a tenth of a unit a minute, which would turn the spindle too fast."""
    text = render(program("Tide box, lid", lid[:1], Feeds(spindle_rpm=0.1)))
    ((minutes, _),) = cuts_in(read_back(interpreter, text, tmp_path), 25.4)
    assert minutes[-1] == pytest.approx(40.0, rel=2e-6)


def test_the_interpreter_refuses_the_program_without_its_feeds(lid, interpreter, tmp_path):
    text = re.sub(rb" F[0-9.]+$", b"", render(program("Tide box, lid", lid)), flags=re.MULTILINE)
    answer = accepted(interpreter, text, tmp_path)
    assert answer.returncode != 0
    assert "feed" in answer.stderr.lower()


def test_the_tip_is_clear_whenever_the_interpreter_moves_fast(lid, interpreter, tmp_path):
    moves = read_back(interpreter, render(program("Tide box, lid", lid)), tmp_path)
    assert [place[2] * 25.4 for kind, _, place in moves if kind == "rapid"] == pytest.approx(
        [5.0] * sum(k == "rapid" for k, *_ in moves)
    )
    assert max(place[2] * 25.4 for _, _, place in moves) <= 5.0 + 1e-9


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_line_keeps_the_standards_grammar(lid, units):
    """NISTIR 6556: 3.3 (length, comments, words), 3.3.2.1 (numbers), 3.3.5 and Table 4 (modal groups, repeats)."""
    for line in render(program("Tide box, lid", lid, None, units)).decode("ascii").splitlines():
        assert len(line) <= 250
        assert LINE.fullmatch(line), line
        words = [] if line.startswith("(") else line.split()
        codes = [word for word in words if word[0] in "GM"]
        others = [word[0] for word in words if word[0] not in "GM"]
        assert len(set(others)) == len(others), line
        assert all(any(code in group for group in GROUPS) for code in codes), line
        assert all(sum(code in group for code in codes) <= 1 for group in GROUPS), line


def test_in_inverse_time_every_cutting_line_has_its_own_feed(lid):
    """NISTIR 6556, 3.5.19."""
    inverse, cutting = False, 0
    for line in render(program("Tide box, lid", lid)).decode().splitlines():
        words = [] if line.startswith("(") else line.split()
        inverse = "G93" in words or (inverse and "G94" not in words)
        if inverse and "G1" in words:
            cutting += 1
            assert [float(word[1:]) > 0 for word in words if word[0] == "F"] == [True]
    assert cutting == len(lid)


def test_units_distance_and_path_are_set_before_anything_moves(lid):
    for units, code in (("mm", "G21"), ("inch", "G20")):
        lines = [
            line for line in render(program("Tide box, lid", lid, None, units)).decode().splitlines() if not line.startswith("(")
        ]
        first_move = next(number for number, line in enumerate(lines) if line.startswith(("G0", "G1 ")))
        before = " ".join(lines[:first_move]).split()
        assert {code, "G17", "G90", "G94", "G61"} <= set(before)
        assert lines[-1] == "M2"


def test_manual_changes_stop_the_program_and_name_the_settings(lid):
    lines = render(program("Tide box, lid", lid)).decode().splitlines()
    stops = [lines[number - 1] for number, line in enumerate(lines) if line == "M0"]
    assert len(stops) == 6
    assert "lower shift to 3.5 mm" in stops[1]
    assert "upper index to 1/3 turn = 120 deg" in stops[1]
    assert "lower shift to 5 mm" in stops[2]
    assert "upper index to 2/3 turn = 240 deg" in stops[2]
    assert "fit cam 1: wave" in stops[3]
    zeros = "; ".join(stop.removeprefix("(MSG, ").removesuffix(")") for stop in stops[3:])
    assert "; zeros again: spindle, phase and index at 0; let the follower bear; with the tip on" in zeros
    assert (
        "with the tip on the spindle's axis, x must read 0 mm; with the tip on the face of the work, z must read -0.5 mm; shift"
        in zeros
    )
    assert all(stop.startswith("(MSG,") for stop in stops)
    assert all(stop.startswith("(MSG, stop the cutter; ") for stop in stops[1:4])
    assert all(stop.endswith("; start the cutter, then hands away)") for stop in (*stops[1:3], stops[-1].replace("(MSG, ", "; ")))


def test_long_instructions_are_spread_over_several_stops_without_splitting_an_item(lid):
    one = program("Tide box, lid", lid[:1])
    things = [f"set thing {number} to {'a value ' * 4}".strip() for number in range(12)]
    section = replace(one.sections[0], steps=(Prompt(tuple(things)),))
    lines = render(replace(one, sections=(section,))).decode().splitlines()
    told = [line.removeprefix("(MSG, ").removesuffix(")").split("; ") for line in lines if line.startswith("(MSG")]
    assert [thing for each in told for thing in each] == things
    assert 1 < len(told) == lines.count("M0") < len(things)


def test_the_head_states_units_zeros_letters_speed_and_cautions(lid):
    """Content of the cautions: common practice, no source."""
    head = render(program("Tide box, lid", lid, Feeds(spindle_rpm=3.0))).decode().partition("G21")[0]
    for said in (
        "slides in mm",
        "degrees",
        "C spindle",
        "A cam 1",
        "spindle 3 turns a minute",
        "rapid moves turn C, A to the start of the next cut, often by a turn or more",
        "face of the work",
        "spindle's axis",
    ):
        assert said in head
    for said in (
        "eye protection",
        "breathing",
        "guard",
        "loose",
        "in air first",
        "Stop the machine",
        "maker",
        "local codes",
        "licensed",
    ):
        assert said in head


def traced_ring(name):
    axes = tuple(Axis(moves=moves, letter=letter) for moves, letter in (("spindle", "C"), ("x", "X"), ("z", "Z")))
    lathe = Lathe(name=name, headstock=Headstock(sideways="fixed"), axes=axes)
    return [trace(Cut(number=1, passed=Pass(name=name, at=At(x=9.0, depth=0.2)), lathe=lathe))]


@given(title=st.text(max_size=400), name=st.text(max_size=60))
def test_user_text_cannot_become_a_command(title, name):
    one, other = (program(each, traced_ring(called)) for each, called in ((title, name), ("x", "x")))
    text, plain = (render(each).decode("ascii") for each in (one, other))
    assert all(LINE.fullmatch(line) and len(line) <= 250 for line in text.splitlines())

    def commands(program_text):
        return [line for line in program_text.splitlines() if not line.startswith("(") or line.upper().startswith("(MSG")]

    assert commands(text) == commands(plain)
    spoken = re.compile(r"\(\s*(MSG|DEBUG|PRINT|LOG|PROBE)", re.IGNORECASE)
    assert all(line.startswith("(MSG, ") for line in text.splitlines() if spoken.match(line))


def test_two_interpreters_can_run_at_the_same_time(interpreter, tmp_path):
    """Of 800 runs in one home, two at a time, 54 were ended by a bus error."""
    folders = [tmp_path / name for name in ("one", "other")]
    for folder in folders:
        folder.mkdir()
    with ThreadPoolExecutor(2) as pool:
        runs = [
            pool.submit(lambda each: [accepted(interpreter, b"G21 G90\nM2\n", each) for _ in range(20)], each) for each in folders
        ]
    assert {told.returncode for run in runs for told in run.result()} == {0}


@pytest.mark.parametrize("title", ["tide (inner)", "MSG, go", "log, all", "é\N{SNOWMAN}", "%", "G1 X5", "a\nb", "x" * 600])
def test_the_interpreter_takes_any_title(lid, title, interpreter, tmp_path):
    assert accepted(interpreter, render(program(title, lid[:1])), tmp_path).returncode == 0
