"""A chuck on the spindle: what its fields mean, whoever made it."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar

import numpy as np
import pytest
from numpy.testing import assert_allclose

from lobework.errors import SettingError
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.geometry.rigid import Rigid
from lobework.jobs.jobfile.tables import part_keys
from lobework.kinematics.motion import motion_of
from lobework.lathe.clearance import reach_of
from lobework.lathe.hand_settings import by_hand, settings_of
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.chuck import EccentricChuck, Oval, StraightLine
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.quantities.fields import Length, Turning
from lobework.quantities.units import Phase
from tests.strategies import cut_on, fixed, on_work

AT = At(x=20.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Geared:
    """A chuck made before screws, wheels and slides meant anything: its fields of those names are numbers."""

    kind: ClassVar[str] = "geared"
    is_dynamic: ClassVar[bool] = True
    arm: Length
    screw: Length = 2.0
    wheel: int = 40
    slides: int = 2
    travel: Length = 9.0
    index: Turning = Phase()

    def motions(self, theta):
        return Rigid.move(x=self.arm * np.cos(self.slides * theta)) @ Rigid.turn(self.index.in_radians())


def test_a_field_named_screw_or_wheel_of_another_type_is_an_ordinary_setting():
    chuck = Geared(arm=3.0)
    assert settings_of(chuck) == [
        ("arm", "3 mm"), ("screw", "2 mm"), ("wheel", "40"), ("slides", "2"), ("travel", "9 mm"), ("index", "0 deg"),
    ]  # fmt: skip
    assert (
        part_keys(Geared)["arm"].description == part_keys(Geared)["screw"].description == "a length such as 3, '3 mm' or '1/8 in'"
    )
    asked = [str(each) for each in by_hand(cut_on(fixed(chuck))).values()]
    assert {"set chuck 1 screw to 2 mm", "set chuck 1 wheel to 40", "set chuck 1 travel to 9 mm"} <= set(asked)
    *_, last = cuts_of(Pass(at=AT).series(3, {"index": "1/4 turn", "arm": 1.0}), fixed(chuck))
    assert last.lathe.chucks[0].chuck == Geared(arm=5.0, index=Phase(Fraction(1, 2)))
    u = np.linspace(0.0, 1.0, 25)
    assert_allclose(on_work(last, u), -(20.0 * np.exp(-2j * np.pi * u) - 5.0 * np.cos(4 * np.pi * u)), rtol=0, atol=1e-12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """A slide on another."""

    out: Length
    travel: Length = 30.0
    screw: Screw | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Arms:
    """A chuck of several slides."""

    kind: ClassVar[str] = "arms"
    is_dynamic: ClassVar[bool] = False
    arms: tuple[Arm, ...]
    wheel: Wheel | None = None

    def motions(self, theta):
        return Rigid.move(x=sum(arm.out for arm in self.arms))


TENTH = Screw(2.54)


@pytest.mark.parametrize(
    ("chuck", "sets"),
    [
        (EccentricChuck(shift=5.08, travel=60.0, screw=TENTH, wheel=Wheel([96])), ["shift", "index"]),
        (StraightLine(per_turn=4.0, travel=60.0, screw=TENTH), ["per turn", "start", "direction", "index"]),
        (Arms(arms=(Arm(out=2.54, screw=TENTH), Arm(out=-1.0)), wheel=Wheel([96])), ["arm 1 out", "arm 2 out"]),
    ],
    ids=lambda given: getattr(given, "kind", ""),
)
def test_fixed_properties_of_a_chuck_are_not_listed_for_setting(chuck, sets):
    asked = by_hand(cut_on(fixed(chuck)))
    assert [what for what in asked if asked[what].do == "set"] == [f"chuck 1 {name}" for name in sets]
    assert {"screw", "travel"} <= {name.split()[-1] for name, _ in settings_of(chuck)}


@pytest.mark.parametrize(
    ("swings", "turns", "settings"),
    [
        (256, 1, {"swing_phase": "1/2 turn"}),
        (7, 65535, {"swing_phase": "1/2 turn"}),
        (1, 1, {"ring_angle_deg": 40.1, "swing_phase": "-40.1 deg", "travel": 14.99999}),
    ],
)
def test_overtravel_between_evenly_spaced_samples_is_refused(swings, turns, settings):
    """It goes 15 mm out of its middle, and there stand an even number of tries in a turn."""
    chuck = Oval(throw=5.0, swing=10.0, swings=swings, **{"travel": 14.99, **settings})
    with pytest.raises(SettingError, match="its slide would move beyond its travel"):
        motion_of(cut_on(fixed(chuck), turns=turns, at=AT))


def test_a_slide_may_go_to_its_very_end():
    theta = np.linspace(0.0, 2 * np.pi, 1_000_001)
    furthest = np.abs(Oval(throw=5.0, swing=10.0, swings=3, swing_phase="17 deg")._slide(theta)).max()
    for travel in (furthest - 1e-5, furthest + 1e-5):
        cut = cut_on(fixed(Oval(throw=5.0, swing=10.0, swings=3, swing_phase="17 deg", travel=travel)), at=AT)
        with nullcontext() if travel > furthest else pytest.raises(SettingError, match="beyond its travel"):
            motion_of(cut)


def test_work_that_a_quick_chuck_swings_round_does_not_clear_the_bed():
    """64 to and fro a turn, where as many places a turn are tried: it stands 15 mm out, and never where it is tried."""
    chuck = Oval(throw=5.0, swing=10.0, swings=64, swing_phase="1/2 turn")
    assert 44.0 < reach_of(Disc(diameter=60.0, thickness=8.0), fixed(chuck), 1.0) <= 45.0
