"""Everything that the reader of a job file can find wrong in one run is told in that run, one line each."""

from __future__ import annotations

import pytest

from lobework.cli import main
from lobework.errors import InputError
from lobework.jobs.jobfile import read_job

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


def test_all_that_is_wrong_in_a_job_file_is_told_in_one_run_one_line_each(written, capsys):
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


def test_each_line_names_the_line_of_the_file_on_which_its_key_stands(written, capsys):
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
    assert len(caught.value.others) == 7
    assert all("\n" not in str(each) for each in caught.value.others)
    assert len({str(each) for each in (caught.value, *caught.value.others)}) == 8


def test_a_single_mistake_is_told_once(written, capsys):
    head = WRONG.partition("[[pass]]")[0].replace("2 furlongs", "70").replace("thicknes ", "thickness ")
    path = written(f"{head}[[pass]]\nat = {{ x = 2 }}\n")
    assert main(["check", str(path)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_of_very_many_mistakes_twenty_are_told_and_how_many_are_left(written, capsys):
    passes = "".join(f'[[pass]]\nat = {{ x = "wide {number}" }}\n' for number in range(50))
    path = written(WRONG.partition("[[pass]]")[0].replace("-3", "3") + passes)
    assert main(["check", str(path)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == f"lobework: {path}: 32 more are wrong; mend these first"
