"""Programs for the side of the work, read by the independent interpreter as those for its face are.

The interpreter's folder is named by the environment variable LOBEWORK_RS274; see `tests.targets.test_rs274`.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from lobework.jobs.job import Job
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.cutter import Ball
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.holder import CuttingFrame
from lobework.parts.piece import Barrel, Turned
from lobework.parts.slide import At
from lobework.program.program import Feeds
from lobework.targets.rs274 import render
from tests.strategies import sliding
from tests.targets import test_rs274 as on_a_face

interpreter = on_a_face.interpreter
CLEAR = 4.0
FORMS = {"barrel": Barrel(diameter=40.0, length=60.0, bore=30.0), "turned": Turned(profile=((0, 17), (-30, 20), (-60, 15)))}
X, Z, C = (on_a_face.COLUMNS[letter] for letter in "XZC")


def passes():
    """Waved rings moved on by hand of the program, a helix that deepens, flutes, and a row of plunges."""
    drive = Drive(Wave(lobes=6, base_radius=60.0, rise=1.0), ratio=Fraction(3, 2), follower=Roller(2.0))
    ring = Pass(name="waved rings", turns=2, at=At(x=20.0, z=-10.0, depth=0.8), cams=(drive,))
    helix = Pass(name="helix", turns=5, at=At(x=20.0, z=-20.0, depth=0.2), travel=At(z=-15.0, depth=0.4))
    flute = Pass(name="flutes", turns="1/12", at=At(x=20.0, z=-40.0, depth=0.5), travel=At(z=-12.0))
    dot = Pass(name="dots", turns=0, at=At(x=20.0, z=-55.0, depth=0.6))
    return ring.series(3, z=-3.0, phase="1/2 lobe"), helix, flute, dot.series(2, z=-2.0)


@pytest.fixture(scope="module", params=FORMS)
def job(request):
    cutter = Ball(radius=1.5, holder=CuttingFrame(radius=15.0, angle_deg=38.0))
    feeds = Feeds(spindle_rpm=3.0, clear=CLEAR, plunge=40.0)
    return Job(title="Tide box, side", lathe=sliding(), piece=FORMS[request.param], cutter=cutter, passes=passes(), feeds=feeds)


@pytest.fixture(scope="module")
def traces(job):
    return job.trace()


def cut_paths(moves):
    """Return what is cut between two times that the tip is clear: (n, 6) places in inches and degrees."""
    cuts, places = [], []
    for kind, _, place in moves:
        if kind == "feed":
            places.append(place)
        elif places:
            cuts.append(np.array(places))
            places = []
    return cuts


def test_the_interpreter_gives_back_every_axis_of_every_cut(traces, interpreter, tmp_path):
    """At every sample of passes that turn; of a plunge the place where it ends. To the printed millionth of a millimetre."""
    text = render(traces.program())
    answer = on_a_face.accepted(interpreter, text, tmp_path)
    assert answer.returncode == 0, answer.stderr
    paths = cut_paths(on_a_face.read_back(interpreter, text, tmp_path))
    assert len(paths) == len(traces) == 7
    for path, each in zip(paths, traces, strict=True):
        turned = path[:, C]
        sample = each.axes["spindle"]
        order = np.argsort(turned, kind="stable")
        for column, moves, unit in ((X, "x", 25.4), (Z, "z", 25.4)):
            told = np.interp(sample, turned[order], path[order, column]) * unit
            assert abs(told - each.axes[moves]).max() <= 0.5e-6 + 1e-9
        assert turned[-1] == pytest.approx(sample[-1], abs=1e-6)


def test_in_the_interpreter_the_tip_is_clear_of_the_side_in_every_fast_move(job, traces, interpreter, tmp_path):
    """Of the widest place of the work. A rapid move either draws the tip straight out, or finds it clear and leaves it so."""
    moves = on_a_face.read_back(interpreter, render(traces.program()), tmp_path)
    surface = job.piece.surface
    clear = surface.profile(np.linspace(0.0, surface.length, 100_001))[:, 0].max() + CLEAR
    before, fast = None, 0
    for kind, _, place in moves:
        at = place * ([25.4] * 3 + [1.0] * 3)
        if kind == "rapid":
            fast += 1
            assert at[0] == pytest.approx(clear, abs=1e-4)
            if before is not None and abs(before[0] - clear) > 1e-4:
                assert np.delete(at, 0) == pytest.approx(np.delete(before, 0), abs=1e-9)
        else:
            assert at[0] < clear
        before = at
    assert fast >= 2 * len(traces)
    assert before[0] == pytest.approx(clear, abs=1e-4)


def test_every_line_keeps_the_standards_grammar(traces):
    """NISTIR 6556: 3.3 (length, comments, words), 3.3.2.1 (numbers), 3.3.5 and Table 4 (modal groups, repeats)."""
    for line in render(traces.program()).decode("ascii").splitlines():
        assert len(line) <= 250
        assert on_a_face.LINE.fullmatch(line), line
        words = [] if line.startswith("(") else line.split()
        others = [word[0] for word in words if word[0] not in "GM"]
        assert len(set(others)) == len(others), line
