"""Chucks, which hold the work on the spindle and can shift, slide, tilt or index it."""

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


def _normalise(chuck: Any, *lengths: str) -> None:
    """Convert the index to a phase, and refuse settings that are invalid for any chuck."""
    require_numbers(chuck)
    object.__setattr__(chuck, "index", Phase.of(chuck.index))
    for name, kept in (("screw", Screw), ("wheel", Wheel)):
        given = getattr(chuck, name, None)
        require(given is None or isinstance(given, kept), name, repr(given), f"a {kept.__name__}, or left out")
    for name in lengths:
        require(math.isfinite(getattr(chuck, name)), name, getattr(chuck, name), "a finite length")
    if hasattr(chuck, "travel"):
        require(chuck.travel > 0, "travel", chuck.travel, "above zero", "leave it out if the travel is unlimited")


def _require_within_travel(chuck: Any, name: str, length: float) -> None:
    """Refuse a position of a slide beyond the end of its travel."""
    if abs(length) > chuck.travel:
        wound = f" ({chuck.screw.setting_text(chuck.travel)})" if chuck.screw is not None else ""
        require(False, name, getattr(chuck, name), f"within the travel of its slide, {chuck.travel:g} mm{wound} to either side")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainChuck:
    """A chuck that holds the work centred, and can turn the work by an index wheel.

    Parameters
    ----------
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the index wheel turns the work, counterclockwise seen from the cutter.
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
        _normalise(self)

    def motions(self, theta: Array) -> Rigid:
        """Return the rotation by the index as one rigid motion, which is the same at every spindle angle."""
        return Rigid.turn(self.index.in_radians())


@dataclass(frozen=True, slots=True, kw_only=True)
class EccentricChuck:
    """The eccentric chuck: a slide that shifts the work off the axis, with a wheel that indexes the work.

    Parameters
    ----------
    shift : float, mm
        Displacement of the slide.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the wheel on the slide turns the work.
    travel : float, mm
        Travel of the slide to either side of the axis. Default: unlimited.
    screw : Screw, optional
        Lead screw of the slide.
    wheel : Wheel, optional
        The wheel on the slide, with its circles of holes.

    References
    ----------
    J. H. Ibbetson, *Specimens in Eccentric Circular Turning*, Specimen X, pp. 168-169: two of these chucks, one
    mounted on the other, place 96 circles along a limacon.

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
            _normalise(self, "shift")
        _require_within_travel(self, "shift", self.shift)

    def motions(self, theta: Array) -> Rigid:
        """Return the shift followed by the index as one rigid motion, which is the same at every spindle angle."""
        return Rigid.move(x=self.shift) @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return the position of the slide, mm."""
        return (ChuckSlide("slide", np.array([self.shift]), -self.travel, self.travel),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Oval:
    """The oval chuck: the work slides to and fro as the spindle turns, so that a fixed cutter cuts an ellipse.

    The slide is guided by a ring. If the ring also moves to and fro, the cutter cuts Cayley's quartics. The position of the slide
    is ``(throw + swing cos(swings theta + swing_phase)) cos(theta - ring_angle)``.

    Parameters
    ----------
    throw : float, mm
        Distance of the ring's centre from the axis. The semi-axes of every ellipse differ by the throw; if the cutter is inside
        the circle whose diameter is the throw, the sum of the semi-axes is the throw.
    ring_angle_deg : float, degrees
        Direction in which the ring is offset, from +X towards +Y.
    swing : float, mm
        Amplitude of the ring's oscillation, which the spindle drives; 0 if the ring is fixed.
    swings : Fraction, or what `lobework.quantities.units.ratio` reads
        Number of oscillations of the ring per turn of the spindle.
    swing_phase : Phase, or what `lobework.quantities.units.phase` reads
        Phase of the oscillation at the beginning of the pass; at 0 the ring has its largest offset.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the wheel on the slide turns the work.
    travel : float, mm
        Travel of the slide to either side of the axis. Default: unlimited.
    screw : Screw, optional
        Lead screw that sets the ring.
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
            _normalise(self, "swing")
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
        _require_within_travel(self, "throw", self.throw)

    @property
    def period_turns(self) -> int:
        """Period of the motion of slide and ring, in whole turns of the spindle."""
        return self.swings.denominator if self.swing else 1

    @property
    def needs(self) -> tuple[str, ...]:
        """The required fittings: the ring, and a ring drive if the ring oscillates."""
        return ("ring", "ring drive") if self.swing else ("ring",)

    def motions(self, theta: Array) -> Rigid:
        """Return the n positions of the work on the spindle at (n,) spindle angles ``theta``, rad."""
        return Rigid.move(x=self._slide(theta)) @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return the positions of the slide, (n,) mm, at (n,) spindle angles ``theta``, rad."""
        return (ChuckSlide("slide", self._slide(theta), -self.travel, self.travel),)

    def _slide(self, theta: Array) -> Array:
        out = self.throw + self.swing * np.cos(float(self.swings) * theta + self.swing_phase.in_radians())
        slide: Array = out * np.cos(theta - math.radians(self.ring_angle_deg))
        return slide


@dataclass(frozen=True, slots=True, kw_only=True)
class StraightLine:
    """The straight-line chuck: the spindle moves the work along a straight line without turning it.

    The waves of the cams then lie along this line.

    Parameters
    ----------
    per_turn : float, mm
        Travel of the slide per turn of the spindle; negative for the opposite direction.
    travel : float, mm
        Travel of the slide to either side of its middle position.
    start : float, mm
        Position of the slide at the beginning of the pass, relative to its middle position.
    direction_deg : float, degrees
        Direction of the slide, from +X towards +Y. Default: upwards, perpendicular to the movement of the headstock.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the wheel on the slide turns the work.
    screw : Screw, optional
        Lead screw of the slide.
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
            _normalise(self, "per_turn", "travel", "start")
            require(math.isfinite(self.direction_deg), "direction", self.direction_deg, "a finite angle")
        _require_within_travel(self, "start", self.start)

    @property
    def period_turns(self) -> int:
        """Period in turns of the spindle: 0 (not periodic), or 1 if the slide does not move."""
        return 0 if self.per_turn else 1

    @property
    def needs(self) -> tuple[str, ...]:
        """The required fitting: a stop that keeps the work from turning."""
        return ("stop against turning",)

    def motions(self, theta: Array) -> Rigid:
        """Return the n positions of the work on the spindle at (n,) spindle angles, rad.

        Relative to the bench the work does not turn.
        """
        slide, direction = self._slide(theta), math.radians(self.direction_deg)
        return (
            Rigid.turn(-theta)
            @ Rigid.move(x=slide * math.cos(direction), y=slide * math.sin(direction))
            @ Rigid.turn(self.index.in_radians())
        )

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return the positions of the slide, (n,) mm, at (n,) spindle angles ``theta``, rad."""
        return (ChuckSlide("slide", self._slide(theta), -self.travel, self.travel),)

    def _slide(self, theta: Array) -> Array:
        slide: Array = self.start + self.per_turn / (2 * math.pi) * theta
        return slide


@dataclass(frozen=True, slots=True, kw_only=True)
class Dome:
    """The dome chuck: a slide with a tilting axis, so that the cutter can reach the whole surface of a dome.

    Parameters
    ----------
    shift : float, mm
        Displacement of the slide.
    tilt_deg : float, degrees
        Angle between the axis of the work and the spindle axis, in the direction of the slide.
    behind : float, mm
        Distance of the tilting axis behind the face, or the free end, of the work. If the tilting axis passes through the centre
        of a dome, this distance is the radius of the dome.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the wheel turns the work about its own axis.
    travel : float, mm
        Travel of the slide to either side of the axis. Default: unlimited.
    screw : Screw, optional
        Lead screw of the slide.
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
            _normalise(self, "shift", "behind")
            require(-180 <= self.tilt_deg <= 180, "tilt", self.tilt_deg, "from -180 to 180 degrees")
        _require_within_travel(self, "shift", self.shift)

    def motions(self, theta: Array) -> Rigid:
        """Return shift, tilt and index, in this order, as one rigid motion, which is the same at every spindle angle."""
        tilted = Rigid.move(z=-self.behind) @ Rigid.tilt(math.radians(self.tilt_deg)) @ Rigid.move(z=self.behind)
        return Rigid.move(x=self.shift) @ tilted @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return the position of the slide, mm."""
        return (ChuckSlide("slide", np.array([self.shift]), -self.travel, self.travel),)
