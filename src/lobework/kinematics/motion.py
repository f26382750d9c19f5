"""The motion of one cut: axes, headstock and work as functions of the spindle's turns."""

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
    """The constant pose of the work on the spindle, if the chucks neither move nor tilt the work.

    ``turned`` is the angle about the spindle's axis, rad; ``across`` is the shift x + iy, mm; ``along`` is the shift in z, mm.
    """

    turned: float
    across: complex
    along: float


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Motion(Brief):
    """The motion of one cut as a function of ``u``, which runs from 0 to ``cut.span``.

    ``u`` is the turns of the spindle since the start of the pass. If the spindle stands still while the slides move, ``u`` is
    the completed fraction of the pass.

    Parameters
    ----------
    cut : Cut
        The cut.
    sideways, endways : Pushes
        Pushes that move the headstock across and along the bench.
    leads_x, leads_z : Pushes
        Pushes of cams that exist only in software: the slides X and Z move instead of the headstock, in the opposite direction.
    rocks : bool
        Whether the pushes ``sideways`` act along the arc about the pivot of a rocking headstock instead of along a straight
        line.
    still : Still or None
        Pose of the work on the spindle if the chucks neither move nor tilt the work; otherwise None.
    """

    cut: Cut
    sideways: Pushes
    endways: Pushes
    leads_x: Pushes
    leads_z: Pushes
    rocks: bool
    still: Still | None

    @property
    def keeps_z(self) -> bool:
        """Whether the z of the tip relative to the spindle is constant throughout the pass."""
        return not self.endways and not self.leads_z and self.cut.keeps_z

    @property
    def pushes(self) -> tuple[Push, ...]:
        """The pushes of all cams."""
        return (*self.sideways, *self.leads_x, *self.endways, *self.leads_z)

    def turns(self, u: Array) -> Array:
        """Return the spindle's position, (n,) turns, for (n,) values of ``u``."""
        begins = float(self.cut.passed.spindle.in_turns())
        return begins + u if self.cut.passed.turns else np.full_like(u, begins)

    def theta(self, u: Array) -> Array:
        """Return the spindle's angle, (n,) rad, for (n,) values of ``u``."""
        return 2 * math.pi * self.turns(u)

    def tip(self, u: Array) -> Array:
        """Return the position of the cutter's tip on the bench: (n, 3) mm."""
        tip = self.cut.slides(u)
        tip[:, 0] -= self.leads_x.at(u)
        tip[:, 2] -= self.leads_z.at(u)
        return tip

    @property
    def swings(self) -> SlideArc | None:
        """The arc along which the cutter turns; None if the cutter keeps its direction on the bench."""
        arc = self.cut.passed.arc
        return arc if arc is not None and arc.cutter == "turns" else None

    def cutter(self, u: Array) -> Rigid:
        """Return the rotation of the cutter from the direction along the spindle: n rigid motions, or a single one."""
        return Rigid.still() if self.swings is None else Rigid.tilt(self.swings.angle(u / self.cut.span))

    def carriage(self, u: Array) -> Rigid:
        """Return the pose of the spindle's nose on the bench, without the spindle's rotation: n rigid motions."""
        return self._headstock_pose(self.sideways.at(u), self.endways.at(u))

    def _headstock_pose(self, across: Array, along: Array) -> Rigid:
        """Return the pose of the headstock for its displacements ``across`` and ``along`` the bench, mm."""
        if not self.rocks:
            return Rigid.move(x=across, z=along)
        height = self.cut.lathe.headstock.pivot_height
        return Rigid.move(y=-height, z=along) @ Rigid.turn(-across / height) @ Rigid.move(y=height)

    def work(self, u: Array) -> Rigid:
        """Return the pose of the work on the bench: n rigid motions, the products of headstock, spindle and chucks."""
        theta = self.theta(u)
        return self.carriage(u) @ Rigid.turn(theta) @ self.chucks(theta)

    def chucks(self, theta: Array) -> Rigid:
        """Return the pose of the work on the spindle, for (n,) spindle angles, rad: the product of the poses of the chucks."""
        return reduce(Rigid.__matmul__, self._chuck_poses(theta), Rigid.still())

    def _chuck_poses(self, theta: Array) -> Iterator[Rigid]:
        """Yield the pose of each chuck relative to its carrier (the spindle or another chuck), from the spindle outwards."""
        for place, mounted in enumerate(self.cut.lathe.chucks, 1):
            try:
                yield mounted.finite_motions(theta)
            except PartError as error:
                raise error.at(f"pass[{self.cut.group}].chuck[{place}]") from None

    def through_chucks(self, points: Array, theta: Array) -> Array:
        """Transform points, (n, 3) mm, from the spindle's frame to the frame of the work, for (n,) spindle angles, rad."""
        for pose in self._chuck_poses(theta):
            points = pose.undo(points)
        return points

    def place(self, u: Array) -> Array:
        """Return the position of the cutter's tip in the frame of the work: (n, 3) mm."""
        x, y, z = self.tip(u).T
        return self._on_work(x, y, z, self.theta(u), self.sideways.at(u), self.endways.at(u))

    def _on_work(self, x: Array, y: Array, z: Array, theta: Array, across: Array, along: Array) -> Array:
        """Transform positions of the tip from the bench to the frame of the work, by the inverse of `work`."""
        plane = x + 1j * y
        self._require_finite(theta, x, y, z, across, along)
        if self.rocks:
            height = self.cut.lathe.headstock.pivot_height
            plane = (plane + 1j * height) * np.exp(1j * (across / height - theta)) - 1j * height * np.exp(-1j * theta)
        else:
            plane = (plane - across) * np.exp(-1j * theta)
        z = z - along
        if self.still is None:
            return self.through_chucks(np.stack([plane.real, plane.imag, z], axis=-1), theta)
        plane = (plane - self.still.across) * np.exp(-1j * self.still.turned)
        return np.stack([plane.real, plane.imag, z - self.still.along], axis=-1)

    def _require_finite(self, theta: Array, *places: Array) -> None:
        """Raise `SettingError` if a position of the tip or the headstock is not finite; chucks are checked elsewhere."""
        if all(all_finite(each) for each in (theta, *places)):
            return
        each = np.broadcast_arrays(theta, *places)
        first = int((~np.isfinite(each).all(axis=0)).argmax())
        at = (
            ""
            if not math.isfinite(each[0][first])
            else f", at {format_number(math.degrees(each[0][first]), 3)} degrees of the spindle"
        )
        message = f"the settings of slides and cams result in a position that is not finite{at}"
        raise SettingError(message, f"pass[{self.cut.group}]", remedy="change these settings")

    def axes(self, u: Array) -> dict[str, Array]:
        """Return the positions of all axes, degrees or mm, for (n,) values of ``u``; the keys name what each axis moves."""
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
        """Return the position of the cutter's tip in the frame of the work, (n, 3) mm, for any positions of the axes.

        Parameters
        ----------
        axes : mapping from what moves to (n,) or single mm or degrees
            The keys are those of `axes`. A missing axis stands at its position at the start of the pass, but a cam that has no
            axis of its own turns with the spindle.
        """
        across, along = self._displacements(axes)
        x, y, z, theta, across, along = np.broadcast_arrays(*self._tip_and_angle(axes), across, along)
        return self._on_work(x, y, z, theta, across, along)

    def pose_of(self, axes: Mapping[str, Array]) -> Rigid:
        """Return the pose of the cutter in the frame of the work, for any positions of the axes: n rigid motions.

        The pose is that of a frame at the tip that turns with the cutter. The axes are as in `place_of`. If "cutter" is missing,
        the cutter has its direction at the start of the pass.
        """
        theta = np.atleast_1d(self._tip_and_angle(axes)[-1])
        across, along = (np.atleast_1d(each) for each in self._displacements(axes))
        work = self._headstock_pose(across, along) @ Rigid.turn(theta) @ self.chucks(theta)
        points = Rigid.still() if self.swings is None else self.cutter(np.zeros(1))
        if self.swings is not None and "cutter" in axes:
            points = Rigid.tilt(np.radians(np.atleast_1d(axes["cutter"])))
        return Rigid((work.inverse() @ points).rotation, self.place_of(axes))

    def _tip_and_angle(self, axes: Mapping[str, Array]) -> tuple[Array, Array, Array, Array]:
        """Return x, y and z of the tip on the bench, mm, and the spindle's angle, rad."""
        begins = dict(zip("xyz", self.tip(np.zeros(1))[0].tolist(), strict=True))
        x, y, z = (np.atleast_1d(np.asarray(axes.get(name, begins[name]), dtype=np.float64)) for name in "xyz")
        return x, y, z, np.radians(np.atleast_1d(axes.get("spindle", 360 * self.turns(np.zeros(1)))))

    def _displacements(self, axes: Mapping[str, Array]) -> tuple[Array, Array]:
        """Return the displacements of the headstock across and along the bench, mm."""
        stands = 360 * self.turns(np.zeros(1))
        turned = np.atleast_1d(axes.get("spindle", stands)) - stands

        def cam(push: Push) -> Array:
            if push.axis in axes:
                return np.atleast_1d(axes[push.axis])
            begins = push.shaft.at(np.zeros(1))
            return begins if self.cut.lathe.axis(push.axis) else begins + float(push.ratio) * turned

        def combined(pushes: Pushes) -> Array:
            return pushes.combine(list(np.broadcast_arrays(*(push.with_cam_at(cam(push)) for push in pushes))))

        return combined(self.sideways), combined(self.endways)


def motion_of(cut: Cut) -> Motion:
    """Return the motion of one cut.

    Raises
    ------
    SettingError
        If the lathe cannot make the cut: an axis is missing, the headstock does not move in the required direction, followers
        or cams cannot be combined, or a chuck's slide would pass the end of its travel. The message names the key.
    PartError
        If a chuck, a cam or a follower returns a number that is not finite.
    PluginError
        If the motions of a chuck are not rigid.
    """
    passed, lathe = cut.passed, cut.lathe
    _require_axes(cut)
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
    shared = any(len(moved[moves]) + len(led[moves]) > 1 for moves in moved)
    furthest = passed.together == "furthest" and shared
    if len(moved["sideways"]) > 1 and rocks and passed.together == "sum":
        raise SettingError(
            name="together",
            given="'sum'",
            must_be="'furthest': the displacements of two cams on one rocking headstock cannot be added",
            remedy="or use a lathe whose headstock slides sideways",
        )
    sides = {}
    for moves in moved:
        if furthest and moved[moves] and led[moves]:
            raise SettingError(
                name="together",
                given="'furthest'",
                must_be=f"'sum': some of the cams for {moves} motion exist only in software, and their displacements are added",
                remedy="or omit the key 'together'",
            )
        takes_furthest = furthest or (rocks and moves == "sideways" and len(moved[moves]) > 1)
        if takes_furthest and any(len({push.scale > 0 for push in same}) > 1 for same in (moved[moves], led[moves])):
            raise SettingError(
                f"together='furthest': the followers of the cams for {moves} motion are on opposite sides",
                remedy="put all of them on the same side",
            )
        sides[moves] = Pushes(tuple(moved[moves]), takes_furthest), Pushes(tuple(led[moves]), furthest)
    (sideways, leads_x), (endways, leads_z) = sides["sideways"], sides["endways"]
    return Motion(cut, sideways, endways, leads_x, leads_z, rocks, _still(lathe))


def _pushes(cut: Cut) -> tuple[dict[Moves, list[Push]], dict[Moves, list[Push]]]:
    """Return the pushes by direction: first the pushes on the headstock, then those of cams that exist only in software."""
    moved: dict[Moves, list[Push]] = {"sideways": [], "endways": []}
    led: dict[Moves, list[Push]] = {"sideways": [], "endways": []}
    for number, drive in enumerate(cut.passed.cams, 1):
        computed = cut.lathe.cam_shaft(number).turned_by == "software"
        try:
            _require_twist(drive, number, cut)
            (led if computed else moved)[drive.moves].append(push_of(drive, number, cut))
        except InputError as error:
            raise error.at(f"cam[{number}]") from None
    return moved, led


def _require_twist(drive: Drive, number: int, cut: Cut) -> None:
    """Raise `SettingError` if the lathe cannot twist the cam, or if the spindle must turn for the twist but stands still."""
    if drive.twist is None:
        return
    if drive.twist.turns is not None and not cut.passed.turns:
        raise SettingError(
            f"twist.turns={drive.twist.turns}: the spindle stands still in this pass",
            remedy="write twist.over, the length along the work over which the cam twists",
        )
    turned_by = cut.lathe.cam_shaft(number).turned_by
    if turned_by in ("spindle", "gears") and not (cut.keeps_z and drive.twist.over is not None):
        turns = "gears turn" if turned_by == "gears" else "the spindle turns"
        drifts = "along the work" if drive.twist.over is not None else "from turn to turn"
        raise SettingError(
            f"twist: {turns} cam {number}, so the cam's phase cannot drift {drifts} during the cut",
            remedy="give the cam its own motor, or cut rings that a series steps along z, without travel along z: "
            "you then set the cam's phase by hand for each ring",
        )


def _still(lathe: Lathe) -> Still | None:
    """Return the constant pose of the work on the spindle; None if a chuck moves or tilts the work."""
    if any(mounted.is_dynamic for mounted in lathe.chucks):
        return None
    poses = (mounted.finite_motions(np.zeros(1)) for mounted in lathe.chucks)
    pose = reduce(Rigid.__matmul__, poses, Rigid.still())
    rotation, (x, y, z) = pose.rotation[0], pose.shift[0]
    if rotation[2, 2] < 0 or rotation[2, :2].any() or rotation[:2, 2].any():
        return None
    return Still(math.atan2(rotation[1, 0], rotation[0, 0]), complex(x, y), float(z))


def _require_axes(cut: Cut) -> None:
    """Raise `SettingError` if the lathe has no axis for a motion of the cut."""
    passed, lathe = cut.passed, cut.lathe
    if passed.arc is not None:
        for slide in "xz":
            lathe.need(slide, "arc: the tip moves in X and Z during the cut")
        if passed.arc.cutter == "turns" and lathe.axis("cutter") is None:
            lathe.need(
                "cutter",
                "arc.cutter='turns': the cutter turns about Y along the arc (write 'keeps' if the cutter does not turn)",
            )
    if passed.template is not None:
        try:
            passed.template.require_one_way("x" if cut.approach.axis == "z" else "z", cut.units)
        except SettingError as error:
            raise error.at("template") from None
        for slide, places in zip("xz", cut.slides(np.append(cut.corners, [0.0, cut.span]))[:, ::2].T, strict=True):
            if np.ptp(places) > 0:
                lathe.need(slide, f"template: the {slide} slide follows the template during the cut")
    for slide, travel in zip("xyz", cut.travel, strict=True):
        if travel:
            lathe.need(slide, f"travel.{slide}: the pass moves the {slide} slide during the cut")
