"""Pieces of the path of a solid of revolution: quantities that are computed once per piece, before any ray is processed.

What the arrays hold:

* ``pieces`` : (n,) `Piece`.
* ``edge`` : (k,) `lobework.kernels.sweep.edge_parts.EdgePart`, from the centre line outwards.
* ``bounds``: see `lobework.kernels.sweep.tiles`.

``shape`` is the kind of the solid, and the radius of its swing or circle, mm. A `DRILL` revolves about the cutter's own centre
line; a `FRAME` is swung about an axis normal to the outward direction; a `RING` is swung about an axis along that direction.

The slab of a piece is the box along the directions ``ahead`` and ``aside`` outside which no ray is searched.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.kernels.jit import kernel
from lobework.kernels.records import Box, Vector
from lobework.kernels.sweep.blade_on_face import half_width_at
from lobework.kernels.sweep.rays import bounds_in
from lobework.kernels.sweep.tiles import NO_CELLS

if TYPE_CHECKING:
    from lobework.kernels.records import Records
    from lobework.kernels.sweep.edge_parts import EdgeParts
    from lobework.kernels.sweep.rays import Rays
    from lobework.kernels.sweep.tiles import Int32s

    Shape = tuple[int, float]

__all__ = ["DRILL", "FRAME", "RING", "Piece", "prepare"]

DRILL: Final = 0
FRAME: Final = 1
RING: Final = 2
_NO_MM: Final = 1e-12
_SLACK_MM: Final = 1e-9


class Piece:
    """A piece of path of a solid.

    The frame of the vectors turns about Z with the path: x is along the radius at the current polar angle, y along the tangent.
    On a face the frame is that of the work. The callers of `lobework.kernels.sweep.carve.carve_solid` fill the first twelve
    fields; `prepare` fills the other fields. When the fraction t of the piece is completed, a bow ``b`` adds ``t (1 - t) b`` to
    straight motion: a quarter of ``b`` in the middle.
    """

    polar: float
    """Polar angle of the radius at the beginning of the piece, rad; zero on a face."""
    swept: float
    """Change of the polar angle over the piece, rad."""
    centre: Vector
    """Position of the solid's centre, where r and y are zero, at the beginning of the piece, mm."""
    move: Vector
    """Displacement of the centre over the piece, mm."""
    bow: Vector
    """Bow of the centre's path, mm."""
    axis: Vector
    """Unit direction of the solid's axis at the beginning of the piece."""
    axis_turn: Vector
    """Change of ``axis`` over the piece."""
    axis_bow: Vector
    """Bow of ``axis``."""
    tip_begin: Vector
    """Position of the tip at the beginning of the piece, mm."""
    tip_end: Vector
    """Position of the tip at the end of the piece, mm."""
    out_begin: Vector
    """Unit direction from the tip out of the work at the beginning of the piece."""
    out_end: Vector
    """Unit direction from the tip out of the work at the end of the piece."""
    axis_turn_square: float
    """Sum of the squared lengths of ``axis_turn`` and ``axis_bow``; zero if the axis does not turn."""
    tip_middle: Vector
    """Midpoint of ``tip_begin`` and ``tip_end``, mm."""
    outward: Vector
    """Unit direction out of the work in the middle of the piece."""
    ahead: Vector
    """Unit direction in which the solid's surface moves, normal to ``outward``."""
    aside: Vector
    """Unit direction normal to ``outward`` and ``ahead``."""
    length: float
    """Displacement of the solid's surface along ``ahead``, mm."""
    deviation: float
    """Upper bound of a ray's deviation, besides the bow, from straight motion over the piece in the frame of the solid, mm."""
    turn: float
    """Rotation of the solid over the piece, about Z and by itself together, rad."""
    half_aside: float
    """Half-width along ``aside`` of the part of the solid that is in the work, mm."""
    half_ahead: float
    """Half-length along ``ahead`` of the part of the solid that is in the work, mm."""
    beyond_end: float
    """Length of the slab past the end of the piece, mm."""
    beyond_begin: float
    """Length of the slab before the beginning of the piece, mm."""
    lead: float
    """Upper bound of the distance ahead of the centre line at which the solid cuts a ray deepest, mm."""
    slack: float
    """Margin of the slab for the curvature of the path, mm."""
    cosine: float
    """Cosine of the polar angle in the middle of the piece."""
    sine: float
    """Sine of the polar angle in the middle of the piece."""
    miss_slack: float
    """Error bound of the tangent to the distance by which a ray misses the solid, over the piece, mm."""
    box: Box
    """Bounding box of the part of the solid that is in the work, mm."""
    is_convex: bool
    """Whether the solid is convex."""


@kernel()
def _heights(edge: EdgeParts, far: float) -> tuple[float, float]:
    """Return the least and greatest height above the tip at which normals of a cutter's surface meet its centre line.

    A normal at the distance r from the centre line and the height h, where the slope is k, meets it at ``h + r / k``. Only the
    surface within the distance ``far`` counts; straight parts with a slope of 0.05 or less are ignored.
    """
    low, high = 1e30, 0.0
    for p in range(edge.shape[0]):
        part = edge[p]
        near, end = part.near, min(part.far, far)
        if near >= far:
            break
        if part.is_arc:
            low, high = min(low, part.centre), max(high, part.centre)
        elif part.rise > 0.05:
            low, high = min(low, part.low + near / part.rise), max(high, part.low + part.rise * (end - near) + end / part.rise)
    return (low, high) if low <= high else (0.0, 0.0)


@kernel()
def _lead_bound(
    edge: EdgeParts, far: float, outward_speed: float, speed: float, height: float, turn_ahead: float, turn_aside: float
) -> float:
    """Return an upper bound of the distance, ahead of the centre line or behind it, at which a cutter cuts a ray deepest.

    ``far`` is the greatest distance from the centre line at which the cutter is in the work. Within a piece, a ray is cut deepest
    where ``r e . (v + (h + r / k - height) w) = r outward_speed / k``, at a point of the surface at the distance r and in the
    unit direction e from the centre line, at the height h, where the slope is k. v is the velocity at ``height``, with the
    magnitude ``speed``; w is its change per mm of height, with the components ``turn_ahead`` along v and ``turn_aside`` across
    it; ``outward_speed`` is the speed out of the work.
    """
    out = 0.0
    for p in range(edge.shape[0]):
        if edge[p].near >= far:
            break
        part = edge[p]
        for end in range(3):
            r = part.near if end == 0 else min(part.far, far)
            if part.is_arc:
                up = math.sqrt(max(part.radius**2 - r * r, 0.0))
                h, per = part.centre - up, up / max(r, _NO_MM)
                steep = math.sqrt(max(part.radius**2 - part.near**2, 0.0))
            else:
                h, per = part.low + part.rise * (r - part.near), 1.0 / max(part.rise, _NO_MM)
                steep = r * per
            if end == 2:
                per, steep = 0.0, 0.0
            off = abs(h + r * per - height)
            left = speed - off * turn_ahead
            if left <= 0.0:
                out = max(out, r)
            else:
                out = max(
                    out, min(r if not part.is_arc else min(part.far, far), (steep * outward_speed + r * off * turn_aside) / left)
                )
    return out


@kernel()
def _footprint(piece: Piece, edge: EdgeParts, shape: Shape, surface_height: float, on_face: bool) -> tuple[float, float, float]:
    """Return, in the work, the half-width of the cutter, the height of the solid, and the half-length of a frame's swing.

    These are upper bounds, mm. The first is negative if the solid is not in the work. ``surface_height`` is the work's greatest
    outward coordinate, z on a face and r on a round surface.
    """
    kind, size = shape
    if on_face:
        upright, lowest = min(piece.out_begin.z, piece.out_end.z), min(piece.tip_begin.z, piece.tip_end.z)
    else:
        upright, lowest = min(piece.out_begin.x, piece.out_end.x), min(piece.tip_begin.x, piece.tip_end.x)
    lean = math.sqrt(max(1.0 - upright * upright, 0.0))
    half_width, half_swing, tall = edge[edge.shape[0] - 1].far, size, 0.0
    for _ in range(4):
        spread = math.hypot(half_swing, half_width) if kind == FRAME else half_width + size
        tall = (surface_height - lowest + lean * spread) / upright
        half_width = half_width_at(edge, tall)
        if half_width < 0.0:
            break
        if kind == FRAME:
            half_swing = math.sqrt(size * size - (size - tall) ** 2) if tall < size else size
    return half_width, tall, half_swing


@kernel()
def _extent(
    tip_begin: float, tip_end: float, out_begin: float, out_end: float, radius: float, tall: float, more: float
) -> tuple[float, float]:
    """Return the least and the greatest value of one coordinate of a solid over a piece."""
    up, over = min(out_begin, out_end), max(out_begin, out_end)
    aside = radius * math.sqrt(max(1.0 - min(up * up, over * over), 0.0)) if up * over > 0.0 else radius
    aside += more
    return min(tip_begin, tip_end) + min(tall * up, 0.0) - aside, max(tip_begin, tip_end) + max(tall * over, 0.0) + aside


@kernel()
def _largest_difference(a: Vector, b: Vector) -> float:
    """Return the greatest difference between the coordinates of two points."""
    return max(abs(a.x - b.x), abs(a.y - b.y), abs(a.z - b.z))


@kernel()
def _prepare(piece: Piece, edge: EdgeParts, shape: Shape, surface_height: float, on_face: bool) -> bool:
    """Fill the computed fields of one piece; return whether the piece may reach the work."""
    kind, size = shape
    piece.cosine, piece.sine = math.cos(piece.polar + 0.5 * piece.swept), math.sin(piece.polar + 0.5 * piece.swept)
    piece.is_convex = kind != RING
    piece.axis_turn_square = (
        piece.axis_turn.x**2
        + piece.axis_turn.y**2
        + piece.axis_turn.z**2
        + piece.axis_bow.x**2
        + piece.axis_bow.y**2
        + piece.axis_bow.z**2
    )
    half_width, tall, half_swing = _footprint(piece, edge, shape, surface_height, on_face)
    if half_width < 0.0:
        return False
    piece.tip_middle.x = 0.5 * (piece.tip_begin.x + piece.tip_end.x)
    piece.tip_middle.y = 0.5 * (piece.tip_begin.y + piece.tip_end.y)
    piece.tip_middle.z = 0.5 * (piece.tip_begin.z + piece.tip_end.z)
    ox, oy, oz = piece.out_begin.x + piece.out_end.x, piece.out_begin.y + piece.out_end.y, piece.out_begin.z + piece.out_end.z
    per = 1.0 / math.sqrt(ox * ox + oy * oy + oz * oz)
    ox, oy, oz = ox * per, oy * per, oz * per
    piece.outward.x, piece.outward.y, piece.outward.z = ox, oy, oz
    vx, vy, vz = (
        piece.tip_end.x - piece.tip_begin.x - piece.swept * piece.tip_middle.y,
        piece.tip_end.y - piece.tip_begin.y + piece.swept * piece.tip_middle.x,
        piece.tip_end.z - piece.tip_begin.z,
    )
    wx, wy, wz = (
        piece.out_end.x - piece.out_begin.x - piece.swept * oy,
        piece.out_end.y - piece.out_begin.y + piece.swept * ox,
        piece.out_end.z - piece.out_begin.z,
    )
    lowest, highest = _heights(edge, half_width) if kind == DRILL else (0.0, tall)
    height = 0.5 * (lowest + highest)
    vx, vy, vz = vx + height * wx, vy + height * wy, vz + height * wz
    rises = vx * ox + vy * oy + vz * oz
    ux, uy, uz = vx - rises * ox, vy - rises * oy, vz - rises * oz
    speed = math.sqrt(ux * ux + uy * uy + uz * uz)
    if speed > _NO_MM:
        ux, uy, uz = ux / speed, uy / speed, uz / speed
    elif abs(oz) < 0.8:
        per = 1.0 / math.hypot(ox, oy)
        ux, uy, uz = -oy * per, ox * per, 0.0
    else:
        per = 1.0 / math.hypot(oy, oz)
        ux, uy, uz = 0.0, -oz * per, oy * per
    piece.ahead.x, piece.ahead.y, piece.ahead.z = ux, uy, uz
    piece.aside.x, piece.aside.y, piece.aside.z = oy * uz - oz * uy, oz * ux - ox * uz, ox * uy - oy * ux
    piece.length = speed
    turn = math.sqrt(
        (piece.out_end.x - piece.out_begin.x) ** 2
        + (piece.out_end.y - piece.out_begin.y) ** 2
        + (piece.out_end.z - piece.out_begin.z) ** 2
    )
    turn = max(turn, math.sqrt(piece.axis_turn_square))
    radius = size + half_width if kind != FRAME else math.hypot(half_swing, half_width)
    bow = math.sqrt(piece.bow.x**2 + piece.bow.y**2 + piece.bow.z**2)
    path_deviation = turn * math.sqrt(piece.move.x**2 + piece.move.y**2 + piece.move.z**2)
    sag = (0.0 if on_face else surface_height * piece.swept**2) / 8 + (radius + tall) * turn * turn / 4 + bow / 4 + path_deviation
    piece.turn = abs(piece.swept) + turn
    tilts = abs(piece.axis_turn.x * ox + piece.axis_turn.y * oy + piece.axis_turn.z * oz) + turn * turn if kind == FRAME else 0.0
    piece.deviation = (
        0.5 * (((0.0 if on_face else surface_height) + radius + tall) * piece.turn**2 + size * turn * tilts)
        + bow * piece.turn
        + path_deviation
    )
    piece.miss_slack = (
        2 * _SLACK_MM + 0.5 * ((0.0 if on_face else surface_height) + size + radius) * piece.turn**2 + bow + path_deviation
    )
    turn_rate = math.sqrt(wx * wx + wy * wy + wz * wz)
    piece.slack = (
        sag
        + (0.0 if on_face else surface_height * piece.swept**2) / 8
        + 0.5 * turn_rate * (max(tall, highest) + radius)
        + 2 * _SLACK_MM
    )
    if kind == FRAME:
        ax, ay, az = (
            piece.axis.x + 0.5 * piece.axis_turn.x,
            piece.axis.y + 0.5 * piece.axis_turn.y,
            piece.axis.z + 0.5 * piece.axis_turn.z,
        )
        cos_u, cos_v = abs(ax * ux + ay * uy + az * uz), abs(ax * piece.aside.x + ay * piece.aside.y + az * piece.aside.z)
        piece.half_aside = half_swing * math.sqrt(max(1.0 - cos_v * cos_v, 0.0)) + half_width * cos_v
        piece.half_ahead = half_swing * math.sqrt(max(1.0 - cos_u * cos_u, 0.0)) + half_width * cos_u
    else:
        piece.half_aside, piece.half_ahead = radius, radius
    piece.beyond_end, piece.beyond_begin, piece.lead = piece.half_ahead, piece.half_ahead, piece.half_ahead
    if kind == DRILL and speed > _NO_MM:
        turn_ahead, turn_aside = (
            abs(wx * ux + wy * uy + wz * uz),
            abs(wx * piece.aside.x + wy * piece.aside.y + wz * piece.aside.z),
        )
        piece.lead = min(
            _lead_bound(edge, half_width, abs(rises), speed, height, turn_ahead, turn_aside) + half_width * bow / speed,
            piece.half_ahead,
        )
    more = turn * turn * tall / 8 + bow / 4 + 2 * _SLACK_MM
    low, high = piece.box.low, piece.box.high
    low.x, high.x = _extent(piece.tip_begin.x, piece.tip_end.x, piece.out_begin.x, piece.out_end.x, radius, tall, more)
    low.y, high.y = _extent(piece.tip_begin.y, piece.tip_end.y, piece.out_begin.y, piece.out_end.y, radius, tall, more)
    low.z, high.z = _extent(piece.tip_begin.z, piece.tip_end.z, piece.out_begin.z, piece.out_end.z, radius, tall, more)
    return True


@kernel()
def _join(piece: Piece, after: Piece) -> None:
    """Shorten the slabs of a piece and of the next one at their common end, if the two pieces join."""
    mismatch = max(
        abs(piece.polar + piece.swept - after.polar),
        _largest_difference(piece.tip_end, after.tip_begin),
        _largest_difference(piece.out_end, after.out_begin),
    )
    if mismatch > _SLACK_MM or min(piece.length, after.length) <= _NO_MM:
        return
    turn = math.sqrt(
        (piece.ahead.x - after.ahead.x) ** 2 + (piece.ahead.y - after.ahead.y) ** 2 + (piece.ahead.z - after.ahead.z) ** 2
    )
    ahead = max(piece.lead, after.lead)
    piece.beyond_end = min(ahead + piece.half_ahead * turn, piece.half_ahead)
    after.beyond_begin = min(ahead + after.half_ahead * turn, after.half_ahead)


@kernel()
def prepare(pieces: Records[Piece], edge: EdgeParts, shape: Shape, rays: Rays, surface_height: float, bounds: Int32s) -> None:
    """Fill the computed fields of each piece, and the range of cells that it can reach."""
    for k in range(pieces.shape[0]):
        piece = pieces[k]
        bounds[k] = NO_CELLS
        if not _prepare(piece, edge, shape, surface_height, rays.on_face):
            piece.length = 0.0
        else:
            bounds_in(rays, piece.box, piece.polar, piece.swept, bounds[k])
        if k > 0:
            _join(pieces[k - 1], piece)
