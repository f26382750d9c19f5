"""Output targets: plugins that ship with lobework, each of which writes one file from a result of a job."""

from __future__ import annotations

from typing import Final

from lobework.targets import csv, moves, page, png, relief, rs274, stl, svg, text, threemf
from lobework.targets.target import Target

__all__ = ["BUILT_IN", "Target"]

BUILT_IN: Final = (
    svg.TARGET,
    png.TARGET,
    csv.TARGET,
    rs274.TARGET,
    moves.TARGET,
    text.TARGET,
    relief.TARGET,
    page.TARGET,
    stl.TARGET,
    threemf.TARGET,
)
"""The targets that ship with lobework."""
