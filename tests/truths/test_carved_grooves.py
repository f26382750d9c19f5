"""Grooves whose volume, ridges and waves are known beforehand."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest

from lobework import Disc, Drive, Job, Pass, Roller, Wave, read_lathe
from lobework.carve.carving import Carving
from lobework.carve.stock import Stock
from lobework.carve.sweep import Sweep, sweep_of
from lobework.parts.cutter import Ball, Vee
from lobework.parts.holder import FixedTool
from lobework.parts.piece import Barrel
from lobework.parts.slide import At
from lobework.quantities.units import Phase
from tests.carving import backends_for, carved, on_face

FACE = Disc(diameter=60.0, thickness=5.0).surface


def ring(radius, depth, places):
    """A closed path round the middle in straight steps, together as long as the circle."""
    angle = np.linspace(0.0, 2 * math.pi, places + 1)
    out = radius * (math.pi / places) / math.sin(math.pi / places)
    return np.stack([out * np.cos(angle), out * np.sin(angle), np.full_like(angle, -depth)], axis=-1)


def quarter(step, far):
    """A quarter of a face's rays, each in the middle of a square of its own."""
    count = math.ceil(far / step)
    return Stock(FACE, count, count, step, step, step / 2, step / 2)


def segment(radius, depth):
    """The area of a circle's segment so deep, over twice its chord's distance from the middle: see the source below."""
    angle = 2 * math.acos((radius - depth) / radius)
    return radius**2 / 2 * (angle - math.sin(angle))


GROOVES = {
    "ball": (Ball(radius=1.5), 0.5, 97.310269475),
    "vee": (Vee(angle_deg=90.0, width=3.0), 0.3, 11.309733553),
}


@backends_for("face", "drilling spindle")
@pytest.mark.parametrize("shape", GROOVES)
def test_a_ring_removes_the_volume_of_pappus_theorem(backend, shape):
    """Pappus; the numbers as a CAD kernel gave them, to 9e-16: build123d 0.13.0 (OCP 8.0.1.1), disc 60 x 5, ring of radius 20.

    What a grid can say: along a kink, as at a rim or a vee's bottom, a square of side h is off by up to an eighth of h^3
    times the kink's change of slope.
    """
    cutter, depth, published = GROOVES[shape]
    if shape == "ball":
        assert 2 * math.pi * 20 * segment(1.5, 0.5) == pytest.approx(published, abs=1e-9)
        rim = 2 * math.tan(math.acos(1.0 / 1.5))
    else:
        assert 2 * math.pi * 20 * 0.3 * 0.3 == pytest.approx(published, abs=1e-9)
        rim = 4.0
    step = 0.1
    removed = 4 * carved(backend, quarter(step, 23.0), on_face(cutter, ring(20.0, depth, 240))).sum(dtype=np.float64) * step**2
    assert abs(removed - published) < 2 * math.pi * 20 * rim * step**2 / 8


@backends_for("face", "drilling spindle")
@pytest.mark.parametrize("shape", GROOVES)
def test_rings_converge_to_pappus_theorem_as_the_grid_is_refined(backend, shape):
    """A kink along a line that bends leaves a sum over a grid of step h off by h^(5/2) at the most (from memory).

    By Poisson's formula: its transform falls off as the wave number to the power -5/2; the sum over the dual grid is
    Hardy's, 4 zeta(5/4) beta(5/4) = 15.8, over 2 pi^2.
    """
    drawn = np.random.default_rng(2024)
    cutter, steps, worst = GROOVES[shape][0], (0.3, 0.15, 0.075), []
    for step in steps:
        off = []
        for radius, depth in zip(drawn.uniform(3.0, 4.5, 8), drawn.uniform(0.4, 0.8, 8), strict=True):
            area = segment(1.5, depth) if shape == "ball" else depth**2
            slopes = 2 * math.tan(math.acos(1 - depth / 1.5)) if shape == "ball" else 4.0
            stock = quarter(step, 6.5)
            removed = 4 * carved(backend, stock, on_face(cutter, ring(radius, depth, 96))).sum(dtype=np.float64) * step**2
            error = (removed - 2 * math.pi * radius * area) / math.sqrt(radius)
            assert abs(error) < 15.8 / (2 * math.pi**2) * slopes * step**2.5
            off.append(error)
        worst.append(np.sqrt(np.mean(np.square(off))))
    order = np.polyfit(np.log(steps), np.log(worst), 1)[0]
    assert 2.0 < order < 3.0


@backends_for("round", "fixed")
def test_a_screw_groove_removes_the_volume_of_pappus_theorem(backend):
    """Pappus, for a profile in the plane of the axis: 2 pi turns (R - d/3) w d, with R 20, w and d 0.3, two turns, pitch 6.

    A CAD kernel's sweep (OCP 8.0.1.1) gave 22.506374, the formula 22.506369770.
    """
    surface = Barrel(diameter=40.0, length=16.0).surface
    stock = Stock(surface, 267, 96, 0.06, 2 * math.pi / 96, 0.0, math.pi / 96)
    angle = np.linspace(0.0, 4 * math.pi, 17)
    away = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)
    tip = 19.7 * away - np.stack([0 * angle, 0 * angle, 2.0 + 6.0 * angle / (2 * math.pi)], axis=-1)
    blade = Vee(angle_deg=90.0, width=2.4, holder=FixedTool())
    groove = Sweep(blade.edge, blade.holder, tip, away, np.tile([0.0, 0.0, 1.0], (17, 1)))
    removed = stock.volumes(carved(backend, stock, groove).astype(np.float64)).sum()
    assert removed == pytest.approx(22.506369770, rel=1e-5)


@backends_for("face", "drilling spindle")
@pytest.mark.parametrize(
    ("radius", "step", "published", "digit"), [(3.0, 0.5, 0.0104, 1e-4), (0.25 * 25.4, 0.05 * 25.4, 0.001253 * 25.4, 1e-6 * 25.4)]
)
def test_a_ball_stepped_across_a_face_leaves_the_published_cusps(backend, radius, step, published, digit):
    """machinecalcs.com, ball-nose-stepover: 6 mm ball, 0.5 mm, 0.0104 mm; calcady.com: 0.5 in, 0.05 in, 0.001253 in."""
    across = step * np.arange(-3, 4)
    lines = [on_face(Ball(radius=radius), [[-3.0, y, -0.4], [3.0, y, -0.4]]) for y in across]
    disc = Disc(diameter=12.0, thickness=5.0)
    stock = Stock(disc.surface, 9, 5, step / 2, 0.2)
    depth = carved(backend, stock, *lines)
    by_hand = radius - math.sqrt(radius**2 - step**2 / 4)
    assert abs(by_hand - published) < 0.51 * digit
    assert depth[::2].min() == pytest.approx(0.4, abs=1e-6)
    assert depth[1::2] == pytest.approx(0.4 - by_hand, abs=1e-6)
    assert Carving(title="", piece=disc, stock=stock, depth=depth, sweeps=lines).cusp == pytest.approx(by_hand, abs=1e-6)


def floors(backend, at, phase, about):
    """How far out the middle of a fixed tool's groove lies, mm, row by row near the X axis, ``about`` mm out."""
    wave = Drive(Wave(lobes=12, base_radius=62.0, rise=2.2), follower=Roller(2.0), phase=Phase(lobes=phase))
    tool = Vee(angle_deg=60.0, width=1.0, holder=FixedTool())
    disc = Disc(diameter=80.0, thickness=9.0)
    job = Job(lathe=read_lathe("rocking-bench"), piece=disc, cutter=tool, passes=[Pass(at=At(x=at, depth=0.3), cams=[wave])])
    stock = Stock(disc.surface, 9, 81, at * math.pi / 480, 0.02, -at * math.pi / 120, about - 0.8)
    depth = carved(backend, stock, sweep_of(job.trace()[0], tool, disc.surface)).astype(np.float64)
    return np.hypot(depth @ stock.column_positions / depth.sum(axis=1), stock.row_positions)


@backends_for("face", "fixed")
def test_waves_of_a_rocking_headstock_have_the_same_height_at_every_radius(backend):
    """The rosette's own height of wave at every cutting diameter, under a fixed tool (pledge.co.uk, rosengin.htm)."""
    for at in (9.0, 36.0):
        crest, hollow = floors(backend, at, Fraction(0), at + 2.2).max(), floors(backend, at, Fraction(1, 2), at).min()
        assert crest - hollow == pytest.approx(2.2, abs=1e-3)
