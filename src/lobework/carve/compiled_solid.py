"""Compiled carving of any surface by solids of revolution: cutters in a drilling spindle or a frame, upright or inclined."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.carve.compiled_path import SOLID_CELLS, edge_parts, pieces_of, rays_of, steps_at_once, stretches
from lobework.geometry.cutter_edge import ArcSegment, LineSegment
from lobework.geometry.surface import Round
from lobework.parts.holder import CuttingFrame, EccentricFrame

if TYPE_CHECKING:
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.solid import SolidBody
    from lobework.kernels.sweep.solid_piece import Piece
    from lobework.parts.holder import Holder


__all__ = ["carve_solid"]

_MOST_TURN_RAD: Final = 0.03
_MOST_TURN_TIMES_LENGTH_MM: Final = 1e-4


def carve_solid(stock: Stock, sweep: Sweep, depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a stock by one sweep of a cutter that revolves about its own centre line or is swung by a frame.

    Parameters
    ----------
    stock : Stock
        Stock with any surface.
    sweep : Sweep
        Sweep of a cutter in any holder except a fixed rest.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    progress : callable
        Called repeatedly with the fraction done, 0 to 1; an exception raised in a call stops the carving.
    """
    from lobework.kernels.sweep import carve
    from lobework.kernels.sweep.tiles import work_in

    outline, bodies = _outline(sweep.edge, sweep.holder)
    shape = _shape(sweep.holder)
    rays = rays_of(stock)
    work = work_in(stock.inside)
    at_once = steps_at_once(stock, sweep, SOLID_CELLS)
    for done, pieces in _pieces(sweep, isinstance(stock.surface, Round), at_once):
        carve.carve_solid(pieces, edge_parts(sweep.edge), shape, outline, bodies, rays, work, depth)
        progress(done)


def _shape(holder: Holder) -> tuple[int, float]:
    from lobework.kernels.sweep.solid_piece import DRILL, FRAME, RING

    if isinstance(holder, CuttingFrame):
        return FRAME, holder.radius
    return (RING, holder.radius) if isinstance(holder, EccentricFrame) else (DRILL, 0.0)


def _outline(edge: Edge, holder: Holder) -> tuple[Records[SolidPart], Records[SolidBody]]:
    """Return outlines of solids whose union is what the edge describes, in the layout of `lobework.kernels.sweep.ray_solid`.

    Each convex stretch of the edge is filled inwards to the centre line at the height of its lower end. The filled stretch
    describes a convex solid, which lies within the whole solid because the height of an edge never decreases outwards. An edge
    that is swung in a circle describes one solid. The outline of this solid is followed by the outline of a cylinder around it;
    the second outline is not assigned to any solid.
    """
    from lobework.kernels.records import zeros
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.solid import SolidBody

    parts: list[_Line | _Ring] = []
    ends = [0]
    if isinstance(holder, EccentricFrame):
        for side in (1, -1):
            parts += _ring_side(edge, holder.radius, side)
        ends.append(len(parts))
        cylinder_radius = holder.radius + edge.half_width
        parts += [*_line((0.0, 0.0), (cylinder_radius, 0.0), 1), _Line(cylinder_radius, 0.0, 0.0, 1.0, math.inf, 1.0)]
    else:
        for first, after in stretches(edge):
            stretch = edge.parts[first:after]
            parts += _about_outward(stretch) if not isinstance(holder, CuttingFrame) else _in_frame(stretch, holder.radius)
            ends.append(len(parts))
    outline, bodies = zeros(SolidPart, len(parts)), zeros(SolidBody, len(ends) - 1)
    for name in SolidPart.__annotations__:
        outline[name] = [getattr(part, name, 0.0) for part in parts]
    bodies["first"], bodies["after"] = ends[:-1], ends[1:]
    return outline, bodies


class _Line(NamedTuple):
    """A straight part of a solid's outline: see `lobework.kernels.sweep.ray_solid.SolidPart`."""

    r: float
    y: float
    direction_r: float
    direction_y: float
    length: float
    side: float


class _Ring(NamedTuple):
    """An arc of a solid's outline: see `lobework.kernels.sweep.ray_solid.SolidPart`."""

    r: float
    y: float
    radius: float
    direction_r: float
    direction_y: float
    near: float
    far: float
    is_arc: bool = True


def _line(a: tuple[float, float], b: tuple[float, float], side: int) -> Iterator[_Line | _Ring]:
    """Yield the straight part of an outline between two points (r, y), limited to r >= 0; nothing if no length remains."""
    if a == b or max(a[0], b[0]) < 0:
        return
    if min(a[0], b[0]) < 0:
        on_axis = (0.0, a[1] + (b[1] - a[1]) * a[0] / (a[0] - b[0]))
        a, b = (on_axis, b) if a[0] < 0 else (a, on_axis)
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    if length > 0:
        yield _Line(a[0], a[1], (b[0] - a[0]) / length, (b[1] - a[1]) / length, length, float(side))


def _ends(part: LineSegment) -> tuple[tuple[float, float], tuple[float, float]]:
    return (part.near, part.low), (part.far, part.low + part.slope * (part.far - part.near))


def _outer_height(part: LineSegment | ArcSegment) -> float:
    return float(part.at(np.array(part.far)))


def _about_outward(stretch: tuple[LineSegment | ArcSegment, ...]) -> Iterator[_Line | _Ring]:
    """Yield the outline of the solid that a stretch of an edge describes about the cutter's own centre line."""
    yield from _line((0.0, stretch[0].low), (stretch[0].near, stretch[0].low), 1)
    for part in stretch:
        if isinstance(part, ArcSegment):
            yield _Ring(0.0, part.centre, part.radius, 0.0, -1.0, part.near, part.far)
        else:
            yield from _line(*_ends(part), 1)
    yield _Line(stretch[-1].far, _outer_height(stretch[-1]), 0.0, 1.0, math.inf, 1.0)


def _in_frame(stretch: tuple[LineSegment | ArcSegment, ...], radius: float) -> Iterator[_Line | _Ring]:
    """Yield the outline of the solid that a stretch of an edge describes in a cutting frame."""
    first, last = stretch[0], stretch[-1]
    yield from _line((radius - first.low, -first.near), (radius - first.low, first.near), 1)
    for part in stretch:
        if isinstance(part, ArcSegment):
            yield _Ring(radius - part.centre, 0.0, part.radius, 1.0, 0.0, part.near, part.far)
    for side in (1, -1):
        for part in stretch:
            if isinstance(part, LineSegment):
                (near, low), (far, high) = _ends(part)
                yield from _line((radius - low, side * near), (radius - high, side * far), side)
        yield from _line((radius - _outer_height(last), side * last.far), (0.0, side * last.far), side)


def _ring_side(edge: Edge, radius: float, side: int) -> Iterator[_Line | _Ring]:
    """Yield one side of the outline of the ring that an edge describes in an eccentric frame."""
    for part in edge.parts:
        if isinstance(part, LineSegment):
            (near, low), (far, high) = _ends(part)
            yield from _line((radius + side * near, low), (radius + side * far, high), side)
        elif side > 0:
            yield _Ring(radius, part.centre, part.radius, 0.0, -1.0, part.near, part.far)
    if radius + side * edge.half_width >= 0:
        yield _Line(radius + side * edge.half_width, edge.height, 0.0, 1.0, math.inf, float(side))


def _pieces(sweep: Sweep, around: bool, at_once: int) -> Iterator[tuple[float, Records[Piece]]]:
    """Yield the pieces of the path in batches for the kernel, each with the fraction of the path that is done after the batch."""
    from lobework.kernels.records import of_vectors, zeros
    from lobework.kernels.sweep.solid_piece import Piece

    longest = sweep.edge.half_width / 2 if isinstance(sweep.holder, EccentricFrame) else math.inf
    swing = sweep.holder.radius if isinstance(sweep.holder, CuttingFrame) else 0.0
    reach = 2 * swing + sweep.edge.half_width + sweep.edge.height
    for some in pieces_of(sweep, around, _MOST_TURN_RAD, longest, reach, _MOST_TURN_TIMES_LENGTH_MM, at_once):
        axes = [_axis(sweep.holder, frame) for frame in some.frames]
        centres = [tip + swing * frame[:, :, 2] for tip, frame in zip(some.tips, some.frames, strict=True)]
        pieces = zeros(Piece, len(some.polar))
        pieces["polar"], pieces["swept"] = some.polar, some.swept
        for (begin, half_way, end), name, change, bow in (
            (centres, "centre", "move", "bow"),
            (axes, "axis", "axis_turn", "axis_bow"),
        ):
            pieces[name], pieces[change] = of_vectors(begin), of_vectors(end - begin)
            pieces[bow] = of_vectors(4 * half_way - 2 * (begin + end))
        pieces["tip_begin"], pieces["tip_end"] = of_vectors(some.tips[0]), of_vectors(some.tips[2])
        pieces["out_begin"], pieces["out_end"] = of_vectors(some.frames[0][:, :, 2]), of_vectors(some.frames[2][:, :, 2])
        yield some.done, pieces


def _axis(holder: Holder, frame: Array) -> Array:
    """Return the axis about which a cutter revolves, (n, 3), from (n, 3, 3) frames with the columns level, across and outward."""
    if not isinstance(holder, CuttingFrame):
        return frame[:, :, 2]
    angle = math.radians(holder.angle_deg)
    axis: Array = math.cos(angle) * frame[:, :, 1] - math.sin(angle) * frame[:, :, 0]
    return axis
