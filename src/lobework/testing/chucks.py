"""What every chuck promises."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lobework.testing.angles import TURNING
from lobework.testing.compare import assert_close
from lobework.testing.promise import promised

if TYPE_CHECKING:
    from lobework.sample import Sample

__all__ = ["stays_rigid"]


@promised("chuck", "stays rigid", "The work is turned and shifted, never stretched, bent or mirrored.")
def stays_rigid(sample: Sample) -> int:
    """Try that every rotation is one."""
    theta = TURNING
    turned = sample.part.motions(theta.copy()).rotation
    along = theta if len(turned) == theta.size else theta[:1]
    square = turned @ np.swapaxes(turned, -1, -2)
    assert_close(square, np.broadcast_to(np.eye(3), square.shape), 1e-9, along, unit="")
    assert_close(np.linalg.det(turned), np.ones(len(turned)), 1e-9, along, unit="", what="mirrored")
    return theta.size
