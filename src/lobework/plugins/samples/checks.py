"""Samples of the checks, with the findings that they must return."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from lobework.checks.check import bridging_findings, closure_findings, ratio_findings, template_findings, travel_findings
from lobework.kinematics.trace import trace
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Cut, Pass
from lobework.parts.cam import EccentricCam, Scallop, Wave
from lobework.parts.camshaft import CamShaft
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.slide import Approach, At
from lobework.parts.template import Template
from lobework.plugins.sample import ExpectedValue, Sample

if TYPE_CHECKING:
    from collections.abc import Callable

    from lobework.checks.check import Finding
    from lobework.plugins.hookspecs import Check

__all__ = ["CHECKS"]

_LATHE: Final = Lathe(
    name="bench",
    headstock=Headstock(sideways="slides"),
    axes=(
        Axis(moves="x", letter="X", low=0.0, high=75.0),
        Axis(moves="z", letter="Z"),
        Axis(moves="cam 1", letter="A"),
    ),
    cams=(CamShaft(number=1, turned_by="motor", percent_places=2),),
)


def _findings(check: Check, **given: Any) -> list[Finding]:
    """Return the findings of a check on one pass with the settings ``given``."""
    cut = Cut(number=1, passed=Pass(**given), lathe=_LATHE, approach=Approach(axis="x", surface=40.0))
    return list(check([cut], [trace(cut)]))


def _waves(lobes: int, ratio: Fraction) -> tuple[Drive, ...]:
    return (Drive(Wave(lobes=lobes, base_radius=60.0, rise=2.0), ratio=ratio, follower=Roller(3.0)),)


def _one_finding(words: str, **given: Any) -> Callable[[Check], bool]:
    """Return a function of a check: it returns whether the check has exactly one finding and its message contains ``words``."""
    return lambda check: [words in each.message for each in _findings(check, **given)] == [True]


_GEARED: Final = "Popular Science Monthly 46 (1895), p. 610: a cam geared 8 to 1 gives 8 waves a turn"
_CLOSES: Final = "a cam of L lobes at p/q closes after q / gcd(L p, q) turns; no source"
_PERCENT: Final = "66.67 % instead of 2/3 is 1/300 % too much: in 3 turns 0.036 degrees of the cam, 0.054 degrees of the work"
_VALLEY: Final = "geometry: a circle that touches two lines at 45 degrees is sqrt(2) - 1 of its radius away from their corner"
_BESIDE: Final = Template(points=((0.0, 20.0), (-10.0, 10.0), (-20.0, 20.0)), rubber=2.0)
_DISC: Final = "a disc under a roller: the pitch curve is a circle too, so the roller never bridges a hollow"

CHECKS: Final = (
    Sample(
        closure_findings,
        known=[
            ExpectedValue(_one_finding("the pattern has 8 lobes", cams=_waves(1, Fraction(8))), True, _GEARED),
            ExpectedValue(_one_finding("closes after 3 turns", turns=3, cams=_waves(4, Fraction(2, 3))), True, _CLOSES),
        ],
    ),
    Sample(
        bridging_findings,
        known=[
            ExpectedValue(
                lambda check: len(_findings(check, cams=(Drive(EccentricCam(radius=30.0, offset=10.0), follower=Roller(8.0)),))),
                0,
                _DISC,
            ),
            ExpectedValue(
                _one_finding("only a knife", cams=(Drive(Scallop(lobes=4, base_radius=62.0, rise=5.0), follower=Roller(3.0)),)),
                True,
                "a sharp hollow: no roller reaches its bottom",
            ),
        ],
    ),
    Sample(
        ratio_findings,
        known=[
            ExpectedValue(_one_finding("0.054 degrees", turns=3, at=At(x=20.0), cams=_waves(4, Fraction(2, 3))), True, _PERCENT),
            ExpectedValue(
                _one_finding("3/5 exactly", at=At(x=20.0), cams=_waves(5, Fraction(3, 5))),
                True,
                "two decimals of a percent represent 60 % exactly",
            ),
        ],
    ),
    Sample(
        template_findings,
        known=[
            ExpectedValue(_one_finding("stays 0.828 mm", turns=0, template=_BESIDE), True, _VALLEY),
            ExpectedValue(
                lambda check: len(_findings(check, turns=0, template=replace(_BESIDE, rubber=0.0))),
                0,
                "a pointed tip reaches into any corner",
            ),
        ],
    ),
    Sample(
        travel_findings,
        known=[
            ExpectedValue(_one_finding("75 mm", at=At(x=80.0)), True, "a slide whose travel ends at 75 mm cannot move to 80 mm"),
            ExpectedValue(
                lambda check: len(_findings(check, at=At(x=75.0))), 0, "a slide whose travel ends at 75 mm can move to 75 mm"
            ),
        ],
    ),
)
"""Samples of the built-in checks."""
