"""Jobs for the targets: a face with rings, rows and a pumped rim, on lathes with and without axes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Scallop, Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife, Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At

AXES = (("spindle", "C"), ("cam 1", "A"), ("cam 2", "B"), ("x", "X"), ("y", "Y"), ("z", "Z"))


def bench(sideways="rocks", axes=AXES):
    height = {"pivot_height": 250.0} if sideways == "rocks" else {}
    return Lathe(
        name="bench",
        headstock=Headstock(sideways=sideways, endways="pumps", **height),
        axes=tuple(Axis(moves=moves, letter=letter) for moves, letter in axes),
    )


def traced(lathe, *items, chord=2e-3):
    cuts = []
    for group, item in enumerate(items, 1):
        cuts += list(cuts_of(item, lathe, first=len(cuts) + 1, group=group))
    return [trace(cut, chord=chord) for cut in cuts]


def rings():
    """Three rows of four scalloped rings, each row indexed and shifted by hand, each ring moved in and on."""
    cam = Scallop(lobes=4, base_radius=62.0, rise=5.0)
    one = Pass(
        name="wave rings",
        turns=4,
        at=At(x=24.0, depth=0.4),
        travel=At(x=-0.7, depth=0.1),
        cams=(Drive(cam, ratio=Fraction(3, 4), follower=Roller(3.0)),),
    )
    row = one.series(4, {"x": -0.9, "phase": "5/32 lobe"}, name="ring")
    return row.series(3, {"index": "1/3 turn", "lower.shift": 1.5}, name="row")


def rim():
    """A rim that a face cam lifts clear of the work between its cuts."""
    cam = Wave(lobes=24, base_radius=40.0, rise=0.5, on="face")
    return Pass(name="pumped rim", at=At(x=30.0, depth=0.3), cams=(Drive(cam, ratio=-1, follower=Knife()),))


@pytest.fixture(scope="session")
def renamed():
    """Return a way to trace a cut again with other settings of its pass."""
    return lambda each, **changes: trace(replace(each.cut, passed=replace(each.cut.passed, **changes)))


@pytest.fixture(scope="session")
def lid():
    """The whole lid, traced: twelve rings, then the rim."""
    lathe = bench().mount(EccentricChuck(shift=2.0), name="lower").mount(Oval(throw=3.0), name="upper")
    return traced(lathe, rings(), rim())


@pytest.fixture(scope="session")
def piece():
    return Disc(diameter=70.0, thickness=8.0, material="boxwood")


@pytest.fixture(scope="session")
def cutter():
    return Vee(angle_deg=90.0, width=3.0)
