"""A part that gives no finite number is refused by every command; a path that jumps is found, and never proved."""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lobework.checks.jumps import jump_findings, jumps_of
from lobework.cli import main
from lobework.errors import PartError
from lobework.jobs.job import Job
from lobework.kinematics.trace import trace
from lobework.lathe.passes import Pass
from lobework.parts.cam import Scallop, Wave
from lobework.parts.chuck import Dome, EccentricChuck, Oval, PlainChuck, StraightLine
from lobework.parts.cutter import Pen
from lobework.parts.drive import Drive
from lobework.parts.follower import FlatFollower, Knife, Roller
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.plugins import registry
from lobework.plugins.registry import Record
from lobework.plugins.samples import EVERY
from tests.faulty import FaultyCam, FaultyChuck, SilentChuck
from tests.strategies import GearedArm, cut_on, fixed, rocking, sliding
from tests.test_bad_input import Bench, bench  # noqa: F401 - a fixture

pytestmark = pytest.mark.usefixtures("small_pictures")

AT = At(x=20.0, y=1.0, depth=0.3)
STACKS = {
    "alone": lambda chuck: (chuck,),
    "within good ones": lambda chuck: (Oval(throw=3.0, swing=1.0, swings=64), chuck, EccentricChuck(shift=4.0)),
    "under a tilt": lambda chuck: (chuck, Dome(tilt_deg=20.0, behind=15.0)),
    "on what never comes back": lambda chuck: (StraightLine(per_turn=2.0, travel=300.0), chuck),
}
WAYS = ("plain", "compiled")


def path(*chucks, cams=(), lathe=None, way="auto", turns=1, **given):
    cut = cut_on((lathe or fixed)(*chucks), *cams, turns=turns, at=AT)
    return trace(dataclasses.replace(cut, passed=dataclasses.replace(cut.passed, **given)), chord=0.01, backend=way)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("stack", STACKS)
@pytest.mark.parametrize("fault", ["nan", "inf", "nan turn"])
@pytest.mark.parametrize("wide", [1.4e-3, 1.5e-4])
def test_a_chuck_that_returns_a_non_finite_value_is_refused_plain_and_compiled(wide, fault, stack, way):
    chuck = FaultyChuck(fault=fault, at=0.277777, wide=wide)
    with pytest.raises(
        PartError, match=r"not finite at [\d.]+ degrees of the spindle, with fault nan|inf, at 0\.277777"
    ) as refused:
        path(*STACKS[stack](chuck), way=way)
    assert "chuck '" in str(refused.value)
    assert "(tests.faulty.FaultyChuck)" in str(refused.value)


def test_a_chuck_is_tested_from_the_start_angle_of_the_pass():
    """It gives no number from 3 turns on: a pass of one turn from there on is refused, one from 0 on is not."""

    @dataclasses.dataclass(frozen=True, kw_only=True)
    class Worn:
        kind = "worn"
        is_dynamic = True

        def motions(self, theta):
            from lobework.geometry.rigid import Rigid

            return Rigid.move(x=np.where(theta > 6.5 * math.pi, np.nan, np.cos(theta)))

    path(Worn())
    with pytest.raises(PartError, match="not finite at 1200 degrees"):
        path(Worn(), spindle="3 turns")


@pytest.mark.parametrize("follower", [Knife(), Roller(1.0), FlatFollower()], ids=lambda each: each.kind)
@pytest.mark.parametrize("fault", ["nan", "inf", "nan slope"])
@pytest.mark.parametrize("wide", [0.1, 1e-3])
def test_a_cam_that_returns_a_non_finite_value_is_refused_under_every_follower(wide, fault, follower):
    cam = FaultyCam(lobes=7, base_radius=60.0, rise=1.0, fault=fault, wide=wide)
    with pytest.raises(
        PartError, match=r"cam 'faulty-cam' \(tests.faulty.FaultyCam\): (rise|slope)_at returns (nan|inf) at [\d.]+ deg"
    ):
        path(cams=(Drive(cam, follower=follower),), lathe=sliding)


@dataclasses.dataclass(frozen=True, kw_only=True)
class Chipped:
    """A shaped follower that gives no number beside its tip, or is stepped there."""

    kind = "chipped"
    form = "shaped"
    half_width = 2.0
    rest = 6.0
    step: float = math.nan

    def nose_at(self, q):
        nose = self.rest - 0.5 * q**2
        return np.where((q > 0.7) & (q < 0.72), nose - self.step, nose)

    def nose_slope_at(self, q):
        return -q


def test_a_follower_that_returns_a_non_finite_value_is_refused():
    drive = Drive(Wave(lobes=7, base_radius=60.0, rise=1.0), follower=Chipped())
    with pytest.raises(
        PartError,
        match=r"follower 'chipped' \(tests.test_jumps.Chipped\): nose_at returns nan at 0.7\d* mm from the middle of the nose",
    ):
        path(cams=(drive,), lathe=sliding)


JUMPS = {
    "a step to the side": (FaultyChuck(fault="jump", size=0.5), [97.2, 97.56], 0.5),
    "a small step to the side": (FaultyChuck(fault="jump", size=2e-4), [97.2, 97.56], 2e-4),
    "for a ten-thousandth of a turn": (FaultyChuck(fault="jump", wide=1e-4, size=0.5), [97.2, 97.236], 0.5),
    "a turn": (FaultyChuck(fault="turn", size=0.1), [97.2, 97.56], None),
    "an angle from arctan": (FaultyChuck(fault="arctan"), [7.2, 187.2], None),
    "at whole turns": (SilentChuck(fault="whole turns", size=0.25), [360.0], 0.25),
    "at one place": (FaultyChuck(fault="one place", at=0.25, size=0.5), [90.0], 0.5),
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("stack", STACKS)
@pytest.mark.parametrize("jump", JUMPS)
def test_a_chuck_s_jump_is_found_with_its_place_and_size(jump, stack, way):
    chuck, degrees, size = JUMPS[jump]
    found = jumps_of(path(*STACKS[stack](chuck), way=way))
    assert [360 * each.u for each in found] == pytest.approx(degrees, abs=1e-6)
    number = STACKS[stack](chuck).index(chuck) + 1
    assert {each.part for each in found} == {f"chuck 'chuck {number}'"}
    if size is not None:
        assert [each.mm for each in found] == pytest.approx([size] * len(found), abs=1e-6)


def test_a_jump_at_whole_turns_is_found_from_any_start_angle():
    for spindle in ("0 deg", "1/3 turn", "33 deg", "-2/7 turn"):
        for turns in (1, 3, Fraction(5, 2)):
            chuck = SilentChuck(fault="whole turns")
            begins = {"0 deg": 0.0, "1/3 turn": 1 / 3, "33 deg": 33 / 360, "-2/7 turn": -2 / 7}[spindle]
            whole = [k for k in range(-3, 9) if begins < k <= begins + float(turns) + 1e-12]
            found = jumps_of(path(chuck, turns=turns, spindle=spindle))
            assert [each.u + begins for each in found] == pytest.approx(whole, abs=1e-9)


@pytest.mark.parametrize("fault", ["jump", "named jump"])
def test_a_step_of_a_cam_under_a_knife_is_found_in_every_lobe(fault):
    cam = FaultyCam(lobes=7, base_radius=60.0, rise=1.0, fault=fault)
    found = jumps_of(path(cams=(Drive(cam, follower=Knife()),), lathe=sliding))
    assert len(found) == 14
    assert {each.part for each in found} == {"cam 1"}
    assert [each.mm for each in found] == pytest.approx([0.5] * 14, abs=1e-6)


@pytest.mark.parametrize("follower", [Roller(1.0), FlatFollower()], ids=lambda each: each.kind)
@pytest.mark.parametrize("fault", ["jump", "named jump"])
def test_a_step_of_a_cam_is_refused_with_its_name_under_any_other_follower(fault, follower):
    drive = Drive(FaultyCam(lobes=7, base_radius=60.0, rise=1.0, fault=fault), follower=follower)
    message = (
        r"cam 'faulty-cam' \(tests.faulty.FaultyCam\): rise_at jumps by 0.5 mm at 13.8857 degrees of the cam; only a knife can"
    )
    with pytest.raises(PartError, match=message):
        path(cams=(drive,), lathe=sliding)


def test_a_follower_with_a_discontinuous_nose_is_refused_with_its_name():
    drive = Drive(Wave(lobes=7, base_radius=60.0, rise=1.0), follower=Chipped(step=0.25))
    message = (
        r"follower 'chipped' \(tests.test_jumps.Chipped\): nose_at jumps by 0.25 mm at 0.7 mm from the middle of the nose, "
        r"with step 0.25; the shape must"
    )
    with pytest.raises(PartError, match=message):
        path(cams=(drive,), lathe=sliding)


GOOD = {
    "quick": FaultyChuck(fault="quick", size=3.0),
    "with a corner": FaultyChuck(fault="corner", size=3.0),
    "with a vertical tangent": FaultyChuck(fault="root", size=3.0),
    "with steep sides": FaultyChuck(fault="steep", wide=1e-3),
    "geared": GearedArm(arm=7.0, gear=19.37),
    "geared high": GearedArm(arm=7.0, gear=-211.0),
    "an oval of 1000 swings": Oval(throw=5.0, swing=3.0, swings=1000),
    **{f"shipped, {k}": each.part for k, each in enumerate(EVERY) if each.kind == "chuck"},
}


@pytest.mark.parametrize("good", GOOD)
def test_a_fast_but_continuous_chuck_is_not_reported(good):
    made = path(GOOD[good])
    assert jumps_of(made) == []
    assert list(jump_findings([made])) == []


@pytest.mark.parametrize("lathe", [sliding, lambda *chucks: rocking(250.0, *chucks)], ids=["slides", "rocks"])
@pytest.mark.parametrize("follower", [Knife(), Roller(2.0), FlatFollower()], ids=lambda each: each.kind)
@pytest.mark.parametrize("shape", [Wave, Scallop])
def test_cams_with_corners_and_bridged_hollows_are_not_reported(shape, follower, lathe):
    drive = Drive(shape(lobes=8, base_radius=60.0, rise=1.0), follower=follower, ratio=Fraction(3, 2))
    assert jumps_of(path(cams=(drive,), lathe=lathe, turns=2)) == []


@settings(max_examples=25)
@given(at=st.floats(0.001, 0.99), wide=st.floats(1.5e-4, 0.1), size=st.floats(1e-3, 5.0), turns=st.integers(1, 3))
def test_a_jump_at_any_place_is_found(at, wide, size, turns):
    found = jumps_of(path(PlainChuck(), FaultyChuck(fault="jump", at=at, wide=min(wide, 0.995 - at), size=size), turns=turns))
    assert [each.u for each in found[:2]] == pytest.approx([at, at + min(wide, 0.995 - at)], abs=1e-9)


def test_the_message_of_a_jump():
    chuck = FaultyChuck(fault="jump", at=0.25, wide=0.1, size=0.5)
    (said,) = jump_findings([path(chuck, name="rings")])
    assert str(said) == (
        "problem (jump): rings, chuck 'chuck 1': the path jumps by 0.5 mm at a spindle angle of 90 degrees, after 0.25 turns, "
        "and at 1 more place; no lathe can follow this path: change the settings of the part, or correct the part"
    )


def test_a_sudden_rotation_about_the_tip_is_a_jump():
    chuck = FaultyChuck(fault="turn", at=0.25, wide=0.1, size=1.0)
    cut = cut_on(fixed(EccentricChuck(shift=-3.0), chuck), at=At(depth=0.3))
    found = jumps_of(trace(cut))
    assert [each.degrees for each in found] == pytest.approx([math.degrees(0.05)] * 2, abs=1e-6)


HEAD = """lathe = "rocking-bench"
piece = { form = "disc", diameter = 60, thickness = 8 }
cutter = { kind = "vee", angle = 90, width = 3 }
[[chuck]]
"""
PASS = """
[[pass]]
at = { x = 20, depth = 0.3 }
"""


@pytest.fixture
def shop(bench, monkeypatch):  # noqa: F811
    """A folder with a sound job and its program; the faulty chuck is as if its package were installed."""
    real = registry.installed()
    record = Record(name="bad", package="lobework-bad", version="0.3", offers=(("chuck", "faulty"), ("chuck", "silent")))
    chucks = {**real.parts["chuck"], "faulty": FaultyChuck, "silent": SilentChuck}
    shelf = dataclasses.replace(real, loaded=(*real.loaded, record), parts={**real.parts, "chuck": chucks})
    monkeypatch.setattr(registry, "installed", lambda: shelf)
    bench.job.write_text(f'{HEAD}kind = "faulty"\nfault = ""{PASS}', encoding="utf-8")
    assert main(["program", str(bench.job)]) == 0
    assert main(["check", str(bench.job)]) == 0
    bench.capsys.readouterr()
    return bench


COMMANDS = ("check", "draw", "carve", "settings", "program", "make")


def test_a_chuck_with_non_finite_values_over_half_a_degree_is_refused_by_every_command(shop):
    shop.job.write_text(f'{HEAD}kind = "faulty"\nfault = "nan"\nat = 0.2777777777777778\nwide = 1.39e-3{PASS}', encoding="utf-8")
    said = {shop.refusal(command, shop.job, "--into", "elsewhere") for command in COMMANDS if command != "check"}
    said.add(shop.refusal("check", shop.job))
    said.add(shop.refusal("prove", "lid/program.ngc", "--job", shop.job))
    (line,) = said
    assert line == (
        f"{shop.job}:9: pass[1].chuck[1]: chuck 'faulty' (tests.faulty.FaultyChuck): "
        "motions returns numbers that are not finite at 100 degrees of the spindle, with fault nan, at 0.2777777777777778, "
        "wide 0.00139, size 1 mm; the values must be finite everywhere: "
        "change its settings, or correct the part; this part comes with plugin 'bad' (lobework-bad 0.3)"
    )


@pytest.mark.parametrize(
    "faulty", ['"faulty"\nfault = "jump"\nwide = 0.3', '"faulty"\nfault = "arctan"', '"silent"\nfault = "whole turns"']
)
def test_a_jump_is_found_by_the_check_and_never_proved(faulty, shop):
    shop.job.write_text(f"{HEAD}kind = {faulty}{PASS}", encoding="utf-8")
    for arguments in (["check", str(shop.job)], ["prove", "lid/program.ngc", "--job", str(shop.job)]):
        assert main(arguments) == 1
        said = shop.capsys.readouterr()
        assert said.err == ""
        assert "problem (jump): pass 1, chuck '" in said.out
        assert "\nproved" not in said.out


def test_make_reports_a_jump(shop):
    shop.job.write_text(f'{HEAD}kind = "faulty"\nfault = "jump"\nwide = 0.3{PASS}', encoding="utf-8")
    assert main(["make", str(shop.job), "--overwrite"]) == 1
    said = shop.capsys.readouterr().out
    assert "problem (jump): pass 1, chuck 'faulty'" in said
    assert "program.ngc not proved: 1 problem" in said


def test_a_jump_smaller_than_the_tolerance_is_not_proved_either():
    chuck = FaultyChuck(fault="jump", wide=0.3, size=5e-4)
    lathe = dataclasses.replace(fixed(chuck), name="bench")
    job = Job(lathe=lathe, piece=Disc(diameter=60.0, thickness=8.0), cutter=Pen(), passes=[Pass(at=At(x=20.0, depth=0.2))])
    from lobework.targets.rs274 import render

    proof = job.prove(render(job.program()))
    assert proof.deviation.mm <= proof.allowed
    assert [each.kind for each in proof.problems] == ["jump"]
    assert proof.code == 1
