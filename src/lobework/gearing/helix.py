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
    "helix_length",
    "lead_from_angle",
    "lead_of_travel",
    "lead_of_twist",
    "raised_by",
    "spacing_around",
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


def helix_length(diameter: float, lead: float, turns: float) -> float:
    """Return how long a groove is, mm, that goes so many turns round work of a diameter, mm, at a lead, mm.

    Raises
    ------
    SettingError
        Where the diameter or the turns are not above zero, or the lead is not finite.

    Examples
    --------
    >>> helix_length(40.0, 30 * 3.141592653589793, 1.0) / 3.141592653589793
    50.0
    """
    _above_zero("diameter", diameter)
    _above_zero("turns", turns)
    require(math.isfinite(lead), "lead", lead, "finite, in mm")
    return math.hypot(math.pi * diameter, lead) * turns


def spacing_around(across: float, angle_deg: float) -> float:
    """Return how far apart round the work grooves at an angle stand that are ``across`` mm apart square to themselves.

    So it is the diameter of a blank on which as many teeth of a cutter go at an angle as go straight on one of ``across``.

    Raises
    ------
    SettingError
        Where the spacing is not above zero, or the angle is not below 90 degrees either way.

    Examples
    --------
    >>> round(spacing_around(10.0, 19 + 22 / 60), 1)
    10.6
    """
    _above_zero("across", across)
    _slanting(angle_deg)
    require(abs(angle_deg) < 90, "angle", angle_deg, "below 90 degrees", "grooves that go round the work are not side by side")
    return across / math.cos(math.radians(angle_deg))


def raised_by(lead: float, geared: float) -> float:
    """Return how far to raise a dividing head, degrees from level, so that it cuts a face cam of less lead than it is geared for.

    Parameters
    ----------
    lead : float, mm
        The cam's: how far it would rise in one turn. Above zero.
    geared : float, mm
        How far the table goes in one turn of the head, ``lead`` or more.

    Raises
    ------
    SettingError
        Where the lead is not above zero, or more than the head is geared for.

    References
    ----------
    Brown & Sharpe, *Practical Treatise on Milling and Milling Machines*, p. 180: the lead over the geared lead is the sine of
    the angle.

    Examples
    --------
    >>> round(raised_by(0.196 * 25.4, 0.67 * 25.4), 4)
    17.0099
    """
    _above_zero("lead", lead)
    within = lead <= geared < math.inf
    require(within, "geared", geared, f"the lead, {lead:g} mm, or more", "gear the head for a longer lead")
    return math.degrees(math.asin(lead / geared))


def _above_zero(name: str, given: float) -> None:
    require(0 < given < math.inf, name, given, "above zero")


def _slanting(angle_deg: float) -> None:
    require(abs(angle_deg) <= 90, "angle", angle_deg, "-90 to 90 degrees")
