"""Followers, which bear on the cam and so move the headstock. In the trade a follower is also called a rubber or a touch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Final, Literal

import numpy as np

from lobework.errors import require
from lobework.quantities.fields import Length, require_numbers
from lobework.quantities.tolerances import LARGEST_CAM_MM, SMALLEST_ROLLER_MM

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["FlatFollower", "Knife", "Roller"]


_SHARP: Final = "use a knife for a sharp edge"


@dataclass(frozen=True, slots=True)
class Knife:
    """A sharp edge, which follows the cam exactly.

    >>> Knife().half_width
    0.0
    """

    kind: ClassVar[str] = "knife"
    form: ClassVar[Literal["round", "flat"]] = "round"
    half_width: ClassVar[float] = 0.0
    rest: ClassVar[float] = 0.0

    def nose_at(self, q: Array) -> Array:
        """Return zeros: a knife touches the cam only at its tip, which is also the reference point of its travel."""
        return np.zeros_like(q)

    def nose_slope_at(self, q: Array) -> Array:
        """Return zeros."""
        return np.zeros_like(q)


@dataclass(frozen=True, slots=True)
class Roller:
    """A follower with a round nose, which may rotate or not.

    Parameters
    ----------
    radius : float, mm
        Radius, from 0.001 to 1000.

    Examples
    --------
    >>> Roller(radius=5.0).nose_at(np.array([0.0, 3.0, 5.0]))
    array([5., 4., 0.])
    """

    kind: ClassVar[str] = "roller"
    form: ClassVar[Literal["round", "flat"]] = "round"
    radius: Length

    def __post_init__(self) -> None:
        require_numbers(self)
        require(self.radius > 0, "radius", self.radius, "above zero", _SHARP)
        least, most = f"at least {SMALLEST_ROLLER_MM:g} mm", f"at most {LARGEST_CAM_MM:g} mm"
        require(self.radius >= SMALLEST_ROLLER_MM, "radius", self.radius, least, _SHARP)
        require(
            self.radius <= LARGEST_CAM_MM,
            "radius",
            self.radius,
            most,
            "use a flat follower for a straight face, or check the units",
        )

    @property
    def half_width(self) -> float:
        """The roller's radius, mm."""
        return self.radius

    @property
    def rest(self) -> float:
        """The roller's radius, mm, because the reference point is its centre."""
        return self.radius

    def nose_at(self, q: Array) -> Array:
        """Return ``sqrt(radius**2 - q**2)``."""
        nose: Array = np.sqrt(np.maximum(self.radius**2 - q**2, 0.0))
        return nose

    def nose_slope_at(self, q: Array) -> Array:
        """Return the slope of `nose_at`."""
        with np.errstate(divide="ignore"):
            slope: Array = -q / self.nose_at(q)
        return slope


@dataclass(frozen=True, slots=True)
class FlatFollower:
    """A flat face perpendicular to the line of action, wide enough to touch the cam anywhere.

    >>> FlatFollower().nose_at(np.array([-7.0, 0.0]))
    array([0., 0.])
    """

    kind: ClassVar[str] = "flat"
    form: ClassVar[Literal["round", "flat"]] = "flat"
    half_width: ClassVar[float] = math.inf
    rest: ClassVar[float] = 0.0

    def nose_at(self, q: Array) -> Array:
        """Return zeros: the face is flat and contains the reference point of the travel."""
        return np.zeros_like(q)

    def nose_slope_at(self, q: Array) -> Array:
        """Return zeros."""
        return np.zeros_like(q)
