"""Checks whether the work clears the bed at all positions to which the chucks move the work."""

from __future__ import annotations

import math
from functools import lru_cache, reduce
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.errors import SettingError
from lobework.geometry.continuity import extremes_of, turn_edges
from lobework.geometry.rigid import Array, Rigid
from lobework.geometry.surface import Face, Round
from lobework.lathe.hand_settings import show_length
from lobework.parts.abilities import surface_of
from lobework.quantities.tolerances import JOIN_MM

if TYPE_CHECKING:
    from collections.abc import Callable

    from lobework.lathe.lathe import Lathe
    from lobework.lathe.mounting import Mounted
    from lobework.lathe.passes import Cut
    from lobework.parts.protocols import Piece

__all__ = ["highest_z", "largest_offset", "reach_of", "require_clear"]

_AROUND: Final = 24
_CLOSER: Final = 5
"""Number of refinements of the angle round an edge at which the edge is furthest from the spindle axis."""
_ALONG: Final = 257
_COARSE: Final = 33
"""Number of edges along a profile that are examined first; after that, the edges near the most distant of them are examined."""
_FOR_WIDEST: Final = 1025
_AT_ONCE: Final = 64
_LONGEST_PERIOD: Final = 64
_CELLS_TILTED: Final = 16
"""Factor by which the number of cells is reduced for tilted work, because the computation for tilted work is slow."""


def require_clear(cut: Cut, piece: Piece) -> None:
    """Refuse a cut whose chucks move the work so far from the spindle that it does not clear the bed.

    Raises
    ------
    SettingError
        If the work does not clear the bed; the message contains the chucks, the reach of the work, and the lathe's swing.
    """
    lathe, turns, begin = cut.lathe, float(cut.passed.turns), float(cut.passed.spindle.in_turns())
    if math.isinf(lathe.swing):
        return
    rings = _rings(piece)
    size = float(np.linalg.norm(rings if rings.size else piece.outline, axis=1).max())
    if sum(each.largest_displacement(turns, begin) for each in lathe.chucks) + size <= lathe.swing:
        return
    if (reach := reach_of(piece, lathe, turns, begin)) <= lathe.swing + JOIN_MM:
        return
    chucks = " and ".join(repr(each.name) for each in lathe.chucks)
    carried = f"displaced by {chucks}, " if chucks else ""
    remedy = "reduce the displacement of the chucks, or take smaller work" if chucks else "take smaller work"
    goes, swing = show_length(round(reach, 2), cut.units), show_length(lathe.swing, cut.units)
    problem = f"the work does not clear the bed: {carried}it reaches {goes} from the spindle's axis"
    raise SettingError(f"{problem}, and the swing of lathe {lathe.name!r} is {swing}", remedy=f"{remedy}, or another lathe")


def reach_of(piece: Piece, lathe: Lathe, turns: float, begin: float = 0.0) -> float:
    """Return the largest distance of any point of the work from the spindle axis in a pass, mm.

    Parameters
    ----------
    piece : Piece
        The work.
    lathe : Lathe
        The lathe with its chucks.
    turns, begin : float
        Number of spindle turns of the pass, and position of the spindle at the beginning of the pass, turns.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.chuck import EccentricChuck
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.parts.piece import Disc
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed")).mount(EccentricChuck(shift=16.0))
    >>> reach_of(Disc(diameter=60.0, thickness=8.0), lathe, turns=1.0)
    46.0
    """
    rings = _rings(piece)
    if rings.size and not _tilts(_positions(lathe.chucks, _edges(lathe.chucks, turns, begin))):
        return largest_offset(lathe, turns, begin) + float(rings[:, 0].max())
    return _maximum(lathe, turns, begin, lambda position: _furthest(piece, position))


def largest_offset(lathe: Lathe, turns: float, begin: float = 0.0) -> float:
    """Return the largest distance in a pass between the origin of the work's frame and the spindle axis, mm."""
    try:
        hash(lathe.chucks)
    except TypeError:
        return _largest_offset(lathe.chucks, turns, begin)
    return _largest_offset_cached(lathe.chucks, turns, begin)


def _largest_offset(chucks: tuple[Mounted, ...], turns: float, begin: float) -> float:
    def out(u: Array) -> Array:
        carried: Array = np.linalg.norm(_positions(chucks, u).shift[:, :2], axis=1, keepdims=True)
        return carried

    return float(extremes_of(out, _edges(chucks, turns, begin))[0][0])


_largest_offset_cached = lru_cache(maxsize=256)(_largest_offset)


def highest_z(piece: Piece, lathe: Lathe, turns: float, begin: float = 0.0) -> float | None:
    """Return the largest z that the edge of tilted work reaches in a pass, mm; None if no chuck tilts the work.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.chuck import Dome
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.parts.piece import Disc
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed")).mount(Dome(tilt_deg=30.0))
    >>> round(highest_z(Disc(diameter=60.0, thickness=8.0), lathe, turns=1.0), 9)
    15.0
    """
    if not _tilts(_positions(lathe.chucks, _edges(lathe.chucks, turns, begin))):
        return None
    return _maximum(lathe, turns, begin, lambda position: _highest(piece, position))


def _maximum(lathe: Lathe, turns: float, begin: float, of: Callable[[Rigid], Array]) -> float:
    """Return the maximum of the function ``of`` over a pass; its argument is a batch of positions of the work on the spindle."""

    def at(u: Array) -> Array:
        parts = (_positions(lathe.chucks, part) for part in np.array_split(u, math.ceil(u.size / _AT_ONCE)))
        return np.concatenate([of(part) for part in parts])[:, None]

    edges = _edges(lathe.chucks, turns, begin)
    return float(extremes_of(at, np.unique(np.append(edges[::_CELLS_TILTED], edges[-1])))[0][0])


def _edges(chucks: tuple[Mounted, ...], turns: float, begin: float) -> Array:
    """Return the edges of the cells, turns, in which a pass is sampled.

    If the work does not move on the spindle, there is only one edge.
    """
    is_dynamic = any(each.is_dynamic for each in chucks)
    period = math.lcm(*(each.period_turns or 0 for each in chucks))
    return turn_edges(begin, turns if is_dynamic else 0.0, period if period <= _LONGEST_PERIOD else 0)


def _positions(chucks: tuple[Mounted, ...], u: Array) -> Rigid:
    """Return the n positions of the work on the spindle at (n,) spindle positions ``u``, turns."""
    position = reduce(Rigid.__matmul__, (each.finite_motions(2 * math.pi * u) for each in chucks), Rigid.still())
    return Rigid(np.broadcast_to(position.rotation, (u.size, 3, 3)), np.broadcast_to(position.shift, (u.size, 3)))


def _tilts(position: Rigid) -> bool:
    return bool((np.abs(position.rotation[:, 2, 2]) != 1.0).any())


def _furthest(piece: Piece, position: Rigid) -> Array:
    """Return the largest distance of the work from the spindle axis at each of n positions, (n,) mm."""
    rings = _rings(piece)
    if not rings.size:
        turned = np.einsum("nij,mj->nmi", position.rotation, _corners(piece)) + position.shift[:, None]
        furthest: Array = np.hypot(turned[..., 0], turned[..., 1]).max(axis=1)
        return furthest
    step = math.ceil(len(rings) / _COARSE)
    coarse = np.unique(np.append(np.arange(0, len(rings), step), len(rings) - 1))
    even = 2 * math.pi / _AROUND * np.arange(_AROUND)
    reach = _ring_distances(position, rings[coarse][None], np.broadcast_to(even, (len(position.shift), coarse.size, _AROUND)))
    best = reach.reshape(len(reach), -1).argmax(axis=1)
    ring, around = coarse[best // _AROUND], even[best % _AROUND]
    near = np.clip(ring[:, None] + np.arange(1 - step, step), 0, len(rings) - 1)
    half_width, furthest = 2 * math.pi / _AROUND, reach.max(axis=(1, 2))
    for _ in range(_CLOSER):
        places = around[:, None] + half_width * np.linspace(-1.0, 1.0, 9)
        reach = _ring_distances(position, rings[near], np.broadcast_to(places[:, None], (*near.shape, 9))).max(axis=1)
        around = np.take_along_axis(places, reach.argmax(axis=1)[:, None], axis=1)[:, 0]
        furthest, half_width = np.maximum(furthest, reach.max(axis=1)), half_width / 4
    return furthest


def _ring_distances(position: Rigid, rings: Array, around: Array) -> Array:
    """Return the distances of points from the spindle axis, (n, k, m) mm; the points lie on rings at the angles ``around``, rad.

    The (n or 1, k, 2) ``rings`` are given by radius and z, mm.
    """
    cosine, sine, r, z = np.cos(around), np.sin(around), rings[..., :1], rings[..., 1:]
    x, y = (
        position.rotation[:, row, 0, None, None] * r * cosine
        + position.rotation[:, row, 1, None, None] * r * sine
        + position.rotation[:, row, 2, None, None] * z
        + position.shift[:, row, None, None]
        for row in (0, 1)
    )
    out: Array = np.hypot(x, y)
    return out


def _highest(piece: Piece, position: Rigid) -> Array:
    """Return the largest z of the work at each of n positions, (n,) mm."""
    rings, up = _rings(piece), position.rotation[:, 2]
    if not rings.size:
        highest: Array = (up @ _corners(piece).T).max(axis=1) + position.shift[:, 2]
        return highest
    highest = (np.hypot(up[:, :1], up[:, 1:2]) * rings[:, 0] + up[:, 2:] * rings[:, 1]).max(axis=1) + position.shift[:, 2]
    return highest


def _corners(piece: Piece) -> Array:
    """Return the outline, (m, 3) mm, of work that is not a solid of revolution."""
    return np.column_stack([piece.outline, np.zeros(len(piece.outline))])


def _rings(piece: Piece) -> Array:
    """Return radius and z, (k, 2) mm, of the circular edges of a solid of revolution; empty for other work."""
    try:
        hash(piece)
    except TypeError:
        return _rings_of(piece)
    return _rings_cached(piece)  # type: ignore[arg-type]


def _rings_of(piece: Any) -> Array:
    surface = surface_of(piece)
    if isinstance(surface, Face):
        return np.array([[surface.radius, 0.0], [surface.radius, -surface.thickness]])
    if not isinstance(surface, Round):
        return np.zeros((0, 2))
    fine = np.linspace(0.0, surface.length, _FOR_WIDEST)
    widest = fine[int(surface.profile(fine)[:, 0].argmax())]
    return _outer_hull(surface.profile(np.sort(np.append(np.linspace(0.0, surface.length, _ALONG), widest)))[:, :2])


def _outer_hull(profile: Array) -> Array:
    """Return the vertices of the outer convex hull of a profile, (m, 2) mm.

    Only a vertex can be the point furthest from an axis.
    """
    kept: list[Array] = []
    for place in profile:
        while len(kept) > 1 and not _turns_in(kept[-2], kept[-1], place):
            kept.pop()
        kept.append(place)
    return np.array(kept)


def _turns_in(one: Array, other: Array, next_one: Array) -> bool:
    """Return whether the path through three consecutive points down a profile turns towards the axis."""
    (r, z), (next_r, next_z) = other - one, next_one - other
    return bool(r * next_z - z * next_r < 0)


_rings_cached = lru_cache(maxsize=16)(_rings_of)
