"""Checks whether a cut can be set on its lathe: the sides of the followers, the drives of the cams, and the notches of wheels."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lobework.errors import InputError, SettingError

if TYPE_CHECKING:
    from fractions import Fraction

    from lobework.lathe.lathe import Lathe
    from lobework.lathe.passes import Cut
    from lobework.parts.drive import Drive

__all__ = ["require_settable"]


def require_settable(cut: Cut) -> None:
    """Refuse a cut with settings that its lathe does not allow.

    Raises
    ------
    SettingError
        If a setting is not possible; the message contains the key and the value of the setting, and what the lathe has.

    Examples
    --------
    >>> from lobework.parts.cam import Wave
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.drive import Drive
    >>> from lobework.parts.follower import Roller
    >>> from lobework.lathe.lathe import Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="slides", followers=("back",)))
    >>> drive = Drive(Wave(lobes=12, base_radius=62.0, rise=2.0), follower=Roller(3.0))
    >>> require_settable(Cut(number=1, passed=Pass(cams=(drive,)), lathe=lathe))
    Traceback (most recent call last):
    lobework.errors.SettingError: cam[1].side: 'front' must be 'back': lathe 'bench' has a follower only on this side
    """
    passed, lathe = cut.passed, cut.lathe
    if passed.at.y and lathe.axis("y") is None and lathe.hand_axis("y") is None:
        lathe.need("y", f"at.y={passed.at.y:g}: the cutter stands above or below the spindle")
    if lathe.axis("spindle") is None:
        _require_notch("spindle", passed.spindle.in_turns(), "spindle", lathe)
    for number, drive in enumerate(map(cut.as_set, passed.cams), 1):
        _require_turned(drive, number, lathe)
        if lathe.cam_shaft(number).turned_by != "software":
            _require_place(drive, number, lathe)
            _require_notches(drive, number, lathe)


def _require_place(drive: Drive, number: int, lathe: Lathe) -> None:
    places = lathe.headstock.followers
    if drive.side not in places:
        must_be = f"{places[0]!r}: lathe {lathe.name!r} has a follower only on this side"
        raise SettingError(where=f"cam[{number}].side", given=repr(drive.side), must_be=must_be)


def _require_turned(drive: Drive, number: int, lathe: Lathe) -> None:
    """Refuse a ratio that the drive of this cam cannot produce, and a software cam without a slide to follow its lift."""
    shaft = lathe.cam_shaft(number)
    if shaft.turned_by == "software":
        slide, direction = ("x", "across the spindle") if drive.moves == "sideways" else ("z", "along the spindle")
        lathe.need(slide, f"cam[{number}]: this cam exists only in software, so a slide must follow its lift {direction}")
    elif shaft.turned_by == "gears" or shaft.percent_places is not None:
        try:
            _ = shaft.train(drive.ratio) if shaft.turned_by == "gears" else shaft.percent(drive.ratio)
        except InputError as error:
            raise error.replaced(where=f"cam[{number}].ratio") from None
    elif shaft.turned_by == "spindle" and drive.ratio != 1:
        if any(cam.number == number for cam in lathe.cams):
            must_be = f"1: lathe {lathe.name!r} has cam {number} locked to the spindle"
            remedy = "use a lathe that turns this cam by gears or a motor"
            raise SettingError(where=f"cam[{number}].ratio", given=f"{drive.ratio}", must_be=must_be, remedy=remedy)
        lathe.need(f"cam {number}", f"cam[{number}].ratio={drive.ratio}: this cam does not turn with the spindle")


def _require_notches(drive: Drive, number: int, lathe: Lathe) -> None:
    """Refuse a phase or an index that lies between two notches of its wheel."""
    for name in ("phase", "index"):
        _require_notch(f"cam {number} {name}", getattr(drive, name).in_turns(drive.cam.lobes), f"cam[{number}].{name}", lathe)


def _require_notch(moves: str, turned: Fraction, key: str, lathe: Lathe) -> None:
    hand = lathe.hand_axis(moves)
    if hand is not None and hand.wheel is not None:
        try:
            hand.wheel.setting_text(turned)
        except SettingError as error:
            raise error.replaced(where=key) from None
