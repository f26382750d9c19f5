"""How strokes are painted: their colour, opacity and dashes, and the pale band of a groove below the line of the tip."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.render.drawing import Drawing, Figure, Ink, Stroke

__all__ = [
    "AIR_DASH_MM",
    "BAND_OPACITY",
    "COLOURS",
    "LEAST_BAND_MM",
    "TEXT_COLOURS",
    "TIP_LINE_MM",
    "Mark",
    "has_band",
    "marks_of",
]

COLOURS: Final[dict[Ink, str]] = {
    "cut": "#16181c",
    "air": "#9aa1a8",
    "outline": "#7d848c",
    "rule": "#7d848c",
    "accent": "#8a3324",
}
"""Colour of each ink."""
TEXT_COLOURS: Final = {"title": "#16181c", "plain": "#4a4f57", "note": "#8a3324"}
"""Colour of each manner of text."""
AIR_DASH_MM: Final = (0.1, 0.7)
"""Lengths of a dash and of a gap on a path through air."""
LEAST_BAND_MM: Final = 0.35
"""A figure with a wider stroke than this is painted as pale bands below fine lines."""
BAND_OPACITY: Final = 0.13
TIP_LINE_MM: Final = 0.1


@dataclass(frozen=True, slots=True, eq=False, repr=False, kw_only=True)
class Mark(Brief):
    """A line of one colour with round joins and ends.

    Parameters
    ----------
    points : (n, 2) float64, mm
        Points as in a stroke: X to the right, Y up.
    closed : bool
        Whether the last point is joined to the first.
    width : float, mm
        Width of the line.
    colour : str
        Colour, such as "#16181c".
    opacity : float
        1 for a line that covers what is below it; less for a pale band.
    dash : (float, float) or None, mm
        Lengths of a dash and of a gap; None for a full line.
    """

    points: Array
    closed: bool
    width: float
    colour: str
    opacity: float = 1.0
    dash: tuple[float, float] | None = None


def has_band(figure: Figure) -> bool:
    """Return whether a figure is painted as pale bands below fine lines."""
    return any(stroke.width > LEAST_BAND_MM for stroke in figure.strokes if stroke.ink == "cut")


def marks_of(drawing: Drawing) -> Iterator[Mark]:
    """Yield the marks of a drawing without its text, in the order of painting.

    >>> import numpy as np
    >>> from lobework.render.drawing import Drawing, Figure, Layer, Stroke
    >>> groove = Stroke(np.zeros((2, 2)), 0.5)
    >>> sheet = Drawing(
    ...     title="Lid", description="", left=0, top=0, width=90, height=60, words=(), lines=(), bar=50,
    ...     layers=(Layer("pass-1", "ring", (Figure("ring", (groove,)),)),),
    ... )
    >>> [(mark.width, mark.opacity) for mark in marks_of(sheet)]
    [(0.5, 0.13), (0.1, 1.0)]
    """
    yield from (_mark(stroke) for stroke in drawing.lines)
    for layer in drawing.layers:
        for figure in layer.figures:
            yield from (_mark(stroke) for stroke in figure.strokes if stroke.ink != "cut")
            cuts = [stroke for stroke in figure.strokes if stroke.ink == "cut"]
            if has_band(figure):
                yield from (_mark(stroke, opacity=BAND_OPACITY) for stroke in cuts)
                yield from (_mark(stroke, width=TIP_LINE_MM) for stroke in cuts)
            else:
                yield from map(_mark, cuts)


def _mark(stroke: Stroke, *, width: float | None = None, opacity: float = 1.0) -> Mark:
    return Mark(
        points=stroke.points,
        closed=stroke.closed,
        width=stroke.width if width is None else width,
        colour=COLOURS[stroke.ink],
        opacity=opacity,
        dash=AIR_DASH_MM if stroke.ink == "air" else None,
    )
