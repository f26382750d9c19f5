"""Stock and paths for the benchmarks of carving: a face, closed grooves, a barrel, and one long path.

The face has 2048 x 2048 rays over 100 mm, and 50 closed grooves with 200,000 samples. They are cut 0.5 mm deep with a ball of
radius 1.5 mm, or 1 mm deep with a vee of 90 degrees.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lobework import Ball, Barrel, Disc, Vee
from lobework.carve.compiled import CompiledBackend
from lobework.carve.stock import Stock, stock_of
from lobework.carve.sweep import Sweep

ACROSS = 100.0
RAYS = 2048
GROOVES = 50
SAMPLES = 200_000
UP, LEVEL = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
CUTS = {"ball": (Ball(radius=1.5), 0.5), "vee": (Vee(angle_deg=90.0, width=3.0), 1.0)}


def face() -> Stock:
    return stock_of(Disc(diameter=ACROSS, thickness=10.0), resolution=ACROSS / (RAYS - 1))


def groove(number: float, samples: int, depth: float) -> np.ndarray:
    """Return one closed groove, (samples, 3): a ring with eight waves."""
    turn = np.linspace(0.0, 2 * np.pi, samples)
    radius = 4 + 43 * number / (GROOVES - 1) + 0.6 * np.cos(8 * turn + 0.3 * number)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full_like(turn, -depth)], axis=-1)


def sweeps(kind: str, samples: int = SAMPLES, grooves: int = GROOVES) -> list[Sweep]:
    cutter, depth = CUTS[kind]
    return [
        Sweep(cutter.edge, cutter.holder, groove(k * GROOVES / grooves, samples // grooves, depth), UP, LEVEL)
        for k in range(grooves)
    ]


def carved(stock: Stock, cuts: Sequence[Sweep]) -> np.ndarray:
    depth = stock.uncut()
    CompiledBackend().carve(stock, cuts, depth)
    return depth


def barrel() -> Stock:
    """Return a barrel with about as many rays as the face, and the same distance between them."""
    return stock_of(Barrel(diameter=ACROSS / np.pi, length=ACROSS), resolution=ACROSS / (RAYS - 1))


def band(number: int, samples: int, depth: float) -> tuple[np.ndarray, np.ndarray]:
    """Return one closed groove round the barrel, with six waves, and the outward normals along it: (samples, 3) each."""
    turn = np.linspace(0.0, 2 * np.pi, samples)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    along = -ACROSS * (number + 0.5) / GROOVES + np.sin(6 * turn)
    return (ACROSS / (2 * np.pi) - depth) * out + along[:, None] * UP, out


def winding(samples: int) -> Sweep:
    """Return one long path that winds outwards and inwards over the face, with samples about 0.04 mm apart."""
    cutter, depth = CUTS["ball"]
    swing = np.arange(samples) * 0.04 / (2 * np.pi * 25.0)
    radius = 25 + 20 * np.sin(0.0137 * swing + 0.5) + 0.5 * np.cos(8.03 * 2 * np.pi * swing)
    turn = 2 * np.pi * swing
    tip = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full_like(turn, -depth)], axis=-1)
    return Sweep(cutter.edge, cutter.holder, tip, UP, LEVEL)
