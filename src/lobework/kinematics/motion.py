"""The motion of one cut: every axis, the headstock and the work, as functions of spindle turns."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import NamedTuple

import numpy as np

from lobework.errors import InputError, PartError, SettingError
from lobework.geometry.continuity import all_finite
from lobework.geometry.rigid import Array, Rigid
from lobework.kinematics.cam_motion import Push, Pushes, push_of
from lobework.lathe.capability import require_settable
from lobework.lathe.lathe import Lathe
from lobework.lathe.passes import Cut
from lobework.parts.drive import Drive, Moves
from lobework.parts.slide import SlideArc
from lobework.quantities.units import format_number
from lobework.text.brief import Brief

__all__ = ["Motion", "Still", "motion_of"]


class Still(NamedTuple):
    """Where chucks that do not move hold the work on the spindle.

    ``turned`` rad about the spindle's axis; ``across`` mm, x + iy; ``along`` mm.
    """

    turned: float
    across: complex
    along: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Motion(Brief):
    """One cut's whole motion; everything in it is driven by ``u``, from 0 to ``cut.span``.

    It is spindle turns since the pass began; where the spindle stands still while the slides go, the part of the pass done.

    Parameters
    ----------
    cut : Cut
        What moves.
    sideways, endways : Pushes
        What moves the headstock across and along.
    leads_x, leads_z : Pushes
        What leads the slides instead, where a cam exists only in software: the tip goes as far the other way.
    rocks : bool
        Whether ``sideways`` is along the arc about the pivot of a rocking headstock rather than straight.
    still : Still or None
        What a stack of chucks that neither varies nor tilts comes to.
    """

    cut: Cut
    sideways: Pushes
    endways: Pushes
    leads_x: Pushes
    leads_z: Pushes
    rocks: bool
    still: Still | None

    @property
    def level(self) -> bool:
        """Whether the tip keeps one place along the spindle all through the pass."""
        return not self.endways and not self.leads_z and self.cut.level

    @property
    def pushes(self) -> tuple[Push, ...]:
        """Every cam's push."""
        return (*self.sideways, *self.leads_x, *self.endways, *self.leads_z)

    def turns(self, u: Array) -> Array:
        """Return where the spindle stands: (n,) turns."""
        begins = float(self.cut.passed.spindle.in_turns())
        return begins + u if self.cut.passed.turns else np.full_like(u, begins)

    def theta(self, u: Array) -> Array:
        """Return the spindle's angle: (n,) rad."""
        return 2 * math.pi * self.turns(u)

    def tip(self, u: Array) -> Array:
        """Return where the slides hold the cutter's tip on the bench: (n, 3) mm."""
        tip = self.cut.slides(u)
        tip[:, 0] -= self.leads_x.at(u)
        tip[:, 2] -= self.leads_z.at(u)
        return tip

    @property
    def swings(self) -> SlideArc | None:
        """The arc along which the cutter turns; None where it keeps its direction on the bench."""
        arc = self.cut.passed.arc
        return arc if arc is not None and arc.cutter == "turns" else None

    def cutter(self, u: Array) -> Rigid:
        """Return how the cutter is turned on the bench, from pointing along the spindle: n rigid motions, or one."""
        return Rigid.still() if self.swings is None else Rigid.tilt(self.swings.angle(u / self.cut.span))

    def carriage(self, u: Array) -> Rigid:
        """Return where the spindle's nose stands on the bench, not yet turned: n rigid motions."""
        return self._carried(self.sideways.at(u), self.endways.at(u))

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
        return reduce(Rigid.__matmul__, self._standing(theta), Rigid.still())

    def _standing(self, theta: Array) -> Iterator[Rigid]:
        """Yield where each chuck stands on what carries it, from the spindle on."""
        for place, mounted in enumerate(self.cut.lathe.chucks, 1):
            try:
                yield mounted.standing(theta)
            except PartError as error:
                raise error.at(f"pass[{self.cut.group}].chuck[{place}]") from None

    def through_chucks(self, points: Array, theta: Array) -> Array:
        """Return where (n, 3) mm points on the spindle are on the work at (n,) rad: carried through one chuck after another."""
        for standing in self._standing(theta):
            points = standing.undo(points)
        return points

    def place(self, u: Array) -> Array:
        """Return where the cutter's tip is on the work: (n, 3) mm."""
        x, y, z = self.tip(u).T
        return self._seen(x, y, z, self.theta(u), self.sideways.at(u), self.endways.at(u))

    def _seen(self, x: Array, y: Array, z: Array, theta: Array, across: Array, along: Array) -> Array:
        """Return where a tip on the bench is on the work: what `work` says, with the plane as complex numbers."""
        seen = x + 1j * y
        self._require_finite(theta, x, y, z, across, along)
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

    def _require_finite(self, theta: Array, *places: Array) -> None:
        """Refuse a tip or a headstock that stands nowhere; chucks are looked at by themselves."""
        if all(all_finite(each) for each in (theta, *places)):
            return
        each = np.broadcast_arrays(theta, *places)
        first = int((~np.isfinite(each).all(axis=0)).argmax())
        at = (
            ""
            if not math.isfinite(each[0][first])
            else f", at {format_number(math.degrees(each[0][first]), 3)} degrees of the spindle"
        )
        message = f"slides and cams lead to a place that is not finite{at}; change their settings"
        raise SettingError(message, f"pass[{self.cut.group}]")

    def axes(self, u: Array) -> dict[str, Array]:
        """Return each axis at (n,) places of the pass, by what it moves: degrees for the spindle and cams, mm for slides."""
        x, y, z = self.tip(u).T
        turns = self.turns(u)
        turning = {"spindle": 360.0 * turns}
        led = (*self.leads_x, *self.leads_z)
        for push in sorted(self.pushes, key=lambda push: push.number):
            if push not in led:
                turning[push.axis] = push.shaft.at(u)
        if self.swings is not None:
            turning["cutter"] = np.degrees(self.swings.angle(u / self.cut.span))
        return {**turning, "x": x, "y": y, "z": z}

    def place_of(self, axes: Mapping[str, Array]) -> Array:
        """Return where the cutter's tip is on the work with every axis at given places, those of the pass or others: (n, 3) mm.

        Parameters
        ----------
        axes : mapping from what moves to (n,) or single mm or degrees
            As `axes` names them. What is left out stands where the pass begins; but a cam without an axis of its own goes with
            the spindle.
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
        begins = dict(zip("xyz", self.tip(np.zeros(1))[0].tolist(), strict=True))
        x, y, z = (np.atleast_1d(np.asarray(axes.get(name, begins[name]), dtype=np.float64)) for name in "xyz")
        return x, y, z, np.radians(np.atleast_1d(axes.get("spindle", 360 * self.turns(np.zeros(1)))))

    def _displaced_of(self, axes: Mapping[str, Array]) -> tuple[Array, Array]:
        """Return how far the headstock stands across and along, mm."""
        stands = 360 * self.turns(np.zeros(1))
        turned = np.atleast_1d(axes.get("spindle", stands)) - stands

        def cam(push: Push) -> Array:
            if push.axis in axes:
                return np.atleast_1d(axes[push.axis])
            begins = push.shaft.at(np.zeros(1))
            return begins if self.cut.lathe.axis(push.axis) else begins + float(push.ratio) * turned

        def come_to(pushes: Pushes) -> Array:
            return pushes.together(list(np.broadcast_arrays(*(push.with_cam_at(cam(push)) for push in pushes))))

        return come_to(self.sideways), come_to(self.endways)


def motion_of(cut: Cut) -> Motion:
    """Return the motion of one cut.

    Raises
    ------
    SettingError
        Where the lathe cannot do what the pass asks: an axis it lacks, a headstock that does not move that way,
        a follower or cams that do not go together, a chuck's slide that would go past its end. The message names the key.
    PartError
        Where a chuck, a cam or a follower gives a number that is not finite.
    PluginError
        Where a chuck's motions are no rigid motions.
    """
    passed, lathe = cut.passed, cut.lathe
    _axes_there(cut)
    require_settable(cut)
    turns, begins = float(passed.turns), float(passed.spindle.in_turns())
    for place, mounted in enumerate(lathe.chucks, 1):
        try:
            mounted.require_sound(turns, begins)
            mounted.require_within_travel(turns, begins)
        except SettingError as error:
            raise error.at(f"chuck[{place}]") from None
    moved, led = _pushes(cut)
    rocks = lathe.headstock.sideways == "rocks"
    crowded = any(len(moved[moves]) + len(led[moves]) > 1 for moves in moved)
    furthest = passed.together == "furthest" and crowded
    if len(moved["sideways"]) > 1 and rocks and passed.together == "sum":
        raise SettingError(
            "together='sum': two cams on one rocking headstock do not add up; write 'furthest', or use a headstock that slides"
        )
    sides = {}
    for moves in moved:
        if furthest and moved[moves] and led[moves]:
            raise SettingError(
                f"together='furthest': of the cams that move {moves}, some exist only in software, and theirs is added; "
                "write 'sum', or leave it out"
            )
        holds = furthest or (rocks and moves == "sideways" and len(moved[moves]) > 1)
        if holds and any(len({push.scale > 0 for push in same}) > 1 for same in (moved[moves], led[moves])):
            raise SettingError(
                f"together='furthest': the cams that move {moves} bear on both sides; put their followers on one side"
            )
        sides[moves] = Pushes(tuple(moved[moves]), holds), Pushes(tuple(led[moves]), furthest)
    (sideways, leads_x), (endways, leads_z) = sides["sideways"], sides["endways"]
    return Motion(cut, sideways, endways, leads_x, leads_z, rocks, _still(lathe))


def _pushes(cut: Cut) -> tuple[dict[Moves, list[Push]], dict[Moves, list[Push]]]:
    """Return what each cam does, by which way: to the headstock, and, of cams that exist only in software, to a slide."""
    moved: dict[Moves, list[Push]] = {"sideways": [], "endways": []}
    led: dict[Moves, list[Push]] = {"sideways": [], "endways": []}
    for number, drive in enumerate(cut.passed.cams, 1):
        computed = cut.lathe.cam_shaft(number).turned_by == "software"
        try:
            _require_turns(drive, number, cut)
            (led if computed else moved)[drive.moves].append(push_of(drive, number, cut))
        except InputError as error:
            raise error.at(f"cam[{number}]") from None
    return moved, led


def _require_turns(drive: Drive, number: int, cut: Cut) -> None:
    """Refuse a twist that the lathe cannot turn the cam by, or that never comes."""
    if drive.twist is None:
        return
    if drive.twist.turns is not None and not cut.passed.turns:
        raise SettingError(
            f"twist.turns={drive.twist.turns}: the spindle stands still in this pass; write over, the length in which it twists"
        )
    turned_by = cut.lathe.cam_shaft(number).turned_by
    if turned_by in ("spindle", "gears") and not (cut.level and drive.twist.over is not None):
        turns = "gears turn" if turned_by == "gears" else "the spindle turns"
        drifts = "along the work" if drive.twist.over is not None else "from turn to turn"
        raise SettingError(
            f"twist: {turns} cam {number}, so its phase cannot drift {drifts} while it cuts; give it a motor of its own, "
            "or cut rings that a series steps along z, without travel along z: the phase of each is set by hand"
        )


def _still(lathe: Lathe) -> Still | None:
    if any(mounted.is_dynamic for mounted in lathe.chucks):
        return None
    motions = (mounted.standing(np.zeros(1)) for mounted in lathe.chucks)
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
    if passed.template is not None:
        try:
            passed.template.require_one_way("x" if cut.approach.axis == "z" else "z", cut.units)
        except SettingError as error:
            raise error.at("template") from None
        for slide, places in zip("xz", cut.slides(np.append(cut.corners, [0.0, cut.span]))[:, ::2].T, strict=True):
            if np.ptp(places) > 0:
                lathe.need(slide, f"template: the {slide} slide follows it while it cuts")
    for slide, travel in zip("xyz", cut.travel, strict=True):
        if travel:
            lathe.need(slide, f"travel.{slide}: the pass moves the {slide} slide while it cuts")
