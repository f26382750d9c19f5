"""Where the slide rest stands, and how it travels during a pass."""

from __future__ import annotations

from dataclasses import dataclass

from lobework.errors import require
from lobework.kinds import Length, require_numbers

__all__ = ["At"]

_FURTHEST_MM = 1e6


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
        Into the work from ``z``: the tip stands at ``z - depth``.

    Examples
    --------
    >>> At(x=24.0, depth=0.4).tip
    (24.0, 0.0, -0.4)
    """

    x: Length = 0.0
    y: Length = 0.0
    z: Length = 0.0
    depth: Length = 0.0

    def __post_init__(self) -> None:
        require_numbers(self)
        for name in ("x", "y", "z", "depth"):
            require(abs(getattr(self, name)) <= _FURTHEST_MM, name, getattr(self, name), "a length within a kilometre")

    @property
    def tip(self) -> tuple[float, float, float]:
        """The tip's (x, y, z), mm, on the bench."""
        return self.x, self.y, self.z - self.depth
