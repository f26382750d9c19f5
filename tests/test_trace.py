"""The traced path: samples, axes, headstock and pose."""

from __future__ import annotations

import re
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose

from lobework.errors import TooLargeError
from lobework.kinematics import sampling
from lobework.kinematics.motion import motion_of
from lobework.kinematics.takeover import takeovers
from lobework.kinematics.trace import estimate, trace
from lobework.parts.cam import Scallop, Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.slide import At
from tests.strategies import cut_on, fixed, on_work, rocking, sliding

WAVE = Wave(lobes=4, base_radius=60.0, rise=5.0)
FACE = Wave(lobes=6, base_radius=60.0, rise=2.0, on="face")


def test_the_number_of_samples_of_a_circle_follows_from_its_sagitta():
    """Sagitta of a chord: r (1 - cos(pi / n)), common geometry; samples come in sixteen equal stretches."""
    for radius, chord in ((10.0, 2e-3), (50.0, 1e-3)):
        steps = trace(cut_on(fixed(), at=At(x=radius)), chord=chord).u.size - 1
        assert radius * (1 - np.cos(pi / steps)) <= 1.03 * chord
        assert radius * (1 - np.cos(pi / (steps - 17))) > 0.97 * chord


def test_the_work_turns_counterclockwise_so_the_cut_runs_clockwise():
    """Seen from the cutter; C is positive counterclockwise, RS274/NGC 2.1.2.2."""
    path = trace(cut_on(fixed(), turns="1/4", at=At(x=10.0)))
    assert (path.x[0], path.y[0]) == (10.0, 0.0)
    assert (path.x[-1], path.y[-1]) == pytest.approx((0.0, -10.0), abs=1e-12)
    assert path.axes["spindle"][-1] == 90.0


def test_axes_hold_the_positions_for_the_controller():
    drives = Drive(WAVE, follower=Knife(), ratio="-3/4", phase="1/2 lobe", index="9 deg"), Drive(FACE, follower=Knife(), ratio=2)
    path = trace(cut_on(sliding(), *drives, turns=2, at=At(x=20.0, y=1.0, z=0.5, depth=0.4), travel=At(x=-3.0, depth=0.2)))
    assert_allclose(path.axes["spindle"], 360 * path.u)
    assert_allclose(path.axes["cam 1"], 45 - 270 * path.u, atol=1e-12)
    assert_allclose(path.axes["cam 2"], 720 * path.u)
    assert_allclose(path.axes["x"], 20 - 1.5 * path.u)
    assert_allclose(path.axes["y"], 1.0)
    assert_allclose(path.axes["z"], 0.1 - 0.1 * path.u, atol=1e-14)


def test_a_pumping_headstock_waves_along_the_spindle():
    """A face cam pushes the headstock off the follower; front is the cutter's side, so the cut deepens where it is low."""
    path = trace(cut_on(sliding(), Drive(FACE, follower=Knife()), at=At(x=20.0, depth=0.4)))
    assert_allclose(np.hypot(path.x, path.y), 20, atol=1e-12)
    assert_allclose(path.z, -0.4 + FACE.rise_at(np.arctan2(path.y, path.x)), atol=1e-9)
    assert_allclose(path.headstock["endways"], -(path.z + 0.4), atol=1e-12)
    assert not path.headstock["sideways"].any()


def test_a_spiral_advances_evenly():
    path = trace(cut_on(fixed(), turns=5, at=At(x=20.0), travel=At(x=-10.0)))
    assert_allclose(np.hypot(path.x, path.y), 20 - 2 * path.u, atol=1e-12)
    assert path.closure.turns is None


def test_pose_carries_the_tip_and_turns_with_the_work():
    path = trace(cut_on(rocking(200.0, Oval(throw=3.0)), Drive(WAVE, follower=Roller(2.0)), at=At(x=20.0)))
    assert_allclose(path.pose.shift, np.stack([path.x, path.y, path.z], axis=-1))
    away = path.pose.apply(np.array([[0.0, 0.0, 1.0]])) - path.pose.shift
    assert_allclose(away, np.tile([0.0, 0.0, 1.0], (path.u.size, 1)), atol=1e-12)
    assert_allclose(np.linalg.det(path.pose.rotation), 1, atol=1e-12)


def test_furthest_wins_between_two_cams():
    """Two followers on one rocking headstock: the one that pushes it further holds it; common practice, no source."""
    first, second = Drive(WAVE, follower=Knife()), Drive(Wave(lobes=7, base_radius=60.0, rise=4.0), follower=Knife(), ratio="2/3")
    u = np.linspace(0, 1, 500)
    for lathe in (sliding(), rocking(250.0)):
        alone = [on_work(cut_on(lathe, each, at=At(x=30.0)), u) for each in (first, second)]
        both = on_work(cut_on(lathe, first, second, at=At(x=30.0), together="furthest"), u)
        assert_allclose(both, np.where(np.abs(alone[0]) > np.abs(alone[1]), *alone), atol=1e-9)


def test_the_change_from_one_cam_to_the_other_is_a_sample():
    first, second = Drive(WAVE, follower=Knife()), Drive(Wave(lobes=7, base_radius=60.0, rise=4.0), follower=Knife())
    path = trace(cut_on(sliding(), first, second, at=At(x=30.0), together="furthest"), chord=0.05)
    angle = -2 * pi * path.u
    apart = WAVE.rise_at(angle) - second.cam.rise_at(angle)
    changes = np.nonzero(np.diff(np.sign(apart[np.abs(apart) > 1e-9])))[0]
    assert changes.size > 4
    assert (np.abs(apart) < 1e-9).sum() >= changes.size


def test_a_cam_that_takes_over_for_less_than_a_64th_of_a_lobe_is_followed():
    """Two followers on one headstock; the eight-lobed cam stands further out for 0.3 degrees about each of two tops."""
    slow, quick = (
        Drive(Wave(lobes=lobes, base_radius=60.0, rise=rise), follower=Knife(), phase=phase)
        for lobes, rise, phase in ((2, 4.0, 0), (8, 2.84, "23.45 deg"))
    )
    path = trace(cut_on(sliding(), slow, quick, at=At(x=30.0), together="furthest"), chord=2e-4)
    fine = np.linspace(0, 1, 200_001)
    angle = -2 * pi * fine
    quick_out = 1.42 * (1 + np.cos(8 * (angle - np.radians(23.45)))) - 2.0 * (1 + np.cos(2 * angle))
    assert (quick_out > 4e-4).any()
    way = on_work(path)
    step = np.searchsorted(path.u, fine[1:-1], side="right") - 1
    true = on_work(path.motion.cut, fine[1:-1])
    part = np.clip((np.conj(way[step + 1] - way[step]) * (true - way[step])).real / np.abs(way[step + 1] - way[step]) ** 2, 0, 1)
    assert np.abs(true - way[step] - part * (way[step + 1] - way[step])).max() <= 2e-4


@pytest.mark.parametrize("apart", [1e-7, 1e-3, 1.0, 30.0])
def test_between_two_takeovers_one_of_two_equal_cams_stays_in_front(apart):
    """Twelve lobes, and the same a little on; by the cosines themselves, wherever they part by more than a nanometre."""
    first, second = (
        Drive(Wave(lobes=12, base_radius=60.0, rise=4.0), follower=Knife(), phase=f"{at} deg") for at in (0.0, apart)
    )
    motion = motion_of(cut_on(sliding(), first, second, together="furthest"))
    found = np.sort(takeovers(motion.sideways, np.linspace(0.0, 1.0, 98)))
    assert found.size == 0 if apart == 30.0 else 24 <= found.size <= 26
    edges = np.concatenate([[0.0], found, [1.0]])
    u = (edges[:-1, None] + np.diff(edges)[:, None] * np.linspace(0, 1, 401)).ravel()
    further = 2 * np.cos(24 * pi * u) - 2 * np.cos(24 * pi * u + 12 * np.radians(apart))
    further = np.where(np.abs(further) > 1.5e-9, np.sign(further), 0.0).reshape(-1, 401)
    assert (further.max(axis=1) - further.min(axis=1) <= 1).all()


def test_a_sharp_hollow_is_a_sample():
    cam = Scallop(lobes=6, base_radius=50.0, rise=4.0)
    path = trace(cut_on(sliding(), Drive(cam, follower=Knife()), at=At(x=20.0)), chord=0.05)
    for k in range(6):
        assert np.abs(path.u - (k + 0.5) / 6).min() < 1e-10
    assert np.hypot(path.x, path.y).min() == pytest.approx(20, abs=1e-9)


def test_an_eccentric_cut_takes_the_same_samples_at_any_position_of_the_work():
    sizes = {trace(cut_on(fixed(EccentricChuck(shift=s)), at=At(x=10.0))).u.size for s in (0.0, 5.0, 100.0)}
    assert len(sizes) == 1


def test_a_sweep_too_large_for_memory_is_refused_with_its_size():
    cut = cut_on(sliding(), Drive(WAVE, follower=Knife(), ratio="7/5"), turns=10**6)
    samples = estimate(cut, chord=1e-4)
    with pytest.raises(
        TooLargeError, match=re.escape(f"about {samples:.3g} samples and {samples * 32 / 1e9:.3g} GB of memory; allowed: 4 GB")
    ):
        trace(cut, chord=1e-4)


def test_the_estimated_sample_count_is_within_5_percent():
    cut = cut_on(sliding(), Drive(WAVE, follower=Roller(3.0), ratio="3/4"), turns=40, at=At(x=20.0))
    assert estimate(cut) == pytest.approx(trace(cut).u.size, rel=0.05)


@pytest.mark.parametrize("way", ["plain", "compiled"])
def test_the_cutter_on_the_axis_and_no_rise_is_a_point(way):
    still = Wave(lobes=3, base_radius=60.0, rise=0.0)
    path = trace(cut_on(sliding(), Drive(still, follower=Roller(2.0))), backend=way)
    assert np.abs(on_work(path)).max() < 1e-9


def test_spans_cover_the_whole_pass_at_any_number_of_halvings(monkeypatch):
    """With halving cut short, every stretch still goes from where the one before it ended."""
    monkeypatch.setattr(sampling, "_MOST_HALVINGS", 1)
    cam = Drive(Wave(lobes=12, base_radius=60.0, rise=4.0), follower=Roller(8.0))
    spans = sampling.spans_of(motion_of(cut_on(sliding(), cam, at=At(x=20.0))), 1.0, 1e-4)

    assert (spans.start[0], spans.end[-1]) == (0.0, 1.0)
    assert (spans.start[1:] == spans.end[:-1]).all()
