"""Protocols for optional abilities of parts, such as a surface that can be carved or a declared period.

A part from a plugin needs no base class: it has an ability if it has the attributes of the protocol for this ability.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np

from lobework.geometry.surface import Face, Round
from lobework.parts.holder import HOLDERS, Holder

if TYPE_CHECKING:
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array
    from lobework.geometry.surface import Surface
    from lobework.parts.protocols import ChuckSlide, Cutter, Piece

__all__ = [
    "CarvablePiece",
    "CarvingCutter",
    "FittedChuck",
    "PeriodicChuck",
    "ProjectingPiece",
    "SlidingChuck",
    "SolidPiece",
    "holder_of",
    "seen_on",
    "surface_of",
]


class _Ability(type(Protocol)):  # type: ignore[misc]
    """The type of the protocols: ``isinstance`` tests attributes by names that are listed once.

    Python 3.11 lists the attributes of a protocol at each test, which took 4 % of the time of a check.
    """

    def __instancecheck__(cls, part: object) -> bool:
        """Return whether a part has every attribute of the protocol; None counts as a value, but not as a method."""
        return all(
            hasattr(part, name) and not (is_method and getattr(part, name) is None) for name, is_method in _attributes(cls)
        )


@cache
def _attributes(ability: type) -> tuple[tuple[str, bool], ...]:
    """Return the names of the attributes of a protocol, and whether each is a method."""
    return tuple((name, callable(value)) for name, value in vars(ability).items() if not name.startswith("_"))


@runtime_checkable
class CarvablePiece(Protocol, metaclass=_Ability):
    """A piece with a surface that can be carved."""

    @property
    def surface(self) -> Surface:
        """The surface at which the rays of a carving start."""


@runtime_checkable
class SolidPiece(Protocol, metaclass=_Ability):
    """A piece with a stated thickness."""

    @property
    def thickness(self) -> float:
        """Distance from the face to the back, mm."""


@runtime_checkable
class ProjectingPiece(Protocol, metaclass=_Ability):
    """A piece that converts points on the work to positions on its flat view, the sheet."""

    def seen(self, points: Array) -> Array:
        """Return the two coordinates on the sheet and the depth, (n, 3) mm, of (n, 3) points on the work, mm."""


@runtime_checkable
class CarvingCutter(Protocol, metaclass=_Ability):
    """A cutter that can carve: it has an edge and a holder."""

    @property
    def edge(self) -> Edge:
        """The edge of the cutter: one side of its outline."""

    @property
    def holder(self) -> Holder:
        """The holder of the cutter."""


@runtime_checkable
class PeriodicChuck(Protocol, metaclass=_Ability):
    """A chuck that declares its period."""

    @property
    def period_turns(self) -> int:
        """Period of the chuck's motion in whole turns of the spindle; 0 if it is not periodic."""


@runtime_checkable
class FittedChuck(Protocol, metaclass=_Ability):
    """A chuck that needs fittings of the lathe."""

    @property
    def needs(self) -> Sequence[str]:
        """Names of the fittings, such as "ring"."""


@runtime_checkable
class SlidingChuck(Protocol, metaclass=_Ability):
    """A chuck with slides of limited travel."""

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return the positions of each slide at (n,) spindle angles ``theta``, rad."""


def surface_of(piece: Piece) -> Surface | None:
    """Return the surface of a piece; None if it cannot be carved.

    >>> from lobework.parts.piece import Disc
    >>> surface_of(Disc(diameter=70.0, thickness=8.0))
    Face(radius=35.0, thickness=8.0)
    """
    surface = piece.surface if isinstance(piece, CarvablePiece) else None
    return surface if isinstance(surface, Face | Round) else None


def holder_of(cutter: Cutter) -> Holder | None:
    """Return the holder of a cutter; None if the cutter has no edge, or no known holder.

    >>> from lobework.parts.cutter import Pen, Vee
    >>> holder_of(Vee(angle_deg=60.0, width=3.0)), holder_of(Pen())
    (DrillingSpindle(), None)
    """
    holder = cutter.holder if isinstance(cutter, CarvingCutter) else None
    return holder if isinstance(holder, HOLDERS) else None


def seen_on(piece: Piece, points: Array) -> Array:
    """Return the coordinates on the sheet and the depth, (n, 3) mm, of points on the work.

    For a piece without the method ``seen`` they are X, Y and -Z.

    >>> from lobework.parts.piece import Barrel
    >>> seen_on(Barrel(diameter=20.0, length=30.0), np.array([[9.5, 0.0, -4.0]])).tolist()
    [[0.0, -4.0, 0.5]]
    """
    seen: Array = piece.seen(points) if isinstance(piece, ProjectingPiece) else points * np.array([1.0, 1.0, -1.0])
    return seen
