"""Rays seen from a cutter's axis: where they meet the parts of its outline, and how near they come to each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["TOUCHES_MM", "Circle", "Line", "Meeting"]

TOUCHES_MM: Final = 1e-10
_ON_AXIS_MM: Final = 1e-7
_MET_MM: Final = 1e-7
_NO_MM: Final = 1e-300
_STEPS_BACK: Final = 8
_POLISHES: Final = 8


class Line(NamedTuple):
    """A straight part of an outline: from (r, y), in a unit direction, so long."""

    r: float
    y: float
    dr: float
    dy: float
    long: float


class Circle(NamedTuple):
    """A round part of an outline: about (r, y), between near and far on both sides of the line to its middle (dr, dy)."""

    r: float
    y: float
    radius: float
    dr: float
    dy: float
    near: float
    far: float


@dataclass(frozen=True, slots=True)
class Meeting:
    """Rays seen from an axis: y = y + e * climb, r^2 = square * e^2 + 2 * cross * e + off, e mm from where they start."""

    y: Array
    climb: Array
    square: Array
    cross: Array
    off: Array

    @classmethod
    def of(cls, start: Array, way: Array, axis: Array) -> Meeting:
        """Return rays, (n, 3) mm from a place on the axis and their ways, as the axis sees them."""
        y, climb = np.vecdot(start, axis), np.vecdot(way, axis)
        flat, moves = start - y[:, None] * axis, way - climb[:, None] * axis
        return cls(y, climb, np.vecdot(moves, moves), np.vecdot(flat, moves), np.vecdot(flat, flat))

    def at(self, e: Array) -> tuple[Array, Array]:
        """Return r and y."""
        return np.sqrt(np.maximum((self.square * e + 2 * self.cross) * e + self.off, 0.0)), self.y + self.climb * e

    def with_line(self, line: Line) -> list[Array]:
        """Return where rays meet a cone, cylinder or plane within the line's ends; -inf where they do not."""
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            start, gain = line.dy * line.r + line.dr * (self.y - line.y), line.dr * self.climb
            if line.dy == 0:
                roots: tuple[Array, ...] = ((line.y - self.y) / self.climb,)
            else:
                square, turned = line.dy**2 * self.square - gain**2, line.dy**2 * self.cross - start * gain
                roots = _roots(square, turned, line.dy**2 * self.off - start**2)
            found = []
            for e in roots:
                r, y = self.at(e)
                along = line.dr * (r - line.r) + line.dy * (y - line.y)
                this_side_of_the_apex = (start + gain * e) * line.dy >= -1e-12
                hits = (
                    (along >= -(_ON_AXIS_MM if line.r == 0 else TOUCHES_MM))
                    & (along <= line.long + TOUCHES_MM)
                    & this_side_of_the_apex
                )
                found.append(np.where(hits & np.isfinite(e), e, -np.inf))
            return found

    def with_sphere(self, circle: Circle) -> list[Array]:
        """Return where rays meet a sphere within the circle's ends."""
        lift = self.y - circle.y
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            roots = _roots(np.ones_like(lift), self.cross + lift * self.climb, self.off + lift**2 - circle.radius**2)
            return [np.where(self._ends_within(circle, e), e, -np.inf) for e in roots]

    def _ends_within(self, circle: Circle, e: Array) -> NDArray[np.bool_]:
        r, y = self.at(e)
        r, y = r - circle.r, y - circle.y
        middle, side = r * circle.dr + y * circle.dy, np.abs(r * circle.dy - y * circle.dr)
        hits: NDArray[np.bool_] = (middle >= -TOUCHES_MM) & (side >= circle.near - TOUCHES_MM) & (side <= circle.far + TOUCHES_MM)
        return hits & (np.abs(np.hypot(r, y) - circle.radius) < _MET_MM)

    def with_ring(self, circle: Circle) -> list[Array]:
        """Return where rays meet a ring within the circle's ends: back from beyond it, no further than it is away."""
        lift, bound = self.y - circle.y, abs(circle.r) + circle.radius
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            near, far = np.sort(_roots(np.ones_like(lift), self.cross + lift * self.climb, self.off + lift**2 - bound**2), axis=0)
            e = far
            for _ in range(_STEPS_BACK):
                e = e - _away(circle, *self.at(e))
            for _ in range(_POLISHES):
                r, y = self.at(e)
                away = np.hypot(r - circle.r, y - circle.y)
                slope = (
                    (r - circle.r) * (self.square * e + self.cross) / np.maximum(r, _NO_MM) + (y - circle.y) * self.climb
                ) / away
                e = e - np.clip((away - circle.radius) / slope, -circle.radius / 4, circle.radius / 4)
            return [np.where((e >= near - TOUCHES_MM) & self._ends_within(circle, e), e, -np.inf)]

    def through_line(self, line: Line) -> Array:
        """Return a number that is positive where rays pass through the cone or cylinder of a line: its roots' discriminant."""
        start, gain = line.dy * line.r + line.dr * (self.y - line.y), line.dr * self.climb
        square, turned = line.dy**2 * self.square - gain**2, line.dy**2 * self.cross - start * gain
        return turned**2 - square * (line.dy**2 * self.off - start**2)

    def through_rim(self, r: float, y: float) -> Array:
        """Return a number that is positive where rays pass through the disc with the rim (r, y)."""
        rise = y - self.y
        return (r * self.climb) ** 2 - (self.square * rise + 2 * self.cross * self.climb) * rise - self.off * self.climb**2

    def through_sphere(self, circle: Circle) -> Array:
        """Return a number that is positive where rays pass through a sphere."""
        lift = self.y - circle.y
        return (self.cross + lift * self.climb) ** 2 - (self.off + lift**2 - circle.radius**2)

    def through_ring(self, circle: Circle) -> list[Array]:
        """Return numbers that are positive where rays pass through a ring, mm: each about one place where they may.

        From where a ray passes through the cylinder and the plane of the ring's middle, its nearest place to that is found by
        Newton's way. A ray goes away from the axis no faster than along itself, whatever rounding leaves where it crosses it.
        """
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            under = np.sqrt(np.maximum(self.cross**2 - self.square * (self.off - circle.r**2), 0.0))
            starts = (under - self.cross) / self.square, (-under - self.cross) / self.square, (circle.y - self.y) / self.climb
        furthest = 2 * (abs(circle.r) + circle.radius)
        return [self._through_ring(circle, np.clip(np.nan_to_num(e), -1e6, 1e6), furthest) for e in starts]

    def _through_ring(self, circle: Circle, e: Array, furthest: float) -> Array:
        for _ in range(_POLISHES):
            r, y = self.at(e)
            outward, up = r - circle.r, y - circle.y
            r_by_e = np.clip((self.square * e + self.cross) / np.maximum(r, _NO_MM), -1.0, 1.0)
            slope = outward * r_by_e + up * self.climb
            bend = r_by_e**2 + self.climb**2 + np.maximum(outward * (self.square - r_by_e**2) / np.maximum(r, _NO_MM), 0.0)
            e = e - np.clip(slope / np.maximum(bend, _NO_MM), -furthest, furthest)
        r, y = self.at(e)
        through: Array = circle.radius - np.hypot(r - circle.r, y - circle.y)
        return through


def _away(circle: Circle, r: Array, y: Array) -> Array:
    """Return how far places are from the round part of an outline."""
    r, y = r - circle.r, y - circle.y
    middle, side = r * circle.dr + y * circle.dy, np.abs(r * circle.dy - y * circle.dr)
    away = np.hypot(middle, side)
    ends = [np.hypot(middle - np.sqrt(max(circle.radius**2 - at**2, 0.0)), side - at) for at in (circle.near, circle.far)]
    beside = (middle >= 0) & (side * circle.radius >= circle.near * away) & (side * circle.radius <= circle.far * away)
    distance: Array = np.where(beside, np.abs(away - circle.radius), np.minimum(*ends))
    return distance


def _roots(a: Array, b: Array, c: Array) -> tuple[Array, Array]:
    """Return the roots of a x^2 + 2 b x + c: nan where there are none."""
    under = b * b - a * c
    root = np.sqrt(np.where((under < 0) & (under > -1e-13 * b * b), 0.0, under))
    q = -(b + np.copysign(root, b))
    return q / a, c / q
