"""Samples of the forms of work; the known answers are the sizes of the outlines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.parts.piece import Barrel, Disc, Turned
from lobework.plugins.sample import ExpectedValue, Sample

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Piece

__all__ = ["PIECES"]


def _size(piece: Piece) -> Array:
    """Return the width and height of the outline of a piece, mm."""
    size: Array = np.ptp(piece.outline, axis=0)
    return size


_ROLLED: Final = "the definition: the development of a cylinder of diameter d is pi d wide"

PIECES: Final = (
    Sample(Disc(diameter=70.0, thickness=8.0), known=[ExpectedValue(_size, [70.0, 70.0], "the diameter of the disc")]),
    Sample(
        Barrel(diameter=50.0, length=60.0, bore=42.0),
        known=[
            ExpectedValue(_size, [50 * math.pi, 60.0], _ROLLED),
            ExpectedValue(
                lambda barrel: barrel.surface.wall(np.array([10.0])), [4.0], "half the difference between diameter and bore"
            ),
        ],
    ),
    Sample(
        Turned(profile=((0.0, 12.0), (-30.0, 12.0)), hollow=((1.0, 9.0), (-20.0, 9.0))),
        known=[ExpectedValue(_size, [24 * math.pi, 30.0], _ROLLED)],
    ),
    Sample(Turned(profile=((0.0, 20.0), (-20.0, 25.0), (-40.0, 15.0)))),
)
"""Samples of the built-in forms of work."""
