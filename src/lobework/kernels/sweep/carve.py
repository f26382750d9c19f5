"""Carving of depth grids, tile by tile on all threads: one function for each kind of cutter and path.

Each kind of cutter and path has a module with two functions: ``carve_tile`` deepens one tile by the pieces of the path that reach
the tile; ``new_buffers`` returns the scratch buffers of one thread. The type of the cutter selects the module when the loop over
the tiles is compiled.
"""

# numba matches the arguments of an overload by name: it needs all of them, without annotations.
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
    from lobework.kernels.sweep.tiles import Cells, Grid, Int32s, Int64s

__all__ = ["carve_blade", "carve_frame", "carve_level", "carve_sloping", "carve_solid", "carve_upright_blade"]

FUSED: Final = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice; operations are not reordered."""
_WORKERS: Final[dict[type, Any]] = {
    blade.Blade: blade,
    blade_on_face.UprightBlade: blade_on_face,
    frame_on_face.SwungEdge: frame_on_face,
    level_on_face.LevelEdge: level_on_face,
    sloping_on_face.SlopingEdge: sloping_on_face,
    solid.Solid: solid,
}
"""Module that carves a tile, for each kind of cutter."""


def _new_buffers(cutter: Any) -> Any:
    """Return the scratch buffers of one thread."""
    return _WORKERS[type(cutter)].new_buffers()


def _carve_tile(
    positions: Any, cutter: Any, pieces: Any, bounds: Any, chosen: Any, row: int, column: int, buffers: Any, work: Any, depth: Any
) -> None:
    """Deepen one tile by the chosen pieces."""
    _WORKERS[type(cutter)].carve_tile(positions, cutter, pieces, bounds, chosen, row, column, buffers, work, depth)


@overload(_new_buffers)
def _new_buffers_for(cutter):
    make = _WORKERS[cutter.instance_class].new_buffers
    return lambda cutter: make()


@overload(_carve_tile)
def _carve_tile_for(positions, cutter, pieces, bounds, chosen, row, column, buffers, work, depth):
    carve = _WORKERS[cutter.instance_class].carve_tile

    def call(positions, cutter, pieces, bounds, chosen, row, column, buffers, work, depth):
        carve(positions, cutter, pieces, bounds, chosen, row, column, buffers, work, depth)

    return call


@kernel(fastmath=FUSED)
def _carve_share(
    tiles: Int64s,
    tickets: Int64s,
    starts: Int64s,
    order: Int32s,
    positions: Any,
    cutter: Any,
    pieces: Any,
    bounds: Int32s,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen tiles until all tickets are taken."""
    k = next_ticket(tickets)
    if k >= tiles.size:
        return
    buffers = _new_buffers(cutter)
    while k < tiles.size:
        number = tiles[k]
        row, column = corner(number, depth.shape[1])
        chosen = order[starts[number] : starts[number + 1]]
        _carve_tile(positions, cutter, pieces, bounds, chosen, row, column, buffers, work, depth)
        k = next_ticket(tickets)


@kernel(parallel=PRANGE_ALONE, fastmath=FUSED)
def _carve_tiles(
    tiles: Int64s,
    starts: Int64s,
    order: Int32s,
    positions: Any,
    cutter: Any,
    pieces: Any,
    bounds: Int32s,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen all tiles that pieces reach, each tile on one thread."""
    tickets = np.zeros(1, np.int64)
    for _ in prange(SHARES):
        _carve_share(tiles, tickets, starts, order, positions, cutter, pieces, bounds, work, depth)


def _carve(
    positions: Grid | Rays,
    cutter: Any,
    pieces: Any,
    bounds: Int32s,
    work: Int32s,
    depth: Cells,
    count_whole_paths: Callable[[Any], int] | None = None,
) -> None:
    """Deepen a depth grid by pieces of the path, in batches small enough for one call of `bin_to_tiles`.

    ``positions`` gives the positions of the rays. The function ``count_whole_paths``, if given, returns the number of pieces to
    take from each batch except the last.
    """
    wraps = not getattr(positions, "on_face", True)
    taken = 0
    while taken < len(bounds):
        starts, order, count = bin_to_tiles(bounds[taken:], depth.shape[0], depth.shape[1], wraps, MOST_REFERENCES)
        if count_whole_paths is not None and taken + count < len(bounds):
            count = count_whole_paths(pieces[taken : taken + count])
        some = slice(taken, taken + count)
        _carve_tiles(busy_tiles(starts), starts, order, positions, cutter, pieces[some], bounds[some], work, depth)
        taken += count


def carve_level(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, work: Int32s, depth: Cells) -> None:
    """Deepen a face by level segments.

    Parameters
    ----------
    segments : (n,) Segment
        Segments of the path; carving is faster if segments of equal depth are adjacent.
    parts : (p,) EdgePart
        Parts of the edge.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 if the edge revolves about its own centre line.
    grid : Grid
        Positions of the cells of the face.
    work : (rows, 2) int32
        In each row, the first column with work under it, and the column after the last such column.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    """
    bounds = np.zeros((segments.shape[0], 4), np.int32)
    bounds_of_all(segments, parts, swing, grid, bounds)
    cutter = level_on_face.LevelEdge(parts, swing)
    _carve(grid, cutter, segments, bounds, work, depth, level_on_face.count_to_last_path_end)


def carve_sloping(segments: Segments, parts: EdgeParts, swing: float, grid: Grid, work: Int32s, depth: Cells) -> None:
    """Deepen a face by segments that rise or are level.

    Parameters
    ----------
    segments : (n,) Segment
        Segments of the path.
    parts : (p,) EdgePart
        Parts of the edge; only straight parts if the edge is swung.
    swing : float, mm
        Radius of the circle in which the edge is swung; 0 if the edge revolves about its own centre line.
    grid : Grid
        Positions of the cells of the face.
    work : (rows, 2) int32
        In each row, the first column with work under it, and the column after the last such column.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    """
    bounds = np.zeros((segments.shape[0], 4), np.int32)
    bounds_of_all(segments, parts, swing, grid, bounds)
    _carve(grid, sloping_on_face.SlopingEdge(parts, swing), segments, bounds, work, depth)


def carve_upright_blade(pieces: Records[blade_on_face.Piece], outline: EdgeParts, grid: Grid, work: Int32s, depth: Cells) -> None:
    """Deepen a face by an upright blade that moves along pieces of the path.

    Parameters
    ----------
    pieces : (n,) Piece
        Pieces of the path with the first six fields set; this function sets the other fields. The direction of the blade is
        interpolated linearly over a piece, so the turn over a piece must be small.
    outline : (k,) EdgePart
        Edge of the cutter, from the centre line outwards.
    grid : Grid
        Positions of the cells of the face.
    work : (rows, 2) int32
        In each row, the first column with work under it, and the column after the last such column.
    depth : (rows, columns) float32
        Depths of the rays; increased in place.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    blade_on_face.prepare(pieces, outline, grid, bounds)
    _carve(grid, blade_on_face.UprightBlade(outline), pieces, bounds, work, depth)


def carve_frame(
    pieces: Records[frame_on_face.Piece],
    radius: float,
    outline: EdgeParts,
    bodies: Records[Body],
    single_body: bool,
    grid: Grid,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen a face by the solid of revolution of an upright cutting frame that moves along pieces of the path.

    Parameters
    ----------
    pieces : (n,) Piece
        Pieces of the path with the fields up to ``cuts`` set; this function sets the other fields.
    radius : float, mm
        Distance from the axis to the tip.
    outline : (k,) EdgePart
        Edge of the cutter, from the centre line outwards, with its corners marked.
    bodies : (m,) Body
        Convex stretches of the outline.
    single_body : bool
        Whether the outline has only one convex stretch.
    grid : Grid
        Positions of the cells of the face.
    work : (rows, 2) int32
        In each row, the first column with work under it, and the column after the last such column.
    depth : (rows, columns) float32
        Depths of the rays; increased in place.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    frame_on_face.prepare(pieces, radius, outline, single_body, grid, bounds)
    _carve(grid, frame_on_face.SwungEdge(radius, outline, bodies), pieces, bounds, work, depth)


def carve_blade(
    pieces: Records[Piece], outline: EdgeParts, bodies: Records[Body], rays: Rays, work: Int32s, depth: Cells
) -> None:
    """Deepen any stock by a blade that moves along pieces of the path.

    Parameters
    ----------
    pieces : (n,) Piece
        Pieces of the path with the fields up to ``level_turn`` set; this function sets the other fields. Over a piece, the path
        may turn by at most 1/20 rad about the work's axis, and the blade by at most 1/30 rad.
    outline : (k,) EdgePart
        Edge of the cutter, from the centre line outwards.
    bodies : (m,) Body
        Convex stretches of the outline.
    rays : Rays
        Rays of the stock.
    work : (rows, 2) int32
        In each row, the first column with work under it, and the column after the last such column.
    depth : (rows, columns) float32
        Depths of the rays; increased in place.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    surface_height = 0.0 if rays.on_face else float(rays.rows["radius"].max())
    blade.prepare(pieces, outline, rays, surface_height, bounds)
    _carve(rays, blade.Blade(outline, bodies), pieces, bounds, work, depth)


def carve_solid(
    pieces: Records[solid_piece.Piece],
    edge: EdgeParts,
    shape: tuple[int, float],
    outline: Records[SolidPart],
    bodies: Records[solid.SolidBody],
    rays: Rays,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen any stock by a solid of revolution that moves along pieces of the path.

    Parameters
    ----------
    pieces : (n,) Piece
        Pieces of the path with the first twelve fields set; this function sets the other fields. The turn over a piece may be at
        most 1/30 rad.
    edge : (k,) EdgePart
        Edge of the cutter, from the centre line outwards.
    shape : (int, float)
        `DRILL` and zero; `FRAME` and the radius of the swing, mm; or `RING` and the radius of the circle, mm.
    outline : (p,) SolidPart
        Outlines of the solids.
    bodies : (m,) SolidBody
        The solids; all are convex, except a ring.
    rays : Rays
        Rays of the stock.
    work : (rows, 2) int32
        In each row, the first column with work under it, and the column after the last such column.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    """
    bounds = np.zeros((pieces.shape[0], 4), np.int32)
    surface_height = 0.0 if rays.on_face else float(rays.rows["radius"].max())
    solid_piece.prepare(pieces, edge, shape, rays, surface_height, bounds)
    _carve(rays, solid.Solid(outline, bodies, *shape), pieces, bounds, work, depth)
