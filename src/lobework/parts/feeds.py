"""How fast a program goes, how truly, and how far clear it stands off between cuts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from lobework.errors import require, together
from lobework.quantities.fields import Length, require_numbers

__all__ = ["Feeds"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeds:
    """How fast the program goes, how truly, and how far clear it stands off between cuts.

    Parameters
    ----------
    spindle_rpm : float
        Turns of the spindle in a minute while it cuts; above zero. Not asked of the fastest pace.
    clear : float, mm
        Where the tip stands while anything else moves, out from the face of the work or from its side.
    plunge : float, mm a minute
        How fast the tip goes from there into the work.
    pace : "spindle", "cutter" or "fastest"
        The spindle turns evenly; or the cutter goes evenly over the work, by ``feed``, the spindle no faster than its speed; or
        everything goes as fast as the lathe's axes can. Wherever an axis cannot follow, all slow down together.
    feed : float, mm a minute
        Of the cutter over the work; also where the spindle stands still while the slides go.
    tolerance : float, mm
        How far the program may stray from the path on the work, everything included.
    dwell : float, s
        How long the tip waits, once it is in, before the work turns.

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
            require(0 < self.clear < math.inf, "clear", self.clear, "above zero", "stand off the face between cuts")
            require(0.1 <= self.plunge < math.inf, "plunge", self.plunge, "0.1 mm a minute or more")
            known = self.pace in ("spindle", "cutter", "fastest")
            require(known, "pace", repr(self.pace), "'spindle', 'cutter' or 'fastest'")
            require(0.1 <= self.feed < math.inf, "feed", self.feed, "0.1 mm a minute or more")
            require(1e-4 <= self.tolerance <= 1, "tolerance", self.tolerance, "from 0.0001 to 1 mm", "0.005 mm is fine work")
            require(0 <= self.dwell <= 3600, "dwell", self.dwell, "zero or more seconds, at most an hour")
