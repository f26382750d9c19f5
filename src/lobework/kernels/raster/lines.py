"""Coverage of a grid of dots by lines of constant width with round joins and ends.

The coverage of a dot is the area of the square dot that lies between the two edges of the line; the edges are taken as straight
within the dot, at half the width on both sides of the nearest point of the line. This is exact for a long straight line.

What the arrays hold:

* ``points`` : (n, 2) float64, dots: columns to the right and rows down, from the upper left corner of the picture.
* ``lines`` : (m,) `Line`, in the order of painting.
* ``grey`` : (rows, columns) float32, from 0 for black to 255 for white.
* ``coverage`` : (rows, columns) float32, from 0 to 1.
* ``touched`` : (rows * columns,) int64: indices of the dots with a coverage above zero; ``count`` is their number.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.kernels.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records

    Dots = NDArray[np.float32]
    Int64s = NDArray[np.int64]

__all__ = ["Line", "paint"]

_FUSED: Final = {"contract"}
"""Compiler option: a product and a sum may be fused, which rounds once instead of twice."""
_HALF_DIAGONAL: Final = math.sqrt(0.5)
"""Half the diagonal of a dot."""
_LEAST_STEP: Final = 1 / 3
"""A point of a line that is nearer than this to the last point, dots, is passed over."""


class Line:
    """A line of constant width."""

    first: int
    """Index of the line's first point."""
    after: int
    """Index of the point after the line's last point."""
    group: int
    """Number of the group: consecutive lines of a group are painted as one shape, in the ink and opacity of the last line."""
    closed: bool
    """Whether the last point is joined to the first."""
    half_width: float
    """Half the width, dots."""
    ink: float
    """Grey of the line, 0 to 255."""
    opacity: float
    """Opacity of the line, 0 to 1."""


@kernel(fastmath=_FUSED, inline="always")
def _area_below(s: float, a: float, b: float) -> float:
    """Return the area of a square dot on one side of a straight edge.

    ``s`` is the signed distance of the edge from the dot's centre; ``a`` >= ``b`` are the absolute components of its unit normal.
    """
    outer, inner = 0.5 * (a + b), 0.5 * (a - b)
    if s >= inner:
        return 1.0 - (outer - s) * (outer - s) / (2.0 * a * b) if s < outer else 1.0
    if s >= -inner:
        return 0.5 + s / a
    return (outer + s) * (outer + s) / (2.0 * a * b) if s > -outer else 0.0


@kernel(fastmath=_FUSED, inline="always")
def _shared_area(off: float, half: float, nx: float, ny: float) -> float:
    """Return the area that a dot shares with a line; ``off`` is its distance from the line, (nx, ny) the unit normal there."""
    a, b = max(abs(nx), abs(ny)), min(abs(nx), abs(ny))
    return _area_below(half - off, a, b) - _area_below(-half - off, a, b)


@kernel(fastmath=_FUSED)
def _cover_segment(x0: float, y0: float, x1: float, y1: float, half: float, coverage: Dots, touched: Int64s, count: int) -> int:
    """Raise the coverage of the dots near the segment from (x0, y0) to (x1, y1); return the new number of touched dots."""
    rows, columns = coverage.shape
    dx, dy = x1 - x0, y1 - y0
    square = dx * dx + dy * dy
    per_square = 1.0 / square if square > 0.0 else 0.0
    per_length = math.sqrt(per_square)
    nx, ny = (-dy * per_length, dx * per_length) if square > 0.0 else (1.0, 0.0)
    reach, inner = half + _HALF_DIAGONAL, half - _HALF_DIAGONAL
    reach_square, inner_square = reach * reach, inner * inner if inner > 0.0 else 0.0
    first = max(math.ceil(min(y0, y1) - reach - 0.5), 0)
    last = min(math.floor(max(y0, y1) + reach - 0.5), rows - 1)
    per_dy = 1.0 / dy if dy != 0.0 else 0.0
    for row in range(first, last + 1):
        py = row + 0.5 - y0
        low, high = 0.0, 1.0
        if dy != 0.0:
            a, b = (py - reach) * per_dy, (py + reach) * per_dy
            low, high = max(min(a, b), 0.0), min(max(a, b), 1.0)
        xa, xb = x0 + low * dx, x0 + high * dx
        begin = max(math.ceil(min(xa, xb) - reach - 0.5), 0)
        end = min(math.floor(max(xa, xb) + reach - 0.5), columns - 1)
        for column in range(begin, end + 1):
            px = column + 0.5 - x0
            t = min(max((px * dx + py * dy) * per_square, 0.0), 1.0)
            ex, ey = px - t * dx, py - t * dy
            off_square = ex * ex + ey * ey
            if off_square < reach_square:
                area = 1.0
                if off_square >= inner_square:
                    off = math.sqrt(off_square)
                    if 0.0 < t < 1.0 or off == 0.0:
                        area = _shared_area(off, half, nx, ny)
                    else:
                        area = _shared_area(off, half, ex / off, ey / off)
                shared, known = np.float32(area), coverage[row, column]  # an area that float32 rounds to zero touches no dot
                if shared > known:
                    if known == 0.0:
                        touched[count] = row * columns + column
                        count += 1
                    coverage[row, column] = shared
    return count


@kernel(fastmath=_FUSED)
def _cover_line(points: Array, line: Line, coverage: Dots, touched: Int64s, count: int) -> int:
    """Raise the coverage of the dots near a line; return the new number of touched dots."""
    x, y = points[line.first, 0], points[line.first, 1]
    begin_x, begin_y = x, y
    last = line.after - 1
    for k in range(line.first, line.after):
        to_x, to_y = points[k, 0], points[k, 1]
        step_x, step_y = to_x - x, to_y - y
        if k < last and step_x * step_x + step_y * step_y < _LEAST_STEP * _LEAST_STEP:
            continue
        count = _cover_segment(x, y, to_x, to_y, line.half_width, coverage, touched, count)
        x, y = to_x, to_y
    if line.closed:
        count = _cover_segment(x, y, begin_x, begin_y, line.half_width, coverage, touched, count)
    return count


@kernel()
def paint(points: Array, lines: Records[Line], grey: Dots) -> None:
    """Paint lines one after the other, in place; a later line lies over the earlier ones."""
    columns = grey.shape[1]
    coverage, touched, count = np.zeros_like(grey), np.zeros(grey.size, np.int64), 0
    for n in range(lines.shape[0]):
        line = lines[n]
        count = _cover_line(points, line, coverage, touched, count)
        if n + 1 < lines.shape[0] and lines[n + 1].group == line.group:
            continue
        for k in range(count):
            row, column = divmod(touched[k], columns)
            share = min(coverage[row, column], np.float32(1.0)) * line.opacity
            grey[row, column] += share * (line.ink - grey[row, column])
            coverage[row, column] = 0.0
        count = 0
