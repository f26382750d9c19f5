"""The scale bar at the foot of a picture, and its label."""

from __future__ import annotations

import itertools
import math
from typing import Final, NamedTuple

import numpy as np

from lobework.quantities.units import MM_PER, LengthUnit
from lobework.render.relief.light import Grid
from lobework.render.relief.wood import linear

__all__ = ["Bar", "bar_of", "draw_bar"]

_INK: Final = (150, 140, 126)
_FIGURES: Final[dict[str, tuple[tuple[tuple[float, float], ...], ...]]] = {
    "0": (((0.5, 0), (2.5, 0), (3, 1), (3, 5), (2.5, 6), (0.5, 6), (0, 5), (0, 1), (0.5, 0)),),
    "1": (((0.5, 4.6), (2, 6), (2, 0)),),
    "2": (((0, 4.8), (0.6, 6), (2.4, 6), (3, 4.8), (3, 4), (0, 0), (3, 0)),),
    "5": (((2.9, 6), (0.3, 6), (0, 3.3), (1, 3.8), (2.3, 3.6), (3, 2.6), (3, 1.2), (2.2, 0), (0.8, 0), (0, 0.9)),),
    "4": (((2.2, 0), (2.2, 6), (0, 1.8), (3, 1.8)),),
    "6": (
        (
            (2.7, 5.4),
            (1.8, 6),
            (0.8, 5.6),
            (0, 3.6),
            (0, 1.2),
            (0.8, 0),
            (2.2, 0),
            (3, 1),
            (3, 2.4),
            (2.2, 3.4),
            (0.8, 3.4),
            (0, 2.4),
        ),
    ),
    "8": (
        (
            (0.8, 3.2),
            (0.1, 4),
            (0.1, 5.2),
            (0.9, 6),
            (2.1, 6),
            (2.9, 5.2),
            (2.9, 4),
            (2.2, 3.2),
            (0.8, 3.2),
            (0, 2.3),
            (0, 0.9),
            (0.9, 0),
            (2.1, 0),
            (3, 0.9),
            (3, 2.3),
            (2.2, 3.2),
        ),
    ),
    ".": (((0, 0), (0, 0.2)),),
    "/": (((0, -0.4), (2.4, 6.4)),),
    "i": (((0, 0), (0, 4)), ((0, 5.4), (0, 5.6))),
    "n": (((0, 0), (0, 4)), ((0, 3), (1, 4), (2.2, 3.6), (2.6, 2.6), (2.6, 0))),
    "m": (((0, 0), (0, 4)), ((0, 3), (1, 4), (2, 3.2), (2, 0)), ((2, 3), (3, 4), (4, 3.2), (4, 0))),
    " ": (),
}
"""Strokes of the characters that a label can contain, for digits of height 6."""


class Bar(NamedTuple):
    """A scale bar: its length, mm, and its label."""

    mm: float
    label: str


def bar_of(size: float, units: LengthUnit = "mm") -> Bar:
    """Return a scale bar of about a fifth of the work's ``size``, mm: 1, 2 or 5 times a power of ten, or a fraction of an inch.

    >>> bar_of(70.0).label, bar_of(8.0).label, bar_of(157.0).label
    ('10 mm', '1 mm', '20 mm')
    >>> bar_of(70.0, "inch"), bar_of(157.0, "inch").label, bar_of(2.0, "inch").label
    (Bar(mm=12.7, label='1/2 in'), '1 in', '0.01 in')
    """
    rough = size / 5 / float(MM_PER[units])
    ten = 10.0 ** math.floor(math.log10(rough))
    whole = [step * ten for step in (1.0, 2.0, 5.0)]
    if units == "inch" and 1 / 16 <= rough < 1:
        under = next(under for under in (2, 4, 8, 16) if 1 / under <= rough)
        return Bar(25.4 / under, f"1/{under} in")
    bar = max(step for step in whole if step <= rough)
    return Bar(bar * float(MM_PER[units]), f"{bar:g} {'mm' if units == 'mm' else 'in'}")


def draw_bar(colour: Grid, left: int, foot: int, bar: Bar, dot: float) -> None:
    """Draw a thin scale bar with a tick at each end and its label, in place; its left end is at column ``left``, row ``foot``."""
    ink, short = linear(np.array(_INK, dtype=np.float32)), min(colour.shape[:2])
    long, thin, tall = round(bar.mm / dot), max(1, round(short / 800)), max(3, round(short / 160))
    colour[foot - thin : foot, left : left + long] = ink
    colour[foot - tall : foot, left : left + thin] = ink
    colour[foot - tall : foot, left + long - thin : left + long] = ink
    _write(colour, bar.label, left + long + 2 * tall, foot, max(7, round(short / 90)), ink)


def _write(colour: Grid, text: str, left: int, foot: int, tall: int, ink: Grid) -> None:
    """Draw a text ``tall`` dots high, in place; its baseline is at row ``foot``."""
    unit, bold = tall / 6, max(0.5, tall / 18)
    for figure in text:
        strokes = _FIGURES[figure]
        wide = max((x for stroke in strokes for x, _ in stroke), default=2.0)
        across, up = np.meshgrid(np.arange(-2, wide * unit + 3), np.arange(-2, tall + 3))
        off = np.full(across.shape, np.inf)
        for stroke in strokes:
            for (ax, ay), (bx, by) in itertools.pairwise(stroke):
                step = np.array([bx - ax, by - ay]) * unit
                part = np.clip(((across - ax * unit) * step[0] + (up - ay * unit) * step[1]) / (step @ step), 0, 1)
                off = np.minimum(off, np.hypot(across - ax * unit - part * step[0], up - ay * unit - part * step[1]))
        covers = np.clip(bold + 0.5 - off, 0, 1)[::-1, :, None].astype(np.float32)
        corner = left - 2
        under = colour[foot - tall - 3 : foot + 2, corner : corner + covers.shape[1]]
        under += covers[: under.shape[0], : under.shape[1]] * (ink - under)
        left += round((wide + 1.6) * unit)
