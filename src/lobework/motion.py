"""The motion of one cut: every axis, the headstock and the work, as functions of spindle turns."""

from __future__ import annotations

import math
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
    along its arc, positive towards +X), or along +Z.
    """

    name: str
    curve: Curve
    scale: float
    start: float
    rate: float
    lobes: int
    ratio: Fraction

    def at(self, u: Array) -> Array:
        """Return the displacement, mm, at (n,) turns."""
        pushed: Array = self.scale * self.curve.at(self.start + self.rate * u)
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
    """One cut's whole motion; everything in it is driven by ``u``, spindle turns since the pass began.

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

    def displaced(self, pushes: tuple[Push, ...], u: Array) -> Array:
        """Return what several pushes on one motion come to, mm, at (n,) turns."""
        if not pushes:
            return np.zeros_like(u)
        each = [push.at(u) for push in pushes]
        if self.furthest:
            furthest: Array = np.min(each, axis=0) if pushes[0].scale < 0 else np.max(each, axis=0)
            return furthest
        together: Array = np.sum(each, axis=0)
        return together

    def tip(self, u: Array) -> Array:
        """Return where the slides hold the cutter's tip on the bench: (n, 3) mm."""
        passed = self.cut.passed
        part = u / (float(passed.turns) or 1.0)
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
        return Rigid.still() if self.swings is None else Rigid.tilt(self.swings.angle(u / float(self.cut.passed.turns)))

    def carriage(self, u: Array) -> Rigid:
        """Return where the spindle's nose stands on the bench, not yet turned: n rigid motions."""
        across, along = self.displaced(self.sideways, u), self.displaced(self.endways, u)
        if not self.rocks:
            return Rigid.move(x=across, z=along)
        height = self.cut.lathe.headstock.pivot_height
        return Rigid.move(y=-height, z=along) @ Rigid.turn(-across / height) @ Rigid.move(y=height)

    def work(self, u: Array) -> Rigid:
        """Return where the work stands on the bench: n rigid motions, frame by frame from bench to work."""
        theta = 2 * math.pi * u
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
        """Return where the cutter's tip is on the work: (n, 3) mm; what `work` says, with the plane as complex numbers."""
        tip, theta = self.tip(u), 2 * math.pi * u
        across = self.displaced(self.sideways, u)
        seen = tip[:, 0] + 1j * tip[:, 1]
        if self.rocks:
            height = self.cut.lathe.headstock.pivot_height
            seen = (seen + 1j * height) * np.exp(1j * (across / height - theta)) - 1j * height * np.exp(-1j * theta)
        else:
            seen = (seen - across) * np.exp(-1j * theta)
        along = tip[:, 2] - self.displaced(self.endways, u)
        if self.still is None:
            return self.through_chucks(np.stack([seen.real, seen.imag, along], axis=-1), theta)
        seen = (seen - self.still.across) * np.exp(-1j * self.still.turned)
        return np.stack([seen.real, seen.imag, along - self.still.along], axis=-1)

    def axes(self, u: Array) -> dict[str, Array]:
        """Return each axis at (n,) turns, by what it moves: degrees for the spindle and cams, mm for slides."""
        x, y, z = self.tip(u).T
        turning = {"spindle": 360.0 * u}
        cams = self.cut.passed.cams
        for number, drive in enumerate(cams, 1):
            phase = float(drive.phase.in_degrees(drive.cam.lobes))
            turning[f"cam {number}"] = 360.0 * float(drive.ratio) * u + phase
        if self.swings is not None:
            turning["cutter"] = np.degrees(self.swings.angle(u / float(self.cut.passed.turns)))
        return {**turning, "x": x, "y": y, "z": z}


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
            pushes[drive.moves].append(_push(drive, lathe.headstock))
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


def _push(drive: Drive, headstock: Headstock) -> Push:
    side = 1 if drive.side == "front" else -1
    rate = -2 * math.pi * float(drive.ratio)
    if drive.moves == "endways":
        if headstock.endways != "pumps":
            raise SettingError(
                "on='face': a face cam moves the headstock endways, and this one does not pump; use an edge cam or another lathe"
            )
        curve, scale, start = lift_of(drive.cam, drive.follower).curve, -side * drive.gain, 0.0
    elif headstock.sideways == "slides":
        curve, scale, start = lift_of(drive.cam, drive.follower).curve, -side * drive.gain, 0.0 if side > 0 else math.pi
    elif headstock.sideways == "rocks":
        curve = _rocking(drive.cam, drive.follower, side, drive.gain, headstock.pivot_height)
        scale, start = -float(side), 0.0 if side > 0 else math.pi
    else:
        raise SettingError("on='edge': an edge cam moves the headstock sideways, and this one is fixed; use another lathe")
    return Push(drive.name, curve, scale, start - drive.turned_on, rate, drive.cam.lobes, drive.ratio)


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
