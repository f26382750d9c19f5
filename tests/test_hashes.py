"""What is frozen is hashable: a job and its parts can be keys, and equal ones are the same key."""

from __future__ import annotations

import copy
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

from lobework.jobs.jobfile import read_job
from lobework.plugins.registry import installed

EXAMPLES = Path(__file__).parents[1] / "docs" / "examples"
JOBS = ("wave-rings.toml", "rings-by-hand.toml", "swirled-knob.toml", "ninety-six-circles.toml", "geared-rings.toml")


def frozen_in(thing, seen):
    """Yield every frozen dataclass that can be reached from a thing through fields and tuples, each once."""
    if id(thing) in seen:
        return
    seen[id(thing)] = thing
    if isinstance(thing, tuple | list):
        for each in thing[:12]:
            yield from frozen_in(each, seen)
    elif is_dataclass(thing) and not isinstance(thing, type):
        yield thing
        for each in fields(thing):
            yield from frozen_in(getattr(thing, each.name, None), seen)


@pytest.mark.parametrize("name", JOBS)
def test_a_job_read_from_a_file_is_hashable_and_equal_when_read_again(name):
    one, other = read_job(EXAMPLES / name), read_job(EXAMPLES / name)
    assert one == other
    assert len({one, other}) == 1


def test_the_results_of_a_job_are_hashable():
    job = read_job(EXAMPLES / "wave-rings.toml")
    traces = job.trace()
    program = traces.program()
    proof = job.prove(installed().target("rs274").render(program))
    every = (job, job.cuts(), traces[:2], traces.drawing(), traces.carve(1.0), job.settings(), program, proof, tuple(job.check()))
    found = list(frozen_in(every, {}))
    assert len({type(each) for each in found}) > 40
    for each in found:
        assert hash(each) == hash(copy.copy(each)) or each != copy.copy(each), type(each)


def test_a_series_copies_its_steps():
    job = read_job(EXAMPLES / "wave-rings.toml")
    steps = {"x": -0.75}
    series = job.passes[0].innermost.series(3, steps)
    steps["x"] = 9.0
    assert series.each == {"x": -0.75}
