"""What people type to have a program read back, and the lines that answer."""

from __future__ import annotations

import re

import pytest

from lobework.cli import main


@pytest.fixture
def written(tmp_path, monkeypatch, capsys):
    """A job file, and its program beside it."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lid.toml"]) == 0
    assert main(["program", "lid.toml"]) == 0
    capsys.readouterr()
    return tmp_path / "lid" / "program.ngc"


def test_a_proof_reports_the_deviation_and_the_use_of_each_axis(written, capsys):
    assert main(["prove", "lid/program.ngc", "--job", "lid.toml"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-2] == "proved"
    assert any(line.startswith("the path keeps within 0.0003 mm of the job's (worst: line ") for line in lines)
    assert any(line.endswith("; allowed 0.005 mm") for line in lines)
    assert any(line.startswith("X (x): 0 to 30 mm of -60 to 160, ") for line in lines)
    assert any("minutes of cutting time" in line and "stops for the operator once" in line for line in lines)


def test_a_deviating_program_exits_with_1_and_names_line_and_cut(written, capsys):
    written.write_text(written.read_text().replace("X28.5", "X28.52"))
    assert main(["prove", "lid/program.ngc", "--job", "lid.toml"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith("problem (path): line ") and "cut 2 (wave rings 2)" in line for line in lines)
    assert lines[-2] == "not proved: 2 problems"


def test_a_wider_tolerance_accepts_the_deviation(written, capsys):
    written.write_text(written.read_text().replace("X28.5", "X28.52"))
    assert main(["prove", "lid/program.ngc", "--job", "lid.toml", "--tolerance", "0.05 mm"]) == 0
    assert "allowed 0.05 mm" in capsys.readouterr().out


def test_an_invalid_program_exits_with_2_and_names_the_line(written, capsys):
    written.write_text(written.read_text().replace("G1 Z-0.4", "G92 Z-0.4", 1))
    assert main(["prove", "lid/program.ngc", "--job", "lid.toml"]) == 2
    out, err = capsys.readouterr()
    assert not err
    assert "not understood: 'G92' could move an axis or change the meaning of words" in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["prove", "none.ngc", "--job", "lid.toml"], "none.ngc: there is no such file"),
        (["prove", ".", "--job", "lid.toml"], "is a folder, not a file"),
        (["prove", "lid/program.ngc"], "--job"),
        (["prove", "lid/program.ngc", "--job", "none.toml"], "none.toml: there is no such file"),
        (["prove", "lid/program.ngc", "--job", "lid.toml", "--tolerance", "0"], "--tolerance: '0' must be from 0.0001 to 1 mm"),
        (["prove", "lid/program.ngc", "--job", "lid.toml", "--tolerance", "much"], "--tolerance: "),
    ],
)
def test_wrong_options_are_reported_in_one_line(written, arguments, message, capsys):
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert not out
    assert message in err
    assert err.count("\n") == 1


def test_a_job_file_is_refused_as_a_program(written, capsys):
    assert main(["prove", "lid.toml", "--job", "lid.toml"]) == 2
    out, _ = capsys.readouterr()
    assert "line 1: " in out
    assert "and " in out


def test_make_proves_the_program(written, tmp_path, capsys):
    job = tmp_path / "lid.toml"
    drawn = re.sub(r"\[cutter\].*?\n\n", '[cutter]\nkind = "pen"\n\n', job.read_text(), flags=re.DOTALL)
    job.write_text(drawn)
    assert main(["make", "lid.toml", "--into", "made"]) == 0
    assert "program.ngc proved: the path keeps within 0.0003 mm of the job's" in capsys.readouterr().out
