"""lobework models a rose engine: what a set of settings will cut, whether it can be cut, and what to set."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lobework.lazy import names_on_demand

if TYPE_CHECKING:
    from lobework.carve import Carving
    from lobework.checks.check import Finding
    from lobework.errors import InputError, LobeworkError
    from lobework.gearing.change_wheels import Train, train_for
    from lobework.gearing.dividing_wheel import Wheel
    from lobework.gearing.helix import helix_angle
    from lobework.gearing.ratios import RealRatio
    from lobework.gearing.screw import Screw
    from lobework.geometry.rigid import Rigid
    from lobework.jobs.job import Job
    from lobework.jobs.jobfile import job_schema, read_job, read_lathe
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
    from lobework.quantities.units import Phase, angle, length

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
    "Oval",
    "Pass",
    "Pen",
    "Phase",
    "PlainChuck",
    "Profiled",
    "RealRatio",
    "Rigid",
    "Roller",
    "RoundNosed",
    "Scallop",
    "Screw",
    "Series",
    "SlideArc",
    "StraightLine",
    "Template",
    "Trace",
    "Train",
    "Turned",
    "Twist",
    "Vee",
    "Wave",
    "Wheel",
    "angle",
    "helix_angle",
    "job_schema",
    "largest_roller",
    "length",
    "lift_of",
    "pressure_angle",
    "read_job",
    "read_lathe",
    "read_template",
    "template_of",
    "touch_at",
    "train_for",
]

__getattr__, __dir__ = names_on_demand(
    __name__,
    {
        "lobework.parts.cam": ("CamShape", "EccentricCam", "MotionLaw", "Scallop", "Wave"),
        "lobework.parts.camshaft": ("CamShaft",),
        "lobework.parts.headstock": ("Headstock",),
        "lobework.carve": ("Carving",),
        "lobework.checks.check": ("Finding",),
        "lobework.parts.chuck": ("Dome", "EccentricChuck", "Oval", "PlainChuck", "StraightLine"),
        "lobework.kinematics.closure": ("Closure",),
        "lobework.kinematics.contact": ("Bridge", "Lift", "largest_roller", "lift_of", "pressure_angle", "touch_at"),
        "lobework.parts.cutter": ("Ball", "FlatEnd", "Pen", "Profiled", "RoundNosed", "Vee"),
        "lobework.parts.drive": ("Drive",),
        "lobework.errors": ("InputError", "LobeworkError"),
        "lobework.parts.feeds": ("Feeds",),
        "lobework.parts.follower": ("FlatFollower", "Knife", "Roller"),
        "lobework.gearing.change_wheels": ("Train", "train_for"),
        "lobework.gearing.helix": ("helix_angle",),
        "lobework.parts.holder": ("CuttingFrame", "DrillingSpindle", "EccentricFrame", "FixedTool"),
        "lobework.jobs.job": ("Job",),
        "lobework.jobs.jobfile": ("job_schema", "read_job", "read_lathe"),
        "lobework.lathe.lathe": ("Axis", "Controller", "HandAxis", "Lathe"),
        "lobework.lathe.passes": ("Cut", "Pass", "Series"),
        "lobework.parts.piece": ("Barrel", "Disc", "Turned"),
        "lobework.gearing.ratios": ("RealRatio",),
        "lobework.geometry.rigid": ("Rigid",),
        "lobework.gearing.screw": ("Screw",),
        "lobework.parts.slide": ("SlideArc", "At"),
        "lobework.parts.template": ("Template", "read_template", "template_of"),
        "lobework.kinematics.trace": ("Trace",),
        "lobework.parts.twist": ("Twist",),
        "lobework.quantities.units": ("Phase", "angle", "length"),
        "lobework.gearing.dividing_wheel": ("Wheel",),
    },
)
