"""A check of the pressure angle: it finds cams that are too steep for their followers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.plugins import Check, EccentricCam, Finding, Wave, format_number, hookimpl, lift_of

if TYPE_CHECKING:
    from lobework.plugins import Cam, Cut, Drive, Motion, Trace
    from lobework.testing import Sample

__all__ = ["Steepest", "climb", "lobework_checks", "lobework_contract", "lobework_samples", "steepest"]

lobework_contract = 2

USUAL_DEG: Final = 30.0
"""The usual limit of the pressure angle for a translating follower. Source: siliconwit.com, *Cam and Follower Experiments*: kept
under about 30 degrees."""

TOO_STEEP_DEG: Final = 60.0
"""Pressure angle at which the side force is nearly twice the force along the travel: common practice, no source."""

_PLACES: Final = 4096
"""Number of angles tested in each lobe: the error of the pressure angle is below 0.01 degrees, at a corner of the cam too."""


class Steepest(NamedTuple):
    """The greatest pressure angle, and the angle round the cam, from the top of a lobe, at which it occurs."""

    angle_deg: float
    at_deg: float


def steepest(drive: Drive, motion: Motion) -> Steepest:
    """Return the greatest pressure angle: the angle between the follower's travel and the common normal at the contact.

    Its tangent is the slope of the lift, mm per radian, divided by the distance of the follower's reference point from the
    centre of the cam (for a face cam, by the radius of the track). A gain other than one, that is a lever between follower and
    headstock, does not change the angle. The angle is exact if the headstock slides or pumps. If the headstock rocks, the lift is
    its true path along the arc, and the distance is taken with the headstock upright. For a flat follower the angle is zero. A
    shaped follower is treated as if it touched the cam in line with its reference point.

    Parameters
    ----------
    drive : Drive
        One of the cams of the pass.
    motion : Motion
        Motion of the pass on its lathe.

    Examples
    --------
    >>> import lobework as lw
    >>> from lobework.kinematics.motion import motion_of
    >>> from lobework.lathe.passes import Cut
    >>> disc = lw.Drive(lw.EccentricCam(radius=30.0, offset=10.0), follower=lw.Roller(8.0))
    >>> cut = Cut(number=1, passed=lw.Pass(cams=[disc]), lathe=lw.read_lathe("sliding-bench"))
    >>> round(steepest(cut.passed.cams[0], motion_of(cut)).angle_deg, 4)
    15.2575
    """
    if drive.follower.form == "flat":
        return Steepest(0.0, 0.0)
    push = next(each for each in motion.pushes if each.name == drive.name)
    lift, curve = lift_of(drive.cam, drive.follower), push.curve
    at = np.arange(_PLACES) / _PLACES * curve.period
    out = drive.cam.base_radius if drive.cam.on == "face" else lift.curve.at(at) + lift.rest
    tangent = np.abs(push.scale / drive.gain * curve.slope(at) / out)
    best = int((tangent > tangent.max() * (1 - 1e-12)).argmax())
    return Steepest(math.degrees(math.atan(tangent[best])), math.degrees(at[best]))


def climb(cuts: Sequence[Cut], traces: Sequence[Trace]) -> Iterator[Finding]:
    """Yield a finding for each cam that is too steep for its follower: the place, the angle, and remedies."""
    for group in dict.fromkeys(cut.group for cut in cuts):
        cut, traced = next((cut, traced) for cut, traced in zip(cuts, traces, strict=True) if cut.group == group)
        for drive in cut.passed.cams:
            found = steepest(drive, traced.motion)
            if found.angle_deg > USUAL_DEG:
                yield Finding(
                    kind="climb",
                    level="problem" if found.angle_deg > TOO_STEEP_DEG else "warning",
                    where=f"{cut.passed.name or f'pass {group}'}, {drive.name}",
                    message=_message(drive, found),
                )


def _message(drive: Drive, found: Steepest) -> str:
    cam, follower = drive.cam, drive.follower
    part = math.tan(math.radians(USUAL_DEG)) / math.tan(math.radians(found.angle_deg))
    angle, at = format_number(found.angle_deg, 1), format_number(found.at_deg, 1)
    each = f" in each of {cam.lobes} lobes" if cam.lobes > 1 else ""
    radius = "track" if cam.on == "face" else "base radius"
    verdict = (
        "too steep to follow" if found.angle_deg > TOO_STEEP_DEG else f"above {USUAL_DEG:g} degrees friction and wear are high"
    )
    times = format_number(1 / part, 2)
    return (
        f"the pressure angle of the {follower.kind} is {angle} degrees, {at} degrees from the top of a lobe{each}; {verdict}: "
        f"use about {format_number(100 * part, 0)} % of the rise (with {times} times the gain for the same travel of the "
        f"headstock), fewer lobes, or a {radius} {times} times as large"
    )


@hookimpl
def lobework_checks() -> list[Check]:
    """Return the check."""
    return [climb]


@hookimpl
def lobework_samples() -> list[Sample]:
    """Return the check, with passes whose greatest pressure angle is known."""
    from lobework.testing import ExpectedValue, Sample

    def levels(check: Check, cam: Cam) -> list[str]:
        """Return the levels of the findings on a cam with a knife follower on a sliding headstock."""
        import lobework as lw
        from lobework.plugins import Cut, trace

        passed = lw.Pass(cams=(lw.Drive(cam, follower=lw.Knife()),))
        cut = Cut(number=1, passed=passed, lathe=lw.read_lathe("sliding-bench"))
        return [each.level for each in check([cut], [trace(cut)])]

    closed = "closed form: tan of the angle is lobes a / sqrt((base + a)^2 - a^2), a half the rise"
    disc = EccentricCam(radius=30.0, offset=10.0)
    steep, wall = (Wave(lobes=lobes, base_radius=40.0, rise=5.0) for lobes in (12, 60))
    return [
        Sample(
            climb,
            known=[
                ExpectedValue(lambda check: len(levels(check, disc)), 0, "closed form: asin(10 / 30), 19.47 degrees"),
                ExpectedValue(lambda check: levels(check, steep).count("warning"), 1, closed),
                ExpectedValue(lambda check: levels(check, wall).count("problem"), 1, closed),
            ],
        )
    ]
