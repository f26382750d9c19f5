"""Passes, and series moved on step by step."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.errors import SettingError
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.drive import Drive
from lobework.parts.follower import Knife
from lobework.parts.slide import At
from lobework.quantities.units import Phase
from tests.strategies import fixed, phases, sliding

CAM = Drive(Wave(lobes=4, base_radius=60.0, rise=5.0), follower=Knife())
RINGS = Pass(name="rings", at=At(x=24.0, depth=0.4), cams=(CAM,))


def test_a_pass_without_a_series_is_one_cut():
    (cut,) = cuts_of(RINGS, sliding())
    assert (cut.number, cut.title, cut.levels, cut.stepped) == (1, "rings", (), {})
    assert cut.passed.cams[0].name == "cam 1"


@given(count=st.integers(1, 40), x=st.floats(-2, 2), on=phases)
def test_steps_are_computed_from_the_first_cut_without_accumulated_error(count, x, on):
    cuts = list(cuts_of(RINGS.series(count, x=x, phase=on), sliding()))
    assert [cut.number for cut in cuts] == list(range(1, count + 1))
    for k, cut in enumerate(cuts):
        assert cut.passed.at == At(x=24.0 + x * k, depth=0.4)
        assert cut.passed.cams[0].phase == on * k
        assert cut.stepped == {"x": cut.passed.at.x, "cam 1.phase": on * k}


def test_a_step_shared_by_several_cams_is_applied_in_cam_order():
    cams = tuple(Drive(CAM.cam, follower=Knife(), name=name) for name in ("slow", "quick", "north", "south", "inner", "outer"))
    (cut, _) = cuts_of(Pass(cams=cams).series(2, gain=0.1), sliding())
    assert list(cut.stepped) == [f"{drive.name}.gain" for drive in cams]


def test_96_index_steps_add_up_to_exactly_one_turn():
    """96 steps of 1/96 turn on a wheel of 96 (Lukin, *The Lathe and Its Uses*) are one turn, not nearly one."""
    last = list(cuts_of(Pass().series(97, index="1/96 turn"), fixed(EccentricChuck(shift=3.0))))[-1]
    assert last.lathe.chucks[0].chuck.index == Phase(turns=Fraction(1))


@pytest.mark.parametrize(
    ("each", "expected"),
    [
        ({"x": "1/8 in"}, {"x": 24.0 + 3.175}),
        ({"depth": 0.1}, {"depth": 0.5}),
        ({"gain": "1/2"}, {"cam 1.gain": 1.5}),
        ({"cam 1.index": "1/2 lobe"}, {"cam 1.index": Phase(lobes=Fraction(1, 2))}),
        ({"chuck 1.shift": -2}, {"chuck 1.shift": 5.0}),
        ({"chuck 2.ring_angle": "1/4 turn"}, {"chuck 2.ring_angle": 90.0}),
        ({"throw": 1}, {"chuck 2.throw": 6.0}),
        ({"index": "15 deg"}, {"chuck 2.index": Phase(turns=Fraction(1, 24))}),
    ],
)
def test_every_kind_of_setting_can_be_stepped(each, expected):
    lathe = sliding(EccentricChuck(shift=7.0), Oval(throw=5.0))
    first, second = cuts_of(RINGS.series(2, each), lathe)
    assert second.stepped == expected
    assert first.lathe == lathe


def test_rows_of_a_series_nest_with_the_inner_one_first():
    """*The Turner's Companion* (Baird, 1868), plate 12, 1: step 12 of 120, ten in a row; each row 2 turns down and the wheel on
    by one, so that rows slope by 3 degrees.
    """
    ring = Pass(name="circle").series(10, {"chuck 1.index": "12/120 turn"}, name="place")
    rows = ring.series(4, {"chuck 1.shift": -2.0, "chuck 1.index": "1/120 turn"}, name="row")
    cuts = list(cuts_of(rows, fixed(EccentricChuck(shift=20.0)), first=5, group=2))
    assert [cut.title for cut in cuts[9:11]] == ["circle 1.10", "circle 2.1"]
    assert [(level.name, level.number, level.count) for level in cuts[11].levels] == [("row", 2, 4), ("place", 2, 10)]
    assert (cuts[0].number, cuts[-1].number, {cut.group for cut in cuts}) == (5, 44, {2})
    for cut in cuts:
        row, place = (level.number - 1 for level in cut.levels)
        chuck = cut.lathe.chucks[0].chuck
        assert chuck.shift == 20.0 - 2.0 * row
        assert chuck.index.in_degrees() == 36 * place + 3 * row


def test_an_unqualified_index_applies_to_the_outermost_chuck():
    lathe = fixed(EccentricChuck(shift=1.0), EccentricChuck(shift=2.0))
    _, second = cuts_of(Pass().series(2, index="90 deg"), lathe)
    assert [mounted.chuck.index.in_degrees() for mounted in second.lathe.chucks] == [0, 90]


@pytest.mark.parametrize(
    ("each", "message"),
    [
        (
            {"phasse": 1},
            (
                "series.each.phasse: no slide, cam or chuck of this pass has a setting 'phasse'; "
                "settings that can be stepped: cam 1.gain"
            ),
        ),
        (
            {"cam 3.phase": 1},
            (
                "series.each.cam 3.phase: no slide, cam or chuck of this pass has a setting 'cam 3.phase'; "
                "did you mean 'cam 1.phase'?"
            ),
        ),
        ({"x": "3 deg"}, "series.each.x: '3 deg': the unit 'deg' is not allowed here"),
        ({"index": 10}, "no slide, cam or chuck of this pass has a setting 'index'"),
        ({"gain": -0.5}, "series step 3, cam 1.gain: gain=0: must be above zero"),
    ],
)
def test_an_invalid_step_is_reported_with_its_key(each, message):
    with pytest.raises(SettingError if "unit" not in message else ValueError) as error:
        list(cuts_of(RINGS.series(3, each), sliding()))
    assert message in str(error.value)


def test_too_many_passes_are_refused_before_the_first():
    with pytest.raises(SettingError, match=r"count=1000000: must be at most 100000 passes in all; split the job"):
        next(iter(cuts_of(RINGS.series(1000).series(1000), sliding())))
