"""Where the slide rest stands, how it travels or swings during a pass, and from where it comes to the work."""

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
    """From where the cutter comes to the work.

    Parameters
    ----------
    axis : "z" or "x"
        The slide that takes it in: along the spindle to a face, across it to the side of the work.
    surface : float, mm
        Where on that slide the outermost of the work begins, the headstock at rest and the work running true.
    """

    axis: Literal["z", "x"] = "z"
    surface: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class At:
    """A place of the cutter's tip on its slides, or a travel from one place to another.

    Parameters
    ----------
    x : float, mm
        Out from the spindle's axis, on the cutter's side.
    y : float, mm
        Up from the spindle's axis.
    z : float, mm
        Along the spindle, away from the headstock; zero is the face of the work.
    depth : float, mm
        Into the work: on a face the tip stands at ``z - depth``, at the side of the work at ``x - depth``.

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
        """Return the tip's (x, y, z), mm, on the bench; ``axis`` is the slide that takes it into the work."""
        if axis == "x":
            return self.x - self.depth, self.y, self.z
        return self.x, self.y, self.z - self.depth


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideArc:
    """A way of the tip round a centre, in the bench's plane of X and Z and evenly by angle, as a spherical slide leads it.

    Parameters
    ----------
    radius : float, mm
        From the centre to the tip at no depth: above zero over a dome, below zero in a hollow.
    from_deg, to_deg : float, degrees
        Where the cutter points from as the pass begins and ends: 0 along the spindle, 90 across it, from +X.
    cutter : "turns" or "keeps"
        It turns with the slide, and so keeps pointing at the centre (in a hollow, away from it); or it keeps its direction,
        where two slides alone follow the arc.

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
                f"another angle than from, {self.from_deg:g}, and less than a whole turn away",
            )
            require(self.cutter in ("turns", "keeps"), "cutter", self.cutter, "'turns' or 'keeps'")

    def angle(self, part: Array) -> Array:
        """Return where the cutter points from with (n,) parts of the pass done, 0 to 1: (n,) rad."""
        return np.radians(self.from_deg + part * (self.to_deg - self.from_deg))

    def tip(self, at: At, part: Array) -> Array:
        """Return where the tip stands on the bench with (n,) parts of the pass done, about the centre ``at``: (n, 3) mm."""
        angle, radius = self.angle(part), self.radius - at.depth
        return np.stack([at.x + radius * np.sin(angle), np.full_like(angle, at.y), at.z + radius * np.cos(angle)], axis=-1)
