"""The stock: a grid of rays that start on the surface of the work, normal to the surface, and point into the work."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lobework.errors import SettingError, TooLargeError, require
from lobework.geometry.rigid import Array
from lobework.geometry.surface import Face, Surface
from lobework.parts.abilities import surface_of
from lobework.parts.protocols import Piece
from lobework.quantities.tolerances import RESOLUTION_MM
from lobework.quantities.units import is_real, plain_number
from lobework.text.brief import Brief

__all__ = ["BYTES_A_RAY", "MOST_BYTES", "Depth", "Stock", "stock_of"]

Depth = NDArray[np.float32]

BYTES_A_RAY: Final = 12
"""Upper bound of the memory for each ray, bytes: three float32, one for its depth and two as working memory of a backend."""
MOST_BYTES: Final = 4 * 10**9


@dataclass(frozen=True, eq=False, repr=False)
class Stock(Brief):
    """A grid of rays over a surface.

    Parameters
    ----------
    surface : Face or Round
        Surface on which the rays start.
    rows, columns : int
        Number of rows and columns. On a face, rows advance towards +Y and columns towards +X, and the grid is centred on the
        work. On a round surface, rows advance along the profile from its first to its last end, and columns round the work from
        +X towards +Y; the first column is at angle zero and is a neighbour of the last column.
    row_step, column_step : float
        Spacing of the rows, mm, and spacing of the columns: mm on a face, rad on a round surface.
    row_start, column_start : float, optional
        Position of the first row and column. By default the grid of a face is centred and that of a round surface starts at
        zero.

    Examples
    --------
    >>> from lobework.parts.piece import Disc
    >>> stock = stock_of(Disc(diameter=70.0, thickness=8.0), resolution=0.5)
    >>> stock.shape, stock.row_step
    ((141, 141), 0.5)
    """

    surface: Surface
    rows: int
    columns: int
    row_step: float
    column_step: float
    row_start: float | None = None
    column_start: float | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Number of rows and columns."""
        return self.rows, self.columns

    @property
    def bytes(self) -> int:
        """Memory that carving takes, including working memory, bytes."""
        return self.rows * self.columns * BYTES_A_RAY

    @cached_property
    def row_positions(self) -> Array:
        """(rows,) mm: y of each row on a face; arc length along the profile on a round surface."""
        start = -(self.rows - 1) / 2 * self.row_step if isinstance(self.surface, Face) else 0.0
        start = start if self.row_start is None else self.row_start
        positions: Array = start + self.row_step * np.arange(self.rows, dtype=np.float64)
        return positions

    @cached_property
    def column_positions(self) -> Array:
        """(columns,): x of each column on a face, mm; angle of each column on a round surface, rad."""
        start = -(self.columns - 1) / 2 * self.column_step if isinstance(self.surface, Face) else 0.0
        start = start if self.column_start is None else self.column_start
        positions: Array = start + self.column_step * np.arange(self.columns, dtype=np.float64)
        return positions

    @cached_property
    def profile(self) -> Array:
        """(rows, 4): radius and z of each row of a round surface, mm, and the radial and axial part of the outward normal."""
        if isinstance(self.surface, Face):
            raise TypeError("a face has no profile")
        return self.surface.profile(self.row_positions)

    @cached_property
    def to_axis(self) -> Array:
        """(rows,) mm: distance along the rays of each row to the axis of the work, where the rays end; infinite on a face."""
        if isinstance(self.surface, Face):
            return np.full(self.rows, np.inf)
        with np.errstate(divide="ignore"):
            distance: Array = self.profile[:, 0] / np.maximum(self.profile[:, 2], 0.0)
        return distance

    def rays(self, row: NDArray[np.intp], column: NDArray[np.intp]) -> tuple[Array, Array]:
        """Return the origins, (..., 3) mm, and the unit directions, (..., 3), of the rays at (...) rows and columns."""
        row, column = np.broadcast_arrays(row, column)
        if isinstance(self.surface, Face):
            x, y = self.column_positions[column], self.row_positions[row]
            return np.stack([x, y, 0 * x], axis=-1), np.broadcast_to(np.array([0.0, 0.0, -1.0]), (*x.shape, 3))
        radius, z, out, along = np.moveaxis(self.profile[row], -1, 0)
        cos, sin = np.cos(self.column_positions[column]), np.sin(self.column_positions[column])
        start = np.stack([radius * cos, radius * sin, z], axis=-1)
        return start, -np.stack([out * cos, out * sin, along], axis=-1)

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """(rows, columns): whether there is work under each ray; always true on a round surface."""
        if isinstance(self.surface, Face):
            under = (self.surface.radius - self.row_positions) * (self.surface.radius + self.row_positions)
            half = np.where(under >= 0, np.sqrt(np.maximum(under, 0.0)), -1.0)
            inside: NDArray[np.bool_] = np.abs(self.column_positions) <= half[:, None]
            return inside
        return np.ones(self.shape, dtype=np.bool_)

    @cached_property
    def wall(self) -> Array:
        """(1, 1) on a face, (rows, 1) on a round surface: thickness of the work along each ray, mm."""
        if isinstance(self.surface, Face):
            return np.array([[self.surface.thickness]])
        return self.surface.wall(self.row_positions)[:, None]

    @cached_property
    def areas(self) -> Array:
        """(rows, 1) mm^2: area of the surface that each ray represents; (1, 1) on a face."""
        if isinstance(self.surface, Face):
            return np.array([[self.row_step * self.column_step]])
        return self.profile[:, :1] * self._strips

    @cached_property
    def _strips(self) -> Array:
        """(rows, 1) mm rad: length of each row along the profile times the angle of a column."""
        lengths = np.full((self.rows, 1), self.row_step * self.column_step)
        lengths[[0, -1]] /= 2
        return lengths

    def volumes(self, depth: Array, rows: slice = slice(None)) -> Array:
        """Return the volume removed along each ray, mm^3.

        ``depth`` holds the depths, mm, of the rows that ``rows`` selects: by default, of all rows of the stock. On a round
        surface the area decreases with the depth ``t``, and the volume is the integral of ``(r - t n) (1 - c t)``, where ``n`` is
        the radial component of the normal and ``c`` the curvature of the profile. Source: parallel surfaces, from memory.
        """
        if isinstance(self.surface, Face):
            return self.areas * depth
        r, n, c = self.profile[rows, :1], self.profile[rows, 2:3], self._curvatures[rows]
        volumes: Array = self._strips[rows] * depth * (r - depth * ((n + r * c) / 2 - depth * n * c / 3))
        return volumes

    @cached_property
    def _curvatures(self) -> Array:
        """(rows, 1) 1/mm: curvature of the profile at each row, positive if convex."""
        if isinstance(self.surface, Face) or self.surface.straight:
            return np.zeros((self.rows, 1))
        _, _, across, along = self.profile.T
        turning: Array = np.gradient(np.unwrap(np.arctan2(along, across)), self.row_step)
        return -turning[:, None]

    def ray(self, row: int, column: int) -> Stock:
        """Return a stock that consists of one ray; on a round surface, of the whole row of that ray."""
        start = float(self.row_positions[row])
        if isinstance(self.surface, Face):
            return replace(self, rows=1, columns=1, row_start=start, column_start=float(self.column_positions[column]))
        return replace(self, rows=1, row_start=start)

    def uncut(self) -> Depth:
        """Return a grid of zero depths."""
        return np.zeros(self.shape, dtype=np.float32)


def stock_of(piece: Piece, resolution: float = RESOLUTION_MM) -> Stock:
    """Return the stock of a piece, with rays at most ``resolution`` mm apart.

    Raises
    ------
    SettingError
        If the piece has no surface to carve, or the resolution is not positive, or exceeds a quarter of the size of the piece.
    TooLargeError
        If carving would take more memory than a job may use; the message gives the amount.
    """
    resolution = plain_number(resolution)
    require(is_real(resolution), "resolution", repr(resolution), "a plain number, in mm")
    surface = surface_of(piece)
    if surface is None:
        raise SettingError(
            "has no surface to carve",
            name="piece.form",
            given=repr(piece.form),
            remedy="a piece of this form can be drawn but not carved",
        )
    if isinstance(surface, Face):
        size, around = 2 * surface.radius, 2 * surface.radius
    else:
        size = surface.length
        around = 2 * math.pi * float(surface.profile(np.linspace(0.0, surface.length, 1025))[:, 0].max())
    allowed = 0 < resolution <= size / 4
    require(allowed, "resolution", float(resolution), f"above zero and at most {size / 4:g} mm, a quarter of the work's size")
    rays = size / resolution * around / resolution
    if rays * BYTES_A_RAY > MOST_BYTES:
        least = math.sqrt(size * around * BYTES_A_RAY / MOST_BYTES)
        raise TooLargeError(
            f"needs {rays:.3g} rays, which would take {rays * BYTES_A_RAY / 1e9:,.1f} GB to carve, more than the "
            f"{MOST_BYTES / 1e9:g} GB a job may take",
            name="resolution",
            given=f"{resolution:g}",
            remedy=f"use {math.ceil(least * 1000) / 1000:g} mm or more",
        )
    steps = max(4, math.ceil(size / resolution - 1e-9))
    if isinstance(surface, Face):
        return Stock(surface, steps + 1, steps + 1, size / steps, size / steps)
    columns = max(8, math.ceil(around / resolution - 1e-9))
    return Stock(surface, steps + 1, columns, size / steps, 2 * math.pi / columns)
