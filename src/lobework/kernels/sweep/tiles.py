"""Tiles of a depth grid: the pieces of the path that reach each tile, and the layout of a tile in memory.

A tile is 128 x 128 cells. While a tile is carved, it is stored as a (1024, 16) C-contiguous float32 array of 4 x 4 patches, each
one cache line. The cell (row, column) of the tile is in patch ``row // 4 * 32 + column // 4`` and in lane
``row % 4 * 4 + column % 4``. Tiles are numbered row by row, and so are the patches within a tile; the last tile of a row or
column may extend beyond the grid.

`lobework.kernels.sweep.carve` carves each tile on one thread, so that no two threads write the same cell.

What the arrays hold:

* ``depth`` : (rows, columns) float32, mm: the grid, with the rows and columns of the stock.
* ``bounds`` : (pieces, 4) int32: the range of cells that each piece of the path reaches, in columns `LOW_ROW` to `HIGH_COLUMN`.
* ``work`` : (rows, 2) int32: the range of columns with work in each row, in columns `FIRST` and `AFTER`.
* ``tile`` : (1024, 16) float32, mm: one tile of depths, in the layout above.
* ``starts`` : (tiles + 1,) int64, ``order`` : (m,) int32: the pieces that reach each tile, as `bin_to_tiles` returns them.
* ``tiles`` : (k,) int64: numbers of tiles; ``tickets`` : (1,) int64: index in ``tiles`` of the next one to carve.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
from numba import types
from numba.extending import intrinsic

from lobework.kernels.jit import COMPILED, kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Cells = NDArray[np.float32]
    Int32s = NDArray[np.int32]
    Int64s = NDArray[np.int64]

__all__ = [
    "AFTER",
    "FIRST",
    "HIGH_COLUMN",
    "HIGH_ROW",
    "LANES",
    "LANE_COLUMN",
    "LANE_ROW",
    "LOW_COLUMN",
    "LOW_ROW",
    "MOST_REFERENCES",
    "NO_CELLS",
    "PATCH",
    "PATCHES",
    "PRANGE_ALONE",
    "SHARES",
    "SIDE",
    "Grid",
    "bin_to_tiles",
    "blank_tile",
    "busy_tiles",
    "cell_above",
    "cell_below",
    "corner",
    "load_tile",
    "next_ticket",
    "patch_columns",
    "patch_rows",
    "store_tile",
    "work_in",
]

_SHIFT: Final = 7
SIDE: Final = 1 << _SHIFT
"""Number of cells along the side of a tile."""
PATCH: Final = 4
"""Number of cells along the side of a patch."""
PATCHES: Final = SIDE // PATCH
"""Number of patches along the side of a tile."""
LANES: Final = PATCH * PATCH
"""Number of cells in a patch."""
SHARES: Final = 64
"""Number of shares of the work for the threads, and so the greatest number of threads."""
PRANGE_ALONE: Any = {
    "comprehension": False,
    "fusion": False,
    "inplace_binop": False,
    "numpy": False,
    "prange": True,
    "reduction": False,
    "setitem": False,
    "stencil": False,
}
"""For ``@kernel(parallel=PRANGE_ALONE)``: only ``prange`` runs in parallel, which shortens compilation."""
MOST_REFERENCES: Final = 1 << 19
"""Greatest number of references from tiles to pieces in one binning: 2 MB."""
LANE_ROW: Final = np.repeat(np.arange(PATCH, dtype=np.float32), PATCH)
"""(16,) float32: the row of each lane within its patch."""
LANE_COLUMN: Final = np.tile(np.arange(PATCH, dtype=np.float32), PATCH)
"""(16,) float32: the column of each lane within its patch."""
_FAR: Final = 1 << 30
LOW_ROW, HIGH_ROW, LOW_COLUMN, HIGH_COLUMN = range(4)
"""Columns of ``bounds``: the range of cells that a piece of the path reaches, inclusive."""
NO_CELLS: Final = (1, 0, 1, 0)
"""Bounds of a piece that reaches no cells."""
FIRST, AFTER = range(2)
"""Columns of ``work``: the first column of the grid with work under it in a row, and the column after the last."""


class Grid(NamedTuple):
    """Positions of the cells of a face: x and y of the first cell, and the spacing of the columns and of the rows, mm."""

    x: float
    y: float
    column_step: float
    row_step: float


@kernel()
def cell_below(place: float) -> int:
    """Return the floor of a position in cells, clamped to plus or minus 2^30; -2^30 if it is NaN."""
    return int(np.floor(min(max(place, -_FAR), _FAR))) if place == place else -_FAR


@kernel()
def cell_above(place: float) -> int:
    """Return the ceiling of a position in cells, clamped to plus or minus 2^30; 2^30 if it is NaN."""
    return int(np.ceil(min(max(place, -_FAR), _FAR))) if place == place else _FAR


@kernel()
def _tiles_along(low: int, high: int, size: int, wraps: bool) -> tuple[int, int, int, int]:
    """Return the tiles that the cells ``low`` to ``high`` touch: first and last tile of two ranges; an empty range is (0, -1)."""
    last = (size - 1) >> _SHIFT
    if not wraps:
        low, high = max(low, 0), min(high, size - 1)
        if low > high:
            return 0, -1, 0, -1
        return low >> _SHIFT, high >> _SHIFT, 0, -1
    if low > high:
        return 0, -1, 0, -1
    if high - low >= size - 1:
        return 0, last, 0, -1
    low, high = low % size, high % size
    if low <= high:
        return low >> _SHIFT, high >> _SHIFT, 0, -1
    return low >> _SHIFT, last, 0, min(high >> _SHIFT, (low >> _SHIFT) - 1)


@kernel()
def bin_to_tiles(bounds: Int32s, rows: int, columns: int, wraps: bool, most: int) -> tuple[Int64s, Int32s, int]:
    """Return the pieces that reach each tile, by a counting sort.

    Parameters
    ----------
    bounds : (n, 4) int32
        Lowest row, highest row, lowest column and highest column of each piece, all inclusive. Rows outside the grid are
        ignored; a piece whose lowest row or column exceeds its highest reaches no cell.
    rows, columns : int
        Number of rows and columns of the grid.
    wraps : bool
        Whether column 0 follows the last column. Then columns are taken modulo ``columns``, and a range of ``columns`` cells or
        more covers the whole row. Otherwise columns outside the grid are ignored.
    most : int
        Greatest number of references from tiles to pieces. Pieces are taken in order as long as their references fit; at
        least one piece is taken.

    Returns
    -------
    starts : (tiles + 1,) int64
        Index in ``order`` of the first piece of each tile, and the index after the last piece of the last tile.
    order : (m,) int32
        Indices of pieces, tile by tile; within a tile in ascending order, each once.
    taken : int
        Number of pieces taken; the other pieces are left for the next call.

    Examples
    --------
    >>> bounds = np.array([[0, 5, 0, 5], [100, 140, 300, 310], [0, 5, -3, 2]], dtype=np.int32)
    >>> starts, order, taken = bin_to_tiles(bounds, 200, 320, True, 1000)
    >>> starts.tolist(), order.tolist(), taken
    ([0, 2, 2, 4, 4, 4, 5], [0, 2, 1, 2, 1], 3)
    """
    across = (columns + SIDE - 1) // SIDE
    tiles = (rows + SIDE - 1) // SIDE * across
    starts = np.zeros(tiles + 1, np.int64)
    total, taken = 0, 0
    for k in range(bounds.shape[0]):
        top, bottom, _, _ = _tiles_along(bounds[k, LOW_ROW], bounds[k, HIGH_ROW], rows, False)
        left, right, left2, right2 = _tiles_along(bounds[k, LOW_COLUMN], bounds[k, HIGH_COLUMN], columns, wraps)
        total += (bottom - top + 1) * (right - left + 1 + right2 - left2 + 1)
        if total > most and taken > 0:
            break
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                starts[row * across + column + 1] += 1
            for column in range(left2, right2 + 1):
                starts[row * across + column + 1] += 1
        taken += 1
    for tile in range(tiles):
        starts[tile + 1] += starts[tile]
    order = np.zeros(starts[tiles], np.int32)
    filled = starts[:-1].copy()
    for k in range(taken):
        top, bottom, _, _ = _tiles_along(bounds[k, LOW_ROW], bounds[k, HIGH_ROW], rows, False)
        left, right, left2, right2 = _tiles_along(bounds[k, LOW_COLUMN], bounds[k, HIGH_COLUMN], columns, wraps)
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                order[filled[row * across + column]] = k
                filled[row * across + column] += 1
            for column in range(left2, right2 + 1):
                order[filled[row * across + column]] = k
                filled[row * across + column] += 1
    return starts, order, taken


@kernel()
def busy_tiles(starts: Int64s) -> Int64s:
    """Return the numbers of the tiles that pieces reach, (k,) int64."""
    tiles = starts.size - 1
    busy = np.zeros(tiles, np.int64)
    count = 0
    for tile in range(tiles):
        if starts[tile] < starts[tile + 1]:
            busy[count] = tile
            count += 1
    return busy[:count]


@kernel()
def corner(tile: int, columns: int) -> tuple[int, int]:
    """Return the row and column of a tile's first cell, in a grid with ``columns`` columns."""
    across = (columns + SIDE - 1) // SIDE
    return tile // across * SIDE, tile % across * SIDE


def _next_ticket(typing: Any, tickets: Any) -> Any:  # noqa: ARG001
    """Return the signature and the code of `next_ticket` for the compiler."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        counter = context.make_array(signature.args[0])(context, builder, given[0]).data
        return builder.atomic_rmw("add", counter, context.get_constant(types.int64, 1), "monotonic")

    return types.int64(tickets), lower


def _next_ticket_plain(tickets: Int64s) -> int:
    """Return the next ticket in uncompiled code, where only one thread runs."""
    tickets[0] += 1
    return int(tickets[0]) - 1


next_ticket: Any = intrinsic(_next_ticket) if COMPILED else _next_ticket_plain
"""``next_ticket(tickets)``: return the count in a (1,) int64 array and increase it by one, atomically in compiled code.

A thread that has finished a tile takes the next one, so that no thread waits for a slower one.
"""


@kernel()
def blank_tile() -> Cells:
    """Return an uncut tile, (1024, 16) float32."""
    return np.zeros((PATCHES * PATCHES, LANES), np.float32)


@kernel()
def work_in(inside: NDArray[np.bool_]) -> Int32s:
    """Return the first column with work under it in each row, and the column after the last, (rows, 2) int32.

    Parameters
    ----------
    inside : (rows, columns) bool
        Whether there is work under each cell; the columns with work in a row are contiguous.
    """
    rows, columns = inside.shape
    work = np.full((rows, 2), columns, np.int32)
    first, after = 0, columns
    for row in range(rows):
        if not inside[row, first]:
            while first < columns and not inside[row, first]:
                first += 1
            if first == columns:
                first = 0
                while first < columns and not inside[row, first]:
                    first += 1
        while 0 < first < columns and inside[row, first - 1]:
            first -= 1
        if first == columns:
            first, after = 0, columns
            continue
        after = max(after, first + 1)
        while not inside[row, after - 1]:
            after -= 1
        while after < columns and inside[row, after]:
            after += 1
        work[row, FIRST], work[row, AFTER] = first, after
    return work


@kernel()
def load_tile(depth: Cells, row: int, column: int, tile: Cells) -> None:
    """Fill a tile from the (rows, columns) depths, its first cell from (row, column); cells beyond the grid are not changed."""
    rows, columns = min(SIDE, depth.shape[0] - row), min(SIDE, depth.shape[1] - column)
    whole = columns // PATCH
    for r in range(rows):
        patch, lane = r // PATCH * PATCHES, r % PATCH * PATCH
        for p in range(whole):
            for c in range(PATCH):
                tile[patch + p, lane + c] = depth[row + r, column + p * PATCH + c]
        for c in range(whole * PATCH, columns):
            tile[patch + c // PATCH, lane + c % PATCH] = depth[row + r, column + c]


@kernel()
def store_tile(tile: Cells, row: int, column: int, work: Int32s, depth: Cells) -> None:
    """Write a tile back to the (rows, columns) depths where there is work.

    Parameters
    ----------
    tile : (1024, 16) float32
        Tile to write.
    row, column : int
        Row and column of the tile's first cell in the grid.
    work : (rows, 2) int32
        In each row of the grid, the first column with work under it, and the column after the last such column. Cells outside
        this range are not written.
    depth : (rows, columns) float32
        Depths; changed in place.
    """
    for r in range(min(SIDE, depth.shape[0] - row)):
        patch, lane = r // PATCH * PATCHES, r % PATCH * PATCH
        first, last = max(work[row + r, FIRST] - column, 0), min(work[row + r, AFTER] - column, SIDE)
        if first == 0 and last == SIDE:
            for p in range(PATCHES):
                for c in range(PATCH):
                    depth[row + r, column + p * PATCH + c] = tile[patch + p, lane + c]
        else:
            for c in range(first, last):
                depth[row + r, column + c] = tile[patch + c // PATCH, lane + c % PATCH]


@kernel()
def patch_rows(bounds: Int32s, row: int) -> tuple[int, int]:
    """Return the first patch row of a tile that a piece reaches, and the patch row after the last."""
    return max((bounds[LOW_ROW] - row) // PATCH, 0), min((bounds[HIGH_ROW] - row) // PATCH + 1, PATCHES)


@kernel()
def patch_columns(bounds: Int32s, column: int, columns: int, wraps: bool, found: Int32s) -> int:
    """Fill ``found`` with the indices of the patch columns of a tile that a piece reaches; return their number."""
    count = 0
    low, high = bounds[LOW_COLUMN], bounds[HIGH_COLUMN]
    for patch in range(PATCHES):
        left = column + patch * PATCH
        if left >= columns:
            break
        if wraps:
            after = (left - low) % columns
            touches = after <= high - low or after + PATCH > columns
        else:
            touches = left <= high and left + PATCH > low
        if touches:
            found[count] = patch
            count += 1
    return count
