"""A cutter's edge: the height of its outline above the tip as a function of the distance from its centre line."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from lobework.errors import require
from lobework.geometry.rigid import Array

__all__ = ["ArcSegment", "Edge", "LineSegment"]

_JOINS_MM: Final = 1e-9
_MOST_CHORDS: Final = 4096


class LineSegment(NamedTuple):
    """A straight segment: ``low + slope * (r - near)`` mm above the tip for ``near <= r <= far``."""

    near: float
    far: float
    low: float
    slope: float

    def at(self, r: Array) -> Array:
        """Return the height above the tip, mm, at the distances ``r`` from the centre line, (n,) mm."""
        return self.low + self.slope * (r - self.near)

    def reach(self, height: float) -> float:
        """Return the distance from the centre line, mm, at ``height`` mm above the tip; the result is at most ``far``."""
        return (
            self.far if self.slope * (self.far - self.near) <= height - self.low else self.near + (height - self.low) / self.slope
        )


class ArcSegment(NamedTuple):
    """An arc with its centre on the centre line: ``centre - sqrt(radius^2 - r^2)`` mm above the tip."""

    near: float
    far: float
    centre: float
    radius: float

    @property
    def low(self) -> float:
        """Height of the inner end of the arc above the tip, mm."""
        return self.centre - math.sqrt((self.radius - self.near) * (self.radius + self.near))

    def at(self, r: Array) -> Array:
        """Return the height above the tip, mm, at the distances ``r`` from the centre line, (n,) mm."""
        height: Array = self.centre - np.sqrt(np.maximum((self.radius - r) * (self.radius + r), 0.0))
        return height

    def reach(self, height: float) -> float:
        """Return the distance from the centre line, mm, at ``height`` mm above the tip; the result is at most ``far``."""
        under = self.centre - height
        return min(self.far, math.sqrt(max((self.radius - under) * (self.radius + under), 0.0))) if under > 0 else self.far


@dataclass(frozen=True, slots=True)
class Edge:
    """One side of a cutter's symmetrical outline; its height never decreases from the centre line outwards.

    Parameters
    ----------
    parts : tuple of LineSegment or ArcSegment
        Segments from the centre line outwards: the first begins at the tip (0, 0), and each further segment at the
        end of the previous segment. At the end of the last segment the side of the cutter rises vertically.

    Raises
    ------
    SettingError
        If the segments do not join, or a segment descends or has zero width.

    Examples
    --------
    >>> vee = Edge((LineSegment(0.0, 1.5, 0.0, 1.0),))
    >>> vee.half_width, vee.height, vee.width_at(0.4)
    (1.5, 1.5, 0.8)
    """

    parts: tuple[LineSegment | ArcSegment, ...]

    def __post_init__(self) -> None:
        require(len(self.parts) > 0, "edge", "()", "one part or more")
        r, height = 0.0, 0.0
        for part in self.parts:
            start = float(part.at(np.array(part.near)))
            joins = abs(part.near - r) <= _JOINS_MM and abs(start - height) <= _JOINS_MM
            require(joins, "edge", tuple(part), f"a part that begins at ({r:g}, {height:g})")
            round_it = not isinstance(part, ArcSegment) or part.far <= part.radius
            require(round_it, "edge", tuple(part), "an arc that ends no further out than its radius")
            end = float(part.at(np.array(part.far)))
            require(
                part.near < part.far < math.inf and end >= start,
                "edge",
                tuple(part),
                "a part that leads outwards and never descends",
            )
            r, height = part.far, end

    @classmethod
    def through(cls, points: tuple[tuple[float, float], ...]) -> Edge:
        """Return the edge that consists of straight segments through (r, height) points, mm; the first point is the tip."""
        return cls(tuple(LineSegment(a, b, low, (high - low) / (b - a)) for (a, low), (b, high) in itertools.pairwise(points)))

    @property
    def half_width(self) -> float:
        """Distance from the centre line to the cutter's side, mm."""
        return self.parts[-1].far

    @property
    def height(self) -> float:
        """Height of the shoulder above the tip, mm; in a deeper cut the vertical side of the cutter cuts too."""
        return float(self.parts[-1].at(np.array(self.half_width)))

    def at(self, r: Array) -> Array:
        """Return the height above the tip, mm, at the distances ``r`` from the centre line, (n,) mm.

        Outside the cutter the height is infinite.
        """
        r = np.abs(r)
        height = np.full_like(r, np.inf)
        for part in self.parts:
            inside = (part.near <= r) & (r <= part.far)
            height[inside] = np.minimum(height[inside], part.at(r[inside]))
        return height

    def width_at(self, depth: float) -> float:
        """Return the width of the cutter, mm, at ``depth`` mm above the tip."""
        if depth < 0:
            return 0.0
        reached = next((part for part in reversed(self.parts) if part.low <= depth), self.parts[0])
        return 2 * reached.reach(depth)

    def chords(self, within: float) -> tuple[LineSegment, ...]:
        """Return a polyline that lies inside the edge and deviates from it by at most ``within`` mm."""
        return tuple(
            segment for part in self.parts for segment in ((part,) if isinstance(part, LineSegment) else _chords(part, within))
        )


def _chords(arc: ArcSegment, within: float) -> tuple[LineSegment, ...]:
    """Return chords that deviate from an arc by at most ``within`` mm.

    A chord over the angle a deviates by radius * (1 - cos(a / 2)).
    """
    first, last = math.asin(arc.near / arc.radius), math.asin(min(arc.far / arc.radius, 1.0))
    count = min(max(1, math.ceil((last - first) / (2 * math.acos(max(1 - within / arc.radius, 0.0))))), _MOST_CHORDS)
    r = arc.radius * np.sin(np.linspace(first, last, count + 1))
    r[0], r[-1] = arc.near, arc.far
    low = arc.at(r)
    return tuple(
        LineSegment(float(a), float(b), float(la), float((lb - la) / (b - a)))
        for (a, b), (la, lb) in zip(itertools.pairwise(r), itertools.pairwise(low), strict=True)
    )
