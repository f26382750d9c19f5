"""The lathe: headstock, chucks, axes of the controller, axes that are set by hand, drives of the cams, and program format."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Literal

from lobework.errors import SettingError, is_whole, require, together
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.lathe.mounting import Mounted
from lobework.parts.camshaft import CamShaft
from lobework.parts.chuck import PlainChuck
from lobework.parts.headstock import Headstock
from lobework.parts.protocols import Chuck
from lobework.quantities.fields import Measure, require_numbers, require_part
from lobework.quantities.units import is_real, plain_number

__all__ = ["Axis", "Controller", "HandAxis", "Lathe"]


def _is_of_cam(moves: str, *ends: str) -> bool:
    """Return whether the name ``moves`` is "cam 1" to "cam 99" followed by one of the endings ``ends``.

    >>> _is_of_cam("cam 12", ""), _is_of_cam("cam 0", ""), _is_of_cam("cam 2 phase", " phase", " index")
    (True, False, True)
    """
    return re.fullmatch(f"cam [1-9][0-9]?({'|'.join(ends)})", moves) is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One axis of the controller.

    Parameters
    ----------
    moves : str
        What the axis moves: "spindle", "x", "y", "z", "cam 1", "cam 2" and so on; or "cutter". An axis that moves the cutter
        turns it about a vertical line through the tip: at 0 degrees the shank is parallel to the spindle, at 90 degrees it is
        perpendicular to the spindle, towards +X.
    letter : str
        Address letter in programs: X, Y, Z for slides, A, B, C for rotary axes.
    low, high : float, mm or degrees
        The ends of the travel. Default: unlimited. The ends of a rotary axis are measured in the direction that
        `lobework.sheets.directions` defines as positive, even if the axis is ``reversed``.
    steps : float
        Steps of the motor per mm for a slide, or per turn for a rotary axis; zero if unspecified.
    top_speed : float, mm/s or degrees/s
        Maximum speed. Default: unlimited.
    acceleration : float, mm/s2 or degrees/s2
        Maximum acceleration. Default: unlimited.
    reversed : bool
        Whether increasing numbers in the controller turn a rotary axis in the negative direction; in programs the numbers of this
        axis then have the opposite sign.

    Examples
    --------
    >>> Axis(moves="cam 1", letter="A").rotary, Axis(moves="spindle", letter="C", reversed=True).sign
    (True, -1)
    """

    moves: str
    letter: Literal["X", "Y", "Z", "A", "B", "C"]
    low: float = -math.inf
    high: float = math.inf
    steps: float = 0.0
    top_speed: float = math.inf
    acceleration: float = math.inf
    reversed: bool = False

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            known = self.moves in ("spindle", "x", "y", "z", "cutter") or _is_of_cam(self.moves, "")
            require(known, "moves", self.moves, "'spindle', 'x', 'y', 'z', 'cutter', or 'cam 1', 'cam 2' and so on")
            allowed = ("A", "B", "C") if self.rotary else (self.moves.upper(),)
            require(
                not known or self.letter in allowed, "letter", self.letter, " or ".join(allowed) + f" for the {self.moves} axis"
            )
            require(self.low < self.high, "high", self.high, f"above low, {self.low:g}")
            require(0 <= self.steps < math.inf, "steps", self.steps, "zero or more", "leave it out if the number is unknown")
            for name in ("top_speed", "acceleration"):
                given = getattr(self, name)
                require(given > 0, name, given, "above zero", "leave it out if the axis has no limit")
            require(isinstance(self.reversed, bool), "reversed", repr(self.reversed), "true or false")
            remedy = "a slide's positive direction is always away from the work; reverse its motor in the controller"
            require(self.rotary or not self.reversed, "reversed", "true", f"left out for the {self.moves} slide", remedy)

    @property
    def rotary(self) -> bool:
        """Whether the axis is rotary (degrees) rather than linear (mm)."""
        return self.moves not in ("x", "y", "z")

    @property
    def sign(self) -> int:
        """Sign of the axis's positions in a program: 1, or -1 if the axis is reversed."""
        return -1 if self.reversed else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class HandAxis:
    """An axis that is set by hand: a slide with a screw, or a rotary setting with a dividing wheel.

    Parameters
    ----------
    moves : str
        With a screw: "x", "y" or "z". With a wheel: "spindle", "cam 1 phase", "cam 1 index", "cam 2 phase" and so on.
    screw : Screw, optional
        Lead screw of a slide.
    wheel : Wheel, optional
        Dividing wheel of a rotary setting.
    low, high : float, mm or degrees
        The ends of the travel. Default: unlimited.

    Examples
    --------
    >>> HandAxis(moves="x", screw=Screw(lead=2.54)).rotary
    False
    """

    moves: str
    screw: Screw | None = None
    wheel: Wheel | None = None
    low: float = -math.inf
    high: float = math.inf

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            for name, kept, example in (("screw", Screw, "Screw(lead=2.54)"), ("wheel", Wheel, "Wheel([96])")):
                given = getattr(self, name)
                require(given is None or isinstance(given, kept), name, repr(given), f"a {kept.__name__}, such as {example}")
            known = self.moves in ("spindle", "x", "y", "z") or _is_of_cam(self.moves, " phase", " index")
            require(known, "moves", self.moves, "'x', 'y', 'z', 'spindle', or 'cam 1 phase', 'cam 1 index' and so on")
            require(self.low < self.high, "high", self.high, f"above low, {self.low:g}")
        has, lacks = ("wheel", "screw") if self.rotary else ("screw", "wheel")
        if getattr(self, has) is None:
            example = "notches = 96" if self.rotary else "screw = { lead = 2, divisions = 20 }"
            raise SettingError(
                f"is missing: a hand axis for {self.moves!r} needs a {has}", has, remedy=f"write for example {example}"
            )
        require(getattr(self, lacks) is None, lacks, getattr(self, lacks), f"left out for {self.moves!r}, which has a {has}")

    @property
    def rotary(self) -> bool:
        """Whether the axis is rotary (degrees) rather than linear (mm)."""
        return self.moves not in ("x", "y", "z")

    def measure(self, mark: Measure, lobes: int = 1) -> Measure:
        """Return the measure of a setting in turns of the screw or holes of the wheel.

        For a cam, ``lobes`` is its number of lobes.

        >>> from lobework.quantities.fields import measures
        >>> from lobework.parts.slide import At
        >>> HandAxis(moves="x", screw=Screw(lead=2.54)).measure(measures(At)["x"]).also_shown(24.0)
        '9 turns 4.5 div of its screw'
        """
        if self.screw is not None:
            return self.screw.measure(mark)
        wheel = self.wheel
        assert wheel is not None
        return replace(wheel.measure(mark), also_shown=lambda phase: wheel.setting_text(phase.in_turns(lobes)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """The format of programs for the controller.

    Parameters
    ----------
    longest_line : int
        Maximum number of characters in a line.
    slide_places : int, optional
        Number of decimals for linear axes. Default: six in mm, seven in inches.
    rotary_places : int
        Number of decimals for rotary axes, whose positions are in degrees.
    line_numbers : bool
        Whether each line begins with its number.
    inverse_time : bool
        Whether the controller supports inverse-time feed (G93), in which linear and rotary axes move in step.
    comments : "parentheses", "semicolon" or "none"
        Syntax of comments.

    References
    ----------
    T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter - Version 3*, NISTIR 6556 (2000), 3.3: a line has
    at most 256 characters; a widespread interpreter accepts only 252.

    Examples
    --------
    >>> Controller().longest_line
    250
    """

    longest_line: int = 250
    slide_places: int | None = None
    rotary_places: int = 6
    line_numbers: bool = False
    inverse_time: bool = True
    comments: Literal["parentheses", "semicolon", "none"] = "parentheses"

    def __post_init__(self) -> None:
        with together():
            require_numbers(self)
            require(is_whole(self.longest_line, 40, 10_000), "longest_line", self.longest_line, "a whole number, 40 to 10000")
            for name in ("slide_places", "rotary_places"):
                given = getattr(self, name)
                usual = given is None and name == "slide_places"
                require(usual or is_whole(given, 1, 12), name, given, "a whole number of decimals, 1 to 12")
            known = self.comments in ("parentheses", "semicolon", "none")
            require(known, "comments", repr(self.comments), "'parentheses', 'semicolon' or 'none'")


@dataclass(frozen=True, slots=True, kw_only=True)
class Lathe:
    """A lathe: the assembly from the bench to the work.

    Parameters
    ----------
    name : str
        Name of the lathe for messages and sheets.
    headstock : Headstock
        The headstock and its movements.
    axes : tuple of Axis
        Axes of the controller; no two axes may have the same ``letter`` or the same ``moves``.
    chucks : tuple of Mounted
        Chucks, from the spindle outwards; the work is in the last one.
    fittings : tuple of str, optional
        Fittings of the lathe for chucks, such as "ring"; a chuck that needs a fitting not in this list is refused. Default: the
        fittings are not checked.
    swing : float, mm
        Maximum distance of the work from the spindle axis at which the work clears the bed. Default: unlimited.
    hand : tuple of HandAxis
        Axes that are set by hand.
    cams : tuple of CamShaft
        Drives of the cams; for a cam that is not listed, see `cam_shaft`.
    controller : Controller
        The format of programs.

    Examples
    --------
    >>> from lobework.parts.chuck import EccentricChuck
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
    hand: tuple[HandAxis, ...] = ()
    cams: tuple[CamShaft, ...] = ()
    controller: Controller = Controller()

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            name: str,
            headstock: Headstock,
            axes: Iterable[Axis] = ...,
            chucks: Iterable[Mounted] = ...,
            fittings: Iterable[str] | None = ...,
            swing: float = ...,
            hand: Iterable[HandAxis] = ...,
            cams: Iterable[CamShaft] = ...,
            controller: Controller = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            if self.fittings is not None:
                require(not isinstance(self.fittings, str), "fittings", repr(self.fittings), "a list of names, such as ('ring',)")
                object.__setattr__(self, "fittings", tuple(self.fittings))
            object.__setattr__(self, "swing", plain_number(self.swing))
            above = is_real(self.swing) and self.swing > 0
            require(above, "swing", self.swing, "above zero", "leave it out if there is no bed")
            on = isinstance(self.chucks, tuple | list) and all(isinstance(each, Mounted) for each in self.chucks)
            require(on, "chucks", self.chucks, "a tuple of Mounted", "mount each chuck with lathe.mount(chuck)")
            object.__setattr__(self, "chucks", tuple(self.chucks))
            for name, kept in (("axes", Axis), ("hand", HandAxis), ("cams", CamShaft)):
                given = getattr(self, name)
                listed = isinstance(given, tuple | list) and all(isinstance(each, kept) for each in given)
                require(listed, name, repr(given), f"a tuple of {kept.__name__}")
                object.__setattr__(self, name, tuple(given))
        self._index_by_spindle()
        self._require_unique()
        self._require_cam_drives()
        names = [mounted.name for mounted in self.chucks]
        for place, mounted in enumerate(self.chucks, 1):
            again = mounted.name in names[: place - 1]
            require(not again, f"chuck[{place}].name", repr(mounted.name), "given to one chuck only", "give them different names")
            try:
                mounted.require_fitted(self.fittings, self.name)
                mounted.require_no_lobes()
                mounted.require_on_a_hole()
            except SettingError as error:
                raise error.replaced(where=f"chuck[{place}]{error.where and '.'}{error.where}") from None

    def _index_by_spindle(self) -> None:
        """Give the spindle's dividing wheel to the first chuck, if the first chuck is a plain chuck without a wheel."""
        spindle, chuck = self.hand_axis("spindle"), self.chucks[0].chuck if self.chucks else None
        if spindle is not None and isinstance(chuck, PlainChuck) and chuck.wheel is None:
            first = self.chucks[0]._replace(chuck=replace(chuck, wheel=spindle.wheel))
            object.__setattr__(self, "chucks", (first, *self.chucks[1:]))

    def _require_unique(self) -> None:
        """Refuse anything that is moved, set or turned by two devices, and a letter that is used for two axes."""
        _require_once("axis[].letter", (axis.letter for axis in self.axes), "given to one axis only")
        _require_once("axis[].moves", (axis.moves for axis in self.axes), "moved by one axis only")
        _require_once("hand[].moves", (each.moves for each in self.hand), "set by one hand axis only")
        _require_once("cam[].number", (each.number for each in self.cams), "used for one cam only")
        for place, each in enumerate(self.hand, 1):
            axis = None if each.moves == "spindle" else self.axis(each.moves.removesuffix(" phase"))
            moved_by = f"axis {axis.letter} moves it" if axis else ""
            if any(each.moves.startswith(f"cam {cam.number} ") for cam in self.cams if cam.turned_by == "software"):
                moved_by = "this cam exists only in software"
            require(
                not moved_by,
                f"hand[{place}].moves",
                repr(each.moves),
                "set only by hand",
                f"{moved_by}; leave out one of the two",
            )

    def _require_cam_drives(self) -> None:
        """Refuse a cam with a motor but without an axis, and a cam with an axis but without a motor."""
        for place, cam in enumerate(self.cams, 1):
            axis = self.axis(f"cam {cam.number}")
            name, given = f"cam[{place}].turned_by", repr(cam.turned_by)
            message = f"combined with an axis that moves 'cam {cam.number}'"
            require(cam.turned_by != "motor" or axis, name, given, message, "add an [[axis]] table for this cam")
            if cam.turned_by == "software":
                follows = self.axis("x") or self.axis("z")
                message = "combined with an axis that moves 'x' or 'z', to follow the cam's lift"
                require(follows, name, given, message, "add an [[axis]] table")
            if axis is not None:
                message = f"'motor', because axis {axis.letter} moves 'cam {cam.number}'"
                require(cam.turned_by == "motor", name, given, message, "or leave out that axis")

    def mount(self, chuck: Chuck, name: str = "") -> Lathe:
        """Return the lathe with a chuck added outside the present chucks; the default name of the chuck is its kind."""
        require_part(chuck, "motions", "chuck", "a chuck such as Oval(throw=7)")
        return replace(self, chucks=(*self.chucks, Mounted(name or chuck.kind, chuck)))

    def axis(self, moves: str) -> Axis | None:
        """Return the axis with this ``moves``, such as "x" or "cam 1"; None if there is none."""
        return next((axis for axis in self.axes if axis.moves == moves), None)

    def hand_axis(self, moves: str) -> HandAxis | None:
        """Return the hand axis with this ``moves``, such as "x" or "cam 1 index"; None if there is none."""
        return next((each for each in self.hand if each.moves == moves), None)

    def on_scale(self, moves: str, mark: Measure, lobes: int = 1) -> Measure:
        """Return the measure of a setting.

        If there is a hand axis with this ``moves``, the measure is in turns of its screw or holes of its wheel.
        """
        hand = self.hand_axis(moves)
        return mark if hand is None else hand.measure(mark, lobes)

    def cam_shaft(self, number: int) -> CamShaft:
        """Return the drive of a cam.

        A cam that is not listed in ``cams`` is driven by a motor if it has an axis, else by the spindle.

        >>> Lathe(name="bench", headstock=Headstock(sideways="slides")).cam_shaft(1).turned_by
        'spindle'
        """
        if (found := next((cam for cam in self.cams if cam.number == number), None)) is not None:
            return found
        return _default_cam_shaft(number, "motor" if self.axis(f"cam {number}") else "spindle")

    def need(self, moves: str, why: str) -> Axis:
        """Return the axis with this ``moves``, such as "x" or "cam 1".

        If there is none, raise an error that states the reason ``why`` the axis is needed.
        """
        if (axis := self.axis(moves)) is None:
            has = ", ".join(axis.moves for axis in self.axes) or "none"
            wound = ", which is set by hand" if self.hand_axis(moves) is not None else ""
            problem = f"{why}, but lathe {self.name!r} has no axis that moves the {moves}{wound}"
            raise SettingError(problem, remedy=f"its axes move: {has}")
        return axis


@cache
def _default_cam_shaft(number: int, turned_by: Literal["motor", "spindle"]) -> CamShaft:
    return CamShaft(number=number, turned_by=turned_by)


def _require_once(key: str, given: Iterable[object], must_be: str) -> None:
    """Refuse a value that two tables of a list have for the same key, such as "axis[].letter"."""
    seen: list[object] = []
    for place, each in enumerate(given, 1):
        first = seen.index(each) + 1 if each in seen else 0
        remedy = f"{key.partition('[')[0]}[{first}] has it already"
        require(not first, key.replace("[]", f"[{place}]"), repr(each), must_be, remedy)
        seen.append(each)
