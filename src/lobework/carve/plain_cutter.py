"""Cutters as the plain way of carving meets them: how deep a ray goes until it leaves a cutter that stands in a pose."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from lobework.carve.plain_meeting import TOUCHES_MM, Circle, Line, Meeting
from lobework.carve.plain_path import swung
from lobework.geometry.cutter_edge import ArcSegment, LineSegment
from lobework.parts.holder import CuttingFrame

if TYPE_CHECKING:
    from lobework.carve.plain_path import Path, Piece, Rays
    from lobework.carve.sweep import Sweep
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array

__all__ = ["Blade", "Solid"]

_Outline = Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]

_RUNS_ALONG: Final = 1e-12
"""Sine of the angle between a ray and a blade's plane, below which the angle is rounding alone."""
_POLISHES: Final = 8
_NUDGE: Final = 1e-4
"""How far along the outline and in a piece a place is moved to see how it goes on."""
_STARTS: Final = ((0.5, 0.2), (0.5, 0.8), (0.05, 0.5))


@dataclass(frozen=True, slots=True)
class Solid:
    """A solid of revolution: the outline of its half, r from its axis and y along it."""

    lines: tuple[Line, ...]
    circles: tuple[Circle, ...]
    skins: tuple[Line, ...]
    rims: tuple[tuple[float, float], ...]
    edge: Edge
    swung: float
    frame: CuttingFrame | None

    @classmethod
    def of(cls, sweep: Sweep) -> Solid:
        """Return the solid that the edge describes as it revolves."""
        edge, frame = sweep.edge, sweep.holder if isinstance(sweep.holder, CuttingFrame) else None
        off = swung(sweep)
        parts: list[Line | Circle] = []
        for side in (1, -1):
            parts += _outline_about_outward(edge, off, side) if frame is None else _outline_in_frame(edge, frame.radius, side)
        lines = tuple(part for part in parts if isinstance(part, Line))
        circles = tuple(dict.fromkeys(part for part in parts if isinstance(part, Circle)))
        skins = {line[:4]: line for line in lines if line.dy}
        if frame is None:
            beside = (off + side * part.far for part in edge.parts for side in (1, -1))
            skins |= {(r, 0.0, 0.0, 1.0): Line(r, 0.0, 0.0, 1.0, np.inf) for r in beside if r > 0}
        ends = [(part.r, part.y) for part in lines]
        ends += [(part.r + part.dr * part.long, part.y + part.dy * part.long) for part in lines if part.long < np.inf]
        ends += [end for circle in circles for end in _ends(circle)]
        rims = tuple(dict.fromkeys((round(r, 12), round(y, 12)) for r, y in ends if r > 0))
        return cls(lines, circles, tuple(skins.values()), rims, edge, off, frame)

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
        meeting = Meeting.of(off, rays.way, axis)
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

    def through(self, rays: Rays, tip: Array, outward: Array, level: Array) -> Array:
        """Return numbers, (n, k), that are positive where rays pass through what bounds the solid, part by part.

        While a solid without hollows goes straight on, the poses in which it meets a ray follow one another. In the first and
        in the last of them the ray touches a cone, cylinder, sphere or ring of the outline, or a rim between two of these. So
        one of these numbers is at its greatest while the ray is met; all but a ring's are parabolas along the path.
        """
        origin, axis = self.axis(tip, outward, level)
        meeting = Meeting.of(rays.start - origin, rays.way, axis)
        found = [meeting.through_line(line) for line in self.skins]
        found += [meeting.through_rim(*rim) for rim in self.rims]
        for circle in self.circles:
            found += [meeting.through_sphere(circle)] if circle.r == 0 else meeting.through_ring(circle)
        return np.stack(found, axis=-1)


def _outline_about_outward(edge: Edge, off: float, side: int) -> Iterator[Line | Circle]:
    """Yield the parts of the edge on one side of its middle line, which stands ``off`` mm off the axis."""
    for part in edge.parts:
        if isinstance(part, ArcSegment):
            yield Circle(off, part.centre, part.radius, 0.0, -1.0, part.near, part.far)
        else:
            ends = ((off + side * r, part.low + part.rise * (r - part.near)) for r in (part.near, part.far))
            yield from _line(*ends)
    if off + side * edge.half_width >= 0:
        yield Line(off + side * edge.half_width, edge.height, 0.0, 1.0, np.inf)


def _outline_in_frame(edge: Edge, radius: float, side: int) -> Iterator[Line | Circle]:
    """Yield the parts of the edge on one side of its middle line, as a frame of this radius swings it."""
    for part in edge.parts:
        if isinstance(part, ArcSegment):
            yield Circle(radius - part.centre, 0.0, part.radius, 1.0, 0.0, part.near, part.far)
        else:
            ends = ((radius - part.low - part.rise * (r - part.near), side * r) for r in (part.near, part.far))
            yield from _line(*ends)
    yield from _line((0.0, side * edge.half_width), (radius - edge.height, side * edge.half_width))


def _ends(circle: Circle) -> Iterator[tuple[float, float]]:
    """Yield both ends of a round part, on both sides of the line to its middle."""
    for aside in (circle.near, circle.far):
        along = float(np.sqrt(max(circle.radius**2 - aside**2, 0.0)))
        for side in (aside, -aside):
            yield circle.r + along * circle.dr + side * circle.dy, circle.y + along * circle.dy - side * circle.dr


def _line(a: tuple[float, float], b: tuple[float, float]) -> Iterator[Line]:
    """Yield the part of a line that is on the outline's side of the axis, if any is."""
    (r0, y0), (r1, y1) = sorted((a, b))
    if r1 < 0 or a == b:
        return
    if r0 < 0:
        r0, y0 = 0.0, y0 + (y1 - y0) * -r0 / (r1 - r0)
    long = float(np.hypot(r1 - r0, y1 - y0))
    if long > 0:
        yield Line(r0, y0, (r1 - r0) / long, (y1 - y0) / long, long)


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

    def _outline(self, part: LineSegment | ArcSegment | None, side: float, at: Array) -> tuple[Array, Array]:
        """Return places of a part of the edge, or of the side above it: across and height, ``at`` from 0 to 1 along it."""
        if part is None:
            return np.full_like(at, side * self.edge.half_width), self.edge.height + at
        if isinstance(part, LineSegment):
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

        def posed(of: Array) -> tuple[Array, Array, Array]:
            return path.pose(pieces.step, pieces.begin + of * long)

        def off(at: Array, tip: Array, outward: Array, level: Array) -> Array:
            across, height = outline(at)
            place: Array = tip + across[:, None] * level + height[:, None] * outward - rays.start
            return place

        with np.errstate(all="ignore"):
            for _ in range(_POLISHES):
                here = posed(of)
                miss = np.matvec(planes, off(at, *here))
                by_at = np.matvec(planes, off(at + _NUDGE, *here) - off(at - _NUDGE, *here)) / (2 * _NUDGE)
                by_of = np.matvec(planes, off(at, *posed(of + _NUDGE)) - off(at, *posed(of - _NUDGE))) / (2 * _NUDGE)
                det = by_at[:, 0] * by_of[:, 1] - by_at[:, 1] * by_of[:, 0]
                at = at - np.clip((miss[:, 0] * by_of[:, 1] - miss[:, 1] * by_of[:, 0]) / det, -9.0, 9.0)
                of = of - np.clip((miss[:, 1] * by_at[:, 0] - miss[:, 0] * by_at[:, 1]) / det, -1.0, 1.0)
            place = off(at, *posed(of))
            meets = (
                (np.linalg.norm(np.matvec(planes, place), axis=-1) < TOUCHES_MM)
                & (at >= -1e-9)
                & (at <= last)
                & (of >= -1e-9)
                & (of <= 1 + 1e-9)
            )
            deep = np.vecdot(place, rays.way)
            return np.where(meets & (deep <= rays.most), deep, -np.inf)
