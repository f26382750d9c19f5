"""Contact of the tip with the uncut work."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.carve.sweep import has_edge
from lobework.geometry.surface import Face, Round
from lobework.parts.abilities import seen_on, surface_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.motion import Motion
    from lobework.parts.protocols import Cutter, Piece

__all__ = ["contact_test", "surely_clear"]

_ALONG: Final = 257
_MARGIN_MM: Final = 0.1
"""Allowance for a greater radius of the profile between two samples."""


def contact_test(piece: Piece, cutter: Cutter, within: float) -> Callable[[Array], NDArray[np.bool_]]:
    """Return a function that finds which tip positions, (n, 3) mm, are in the uncut work or nearer to it than ``within``, mm.

    A position beside the work, beyond the reach of the cutter, is not in contact.
    """
    reach = cutter.edge.half_width if has_edge(cutter) else 0.0
    surface = surface_of(piece)
    if isinstance(surface, Round):
        radius, z = surface.profile(np.linspace(0.0, surface.length, _ALONG))[:, :2].T
        outer, least, most = float(radius.max()) + _MARGIN_MM + within, float(z.min()) - reach, float(z.max()) + reach

    def may_touch(points: Array) -> NDArray[np.bool_]:
        """Return which positions may be in contact, by their distance from the axis; non-finite positions are included."""
        clear: NDArray[np.bool_] = np.zeros(len(points), bool)
        if isinstance(surface, Round):
            clear = (np.hypot(points[:, 0], points[:, 1]) > outer) | (points[:, 2] > most) | (points[:, 2] < least)
        if isinstance(surface, Face):
            clear = np.hypot(points[:, 0], points[:, 1]) > surface.radius + reach
        return ~clear

    def in_contact(points: Array) -> NDArray[np.bool_]:
        found = may_touch(points)
        if found.any():
            found[found] = ~(seen_on(piece, points[found])[:, 2] <= -within)
        return found

    return in_contact


def surely_clear(motion: Motion, piece: Piece, tip: Array, within: float) -> NDArray[np.bool_]:
    """Return which of (n, 3) positions of the tip on its slides, mm, are clear at every angle of the spindle and the cams.

    This is known only for chucks that neither move nor tilt the work on the spindle; for others, no position counts as clear.
    """
    if motion.still is None or motion.rocks:
        return np.zeros(len(tip), bool)
    lifts = [max(abs(each) for each in push.curve.extent) * abs(push.scale) for push in (*motion.sideways, *motion.endways)]
    pushed = math.fsum(lifts)
    surface = surface_of(piece)
    if isinstance(surface, Round) and motion.cut.approach.axis == "x":
        return tip[:, 0] > motion.cut.approach.surface + pushed + abs(motion.still.across) + within
    if isinstance(surface, Face):
        return tip[:, 2] > motion.still.along + pushed + within
    return np.zeros(len(tip), bool)
