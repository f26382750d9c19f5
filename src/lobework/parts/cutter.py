"""Cutters, and a pen for drawing the pattern on paper."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar, Final, Protocol

from lobework.errors import require, together
from lobework.geometry.cutter_edge import ArcSegment, Edge, LineSegment
from lobework.parts.holder import HOLDERS, DrillingSpindle, Holder
from lobework.quantities.fields import Angle, Length, Pairs, as_pairs, pairs_measure, require_numbers

__all__ = ["Ball", "FlatEnd", "Pen", "Profiled", "RoundNosed", "Vee"]

_MOST_POINTS: Final = 500
_SHARPEST_DEG: Final = 1e-3


def _require_holder(holder: object) -> None:
    """Refuse an object that is not a holder."""
    require(isinstance(holder, HOLDERS), "holder", repr(holder), "a holder such as DrillingSpindle() or CuttingFrame(radius=20)")


class _Edged(Protocol):
    """Base class of cutters with an edge."""

    __slots__ = ()

    @property
    def edge(self) -> Edge: ...

    def width_at(self, depth: float) -> float:
        """Return the width, mm, of a groove ``depth`` mm deep, measured perpendicular to the path."""
        return self.edge.width_at(depth)


@dataclass(frozen=True, slots=True, kw_only=True)
class Vee(_Edged):
    """A pointed cutter.

    Parameters
    ----------
    angle_deg : float, degrees
        Included angle of its two flanks, above 0 and below 180.
    width : float, mm
        Width across the shoulders, which is the greatest width of a groove.
    holder : Holder
        The holder of the cutter. Default: a drilling spindle.

    Examples
    --------
    >>> round(Vee(angle_deg=90.0, width=3.0).width_at(0.4), 12)
    0.8
    """

    kind: ClassVar[str] = "vee"
    angle_deg: Angle
    width: Length
    holder: Holder = DrillingSpindle()

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            _require_holder(self.holder)
            require(0 < self.angle_deg < 180, "angle", self.angle_deg, "above 0 and below 180 degrees")
            require(self.angle_deg >= _SHARPEST_DEG, "angle", self.angle_deg, f"{_SHARPEST_DEG:g} degrees or more")
            require(0 < self.width < math.inf, "width", self.width, "above zero")

    @property
    def edge(self) -> Edge:
        """The edge: one straight flank."""
        return Edge((LineSegment(0.0, self.width / 2, 0.0, 1 / math.tan(math.radians(self.angle_deg) / 2)),))


@dataclass(frozen=True, slots=True, kw_only=True)
class Ball(_Edged):
    """A ball-ended cutter.

    Parameters
    ----------
    radius : float, mm
        Radius of the ball.
    holder : Holder
        The holder of the cutter. Default: a drilling spindle.

    Examples
    --------
    >>> Ball(radius=1.5).width_at(1.5)
    3.0
    """

    kind: ClassVar[str] = "ball"
    radius: Length
    holder: Holder = DrillingSpindle()

    def __post_init__(self) -> None:
        require_numbers(self)
        _require_holder(self.holder)
        require(0 < self.radius < math.inf, "radius", self.radius, "above zero")

    @property
    def edge(self) -> Edge:
        """The edge: a quarter of a circle."""
        return Edge((ArcSegment(0.0, self.radius, self.radius, self.radius),))


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatEnd(_Edged):
    """A cutter with a flat end and straight sides.

    Parameters
    ----------
    width : float, mm
        Width of the end.
    holder : Holder
        The holder of the cutter. Default: a drilling spindle.

    Examples
    --------
    >>> FlatEnd(width=2.0).width_at(0.1)
    2.0
    """

    kind: ClassVar[str] = "flat"
    width: Length
    holder: Holder = DrillingSpindle()

    def __post_init__(self) -> None:
        require_numbers(self)
        _require_holder(self.holder)
        require(0 < self.width < math.inf, "width", self.width, "above zero")

    @property
    def edge(self) -> Edge:
        """The edge: flat from the centre line to the side."""
        return Edge((LineSegment(0.0, self.width / 2, 0.0, 0.0),))


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundNosed(_Edged):
    """A pointed cutter whose point is rounded.

    Parameters
    ----------
    radius : float, mm
        Radius of the nose.
    angle_deg : float, degrees
        Included angle of its two flanks: 0 (straight sides) or more, and below 180.
    width : float, mm
        Width across the shoulders; if the sides are straight, it must be the width of the nose.
    holder : Holder
        The holder of the cutter. Default: a drilling spindle.

    Examples
    --------
    >>> nose = RoundNosed(radius=0.5, angle_deg=60.0, width=3.0)
    >>> round(nose.width_at(0.25), 9), round(nose.edge.height, 9)
    (0.866025404, 2.098076211)
    """

    kind: ClassVar[str] = "round-nosed"
    radius: Length
    angle_deg: Angle
    width: Length
    holder: Holder = DrillingSpindle()

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            _require_holder(self.holder)
            require(0 < self.radius < math.inf, "radius", self.radius, "above zero")
            require(0 <= self.angle_deg < 180, "angle", self.angle_deg, "0 or more and below 180 degrees")
            ground = self.angle_deg == 0 or self.angle_deg >= _SHARPEST_DEG
            require(ground, "angle", self.angle_deg, f"0, or {_SHARPEST_DEG:g} degrees or more")
            require(0 < self.width < math.inf, "width", self.width, "above zero")
        least = 2 * self._tangent_point
        require(least <= self.width, "width", self.width, f"at least {least:g} mm, the width at which the nose meets the flanks")
        straight = self.angle_deg > 0 or self.width == least
        require(straight, "width", self.width, f"{least:g} mm, the width of the nose, because the sides are straight")

    @property
    def _tangent_point(self) -> float:
        return self.radius * math.cos(math.radians(self.angle_deg) / 2)

    @property
    def edge(self) -> Edge:
        """The edge: the arc of the nose up to the point of tangency with the flank, then the flank."""
        touch, half = self._tangent_point, self.width / 2
        nose = ArcSegment(0.0, touch, self.radius, self.radius)
        if half <= touch:
            return Edge((nose,))
        height = self.radius * (1 - math.sin(math.radians(self.angle_deg) / 2))
        return Edge((nose, LineSegment(touch, half, height, 1 / math.tan(math.radians(self.angle_deg) / 2))))


Points = Annotated[
    Pairs, pairs_measure("a list of [across, height] pairs from the tip outwards, such as [[0, 0], [0.5, 0], [1.5, 2]]")
]
"""A field of (across, height) points, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiled(_Edged):
    """A cutter whose edge has a profile that the user defines.

    Parameters
    ----------
    points : tuple of (across, height) pairs, mm
        Points of one side of the profile, from the tip at (0, 0) outwards. From point to point the distance from the centre line
        must increase, and the height must not decrease.
    holder : Holder
        The holder of the cutter. Default: a drilling spindle.

    Examples
    --------
    >>> round(Profiled(points=((0.0, 0.0), (0.5, 0.0), (1.5, 2.0))).width_at(1.0), 12)
    2.0
    """

    kind: ClassVar[str] = "profile"
    points: Points
    holder: Holder = DrillingSpindle()

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            points: Iterable[Iterable[float]],
            holder: Holder = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            _require_holder(self.holder)
            object.__setattr__(self, "points", as_pairs("points", self.points))
            require(len(self.points) >= 2, "points", self.points, "two points or more")
            require(len(self.points) <= _MOST_POINTS, "points", f"{len(self.points)} points", f"{_MOST_POINTS} points or fewer")
            require(self.points[0] == (0.0, 0.0), "points", self.points[0], "(0, 0), the tip, as the first point")
            require(all(math.isfinite(c) for point in self.points for c in point), "points", self.points, "finite numbers")
        for number, (before, after) in enumerate(itertools.pairwise(self.points), 2):
            outwards = after[0] > before[0] and after[1] >= before[1]
            must_be = f"further out than {before[0]:g} and no lower than {before[1]:g}"
            require(outwards, f"points[{number}]", after, must_be, "the profile folds back there")

    @property
    def edge(self) -> Edge:
        """The edge: a polyline through the points."""
        return Edge.through(self.points)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """A pen that draws the pattern on paper, used instead of a cutter.

    Parameters
    ----------
    line : float, mm
        Width of the line.

    Examples
    --------
    >>> Pen().width_at(0.0)
    0.3
    """

    kind: ClassVar[str] = "pen"
    line: Length = 0.3

    def __post_init__(self) -> None:
        require_numbers(self)
        require(0 < self.line < math.inf, "line", self.line, "above zero")

    def width_at(self, depth: float) -> float:
        """Return the width of the line, mm, which does not depend on the depth."""
        return self.line
