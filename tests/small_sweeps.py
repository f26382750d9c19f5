"""Short sweeps over few rays: every edge, holder and surface, and every kind of path, quick enough for uncompiled kernels.

``python -m tests.small_sweeps`` carves them all, and a few with the reference: for line coverage, with compilation off.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lobework.carve.compiled import CompiledBackend
from lobework.carve.plain import PlainBackend
from lobework.carve.stock import stock_of
from lobework.carve.sweep import Sweep
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from tests.carving import STEPPED, about, on_face, on_round

DISC = stock_of(Disc(diameter=10.0, thickness=3.0), 0.5)
COARSE = stock_of(Disc(diameter=10.0, thickness=3.0), 1.8)
BARREL = stock_of(Barrel(diameter=10.0, length=9.0), 2.2)
VASE = stock_of(Turned(profile=((0.0, 3.0), (-3.0, 4.0), (-8.0, 2.0))), 2.0)
EDGES = {
    "vee": Vee(angle_deg=90.0, width=2.0),
    "ball": Ball(radius=1.0),
    "flat": FlatEnd(width=1.6),
    "nose": RoundNosed(radius=0.4, angle_deg=60.0, width=2.0),
    "steps": Profiled(points=STEPPED),
}
HOLDERS = {
    "spindle": DrillingSpindle(),
    "fixed": FixedTool(),
    "frame": CuttingFrame(radius=6.0),
    "turned frame": CuttingFrame(radius=4.0, angle_deg=30.0),
    "eccentric frame": EccentricFrame(radius=1.0),
}
ANGLE, FINE = np.linspace(0.0, 2 * np.pi, 25), np.linspace(0.0, 2 * np.pi, 181)
PATHS = {
    "level": [[-3.0, 0.0, -0.5], [3.0, 1.0, -0.5], [3.0, 1.2, -0.5]],
    "sloping": [[-3.0, 0.0, -0.2], [1.0, 1.0, -0.9], [2.0, -2.0, 0.3]],
    "plunge": [[1.0, 0.6, 1.0], [1.0, 0.6, -0.8], [1.0, 0.6, -0.8], [1.1, 0.6, 1.0]],
    "wave": np.stack([3 * np.cos(ANGLE), 3 * np.sin(ANGLE), -0.4 + 0.3 * np.cos(5 * ANGLE)], axis=-1),
    "ring": np.stack([3 * np.cos(ANGLE), 3 * np.sin(ANGLE), np.full(ANGLE.shape, -0.4)], axis=-1),
    "point": [[0.7, 0.2, -0.6]],
}
FINE_PATHS = {
    "fine ring": np.stack([3 * np.cos(FINE), 3 * np.sin(FINE), np.full(FINE.shape, -0.4)], axis=-1),
    "fine wave": np.stack([3 * np.cos(FINE), 3 * np.sin(FINE), -0.4 + 0.3 * np.cos(5 * FINE)], axis=-1),
    "fine line": np.stack([0.9 * FINE - 3, 0.2 * FINE, np.where(FINE < 3, -0.4, -0.6)], axis=-1),
}
"""Of short segments, which are merged and carved in pairs."""


def leaning(cutter, tip):
    """A sweep of a cutter that leans and turns along its path."""
    places = np.array(tip)
    turn = np.linspace(0.2, 0.25, len(places))
    outward = np.stack([np.sin(turn), 0.2 * np.cos(turn), np.cos(turn)], axis=-1)
    return Sweep(cutter.edge, cutter.holder, places, *about(outward, np.array([[1.0, 0.3, 0.0]])))


def sweeps():
    """Each stock and sweep, by the names of edge, holder and path."""
    found = {}
    for edge, cutter in EDGES.items():
        for holder, each in HOLDERS.items():
            tool = replace(cutter, holder=each)
            fine = FINE_PATHS if isinstance(each, DrillingSpindle) else {}
            few = {"sloping": PATHS["sloping"]} if holder == "turned frame" else PATHS
            for path, tip in (few | fine).items():
                found[f"{edge}, {holder}, {path}"] = DISC, on_face(tool, tip)
            found[f"{edge}, {holder}, leaning"] = COARSE, leaning(tool, [[-1.0, 0.0, -0.2], [-0.2, 0.4, -0.6], [0.0, 0.5, -0.5]])
            for name, stock in ({"barrel": BARREL, "vase": VASE} if edge == "ball" else {"barrel": BARREL}).items():
                found[f"{edge}, {holder}, {name}"] = stock, on_round(tool, stock.surface, [0.1, 0.4], [3.0, 3.6], [0.4, 0.6], 0.1)
    return found


def depths_of(stock, sweep):
    """The depths that the compiled backend leaves."""
    depth = stock.uncut()
    CompiledBackend().carve(stock, [sweep], depth)
    return depth


if __name__ == "__main__":
    for number, (stock, sweep) in enumerate(sweeps().values()):
        depths_of(stock, sweep)
        if number % 20 == 0:
            PlainBackend().carve(stock, [sweep], stock.uncut())
