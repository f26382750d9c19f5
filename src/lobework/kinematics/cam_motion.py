"""What cams do: how each turns through a pass, and how far its lift pushes the headstock, or leads a slide."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import SettingError
from lobework.kernels.cam.rocking_headstock import rocked, rocked_at_direction, steadiness
from lobework.kinematics.contact import lift_of
from lobework.kinematics.periodic_spline import Curve, tabulate
from lobework.quantities.tolerances import STEADY, TABLE_MM
from lobework.text.brief import Brief

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.lathe.passes import Cut
    from lobework.parts.drive import Drive
    from lobework.parts.protocols import Cam, Follower
    from lobework.parts.twist import Twist

__all__ = ["Drift", "Push", "Pushes", "Shaft", "push_of", "shaft_of"]

_FOLLOWS_MM: Final = 1e-8
_LOOKED_AT: Final = 1025


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """A twist that does not go evenly through the pass: ``degrees`` in all, ``way`` its part gone at (n,) places of the pass."""

    degrees: float
    twist: Twist
    way: Callable[[Array], Array]

    def at(self, u: Array) -> Array:
        """Return how far the cam is turned on, degrees, at (n,) places of the pass."""
        drifted: Array = self.degrees * self.twist.part(self.way(u))
        return drifted


@dataclass(frozen=True, slots=True, eq=False)
class Shaft:
    """How a cam turns through a pass, its index left out: to ``phase + rate * u`` degrees, and what drifts besides."""

    phase: float
    rate: float
    drift: Drift | None = None

    def at(self, u: Array) -> Array:
        """Return where it stands, degrees, at (n,) places of the pass."""
        stands: Array = self.phase + self.rate * u
        return stands if self.drift is None else stands + self.drift.at(u)

    def quickest(self, span: float) -> float:
        """Return about how fast it turns at the most, degrees for one of ``u``."""
        if self.drift is None:
            return abs(self.rate)
        u = np.linspace(0.0, span, _LOOKED_AT)
        return float(np.abs(np.diff(self.at(u))).max()) * (_LOOKED_AT - 1) / span


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Push(Brief):
    """What one cam does to the headstock, or to the slide that follows its lift.

    The displacement is ``scale * curve.at(zero - cam)``, mm, with the cam at ``cam`` rad: along +X (on a rocking headstock along
    its arc, positive towards +X), or along +Z.
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
        """What an axis that turns the cam moves: "cam 1", "cam 2" and so on."""
        return f"cam {self.number}"

    @property
    def start(self) -> float:
        """Where on its curve it begins, rad."""
        return self.zero - math.radians(self.shaft.phase)

    @property
    def rate(self) -> float:
        """How fast it goes along its curve but for what drifts, rad for one of ``u``."""
        return -math.radians(self.shaft.rate)

    def along(self, u: Array) -> Array:
        """Return where on its curve it is, rad, at (n,) places of the pass."""
        along: Array = self.zero - np.radians(self.shaft.at(u))
        return along

    def at(self, u: Array) -> Array:
        """Return the displacement, mm, at (n,) places of the pass."""
        pushed: Array = self.scale * self.curve.at(self.along(u))
        return pushed

    def with_cam_at(self, degrees: Array) -> Array:
        """Return the displacement, mm, with the cam's axis at (n,) degrees."""
        pushed: Array = self.scale * self.curve.at(self.zero - np.radians(degrees))
        return pushed


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Pushes(Brief):
    """Several pushes one way: they add up, or the one that goes furthest holds."""

    each: tuple[Push, ...] = ()
    furthest: bool = False

    def __iter__(self) -> Iterator[Push]:
        return iter(self.each)

    def __len__(self) -> int:
        return len(self.each)

    def at(self, u: Array) -> Array:
        """Return what they come to, mm, at (n,) places of the pass."""
        return self.together([push.at(u) for push in self.each]) if self.each else np.zeros_like(u)

    def together(self, each: list[Array]) -> Array:
        """Return what they come to where each has come so far, mm; one zero where there are none."""
        if not each:
            return np.zeros(1)
        if self.furthest:
            furthest: Array = np.min(each, axis=0) if self.each[0].scale < 0 else np.max(each, axis=0)
            return furthest
        together: Array = np.sum(each, axis=0)
        return together

    @property
    def peak(self) -> float:
        """The furthest that they may go towards +X or +Z, mm, whatever stands where."""
        peaks = [max(push.scale * lift for lift in push.curve.extent) for push in self.each] or [0.0]
        return max(peaks) if self.furthest else sum(peaks)


def shaft_of(drive: Drive, cut: Cut) -> Shaft:
    """Return how a cam turns through a cut.

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

    def way(u: Array) -> Array:
        return u / float(twist.turns) if twist.turns is not None else twist.way(cut.slides(u)[:, 2])

    if twist.ease or not (twist.turns is not None or cut.even):
        return Shaft(phase, rate, Drift(degrees, twist, way))
    begins, ends = way(np.array([0.0, cut.span])).tolist()
    return Shaft(phase + degrees * begins, rate + degrees * (ends - begins) / cut.span)


def push_of(drive: Drive, number: int, cut: Cut) -> Push:
    """Return what a cam does to the headstock, or, where it exists only in software, to a slide.

    Raises
    ------
    SettingError
        Where the headstock does not move that way, or would jump. The message names the key.
    """
    headstock = cut.lathe.headstock
    side = 1 if drive.side == "front" else -1
    computed = cut.lathe.cam_shaft(number).turned_by == "software"
    scale, zero = -side * drive.gain, 0.0 if side > 0 or drive.moves == "endways" else math.pi
    if computed or (headstock.endways == "pumps" if drive.moves == "endways" else headstock.sideways == "slides"):
        curve = lift_of(drive.cam, drive.follower).curve
    elif drive.moves == "endways":
        raise SettingError(
            "on='face': a face cam moves the headstock endways, and this one does not pump; use an edge cam or another lathe"
        )
    elif headstock.sideways == "rocks":
        curve, scale = _rocking(drive.cam, drive.follower, side, drive.gain, headstock.pivot_height), -float(side)
    else:
        raise SettingError("on='edge': an edge cam moves the headstock sideways, and this one is fixed; use another lathe")
    zero -= drive.index.in_radians(drive.cam.lobes)
    return Push(drive.name, number, curve, scale, zero, shaft_of(drive, cut), drive.cam.lobes, drive.ratio)


@lru_cache(maxsize=256)
def _rocking(cam: Cam, follower: Follower, side: int, gain: float, height: float) -> Curve:
    """Return how far along its arc the spindle is pushed away from the follower, mm, by the follower's nominal direction."""
    if (form := follower.form) == "shaped":
        raise SettingError(
            f"follower.kind={follower.kind!r}: on a rocking headstock a follower must be round or flat; "
            "use a roller, a knife or a flat"
        )
    lift = lift_of(cam, follower)
    stand, flat = lift.rest, form == "flat"
    extent = lift.travel[0] + stand, lift.travel[1] + stand

    def reach(direction: Array) -> tuple[Array, Array]:
        return lift.curve.at(direction) + stand, lift.curve.slope(direction)

    def at(psi: Array) -> tuple[Array, Array]:
        alpha, slope, misfit = rocked(reach, extent, psi, height, stand, side, gain, flat)
        if np.abs(misfit).max() > _FOLLOWS_MM or not np.isfinite(alpha).all():
            raise jumps
        return -side * height * alpha, -side * height * slope

    value, slope = lift.curve.sides()
    jumps = SettingError(
        f"rise: the follower moves up to {np.abs(slope).max():.3g} mm a radian of this cam; "
        f"a headstock {height:g} mm above its pivot jumps beyond about {height / gain:.3g} mm a radian; "
        "use less rise or gain, a rounder cam or a higher spindle"
    )
    if not (steadiness(value + stand, slope, height, stand, side, gain, flat) >= STEADY).all():
        raise jumps
    starts = lift.curve.starts
    corners = rocked_at_direction(lift.curve.at(starts) + stand, starts, height, stand, side, gain, flat)
    return tabulate(at, corners, lift.curve.period, TABLE_MM)
