"""All errors of a part, and all that the reader of a job file can find, are reported in one run, one line each."""

from __future__ import annotations

import pytest

from lobework.cli import main
from lobework.errors import InputError, SettingError
from lobework.gearing.dividing_wheel import Wheel
from lobework.jobs.jobfile import read_job
from lobework.lathe.lathe import Axis
from lobework.parts.cam import EccentricCam, MotionLaw, Wave
from lobework.parts.chuck import EccentricChuck
from lobework.parts.cutter import Vee
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Barrel, Disc
from lobework.parts.slide import At
from lobework.parts.template import Template

WRONG = """\
lathe = "rocking-bench"
[piece]
form = "disc"
diameter = "2 furlongs"
thicknes = 8
[cutter]
kind = "vee"
angle = "90 deg"
width = -3
[[pass]]
at = { x = 20, depht = 0.4 }
[[pass]]
turns = "often"
at = { x = "wide" }
[[pass.cam]]
shape = "wave"
lobes = 12
base_radius = 60
follower = { kind = "roller", radius = "3 leagues" }
"""


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "lid.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def places(lines, path):
    return [line.removeprefix(f"lobework: {path}:").partition(": ")[2].partition(": ")[0] for line in lines]


def test_all_errors_of_a_job_file_are_reported_in_one_run_one_line_each(written, capsys):
    path = written(WRONG)
    assert main(["check", str(path)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert places(said.err.splitlines(), path) == [
        "piece.thicknes",
        "piece.diameter",
        "cutter.width",
        "pass[1].at.depht",
        "pass[2].turns",
        "pass[2].at.x",
        "pass[2].cam[1].rise",
        "pass[2].cam[1].follower.radius",
    ]


def test_each_error_names_the_line_of_its_key(written, capsys):
    path = written(WRONG)
    main(["check", str(path)])
    lines = capsys.readouterr().err.splitlines()
    numbers = [int(line.removeprefix(f"lobework: {path}:").partition(":")[0]) for line in lines]
    keys = [WRONG.splitlines()[number - 1] for number in numbers]
    assert "thicknes = 8" in keys
    assert 'diameter = "2 furlongs"' in keys
    assert "width = -3" in keys
    assert 'turns = "often"' in keys


def test_in_python_the_first_is_raised_and_holds_the_others(written):
    with pytest.raises(InputError, match="thicknes: there is no such key") as caught:
        read_job(written(WRONG))
    assert len(caught.value.further_errors) == 7
    assert all("\n" not in str(each) for each in caught.value.further_errors)
    assert len({str(each) for each in (caught.value, *caught.value.further_errors)}) == 8


def test_a_single_error_is_reported_once(written, capsys):
    head = WRONG.partition("[[pass]]")[0].replace("2 furlongs", "70").replace("thicknes ", "thickness ")
    path = written(f"{head}[[pass]]\nat = {{ x = 2 }}\n")
    assert main(["check", str(path)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_of_many_errors_twenty_are_reported_with_the_number_of_the_others(written, capsys):
    passes = "".join(f'[[pass]]\nat = {{ x = "wide {number}" }}\n' for number in range(50))
    path = written(WRONG.partition("[[pass]]")[0].replace("-3", "3") + passes)
    assert main(["check", str(path)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == f"lobework: {path}: 32 more errors follow; correct these first"


def everything(error):
    return [str(each) for each in (error, *error.further_errors)]


TOGETHER = {
    "cutter": (
        lambda: Vee(angle_deg=200.0, width=-3.0),
        ["angle=200: must be above 0 and below 180 degrees", "width=-3: must be above zero"],
    ),
    "cam": (
        lambda: Wave(lobes=0, base_radius=-60.0, rise=-1.0, on="rim"),
        [
            "lobes=0: must be a whole number from 1 to 1000",
            "base_radius=-60: must be above zero",
            "rise=-1: must be zero or more; to invert the wave, put the follower on the back",
            "on=rim: must be 'edge' or 'face'",
        ],
    ),
    "motion law": (
        lambda: MotionLaw(law="linear", lobes=3, base_radius=0.0, rise=6.0, rise_part=2),
        ["base_radius=0: must be above zero", "law=linear: must be 'harmonic'", "rise_part=2: must be between 0 and 1"],
    ),
    "disc cam whose offset would be right for a sound radius": (
        lambda: EccentricCam(radius=-30.0, offset=10.0),
        ["radius=-30: must be above zero"],
    ),
    "words for numbers": (
        lambda: Disc(diameter="70 mm", thickness="8 mm"),
        ["diameter='70 mm': must be a plain number, in mm", "thickness='8 mm': must be a plain number, in mm"],
    ),
    "piece": (
        lambda: Barrel(diameter=-50.0, length=0.0, bore=10.0),
        ["diameter=-50: must be above zero", "length=0: must be above zero"],
    ),
    "chuck": (
        lambda: EccentricChuck(shift=5.0, travel=-1.0, wheel=96),
        ["wheel=96: must be a Wheel, or left out", "travel=-1: must be above zero"],
    ),
    "slide": (lambda: At(x=1e9, y=float("nan")), ["x=1e+09: must be a length", "y=nan: must be a length"]),
    "drive": (
        lambda: Drive(Wave(lobes=3, base_radius=60.0, rise=1.0), follower=Roller(3.0), side="left", gain=-1.0),
        ["side=left: must be 'front' or 'back'", "gain=-1: must be above zero"],
    ),
    "headstock": (
        lambda: Headstock(sideways="rocks", endways="hops", pivot_height=-1.0),
        ["endways=hops: must be 'pumps' or 'fixed'", "pivot_height=-1: must be above zero"],
    ),
    "wheel": (
        lambda: Wheel([0], worm=0, marks="pins"),
        ["circles=[0]: must be whole numbers of holes", "worm=0: must be a whole number", "marks='pins': must be 'holes'"],
    ),
    "template": (
        lambda: Template(points=((0.0, 20.0),), rubber=-1.0),
        ["rubber=-1: must be zero or more", "points=((0.0, 20.0),): must be two points or more"],
    ),
    "axis": (
        lambda: Axis(moves="table", letter="A", steps=-1.0, top_speed=0.0),
        ["moves=table: must be 'spindle'", "steps=-1: must be zero or more", "top_speed=0: must be above zero"],
    ),
}


@pytest.mark.parametrize("case", TOGETHER)
def test_all_bad_settings_of_a_part_are_reported_together_one_error_each(case):
    make, expected = TOGETHER[case]
    with pytest.raises(SettingError) as caught:
        make()
    found = everything(caught.value)
    assert len(found) == len(expected), found
    assert all(line.startswith(start) for line, start in zip(found, expected, strict=True)), found


def test_bad_settings_of_one_part_have_each_their_own_line_of_the_job_file(written, capsys):
    text = WRONG.partition("[[pass]]")[0].replace("2 furlongs", "-70").replace("thicknes = 8", "thickness = 0")
    path = written(f"{text.replace('90 deg', '200 deg')}[[pass]]\nat = {{ x = 2 }}\n")
    assert main(["check", str(path)]) == 2
    assert capsys.readouterr().err.splitlines() == [
        f"lobework: {path}:4: piece.diameter: '-70' must be above zero",
        f"lobework: {path}:5: piece.thickness: 0 must be above zero",
        f"lobework: {path}:8: cutter.angle: '200 deg' must be above 0 and below 180 degrees",
        f"lobework: {path}:9: cutter.width: -3 must be above zero",
    ]
