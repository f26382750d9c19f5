"""Light on a carved surface: a low lamp at the upper left with its shadows, and the diffuse light of the room."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.text.brief import Brief

__all__ = ["AMBIENT", "LAMP", "Field", "Grid", "Lamp", "Light", "broad", "gloss", "light"]

Grid = NDArray[np.floating[Any]]

_BAND: Final = 32
"""Number of rows that are processed together, so that they stay in the cache."""
_GLOSS: Final = 22.0
"""Exponent of the specular reflection of waxed wood."""
_NO_SHADOW: Final = -1e6


class Lamp(NamedTuple):
    """A direction of light: components of its unit vector to the right, up and out of the picture; and its share of the light."""

    right: float
    up: float
    out: float
    share: float

    @classmethod
    def at(cls, bearing_deg: float, height_deg: float, share: float) -> Lamp:
        """Return the lamp at a bearing, counterclockwise from the right, and an elevation above the plane of the picture."""
        bearing, height = math.radians(bearing_deg), math.radians(height_deg)
        return cls(math.cos(height) * math.cos(bearing), math.cos(height) * math.sin(bearing), math.sin(height), share)


def _normalised(lamps: list[Lamp]) -> tuple[Lamp, ...]:
    """Return lamps with their shares scaled so that their total light on an open, level surface is 1."""
    whole = sum(each.share * each.out for each in lamps)
    return tuple(each._replace(share=each.share / whole) for each in lamps)


def broad(bearing_deg: float, height_deg: float, half_deg: tuple[float, float], count: int) -> tuple[Lamp, ...]:
    """Return a broad lamp as ``count`` evenly spread points; ``half_deg`` are its half widths in bearing and elevation."""
    turn = math.pi * (3 - math.sqrt(5))
    spread = [(math.sqrt((k + 0.5) / count), turn * k) for k in range(count)]
    return _normalised(
        [
            Lamp.at(bearing_deg + half_deg[0] * off * math.cos(angle), height_deg + half_deg[1] * off * math.sin(angle), 1.0)
            for off, angle in spread
        ]
    )


def _sky(rings: tuple[tuple[float, int, float], ...]) -> tuple[Lamp, ...]:
    """Return the lamps of a uniform sky from rings of (elevation, number of lamps, share)."""
    return _normalised(
        [
            Lamp.at(45.0 * ring + 360 / count * k + 11.0, height, share / count)
            for ring, (height, count, share) in enumerate(rings)
            for k in range(count)
        ]
    )


LAMP: Final = broad(135.0, 27.0, (11.0, 5.5), 8)
"""The lamp for raking light."""
AMBIENT: Final = _sky(((17.0, 8, 0.30), (46.0, 6, 0.45), (78.0, 1, 0.25)))
"""The diffuse light of the room, from all round."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Field(Brief):
    """A surface above the plane of the picture; its first row is at the top.

    Parameters
    ----------
    height : (m, n) float32, mm
        Height above the plane of the picture.
    right, up : (m, n) float32
        Slopes to the right and up.
    spacing : float, mm
        Distance from point to point, in both directions.
    """

    height: Grid
    right: Grid
    up: Grid
    spacing: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Light(Brief):
    """Light of the lamp and of the room relative to an open, level surface, and the lamp's sheen: (m, n) float32 each."""

    lamp: Grid
    ambient: Grid
    sheen: Grid


def light(field: Field) -> Light:
    """Return the light on a surface.

    Examples
    --------
    >>> level = np.zeros((4, 4), dtype=np.float32)
    >>> found = light(Field(level, level, level, 0.1))
    >>> float(found.lamp.min().round(3)), float(found.ambient.min().round(3))
    (1.0, 1.0)
    """
    upright = 1 / np.sqrt(1 + field.right**2 + field.up**2)
    normal = (-field.right * upright, -field.up * upright, upright)
    lamp, ambient = _light_of(field.height, normal, field.spacing, LAMP), _light_of(field.height, normal, field.spacing, AMBIENT)
    return Light(lamp, ambient, gloss(normal, LAMP) * np.minimum(lamp, 1))


def _light_of(height: Grid, normal: tuple[Grid, Grid, Grid], spacing: float, lamps: tuple[Lamp, ...]) -> Grid:
    """Return the light of lamps on each point; for lamps that shine mostly along the rows, the surface is transposed."""
    down = [each for each in lamps if abs(each.up) >= abs(each.right)]
    along = [Lamp(-each.up, -each.right, each.out, each.share) for each in lamps if abs(each.up) < abs(each.right)]
    total = np.zeros_like(height)
    for each in down:
        _add_light(height, normal, spacing, each, total)
    if along:
        right, up, out = (np.ascontiguousarray(part.T) for part in normal)
        on_side, turned = np.ascontiguousarray(height.T), np.zeros_like(right)
        for each in along:
            _add_light(on_side, (-up, -right, out), spacing, each, turned)
        total += turned.T
    return total


def _add_light(height: Grid, normal: tuple[Grid, Grid, Grid], spacing: float, lamp: Lamp, total: Grid) -> None:
    """Add the light of one lamp that shines mostly along the columns, with its shadows.

    The height of the shadow is propagated from row to row in the direction of the light: it is the greater of the heights of the
    surface and of the shadow in the row before, less the descent of the light from row to row.
    """
    order = slice(None) if lamp.up > 0 else slice(None, None, -1)
    height, total = height[order], total[order]
    right, up, out = (part[order] for part in normal)
    rows, columns = height.shape
    sideways, descent = lamp.right / abs(lamp.up), spacing * lamp.out / abs(lamp.up)
    whole = math.floor(sideways)
    part, sharp = sideways - whole, 1 / descent
    start = abs(whole) + 2
    before = np.full(columns + 2 * start, _NO_SHADOW, dtype=np.float32)
    under = before[start : start + columns]
    near, far = (before[start + whole + k : start + whole + k + columns] for k in (0, 1))
    shadows, lights, parts = (np.zeros((_BAND, columns), dtype=np.float32) for _ in range(3))
    weights = [(each * lamp.share) for each in lamp[:3]]
    for top in range(0, rows, _BAND):
        band = slice(top, min(top + _BAND, rows))
        shadow, lit, work = (each[: band.stop - top] for each in (shadows, lights, parts))
        for row in range(top, band.stop):
            edge = shadow[row - top]
            np.subtract(far, near, out=edge)
            edge *= part
            edge += near
            edge -= descent
            np.maximum(edge, height[row], out=under)
        np.subtract(height[band], shadow, out=shadow)
        shadow *= sharp
        shadow += 0.5
        np.maximum(shadow, 0, out=shadow)
        np.minimum(shadow, 1, out=shadow)
        np.multiply(right[band], weights[0], out=lit)
        np.multiply(up[band], weights[1], out=work)
        lit += work
        np.multiply(out[band], weights[2], out=work)
        lit += work
        np.maximum(lit, 0, out=lit)
        lit *= shadow
        total[band] += lit


def gloss(normal: tuple[Grid, Grid, Grid], lamps: tuple[Lamp, ...]) -> Grid:
    """Return the specular reflection of waxed wood, 0 to 1; it is greatest if the normal bisects the directions of lamp and eye.

    Source: J. F. Blinn, "Models of light reflection for computer synthesized pictures", SIGGRAPH 1977.
    """
    middle = np.array([each[:3] for each in lamps]).mean(axis=0)
    half = middle / np.linalg.norm(middle) + np.array([0.0, 0.0, 1.0])
    half /= np.linalg.norm(half)
    toward = normal[0] * half[0]
    for part, component in zip(normal[1:], half[1:], strict=True):
        toward += part * component
    shine: Grid = np.maximum(toward, 0) ** _GLOSS
    return shine
