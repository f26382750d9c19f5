"""The work in the chuck."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from lobework.errors import require
from lobework.kinds import Length, require_numbers

if TYPE_CHECKING:
    from lobework.rigid import Array

__all__ = ["Disc"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A round, flat piece; its face is the plane z = 0, its centre the origin.

    Parameters
    ----------
    diameter, thickness : float, mm
        Above zero.
    material : str
        For the sheet; nothing is computed from it.

    Examples
    --------
    >>> Disc(diameter=70.0, thickness=8.0).outline.shape
    (361, 2)
    """

    form: ClassVar[str] = "disc"
    diameter: Length
    thickness: Length
    material: str = ""

    def __post_init__(self) -> None:
        require_numbers(self)
        require(0 < self.diameter < math.inf, "diameter", self.diameter, "above zero")
        require(0 < self.thickness < math.inf, "thickness", self.thickness, "above zero")

    @property
    def outline(self) -> Array:
        """(361, 2) mm: the edge of the face, closed."""
        around = np.linspace(0, 2 * math.pi, 361)
        edge: Array = self.diameter / 2 * np.stack([np.cos(around), np.sin(around)], axis=-1)
        return edge
