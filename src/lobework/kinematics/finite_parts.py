"""Cams and followers held to be finite, at every place at which they are asked and at many more, and where their shapes jump."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from lobework.geometry.continuity import Discontinuity, all_finite, continuity_of, turn_edges
from lobework.parts.protocols import not_finite
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.parts.protocols import Cam, Follower

__all__ = ["Shape", "cam_jumps", "cam_places", "finite_cam", "finite_nose", "nose_jumps", "nose_places"]

_CELLS_A_LOBE: Final = 64
_MOST_CELLS: Final = 16_384
_CELLS_ACROSS: Final = 1024
_WIDE_MM: Final = 50.0
"""To either side: how much of an endless nose is looked at."""


class Shape(NamedTuple):
    """Height and slope of a cam, or of a follower's nose, as functions of (n,) places that refuse what is not finite."""

    at: Callable[[Array], Array]
    slope_at: Callable[[Array], Array]


def cam_places(cam: Cam, *, finer: int = 1) -> Array:
    """Return the angles all round a cam between which it is looked at, (m,) rad: corners and simple fractions of a turn."""
    pitch = 2 * math.pi / cam.lobes
    corners = np.asarray(cam.corners, dtype=np.float64)
    each = np.arange(cam.lobes if cam.lobes * corners.size <= _MOST_CELLS else 1) * pitch
    by_lobes = np.linspace(0.0, 2 * math.pi, min(_CELLS_A_LOBE * cam.lobes * finer, _MOST_CELLS) + 1)
    first = np.linspace(0.0, pitch, _CELLS_ACROSS * finer + 1)
    around = 2 * math.pi * turn_edges(0.0, 1.0, finer=finer)
    return np.unique(np.concatenate([around, by_lobes, first, (each[:, None] + corners).ravel()]))


@lru_cache(maxsize=256)
def finite_cam(cam: Cam) -> Shape:
    """Return the shape of a cam, looked at all round it.

    Raises
    ------
    PartError
        Where a height or a slope is not finite, now or when it is asked for; naming the cam, the angle and its settings.
    """
    shape = Shape(*(_held("cam", cam, name, _degrees, _not_finite) for name in ("rise_at", "slope_at")))
    edges = cam_places(cam)
    for ask in shape:
        ask(edges)
        ask(0.5 * (edges[1:] + edges[:-1]))
        for part in range(1, 8):
            ask(edges[:-1] + part / 8 * np.diff(edges))
    return shape


@lru_cache(maxsize=256)
def finite_nose(follower: Follower) -> Shape:
    """Return the nose of a follower, looked at all across it; its slope may be infinite at an upright side.

    Raises
    ------
    PartError
        Where a height is not finite, or a slope no number, now or when it is asked for; naming the follower, the place and its
        settings.
    """
    wrong: dict[str, Callable[[Array], Any]] = {"nose_at": _not_finite, "nose_slope_at": np.isnan}
    shape = Shape(*(_held("follower", follower, name, _across, each) for name, each in wrong.items()))
    edges = nose_places(follower)
    for ask in shape:
        for part in range(8):
            ask(edges[:-1] + part / 8 * np.diff(edges) if edges.size > 1 else edges)
        ask(edges)
    return shape


def nose_places(follower: Follower, *, finer: int = 1) -> Array:
    """Return the places across a follower's nose between which it is looked at, (m,) mm; of an edge, its middle."""
    wide = min(follower.half_width, _WIDE_MM)
    return np.linspace(-wide, wide, _CELLS_ACROSS * finer + 1) if wide > 0 else np.zeros(1)


@lru_cache(maxsize=256)
def cam_jumps(cam: Cam, *, finer: int = 1) -> tuple[Discontinuity, ...]:
    """Return where the height of a cam jumps, rad round it."""
    rise = finite_cam(cam).at
    return continuity_of(lambda psi: rise(psi)[:, None], cam_places(cam, finer=finer)).steps


@lru_cache(maxsize=256)
def nose_jumps(follower: Follower, *, finer: int = 1) -> tuple[Discontinuity, ...]:
    """Return where the height of a follower's nose jumps, mm across it."""
    nose = finite_nose(follower).at
    return continuity_of(lambda q: nose(q)[:, None], nose_places(follower, finer=finer)).steps


def _not_finite(given: Array) -> Any:
    return ~np.isfinite(given)


def _degrees(place: float) -> str:
    return f"{format_number(math.degrees(place), 4)} degrees of the cam"


def _across(place: float) -> str:
    return f"{format_number(place, 4)} mm across it"


def _held(
    kind: str, part: Cam | Follower, name: str, where: Callable[[float], str], wrong: Callable[[Array], Any]
) -> Callable[[Array], Array]:
    """Return what a part says of places, refused where it is not finite."""
    ask: Callable[[Array], Array] = getattr(part, name)

    def holder(places: Array) -> Array:
        given = ask(places)
        if not all_finite(given) and (lost := wrong(given)).any():
            place = float(np.asarray(places)[lost].flat[0])
            raise not_finite(kind, part.kind, part, f"{name} gives {given[lost].flat[0]} at {where(place)}")
        return given

    return holder
