"""Cutters as the plain way of carving meets them: how deep a ray goes until it leaves a cutter that stands in a pose."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.carve.plain_path import swung
from lobework.edge import Arc, Slant
from lobework.holder import CuttingFrame

if TYPE_CHECKING:
    from lobework.carve.plain_path import Path, Piece, Rays
    from lobework.carve.sweep import Sweep
    from lobework.edge import Edge
    from lobework.rigid import Array

__all__ = ["Blade", "Solid"]

_Outline = Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]

_TOUCHES_MM: Final = 1e-10
_ON_AXIS_MM: Final = 1e-7
_MET_MM: Final = 1e-7
_NO_MM: Final = 1e-300
_RUNS_ALONG: Final = 1e-12
"""Sine of the angle between a ray and a blade's plane, below which the angle is rounding alone."""
_STEPS_BACK: Final = 8
_POLISHES: Final = 8
_STARTS: Final = ((0.5, 0.2), (0.5, 0.8), (0.05, 0.5))


class _Line(NamedTuple):
    """A straight part of an outline: from (r, y), in a unit direction, so long."""

    r: float
    y: float
    dr: float
    dy: float
    long: float


class _Circle(NamedTuple):
    """A round part of an outline: about (r, y), between near and far on both sides of the line to its middle (dr, dy)."""

    r: float
    y: float
    radius: float
    dr: float
    dy: float
    near: float
    far: float


@dataclass(frozen=True, slots=True)
class Solid:
    """A solid of revolution: the outline of its half, r from its axis and y along it."""

    lines: tuple[_Line, ...]
    circles: tuple[_Circle, ...]
    edge: Edge
    swung: float
    frame: CuttingFrame | None

    @classmethod
    def of(cls, sweep: Sweep) -> Solid:
        """Return the solid that the edge describes as it revolves."""
        edge, frame = sweep.edge, sweep.held if isinstance(sweep.held, CuttingFrame) else None
        off = swung(sweep)
        parts: list[_Line | _Circle] = []
        for side in (1, -1):
            parts += _outline_about_outward(edge, off, side) if frame is None else _outline_in_frame(edge, frame.radius, side)
        lines = tuple(part for part in parts if isinstance(part, _Line))
        circles = tuple(dict.fromkeys(part for part in parts if isinstance(part, _Circle)))
        return cls(lines, circles, edge, off, frame)

    def axis(self, tip: Array, outward: Array, level: Array) -> tuple[Array, Array]:
        """Return the origin of r and y, and the direction of the axis, in poses."""
        if self.frame is None:
            return tip, outward
        angle = np.radians(self.frame.angle_deg)
        return tip + self.frame.radius * outward, np.cos(angle) * np.cross(outward, level) - np.sin(angle) * level

    def holds(self, r: Array, y: Array) -> NDArray[np.bool_]:
        """Return whether places are in it."""
        if self.frame is None:
            return y >= self.edge.at(r - self.swung)
        return r <= self.frame.radius - self.edge.at(y)

    def depth(self, rays: Rays, tip: Array, outward: Array, level: Array) -> Array:
        """Return how deep rays go until they leave the solid for good, mm: -inf where they miss it."""
        origin, axis = self.axis(tip, outward, level)
        base = np.vecdot((tip - rays.start), rays.way)
        off = rays.start + base[:, None] * rays.way - origin
        meeting = _Meeting.of(off, rays.way, axis)
        most = rays.most - base
        ends = np.isfinite(most)
        ends[ends] = self.holds(*(of[ends] for of in meeting.at(np.where(ends, most, 0.0))))
        deepest: Array = np.where(ends, most, -np.inf)
        for line in self.lines:
            for found in meeting.with_line(line):
                deepest = np.where((found > deepest) & (found <= most), found, deepest)
        for circle in self.circles:
            for found in meeting.with_sphere(circle) if circle.r == 0 else meeting.with_ring(circle):
                deepest = np.where((found > deepest) & (found <= most), found, deepest)
        deepest += base
        return deepest


def _outline_about_outward(edge: Edge, off: float, side: int) -> Iterator[_Line | _Circle]:
    """Yield the parts of the edge on one side of its middle line, which stands ``off`` mm off the axis."""
    for part in edge.parts:
        if isinstance(part, Arc):
            yield _Circle(off, part.centre, part.radius, 0.0, -1.0, part.near, part.far)
        else:
            ends = ((off + side * r, part.low + part.rise * (r - part.near)) for r in (part.near, part.far))
            yield from _line(*ends)
    if off + side * edge.half_width >= 0:
        yield _Line(off + side * edge.half_width, edge.height, 0.0, 1.0, np.inf)


def _outline_in_frame(edge: Edge, radius: float, side: int) -> Iterator[_Line | _Circle]:
    """Yield the parts of the edge on one side of its middle line, as a frame of this radius swings it."""
    for part in edge.parts:
        if isinstance(part, Arc):
            yield _Circle(radius - part.centre, 0.0, part.radius, 1.0, 0.0, part.near, part.far)
        else:
            ends = ((radius - part.low - part.rise * (r - part.near), side * r) for r in (part.near, part.far))
            yield from _line(*ends)
    yield from _line((0.0, side * edge.half_width), (radius - edge.height, side * edge.half_width))


def _line(a: tuple[float, float], b: tuple[float, float]) -> Iterator[_Line]:
    """Yield the part of a line that is on the outline's side of the axis, if any is."""
    (r0, y0), (r1, y1) = sorted((a, b))
    if r1 < 0 or a == b:
        return
    if r0 < 0:
        r0, y0 = 0.0, y0 + (y1 - y0) * -r0 / (r1 - r0)
    long = float(np.hypot(r1 - r0, y1 - y0))
    if long > 0:
        yield _Line(r0, y0, (r1 - r0) / long, (y1 - y0) / long, long)


@dataclass(frozen=True, slots=True)
class _Meeting:
    """Rays seen from an axis: y = y + e * climb, r^2 = square * e^2 + 2 * cross * e + off, e mm from where they start."""

    y: Array
    climb: Array
    square: Array
    cross: Array
    off: Array

    @classmethod
    def of(cls, start: Array, way: Array, axis: Array) -> _Meeting:
        y, climb = np.vecdot(start, axis), np.vecdot(way, axis)
        flat, moves = start - y[:, None] * axis, way - climb[:, None] * axis
        return cls(y, climb, np.vecdot(moves, moves), np.vecdot(flat, moves), np.vecdot(flat, flat))

    def at(self, e: Array) -> tuple[Array, Array]:
        """Return r and y."""
        return np.sqrt(np.maximum((self.square * e + 2 * self.cross) * e + self.off, 0.0)), self.y + self.climb * e

    def with_line(self, line: _Line) -> list[Array]:
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
                    (along >= -(_ON_AXIS_MM if line.r == 0 else _TOUCHES_MM))
                    & (along <= line.long + _TOUCHES_MM)
                    & this_side_of_the_apex
                )
                found.append(np.where(hits & np.isfinite(e), e, -np.inf))
            return found

    def with_sphere(self, circle: _Circle) -> list[Array]:
        """Return where rays meet a sphere within the circle's ends."""
        lift = self.y - circle.y
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            roots = _roots(np.ones_like(lift), self.cross + lift * self.climb, self.off + lift**2 - circle.radius**2)
            return [np.where(self._ends_within(circle, e), e, -np.inf) for e in roots]

    def _ends_within(self, circle: _Circle, e: Array) -> NDArray[np.bool_]:
        r, y = self.at(e)
        r, y = r - circle.r, y - circle.y
        middle, side = r * circle.dr + y * circle.dy, np.abs(r * circle.dy - y * circle.dr)
        hits: NDArray[np.bool_] = (
            (middle >= -_TOUCHES_MM) & (side >= circle.near - _TOUCHES_MM) & (side <= circle.far + _TOUCHES_MM)
        )
        return hits & (np.abs(np.hypot(r, y) - circle.radius) < _MET_MM)

    def with_ring(self, circle: _Circle) -> list[Array]:
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
            return [np.where((e >= near - _TOUCHES_MM) & self._ends_within(circle, e), e, -np.inf)]


def _away(circle: _Circle, r: Array, y: Array) -> Array:
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


@dataclass(frozen=True, slots=True)
class Blade:
    """A fixed tool: flat, in the plane of outward and level."""

    edge: Edge

    def depth(self, rays: Rays, tip: Array, outward: Array, level: Array) -> Array:
        """Return how deep rays go until they meet the blade in poses, mm: -inf where they miss it, or run along it."""
        across = np.cross(outward, level)
        climb = np.vecdot(rays.way, across)
        crosses = np.abs(climb) > _RUNS_ALONG
        deep = np.vecdot((tip - rays.start), across) / np.where(crosses, climb, 1.0)
        meets = crosses & (deep <= rays.most)
        place = rays.start + np.where(meets, deep, 0.0)[:, None] * rays.way - tip
        meets &= np.vecdot(place, outward) >= self.edge.at(np.vecdot(place, level))
        return np.where(meets, deep, -np.inf)

    def swept(self, path: Path, rays: Rays, pieces: Piece) -> Array:
        """Return how deep rays go until they meet what the blade's edge and sides sweep over in a piece, mm."""
        square = np.cross(rays.way, np.where(np.abs(rays.way[:, [2]]) < 0.8, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]]))
        planes = np.stack([square, np.cross(rays.way, square)], axis=1)
        deepest = np.full(len(rays.start), -np.inf)
        for part, side, first in itertools.product((*self.edge.parts, None), (1.0, -1.0), _STARTS):
            found = self._met(
                path, rays, pieces, planes, partial(self._outline, part, side), first, np.inf if part is None else 1 + 1e-9
            )
            deepest = np.maximum(deepest, found)
        return deepest

    def _outline(self, part: Slant | Arc | None, side: float, at: Array) -> tuple[Array, Array]:
        """Return places of a part of the edge, or of the side above it: across and height, ``at`` from 0 to 1 along it."""
        if part is None:
            return np.full_like(at, side * self.edge.half_width), self.edge.height + at
        if isinstance(part, Slant):
            r = part.near + at * (part.far - part.near)
            return side * r, part.low + part.rise * (r - part.near)
        first, last = np.arcsin(part.near / part.radius), np.arcsin(min(part.far / part.radius, 1.0))
        angle = first + at * (last - first)
        return side * part.radius * np.sin(angle), part.centre - part.radius * np.cos(angle)

    def _met(
        self, path: Path, rays: Rays, pieces: Piece, planes: Array, outline: _Outline, first: tuple[float, float], last: float
    ) -> Array:
        """Return where rays meet the surface that a part of the outline sweeps over, by Newton's way from one start."""
        long = pieces.end - pieces.begin
        at, of = np.full(len(long), first[0]), np.full(len(long), first[1])

        def off(at: Array, of: Array) -> Array:
            tip, outward, level = path.pose(pieces.step, pieces.begin + of * long)
            across, height = outline(at)
            place: Array = tip + across[:, None] * level + height[:, None] * outward - rays.start
            return place

        with np.errstate(all="ignore"):
            for _ in range(_POLISHES):
                miss = np.matvec(planes, off(at, of))
                by_at, by_of = (
                    np.matvec(planes, off(at + a, of + b) - off(at - a, of - b)) / 2e-4 for a, b in ((1e-4, 0.0), (0.0, 1e-4))
                )
                det = by_at[:, 0] * by_of[:, 1] - by_at[:, 1] * by_of[:, 0]
                at = at - np.clip((miss[:, 0] * by_of[:, 1] - miss[:, 1] * by_of[:, 0]) / det, -9.0, 9.0)
                of = of - np.clip((miss[:, 1] * by_at[:, 0] - miss[:, 0] * by_at[:, 1]) / det, -1.0, 1.0)
            place = off(at, of)
            meets = (
                (np.linalg.norm(np.matvec(planes, place), axis=-1) < _TOUCHES_MM)
                & (at >= -1e-9)
                & (at <= last)
                & (of >= -1e-9)
                & (of <= 1 + 1e-9)
            )
            deep = np.vecdot(place, rays.way)
            return np.where(meets & (deep <= rays.most), deep, -np.inf)
