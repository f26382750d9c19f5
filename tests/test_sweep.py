"""A cut as carving sees it: the tip's places on the work, and how the cutter stands there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.carve import sweep_of
from lobework.carve.sweep import has_edge
from lobework.errors import SettingError
from lobework.geometry.rigid import Rigid
from lobework.kinematics.trace import trace
from lobework.lathe.passes import Cut, Pass
from lobework.parts.chuck import EccentricChuck
from lobework.parts.cutter import Ball, Pen, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.parts.slide import Approach, At
from lobework.quantities.fields import Length
from lobework.quantities.units import Phase
from tests.search import examples
from tests.strategies import cut_on, cuts, fixed

FACE = Disc(diameter=60.0, thickness=8.0).surface
SIDE = Barrel(diameter=40.0, length=30.0).surface
CONE = Turned(profile=((0, 25), (-40, 5))).surface
HELD = (FixedTool(), DrillingSpindle(), CuttingFrame(radius=20.0), EccentricFrame(radius=3.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Dome:
    """Holds the work tilted, as a dome chuck does."""

    kind: ClassVar[str] = "dome"
    is_dynamic: ClassVar[bool] = False
    tilt_deg: float

    def motions(self, theta):
        sin, cos = math.sin(math.radians(self.tilt_deg)), math.cos(math.radians(self.tilt_deg))
        return Rigid(np.array([[[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]]]), np.zeros((1, 3)))


def swept(cut, cutter=None, surface=FACE):
    return sweep_of(trace(cut, chord=0.01), cutter or Ball(radius=1.0), surface)


def side_cut(at, lathe=None, **given):
    surface = Approach(axis="x", surface=20.0)
    return Cut(number=1, passed=Pass(name="ring", at=at, **given), lathe=lathe or fixed(), approach=surface)


@given(cuts, st.sampled_from(HELD))
@settings(max_examples=examples(10))
def test_the_tip_follows_the_trace_and_the_axes_of_the_cutter_are_orthonormal(cut, holder):
    path, cutter = trace(cut, chord=0.1), Vee(angle_deg=60.0, width=3.0, holder=holder)
    sweep = sweep_of(path, cutter, FACE)
    assert sweep.tip == pytest.approx(np.stack([path.x, path.y, path.z], axis=-1), abs=1e-12)
    assert sweep.title == cut.title
    assert (sweep.holder, sweep.edge) == (holder, cutter.edge)
    assert len(sweep.outward) in (1, len(sweep.tip))
    for way in (sweep.outward, sweep.level):
        assert np.linalg.norm(way, axis=-1) == pytest.approx(1.0)
    assert np.abs((sweep.outward * sweep.level).sum(axis=-1)).max() < 1e-12


@pytest.mark.parametrize("holder", HELD, ids=lambda holder: holder.kind)
def test_on_a_face_the_cutter_points_along_the_spindle(holder):
    sweep = swept(cut_on(fixed(), at=At(x=20.0, depth=0.5)), Ball(radius=1.0, holder=holder))
    assert sweep.upright
    assert sweep.outward == pytest.approx(np.broadcast_to([0.0, 0.0, 1.0], sweep.outward.shape), abs=1e-15)


@pytest.mark.parametrize("holder", [FixedTool(), CuttingFrame(radius=20.0)], ids=lambda holder: holder.kind)
def test_a_blade_keeps_its_breadth_along_the_bench_while_the_work_turns_under_it(holder):
    """At x on the bench's X, a radius of the work: seen from the work its breadth lies along the radius through the tip."""
    sweep = swept(cut_on(fixed(), at=At(x=20.0, depth=0.5)), Ball(radius=1.0, holder=holder))
    radial = sweep.tip[:, :2] / np.linalg.norm(sweep.tip[:, :2], axis=-1, keepdims=True)
    assert sweep.level == pytest.approx(np.column_stack([radial, np.zeros(len(radial))]), abs=1e-12)
    above = swept(cut_on(fixed(), at=At(y=20.0, depth=0.5)), Ball(radius=1.0, holder=holder))
    assert np.abs((above.level * above.tip).sum(axis=-1)).max() < 1e-12


def test_work_held_tilted_is_cut_by_a_cutter_that_leans_on_its_face():
    """Seen from the work, the spindle's direction is turned back by the tilt."""
    sweep = swept(cut_on(fixed(Dome(tilt_deg=10.0)), at=At(x=5.0, depth=0.5)))
    assert not sweep.upright
    assert sweep.outward[:, 2] == pytest.approx(np.full(len(sweep.outward), math.cos(math.radians(10.0))))
    assert swept(cut_on(fixed(Dome(tilt_deg=0.0)), at=At(x=5.0, depth=0.5))).upright


@pytest.mark.parametrize("holder", HELD, ids=lambda holder: holder.kind)
def test_at_the_side_of_a_barrel_the_cutter_points_away_from_the_axis(holder):
    sweep = swept(side_cut(At(x=20.0, z=-6.0, depth=0.5)), Ball(radius=1.0, holder=holder), SIDE)
    radial = np.column_stack([sweep.tip[:, :2] / 19.5, np.zeros(len(sweep.tip))])
    assert sweep.outward == pytest.approx(radial, abs=1e-9)
    assert sweep.level == pytest.approx(np.broadcast_to([0.0, 0.0, -1.0], radial.shape), abs=1e-9)


@pytest.mark.parametrize("z", [-2.0, -20.0, -38.0])
def test_at_the_side_of_a_cone_the_cutter_is_set_along_the_normal(z):
    """The cone narrows by 20 mm over 40: its normal leans by atan(1/2) towards the headstock."""
    lean = math.atan(20 / 40)
    sweep = swept(side_cut(At(x=25.0 + z / 2, z=z, depth=0.5)), None, CONE)
    assert sweep.outward[0] == pytest.approx([math.cos(lean), 0.0, -math.sin(lean)], abs=1e-9)
    assert sweep.level[0] == pytest.approx([-math.sin(lean), 0.0, -math.cos(lean)], abs=1e-9)
    assert np.ptp(sweep.outward[:, 2]) < 1e-12


@pytest.mark.parametrize("angle", [-30.0, 5.0, 40.0])
def test_at_the_side_of_a_sphere_the_cutter_is_set_along_the_radius(angle):
    """Its profile through points keeps to the sphere's own normal to 1e-3 there, and is looked up every 0.02 mm."""
    around = np.linspace(np.pi / 3, -np.pi / 3, 61)
    ball = Turned(profile=tuple(zip((20 * np.sin(around)).tolist(), (20 * np.cos(around)).tolist(), strict=True))).surface
    up, out = math.sin(math.radians(angle)), math.cos(math.radians(angle))
    sweep = swept(side_cut(At(x=19.5 * out, z=19.5 * up)), None, ball)
    assert sweep.outward[0] == pytest.approx([out, 0.0, up], abs=2e-3)


def test_an_indexed_chuck_rotates_the_cutter_with_the_cut():
    blade, plunge = Ball(radius=1.0, holder=FixedTool()), {"turns": 0, "at": At(x=20.0, depth=0.5)}
    plain = swept(cut_on(fixed(), **plunge), blade)
    turned = swept(cut_on(fixed(EccentricChuck(shift=0.0, index=Phase.of("1/4 turn"))), **plunge), blade)
    assert np.linalg.norm(turned.tip[0, :2] - plain.tip[0, :2]) == pytest.approx(20.0 * math.sqrt(2.0))
    assert abs(float((turned.level[0] * turned.tip[0]).sum())) == pytest.approx(20.0)


@pytest.mark.parametrize("surface", [FACE, SIDE])
def test_a_plunge_is_a_single_pose(surface):
    at = At(x=20.0, z=-6.0, depth=0.5)
    cut = side_cut(at, turns=0) if surface is SIDE else cut_on(fixed(), turns=0, at=at)
    sweep = swept(cut, Ball(radius=1.0, holder=FixedTool()), surface)
    assert sweep.tip.shape == sweep.outward.shape == sweep.level.shape == (1, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chisel:
    """A cutter that says how wide it cuts, and calls the width of its end its edge."""

    kind: ClassVar[str] = "chisel"
    edge: Length = 2.0
    holder: str = "in both hands"

    def width_at(self, depth):
        return self.edge


@pytest.mark.parametrize("cutter", [Pen(), Chisel()], ids=lambda cutter: cutter.kind)
def test_a_cutter_without_an_edge_is_refused(cutter):
    assert not has_edge(cutter)
    with pytest.raises(SettingError) as told:
        swept(cut_on(fixed(), at=At(x=20.0)), cutter)
    message = f"cutter.kind='{cutter.kind}': has no edge, so it carves nothing; use a vee or another cutter"
    assert str(told.value) == message
