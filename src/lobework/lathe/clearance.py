"""Whether the work clears the bed, wherever its chucks carry it."""

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

__all__ = ["carried_out", "reach_of", "require_clear", "rises_to"]

_AROUND: Final = 24
_CLOSER: Final = 5
"""How often the place round an edge that reaches furthest is looked at closer."""
_ALONG: Final = 257
_COARSE: Final = 33
"""Edges along a profile that are looked at first; those near the one that reaches furthest are looked at then."""
_FOR_WIDEST: Final = 1025
_AT_ONCE: Final = 64
_LONGEST_PERIOD: Final = 64
_CELLS_TILTED: Final = 16
"""One cell in so many: work that is tilted takes long to look at."""


def require_clear(cut: Cut, piece: Piece) -> None:
    """Refuse a cut whose chucks carry the work further from the spindle than clears the bed.

    Raises
    ------
    SettingError
        Naming the chucks, how far the work reaches, and the lathe's swing.
    """
    lathe, turns, begin = cut.lathe, float(cut.passed.turns), float(cut.passed.spindle.in_turns())
    if math.isinf(lathe.swing):
        return
    rings = _rings(piece)
    size = float(np.linalg.norm(rings if rings.size else piece.outline, axis=1).max())
    if sum(each.carries(turns, begin) for each in lathe.chucks) + size <= lathe.swing:
        return
    if (reach := reach_of(piece, lathe, turns, begin)) <= lathe.swing + JOIN_MM:
        return
    chucks = " and ".join(repr(each.name) for each in lathe.chucks)
    carried = f"carried by {chucks}, " if chucks else ""
    remedy = "wind the chucks in, or take smaller work" if chucks else "take smaller work"
    goes, swing = show_length(round(reach, 2), cut.units), show_length(lathe.swing, cut.units)
    raise SettingError(
        f"the work does not clear the bed: {carried}it reaches {goes} from the spindle's axis, "
        f"and the swing of lathe {lathe.name!r} is {swing}; {remedy}, or another lathe"
    )


def reach_of(piece: Piece, lathe: Lathe, turns: float, begin: float = 0.0) -> float:
    """Return how far from the spindle's axis the lathe's chucks carry the work, mm, in a pass of so many turns.

    Parameters
    ----------
    piece : Piece
        The work.
    lathe : Lathe
        With its chucks.
    turns, begin : float
        Turns of the pass, and where the spindle stands as it begins.

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
    if rings.size and not _tilts(_standing(lathe.chucks, _edges(lathe.chucks, turns, begin))):
        return carried_out(lathe, turns, begin) + float(rings[:, 0].max())
    return _most(lathe, turns, begin, lambda standing: _furthest(piece, standing))


def carried_out(lathe: Lathe, turns: float, begin: float = 0.0) -> float:
    """Return how far from the spindle's axis the chucks carry the middle of the work, mm, in a pass of so many turns."""
    try:
        hash(lathe.chucks)
    except TypeError:
        return _carried_out(lathe.chucks, turns, begin)
    return _carried_out_again(lathe.chucks, turns, begin)


def _carried_out(chucks: tuple[Mounted, ...], turns: float, begin: float) -> float:
    def out(u: Array) -> Array:
        carried: Array = np.linalg.norm(_standing(chucks, u).shift[:, :2], axis=1, keepdims=True)
        return carried

    return float(extremes_of(out, _edges(chucks, turns, begin))[0][0])


_carried_out_again = lru_cache(maxsize=256)(_carried_out)


def rises_to(piece: Piece, lathe: Lathe, turns: float, begin: float = 0.0) -> float | None:
    """Return how far along the spindle chucks that tilt the work bring its edge, mm; None where none tilts it.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.chuck import Dome
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.parts.piece import Disc
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed")).mount(Dome(tilt_deg=30.0))
    >>> round(rises_to(Disc(diameter=60.0, thickness=8.0), lathe, turns=1.0), 9)
    15.0
    """
    if not _tilts(_standing(lathe.chucks, _edges(lathe.chucks, turns, begin))):
        return None
    return _most(lathe, turns, begin, lambda standing: _highest(piece, standing))


def _most(lathe: Lathe, turns: float, begin: float, of: Callable[[Rigid], Array]) -> float:
    """Return the greatest value, in a pass, of what is asked of so many standings of the work."""

    def at(u: Array) -> Array:
        parts = (_standing(lathe.chucks, part) for part in np.array_split(u, math.ceil(u.size / _AT_ONCE)))
        return np.concatenate([of(part) for part in parts])[:, None]

    edges = _edges(lathe.chucks, turns, begin)
    return float(extremes_of(at, np.unique(np.append(edges[::_CELLS_TILTED], edges[-1])))[0][0])


def _edges(chucks: tuple[Mounted, ...], turns: float, begin: float) -> Array:
    """Return the turns of a pass between which the work is looked at; one where it stands still on the spindle."""
    is_dynamic = any(each.is_dynamic for each in chucks)
    period = math.lcm(*(each.period_turns or 0 for each in chucks))
    return turn_edges(begin, turns if is_dynamic else 0.0, period if period <= _LONGEST_PERIOD else 0)


def _standing(chucks: tuple[Mounted, ...], u: Array) -> Rigid:
    """Return where the work stands on the spindle at (n,) turns: n rigid motions."""
    standing = reduce(Rigid.__matmul__, (each.standing(2 * math.pi * u) for each in chucks), Rigid.still())
    return Rigid(np.broadcast_to(standing.rotation, (u.size, 3, 3)), np.broadcast_to(standing.shift, (u.size, 3)))


def _tilts(standing: Rigid) -> bool:
    return bool((np.abs(standing.rotation[:, 2, 2]) != 1.0).any())


def _furthest(piece: Piece, standing: Rigid) -> Array:
    """Return how far from the spindle's axis the work reaches in each of n standings, mm: (n,)."""
    rings = _rings(piece)
    if not rings.size:
        turned = np.einsum("nij,mj->nmi", standing.rotation, _corners(piece)) + standing.shift[:, None]
        furthest: Array = np.hypot(turned[..., 0], turned[..., 1]).max(axis=1)
        return furthest
    step = math.ceil(len(rings) / _COARSE)
    coarse = np.unique(np.append(np.arange(0, len(rings), step), len(rings) - 1))
    even = 2 * math.pi / _AROUND * np.arange(_AROUND)
    reach = _reached(standing, rings[coarse][None], np.broadcast_to(even, (len(standing.shift), coarse.size, _AROUND)))
    best = reach.reshape(len(reach), -1).argmax(axis=1)
    ring, around = coarse[best // _AROUND], even[best % _AROUND]
    near = np.clip(ring[:, None] + np.arange(1 - step, step), 0, len(rings) - 1)
    wide, furthest = 2 * math.pi / _AROUND, reach.max(axis=(1, 2))
    for _ in range(_CLOSER):
        places = around[:, None] + wide * np.linspace(-1.0, 1.0, 9)
        reach = _reached(standing, rings[near], np.broadcast_to(places[:, None], (*near.shape, 9))).max(axis=1)
        around = np.take_along_axis(places, reach.argmax(axis=1)[:, None], axis=1)[:, 0]
        furthest, wide = np.maximum(furthest, reach.max(axis=1)), wide / 4
    return furthest


def _reached(standing: Rigid, rings: Array, around: Array) -> Array:
    """Return how far out places on rings stand, (n, k, m) mm: (n or 1, k, 2) rings, (n, k, m) rad round them."""
    cosine, sine, r, z = np.cos(around), np.sin(around), rings[..., :1], rings[..., 1:]
    x, y = (
        standing.rotation[:, row, 0, None, None] * r * cosine
        + standing.rotation[:, row, 1, None, None] * r * sine
        + standing.rotation[:, row, 2, None, None] * z
        + standing.shift[:, row, None, None]
        for row in (0, 1)
    )
    out: Array = np.hypot(x, y)
    return out


def _highest(piece: Piece, standing: Rigid) -> Array:
    """Return how far along the spindle the work comes in each of n standings, mm: (n,)."""
    rings, up = _rings(piece), standing.rotation[:, 2]
    if not rings.size:
        highest: Array = (up @ _corners(piece).T).max(axis=1) + standing.shift[:, 2]
        return highest
    highest = (np.hypot(up[:, :1], up[:, 1:2]) * rings[:, 0] + up[:, 2:] * rings[:, 1]).max(axis=1) + standing.shift[:, 2]
    return highest


def _corners(piece: Piece) -> Array:
    """Return (m, 3) mm, the outline of work that is not round, on its face."""
    return np.column_stack([piece.outline, np.zeros(len(piece.outline))])


def _rings(piece: Piece) -> Array:
    """Return the edges of work that is round about its own axis, (k, 2) mm: radius and z; none of other work."""
    try:
        hash(piece)
    except TypeError:
        return _rings_of(piece)
    return _rings_again(piece)  # type: ignore[arg-type]


def _rings_of(piece: Any) -> Array:
    surface = surface_of(piece)
    if isinstance(surface, Face):
        return np.array([[surface.radius, 0.0], [surface.radius, -surface.thickness]])
    if not isinstance(surface, Round):
        return np.zeros((0, 2))
    fine = np.linspace(0.0, surface.length, _FOR_WIDEST)
    widest = fine[int(surface.profile(fine)[:, 0].argmax())]
    return _outermost(surface.profile(np.sort(np.append(np.linspace(0.0, surface.length, _ALONG), widest)))[:, :2])


def _outermost(profile: Array) -> Array:
    """Return the places of a profile, (m, 2) mm, that no line between two others passes by outside: the rest reaches less far."""
    kept: list[Array] = []
    for place in profile:
        while len(kept) > 1 and not _turns_in(kept[-2], kept[-1], place):
            kept.pop()
        kept.append(place)
    return np.array(kept)


def _turns_in(one: Array, other: Array, next_one: Array) -> bool:
    """Return whether the way from one place over the other to the next, down a profile, bends towards the axis."""
    (r, z), (next_r, next_z) = other - one, next_one - other
    return bool(r * next_z - z * next_r < 0)


_rings_again = lru_cache(maxsize=16)(_rings_of)
