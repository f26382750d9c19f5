"""What the kit's strategies draw can be used, and leans towards the degenerate."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import find, given, settings

from lobework.geometry.rigid import Rigid
from lobework.lathe.lathe import Lathe
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.testing import strategies
from lobework.testing.benches import fixed
from tests.search import examples


@given(theta=strategies.angles(), stack=strategies.stacks())
def test_stacks_of_chucks_can_be_mounted_on_a_lathe_and_stay_rigid(theta, stack):
    lathe = fixed(*stack)
    assert isinstance(lathe, Lathe)
    standing = Rigid.still()
    for mounted in lathe.chucks:
        standing = standing @ mounted.chuck.motions(theta)
    assert np.allclose(standing.rotation @ standing.rotation.transpose(0, 2, 1), np.eye(3), rtol=0, atol=1e-12)


@pytest.mark.parametrize("awkward", [0.0, math.pi / 2, -math.pi, 2 * math.pi, 1e-12])
def test_the_angles_strategy_finds_zero_quarters_and_neighbouring_values(awkward):
    assert find(strategies.angles(), lambda theta: (theta == awkward).any()).size == 1


@given(chuck=strategies.settings_near(Oval(throw=5.0)))
def test_settings_near_are_of_the_same_part(chuck):
    assert isinstance(chuck, Oval)


def test_settings_near_includes_changed_settings():
    assert find(strategies.settings_near(EccentricChuck(shift=2.0)), lambda chuck: chuck.shift == 0.0)


@settings(max_examples=examples(15))
@given(job=strategies.jobs())
def test_jobs_can_be_traced_checked_and_drawn(job):
    traces = job.trace()
    assert len(traces) == len(job.passes)
    traces.check()
    assert traces.drawing().height > 0
    job.settings()
