"""The motion of one cut: every axis, the headstock and the work, as functions of spindle turns."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache, reduce
from typing import Final, NamedTuple

import numpy as np

from lobework.carriage import Headstock
from lobework.contact import lift_of
from lobework.curve import Curve, tabulate
from lobework.drive import Drive
from lobework.errors import InputError, SettingError
from lobework.kernels.linkage import rocked, rocked_at_direction
from lobework.kinds import Cam, Follower
from lobework.lathe import Lathe
from lobework.passes import Cut
from lobework.rigid import Array, Rigid
from lobework.slide import Arc
from lobework.tolerances import TABLE_MM

__all__ = ["Motion", "Push", "Still", "motion_of"]

_FOLLOWS_MM: Final = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class Push:
    """What one cam does to the headstock.

    The spindle's displacement is ``scale * curve.at(start + rate * u)``, mm: along +X (on a rocking headstock
    along its arc, positive towards +X), or along +Z. With the cam's axis at zero the follower stands at ``zero`` on the curve.
    """

    name: str
    axis: str
    curve: Curve
    scale: float
    zero: float
    start: float
    rate: float
    lobes: int
    ratio: Fraction

    def at(self, u: Array) -> Array:
        """Return the displacement, mm, at (n,) places of the pass."""
        pushed: Array = self.scale * self.curve.at(self.start + self.rate * u)
        return pushed

    def with_cam_at(self, degrees: Array) -> Array:
        """Return the displacement, mm, with the cam's axis at (n,) degrees."""
        pushed: Array = self.scale * self.curve.at(self.zero - np.radians(degrees))
        return pushed


class Still(NamedTuple):
    """Where chucks that do not move hold the work on the spindle.

    ``turned`` rad about the spindle's axis; ``across`` mm, x + iy; ``along`` mm.
    """

    turned: float
    across: complex
    along: float


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """One cut's whole motion; everything in it is driven by ``u``, from 0 to ``cut.span``.

    It is spindle turns since the pass began; where the spindle stands still while the slides go, the part of the pass done.

    Parameters
    ----------
    cut : Cut
        What moves.
    sideways, endways : tuple of Push
        What moves the headstock across and along.
    rocks : bool
        Whether ``sideways`` is along the arc about the pivot of a rocking headstock rather than straight.
    furthest : bool
        Whether the push that goes furthest holds the headstock; otherwise pushes add up.
    still : Still or None
        What a stack of chucks that neither varies nor tilts comes to.
    """

    cut: Cut
    sideways: tuple[Push, ...]
    endways: tuple[Push, ...]
    rocks: bool
    furthest: bool
    still: Still | None

    @property
    def level(self) -> bool:
        """Whether the tip keeps one place along the spindle all through the pass."""
        return not self.endways and not self.cut.travel[2] and self.cut.passed.arc is None

    def turns(self, u: Array) -> Array:
        """Return how far the spindle has turned: (n,) turns."""
        return u if self.cut.passed.turns else np.zeros_like(u)

    def theta(self, u: Array) -> Array:
        """Return the spindle's angle: (n,) rad."""
        return 2 * math.pi * self.turns(u)

    def displaced(self, pushes: tuple[Push, ...], u: Array) -> Array:
        """Return what several pushes on one motion come to, mm, at (n,) places of the pass."""
        return self._together(pushes, [push.at(u) for push in pushes], u)

    def _together(self, pushes: tuple[Push, ...], each: list[Array], like: Array) -> Array:
        """Return what pushes come to that are ``each`` so far; as many zeros as ``like`` where there are none."""
        if not pushes:
            return np.zeros_like(like)
        if self.furthest:
            furthest: Array = np.min(each, axis=0) if pushes[0].scale < 0 else np.max(each, axis=0)
            return furthest
        together: Array = np.sum(each, axis=0)
        return together

    def tip(self, u: Array) -> Array:
        """Return where the slides hold the cutter's tip on the bench: (n, 3) mm."""
        passed = self.cut.passed
        part = u / (self.cut.span or 1.0)
        if passed.arc is not None:
            return passed.arc.tip(passed.at, part)
        held: Array = np.array(self.cut.tip) + part[:, None] * np.array(self.cut.travel)
        return held

    @property
    def swings(self) -> Arc | None:
        """The arc along which the cutter turns; None where it keeps its direction on the bench."""
        arc = self.cut.passed.arc
        return arc if arc is not None and arc.cutter == "turns" else None

    def cutter(self, u: Array) -> Rigid:
        """Return how the cutter is turned on the bench, from pointing along the spindle: n rigid motions, or one."""
        return Rigid.still() if self.swings is None else Rigid.tilt(self.swings.angle(u / self.cut.span))

    def carriage(self, u: Array) -> Rigid:
        """Return where the spindle's nose stands on the bench, not yet turned: n rigid motions."""
        return self._carried(self.displaced(self.sideways, u), self.displaced(self.endways, u))

    def _carried(self, across: Array, along: Array) -> Rigid:
        if not self.rocks:
            return Rigid.move(x=across, z=along)
        height = self.cut.lathe.headstock.pivot_height
        return Rigid.move(y=-height, z=along) @ Rigid.turn(-across / height) @ Rigid.move(y=height)

    def work(self, u: Array) -> Rigid:
        """Return where the work stands on the bench: n rigid motions, frame by frame from bench to work."""
        theta = self.theta(u)
        return self.carriage(u) @ Rigid.turn(theta) @ self.chucks(theta)

    def chucks(self, theta: Array) -> Rigid:
        """Return where the work stands on the spindle at (n,) rad: the chucks, one on the other."""
        return reduce(Rigid.__matmul__, (each.chuck.motions(theta) for each in self.cut.lathe.chucks), Rigid.still())

    def through_chucks(self, points: Array, theta: Array) -> Array:
        """Return where (n, 3) mm points on the spindle are on the work at (n,) rad: carried through one chuck after another."""
        for each in self.cut.lathe.chucks:
            points = each.chuck.motions(theta).undo(points)
        return points

    def place(self, u: Array) -> Array:
        """Return where the cutter's tip is on the work: (n, 3) mm."""
        x, y, z = self.tip(u).T
        return self._seen(x, y, z, self.theta(u), self.displaced(self.sideways, u), self.displaced(self.endways, u))

    def _seen(self, x: Array, y: Array, z: Array, theta: Array, across: Array, along: Array) -> Array:
        """Return where a tip on the bench is on the work: what `work` says, with the plane as complex numbers."""
        seen = x + 1j * y
        if self.rocks:
            height = self.cut.lathe.headstock.pivot_height
            seen = (seen + 1j * height) * np.exp(1j * (across / height - theta)) - 1j * height * np.exp(-1j * theta)
        else:
            seen = (seen - across) * np.exp(-1j * theta)
        z = z - along
        if self.still is None:
            return self.through_chucks(np.stack([seen.real, seen.imag, z], axis=-1), theta)
        seen = (seen - self.still.across) * np.exp(-1j * self.still.turned)
        return np.stack([seen.real, seen.imag, z - self.still.along], axis=-1)

    def axes(self, u: Array) -> dict[str, Array]:
        """Return each axis at (n,) places of the pass, by what it moves: degrees for the spindle and cams, mm for slides."""
        x, y, z = self.tip(u).T
        turns = self.turns(u)
        turning = {"spindle": 360.0 * turns}
        for number, drive in enumerate(self.cut.passed.cams, 1):
            turning[f"cam {number}"] = 360.0 * float(drive.ratio) * turns + _phase_deg(drive)
        if self.swings is not None:
            turning["cutter"] = np.degrees(self.swings.angle(u / self.cut.span))
        return {**turning, "x": x, "y": y, "z": z}

    def place_of(self, axes: Mapping[str, Array]) -> Array:
        """Return where the cutter's tip is on the work with every axis at given places, those of the pass or others: (n, 3) mm.

        Parameters
        ----------
        axes : mapping from what moves to (n,) or single mm or degrees
            As `axes` names them. A slide that is left out stands where the pass begins, the spindle at zero, a cam with an axis
            of its own at its phase; a cam without one goes with the spindle.
        """
        across, along = self._displaced_of(axes)
        x, y, z, theta, across, along = np.broadcast_arrays(*self._held(axes), across, along)
        return self._seen(x, y, z, theta, across, along)

    def pose_of(self, axes: Mapping[str, Array]) -> Rigid:
        """Return where the bench's frame, moved to the tip and turned with the cutter, stands on the work: n rigid motions.

        The axes are as in `place_of`; "cutter", left out, stands as the pass begins.
        """
        theta = np.atleast_1d(self._held(axes)[-1])
        across, along = (np.atleast_1d(each) for each in self._displaced_of(axes))
        work = self._carried(across, along) @ Rigid.turn(theta) @ self.chucks(theta)
        points = Rigid.still() if self.swings is None else self.cutter(np.zeros(1))
        if self.swings is not None and "cutter" in axes:
            points = Rigid.tilt(np.radians(np.atleast_1d(axes["cutter"])))
        return Rigid((work.inverse() @ points).rotation, self.place_of(axes))

    def _held(self, axes: Mapping[str, Array]) -> tuple[Array, Array, Array, Array]:
        """Return where the tip stands on the bench, mm, and the spindle's angle, rad."""
        begins = dict(zip("xyz", self.cut.tip, strict=True))
        x, y, z = (np.atleast_1d(np.asarray(axes.get(name, begins[name]), dtype=np.float64)) for name in "xyz")
        return x, y, z, np.radians(np.atleast_1d(axes.get("spindle", 0.0)))

    def _displaced_of(self, axes: Mapping[str, Array]) -> tuple[Array, Array]:
        """Return how far the headstock stands across and along, mm."""
        drives = dict(zip((f"cam {number}" for number in itertools.count(1)), self.cut.passed.cams, strict=False))

        def cam(name: str) -> Array:
            if name in axes:
                return np.atleast_1d(axes[name])
            turned = 0.0 if self.cut.lathe.axis(name) else np.asarray(axes.get("spindle", 0.0)) * float(drives[name].ratio)
            return np.atleast_1d(turned + _phase_deg(drives[name]))

        def come_to(pushes: tuple[Push, ...]) -> Array:
            each = np.broadcast_arrays(*(push.with_cam_at(cam(push.axis)) for push in pushes))
            return self._together(pushes, list(each), np.zeros(1))

        return come_to(self.sideways), come_to(self.endways)


def _phase_deg(drive: Drive) -> float:
    """Return where a cam's axis stands as a pass begins, degrees."""
    return float(drive.phase.in_degrees(drive.cam.lobes))


def motion_of(cut: Cut) -> Motion:
    """Return the motion of one cut.

    Raises
    ------
    SettingError
        Where the lathe cannot do what the pass asks: an axis it lacks, a headstock that does not move that way,
        a follower or cams that do not go together, a chuck's slide that would go past its end. The message names the key.
    PluginError
        Where a chuck's motions are no rigid motions.
    """
    passed, lathe = cut.passed, cut.lathe
    _axes_there(cut)
    for place, mounted in enumerate(lathe.chucks, 1):
        mounted.require_sound(float(passed.turns))
        try:
            mounted.require_within_travel(float(passed.turns))
        except SettingError as error:
            raise error.at(f"chuck[{place}]") from None
    pushes: dict[str, list[Push]] = {"sideways": [], "endways": []}
    for number, drive in enumerate(passed.cams, 1):
        try:
            pushes[drive.moves].append(_push(drive, number, lathe.headstock))
        except InputError as error:
            raise error.at(f"cam[{number}]") from None
    rocks = lathe.headstock.sideways == "rocks"
    crowded = any(len(same) > 1 for same in pushes.values())
    furthest = crowded and (passed.together == "furthest" or (passed.together is None and rocks and len(pushes["sideways"]) > 1))
    if len(pushes["sideways"]) > 1 and rocks and passed.together == "sum":
        raise SettingError(
            "together='sum': two cams on one rocking headstock do not add up; write 'furthest', or use a headstock that slides"
        )
    if furthest:
        for moves, same in pushes.items():
            if len({push.scale > 0 for push in same}) > 1:
                raise SettingError(
                    f"together='furthest': the cams that move {moves} bear on both sides; put their followers on one side"
                )
    return Motion(cut, tuple(pushes["sideways"]), tuple(pushes["endways"]), rocks, furthest, _still(lathe))


def _still(lathe: Lathe) -> Still | None:
    if any(mounted.chuck.varies for mounted in lathe.chucks):
        return None
    motions = (mounted.chuck.motions(np.zeros(1)) for mounted in lathe.chucks)
    standing = reduce(Rigid.__matmul__, motions, Rigid.still())
    rotation, (x, y, z) = standing.rotation[0], standing.shift[0]
    if rotation[2, 2] < 0 or rotation[2, :2].any() or rotation[:2, 2].any():
        return None
    return Still(math.atan2(rotation[1, 0], rotation[0, 0]), complex(x, y), float(z))


def _axes_there(cut: Cut) -> None:
    """Refuse what the lathe has no axis for."""
    passed, lathe = cut.passed, cut.lathe
    if passed.arc is not None:
        for slide in "xz":
            lathe.need(slide, "arc: the tip goes round in X and Z while it cuts")
        if passed.arc.cutter == "turns" and lathe.axis("cutter") is None:
            lathe.need("cutter", "arc.cutter='turns': the cutter turns about Y as it goes (write 'keeps' where it does not)")
    for slide, travel in zip("xyz", cut.travel, strict=True):
        if travel:
            lathe.need(slide, f"travel.{slide}: the pass moves the {slide} slide while it cuts")
    if passed.at.y and lathe.axis("y") is None:
        lathe.need("y", f"at.y={passed.at.y:g}: the cutter stands above or below the spindle")
    for number, drive in enumerate(passed.cams, 1):
        if drive.ratio != 1 and lathe.axis(f"cam {number}") is None:
            lathe.need(f"cam {number}", f"cam[{number}].ratio={drive.ratio}: this cam turns apart from the spindle")


def _push(drive: Drive, number: int, headstock: Headstock) -> Push:
    side = 1 if drive.side == "front" else -1
    rate = -2 * math.pi * float(drive.ratio)
    if drive.moves == "endways":
        if headstock.endways != "pumps":
            raise SettingError(
                "on='face': a face cam moves the headstock endways, and this one does not pump; use an edge cam or another lathe"
            )
        curve, scale, zero = lift_of(drive.cam, drive.follower).curve, -side * drive.gain, 0.0
    elif headstock.sideways == "slides":
        curve, scale, zero = lift_of(drive.cam, drive.follower).curve, -side * drive.gain, 0.0 if side > 0 else math.pi
    elif headstock.sideways == "rocks":
        curve = _rocking(drive.cam, drive.follower, side, drive.gain, headstock.pivot_height)
        scale, zero = -float(side), 0.0 if side > 0 else math.pi
    else:
        raise SettingError("on='edge': an edge cam moves the headstock sideways, and this one is fixed; use another lathe")
    zero -= drive.index.in_radians(drive.cam.lobes)
    start = zero - drive.phase.in_radians(drive.cam.lobes)
    return Push(drive.name, f"cam {number}", curve, scale, zero, start, rate, drive.cam.lobes, drive.ratio)


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

    def comes_to_bear(direction: Array) -> Array:
        return rocked_at_direction(lift.curve.at(direction) + stand, direction, height, stand, side, gain, flat)

    def at(psi: Array) -> tuple[Array, Array]:
        alpha, slope, misfit = rocked(reach, extent, psi, height, stand, side, gain, flat)
        if np.abs(misfit).max() > _FOLLOWS_MM or not np.isfinite(alpha).all():
            raise jumps
        return -side * height * alpha, -side * height * slope

    starts = lift.curve.starts
    steps = np.linspace(0, lift.curve.period, 2049)
    jumps = SettingError(
        f"rise: the follower moves up to {np.abs(lift.curve.slope(steps)).max():.3g} mm a radian of this cam; "
        f"a headstock {height:g} mm above its pivot jumps beyond about {height / gain:.3g} mm a radian; "
        "use less rise or gain, a rounder cam or a higher spindle"
    )
    around = np.sort(np.concatenate([steps, starts]))
    if not (np.diff(comes_to_bear(around)) > -1e-15).all():
        raise jumps
    corners = comes_to_bear(starts)
    return tabulate(at, corners, lift.curve.period, TABLE_MM)
