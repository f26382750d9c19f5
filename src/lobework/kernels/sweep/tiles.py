"""A depth grid cut into tiles: which segments of a path reach into which tile, and a tile laid out for carving.

A tile is 128 x 128 cells, kept while it is carved as a (1024, 16) C-contiguous float32 array of 4 x 4 patches, each one
cache line. Patch ``row // 4 * 32 + column // 4`` holds the cell (row, column) of the tile, in lane ``row % 4 * 4 + column % 4``.
Tiles are numbered along the rows of the grid, as patches are within a tile; those at its far edges reach beyond it.

`lobework.kernels.sweep.carve` goes over the tiles, one thread a tile, so that no two write the same cell.

What the arrays hold:

* ``depth`` : (rows, columns) float32, mm: the grid; row 0 and column 0 are its first cells, as the stock has them.
* ``bounds`` : (pieces, 4) int32: the cells that each piece of path reaches, by `LOW_ROW` to `HIGH_COLUMN`.
* ``work`` : (rows, 2) int32: where there is work in each row, by `FIRST` and `AFTER`.
* ``tile`` : (1024, 16) float32, mm: one tile of depths, laid out as above.
* ``starts`` : (tiles + 1,) int64, ``order`` : (m,) int32: which pieces reach each tile, as `bin_to_tiles` returns them.
* ``tiles`` : (k,) int64: numbers of tiles; ``tickets`` : (1,) int64: which of them is next.
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
    Whole = NDArray[np.int32]
    Counts = NDArray[np.int64]

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
    "rows_between",
    "store_tile",
    "work_in",
]

_SHIFT: Final = 7
SIDE: Final = 1 << _SHIFT
"""Cells along a tile."""
PATCH: Final = 4
"""Cells along a patch."""
PATCHES: Final = SIDE // PATCH
"""Patches along a tile."""
LANES: Final = PATCH * PATCH
"""Cells in a patch."""
SHARES: Final = 64
"""Into how many shares work is dealt to threads, and so how many of them can help."""
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
"""For ``@kernel(parallel=PRANGE_ALONE)``: nothing but ``prange`` is made parallel, which compiles sooner."""
MOST_REFERENCES: Final = 1 << 19
"""From tiles to segments in one binning: 2 MB of them."""
LANE_ROW: Final = np.repeat(np.arange(PATCH, dtype=np.float32), PATCH)
"""(16,) float32: the row of each lane within its patch."""
LANE_COLUMN: Final = np.tile(np.arange(PATCH, dtype=np.float32), PATCH)
"""(16,) float32: the column of each lane within its patch."""
_FAR: Final = 1 << 30
LOW_ROW, HIGH_ROW, LOW_COLUMN, HIGH_COLUMN = range(4)
"""Columns of ``bounds``: the cells that a piece of path reaches, inclusive."""
NO_CELLS: Final = (1, 0, 1, 0)
"""The bounds of a piece that reaches none."""
FIRST, AFTER = range(2)
"""Columns of ``work``: the first column of the grid with work under it in a row, and the one after the last."""


class Grid(NamedTuple):
    """Where the cells of a face stand: x and y of the first, and the steps from column to column and from row to row, mm."""

    x: float
    y: float
    column_step: float
    row_step: float


@kernel()
def cell_below(place: float) -> int:
    """Return the last whole number at or below a place in cells, held to plus or minus 2^30; for a NaN, -2^30."""
    return int(np.floor(min(max(place, -_FAR), _FAR))) if place == place else -_FAR


@kernel()
def cell_above(place: float) -> int:
    """Return the first whole number at or above a place in cells, held to plus or minus 2^30; for a NaN, 2^30."""
    return int(np.ceil(min(max(place, -_FAR), _FAR))) if place == place else _FAR


@kernel()
def _tiles_along(low: int, high: int, size: int, wraps: bool) -> tuple[int, int, int, int]:
    """Return the first and last tile of each of the two runs of tiles that cells low to high touch; an empty run is (0, -1)."""
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
def bin_to_tiles(bounds: Whole, rows: int, columns: int, wraps: bool, most: int) -> tuple[Counts, Whole, int]:
    """Return which segments reach into which tile, by a counting sort.

    Parameters
    ----------
    bounds : (n, 4) int32
        Of each segment: lowest row, highest row, lowest column, highest column, all inclusive. Rows beyond the grid are
        left out; a segment whose lowest is above its highest reaches no cell.
    rows, columns : int
        Of the grid.
    wraps : bool
        Whether column 0 follows the last column: then ranges of columns may lie below 0 or beyond the last, and are
        taken modulo ``columns``; one of ``columns`` cells or more goes all the way round. Otherwise columns beyond
        the grid are left out.
    most : int
        How many references from tiles to segments there may be. Segments are taken from the first on, as many as fit,
        and at least one.

    Returns
    -------
    starts : (tiles + 1,) int64
        Where each tile's segments begin in ``order``, and where the last one's end.
    order : (m,) int32
        Segments, tile after tile; in each tile from first to last, each once.
    taken : int
        How many segments were taken; the others are for the next call.

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
def busy_tiles(starts: Counts) -> Counts:
    """Return (k,) int64: the tiles that segments reach."""
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
    """Return how the compiler takes a ticket: see `next_ticket`."""

    def lower(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        counter = context.make_array(signature.args[0])(context, builder, given[0]).data
        return builder.atomic_rmw("add", counter, context.get_constant(types.int64, 1), "monotonic")

    return types.int64(tickets), lower


def _next_of(tickets: Counts) -> int:
    """Take a ticket where nothing is compiled, and so one thread runs."""
    tickets[0] += 1
    return int(tickets[0]) - 1


next_ticket: Any = intrinsic(_next_ticket) if COMPILED else _next_of
"""``next_ticket(tickets)``: in compiled code, the count in a (1,) int64 array, one higher each time, whichever thread asks.

So each thread takes the next tile when it is done with its last, and none waits for a thread that is kept from its work.
"""


@kernel()
def blank_tile() -> Cells:
    """Return room for a tile, (1024, 16) float32, uncut."""
    return np.zeros((PATCHES * PATCHES, LANES), np.float32)


@kernel()
def work_in(inside: NDArray[np.bool_]) -> Whole:
    """Return (rows, 2) int32: of each row, the first column with work under it, and the one after the last.

    Parameters
    ----------
    inside : (rows, columns) bool
        Whether there is work; in each row in one run of columns, or in none.
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
    """Fill a tile from the (rows, columns) depths, its first cell at (row, column); cells beyond the grid are left alone."""
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
def store_tile(tile: Cells, row: int, column: int, work: Whole, depth: Cells) -> None:
    """Write a tile back to the (rows, columns) depths, wherever there is work.

    Parameters
    ----------
    tile : (1024, 16) float32
        Loaded from there, and deepened.
    row, column : int
        Where its first cell goes.
    work : (rows, 2) int32
        Of each row of the grid, the first column with work under it, and the column after the last. Others are not
        written.
    depth : (rows, columns) float32
        Written.
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
def rows_between(bounds: Whole, row: int) -> tuple[int, int]:
    """Return the first patch along the rows of a tile that a piece reaches, and the one after the last."""
    return max((bounds[LOW_ROW] - row) // PATCH, 0), min((bounds[HIGH_ROW] - row) // PATCH + 1, PATCHES)


@kernel()
def patch_columns(bounds: Whole, column: int, columns: int, wraps: bool, found: Whole) -> int:
    """Fill ``found`` with the patches along the columns of a tile that a piece reaches; return how many."""
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
