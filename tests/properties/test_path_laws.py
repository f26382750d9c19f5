"""What holds for every path on the work."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.kinematics.closure import closure_of
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.parts.cam import Wave
from lobework.parts.chuck import Oval, PlainChuck
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.slide import At
from lobework.parts.twist import Twist
from lobework.quantities.units import Phase
from tests.search import examples
from tests.strategies import (
    GearedArm,
    bases,
    chucks,
    cut_on,
    cuts,
    drives,
    eccentrics,
    edge_cams,
    fixed,
    followers_for,
    high_enough,
    numbers,
    on_work,
    ovals,
    phases,
    places,
    rocking,
    rocking_cuts,
    scallops,
    sliding,
    sliding_cuts,
    travels,
    turnings,
    waves,
)

U = np.linspace(0.0013, 1.97, 203)
some = settings(max_examples=examples(30))


@some
@given(drive=drives(), at=places)
def test_a_cam_of_l_lobes_at_a_ratio_repeats_around_the_work(drive, at):
    """L lobes at p/q: a turn of q / (L p) of the spindle brings the same cut round."""
    assume(drive.ratio != 0)
    cut = cut_on(sliding(), drive, at=at)
    step = 1 / (drive.cam.lobes * float(drive.ratio))
    turned = on_work(cut, U + step) * np.exp(2j * pi * step)
    assert_allclose(turned, on_work(cut, U), rtol=0, atol=1e-8)


@some
@given(drive=drives(), at=places, whole=st.integers(-3, 3), rocks=st.booleans())
def test_phase_by_a_whole_lobe_changes_nothing(drive, at, whole, rocks):
    lathe = rocking(high_enough(250.0, drive)) if rocks else sliding()
    later = replace(drive, phase=drive.phase + Phase(lobes=Fraction(whole)))
    here, there = (on_work(cut_on(lathe, each, at=at), U) for each in (drive, later))
    assert_allclose(here, there, rtol=0, atol=1e-8)


@some
@given(drive=drives(), at=places, on=phases)
def test_phase_and_index_rotate_the_cam_equally(drive, at, on):
    by_phase, by_index = replace(drive, phase=drive.phase + on), replace(drive, index=drive.index + on)
    here, there = (on_work(cut_on(sliding(), each, at=at), U) for each in (by_phase, by_index))
    assert_allclose(here, there, rtol=0, atol=1e-9)


@some
@given(drive=drives(), x=numbers(-40.0, 40.0))
def test_reversing_the_ratio_mirrors_the_cut(drive, x):
    """The mirror runs along the cutter's slide; the mirrored cut is run through backwards."""
    back = replace(drive, ratio=-drive.ratio)
    forward, mirrored = (on_work(cut_on(sliding(), each, at=At(x=x)), u) for each, u in ((drive, -U), (back, U)))
    assert_allclose(mirrored, forward.conj(), rtol=0, atol=1e-9)


@some
@given(data=st.data(), base=bases, at=places, rocks=st.booleans())
def test_a_cam_without_rise_cuts_a_circle(data, base, at, rocks):
    cam = Wave(lobes=data.draw(st.integers(1, 12)), base_radius=base, rise=0.0)
    drive = data.draw(drives(st.just(cam)))
    path = on_work(trace(cut_on(rocking(high_enough(150.0, drive)) if rocks else sliding(), drive, at=at)))
    assert_allclose(np.abs(path), np.hypot(at.x, at.y), rtol=0, atol=1e-9)


@some
@given(data=st.data(), at=places, travel=travels, rocks=st.booleans())
def test_two_halves_of_a_pass_follow_the_path_of_the_whole(data, at, travel, rocks):
    """Phase, travel, index and the oval's ring carried on by what the first part turned."""
    cam = data.draw(st.one_of(waves(), scallops()))
    drive = data.draw(drives(st.just(cam)))
    throw, ring, index = data.draw(numbers(0.0, 12.0)), data.draw(numbers(-180.0, 180.0)), data.draw(turnings)
    turns = Fraction(2)
    split = data.draw(st.fractions(Fraction(1, 10), Fraction(19, 10), max_denominator=40))
    part = float(split / turns)
    lathe = rocking(high_enough(250.0, drive)) if rocks else sliding()
    whole = cut_on(lathe.mount(Oval(throw=throw, ring_angle_deg=ring, index=index)), drive, turns=turns, at=at, travel=travel)
    carried = lathe.mount(PlainChuck(index=Phase(turns=split))).mount(
        Oval(throw=throw, ring_angle_deg=ring - 360 * float(split), index=index)
    )
    moved = At(x=at.x + part * travel.x, y=at.y, z=at.z + part * travel.z, depth=at.depth)
    rest = At(x=(1 - part) * travel.x, z=(1 - part) * travel.z)
    second = cut_on(
        carried, replace(drive, phase=drive.phase + Phase(turns=drive.ratio * split)), turns=turns - split, at=moved, travel=rest
    )
    u = np.linspace(0, float(turns - split), 101)
    first_motion, second_motion = motion_of(whole), motion_of(second)
    assert_allclose(second_motion.place(u), first_motion.place(u + float(split)), rtol=0, atol=1e-8)


@settings(max_examples=examples(50))
@given(cut=st.one_of(sliding_cuts(), rocking_cuts()))
def test_plain_and_compiled_agree(cut):
    plain, compiled = (trace(cut, chord=0.01, backend=way) for way in ("plain", "compiled"))
    assert plain.u.size == compiled.u.size
    assert_allclose(plain.u, compiled.u, rtol=0, atol=1e-13)
    for axis in "xyz":
        assert_allclose(getattr(compiled, axis), getattr(plain, axis), rtol=0, atol=1e-9)


def away_from_chord(motion, u, points, part):
    """How far the true path stands from the straight moves, ``part`` of the way along each, mm."""
    here = motion.place(u[:-1] + part * np.diff(u))
    along = np.diff(points, axis=0)
    length2 = np.maximum((along**2).sum(axis=1), 1e-300)
    t = np.clip(((here - points[:-1]) * along).sum(axis=1) / length2, 0, 1)
    return np.linalg.norm(here - points[:-1] - t[:, None] * along, axis=1)


def most_astray(cut, chord):
    """How far the true path stands from the straight moves at the most, looked at 24 times along each, in chords."""
    path = trace(cut, chord=chord)
    points = np.stack([path.x, path.y, path.z], axis=-1)
    return max(away_from_chord(path.motion, path.u, points, part).max() for part in (np.arange(24) + 0.5) / 24) / chord


@some
@given(cut=cuts, chord=st.sampled_from([2e-4, 2e-3, 2e-2]))
def test_straight_moves_deviate_by_at_most_the_chord(cut, chord):
    assert most_astray(cut, chord) <= 1


@some
@given(
    several=st.lists(drives(st.one_of(waves(), scallops()), sides=("front",)), min_size=2, max_size=3),
    at=places,
    chord=st.sampled_from([2e-4, 2e-3]),
    along=st.booleans(),
)
def test_straight_moves_deviate_by_at_most_the_chord_at_takeovers_between_cams(several, at, chord, along):
    drift = Twist(angle="170 deg", over=10.0, ease="1/3")
    several = [replace(several[0], twist=drift if along else None), several[1], *(replace(each, ratio=1) for each in several[2:])]
    cut = cut_on(sliding(), *several, turns=1, at=at, travel=At(z=-10.0) if along else At(), together="furthest")
    assert most_astray(cut, chord) <= 1


@settings(max_examples=examples(60))
@given(
    stack=st.lists(
        st.one_of(ovals, ovals, chucks, st.builds(GearedArm, arm=numbers(0.0, 30.0), gear=numbers(-12.0, 12.0))),
        min_size=1,
        max_size=3,
    ),
    at=places,
    chord=st.sampled_from([1e-4, 2e-3, 2e-2]),
)
def test_straight_moves_deviate_by_at_most_the_chord_through_any_stack_of_chucks(stack, at, chord):
    assert most_astray(cut_on(fixed(*stack), at=at), chord) <= 1


@some
@given(cut=cuts)
def test_samples_are_not_denser_than_the_chord_requires(cut):
    """Of the moves longer than one in each stretch that must be looked at, most stray by a fair part of the chord.

    Where chucks turn the path back on itself the curvature says nothing; the spans there are halved towards the place.
    """
    chord = 2e-3
    path = trace(cut, chord=chord)
    turns = float(cut.passed.turns)
    fine = np.linspace(0, turns, 40_000)
    points = motion_of(cut).place(fine)
    velocity, bend = np.gradient(points, fine, axis=0), np.gradient(np.gradient(points, fine, axis=0), fine, axis=0)
    speed = np.linalg.norm(velocity, axis=1)
    across = np.linalg.norm(np.cross(velocity, bend), axis=1) / np.maximum(speed, 1e-9)
    needed = np.sum(np.sqrt(np.minimum(across, 1e6) / (8 * chord))) * (fine[1] - fine[0])
    quickest = max((drive.cam.lobes * abs(float(drive.ratio)) for drive in cut.passed.cams), default=0.0)
    pushes = path.motion.pushes
    corners = sum(push.curve.starts.size * abs(push.rate) / push.curve.period for push in pushes)
    stretches = turns * (max(16.0, 8 * quickest) + corners) + 8
    stretches += 4 * np.sum(np.vecdot(velocity[1:], velocity[:-1]) < 0)
    assert path.u.size <= 1.6 * needed + 3 * stretches


@some
@given(cut=cuts)
def test_a_trace_starts_and_ends_with_its_pass_and_runs_forward(cut):
    path = trace(cut, chord=0.02)
    assert path.u[0] == 0.0
    assert path.u[-1] == float(cut.passed.turns)
    assert (np.diff(path.u) > 0).all()
    assert_allclose(np.stack([path.x, path.y, path.z], axis=-1), path.motion.place(path.u), rtol=0, atol=1e-9)


@some
@given(data=st.data(), rocks=st.booleans())
def test_turns_to_close_is_the_least_number_of_turns_that_closes_the_path(data, rocks):
    """The path repeats after them, and after no divisor of them; equal waves are left out, which may undo each other.

    If the highest cam moves the headstock, a cam may stay below the others: then a divisor may be enough.
    """
    count = data.draw(st.integers(1, 2))
    kept = [replace(data.draw(drives(waves(), sides=("front",))), gain=1.0) for _ in range(count)]
    assume(all(drive.cam.rise > 0.5 for drive in kept))
    assume(len({(drive.cam, abs(drive.ratio)) for drive in kept}) == count)
    kept = [replace(drive, follower=data.draw(followers_for(drive.cam, flat=False))) for drive in kept]
    lathe = rocking(high_enough(250.0, *kept)) if rocks else sliding()
    motion = motion_of(cut_on(lathe, *kept, at=At(x=33.3, y=1.7)))
    found = closure_of(motion).turns
    u = np.linspace(0, found, 96 * found + 1)

    def deviation(turns):
        return np.abs(motion.place(u + turns) - motion.place(u)).max()

    assert deviation(found) <= 1e-6
    if not motion.sideways.furthest:
        assert all(deviation(turns) > 1e-6 for turns in range(1, found) if found % turns == 0)


def test_equal_waves_half_a_lobe_apart_cancel_and_close_like_each_of_them():
    """Two sines half a turn apart add up to a constant, derived: the path is a circle, and no wave is back before five turns."""
    pair = [
        Drive(Wave(lobes=1, base_radius=30.0, rise=2.7), ratio="3/5", phase=phase, follower=Knife())
        for phase in ("0 turns", "1/2 turn")
    ]
    motion = motion_of(cut_on(sliding(), *pair, at=At(x=33.3, y=1.7)))
    assert np.ptp(np.hypot(*motion.place(np.linspace(0, 1, 97))[:, :2].T)) < 1e-9
    assert closure_of(motion).turns == 5


@some
@given(disc=eccentrics(), ratio=st.sampled_from([1, 2, -3]), at=places)
def test_a_shorter_chord_never_takes_fewer_samples(disc, ratio, at):
    cut = cut_on(sliding(), Drive(disc, ratio=ratio, follower=Knife()), at=at)
    assert trace(cut, chord=1e-4).u.size >= trace(cut, chord=1e-2).u.size


@some
@given(cam=edge_cams, at=places)
def test_a_stationary_cam_only_shifts_the_circle(cam, at):
    """Ratio 0: the headstock stands where the cam holds it."""
    path = on_work(cut_on(sliding(), Drive(cam, ratio=0, follower=Roller(2.0)), at=at), U)
    assert np.ptp(np.abs(path)) < 1e-9
