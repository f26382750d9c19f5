"""A program along an arc, read by the independent interpreter: slides and cutter go round together, in the time that they should.

The interpreter's folder is named by the environment variable LOBEWORK_RS274; see `tests.targets.test_rs274`.
"""

from __future__ import annotations

import numpy as np
import pytest

from lobework.jobs.job import Job
from lobework.lathe.passes import Pass
from lobework.parts.cutter import Ball
from lobework.parts.piece import Disc
from lobework.parts.slide import At, SlideArc
from lobework.program.program import Feeds
from lobework.targets.rs274 import render
from tests.targets import test_rs274 as on_a_face
from tests.test_arc import BENCH

interpreter = on_a_face.interpreter
X, Z, B, C = (on_a_face.COLUMNS[letter] for letter in "XZBC")
CENTRE = -25.0
UNIT = {"mm": 25.4, "inch": 1.0}


@pytest.fixture(scope="module", params=["mm", "inch"])
def job(request):
    swirl = Pass(name="swirl", turns=3, at=At(z=CENTRE, depth=0.5), arc=SlideArc(radius=25.0, from_deg=80.0, to_deg=20.0))
    return Job(
        title="dome",
        lathe=BENCH,
        piece=Disc(diameter=60.0, thickness=50.0),
        cutter=Ball(radius=1.0),
        passes=(swirl.series(2, depth=0.25),),
        units=request.param,
        feeds=Feeds(spindle_rpm=2.0),
    )


def test_the_interpreter_leads_the_tip_round_the_centre_and_turns_the_cutter_with_it(job, interpreter, tmp_path):
    traces = job.trace()
    text = render(traces.program())
    answer = on_a_face.accepted(interpreter, text, tmp_path)
    assert answer.returncode == 0, answer.stderr
    cuts = on_a_face.cuts_in(on_a_face.read_back(interpreter, text, tmp_path), UNIT[job.units])
    assert len(cuts) == 2
    for (minutes, places), path, depth in zip(cuts, traces, (0.5, 0.75), strict=True):
        x, z, turned, swung = 25.4 * places[:, X], 25.4 * places[:, Z], places[:, C], np.radians(places[:, B])
        printed = 4e-6 if job.units == "inch" else 2e-6
        assert abs(np.hypot(x, z - CENTRE) - (25.0 - depth)).max() <= printed
        assert abs(x - (25.0 - depth) * np.sin(swung)).max() <= printed
        assert abs(np.degrees(swung) - (80.0 - turned / 18.0)).max() <= 2e-6
        assert turned[-1] == pytest.approx(1080.0, abs=1e-6)
        assert 8 < len(places) < path.u.size / 10
        assert minutes[-1] == pytest.approx(1.5, rel=2e-6)
