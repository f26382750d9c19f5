"""Samples of the cam shapes, with published answers."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.parts.cam import CamShape, EccentricCam, MotionLaw, Scallop, Wave
from lobework.plugins.sample import ExpectedValue, Sample

if TYPE_CHECKING:
    from collections.abc import Callable

    from lobework.geometry.rigid import Array

__all__ = ["CAMS"]

_DEGREES: Final = np.arange(5.0, 65.0, 5.0)
_SIXTH: Final = Fraction(1, 6)
_CYCLOIDAL: Final = MotionLaw(
    law="cycloidal", lobes=1, base_radius=40.0, rise=20.0, rise_part=_SIXTH, dwell_part=_SIXTH, fall_part=_SIXTH
)
_TABLE: Final = "a university's table of cycloidal motion (Homework 4, 2008): h = 20 mm over 60 degrees"
_LIFT_MM: Final = (
    0.075117, 0.576689, 1.816901, 3.910022, 6.741784, 10.0, 13.25822, 16.08998, 18.18310, 19.42331, 19.92488, 20.0,
)  # fmt: skip
_MM_A_DEGREE: Final = (
    0.044658, 0.166667, 0.333333, 0.5, 0.622008, 0.666667, 0.622008, 0.5, 0.333333, 0.166667, 0.044658, 0.0,
)  # fmt: skip
_FRACTIONS: Final = (0.125, 0.25, 0.375, 0.5)


def _rise_angles(law: MotionLaw, part: Array) -> Array:
    """Return the angles, rad, at which the fractions ``part`` of the rise period of a lobe are complete."""
    begin = -float(law.dwell_part) / 2 - float(law.rise_part)
    angle: Array = (begin + float(law.rise_part) * part) * 2 * math.pi / law.lobes
    return angle


def _relative_heights(law: MotionLaw) -> Any:
    """Return the heights after 1/8, 1/4, 3/8 and 1/2 of the rise period, as fractions of the rise."""
    return law.rise_at(_rise_angles(law, np.array(_FRACTIONS))) / law.rise


def _steepest(cam: CamShape) -> float:
    return float(np.abs(cam.slope_at(np.linspace(0.0, 2 * math.pi / cam.lobes, 2881))).max())


def _radii(*degrees: float) -> Callable[[EccentricCam], Array]:
    return lambda cam: np.asarray(cam.base_radius + cam.rise_at(np.radians(degrees)))


def _arc_distances(cam: Scallop) -> Array:
    """Return the distances of points on a lobe from the centre of the arc through its top and hollows, mm."""
    half, base, top = math.pi / cam.lobes, cam.base_radius, cam.base_radius + cam.rise
    middle = (top**2 - base**2) / (2 * (top - base * math.cos(half)))
    psi = np.linspace(-half, half, 9)
    edge = (base + cam.rise_at(psi)) * np.exp(1j * psi)
    away: Array = np.abs(edge - middle)
    return away


_HARMONIC: Final = "simple harmonic motion: peak velocity pi/2 h / beta, exact form"
_SCALLOP: Final = Scallop(lobes=6, base_radius=50.0, rise=4.0)
_SCALLOP_RADIUS: Final = 54.0 - (54.0**2 - 50.0**2) / (2 * (54.0 - 50.0 * math.cos(math.pi / 6)))
_DISC: Final = "closed form of an eccentric circle under a knife: e cos + sqrt(R^2 - (e sin)^2), R = 30, e = 10"

CAMS: Final = (
    Sample(
        Wave(lobes=4, base_radius=60.0, rise=5.0),
        known=[
            ExpectedValue(_steepest, 10.0, _HARMONIC),
            ExpectedValue(
                lambda wave: wave.rise_at(np.radians([0.0, 15.0, 22.5, 45.0])), [5.0, 3.75, 2.5, 0.0], "the definition: a cosine"
            ),
        ],
    ),
    Sample(Wave(lobes=12, base_radius=40.0, rise=3.0, on="face")),
    Sample(
        _SCALLOP,
        known=[
            ExpectedValue(
                _arc_distances, [_SCALLOP_RADIUS] * 9, "the definition: an arc of a circle through the top and both hollows"
            )
        ],
    ),
    Sample(
        EccentricCam(radius=30.0, offset=10.0),
        known=[
            ExpectedValue(
                _radii(0, 30, 45, 60, 90, 120, 180),
                [40, 38.240653, 36.225827, 33.722813, 28.284271, 23.722813, 20],
                _DISC,
                within=5e-7,
            )
        ],
    ),
    Sample(
        _CYCLOIDAL,
        known=[
            ExpectedValue(lambda law: law.rise_at(_rise_angles(law, _DEGREES / 60)), _LIFT_MM, _TABLE, within=6e-6),
            ExpectedValue(
                lambda law: law.slope_at(_rise_angles(law, _DEGREES / 60)) * math.pi / 180, _MM_A_DEGREE, _TABLE, within=6e-7
            ),
        ],
    ),
    Sample(
        MotionLaw(law="modified sine", lobes=3, base_radius=45.0, rise=6.0, dwell_part=Fraction(1, 6), rise_part=Fraction(1, 3)),
        known=[
            ExpectedValue(
                _relative_heights, [0.0199814, 0.1171785, 0.2874845, 0.5], "the law's exact form, computed", within=1e-7
            )
        ],
    ),
    Sample(
        MotionLaw(law="modified trapezoid", lobes=5, base_radius=45.0, rise=2.0),
        known=[
            ExpectedValue(
                _relative_heights, [0.0176687, 0.1044802, 0.2676687, 0.5], "the law's exact form, computed", within=1e-7
            )
        ],
    ),
)
"""Samples of the built-in cam shapes."""
