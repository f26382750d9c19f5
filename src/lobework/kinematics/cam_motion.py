"""Motion of the cams in a pass: the rotation of each cam, and the displacement of the headstock or of a slide by its lift."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import SettingError
from lobework.kernels.cam.rocking_headstock import psi_at_direction, rotation, steadiness
from lobework.kinematics.contact import lift_of
from lobework.kinematics.periodic_spline import Curve, tabulate
from lobework.quantities.tolerances import LEAST_STEADINESS, TABLE_MM
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.lathe.passes import Cut
    from lobework.parts.drive import Drive
    from lobework.parts.protocols import Cam, Follower
    from lobework.parts.twist import Twist

__all__ = ["Drift", "Push", "Pushes", "Shaft", "push_of", "shaft_of"]

_CONTACT_ERROR_MM: Final = 1e-8
"""Largest error of contact on a rocking headstock; a larger error means that the headstock jumps."""
_SPEED_SAMPLES: Final = 1025
"""Number of samples of the speed of a cam that does not turn uniformly."""


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """A twist whose angle is not proportional to ``u``, the position in the pass.

    Parameters
    ----------
    degrees : float
        Total angle of the twist.
    twist : Twist
        The twist; its method ``eased_share`` returns the completed fraction of the angle for a fraction of the twist's length.
    fraction : callable
        Function from (n,) values of ``u`` to the completed fraction of the twist's length.
    """

    degrees: float
    twist: Twist
    fraction: Callable[[Array], Array]

    def at(self, u: Array) -> Array:
        """Return the angle that the twist adds to the cam's angle, degrees, for (n,) values of ``u``."""
        added: Array = self.degrees * self.twist.eased_share(self.fraction(u))
        return added


@dataclass(frozen=True, slots=True, eq=False)
class Shaft:
    """The angle of a cam in a pass, without the cam's index: ``phase + rate * u`` degrees, plus the angle of ``drift``."""

    phase: float
    rate: float
    drift: Drift | None = None

    def at(self, u: Array) -> Array:
        """Return the cam's angle, degrees, for (n,) values of ``u``."""
        angle: Array = self.phase + self.rate * u
        return angle if self.drift is None else angle + self.drift.at(u)

    def greatest_speed(self, span: float) -> float:
        """Return the approximate greatest speed of the cam, degrees per unit of ``u``."""
        if self.drift is None:
            return abs(self.rate)
        u = np.linspace(0.0, span, _SPEED_SAMPLES)
        return float(np.abs(np.diff(self.at(u))).max()) * (_SPEED_SAMPLES - 1) / span


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Push(Brief):
    """The displacement of the headstock by one cam or, if the cam exists only in software, of a slide.

    The displacement is ``scale * curve.at(zero - cam)``, mm, where ``cam`` is the cam's angle, rad. The displacement is along
    +X or +Z; on a rocking headstock, it is along the arc, positive towards +X.
    """

    name: str
    number: int
    curve: Curve
    scale: float
    zero: float
    shaft: Shaft
    lobes: int
    ratio: Fraction

    @property
    def axis(self) -> str:
        """The name of the axis that turns the cam: "cam 1", "cam 2" and so on."""
        return f"cam {self.number}"

    @property
    def start(self) -> float:
        """The argument of the curve at the start of the pass, rad."""
        return self.zero - math.radians(self.shaft.phase)

    @property
    def rate(self) -> float:
        """The derivative of the curve's argument with respect to ``u``, rad, without the drift."""
        return -math.radians(self.shaft.rate)

    def along(self, u: Array) -> Array:
        """Return the argument of the curve, rad, for (n,) values of ``u``."""
        along: Array = self.zero - np.radians(self.shaft.at(u))
        return along

    def at(self, u: Array) -> Array:
        """Return the displacement, mm, for (n,) values of ``u``."""
        pushed: Array = self.scale * self.curve.at(self.along(u))
        return pushed

    def with_cam_at(self, degrees: Array) -> Array:
        """Return the displacement, mm, for (n,) angles of the cam's axis, degrees."""
        pushed: Array = self.scale * self.curve.at(self.zero - np.radians(degrees))
        return pushed


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Pushes(Brief):
    """Pushes along one axis, combined as the sum of their displacements or, if ``furthest`` is true, as the furthest of these."""

    each: tuple[Push, ...] = ()
    furthest: bool = False

    def __iter__(self) -> Iterator[Push]:
        return iter(self.each)

    def __len__(self) -> int:
        return len(self.each)

    def at(self, u: Array) -> Array:
        """Return the combined displacement, mm, for (n,) values of ``u``."""
        return self.combine([push.at(u) for push in self.each]) if self.each else np.zeros_like(u)

    def combine(self, each: list[Array]) -> Array:
        """Combine the displacements ``each`` of all pushes, mm, into one displacement; a single zero if there is no push."""
        if not each:
            return np.zeros(1)
        if self.furthest:
            furthest: Array = np.min(each, axis=0) if self.each[0].scale < 0 else np.max(each, axis=0)
            return furthest
        total: Array = np.sum(each, axis=0)
        return total

    @property
    def peak(self) -> float:
        """The greatest possible displacement towards +X or +Z, mm, over all angles of the cams."""
        peaks = [max(push.scale * lift for lift in push.curve.extent) for push in self.each] or [0.0]
        return max(peaks) if self.furthest else sum(peaks)


def shaft_of(drive: Drive, cut: Cut) -> Shaft:
    """Return the rotation of a cam in a cut.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> from lobework.parts.drive import Drive
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.follower import Knife
    >>> from lobework.lathe.lathe import Axis, Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> from lobework.parts.slide import At
    >>> from lobework.parts.twist import Twist
    >>> bench = Lathe(name="bench", headstock=Headstock(sideways="slides"), axes=(Axis(moves="cam 1", letter="A"),))
    >>> wave = Wave(lobes=4, base_radius=60.0, rise=2.0)
    >>> drive = Drive(wave, follower=Knife(), twist=Twist(angle="60 deg", over=50.0))
    >>> helix = Pass(turns=2, at=At(z=-10.0), travel=At(z=-20.0), cams=[drive])
    >>> shaft_of(drive, Cut(number=1, passed=helix, lathe=bench)).at(np.array([0.0, 1.0, 2.0])).tolist()
    [12.0, 384.0, 756.0]
    """
    drive = cut.as_set(drive)
    lobes, twist, turning = drive.cam.lobes, drive.twist, bool(cut.passed.turns)
    phase = float(drive.phase.in_degrees(lobes) + drive.ratio * cut.passed.spindle.in_degrees())
    rate = 360.0 * float(drive.ratio) * turning
    if twist is None:
        return Shaft(phase, rate)
    degrees = twist.degrees(lobes)

    def fraction(u: Array) -> Array:
        return u / float(twist.turns) if twist.turns is not None else twist.share_along(cut.slides(u)[:, 2])

    if twist.ease or not (twist.turns is not None or cut.is_straight):
        return Shaft(phase, rate, Drift(degrees, twist, fraction))
    begins, ends = fraction(np.array([0.0, cut.span])).tolist()
    return Shaft(phase + degrees * begins, rate + degrees * (ends - begins) / cut.span)


def push_of(drive: Drive, number: int, cut: Cut) -> Push:
    """Return the displacement of the headstock by a cam or, if the cam exists only in software, of a slide.

    Raises
    ------
    SettingError
        If the headstock cannot move in the direction of the displacement, or would jump. The message names the key.
    """
    headstock = cut.lathe.headstock
    side = 1 if drive.side == "front" else -1
    computed = cut.lathe.cam_shaft(number).turned_by == "software"
    scale, zero = -side * drive.gain, 0.0 if side > 0 or drive.moves == "endways" else math.pi
    if computed or (headstock.endways == "pumps" if drive.moves == "endways" else headstock.sideways == "slides"):
        curve = lift_of(drive.cam, drive.follower).curve
    elif drive.moves == "endways":
        raise SettingError(
            "a face cam moves the headstock endways, but this headstock cannot move endways",
            name="on",
            given="'face'",
            remedy="use an edge cam or another lathe",
        )
    elif headstock.sideways == "rocks":
        curve, scale = _rocking(drive.cam, drive.follower, side, drive.gain, headstock.pivot_height), -float(side)
    else:
        raise SettingError(
            "an edge cam moves the headstock sideways, but this headstock cannot move sideways",
            name="on",
            given="'edge'",
            remedy="use a lathe whose headstock slides or rocks sideways",
        )
    zero -= drive.index.in_radians(drive.cam.lobes)
    return Push(drive.name, number, curve, scale, zero, shaft_of(drive, cut), drive.cam.lobes, drive.ratio)


@lru_cache(maxsize=256)
def _rocking(cam: Cam, follower: Follower, side: int, gain: float, height: float) -> Curve:
    """Return the spindle's displacement along its arc, away from the follower, mm, by the follower's nominal angle."""
    if (form := follower.form) == "shaped":
        raise SettingError(
            name="follower.kind",
            given=repr(follower.kind),
            must_be="a round or flat follower on a rocking headstock",
            remedy="use a roller, a knife or a flat follower",
        )
    lift = lift_of(cam, follower)
    stand, flat = lift.rest, form == "flat"
    extent = lift.travel[0] + stand, lift.travel[1] + stand

    def reach(direction: Array) -> tuple[Array, Array]:
        return lift.curve.at(direction) + stand, lift.curve.slope(direction)

    def at(psi: Array) -> tuple[Array, Array]:
        alpha, slope, misfit = rotation(reach, extent, psi, height, stand, side, gain, flat)
        if np.abs(misfit).max() > _CONTACT_ERROR_MM or not np.isfinite(alpha).all():
            raise jumps
        return -side * height * alpha, -side * height * slope

    value, slope = lift.curve.sides()
    jumps = SettingError(
        f"rise: this cam moves the follower by up to {np.abs(slope).max():.3g} mm per radian of its rotation; a headstock whose "
        f"spindle is {height:g} mm above the pivot jumps beyond about {height / gain:.3g} mm per radian",
        remedy="use less rise or less gain, a cam with gentler slopes, or a headstock with a higher spindle",
    )
    if not (steadiness(value + stand, slope, height, stand, side, gain, flat) >= LEAST_STEADINESS).all():
        raise jumps
    starts = lift.curve.starts
    corners = psi_at_direction(lift.curve.at(starts) + stand, starts, height, stand, side, gain, flat)
    return tabulate(at, corners, lift.curve.period, TABLE_MM)
