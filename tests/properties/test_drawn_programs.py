"""Whatever job is drawn, its program keeps within the lathe's travel, speed and acceleration, or the job is refused.

``LOBEWORK_DRAWN`` in the environment says how many are drawn.
"""

from __future__ import annotations

import numpy as np
import pytest

from lobework.errors import InputError
from lobework.program.program import program
from lobework.targets.rs274 import render
from tests.drawn_programs import DRAWN, drawn, overstepped, traces_of
from tests.search import seed

PARTS = 10
SEED = seed(2026)


@pytest.mark.drawn
@pytest.mark.parametrize("part", range(PARTS))
def test_programs_stay_within_travel_speed_and_acceleration_of_every_axis(part):
    made, said = 0, []
    for number, job in drawn(range(part, DRAWN, PARTS), SEED):
        try:
            text = render(program(job.title, traces_of(job), job.feeds, job.units, job.piece))
        except InputError as error:
            said.append(str(error))
            continue
        made += 1
        travel, speed, change = overstepped(text, job.lathe)
        assert travel <= 1e-6, number
        assert speed <= 1, number
        assert change <= 1, number
    assert all(len(line.splitlines()) == 1 for line in said)
    assert made > 5 * len(said)


def test_a_number_always_generates_the_same_job():
    one, other = (next(job for number, job in drawn([41])) for _ in range(2))
    assert one == other
    assert np.random.default_rng((2026, 41)).integers(10**9) == np.random.default_rng((2026, 41)).integers(10**9)
