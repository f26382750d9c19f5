"""Position, travel and arc of the slide rest during a pass, and the direction in which the cutter approaches the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from lobework.errors import require, together
from lobework.quantities.fields import Angle, Length, require_numbers

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Approach", "At", "SlideArc"]

_FURTHEST_MM = 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """The direction from which the cutter approaches the work.

    Parameters
    ----------
    axis : "z" or "x"
        The slide that feeds the cutter in: along the spindle to a face, across it to the side of the work.
    surface : float, mm
        Position, on the slide ``axis``, of the outermost point of the work, with the headstock at rest and the work centred.
    """

    axis: Literal["z", "x"] = "z"
    surface: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class At:
    """The position of the cutter's tip on its slides, or the distance that the slides travel.

    Parameters
    ----------
    x : float, mm
        Distance from the spindle axis, positive on the side of the cutter.
    y : float, mm
        Height above the spindle axis.
    z : float, mm
        Position along the spindle, positive away from the headstock; zero is the face of the work.
    depth : float, mm
        Depth of cut: on a face the tip is at ``z - depth``, on the side of the work at ``x - depth``.

    Examples
    --------
    >>> At(x=24.0, depth=0.4).tip(), At(x=24.0, z=-6.0, depth=0.4).tip("x")
    ((24.0, 0.0, -0.4), (23.6, 0.0, -6.0))
    """

    x: Length = 0.0
    y: Length = 0.0
    z: Length = 0.0
    depth: Length = 0.0

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            for name in ("x", "y", "z", "depth"):
                require(abs(getattr(self, name)) <= _FURTHEST_MM, name, getattr(self, name), "a length within a kilometre")

    def tip(self, axis: Literal["z", "x"] = "z") -> tuple[float, float, float]:
        """Return the position (x, y, z) of the tip, mm, on the bench; ``axis`` is the slide that feeds the tip into the work."""
        if axis == "x":
            return self.x - self.depth, self.y, self.z
        return self.x, self.y, self.z - self.depth


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideArc:
    """A circular path of the tip in the plane of X and Z with constant angular speed, such as that of a spherical slide.

    Parameters
    ----------
    radius : float, mm
        Distance from the centre to the tip at zero depth: positive over a dome, negative in a hollow.
    from_deg, to_deg : float, degrees
        Direction of the cutter's shank, seen from the tip, at the beginning and the end of the pass: 0 is along the spindle, away
        from the headstock, and 90 is across the spindle, towards +X.
    cutter : "turns" or "keeps"
        "turns": the cutter turns with the slide and points to the centre over a dome, and away from the centre in a hollow.
        "keeps": the cutter keeps its direction, because two straight slides follow the arc.

    Examples
    --------
    >>> SlideArc(radius=25.0, from_deg=0.0, to_deg=90.0).tip(At(z=-25.0, depth=1.0), np.array([0.0, 1.0])).round(9).tolist()
    [[0.0, 0.0, -1.0], [24.0, 0.0, -25.0]]
    """

    radius: Length
    from_deg: Angle
    to_deg: Angle
    cutter: Literal["turns", "keeps"] = "turns"

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(
                0 < abs(self.radius) <= _FURTHEST_MM,
                "radius",
                self.radius,
                "above zero over a dome, below zero in a hollow, in mm",
            )
            for name in ("from", "to"):
                given = getattr(self, f"{name}_deg")
                require(abs(given) <= 360, name, given, "-360 to 360 degrees")
            swings = abs(self.to_deg - self.from_deg)
            require(
                0 < swings < 360,
                "to",
                self.to_deg,
                f"different from the angle 'from', {self.from_deg:g}, and less than a whole turn away from it",
            )
            require(self.cutter in ("turns", "keeps"), "cutter", self.cutter, "'turns' or 'keeps'")

    def angle(self, part: Array) -> Array:
        """Return the direction of the cutter's shank, (n,) rad, at (n,) fractions of the pass, 0 to 1."""
        return np.radians(self.from_deg + part * (self.to_deg - self.from_deg))

    def tip(self, at: At, part: Array) -> Array:
        """Return the position of the tip on the bench, (n, 3) mm, at (n,) fractions of the pass.

        The arc has its centre at ``at``.
        """
        angle, radius = self.angle(part), self.radius - at.depth
        return np.stack([at.x + radius * np.sin(angle), np.full_like(angle, at.y), at.z + radius * np.cos(angle)], axis=-1)
