"""Helices on round work: the angle at which a cutting frame swings along them, from lead or twist, and back.

Angles are to the work's axis; the lead angle of a screw's thread is what is left of 90 degrees. Lead and angle bear a sign: above
zero, the groove falls to the right where the end of the work away from the headstock is up, as one does that is cut with the
slide going away from the headstock while the spindle turns its own way. So it agrees with the ``angle_deg`` of a `CuttingFrame`.
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
    """Return the angle between a helix and the axis, degrees: what a cutting frame is set to so that it swings along the groove.

    Parameters
    ----------
    diameter : float, mm
        Of the work, above zero.
    lead : float, mm
        How far the groove goes along the work in one turn of it; at zero it goes round, endless and it goes straight along.

    Raises
    ------
    SettingError
        Where the diameter is not above zero, or the lead is no number.

    References
    ----------
    J. Rose, *Modern Machine-Shop Practice*, figs. 1977-1979: the circumference over the lead is the tangent of the angle.

    Examples
    --------
    >>> round(helix_angle(40.0, lead_of_twist(50.0, 60)), 3), helix_angle(10.0, 0.0)
    (22.728, 90.0)
    """
    _above_zero("diameter", diameter)
    require(not math.isnan(lead), "lead", lead, "a number, in mm")
    angle = math.degrees(math.atan2(math.pi * diameter, abs(lead)))
    return math.copysign(angle, lead) if lead else angle


def lead_from_angle(diameter: float, angle_deg: float) -> float:
    """Return the lead, mm, of a helix on work of a diameter, mm, at an angle to the axis; endless at zero degrees.

    Raises
    ------
    SettingError
        Where the diameter is not above zero, or the angle is beyond 90 degrees either way.

    Examples
    --------
    >>> round(lead_from_angle(60.0, 45.0), 3)
    188.496
    """
    _above_zero("diameter", diameter)
    _slanting(angle_deg)
    if abs(angle_deg) == 90:
        return 0.0
    return math.pi * diameter / math.tan(math.radians(angle_deg)) if angle_deg else math.inf


def lead_of_travel(travel: float, turns: float) -> float:
    """Return the lead, mm, of the groove where the slide goes ``travel`` mm along the work in so many turns of the spindle.

    Raises
    ------
    SettingError
        Where the turns are not above zero, or the travel is not finite.

    Examples
    --------
    >>> lead_of_travel(-30.0, 0.25)
    -120.0
    """
    _above_zero("turns", turns)
    require(math.isfinite(travel), "travel", travel, "finite, in mm")
    return float(travel) / float(turns)


def lead_of_twist(over: float, twist_deg: float, ratio: float = 1.0) -> float:
    """Return the lead, mm, of the pattern that a cam leaves whose phase drifts along the work.

    A drift of ``w`` turns the pattern by ``w / ratio``: a cam that turns twice for each turn of the work moves its waves half
    as far round it.

    Parameters
    ----------
    over : float, mm
        The length of work in which the cam drifts by ``twist_deg``; above zero.
    twist_deg : float, degrees
        Of the cam; endless lead at zero.
    ratio : float
        Turns of the cam to one of the spindle, not zero.

    Raises
    ------
    SettingError
        Where the length is not above zero, the twist is not finite, or the ratio is zero.

    Examples
    --------
    >>> lead_of_twist(50.0, 90.0), lead_of_twist(50.0, 90.0, ratio=2.0)
    (200.0, 400.0)
    """
    _above_zero("over", over)
    require(math.isfinite(twist_deg), "twist", twist_deg, "finite, in degrees")
    require(ratio != 0 and math.isfinite(ratio), "ratio", ratio, "a number other than zero")
    return over * 360 * float(ratio) / twist_deg if twist_deg else math.inf


def _above_zero(name: str, given: float) -> None:
    require(0 < given < math.inf, name, given, "above zero")


def _slanting(angle_deg: float) -> None:
    require(abs(angle_deg) <= 90, "angle", angle_deg, "-90 to 90 degrees")
