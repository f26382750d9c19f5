"""Lathes to try things on, and hypothesis strategies that lean towards the degenerate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar

import numpy as np
from hypothesis import strategies as st

from lobework.cam import Eccentric, Law, Scallop, Wave
from lobework.carriage import Headstock
from lobework.chuck import EccentricChuck, Oval, Plain
from lobework.drive import Drive
from lobework.follower import Flat, Knife, Roller
from lobework.lathe import Axis, Lathe, Mounted
from lobework.passes import Cut, Pass
from lobework.rigid import Rigid
from lobework.slide import At
from lobework.units import Phase

AXES = tuple(
    Axis(moves=moves, letter=letter)
    for moves, letter in (("spindle", "C"), ("x", "X"), ("y", "Y"), ("z", "Z"), ("cam 1", "A"), ("cam 2", "B"))
)
LAW_NAMES = ("harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine", "modified trapezoid")


def fixed(*chucks):
    """A lathe whose headstock stands still."""
    return _mounted(Headstock(sideways="fixed"), chucks)


def sliding(*chucks):
    """A lathe whose headstock slides sideways and pumps."""
    return _mounted(Headstock(sideways="slides", endways="pumps"), chucks)


def rocking(pivot_height, *chucks):
    """A lathe whose headstock rocks and pumps."""
    return _mounted(Headstock(sideways="rocks", endways="pumps", pivot_height=pivot_height), chucks)


def _mounted(headstock, chucks):
    named = tuple(Mounted(f"chuck {number}", chuck) for number, chuck in enumerate(chucks, 1))
    return Lathe(name="bench", headstock=headstock, axes=AXES, chucks=named)


def cut_on(lathe, *cams, turns=1, at=None, travel=None, together=None):
    """The one cut of a pass on ``lathe``."""
    passed = Pass(turns=Fraction(turns), at=at or At(), travel=travel or At(), cams=cams, together=together)
    return Cut(number=1, passed=passed, lathe=lathe)


@dataclass(frozen=True, slots=True, kw_only=True)
class GearedArm:
    """An arm on the spindle that carries the work, turned ``gear`` times for each turn of the spindle."""

    kind: ClassVar[str] = "geared arm"
    varies: ClassVar[bool] = True
    arm: float
    gear: float

    def motions(self, theta):
        return Rigid.move(x=self.arm) @ Rigid.turn(self.gear * theta)


def numbers(low, high):
    return st.floats(low, high, allow_nan=False, allow_infinity=False, allow_subnormal=False)


rises = st.one_of(st.just(0.0), numbers(1e-3, 8.0))
lobe_counts = st.sampled_from([1, 2, 3, 4, 5, 7, 12])
bases = st.sampled_from([30.0, 47.3, 60.0])
ratios = st.one_of(
    st.sampled_from([Fraction(r) for r in ("1", "-1", "0", "3/4", "-3/4", "1/2", "2/3", "4", "-5/3", "7/6")]),
    st.builds(Fraction, st.integers(-9, 9), st.integers(1, 7)),
)
phases = st.one_of(
    st.just(Phase()),
    st.builds(Phase, turns=st.fractions(-2, 2, max_denominator=97), lobes=st.fractions(-3, 3, max_denominator=33)),
)


def waves(on="edge"):
    return st.builds(Wave, lobes=lobe_counts, base_radius=bases, rise=rises, on=st.just(on))


@st.composite
def scallops(draw):
    """Scallops up to most of the rise at which their lobes stand upright at the hollow, and a rocking headstock jumps."""
    lobes, base = draw(lobe_counts), draw(bases)
    half = math.pi / lobes
    most = min(base * ((1 + math.sin(half)) / math.cos(half) - 1), 0.3 * base) if lobes > 2 else 0.3 * base
    return Scallop(lobes=lobes, base_radius=base, rise=draw(st.one_of(st.just(0.0), numbers(1e-3, 0.85 * most))))


@st.composite
def laws(draw, on="edge", symmetric=False):
    """Laws with and without dwells; parts are twenty-fourths of a lobe."""
    up = draw(st.integers(2, 12))
    down = up if symmetric else draw(st.integers(2, 22 - up))
    top = draw(st.integers(0, 24 - up - down))
    return Law(
        law=draw(st.sampled_from(LAW_NAMES)),
        lobes=draw(lobe_counts),
        base_radius=draw(bases),
        rise=draw(rises),
        rise_part=Fraction(up, 24),
        dwell_part=Fraction(top, 24),
        fall_part=Fraction(down, 24),
        on=on,
    )


@st.composite
def eccentrics(draw):
    """Discs from centred to almost at the rim."""
    radius = draw(numbers(5.0, 80.0))
    return Eccentric(radius=radius, offset=draw(st.one_of(st.just(0.0), numbers(1e-3, 0.9))) * radius)


edge_cams = st.one_of(waves(), scallops(), laws(), eccentrics())
face_cams = st.one_of(waves("face"), laws("face"))


@st.composite
def followers_for(draw, cam, flat=True):
    """A knife, a flat, or a roller: a small one, any, or one exactly as round as a harmonic hollow."""
    if cam.on == "face":
        return draw(st.one_of(st.just(Knife()), st.builds(Roller, numbers(0.05, 15.0))))
    choices = [st.just(Knife()), st.builds(Roller, numbers(0.05, 40.0)), st.just(Roller(0.05))]
    if flat:
        choices.append(st.just(Flat()))
    if isinstance(cam, Wave) and cam.rise * cam.lobes**2 / 2 > 1.01 * cam.base_radius:
        choices.append(st.just(Roller(cam.base_radius**2 / (cam.rise * cam.lobes**2 / 2 - cam.base_radius))))
    return draw(st.one_of(choices))


@st.composite
def drives(draw, cams=edge_cams, sides=("front", "back")):
    cam = draw(cams)
    return Drive(
        cam,
        follower=draw(followers_for(cam)),
        ratio=draw(ratios),
        phase=draw(phases),
        index=draw(phases),
        side=draw(st.sampled_from(sides)),
        gain=draw(st.sampled_from([1.0, 1.0, 0.5, 1.7])),
    )


places = st.builds(
    At,
    x=st.one_of(st.just(0.0), numbers(-40.0, 40.0)),
    y=st.one_of(st.just(0.0), st.just(0.0), numbers(-5.0, 5.0)),
    depth=st.sampled_from([0.0, 0.4]),
)
travels = st.one_of(st.just(At()), st.builds(At, x=numbers(-5.0, 5.0), y=st.just(0.0), z=numbers(-1.0, 1.0)))
chucks = st.one_of(
    st.builds(Plain, index=phases),
    st.builds(EccentricChuck, shift=numbers(-20.0, 20.0), index=phases),
    st.builds(Oval, throw=st.one_of(st.just(0.0), numbers(0.0, 15.0)), ring_angle_deg=numbers(-180.0, 180.0), index=phases),
)


@st.composite
def sliding_cuts(draw, max_turns=3):
    """Cuts on a sliding, pumping headstock: up to two cams, summed or furthest, and up to two chucks."""
    several = draw(st.lists(drives(sides=("front",)), max_size=2))
    several = several or draw(st.lists(drives(face_cams, sides=("front",)), max_size=2))
    return cut_on(
        sliding(*draw(st.lists(chucks, max_size=2))),
        *several,
        turns=draw(st.fractions(Fraction(1, 5), max_turns, max_denominator=6)),
        at=draw(places),
        travel=draw(travels),
        together=draw(st.sampled_from(["sum", "furthest", None])),
    )


@st.composite
def rocking_cuts(draw, max_turns=3):
    """Cuts on a rocking headstock high enough for every cam drawn here."""
    drive = draw(drives(st.one_of(waves(), scallops())))
    return cut_on(
        rocking(draw(st.sampled_from([200.0, 350.0])), *draw(st.lists(chucks, max_size=1))),
        drive,
        turns=draw(st.fractions(Fraction(1, 5), max_turns, max_denominator=6)),
        at=draw(places),
        travel=draw(travels),
    )


cuts = st.one_of(sliding_cuts(), rocking_cuts())


def on_work(cut_or_trace, u=None):
    """The path as complex numbers x + iy."""
    if u is None:
        return cut_or_trace.x + 1j * cut_or_trace.y
    from lobework.motion import motion_of

    x, y, _ = motion_of(cut_or_trace).place(np.asarray(u, dtype=np.float64)).T
    return x + 1j * y
