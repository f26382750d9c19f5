"""Results of a small job, for the tests of what is saved and displayed."""

from __future__ import annotations

import pytest

import lobework as lw
from lobework.plugins import registry


@pytest.fixture(scope="module")
def job():
    """Three waved rings and a plain circle in an inch job, the rings as two passes."""
    cam = lw.Drive(lw.Wave(lobes=7, base_radius=60.0, rise=3.0), follower=lw.Roller(2.0))
    rings = lw.Pass(name="rings", at=lw.At(x=22.0, depth=0.15), cams=[cam]).series(3, x=-4.0, phase="1/2 lobe")
    return lw.Job(
        title="Tide box & lid",
        lathe=lw.read_lathe("rocking-bench"),
        piece=lw.Disc(diameter=60.0, thickness=6.0, material="boxwood"),
        cutter=lw.Vee(angle_deg=90.0, width=3.0),
        passes=[rings, lw.Pass(name="rim", at=lw.At(x=28.0, depth=0.2))],
    )


@pytest.fixture(scope="module")
def results(job):
    traces = job.trace()
    program = traces.program()
    proof = job.prove(registry.installed().target("rs274").render(program))
    return {
        "drawing": traces.drawing(),
        "carving": traces.carve(0.3),
        "settings": job.settings(),
        "program": program,
        "proof": proof,
    }
