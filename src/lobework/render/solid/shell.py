"""A skin of triangles, put together from sheets, strips and fans that share their corners."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from lobework.geometry.rigid import Array

__all__ = ["LEAST_WALL_MM", "Corners", "Shell", "border", "thinned"]

Corners = NDArray[np.int64]

LEAST_WALL_MM: Final = 1e-4
"""Less is a cut through: depths are kept to about a hundredth of this."""
_LARGEST_BLOCK: Final = 256


class Shell:
    """Places, and triangles between them, counterclockwise seen from where the work is not."""

    def __init__(self) -> None:
        self._places: list[Array] = []
        self._facets: list[Corners] = []
        self._count = 0

    def add(self, places: Array) -> Corners:
        """Add (n, 3) places, mm, and return their (n,) numbers."""
        first, self._count = self._count, self._count + len(places)
        self._places.append(places)
        return np.arange(first, self._count, dtype=np.int64)

    def cover(self, facets: Corners) -> None:
        """Add (m, 3) triangles; those that two corners have closed up are left out."""
        a, b, c = facets.T
        self._facets.append(facets[(a != b) & (b != c) & (c != a)])

    def join(self, inner: Corners, outer: Corners, *, outwards: bool = True) -> None:
        """Cover the strip between two closed rings of as many corners each, seen so that the outer one is further out.

        Both run counterclockwise, as do the triangles, unless not ``outwards``.
        """
        nearer, further = np.roll(inner, -1), np.roll(outer, -1)
        strip = np.concatenate([np.stack([outer, further, inner], axis=-1), np.stack([nearer, inner, further], axis=-1)])
        self.cover(strip if outwards else strip[:, ::-1])

    def zip(self, inner: Corners, inner_at: Array, outer: Corners, outer_at: Array, *, outwards: bool = True) -> None:
        """Cover the strip between two closed rings whose corners stand at growing angles, rad: ``inner_at``, ``outer_at``.

        Each side of one ring is joined to the corner of the other that it faces: the sides are taken in order of the
        angles of their middles.
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
        """Cover the inside of a closed ring from a place in its middle."""
        (centre,) = self.add(middle[None])
        spokes = np.stack([np.full_like(ring, centre), ring, np.roll(ring, -1)], axis=-1)
        self.cover(spokes if outwards else spokes[:, ::-1])

    @property
    def places(self) -> Array:
        """(n, 3) mm."""
        return np.concatenate(self._places)

    @property
    def facets(self) -> NDArray[np.int32]:
        """(m, 3): the numbers of each triangle's corners."""
        return np.concatenate(self._facets).astype(np.int32)


def thinned(places: Array, keep: NDArray[np.bool_], within: float) -> tuple[Corners, float]:
    """Return triangles over the cells of a grid that leave out what they can.

    Every node on the border of what is covered is a corner.

    Parameters
    ----------
    places : (rows, columns, 3) float64, mm
        Where each node is.
    keep : (rows - 1, columns - 1) bool
        Which cells are to be covered.
    within : float, mm
        How far a node that is left out may lie from where its triangle puts it; zero, and none is left out.

    Returns
    -------
    facets : (m, 3) int64
        Row * columns + column of each corner, counterclockwise where rows go up and columns to the right.
    left_out : float, mm
        How far the furthest lies.
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
    """Return which nodes have both kept cells and others around them: one row and one column more than ``keep``."""
    around = np.pad(keep.astype(np.uint8), 1)
    count = around[:-1, :-1] + around[1:, :-1] + around[:-1, 1:] + around[1:, 1:]
    edge: NDArray[np.bool_] = (count > 0) & (count < 4)
    return edge
