"""What holds for every cam and follower."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.kinematics.contact import lift_of, touch_at
from lobework.parts.cam import EccentricCam
from lobework.parts.follower import FlatFollower, Knife, Roller
from tests.search import examples
from tests.strategies import edge_cams, face_cams, followers_for, numbers

DIRECTIONS = np.linspace(0.011, 6.9, 257)


def brute_reach(cam, follower, phi, count=20_001):
    """The furthest that any of many points of the cam holds the follower out, written from the definition."""
    if isinstance(follower, Knife):
        return cam.rise_at(phi) + (cam.base_radius if cam.on == "edge" else 0.0)
    best = np.zeros(phi.size)
    for k, at in enumerate(phi):
        if cam.on == "face":
            psi = at + np.linspace(-1, 1, count) * follower.radius / cam.base_radius
            across, along = cam.base_radius * (psi - at), cam.rise_at(psi)
        else:
            psi = at + np.linspace(-np.pi / 2, np.pi / 2, count)
            if isinstance(follower, Roller):
                within = np.abs((cam.base_radius + cam.rise_at(psi)) * np.sin(psi - at)) <= follower.radius
                psi = np.linspace(psi[within][0] - np.pi / count, psi[within][-1] + np.pi / count, count)
            r = cam.base_radius + cam.rise_at(psi)
            across, along = r * np.sin(psi - at), r * np.cos(psi - at)
        if isinstance(follower, FlatFollower):
            best[k] = along.max()
        else:
            touched = np.abs(across) <= follower.radius
            best[k] = (along[touched] + np.sqrt(follower.radius**2 - across[touched] ** 2)).max()
    return best


@settings(max_examples=examples(35))
@given(data=st.data(), cam=st.one_of(edge_cams, face_cams))
def test_contact_equals_the_brute_force_maximum(data, cam):
    """Never below a dense brute-force maximum, and above it by no more than its sampling can miss."""
    follower = data.draw(followers_for(cam))
    phi = np.array(data.draw(st.lists(numbers(-7.0, 7.0), min_size=1, max_size=4)))
    brute = brute_reach(cam, follower, phi)
    found = touch_at(cam, follower, phi).reach
    assert (found >= brute - 1e-10).all()
    assert_allclose(found, brute, rtol=0, atol=2e-4)


@settings(max_examples=examples(35))
@given(data=st.data(), cam=st.one_of(edge_cams, face_cams))
def test_the_lift_table_agrees_with_the_contact(data, cam):
    follower = data.draw(followers_for(cam))
    lift = lift_of(cam, follower)
    found = touch_at(cam, follower, DIRECTIONS).reach - lift.rest
    assert_allclose(lift.curve.at(DIRECTIONS), found, rtol=0, atol=1e-9)
    least, most = lift.travel
    assert least >= -1e-9
    assert most == pytest.approx(cam.rise_at(np.zeros(1))[0], abs=1e-9)


@settings(max_examples=examples(35))
@given(cam=st.one_of(edge_cams, face_cams), small=numbers(0.05, 6.0), more=numbers(0.0, 8.0))
def test_a_larger_roller_never_reaches_deeper(cam, small, more):
    """The smaller one fits inside the larger where their noses touch."""
    lifts = [lift_of(cam, follower).curve.at(DIRECTIONS) for follower in (Knife(), Roller(small), Roller(small + more))]
    assert (lifts[1] >= lifts[0] - 2e-9).all()
    assert (lifts[2] >= lifts[1] - 2e-9).all()


@settings(max_examples=examples(35))
@given(cam=edge_cams, radius=numbers(0.05, 30.0))
def test_a_flat_never_reaches_deeper_than_any_roller(cam, radius):
    assert (lift_of(cam, FlatFollower()).curve.at(DIRECTIONS) >= lift_of(cam, Roller(radius)).curve.at(DIRECTIONS) - 2e-9).all()


@settings(max_examples=examples(35))
@given(data=st.data(), cam=st.one_of(edge_cams, face_cams))
def test_every_lobe_gives_the_same_lift(data, cam):
    """A cam of L lobes has L-fold symmetry."""
    follower = data.draw(followers_for(cam))
    assert lift_of(cam, follower).curve.period == pytest.approx(2 * np.pi / cam.lobes, rel=1e-15)
    pitch = 2 * np.pi / cam.lobes
    here, next_one = (touch_at(cam, follower, DIRECTIONS[::8] + shift).reach for shift in (0.0, pitch))
    assert_allclose(here, next_one, rtol=0, atol=1e-10)


@settings(max_examples=examples(35))
@given(data=st.data(), cam=st.one_of(edge_cams, face_cams))
def test_the_slope_of_a_contact_is_the_slope_of_its_reach(data, cam):
    """Where the reach is smooth, by central differences."""
    follower = data.draw(followers_for(cam))
    step = 1e-5
    before, here, after = (touch_at(cam, follower, DIRECTIONS[::4] + k * step) for k in (-1, 0, 1))
    steady = np.abs(after.psi - before.psi) < 8 * step
    slope = (after.reach - before.reach) / (2 * step)
    bent = np.abs(after.slope - before.slope)
    assert_allclose(np.where(steady, here.slope - slope, 0), 0, atol=1e-6 + 0.6 * bent.max(where=steady, initial=0.0))


@given(radius=numbers(5.0, 80.0), roller=numbers(0.05, 40.0))
def test_a_cam_without_rise_never_lifts(radius, roller):
    for follower in (Knife(), Roller(roller), FlatFollower()):
        lift = lift_of(EccentricCam(radius=radius, offset=0.0), follower)
        assert np.abs(lift.curve.at(DIRECTIONS)).max() < 1e-9
        assert lift.bridges == ()
