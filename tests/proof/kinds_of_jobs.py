"""Small jobs of every kind that a program can be written for: what a proof of programs is tried on."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from lobework.jobs.job import Job
from lobework.lathe.lathe import Axis, Controller, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cam import Wave
from lobework.parts.camshaft import CamShaft
from lobework.parts.chuck import EccentricChuck
from lobework.parts.cutter import Ball, Pen, Vee
from lobework.parts.drive import Drive
from lobework.parts.feeds import Feeds
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.targets.rs274 import render

LETTERS = {"spindle": "C", "cam 1": "A", "x": "X", "y": "Y", "z": "Z"}
LIMITS = {"spindle": (180.0, 180.0), "cam 1": (180.0, 180.0), "x": (20.0, 100.0), "y": (20.0, 100.0), "z": (20.0, 100.0)}


def lathe(moves=("spindle", "x", "z"), *, limits=False, cams=(), sideways="fixed", **controller):
    made = [
        Axis(
            moves=each,
            letter=LETTERS[each],
            **dict(zip(("top_speed", "acceleration"), LIMITS[each], strict=True)) if limits else {},
        )
        for each in moves
    ]
    head = Headstock(sideways=sideways, pivot_height=250.0) if sideways == "rocks" else Headstock(sideways=sideways)
    return Lathe(name="bench", headstock=head, axes=tuple(made), cams=cams, controller=Controller(**controller))


def job(made, *passes, piece=None, cutter=None, units="mm", **feeds):
    return Job(
        title="tried",
        lathe=made,
        piece=piece or Disc(diameter=70.0, thickness=8.0),
        cutter=cutter or Pen(),
        passes=passes,
        units=units,
        feeds=Feeds(**{"spindle_rpm": 3.0, **feeds}),
    )


WAVE = Wave(lobes=5, base_radius=60.0, rise=3.0)
ROUND = Barrel(diameter=40.0, length=40.0)
RING = Pass(name="ring", turns=1, at=At(x=24.0, depth=0.3))
FLUTE = Pass(name="flute", turns=0, at=At(x=20.0, z=-5.0, depth=0.4), travel=At(z=-20.0))
SOFTWARE = (CamShaft(number=1, turned_by="software"),)
LED = Drive(Wave(lobes=3, base_radius=60.0, rise=1.0), follower=Roller(2.0))


def face(**controller):
    drive = Drive(WAVE, ratio=Fraction(3, 2), follower=Roller(3.0))
    made = lathe(("spindle", "cam 1", "x", "z"), sideways="rocks", **controller)
    return job(
        made,
        replace(RING, turns=Fraction(2), cams=(drive,)).series(3, x=-4.0, phase="1/2 lobe"),
        cutter=Vee(angle_deg=90.0, width=3.0),
    )


def led(**controller):
    """A cam that exists in software: many moves, with limits."""
    made = lathe(limits=True, cams=SOFTWARE, **controller)
    return job(made, replace(RING, cams=(LED,)).series(2, x=-6.0), dwell=0.5, tolerance=0.01)


def barrel(**controller):
    made = lathe(limits=True, cams=SOFTWARE, **controller)
    return job(made, replace(RING, at=At(x=20.0, z=-8.0, depth=0.4), cams=(LED,)).series(2, z=-6.0), piece=ROUND, tolerance=0.01)


def flutes(**controller):
    return job(lathe(**controller), FLUTE.series(4, spindle="1/4 turn"), piece=ROUND, cutter=Ball(radius=1.0))


def helix(**controller):
    screw = Pass(name="helix", turns=3, at=At(x=20.0, z=-5.0, depth=0.4), travel=At(z=-20.0))
    return job(lathe(limits=True, **controller), screw, piece=ROUND, pace="cutter")


def indexed(**controller):
    made = lathe(**controller).mount(EccentricChuck(shift=12.0))
    return job(made, Pass(name="circles", at=At(x=6.0, depth=0.2)).series(4, index="1/4 turn"))


def by_phase(**controller):
    drive = Drive(WAVE, follower=Roller(3.0))
    made = lathe(sideways="rocks", **controller)
    return job(made, replace(RING, cams=(drive,)).series(3, phase="1/4 lobe", x=-2.0))


def fed_by_hand(**controller):
    return job(lathe(("spindle", "x"), **controller), RING.series(3, x=-4.0))


def dots_by_hand(**controller):
    """A person feeds the cutter in and withdraws it: no axis moves while it cuts."""
    return job(
        lathe(("spindle", "x"), **controller), Pass(name="dots", turns=0, at=At(x=10.0, depth=0.5)).series(3, spindle="1/3 turn")
    )


def turning_the_other_way(**controller):
    """The motors of the spindle and of the cam turn the other way when the controller counts up."""
    made = face(**controller)
    axes = tuple(replace(each, reversed=each.rotary) for each in made.lathe.axes)
    return replace(made, lathe=replace(made.lathe, axes=axes))


def in_inches(**controller):
    return replace(led(**controller), units="inch")


JOBS = {
    "face": face,
    "led": led,
    "barrel": barrel,
    "flutes": flutes,
    "helix": helix,
    "indexed": indexed,
    "by phase": by_phase,
    "fed by hand": fed_by_hand,
    "dots by hand": dots_by_hand,
    "turning the other way": turning_the_other_way,
    "inch": in_inches,
    "no inverse time": lambda: led(inverse_time=False),
    "line numbers": lambda: indexed(line_numbers=True),
    "semicolons": lambda: by_phase(comments="semicolon"),
    "no comments": lambda: indexed(comments="none"),
    "narrow lines": lambda: by_phase(longest_line=60),
}


def written(made):
    return render(made.program()).decode("ascii")
