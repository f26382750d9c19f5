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
    """One part of an edge: a straight part or an arc.

    ``centre`` and ``radius`` are zero for a straight part; ``low`` and ``rise`` are zero for an arc.
    """

    near: float
    """Distance of the part's inner end from the centre line."""
    far: float
    """Distance of the part's outer end from the centre line."""
    low: float
    """Height of the inner end of a straight part."""
    rise: float
    """Slope of a straight part: increase of the height per mm outwards."""
    centre: float
    """Height of an arc's centre, which is on the centre line."""
    radius: float
    """Radius of an arc."""
    is_arc: bool
    """Whether the part is an arc."""
    has_corner: bool
    """Whether the edge has a corner at the part's inner end."""
