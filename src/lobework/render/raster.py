"""A drawing as a small picture of grey dots, quickly: for catalogues of thousands of patterns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import is_whole, require
from lobework.quantities.units import plain_number
from lobework.render.marks import Mark, marks_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lobework.kernels.raster.lines import Line
    from lobework.kernels.records import Records
    from lobework.render.drawing import Drawing

__all__ = ["FEWEST", "MOST", "dots_of"]

FEWEST: Final = 16
MOST: Final = 10_000
"""Least and greatest number of dots on the long side."""
_WHITE: Final = 255.0
_LUMA: Final = (0.299, 0.587, 0.114)
"""Weights of red, green and blue in a grey. Source: ITU-R BT.601-7, 2.5.1."""


def dots_of(drawing: Drawing, size: int) -> NDArray[np.uint8]:
    """Return a drawing as grey dots, (rows, columns), on white; its text is left out.

    Parameters
    ----------
    drawing : Drawing
        The drawing; for a pattern alone, use ``drawing.without_legend()``.
    size : int
        Number of dots on the long side, 16 to 10,000.

    Raises
    ------
    SettingError
        If ``size`` is out of range.

    Examples
    --------
    >>> from lobework import At, Disc, Job, Pass, Vee, read_lathe
    >>> ring = Pass(name="ring", at=At(x=20.0, depth=0.5))
    >>> disc, vee = Disc(diameter=60.0, thickness=5.0), Vee(angle_deg=90.0, width=3.0)
    >>> job = Job(lathe=read_lathe("plain-bench"), piece=disc, cutter=vee, passes=[ring])
    >>> picture = dots_of(job.drawing().without_legend(), 128)
    >>> picture.shape, int(picture[0, 0]), bool(picture.min() < 200)
    ((128, 128), 255, True)
    """
    from lobework.kernels.raster.lines import paint

    size = plain_number(size)
    require(is_whole(size, FEWEST, MOST), "size", repr(size), f"a whole number of dots from {FEWEST} to {MOST:,}")
    scale = size / max(drawing.width, drawing.height)
    grey = np.full([max(round(scale * each), 1) for each in (drawing.height, drawing.width)], _WHITE, np.float32)
    marks = list(marks_of(drawing))
    if marks:
        points = np.concatenate([mark.points for mark in marks])
        paint((points - (drawing.left, drawing.top)) * (scale, -scale), _lines(marks, scale), grey)
    return np.rint(grey).astype(np.uint8)


def _lines(marks: Sequence[Mark], scale: float) -> Records[Line]:
    """Return the lines of the kernel; neighbouring pale bands are one group, so that they do not darken each other."""
    from lobework.kernels.raster.lines import Line
    from lobework.kernels.records import zeros

    lines = zeros(Line, len(marks))
    ends = np.cumsum([len(mark.points) for mark in marks])
    opacity = np.array([_opacity(mark) for mark in marks])
    starts_group = np.append(True, (opacity[1:] == 1.0) | (opacity[1:] != opacity[:-1]))
    lines["first"], lines["after"] = np.append(0, ends[:-1]), ends
    lines["group"] = np.cumsum(starts_group)
    lines["closed"] = [mark.closed for mark in marks]
    lines["half_width"] = [0.5 * scale * mark.width for mark in marks]
    lines["ink"] = [_grey(mark.colour) for mark in marks]
    lines["opacity"] = opacity
    return lines


def _opacity(mark: Mark) -> float:
    """Return the opacity of a mark; that of a dashed line is the share of its length that the dashes cover."""
    if mark.dash is None:
        return mark.opacity
    dash, gap = mark.dash
    return mark.opacity * min((dash + mark.width) / (dash + gap), 1.0)


def _grey(colour: str) -> float:
    """Return the grey, 0 to 255, of a colour such as "#16181c"."""
    return sum(weight * int(colour[k : k + 2], 16) for weight, k in zip(_LUMA, (1, 3, 5), strict=True))
