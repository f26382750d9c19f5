"""The public interface for authors of plugins, and the registry that finds installed plugins.

A plugin imports everything from here, as in ``from lobework.plugins import Length, hookimpl, require``. The names are stable:
within one version of the contract they remain importable from here, even if their modules move. See ``docs/plugins.md``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lobework.lazy import names_on_demand

if TYPE_CHECKING:
    from lobework.carve import Backend, Carving, Stock, Sweep, stock_of
    from lobework.checks.check import Finding
    from lobework.errors import InputError, PluginError, SettingError, is_whole, require
    from lobework.gearing.dividing_wheel import Wheel
    from lobework.gearing.screw import Screw
    from lobework.geometry.cutter_edge import ArcSegment, Edge, LineSegment
    from lobework.geometry.rigid import Array, Rigid
    from lobework.geometry.surface import Face, Round, Surface
    from lobework.kinematics.contact import largest_roller, lift_of, pressure_angle
    from lobework.kinematics.motion import Motion, motion_of
    from lobework.kinematics.trace import Trace, trace
    from lobework.lathe.passes import Cut, Pass, cuts_of
    from lobework.parts.cam import CamShape, EccentricCam, Wave
    from lobework.parts.drive import Drive
    from lobework.parts.follower import FlatFollower, Knife, Roller
    from lobework.parts.holder import DrillingSpindle, Holder
    from lobework.parts.protocols import Cam, Chuck, ChuckSlide, Cutter, Follower, Piece, smooth_slope
    from lobework.plugins.hookspecs import CONTRACT, Check, hookimpl
    from lobework.plugins.registry import PluginWarning, installed
    from lobework.plugins.sample import ExpectedValue, Sample
    from lobework.program.steps import Program
    from lobework.quantities.fields import Angle, Length, Measure, Turning, measures, pairs_measure, require_numbers
    from lobework.quantities.units import Phase, format_length, format_number, plain_number, ratio
    from lobework.render.drawing import Drawing, Figure, Layer, Stroke
    from lobework.sheets.settings import Settings
    from lobework.targets.target import Target

__all__ = [
    "CONTRACT",
    "Angle",
    "ArcSegment",
    "Array",
    "Backend",
    "Cam",
    "CamShape",
    "Carving",
    "Check",
    "Chuck",
    "ChuckSlide",
    "Cut",
    "Cutter",
    "Drawing",
    "DrillingSpindle",
    "Drive",
    "EccentricCam",
    "Edge",
    "ExpectedValue",
    "Face",
    "Figure",
    "Finding",
    "FlatFollower",
    "Follower",
    "Holder",
    "InputError",
    "Knife",
    "Layer",
    "Length",
    "LineSegment",
    "Measure",
    "Motion",
    "Pass",
    "Phase",
    "Piece",
    "PluginError",
    "PluginWarning",
    "Program",
    "Rigid",
    "Roller",
    "Round",
    "Sample",
    "Screw",
    "SettingError",
    "Settings",
    "Stock",
    "Stroke",
    "Surface",
    "Sweep",
    "Target",
    "Trace",
    "Turning",
    "Wave",
    "Wheel",
    "cuts_of",
    "format_length",
    "format_number",
    "hookimpl",
    "installed",
    "is_whole",
    "largest_roller",
    "lift_of",
    "measures",
    "motion_of",
    "pairs_measure",
    "plain_number",
    "pressure_angle",
    "ratio",
    "require",
    "require_numbers",
    "smooth_slope",
    "stock_of",
    "trace",
]

__getattr__, __dir__ = names_on_demand(
    __name__,
    {
        "lobework.carve": (
            "Backend",
            "Carving",
            "Stock",
            "Sweep",
            "stock_of",
        ),
        "lobework.checks.check": ("Finding",),
        "lobework.errors": (
            "InputError",
            "PluginError",
            "SettingError",
            "is_whole",
            "require",
        ),
        "lobework.gearing.dividing_wheel": ("Wheel",),
        "lobework.gearing.screw": ("Screw",),
        "lobework.geometry.cutter_edge": (
            "ArcSegment",
            "Edge",
            "LineSegment",
        ),
        "lobework.geometry.rigid": (
            "Array",
            "Rigid",
        ),
        "lobework.geometry.surface": (
            "Face",
            "Round",
            "Surface",
        ),
        "lobework.kinematics.contact": (
            "largest_roller",
            "lift_of",
            "pressure_angle",
        ),
        "lobework.kinematics.motion": (
            "Motion",
            "motion_of",
        ),
        "lobework.kinematics.trace": (
            "Trace",
            "trace",
        ),
        "lobework.lathe.passes": (
            "Cut",
            "Pass",
            "cuts_of",
        ),
        "lobework.parts.cam": (
            "CamShape",
            "EccentricCam",
            "Wave",
        ),
        "lobework.parts.drive": ("Drive",),
        "lobework.parts.follower": (
            "FlatFollower",
            "Knife",
            "Roller",
        ),
        "lobework.parts.holder": (
            "DrillingSpindle",
            "Holder",
        ),
        "lobework.parts.protocols": (
            "Cam",
            "Chuck",
            "ChuckSlide",
            "Cutter",
            "Follower",
            "Piece",
            "smooth_slope",
        ),
        "lobework.plugins.hookspecs": (
            "CONTRACT",
            "Check",
            "hookimpl",
        ),
        "lobework.plugins.registry": (
            "PluginWarning",
            "installed",
        ),
        "lobework.plugins.sample": (
            "ExpectedValue",
            "Sample",
        ),
        "lobework.program.steps": ("Program",),
        "lobework.quantities.fields": (
            "Angle",
            "Length",
            "Measure",
            "Turning",
            "measures",
            "pairs_measure",
            "require_numbers",
        ),
        "lobework.quantities.units": (
            "Phase",
            "format_length",
            "format_number",
            "plain_number",
            "ratio",
        ),
        "lobework.render.drawing": (
            "Drawing",
            "Figure",
            "Layer",
            "Stroke",
        ),
        "lobework.sheets.settings": ("Settings",),
        "lobework.targets.target": ("Target",),
    },
)
