"""Decimated triangulation of a grid of points: right-angled halves of squares, subdivided only where the error requires it.

Every triangle is half of a square, or half of such a half. To subdivide a triangle, it is split at the midpoint of its longest
side. The finest triangles are halves of the grid's cells. Each triangle is therefore a union of finest triangles, and its error
is greatest at a node: the distance of the node from the point that is interpolated linearly between the triangle's vertices.

What the arrays hold:

* ``places`` : (rows, columns, 3) float64, mm: nodes of the grid; ``nodes`` : the same nodes, (rows * columns, 3).
* ``keep`` : (rows - 1, columns - 1) uint8: cells to cover; ``used`` : uint8: nodes that are vertices, padded to whole blocks.
* ``stack`` : (64, 6) int64: pending triangles: row and column of the vertex at the right angle, then of the other two.
* ``found`` : (n, 3) int64: triangles, by the indices of their nodes.

References
----------
W. Evans, D. Kirkpatrick, G. Townsend, "Right-triangulated irregular networks", Algorithmica 30 (2001), 264-286.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array

    Flags = NDArray[np.uint8]
    Nodes = NDArray[np.int64]

__all__ = ["gather", "split"]


@kernel()
def _squared_error(nodes: Array, corner: int, t_step: int, k_step: int, n: int, is_symmetric: bool, limit: float) -> float:
    """Return the greatest squared error of a triangle at its nodes; the search ends once the squared error exceeds ``limit``.

    ``nodes`` is the flattened grid, row after row: (rows * columns, 3). The triangle has its right angle at node ``corner``;
    the nodes of the triangle are ``corner + t * t_step + k * k_step``, with t from 0 to n, and k from -t to t if
    ``is_symmetric``, otherwise from 0 to n - t.
    """
    first = corner + n * (t_step - k_step) if is_symmetric else corner
    last = corner + n * (t_step + k_step) if is_symmetric else corner + n * k_step
    foot = corner + n * t_step
    long = 2 * n if is_symmetric else n
    x, y, z = nodes[corner, 0], nodes[corner, 1], nodes[corner, 2]
    kx, ky, kz = (
        (nodes[last, 0] - nodes[first, 0]) / long,
        (nodes[last, 1] - nodes[first, 1]) / long,
        (nodes[last, 2] - nodes[first, 2]) / long,
    )
    tx, ty, tz = nodes[foot, 0], nodes[foot, 1], nodes[foot, 2]
    if is_symmetric:
        tx, ty, tz = (
            (nodes[first, 0] + nodes[last, 0]) / 2,
            (nodes[first, 1] + nodes[last, 1]) / 2,
            (nodes[first, 2] + nodes[last, 2]) / 2,
        )
    tx, ty, tz = (tx - x) / n, (ty - y) / n, (tz - z) / n
    most = 0.0
    for t in range(n + 1):
        px, py, pz, node = x + t * tx, y + t * ty, z + t * tz, corner + t * t_step
        for k in range(-t if is_symmetric else 0, t + 1 if is_symmetric else n - t + 1):
            at = node + k * k_step
            dx, dy, dz = nodes[at, 0] - px - k * kx, nodes[at, 1] - py - k * ky, nodes[at, 2] - pz - k * kz
            most = max(most, dx * dx + dy * dy + dz * dz)
        if most > limit:
            break
    return most


@kernel()
def _kept(keep: Flags, j2: int, i2: int) -> bool:
    """Return whether the cell that contains a point is to be covered; ``j2`` and ``i2`` are in half steps of the grid."""
    j, i = j2 >> 1, i2 >> 1
    return bool(0 <= j < keep.shape[0] and 0 <= i < keep.shape[1] and keep[j, i] != 0)


@kernel()
def _neighbour_is_split(used: Flags, j: int, i: int, s: int, straight: bool) -> bool:
    """Return whether a smaller triangle at this node is already split: the midpoint of its longest side is a vertex."""
    for a in (-1, 1):
        for b in (-1, 1):
            dj, di = (a * s if b > 0 else 0, a * s if b < 0 else 0) if straight else (a * s, b * s)
            if 0 <= j + dj < used.shape[0] and 0 <= i + di < used.shape[1] and used[j + dj, i + di] != 0:
                return True
    return False


@kernel()
def _mark_midpoints(nodes: Array, keep: Flags, used: Flags, s: int, squares: bool, limit: float) -> None:
    """Mark which midpoints of sides of length 2 s or, if ``squares``, which centres of squares of width 2 s must be vertices."""
    columns = keep.shape[1] + 1
    for j in range(s if squares else 0, used.shape[0], 2 * s if squares else s):
        odd = (j // s) % 2
        for i in range(s if squares or odd == 0 else 0, used.shape[1], 2 * s):
            if used[j, i] != 0 or ((s > 1 or squares) and _neighbour_is_split(used, j, i, s if squares else s // 2, squares)):
                used[j, i] = 1
                continue
            even = ((j - s) // (2 * s) + (i - s) // (2 * s)) % 2 == 0
            for side in (-1, 1):
                if squares:
                    dj, di = side, -side if even else side
                    inside = _kept(keep, 2 * j + dj, 2 * i + di)
                    t_step, k_step = -dj * columns, -di
                elif odd == 0:
                    dj, di = side, 0
                    inside = _kept(keep, 2 * j + dj, 2 * i - 1)
                    t_step, k_step = -dj * columns, 1
                else:
                    dj, di = 0, side
                    inside = _kept(keep, 2 * j - 1, 2 * i + di)
                    t_step, k_step = -di, columns
                corner = (j + dj * s) * columns + i + di * s
                if inside and _squared_error(nodes, corner, t_step, k_step, 2 * s if squares else s, not squares, limit) > limit:
                    used[j, i] = 1


@kernel()
def split(places: Array, keep: Flags, used: Flags, block: int, within: float) -> None:
    """Mark the nodes that must be vertices, so that the error of the triangles is at most ``within`` at every node.

    Parameters
    ----------
    places : (rows, columns, 3) float64
        Position of each node of the grid.
    keep : (rows - 1, columns - 1) uint8
        Nonzero for the cells to be covered.
    used : (m * block + 1, n * block + 1) uint8
        The grid, padded to whole blocks; 1 if a node must be a vertex. In: at least all nodes on the border of the covered cells.
        Out: further nodes are marked, in place.
    block : int
        Side of the largest square, in cells; a power of two.
    within : float
        Greatest error, in the unit of ``places``; if negative, every node becomes a vertex.
    """
    limit = within * within if within >= 0 else -1.0
    nodes = places.reshape((-1, 3))
    s = 1
    while 2 * s <= block:
        for squares in (False, True):
            _mark_midpoints(nodes, keep, used, s, squares, limit)
        s *= 2
    used[::block, ::block] = 1


@kernel()
def _squared_error_of_triangle(nodes: Array, columns: int, pj: int, pi: int, aj: int, ai: int, bj: int, bi: int) -> float:
    """Return the greatest squared error of the triangle with the vertices p, a and b at its nodes; the right angle is at p."""
    mj, mi = (aj + bj) // 2, (ai + bi) // 2
    is_symmetric = pj == mj or pi == mi
    tj, ti = (mj - pj, mi - pi) if is_symmetric else (aj - pj, ai - pi)
    kj, ki = (bj - mj, bi - mi) if is_symmetric else (bj - pj, bi - pi)
    n = abs(tj) + abs(ti)
    t_step, k_step = tj // n * columns + ti // n, kj // n * columns + ki // n
    return _squared_error(nodes, pj * columns + pi, t_step, k_step, n, is_symmetric, np.inf)


@kernel()
def _push_half_square(stack: Nodes, row: int, column: int, side: int, block: int) -> None:
    """Put one half of a square of the coarsest grid on the stack: the vertex at the right angle, then the other two vertices."""
    even = (row + column) % 2 == 0
    right = even == (side == 0)
    pj, pi = (row + side) * block, (column + (1 if right else 0)) * block
    qj, qi = (row + 1 - side) * block, (column + (0 if right else 1)) * block
    stack[0, 0], stack[0, 1] = pj, pi
    stack[0, 2], stack[0, 3] = (qj, pi) if even else (pj, qi)
    stack[0, 4], stack[0, 5] = (pj, qi) if even else (qj, pi)


@kernel()
def gather(places: Array, keep: Flags, used: Flags, block: int, found: Nodes) -> tuple[int, float]:
    """Write the triangles between the nodes marked by `split`, counterclockwise if rows increase upwards and columns rightwards.

    Parameters
    ----------
    places : (rows, columns, 3) float64
        As in `split`.
    keep : (rows - 1, columns - 1) uint8
        As in `split`.
    used : (m * block + 1, n * block + 1) uint8
        As in `split`.
    block : int
        As in `split`.
    found : (n, 3) int64
        Written in place: row * columns + column of each vertex. If this array is too short, only the returned count is correct.

    Returns
    -------
    count : int
        Number of triangles.
    most : float
        Greatest error of the triangles at any node, as in `split`.
    """
    nodes, columns = places.reshape((-1, 3)), places.shape[1]
    across = (used.shape[1] - 1) // block
    count, most = 0, 0.0
    stack = np.zeros((64, 6), dtype=np.int64)
    for half in range(2 * across * ((used.shape[0] - 1) // block)):
        _push_half_square(stack, half // 2 // across, half // 2 % across, half % 2, block)
        depth = 1
        while depth > 0:
            depth -= 1
            pj, pi, aj, ai, bj, bi = stack[depth]
            mj, mi = (aj + bj) // 2, (ai + bi) // 2
            leaf = (aj + bj) % 2 != 0 or (ai + bi) % 2 != 0
            if not leaf and used[mj, mi] != 0:
                for other in range(2):
                    stack[depth, 0], stack[depth, 1] = mj, mi
                    stack[depth, 2], stack[depth, 3] = (bj, bi) if other else (pj, pi)
                    stack[depth, 4], stack[depth, 5] = (pj, pi) if other else (aj, ai)
                    depth += 1
            elif _kept(keep, (2 * pj + aj + bj) // 2, (2 * pi + ai + bi) // 2):
                if count < found.shape[0]:
                    found[count, 0], found[count, 1], found[count, 2] = pj * columns + pi, aj * columns + ai, bj * columns + bi
                    if not leaf:
                        most = max(most, _squared_error_of_triangle(nodes, columns, pj, pi, aj, ai, bj, bi))
                count += 1
    return count, np.sqrt(most)
