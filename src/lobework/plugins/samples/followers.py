"""Samples of the followers, with published answers: the reach of each follower on an eccentric disc."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.kinematics.contact import touch_at
from lobework.parts.cam import EccentricCam
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.plugins.sample import ExpectedValue, Sample

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Follower

__all__ = ["FOLLOWERS"]

_DEGREES: Final = (0, 30, 45, 60, 90, 120, 180)


def _reach(follower: Follower) -> Array:
    """Return the reach of a follower on a disc of radius 30 mm whose centre is 10 mm from the axis of the cam."""
    return touch_at(EccentricCam(radius=30.0, offset=10.0), follower, np.radians(_DEGREES)).reach


_SLIDER_CRANK: Final = "closed form: e cos + sqrt((R + q)^2 - (e sin)^2), the slider-crank with crank e and rod R + q"

FOLLOWERS: Final = (
    Sample(
        Knife(),
        known=[
            ExpectedValue(_reach, [40, 38.240653, 36.225827, 33.722813, 28.284271, 23.722813, 20], _SLIDER_CRANK, within=5e-7)
        ],
    ),
    Sample(
        Roller(8.0),
        known=[ExpectedValue(_reach, [48, 46.329870, 44.407377, 42, 36.660606, 32, 28], _SLIDER_CRANK, within=5e-7)],
    ),
    Sample(
        FlatFollower(),
        known=[
            ExpectedValue(
                _reach, [40, 38.660254, 37.071068, 35, 30, 25, 20], "closed form: R + e cos, a pure harmonic", within=5e-7
            )
        ],
    ),
)
"""Samples of the built-in followers."""
