"""The motion of one cut."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from lobework.jobs.jobfile import read_lathe
from lobework.kinematics.motion import motion_of
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import Wave
from lobework.parts.chuck import EccentricChuck, Oval, PlainChuck
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.slide import At
from lobework.quantities.units import Phase

CHUCKS = {
    "none": (),
    "indexed": (PlainChuck(index=Phase.of("1/7 turn")),),
    "two eccentric": (EccentricChuck(shift=5.0, index=Phase.of("10 deg")), EccentricChuck(shift=3.0, index=Phase.of("1/5 turn"))),
    "oval on eccentric": (EccentricChuck(shift=5.0, index=Phase.of("10 deg")), Oval(throw=4.0, ring_angle_deg=30.0)),
}


def motion(bench: str, chucks: tuple):
    """A cut with a spiral, an edge cam and a face cam."""
    lathe = read_lathe(bench)
    for number, chuck in enumerate(chucks):
        lathe = lathe.mount(chuck, name=f"chuck {number}")
    edge = Drive(Wave(lobes=5, base_radius=60.0, rise=4.0), follower=Roller(3.0), ratio="3/2", phase="7 deg")
    face = Drive(Wave(lobes=8, base_radius=60.0, rise=0.5, on="face"), follower=Roller(2.0), ratio="-1")
    passed = Pass(turns=2, at=At(x=22.0, y=0.0, depth=0.3), travel=At(x=-5.0), cams=(edge, face))
    return motion_of(Cut(number=1, passed=passed, lathe=lathe))


@pytest.mark.parametrize("bench", ["rocking-bench", "sliding-bench"])
@pytest.mark.parametrize("chucks", CHUCKS.values(), ids=CHUCKS)
def test_the_position_on_the_work_is_the_tip_transformed_by_every_frame(bench, chucks):
    """The frames of the design, one rigid motion at a time: bench, carriage, spindle, chucks."""
    moved = motion(bench, chucks)
    u = np.linspace(0, 2, 501)

    assert_allclose(moved.place(u), moved.work(u).inverse().apply(moved.tip(u)), rtol=0, atol=1e-11)


@pytest.mark.parametrize("chucks", CHUCKS.values(), ids=CHUCKS)
def test_every_frame_is_rigid(chucks):
    rotation = motion("rocking-bench", chucks).work(np.linspace(0, 2, 101)).rotation

    assert_allclose(rotation @ rotation.transpose(0, 2, 1), np.broadcast_to(np.eye(3), (101, 3, 3)), atol=1e-14)
    assert_allclose(np.linalg.det(rotation), 1.0, atol=1e-14)


def test_a_rocking_headstock_turns_the_work_with_it():
    """Geometry: the spindle goes round the pivot, so its frame turns by the arc over the height."""
    moved = motion("rocking-bench", ())
    u = np.array([0.123])
    across = moved.sideways.at(u)[0]
    carriage = moved.carriage(u)

    assert across != 0
    assert_allclose(carriage.shift[0, 0], 250.0 * math.sin(across / 250.0), atol=1e-12)
    assert_allclose(carriage.shift[0, 1], 250.0 * (math.cos(across / 250.0) - 1), atol=1e-12)
    assert_allclose(carriage.rotation[0, 0, 1], math.sin(across / 250.0), atol=1e-15)
