"""The relief: a picture of the carved work in wood, lit by a low lamp at the upper left.

A face is seen from the cutter, X to the right and Y up. A barrel or a turned piece is seen from two sides. Its surface is also
shown rolled out flat, with angle zero at the left. Each view is above the half of this surface that it shows, or the two views
are on both sides of this surface.

There are three shadows. Those on the carved surface are computed in `light`; their resolution is a factor in `face` and `rolled`.
Those on the views of round work are in `shade`. The shadow of the piece on the sheet behind it is in `ground`, and is coarse.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lobework.errors import is_whole, require
from lobework.geometry.surface import Face
from lobework.quantities.units import plain_number
from lobework.render.relief.face import pictured_face
from lobework.render.relief.finish import eight_bit
from lobework.render.relief.rolled import pictured_round
from lobework.text.brief import Brief

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lobework.carve.carving import Carving

__all__ = ["DOTS", "FEWEST", "MOST", "Relief", "picture"]

DOTS: Final = 1600
"""Default number of dots on the picture's long side."""
FEWEST: Final = 200
MOST: Final = 3000
"""Least and greatest number of dots on the long side."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True, repr=False)
class Relief(Brief):
    """A picture without a file format.

    Parameters
    ----------
    title, description : str
        Title of the picture, and its contents in one sentence.
    dots : (rows, columns, 3) uint8
        sRGB, the first row at the top.
    mm_per_dot : float, mm
        Distance on the work between neighbouring dots; in a view of a round piece, it is measured in the plane of the picture.
    bar : float, mm
        Length of the scale bar at the foot of the picture.
    """

    title: str
    description: str
    dots: NDArray[np.uint8]
    mm_per_dot: float
    bar: float


def picture(carving: Carving, dots: int = DOTS, *, bar: bool = True) -> Relief:
    """Return the picture of a carving; the same carving gives the same bytes.

    Parameters
    ----------
    carving : Carving
        The carved piece. Its ``material`` determines the wood; the default is a pale wood.
    dots : int
        Number of dots on the long side, 200 to 3000.
    bar : bool
        Whether there is a scale bar at the foot.

    Raises
    ------
    SettingError
        If ``dots`` is out of that range.

    Examples
    --------
    >>> from lobework import At, Disc, Job, Pass, Vee, read_lathe
    >>> ring = Pass(name="ring", at=At(x=20.0, depth=0.5))
    >>> disc, vee = Disc(diameter=60.0, thickness=5.0, material="boxwood"), Vee(angle_deg=90.0, width=3.0)
    >>> shown = picture(Job(lathe=read_lathe("plain-bench"), piece=disc, cutter=vee, passes=[ring]).carve(0.5), dots=200)
    >>> shown.dots.shape, round(shown.mm_per_dot, 4), shown.bar
    ((200, 200, 3), 0.3659, 10.0)
    """
    dots = plain_number(dots)
    require(is_whole(dots, FEWEST, MOST), "dots", dots, f"a whole number from {FEWEST} to {MOST}, on the picture's long side")
    draw, description = (pictured_face, _FACE) if isinstance(carving.stock.surface, Face) else (pictured_round, _ROUND)
    units = carving.units if bar else None
    colour, dot, scale = draw(carving.stock, carving.depth, getattr(carving.piece, "material", ""), dots, units)
    return Relief(
        title=carving.title or "untitled",
        description=f"{description}; the bar is {scale.label}" if scale else description,
        dots=eight_bit(colour),
        mm_per_dot=dot,
        bar=scale.mm if scale else 0.0,
    )


_FACE: Final = "The carved face, seen from the cutter, X to the right, Y up, lit from the upper left"
_ROUND: Final = (
    "The carved piece from the sides at 90 and 270 degrees, and its surface rolled out flat, angle zero at the left, "
    "lit from the upper left"
)
