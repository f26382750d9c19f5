"""What carving tests share: every installed backend, ways to carve with it, and jobs drawn to lean towards the degenerate."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import strategies as st

from lobework import plugins
from lobework.carve.backend import EVERYTHING
from lobework.carve.plain import Plain
from lobework.carve.stock import stock_of
from lobework.carve.sweep import Sweep
from lobework.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.piece import Barrel, Disc, Turned
from lobework.surface import Face
from tests.strategies import numbers

BACKENDS = tuple(plugins.installed().backends().values())
JUDGE = Plain()
UP, ALONG_X = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
SHAKE_MM = 2e-5
"""How far a wall may stand from where it should: a ray on it is cut or not as rounding falls."""


def backends_for(*abilities):
    """The installed backends with these abilities, as parameters of a test; the judge is always among them."""
    able = [backend for backend in BACKENDS if backend.can.issuperset(abilities)]
    return pytest.mark.parametrize("backend", able, ids=[backend.name for backend in able])


def carved(backend, stock, *sweeps, onto=None, shift=(0.0, 0.0)):
    """The depths that sweeps leave, their arrays held read-only meanwhile."""
    if any(shift):
        across = shift[1] if isinstance(stock.surface, Face) else shift[1] / stock.profile[:, 0].max()
        stock = replace(stock, row_start=stock.down[0] + shift[0], column_start=stock.across[0] + across)
    for sweep in sweeps:
        for array in (sweep.tip, sweep.outward, sweep.level):
            array.flags.writeable = False
    depth = stock.uncut() if onto is None else onto.copy()
    backend.carve(stock, sweeps, depth)
    assert depth.dtype == np.float32
    assert np.isfinite(depth).all()
    assert (depth >= 0).all()
    assert not depth[~stock.inside].any()
    return depth


def assert_same(one, other, within):
    """Hold two ways of carving to each other; each is called with shifts of the rays, (down, across) mm.

    Beside an upright wall a ray is cut or not as rounding falls, so depths that differ are carved again with the rays
    shaken: the two then need only meet somewhere in what the shaken rays reach.
    """
    first, second = one((0.0, 0.0)), other((0.0, 0.0))
    if np.abs(first - second).max() <= within:
        return
    shakes = [(a * SHAKE_MM, b * SHAKE_MM) for a in (-1, 1) for b in (-1, 1)]
    ones, others = np.stack([first, *map(one, shakes)]), np.stack([second, *map(other, shakes)])
    apart = np.maximum(ones.min(axis=0) - others.max(axis=0), others.min(axis=0) - ones.max(axis=0))
    at = np.unravel_index(apart.argmax(), apart.shape)
    assert apart.max() <= within, f"{apart.max():g} mm apart at {at}: {first[at]} and {second[at]}, {(apart > within).sum()} rays"


def about(outward, level):
    """A frame's ways: unit, square to each other."""
    outward = outward / np.linalg.norm(outward, axis=-1, keepdims=True)
    level = level - np.vecdot(level, outward)[:, None] * outward
    return outward, level / np.linalg.norm(level, axis=-1, keepdims=True)


def on_face(cutter, tip, outward=UP, level=ALONG_X):
    """A sweep over a face."""
    return Sweep(cutter.edge, cutter.held, np.array(tip, dtype=np.float64).reshape(-1, 3), outward, level)


def on_round(cutter, surface, polar, s, depth, lean=0.0, aside=0.0):
    """A sweep over a round surface: polar angles, rad, places along the profile, depths along its normal, mm.

    The cutter is square to the surface where the path begins, then leans over by ``lean`` rad along the profile and
    ``aside`` rad across it.
    """
    polar, s, depth = (np.array(each, dtype=np.float64) for each in (polar, s, depth))
    radius, z, out, along = surface.profile(s).T
    radius, z = radius - depth * out, z - depth * along
    cos, sin = np.cos(polar), np.sin(polar)
    away, round_it, up = np.stack([cos, sin, 0 * cos], -1), np.stack([-sin, cos, 0 * cos], -1), np.array([0.0, 0.0, 1.0])
    leans = math.atan2(along[0], out[0]) + lean
    outward = math.cos(aside) * (math.cos(leans) * away + math.sin(leans) * up) + math.sin(aside) * round_it
    level = -math.sin(leans) * away + math.cos(leans) * up
    return Sweep(cutter.edge, cutter.held, np.stack([radius * cos, radius * sin, z], -1), *about(outward, level))


STEPPED = ((0.0, 0.0), (0.4, 0.0), (0.6, 0.5), (0.9, 0.5), (1.2, 1.1))

held = {
    "drilling spindle": st.just(DrillingSpindle()),
    "fixed": st.just(FixedTool()),
    "eccentric frame": st.builds(EccentricFrame, radius=st.one_of(st.just(0.5), numbers(0.3, 3.0))),
    "cutting frame": st.builds(
        CuttingFrame, radius=numbers(2.5, 15.0), angle_deg=st.one_of(st.just(0.0), numbers(-180.0, 180.0))
    ),
}


@st.composite
def cutters(draw, holders):
    """Every kind of cutter, the narrow and the flat among them."""
    kind = draw(st.sampled_from(["vee", "ball", "flat", "round-nosed", "profile"]))
    holder = draw(holders)
    if kind == "vee":
        return Vee(angle_deg=draw(st.sampled_from([25.0, 90.0, 160.0])), width=draw(st.sampled_from([0.8, 2.4])), held=holder)
    if kind == "ball":
        return Ball(radius=draw(st.sampled_from([0.4, 1.2])), held=holder)
    if kind == "flat":
        return FlatEnd(width=draw(st.sampled_from([0.5, 2.0])), held=holder)
    if kind == "round-nosed":
        return RoundNosed(radius=0.4, angle_deg=draw(st.sampled_from([30.0, 100.0])), width=2.0, held=holder)
    return Profiled(points=STEPPED, held=holder)


faces = st.sampled_from([(8.0, 0.25), (12.0, 0.3), (9.1, 0.27)]).map(
    lambda it: stock_of(Disc(diameter=it[0], thickness=5.0), resolution=it[1])
)
rounds = st.sampled_from(
    [
        (Barrel(diameter=10.0, length=9.0), 0.5),
        (Barrel(diameter=24.0, length=8.0, bore=20.0), 0.9),
        (Turned(profile=((0.0, 4.0), (-5.0, 5.5), (-10.0, 4.0))), 0.45),
        (Turned(profile=((0.0, 7.0), (-4.0, 5.0), (-9.0, 6.0))), 0.6),
    ]
).map(lambda it: stock_of(it[0], resolution=it[1]))

depths = st.one_of(st.sampled_from([0.0, 0.3, 0.5]), numbers(-0.1, 0.9))


@st.composite
def paths(draw, coordinate_a, coordinate_b):
    """(n, 3) of one place or more: single, repeated, closed, with plunges, on the rays' own lines, or any."""
    place = st.tuples(coordinate_a, coordinate_b, depths)
    places = draw(st.lists(place, min_size=1, max_size=4))
    change = draw(st.sampled_from(["none", "none", "repeat", "close", "plunge", "level", "line", "curve"]))
    if change == "repeat":
        places = [place for place in places for _ in range(2)]
    elif change == "close":
        places = [*places, places[0]]
    elif change == "plunge":
        a, b, deep = places[-1]
        places = [*places, (a, b, deep + 0.4), (a, b, deep)]
    elif change == "level":
        places = [(a, b, places[0][2]) for a, b, _ in places]
    elif change == "line":
        places = [(a, places[0][1], deep) for a, _, deep in places]
    elif change == "curve":
        return smooth(np.array(places), draw(st.integers(8, 40)))
    return np.array(places)


def smooth(places, count):
    """A closed curve of so many places through the first of some and round about them, and the first place again."""
    turn = np.linspace(0.0, 2 * math.pi, count + 1)[:, None]
    middle, most = places.mean(axis=0), np.abs(places - places.mean(axis=0)).max(axis=0)
    wave = np.concatenate([np.cos(turn), np.sin(turn), 0.5 * np.cos(3 * turn)], axis=1)
    return middle + np.maximum(most, 0.1) * (wave - wave[0]) + (places[0] - middle)


@st.composite
def face_sweeps(draw, stock, holders, leaning):
    """Sweeps over a face: through its middle, through its edge and past it; a fixed tool or a frame may turn on the way."""
    cutter = draw(cutters(holders))
    half = stock.surface.radius
    nodes = st.integers(0, stock.rows - 1).map(lambda k: float(stock.down[k]))
    coordinate = st.one_of(st.just(0.0), nodes, numbers(-1.15 * half, 1.15 * half))
    x, y, depth = draw(paths(coordinate, coordinate)).T
    tip = np.stack([x, y, -depth], axis=-1)
    if leaning and draw(st.booleans()):
        away, turns = draw(st.sampled_from([0.3, -0.2])), draw(st.sampled_from([0.0, 0.03, 0.3])) * np.arange(len(tip))
        outward = np.stack([away * np.cos(turns), away * np.sin(turns), np.ones_like(turns)], axis=-1)
        return on_face(cutter, tip, *about(outward, np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=-1)))
    if isinstance(cutter.held, DrillingSpindle | EccentricFrame):
        return on_face(cutter, tip)
    start, turn = draw(st.sampled_from([0.0, 0.7, math.pi / 2])), draw(st.sampled_from([0.0, 0.0, 0.3, -0.05]))
    angle = start + turn * np.arange(len(tip))
    return on_face(cutter, tip, UP, np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1))


@st.composite
def round_sweeps(draw, stock, holders):
    """Sweeps over a round surface: through its ends, over its seam, square to it or leaning over."""
    surface = stock.surface
    cutter = draw(cutters(holders))
    first = draw(st.one_of(st.just(0.0), numbers(-7.0, 7.0)))
    steps = st.one_of(st.sampled_from([0.0, 0.4]), numbers(-0.6, 0.6))
    nodes = st.integers(0, stock.rows - 1).map(lambda k: float(stock.down[k]))
    polar, s, depth = draw(paths(steps, st.one_of(nodes, numbers(0.0, surface.length)))).T
    lean, aside = draw(st.sampled_from([0.0, 0.0, 0.3])), draw(st.sampled_from([0.0, 0.0, -0.2]))
    return on_round(cutter, surface, first + np.cumsum(polar), s, depth, lean, aside)


surfaces = {"face": faces, "round": rounds}


@st.composite
def carvings(draw, can=EVERYTHING, count=1):
    """A stock and sweeps over it, such as something with these abilities can carve."""
    stock = draw(st.one_of(*(surfaces[surface] for surface in sorted(can & set(surfaces)))))
    holders = st.one_of(*(held[holder] for holder in sorted(can & set(held))))
    on_it = face_sweeps(stock, holders, "leaning" in can) if isinstance(stock.surface, Face) else round_sweeps(stock, holders)
    return stock, tuple(draw(on_it) for _ in range(count))
