"""The compiled way for cutters that do not revolve about the way out of the work: fixed blades, and cutting frames."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.edge import Arc
from lobework.errors import SettingError
from lobework.holder import CuttingFrame
from lobework.surface import Face, Round

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.edge import Edge
    from lobework.rigid import Array

    Whole = NDArray[np.int32]
    Route = Callable[[Stock, Sweep, Depth, Callable[[float], None]], None]

__all__ = ["ROUTES", "refuse_sweep"]

_AT_ONCE: Final = 1 << 13
_WITHIN_MM: Final = 1e-5
_MOST_TURN_RAD: Final = 0.05
_MOST_TILT_RAD: Final = 0.03
_LEAST_UPRIGHT: Final = 0.2
_NEAREST_AXIS_MM: Final = 1e-6
_CORNER: Final = 1e-9
_FACE_COLUMNS: Final = {"fixed": 16, "cutting frame": 41}
_ROUND_COLUMNS: Final = {"fixed": 28, "cutting frame": 41}
_CUTS: Final = 22


def refuse_sweep(stock: Stock, sweep: Sweep) -> None:
    """Raise `SettingError` where a sweep is one that `ROUTES` cannot carve.

    On a face the cutter must be upright. On a round surface it must keep off the work's axis, and point away from it to
    within 78 degrees.
    """
    given = f"cut={sweep.title!r}: the 'compiled' backend cannot carve"
    if isinstance(stock.surface, Face):
        if not sweep.upright:
            raise SettingError(f"{given} a cutter that leans on a face; use the backend 'plain'")
        return
    away = np.hypot(sweep.tip[:, 0], sweep.tip[:, 1])
    if away.min() <= _NEAREST_AXIS_MM:
        raise SettingError(f"{given} through the work's axis; keep the tip off it, or use the backend 'plain'")
    out = (sweep.tip[:, :2] * sweep.outward[:, :2]).sum(axis=-1) / away
    if out.min() < _LEAST_UPRIGHT:
        leans = math.degrees(math.acos(max(float(out.min()), -1.0)))
        raise SettingError(
            f"{given} with a cutter {leans:.0f} degrees off the way straight out of the work; keep it within 78 degrees, "
            "or use the backend 'plain'"
        )


def _carve_face(stock: Stock, sweep: Sweep, depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a face by one blade or cutting frame."""
    from lobework.kernels.sweep_blade import blade_on_face
    from lobework.kernels.sweep_frame import frame_on_face

    refuse_sweep(stock, sweep)
    outline, bodies = _outline(sweep.edge), _bodies(sweep.edge)
    grid = float(stock.across[0]), float(stock.down[0]), stock.column_step, stock.row_step
    work = _work(stock)
    for done, pieces in _pieces_on_face(sweep):
        if isinstance(sweep.held, CuttingFrame):
            frame_on_face(pieces, sweep.held.radius, outline, bodies, len(bodies) == 1, grid, work, depth)
        else:
            blade_on_face(pieces, outline, grid, work, depth)
        progress(done)


def _carve_round(stock: Stock, sweep: Sweep, depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a round surface by one blade or cutting frame."""
    from lobework.kernels.sweep_blade import blade_on_round
    from lobework.kernels.sweep_frame import frame_on_round

    refuse_sweep(stock, sweep)
    outline, bodies = _outline(sweep.edge), _bodies(sweep.edge)
    around, work = _around(stock), _work(stock)
    for done, pieces in _pieces_on_round(sweep):
        if isinstance(sweep.held, CuttingFrame):
            frame_on_round(pieces, sweep.held.radius, outline, bodies, len(bodies) == 1, *around, work, depth)
        else:
            blade_on_round(pieces, outline, bodies, *around, work, depth)
        progress(done)


ROUTES: Final[dict[tuple[str, str], Route]] = {
    ("face", "fixed"): _carve_face,
    ("face", "cutting frame"): _carve_face,
    ("round", "fixed"): _carve_round,
    ("round", "cutting frame"): _carve_round,
}
"""By surface and holder, what deepens a stock's depths by one sweep, and says now and then how much of it is done.

Between two places of its path a cutter turns evenly. A blade has no thickness: plunged without moving, or drawn along its
own breadth, it marks a line of no width, and no ray of the grid is deepened.
"""


def _outline(edge: Edge) -> Array:
    """Return an edge as the kernels take it: each part, and whether the outline has a corner where it begins."""
    before, rows = 0.0, []
    for part, (rise, after) in zip(edge.parts, _slopes(edge), strict=True):
        shape = (1.0, part.centre, part.radius) if isinstance(part, Arc) else (0.0, part.low, part.rise)
        rows.append((part.near, part.far, *shape, float(abs(rise - before) > _CORNER)))
        before = after
    return np.array(rows, dtype=np.float64)


def _slopes(edge: Edge) -> list[tuple[float, float]]:
    """Return the rise of each part where it begins and where it ends."""
    slopes = []
    for part in edge.parts:
        if isinstance(part, Arc):
            near, far = (math.asin(min(r / part.radius, 1.0)) for r in (part.near, part.far))
            slopes.append((math.tan(near), math.inf if part.far >= part.radius else math.tan(far)))
        else:
            slopes.append((part.rise, part.rise))
    return slopes


def _bodies(edge: Edge) -> Whole:
    """Return the stretches of an edge that do not bend inwards: first and last part, and 0 for both sides, or 1 and -1."""
    slopes = _slopes(edge)
    breaks = [k for k in range(1, len(slopes)) if slopes[k][0] < slopes[k - 1][1] - _CORNER]
    bodies: list[tuple[int, int, int]] = []
    for first, after in zip([0, *breaks], [*breaks, len(slopes)], strict=True):
        sides = (0,) if first == 0 else (1, -1)
        bodies += [(first, after - 1, side) for side in sides]
    return np.array(bodies, dtype=np.int32)


def _work(stock: Stock) -> Whole:
    """Return, of each row, the first column with work under it, and the column after the last."""
    inside = stock.inside
    first = np.where(inside.any(axis=1), inside.argmax(axis=1), 0)
    return np.stack([first, first + inside.sum(axis=1)], axis=-1).astype(np.int32)


class _Around(NamedTuple):
    """The rays of a round surface, as `lobework.kernels.sweep_blade.blade_on_round` takes them."""

    rays: Array
    bands: Array
    turns: Array
    steps: tuple[float, float, float, bool]


def _around(stock: Stock) -> _Around:
    from lobework.kernels.tiles import PATCH, SIDE

    rows = np.minimum(np.arange(-(-stock.rows // SIDE) * SIDE), stock.rows - 1)
    profile = stock.profile[rows]
    with np.errstate(divide="ignore"):
        axis = profile[:, 0] / np.maximum(profile[:, 2], 0.0)
    four = profile.reshape(-1, PATCH, 4)
    middle = (four.min(axis=1) + four.max(axis=1)) / 2
    off = np.abs(four - middle[:, None]).max(axis=1)
    bands = np.column_stack([middle, np.hypot(off[:, 0], off[:, 1]), np.hypot(off[:, 2], off[:, 3])])
    column = stock.across[0] + np.arange(-(-stock.columns // SIDE) * SIDE) * stock.column_step
    middle_of = column + (PATCH - 1) / 2 * stock.column_step
    turns = np.stack([np.cos(column), np.sin(column), np.cos(middle_of), np.sin(middle_of)], axis=-1)
    turns = np.column_stack([turns, np.full(len(column), (PATCH - 1) / 2 * stock.column_step)])
    straight = isinstance(stock.surface, Round) and stock.surface.straight
    steps = stock.row_step, stock.column_step, float(stock.across[0]), straight
    return _Around(np.column_stack([profile, axis]), bands, turns, steps)


class _Steps(NamedTuple):
    """Some steps of a path cut into pieces: whose step, from where to where in it, whether to be cut, and the part done."""

    step: NDArray[np.intp]
    begin: Array
    end: Array
    cut: NDArray[np.bool_]
    done: float


def _some(counts: Callable[[slice], NDArray[np.intp]], total: int) -> Iterator[tuple[slice, _Steps]]:
    """Yield a path's steps, some thousands of pieces at a time, each lot with the step before it and the step after it.

    ``counts`` says into how many pieces to cut steps.
    """
    for first in range(0, total, _AT_ONCE):
        upto = min(first + _AT_ONCE, total)
        ends = np.cumsum(counts(slice(first, upto)))
        lots = np.searchsorted(ends, np.arange(4 * _AT_ONCE, ends[-1], 4 * _AT_ONCE))
        for low, high in zip(np.unique([0, *lots]), [*np.unique([0, *lots])[1:], upto - first], strict=True):
            if low == high:
                continue
            near = slice(max(first + low - 1, 0), min(first + high + 1, total))
            count = counts(near)
            step = np.repeat(np.arange(len(count)), count)
            number = np.arange(len(step)) - np.repeat(np.cumsum(count) - count, count)
            path_step = near.start + step
            cut = (path_step >= first + low) & (path_step < first + high)
            yield near, _Steps(step, number / count[step], (number + 1) / count[step], cut, float((first + high) / total))


def _rows(vectors: Array, which: slice) -> Array:
    """Return the vectors of some places, or the one that stands for all."""
    return np.broadcast_to(vectors, (which.stop - which.start, 3)) if len(vectors) == 1 else vectors[which]


def _pieces_on_face(sweep: Sweep) -> Iterator[tuple[float, Array]]:
    """Yield pieces of path for the kernels of faces, with the part of the path done."""
    tip, total = sweep.tip, max(len(sweep.tip) - 1, 1)
    frame = isinstance(sweep.held, CuttingFrame)
    most = _MOST_TURN_RAD if frame else min(_MOST_TURN_RAD, (_WITHIN_MM / (0.016 * sweep.edge.half_width)) ** (1 / 3))
    aside = math.radians(sweep.held.angle_deg) + math.pi / 2 if isinstance(sweep.held, CuttingFrame) else 0.0

    def turn(which: slice) -> Array:
        level = _rows(sweep.level, slice(which.start, which.stop + 1)) if len(tip) > 1 else np.repeat(sweep.level[:1], 2, axis=0)
        x, y = level[:, 0], level[:, 1]
        turned: Array = np.arctan2(x[:-1] * y[1:] - y[:-1] * x[1:], x[:-1] * x[1:] + y[:-1] * y[1:])
        return turned

    for near, steps in _some(lambda which: np.maximum(np.ceil(np.abs(turn(which)) / most), 1).astype(np.intp), total):
        place = tip[near.start : near.stop + 1]
        move = np.diff(place, axis=0) if len(tip) > 1 else np.zeros((1, 3))
        level = _rows(sweep.level, near)[steps.step]
        begins = np.arctan2(level[:, 1], level[:, 0]) + aside
        turned = turn(near)[steps.step]
        first, last = begins + steps.begin * turned, begins + steps.end * turned
        pieces = np.zeros((len(steps.step), _FACE_COLUMNS[sweep.held.kind]))
        pieces[:, :3] = place[steps.step] + steps.begin[:, None] * move[steps.step]
        pieces[:, 3:6] = (steps.end - steps.begin)[:, None] * move[steps.step]
        pieces[:, 6], pieces[:, 7] = np.cos(first), np.sin(first)
        if frame:
            pieces[:, 8], pieces[:, _CUTS] = last - first, steps.cut
        else:
            pieces = pieces[steps.cut]
            pieces[:, 12], pieces[:, 13] = np.cos(last[steps.cut]), np.sin(last[steps.cut])
        yield steps.done, pieces


def _pieces_on_round(sweep: Sweep) -> Iterator[tuple[float, Array]]:
    """Yield pieces of path for the kernels of round surfaces, with the part of the path done."""
    tip, total = sweep.tip, max(len(sweep.tip) - 1, 1)

    def poses(which: slice) -> tuple[Array, Array, Array, Array]:
        """Radius, polar angle and z; the frame (level, across, outward) of each place; how both change in each step."""
        places = slice(which.start, min(which.stop + 1, len(tip)))
        at = tip[places]
        polar = np.arctan2(at[:, 1], at[:, 0])
        place = np.stack([np.hypot(at[:, 0], at[:, 1]), polar, at[:, 2]], axis=-1)
        level, outward = (_about_z(-polar, _rows(vectors, places)) for vectors in (sweep.level, sweep.outward))
        frames = np.stack([level, np.cross(outward, level), outward], axis=-1)
        if len(at) == 1:
            return place, frames, np.zeros((1, 3)), np.zeros((1, 3))
        move = np.diff(place, axis=0)
        move[:, 1] = (move[:, 1] + math.pi) % (2 * math.pi) - math.pi
        return place, frames, move, _turns(frames)

    def counts(which: slice) -> NDArray[np.intp]:
        _, _, move, turn = poses(which)
        count = np.maximum(np.abs(move[:, 1]) / _MOST_TURN_RAD, np.linalg.norm(turn, axis=-1) / _MOST_TILT_RAD)
        found: NDArray[np.intp] = np.maximum(np.ceil(count), 1).astype(np.intp)
        return found

    for near, steps in _some(counts, total):
        place, frames, move, turn = poses(near)
        step, long = steps.step, steps.end - steps.begin
        begin = place[step] + steps.begin[:, None] * move[step]
        pieces = np.zeros((len(step), _ROUND_COLUMNS[sweep.held.kind]))
        for axis, column in ((1, 0), (0, 2), (2, 4)):
            pieces[:, column], pieces[:, column + 1] = begin[:, axis], long * move[step, axis]
        for column, way in ((6, 2), (12, None)):
            vectors = frames[step, :, way] if way is not None else _aside(sweep, frames)[step]
            first, last = (_turned(vectors, part[:, None] * turn[step]) for part in (steps.begin, steps.end))
            pieces[:, column : column + 3], pieces[:, column + 3 : column + 6] = first, last - first
        if isinstance(sweep.held, CuttingFrame):
            pieces[:, _CUTS] = steps.cut
        else:
            pieces = pieces[steps.cut]
        yield steps.done, pieces


def _aside(sweep: Sweep, frames: Array) -> Array:
    """Return the way of a blade's breadth, or of a cutting frame's axis, in (n, 3, 3) frames of level, across, outward."""
    if not isinstance(sweep.held, CuttingFrame):
        return frames[:, :, 0]
    angle = math.radians(sweep.held.angle_deg)
    aside: Array = math.cos(angle) * frames[:, :, 1] - math.sin(angle) * frames[:, :, 0]
    return aside


def _about_z(angle: Array, vectors: Array) -> Array:
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = vectors.T
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=-1)


def _turns(frames: Array) -> Array:
    """Return the turn from each frame to the next: (n - 1, 3), along its axis, rad long."""
    between = frames[1:] @ frames[:-1].transpose(0, 2, 1)
    twice = np.stack(
        [between[:, 2, 1] - between[:, 1, 2], between[:, 0, 2] - between[:, 2, 0], between[:, 1, 0] - between[:, 0, 1]], -1
    )
    sin = np.linalg.norm(twice, axis=-1) / 2
    angle = np.arctan2(sin, (np.trace(between, axis1=1, axis2=2) - 1) / 2)
    turns: Array = twice / 2 * np.where(sin > 1e-12, angle / np.maximum(sin, 1e-12), 0.0)[:, None]
    return turns


def _turned(vectors: Array, turn: Array) -> Array:
    """Return vectors turned about axes (Rodrigues' formula)."""
    angle = np.linalg.norm(turn, axis=-1, keepdims=True)
    axis = turn / np.maximum(angle, 1e-300)
    along = (axis * vectors).sum(axis=-1, keepdims=True) * axis
    turned: Array = along + (vectors - along) * np.cos(angle) + np.cross(axis, vectors) * np.sin(angle)
    return turned
