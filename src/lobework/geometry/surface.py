"""The surface that is cut: a flat face or a surface of revolution, with the thickness of the material behind the surface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from lobework.geometry.rigid import Array

__all__ = ["Face", "Round", "Surface"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A flat circular face in the plane z = 0, with its centre at the origin; depth is measured towards -Z.

    Parameters
    ----------
    radius : float, mm
        Radius of the face.
    thickness : float, mm
        Distance from the face to the back.
    """

    radius: float
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """A surface of revolution about Z; depth is measured inwards along the normal of the surface.

    Parameters
    ----------
    length : float, mm
        Arc length of the whole profile. The position ``s`` along the profile is 0 at the end away from the headstock.
    profile : callable
        Function of the arc length, (n,) mm, that returns (n, 4): radius and z, mm, then the radial and axial components of
        the outward unit normal.
    wall : callable
        Function of the arc length, (n,) mm, that returns the wall thickness along the normal, (n,) mm. For solid work
        it returns the distance from the surface to the axis.
    straight : bool
        Whether the surface is a cylinder.
    """

    length: float
    profile: Callable[[Array], Array]
    wall: Callable[[Array], Array]
    straight: bool


Surface = Face | Round
