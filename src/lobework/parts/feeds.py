"""Speeds, feeds, tolerance and clearance of a program."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from lobework.errors import require, together
from lobework.quantities.fields import Length, require_numbers

__all__ = ["Feeds"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeds:
    """Speeds, feeds, tolerance and clearance of a program.

    Parameters
    ----------
    spindle_rpm : float
        Spindle speed during cutting, revolutions per minute, above zero. Ignored if ``pace`` is "fastest".
    clear : float, mm
        Distance of the tip from the face or the side of the work while other axes are positioned.
    plunge : float, mm/min
        Speed at which the tip moves from the clearance position into the work.
    pace : "spindle", "cutter" or "fastest"
        "spindle": constant spindle speed. "cutter": constant speed ``feed`` of the cutter over the work, with ``spindle_rpm`` as
        the maximum spindle speed. "fastest": as fast as the axes of the lathe allow. If an axis reaches its limit, all axes slow
        down together.
    feed : float, mm/min
        Speed of the cutter over the work if ``pace`` is "cutter". Also used in passes in which the spindle stands still while the
        slides move.
    tolerance : float, mm
        Maximum deviation of the program from the path on the work, including all errors.
    dwell : float, s
        Time that the tip waits at full depth before the work turns.

    Examples
    --------
    >>> Feeds(spindle_rpm=4.0).clear
    5.0
    """

    spindle_rpm: float = 2.0
    clear: Length = 5.0
    plunge: Length = 60.0
    pace: Literal["spindle", "cutter", "fastest"] = "spindle"
    feed: Length = 200.0
    tolerance: Length = 0.005
    dwell: float = 0.0

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(1e-3 <= self.spindle_rpm <= 1000, "spindle_rpm", self.spindle_rpm, "from 0.001 to 1000")
            require(
                0 < self.clear < math.inf, "clear", self.clear, "above zero", "the tip must be clear of the face between cuts"
            )
            require(0.1 <= self.plunge < math.inf, "plunge", self.plunge, "0.1 mm a minute or more")
            known = self.pace in ("spindle", "cutter", "fastest")
            require(known, "pace", repr(self.pace), "'spindle', 'cutter' or 'fastest'")
            require(0.1 <= self.feed < math.inf, "feed", self.feed, "0.1 mm a minute or more")
            require(1e-4 <= self.tolerance <= 1, "tolerance", self.tolerance, "from 0.0001 to 1 mm", "use 0.005 mm for fine work")
            require(0 <= self.dwell <= 3600, "dwell", self.dwell, "zero or more seconds, at most an hour")
