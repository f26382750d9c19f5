"""Lathes to try things on, and what to draw: the kit's own, and what the tests alone need."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lobework.geometry.rigid import Rigid
from lobework.testing.benches import AXES, cut_on, fixed, high_enough, rocking, sliding
from lobework.testing.strategies import (
    LAW_NAMES,
    bases,
    chucks,
    cuts,
    domes,
    drives,
    eccentrics,
    edge_cams,
    face_cams,
    followers_for,
    laws,
    lines,
    lobe_counts,
    numbers,
    ovals,
    phases,
    places,
    ratios,
    rises,
    rocking_cuts,
    scallops,
    sliding_cuts,
    travels,
    turnings,
    waves,
)

__all__ = [
    "AXES",
    "LAW_NAMES",
    "GearedArm",
    "bases",
    "chucks",
    "cut_on",
    "cuts",
    "domes",
    "drives",
    "eccentrics",
    "edge_cams",
    "face_cams",
    "fixed",
    "followers_for",
    "high_enough",
    "laws",
    "lines",
    "lobe_counts",
    "numbers",
    "on_work",
    "ovals",
    "phases",
    "places",
    "ratios",
    "rises",
    "rocking",
    "rocking_cuts",
    "scallops",
    "sliding",
    "sliding_cuts",
    "travels",
    "turnings",
    "waves",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class GearedArm:
    """An arm on the spindle that carries the work, turned ``gear`` times for each turn of the spindle."""

    kind: ClassVar[str] = "geared arm"
    is_dynamic: ClassVar[bool] = True
    arm: float
    gear: float

    def motions(self, theta):
        return Rigid.move(x=self.arm) @ Rigid.turn(self.gear * theta)


def on_work(cut_or_trace, u=None):
    """The path as complex numbers x + iy."""
    if u is None:
        return cut_or_trace.x + 1j * cut_or_trace.y
    from lobework.kinematics.motion import motion_of

    x, y, _ = motion_of(cut_or_trace).place(np.asarray(u, dtype=np.float64)).T
    return x + 1j * y
