"""What holds for every stack of chucks: symmetry, closure, and what leaves the work as it is."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from math import lcm, pi

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.checks.check import closure_findings
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.ratios import turns_to_close
from lobework.gearing.screw import Screw
from lobework.kinematics.closure import closure_of
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck, StraightLine
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.protocols import Chuck
from lobework.parts.slide import At
from lobework.quantities.units import Phase
from tests.search import examples
from tests.strategies import (
    GearedArm,
    cut_on,
    domes,
    drives,
    fixed,
    lines,
    numbers,
    on_work,
    ovals,
    places,
    sliding,
    turnings,
    waves,
)

some = settings(max_examples=examples(40))
U = np.linspace(0.0, 1.0, 97)
AT = At(x=21.3, y=4.7, depth=0.2)

eccentrics = st.builds(EccentricChuck, shift=numbers(-20.0, 20.0), index=turnings)
plains = st.builds(PlainChuck, index=turnings)
that_come_back = st.one_of(plains, eccentrics, ovals, domes)
any_chuck = st.one_of(that_come_back, lines)


def stacks(chucks=any_chuck, most=4):
    return st.lists(chucks, min_size=1, max_size=most)


def place(cut, u):
    return motion_of(cut).place(np.asarray(u, dtype=np.float64))


@some
@given(stack=stacks(that_come_back), drive=st.one_of(st.none(), drives(waves())), at=places)
def test_every_stack_repeats_after_its_declared_period(stack, drive, at):
    """After the least common multiple of what cams and chucks say, exactly the same path, whatever the stack."""
    cams = [drive] if drive else []
    cut = cut_on(sliding(*stack), *cams, at=at)
    said = [chuck.period_turns for chuck in stack if chuck.is_dynamic]
    turns = closure_of(motion_of(cut)).turns
    assert turns == lcm(*said, *(turns_to_close(each.cam.lobes, each.ratio) for each in cams))
    assert_allclose(place(cut, U + turns), place(cut, U), rtol=0, atol=1e-9 + 1e-13 * turns)


@some
@given(throw=numbers(0.0, 12.0), swing=numbers(0.5, 8.0), top=st.integers(1, 9), under=st.integers(1, 7), phase=turnings)
def test_a_moving_ring_repeats_after_the_denominator_of_its_ratio_and_not_earlier(throw, swing, top, under, phase):
    ring = Oval(throw=throw, swing=swing, swings=Fraction(top, under), swing_phase=phase)
    assert ring.period_turns == Fraction(top, under).denominator
    cut = cut_on(fixed(ring), at=AT)
    for tried in range(1, ring.period_turns):
        assert np.abs(place(cut, U + tried) - place(cut, U)).max() > 1e-2


@some
@given(before=stacks(that_come_back, 2), line=lines, after=stacks(that_come_back, 2))
def test_a_stack_with_a_straight_line_chuck_never_closes(before, line, after):
    assume(line.per_turn)
    motion = motion_of(cut_on(fixed(*before, line, *after), at=AT))
    assert closure_of(motion).turns is None


@given(line=lines, drive=drives(waves()), at=places)
def test_each_turn_repeats_the_figure_shifted_by_per_turn(line, drive, at):
    """With whole lobes a turn: the next turn's path is this one's, carried on by what the slide goes in a turn."""
    drive = replace(drive, ratio=Fraction(2))
    cut = cut_on(sliding(line), drive, at=at)
    way = np.exp(1j * (math.radians(line.direction_deg) - line.index.in_radians()))
    here, there = on_work(cut, U), on_work(cut, U + 1)
    assert_allclose(there, here - line.per_turn * way, rtol=0, atol=1e-9)


@pytest.mark.parametrize(
    "line", [StraightLine(per_turn=4.0, travel=90.0), StraightLine(per_turn=-4.0, travel=90.0, index="1/8 turn")]
)
def test_the_closure_note_of_a_straight_line_chuck(line):
    path = trace(cut_on(sliding(line), at=AT), chord=0.05)
    (note,) = closure_findings([path.cut], [path])
    assert str(note) == (
        "note (closure): pass 1: chuck 'chuck 1' never returns to its starting position, so the pass never closes; "
        "the path ends 4 mm from its start"
    )


@some
@given(gear=st.integers(-4, 4), arm=numbers(1.0, 9.0))
def test_an_undeclared_period_is_found_numerically(gear, arm):
    whole = closure_of(motion_of(cut_on(fixed(GearedArm(arm=arm, gear=gear)), at=AT)))
    part = closure_of(motion_of(cut_on(fixed(GearedArm(arm=arm, gear=gear + 0.37)), at=AT)))
    assert (whole.turns, part.turns) == (1, None)


@some
@given(throw=numbers(0.0, 12.0), ring=numbers(-180.0, 180.0), index=turnings, at=places)
def test_with_a_fixed_ring_the_path_has_half_turn_symmetry(throw, ring, index, at):
    """An ellipse about the middle of the work."""
    cut = cut_on(fixed(Oval(throw=throw, ring_angle_deg=ring, index=index)), at=at)
    assert_allclose(on_work(cut, U + 0.5), -on_work(cut, U), rtol=0, atol=1e-10)


@some
@given(oval=ovals, at=places, pairs=st.integers(0, 5))
def test_an_even_swing_keeps_the_half_turn_symmetry_and_an_odd_one_does_not(oval, at, pairs):
    even = cut_on(fixed(replace(oval, swings=Fraction(2 * pairs))), at=at)
    assert_allclose(on_work(even, U + 0.5), -on_work(even, U), rtol=0, atol=1e-10)
    assume(oval.swing)
    odd = cut_on(fixed(replace(oval, swings=Fraction(2 * pairs + 1))), at=at)
    assert np.abs(on_work(odd, U + 0.5) + on_work(odd, U)).max() > 0.1 * oval.swing


@some
@given(stack=stacks(), turned=turnings, drive=drives(waves()))
def test_an_index_of_the_outer_chuck_rotates_the_figure_backwards(stack, turned, drive):
    plain = place(cut_on(sliding(*stack), drive, at=AT), U)
    indexed = place(cut_on(sliding(*stack, PlainChuck(index=turned)), drive, at=AT), U)
    back = np.exp(-1j * turned.in_radians())
    assert_allclose(indexed[:, 0] + 1j * indexed[:, 1], (plain[:, 0] + 1j * plain[:, 1]) * back, rtol=0, atol=1e-10)
    assert_allclose(indexed[:, 2], plain[:, 2], rtol=0, atol=1e-10)


@given(first=turnings, second=turnings)
def test_indices_on_each_other_add_up_exactly(first, second):
    two = place(cut_on(fixed(PlainChuck(index=first), PlainChuck(index=second)), at=AT), U)
    one = place(cut_on(fixed(PlainChuck(index=first + second)), at=AT), U)
    assert_allclose(two, one, rtol=0, atol=1e-12)


STILL = {
    "plain": PlainChuck(),
    "eccentric": EccentricChuck(shift=0.0),
    "oval": Oval(throw=0.0),
    "oval, its ring's drive set but no swing": Oval(throw=0.0, swings="3/7", swing_phase="1/5 turn", ring_angle_deg=33.0),
    "dome": Dome(),
    "dome, its axis behind": Dome(behind=37.0),
}


@pytest.mark.parametrize("name", STILL)
@given(stack=stacks(most=2), at=places)
@settings(max_examples=examples(10))
def test_a_chuck_with_neutral_settings_changes_nothing(name, stack, at):
    without = place(cut_on(fixed(*stack), at=at), U)
    assert_allclose(place(cut_on(fixed(STILL[name], *stack), at=at), U), without, rtol=0, atol=1e-12)
    assert_allclose(place(cut_on(fixed(*stack, STILL[name]), at=at), U), without, rtol=0, atol=1e-12)


@some
@given(stack=stacks(), point=st.tuples(numbers(-30.0, 30.0), numbers(-30.0, 30.0), numbers(-30.0, 30.0)))
def test_a_point_on_the_work_maps_back_to_the_tip(stack, point):
    """Where the tip is on the work at u, carried with the work, stands at the tip on the bench at u."""
    cut = cut_on(fixed(*stack), at=At(x=point[0], y=point[1], z=point[2]))
    motion = motion_of(cut)
    back = motion.work(U).apply(motion.place(U))
    assert_allclose(back, np.broadcast_to(point, back.shape), rtol=0, atol=1e-10)


@some
@given(stack=stacks())
def test_stacks_never_stretch_or_mirror_the_work(stack):
    standing = motion_of(cut_on(fixed(*stack), at=AT)).work(np.linspace(0.0, 3.0, 61))
    assert_allclose(
        standing.rotation.transpose(0, 2, 1) @ standing.rotation, np.broadcast_to(np.eye(3), (61, 3, 3)), rtol=0, atol=1e-12
    )
    assert_allclose(np.linalg.det(standing.rotation), 1.0, rtol=0, atol=1e-12)


@some
@given(stack=stacks(), turns=st.sampled_from([Fraction(1), Fraction(5, 2)]))
def test_plain_and_compiled_traces_of_any_stack_agree(stack, turns):
    cut = cut_on(sliding(*stack), Drive(Wave(lobes=5, base_radius=60.0, rise=2.0), follower=Knife()), turns=turns, at=AT)
    plain, compiled = (trace(cut, chord=0.02, backend=way) for way in ("plain", "compiled"))
    for axis in "xyz":
        assert_allclose(getattr(compiled, axis), getattr(plain, axis), rtol=0, atol=1e-9)


@given(holes=st.sampled_from([12, 96, 120]), parts=st.sampled_from([2, 3, 4, 6, 12]), shift=numbers(1.0, 20.0))
def test_equal_index_steps_return_exactly_after_one_turn(holes, parts, shift):
    """Middles of circles at the corners of a regular figure, exactly back after the last."""
    chuck = EccentricChuck(shift=shift, wheel=Wheel([holes]), screw=Screw(lead=2.54))
    step = f"{holes // parts} holes of {holes}"
    cuts = list(cuts_of(Pass(at=At(x=2.0)).series(parts + 1, {"chuck 1.index": step}), fixed(chuck)))
    assert cuts[-1].lathe.chucks[0].chuck.index == Phase(Fraction(1))
    middles = np.array([np.mean(on_work(cut, U[:-1])) for cut in cuts])
    expected = -shift * np.exp(-2j * pi * np.arange(parts + 1) / parts)
    assert_allclose(middles, expected, rtol=0, atol=1e-10)


@given(turns=st.integers(-12, 12), divisions=st.integers(0, 9), count=st.integers(2, 9))
def test_steps_in_turns_of_a_screw_add_up(turns, divisions, count):
    chuck = EccentricChuck(shift=0.0, screw=Screw(lead=2.54))
    step = f"{turns} turns {divisions} div" if turns else f"{divisions} div"
    *_, last = cuts_of(Pass().series(count, {"chuck 1.shift": step}), fixed(chuck))
    sign = -1 if turns < 0 else 1
    assert last.lathe.chucks[0].chuck.shift == pytest.approx((count - 1) * 2.54 * (turns + sign * divisions / 10), abs=1e-12)


@pytest.mark.parametrize(
    "chuck", [PlainChuck(), EccentricChuck(shift=1.0), Oval(throw=1.0), StraightLine(per_turn=1.0, travel=9.0), Dome()]
)
def test_built_in_chucks_satisfy_the_chuck_protocol_and_are_hashable(chuck):
    assert isinstance(chuck, Chuck)
    assert isinstance(hash(chuck), int)
