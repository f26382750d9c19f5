"""lobework models a rose engine: what a set of settings will cut, whether it can be cut, and what to set."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lobework.cam import CamShape, Eccentric, Law, Scallop, Wave
    from lobework.camshaft import CamShaft
    from lobework.carriage import Headstock
    from lobework.carve import Carving
    from lobework.check import Finding
    from lobework.chuck import Dome, EccentricChuck, Oval, Plain, StraightLine
    from lobework.closure import Closure
    from lobework.contact import Bridge, Lift, largest_roller, lift_of, pressure_angle, touch_at
    from lobework.cutter import Ball, FlatEnd, Pen, Profiled, RoundNosed, Vee
    from lobework.drive import Drive
    from lobework.errors import InputError, LobeworkError
    from lobework.feeds import Feeds
    from lobework.follower import Flat, Knife, Roller
    from lobework.gears import Train, train_for
    from lobework.helix import helix_angle
    from lobework.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
    from lobework.job import Job
    from lobework.jobfile import job_schema, read_job, read_lathe
    from lobework.lathe import Axis, Controller, HandAxis, Lathe
    from lobework.passes import Cut, Pass, Series
    from lobework.piece import Barrel, Disc, Turned
    from lobework.ratios import RealRatio
    from lobework.rigid import Rigid
    from lobework.screw import Screw
    from lobework.slide import Arc, At
    from lobework.template import Template, read_template, template_of
    from lobework.trace import Trace
    from lobework.twist import Twist
    from lobework.units import Phase
    from lobework.wheel import Wheel

__all__ = [
    "Arc",
    "At",
    "Axis",
    "Ball",
    "Barrel",
    "Bridge",
    "CamShaft",
    "CamShape",
    "Carving",
    "Closure",
    "Controller",
    "Cut",
    "CuttingFrame",
    "Disc",
    "Dome",
    "DrillingSpindle",
    "Drive",
    "Eccentric",
    "EccentricChuck",
    "EccentricFrame",
    "Feeds",
    "Finding",
    "FixedTool",
    "Flat",
    "FlatEnd",
    "HandAxis",
    "Headstock",
    "InputError",
    "Job",
    "Knife",
    "Lathe",
    "Law",
    "Lift",
    "LobeworkError",
    "Oval",
    "Pass",
    "Pen",
    "Phase",
    "Plain",
    "Profiled",
    "RealRatio",
    "Rigid",
    "Roller",
    "RoundNosed",
    "Scallop",
    "Screw",
    "Series",
    "StraightLine",
    "Template",
    "Trace",
    "Train",
    "Turned",
    "Twist",
    "Vee",
    "Wave",
    "Wheel",
    "helix_angle",
    "job_schema",
    "largest_roller",
    "lift_of",
    "pressure_angle",
    "read_job",
    "read_lathe",
    "read_template",
    "template_of",
    "touch_at",
    "train_for",
]

_HOME = {
    "cam": ("CamShape", "Eccentric", "Law", "Scallop", "Wave"),
    "camshaft": ("CamShaft",),
    "carriage": ("Headstock",),
    "carve": ("Carving",),
    "check": ("Finding",),
    "chuck": ("Dome", "EccentricChuck", "Oval", "Plain", "StraightLine"),
    "closure": ("Closure",),
    "contact": ("Bridge", "Lift", "largest_roller", "lift_of", "pressure_angle", "touch_at"),
    "cutter": ("Ball", "FlatEnd", "Pen", "Profiled", "RoundNosed", "Vee"),
    "drive": ("Drive",),
    "errors": ("InputError", "LobeworkError"),
    "feeds": ("Feeds",),
    "follower": ("Flat", "Knife", "Roller"),
    "gears": ("Train", "train_for"),
    "helix": ("helix_angle",),
    "holder": ("CuttingFrame", "DrillingSpindle", "EccentricFrame", "FixedTool"),
    "job": ("Job",),
    "jobfile": ("job_schema", "read_job", "read_lathe"),
    "lathe": ("Axis", "Controller", "HandAxis", "Lathe"),
    "passes": ("Cut", "Pass", "Series"),
    "piece": ("Barrel", "Disc", "Turned"),
    "ratios": ("RealRatio",),
    "rigid": ("Rigid",),
    "screw": ("Screw",),
    "slide": ("Arc", "At"),
    "template": ("Template", "read_template", "template_of"),
    "trace": ("Trace",),
    "twist": ("Twist",),
    "units": ("Phase",),
    "wheel": ("Wheel",),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}


def __getattr__(name: str) -> object:
    """Import a public name's module when it is first asked for: the library starts at once."""
    if name not in _MODULE_OF:
        raise AttributeError(f"module 'lobework' has no attribute {name!r}")
    found = getattr(importlib.import_module(f"lobework.{_MODULE_OF[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return [*__all__, "__doc__", "__file__", "__path__"]
