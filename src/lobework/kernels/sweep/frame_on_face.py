"""Deepen a flat face by a solid of revolution with its axis parallel to the face; for each ray the deepest pose is searched for.

The solid is the outline of `lobework.kernels.sweep.blade_on_face` swung about the axis: at the distance ``w`` from the centre
line, measured along the axis, the solid's radius is that of the tip less the outline's height at ``|w|``. A pose has three
orthogonal directions: ``w`` along the axis, ``q`` across it and parallel to the face, and ``out`` from the tip to the axis. Where
the outline is convex, so is the solid, and the depth at a ray is a concave function of the position along a straight path: the
tangents of this function are upper bounds of the depth.

What the arrays hold:

* ``pieces`` : (n,) `Piece`.
* ``moves`` : (n, 2, 6) float64, mm and rad: motion of the tip at the start and the end of each piece, indexed by
  `_ALONG_Q` to `_ABOUT_OUT`.
* ``outline`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards, ``has_corner``
  included.
* ``bodies`` : (m,) `lobework.kernels.sweep.ray_blade.Body`.
* ``patch_columns_hit`` : (32,) int32: indices of the patch columns of a tile that a piece reaches.
* ``bounds``, ``work``, ``tile``, ``depth``: see `lobework.kernels.sweep.tiles`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.kernels.jit import kernel
from lobework.kernels.records import Vector
from lobework.kernels.sweep.blade_on_face import FUSED, NOTHING, half_width_at, height
from lobework.kernels.sweep.tiles import (
    HIGH_COLUMN,
    HIGH_ROW,
    LOW_COLUMN,
    LOW_ROW,
    NO_CELLS,
    PATCH,
    PATCHES,
    blank_tile,
    cell_above,
    cell_below,
    load_tile,
    patch_columns,
    patch_rows,
    store_tile,
)

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.ray_blade import Body
    from lobework.kernels.sweep.tiles import Cells, Grid, Int32s

    Buffers = tuple[Cells, Int32s]

__all__ = ["Intersection", "Piece", "SwungEdge", "carve_tile", "new_buffers", "prepare"]

_TOUCHES_MM: Final = 1e-9
_SETTLED_MM: Final = 2e-7
_STEEP: Final = 1e30
_ROUNDS: Final = 60
_MARGIN: Final = 1e-3
_ALONG_Q, _ALONG_W, _ALONG_OUT, _ABOUT_Q, _ABOUT_W, _ABOUT_OUT = range(6)
"""Indices of the components of a motion: the tip's displacement along three directions, and the rotation about each."""


class Piece:
    """A piece of the path of a solid whose axis is parallel to a face.

    Callers fill the fields up to ``cuts``; `prepare` fills the other fields. The solid can cut a ray deepest only where the ray
    is inside one of a few boxes of (w, q): a main box and, if the solid's rims are in the work, one box along each rim.
    """

    tip: Vector
    """Position of the tip at the start of the piece, mm."""
    move: Vector
    """Displacement of the tip over the piece, mm."""
    axis_x: float
    """x of the unit direction of the solid's axis at the start of the piece."""
    axis_y: float
    """y of the unit direction of the solid's axis at the start of the piece."""
    turn: float
    """Angle through which the axis turns over the piece, rad; at most 1/20."""
    cuts: bool
    """Whether the piece cuts; a piece that does not cut is present only as the neighbour of another piece."""
    has_rims: bool
    """Whether there are boxes along the rims."""
    move_w: float
    """Component of ``move`` along the axis at the start of the piece, mm."""
    move_q: float
    """Component of ``move`` along q, across the axis, at the start of the piece, mm."""
    deviation: float
    """Upper bound of the solid's deviation from a straight motion because of the turn, mm."""
    second_derivative_bound: float
    """Upper bound of the second derivative of the depth at a ray with respect to the fraction of the piece, mm."""
    low_w: float
    """Least w of the main box, mm."""
    high_w: float
    """Greatest w of the main box, mm."""
    low_q: float
    """Least q of the main box, mm."""
    high_q: float
    """Greatest q of the main box, mm."""
    rim_w: float
    """w of one rim, mm; the other rim is at ``-rim_w``."""
    rim_q: float
    """Greatest absolute q of the rims in the work, mm."""


class SwungEdge(NamedTuple):
    """An edge that a frame swings about an axis parallel to a face.

    Parameters
    ----------
    radius : float, mm
        Distance from the axis to the tip.
    outline : (k,) EdgePart
        Outline of the cutter, from the centre line outwards, ``has_corner`` included.
    bodies : (m,) Body
        Convex stretches of the outline.
    """

    radius: float
    outline: EdgeParts
    bodies: Records[Body]


class Intersection(NamedTuple):
    """The intersection of a solid with a ray in one pose.

    ``deep`` is the depth of the intersection, mm, or `NOTHING` if the ray misses the solid; ``slope`` is the derivative of the
    depth with respect to the fraction of the piece. ``part`` is the number of the part of the outline that the ray meets, counted
    from 1: negative where w is negative, 0 if the ray meets no part. ``w`` is the ray's w, mm, and ``w_slope`` the derivative of
    w with respect to the fraction of the piece.
    """

    deep: float
    slope: float
    part: int
    w: float
    w_slope: float


@kernel(fastmath=FUSED)
def _slope_outside(slope: float) -> float:
    """Return the slope that stands for a miss: a very large number, with the sign that leads a search towards the solid."""
    return _STEEP if slope > 0 else (-_STEEP if slope < 0 else 0.0)


@kernel(fastmath=FUSED)
def _intersection_at(
    piece: Piece, pw: float, pq: float, s: float, ahead: float, radius: float, outline: EdgeParts, body: Body
) -> Intersection:
    """Return the intersection of the solid with a ray at the fraction ``s`` of a piece.

    ``pw`` and ``pq`` are w and q of the ray in the first pose. On the centre line the slope is the one-sided derivative: forward
    if ``ahead`` is 1, backward if ``ahead`` is -1.
    """
    first, last, side = body.first, body.last, body.side
    turn = s * piece.turn
    square = turn * turn
    c, n = 1 - square * (0.5 - square / 24), turn * (1 - square / 6)
    w0, q0 = pw - s * piece.move_w, pq - s * piece.move_q
    w, q = c * w0 - n * q0, c * q0 + n * w0
    w_s = n * piece.move_q - c * piece.move_w - piece.turn * q
    q_s = -c * piece.move_q - n * piece.move_w + piece.turn * w
    sign = float(side)
    if side == 0:
        sign = 1.0 if w > 0 or (w == 0.0 and w_s * ahead > 0) else -1.0
    a, a_s = sign * w, sign * w_s
    if a > outline[last].far + _TOUCHES_MM:
        return Intersection(NOTHING, _slope_outside(-a_s), 0, w, w_s)
    if a < outline[first].near - _TOUCHES_MM:
        return Intersection(NOTHING, _slope_outside(a_s), 0, w, w_s)
    h, rise, part = height(outline, max(a, outline[first].near), first, last)
    rho, rho_s = radius - h, -rise * a_s
    if rho <= abs(q):
        return Intersection(NOTHING, _slope_outside(rho_s - math.copysign(q_s, q * q_s)), 0, w, w_s)
    root = math.sqrt(rho * rho - q * q)
    deep = root - radius - piece.tip.z - s * piece.move.z
    return Intersection(deep, (rho * rho_s - q * q_s) / root - piece.move.z, part + 1 if sign > 0 else -part - 1, w, w_s)


@kernel(fastmath=FUSED)
def _maximum_between(
    piece: Piece,
    p: float,
    q: float,
    low: float,
    high: float,
    begin: Intersection,
    end: Intersection,
    best: float,
    radius: float,
    outline: EdgeParts,
    body: Body,
) -> float:
    """Return the greatest depth between the fractions ``low`` and ``high`` of a piece, or ``best`` if that is greater.

    If the depth increases at ``low`` and decreases at ``high``, the root of its derivative is found by the secant through both
    ends, or by bisection where an end misses the solid or the secant converges slowly.
    """
    best = max(best, begin.deep, end.deep)
    deep_low, slope_low, deep_high, slope_high = begin.deep, begin.slope, end.deep, end.slope
    same_end_count = 0
    for _ in range(_ROUNDS):
        if not (slope_low > 0 and slope_high < 0):
            break
        wide = high - low
        s = 0.5 * (low + high)
        if deep_low > NOTHING and deep_high > NOTHING:
            if min(slope_low, -slope_high) * wide <= _SETTLED_MM:
                break
            if abs(same_end_count) < 3:
                s = low + wide * slope_low / (slope_low - slope_high)
        elif wide < 1e-7:
            break
        if not low < s < high:
            s = 0.5 * (low + high)
        deep, slope, _, _, _ = _intersection_at(piece, p, q, s, 1.0, radius, outline, body)
        best = max(best, deep)
        if slope > 0:
            same_end_count = same_end_count + 1 if same_end_count > 0 else 1
            low, deep_low, slope_low = s, deep, slope
        elif slope < 0:
            same_end_count = same_end_count - 1 if same_end_count < 0 else -1
            high, deep_high, slope_high = s, deep, slope
        else:
            break
    return best


@kernel()
def _next_corner(outline: EdgeParts, body: Body, w: float, rising: bool) -> float:
    """Return the next w above ``w`` (below it unless ``rising``) where a body has a corner or an end; +-1e30 if there is none."""
    found = 1e30
    sign = 1.0 if rising else -1.0
    for part in range(body.first, body.last + 1):
        for end in range(2):
            smooth = not outline[part].has_corner if end == 0 else part < body.last
            for side in range(-1, 2, 2):
                if not smooth and (body.side == 0 or body.side == side):
                    at = sign * side * (outline[part].near if end == 0 else outline[part].far)
                    if sign * w < at < found:
                        found = at
    return sign * found


@kernel(fastmath=FUSED)
def _maximum_with_corners(
    piece: Piece,
    p: float,
    q: float,
    low: float,
    high: float,
    begin: Intersection,
    end: Intersection,
    best: float,
    radius: float,
    outline: EdgeParts,
    body: Body,
) -> float:
    """Return the same as `_maximum_between`, for an outline with corners; w must be monotonic from ``low`` to ``high``.

    The derivative of the depth is discontinuous at each corner of the outline. The interval is divided there, and the depth is
    evaluated on both sides of each corner.
    """
    w, rising = begin.w, end.w > begin.w
    for _ in range(4 * outline.shape[0]):
        w = _next_corner(outline, body, w, rising)
        if not (begin.w < w < end.w or end.w < w < begin.w):
            break
        s = low + (high - low) * (w - begin.w) / (end.w - begin.w)
        fast = (end.w - begin.w) / (high - low)
        for _trial in range(3):
            met = _intersection_at(piece, p, q, s, 1.0, radius, outline, body)
            if abs(met.w - w) < 1e-9:
                break
            s = min(max(s - (met.w - w) / fast, low), high)
        aside = 1e-8 / abs(fast)
        before, after = max(s - aside, low), min(s + aside, high)
        met = _intersection_at(piece, p, q, before, 1.0, radius, outline, body)
        best = _maximum_between(piece, p, q, low, before, begin, met, best, radius, outline, body)
        begin = _intersection_at(piece, p, q, after, 1.0, radius, outline, body)
        low = after
    return _maximum_between(piece, p, q, low, high, begin, end, best, radius, outline, body)


@kernel(fastmath=FUSED)
def _deepest(piece: Piece, p: float, q: float, radius: float, outline: EdgeParts, bodies: Records[Body]) -> float:
    """Return the greatest depth at which the solid meets a ray over a piece.

    The second derivative of the depth is at most ``piece.second_derivative_bound``, which is zero if nothing turns. So the
    greatest depth is at the start if the derivative there is at most minus half that bound, and at the end if the derivative
    there is at least half that bound. If w reverses within the piece, as it may under a frame that turns, each part in which w is
    monotonic is searched.
    """
    best = NOTHING
    half_bound = 0.5 * piece.second_derivative_bound
    for k in range(bodies.shape[0]):
        body = bodies[k]
        begin = _intersection_at(piece, p, q, 0.0, 1.0, radius, outline, body)
        if begin.slope <= -half_bound and (begin.deep > NOTHING or half_bound == 0.0):
            best = max(best, begin.deep)
            continue
        end = _intersection_at(piece, p, q, 1.0, -1.0, radius, outline, body)
        if end.slope >= half_bound and (end.deep > NOTHING or half_bound == 0.0):
            best = max(best, begin.deep, end.deep)
        elif begin.w_slope * end.w_slope < 0:
            turn = begin.w_slope / (begin.w_slope - end.w_slope)
            there = _intersection_at(piece, p, q, turn, 1.0, radius, outline, body)
            best = _maximum_with_corners(piece, p, q, 0.0, turn, begin, there, best, radius, outline, body)
            best = _maximum_with_corners(piece, p, q, turn, 1.0, there, end, best, radius, outline, body)
        elif begin.deep > NOTHING or end.deep > NOTHING or (begin.slope > 0 and end.slope < 0):
            best = _maximum_with_corners(piece, p, q, 0.0, 1.0, begin, end, best, radius, outline, body)
    return best


@kernel()
def _distance_with_slope_below(outline: EdgeParts, slope: float) -> float:
    """Return the distance from the centre line up to which the slope of a convex outline does not exceed ``slope``."""
    out = 0.0
    for part in range(outline.shape[0]):
        if outline[part].is_arc:
            steep = slope * outline[part].radius / math.sqrt(1 + slope * slope)
            if steep < outline[part].far:
                return max(out, steep)
        elif outline[part].rise > slope:
            return out
        out = outline[part].far
    return out


@kernel()
def _fill_contact_boxes(
    piece: Piece,
    moves: Array,
    k: int,
    wide: float,
    chord: float,
    tall: float,
    radius: float,
    outline: EdgeParts,
    single_body: bool,
) -> None:
    """Fill the boxes of (w, q), in the poses of a piece, inside which the solid can cut a ray deepest.

    ``wide``, ``chord`` and ``tall`` bound the part of the solid in the work, along w, q and out. A ray is cut deepest where the
    velocity of the solid is tangent to its surface (the envelope condition); at the joint of two pieces, where the velocity of
    some motion between those before and after the joint is tangent. ``moves`` (n, 2, 6) holds the tip's displacement along q, w
    and out and the rotation about these axes, at the start and the end of each piece. On the solid's lower side, at the height z
    above the tip, the condition is ``dz/dq vq + dz/dw vw = vo``, where v is the velocity of the solid there.
    """
    piece.has_rims = False
    piece.low_w, piece.high_w, piece.low_q, piece.high_q = -wide, wide, -chord, chord
    under = radius - tall
    if not single_body or under <= 0 or k == 0 or k == moves.shape[0] - 1:
        return
    low, high = np.full(6, 1e30), np.full(6, -1e30)
    for j in range(k - 1, k + 2):
        for end in range(2):
            speed = math.hypot(moves[j, end, _ALONG_Q], moves[j, end, _ALONG_W])
            if speed < 1e-9:
                return
            for axis in range(6):
                low[axis] = min(low[axis], moves[j, end, axis] / speed - _MARGIN)
                high[axis] = max(high[axis], moves[j, end, axis] / speed + _MARGIN)
    turn_q, turn_w, turn_o = (
        max(-low[_ABOUT_Q], high[_ABOUT_Q]),
        max(-low[_ABOUT_W], high[_ABOUT_W]),
        max(-low[_ABOUT_OUT], high[_ABOUT_OUT]),
    )
    steep, _ = _greatest_slopes(outline, radius, wide, chord, tall)
    out_w, out_q = wide, chord
    for _ in range(3):
        low_q = low[_ALONG_Q] - turn_o * out_w + min(low[_ABOUT_W], 0.0) * tall
        high_q = high[_ALONG_Q] + turn_o * out_w + max(high[_ABOUT_W], 0.0) * tall
        least = min(low_q / radius, low_q / under) + low[_ABOUT_W] - steep * turn_o
        most = max(high_q / radius, high_q / under) + high[_ABOUT_W] + steep * turn_o
        if least > 0 or most < 0:
            aside = turn_q * out_w + steep * (max(-low[_ALONG_W], high[_ALONG_W]) + turn_q * tall)
            ends = (
                (low[_ALONG_OUT] - aside) / least,
                (low[_ALONG_OUT] - aside) / most,
                (high[_ALONG_OUT] + aside) / least,
                (high[_ALONG_OUT] + aside) / most,
            )
            piece.low_q = max(-chord, min(ends[0], ends[1], ends[2], ends[3]))
            piece.high_q = min(chord, max(ends[0], ends[1], ends[2], ends[3]))
            out_q = max(-piece.low_q, piece.high_q)
        low_w, high_w = low[_ALONG_W] - turn_o * out_q - turn_q * tall, high[_ALONG_W] + turn_o * out_q + turn_q * tall
        if low_w > 0 or high_w < 0:
            fast_q = max(-low_q, high_q) / under + turn_w
            slope = (max(-low[_ALONG_OUT], high[_ALONG_OUT]) + turn_q * out_w + out_q * fast_q) / min(abs(low_w), abs(high_w))
            out_w = min(wide, _distance_with_slope_below(outline, slope))
            piece.low_w, piece.high_w = -out_w, out_w
    half = outline[outline.shape[0] - 1].far
    if wide >= half:
        piece.has_rims, piece.rim_w, piece.rim_q = True, half, chord


@kernel()
def _misses_box(w0: float, q0: float, w1: float, q1: float, low_w: float, high_w: float, low_q: float, high_q: float) -> bool:
    """Return whether the straight line from (w0, q0) to (w1, q1) misses a box."""
    if max(w0, w1) < low_w or min(w0, w1) > high_w or max(q0, q1) < low_q or min(q0, q1) > high_q:
        return True
    mw, mq = 0.5 * (low_w + high_w), 0.5 * (low_q + high_q)
    dw, dq = w1 - w0, q1 - q0
    return abs((w0 - mw) * dq - (q0 - mq) * dw) > 0.5 * ((high_w - low_w) * abs(dq) + (high_q - low_q) * abs(dw))


@kernel()
def _misses_boxes(piece: Piece, w0: float, q0: float, w1: float, q1: float, patch_radius: float) -> bool:
    """Return whether rays within ``patch_radius`` mm of the line from (w0, q0) to (w1, q1) miss all boxes of a piece."""
    if not _misses_box(
        w0,
        q0,
        w1,
        q1,
        piece.low_w - patch_radius,
        piece.high_w + patch_radius,
        piece.low_q - patch_radius,
        piece.high_q + patch_radius,
    ):
        return False
    if not piece.has_rims:
        return True
    rim, low_q, high_q = piece.rim_w, -piece.rim_q - patch_radius, piece.rim_q + patch_radius
    return _misses_box(w0, q0, w1, q1, rim - patch_radius, rim + patch_radius, low_q, high_q) and _misses_box(
        w0, q0, w1, q1, -rim - patch_radius, -rim + patch_radius, low_q, high_q
    )


@kernel()
def _greatest_slopes(outline: EdgeParts, radius: float, wide: float, chord: float, tall: float) -> tuple[float, float]:
    """Return the greatest slopes of the solid's lower side, along and across the solid's axis, in the work; each at most 1e6."""
    under = max(radius - tall, 1e-6 * radius)
    steep = 0.0
    for part in range(outline.shape[0]):
        if outline[part].near <= wide:
            _, rise, _ = height(outline, min(outline[part].far, wide), part, part)
            steep = max(steep, rise)
    return min(steep * radius / under, 1e6), min(chord / under, 1e6)


@kernel()
def _extent_of_boxes(piece: Piece) -> tuple[float, float, float, float]:
    """Return the least and greatest w and q in all boxes of a piece."""
    low_w, high_w, low_q, high_q = piece.low_w, piece.high_w, piece.low_q, piece.high_q
    if piece.has_rims:
        low_w, high_w = min(low_w, -piece.rim_w), max(high_w, piece.rim_w)
        low_q, high_q = min(low_q, -piece.rim_q), max(high_q, piece.rim_q)
    return low_w, high_w, low_q, high_q


@kernel()
def _interval_times(factor: float, low: float, high: float) -> tuple[float, float]:
    return min(factor * low, factor * high), max(factor * low, factor * high)


@kernel()
def prepare(pieces: Records[Piece], radius: float, outline: EdgeParts, single_body: bool, grid: Grid, bounds: Int32s) -> None:
    """Fill the derived fields of each piece, and the bounds of the cells that it reaches."""
    x0, y0, column_step, row_step = grid
    moves = np.zeros((pieces.shape[0], 2, 6))
    for k in range(pieces.shape[0]):
        piece = pieces[k]
        piece.move_w, piece.move_q = (
            piece.move.x * piece.axis_x + piece.move.y * piece.axis_y,
            piece.move.x * piece.axis_y - piece.move.y * piece.axis_x,
        )
        for end in range(2):
            c, n = math.cos(end * piece.turn), math.sin(end * piece.turn)
            moves[k, end, _ALONG_Q], moves[k, end, _ALONG_W] = (
                c * piece.move_q + n * piece.move_w,
                c * piece.move_w - n * piece.move_q,
            )
            moves[k, end, _ALONG_OUT], moves[k, end, _ABOUT_OUT] = piece.move.z, piece.turn
    for k in range(pieces.shape[0]):
        piece = pieces[k]
        bounds[k] = NO_CELLS
        deep = -min(piece.tip.z, piece.tip.z + piece.move.z)
        if not piece.cuts or not deep > 0:
            continue
        wide, chord = half_width_at(outline, deep), radius if deep >= radius else math.sqrt(deep * (2 * radius - deep))
        _fill_contact_boxes(piece, moves, k, wide, chord, min(deep, radius), radius, outline, single_body)
        low_w, high_w, low_q, high_q = _extent_of_boxes(piece)
        moved, extent = math.hypot(piece.move.x, piece.move.y), math.hypot(wide, chord)
        turned = abs(piece.turn)
        steep, level = _greatest_slopes(outline, radius, wide, chord, deep)
        aside_w, aside_q = abs(piece.move_q) + turned * moved, abs(piece.move_w) + turned * moved
        piece.second_derivative_bound = turned * (
            steep * (2 * aside_w + turned * extent) + level * (2 * aside_q + turned * extent)
        )
        piece.deviation = turned * (2 * moved + turned * (moved + math.hypot(wide, chord))) / 8 + 2 * _TOUCHES_MM
        left, right, bottom, top = 1e30, -1e30, 1e30, -1e30
        for end in range(2):
            c, n = math.cos(end * piece.turn), math.sin(end * piece.turn)
            wx, wy = c * piece.axis_x - n * piece.axis_y, c * piece.axis_y + n * piece.axis_x
            x, y = piece.tip.x + end * piece.move.x, piece.tip.y + end * piece.move.y
            xw, xq = _interval_times(wx, low_w, high_w), _interval_times(wy, low_q, high_q)
            yw, yq = _interval_times(wy, low_w, high_w), _interval_times(-wx, low_q, high_q)
            left, right = min(left, x + xw[0] + xq[0]), max(right, x + xw[1] + xq[1])
            bottom, top = min(bottom, y + yw[0] + yq[0]), max(top, y + yw[1] + yq[1])
        bounds[k, LOW_ROW] = cell_above((bottom - piece.deviation - y0) / row_step)
        bounds[k, HIGH_ROW] = cell_below((top + piece.deviation - y0) / row_step)
        bounds[k, LOW_COLUMN] = cell_above((left - piece.deviation - x0) / column_step)
        bounds[k, HIGH_COLUMN] = cell_below((right + piece.deviation - x0) / column_step)


@kernel(fastmath=FUSED)
def _deepen_on_face(
    piece: Piece,
    bounds: Int32s,
    row: int,
    column: int,
    columns: int,
    grid: Grid,
    radius: float,
    outline: EdgeParts,
    bodies: Records[Body],
    patch_columns_hit: Int32s,
    tile: Cells,
) -> None:
    """Deepen a tile by one piece."""
    x0, y0, column_step, row_step = grid
    patch_radius = 1.5 * math.hypot(row_step, column_step) + piece.deviation
    lowest = np.float32(-min(piece.tip.z, piece.tip.z + piece.move.z))
    c, n = math.cos(piece.turn), math.sin(piece.turn)
    top, bottom = patch_rows(bounds, row)
    count = patch_columns(bounds, column, columns, False, patch_columns_hit)
    for down in range(top, bottom):
        y = y0 + (row + down * PATCH) * row_step - piece.tip.y
        for m in range(count):
            x = x0 + (column + patch_columns_hit[m] * PATCH) * column_step - piece.tip.x
            mx, my = x + 1.5 * column_step, y + 1.5 * row_step
            ex, ey = mx - piece.move.x, my - piece.move.y
            pw, pq = mx * piece.axis_x + my * piece.axis_y, mx * piece.axis_y - my * piece.axis_x
            ew, eq = ex * piece.axis_x + ey * piece.axis_y, ex * piece.axis_y - ey * piece.axis_x
            if _misses_boxes(piece, pw, pq, c * ew - n * eq, c * eq + n * ew, patch_radius):
                continue
            patch = tile[down * PATCHES + patch_columns_hit[m]]
            for i in range(PATCH):
                for j in range(PATCH):
                    now = patch[i * PATCH + j]
                    if now < lowest:
                        px, py = x + j * column_step, y + i * row_step
                        w, q = px * piece.axis_x + py * piece.axis_y, px * piece.axis_y - py * piece.axis_x
                        deep = np.float32(_deepest(piece, w, q, radius, outline, bodies))
                        if deep > now:
                            patch[i * PATCH + j] = deep


@kernel()
def new_buffers() -> Buffers:
    """Return the buffers of one thread: a tile, and indices of patch columns."""
    return blank_tile(), np.zeros(PATCHES, np.int32)


@kernel(fastmath=FUSED)
def carve_tile(
    grid: Grid,
    cutter: SwungEdge,
    pieces: Records[Piece],
    bounds: Int32s,
    chosen: Int32s,
    row: int,
    column: int,
    buffers: Buffers,
    work: Int32s,
    depth: Cells,
) -> None:
    """Deepen one tile of the depth grid by the pieces that reach the tile."""
    tile, patch_columns_hit = buffers
    radius, outline, bodies = cutter
    load_tile(depth, row, column, tile)
    for k in chosen:
        _deepen_on_face(pieces[k], bounds[k], row, column, depth.shape[1], grid, radius, outline, bodies, patch_columns_hit, tile)
    store_tile(tile, row, column, work, depth)
