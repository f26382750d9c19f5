"""Compiled carving of a face by an upright cutting frame, which turns uniformly between two points of its path."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.carve.compiled_path import FACE_CELLS, bodies_of, edge_parts, grid_of, steps_at_once
from lobework.geometry.cutter_edge import ArcSegment
from lobework.parts.holder import CuttingFrame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.frame_on_face import Piece

__all__ = ["carve_frame"]

_AT_ONCE: Final = 1 << 13
_MOST_TURN_RAD: Final = 0.05
_CORNER: Final = 1e-9


def carve_frame(stock: Stock, sweep: Sweep, depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a face by one sweep of a cutting frame that stands upright on the face.

    Parameters
    ----------
    stock : Stock
        Stock with a face.
    sweep : Sweep
        Sweep of a cutter in a cutting frame.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    progress : callable
        Called repeatedly with the fraction done, 0 to 1; an exception raised in a call stops the carving.
    """
    from lobework.kernels.sweep import carve
    from lobework.kernels.sweep.tiles import work_in

    assert isinstance(sweep.holder, CuttingFrame)
    outline, bodies = _outline(sweep.edge), bodies_of(sweep.edge)
    grid = grid_of(stock)
    work = work_in(stock.inside)
    at_once = steps_at_once(stock, sweep, FACE_CELLS, _AT_ONCE)
    for done, pieces in _pieces(sweep, math.radians(sweep.holder.angle_deg) + math.pi / 2, at_once):
        carve.carve_frame(pieces, sweep.holder.radius, outline, bodies, bodies.shape[0] == 1, grid, work, depth)
        progress(done)


def _outline(edge: Edge) -> EdgeParts:
    """Return an edge in the layout of the kernels, with its corners marked."""
    before, corners = 0.0, []
    for rise, after in _slopes(edge):
        corners.append(abs(rise - before) > _CORNER)
        before = after
    parts = edge_parts(edge)
    parts["has_corner"] = corners
    return parts


def _slopes(edge: Edge) -> list[tuple[float, float]]:
    """Return the slope of each part of an edge at the inner and the outer end of the part."""
    slopes = []
    for part in edge.parts:
        if isinstance(part, ArcSegment):
            near, far = (math.asin(min(r / part.radius, 1.0)) for r in (part.near, part.far))
            slopes.append((math.tan(near), math.inf if part.far >= part.radius else math.tan(far)))
        else:
            slopes.append((part.slope, part.slope))
    return slopes


class _Steps(NamedTuple):
    """The pieces into which a range of steps is divided.

    ``step`` is the index, in the range, of the step to which each piece belongs; ``begin`` and ``end`` are the fractions of that
    step at the start and the end of the piece; ``cut`` is true if the piece is to be carved. ``done`` is the fraction of the path
    that is done after all these pieces.
    """

    step: NDArray[np.intp]
    begin: Array
    end: Array
    cut: NDArray[np.bool_]
    done: float


def _step_batches(counts: Callable[[slice], NDArray[np.intp]], total: int, at_once: int) -> Iterator[tuple[slice, _Steps]]:
    """Yield the steps of a path in batches of some thousands of pieces.

    A batch also contains the two steps next to its range, one on each side, which are not to be carved. The function ``counts``
    returns the number of pieces of each step in a range; ``at_once`` is the greatest number of steps in a batch.
    """
    for first in range(0, total, at_once):
        upto = min(first + at_once, total)
        ends = np.cumsum(counts(slice(first, upto)))
        breaks = np.searchsorted(ends, np.arange(4 * _AT_ONCE, ends[-1], 4 * _AT_ONCE))
        for low, high in zip(np.unique([0, *breaks]), [*np.unique([0, *breaks])[1:], upto - first], strict=True):
            if low == high:
                continue
            near = slice(max(first + low - 1, 0), min(first + high + 1, total))
            count = counts(near)
            step = np.repeat(np.arange(len(count)), count)
            number = np.arange(len(step)) - np.repeat(np.cumsum(count) - count, count)
            path_step = near.start + step
            cut = (path_step >= first + low) & (path_step < first + high)
            yield near, _Steps(step, number / count[step], (number + 1) / count[step], cut, float((first + high) / total))


def _vectors_at(vectors: Array, which: slice) -> Array:
    """Return the vectors at a range of points; a single vector applies to all points."""
    return np.broadcast_to(vectors, (which.stop - which.start, 3)) if len(vectors) == 1 else vectors[which]


def _pieces(sweep: Sweep, axis_angle: float, at_once: int) -> Iterator[tuple[float, Records[Piece]]]:
    """Yield the pieces of the path in batches for the kernel, each with the fraction of the path that is done after the batch.

    ``axis_angle`` is the angle from ``level`` to the axis of the frame, rad.
    """
    from lobework.kernels.records import of_vectors, zeros
    from lobework.kernels.sweep.frame_on_face import Piece

    tip, total = sweep.tip, max(len(sweep.tip) - 1, 1)

    def turn(which: slice) -> Array:
        level = (
            _vectors_at(sweep.level, slice(which.start, which.stop + 1))
            if len(tip) > 1
            else np.repeat(sweep.level[:1], 2, axis=0)
        )
        x, y = level[:, 0], level[:, 1]
        turned: Array = np.arctan2(x[:-1] * y[1:] - y[:-1] * x[1:], x[:-1] * x[1:] + y[:-1] * y[1:])
        return turned

    def counts(which: slice) -> NDArray[np.intp]:
        return np.maximum(np.ceil(np.abs(turn(which)) / _MOST_TURN_RAD), 1).astype(np.intp)

    for near, steps in _step_batches(counts, total, at_once):
        place = tip[near.start : near.stop + 1]
        move = np.diff(place, axis=0) if len(tip) > 1 else np.zeros((1, 3))
        level = _vectors_at(sweep.level, near)[steps.step]
        begins = np.arctan2(level[:, 1], level[:, 0]) + axis_angle
        turned = turn(near)[steps.step]
        first, last = begins + steps.begin * turned, begins + steps.end * turned
        pieces = zeros(Piece, len(steps.step))
        pieces["tip"] = of_vectors(place[steps.step] + steps.begin[:, None] * move[steps.step])
        pieces["move"] = of_vectors((steps.end - steps.begin)[:, None] * move[steps.step])
        pieces["axis_x"], pieces["axis_y"] = np.cos(first), np.sin(first)
        pieces["turn"], pieces["cuts"] = last - first, steps.cut
        yield steps.done, pieces
