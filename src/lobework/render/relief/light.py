"""Light over a carved surface: a lamp low at the upper left, the shadows it casts, and how much of the room each point sees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lobework.text.brief import Brief

__all__ = ["LAMP", "ROOM", "Field", "Grid", "Lamp", "Light", "broad", "gloss", "light"]

Grid = NDArray[np.floating[Any]]

_BAND: Final = 32
"""Rows worked on together, so that they stay in the cache."""
_GLOSS: Final = 22.0
"""How narrow the sheen of waxed wood is."""
_NOTHING_THERE: Final = -1e6


class Lamp(NamedTuple):
    """A direction that light comes from: unit parts to the right, up, and out of the picture; and its share of the light."""

    right: float
    up: float
    out: float
    share: float

    @classmethod
    def at(cls, bearing_deg: float, height_deg: float, share: float) -> Lamp:
        """Return the lamp at a bearing, counterclockwise from the right, and a height over the picture."""
        bearing, height = math.radians(bearing_deg), math.radians(height_deg)
        return cls(math.cos(height) * math.cos(bearing), math.cos(height) * math.sin(bearing), math.sin(height), share)


def _shared(lamps: list[Lamp]) -> tuple[Lamp, ...]:
    """Return lamps whose light on open level ground is one together."""
    whole = sum(each.share * each.out for each in lamps)
    return tuple(each._replace(share=each.share / whole) for each in lamps)


def broad(bearing_deg: float, height_deg: float, half_deg: tuple[float, float], count: int) -> tuple[Lamp, ...]:
    """Return a broad lamp as points spread evenly over it, ``half_deg`` to either side and up and down."""
    turn = math.pi * (3 - math.sqrt(5))
    spread = [(math.sqrt((k + 0.5) / count), turn * k) for k in range(count)]
    return _shared(
        [
            Lamp.at(bearing_deg + half_deg[0] * off * math.cos(way), height_deg + half_deg[1] * off * math.sin(way), 1.0)
            for off, way in spread
        ]
    )


def _room(rings: tuple[tuple[float, int, float], ...]) -> tuple[Lamp, ...]:
    """Return an even sky in rings of (height, lamps, share)."""
    return _shared(
        [
            Lamp.at(45.0 * ring + 360 / count * k + 11.0, height, share / count)
            for ring, (height, count, share) in enumerate(rings)
            for k in range(count)
        ]
    )


LAMP: Final = broad(135.0, 27.0, (11.0, 5.5), 8)
"""The lamp that rakes the work."""
ROOM: Final = _room(((17.0, 8, 0.30), (46.0, 6, 0.45), (78.0, 1, 0.25)))
"""What the room sends back from all round."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Field(Brief):
    """A surface over the picture's plane, its first row at the top.

    Parameters
    ----------
    height : (m, n) float32, mm
        Out of the picture.
    right, up : (m, n) float32
        Its slopes.
    spacing : float, mm
        From point to point, both ways.
    """

    height: Grid
    right: Grid
    up: Grid
    spacing: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Light(Brief):
    """What falls on each point, as parts of what falls on open level ground, and the lamp's sheen: (m, n) float32 each."""

    lamp: Grid
    room: Grid
    sheen: Grid


def light(field: Field) -> Light:
    """Return the light on a surface.

    Examples
    --------
    >>> level = np.zeros((4, 4), dtype=np.float32)
    >>> found = light(Field(level, level, level, 0.1))
    >>> float(found.lamp.min().round(3)), float(found.room.min().round(3))
    (1.0, 1.0)
    """
    upright = 1 / np.sqrt(1 + field.right**2 + field.up**2)
    normal = (-field.right * upright, -field.up * upright, upright)
    lamp, room = _fall(field.height, normal, field.spacing, LAMP), _fall(field.height, normal, field.spacing, ROOM)
    return Light(lamp, room, gloss(normal, LAMP) * np.minimum(lamp, 1))


def _fall(height: Grid, normal: tuple[Grid, Grid, Grid], spacing: float, lamps: tuple[Lamp, ...]) -> Grid:
    """Return the light of lamps on each point; those that shine mostly along the rows meet the surface on its side."""
    down = [each for each in lamps if abs(each.up) >= abs(each.right)]
    along = [Lamp(-each.up, -each.right, each.out, each.share) for each in lamps if abs(each.up) < abs(each.right)]
    total = np.zeros_like(height)
    for each in down:
        _cast(height, normal, spacing, each, total)
    if along:
        right, up, out = (np.ascontiguousarray(part.T) for part in normal)
        on_side, turned = np.ascontiguousarray(height.T), np.zeros_like(right)
        for each in along:
            _cast(on_side, (-up, -right, out), spacing, each, turned)
        total += turned.T
    return total


def _cast(height: Grid, normal: tuple[Grid, Grid, Grid], spacing: float, lamp: Lamp, total: Grid) -> None:
    """Add the light, past the shadows, of one lamp that shines mostly along the columns.

    The shadow's edge is carried from row to row along the light: as high as the ground or the shadow stood before,
    less the light's fall on the way.
    """
    way = slice(None) if lamp.up > 0 else slice(None, None, -1)
    height, total = height[way], total[way]
    right, up, out = (part[way] for part in normal)
    rows, columns = height.shape
    sideways, fall = lamp.right / abs(lamp.up), spacing * lamp.out / abs(lamp.up)
    whole = math.floor(sideways)
    part, drop, sharp = (sideways - whole), fall, (1 / fall)
    start = abs(whole) + 2
    before = np.full(columns + 2 * start, _NOTHING_THERE, dtype=np.float32)
    under = before[start : start + columns]
    near, far = (before[start + whole + k : start + whole + k + columns] for k in (0, 1))
    shadows, falls, parts = (np.zeros((_BAND, columns), dtype=np.float32) for _ in range(3))
    ways = [(each * lamp.share) for each in lamp[:3]]
    for top in range(0, rows, _BAND):
        band = slice(top, min(top + _BAND, rows))
        shadow, lit, work = (each[: band.stop - top] for each in (shadows, falls, parts))
        for row in range(top, band.stop):
            edge = shadow[row - top]
            np.subtract(far, near, out=edge)
            edge *= part
            edge += near
            edge -= drop
            np.maximum(edge, height[row], out=under)
        np.subtract(height[band], shadow, out=shadow)
        shadow *= sharp
        shadow += 0.5
        np.maximum(shadow, 0, out=shadow)
        np.minimum(shadow, 1, out=shadow)
        np.multiply(right[band], ways[0], out=lit)
        np.multiply(up[band], ways[1], out=work)
        lit += work
        np.multiply(out[band], ways[2], out=work)
        lit += work
        np.maximum(lit, 0, out=lit)
        lit *= shadow
        total[band] += lit


def gloss(normal: tuple[Grid, Grid, Grid], lamps: tuple[Lamp, ...]) -> Grid:
    """Return a wax's soft gloss where the surface stands half-way between lamp and eye, 0 to 1.

    Source: J. F. Blinn, "Models of light reflection for computer synthesized pictures", SIGGRAPH 1977.
    """
    middle = np.array([each[:3] for each in lamps]).mean(axis=0)
    half = middle / np.linalg.norm(middle) + np.array([0.0, 0.0, 1.0])
    half /= np.linalg.norm(half)
    toward = normal[0] * half[0]
    for part, way in zip(normal[1:], half[1:], strict=True):
        toward += part * way
    shine: Grid = np.maximum(toward, 0) ** _GLOSS
    return shine
