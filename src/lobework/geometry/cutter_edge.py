"""A cutter's edge: how far its outline stands above its tip, at each distance from its middle line."""

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
_MOST_SLANTS: Final = 4096


class LineSegment(NamedTuple):
    """A straight part: ``low + rise * (r - near)`` mm above the tip for ``near <= r <= far``."""

    near: float
    far: float
    low: float
    rise: float

    def at(self, r: Array) -> Array:
        """Return the height, mm, at (n,) mm from the middle line."""
        return self.low + self.rise * (r - self.near)

    def reach(self, height: float) -> float:
        """Return how far from the middle line the part has come at ``height`` mm above the tip."""
        return (
            self.far if self.rise * (self.far - self.near) <= height - self.low else self.near + (height - self.low) / self.rise
        )


class ArcSegment(NamedTuple):
    """A round part, centred on the middle line: ``centre - sqrt(radius^2 - r^2)`` mm above the tip."""

    near: float
    far: float
    centre: float
    radius: float

    @property
    def low(self) -> float:
        """Height of its nearer end, mm."""
        return self.centre - math.sqrt((self.radius - self.near) * (self.radius + self.near))

    def at(self, r: Array) -> Array:
        """Return the height, mm, at (n,) mm from the middle line."""
        height: Array = self.centre - np.sqrt(np.maximum((self.radius - r) * (self.radius + r), 0.0))
        return height

    def reach(self, height: float) -> float:
        """Return how far from the middle line the part has come at ``height`` mm above the tip."""
        under = self.centre - height
        return min(self.far, math.sqrt(max((self.radius - under) * (self.radius + under), 0.0))) if under > 0 else self.far


@dataclass(frozen=True, slots=True)
class Edge:
    """One side of a cutter's outline, which is the same on the other side; it rises, or runs level, all the way out.

    Parameters
    ----------
    parts : tuple of LineSegment or ArcSegment
        From the middle line outwards, each beginning where the last one ended, the first at the tip (0, 0).
        Outside the last, the cutter's side goes straight up.

    Raises
    ------
    SettingError
        Where the parts do not join, fall, or have no width.

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
            require(round_it, "edge", tuple(part), "an arc within its circle")
            end = float(part.at(np.array(part.far)))
            require(
                part.near < part.far < math.inf and end >= start, "edge", tuple(part), "a part that goes outwards and never down"
            )
            r, height = part.far, end

    @classmethod
    def through(cls, points: tuple[tuple[float, float], ...]) -> Edge:
        """Return the edge of straight parts through (r, height) points, mm; the first is the tip."""
        return cls(tuple(LineSegment(a, b, low, (high - low) / (b - a)) for (a, low), (b, high) in itertools.pairwise(points)))

    @property
    def half_width(self) -> float:
        """From the middle line to the cutter's side, mm."""
        return self.parts[-1].far

    @property
    def height(self) -> float:
        """From the tip to the shoulder, mm: as deep as it cuts with its edge alone."""
        return float(self.parts[-1].at(np.array(self.half_width)))

    def at(self, r: Array) -> Array:
        """Return the height above the tip, mm, at (n,) mm from the middle line; infinite outside the cutter."""
        r = np.abs(r)
        height = np.full_like(r, np.inf)
        for part in self.parts:
            inside = (part.near <= r) & (r <= part.far)
            height[inside] = np.minimum(height[inside], part.at(r[inside]))
        return height

    def width_at(self, depth: float) -> float:
        """Return the width, mm, at ``depth`` mm above the tip."""
        if depth < 0:
            return 0.0
        reached = next((part for part in reversed(self.parts) if part.low <= depth), self.parts[0])
        return 2 * reached.reach(depth)

    def slants(self, within: float) -> tuple[LineSegment, ...]:
        """Return straight parts alone, inside the edge and ``within`` mm short of it at the most."""
        return tuple(
            slant for part in self.parts for slant in ((part,) if isinstance(part, LineSegment) else _chords(part, within))
        )


def _chords(arc: ArcSegment, within: float) -> tuple[LineSegment, ...]:
    """Return chords of an arc; a chord over the angle a misses it by radius * (1 - cos(a / 2))."""
    first, last = math.asin(arc.near / arc.radius), math.asin(min(arc.far / arc.radius, 1.0))
    count = min(max(1, math.ceil((last - first) / (2 * math.acos(max(1 - within / arc.radius, 0.0))))), _MOST_SLANTS)
    r = arc.radius * np.sin(np.linspace(first, last, count + 1))
    r[0], r[-1] = arc.near, arc.far
    low = arc.at(r)
    return tuple(
        LineSegment(float(a), float(b), float(la), float((lb - la) / (b - a)))
        for (a, b), (la, lb) in zip(itertools.pairwise(r), itertools.pairwise(low), strict=True)
    )
