"""Checks of the work: a tip beyond the edge, a cut through the wall, a cutter's body in the wood, a cutter clear of the work."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.sweep import has_edge
from lobework.checks.check import Finding, show_small
from lobework.geometry.surface import Face, Round
from lobework.lathe.hand_settings import show_length
from lobework.parts.abilities import SolidPiece, seen_on, surface_of
from lobework.parts.holder import CuttingFrame
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import MM_PER, LengthUnit, format_number

if TYPE_CHECKING:
    from lobework.carve import Carving
    from lobework.carve.carving import Spot
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.parts.protocols import Cutter, Piece

__all__ = ["body_findings", "carving_findings", "carving_summary", "work_findings"]

_POINTS: Final = 65


def carving_summary(carving: Carving, units: LengthUnit = "mm") -> list[str]:
    """Return lines of text on a carving: rays, removed volume, uncut surface, deepest point, least wall, and ridges."""
    rows, columns = carving.stock.shape
    volume = carving.volume / float(MM_PER[units]) ** 3
    deepest, thinnest = carving.deepest, carving.thinnest
    digits = 1 if units == "mm" else 4
    if 0 < volume < 0.1**digits:
        digits = 1 - math.floor(math.log10(volume))
    removed = f"{format_number(volume, digits)} cubic {'mm' if units == 'mm' else 'inches'}"
    lines = [
        f"carved on {rows:,} x {columns:,} rays, {show_length(carving.stock.row_step, units)} apart",
        f"removed {removed}; {format_number(100 * carving.land_part, 1)} % of the surface is untouched",
    ]
    if deepest.depth > 0:
        deep, left = show_length(round(deepest.depth, 4), units), show_length(round(thinnest.wall, 4), units)
        lines.append(f"deepest {deep} at {_place(carving, deepest, units)}, by {deepest.cut}")
        lines.append(f"least wall left {left} at {_place(carving, thinnest, units)}")
    if carving.cusp > 0:
        lines.append(
            f"ridges between grooves stand up to {show_length(round(carving.cusp, 4), units)} above the floors of the grooves"
        )
    return lines


def carving_findings(carving: Carving, units: LengthUnit = "mm", bodies: bool = True) -> list[Finding]:
    """Return findings on carved work that is cut through, not cut at all, or cut deeper than the height of the cutter's edge.

    If ``bodies`` is false, cuts deeper than the edge are not reported, because `body_findings` reports them too.
    """
    return list(_carving_findings(carving, units, bodies))


def _carving_findings(carving: Carving, units: LengthUnit, bodies: bool) -> Iterable[Finding]:
    """Yield the findings of `carving_findings`."""
    if not carving.depth.any():
        beside = any((seen_on(carving.piece, sweep.tip)[:, 2] > 0).any() for sweep in carving.sweeps)
        message = "no cutter reaches into the work; " + (
            "the tip is deep enough, but beside the work: move x, y or z so that the tip is over the work"
            if beside
            else "depth is positive into the work, and the slides position the tip"
        )
        yield Finding(kind="carving", level="warning", where="whole job", message=message)
        return
    spot = carving.thinnest
    if spot.wall <= 0:
        deep, thick = show_small(spot.depth, units), show_small(spot.depth + spot.wall, units)
        message = (
            f"the work is cut through at {_place(carving, spot, units)}: the cut is {deep} deep, the work {thick} "
            "thick; cut less deep"
        )
        yield Finding(kind="carving", level="problem", where=spot.cut or "whole job", message=message)
    spot = carving.deepest
    height = carving.sweeps[0].edge.height
    if bodies and 0 < height < spot.depth - JOIN_MM:
        message = f"{show_small(spot.depth, units)} deep at {_place(carving, spot, units)}, {_body_in_wood(height, units)}"
        yield Finding(kind="carving", level="problem", where=spot.cut, message=message)
    holder = carving.sweeps[0].holder
    if isinstance(holder, CuttingFrame) and holder.radius <= spot.depth:
        deep, swing, place = show_small(spot.depth, units), show_small(holder.radius, units), _place(carving, spot, units)
        message = f"{deep} deep at {place}, but the frame's radius is {swing}, so the spindle of the frame would be in the wood"
        yield Finding(kind="carving", level="problem", where=spot.cut, message=message)


def _body_in_wood(height: float, units: LengthUnit) -> str:
    """Return the last clause of a message on a cutter whose body would be in the wood."""
    return (
        f"but the cutter's edge is {show_small(height, units)} high, so the body of the cutter would be in the wood; "
        "cut less deep, or use a cutter with a higher edge"
    )


def _place(carving: Carving, spot: Spot, units: LengthUnit) -> str:
    """Return the text for the position of a spot."""
    first, second = spot.place
    if isinstance(carving.stock.surface, Face):
        return f"x {show_length(round(first, 2), units)}, y {show_length(round(second, 2), units)}"
    return f"{format_number(first, 2)} degrees, z {show_length(round(second, 2), units)}"


def work_findings(piece: Piece, traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield findings on each pass whose tip goes beyond the edge of the work, too deep into the work, or never touches the work.

    The edge is checked only if every line from the middle of the work crosses the outline once.
    """
    for _, of_group in itertools.groupby(traces, key=lambda each: each.cut.group):
        same = list(of_group)
        name = same[0].cut.passed.name or f"pass {same[0].cut.group}"
        units = same[0].cut.units
        seen = [_on_sheet(piece, each) for each in same]
        beyond = [float(_beyond_edge(piece, each, trace.z).max()) for each, trace in zip(seen, same, strict=True)]
        deep = [float(each[:, 2].max()) for each in seen]
        thickness = _thickness(piece, seen)
        surface = "face" if same[0].cut.approach.axis == "z" else "work"
        if max(deep) < -JOIN_MM:
            clear = show_small(-max(deep), units)
            message = f"the tip stays at least {clear} away from the {surface} and cuts nothing; depth is positive into the work"
            yield Finding(kind="work", level="warning", where=name, message=message)
        if max(beyond) > JOIN_MM:
            first = next(each.cut.title for each, over in zip(same, beyond, strict=True) if over > JOIN_MM)
            over = show_small(max(beyond), units)
            message = f"the tip cuts up to {over} beyond the edge of the work, first in {first}; begin nearer the middle"
            yield Finding(kind="work", level="warning", where=name, message=message)
        if first := next((each.cut.title for each in same if _through_deeper_wood(piece, each)), ""):
            message = (
                f"during the plunge the tip is deeper in the wood than at the start of the pass, first in {first}; start x "
                "at the radius of the work there"
            )
            yield Finding(kind="work", level="warning", where=name, message=message)
        if max(deep) > thickness:
            first = next(each.cut.title for each, down in zip(same, deep, strict=True) if down > thickness)
            goes, thick = show_small(max(deep), units), show_small(thickness, units)
            message = (
                f"the tip goes {goes} deep, first in {first}, but the work is {thick} thick; keep the tip clear of what "
                "holds the work"
            )
            yield Finding(kind="work", level="warning", where=name, message=message)


def body_findings(piece: Piece, cutter: Cutter, traces: Sequence[Trace]) -> Iterable[Finding]:
    """Yield a finding for each pass that goes deeper into the work than the height of the cutter's edge.

    The body above the edge does not cut. In every holder the edge is the lowest part of the cutter. The check omits cutters
    without an edge, such as a pen, cutters whose edge has no height, such as a flat end, and positions of the tip beyond the edge
    of the work. Wood that earlier passes have removed is treated as present.
    """
    height = cutter.edge.height if has_edge(cutter) else 0.0
    for _, of_group in itertools.groupby(traces if height > 0 else (), key=lambda each: each.cut.group):
        same = list(of_group)
        deep = [_deepest_in(piece, each) for each in same]
        if not max(deep) <= height + JOIN_MM:
            units, name = same[0].cut.units, same[0].cut.passed.name or f"pass {same[0].cut.group}"
            first = next(each.cut.title for each, down in zip(same, deep, strict=True) if not down <= height + JOIN_MM)
            message = f"the tip goes {show_small(max(deep), units)} deep, first in {first}, {_body_in_wood(height, units)}"
            yield Finding(kind="work", level="problem", where=name, message=message)


def _deepest_in(piece: Piece, trace: Trace) -> float:
    """Return the greatest depth of the tip within the edge of the work, mm; zero if the tip is never within the edge."""
    seen = _on_sheet(piece, trace)
    return float(np.max(seen[:, 2], where=_beyond_edge(piece, seen, trace.z) <= JOIN_MM, initial=0.0))


def _on_sheet(piece: Piece, trace: Trace) -> Array:
    """Return the tip's position on the sheet of the work, and its depth: (n, 3) mm."""
    path = np.stack([trace.x, trace.y, trace.z], axis=-1)
    return seen_on(piece, path)


def _through_deeper_wood(piece: Piece, trace: Trace) -> bool:
    """Return whether a tip that plunges along X was deeper in the wood during the plunge than at the start of the pass."""
    motion, approach, start = trace.motion, trace.cut.approach, np.zeros(1)
    if approach.axis != "x" or motion.swings is not None:
        return False
    out = motion.work(start).inverse().rotation[:, :, 0]
    distance = np.linspace(0.0, approach.surface - float(motion.tip(start)[0, 0]), _POINTS)
    depth = seen_on(piece, motion.place(start) + distance[:, None] * out)[:, 2]
    return bool(depth.max() > max(depth[0], 0.0) + JOIN_MM)


def _thickness(piece: Piece, seen: Sequence[Array]) -> float:
    """Return the thickness of the work, mm; for round work, the least thickness under the passes."""
    surface = surface_of(piece)
    if isinstance(surface, Round):
        top = float(piece.outline[0, 1])
        ends = [top - float(end(path[:, 1])) for path in seen for end in (np.max, np.min)]
        under = np.clip(np.linspace(min(ends), max(ends), 257), 0.0, surface.length)
        return float(surface.wall(under).min())
    return float(piece.thickness) if isinstance(piece, SolidPiece) else math.inf


def _beyond_edge(piece: Piece, seen: Array, z: Array) -> Array:
    """Return the distance of the tip beyond the edge of the work, (n,) mm; zero within the edge and above the surface."""
    surface = surface_of(piece)
    if isinstance(surface, Round):
        high, low = surface.profile(np.array([0.0, surface.length]))[:, 1]
        over = np.maximum(z - high, low - z)
    else:
        edge = piece.outline[:-1]
        angles = np.unwrap(np.arctan2(edge[:, 1], edge[:, 0]))
        if not (np.all(np.diff(angles) > 0) or np.all(np.diff(angles) < 0)):
            return np.zeros(len(seen))
        x, y = seen[:, 0], seen[:, 1]
        out, radii = np.hypot(x, y), np.hypot(edge[:, 0], edge[:, 1])
        if out.max() <= radii.min():
            return np.zeros(len(seen))
        over = out - np.interp(np.arctan2(y, x), angles, radii, period=2 * math.pi)
    return np.where(seen[:, 2] >= 0, np.maximum(over, 0.0), 0.0)
