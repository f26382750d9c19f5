"""Twist: a change of a cam's phase along the work, so that the pattern winds round the work."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from lobework.errors import SettingError, require, together
from lobework.quantities.fields import Length, Turning, require_numbers
from lobework.quantities.units import Phase, Written, format_phase, ratio

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Twist"]

_FURTHEST_MM = 1e6
_MOST_TURNS = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Twist:
    """A change of a cam's phase relative to the spindle, along the work or from turn to turn.

    Parameters
    ----------
    angle : Phase, or what `lobework.quantities.units.phase` reads
        Total change of the phase; a negative change turns the cam backwards.
    over : float, mm
        Length along the work, towards the headstock, over which the phase changes by ``angle``. The phase then depends only on
        the position along the work, so that rings, helices and longitudinal passes match.
    turns : Fraction, or what `lobework.quantities.units.ratio` reads
        Number of spindle turns in which the phase changes by ``angle``, counted from the beginning of each pass. Give
        either this number or ``over``.
    start : float, mm
        Position z at which the change begins.
    ease : Fraction, or what `lobework.quantities.units.ratio` reads
        Fraction of the length at each end over which the rate of change rises linearly from zero, or falls linearly to zero.
        Beyond both ends the phase is then constant. If ``ease`` is zero, the rate is constant, beyond both ends too.

    Examples
    --------
    >>> winding = Twist(angle="60 deg", over=50.0, ease="1/4")
    >>> winding.eased_share(np.array([-1.0, 0.0, 0.25, 0.5, 1.0, 2.0])).round(6).tolist()
    [0.0, 0.0, 0.166667, 0.5, 1.0, 1.0]
    """

    angle: Turning
    over: Length | None = None
    turns: Fraction | None = None
    start: Length = 0.0
    ease: Fraction = Fraction(0)

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            angle: Phase | Written,
            over: float | None = ...,
            turns: Written | None = ...,
            start: float = ...,
            ease: Written = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            object.__setattr__(self, "angle", Phase.of(self.angle))
            object.__setattr__(self, "ease", ratio(self.ease))
            if self.turns is not None:
                object.__setattr__(self, "turns", ratio(self.turns))
            if (self.over is None) == (self.turns is None):
                given = "neither over nor turns is" if self.over is None else "both over and turns are"
                remedy = "write either over (a length) or turns (of the spindle)"
                raise SettingError(f"{given} given", remedy=remedy)
            if self.over is not None:
                require(isinstance(self.over, int | float), "over", repr(self.over), "a plain number, in mm")
                require(
                    0 < self.over <= _FURTHEST_MM,
                    "over",
                    self.over,
                    "a length above zero",
                    "to reverse the twist, write a negative angle",
                )
            if self.turns is not None:
                require(
                    0 < self.turns <= _MOST_TURNS,
                    "turns",
                    self.turns,
                    "above zero",
                    "to reverse the twist, write a negative angle",
                )
                require(
                    not self.start,
                    "from",
                    self.start,
                    "left out if turns is given, because turns count from the beginning of the pass",
                )
            much = max(abs(self.angle.turns), abs(self.angle.lobes)) > _MOST_TURNS
            require(not much, "angle", format_phase(self.angle), f"at most {_MOST_TURNS} turns or lobes of the cam")
            require(abs(self.start) <= _FURTHEST_MM, "from", self.start, "a length within a kilometre")
            require(0 <= self.ease <= Fraction(1, 2), "ease", self.ease, "the fraction of the length at each end, 0 to 1/2")

    def degrees(self, lobes: int) -> float:
        """Return the total angle, degrees, for a cam with ``lobes`` lobes."""
        return float(self.angle.in_degrees(lobes))

    def share_along(self, z: Array) -> Array:
        """Return positions ``z``, (n,) mm, as fractions of the twisted length: 0 at the start of the twist, 1 at its end."""
        assert self.over is not None
        gone: Array = (self.start - z) / self.over
        return gone

    def eased_share(self, share: Array) -> Array:
        """Return the fractions of the angle at (n,) fractions of the length; `share_along` returns fractions of the length."""
        if not self.ease:
            return share
        ease = float(self.ease)
        quickest = 1 / (1 - ease)
        ended = 1 - np.clip(1 - share, 0.0, ease) ** 2 / (2 * ease) * quickest
        begun = np.clip(share, 0.0, ease) ** 2 / (2 * ease) * quickest
        return np.where(share < ease, begun, np.where(share > 1 - ease, ended, (share - ease / 2) * quickest))

    @property
    def joins(self) -> tuple[float, ...]:
        """The fractions of the length at which the parabolic and linear pieces of the phase meet."""
        ease = float(self.ease)
        return (0.0, ease, 1 - ease, 1.0) if ease else ()
