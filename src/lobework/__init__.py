"""lobework models a rose engine lathe: it computes the cut from the settings, checks the cut, and lists the settings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lobework.lazy import names_on_demand

if TYPE_CHECKING:
    from lobework.carve import Carving
    from lobework.checks.check import Finding
    from lobework.errors import (
        InputError,
        LobeworkError,
        OutputExistsError,
        PartError,
        PluginError,
        SettingError,
        TooLargeError,
        UnknownNameError,
    )
    from lobework.gearing.change_wheels import Train, train_for
    from lobework.gearing.dividing_wheel import Wheel
    from lobework.gearing.helix import helix_angle
    from lobework.gearing.ratios import RealRatio
    from lobework.gearing.screw import Screw
    from lobework.geometry.rigid import Rigid
    from lobework.jobs.job import Job, Traces
    from lobework.jobs.jobfile import job_schema, lathe_schema, read_job, read_lathe
    from lobework.kinematics.closure import Closure
    from lobework.kinematics.contact import Bridge, Lift, largest_roller, lift_of, pressure_angle, touch_at
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Axis, Controller, HandAxis, Lathe
    from lobework.lathe.passes import Cut, Pass, Series
    from lobework.parts.cam import CamShape, EccentricCam, MotionLaw, Scallop, Wave
    from lobework.parts.camshaft import CamShaft
    from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck, StraightLine
    from lobework.parts.cutter import Ball, FlatEnd, Pen, Profiled, RoundNosed, Vee
    from lobework.parts.drive import Drive
    from lobework.parts.feeds import Feeds
    from lobework.parts.follower import FlatFollower, Knife, Roller
    from lobework.parts.headstock import Headstock
    from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
    from lobework.parts.piece import Barrel, Disc, Turned
    from lobework.parts.slide import At, SlideArc
    from lobework.parts.template import Template, read_template, template_of
    from lobework.parts.twist import Twist
    from lobework.pictures.save import save
    from lobework.program.steps import Program
    from lobework.proof import Proof
    from lobework.quantities.units import Phase, angle, length
    from lobework.render.drawing import Drawing
    from lobework.sheets.settings import Settings

__all__ = [
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
    "Drawing",
    "DrillingSpindle",
    "Drive",
    "EccentricCam",
    "EccentricChuck",
    "EccentricFrame",
    "Feeds",
    "Finding",
    "FixedTool",
    "FlatEnd",
    "FlatFollower",
    "HandAxis",
    "Headstock",
    "InputError",
    "Job",
    "Knife",
    "Lathe",
    "Lift",
    "LobeworkError",
    "MotionLaw",
    "OutputExistsError",
    "Oval",
    "PartError",
    "Pass",
    "Pen",
    "Phase",
    "PlainChuck",
    "PluginError",
    "Profiled",
    "Program",
    "Proof",
    "RealRatio",
    "Rigid",
    "Roller",
    "RoundNosed",
    "Scallop",
    "Screw",
    "Series",
    "SettingError",
    "Settings",
    "SlideArc",
    "StraightLine",
    "Template",
    "TooLargeError",
    "Trace",
    "Traces",
    "Train",
    "Turned",
    "Twist",
    "UnknownNameError",
    "Vee",
    "Wave",
    "Wheel",
    "angle",
    "helix_angle",
    "job_schema",
    "largest_roller",
    "lathe_schema",
    "length",
    "lift_of",
    "pressure_angle",
    "read_job",
    "read_lathe",
    "read_template",
    "save",
    "template_of",
    "touch_at",
    "train_for",
]

__version__ = "0.1.0"

__getattr__, __dir__ = names_on_demand(
    __name__,
    {
        "lobework.carve": ("Carving",),
        "lobework.checks.check": ("Finding",),
        "lobework.errors": (
            "InputError",
            "LobeworkError",
            "OutputExistsError",
            "PartError",
            "PluginError",
            "SettingError",
            "TooLargeError",
            "UnknownNameError",
        ),
        "lobework.gearing.change_wheels": (
            "Train",
            "train_for",
        ),
        "lobework.gearing.dividing_wheel": ("Wheel",),
        "lobework.gearing.helix": ("helix_angle",),
        "lobework.gearing.ratios": ("RealRatio",),
        "lobework.gearing.screw": ("Screw",),
        "lobework.geometry.rigid": ("Rigid",),
        "lobework.jobs.job": (
            "Job",
            "Traces",
        ),
        "lobework.jobs.jobfile": (
            "job_schema",
            "lathe_schema",
            "read_job",
            "read_lathe",
        ),
        "lobework.kinematics.closure": ("Closure",),
        "lobework.kinematics.contact": (
            "Bridge",
            "Lift",
            "largest_roller",
            "lift_of",
            "pressure_angle",
            "touch_at",
        ),
        "lobework.kinematics.trace": ("Trace",),
        "lobework.lathe.lathe": (
            "Axis",
            "Controller",
            "HandAxis",
            "Lathe",
        ),
        "lobework.lathe.passes": (
            "Cut",
            "Pass",
            "Series",
        ),
        "lobework.parts.cam": (
            "CamShape",
            "EccentricCam",
            "MotionLaw",
            "Scallop",
            "Wave",
        ),
        "lobework.parts.camshaft": ("CamShaft",),
        "lobework.parts.chuck": (
            "Dome",
            "EccentricChuck",
            "Oval",
            "PlainChuck",
            "StraightLine",
        ),
        "lobework.parts.cutter": (
            "Ball",
            "FlatEnd",
            "Pen",
            "Profiled",
            "RoundNosed",
            "Vee",
        ),
        "lobework.parts.drive": ("Drive",),
        "lobework.parts.feeds": ("Feeds",),
        "lobework.parts.follower": (
            "FlatFollower",
            "Knife",
            "Roller",
        ),
        "lobework.parts.headstock": ("Headstock",),
        "lobework.parts.holder": (
            "CuttingFrame",
            "DrillingSpindle",
            "EccentricFrame",
            "FixedTool",
        ),
        "lobework.parts.piece": (
            "Barrel",
            "Disc",
            "Turned",
        ),
        "lobework.parts.slide": (
            "At",
            "SlideArc",
        ),
        "lobework.parts.template": (
            "Template",
            "read_template",
            "save",
            "template_of",
        ),
        "lobework.parts.twist": ("Twist",),
        "lobework.pictures.save": ("save",),
        "lobework.program.steps": ("Program",),
        "lobework.proof": ("Proof",),
        "lobework.quantities.units": (
            "Phase",
            "angle",
            "length",
        ),
        "lobework.render.drawing": ("Drawing",),
        "lobework.sheets.settings": ("Settings",),
    },
    ["__version__"],
)
