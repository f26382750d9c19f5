"""The surface of a piece that cutters meet: a flat face, or a surface of revolution, with the wall behind it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from lobework.geometry.rigid import Array

__all__ = ["Face", "Round", "Surface"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """A flat round face in the plane z = 0, its middle the origin; depth goes towards -Z.

    Parameters
    ----------
    radius : float, mm
        Of the face.
    thickness : float, mm
        From the face to the back.
    """

    radius: float
    thickness: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """A surface of revolution about Z; depth goes in along its normal.

    Parameters
    ----------
    length : float, mm
        Along the profile; ``s`` runs from 0 to it, from the end away from the headstock.
    profile : callable
        (n,) mm along the profile to (n, 4): radius and z, mm, then the outward unit normal's parts along radius and z.
    wall : callable
        (n,) mm along the profile to (n,) mm: how thick the work is there, along the normal, to its inner wall; to its
        axis where it is solid.
    straight : bool
        Whether it is a cylinder.
    """

    length: float
    profile: Callable[[Array], Array]
    wall: Callable[[Array], Array]
    straight: bool


Surface = Face | Round
