"""Where the slide rest stands, how it travels during a pass, and from where it comes to the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lobework.errors import require
from lobework.kinds import Length, require_numbers

__all__ = ["Approach", "At"]

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
        require_numbers(self)
        for name in ("x", "y", "z", "depth"):
            require(abs(getattr(self, name)) <= _FURTHEST_MM, name, getattr(self, name), "a length within a kilometre")

    def tip(self, axis: Literal["z", "x"] = "z") -> tuple[float, float, float]:
        """Return the tip's (x, y, z), mm, on the bench; ``axis`` is the slide that takes it into the work."""
        if axis == "x":
            return self.x - self.depth, self.y, self.z
        return self.x, self.y, self.z - self.depth
