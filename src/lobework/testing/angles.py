"""Angles for tests: special values, and many values between them."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from lobework.geometry.rigid import Array

__all__ = ["MANY", "TURNING"]

_SPECIAL_DEG: Final = (0, 1e-9, -1e-9, 1e-4, 30, 45, 60, 90, 120, 135, 180, 225, 270, 315, 360, 450, -90, -180, -360, 3600, 3690)
_GOLDEN: Final = 0.6180339887498949


def _turning() -> Array:
    spread = (np.arange(1, 181) * _GOLDEN) % 1.0
    return np.concatenate([np.radians(_SPECIAL_DEG), 4 * math.pi * (spread - 0.5), 2 * math.pi * 8 * spread[:40]])


TURNING: Final = _turning()
"""The test angles, (n,) rad: zero, values near zero, quarter turns and whole turns of both signs, and evenly spread values."""

MANY: Final = 20_000
"""Number of angles in one large call; the trace of a long pass has about as many."""
