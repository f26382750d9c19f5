"""Sweeps over stock for tests of carving backends, and the comparison of two backends."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.carve import Stock, Sweep, stock_of
from lobework.carve.backend import needs
from lobework.geometry.surface import Face, Round
from lobework.parts.cutter import Ball, FlatEnd, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.plugins.validation import sound_depths
from lobework.testing.compare import Broken

if TYPE_CHECKING:
    from lobework.carve import Ability, Backend
    from lobework.carve.stock import Depth
    from lobework.geometry.rigid import Array

__all__ = [
    "ALONG_X",
    "STEPPED",
    "UP",
    "about",
    "assert_same",
    "carved",
    "carvings_for",
    "deep_carvings_for",
    "on_face",
    "on_round",
    "wide_carvings_for",
]

UP: Final[Array] = np.array([[0.0, 0.0, 1.0]])
ALONG_X: Final[Array] = np.array([[1.0, 0.0, 0.0]])
STEPPED: Final = ((0.0, 0.0), (0.4, 0.0), (0.6, 0.5), (0.9, 0.5), (1.2, 1.1))
"""Half outline of a cutter with steps, mm."""
_RAY_SHIFT_MM: Final = 2e-5
"""Shift of the rays, mm, in comparisons near vertical walls, where rounding decides whether a ray that lies on a wall is cut."""


def carved(
    backend: Backend, stock: Stock, *sweeps: Sweep, onto: Depth | None = None, shift: tuple[float, float] = (0.0, 0.0)
) -> Depth:
    """Return the depths after the sweeps are carved; the arrays of the sweeps are made read-only.

    Parameters
    ----------
    backend : Backend
        The backend that carves.
    stock : Stock
        The stock to carve.
    *sweeps : Sweep
        The sweeps, in the order of carving.
    onto : (rows, columns) float32, mm, optional
        The depths before carving.
    shift : (float, float), mm
        Shift of the rays: down, and across.

    Raises
    ------
    Broken
        If the backend leaves depths that are not float32.
    PluginError
        If the backend leaves other invalid depths.
    """
    if any(shift):
        surface = stock.surface
        across = shift[1] if isinstance(surface, Face) else shift[1] / float(stock.profile[:, 0].max())
        stock = replace(
            stock, row_start=float(stock.row_positions[0]) + shift[0], column_start=float(stock.column_positions[0]) + across
        )
    for sweep in sweeps:
        for array in (sweep.tip, sweep.outward, sweep.level):
            array.flags.writeable = False
    depth = stock.uncut() if onto is None else onto.copy()
    backend.carve(stock, sweeps, depth)
    if depth.dtype != np.float32:
        raise Broken(f"the backend changes the depths to {depth.dtype}; the array must stay float32")
    sound_depths(stock, depth)
    return depth


def assert_same(one: Callable[[Any], Depth], other: Callable[[Any], Depth], within: float) -> float:
    """Raise `Broken` unless two carvings agree; return their greatest difference.

    The arguments are two functions that take a shift of the rays, (down, across) mm, and return depths. Near a vertical wall,
    rounding decides whether a ray is cut. If the depths differ, both carvings are therefore repeated with shifted rays, and for
    each ray the two ranges of depths need only overlap.
    """
    first, second = one((0.0, 0.0)), other((0.0, 0.0))
    if (off := float(np.abs(first - second).max())) <= within:
        return off
    shifts = [(a * _RAY_SHIFT_MM, b * _RAY_SHIFT_MM) for a in (-1, 1) for b in (-1, 1)]
    ones, others = np.stack([first, *map(one, shifts)]), np.stack([second, *map(other, shifts)])
    gap = np.maximum(ones.min(axis=0) - others.max(axis=0), others.min(axis=0) - ones.max(axis=0))
    row, column = (int(each) for each in np.unravel_index(int(gap.argmax()), gap.shape))
    if not gap.max() <= within:
        rays = int((gap > within).sum())
        message = f"worst error {gap.max():.3g} mm at row {row}, column {column}"
        raise Broken(f"{message}: {first[row, column]:.6g} instead of {second[row, column]:.6g}; {rays} rays in all differ")
    return max(float(gap.max()), 0.0)


def about(outward: Array, level: Array) -> tuple[Array, Array]:
    """Return the outward and level axes of frames, (n, 3) each, as perpendicular unit vectors."""
    outward = outward / np.linalg.norm(outward, axis=-1, keepdims=True)
    level = level - np.vecdot(level, outward)[:, None] * outward
    return outward, level / np.linalg.norm(level, axis=-1, keepdims=True)


def on_face(cutter: Any, tip: object, outward: Array = UP, level: Array = ALONG_X) -> Sweep:
    """Return a sweep over a face; the tip of the cutter passes through the points ``tip``, (n, 3) mm."""
    places = np.array(tip, dtype=np.float64).reshape(-1, 3)
    return Sweep(cutter.edge, cutter.holder, places, outward.copy(), level.copy())


def on_round(
    cutter: Any, surface: Round, polar: object, s: object, depth: object, lean: float = 0.0, aside: float = 0.0
) -> Sweep:
    """Return a sweep over a round surface, from polar angles ``polar``, rad, lengths ``s`` along the profile and depths, mm.

    The depths are measured along the normal of the profile. The inclination of the cutter to the axis of the work is constant:
    the cutter is perpendicular to the surface at the first point, then tilted by ``lean`` rad along the profile and by ``aside``
    rad across it.
    """
    around, along_it, deep = (np.array(each, dtype=np.float64) for each in (polar, s, depth))
    radius, z, out, along = surface.profile(along_it).T
    radius, z = radius - deep * out, z - deep * along
    cos, sin = np.cos(around), np.sin(around)
    away, round_it, up = np.stack([cos, sin, 0 * cos], -1), np.stack([-sin, cos, 0 * cos], -1), np.array([0.0, 0.0, 1.0])
    leans = math.atan2(along[0], out[0]) + lean
    outward = math.cos(aside) * (math.cos(leans) * away + math.sin(leans) * up) + math.sin(aside) * round_it
    level = -math.sin(leans) * away + math.cos(leans) * up
    return Sweep(cutter.edge, cutter.holder, np.stack([radius * cos, radius * sin, z], -1), *about(outward, level))


_HOLDERS: Final[dict[str, Any]] = {
    "drilling spindle": DrillingSpindle(),
    "fixed": FixedTool(),
    "eccentric frame": EccentricFrame(radius=1.3),
    "cutting frame": CuttingFrame(radius=7.0, angle_deg=25.0),
}
_CUTTERS: Final = (
    Vee(angle_deg=90.0, width=2.4),
    Ball(radius=1.2),
    FlatEnd(width=1.7),
    RoundNosed(radius=0.4, angle_deg=60.0, width=2.0),
    Profiled(points=STEPPED),
)
_PIECES: Final = (
    (Disc(diameter=16.0, thickness=5.0), 0.57),
    (Barrel(diameter=11.0, length=9.0), 0.83),
    (Turned(profile=((0.0, 4.0), (-5.0, 5.5), (-10.0, 4.0))), 0.81),
)


def _over_face(cutters: Sequence[Any], leaning: bool) -> tuple[Sweep, ...]:
    """Return three sweeps: a ring about the centre, a chord that crosses the edge of the face, and a short stroke.

    None of the sweeps covers another completely.
    """
    turn = np.linspace(0.0, 2 * math.pi, 17)
    ring = np.stack([2.3 * np.cos(turn), 2.3 * np.sin(turn), -0.3 - 0.1 * np.cos(3 * turn)], axis=-1)
    axes = about(np.array([[0.2, -0.1, 1.0]]), ALONG_X) if leaning else (UP, ALONG_X)
    chord, stroke = [[-7.0, 6.1, -0.35], [7.3, 6.6, -0.2]], [[-0.9, -6.8, -0.45], [1.1, -4.9, -0.45]]
    return tuple(on_face(cutter, tip, *axes) for cutter, tip in zip(cutters, (ring, chord, stroke), strict=False))


def _over_round(cutters: Sequence[Any], surface: Round) -> tuple[Sweep, ...]:
    """Return three sweeps: a wave round the work near one end, which crosses the seam, a long stroke, and a short stroke."""
    turn, long = np.linspace(0.3, 2 * math.pi + 0.3, 21), surface.length
    wave = (turn, 0.2 * long + 0.4 * np.sin(3 * turn), 0.3 + 0.1 * np.cos(2 * turn))
    stroke = ([1.0, 1.2], [0.55 * long, 0.9 * long], [0.3, 0.4])
    short = ([3.4, 4.9], [0.55 * long, 0.95 * long], [0.45, 0.45])
    return tuple(on_round(cutter, surface, *path) for cutter, path in zip(cutters, (wave, stroke, short), strict=False))


def carvings_for(
    can: frozenset[Ability], *, lacking: bool = False, coarser: float = 1.0
) -> Iterator[tuple[str, Stock, tuple[Sweep, ...]]]:
    """Yield carvings of three passes that need only the abilities ``can``; each is a name, a stock and sweeps.

    With ``lacking``, yield instead the carvings that need another ability too. The distance between rays is multiplied by the
    factor ``coarser``.
    """
    for piece, resolution in _PIECES:
        stock = stock_of(piece, coarser * resolution)
        for number, (kind, holder) in enumerate(_HOLDERS.items()):
            cutters: list[Any] = [replace(_CUTTERS[(number + k) % len(_CUTTERS)], holder=holder) for k in range(3)]
            for leaning in (False, True) if isinstance(stock.surface, Face) else (False,):
                sweeps = _over_face(cutters, leaning) if isinstance(stock.surface, Face) else _over_round(cutters, stock.surface)
                if (needs(stock, sweeps) <= can) is not lacking:
                    yield f"{piece.form}, {kind}{', leaning' if leaning else ''}", stock, sweeps


_LONG: Final = Vee(angle_deg=70.0, width=12.0)
_DEEP_MM: Final = (2.2, 3.3)
"""Depths at the two ends of a deep pass: greater than the depth of ornamental grooves, and less than the radius of the work."""


def deep_carvings_for(can: frozenset[Ability]) -> Iterator[tuple[str, Stock, tuple[Sweep, ...]]]:
    """Yield carvings of one deep pass, in the form of `carvings_for`."""
    for piece, resolution in _PIECES:
        stock = stock_of(piece, resolution)
        for kind, holder in _HOLDERS.items():
            cutter = replace(_LONG, holder=holder)
            if isinstance(stock.surface, Face):
                sweep = on_face(cutter, [[-6.0, 1.1, -_DEEP_MM[0]], [6.5, -0.7, -_DEEP_MM[1]]])
            else:
                long = stock.surface.length
                sweep = on_round(cutter, stock.surface, [0.4, 2.9], [0.3 * long, 0.6 * long], _DEEP_MM)
            if needs(stock, (sweep,)) <= can:
                yield f"{piece.form}, {kind}, deep", stock, (sweep,)


_GOLDEN_RAD: Final = math.pi * (3.0 - math.sqrt(5.0))


def wide_carvings_for(can: frozenset[Ability]) -> Iterator[tuple[str, Stock, tuple[Sweep, ...]]]:
    """Yield a carving of five passes at four depths into a face of many rays, in the form of `carvings_for`."""
    stock, number = stock_of(Disc(diameter=16.0, thickness=5.0), 0.05), np.arange(10)
    for kind, holder in _HOLDERS.items():
        cutter, sweeps = Vee(angle_deg=90.0, width=2.4, holder=holder), []
        for place, (x, y) in enumerate(((-3.8, -3.8), (-3.8, 0.0), (-3.8, 3.8), (0.0, -3.8), (0.0, 0.0))):
            turn, out = _GOLDEN_RAD * (number + place), 0.3 + 1.5 * np.sqrt(number / 10)
            tip = [x + out * np.cos(turn), y + out * np.sin(turn), np.full(10, -(0.025, 0.2, 0.06, 0.125)[place % 4])]
            sweeps.append(on_face(cutter, np.stack(tip, axis=-1)))
        if needs(stock, sweeps) <= can:
            yield f"disc, {kind}, wide", stock, tuple(sweeps)
            return
