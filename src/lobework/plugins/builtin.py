"""The built-in items, registered by the same hooks as the items of any plugin."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lobework.carve.compiled import CompiledBackend
from lobework.carve.plain import PlainBackend
from lobework.checks.check import bridging_findings, closure_findings, ratio_findings, template_findings, travel_findings
from lobework.parts.cam import EccentricCam, MotionLaw, Scallop, Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck, StraightLine
from lobework.parts.cutter import Ball, FlatEnd, Pen, Profiled, RoundNosed, Vee
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.piece import Barrel, Disc, Turned
from lobework.plugins.hookspecs import hookimpl
from lobework.targets import BUILT_IN

if TYPE_CHECKING:
    from lobework.carve import Backend
    from lobework.parts.protocols import Cam, Chuck, Cutter, Follower, Piece
    from lobework.plugins.hookspecs import Check
    from lobework.plugins.sample import Sample
    from lobework.targets import Target

__all__ = [
    "lobework_backends",
    "lobework_cams",
    "lobework_checks",
    "lobework_chucks",
    "lobework_contract",
    "lobework_cutters",
    "lobework_followers",
    "lobework_pieces",
    "lobework_samples",
    "lobework_targets",
]

lobework_contract = 2


@hookimpl
def lobework_cams() -> list[type[Cam]]:
    """Return the built-in cam shapes."""
    return [Wave, Scallop, EccentricCam, MotionLaw]


@hookimpl
def lobework_followers() -> list[type[Follower]]:
    """Return the built-in followers."""
    return [Knife, Roller, FlatFollower]


@hookimpl
def lobework_chucks() -> list[type[Chuck]]:
    """Return the built-in chucks."""
    return [PlainChuck, EccentricChuck, Oval, StraightLine, Dome]


@hookimpl
def lobework_cutters() -> list[type[Cutter]]:
    """Return the built-in cutters, and the pen."""
    return [Vee, Ball, FlatEnd, RoundNosed, Profiled, Pen]


@hookimpl
def lobework_pieces() -> list[type[Piece]]:
    """Return the built-in forms of work."""
    return [Disc, Barrel, Turned]


@hookimpl
def lobework_backends() -> list[Backend]:
    """Return the built-in carving backends; the first is the default."""
    return [CompiledBackend(), PlainBackend()]


@hookimpl
def lobework_targets() -> list[Target]:
    """Return the built-in targets."""
    return list(BUILT_IN)


@hookimpl
def lobework_checks() -> list[Check]:
    """Return the built-in checks."""
    return [closure_findings, bridging_findings, travel_findings, ratio_findings, template_findings]


@hookimpl
def lobework_samples() -> list[Sample]:
    """Return the samples of the built-in items."""
    from lobework.plugins.samples import EVERY

    return list(EVERY)
