"""Checks that the values of cams and followers are finite, at many points first and then at each call; jumps of their shapes."""

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
"""Half-width within which a nose of infinite width is checked, mm."""


class Shape(NamedTuple):
    """Height and slope of a cam or of a follower's nose, as functions of (n,) positions; they raise `PartError` if not finite."""

    at: Callable[[Array], Array]
    slope_at: Callable[[Array], Array]


def cam_places(cam: Cam, *, finer: int = 1) -> Array:
    """Return the angles, (m,) rad, at which a cam is checked, including the cam's corners and simple fractions of a turn."""
    pitch = 2 * math.pi / cam.lobes
    corners = np.asarray(cam.corners, dtype=np.float64)
    each = np.arange(cam.lobes if cam.lobes * corners.size <= _MOST_CELLS else 1) * pitch
    by_lobes = np.linspace(0.0, 2 * math.pi, min(_CELLS_A_LOBE * cam.lobes * finer, _MOST_CELLS) + 1)
    first = np.linspace(0.0, pitch, _CELLS_ACROSS * finer + 1)
    around = 2 * math.pi * turn_edges(0.0, 1.0, finer=finer)
    return np.unique(np.concatenate([around, by_lobes, first, (each[:, None] + corners).ravel()]))


@lru_cache(maxsize=256)
def finite_cam(cam: Cam) -> Shape:
    """Return the shape of a cam after checking the whole cam.

    Raises
    ------
    PartError
        If a height or a slope is not finite, in this check or at a later call. The message names the cam, the angle and the
        settings.
    """
    shape = Shape(*(_checked("cam", cam, name, _degrees, _not_finite) for name in ("rise_at", "slope_at")))
    edges = cam_places(cam)
    for values_at in shape:
        values_at(edges)
        values_at(0.5 * (edges[1:] + edges[:-1]))
        for part in range(1, 8):
            values_at(edges[:-1] + part / 8 * np.diff(edges))
    return shape


@lru_cache(maxsize=256)
def finite_nose(follower: Follower) -> Shape:
    """Return the nose of a follower after checking the whole nose; the slope may be infinite at a vertical side.

    Raises
    ------
    PartError
        If a height is not finite or a slope is not a number, in this check or at a later call. The message names the follower,
        the position and the settings.
    """
    wrong: dict[str, Callable[[Array], Any]] = {"nose_at": _not_finite, "nose_slope_at": np.isnan}
    shape = Shape(*(_checked("follower", follower, name, _across, each) for name, each in wrong.items()))
    edges = nose_places(follower)
    for values_at in shape:
        for part in range(8):
            values_at(edges[:-1] + part / 8 * np.diff(edges) if edges.size > 1 else edges)
        values_at(edges)
    return shape


def nose_places(follower: Follower, *, finer: int = 1) -> Array:
    """Return the positions across a follower's nose, (m,) mm, at which the nose is checked; only one if its width is zero."""
    wide = min(follower.half_width, _WIDE_MM)
    return np.linspace(-wide, wide, _CELLS_ACROSS * finer + 1) if wide > 0 else np.zeros(1)


@lru_cache(maxsize=256)
def cam_jumps(cam: Cam, *, finer: int = 1) -> tuple[Discontinuity, ...]:
    """Return the jumps of a cam's height; their positions are angles round the cam, rad."""
    rise = finite_cam(cam).at
    return continuity_of(lambda psi: rise(psi)[:, None], cam_places(cam, finer=finer)).steps


@lru_cache(maxsize=256)
def nose_jumps(follower: Follower, *, finer: int = 1) -> tuple[Discontinuity, ...]:
    """Return the jumps of the height of a follower's nose; their positions are distances from the middle of the nose, mm."""
    nose = finite_nose(follower).at
    return continuity_of(lambda q: nose(q)[:, None], nose_places(follower, finer=finer)).steps


def _not_finite(given: Array) -> Any:
    return ~np.isfinite(given)


def _degrees(place: float) -> str:
    return f"{format_number(math.degrees(place), 4)} degrees of the cam"


def _across(place: float) -> str:
    return f"{format_number(place, 4)} mm from the middle of the nose"


def _checked(
    kind: str, part: Cam | Follower, name: str, where: Callable[[float], str], wrong: Callable[[Array], Any]
) -> Callable[[Array], Array]:
    """Return the method ``name`` of a part, wrapped so that it raises `PartError` if ``wrong`` is true for a returned value."""
    method: Callable[[Array], Array] = getattr(part, name)

    def checked(places: Array) -> Array:
        given = method(places)
        if not all_finite(given) and (lost := wrong(given)).any():
            place = float(np.asarray(places)[lost].flat[0])
            raise not_finite(kind, part.kind, part, f"{name} returns {given[lost].flat[0]} at {where(place)}")
        return given

    return checked
