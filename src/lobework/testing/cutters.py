"""The promises of every cutter."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

import lobework.testing.settings  # noqa: F401  (the promises of every part come first)
from lobework.carve import stock_of, sweep_of
from lobework.carve.plain import PlainBackend
from lobework.carve.sweep import has_edge
from lobework.geometry.cutter_edge import Edge
from lobework.geometry.surface import Face
from lobework.kinematics.trace import trace
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool, Holder
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.plugins import registry
from lobework.plugins.validation import shortened_line
from lobework.quantities.fields import measures
from lobework.quantities.tolerances import CARVED_MM
from lobework.render.drawing import draw
from lobework.testing.benches import cut_on, fixed
from lobework.testing.carvings import assert_same, carved, on_face
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import promised
from lobework.testing.refusal import refused

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lobework.carve import Backend
    from lobework.geometry.rigid import Array
    from lobework.plugins.sample import Sample

__all__: list[str] = []

_FACE: Final = Disc(diameter=16.0, thickness=5.0)
_HOLDERS: Final[tuple[Holder, ...]] = (
    DrillingSpindle(),
    FixedTool(),
    EccentricFrame(radius=1.3),
    CuttingFrame(radius=7.0, angle_deg=25.0),
)
_TURN: Final = np.linspace(0.0, 2 * math.pi, 17)


def _depths(cutter: Any) -> Array:
    """Return depths from zero, at the surface, to more than the height of the cutter's edge."""
    high = cutter.edge.height if has_edge(cutter) else 1.0
    return np.concatenate([np.linspace(0.0, high or 1.0, 201), [1.5 * high + 0.1, 10 * high + 5.0]])


@promised(
    "cutter",
    "never narrows with depth",
    "The width of the cut is zero or more and does not decrease with depth; this includes negative depths, above the surface.",
)
def _never_narrows(sample: Sample) -> int:
    cutter = sample.part
    depths = _depths(cutter)
    widths = []
    for depth in depths.tolist():
        width = cutter.width_at(depth)
        if isinstance(width, bool) or not isinstance(width, float | int | np.floating) or not 0 <= width < math.inf:
            raise Broken(f"width_at({depth:g}) is {width!r}; it must be a number of mm, zero or more")
        widths.append(float(width))
    for depth in (1, np.float64(0.5), np.float32(0.5)):
        assert_close(cutter.width_at(depth), cutter.width_at(float(depth)), 1e-6, what=f"width_at({depth!r})")
    falls = np.diff(widths)
    if (falls < -1e-12).any():
        k = int(falls.argmin())
        deep, deeper = f"{widths[k]:.9g} at {depths[k]:.6g}", f"{widths[k + 1]:.9g} at {depths[k + 1]:.6g} mm"
        raise Broken(f"width_at falls from {deep} to {deeper} deep; the width must not decrease with depth")
    above = float(cutter.width_at(-0.5))
    if not 0 <= above <= widths[0]:
        raise Broken(
            f"width_at(-0.5), above the surface, is {above:g} mm; it must be from zero to the width at the surface, {widths[0]:g}"
        )
    return len(widths) + 1


@promised(
    "cutter",
    "agrees with its edge",
    "If the cutter has an edge, width_at equals the width of the edge at each depth, and is zero above the surface.",
    "1e-9 mm",
)
def _agrees(sample: Sample) -> int:
    cutter = sample.part
    if not has_edge(cutter):
        return 1
    depths = _depths(cutter)
    across = np.linspace(0.0, cutter.edge.half_width, 4001)
    height = cutter.edge.at(across)
    for depth in depths.tolist():
        width = cutter.width_at(depth)
        assert_close(width, cutter.edge.width_at(depth), 1e-9, what=f"width_at({depth:g}), compared with the width of its edge")
        reached = across[height <= depth + 1e-12].max(initial=0.0)
        step = across[1]
        assert_close(
            width / 2,
            reached + step / 2,
            step,
            what=f"width_at({depth:g}) / 2, compared with the half width of its edge at this height",
        )
    assert_close(cutter.width_at(-0.5), 0.0, 0.0, what="width_at(-0.5), above the surface")
    return len(depths)


@promised(
    "cutter",
    "is drawn as wide as it cuts",
    "A line of the drawing is as wide as width_at for its depth, but at least 0.1 mm.",
    "1e-9 mm",
)
def _drawn(sample: Sample) -> int:
    cutter = sample.part
    depths = (0.05, 0.4, 1.0)
    for depth in depths:
        sheet = draw("trial", _FACE, cutter, [trace(cut_on(fixed(), at=At(x=5.0, depth=depth)))])
        widths = [stroke.width for stroke in sheet.strokes]
        assert_close(
            widths,
            [max(float(cutter.width_at(depth)), 0.1)] * len(widths),
            1e-9,
            what=f"{depth:g} mm deep: width of the drawn line",
        )
    return len(depths)


def _ring(cutter: Any, depth: float) -> Any:
    """Return an eccentric ring on a face, slightly deeper on one side."""
    tip = np.stack([1.3 + 3.1 * np.cos(_TURN), 0.4 + 3.1 * np.sin(_TURN), -depth - 0.05 * np.cos(_TURN)], axis=-1)
    return on_face(cutter, tip)


@promised(
    "cutter",
    "keeps the holder that is set",
    "A cutter with an edge has a setting holder, carves with the holder that is set, and has the same edge in every holder.",
)
def _keeps_holder(sample: Sample) -> int:
    cutter: Any = sample.part
    edge, holder = getattr(cutter, "edge", None), getattr(cutter, "holder", None)
    if edge is None and holder is None:
        return 1
    if not isinstance(edge, Edge):
        raise Broken(f"edge is {shortened_line(repr(edge))}; a cutter with a holder must have an edge, a lobework.plugins.Edge")
    if "holder" not in measures(type(cutter)):
        raise Broken(
            "the cutter has an edge but no setting holder; write holder: Holder = DrillingSpindle(), from lobework.plugins"
        )
    outline = edge.at(np.linspace(0.0, edge.half_width, 101))
    for holder in _HOLDERS:
        other = replace(cutter, holder=holder)
        if other.holder != holder:
            raise Broken(f"with the setting holder={holder!r}, its holder is {other.holder!r}")
        sweep = sweep_of(trace(cut_on(fixed(), at=At(x=5.0))), other, Face(radius=8.0, thickness=5.0))
        if sweep.holder != holder:
            raise Broken(f"with the setting holder={holder!r}, the cutter carves with the holder {sweep.holder!r}")
        again = other.edge.at(np.linspace(0.0, edge.half_width, 101))
        assert_close(again, outline, 1e-12, what=f"its edge, in the holder {holder.kind!r}")
    return len(_HOLDERS)


@promised(
    "cutter",
    "carves like the reference",
    "Each built-in backend carves the same depths as the plain backend; a cutter without an edge is refused in one line.",
    f"{CARVED_MM:g} mm",
)
def _carves(sample: Sample) -> int:
    """Compare only the built-in backends; a backend of another package is tested with the samples of that package."""
    cutter = sample.part
    if not has_edge(cutter):
        ring, face = trace(cut_on(fixed(), at=At(x=5.0))), Face(radius=8.0, thickness=5.0)
        refused(lambda: sweep_of(ring, cutter, face), "the cutter has no edge or no holder, but carving with it is not refused")
        return 1
    stock = stock_of(_FACE, 0.71)
    sweep = _ring(cutter, min(0.4, cutter.edge.height or 0.4))
    rays = 0
    for backend in _built_in_backends():
        if {"face", cutter.holder.kind} <= backend.can:
            try:
                assert_same(
                    lambda shift: carved(backend, stock, sweep, shift=shift),  # noqa: B023  (called within this iteration)
                    lambda shift: carved(PlainBackend(), stock, sweep, shift=shift),
                    CARVED_MM,
                )
            except Broken as broken:
                raise Broken(f"carved by the backend {backend.name!r}: {broken}") from None
            rays += stock.rows * stock.columns
    if not rays:
        raise Broken(f"no built-in backend can carve with the holder {cutter.holder.kind!r}")
    return rays


def _built_in_backends() -> Iterator[Backend]:
    """Yield the built-in backends."""
    shelf = registry.installed()
    for kind, name in shelf.loaded[0].offers:
        if kind == "backend":
            yield shelf.backend(name)


@promised(
    "cutter",
    "cuts the outline of its edge",
    "In a drilling spindle, a straight cut has the outline of the edge as its cross section, and the depth of the tip.",
    f"{CARVED_MM:g} mm",
)
def _outline(sample: Sample) -> int:
    cutter: Any = sample.part
    if not has_edge(cutter):
        return 1
    holder: Any = replace(sample.part, holder=DrillingSpindle()) if "holder" in measures(type(cutter)) else cutter
    if not isinstance(holder.holder, DrillingSpindle):
        return 1
    deep = min(0.4, cutter.edge.height or 0.4)
    stock = stock_of(_FACE, 0.23)
    depth = carved(PlainBackend(), stock, on_face(holder, [[-20.0, 0.017, -deep], [20.0, 0.017, -deep]]))
    away = stock.row_positions - 0.017
    walls = np.abs(np.abs(away) - cutter.edge.half_width) < 1e-6
    expected = np.maximum(deep - cutter.edge.at(away), 0.0)
    column = stock.columns // 2
    sound = stock.inside[:, column] & ~walls
    assert_close(depth[sound, column], expected[sound], CARVED_MM, what="depth across the cut")
    return int(sound.sum())
