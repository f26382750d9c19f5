"""What holds the cutter: a fixed rest, a spindle of its own, or a frame that swings it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from lobework.errors import require, together
from lobework.quantities.fields import Angle, Length, require_numbers

__all__ = ["HOLDERS", "CuttingFrame", "DrillingSpindle", "EccentricFrame", "FixedTool", "Holder"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedTool:
    """Held still: a blade whose breadth lies level on the bench, so its groove narrows where the path runs obliquely.

    On the face the breadth lies along X, on the side of the work along the surface in the plane of X and Z. It is not
    turned to follow the path, as a tool in a slide rest is not.
    """

    kind: ClassVar[str] = "fixed"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillingSpindle:
    """Revolving about the cutter's own middle line, which points into the work."""

    kind: ClassVar[str] = "drilling spindle"


@dataclass(frozen=True, slots=True, kw_only=True)
class CuttingFrame:
    """Swung about an axis that lies along the surface: a fly cutter.

    Parameters
    ----------
    radius : float, mm
        From the frame's axis to the cutter's tip, above zero.
    angle_deg : float, degrees
        Between the plane of the swing and the bench's plane of X and Z, turned about the direction out of the work.
        At zero the cutter swings along X on a face, along the spindle on a barrel.

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
    """Swung in a circle on the work's surface, about an axis that points into the work.

    Parameters
    ----------
    radius : float, mm
        Of the circle that the tip describes, above zero. The slides place its middle.

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
