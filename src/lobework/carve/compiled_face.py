"""Compiled carving of a face by upright cutters in a drilling spindle or an eccentric frame."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.compiled_path import edge_parts, grid_of, slant_parts
from lobework.geometry.cutter_edge import ArcSegment
from lobework.parts.holder import EccentricFrame

if TYPE_CHECKING:
    from lobework.carve.stock import Depth, Stock
    from lobework.carve.sweep import Sweep
    from lobework.geometry.cutter_edge import Edge
    from lobework.geometry.rigid import Array
    from lobework.kernels.sweep.segments import Segments

__all__ = ["MERGED_MM", "carve_face"]

MERGED_MM: Final = 5e-7
"""Greatest change of a depth, mm, when samples nearly in a line are joined into one segment.

A vertical side of a groove is displaced by less. The value is so small that a path divided in two gives the depths of the whole
path.
"""
_LEVEL_MM: Final = 1e-7
"""Greatest range of z of a level path, mm."""
_SLANTS_MM: Final = 2e-6
"""Greatest distance, mm, between an arc and the chords that replace it, for an eccentric frame on a path that is not level."""
_STEEPEST: Final = 100.0
_AT_ONCE: Final = 1 << 18
_FEWEST: Final = 1 << 12
_CELLS: Final = 1 << 30
"""Sum, over the segments of a batch, of the cells that each reaches: about one second of work between progress reports."""
_STRETCH: Final = 1 << 16


def _steepest(edge: Edge, depth: float) -> float:
    """Return the greatest slope of an edge up to ``depth`` mm above its tip; the result is at most 100."""
    steepest = 0.0
    for part in edge.parts:
        if part.low >= depth:
            break
        if isinstance(part, ArcSegment):
            far = part.reach(depth)
            height = math.sqrt(max(part.radius**2 - far**2, 0.0))
            steepest = max(steepest, far / height if height > 0 else math.inf)
        else:
            steepest = max(steepest, part.slope)
    sunk = depth > edge.height
    return _STEEPEST if sunk else min(steepest, _STEEPEST)


@dataclass(frozen=True, slots=True, kw_only=True)
class _FacePath:
    """The path of one sweep over a face.

    ``tip`` is the path of the tip, (n, 3) mm, ``within`` the tolerance of the segments that replace the path, mm, and ``level``
    the z of a level path, mm; NaN if the path is not level.
    """

    tip: Array
    within: float
    level: float


def _face_path(sweep: Sweep) -> _FacePath | None:
    """Return the path of a sweep over a face; None if the tip of the cutter is never in the work."""
    from lobework.kernels.sweep.segments import deepest_and_highest

    tip = np.ascontiguousarray(sweep.tip, dtype=np.float64)
    deepest, highest = deepest_and_highest(tip)
    if deepest >= 0:
        return None
    level = (deepest + highest) / 2 if highest - deepest <= _LEVEL_MM else math.nan
    return _FacePath(tip=tip, within=MERGED_MM / (1 + _steepest(sweep.edge, -deepest)), level=level)


def _segments_per_batch(stock: Stock, edge: Edge, swing: float, paths: Sequence[_FacePath]) -> int:
    """Return the number of segments to carve together; the more cells each segment reaches, the fewer."""
    deepest = max(-float(path.tip[:, 2].min()) for path in paths)
    across = edge.width_at(deepest)
    reach = across**2 + math.tau * swing * across
    return int(min(max(_CELLS * stock.row_step * stock.column_step / max(reach, 1e-12), _FEWEST), _AT_ONCE))


def _segments(paths: Sequence[_FacePath], at_once: int) -> Iterator[tuple[int, Segments]]:
    """Yield the segments of paths in batches, each batch with the number of samples that its segments replace."""
    from lobework.kernels.records import zeros
    from lobework.kernels.sweep.segments import Segment, fill_paths

    stretch = min(_STRETCH, at_once - 1)
    parts = [
        (path, path.tip[first : first + stretch + 1]) for path in paths for first in range(0, max(len(path.tip) - 1, 1), stretch)
    ]
    ends = np.cumsum([len(tip) for _, tip in parts])
    segments = zeros(Segment, min(int(ends[-1]), at_once))
    first, samples_done = 0, 0
    while first < len(parts):
        after = int(np.searchsorted(ends, samples_done + segments.shape[0], side="right"))
        batch = parts[first:after]
        filled = segments[: ends[after - 1] - samples_done]
        within, levels = (np.array([getattr(path, name) for path, _ in batch]) for name in ("within", "level"))
        fill_paths(np.concatenate([tip for _, tip in batch]), ends[first:after] - samples_done, within, levels, filled)
        yield filled.shape[0], filled
        first, samples_done = after, int(ends[after - 1])


def carve_face(stock: Stock, sweeps: Sequence[Sweep], depth: Depth, progress: Callable[[float], None]) -> None:
    """Deepen a face by the sweeps of revolving cutters that stand upright on the face.

    Parameters
    ----------
    stock : Stock
        Stock with a face.
    sweeps : sequence of Sweep
        Sweeps of cutters in a drilling spindle or an eccentric frame.
    depth : (rows, columns) float32, mm
        Depths of the rays; increased in place.
    progress : callable
        Called repeatedly with the fraction done, 0 to 1; an exception raised in a call stops the carving.
    """
    from lobework.kernels.sweep.carve import carve_level, carve_sloping
    from lobework.kernels.sweep.tiles import work_in

    by_cutter: dict[tuple[Edge, float], list[_FacePath]] = {}
    for sweep in sweeps:
        if (path := _face_path(sweep)) is not None:
            swing = sweep.holder.radius if isinstance(sweep.holder, EccentricFrame) else 0.0
            by_cutter.setdefault((sweep.edge, swing), []).append(path)
    grid = grid_of(stock)
    work = work_in(stock.inside)
    total, done = sum(len(path.tip) for paths in by_cutter.values() for path in paths), 0
    for (edge, swing), paths in by_cutter.items():
        at_once = _segments_per_batch(stock, edge, swing, paths)
        level = sorted((path for path in paths if not math.isnan(path.level)), key=lambda path: path.level)
        for seen, segments in _segments(level, at_once) if level else ():
            carve_level(segments, edge_parts(edge), swing, grid, work, depth)
            done += seen
            progress(min(done / total, 1.0))
        sloping = [path for path in paths if math.isnan(path.level)]
        for seen, segments in _segments(sloping, at_once) if sloping else ():
            carve_sloping(segments, slant_parts(edge, _SLANTS_MM) if swing else edge_parts(edge), swing, grid, work, depth)
            done += seen
            progress(min(done / total, 1.0))
