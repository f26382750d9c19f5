"""What follows from the shapes alone, on cams and followers at the edge of what a lathe would carry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from lobework.errors import SettingError
from lobework.kinematics.contact import lift_of, touch_at
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import EccentricCam, MotionLaw, Scallop, Wave
from lobework.parts.drive import Drive
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.slide import At
from tests.search import examples
from tests.strategies import cut_on, drives, high_enough, numbers, rocking, scallops, waves

SHORT = [
    (
        MotionLaw(law="3-4-5", lobes=2, base_radius=60.0, rise=3.0, rise_part="1/100", dwell_part="79/1000", fall_part="1/5"),
        FlatFollower(),
    ),
    (MotionLaw(law="3-4-5", lobes=5, base_radius=60.0, rise=3.0, rise_part="3/10", fall_part="1/100"), Roller(50.0)),
]


@pytest.mark.parametrize(("cam", "follower"), SHORT, ids=["flat", "roller"])
def test_contact_on_a_very_short_rise_equals_brute_force(cam, follower):
    """The greatest hold over a million points of the edge, which shares nothing with the search."""
    pitch = 2 * np.pi / cam.lobes
    phi = np.append(np.linspace(0, pitch, 60, endpoint=False), np.array([0.16166, 0.863]) * pitch)
    psi = np.linspace(-pitch, 2 * pitch, 1_000_001)
    radius = cam.base_radius + cam.rise_at(psi)
    reached = []
    for direction in phi:
        across, along = radius * np.sin(psi - direction), radius * np.cos(psi - direction)
        if isinstance(follower, Roller):
            touching = np.abs(across) <= follower.radius
            along = along[touching] + np.sqrt(follower.radius**2 - across[touching] ** 2)
        reached.append(along.max())
    for way in ("plain", "compiled"):
        assert_allclose(touch_at(cam, follower, phi, backend=way).reach, reached, rtol=0, atol=1e-5)
    lift = lift_of(cam, follower)
    assert_allclose(lift.curve.at(phi) + lift.rest, reached, rtol=0, atol=1e-5)


@pytest.mark.parametrize(
    "cam", [Wave(lobes=5, base_radius=20.0, rise=6.0), EccentricCam(radius=150.0, offset=135.0)], ids=["wave", "disc"]
)
def test_a_roller_of_1_micron_rests_on_the_cam_plain_and_compiled(cam):
    phi = np.linspace(0, 2 * np.pi, 300) + 1e-3
    plain, compiled = (touch_at(cam, Roller(1e-3), phi, backend=way).reach for way in ("plain", "compiled"))

    assert (compiled >= cam.base_radius + cam.rise_at(phi)).all()
    assert_allclose(compiled, plain, rtol=0, atol=1e-9)


@pytest.mark.parametrize("side", ["front", "back"])
def test_a_cam_that_makes_a_rocking_headstock_jump_is_refused_even_if_a_solution_exists_at_each_angle(side):
    cam = MotionLaw(law="harmonic", lobes=60, base_radius=60.0, rise=2.0, rise_part="1/5", dwell_part="1/10", fall_part="1/3")
    drive = Drive(cam, follower=Roller(0.5), side=side, gain=3.0)
    lathe = Lathe(name="bench", headstock=Headstock(sideways="rocks", pivot_height=150.0))

    with pytest.raises(SettingError, match="jumps beyond about 50 mm per radian"):
        trace(Cut(number=1, passed=Pass(at=At(x=20.0), cams=(drive,)), lathe=lathe))


def test_a_headstock_that_jumps_only_in_a_sharp_hollow_is_refused():
    """The edge's slope at the hollow is 200.15 mm per radian, 200 is what the headstock follows: it jumps 0.004 mm."""
    drive = Drive(Scallop(lobes=12, base_radius=47.3, rise=11.0), follower=Knife())

    with pytest.raises(SettingError, match="jumps beyond about 200 mm per radian"):
        motion_of(cut_on(rocking(200.0), drive))
    with pytest.raises(SettingError, match="jumps"):
        motion_of(cut_on(rocking(200.5), drive))
    assert motion_of(cut_on(rocking(206.0), drive)).sideways.each[0].curve.extent[1] > 10.9


def test_a_headstock_follows_to_the_bottom_of_a_bridged_hollow():
    """The spindle on its arc stands where the follower's reach, taken from the lift alone, meets the distance between them."""
    drive = Drive(Scallop(lobes=12, base_radius=47.3, rise=12.03125), follower=Roller(29.0))
    pushed = motion_of(cut_on(rocking(200.0), drive)).sideways
    lift = lift_of(drive.cam, drive.follower)
    turn = np.linspace(0.0, 1 / 12, 4001)
    alpha = pushed.at(turn) / 200.0
    ahead, up = lift.rest - 200.0 * np.sin(alpha), 200.0 * (1 - np.cos(alpha))
    direction = alpha + np.arctan2(up, ahead) - 2 * np.pi * turn

    assert_allclose(np.hypot(ahead, up), lift.rest + lift.curve.at(direction), rtol=0, atol=2e-9)


@settings(max_examples=examples(60))
@given(data=st.data(), side=st.sampled_from(["front", "back"]), near=numbers(0.95, 1.3))
def test_a_headstock_near_a_jump_is_refused_or_moves_continuously(data, side, near):
    drive = data.draw(drives(st.one_of(waves(), scallops()), sides=(side,)))
    steepest = max(high_enough(1.0, drive) / 1.4, 5.0)
    try:
        curve = motion_of(cut_on(rocking(near * steepest), drive)).sideways.each[0].curve
    except SettingError as error:
        if "jumps" not in str(error):
            raise
        return
    ends, starts = curve.cells.sum(axis=1), curve.cells[:, 0]
    assert_allclose(ends, np.roll(starts, -1), rtol=0, atol=1e-9)


def test_the_chord_tolerance_holds_if_the_curvature_grows_towards_the_end_of_a_span():
    cam = MotionLaw(law="harmonic", lobes=12, base_radius=60.0, rise=2.0, rise_part="1/5", dwell_part="1/10", fall_part="1/3")
    drive = Drive(cam, follower=Roller(20.0), phase="13.05 deg", side="back")
    lathe = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=(Axis(moves="x", letter="X"),))
    passed = Pass(turns=40, at=At(x=20.0), travel=At(x=-25.0), cams=(drive,))
    path = trace(Cut(number=1, passed=passed, lathe=lathe), chord=1e-4, backend="plain")
    points = np.stack([path.x, path.y, path.z], axis=-1)
    between = path.u[:-1, None] + np.diff(path.u)[:, None] * np.linspace(0, 1, 17)[1:-1]
    inner = path.motion.place(between.ravel()).reshape(*between.shape, 3)
    along = np.diff(points, axis=0)[:, None]
    part = np.clip(((inner - points[:-1, None]) * along).sum(-1) / (along**2).sum(-1), 0, 1)

    assert np.linalg.norm(inner - points[:-1, None] - part[..., None] * along, axis=-1).max() <= 1e-4


def test_the_contact_point_of_a_flat_is_not_off_by_a_turn():
    """Two lobes: the point that it touches comes round again a whole turn on."""
    cam = MotionLaw(
        law="modified trapezoid", lobes=2, base_radius=150.0, rise=45.0, rise_part="1/50", dwell_part="93/1000", fall_part="1/20"
    )
    phi = np.linspace(0, np.pi, 400)

    assert (np.abs(touch_at(cam, FlatFollower(), phi).psi - phi) < np.pi / 2).all()
    assert all(bridge.depth < cam.rise for bridge in lift_of(cam, FlatFollower()).bridges)


def test_plain_and_compiled_agree_for_a_fine_roller_on_a_scallop_of_many_lobes():
    cam, phi = Scallop(lobes=200, base_radius=20.0, rise=0.1), np.linspace(0, 0.1, 400)

    assert_allclose(
        touch_at(cam, Roller(1e-3), phi, backend="compiled").reach, touch_at(cam, Roller(1e-3), phi).reach, rtol=0, atol=1e-9
    )
