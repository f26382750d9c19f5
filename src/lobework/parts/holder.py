"""Cutter holders: a fixed tool rest, a drilling spindle, and frames that rotate the cutter in a circle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from lobework.errors import require, together
from lobework.quantities.fields import Angle, Length, require_numbers

__all__ = ["HOLDERS", "CuttingFrame", "DrillingSpindle", "EccentricFrame", "FixedTool", "Holder"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedTool:
    """A stationary cutter: a blade with a fixed direction, whose groove is narrower where the path is oblique to the blade.

    On a face the width of the blade lies along X, on the side of the work along the surface in the plane of X and Z. The blade
    keeps this direction along the whole path.
    """

    kind: ClassVar[str] = "fixed"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillingSpindle:
    """A spindle that rotates the cutter about its own centre line, which points into the work."""

    kind: ClassVar[str] = "drilling spindle"


@dataclass(frozen=True, slots=True, kw_only=True)
class CuttingFrame:
    """A frame that swings the cutter about an axis parallel to the surface, as a fly cutter.

    Parameters
    ----------
    radius : float, mm
        Distance from the frame's axis to the tip of the cutter, above zero.
    angle_deg : float, degrees
        Angle between the plane in which the cutter swings and the bench's plane of X and Z, measured as a rotation about the
        outward direction. At zero the cutter swings along X on a face, and along the spindle on a barrel.

    Examples
    --------
    >>> CuttingFrame(radius=20.0, angle_deg=25.0).radius
    20.0
    """

    kind: ClassVar[str] = "cutting frame"
    radius: Length
    angle_deg: Angle = 0.0

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(0 < self.radius < math.inf, "radius", self.radius, "above zero")
            require(abs(self.angle_deg) <= 360, "angle", self.angle_deg, "-360 to 360 degrees")


@dataclass(frozen=True, slots=True, kw_only=True)
class EccentricFrame:
    """A frame that swings the cutter in a circle on the surface, about an axis that points into the work.

    Parameters
    ----------
    radius : float, mm
        Radius of the circle that the tip describes, above zero. The slides position the centre of the circle.

    Examples
    --------
    >>> EccentricFrame(radius=6.0).radius
    6.0
    """

    kind: ClassVar[str] = "eccentric frame"
    radius: Length

    def __post_init__(self) -> None:
        require_numbers(self)
        require(0 < self.radius < math.inf, "radius", self.radius, "above zero")


Holder = FixedTool | DrillingSpindle | CuttingFrame | EccentricFrame
HOLDERS: tuple[type[Holder], ...] = (FixedTool, DrillingSpindle, CuttingFrame, EccentricFrame)
