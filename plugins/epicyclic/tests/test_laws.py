"""Properties of every geometric chuck, with any stages."""

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from lobework_epicyclic import Epicyclic, Stage

teeth = st.sampled_from([1, 7, 12, 20, 24, 30, 40, 48, 60, 96, 97, 120])
stages = st.builds(
    Stage,
    arm=st.floats(-40, 40),
    train=st.lists(st.tuples(teeth, teeth), min_size=1, max_size=3),
    idler=st.booleans(),
    index=st.integers(-100, 100).map(lambda n: f"{n}/96 turn"),
)
chucks = st.builds(Epicyclic, stages=st.lists(stages, min_size=1, max_size=4))
theta = np.linspace(0.0, 2 * np.pi, 7)


def work(chuck, turned):
    placed = chuck.motions(turned)
    return placed.apply(np.array([[3.0, -2.0, 1.0]]))


@settings(deadline=None)
@given(chuck=chucks)
def test_the_chuck_repeats_after_its_period_and_not_earlier(chuck):
    turns = chuck.period_turns
    assert all((turns * ratio).denominator == 1 for ratio in chuck.ratios)
    for prime in (p for p in (2, 3, 5, 7, 11, 97) if turns % p == 0):
        assert any((Fraction(turns, prime) * ratio).denominator > 1 for ratio in chuck.ratios)
    if turns * max(map(abs, chuck.ratios)) < 1e6:
        assert np.abs(work(chuck, theta + 2 * np.pi * turns) - work(chuck, theta)).max() < 1e-6


@settings(deadline=None)
@given(chuck=chucks)
def test_the_work_moves_at_most_the_sum_of_the_arms(chuck):
    reach = sum(abs(stage.arm) for stage in chuck.stages)
    assert np.hypot(*chuck.motions(theta).shift.T[:2]).max() <= reach + 1e-9


@settings(deadline=None)
@given(chuck=chucks)
def test_with_every_arm_zero_the_work_only_rotates(chuck):
    """The rate is the sum of the ratios of the wheels."""
    still = Epicyclic(stages=[Stage(arm=0.0, train=each.train, idler=each.idler) for each in chuck.stages])
    placed = still.motions(theta)
    assert np.abs(placed.shift).max() == 0
    turned = np.exp(1j * float(sum(chuck.ratios)) * theta)
    assert np.abs(placed.rotation[:, 0, 0] + 1j * placed.rotation[:, 1, 0] - turned).max() < 1e-9 * (
        1 + float(max(map(abs, chuck.ratios)))
    )
