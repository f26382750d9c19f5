"""The lathe as it is set up: headstock, chucks in order, what a controller moves, what a person sets, and what turns the cams."""

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


def _of_a_cam(moves: str, *ends: str) -> bool:
    """Return whether it is "cam 1" to "cam 99" with one of the ``ends`` after it.

    >>> _of_a_cam("cam 12", ""), _of_a_cam("cam 0", ""), _of_a_cam("cam 2 phase", " phase", " index")
    (True, False, True)
    """
    return re.fullmatch(f"cam [1-9][0-9]?({'|'.join(ends)})", moves) is not None


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
        The ends of its travel; infinite unless given. Of a rotary axis they are counted the way that
        `lobework.sheets.directions` calls plus, whether or not it is ``reversed``.
    steps : float
        Steps of its motor in one mm, or in one turn; zero if unspecified.
    top_speed : float, mm/s or degrees/s
        The most it can do; infinite unless given.
    acceleration : float, mm/s2 or degrees/s2
        How fast its speed may change; infinite unless given.
    reversed : bool
        Whether a rotary axis turns the other way when its controller counts up: its words in programs then have the other sign.

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
            known = self.moves in ("spindle", "x", "y", "z", "cutter") or _of_a_cam(self.moves, "")
            require(known, "moves", self.moves, "'spindle', 'x', 'y', 'z', 'cutter', or 'cam 1', 'cam 2' and so on")
            allowed = ("A", "B", "C") if self.rotary else (self.moves.upper(),)
            require(
                not known or self.letter in allowed, "letter", self.letter, " or ".join(allowed) + f" for the {self.moves} axis"
            )
            require(self.low < self.high, "high", self.high, f"above low, {self.low:g}")
            require(0 <= self.steps < math.inf, "steps", self.steps, "zero or more", "leave it out where you do not know")
            for name in ("top_speed", "acceleration"):
                given = getattr(self, name)
                require(given > 0, name, given, "above zero", "leave it out where it has no limit")
            require(isinstance(self.reversed, bool), "reversed", repr(self.reversed), "true or false")
            remedy = "plus is away from the work; turn its motor round in the controller"
            require(self.rotary or not self.reversed, "reversed", "true", f"left out of the {self.moves} slide", remedy)

    @property
    def rotary(self) -> bool:
        """Whether it turns (degrees) rather than slides (mm)."""
        return self.moves not in ("x", "y", "z")

    @property
    def sign(self) -> int:
        """What its places are multiplied by in a program: 1, or -1 where it is reversed."""
        return -1 if self.reversed else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class HandAxis:
    """What a person sets on the lathe: a slide by its screw, or what turns by the notches of a wheel.

    Parameters
    ----------
    moves : str
        "x", "y" or "z", which have a screw; or, with a wheel, "spindle", which turns the work on, or "cam 1 phase", "cam 1
        index", "cam 2 phase" and so on.
    screw : Screw, optional
        That winds a slide.
    wheel : Wheel, optional
        Whose notches or holes hold what turns.
    low, high : float, mm or degrees
        The ends of its travel; infinite unless given.

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
            known = self.moves in ("spindle", "x", "y", "z") or _of_a_cam(self.moves, " phase", " index")
            require(known, "moves", self.moves, "'x', 'y', 'z', 'spindle', or 'cam 1 phase', 'cam 1 index' and so on")
            require(self.low < self.high, "high", self.high, f"above low, {self.low:g}")
        has, lacks = ("wheel", "screw") if self.rotary else ("screw", "wheel")
        if getattr(self, has) is None:
            example = "notches = 96" if self.rotary else "screw = { lead = 2, divisions = 20 }"
            raise SettingError(f"is missing: {self.moves!r} has a {has}", has, remedy=f"write for example {example}")
        require(getattr(self, lacks) is None, lacks, getattr(self, lacks), f"left out of {self.moves!r}, which has a {has}")

    @property
    def rotary(self) -> bool:
        """Whether it turns (degrees) rather than slides (mm)."""
        return self.moves not in ("x", "y", "z")

    def measure(self, mark: Measure, lobes: int = 1) -> Measure:
        """Return how a setting is written and shown on its screw or wheel; ``lobes`` are those of the cam that it turns.

        >>> from lobework.quantities.fields import measures
        >>> from lobework.parts.slide import At
        >>> HandAxis(moves="x", screw=Screw(lead=2.54)).measure(measures(At)["x"]).beside(24.0)
        '9 turns 4.5 div of its screw'
        """
        if self.screw is not None:
            return self.screw.measure(mark)
        wheel = self.wheel
        assert wheel is not None
        return replace(wheel.measure(mark), beside=lambda phase: wheel.said(phase.in_turns(lobes)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """How the controller wants its programs written.

    Parameters
    ----------
    longest_line : int
        Characters in a line.
    slide_places : int, optional
        Decimals of the words of slides; six in mm and seven in inches unless given.
    rotary_places : int
        Decimals of the words of axes that turn, which are in degrees.
    line_numbers : bool
        Whether lines begin with their number.
    inverse_time : bool
        Whether it knows inverse time (G93), which keeps slides and what turns in step.
    comments : "parentheses", "semicolon" or "none"
        How it takes remarks.

    References
    ----------
    T. R. Kramer, F. M. Proctor, E. Messina, *The NIST RS274/NGC Interpreter - Version 3*, NISTIR 6556 (2000), 3.3: a line has
    at most 256 characters; a widespread interpreter stops at 252.

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
    hand : tuple of HandAxis
        What a person sets by a scale; no controller moves it.
    cams : tuple of CamShaft
        What turns its cams; see `cam_shaft` for those left out.
    controller : Controller
        How programs are written for it.

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
            require(above, "swing", self.swing, "above zero", "leave it out where there is no bed")
            on = isinstance(self.chucks, tuple | list) and all(isinstance(each, Mounted) for each in self.chucks)
            require(on, "chucks", self.chucks, "mounted", "put each on with lathe.mount(chuck)")
            object.__setattr__(self, "chucks", tuple(self.chucks))
            for name, kept in (("axes", Axis), ("hand", HandAxis), ("cams", CamShaft)):
                given = getattr(self, name)
                listed = isinstance(given, tuple | list) and all(isinstance(each, kept) for each in given)
                require(listed, name, repr(given), f"a tuple of {kept.__name__}")
                object.__setattr__(self, name, tuple(given))
        self._index_by_spindle()
        self._require_apart()
        self._require_turned()
        names = [mounted.name for mounted in self.chucks]
        for place, mounted in enumerate(self.chucks, 1):
            again = mounted.name in names[: place - 1]
            require(not again, f"chuck[{place}].name", repr(mounted.name), "given to one chuck only", "name the two apart")
            try:
                mounted.require_fitted(self.fittings, self.name)
                mounted.require_no_lobes()
                mounted.require_on_a_hole()
            except SettingError as error:
                raise error.replaced(where=f"chuck[{place}]{error.where and '.'}{error.where}") from None

    def _index_by_spindle(self) -> None:
        """Turn the work on by the spindle's wheel where the first chuck only holds it, and has no wheel of its own."""
        spindle, chuck = self.hand_axis("spindle"), self.chucks[0].chuck if self.chucks else None
        if spindle is not None and isinstance(chuck, PlainChuck) and chuck.wheel is None:
            first = self.chucks[0]._replace(chuck=replace(chuck, wheel=spindle.wheel))
            object.__setattr__(self, "chucks", (first, *self.chucks[1:]))

    def _require_apart(self) -> None:
        """Refuse what is moved, set or turned in two ways, and a letter of two axes."""
        _require_once("axis[].letter", (axis.letter for axis in self.axes), "given to one axis only")
        _require_once("axis[].moves", (axis.moves for axis in self.axes), "moved by one axis only")
        _require_once("hand[].moves", (each.moves for each in self.hand), "set in one way only")
        _require_once("cam[].number", (each.number for each in self.cams), "turned in one way only")
        for place, each in enumerate(self.hand, 1):
            axis = None if each.moves == "spindle" else self.axis(each.moves.removesuffix(" phase"))
            moved_by = f"axis {axis.letter} moves it" if axis else ""
            if any(each.moves.startswith(f"cam {cam.number} ") for cam in self.cams if cam.turned_by == "software"):
                moved_by = "this cam is in software only"
            require(not moved_by, f"hand[{place}].moves", repr(each.moves), "set by hand alone", f"{moved_by}; leave one out")

    def _require_turned(self) -> None:
        """Refuse a cam whose motor is no axis, or that an axis turns besides what is said to."""
        for place, cam in enumerate(self.cams, 1):
            axis = self.axis(f"cam {cam.number}")
            name, given = f"cam[{place}].turned_by", repr(cam.turned_by)
            message = f"given an axis that moves 'cam {cam.number}'"
            require(cam.turned_by != "motor" or axis, name, given, message, "add an [[axis]] table with its letter")
            if cam.turned_by == "software":
                follows = self.axis("x") or self.axis("z")
                message = "given an axis that moves 'x' or 'z', which follows its lift"
                require(follows, name, given, message, "add an [[axis]] table")
            if axis is not None:
                message = f"'motor', for axis {axis.letter} moves 'cam {cam.number}'"
                require(cam.turned_by == "motor", name, given, message, "or leave out that axis")

    def mount(self, chuck: Chuck, name: str = "") -> Lathe:
        """Return the lathe with another chuck on the outermost one; its kind is its name unless given."""
        require_part(chuck, "motions", "chuck", "a chuck such as Oval(throw=7)")
        return replace(self, chucks=(*self.chucks, Mounted(name or chuck.kind, chuck)))

    def axis(self, moves: str) -> Axis | None:
        """Return the axis that moves ``moves``, or None where the lathe has none."""
        return next((axis for axis in self.axes if axis.moves == moves), None)

    def hand_axis(self, moves: str) -> HandAxis | None:
        """Return what a person sets ``moves`` by, or None where it has no scale."""
        return next((each for each in self.hand if each.moves == moves), None)

    def on_scale(self, moves: str, mark: Measure, lobes: int = 1) -> Measure:
        """Return how a setting of what ``moves`` names is written and shown: on its scale, where it is set by hand on one."""
        hand = self.hand_axis(moves)
        return mark if hand is None else hand.measure(mark, lobes)

    def cam_shaft(self, number: int) -> CamShaft:
        """Return what turns a cam: unless the lathe says, a motor where there is an axis for it, else the spindle.

        >>> Lathe(name="bench", headstock=Headstock(sideways="slides")).cam_shaft(1).turned_by
        'spindle'
        """
        if (said := next((cam for cam in self.cams if cam.number == number), None)) is not None:
            return said
        return _unsaid(number, "motor" if self.axis(f"cam {number}") else "spindle")

    def need(self, moves: str, why: str) -> Axis:
        """Return the axis that moves ``moves``; where the lathe has none, say ``why`` it is needed."""
        if (axis := self.axis(moves)) is None:
            has = ", ".join(axis.moves for axis in self.axes) or "none"
            wound = ", which is wound by hand" if self.hand_axis(moves) is not None else ""
            raise SettingError(f"{why}, but lathe {self.name!r} has no axis that moves the {moves}{wound}; it has: {has}")
        return axis


@cache
def _unsaid(number: int, turned_by: Literal["motor", "spindle"]) -> CamShaft:
    return CamShaft(number=number, turned_by=turned_by)


def _require_once(key: str, given: Iterable[object], must_be: str) -> None:
    """Refuse what two tables of a list give for one key, such as "axis[].letter"."""
    seen: list[object] = []
    for place, each in enumerate(given, 1):
        first = seen.index(each) + 1 if each in seen else 0
        remedy = f"{key.partition('[')[0]}[{first}] has it already"
        require(not first, key.replace("[]", f"[{place}]"), repr(each), must_be, remedy)
        seen.append(each)
