"""How far chucks carry the work, and their slides go: converged, however quick the chucks are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.geometry.rigid import Rigid
from lobework.kinematics.motion import motion_of
from lobework.lathe.clearance import highest_z, largest_offset, reach_of
from lobework.lathe.mounting import Mounted
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck
from lobework.parts.piece import Disc, Turned
from lobework.parts.slide import At
from tests.strategies import GearedArm, cut_on, fixed

DISC = Disc(diameter=60.0, thickness=8.0)
CONVERGED_MM = 1e-6
NEAR_MM = 1e-3

ovals = st.builds(
    Oval,
    throw=st.floats(0.0, 10.0),
    ring_angle_deg=st.floats(-180.0, 180.0),
    swing=st.floats(0.0, 10.0),
    swings=st.one_of(st.integers(1, 1000), st.sampled_from([64, 128, 256, 360, 1000])),
    swing_phase=st.floats(0.0, 360.0).map(lambda deg: f"{deg:.3f} deg"),
)


@settings(max_examples=30)
@given(chuck=ovals, turns=st.sampled_from([0.01, 0.37, 1.0, 2.5]), begin=st.sampled_from([0.0, 0.3, -1.1]))
def test_the_computed_reach_of_a_fast_chuck_is_an_upper_bound(chuck, turns, begin):
    reach = reach_of(DISC, fixed(chuck), turns, begin)
    theta = 2 * math.pi * (begin + np.linspace(0.0, turns, 100_001))
    tried = 30.0 + float(np.abs(chuck.motions(theta).shift[:, 0]).max())
    assert tried - CONVERGED_MM <= reach <= 30.0 + chuck.throw + chuck.swing + CONVERGED_MM
    assert reach <= tried + 20 * (math.pi * turns * 1001 / 100_000) ** 2 + CONVERGED_MM
    assert Mounted("oval", chuck).largest_displacement(turns, begin) == pytest.approx(reach - 30.0, abs=CONVERGED_MM)


@settings(max_examples=15)
@given(one=ovals, other=ovals, gear=st.floats(-64, 64))
def test_the_computed_reach_of_a_stack_of_fast_chucks_is_an_upper_bound(one, other, gear):
    lathe = fixed(one, GearedArm(arm=5.0, gear=gear), other)
    theta = 2 * math.pi * np.linspace(0.0, 1.0, 50_001)
    standing = Rigid.still()
    for each in lathe.chucks:
        standing = standing @ each.chuck.motions(theta)
    assert largest_offset(lathe, 1.0) >= float(np.hypot(*standing.shift[:, :2].T).max()) - CONVERGED_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Nodding:
    """Nods the work to and fro."""

    kind: ClassVar[str] = "nodding"
    is_dynamic: ClassVar[bool] = True
    swings: int
    phase: float = 0.0

    def motions(self, theta):
        return Rigid.tilt(0.4 * np.sin(self.swings * theta + self.phase)) @ Rigid.move(x=3.0 * np.cos(theta))


@pytest.mark.parametrize("swings", [1, 64, 97])
@pytest.mark.parametrize("piece", [DISC, Turned(profile=((0.0, 10.0), (-11.0, 24.0), (-40.0, 12.0)))], ids=lambda each: each.form)
def test_the_computed_reach_and_height_of_tilted_work_agree_with_dense_samples(piece, swings):
    chuck = Nodding(swings=swings, phase=0.3)
    lathe = fixed(chuck)
    profile = [[30.0, 0.0], [30.0, -8.0]]
    if piece is not DISC:
        profile = piece.surface.profile(np.linspace(0.0, piece.surface.length, 65))[:, :2]
    r, z = np.array(profile).T[:, :, None]
    around = np.linspace(0.0, 2 * math.pi, 73)
    points = np.stack([r * np.cos(around), r * np.sin(around), z + 0 * around], axis=-1).reshape(-1, 3)
    at = [chuck.motions(np.array([theta])).apply(points) for theta in 2 * math.pi * np.linspace(0.0, 1.0, 2001)]
    reach = max(float(np.hypot(each[:, 0], each[:, 1]).max()) for each in at)
    height = max(float(each[:, 2].max()) for each in at)
    assert reach - CONVERGED_MM <= reach_of(piece, lathe, 1.0) <= reach + 0.05
    assert height - CONVERGED_MM <= highest_z(piece, lathe, 1.0) <= height + 0.05


@settings(max_examples=30)
@given(chuck=ovals, spindle=st.sampled_from(["0 deg", "100 deg"]), turns=st.sampled_from([1, 2]))
def test_a_fast_slide_is_refused_only_if_it_passes_the_end_of_its_travel(chuck, spindle, turns):
    from dataclasses import replace

    begin = {"0 deg": 0.0, "100 deg": 100 / 360}[spindle]
    theta = 2 * math.pi * (begin + np.linspace(0.0, turns, 100_001))
    furthest = float(np.abs(chuck.motions(theta).shift[:, 0]).max())
    slack = 20 * (math.pi * turns * 1001 / 100_000) ** 2
    for travel, fits in ((furthest - NEAR_MM, False), (furthest + NEAR_MM + slack, True)):
        if travel <= chuck.throw:
            continue
        cut = cut_on(fixed(replace(chuck, travel=travel)), turns=turns, at=At(x=20.0))
        cut = replace(cut, passed=replace(cut.passed, spindle=spindle))
        if fits:
            motion_of(cut)
        else:
            with pytest.raises(SettingError, match="its slide would move beyond its travel"):
                motion_of(cut)


def test_a_slide_starts_from_the_spindle_angle_of_its_pass():
    """The straight-line chuck goes on with the spindle: three turns on, it stands 30 mm further out."""
    from dataclasses import replace

    from lobework.parts.chuck import StraightLine

    line = fixed(StraightLine(per_turn=10.0, travel=35.0))
    motion_of(cut_on(line, at=At(x=20.0)))
    cut = cut_on(line, at=At(x=20.0))
    with pytest.raises(SettingError, match=r"its slide would move beyond its travel: after 1 turns? it would be at 40 mm"):
        motion_of(replace(cut, passed=replace(cut.passed, spindle="3 turns")))


def test_the_widest_place_of_turned_work_is_found():
    """A ring that stands out between two of 33 places along the work."""
    piece = Turned(
        profile=((0.0, 10.0), (-60.0, 10.0), (-153.0, 10.0), (-158.0, 11.5), (-163.0, 10.0), (-220.0, 10.0), (-300.0, 10.0))
    )
    widest = float(piece.surface.profile(np.linspace(0.0, piece.surface.length, 100_001))[:, 0].max())
    assert reach_of(piece, fixed(EccentricChuck(shift=5.0)), 1.0) == pytest.approx(5.0 + widest, abs=NEAR_MM)
    assert reach_of(piece, fixed(PlainChuck()), 1.0) == pytest.approx(widest, abs=NEAR_MM)


def test_the_reach_of_tilted_fixed_work_has_its_closed_form():
    """A disc's lower rim on a tilt about the middle of its face: the furthest place is hypot(r, t) from the axis, derived."""
    assert reach_of(DISC, fixed(Dome(tilt_deg=30.0)), 1.0) == pytest.approx(math.hypot(30.0, 8.0), abs=CONVERGED_MM)
    assert highest_z(DISC, fixed(Dome(tilt_deg=30.0)), 1.0) == pytest.approx(15.0, abs=1e-9)
