"""Samples of the chucks, with published answers."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.geometry.rigid import Rigid
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck, StraightLine
from lobework.plugins.sample import ExpectedValue, Sample
from lobework.quantities.units import Phase

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["CHUCKS"]

_TURN: Final = np.arange(16) * math.pi / 8
_WHEEL: Final = Wheel(circles=(("18", 18), ("27", 27)), worm=40)


def _rotation_deg(plain: PlainChuck) -> float:
    """Return the rotation of the work in a chuck, degrees."""
    rotation = plain.motions(np.zeros(1)).rotation[0]
    return math.degrees(math.atan2(rotation[1, 0], rotation[0, 0]))


def _centres(under: EccentricChuck) -> Array:
    """Return the distances of the centres of 7 of 96 circles from the centre of the work, in turns of the screw.

    Both dividing wheels advance by one division per circle; the second slide, mounted on the first slide, is offset by 12 turns
    of the screw.
    """
    found = []
    for number in (0, 1, 2, 24, 32, 48, 72):
        index = Phase(Fraction(number, 96))
        stack = replace(under, index=index).motions(np.zeros(1)) @ EccentricChuck(shift=12 * 2.54, index=index).motions(
            np.zeros(1)
        )
        found.append(float(np.linalg.norm(stack.inverse().shift[0])) / 2.54)
    return np.array(found)


def _half_axes(along: float, across: float) -> Any:
    """Return a function of a chuck that returns the half axes, mm, of the ellipse that a fixed point cuts.

    The point is ``along`` mm along the throw and ``across`` mm across the throw from the axis.
    """

    def half_axes(chuck: Oval) -> Array:
        work = (Rigid.turn(_TURN) @ chuck.motions(_TURN)).inverse()
        place = work.apply(np.array([[along, across, 0.0]]))
        round_it = np.fft.fft(place[:, 0] + 1j * place[:, 1]) / _TURN.size
        one, other = abs(round_it[1]), abs(round_it[-1])
        return np.array([one + other, abs(one - other)])

    return half_axes


def _bench_positions(chuck: StraightLine) -> Array:
    """Return X and Y of the work's centre on the bench, mm, and the sine of the rotation of the work: (5, 3).

    The five rows are at 0, 1, 2, 3 and 4 quarter turns.
    """
    theta = np.linspace(0.0, 2 * math.pi, 5)
    seen = Rigid.turn(theta) @ chuck.motions(theta)
    return np.column_stack([seen.shift[:, :2], seen.rotation[:, 1, 0]])


_HANDBOOK: Final = "Machinery's Handbook (1916), angular indexing: 35 degrees is 3 turns and 16 holes of 18 on a head of 40 to 1"
_SNAIL: Final = "J. H. Ibbetson, Specimens in Eccentric Circular Turning, Specimen X, pp. 168-169: computed from r = 12 + 32 cos"
_CAYLEY: Final = "A. Cayley, Proc. London Math. Soc. 4 (1872), 186-190: computed from half axes rho + a/2 and rho - a/2"

_OFF_BY_30: Final = 20.0 * math.cos(math.pi / 6) - 3.0 * 0.5, 20.0 * 0.5 + 3.0 * math.cos(math.pi / 6)
"""X and Y of the point 20 mm along and 3 mm across a line at 30 degrees to X."""

CHUCKS: Final = (
    Sample(
        PlainChuck(index=Phase((3 + Fraction(16, 18)) / 40), wheel=_WHEEL),
        known=[ExpectedValue(_rotation_deg, 35.0, _HANDBOOK)],
    ),
    Sample(
        EccentricChuck(shift=16 * 2.54, travel=60.0, screw=Screw(2.54)),
        known=[ExpectedValue(_centres, [28, 27.985314, 27.941275, 20, 14.422205, 4, 20], _SNAIL, within=5e-7)],
    ),
    Sample(
        Oval(throw=5.0),
        known=[
            ExpectedValue(_half_axes(30.0, 0.0), [30.0, 25.0], _CAYLEY),
            ExpectedValue(_half_axes(30.0, 4.0), [30.28938646, 25.28938646], _CAYLEY, within=5e-9),
        ],
    ),
    Sample(
        Oval(throw=8.0, ring_angle_deg=30.0, index=Phase(Fraction(1, 12))),
        known=[ExpectedValue(_half_axes(*_OFF_BY_30), [20.27882060, 12.27882060], _CAYLEY, within=5e-9)],
    ),
    Sample(Oval(throw=4.0, swing=1.5, swings=Fraction(3, 2), travel=6.0, wheel=Wheel(circles=(("96", 96),)))),
    Sample(
        StraightLine(per_turn=12.0, travel=40.0, start=-20.0),
        known=[
            ExpectedValue(
                _bench_positions,
                [[0.0, -20.0, 0.0], [0.0, -17.0, 0.0], [0.0, -14.0, 0.0], [0.0, -11.0, 0.0], [0.0, -8.0, 0.0]],
                "the definition of the motion: no rotation, and 12 mm of travel per turn; no source",
            )
        ],
    ),
    Sample(
        Dome(shift=3.0, tilt_deg=90.0, behind=20.0),
        known=[
            ExpectedValue(
                lambda dome: dome.motions(np.zeros(1)).apply(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, -20.0]])),
                [[23.0, 0.0, -20.0], [3.0, 0.0, -20.0]],
                "the definition of the motion: a quarter turn about an axis 20 mm behind the face; no source",
            )
        ],
    ),
    Sample(Dome(shift=-2.0, tilt_deg=35.0, behind=12.0, index=Phase(Fraction(1, 8)))),
)
"""Samples of the built-in chucks."""
