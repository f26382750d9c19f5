"""Lathe files: what is read from them, that the page about them is true, and what a mistake is answered with."""

from __future__ import annotations

import json
import math
import re
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lobework.cli import main
from lobework.errors import InputError
from lobework.gearing.dividing_wheel import Wheel
from lobework.gearing.screw import Screw
from lobework.jobs.jobfile import lathe_schema, read_job, read_lathe, shipped_lathes
from lobework.lathe.lathe import Axis, Controller, HandAxis, Lathe
from lobework.parts.camshaft import CamShaft
from lobework.parts.headstock import Headstock
from lobework.quantities import units

PAGE = (Path(__file__).parents[1] / "docs" / "lathe-file.md").read_text(encoding="utf-8")
WHOLE, IN_A_JOB = re.findall(r"^```toml\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)
TABLES = {"The lathe": "", "headstock": "headstock", "axis": "axis", "hand": "hand", "cam": "cam", "controller": "controller"}
SPINDLE = '[[axis]]\nmoves = "spindle"\nletter = "C"\n'
BENCH = f'[headstock]\nsideways = "slides"\n{SPINDLE}'
WAVES = """
[piece]
form = "disc"
diameter = 70
thickness = 8
[cutter]
kind = "pen"
[[pass]]
at = { x = 24 }
[[pass.cam]]
shape = "wave"
lobes = 12
base_radius = 62
rise = 2
follower = { kind = "roller", radius = 3 }
"""


@pytest.fixture
def write(tmp_path):
    """Return a function that writes a file and returns its path."""

    def written(text: str, name: str = "bench.toml") -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return written


@pytest.fixture
def refused(write):
    """Return a function from a lathe file's text to what its one line says after the file and line."""

    def said(text: str) -> str:
        path = write(text)
        with pytest.raises(InputError) as caught:
            read_lathe(path)
        assert "\n" not in str(caught.value)
        return str(caught.value).removeprefix(f"{path}:")

    return said


def schema_keys(table: str) -> set[str]:
    value = lathe_schema()
    if table:
        value = value["properties"][table]
    return set(value.get("items", value)["properties"])


@pytest.mark.parametrize("heading", TABLES)
def test_the_page_lists_exactly_the_keys_that_exist(heading):
    section = re.search(rf"^##+ {heading}\n(?P<text>.*?)(?=^##|\Z)", PAGE, re.DOTALL | re.MULTILINE)
    assert set(re.findall(r"^\| `(\w+)` \|", section["text"], re.MULTILINE)) == schema_keys(TABLES[heading])


def test_the_complete_lathe_of_the_page_is_read_as_described(write):
    lathe = read_lathe(write(WHOLE))
    assert lathe.name == "long bench"
    assert lathe.swing == 152.4
    assert lathe.headstock == Headstock(sideways="rocks", endways="pumps", pivot_height=254.0)
    assert lathe.axes == (
        Axis(moves="spindle", letter="C", steps=32000, top_speed=120.0, acceleration=180.0),
        Axis(moves="z", letter="Z", low=-63.5, high=139.7, steps=400.0, top_speed=25.4 * 2 / 3, acceleration=101.6),
    )
    assert lathe.hand == (
        HandAxis(moves="x", screw=Screw(lead=2.54, divisions=10), low=-63.5, high=152.4),
        HandAxis(moves="spindle", wheel=Wheel([96, 144])),
        HandAxis(moves="cam 1 phase", wheel=Wheel([96], marks="notches")),
        HandAxis(moves="cam 1 index", wheel=Wheel([24], marks="notches")),
    )
    wheels = (20, 24, 30, 32, 36, 40, 40, 45, 48, 50, 60, 72, 80)
    assert lathe.cams == (CamShaft(number=1, turned_by="gears", wheels=wheels), CamShaft(number=2, turned_by="software"))
    assert lathe.controller == Controller(longest_line=120, slide_places=5, rotary_places=4, line_numbers=True)


def test_a_lathe_in_a_job_has_the_keys_of_a_lathe_file_and_the_units_of_the_job(write):
    work = WAVES.replace("= 62", "= 2.4")
    inside = read_job(write(f'units = "inch"\n{work}\n{IN_A_JOB.replace("6 in", "6").replace(chr(34) + "6" + chr(34), "6")}'))
    assert inside.lathe.swing == 152.4
    assert inside.lathe.headstock.sideways == "slides"


def test_every_speed_on_the_page_is_read_with_the_unit_of_its_row():
    readers = (units.speed, units.turning_speed, units.acceleration, units.turning_acceleration)
    rows = re.findall(r"^\| the (?:speed|acceleration) of [^|]+\| (`.*`) \|", PAGE, re.MULTILINE)
    for reader, row in zip(readers, rows, strict=True):
        assert all(reader(written) > 0 for written in re.findall(r'`"([^"]+)"`', row))


def test_speeds_are_converted_to_units_per_second():
    """Exact by definition: 25.4 mm in an inch (Federal Register, 30 June 1959), 60 s in a minute, 360 degrees in a turn."""
    assert units.speed("24 in/min") == 10.16
    assert units.speed(24, bare="inch") == units.speed("24 in/min")
    assert units.turning_speed("12 rpm") == units.turning_speed(12) == units.turning_speed("12 turns/min") == 72.0
    assert units.turning_acceleration("2 turns/s2") == units.turning_acceleration("720 deg/s2") == 720.0
    assert units.steps("10160/in") == units.steps(10160, bare="inch") == units.steps(400) == 400.0


def test_the_built_in_lathes_are_those_of_the_page():
    assert set(shipped_lathes()) == set(re.findall(r"^\| `(\w+-bench)`", PAGE, re.MULTILINE))
    assert read_lathe("rocking-bench").headstock == Headstock(sideways="rocks", endways="pumps", pivot_height=250.0)
    assert read_lathe("sliding-bench").headstock == Headstock(sideways="slides", endways="pumps")
    assert read_lathe("plain-bench").headstock == Headstock(sideways="fixed", endways="fixed")


@pytest.mark.parametrize("name", shipped_lathes())
def test_a_built_in_lathe_turns_its_spindle_and_moves_its_slides_within_limits(name):
    """Axes as ISO 841 names them: X across, Z along the spindle, C about Z."""
    found = read_lathe(name)
    assert found.name == name
    assert found.axis("spindle").letter == "C"
    for slide in ("x", "z"):
        moved = found.axis(slide) or found.hand_axis(slide)
        assert -1000 < moved.low < 0 < moved.high < 1000
    assert all(math.isfinite(axis.top_speed) and math.isfinite(axis.acceleration) and axis.steps for axis in found.axes)


@pytest.mark.parametrize("name", shipped_lathes())
def test_a_built_in_lathe_states_which_values_are_from_memory(name):
    text = (Path(units.__file__).parents[1] / "lathes" / f"{name}.toml").read_text(encoding="utf-8")
    assert "from memory, generic" in text


def test_a_cam_has_a_motor_if_an_axis_moves_it_and_is_otherwise_locked_to_the_spindle():
    lathe = read_lathe("rocking-bench")
    assert [lathe.cam_shaft(number).turned_by for number in (1, 2, 3)] == ["motor", "motor", "spindle"]


AXIS = BENCH + "[[axis]]\n"
HAND = BENCH + "[[hand]]\n"
CAM = BENCH + "[[cam]]\nnumber = 1\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (AXIS + 'moves = "x"\nletter = "A"', "8: axis[2].letter: 'A' must be X for the x axis"),
        (
            AXIS + 'moves = "cam 1"\nletter = "C"',
            "8: axis[2].letter: 'C' must be given to one axis only; axis[1] has it already",
        ),
        (
            AXIS + 'moves = "spindle"\nletter = "A"',
            "7: axis[2].moves: 'spindle' must be moved by one axis only; axis[1] has it already",
        ),
        (
            AXIS + 'moves = "x"\nletter = "X"\nacceleration = 0',
            "9: axis[2].acceleration: 0 must be above zero; leave it out if the axis has no limit",
        ),
        (
            AXIS + 'moves = "x"\nletter = "X"\ntop_speed = "-600 mm/min"',
            "9: axis[2].top_speed: '-600 mm/min' must be above zero; leave it out if the axis has no limit",
        ),
        (
            AXIS + 'moves = "x"\nletter = "X"\ntop_speed = "12 rpm"',
            (
                "9: axis[2].top_speed: '12 rpm': the unit 'rpm' is not allowed here; allowed: mm/min, mm/s, cm/min, cm/s, "
                "in/min, in/s, inch/min, inch/s; write for example '600 mm/min' or '24 in/min'"
            ),
        ),
        (
            AXIS + 'moves = "cam 1"\nletter = "A"\nacceleration = "3 mm/s2"',
            (
                "9: axis[2].acceleration: '3 mm/s2': the unit 'mm/s2' is not allowed here; allowed: deg/s2, turn/s2, turns/s2; "
                "write for example '720 deg/s2' or '2 turns/s2'"
            ),
        ),
        (AXIS + 'moves = "x"\nletter = "X"\nlow = 5\nhigh = -5', "10: axis[2].high: -5 must be above low, 5"),
        (
            AXIS + 'moves = "x"\nletter = "X"\nsteps = -400',
            "9: axis[2].steps: -400 must be zero or more; leave it out if the number is unknown",
        ),
        (
            AXIS + 'moves = "x"\nletter = "X"\nstep = 400',
            (
                "9: axis[2].step: there is no such key; did you mean 'steps'?; "
                "keys here: moves, letter, low, high, steps, top_speed, acceleration, reversed"
            ),
        ),
        (
            HAND + 'moves = "x"',
            (
                "6: hand[1].screw: is missing: a hand axis for 'x' needs a screw; "
                "write for example screw = { lead = 2, divisions = 20 }"
            ),
        ),
        (
            HAND + 'moves = "cam 1 phase"',
            "6: hand[1].wheel: is missing: a hand axis for 'cam 1 phase' needs a wheel; write for example notches = 96",
        ),
        (
            HAND + 'moves = "x"\nscrew = { lead = 2 }\nnotches = 96',
            "9: hand[1].notches: 96 must be left out for 'x', which has a screw",
        ),
        (
            HAND + 'moves = "spindle"\nwheel = { circles = [96] }\nnotches = 96',
            "9: hand[1].notches: 96 must be left out if there is a wheel",
        ),
        (HAND + 'moves = "spindle"\nnotches = 0', "8: hand[1].notches: 0 must be a whole number of notches, 1 to 100000"),
        (HAND + 'moves = "x"\nscrew = { lead = 2 }\nlow = 9\nhigh = 3', "10: hand[1].high: 3 must be above low, 9"),
        (
            HAND + 'moves = "cam 1"\nnotches = 96',
            "7: hand[1].moves: 'cam 1' must be 'x', 'y', 'z', 'spindle', or 'cam 1 phase', 'cam 1 index' and so on",
        ),
        (
            AXIS + 'moves = "cam 01"\nletter = "A"',
            "7: axis[2].moves: 'cam 01' must be 'spindle', 'x', 'y', 'z', 'cutter', or 'cam 1', 'cam 2' and so on",
        ),
        (
            AXIS + 'moves = "x"\nletter = "X"\n[[hand]]\nmoves = "x"\nscrew = { lead = 2 }',
            "10: hand[1].moves: 'x' must be set only by hand; axis X moves it; leave out one of the two",
        ),
        (
            CAM + 'turned_by = "motor"',
            "8: cam[1].turned_by: 'motor' must be combined with an axis that moves 'cam 1'; add an [[axis]] table for this cam",
        ),
        (
            CAM + 'turned_by = "gears"',
            "6: cam[1].wheels: is missing: gears need a list of wheels; write the numbers of teeth, such as [20, 30, 40, 60]",
        ),
        (
            CAM + 'turned_by = "gears"\nwheels = [40]',
            "9: cam[1].wheels: [40] must be two wheels or more, such as [20, 30, 40, 60]",
        ),
        (
            CAM + 'turned_by = "gears"\nwheels = [40, 1]',
            "9: cam[1].wheels: [40, 1] must be whole numbers of teeth, 2 to 10000",
        ),
        (CAM + 'turned_by = "gears"\nwheels = [40, 20]\npairs = 0', "10: cam[1].pairs: 0 must be a whole number, 1 to 6"),
        (
            CAM + 'turned_by = "spindle"\nwheels = [40, 20]',
            "9: cam[1].wheels: [40, 20] must be left out unless gears turn the cam",
        ),
        (
            CAM + 'turned_by = "spindle"\npercent_places = 2',
            "9: cam[1].percent_places: 2 must be left out unless a motor turns the cam",
        ),
        (
            CAM + 'turned_by = "software"',
            (
                "8: cam[1].turned_by: 'software' must be combined with an axis that moves 'x' or 'z', to follow the cam's lift; "
                "add an [[axis]] table"
            ),
        ),
        (
            CAM + 'turned_by = "spindle"\n[[axis]]\nmoves = "cam 1"\nletter = "A"',
            "8: cam[1].turned_by: 'spindle' must be 'motor', because axis A moves 'cam 1'; or leave out that axis",
        ),
        (
            CAM + 'turned_by = "belt"',
            "8: cam[1].turned_by: 'belt' does not fit here; write 'spindle' or 'gears' or 'motor' or 'software'",
        ),
        (
            CAM + 'turned_by = "spindle"\n[[cam]]\nnumber = 1\nturned_by = "spindle"',
            "10: cam[2].number: 1 must be used for one cam only; cam[1] has it already",
        ),
        (
            HAND + 'moves = "cam 1 index"\nscrew = { lead = 2 }\nwheel = { circles = [96] }',
            "8: hand[1].screw: {'lead': 2} must be left out for 'cam 1 index', which has a wheel",
        ),
        (
            '[headstock]\nsideways = "slides"\nfollowers = []',
            "3: headstock.followers: [] must be 'front', 'back' or both, each once",
        ),
        (
            '[headstock]\nsideways = "slides"\nfollowers = ["left"]',
            "3: headstock.followers[1]: 'left' does not fit here; write a list, each 'front' or 'back'",
        ),
        (
            BENCH + "[controller]\nrotary_places = 0",
            "7: controller.rotary_places: 0 must be a whole number of decimals, 1 to 12",
        ),
        (
            BENCH.replace("[headstock]", "[headstok]"),
            (
                "1: headstok: there is no such key; did you mean 'headstock'?; "
                "keys here: name, units, headstock, axis, hand, cam, fittings, swing, controller"
            ),
        ),
    ],
)
def test_an_error_in_a_lathe_file_is_reported_in_one_line(text, message, refused):
    assert refused(text) == message


@pytest.mark.parametrize(
    ("lathe", "cam", "message"),
    [
        (
            '[headstock]\nsideways = "slides"\nfollowers = ["front"]',
            'side = "back"',
            "pass[1].cam[1].side: 'back' must be 'front': lathe 'bench' has a follower only on this side",
        ),
        (
            '[headstock]\nsideways = "slides"\n[[cam]]\nnumber = 1\nturned_by = "spindle"',
            'ratio = "3/4"',
            (
                "pass[1].cam[1].ratio: 3/4 must be 1: lathe 'bench' has cam 1 locked to the spindle; "
                "use a lathe that turns this cam by gears or a motor"
            ),
        ),
        (
            '[headstock]\nsideways = "slides"\n[[cam]]\nnumber = 1\nturned_by = "gears"\nwheels = [20, 30, 40, 60]',
            'ratio = "3/7"',
            (
                "ratio: 3/7 must be a ratio that 2 pairs of the wheels 20, 30, 40, 60 make exactly; the nearest is "
                "4/9, 20 drives 30, 40 drives 60: 3.704 % fast, so the cam gains 5.714 degrees in each turn of the spindle"
            ),
        ),
        (
            '[headstock]\nsideways = "slides"\n[[cam]]\nnumber = 1\nturned_by = "gears"\nwheels = [20, 30, 40, 60]',
            "ratio = 0",
            "0 must be a ratio that gears make, such as 1/2; to hold the cam still, take a wheel off and lock the cam",
        ),
        (
            '[headstock]\nsideways = "slides"\n[[hand]]\nmoves = "cam 1 phase"\nnotches = 96',
            'phase = "1/7 turn"',
            (
                "pass[1].cam[1].phase: 1/7 turn must coincide with a notch, but no circle has one there; the nearest is "
                "14 notches of 96, 1.071429 degrees further"
            ),
        ),
        (
            '[headstock]\nsideways = "slides"\n[[hand]]\nmoves = "cam 1 index"\nnotches = 10',
            'index = "1/2 lobe"',
            (
                "pass[1].cam[1].index: 1/24 turn must coincide with a notch, but no circle has one there; the nearest is "
                "0 notches of 10, 15 degrees less"
            ),
        ),
        (
            '[headstock]\nsideways = "fixed"\n[[axis]]\nmoves = "z"\nletter = "Z"\n[[cam]]\nnumber = 1\nturned_by = "software"',
            "",
            "no axis that moves the x; its axes move: z",
        ),
    ],
)
def test_a_setting_that_the_lathe_cannot_make_is_refused_in_one_line(lathe, cam, message, write, capsys):
    write(lathe)
    job = write(f'lathe = "bench.toml"\n{WAVES}{cam}\n', "lid.toml")
    assert main(["check", str(job)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.endswith(message)
    assert line.startswith(f"lobework: {job}:")


def test_a_lathe_without_driven_axes_gets_every_output_except_a_program(write, tmp_path, capsys):
    write('[headstock]\nsideways = "slides"\n[[hand]]\nmoves = "x"\nscrew = { lead = 2.54 }\n')
    job = write(f'lathe = "bench.toml"\n{WAVES}\n', "lid.toml")
    assert main(["make", str(job), "--into", str(tmp_path / "lid")]) == 0
    assert "no program.ngc: lathe 'bench' has no axis that a controller moves" in capsys.readouterr().out.splitlines()
    assert not (tmp_path / "lid" / "program.ngc").exists()
    assert "24 mm = 9 turns 4.5 div of its screw" in (tmp_path / "lid" / "settings.txt").read_text(encoding="utf-8")
    assert main(["lathe", str(tmp_path / "bench.toml")]) == 0
    assert "controller" not in capsys.readouterr().out


def test_a_position_of_a_hand_set_slide_may_be_written_in_turns_of_its_screw(write):
    job = f'lathe = "hand-bench"\n{WAVES}'.replace("x = 24", 'x = "9 turns 4 div"')
    assert read_job(write(job)).passes[0].at.x == pytest.approx(9.4 * 2.54)
    with pytest.raises(InputError) as caught:
        read_job(write(job.replace("hand-bench", "rocking-bench")))
    assert str(caught.value).endswith(
        "pass[1].at.x: '9 turns 4 div' must be in mm or inches; no [[hand]] table of the lathe describes a screw for the x slide"
    )

    wrong = {
        "5": "lathe: 5 does not fit here",
        '"hnd-bench"': "did you mean 'hand-bench'",
        '{ headstock = { sideways = "rocks" } }': "lathe.headstock: pivot_height=0: must be above zero",
    }
    for lathe, message in wrong.items():
        with pytest.raises(InputError, match=re.escape(message)):
            read_job(write(job.replace('"hand-bench"', lathe)))


def test_a_named_lathe_is_printed_completely_in_the_units_of_its_file(capsys):
    assert main(["lathe", "hand-bench"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    for each in (
        "rocks about a pivot 10 in below the spindle",
        "front alone",
        "at most 30 turns a minute; 0.5 turns/s2; 32000 steps a turn",
        "0.1 in a turn, 10 divisions, from -2 in to 6 in",
        "cam 1 phase .......... 96 notches",
        "locked to the spindle",
    ):
        assert each in said


def test_the_starter_lathe_file_is_valid(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lathe", "my-bench.toml"]) == 0
    assert main(["lathe", "my-bench.toml"]) == 0
    assert "my-bench" in capsys.readouterr().out
    assert main(["new", "lathe", "my-bench.toml"]) == 2
    assert main(["new", "lathe"]) == 2
    assert main(["new", "lathe", "my-bench"]) == 2
    *_, nameless, endless = capsys.readouterr().err.splitlines()
    assert nameless.startswith("lobework: a lathe file needs a name")
    assert endless.startswith("lobework: 'my-bench' must end in .toml")
    assert not Path("lathe").exists()


def test_an_error_in_a_lathe_file_is_printed_as_on_the_page(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lathe", "my-bench.toml"]) == 0
    path = Path("my-bench.toml")
    path.write_text(path.read_text(encoding="utf-8").replace("[headstock]", "[headstok]"), encoding="utf-8")
    assert main(["lathe", "my-bench.toml"]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line in PAGE


def test_the_schema_of_a_lathe_file_is_printed_and_holds_every_table(capsys):
    assert main(["schema", "--of", "lathe"]) == 0
    schema = json.loads(capsys.readouterr().out)
    assert schema == lathe_schema()
    assert set(tomllib.loads(WHOLE)) <= set(schema["properties"])


def test_wheels_make_a_ratio_exactly_or_not_at_all():
    shaft = CamShaft(number=1, turned_by="gears", wheels=(20, 24, 30, 36, 40, 48, 60, 72))
    for ratio in (Fraction(3, 4), Fraction(5, 9), Fraction(-2), Fraction(1)):
        assert shaft.train(ratio).ratio == abs(ratio)


def test_an_idle_wheel_is_needed_if_one_pair_would_turn_the_cam_the_wrong_way():
    """Two wheels in mesh turn opposite ways, and an idle wheel between them turns the last the other way (common practice)."""
    shaft = CamShaft(number=1, turned_by="gears", wheels=(20, 30, 40, 60))
    ways = {ratio: shaft.idlers(Fraction(ratio)) for ratio in ("1/2", "-1/2", "4/9", "-4/9")}
    assert {ratio: words.startswith("one idle wheel") for ratio, words in ways.items()} == {
        "1/2": True,
        "-1/2": False,
        "4/9": False,
        "-4/9": True,
    }


def test_the_wheel_of_the_spindle_indexes_a_plain_chuck_without_a_wheel():
    from lobework.parts.chuck import PlainChuck

    lathe = Lathe(
        name="bench",
        headstock=Headstock(sideways="fixed"),
        hand=(HandAxis(moves="spindle", wheel=Wheel([96], marks="notches")),),
    )
    assert lathe.mount(PlainChuck(index="1/96 turn")).chucks[0].chuck.wheel == Wheel([96], marks="notches")
    with pytest.raises(InputError, match=r"chuck\[1\].index: 1/7 turn must coincide with a notch"):
        lathe.mount(PlainChuck(index="1/7 turn"))


JUNK = (
    "0",
    "-1",
    "nan",
    "true",
    '""',
    '"x"',
    '"1/0"',
    '"9 mm/min"',
    '"1 rpm"',
    "[]",
    "[0]",
    "{}",
    "{ lead = 0 }",
    "1979-05-27",
    "9" * 40,
)


@given(line=st.integers(0, WHOLE.count("\n") - 1), junk=st.sampled_from(JUNK), spoils=st.sampled_from(("value", "key", "line")))
def test_any_lathe_file_is_read_or_refused_in_one_line(line, junk, spoils, tmp_path_factory):
    lines = WHOLE.splitlines()
    key, joint, value = lines[line].partition("=")
    lines[line] = {"value": f"{key}{joint}{junk}" if joint else junk, "key": f"{key.strip()}x {joint}{value}", "line": ""}[spoils]
    path = tmp_path_factory.mktemp("lathes") / "bench.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    try:
        said = read_lathe(path).name and ""
    except InputError as error:
        said = str(error)
    assert said == "" or (said.startswith(str(path)) and "\n" not in said)


def test_a_hand_set_wheel_uses_one_circle_on_sheet_and_program_and_is_proved(tmp_path):
    """A quarter turn falls on both circles, a twentieth on the second alone."""
    path = tmp_path / "flutes.toml"
    path.write_text(
        """
lathe = { headstock = { sideways = "fixed" }, axis = [{ moves = "x", letter = "X" }, { moves = "z", letter = "Z" }], hand = [
    { moves = "spindle", wheel = { circles = [96, 120] } } ] }
piece = { form = "barrel", diameter = 40, length = 60 }
cutter = { kind = "ball", radius = 2 }

[[pass]]
name = "flutes"
turns = 0
at = { x = 20, z = -5, depth = 0.6 }
travel = { z = -40 }
series = { count = 20, each = { spindle = "1/20 turn" } }
""",
        encoding="utf-8",
    )
    job = read_job(path)
    rows = [row.values[0] for group in job.settings().steps for row in group.rows]
    assert len(rows) == 20
    assert all(row.endswith("of the 120 circle") for row in rows)
    program = job.write("rs274", tmp_path).read_bytes()
    assert b"set spindle to 1/4 turn = 90 deg = 30 holes of the 120 circle" in program
    assert b"of the 96 circle" not in program
    assert job.prove(program).proved
