"""A program that is tried in air is proved too: the path of the job, lifted, and never nearer to the work than asked."""

from __future__ import annotations

import re

import pytest

from lobework.cli import main
from lobework.targets.rs274 import render
from tests.proof.kinds_of_jobs import JOBS, written


def in_air(made, off=5.0):
    return render(made.program(air=off)).decode("ascii")


@pytest.mark.parametrize("name", JOBS)
def test_programs_in_air_are_proved_and_those_that_cut_are_not(name):
    made = JOBS[name]()
    text = in_air(made).encode()
    proof = made.prove(text, air=5.0)
    assert proof.proved, str(proof)
    assert proof.summary.startswith("proved in air: the path keeps within ")
    assert "in air: the tip stays 5 mm or more off the work" in str(proof) or made.units == "inch"
    assert not made.prove(text).proved
    near = made.prove(text, air=5.5)
    assert any("of the work, at " in str(each) and "(air)" in str(each) for each in near.problems)
    cuts = made.prove(written(made).encode(), air=5.0)
    assert any("(air)" in str(each) for each in cuts.problems)


@pytest.mark.parametrize("name", ["face", "led", "barrel", "flutes"])
def test_a_wrong_path_is_found_in_an_air_program(name):
    made = JOBS[name]()
    text = in_air(made)
    slide = "X" if made.passes[0].innermost.at.z == 0 else "Z"
    lines = text.splitlines()
    at = [k for k, line in enumerate(lines) if line.startswith("G0") and slide in line][-2]
    lines[at] = re.sub(rf"{slide}(-?[0-9.]+)", lambda match: f"{slide}{float(match[1]) + 0.5:g}", lines[at])
    proof = made.prove(("\n".join(lines) + "\n").encode(), air=5.0)
    assert any("(path)" in str(each) for each in proof.problems)


def test_an_air_program_with_a_varying_lift_is_not_proved():
    made = JOBS["flutes"]()
    lines = in_air(made).splitlines()
    at = next(k for k, line in enumerate(lines) if re.match(r"G1 Z-", line))
    lines[at] = f"{lines[at]} X26"
    assert not made.prove(("\n".join(lines) + "\n").encode(), air=5.0).proved


def test_a_missing_stop_is_found_in_an_air_program():
    made = JOBS["indexed"]()
    text = re.sub(r"(?s)(M0.*?)M0\n", r"\1", in_air(made), count=1)
    assert any("(stop)" in str(each) for each in made.prove(text.encode(), air=5.0).problems)


def test_the_command_proves_an_air_program(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lid.toml"]) == 0
    assert main(["program", "lid.toml", "--air", "5 mm"]) == 0
    assert main(["prove", "lid/program-air.ngc", "--job", "lid.toml", "--air", "5 mm"]) == 0
    assert [line for line in capsys.readouterr().out.splitlines() if line == "proved" or "in air: the tip stays" in line] == [
        "in air: the tip stays 5 mm or more off the work",
        "proved",
    ]
    assert main(["prove", "lid/program-air.ngc", "--job", "lid.toml"]) == 1
    assert main(["prove", "lid/program-air.ngc", "--job", "lid.toml", "--air", "6 mm"]) == 1
    capsys.readouterr()
    assert main(["prove", "lid/program-air.ngc", "--job", "lid.toml", "--air", "none"]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "--air: " in err
