"""Through a stack of chucks: the compiled path, by polynomials, beside the plain one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.errors import SettingError
from lobework.geometry.rigid import Rigid
from lobework.kinematics.chuck_polynomials import fit_pieces, period_turns
from lobework.kinematics.compiled_trace import _runs
from lobework.kinematics.motion import motion_of
from lobework.kinematics.sampling import spans_of
from lobework.kinematics.trace import lay_out, trace
from lobework.parts.cam import Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.slide import At
from lobework.quantities.tolerances import CHORD_MM, STACK_MM
from tests.search import examples
from tests.strategies import GearedArm, cut_on, fixed, numbers, rocking, sliding, turnings

WAVE = Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Roller(3.0), ratio="3/4")
AGREE_MM = 1e-10


def about(axis, angle):
    """Turns about X (0), Y (1) or Z (2)."""
    rotation = np.zeros((angle.size, 3, 3))
    a, b = (axis + 1) % 3, (axis + 2) % 3
    rotation[:, axis, axis] = 1.0
    rotation[:, a, a] = rotation[:, b, b] = np.cos(angle)
    rotation[:, a, b], rotation[:, b, a] = -np.sin(angle), np.sin(angle)
    return Rigid(rotation, np.zeros((1, 3)))


@dataclass(frozen=True, kw_only=True)
class Moving:
    """A chuck that goes as it is told."""

    kind: ClassVar[str] = "moving"
    is_dynamic: ClassVar[bool] = True


class Stepping(Moving):
    """Slides to and fro in straight lines, with a corner at each end."""

    def motions(self, theta):
        return Rigid.move(x=np.abs(np.mod(theta / math.pi + 0.31, 2.0) - 1.0))


class Clicking(Moving):
    """Is turned on by a twelfth at once, five times in two turns."""

    def motions(self, theta):
        return Rigid.turn(np.floor(theta * 5 / (4 * math.pi) + 0.17) * math.pi / 6)


class Rocking(Moving):
    """Tilts to and fro about a line that goes round, and pumps."""

    period_turns: ClassVar[int] = 1

    def motions(self, theta):
        return about(1, 0.2 * np.sin(2 * theta)) @ about(0, 0.1 * np.cos(theta)) @ Rigid.move(z=0.3 * np.sin(3 * theta))


class Winding(Moving):
    """Turns ever quicker, and never comes back."""

    period_turns: ClassVar[int] = 0

    def motions(self, theta):
        return Rigid.turn(0.1 * theta + 0.003 * theta**2)


class Drifting(Moving):
    """Goes along a line, wound out by the spindle."""

    period_turns: ClassVar[int] = 0

    def motions(self, theta):
        return Rigid.move(x=0.05 * theta, z=-0.001 * theta)


class Quick(Moving):
    """Goes round thirty-one times while the spindle turns seven."""

    period_turns: ClassVar[int] = 7

    def motions(self, theta):
        return Rigid.move(x=2.0) @ Rigid.turn(31 / 7 * theta) @ Rigid.move(y=0.5 * np.sin(20 * theta))


class Liar(Moving):
    """Says that it comes back each turn, and takes eleven."""

    period_turns: ClassVar[int] = 1

    def motions(self, theta):
        return Rigid.move(x=3.0 * np.cos(theta / 11))


class Noisy(Moving):
    """Goes nowhere smoothly: no polynomial follows it."""

    def motions(self, theta):
        return Rigid.move(y=1e-3 * np.sin(1e7 * np.sin(theta)))


NOISY = Noisy()
TOLD = [*(kind() for kind in (Stepping, Clicking, Rocking, Winding, Drifting, Quick, Liar)), NOISY]
any_chuck = st.one_of(
    st.builds(PlainChuck, index=turnings),
    st.builds(EccentricChuck, shift=numbers(-20.0, 20.0), index=turnings),
    st.builds(Oval, throw=numbers(0.0, 15.0), ring_angle_deg=numbers(-180.0, 180.0), index=turnings),
    st.builds(GearedArm, arm=numbers(0.0, 8.0), gear=st.sampled_from([-3.0, 0.5, 2.0, 5.0, 0.1234567])),
    st.sampled_from(TOLD),
)


def both_ways(cut, chord=2e-3):
    plain, compiled = (trace(cut, chord=chord, backend=way) for way in ("plain", "compiled"))
    assert plain.u.size == compiled.u.size
    return plain, compiled


def assert_agree(cut, chord=2e-3, within=AGREE_MM):
    plain, compiled = both_ways(cut, chord)
    for axis in "xyz":
        assert_allclose(getattr(compiled, axis), getattr(plain, axis), rtol=0, atol=within, err_msg=axis)


@settings(max_examples=examples(40))
@given(
    stack=st.lists(any_chuck, min_size=1, max_size=4).filter(lambda stack: stack.count(NOISY) < 2),
    turns=st.fractions(Fraction(1, 5), 4, max_denominator=6),
    rocks=st.booleans(),
    travel=st.sampled_from([At(), At(x=-3.0), At(x=2.0, z=-0.5)]),
)
def test_plain_and_compiled_agree_through_any_stack(stack, turns, rocks, travel):
    lathe = rocking(250.0, *stack) if rocks else sliding(*stack)
    assert_agree(cut_on(lathe, WAVE, turns=turns, at=At(x=24.0, y=1.0, depth=0.4), travel=travel), chord=5e-3)


@pytest.mark.parametrize("way", ["plain", "compiled"])
def test_both_ways_refuse_an_irregular_motion_of_most_of_the_chord(way):
    """Two chucks oscillate over 0.002 mm each; their sum is four fifths of a chord of 0.005 mm."""
    with pytest.raises(SettingError, match=r"so unevenly that no steps are small enough for a chord of 0\.005 mm"):
        trace(cut_on(sliding(NOISY, NOISY), WAVE, turns=Fraction(1, 5), at=At(x=24.0, y=1.0, depth=0.4)), chord=5e-3, backend=way)


@pytest.mark.parametrize(
    "stack",
    [
        (Oval(throw=5.0), Oval(throw=3.0, ring_angle_deg=30.0), GearedArm(arm=4.0, gear=2.0)),
        (Rocking(), Oval(throw=3.0)),
        (Quick(), EccentricChuck(shift=6.0)),
        (Winding(), Drifting()),
        (Stepping(), Oval(throw=2.0)),
        (Liar(),),
    ],
    ids=lambda stack: " ".join(type(chuck).__name__ for chuck in stack),
)
def test_plain_and_compiled_agree_over_100_turns(stack):
    """Angles of hundreds of radians are only known to their last digit, and the quickest of these multiplies it."""
    assert_agree(cut_on(rocking(250.0, *stack), WAVE, turns=100, at=At(x=24.0, depth=0.4)), chord=0.02, within=6 * AGREE_MM)


def test_a_periodic_stack_is_tabulated_for_one_turn_only():
    asked = []

    class Counting(Moving):
        period_turns = 1

        def motions(self, theta):
            asked.append(theta.size)
            return Rigid.move(x=np.cos(theta))

    motion = motion_of(cut_on(fixed(Counting()), turns=300, at=At(x=24.0)))
    fill = lay_out(motion, 1e-4)
    asked.clear()
    x, _, _ = fill()
    assert sum(asked) < 200 < x.size / 1000


def test_a_stack_of_constant_depth_takes_no_memory_for_depths():
    path = trace(
        cut_on(fixed(Oval(throw=3.0), GearedArm(arm=2.0, gear=3.0)), turns=3, at=At(x=20.0, depth=0.4)), backend="compiled"
    )
    assert path.z.strides == (0,)
    assert path.z[0] == -0.4


def test_a_depth_change_late_in_a_pass_is_traced():
    class Late(Moving):
        """Stands still for twelve turns, and then comes out with a corner, a click and a wave."""

        def motions(self, theta):
            late = theta > 24 * math.pi
            return Rigid.move(z=np.where(late, 0.1 * np.sin(theta) + 0.2 * (np.mod(theta, 1.0) > 0.5), 0.0))

    assert_agree(cut_on(fixed(Late()), turns=14, at=At(x=20.0, depth=0.4)))
    assert_agree(cut_on(fixed(Late()), turns=14, at=At(x=20.0, depth=0.4)), chord=0.2)


@pytest.mark.parametrize("turns", ["1/1000000", "1/1000"])
def test_a_depth_change_in_a_single_step_is_traced(turns):
    tilting = (GearedArm(arm=5.0, gear=2.0), Dome(tilt_deg=33.0, behind=10.0))
    assert_agree(cut_on(fixed(*tilting), turns=turns, at=At(x=20.0, y=1.0, depth=0.3)), chord=0.02)


@pytest.mark.parametrize("swings", [16, 64, 127, 128, 256, 1000])
def test_the_chord_tolerance_holds_for_a_fast_oscillating_chuck(swings):
    """What is tried evenly would take a wave that goes round with every try for none."""
    path = trace(cut_on(fixed(Oval(throw=5.0, swing=1.0, swings=swings, swing_phase="1/4 turn")), at=At(x=20.0)))
    part = np.random.default_rng(1).random((9, path.u.size - 1))
    u = path.u[:-1] + part * np.diff(path.u)
    between = path.motion.place(u.ravel()).reshape(*u.shape, 3)
    points = np.stack([path.x, path.y, path.z], axis=-1)
    step = np.diff(points, axis=0)
    along = np.clip(((between - points[:-1]) * step).sum(axis=-1) / (step * step).sum(axis=-1), 0.0, 1.0)
    away = np.linalg.norm(between - points[:-1] - along[..., None] * step, axis=-1)
    assert away.max() <= CHORD_MM


def test_a_motion_too_irregular_for_any_step_is_refused_before_memory_runs_out():
    class Trembling(Moving):
        def motions(self, theta):
            return Rigid.move(y=0.1 * np.sin(1e7 * np.sin(theta)))

    with pytest.raises(SettingError, match="no steps are small enough for a chord of 0"):
        trace(cut_on(fixed(Trembling()), at=At(x=20.0)))


def test_a_wrong_declared_period_is_not_used():
    honest = motion_of(cut_on(fixed(Oval(throw=3.0), Quick()), turns=50))
    assert period_turns(honest.chucks, 7, 50.0, 20.0) == 7
    assert period_turns(motion_of(cut_on(fixed(Liar()), turns=50)).chucks, 1, 50.0, 20.0) == 0


def test_a_period_that_fails_late_in_a_pass_is_not_used():
    class Late(Moving):
        period_turns = 1

        def motions(self, theta):
            return Rigid.move(x=2.0 * np.cos(theta) + np.where(theta > 180 * math.pi, 0.5, 0.0))

    assert_agree(cut_on(fixed(Late()), turns=100, at=At(x=20.0)), chord=0.02)


@pytest.mark.parametrize("turns", [3, Fraction(2, 3)])
def test_a_bump_between_the_fitted_points_of_polynomials_is_traced(turns):
    class Bumping(Moving):
        period_turns = 1

        def motions(self, theta):
            return Rigid.move(x=2.0 * np.cos(theta) + 0.5 * np.exp(-(((theta / (2 * math.pi)) % 1 - 0.4321) ** 2) / 1e-5))

    assert_agree(cut_on(fixed(Bumping()), turns=turns, at=At(x=20.0)))


def test_a_path_that_meets_itself_once_a_turn_has_not_closed():
    """A chuck that does not say when it comes back stands in the middle at every whole turn, on its way to either side."""

    class Swinging(Moving):
        def motions(self, theta):
            return Rigid.move(x=2.0 * np.sin(theta / 2))

    assert trace(cut_on(fixed(Swinging()), at=At(x=20.0))).closure.turns is None


@settings(max_examples=examples(30))
@given(stack=st.lists(any_chuck, min_size=1, max_size=3), low=numbers(0.0, 20.0), width=numbers(0.3, 5.0), dense=st.booleans())
def test_polynomials_keep_their_error_bound_between_the_fitted_points(stack, low, width, dense):
    """At random places of every piece that has polynomials.

    Rounding is that of the angle, four times the last digit of as many turns at the speed of the work, and of sums.
    """
    chucks = motion_of(cut_on(fixed(*stack))).chucks
    reach, each = 30.0, 1e-4 if dense else 2e-3
    pieces = fit_pieces(chucks, low, low + width, reach, lambda u: (u / each).astype(np.int64))
    assert (np.diff(pieces.edges) > 0).all()
    assert (pieces.edges[0], pieces.edges[-1]) == (low, low + width)
    t = np.random.default_rng(7).uniform(-1, 1, (pieces.which.size, 5))
    middle, half = pieces.edges[:-1] + np.diff(pieces.edges) / 2, np.diff(pieces.edges) / 2
    known = pieces.which >= 0
    u = (middle[:, None] + half[:, None] * t)[known]
    powers = t[known][..., None] ** np.arange(pieces.terms.shape[-1])
    places = np.einsum("knp,kfp->knf", powers, pieces.terms[pieces.which[known]]).reshape(-1, pieces.terms.shape[1])
    used = np.arange(12) if places.shape[1] == 12 else np.array([0, 3, 9, 10, 11])

    def true(turns):
        standing = chucks(2 * math.pi * turns)
        rotation, shift = np.broadcast_to(standing.rotation, (turns.size, 3, 3)), np.broadcast_to(standing.shift, (turns.size, 3))
        return np.concatenate([rotation.reshape(-1, 9), shift], axis=1)[:, used]

    def at_the_work(difference):
        return np.linalg.norm(difference[:, :-3], axis=1) * reach + np.linalg.norm(difference[:, -3:], axis=1)

    speed = at_the_work(true(u.ravel() + 1e-5) - true(u.ravel() - 1e-5)).max(initial=0.0) / 2e-5
    rounding = np.finfo(float).eps * (64 * reach + 4 * (low + width) * speed)
    assert at_the_work(places - true(u.ravel())).max(initial=0.0) <= STACK_MM + rounding


def test_only_a_small_interval_at_a_corner_has_no_polynomial():
    chucks = motion_of(cut_on(fixed(Stepping()))).chucks
    pieces = fit_pieces(chucks, 0.0, 2.0, 30.0, lambda u: (u * 1e6).astype(np.int64))
    left = np.diff(pieces.edges)[pieces.which < 0]
    assert 0 < left.sum() < 5e-4


def test_memory_is_bounded_for_a_chuck_that_drifts_over_many_turns():
    """Each stretch's polynomials take no more room on turn nine hundred than on turn ten."""
    motion = motion_of(cut_on(fixed(Drifting(), Winding()), turns=1000, at=At(x=20.0)))
    spans = spans_of(motion, 40.0, 1e-3)
    sizes = [runs.terms.nbytes for _, _, runs in _runs(motion, spans)]
    assert len(sizes) > 1
    assert max(sizes) < 1_500_000
