"""Samples of the cutters, with the widths of their grooves in closed form."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from lobework.parts.cutter import Ball, FlatEnd, Pen, Profiled, RoundNosed, Vee
from lobework.parts.holder import CuttingFrame, EccentricFrame, FixedTool
from lobework.plugins.sample import ExpectedValue, Sample

if TYPE_CHECKING:
    from collections.abc import Callable

    from lobework.parts.protocols import Cutter

__all__ = ["CUTTERS"]


def _widths(*depths: float) -> Callable[[Cutter], list[float]]:
    return lambda cutter: [cutter.width_at(depth) for depth in depths]


CUTTERS: Final = (
    Sample(
        Vee(angle_deg=60.0, width=3.0),
        known=[
            ExpectedValue(
                _widths(0.0, 1.0, 9.0), [0.0, 2 / math.sqrt(3), 3.0], "closed form: 2 d tan(angle / 2), up to the full width"
            )
        ],
    ),
    Sample(Vee(angle_deg=90.0, width=2.0, holder=CuttingFrame(radius=20.0, angle_deg=25.0))),
    Sample(
        Ball(radius=1.5, holder=EccentricFrame(radius=2.5)),
        known=[ExpectedValue(_widths(0.0, 0.3, 1.5, 4.0), [0.0, 1.8, 3.0, 3.0], "closed form: the chord 2 sqrt(2 r d - d^2)")],
    ),
    Sample(
        FlatEnd(width=2.0, holder=FixedTool()),
        known=[ExpectedValue(_widths(0.0, 0.1, 3.0), [2.0, 2.0, 2.0], "the definition: a constant width")],
    ),
    Sample(
        RoundNosed(radius=0.5, angle_deg=60.0, width=3.0),
        known=[
            ExpectedValue(
                _widths(0.25, 0.75),
                [2 * math.sqrt(0.25 - 0.0625), 2 * (0.5 * math.cos(math.pi / 6) + 0.5 * math.tan(math.pi / 6))],
                "closed form: the chord of the nose, then flanks tangent to the nose",
            )
        ],
    ),
    Sample(
        Profiled(points=((0.0, 0.0), (0.5, 0.0), (1.5, 2.0))),
        known=[
            ExpectedValue(_widths(0.0, 1.0, 2.0, 5.0), [1.0, 2.0, 3.0, 3.0], "the definition: straight lines between the points")
        ],
    ),
    Sample(Pen(line=0.4), known=[ExpectedValue(_widths(0.0, 2.0), [0.4, 0.4], "the definition: the same width at any depth")]),
)
"""Samples of the built-in cutters."""
