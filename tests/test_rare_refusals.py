"""Mistakes that no other test makes: each is refused in one line, and nothing is written."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import lobework as lw
from lobework.carve.stock import stock_of
from lobework.cli import main
from lobework.errors import InputError, nearest, require, together
from lobework.files.standard_output import to_stderr
from lobework.jobs.jobfile import read_job
from lobework.plugins.former import place_now
from lobework.plugins.skeleton import lay_out
from lobework.targets import svg
from lobework.text.brief import Brief

SERIES = "[[pass.series]]\ncount = 1\neach = { x = -0.1 }\n"
JOB = """
title = "Trial"
lathe = "plain-bench"

[piece]
form = "disc"
diameter = 40
thickness = 6

[cutter]
kind = "vee"
angle = "90 deg"
width = 3

[[pass]]
at = { x = 12, depth = 0.2 }
"""

COMMANDS = {
    "a kind without a plugin": (["new", "lid.toml", "--kind", "cam"], "'--kind' is only for lobework new plugin NAME"),
    "a folder without a plugin": (["new", "lid.toml", "--into", "x"], "'--into' is only for lobework new plugin NAME"),
    "two job files": (["new", "lid.toml", "more"], "'more' is only for lobework new plugin NAME"),
    "a plugin without a name": (["new", "plugin"], "a plugin needs a name: lobework new plugin sway"),
    "an unknown kind of plugin": (["new", "plugin", "sway", "--kind", "clock"], "clock"),
    "a plugin in capitals": (["new", "plugin", "Sway"], "'Sway' must be a word in lower-case letters, digits and dashes"),
    "the name of a part that is installed": (["new", "plugin", "oval"], "a chuck of this name is installed"),
}


@pytest.mark.parametrize(("arguments", "message"), COMMANDS.values(), ids=COMMANDS)
def test_a_wrong_command_is_refused_in_one_line(arguments, message, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    shown = capsys.readouterr().err
    assert message in shown
    assert shown.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_plugin_is_not_written_over_a_folder(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lobework-sway").mkdir()
    assert main(["new", "plugin", "sway"]) == 2
    assert "lobework-sway: exists already" in capsys.readouterr().err
    assert list((tmp_path / "lobework-sway").iterdir()) == []


def test_an_unknown_kind_of_template_is_refused():
    with pytest.raises(lw.UnknownNameError, match="clock"):
        lay_out("sway", "clock")


JOBS = {
    "thirteen levels of series": (JOB + 13 * SERIES, "pass[1].series", "13 nested series; at most 12"),
    "steps that are a list": (JOB + "[pass.series]\ncount = 2\neach = [1]\n", "each", "write steps such as"),
    "two wrong passes": (JOB + "[[pass]]\nat = 3\n[[pass]]\nat = 4\n", "pass[2].at", "3"),
}


@pytest.mark.parametrize(("text", "key", "message"), JOBS.values(), ids=JOBS)
def test_a_wrong_job_names_the_key(text, key, message, tmp_path):
    path = tmp_path / "lid.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_job(path)
    assert key in str(error.value)
    assert message in str(error.value)
    assert "\n" not in str(error.value)


def test_a_file_without_permission_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "lid.toml"
    path.write_text(JOB, encoding="utf-8")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    monkeypatch.setattr("os.open", refuse)
    with pytest.raises(InputError, match="cannot be read: Permission denied"):
        read_job(path)


def test_a_number_of_thousands_of_digits_is_refused_in_a_short_line():
    with pytest.raises(lw.SettingError) as error:
        require(False, "rise", 10 ** (sys.get_int_max_str_digits() + 10), "at most 1000 mm")
    assert str(error.value) == "rise=a number of thousands of digits: must be at most 1000 mm"


def test_a_very_long_word_has_no_nearest_name():
    assert nearest("r" * 10_000, ["radius", "rise"]) == ""


def test_an_error_in_a_block_without_a_finding_is_raised_as_it_is():
    with pytest.raises(ZeroDivisionError), together():
        _ = 1 / 0


def test_what_a_part_prints_goes_to_standard_error(capsys):
    with to_stderr():
        sys.stdout.writelines(["one\n", "two\n"])
        sys.stdout.flush()
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == "one\ntwo\n"


def test_a_face_has_no_profile_and_a_round_piece_no_face():
    from lobework.render.relief.body import surface_of as round_surface
    from lobework.render.relief.face import pictured_face

    disc, barrel = stock_of(lw.Disc(diameter=20.0, thickness=5.0), 1.0), stock_of(lw.Barrel(diameter=20.0, length=9.0), 1.0)
    with pytest.raises(TypeError, match="a face has no profile"):
        _ = disc.profile
    with pytest.raises(TypeError, match="not a round surface"):
        round_surface(disc)
    with pytest.raises(TypeError, match="a round piece has no face"):
        pictured_face(barrel, barrel.uncut(), "", 200, "mm")


def test_a_single_point_is_drawn_as_a_line_of_no_length():
    assert svg.path_data(np.array([[1.0, 2.0]])) == "M1.0000 -2.0000L1.0000 -2.0000"


def test_the_repr_of_a_function_in_a_result_is_its_name():
    @dataclass(repr=False)
    class Holds(Brief):
        does: object

    assert repr(Holds(len)) == "Holds(does=<len>)"


def test_a_backend_is_told_of_an_inclination_that_it_cannot_carve():
    job = lw.Job(
        lathe=lw.read_lathe("computed-bench"),
        piece=lw.Barrel(diameter=40.0, length=30.0),
        cutter=lw.Vee(angle_deg=90.0, width=2.0),
        passes=[lw.Pass(turns=1, at=lw.At(z=-5.0, depth=0.4))],
    )
    with pytest.raises(lw.SettingError, match="cannot carve with a cutter inclined by 180 degrees"):
        job.carve(0.5, backend="compiled")


def test_a_name_that_never_was_has_no_new_name():
    assert place_now(ImportError("cannot import name 'Nothing' from 'lobework.plugins'", name="lobework.plugins")) == ""
