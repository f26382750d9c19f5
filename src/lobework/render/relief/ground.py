"""The background: a plain sheet with the soft shadows of the bodies on it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lobework.render.relief.light import Grid
from lobework.render.relief.sample import taps, values
from lobework.render.relief.wood import linear

__all__ = ["SHEET", "Body", "sheet"]

SHEET: Final = (246, 242, 234)
_POINTS: Final = 32
_CAST, _TOUCH = 0.50, 0.42

_COARSE: Final = 4
"""Shadows are soft, so they are computed on every fourth dot."""


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """A flat body on the sheet.

    Parameters
    ----------
    outside : callable
        Function of (x, y), mm to the right of the picture's middle and up: distance from the body's outline, below zero inside.
    height : float, mm
        Height of the body above the sheet.
    """

    outside: Callable[[Grid, Grid], Grid]
    height: float


def sheet(rows: int, columns: int, dot: float, bodies: Sequence[Body]) -> Grid:
    """Return the sheet, (rows, columns, 3) in linear light: a little darker away from the lamp, with the shadows of bodies."""
    size = [math.ceil(count / _COARSE) + 2 for count in (rows, columns)]
    down, right = (
        ((np.arange(many) * _COARSE - (count - 1) / 2) * dot).astype(np.float32)
        for many, count in zip(size, (rows, columns), strict=True)
    )
    x, y = np.broadcast_to(right, size), np.broadcast_to(-down[:, None], size)
    away = np.clip((x - y) / ((rows + columns) * dot) + 0.5, 0, 1)
    dark = 1.0 - 0.08 * away
    tint = np.zeros_like(dark)
    for each in bodies:
        under = _shadow(x, y, each, dot)
        dark *= under
        tint += 1 - under
    places = [taps(np.arange(count) / _COARSE, many, wraps=False) for many, count in zip(size, (rows, columns), strict=True)]
    colour: Grid = linear(np.array(SHEET, dtype=np.float32)) * values(dark, *places)[..., None]
    colour *= 1 + values(tint, *places)[..., None] * np.array([0.04, 0.0, -0.05], dtype=np.float32)
    return colour


def _shadow(x: Grid, y: Grid, body: Body, dot: float) -> Grid:
    """Return the brightness of the sheet, 0 to 1, in the shadow of a body and in the contact shadow round it."""
    turn = math.pi * (3 - math.sqrt(5))
    height = body.height
    cast = np.zeros_like(x)
    for k in range(_POINTS):
        off, angle = math.sqrt((k + 0.5) / _POINTS), turn * k
        bearing, lamp = math.radians(135 + 20 * off * math.cos(angle)), math.radians(46 + 11 * off * math.sin(angle))
        far = height / math.tan(lamp)
        here = np.full_like(x, np.inf)
        for part in (0.0, 0.34, 0.67, 1.0):
            right, up = -far * part * math.cos(bearing), -far * part * math.sin(bearing)
            here = np.minimum(here, body.outside(x - right, y - up))
        cast += np.clip(0.5 - here / (2 * dot + 0.28 * far), 0, 1)
    near = np.maximum(body.outside(x, y), 0)
    tight, wide = (np.exp(near / (-reach * height - dot)) for reach in (0.16, 0.8))
    touch = 0.62 * tight + 0.38 * wide
    light: Grid = (1 - (_CAST / _POINTS) * cast) * (1 - _TOUCH * touch)
    return light
