"""The former names of modules and objects of the library, for the error message of a plugin that still uses a former name."""

from __future__ import annotations

import re
from importlib import import_module
from typing import Final

__all__ = ["former_member_of", "member_now", "place_now"]

_MODULES: Final = {
    "checks": {
        "check": "check",
        "frame": "cutting_frame",
        "jumps": "jumps",
        "work": "workpiece",
    },
    "files": {
        "inputs": "inputs",
        "outputs": "outputs",
        "stdout": "standard_output",
    },
    "gearing": {
        "gears": "change_wheels",
        "helix": "helix",
        "ratios": "ratios",
        "screw": "screw",
        "wheel": "dividing_wheel",
    },
    "geometry": {
        "continuity": "continuity",
        "edge": "cutter_edge",
        "meridian": "profile",
        "outline": "outline",
        "rigid": "rigid",
        "surface": "surface",
    },
    "jobs": {
        "job": "job",
        "jobfile": "jobfile",
    },
    "kinematics": {
        "closure": "closure",
        "contact": "contact",
        "curve": "periodic_spline",
        "finite": "finite_parts",
        "motion": "motion",
        "push": "cam_motion",
        "spans": "sampling",
        "stack": "chuck_polynomials",
        "takeover": "takeover",
        "trace": "trace",
        "woven": "compiled_trace",
    },
    "lathe": {
        "clearance": "clearance",
        "hand": "hand_settings",
        "lathe": "lathe",
        "mounting": "mounting",
        "passes": "passes",
        "running": "actual_ratio",
        "settable": "capability",
    },
    "parts": {
        "cam": "cam",
        "camshaft": "camshaft",
        "carriage": "headstock",
        "chuck": "chuck",
        "cutter": "cutter",
        "drive": "drive",
        "feeds": "feeds",
        "follower": "follower",
        "holder": "holder",
        "kinds": "protocols",
        "piece": "piece",
        "slide": "slide",
        "template": "template",
        "twist": "twist",
    },
    "plugins": {
        "hookspecs": "hookspecs",
        "plugins": "registry",
        "promises": "validation",
        "sample": "sample",
        "samples": "samples",
        "shipped": "builtin",
        "skeleton": "skeleton",
    },
    "program": {
        "blocks": "blocks",
        "program": "program",
        "steps": "steps",
        "timing": "timing",
    },
    "quantities": {
        "tolerances": "tolerances",
        "units": "units",
    },
    "render": {
        "drawing": "drawing",
        "relief": "relief",
        "solid": "solid",
    },
    "sheets": {
        "bench": "lathe_sheet",
        "directions": "directions",
        "settings": "settings",
        "zeros": "zeros",
    },
    "text": {
        "brief": "brief",
        "cautions": "cautions",
        "printable": "printable",
    },
}
"""The present name of each module by its former name, grouped by folder."""
_MODULE_NOW: Final = {old: f"lobework.{room}.{new}" for room, modules in _MODULES.items() for old, new in modules.items()}
_NAME_NOW: Final = {
    "Arc": "ArcSegment (of an edge) or SlideArc (of the slides)",
    "Asked": "PromiseTest",
    "Compiled": "CompiledBackend",
    "Eccentric": "EccentricCam",
    "Flat": "FlatFollower",
    "Known": "ExpectedValue",
    "Law": "MotionLaw",
    "Plain": "PlainChuck (the chuck) or PlainBackend (the backend)",
    "Slant": "LineSegment",
    "asked_of": "promise_tests_of",
}
_MEMBER_NOW: Final = {
    "Cut": {"even": "is_straight", "level": "keeps_z"},
    "CutRow": {"places": "step_numbers"},
    "Drive": {"turned_on": "total_phase_rad"},
    "Edge": {"slants": "chords"},
    "InputError": {"others": "further_errors"},
    "LineSegment": {"rise": "slope"},
    "Measure": {"beside": "also_shown"},
    "Near": {"off": "error"},
    "Plugins": {"behind": "plugin_at_fault"},
    "Program": {"begins": "opening_groups"},
    "RealRatio": {"off": "relative_error", "way": "description"},
    "Screw": {"said": "setting_text"},
    "Section": {"stands": "start_positions"},
    "Spanned": {"missed": "gap"},
    "Steps": {"places": "step_heading"},
    "Stock": {"across": "column_positions", "down": "row_positions"},
    "Train": {"off": "relative_error"},
    "Twist": {"part": "eased_share", "way": "share_along"},
    "Verdict": {"asked": "test"},
    "Wheel": {"said": "setting_text", "ways": "settings"},
}
"""The present name of each member of a class by its former name."""
_PART_MEMBER_NOW: Final = {"piece": {"lies": "view"}}
"""The present name of each optional member of a part by its former name, for each kind of part."""
_NO_NAME: Final = re.compile(r"cannot import name '(\w+)'")
"""The beginning of Python's message for a failed import; before Python 3.12 the error has no attribute for the missing name."""


def place_now(error: BaseException) -> str:
    """Return a text with the new name of a module or object that an import did not find; empty if the name is no former name.

    >>> place_now(ModuleNotFoundError("No module named 'lobework.rigid'", name="lobework.rigid"))
    'lobework.rigid is now called lobework.geometry.rigid; plugins import its names from lobework.plugins'
    >>> place_now(ImportError("cannot import name 'Flat' from 'lobework.plugins'", name="lobework.plugins"))
    'Flat is now called FlatFollower'
    >>> place_now(ImportError("cannot import name 'Law' from 'lobework'", name="lobework"))
    'Law is now called MotionLaw'
    >>> place_now(ImportError("cannot import name 'installed' from 'lobework.plugins'", name="lobework.plugins"))
    'lobework.plugins is now called lobework.plugins.registry; plugins import its names from lobework.plugins'
    >>> place_now(ImportError("cannot import name 'Known' from 'lobework_mine'", name="lobework_mine"))
    ''
    """
    package, _, module = (getattr(error, "name", None) or "").partition(".")
    if not isinstance(error, ImportError) or package != "lobework":
        return ""
    module, found = module.partition(".")[0], _NO_NAME.match(str(error))
    if found and found[1] in _NAME_NOW:
        return f"{found[1]} is now called {_NAME_NOW[found[1]]}"
    if module in _MODULE_NOW and (found is None or hasattr(import_module(_MODULE_NOW[module]), found[1])):
        return f"lobework.{module} is now called {_MODULE_NOW[module]}; plugins import its names from lobework.plugins"
    return ""


def member_now(error: BaseException) -> str:
    """Return a text with the new name of a member that an object no longer has; empty if the object never had the member.

    >>> from lobework.gearing.screw import Screw
    >>> try:
    ...     Screw(lead=2.54).said(16.0)
    ... except AttributeError as error:
    ...     print(member_now(error))
    Screw.said is now called Screw.setting_text
    """
    if not isinstance(error, AttributeError):
        return ""
    for each in type(error.obj).__mro__:
        if each.__module__.startswith("lobework.") and (now := _MEMBER_NOW.get(each.__name__, {}).get(error.name or "")):
            return f"{each.__name__}.{error.name} is now called {each.__name__}.{now}"
    return ""


def former_member_of(kind: str, part: type) -> str:
    """Return a text with the new name of an optional member that a part has only under its former name; empty if there is none.

    >>> former_member_of("piece", type("Square", (), {"lies": "face seen from the cutter"}))
    'lies is now called view'
    """
    former = _PART_MEMBER_NOW.get(kind, {}).items()
    return next((f"{old} is now called {new}" for old, new in former if hasattr(part, old) and not hasattr(part, new)), "")
