"""The lathe as it is set up: headstock, chucks in order, and the axes that a controller can move."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from lobework.carriage import Headstock
from lobework.errors import SettingError, require
from lobework.kinds import Chuck, require_part
from lobework.mounting import Mounted

__all__ = ["Axis", "Lathe"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis that a controller moves.

    Parameters
    ----------
    moves : str
        What it moves: "spindle", "x", "y", "z", "cam 1", "cam 2" and so on; or "cutter", which it turns about an upright line
        through the tip, at 0 pointing along the spindle and at 90 degrees across it, from +X.
    letter : str
        Its letter in programs: X, Y, Z for slides, A, B, C for rotary axes.
    low, high : float, mm or degrees
        The ends of its travel; infinite unless given.

    Examples
    --------
    >>> Axis(moves="cam 1", letter="A").rotary
    True
    """

    moves: str
    letter: Literal["X", "Y", "Z", "A", "B", "C"]
    low: float = -math.inf
    high: float = math.inf

    def __post_init__(self) -> None:
        kind, _, number = self.moves.partition(" ")
        known = self.moves in ("spindle", "x", "y", "z", "cutter") or (
            kind == "cam" and number.isascii() and number.isdigit() and int(number) >= 1
        )
        require(known, "moves", self.moves, "'spindle', 'x', 'y', 'z', 'cutter', or 'cam 1', 'cam 2' and so on")
        allowed = ("A", "B", "C") if self.rotary else (self.moves.upper(),)
        require(self.letter in allowed, "letter", self.letter, " or ".join(allowed) + f" for the {self.moves} axis")
        require(self.low < self.high, "high", self.high, f"above low, {self.low:g}")

    @property
    def rotary(self) -> bool:
        """Whether it turns (degrees) rather than slides (mm)."""
        return self.moves not in ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lathe:
    """The ordered assembly from the bench to the work.

    Parameters
    ----------
    name : str
        For messages and sheets.
    headstock : Headstock
        How the spindle may move.
    axes : tuple of Axis
        What a controller can move; each thing moved, and each letter, once.
    chucks : tuple of Mounted
        From the spindle outwards; the work is in the last.
    fittings : tuple of str, optional
        What chucks may need of it, in the trade's words, such as "ring"; a chuck whose need is missing is refused. Where it
        is not said, none is.
    swing : float, mm
        The largest radius about the spindle that clears the bed; without end unless given.

    Examples
    --------
    >>> from lobework.chuck import EccentricChuck
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=(Axis(moves="spindle", letter="C"),))
    >>> lathe.mount(EccentricChuck(shift=3.0)).mount(EccentricChuck(shift=2.0), name="upper").chucks[1].name
    'upper'
    """

    name: str
    headstock: Headstock
    axes: tuple[Axis, ...] = ()
    chucks: tuple[Mounted, ...] = ()
    fittings: tuple[str, ...] | None = None
    swing: float = math.inf

    def __post_init__(self) -> None:
        if self.fittings is not None:
            require(not isinstance(self.fittings, str), "fittings", repr(self.fittings), "a list of names, such as ('ring',)")
            object.__setattr__(self, "fittings", tuple(self.fittings))
        above = isinstance(self.swing, int | float) and self.swing > 0
        require(above, "swing", self.swing, "above zero", "leave it out where there is no bed")
        on = all(isinstance(each, Mounted) for each in self.chucks)
        require(on, "chucks", self.chucks, "mounted", "put each on with lathe.mount(chuck)")
        for what in ("moves", "letter"):
            seen = [getattr(axis, what) for axis in self.axes]
            for given in seen:
                require(seen.count(given) == 1, f"axes.{what}", given, "given to one axis only")
        names = [mounted.name for mounted in self.chucks]
        for place, mounted in enumerate(self.chucks, 1):
            again = mounted.name in names[: place - 1]
            require(not again, f"chuck[{place}].name", repr(mounted.name), "given to one chuck only", "name the two apart")
            try:
                mounted.require_fitted(self.fittings, self.name)
                mounted.require_no_lobes()
                mounted.require_on_a_hole()
            except SettingError as error:
                raise SettingError(error.says, f"chuck[{place}]{error.where and '.'}{error.where}") from None

    def mount(self, chuck: Chuck, name: str = "") -> Lathe:
        """Return the lathe with another chuck on the outermost one; its kind is its name unless given."""
        require_part(chuck, "motions", "chuck", "a chuck such as Oval(throw=7)")
        return replace(self, chucks=(*self.chucks, Mounted(name or chuck.kind, chuck)))

    def axis(self, moves: str) -> Axis | None:
        """Return the axis that moves ``moves``, or None where the lathe has none."""
        return next((axis for axis in self.axes if axis.moves == moves), None)

    def need(self, moves: str, why: str) -> Axis:
        """Return the axis that moves ``moves``; where the lathe has none, say ``why`` it is needed."""
        if (axis := self.axis(moves)) is None:
            has = ", ".join(axis.moves for axis in self.axes) or "none"
            raise SettingError(f"{why}, but lathe {self.name!r} has no axis that moves the {moves}; it has: {has}")
        return axis
