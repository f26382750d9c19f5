"""Whether the work clears the bed, wherever its chucks carry it."""

from __future__ import annotations

import math
from functools import lru_cache, reduce
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.errors import SettingError
from lobework.hand import show_length
from lobework.mounting import looked_at
from lobework.rigid import Array, Rigid
from lobework.surface import Face, Round
from lobework.tolerances import JOIN_MM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lobework.kinds import Piece
    from lobework.lathe import Lathe
    from lobework.passes import Cut

__all__ = ["reach_of", "require_clear", "rises_to"]

_AROUND: Final = 180
_SEEN_A_TURN: Final = 64
_MOST_SEEN: Final = 4096


def require_clear(cut: Cut, piece: Piece) -> None:
    """Refuse a cut whose chucks carry the work further from the spindle than clears the bed.

    Raises
    ------
    SettingError
        Naming the chucks, how far the work reaches, and the lathe's swing.
    """
    lathe, turns = cut.lathe, float(cut.passed.turns)
    rings = _rings(piece)
    size = float(np.linalg.norm(rings if rings.size else piece.outline, axis=1).max())
    if sum(each.carries(turns) for each in lathe.chucks) + size <= lathe.swing:
        return
    if (reach := reach_of(piece, lathe, turns)) <= lathe.swing + JOIN_MM:
        return
    chucks = " and ".join(repr(each.name) for each in lathe.chucks)
    carried = f"carried by {chucks}, " if chucks else ""
    remedy = "wind the chucks in, or take smaller work" if chucks else "take smaller work"
    goes, swing = show_length(round(reach, 2), cut.units), show_length(lathe.swing, cut.units)
    raise SettingError(
        f"the work does not clear the bed: {carried}it reaches {goes} from the spindle's axis, "
        f"and the swing of lathe {lathe.name!r} is {swing}; {remedy}, or another lathe"
    )


def reach_of(piece: Piece, lathe: Lathe, turns: float) -> float:
    """Return how far from the spindle's axis the lathe's chucks carry the work, mm, in a pass of so many turns.

    Examples
    --------
    >>> from lobework.carriage import Headstock
    >>> from lobework.chuck import EccentricChuck
    >>> from lobework.lathe import Lathe
    >>> from lobework.piece import Disc
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed")).mount(EccentricChuck(shift=16.0))
    >>> reach_of(Disc(diameter=60.0, thickness=8.0), lathe, turns=1.0)
    46.0
    """
    standing, rings = _standing(lathe, turns), _rings(piece)
    if rings.size and not _tilts(standing):
        return float(np.hypot(*standing.shift[:, :2].T).max() + rings[:, 0].max())
    return max(float(np.hypot(*each[:, :2].T).max()) for each in _carried(piece, standing))


def rises_to(piece: Piece, lathe: Lathe, turns: float) -> float | None:
    """Return how far along the spindle chucks that tilt the work bring its edge, mm; None where none tilts it.

    Examples
    --------
    >>> from lobework.carriage import Headstock
    >>> from lobework.chuck import Dome
    >>> from lobework.lathe import Lathe
    >>> from lobework.piece import Disc
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed")).mount(Dome(tilt_deg=30.0))
    >>> round(rises_to(Disc(diameter=60.0, thickness=8.0), lathe, turns=1.0), 9)
    15.0
    """
    standing = _standing(lathe, turns)
    return max(float(each[:, 2].max()) for each in _carried(piece, standing)) if _tilts(standing) else None


def _standing(lathe: Lathe, turns: float) -> Rigid:
    """Return where the work stands on the spindle in a pass of so many turns; once, where it stands still."""
    varies = any(each.chuck.varies for each in lathe.chucks)
    theta = 2 * math.pi * looked_at(turns, _SEEN_A_TURN, _MOST_SEEN) if varies else np.zeros(1)
    return reduce(Rigid.__matmul__, (each.chuck.motions(theta) for each in lathe.chucks), Rigid.still())


def _tilts(standing: Rigid) -> bool:
    return bool((np.abs(standing.rotation[:, 2, 2]) != 1.0).any())


def _carried(piece: Piece, standing: Rigid) -> Iterator[Array]:
    """Yield (k, 3) mm, where the edges of the work come to on the spindle."""
    points = _points(piece, _rings(piece))
    yield from map(standing.apply, points if len(standing.shift) > 1 or len(standing.rotation) > 1 else [points])


def _rings(piece: Piece) -> Array:
    """Return the edges of work that is round about its own axis, (k, 2) mm: radius and z; none of other work."""
    try:
        hash(piece)
    except TypeError:
        return _rings_of(piece)
    return _rings_again(piece)  # type: ignore[arg-type]


def _rings_of(piece: Any) -> Array:
    surface = getattr(piece, "surface", None)
    if isinstance(surface, Face):
        return np.array([[surface.radius, 0.0], [surface.radius, -surface.thickness]])
    return surface.profile(np.linspace(0.0, surface.length, 33))[:, :2] if isinstance(surface, Round) else np.zeros((0, 2))


_rings_again = lru_cache(maxsize=16)(_rings_of)


def _points(piece: Piece, rings: Array) -> Array:
    """Return (m, 3) mm on the work: what of it reaches furthest, however it is tilted."""
    if not rings.size:
        return np.column_stack([piece.outline, np.zeros(len(piece.outline))])
    around = np.linspace(0.0, 2 * math.pi, _AROUND, endpoint=False)
    r, z = rings.T[:, :, None]
    return np.stack([r * np.cos(around), r * np.sin(around), z + 0 * around], axis=-1).reshape(-1, 3)
