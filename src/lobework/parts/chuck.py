"""Chucks that stand between spindle and work, and shift, slide, tilt or turn it again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from lobework.errors import require, together
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.geometry.rigid import Rigid
from lobework.parts.protocols import ChuckSlide
from lobework.quantities.fields import Angle, Length, Turning, require_numbers
from lobework.quantities.units import Phase, Written, ratio

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["Dome", "EccentricChuck", "Oval", "PlainChuck", "StraightLine"]


def _settle(chuck: Any, *lengths: str) -> None:
    """Take what people may give for an index, and refuse what no such chuck can be set to."""
    require_numbers(chuck)
    object.__setattr__(chuck, "index", Phase.of(chuck.index))
    for name, kept in (("screw", Screw), ("wheel", Wheel)):
        given = getattr(chuck, name, None)
        require(given is None or isinstance(given, kept), name, repr(given), f"a {kept.__name__}, or left out")
    for name in lengths:
        require(math.isfinite(getattr(chuck, name)), name, getattr(chuck, name), "a finite length")
    if hasattr(chuck, "travel"):
        require(chuck.travel > 0, "travel", chuck.travel, "above zero", "leave it out where the slide has no end")


def _require_reached(chuck: Any, name: str, length: float) -> None:
    """Refuse a slide set past its end."""
    if abs(length) > chuck.travel:
        wound = f" ({chuck.screw.said(chuck.travel)})" if chuck.screw is not None else ""
        require(False, name, getattr(chuck, name), f"within the travel of its slide, {chuck.travel:g} mm{wound} to either side")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainChuck:
    """A chuck that holds the work true, and may be indexed.

    Parameters
    ----------
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the work is turned on by the index wheel, counterclockwise seen from the cutter.
    wheel : Wheel, optional
        The index wheel, with its circles of holes.

    Examples
    --------
    >>> PlainChuck().motions(np.zeros(1)).shift
    array([[0., 0., 0.]])
    """

    kind: ClassVar[str] = "plain"
    is_dynamic: ClassVar[bool] = False
    index: Turning = Phase()
    wheel: Wheel | None = None

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            index: Phase | Written = ...,
            wheel: Wheel | None = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        _settle(self)

    def motions(self, theta: Array) -> Rigid:
        """Return the indexing turn, the same at every spindle angle: one rigid motion for (n,) rad."""
        return Rigid.turn(self.index.in_radians())


@dataclass(frozen=True, slots=True, kw_only=True)
class EccentricChuck:
    """A slide that carries the work off the axis, and on it a wheel that turns the work.

    Parameters
    ----------
    shift : float, mm
        How far the slide is wound out.
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the wheel on the slide is turned on.
    travel : float, mm
        How far the slide goes to either side of the axis; without end unless given.
    screw : Screw, optional
        What winds the slide.
    wheel : Wheel, optional
        The wheel on the slide, with its circles of holes.

    References
    ----------
    J. H. Ibbetson, *Specimens in Eccentric Circular Turning*, Specimen X, pp. 168-169: two of these, one on
    the other, lay 96 circles on a limacon.

    Examples
    --------
    >>> EccentricChuck(shift=16.0).motions(np.zeros(1)).shift
    array([[16.,  0.,  0.]])
    """

    kind: ClassVar[str] = "eccentric"
    is_dynamic: ClassVar[bool] = False
    shift: Length
    index: Turning = Phase()
    travel: Length = math.inf
    screw: Screw | None = None
    wheel: Wheel | None = None

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            shift: float,
            index: Phase | Written = ...,
            travel: float = ...,
            screw: Screw | None = ...,
            wheel: Wheel | None = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            _settle(self, "shift")
        _require_reached(self, "shift", self.shift)

    def motions(self, theta: Array) -> Rigid:
        """Return shift, then index, the same at every spindle angle: one rigid motion for (n,) rad."""
        return Rigid.move(x=self.shift) @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return where the slide stands, mm."""
        return (ChuckSlide("slide", np.array([self.shift]), -self.travel, self.travel),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Oval:
    """The oval chuck: the work slides to and fro as the spindle turns, so a fixed point cuts an ellipse.

    Where the ring goes to and fro as well, it cuts Cayley's quartics: the slide stands at
    ``(throw + swing cos(swings theta + swing_phase)) cos(theta - ring_angle)``.

    Parameters
    ----------
    throw : float, mm
        How far the ring's centre stands off the axis. The half axes of every ellipse differ by it; for a cutter
        within the circle that has the throw as its diameter, they add up to it.
    ring_angle_deg : float, degrees
        Direction in which the ring is set off, from +X towards +Y.
    swing : float, mm
        How far the ring goes to either side of where it is set, driven by the spindle; 0 where it stands still.
    swings : Fraction, or what `lobework.quantities.units.ratio` reads
        How many times it goes there and back in one turn of the spindle.
    swing_phase : Phase, or what `lobework.quantities.units.phase` reads
        How far round its own way the ring is when the pass begins; at 0 it stands furthest out.
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the wheel on the slide is turned on.
    travel : float, mm
        How far the slide goes to either side of the axis; without end unless given.
    screw : Screw, optional
        What sets the ring.
    wheel : Wheel, optional
        The wheel on the slide, with its circles of holes.

    References
    ----------
    A. Cayley, "On the mechanical description of certain quartic curves by a modified oval chuck",
    Proc. London Math. Soc. 4 (1872), 186-190.

    Examples
    --------
    >>> Oval(throw=5.0).motions(np.array([0.0, np.pi])).shift.round(12)
    array([[ 5.,  0.,  0.],
           [-5.,  0.,  0.]])
    """

    kind: ClassVar[str] = "oval"
    is_dynamic: ClassVar[bool] = True
    throw: Length
    ring_angle_deg: Angle = 0.0
    swing: Length = 0.0
    swings: Fraction = Fraction(1)
    swing_phase: Turning = Phase()
    index: Turning = Phase()
    travel: Length = math.inf
    screw: Screw | None = None
    wheel: Wheel | None = None

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            throw: float,
            ring_angle_deg: float = ...,
            swing: float = ...,
            swings: Written = ...,
            swing_phase: Phase | Written = ...,
            index: Phase | Written = ...,
            travel: float = ...,
            screw: Screw | None = ...,
            wheel: Wheel | None = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            _settle(self, "swing")
            object.__setattr__(self, "swings", ratio(self.swings))
            object.__setattr__(self, "swing_phase", Phase.of(self.swing_phase))
            require(math.isfinite(self.ring_angle_deg), "ring_angle", self.ring_angle_deg, "a finite angle")
            require(
                0 <= self.throw < math.inf,
                "throw",
                self.throw,
                "zero or more",
                "set the ring to the other side with ring_angle 180",
            )
            require(self.swing >= 0, "swing", self.swing, "zero or more", "begin on the other side with swing_phase '1/2 turn'")
            require(0 <= self.swings <= 1000, "swings", self.swings, "from 0 to 1000 in a turn of the spindle")
        _require_reached(self, "throw", self.throw)

    @property
    def period_turns(self) -> int:
        """Whole turns after which slide and ring stand as they did."""
        return self.swings.denominator if self.swing else 1

    @property
    def needs(self) -> tuple[str, ...]:
        """The ring, and what drives it where it moves."""
        return ("ring", "ring drive") if self.swing else ("ring",)

    def motions(self, theta: Array) -> Rigid:
        """Return where the work stands on the spindle: (n,) rad in, n rigid motions out."""
        return Rigid.move(x=self._slide(theta)) @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return where the slide stands, (n,) mm, at (n,) rad."""
        return (ChuckSlide("slide", self._slide(theta), -self.travel, self.travel),)

    def _slide(self, theta: Array) -> Array:
        out = self.throw + self.swing * np.cos(float(self.swings) * theta + self.swing_phase.in_radians())
        slide: Array = out * np.cos(theta - math.radians(self.ring_angle_deg))
        return slide


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightLine:
    """The straight-line chuck: the work does not turn, and slides on as the spindle turns: waves are laid out along a line.

    Parameters
    ----------
    per_turn : float, mm
        How far the slide goes in one turn of the spindle; below zero, the other way.
    travel : float, mm
        How far the slide goes to either side of its middle.
    start : float, mm
        Where it stands, from its middle, when the pass begins.
    direction_deg : float, degrees
        Which way it goes, from +X towards +Y; upwards unless given, across the way that a headstock rocks or slides.
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the wheel on the slide is turned on.
    screw : Screw, optional
        What winds the slide.
    wheel : Wheel, optional
        The wheel on the slide, with its circles of holes.

    Examples
    --------
    >>> line = StraightLine(per_turn=12.0, travel=40.0, start=-20.0)
    >>> (Rigid.turn(np.array([0.0, np.pi])) @ line.motions(np.array([0.0, np.pi]))).shift[:, 1].round(12)
    array([-20., -14.])
    """

    kind: ClassVar[str] = "straight-line"
    is_dynamic: ClassVar[bool] = True
    per_turn: Length
    travel: Length
    start: Length = 0.0
    direction_deg: Angle = 90.0
    index: Turning = Phase()
    screw: Screw | None = None
    wheel: Wheel | None = None

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            per_turn: float,
            travel: float,
            start: float = ...,
            direction_deg: float = ...,
            index: Phase | Written = ...,
            screw: Screw | None = ...,
            wheel: Wheel | None = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            _settle(self, "per_turn", "travel", "start")
            require(math.isfinite(self.direction_deg), "direction", self.direction_deg, "a finite angle")
        _require_reached(self, "start", self.start)

    @property
    def period_turns(self) -> int:
        """Never, unless its slide stands still."""
        return 0 if self.per_turn else 1

    @property
    def needs(self) -> tuple[str, ...]:
        """What keeps the work from turning."""
        return ("stop against turning",)

    def motions(self, theta: Array) -> Rigid:
        """Return where the work stands on the spindle: (n,) rad in, n rigid motions out; on the bench it does not turn."""
        slide, way = self._slide(theta), math.radians(self.direction_deg)
        return (
            Rigid.turn(-theta)
            @ Rigid.move(x=slide * math.cos(way), y=slide * math.sin(way))
            @ Rigid.turn(self.index.in_radians())
        )

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return where the slide stands, (n,) mm, at (n,) rad."""
        return (ChuckSlide("slide", self._slide(theta), -self.travel, self.travel),)

    def _slide(self, theta: Array) -> Array:
        slide: Array = self.start + self.per_turn / (2 * math.pi) * theta
        return slide


@dataclass(frozen=True, slots=True, kw_only=True)
class Dome:
    """The dome chuck: a slide, and on it an axis about which the work is tilted, so that a cutter reaches round a dome.

    Parameters
    ----------
    shift : float, mm
        How far the slide is wound out.
    tilt_deg : float, degrees
        How far the work's axis leans from the spindle's, towards the way that the slide goes.
    behind : float, mm
        How far the tilting axis lies behind the face, or the free end, of the work: at a dome's centre, its radius.
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the wheel turns the work about its own axis.
    travel : float, mm
        How far the slide goes to either side of the axis; without end unless given.
    screw : Screw, optional
        What winds the slide.
    wheel : Wheel, optional
        The wheel that turns the work, with its circles of holes.

    Examples
    --------
    >>> Dome(tilt_deg=90.0, behind=20.0).motions(np.zeros(1)).apply(np.zeros((1, 3))).round(12)
    array([[ 20.,   0., -20.]])
    """

    kind: ClassVar[str] = "dome"
    is_dynamic: ClassVar[bool] = False
    shift: Length = 0.0
    tilt_deg: Angle = 0.0
    behind: Length = 0.0
    index: Turning = Phase()
    travel: Length = math.inf
    screw: Screw | None = None
    wheel: Wheel | None = None

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            shift: float = ...,
            tilt_deg: float = ...,
            behind: float = ...,
            index: Phase | Written = ...,
            travel: float = ...,
            screw: Screw | None = ...,
            wheel: Wheel | None = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            _settle(self, "shift", "behind")
            require(-180 <= self.tilt_deg <= 180, "tilt", self.tilt_deg, "from -180 to 180 degrees")
        _require_reached(self, "shift", self.shift)

    def motions(self, theta: Array) -> Rigid:
        """Return shift, tilt, then index, the same at every spindle angle: one rigid motion for (n,) rad."""
        tilted = Rigid.move(z=-self.behind) @ Rigid.tilt(math.radians(self.tilt_deg)) @ Rigid.move(z=self.behind)
        return Rigid.move(x=self.shift) @ tilted @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return where the slide stands, mm."""
        return (ChuckSlide("slide", np.array([self.shift]), -self.travel, self.travel),)
