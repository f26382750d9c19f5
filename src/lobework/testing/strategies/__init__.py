"""Hypothesis strategies for parts, cuts, jobs and carvings; degenerate values, which are likely to cause errors, are frequent.

The package needs the extra ``lobework[testing]``.
"""

from __future__ import annotations

from lobework.testing.strategies.cuts import cuts, jobs, passes, places, rocking_cuts, sliding_cuts, travels, twists
from lobework.testing.strategies.parts import (
    LAW_NAMES,
    angles,
    bases,
    chucks,
    domes,
    drives,
    eccentrics,
    edge_cams,
    face_cams,
    followers_for,
    laws,
    lines,
    lobe_counts,
    numbers,
    ovals,
    phases,
    ratios,
    rises,
    scallops,
    settings_near,
    stacks,
    turnings,
    waves,
)
from lobework.testing.strategies.sweeps import carvings, cutters, holders_by_kind, surfaces

__all__ = [
    "LAW_NAMES",
    "angles",
    "bases",
    "carvings",
    "chucks",
    "cuts",
    "cutters",
    "domes",
    "drives",
    "eccentrics",
    "edge_cams",
    "face_cams",
    "followers_for",
    "holders_by_kind",
    "jobs",
    "laws",
    "lines",
    "lobe_counts",
    "numbers",
    "ovals",
    "passes",
    "phases",
    "places",
    "ratios",
    "rises",
    "rocking_cuts",
    "scallops",
    "settings_near",
    "sliding_cuts",
    "stacks",
    "surfaces",
    "travels",
    "turnings",
    "twists",
    "waves",
]
