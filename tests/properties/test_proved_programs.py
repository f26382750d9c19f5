"""Programs of jobs drawn by chance: read back and run on the lathe's model, each is proved within tolerance and limits.

More are drawn by ``LOBEWORK_PROVED``.
"""

from __future__ import annotations

import os

import pytest

from lobework.errors import InputError
from lobework.targets.rs274 import render
from tests.drawn_programs import drawn
from tests.search import examples, seed

PROVED = int(os.environ.get("LOBEWORK_PROVED", examples(40)))
SEED = seed(274)
AWKWARD = [(77, 328), (77, 999), (4242, 248), (91, 125), (2005, 14)]
"""Plunges that reach their greatest speed, from places that four decimals of an inch round towards the work; a lift that
oscillates between two samples; a way in that crosses the centre of work that a cam has shifted; an arc whose radius grows by a
sixth from one sample of its trace to the next."""


def proved(job):
    """Return whether a job has a program, once that is proved."""
    try:
        text = render(job.program())
    except InputError:
        return False
    proof = job.prove(text)
    assert proof.proved, str(proof)
    assert proof.deviation.mm <= job.feeds.tolerance
    return True


@pytest.mark.drawn
def test_every_program_that_is_written_is_proved():
    written = [proved(job) for _, job in drawn(range(PROVED), SEED)]
    assert sum(written) > 0.7 * PROVED


@pytest.mark.parametrize(("seed", "number"), AWKWARD)
def test_previously_failing_programs_are_proved(seed, number):
    ((_, job),) = drawn([number], seed)
    assert proved(job)
