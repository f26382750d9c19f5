"""A cutter's edge in the layout of the sweep kernels: straight parts and arcs, from the centre line outwards.

The edge is symmetrical about the centre line. Lengths are in mm; heights are above the tip.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lobework.kernels.records import Records

    EdgeParts = Records["EdgePart"]

__all__ = ["EdgePart"]


class EdgePart:
    """One part of an edge: a straight one has ``low`` and ``rise``, an arc ``centre`` and ``radius``; the other two are zero."""

    near: float
    """Distance of its inner end from the centre line."""
    far: float
    """Distance of its outer end from the centre line."""
    low: float
    """Height of a straight part at its inner end."""
    rise: float
    """Slope of a straight part: its rise for each mm outwards."""
    centre: float
    """Height of an arc's centre, which is on the centre line."""
    radius: float
    """Radius of an arc."""
    is_arc: bool
    """Whether it is an arc."""
    has_corner: bool
    """Whether the edge has a corner at its inner end."""
