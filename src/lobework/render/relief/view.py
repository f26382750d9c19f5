"""A view of a body from the side and a little from above: the visible point at each dot."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.render.relief.light import Grid
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lobework.render.relief.body import Patch

__all__ = ["DENSE", "TILT", "Seen", "Window", "see", "to_eye"]

TILT: Final = math.radians(14.0)
"""Elevation of the eye."""
DENSE: Final = 0.68
"""Distance between points of a patch, in dots, at which every dot contains a point."""
_MOST_PARTS: Final = 64
_POINT_BITS, _PATCH_BITS = 28, 4
_NEAR_UNITS: Final = 1e5
"""Resolution of the distance to the eye, units per millimetre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The window of a view: ``rows`` by ``columns`` dots, which are ``dot`` mm apart.

    The upper left corner is at (``left``, ``top``), mm, and the angle ``facing``, rad, is the direction of the eye about Z.
    """

    facing: float
    left: float
    top: float
    rows: int
    columns: int
    dot: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class Seen(Brief):
    """The visible points of a view, one for each dot that the body covers, row by row.

    Parameters
    ----------
    dot : (n,) int
        Index of the dot, counted along the rows.
    place, faces : (3, n) mm, unit
        Position on the body, and outward normal.
    along, angle, depth : (n,)
        Coordinates of points on the side: mm along the profile, rad about the axis, mm of carving.
    side, inside : (n,) bool
        Whether the point is on the carved side, or on an inner wall; if neither, it is on an end.
    """

    dot: NDArray[np.intp]
    place: Grid
    faces: Grid
    along: Grid
    angle: Grid
    depth: Grid
    side: NDArray[np.bool_]
    inside: NDArray[np.bool_]


def to_eye(vectors: Grid, facing: float) -> Grid:
    """Return vectors of the work, (3, ...), in the coordinates right, up and towards the eye."""
    cos, sin, low, high = math.cos(facing), math.sin(facing), math.sin(TILT), math.cos(TILT)
    near, right = vectors[0] * cos + vectors[1] * sin, vectors[1] * cos - vectors[0] * sin
    return np.stack([right, vectors[2] * high - near * low, near * high + vectors[2] * low])


def see(patches: Sequence[Patch], window: Window) -> Seen:
    """Return the visible points of patches in a window: at each dot, the point nearest to the eye."""
    nearest = np.full(window.rows * window.columns, -1, dtype=np.int64)
    for number, patch in enumerate(patches):
        right, up, toward = to_eye(patch.place, window.facing)
        column, row = (right - window.left) / window.dot, (window.top - up) / window.dot
        code = (number << _POINT_BITS) | np.arange(row.size).reshape(row.shape)
        _enter(nearest, (row, column, toward), code, window)
        if patch.kind == "side":
            _enter_between(nearest, (row, column, toward), code, window)
    dot = np.flatnonzero(nearest >= 0)
    code = nearest[dot] & ((1 << (_POINT_BITS + _PATCH_BITS)) - 1)
    return _seen_points(patches, dot, code >> _POINT_BITS, code & ((1 << _POINT_BITS) - 1))


def _enter(nearest: NDArray[np.int64], where: tuple[Grid, Grid, Grid], code: NDArray[np.int64], window: Window) -> None:
    """Enter points, given by row, column and distance towards the eye, in the depth buffer ``nearest``."""
    row, column = (np.floor(part).astype(np.int64) for part in where[:2])
    inside = (row >= 0) & (row < window.rows) & (column >= 0) & (column < window.columns)
    near = ((where[2][inside].astype(np.float64) + 1e4) * _NEAR_UNITS).astype(np.int64) << (_POINT_BITS + _PATCH_BITS)
    np.maximum.at(nearest, row[inside] * window.columns + column[inside], near | code[inside])


def _enter_between(nearest: NDArray[np.int64], where: tuple[Grid, Grid, Grid], code: NDArray[np.int64], window: Window) -> None:
    """Enter interpolated points between neighbours that are more than a dot apart, as on the steep walls of grooves."""
    low, high = slice(None, -1), slice(1, None)
    corners = ((low, low), (low, high), (high, low), (high, high))
    apart = np.zeros((code.shape[0] - 1, code.shape[1] - 1), dtype=np.float32)
    for part in where[:2]:
        at = [part[corner] for corner in corners]
        np.maximum(apart, np.maximum.reduce(at) - np.minimum.reduce(at), out=apart)
    needs = np.where(apart > 1, np.minimum(2 ** np.ceil(np.log2(np.maximum(apart / DENSE, 1))), _MOST_PARTS), 1)
    for parts in np.unique(needs[needs > 1]).astype(int).tolist():
        here = np.nonzero(needs == parts)
        part = (np.arange(parts, dtype=np.float32) + 0.5) / parts
        a, b = (grid.reshape(-1, 1) for grid in np.meshgrid(part, part))
        shares = ((1 - a) * (1 - b), (1 - a) * b, a * (1 - b), a * b)
        row, column, toward = (
            np.sum([share * each[corner][here] for share, corner in zip(shares, corners, strict=True)], axis=0) for each in where
        )
        _enter(nearest, (row, column, toward), np.broadcast_to(code[:-1, :-1][here], row.shape), window)


def _seen_points(patches: Sequence[Patch], dot: NDArray[np.intp], which: NDArray[np.int64], point: NDArray[np.int64]) -> Seen:
    place, faces = (np.zeros((3, dot.size), dtype=np.float32) for _ in range(2))
    along, angle, depth = (np.zeros(dot.size, dtype=np.float32) for _ in range(3))
    side, inside = (np.zeros(dot.size, dtype=np.bool_) for _ in range(2))
    for number, patch in enumerate(patches):
        mine = np.flatnonzero(which == number)
        at = point[mine]
        place[:, mine], faces[:, mine] = patch.place.reshape(3, -1)[:, at], patch.faces.reshape(3, -1)[:, at]
        side[mine], inside[mine] = patch.kind == "side", patch.kind == "inside"
        if patch.kind == "side":
            columns = patch.angle.size
            along[mine], angle[mine], depth[mine] = patch.along[at // columns], patch.angle[at % columns], patch.depth.ravel()[at]
    return Seen(dot=dot, place=place, faces=faces, along=along, angle=angle, depth=depth, side=side, inside=inside)
