"""Cams with sides: flat, arched in or out, or of constant width; corners may be rounded so that a follower can go round."""

from __future__ import annotations

import cmath
import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal, NamedTuple

import numpy as np

from lobework.plugins import Cam, Length, hookimpl, require, require_numbers

if TYPE_CHECKING:
    from lobework.plugins import Array
    from lobework.testing import Sample

__all__ = ["Arched", "ConstantWidth", "Polygon", "lobework_cams", "lobework_contract", "lobework_samples"]

lobework_contract = 2

_MOST_SIDES = 1000
_LEAST = 1e-300
"""Lower limit of a square, so that its root can be a divisor."""


class _Outline(NamedTuple):
    """The outline of one lobe in polar form: the corner is at angle zero, the middle of the side half a lobe further.

    The corner is an arc of radius ``corner``; its centre is at distance ``out`` in the direction of the corner. The side is an
    arc of radius ``side``, negative if hollow; its centre is at distance ``aside`` in the direction of the side's middle. If both
    are infinite, the side is flat. ``flat`` is the distance of the side's middle. The arcs meet at the angle ``joint_angle``.
    """

    out: float
    corner: float
    aside: float
    side: float
    flat: float
    joint_angle: float


class _Sided(ABC):
    """Base class of cams with sides: a corner at the top of each lobe, and equal sides between."""

    __slots__ = ()
    sides: int
    on: ClassVar[Literal["edge"]] = "edge"

    @abstractmethod
    def _outline(self) -> _Outline:
        """Return the outline of one lobe."""

    @property
    def lobes(self) -> int:
        """Number of lobes: one for each side; the top of a lobe is the middle of a corner."""
        return self.sides

    @property
    def rise(self) -> float:
        """Difference of the radii at the top of a corner and at the middle of a side, mm."""
        outline = self._outline()
        return outline.out + outline.corner - outline.flat

    @property
    def corners(self) -> Sequence[float]:
        """Angles at which the arc of a corner meets its two sides; for a sharp corner, the corner itself."""
        joint_angle, pitch = self._outline().joint_angle, 2 * math.pi / self.sides
        return (joint_angle, pitch - joint_angle) if joint_angle > 0 else (0.0,)

    def rise_at(self, psi: Array) -> Array:
        """Return the height above the middle of the sides, mm, at (n,) rad."""
        return self._radius_and_slope(psi)[0] - self._outline().flat

    def slope_at(self, psi: Array) -> Array:
        """Return the slope of `rise_at`, mm/rad, at (n,) rad."""
        return self._radius_and_slope(psi)[1]

    def _radius_and_slope(self, psi: Array) -> tuple[Array, Array]:
        """Return the radius of the cam and its slope."""
        outline, pitch = self._outline(), 2 * math.pi / self.sides
        from_corner = psi - pitch * np.round(psi / pitch)
        from_side = psi - pitch * (np.floor(psi / pitch) + 0.5)
        on_corner = _corner(from_corner, outline)
        on_side = _flat(from_side, outline.flat) if math.isinf(outline.side) else _arc(from_side, outline)
        at_corner = np.abs(from_corner) < outline.joint_angle
        radius, slope = (np.where(at_corner, *pair) for pair in zip(on_corner, on_side, strict=True))
        return radius, slope


def _corner(angle: Array, outline: _Outline) -> tuple[Array, Array]:
    """Return the radius on the arc of a corner, and its slope, at angles from the corner."""
    sine, cosine = np.sin(angle), np.cos(angle)
    root = np.sqrt(np.maximum(outline.corner**2 - (outline.out * sine) ** 2, _LEAST))
    radius = outline.out * cosine + root
    return radius, -outline.out * sine * radius / root


def _arc(angle: Array, outline: _Outline) -> tuple[Array, Array]:
    """Return the radius on an arched side, and its slope, at angles from its middle; accurate for almost straight arcs too."""
    sine, cosine = np.sin(angle), np.cos(angle)
    away = outline.aside
    root = math.copysign(1, outline.side) * np.sqrt(np.maximum(outline.side**2 - (away * sine) ** 2, _LEAST))
    radius = outline.flat * (2 * outline.side - outline.flat) / (root - away * cosine)
    return radius, -away * sine * radius / root


def _flat(angle: Array, away: float) -> tuple[Array, Array]:
    """Return the radius on a flat side, and its slope, at angles from its middle."""
    return away / np.cos(angle), away * np.sin(angle) / np.cos(angle) ** 2


def _rounded(sides: int, flat: float, corner: float, aside: float, side: float) -> _Outline:
    """Return the outline with a corner arc that is tangent to both sides, inside them."""
    if corner == flat:  # a round disc
        return _Outline(0.0, corner, 0.0, flat, flat, math.pi / sides)
    half = cmath.exp(1j * math.pi / sides)
    if math.isinf(side):
        out, square = (flat - corner) / half.real, half
    else:
        near = math.copysign(1, side)
        root = near * math.sqrt(max((side - corner) ** 2 - (aside * half.imag) ** 2, 0.0))
        out = (flat - corner) * (2 * side - flat - corner) / (root - aside * half.real)
        across = out - aside * half
        square = near * across / abs(across) if across else 1.0
    joint_angle = _angle(out + corner * square) if corner > 0 else 0.0
    return _Outline(out, corner, aside, side, flat, joint_angle)


def _angle(place: complex) -> float:
    return math.atan2(place.imag, place.real)


def _require_sides(sides: int, odd: bool = False) -> None:
    must_be = f"{'an odd' if odd else 'a whole'} number from 3 to {_MOST_SIDES}"
    whole = isinstance(sides, int) and not isinstance(sides, bool) and 3 <= sides <= _MOST_SIDES
    require(whole and (sides % 2 or not odd), "sides", sides, must_be)


@dataclass(frozen=True, slots=True, kw_only=True)
class Polygon(_Sided):
    """A flat-sided cam: equal flats, and between them corners rounded to one radius.

    Parameters
    ----------
    sides : int
        Number of flats, 3 or more; the middle of a corner is at angle zero.
    base_radius : float, mm
        Distance from the cam's centre to the middle of a flat.
    corner : float, mm
        Radius of the corners, 0 for sharp corners; ``base_radius`` makes a round disc.

    Examples
    --------
    >>> square = Polygon(sides=4, base_radius=30.0)
    >>> square.rise_at(np.array([0.0, np.pi / 4])).round(12)
    array([12.42640687,  0.        ])
    >>> round(Polygon(sides=4, base_radius=30.0, corner=6.0).rise, 9)
    9.941125497
    """

    kind: ClassVar[str] = "polygon"
    sides: int
    base_radius: Length
    corner: Length = 0.0

    def __post_init__(self) -> None:
        require_numbers(self)
        _require_sides(self.sides)
        require(0 < self.base_radius < math.inf, "base_radius", self.base_radius, "above zero")
        require(0 <= self.corner <= self.base_radius, "corner", self.corner, f"from 0 to the base radius, {self.base_radius:g}")

    def _outline(self) -> _Outline:
        return _rounded(self.sides, self.base_radius, self.corner, math.inf, math.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arched(_Sided):
    """A cam whose sides are arcs, bowed out or in, with corners rounded to one radius.

    With h half the distance between two corners, before they are rounded, the arc's radius is ``(h^2 + bow^2) / (2 bow)``.

    Parameters
    ----------
    sides : int
        Number of arcs, 3 or more; the middle of a corner is at angle zero.
    base_radius : float, mm
        Distance from the cam's centre to the middle of a side.
    bow : float, mm
        Distance of the middle of a side from the straight line between its corners, before they are rounded: outwards above
        zero, inwards below.
    corner : float, mm
        Radius of the corners, 0 for sharp corners.

    Examples
    --------
    >>> Arched(sides=4, base_radius=30.0, bow=0.0).rise_at(np.zeros(1)) == Polygon(sides=4, base_radius=30.0).rise_at(np.zeros(1))
    array([ True])
    >>> round(Arched(sides=3, base_radius=30.0, bow=-2.0).rise, 9)
    34.0
    """

    kind: ClassVar[str] = "arched"
    sides: int
    base_radius: Length
    bow: Length
    corner: Length = 0.0

    def __post_init__(self) -> None:
        require_numbers(self)
        _require_sides(self.sides)
        base, half = self.base_radius, math.pi / self.sides
        require(0 < base < math.inf, "base_radius", base, "above zero")
        hollow, round_ = -base * math.sin(half), base * (1 - math.cos(half))
        must_be = f"from {hollow:.6g}, where a hollow overhangs, to {round_:.6g}, where the cam is round"
        require(hollow <= self.bow <= round_, "bow", self.bow, must_be)
        require(0 <= self.corner <= base, "corner", self.corner, f"from 0 to the base radius, {base:g}")

    @property
    def arc(self) -> float:
        """Radius of the sides, mm: negative if they are hollow, infinite if they are flat."""
        if not self.bow:
            return math.inf
        half = (self.base_radius - self.bow) * math.tan(math.pi / self.sides)
        return (half**2 + self.bow**2) / (2 * self.bow)

    def _outline(self) -> _Outline:
        return _rounded(self.sides, self.base_radius, self.corner, self.base_radius - self.arc, self.arc)


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstantWidth(_Sided):
    """A cam of constant width: each side is an arc about the opposite corner; corners are rounded to one radius.

    It fits between two parallel flats at every angle. The distance of the corners' arc centres from the cam's centre is
    ``(width / 2 - corner) / cos(pi / (2 sides))``.

    Parameters
    ----------
    sides : int
        An odd number of arcs, 3 or more; the middle of a corner is at angle zero.
    width : float, mm
        Width in every direction.
    corner : float, mm
        Radius of the corners, 0 for sharp corners; half the width makes a round disc.

    References
    ----------
    F. Reuleaux, *The Kinematics of Machinery* (1876), on figures of constant breadth: from memory.

    Examples
    --------
    >>> cam = ConstantWidth(sides=3, width=60.0)
    >>> round(cam.base_radius, 9), round(cam.rise, 9)
    (25.358983849, 9.282032303)
    """

    kind: ClassVar[str] = "constant width"
    sides: int
    width: Length
    corner: Length = 0.0

    def __post_init__(self) -> None:
        require_numbers(self)
        _require_sides(self.sides, odd=True)
        require(0 < self.width < math.inf, "width", self.width, "above zero")
        half = self.width / 2
        require(0 <= self.corner <= half, "corner", self.corner, f"from 0 to half the width, {half:g}")

    @property
    def base_radius(self) -> float:
        """Distance from the cam's centre to the middle of a side, mm."""
        return self._outline().flat

    def _outline(self) -> _Outline:
        quarter = math.pi / (2 * self.sides)
        out = (self.width / 2 - self.corner) / math.cos(quarter)
        side = self.width - self.corner
        joint_angle = _angle(out + self.corner * cmath.exp(1j * quarter))
        return _Outline(out, self.corner, -out, side, side - out, joint_angle if self.corner else 0.0)


@hookimpl
def lobework_cams() -> list[type[Cam]]:
    """Return the cams with sides."""
    return [Polygon, Arched, ConstantWidth]


@hookimpl
def lobework_samples() -> list[Sample]:
    """Return samples of cams with sides, with known answers."""
    from lobework.testing import ExpectedValue, Sample

    def across(cam: Cam) -> Array:
        """Return the distance between two parallel flats that touch the cam, at several angles, mm."""
        from lobework.plugins import FlatFollower, lift_of

        lift, angles = lift_of(cam, FlatFollower()), np.linspace(0, 2 * math.pi, 25)
        width: Array = lift.curve.at(angles) + lift.curve.at(angles + math.pi) + 2 * lift.rest
        return width

    barbier = "E. Barbier, J. math. pures appl. 5 (1860), 273-286 (from memory): its width is constant"
    corner = "the corner of a regular polygon is at the distance of its flat divided by cos(pi / sides)"
    return [
        Sample(
            Polygon(sides=6, base_radius=40.0),
            known=[ExpectedValue(lambda cam: cam.rise, 40 / math.cos(math.pi / 6) - 40, corner)],
        ),
        Sample(
            Polygon(sides=3, base_radius=30.0, corner=8.0),
            known=[
                ExpectedValue(lambda cam: cam.rise, 22.0, "closed form: the centre of the corner arc is at (30 - 8) / cos 60")
            ],
        ),
        Sample(Arched(sides=5, base_radius=45.0, bow=2.5, corner=4.0)),
        Sample(
            Arched(sides=3, base_radius=30.0, bow=-2.0),
            known=[
                ExpectedValue(
                    lambda cam: cam.rise,
                    34.0,
                    "closed form: corners are twice as far out as the straight sides, 2 (30 + 2), less 30",
                )
            ],
        ),
        Sample(ConstantWidth(sides=3, width=80.0), known=[ExpectedValue(across, np.full(25, 80.0), barbier, within=1e-6)]),
        Sample(
            ConstantWidth(sides=7, width=80.0, corner=6.0), known=[ExpectedValue(across, np.full(25, 80.0), barbier, within=1e-6)]
        ),
    ]
