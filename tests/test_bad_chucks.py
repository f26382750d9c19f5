"""What no chuck, screw, wheel or lathe can do is refused in one exact line; a plugin's fault is laid at its door."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pytest

from lobework.cli import main
from lobework.errors import SettingError
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.geometry.rigid import Rigid
from lobework.lathe.lathe import Lathe
from lobework.parts.chuck import Dome, EccentricChuck, Oval, StraightLine
from lobework.parts.headstock import Headstock
from lobework.parts.protocols import ChuckSlide
from lobework.plugins import registry
from lobework.plugins.registry import Record
from tests.test_bad_input import Bench, bench  # noqa: F401 - a fixture

COMMANDS = ("make", "draw", "program", "settings", "check")
HEAD = """lathe = "rocking-bench"
piece = { form = "disc", diameter = 60, thickness = 8 }
cutter = { kind = "vee", angle = 90, width = 3 }
"""
PASS = """[[pass]]
at = { x = 20, depth = 0.3 }
"""
SCREW = 'screw = { lead = "0.1 in" }'
WHEEL = "wheel = { circles = [96, 144] }"
LENGTH = "write a length such as 3, '3 mm' or '1/8 in', or '16 turns' of its screw"
OF_A_WHEEL = "the holes of each circle, such as [96, 112, 144] or { outer = 96, inner = 72 }"
NO_SCREW = (
    "must be in mm or inches, because the chuck's screw is not specified; specify the screw, as in "
    "screw = { lead = '0.1 in', divisions = 10 }"
)
NO_WHEEL = (
    "must be an angle, because the chuck's wheel is not specified; specify the wheel, as in wheel = { circles = [96, 144] }"
)


def between(turns, nearest):
    return f"{turns} turn must coincide with a hole, but no circle has one there; the nearest is {nearest}"


def past(name, stands, end, after):
    message = f"its slide would move beyond its travel: after {after} turns it would be at {stands}, and the travel ends at {end}"
    return f"pass[1].chuck[1]: chuck {name!r}: {message}; reduce the movement of the slide, or the number of turns"


def lacks(name, need, lathe, fittings):
    remedy = "use a lathe with this fitting; if your lathe has it, add it to the fittings of the lathe"
    return f"chuck[1]: chuck {name!r} needs {need!r}, and lathe {lathe!r} has {fittings}; {remedy}"


def off_the_lathe(carried, reach):
    by, remedy = (f"displaced by {carried}, ", "reduce the displacement of the chucks, or take") if carried else ("", "take")
    far = f"it reaches {reach} mm from the spindle's axis, and the swing of lathe 'rocking-bench' is 160 mm"
    return f"pass[1]: the work does not clear the bed: {by}{far}; {remedy} smaller work, or another lathe"


def chuck(kind, *keys):
    return "\n".join(["[[chuck]]", f'kind = "{kind}"', *keys, ""])


def job(*chucks, passed=PASS, head=HEAD):
    return "".join([head, *chucks, passed])


def eccentric(*keys):
    return job(chuck("eccentric", *keys))


def line(*keys, passed=PASS):
    return job(chuck("straight-line", *keys), passed=passed)


def stepped(*keys, each):
    return job(chuck("eccentric", *keys), passed=PASS + f"series = {{ count = 3, each = {{ {each} }} }}\n")


WRONG = {
    "turns without a screw": (eccentric('shift = "16 turns"'), f":6: chuck[1].shift: '16 turns' {NO_SCREW}"),
    "a step in turns without a screw": (
        stepped("shift = 1", each='eccentric.shift = "1 turn"'),
        f":9: pass[1].series.each.eccentric.shift: '1 turn' {NO_SCREW}",
    ),
    "holes without a wheel": (
        eccentric("shift = 1", 'index = "8 holes of 96"'),
        f":7: chuck[1].index: '8 holes of 96' {NO_WHEEL}",
    ),
    "holes of a circle that is not there": (
        eccentric("shift = 1", 'index = "8 holes of 100"', WHEEL),
        (
            ":7: chuck[1].index: '8 holes of 100' must be in holes of a circle of the wheel, as in '8 holes of 96'; "
            "the wheel has circles 96, 144"
        ),
    ),
    "holes of no circle by name": (
        eccentric("shift = 1", 'index = "8 holes"', WHEEL),
        (
            ":7: chuck[1].index: '8 holes' must be in holes of a circle of the wheel, as in '8 holes of 96'; "
            "the wheel has circles 96, 144"
        ),
    ),
    "an index between the holes": (
        eccentric("shift = 1", 'index = "1/7 turn"', WHEEL),
        f":7: chuck[1].index: {between('1/7', '14 holes of the 96 circle, 1.071429 degrees further')}",
    ),
    "a step between the holes": (
        stepped("shift = 1", WHEEL, each='index = "1/7 turn"'),
        ":8: pass[1].series step 2, eccentric.index: chuck[1].index: "
        + between("1/7", "14 holes of the 96 circle, 1.071429 degrees further"),
    ),
    "a worm whose crank falls between the holes": (
        eccentric("shift = 1", 'index = "1 deg"', "wheel = { circles = [20], worm = 40 }"),
        f":7: chuck[1].index: {between('1/360', '2 holes of the 20 circle, 0.1 degrees less')}",
    ),
    "turns and minutes": (
        eccentric('shift = "3 turns 4 min"', SCREW),
        ":6: chuck[1].shift: '3 turns 4 min' is not understood; write for example '3 mm' or '3/8 in'",
    ),
    "a screw that is a length": (
        eccentric("shift = 1", 'screw = "0.1 in"'),
        ":7: chuck[1].screw: '0.1 in' is not a table; write a table with lead, divisions",
    ),
    "a screw without its lead": (
        eccentric("shift = 1", "screw = { divisions = 10 }"),
        ":7: chuck[1].screw.lead: is missing; write a length such as 3, '3 mm' or '1/8 in'",
    ),
    "a screw that moves nothing": (
        eccentric("shift = 1", "screw = { lead = 0 }"),
        ":7: chuck[1].screw.lead: 0 must be above zero, and below a metre",
    ),
    "a head of no divisions": (
        eccentric("shift = 1", "screw = { lead = 2, divisions = 0 }"),
        ":7: chuck[1].screw.divisions: 0 must be a whole number from 1 to 10000",
    ),
    "a screw with a pitch": (
        eccentric("shift = 1", "screw = { pitch = 2 }"),
        ":7: chuck[1].screw.pitch: there is no such key; keys here: lead, divisions",
    ),
    "a wheel without circles": (
        eccentric("shift = 1", "wheel = { worm = 40 }"),
        f":7: chuck[1].wheel.circles: is missing; write {OF_A_WHEEL}",
    ),
    "a wheel with a circle in words": (
        eccentric("shift = 1", 'wheel = { circles = ["many"] }'),
        ":7: chuck[1].wheel.circles: ['many'] must be whole numbers of holes, 1 to 100000",
    ),
    "a circle without holes": (
        eccentric("shift = 1", "wheel = { circles = { outer = 0 } }"),
        ":7: chuck[1].wheel.circles: {'outer': 0} must be whole numbers of holes, 1 to 100000",
    ),
    "a worm of no turns": (
        eccentric("shift = 1", "wheel = { circles = [96], worm = 0 }"),
        ":7: chuck[1].wheel.worm: 0 must be a whole number of crank turns, 1 to 100000",
    ),
    "a slide set past its end": (
        eccentric('shift = "16 turns"', "travel = 30", SCREW),
        ":6: chuck[1].shift: '16 turns' must be within the travel of its slide, 30 mm (11 turns 8.1 div) to either side",
    ),
    "a slide without travel": (
        eccentric("shift = 1", "travel = 0"),
        ":7: chuck[1].travel: 0 must be above zero; leave it out if the travel is unlimited",
    ),
    "a step past the slide's end": (
        stepped("shift = 1", "travel = 5", each="eccentric.shift = 3"),
        ":8: pass[1].series step 3, eccentric.shift: shift=7: must be within the travel of its slide, 5 mm to either side",
    ),
    "a ring thrown past its end": (
        job(chuck("oval", "throw = 12", "travel = 10")),
        ":6: chuck[1].throw: 12 must be within the travel of its slide, 10 mm to either side",
    ),
    "a ring that swings the other way": (
        job(chuck("oval", "throw = 2", "swing = -1")),
        ":7: chuck[1].swing: -1 must be zero or more; begin on the other side with swing_phase '1/2 turn'",
    ),
    "a ring that swings backwards": (
        job(chuck("oval", "throw = 2", "swing = 1", "swings = -1")),
        ":8: chuck[1].swings: -1 must be from 0 to 1000 in a turn of the spindle",
    ),
    "a ring that swings past the slide's end": (
        job(chuck("oval", "throw = 8", "swing = 4", "swings = 2", "travel = 10"), head=HEAD.replace("rocking", "plain")),
        ":10: " + past("oval", "12 mm", "10 mm", 0),
    ),
    "a ring drive that the lathe lacks": (
        job(chuck("oval", "throw = 2", "swing = 1")),
        ":4: " + lacks("oval", "ring drive", "rocking-bench", "'ring', 'stop against turning', 'fixed wheel'"),
    ),
    "a line on a lathe that cannot keep work from turning": (
        line("per_turn = 5", "travel = 40").replace("rocking", "plain"),
        ":4: " + lacks("straight-line", "stop against turning", "plain-bench", "'ring', 'ring drive', 'fixed wheel'"),
    ),
    "a line without its travel": (line("per_turn = 5"), f":4: chuck[1].travel: is missing; {LENGTH}"),
    "a line that begins past its end": (
        line("per_turn = 5", "travel = 10", "start = -11"),
        ":8: chuck[1].start: -11 must be within the travel of its slide, 10 mm to either side",
    ),
    "a line driven past its end": (
        line("per_turn = 12", "travel = 20", "start = -20", SCREW, passed=PASS + "turns = 4\n"),
        ":10: " + past("straight-line", "28 mm (11 turns 0.2 div)", "20 mm", 4),
    ),
    "a line driven past its other end": (
        line("per_turn = -12", "travel = 20", passed=PASS + "turns = 4\n"),
        ":8: " + past("straight-line", "-48 mm", "-20 mm", 4),
    ),
    "a tilt beyond upside down": (
        job(chuck("dome", "tilt = 190")),
        ":6: chuck[1].tilt: 190 must be from -180 to 180 degrees",
    ),
    "a slide wound out until the work meets the bed": (
        eccentric("shift = 150"),
        ":7: " + off_the_lathe("'eccentric'", 180),
    ),
    "a stack that carries the work off the lathe": (
        job(chuck("eccentric", "name = 'lower'", "shift = 90"), chuck("eccentric", "name = 'upper'", "shift = 60")),
        ":12: " + off_the_lathe("'lower' and 'upper'", 180),
    ),
    "a line that carries the work off the lathe": (
        line("per_turn = 50", "travel = 200", passed=PASS + "turns = 3\n"),
        ":8: " + off_the_lathe("'straight-line'", 180),
    ),
    "a tilt that swings the work into the bed": (
        job(chuck("dome", "tilt = 90", "behind = 160")),
        ":8: " + off_the_lathe("'dome'", 162.79),
    ),
    "work that is larger than the lathe": (
        job(head=HEAD.replace("diameter = 60", "diameter = 330")),
        ":4: " + off_the_lathe("", 165),
    ),
    "a swing of nothing": (
        job(head=HEAD.replace('"rocking-bench"', '{ headstock = { sideways = "fixed" }, swing = 0 }')),
        ":1: lathe.swing: 0.0 must be above zero; leave it out if there is no bed",
    ),
    "a slide stepped out until the work meets the bed": (
        job(chuck("eccentric", "shift = 100"), passed=PASS + "series = { count = 9, each = { eccentric.shift = 10 } }\n"),
        ":7: " + off_the_lathe("'eccentric'", 170).replace("pass[1]", "pass[1].series step 5"),
    ),
    "an index in lobes": (
        eccentric("shift = 3", "index = '1/2 lobe'"),
        ":7: chuck[1].index: '1/2 lobe' must be in degrees or turns; only cams have lobes",
    ),
    "the way of a ring in lobes": (
        job(chuck("oval", "throw = 3", "swing_phase = '1 lobe + 2 deg'")),
        ":7: chuck[1].swing_phase: '1 lobe + 2 deg' must be in degrees or turns; only cams have lobes",
    ),
    "an index that is stepped in lobes": (
        job(chuck("eccentric", "shift = 3"), passed=PASS + "series = { count = 3, each = { eccentric.index = '1/4 lobe' } }\n"),
        (
            ":7: pass[1].series step 2, eccentric.index: chuck[1].index: "
            "'1/4 lobe' must be in degrees or turns; only cams have lobes"
        ),
    ),
    "series of both kinds": (
        job(passed=PASS + "[pass.series]\ncount = 2\n[[pass.series]]\ncount = 3\n"),
        ", line 8, column 14: is not TOML: Cannot overwrite a value; write each of several tables as [[...]]",
    ),
    "fittings in one text": (
        job(head=HEAD.replace('"rocking-bench"', '{ headstock = { sideways = "fixed" }, fittings = "ring" }')),
        ":1: lathe.fittings: 'ring' does not fit here; write a list, each text in quotes, at most 300 characters",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_every_command_refuses_an_invalid_chuck_with_the_same_line(case, bench):  # noqa: F811
    text, message = WRONG[case]
    bench.job.write_text(text, encoding="utf-8")
    assert {bench.refusal(command, bench.job) for command in COMMANDS} == {f"{bench.job}{message}"}


def test_invalid_chucks_are_refused_in_python_with_the_same_line():
    """Exact lines for what a script writes."""
    cases = {
        lambda: EccentricChuck(shift=31.0, travel=30.0): "shift=31: must be within the travel of its slide, 30 mm to either side",
        lambda: EccentricChuck(shift=1.0, screw="0.1 in"): "screw='0.1 in': must be a Screw, or left out",
        lambda: Dome(wheel=[96]): "wheel=[96]: must be a Wheel, or left out",
        lambda: StraightLine(per_turn=math.inf, travel=1.0): "per_turn=inf: must be a finite length",
        lambda: StraightLine(per_turn=1.0, travel=math.inf): "travel=inf: must be a finite length",
        lambda: replace(bench_lathe(), fittings="ring"): "fittings='ring': must be a list of names, such as ('ring',)",
        lambda: replace(bench_lathe(), swing="6 in"): "swing=6 in: must be above zero; leave it out if there is no bed",
        lambda: replace(bench_lathe(), chucks=(Oval,)): (
            "chucks=(<class 'lobework.parts.chuck.Oval'>,): must be a tuple of Mounted; mount each chuck with lathe.mount(chuck)"
        ),
        lambda: Dome(tilt_deg=math.nan): "tilt=nan: must be from -180 to 180 degrees",
        lambda: Oval(throw=1.0, swing=math.nan): "swing=nan: must be a finite length",
        lambda: bench_lathe().mount(EccentricChuck(shift=1.0, index="1/7 turn", wheel=Wheel([96]))): (
            "chuck[1].index: 1/7 turn must coincide with a hole, but no circle has one there; "
            "the nearest is 14 holes of the 96 circle, 1.071429 degrees further"
        ),
        lambda: replace(bench_lathe(), fittings=()).mount(Oval(throw=1.0)): (
            "chuck[1]: chuck 'oval' needs 'ring', and lathe 'bench' has no fittings; "
            "use a lathe with this fitting; if your lathe has it, add it to the fittings of the lathe"
        ),
    }
    for make, message in cases.items():
        with pytest.raises(SettingError) as told:
            make()
        assert str(told.value) == message


def bench_lathe():
    return Lathe(name="bench", headstock=Headstock(sideways="fixed"))


def test_a_lathe_without_fittings_accepts_every_chuck():
    assert bench_lathe().mount(Oval(throw=1.0, swing=1.0)).mount(StraightLine(per_turn=1.0, travel=5.0)).fittings is None


def test_a_slide_may_be_at_the_end_of_its_travel():
    from lobework.kinematics.motion import motion_of
    from tests.strategies import cut_on, fixed

    motion_of(cut_on(fixed(StraightLine(per_turn=10.0, travel=20.0, start=-20.0, screw=Screw(lead=2.54))), turns=4))
    motion_of(cut_on(fixed(Oval(throw=6.0, swing=4.0, swings="2/3", travel=10.0)), turns=3))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spun:
    """A chuck from outside that may break any promise."""

    kind: ClassVar[str] = "spun"
    fault: str
    is_dynamic: bool = True
    period_turns: int = 1

    @property
    def needs(self):
        return "ring" if self.fault == "one need" else ()

    def slides(self, theta):
        given = {"a slide's place": theta, "half the places": (ChuckSlide("slide", theta[::2], -9.0, 9.0),)}
        return given.get(self.fault, (ChuckSlide("slide", np.cos(theta), -9.0, 9.0),))

    def motions(self, theta):
        whole = Rigid.turn(theta) @ Rigid.move(x=np.cos(theta))
        sheared = whole.rotation.copy()
        sheared[3:, 0, 1] += 1e-3
        nothing = whole.shift.copy()
        nothing[2:, 1] = np.nan
        given = {
            "": whole,
            "no motion": theta,
            "one matrix": Rigid(np.eye(3), np.zeros((1, 3))),
            "one shift": Rigid(np.eye(3)[None], np.zeros(3)),
            "three of seven": Rigid(whole.rotation[:3], whole.shift),
            "lists": Rigid([[1, 0, 0], [0, 1, 0], [0, 0, 1]], whole.shift),
            "whole numbers": Rigid(np.eye(3, dtype=np.int64)[None], whole.shift),
            "no number": Rigid(whole.rotation, nothing),
            "endless": Rigid(whole.rotation, np.full_like(whole.shift, np.inf)),
            "shear": Rigid(sheared, whole.shift),
            "mirror": Rigid(whole.rotation * np.array([1.0, 1.0, -1.0]), whole.shift),
        }
        if self.fault == "raise":
            raise ZeroDivisionError("gear of no teeth")
        return given.get(self.fault, whole)


@pytest.fixture
def spun(monkeypatch):
    """The chuck as if its package were installed."""
    real = registry.installed()
    record = Record(name="spin", package="lobework-spin", version="0.3", offers=(("chuck", "spun"),))
    parts = {**real.parts, "chuck": {**real.parts["chuck"], "spun": Spun}}
    shelf = replace(real, loaded=(*real.loaded, record), parts=parts)
    monkeypatch.setattr(registry, "installed", lambda: shelf)


NAMED = f"pass[1]: chuck 'spun' ({Spun.__module__}.Spun): "
CAME = "; this part comes with plugin 'spin' (lobework-spin 0.3); set LOBEWORK_TRACEBACK=1 to see where"
FAULTS = {
    "no motion": "motions returns ndarray; it must return a lobework.Rigid",
    "one matrix": "motions returns a rotation of shape (3, 3) for 7 angles; the shape must be (7, 3, 3) or (1, 3, 3)",
    "one shift": "motions returns a shift of shape (3,) for 7 angles; the shape must be (7, 3) or (1, 3)",
    "three of seven": "motions returns a rotation of shape (3, 3, 3) for 7 angles; the shape must be (7, 3, 3) or (1, 3, 3)",
    "lists": "motions returns a rotation that is not an array of float64; make it with lobework.Rigid.move and .turn",
    "whole numbers": "motions returns a rotation that is not an array of float64; make it with lobework.Rigid.move and .turn",
    "shear": "motions returns a motion that is not rigid at 180 degrees of the spindle: it stretches or shears the work",
    "mirror": "motions returns a motion that is not rigid at 0 degrees of the spindle: it mirrors the work",
}


def fault_of(bench, *keys):  # noqa: F811
    """Run a command on a job with the chuck from outside, and return its one line, its code being a fault's."""
    bench.job.write_text(job(chuck("spun", *keys)), encoding="utf-8")
    before = bench.files()
    for command in COMMANDS:
        assert main([command, str(bench.job)]) == 70
    said = bench.capsys.readouterr()
    assert said.out == ""
    assert bench.files() == before
    (one,) = set(said.err.splitlines())
    return one.removeprefix("lobework: ")


@pytest.mark.parametrize("fault", FAULTS)
def test_invalid_motions_are_reported_with_their_plugin(fault, bench, spun):  # noqa: F811
    assert fault_of(bench, f'fault = "{fault}"') == NAMED + FAULTS[fault] + CAME


@pytest.mark.parametrize(("fault", "degrees"), [("no number", 120), ("endless", 0)])
def test_motions_that_are_not_finite_are_refused_with_the_chuck_s_settings(fault, degrees, bench, spun):  # noqa: F811
    bench.job.write_text(job(chuck("spun", f'fault = "{fault}"')), encoding="utf-8")
    gives = f"motions returns a shift that is not finite at {degrees} degrees of the spindle"
    settings = f"fault {fault}, is_dynamic True, period_turns 1"
    message = f"{gives}, with {settings}; the values must be finite everywhere: change its settings, or correct the part"
    came = "; this part comes with plugin 'spin' (lobework-spin 0.3)"
    line = f"{bench.job}:7: {NAMED.replace('pass[1]: ', 'pass[1].chuck[1]: ')}{message}{came}"
    assert {bench.refusal(command, bench.job) for command in (*COMMANDS, "carve")} == {line}


def test_a_moving_chuck_with_is_dynamic_false_is_refused(bench, spun):  # noqa: F811
    remedy = "set is_dynamic to True, or return one motion for all angles"
    message = f"is_dynamic is False, but the chuck moves the work as the spindle turns; {remedy}"
    assert fault_of(bench, 'fault = ""', "is_dynamic = false") == NAMED + message + CAME


def test_a_negative_period_is_refused(bench, spun):  # noqa: F811
    message = "period_turns is -1; it must be a whole number of turns, or 0 if the motion is not periodic"
    assert fault_of(bench, 'fault = ""', "period_turns = -1") == NAMED + message + CAME


def test_invalid_slides_are_reported(bench, spun):  # noqa: F811
    message = (
        "slides returns a position of 'slide' of shape (4,) for 7 angles; the shape must be (7,) or (1,), and the numbers finite"
    )
    assert fault_of(bench, 'fault = "half the places"') == NAMED + message + CAME
    message = "slides returns ndarray; it must return a tuple of lobework.plugins.ChuckSlide"
    assert fault_of(bench, 'fault = "a slide\'s place"') == NAMED + message + CAME


def test_needs_that_are_not_a_tuple_are_reported(bench, spun):  # noqa: F811
    message = "needs is 'ring'; it must be a tuple of fittings, such as ('ring',); set LOBEWORK_TRACEBACK=1 to see where"
    assert fault_of(bench, 'fault = "one need"') == NAMED.removeprefix("pass[1]: ") + message


def test_an_exception_in_a_chuck_is_reported(bench, spun):  # noqa: F811
    message = (
        "a fault in plugin 'spin' (lobework-spin 0.3): ZeroDivisionError: gear of no teeth; set LOBEWORK_TRACEBACK=1 to see where"
    )
    assert fault_of(bench, 'fault = "raise"') == message


def test_a_correct_external_chuck_is_accepted(bench, spun):  # noqa: F811
    bench.job.write_text(job(chuck("spun", 'fault = ""', "period_turns = 1")), encoding="utf-8")
    assert main(["check", str(bench.job)]) == 0
