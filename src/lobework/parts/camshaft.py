"""The rotary drive of a cam: the spindle, change wheels or a separate motor.

A software cam has no drive, only a computed lift.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from lobework.errors import SettingError, is_whole, require, together
from lobework.gearing.change_wheels import MOST_PAIRS, Train, train_for
from lobework.gearing.ratios import RealRatio, of_percent
from lobework.quantities.units import format_number, plain_number

__all__ = ["CamShaft"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CamShaft:
    """The rotary drive of a cam.

    Parameters
    ----------
    number : int
        Number of the cam, 1, 2 and so on: its position in the list of cams of a pass.
    turned_by : "spindle", "gears", "motor" or "software"
        "spindle": locked to the spindle. "gears": driven from the spindle by change wheels. "motor": a separate motor, which is
        an axis of the controller. "software": there is no physical cam, and a slide follows the computed lift.
    wheels : tuple of int
        Only for gears: number of teeth of each change wheel that you own. If you own two wheels with the same number, list the
        number twice.
    pairs : int
        Only for gears: maximum number of pairs of wheels that the lathe has room for.
    percent_places : int, optional
        Number of decimals of the percentage. Only for a motor whose control takes the ratio as a percentage.

    Examples
    --------
    >>> CamShaft(number=1, turned_by="gears", wheels=(20, 30, 40, 60)).pairs
    2
    """

    number: int
    turned_by: Literal["spindle", "gears", "motor", "software"]
    wheels: tuple[int, ...] = ()
    pairs: int = 2
    percent_places: int | None = None

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            number: int,
            turned_by: Literal["spindle", "gears", "motor", "software"],
            wheels: Iterable[int] = ...,
            pairs: int = ...,
            percent_places: int | None = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            listed = isinstance(self.wheels, tuple | list)
            require(listed, "wheels", repr(self.wheels), "a list of teeth, such as [20, 30, 40, 60]")
            object.__setattr__(self, "wheels", tuple(map(plain_number, self.wheels)))
            for name in ("number", "pairs", "percent_places"):
                object.__setattr__(self, name, plain_number(getattr(self, name)))
            require(is_whole(self.number, 1, 99), "number", self.number, "1, 2 and so on, in the order of the cams of a pass")
            known = self.turned_by in ("spindle", "gears", "motor", "software")
            require(known, "turned_by", repr(self.turned_by), "'spindle', 'gears', 'motor' or 'software'")
            by_gears = self.turned_by == "gears" or not self.wheels or not known
            require(by_gears, "wheels", list(self.wheels), "left out unless gears turn the cam")
            require(len(self.wheels) != 1, "wheels", list(self.wheels), "two wheels or more, such as [20, 30, 40, 60]")
            toothed = all(is_whole(each, 2, 10_000) for each in self.wheels)
            require(toothed, "wheels", list(self.wheels), "whole numbers of teeth, 2 to 10000")
            require(is_whole(self.pairs, 1, MOST_PAIRS), "pairs", self.pairs, f"a whole number, 1 to {MOST_PAIRS}")
            if self.percent_places is not None:
                by_motor = self.turned_by == "motor" and is_whole(self.percent_places, 0, 12)
                message = "a whole number, 0 to 12" if self.turned_by == "motor" else "left out unless a motor turns the cam"
                require(by_motor or not known, "percent_places", self.percent_places, message)
            if self.turned_by == "gears" and not self.wheels:
                remedy = "write the numbers of teeth, such as [20, 30, 40, 60]"
                raise SettingError("is missing: gears need a list of wheels", "wheels", remedy=remedy)

    def train(self, ratio: Fraction) -> Train:
        """Return the cheapest train of the owned wheels whose ratio is exactly ``ratio``.

        Raises
        ------
        SettingError
            If there is no such train; the message contains the nearest train and its error.

        Examples
        --------
        >>> shaft = CamShaft(number=1, turned_by="gears", wheels=(20, 30, 40, 60))
        >>> print(shaft.train(Fraction(-1, 2)))
        20 drives 40
        >>> shaft.train(Fraction(3, 7))
        Traceback (most recent call last):
        lobework.errors.SettingError: 3/7 must be a ratio that 2 pairs of the wheels 20, 30, 40, 60 make exactly; the nearest is
            4/9, 20 drives 30, 40 drives 60: 3.704 % fast, so the cam gains 5.714 degrees in each turn of the spindle
        """
        owned = f"{_pairs(self.pairs)} of the wheels {', '.join(map(str, sorted(self.wheels)))}"
        if not ratio:
            remedy = "to hold the cam still, take a wheel off and lock the cam"
            raise SettingError(given="0", must_be="a ratio that gears make, such as 1/2", remedy=remedy)
        train = _train_for(ratio, self.wheels, self.pairs)
        if off := train.relative_error(ratio):
            part, degrees = (format_number(abs(float(each)), 3) for each in (off * 100, off * ratio * 360))
            fast, does = ("fast", "gains") if off > 0 else ("slow", "loses")
            nearest = f"{'-' if ratio < 0 else ''}{train.ratio}, {train}"
            remedy = f"the nearest is {nearest}: {part} % {fast}, so the cam {does} {degrees} degrees in each turn of the spindle"
            raise SettingError(given=f"{ratio}", must_be=f"a ratio that {owned} make exactly", remedy=remedy)
        return train

    def percent(self, ratio: Fraction) -> RealRatio | None:
        """Return the actual ratio of a motor whose control takes the ratio as a percentage.

        For other drives, or a ratio of zero, the result is None.

        >>> float(CamShaft(number=1, turned_by="motor", percent_places=2).percent(Fraction(2, 3)).actual)
        0.6667
        """
        return None if self.percent_places is None or not ratio else of_percent(ratio, self.percent_places)

    def idlers(self, ratio: Fraction) -> str:
        """Return as text whether an idle wheel is needed for the direction of rotation that the ratio requires.

        Each pair of wheels reverses the direction of rotation; an idle wheel between the wheels of a pair prevents the reversal.

        >>> shaft = CamShaft(number=1, turned_by="gears", wheels=(20, 30, 40, 60))
        >>> shaft.idlers(Fraction(1, 2)), shaft.idlers(Fraction(-1, 2))
        ('one idle wheel: the cam turns in the direction of the spindle', 'no idle wheel: the cam turns against the spindle')
        """
        with_spindle = ratio > 0
        direction = "in the direction of the spindle" if with_spindle else "against the spindle"
        if (self.train(ratio).pairs % 2 == 0) == with_spindle:
            return f"no idle wheel: the cam turns {direction}"
        return f"one idle wheel: the cam turns {direction}"


_train_for = lru_cache(maxsize=256)(train_for)


def _pairs(count: int) -> str:
    return "1 pair" if count == 1 else f"{count} pairs"
