"""The settings before they have a format, and the words that parts are shown in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import ClassVar

import pytest

from lobework.errors import SettingError
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.geometry.rigid import Rigid
from lobework.lathe.hand_settings import by_hand, settings_of, show
from lobework.lathe.lathe import Axis, Lathe
from lobework.lathe.passes import Pass, cuts_of
from lobework.parts.cam import Wave
from lobework.parts.chuck import EccentricChuck, Oval, PlainChuck
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.program.program import Feeds
from lobework.quantities.fields import Angle, Length, Turning
from lobework.quantities.units import Phase
from lobework.sheets.settings import settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilted:
    """A chuck from outside, with a field of every kind."""

    kind: ClassVar[str] = "tilted"
    is_dynamic: ClassVar[bool] = False
    lift: Length
    tilt_deg: Angle = 0.0
    detent: Turning = Phase()
    teeth: int = 96
    share: Fraction = Fraction(1, 3)
    stop: str = "near"
    slack: float = 0.25

    def motions(self, theta):
        return Rigid.still()


AXES = (Axis(moves="spindle", letter="C"), Axis(moves="cam 1", letter="A"), Axis(moves="x", letter="X", low=-60, high=160))
PIECE, CUTTER = Disc(diameter=70.0, thickness=8.0, material="boxwood"), Vee(angle_deg=90.0, width=3.0)


def bench(*chucks):
    lathe = Lathe(name="bench", headstock=Headstock(sideways="rocks", pivot_height=250.0), axes=AXES)
    for chuck in chucks:
        lathe = lathe.mount(chuck)
    return lathe


def one_pass():
    cam = Drive(
        Wave(lobes=4, base_radius=60.0, rise=5.0), ratio="2/3", follower=Roller(3.175), phase="5/32 lobe", index="1/96 turn"
    )
    return Pass(name="rings", turns=3, at=At(x=24.0, depth=0.4), cams=(cam,))


def made(item, lathe, units="mm", feeds=None):
    return settings("Lid", lathe, PIECE, CUTTER, list(cuts_of(item, lathe)), units, feeds)


def entries(sheet, name):
    return {entry.name: entry.value for group in sheet.groups if group.name == name for entry in group.entries}


def test_an_external_chuck_shows_every_setting():
    sheet = made(one_pass(), bench(Tilted(lift=12.7, tilt_deg=22.5, detent=Phase.of("1/8 turn"))))
    assert entries(sheet, "chuck 1 from the spindle: tilted") == {
        "kind": "tilted", "lift": "12.7 mm", "tilt": "22.5 deg", "detent": "1/8 turn = 45 deg",
        "teeth": "96", "share": "1/3", "stop": "near", "slack": "0.25",
    }  # fmt: skip


def test_chucks_are_listed_from_the_spindle_outwards():
    sheet = made(one_pass(), bench(EccentricChuck(shift=2.0), Oval(throw=3.0)))
    names = [group.name for group in sheet.groups if group.name.startswith("chuck")]
    assert names == ["chuck 1 from the spindle: eccentric", "chuck 2 from the spindle: oval"]


def test_a_cam_shows_shape_ratio_follower_side_gain_phase_and_index():
    """5/32 of a lobe of a four-lobed cam: 360 / 4 * 5 / 32 = 14.0625 degrees of the cam; 1/96 turn is 3.75."""
    assert entries(made(one_pass(), bench()), "cam 1") == {
        "shape": "wave", "lobes": "4", "base radius": "60 mm", "rise": "5 mm", "on": "edge",
        "ratio to spindle": "2/3 (66.6667 %)", "phase": "5/32 lobe = 14.0625 deg", "index": "1/96 turn = 3.75 deg",
        "follower": "roller", "follower radius": "3.175 mm", "follower side": "front", "gain": "1",
    }  # fmt: skip


def test_a_named_cam_also_shows_its_number_on_the_lathe():
    first = replace(one_pass(), cams=(replace(one_pass().cams[0], name="slow"),))
    assert entries(made(first, bench()), "cam 1, slow")["shape"] == "wave"


def test_the_set_up_lists_the_zeros_in_order():
    zeros = entries(made(one_pass(), bench()), "zeros, before the first cut")
    assert list(zeros) == ["1. spindle", "2. cam 1", "3. headstock", "4. x and y", "5. z", "6. then"]
    plain = entries(made(replace(one_pass(), cams=()), bench()), "zeros, before the first cut")
    assert list(plain) == ["1. spindle", "2. headstock", "3. x and y", "4. z"]
    assert plain["2. headstock"] == "no cam moves it sideways: lock it upright over the pivot"


def test_lengths_are_in_the_units_of_the_file():
    """One inch is 25.4 mm (Federal Register, 30 June 1959): a 3.175 mm roller is 1/8 inch."""
    sheet = made(one_pass(), bench(), "inch")
    assert entries(sheet, "cam 1")["follower radius"] == "0.125 in"
    assert entries(sheet, "lathe")["axis X"] == "moves the x slide, from -2.3622 in to 6.29921 in"
    assert entries(sheet, "headstock")["pivot height"] == "9.84252 in"


def test_the_set_up_contains_work_cutter_lathe_headstock_pass_and_program():
    sheet = made(one_pass(), bench(), feeds=Feeds(spindle_rpm=3.0, clear=6.0, plunge=50.0))
    assert entries(sheet, "work") == {"form": "disc", "diameter": "70 mm", "thickness": "8 mm", "material": "boxwood"}
    assert entries(sheet, "cutter") == {"kind": "vee", "angle": "90 deg", "width": "3 mm"}
    assert entries(sheet, "lathe")["axis C"] == "moves the spindle, unlimited travel"
    assert entries(sheet, "headstock")["sideways"] == "rocks"
    assert entries(sheet, "pass 1: rings")["spindle turns"] == "3"
    assert entries(sheet, "pass 1: rings")["begins at x"] == "24 mm"
    assert entries(sheet, "program") == {
        "spindle": "3 turns a minute",
        "clear of the face": "6 mm",
        "plunge": "50 mm a minute",
        "tolerance": "0.005 mm on the work",
    }


def test_the_steps_have_one_row_per_cut_with_only_the_stepped_settings():
    series = one_pass().series(4, {"x": -0.9, "phase": "1/32 lobe"}, name="ring").series(3, {"index": "1/3 turn"}, name="row")
    (steps,) = made(series, bench(EccentricChuck(shift=2.0))).steps
    assert [column.name for column in steps.columns] == ["eccentric index", "x", "cam 1 phase"]
    assert steps.step_heading == "row.ring"
    assert [row.number for row in steps.rows] == list(range(1, 13))
    assert [row.step_numbers for row in steps.rows[3:6]] == ["1.4", "2.1", "2.2"]
    assert steps.rows[3].values == ("0 deg", "21.3 mm", "1/4 lobe = 22.5 deg")
    assert steps.rows[11].values == ("2/3 turn = 240 deg", "21.3 mm", "1/4 lobe = 22.5 deg")


def test_settings_with_an_axis_are_set_by_the_program_and_the_others_by_hand():
    series = one_pass().series(2, {"x": -0.9, "depth": 0.1, "cam 1.phase": 2, "cam 1.gain": 0.1, "cam 1.index": 3, "index": 5})
    (steps,) = made(series, bench(EccentricChuck(shift=2.0))).steps
    done = {column.name: column.by for column in steps.columns}
    by_hand_too = {"depth": "hand", "cam 1 gain": "hand", "cam 1 index": "hand", "eccentric index": "hand"}
    assert done == {"x": "program", "cam 1 phase": "program", **by_hand_too, "tip on the axis at the zeros": "information"}


def test_each_pass_of_the_job_has_its_own_steps():
    lathe = bench()
    cuts = list(cuts_of(one_pass().series(3, x=-1.0), lathe))
    cuts += list(cuts_of(Pass(name="rim", at=At(x=32.0)), lathe, first=4, group=2))
    sheet = settings("Lid", lathe, PIECE, CUTTER, cuts)
    assert [(steps.name, len(steps.rows), len(steps.columns)) for steps in sheet.steps] == [
        ("pass 1: rings", 3, 1),
        ("pass 2: rim", 1, 0),
    ]


def test_a_job_without_a_cut_is_refused():
    with pytest.raises(SettingError, match="cuts=0"):
        settings("Lid", bench(), PIECE, CUTTER, [])


@pytest.mark.parametrize(
    ("value", "lobes", "shown"),
    [
        (Phase.of("1/4 turn"), 4, "1/4 turn = 90 deg"),
        (Phase.of("1/7 turn"), 1, "1/7 turn = 51.428571 deg"),
        (Phase.of("0.1 deg"), 1, "0.1 deg"),
        (Phase.of("1/2 lobe"), 4, "1/2 lobe = 45 deg"),
        (Phase.of("1/2 lobe + 2 deg"), 4, "1/2 lobe + 2 deg = 47 deg"),
        (Phase.of("1/3 deg"), 1, "1/3 deg = 0.333333 deg"),
        (Phase.of("1/2 lobe"), None, "1/2 lobe"),
    ],
)
def test_a_phase_is_shown_in_lobes_or_divisions_and_in_degrees(value, lobes, shown):
    assert show(value, lobes=lobes) == shown


def test_a_sum_with_rounding_error_is_shown_rounded():
    assert dict(settings_of(At(x=24 - 3 * 0.9)))["x"] == "21.3 mm"


def test_the_settings_by_hand_exclude_those_of_the_program():
    lathe = bench(EccentricChuck(shift=2.0))
    (cut,) = cuts_of(one_pass(), lathe)
    assert set(by_hand(cut)) == {
        "eccentric chuck", "eccentric shift", "eccentric index",
        "cam 1", "cam 1 follower", "cam 1 follower side", "cam 1 gain", "cam 1 index",
    }  # fmt: skip


TENTH = Screw(lead=2.54, divisions=10)


def steps_of(each, count, chuck):
    (steps,) = made(Pass(at=At(x=9.0)).series(count, each), bench(chuck)).steps
    return [column.name for column in steps.columns], [row.values for row in steps.rows]


def test_a_chuck_is_set_in_turns_and_divisions_of_its_screw_and_in_holes_of_its_wheel():
    """16 mm on ten threads an inch: 6.299 turns. Twelve parts of 96: 8 holes (Holtzapffel IV, ch. V)."""
    chuck = EccentricChuck(shift=16.0, index="1/12 turn", travel=25.4, screw=TENTH, wheel=Wheel([96, 144]))
    assert entries(made(one_pass(), bench(chuck)), "chuck 1 from the spindle: eccentric") == {
        "kind": "eccentric", "shift": "16 mm = 6 turns 3 div of its screw",
        "index": "1/12 turn = 30 deg = 8 holes of the 96 circle", "travel": "25.4 mm = 10 turns of its screw",
        "screw": "2.54 mm a turn, 10 divisions", "wheel": "circles 96, 144",
    }  # fmt: skip


def test_steps_are_shown_in_turns_of_the_screw():
    names, rows = steps_of({"eccentric.shift": "-1 turn"}, 3, EccentricChuck(shift=40.64, screw=TENTH))
    assert names == ["eccentric shift"]
    assert rows == [(f"{mm} mm = {turns} turns of its screw",) for mm, turns in (("40.64", 16), ("38.1", 15), ("35.56", 14))]


def test_an_inch_job_shows_inches_and_turns():
    sheet = made(one_pass(), bench(EccentricChuck(shift=40.64, screw=TENTH)), "inch")
    chuck = entries(sheet, "chuck 1 from the spindle: eccentric")
    assert (chuck["shift"], chuck["screw"]) == ("1.6 in = 16 turns of its screw", "0.1 in a turn, 10 divisions")


def test_all_steps_of_an_index_are_on_one_circle_if_one_suffices():
    """A third step of 144 also falls on a hole of 96; the pin stays on its circle."""
    _, rows = steps_of({"index": "1/144 turn"}, 4, EccentricChuck(shift=1.0, wheel=Wheel([96, 144])))
    assert [row[0].rpartition(" = ")[2] for row in rows] == [f"{n} hole{'s' * (n != 1)} of the 144 circle" for n in range(4)]


def test_a_worm_is_set_in_turns_of_its_crank_and_holes():
    """*Machinery's Handbook*, 1916: with a worm of 40, 35 degrees are 3 turns and 16 holes of the 18 circle."""
    _, rows = steps_of({"index": "35 deg"}, 2, PlainChuck(wheel=Wheel({"outer": 18}, worm=40)))
    assert rows[1] == ("7/72 turn = 35 deg = 3 turns and 16 holes of the outer circle",)


def test_the_settings_show_the_fittings_a_chuck_requires_and_those_of_the_lathe():
    lathe = replace(bench(), fittings=("ring", "ring drive"), swing=130.0).mount(Oval(throw=3.0, swing=1.0, swings="2/3"))
    sheet = made(one_pass(), lathe)
    oval = entries(sheet, "chuck 1 from the spindle: oval")
    assert (oval["swing"], oval["swings"], oval["fittings required"]) == ("1 mm", "2/3", "ring, ring drive")
    assert entries(sheet, "lathe")["swing"] == "130 mm"
    assert entries(sheet, "lathe")["fittings"] == "ring, ring drive"


def test_screw_wheel_and_travel_are_not_listed_for_setting():
    chuck = EccentricChuck(shift=16.0, travel=25.4, screw=TENTH, wheel=Wheel([96]))
    (cut,) = cuts_of(Pass(), bench(chuck))
    assert {what.removeprefix("eccentric ") for what in by_hand(cut)} == {"chuck", "shift", "index"}
    assert str(by_hand(cut)["eccentric shift"]) == "set eccentric shift to 16 mm = 6 turns 3 div of its screw"
