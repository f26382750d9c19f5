"""Operations on the sixteen cells of a patch at once, in numpy, for uncompiled kernels; see `lobework.kernels.sweep.simd`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lobework.kernels.sweep.tiles import LANE_COLUMN, LANE_ROW, LANES, PATCH

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Lanes = NDArray[np.float32]

__all__ = [
    "any_at_most",
    "broadcast",
    "columns",
    "lane",
    "load",
    "load_square",
    "maximum",
    "minimum",
    "rows",
    "sqrt",
    "store",
    "store_square",
    "where_at_most",
]

minimum, maximum, sqrt = np.minimum, np.maximum, np.sqrt


def where_at_most(x: Lanes, y: Lanes, then: Lanes, otherwise: Lanes) -> Lanes:
    """Return ``then`` in the lanes where x <= y, ``otherwise`` in the others."""
    chosen: Lanes = np.where(x <= y, then, otherwise)
    return chosen


def any_at_most(x: Lanes, y: Lanes) -> bool:
    """Return whether x <= y in any lane."""
    return bool((x <= y).any())


def broadcast(number: np.float32) -> Lanes:
    """Return Lanes with the same number in every lane."""
    return np.full(LANES, number, np.float32)


def rows() -> Lanes:
    """Return the row of each lane within its patch, 0 to 3."""
    return LANE_ROW


def columns() -> Lanes:
    """Return the column of each lane within its patch, 0 to 3."""
    return LANE_COLUMN


def lane(lanes: Lanes, number: int) -> np.float32:
    """Return the number in one lane."""
    one: np.float32 = lanes[number]
    return one


def load(tile: NDArray[np.float32], patch: int) -> Lanes:
    """Return patch number ``patch`` of a (patches, 16) tile."""
    lanes: Lanes = tile[patch].copy()
    return lanes


def store(tile: NDArray[np.float32], patch: int, lanes: Lanes) -> None:
    """Store Lanes as patch number ``patch`` of a (patches, 16) tile."""
    tile[patch] = lanes


def load_square(grid: NDArray[np.float32], row: int, column: int) -> Lanes:
    """Return the square of 4 x 4 cells of a grid that begins at the cell (row, column)."""
    square: Lanes = grid[row : row + PATCH, column : column + PATCH].ravel()
    return square


def store_square(grid: NDArray[np.float32], row: int, column: int, lanes: Lanes) -> None:
    """Store Lanes as the square of 4 x 4 cells of a grid that begins at the cell (row, column)."""
    grid[row : row + PATCH, column : column + PATCH] = lanes.reshape(PATCH, PATCH)
