"""A shell of triangles, assembled from sheets, strips and fans that share their vertices."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.rigid import Array

__all__ = ["LEAST_WALL_MM", "Corners", "Shell", "border", "decimated"]

Corners = NDArray[np.int64]

LEAST_WALL_MM: Final = 1e-4
"""Least thickness of a wall; a thinner one counts as cut through. The rounding error of depths is about 1 % of this value."""
_LARGEST_BLOCK: Final = 256


class Shell:
    """Vertices, and triangles between them, which are counterclockwise as seen from outside the work."""

    def __init__(self) -> None:
        self._places: list[Array] = []
        self._facets: list[Corners] = []
        self._count = 0

    def add(self, places: Array) -> Corners:
        """Add vertices at (n, 3) positions, mm, and return their indices, (n,)."""
        first, self._count = self._count, self._count + len(places)
        self._places.append(places)
        return np.arange(first, self._count, dtype=np.int64)

    def cover(self, facets: Corners) -> None:
        """Add (m, 3) triangles, except those with two equal vertices."""
        a, b, c = facets.T
        self._facets.append(facets[(a != b) & (b != c) & (c != a)])

    def join(self, inner: Corners, outer: Corners, *, outwards: bool = True) -> None:
        """Add the strip between two closed rings with the same number of vertices.

        Seen from outside, both rings are counterclockwise, and the ring ``outer`` surrounds the ring ``inner``. If ``outwards``
        is false, the triangles are reversed.
        """
        nearer, further = np.roll(inner, -1), np.roll(outer, -1)
        strip = np.concatenate([np.stack([outer, further, inner], axis=-1), np.stack([nearer, inner, further], axis=-1)])
        self.cover(strip if outwards else strip[:, ::-1])

    def zip(self, inner: Corners, inner_at: Array, outer: Corners, outer_at: Array, *, outwards: bool = True) -> None:
        """Add the strip between two closed rings, whose vertices are at increasing angles ``inner_at`` and ``outer_at``, rad.

        Each side of one ring makes a triangle with the vertex of the other ring that it faces. The sides are taken in the order
        of the angles of their midpoints.
        """
        middles = [(at + np.append(at[1:], at[0] + 2 * np.pi)) / 2 % (2 * np.pi) for at in (inner_at, outer_at)]
        order = np.argsort(np.concatenate(middles), kind="stable")
        of_inner = order < inner.size
        first = [int(np.argmin(each)) for each in middles]
        i = (first[0] + np.cumsum(of_inner) - of_inner) % inner.size
        j = (first[1] + np.cumsum(~of_inner) - ~of_inner) % outer.size
        nearer, further = (i + 1) % inner.size, (j + 1) % outer.size
        third = np.where(of_inner, outer[j], inner[i])
        strip = np.stack(
            [np.where(of_inner, inner[nearer], outer[j]), np.where(of_inner, inner[i], outer[further]), third], axis=-1
        )
        self.cover(strip if outwards else strip[:, ::-1])

    def fan(self, middle: Array, ring: Corners, *, outwards: bool = True) -> None:
        """Add a fan of triangles from a vertex at ``middle`` to a closed ring."""
        (centre,) = self.add(middle[None])
        spokes = np.stack([np.full_like(ring, centre), ring, np.roll(ring, -1)], axis=-1)
        self.cover(spokes if outwards else spokes[:, ::-1])

    @property
    def places(self) -> Array:
        """The positions of the vertices: (n, 3) mm."""
        return np.concatenate(self._places)

    @property
    def facets(self) -> NDArray[np.int32]:
        """The indices of each triangle's vertices: (m, 3)."""
        return np.concatenate(self._facets).astype(np.int32)


def decimated(places: Array, keep: NDArray[np.bool_], within: float) -> tuple[Corners, float]:
    """Return a decimated triangulation of the cells of a grid.

    Every node on the border of the covered cells is a vertex.

    Parameters
    ----------
    places : (rows, columns, 3) float64, mm
        The position of each node.
    keep : (rows - 1, columns - 1) bool
        Whether each cell is covered.
    within : float, mm
        Greatest distance between an omitted node and its interpolated position on a triangle; if zero, no node is omitted.

    Returns
    -------
    facets : (m, 3) int64
        Row * columns + column of each vertex; counterclockwise if rows increase upwards and columns to the right.
    left_out : float, mm
        The greatest actual distance between an omitted node and its interpolated position.
    """
    from lobework.kernels.mesh.decimate import gather, split

    rows, columns = places.shape[:2]
    block = 2
    while block < _LARGEST_BLOCK and 6 * block <= min(rows, columns):
        block *= 2
    used = np.zeros([-(-(size - 1) // block) * block + 1 for size in (rows, columns)], dtype=np.uint8)
    used[:rows, :columns] = border(keep)
    kept = keep.astype(np.uint8)
    split(places, kept, used, block, within if within > 0 else -1.0)
    count, _ = gather(places, kept, used, block, np.zeros((0, 3), dtype=np.int64))
    facets = np.zeros((count, 3), dtype=np.int64)
    _, left_out = gather(places, kept, used, block, facets)
    return facets, float(left_out)


def border(keep: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return whether each node lies on the border of the kept cells; the result has one row and one column more than ``keep``."""
    around = np.pad(keep.astype(np.uint8), 1)
    count = around[:-1, :-1] + around[1:, :-1] + around[:-1, 1:] + around[1:, 1:]
    edge: NDArray[np.bool_] = (count > 0) & (count < 4)
    return edge
