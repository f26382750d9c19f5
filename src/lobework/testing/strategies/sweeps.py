"""Strategies for cutters, stock and sweeps, for tests of carving backends."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np
from hypothesis import strategies as st

from lobework.carve import Ability, Stock, Sweep, stock_of
from lobework.carve.backend import EVERYTHING
from lobework.geometry.rigid import Array
from lobework.geometry.surface import Face, Round
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool, Holder
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.testing.carvings import STEPPED, UP, about, on_face, on_round
from lobework.testing.strategies.parts import numbers

__all__ = ["carvings", "cutters", "holders_by_kind", "surfaces"]

holders_by_kind: Final[dict[str, st.SearchStrategy[Holder]]] = {
    "drilling spindle": st.just(DrillingSpindle()),
    "fixed": st.just(FixedTool()),
    "eccentric frame": st.builds(EccentricFrame, radius=st.one_of(st.just(0.5), numbers(0.3, 3.0))),
    "cutting frame": st.builds(
        CuttingFrame, radius=numbers(2.5, 15.0), angle_deg=st.one_of(st.just(0.0), numbers(-180.0, 180.0))
    ),
}
"""Strategies for holders of cutters; each key is the ability that the holders require of a backend."""


@st.composite
def cutters(draw: st.DrawFn, holders: st.SearchStrategy[Holder]) -> Any:
    """Return cutters of every kind, including narrow and flat ones."""
    kind = draw(st.sampled_from(["vee", "ball", "flat", "round-nosed", "profile"]))
    holder = draw(holders)
    if kind == "vee":
        return Vee(angle_deg=draw(st.sampled_from([25.0, 90.0, 160.0])), width=draw(st.sampled_from([0.8, 2.4])), holder=holder)
    if kind == "ball":
        return Ball(radius=draw(st.sampled_from([0.4, 1.2])), holder=holder)
    if kind == "flat":
        return FlatEnd(width=draw(st.sampled_from([0.5, 2.0])), holder=holder)
    if kind == "round-nosed":
        return RoundNosed(radius=0.4, angle_deg=draw(st.sampled_from([30.0, 100.0])), width=2.0, holder=holder)
    return Profiled(points=STEPPED, holder=holder)


_faces: Final = st.sampled_from([(8.0, 0.25), (12.0, 0.3), (9.1, 0.27)]).map(
    lambda it: stock_of(Disc(diameter=it[0], thickness=5.0), resolution=it[1])
)
_ROUND: Final[list[tuple[Any, float]]] = [
    (Barrel(diameter=10.0, length=9.0), 0.5),
    (Barrel(diameter=24.0, length=8.0, bore=20.0), 0.9),
    (Turned(profile=((0.0, 4.0), (-5.0, 5.5), (-10.0, 4.0))), 0.45),
    (Turned(profile=((0.0, 7.0), (-4.0, 5.0), (-9.0, 6.0))), 0.6),
]
_rounds: Final = st.sampled_from(_ROUND).map(lambda it: stock_of(it[0], resolution=it[1]))
surfaces: Final[dict[str, st.SearchStrategy[Stock]]] = {"face": _faces, "round": _rounds}
"""Strategies for stock; each key is the ability that the stock requires of a backend."""
_depths: Final = st.one_of(st.sampled_from([0.0, 0.3, 0.5]), numbers(-0.1, 0.9))


@st.composite
def _paths(draw: st.DrawFn, coordinate_a: st.SearchStrategy[float], coordinate_b: st.SearchStrategy[float]) -> Array:
    """Return paths, (n, 3), with points on lines of rays or anywhere.

    Some paths have repeated points, are closed, contain a plunge, or are level, straight or curved.
    """
    place = st.tuples(coordinate_a, coordinate_b, _depths)
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
        return _smooth(np.array(places), draw(st.integers(8, 40)))
    return np.array(places)


def _smooth(places: Array, count: int) -> Array:
    """Return a closed curve with ``count`` segments, which starts at the first point and is about as large as the path."""
    turn = np.linspace(0.0, 2 * math.pi, count + 1)[:, None]
    middle, most = places.mean(axis=0), np.abs(places - places.mean(axis=0)).max(axis=0)
    wave = np.concatenate([np.cos(turn), np.sin(turn), 0.5 * np.cos(3 * turn)], axis=1)
    curve: Array = middle + np.maximum(most, 0.1) * (wave - wave[0]) + (places[0] - middle)
    return curve


@st.composite
def _face_sweeps(draw: st.DrawFn, stock: Stock, surface: Face, holders: st.SearchStrategy[Holder], leaning: bool) -> Sweep:
    """Return sweeps over a face, also through the centre and beyond the edge of the face.

    The cutter may be inclined, and may rotate about its axis along the path.
    """
    cutter = draw(cutters(holders))
    half = surface.radius
    nodes = st.integers(0, stock.rows - 1).map(lambda k: float(stock.row_positions[k]))
    coordinate = st.one_of(st.just(0.0), nodes, numbers(-1.15 * half, 1.15 * half))
    x, y, depth = draw(_paths(coordinate, coordinate)).T
    tip = np.stack([x, y, -depth], axis=-1)
    if leaning and draw(st.booleans()):
        away, turns = draw(st.sampled_from([0.3, -0.2])), draw(st.sampled_from([0.0, 0.03, 0.3])) * np.arange(len(tip))
        outward = np.stack([away * np.cos(turns), away * np.sin(turns), np.ones_like(turns)], axis=-1)
        return on_face(cutter, tip, *about(outward, np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=-1)))
    if isinstance(cutter.holder, DrillingSpindle | EccentricFrame):
        return on_face(cutter, tip)
    start, turn = draw(st.sampled_from([0.0, 0.7, math.pi / 2])), draw(st.sampled_from([0.0, 0.0, 0.3, -0.05]))
    angle = start + turn * np.arange(len(tip))
    return on_face(cutter, tip, UP, np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1))


@st.composite
def _round_sweeps(draw: st.DrawFn, stock: Stock, surface: Round, holders: st.SearchStrategy[Holder]) -> Sweep:
    """Return sweeps over a round surface, also over the ends and across the seam; the cutter is perpendicular or tilted."""
    cutter = draw(cutters(holders))
    first = draw(st.one_of(st.just(0.0), numbers(-7.0, 7.0)))
    steps = st.one_of(st.sampled_from([0.0, 0.4]), numbers(-0.6, 0.6))
    nodes = st.integers(0, stock.rows - 1).map(lambda k: float(stock.row_positions[k]))
    polar, s, depth = draw(_paths(steps, st.one_of(nodes, numbers(0.0, surface.length)))).T
    lean, aside = draw(st.sampled_from([0.0, 0.0, 0.3])), draw(st.sampled_from([0.0, 0.0, -0.2]))
    return on_round(cutter, surface, first + np.cumsum(polar), s, depth, lean, aside)


@st.composite
def carvings(draw: st.DrawFn, can: frozenset[Ability] = EVERYTHING, count: int = 1) -> tuple[Stock, tuple[Sweep, ...]]:
    """Return a stock and ``count`` sweeps over the stock, which a backend with the abilities ``can`` can carve."""
    stock = draw(st.one_of(*(surfaces[surface] for surface in sorted(can & set(surfaces)))))
    holders = st.one_of(*(holders_by_kind[kind] for kind in sorted(can & set(holders_by_kind))))
    if isinstance(stock.surface, Face):
        sweeps = _face_sweeps(stock, stock.surface, holders, "leaning" in can)
    else:
        sweeps = _round_sweeps(stock, stock.surface, holders)
    return stock, tuple(draw(sweeps) for _ in range(count))
