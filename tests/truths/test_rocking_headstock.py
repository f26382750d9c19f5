"""The rocking headstock against a contact solved on the bare geometry, and against the slide that it tends to.

The geometry (a headstock that oscillates on an axis below the bed, parallel to the mandrel; the wavy edge of the
rosette against a roller on a stationary bar): Knight's *American Mechanical Dictionary*, s.v. rose-engine lathe.
"""

from __future__ import annotations

from itertools import pairwise
from math import cos, hypot, pi, sin

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from lobework.errors import SettingError
from lobework.kinematics.motion import motion_of
from lobework.parts.cam import EccentricCam, MotionLaw, Scallop, Wave
from lobework.parts.drive import Drive
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.slide import At
from tests.strategies import cut_on, rocking, sliding

ROUND = np.linspace(-pi, pi, 4001)


def edge_point(cam, psi, turned, spindle):
    """A point of the cam's edge on the bench, the cam turned by ``turned`` about the spindle's centre."""
    radius = cam.base_radius + float(cam.rise_at(np.array([psi]))[0])
    return spindle[0] + radius * cos(psi + turned), spindle[1] + radius * sin(psi + turned)


def best(measure, cam):
    """The least of ``measure`` over the whole edge: a scan, then a bounded search about its best few places."""
    coarse = np.array([measure(psi) for psi in ROUND[::8]])
    step = ROUND[8] - ROUND[0]
    near = ROUND[::8][np.argsort(coarse)[:3]]
    return min(
        minimize_scalar(measure, bounds=(at - step, at + step), method="bounded", options={"xatol": 1e-11}).fun for at in near
    )


def clearance(alpha, cam, follower, side, gain, height, cam_angle):
    """How far the follower, fixed on the bench, stands clear of a leaning headstock's cam; negative: they overlap."""
    spindle = height * sin(alpha), height * (cos(alpha) - 1)
    turned = cam_angle - alpha
    lever = (1 - 1 / gain) * height * sin(alpha)
    if isinstance(follower, FlatFollower):
        return best(lambda psi: side * (side * cam.base_radius + lever - edge_point(cam, psi, turned, spindle)[0]), cam)
    radius = follower.radius if isinstance(follower, Roller) else 0.0
    centre = side * (cam.base_radius + radius) + lever, 0.0
    if radius == 0.0:
        dx, dy = centre[0] - spindle[0], centre[1] - spindle[1]
        here = np.arctan2(dy, dx) - turned
        return hypot(dx, dy) - cam.base_radius - float(cam.rise_at(np.array([here]))[0])

    def apart(psi):
        x, y = edge_point(cam, psi, turned, spindle)
        return hypot(x - centre[0], y - centre[1])

    return best(apart, cam) - radius


def leaning(cam, follower, side, gain, height, cam_angle):
    """The headstock's lean, rad: root of the clearance, found between well clear and well inside."""

    def clear(alpha):
        return clearance(alpha, cam, follower, side, gain, height, cam_angle)

    away = -side * gain * (1.1 * cam.rise + 1.0) / height
    return brentq(clear, away, side * 0.5 * gain / height, xtol=1e-14, rtol=1e-14)


SCALLOP = Scallop(lobes=6, base_radius=60.0, rise=4.0)
WAVE = Wave(lobes=4, base_radius=62.0, rise=5.0)
LAW = MotionLaw(law="modified sine", lobes=3, base_radius=50.0, rise=6.0)

CASES = [
    (WAVE, Roller(3.0), "front", 1.0, 250.0),
    (WAVE, Roller(3.0), "back", 1.0, 250.0),
    (WAVE, Roller(3.0), "front", 1.0, 80.0),
    (WAVE, Roller(3.0), "back", 1.0, 80.0),
    (WAVE, Knife(), "front", 1.0, 80.0),
    (WAVE, Knife(), "back", 1.0, 120.0),
    (WAVE, FlatFollower(), "front", 1.0, 80.0),
    (WAVE, FlatFollower(), "back", 1.0, 250.0),
    (SCALLOP, Roller(5.0), "front", 1.0, 150.0),
    (SCALLOP, Roller(5.0), "back", 1.0, 80.0),
    (SCALLOP, FlatFollower(), "front", 1.0, 80.0),
    (LAW, Roller(8.0), "back", 1.0, 100.0),
    (WAVE, Roller(3.0), "front", 0.5, 120.0),
    (WAVE, Roller(3.0), "back", 1.5, 250.0),
    (LAW, Knife(), "front", 1.5, 120.0),
    (LAW, FlatFollower(), "back", 0.5, 120.0),
]


def _name(case):
    cam, follower, side, gain, height = case
    return f"{cam.kind}-{follower.kind}-{side}-gain{gain:g}-{height:g}mm"


@pytest.mark.parametrize("case", CASES, ids=_name)
def test_the_position_of_the_spindle_is_that_of_an_independent_solver(case):
    cam, follower, side, gain, height = case
    drive = Drive(cam, follower=follower, side=side, gain=gain, ratio="3/4", phase="7 deg")
    motion = motion_of(cut_on(rocking(height), drive, at=At(x=20.0)))
    u = np.array([0.0, 0.061, 0.1234, 0.27, 0.415, 0.8])
    found = motion.carriage(u).apply(np.zeros((1, 3)))
    for spindle, turns in zip(found, u, strict=True):
        cam_angle = 2 * pi * (0.75 * turns + 7 / 360)
        alpha = leaning(cam, follower, 1 if side == "front" else -1, gain, height, cam_angle)
        assert spindle == pytest.approx([height * sin(alpha), height * (cos(alpha) - 1), 0], abs=2e-9)


@pytest.mark.parametrize("side", ["front", "back"])
@pytest.mark.parametrize("follower", [Knife(), Roller(4.0), FlatFollower()], ids=lambda f: f.kind)
def test_a_far_pivot_tends_to_the_slide_as_one_over_its_height(follower, side):
    drive = Drive(WAVE, follower=follower, side=side)
    u = np.linspace(0, 1, 400)
    slid = motion_of(cut_on(sliding(), drive, at=At(x=20.0))).place(u)
    off = [
        np.abs(motion_of(cut_on(rocking(height), drive, at=At(x=20.0))).place(u) - slid).max()
        for height in (2e4, 4e4, 8e4, 1.6e5)
    ]
    assert off[0] < 0.01
    assert [a / b for a, b in pairwise(off)] == pytest.approx([2, 2, 2], rel=5e-3)


def test_a_centred_disc_never_rocks_the_headstock():
    drive = Drive(EccentricCam(radius=50.0, offset=0.0), follower=Roller(3.0), ratio="-5/3")
    motion = motion_of(cut_on(rocking(80.0), drive))
    assert np.abs(motion.sideways.at(np.linspace(0, 3, 300))).max() < 1e-10


def test_gain_multiplies_the_travel_of_a_slide():
    """Common practice, no source: a lever between follower and headstock."""
    u = np.linspace(0, 1, 101)
    plain, doubled = (motion_of(cut_on(sliding(), Drive(WAVE, follower=Roller(3.0), gain=gain))) for gain in (1.0, 2.0))
    assert doubled.sideways.at(u) == pytest.approx(2 * plain.sideways.at(u), abs=1e-12)


def test_a_headstock_too_low_to_follow_is_refused():
    cam = Wave(lobes=2, base_radius=60.0, rise=30.0)
    with pytest.raises(SettingError, match=r"cam\[1\]: .*8 mm above the pivot.*less rise or less gain"):
        motion_of(cut_on(rocking(8.0), Drive(cam, follower=Knife())))
