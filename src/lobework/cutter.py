"""Cutters, and the pen that stands in for one on paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from lobework.errors import require
from lobework.kinds import Angle, Length, require_numbers

__all__ = ["Ball", "Pen", "Vee"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vee:
    """A pointed cutter.

    Parameters
    ----------
    angle_deg : float, degrees
        Between its two flanks, above 0 and below 180.
    width : float, mm
        Across its shoulders: the widest groove it cuts.

    Examples
    --------
    >>> round(Vee(angle_deg=90.0, width=3.0).width_at(0.4), 12)
    0.8
    """

    kind: ClassVar[str] = "vee"
    angle_deg: Angle
    width: Length

    def __post_init__(self) -> None:
        require_numbers(self)
        require(0 < self.angle_deg < 180, "angle", self.angle_deg, "above 0 and below 180 degrees")
        require(0 < self.width < math.inf, "width", self.width, "above zero")

    def width_at(self, depth: float) -> float:
        """Return the width of the groove, mm, ``depth`` mm deep."""
        return min(self.width, 2 * max(depth, 0.0) * math.tan(math.radians(self.angle_deg) / 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball:
    """A round-ended cutter.

    Parameters
    ----------
    radius : float, mm
        Of its end.

    Examples
    --------
    >>> Ball(radius=1.5).width_at(1.5)
    3.0
    """

    kind: ClassVar[str] = "ball"
    radius: Length

    def __post_init__(self) -> None:
        require_numbers(self)
        require(0 < self.radius < math.inf, "radius", self.radius, "above zero")

    def width_at(self, depth: float) -> float:
        """Return the width of the groove, mm, ``depth`` mm deep."""
        deep = min(max(depth, 0.0), self.radius)
        return 2 * math.sqrt(deep * (2 * self.radius - deep))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """A pen in place of the cutter, for trials on paper.

    Parameters
    ----------
    line : float, mm
        How wide a line it draws.

    Examples
    --------
    >>> Pen().width_at(0.0)
    0.3
    """

    kind: ClassVar[str] = "pen"
    line: Length = 0.3

    def __post_init__(self) -> None:
        require_numbers(self)
        require(0 < self.line < math.inf, "line", self.line, "above zero")

    def width_at(self, depth: float) -> float:
        """Return the pen's line, mm, whatever the depth."""
        return self.line
