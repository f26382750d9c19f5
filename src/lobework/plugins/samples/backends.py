"""Samples of the carving backends; the known answer is the pit that a ball cutter cuts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve import Sweep, stock_of
from lobework.carve.compiled import CompiledBackend
from lobework.carve.plain import PlainBackend
from lobework.parts.cutter import Ball
from lobework.parts.piece import Disc
from lobework.plugins.sample import ExpectedValue, Sample

if TYPE_CHECKING:
    from lobework.carve import Backend
    from lobework.geometry.rigid import Array

__all__ = ["BACKENDS"]

_STOCK: Final = stock_of(Disc(diameter=12.0, thickness=5.0), 1.0)
_AWAY: Final = np.hypot(_STOCK.column_positions, _STOCK.row_positions[:, None])


def _pit(backend: Backend) -> Array:
    """Return the depth of each ray, mm, after a ball cutter has cut 0.8 mm deep into the middle of a face."""
    up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    ball, depth = Ball(radius=2.0), _STOCK.uncut()
    backend.carve(_STOCK, [Sweep(ball.edge, ball.holder, np.array([[0.0, 0.0, -0.8]]), up, level)], depth)
    return depth.astype(np.float64)


_BALL: Final = ExpectedValue(
    _pit,
    np.maximum(np.sqrt(np.maximum(4.0 - _AWAY**2, 0.0)) - 1.2, 0.0),
    "closed form: a sphere of radius 2 whose middle is 1.2 mm above the face",
    within=2e-4,
)

BACKENDS: Final = (Sample(CompiledBackend(), known=[_BALL]), Sample(PlainBackend(), known=[_BALL]))
"""Samples of the built-in carving backends."""
