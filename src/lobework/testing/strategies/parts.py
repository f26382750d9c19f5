"""Strategies for cams, followers, chucks and stacks of chucks, and for variants of a part."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any, Final, Literal

import numpy as np
from hypothesis import strategies as st

from lobework.geometry.rigid import Array
from lobework.parts.cam import EccentricCam, LawName, MotionLaw, Scallop, Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck, StraightLine
from lobework.parts.drive import Drive, Side
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.protocols import Cam, Chuck, Follower
from lobework.quantities.tolerances import LARGEST_CAM_MM
from lobework.quantities.units import Phase
from lobework.testing.settings import variants_with_one_change

__all__ = [
    "LAW_NAMES",
    "angles",
    "bases",
    "chucks",
    "domes",
    "drives",
    "eccentrics",
    "edge_cams",
    "face_cams",
    "followers_for",
    "laws",
    "lines",
    "lobe_counts",
    "numbers",
    "ovals",
    "phases",
    "ratios",
    "rises",
    "scallops",
    "settings_near",
    "stacks",
    "turnings",
    "waves",
]

LAW_NAMES: Final[tuple[LawName, ...]] = (
    "harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine", "modified trapezoid",
)  # fmt: skip
"""Every motion law."""


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Return finite numbers from ``low`` to ``high``."""
    return st.floats(low, high, allow_nan=False, allow_infinity=False, allow_subnormal=False)


_QUARTERS: Final = st.integers(-8, 8).map(lambda quarters: quarters * math.pi / 2)
_TINY: Final = st.sampled_from([1e-12, -1e-12, 1e-9, -1e-9, 1e-6, -1e-6])


def angles(most: int = 9) -> st.SearchStrategy[Array]:
    """Return arrays of 1 to ``most`` angles, (n,) rad: zero, quarter turns, values near them, and any angle within four turns."""
    one = st.one_of(
        st.just(0.0), _QUARTERS, st.builds(lambda at, off: at + off, _QUARTERS, _TINY), numbers(-8 * math.pi, 8 * math.pi)
    )
    return st.lists(one, min_size=1, max_size=most).map(lambda each: np.array(each, dtype=np.float64))


def settings_near(part: Any) -> st.SearchStrategy[Any]:
    """Return the part or an accepted variant of the part, in which one setting is changed by a small or a large amount."""
    return st.sampled_from([part, *variants_with_one_change(part)])


rises: Final = st.one_of(st.just(0.0), numbers(1e-3, 8.0))
lobe_counts: Final = st.sampled_from([1, 2, 3, 4, 5, 7, 12])
bases: Final = st.sampled_from([30.0, 47.3, 60.0])
ratios: Final = st.one_of(
    st.sampled_from([Fraction(r) for r in ("1", "-1", "0", "3/4", "-3/4", "1/2", "2/3", "4", "-5/3", "7/6")]),
    st.builds(Fraction, st.integers(-9, 9), st.integers(1, 7)),
)
turnings: Final = st.one_of(st.just(Phase()), st.builds(Phase, turns=st.fractions(-2, 2, max_denominator=97)))
phases: Final = st.one_of(
    turnings,
    st.builds(Phase, turns=st.fractions(-2, 2, max_denominator=97), lobes=st.fractions(-3, 3, max_denominator=33)),
)


def waves(on: Literal["edge", "face"] = "edge") -> st.SearchStrategy[Wave]:
    """Return harmonic cams; some have no rise."""
    return st.builds(Wave, lobes=lobe_counts, base_radius=bases, rise=rises, on=st.just(on))


@st.composite
def scallops(draw: st.DrawFn) -> Scallop:
    """Return scallops with a rise of zero to 85 % of a limit.

    At this limit the slope of a hollow becomes infinite, or a rocking headstock jumps.
    """
    lobes, base = draw(lobe_counts), draw(bases)
    half = math.pi / lobes
    most = min(base * ((1 + math.sin(half)) / math.cos(half) - 1), 0.3 * base) if lobes > 2 else 0.3 * base
    return Scallop(lobes=lobes, base_radius=base, rise=draw(st.one_of(st.just(0.0), numbers(1e-3, 0.85 * most))))


@st.composite
def laws(draw: st.DrawFn, on: Literal["edge", "face"] = "edge", symmetric: bool = False) -> MotionLaw:
    """Return motion-law cams with and without dwells; the rise, dwell and fall periods are multiples of 1/24 of a lobe."""
    up = draw(st.integers(2, 12))
    down = up if symmetric else draw(st.integers(2, 22 - up))
    top = draw(st.integers(0, 24 - up - down))
    return MotionLaw(
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
def eccentrics(draw: st.DrawFn) -> EccentricCam:
    """Return eccentric cams with offsets from zero to 90 % of the radius."""
    radius = draw(numbers(5.0, 80.0))
    return EccentricCam(radius=radius, offset=draw(st.one_of(st.just(0.0), numbers(1e-3, 0.9))) * radius)


edge_cams: Final[st.SearchStrategy[Cam]] = st.one_of(waves(), scallops(), laws(), eccentrics())
face_cams: Final[st.SearchStrategy[Cam]] = st.one_of(waves("face"), laws("face"))


@st.composite
def followers_for(draw: st.DrawFn, cam: Cam, flat: bool = True) -> Follower:
    """Return followers for the cam: a knife, a flat follower or a roller.

    The roller is very small, of any radius, or of exactly the radius of the hollow of a harmonic cam.
    """
    if cam.on == "face":
        return draw(st.one_of(st.just(Knife()), st.builds(Roller, numbers(0.05, 15.0))))
    choices: list[st.SearchStrategy[Follower]] = [st.just(Knife()), st.builds(Roller, numbers(0.05, 40.0)), st.just(Roller(0.05))]
    if flat:
        choices.append(st.just(FlatFollower()))
    hollow = cam.rise * cam.lobes**2 / 2 - cam.base_radius if isinstance(cam, Wave) else 0.0
    if hollow * LARGEST_CAM_MM > cam.base_radius**2:
        choices.append(st.just(Roller(cam.base_radius**2 / hollow)))
    return draw(st.one_of(choices))


@st.composite
def drives(draw: st.DrawFn, cams: st.SearchStrategy[Cam] = edge_cams, sides: tuple[Side, ...] = ("front", "back")) -> Drive:
    """Return drives, each a cam with a follower."""
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


ovals: Final = st.builds(
    Oval,
    throw=st.one_of(st.just(0.0), numbers(0.0, 15.0)),
    ring_angle_deg=numbers(-180.0, 180.0),
    swing=st.one_of(st.just(0.0), numbers(0.5, 8.0)),
    swings=st.one_of(st.integers(0, 6).map(Fraction), st.builds(Fraction, st.integers(1, 9), st.integers(1, 7))),
    swing_phase=turnings,
    index=turnings,
)
"""Oval chucks, some with an oscillating ring."""
lines: Final = st.builds(
    StraightLine,
    per_turn=st.one_of(st.just(0.0), numbers(0.5, 9.0), numbers(-9.0, -0.5)),
    travel=st.just(1000.0),
    start=numbers(-20.0, 20.0),
    direction_deg=numbers(-180.0, 180.0),
    index=turnings,
)
"""Straight-line chucks, some of which do not move."""
domes: Final = st.builds(
    Dome,
    shift=numbers(-20.0, 20.0),
    tilt_deg=st.one_of(st.just(0.0), numbers(-90.0, 90.0)),
    behind=numbers(0.0, 40.0),
    index=turnings,
)
"""Dome chucks, some of which do not tilt."""
chucks: Final[st.SearchStrategy[Chuck]] = st.one_of(
    st.builds(PlainChuck, index=turnings),
    st.builds(EccentricChuck, shift=numbers(-20.0, 20.0), index=turnings),
    ovals,
    lines,
    domes,
)
"""Chucks of every built-in kind."""


def stacks(*others: st.SearchStrategy[Chuck], most: int = 3) -> st.SearchStrategy[list[Chuck]]:
    """Return stacks of up to ``most`` chucks: built-in chucks, and chucks of the strategies ``others``."""
    return st.lists(st.one_of(chucks, *others), max_size=most)
