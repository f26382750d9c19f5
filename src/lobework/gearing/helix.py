"""Helices on round work: conversion between helix angle, lead, slide travel and twist.

The helix angle is measured from the axis of the work; the lead angle of a thread is 90 degrees minus the helix angle. Lead and
angle have a sign. If the sign is positive and the end of the work away from the headstock points up, the groove descends to the
right; such a groove results when the slide moves away from the headstock and the spindle turns in its positive direction. The
sign is that of the ``angle_deg`` of a `CuttingFrame`.
"""

from __future__ import annotations

import math

from lobework.errors import require

__all__ = [
    "helix_angle",
    "lead_from_angle",
    "lead_of_travel",
    "lead_of_twist",
]


def helix_angle(diameter: float, lead: float) -> float:
    """Return the helix angle, degrees; a cutting frame that is set to this angle swings the cutter along the groove.

    Parameters
    ----------
    diameter : float, mm
        Diameter of the work, above zero.
    lead : float, mm
        Axial advance of the groove per turn of the work; zero for a ring, infinite for a groove parallel to the axis.

    Raises
    ------
    SettingError
        If the diameter is not above zero, or the lead is NaN.

    References
    ----------
    J. Rose, *Modern Machine-Shop Practice*, figs. 1977-1979: the circumference over the lead is the tangent of the angle.

    Examples
    --------
    >>> round(helix_angle(40.0, lead_of_twist(50.0, 60)), 3), helix_angle(10.0, 0.0)
    (22.728, 90.0)
    """
    _require_positive("diameter", diameter)
    require(not math.isnan(lead), "lead", lead, "a number, in mm")
    angle = math.degrees(math.atan2(math.pi * diameter, abs(lead)))
    return math.copysign(angle, lead) if lead else angle


def lead_from_angle(diameter: float, angle_deg: float) -> float:
    """Return the lead, mm, for a diameter of the work, mm, and a helix angle, degrees; infinite at zero degrees.

    Raises
    ------
    SettingError
        If the diameter is not above zero, or the angle is not from -90 to 90 degrees.

    Examples
    --------
    >>> round(lead_from_angle(60.0, 45.0), 3)
    188.496
    """
    _require_positive("diameter", diameter)
    _require_angle(angle_deg)
    if abs(angle_deg) == 90:
        return 0.0
    return math.pi * diameter / math.tan(math.radians(angle_deg)) if angle_deg else math.inf


def lead_of_travel(travel: float, turns: float) -> float:
    """Return the lead, mm, of a groove that is cut while the slide travels ``travel`` mm in ``turns`` turns of the spindle.

    Raises
    ------
    SettingError
        If the turns are not above zero, or the travel is not finite.

    Examples
    --------
    >>> lead_of_travel(-30.0, 0.25)
    -120.0
    """
    _require_positive("turns", turns)
    require(math.isfinite(travel), "travel", travel, "finite, in mm")
    return float(travel) / float(turns)


def lead_of_twist(over: float, twist_deg: float, ratio: float = 1.0) -> float:
    """Return the lead, mm, of the pattern of a cam whose phase changes along the work.

    A phase change of ``w`` turns the pattern by ``w / ratio``. For example, if the cam makes two turns per turn of the work, the
    waves move round the work by half the phase change.

    Parameters
    ----------
    over : float, mm
        Length of the work over which the phase changes by ``twist_deg``; above zero.
    twist_deg : float, degrees
        Change of the cam's phase; at zero the lead is infinite.
    ratio : float
        Cam turns per spindle turn, not zero.

    Raises
    ------
    SettingError
        If the length is not above zero, the twist is not finite, or the ratio is zero.

    Examples
    --------
    >>> lead_of_twist(50.0, 90.0), lead_of_twist(50.0, 90.0, ratio=2.0)
    (200.0, 400.0)
    """
    _require_positive("over", over)
    require(math.isfinite(twist_deg), "twist", twist_deg, "finite, in degrees")
    require(ratio != 0 and math.isfinite(ratio), "ratio", ratio, "a number other than zero")
    return over * 360 * float(ratio) / twist_deg if twist_deg else math.inf


def _require_positive(name: str, given: float) -> None:
    require(0 < given < math.inf, name, given, "above zero")


def _require_angle(angle_deg: float) -> None:
    require(abs(angle_deg) <= 90, "angle", angle_deg, "-90 to 90 degrees")
