"""Depth grids carved by a cutter along its path, tile by tile and on every thread: one function for each kind of cutter and path.

Each kind has a module with a ``carve_tile``, which deepens one tile by the pieces of path that reach it, and a ``room``, which
gives one thread what it works in. The type of the cutter chooses between them as the loop over the tiles is compiled.
"""

# The compiler knows an overload's arguments by their names: it needs them all, and no annotations.
# ruff: noqa: ANN001, ANN202, ARG001, ARG005
# mypy: disable-error-code="no-untyped-call, no-untyped-def"

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numba import prange
from numba.extending import overload

from lobework.kernels.jit import kernel
from lobework.kernels.sweep import blade, blade_on_face, frame_on_face, level_on_face, sloping_on_face, solid, solid_piece
from lobework.kernels.sweep.slab import bounds_of_all
from lobework.kernels.sweep.tiles import MOST_REFERENCES, PRANGE_ALONE, SHARES, bin_to_tiles, busy_tiles, corner, next_ticket

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.ray_blade import Body, Piece
    from lobework.kernels.sweep.ray_solid import SolidPart
    from lobework.kernels.sweep.rays import Rays
    from lobework.kernels.sweep.segments import Segments
    from lobework.kernels.sweep.tiles import Cells, Counts, Grid, Whole

__all__ = ["carve_blade", "carve_frame", "carve_level", "carve_sloping", "carve_solid", "carve_upright_blade"]

FUSED: Final = {"contract"}
"""A product and a sum may be fused, which rounds once instead of twice; nothing is reordered."""
_WORKERS: Final[dict[type, Any]] = {
    blade.Blade: blade,
    blade_on_face.UprightBlade: blade_on_face,
    frame_on_face.SwungEdge: frame_on_face,
    level_on_face.LevelEdge: level_on_face,
    sloping_on_face.SlopingEdge: sloping_on_face,
    solid.Solid: solid,
}
"""Of each kind of cutter, the module that carves a tile by it."""


def _room(cutter: Any) -> Any:
    """Return what one thread works in."""
    return _WORKERS[type(cutter)].room()


def _carve_tile(
    place: Any, cutter: Any, pieces: Any, bounds: Any, chosen: Any, row: int, column: int, room: Any, work: Any, depth: Any
) -> None:
    """Deepen one tile by the chosen pieces."""
    _WORKERS[type(cutter)].carve_tile(place, cutter, pieces, bounds, chosen, row, column, room, work, depth)


@overload(_room)
def _room_for(cutter):
    make = _WORKERS[cutter.instance_class].room
    return lambda cutter: make()


@overload(_carve_tile)
def _carve_tile_for(place, cutter, pieces, bounds, chosen, row, column, room, work, depth):
    carve = _WORKERS[cutter.instance_class].carve_tile

    def call(place, cutter, pieces, bounds, chosen, row, column, room, work, depth):
        carve(place, cutter, pieces, bounds, chosen, row, column, room, work, depth)

    return call


@kernel(fastmath=FUSED)
def _share(
    tiles: Counts,
    tickets: Counts,
    starts: Counts,
    order: Whole,
    place: Any,
    cutter: Any,
    pieces: Any,
    bounds: Whole,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen tiles, as many as there are tickets."""
    k = next_ticket(tickets)
    if k >= tiles.size:
        return
    room = _room(cutter)
    while k < tiles.size:
        number = tiles[k]
        row, column = corner(number, depth.shape[1])
        chosen = order[starts[number] : starts[number + 1]]
        _carve_tile(place, cutter, pieces, bounds, chosen, row, column, room, work, depth)
        k = next_ticket(tickets)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve_tiles(
    tiles: Counts,
    starts: Counts,
    order: Whole,
    place: Any,
    cutter: Any,
    pieces: Any,
    bounds: Whole,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, a thread a tile."""
    tickets = np.zeros(1, np.int64)
    for _ in prange(SHARES):
        _share(tiles, tickets, starts, order, place, cutter, pieces, bounds, work, depth)


def _carve(
    place: Grid | Rays,
    cutter: Any,
    pieces: Any,
    bounds: Whole,
    work: Whole,
    depth: Cells,
    whole: Callable[[Any], int] | None = None,
) -> None:
    """Deepen depths by pieces of path, as many at a time as can be binned to tiles.

    ``place`` is where the rays are; ``whole``, if given, is how many of some pieces to take when not all are left.
    """
    wraps = not getattr(place, "on_face", True)
    taken = 0
    while taken < len(bounds):
        starts, order, more = bin_to_tiles(bounds[taken:], depth.shape[0], depth.shape[1], wraps, MOST_REFERENCES)
        if whole is not None and taken + more < len(bounds):
            more = whole(pieces[taken : taken + more])
        some = slice(taken, taken + more)
        _carve_tiles(busy_tiles(starts), starts, order, place, cutter, pieces[some], bounds[some], work, depth)
        taken += more


def carve_level(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, work: Whole, depth: Cells) -> None:
    """Deepen a face by level segments.

    Parameters
    ----------
    segments : (n,) Segment
        Of the path; those of one depth best stand together.
    parts : (p,) EdgePart
        Of the edge.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 where it revolves about its own middle line.
    grid : Grid
        Of the face.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the one after the last.
    depth : (rows, columns) float32, mm
        Deepened.
    """
    bounds = np.zeros((segments.shape[0], 4), np.int32)
    bounds_of_all(segments, parts, swing, grid, bounds)
    cutter = level_on_face.LevelEdge(parts, swing)
    _carve(grid, cutter, segments, bounds, work, depth, level_on_face.whole_paths)


def carve_sloping(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, work: Whole, depth: Cells) -> None:
    """Deepen a face by segments that rise, or are level.

    Parameters
    ----------
    segments : (n,) Segment
        Of the path.
    parts : (p,) EdgePart
        Of the edge. Slants alone where it is swung.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 where it revolves about its own middle line.
    grid : Grid
        Of the face.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the one after the last.
    depth : (rows, columns) float32, mm
        Deepened.
    """
    bounds = np.zeros((segments.shape[0], 4), np.int32)
    bounds_of_all(segments, parts, swing, grid, bounds)
    _carve(grid, sloping_on_face.SlopingEdge(parts, swing), segments, bounds, work, depth)


def carve_upright_blade(pieces: Records[blade_on_face.Piece], outline: EdgeParts, grid: Grid, work: Whole, depth: Cells) -> None:
    """Deepen a face's depths by a blade that goes along pieces of path.

    Parameters
    ----------
    pieces : (n,) Piece
        Of the path, the first eight fields filled; the others are filled here. A blade turns from the one way to the other by
        their straight blend, so that pieces must turn little.
    outline : (k,) EdgePart
        Of the cutter, from the middle line outwards.
    grid : Grid
        Of the face.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    blade_on_face.prepare(pieces, outline, grid, bounds)
    _carve(grid, blade_on_face.UprightBlade(outline), pieces, bounds, work, depth)


def carve_frame(
    pieces: Records[frame_on_face.Piece],
    radius: float,
    outline: EdgeParts,
    bodies: Records[Body],
    one: bool,
    grid: Grid,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen a face's depths by a solid of revolution that goes along pieces of path.

    Parameters
    ----------
    pieces : (n,) Piece
        Of the path, the fields up to ``cuts`` filled.
    radius : float, mm
        From the axis to the tip.
    outline : (k,) EdgePart
        Of the cutter, from the middle line outwards, with its corners.
    bodies : (m,) Body
        The stretches of the outline that do not bend inwards.
    one : bool
        Whether there is one such stretch alone.
    grid : Grid
        Of the face.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    frame_on_face.prepare(pieces, radius, outline, one, grid, bounds)
    _carve(grid, frame_on_face.SwungEdge(radius, outline, bodies), pieces, bounds, work, depth)


def carve_blade(pieces: Records[Piece], outline: EdgeParts, bodies: Records[Body], rays: Rays, work: Whole, depth: Cells) -> None:
    """Deepen depths by a blade that goes along pieces of path.

    Parameters
    ----------
    pieces : (n,) Piece
        Of the path, those fields filled that its docstring names; the others are filled here. Pieces must turn little: a
        twentieth of a radian about the axis at the most, and a thirtieth by themselves.
    outline : (k,) EdgePart
        Of the cutter, from the middle line outwards.
    bodies : (m,) Body
        The stretches of the outline that do not bend inwards.
    rays : Rays
        Of the stock.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    most = 0.0 if rays.on_face else float(rays.rows["radius"].max())
    blade.prepare(pieces, outline, rays, most, bounds)
    _carve(rays, blade.Blade(outline, bodies), pieces, bounds, work, depth)


def carve_solid(
    pieces: Records[solid_piece.Piece],
    edge: EdgeParts,
    shape: tuple[int, float],
    outline: Records[SolidPart],
    bodies: Records[solid.SolidBody],
    rays: Rays,
    work: Whole,
    depth: Cells,
) -> None:
    """Deepen depths by a solid of revolution that goes along pieces of path.

    Parameters
    ----------
    pieces : (n,) Piece
        Of the path, the first twelve fields filled. Pieces must turn little: a thirtieth of a radian at the most.
    edge : (k,) EdgePart
        Of the cutter, from the middle line outwards.
    shape : (int, float)
        `DRILL` and zero; `FRAME` and the radius of the swing, mm; or `RING` and the radius of the circle, mm.
    outline : (p,) SolidPart
        Of the solids.
    bodies : (m,) SolidBody
        The solids. They are convex, but for a ring.
    rays : Rays
        Of the stock.
    work : (rows, 2) int32
        Of each row, the first column with work under it, and the column after the last.
    depth : (rows, columns) float32, mm
        Deepened.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    most = 0.0 if rays.on_face else float(rays.rows["radius"].max())
    solid_piece.prepare(pieces, edge, shape, rays, most, bounds)
    _carve(rays, solid.Solid(outline, bodies, *shape), pieces, bounds, work, depth)
