"""Compiled carving of faces and round surfaces by a fixed tool, upright or inclined, whose blade has no thickness."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.compiled_path import (
    FACE_CELLS,
    SOLID_CELLS,
    bodies_of,
    edge_parts,
    grid_of,
    pieces_of,
    rays_of,
    steps_at_once,
)
from lobework.errors import SettingError
from lobework.geometry.surface import Face

if TYPE_CHECKING:
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep

__all__ = ["carve_tool", "refuse_pose"]

_WITHIN_MM: Final = 1e-5
_MOST_TURN_RAD: Final = 0.05
_MOST_TILT_RAD: Final = 0.02
_LEAST_UPRIGHT: Final = 0.2
_NEAREST_AXIS_MM: Final = 1e-6


def refuse_pose(stock: Stock, sweep: Sweep) -> None:
    """Raise `SettingError` if the compiled kernels cannot carve a pose of a sweep.

    On a face, ``outward`` must be within 78 degrees of Z. On a round surface, ``outward`` must be within 78 degrees of the radius
    through the tip, and the tip must not touch the axis of the work.
    """
    given = f"cut={sweep.title!r}: the 'compiled' backend cannot carve"
    if isinstance(stock.surface, Face):
        out = sweep.outward[:, 2]
    else:
        away = np.hypot(sweep.tip[:, 0], sweep.tip[:, 1])
        if away.min() <= _NEAREST_AXIS_MM:
            raise SettingError(
                f"{given} a path through the work's axis; keep the tip away from the axis, or use the backend 'plain'"
            )
        out = (sweep.tip[:, :2] * sweep.outward[:, :2]).sum(axis=-1) / away
    if out.min() < _LEAST_UPRIGHT:
        leans = math.degrees(math.acos(max(float(out.min()), -1.0)))
        raise SettingError(
            f"{given} with a cutter inclined by {leans:.0f} degrees to the outward direction of the work; incline the cutter by "
            "at most 78 degrees, or use the backend 'plain'"
        )


def carve_tool(stock: Stock, sweep: Sweep, depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a stock by one sweep of a fixed tool.

    Between two points of its path a blade turns uniformly. The blade has no thickness: an upright blade that only plunges, or
    only moves along its own width, cuts a line without width, and no ray of the grid becomes deeper.

    Parameters
    ----------
    stock : Stock
        Stock with any surface.
    sweep : Sweep
        Sweep of a cutter in a fixed rest.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    progress : callable
        Called repeatedly with the fraction done, 0 to 1; an exception raised in a call stops the carving.

    Raises
    ------
    SettingError
        If the sweep cannot be carved; see `refuse_pose`.

    Examples
    --------
    >>> from lobework.carve.stock import stock_of
    >>> from lobework.carve.sweep import Sweep
    >>> from lobework.parts.cutter import Vee
    >>> from lobework.parts.holder import FixedTool
    >>> from lobework.parts.piece import Disc
    >>> stock = stock_of(Disc(diameter=20.0, thickness=5.0), resolution=0.5)
    >>> up, level = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    >>> vee = Vee(angle_deg=90.0, width=3.0, holder=FixedTool())
    >>> groove = Sweep(vee.edge, vee.holder, np.array([[0.0, -4.0, -0.75], [0.0, 4.0, -0.75]]), up, level)
    >>> depth = stock.uncut()
    >>> carve_tool(stock, groove, depth, lambda part: None)
    >>> depth[20, 18:23].round(6).tolist()
    [0.0, 0.25, 0.75, 0.25, 0.0]
    """
    refuse_pose(stock, sweep)
    if isinstance(stock.surface, Face) and sweep.upright:
        _carve_upright(stock, sweep, depth, progress)
        return
    from lobework.kernels.records import of_vectors, zeros
    from lobework.kernels.sweep.carve import carve_blade
    from lobework.kernels.sweep.ray_blade import Piece
    from lobework.kernels.sweep.tiles import work_in

    outline, bodies, rays, work = edge_parts(sweep.edge), bodies_of(sweep.edge), rays_of(stock), work_in(stock.inside)
    for some in pieces_of(sweep, not rays.on_face, _MOST_TILT_RAD, at_once=steps_at_once(stock, sweep, SOLID_CELLS)):
        (tip, _, tip_end), (frame, _, frame_end) = some.tips, some.frames
        pieces = zeros(Piece, len(some.polar))
        pieces["polar"], pieces["swept"] = some.polar, some.swept
        pieces["tip"], pieces["move"] = of_vectors(tip), of_vectors(tip_end - tip)
        for field, way in (("out", 2), ("level", 0)):
            pieces[field] = of_vectors(frame[:, :, way])
            pieces[f"{field}_turn"] = of_vectors(frame_end[:, :, way] - frame[:, :, way])
        carve_blade(pieces, outline, bodies, rays, work, depth)
        progress(some.done)


def _carve_upright(stock: Stock, sweep: Sweep, depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a face by one sweep of an upright tool, in closed form."""
    from lobework.kernels.records import of_vectors, zeros
    from lobework.kernels.sweep.blade_on_face import Piece
    from lobework.kernels.sweep.carve import carve_upright_blade
    from lobework.kernels.sweep.tiles import work_in

    turn = min(_MOST_TURN_RAD, (_WITHIN_MM / (0.016 * sweep.edge.half_width)) ** (1 / 3))
    grid = grid_of(stock)
    outline, work = edge_parts(sweep.edge), work_in(stock.inside)
    for some in pieces_of(sweep, False, turn, at_once=steps_at_once(stock, sweep, FACE_CELLS)):
        (tip, _, tip_end), (frame, _, frame_end) = some.tips, some.frames
        pieces = zeros(Piece, len(tip))
        pieces["tip"], pieces["move"] = of_vectors(tip), of_vectors(tip_end - tip)
        pieces["direction_x"], pieces["direction_y"] = frame[:, 0, 0], frame[:, 1, 0]
        pieces["end_direction_x"], pieces["end_direction_y"] = frame_end[:, 0, 0], frame_end[:, 1, 0]
        carve_upright_blade(pieces, outline, grid, work, depth)
        progress(some.done)
