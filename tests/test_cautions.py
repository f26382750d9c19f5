"""The cautions stand in every place from which somebody goes to the lathe, and come from one place in the code."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import pytest

from lobework.cli import main
from lobework.jobs.job import Job
from lobework.jobs.jobfile import read_job, read_lathe
from lobework.lathe.lathe import Controller, Lathe
from lobework.lathe.passes import Pass
from lobework.parts.cutter import Vee
from lobework.parts.headstock import Headstock
from lobework.parts.piece import Disc
from lobework.parts.slide import At
from lobework.targets import moves, rs274, text
from lobework.text.cautions import CAUTIONS, IN_SHORT, SILENT

pytestmark = pytest.mark.usefixtures("small_pictures")

ROOT = Path(__file__).parents[1]
PAGES = ("README.md", "docs/program.md", "docs/lathe-file.md", "docs/numbers.md", "docs/job-file.md")
RING = Pass(name="ring", at=At(x=20.0, depth=0.3))
JOB = """
lathe = "plain-bench"

[piece]
form = "disc"
diameter = 60
thickness = 8

[cutter]
kind = "vee"
angle = 90
width = 3

[[pass]]
at = { x = 20, depth = 0.3 }
"""


def job(**lathe):
    bench = replace(read_lathe("plain-bench"), **lathe)
    return Job(lathe=bench, piece=Disc(diameter=60.0, thickness=8.0), cutter=Vee(angle_deg=90.0, width=3.0), passes=[RING])


@pytest.fixture
def written(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("ring.toml").write_text(JOB, encoding="utf-8")


@pytest.mark.parametrize("page", PAGES)
def test_every_page_used_at_the_lathe_lists_all_cautions(page):
    listed = re.findall(r"^- (.*)$", (ROOT / page).read_text(encoding="utf-8"), re.MULTILINE)
    assert [each for each in listed if each in CAUTIONS] == list(CAUTIONS)


def test_sheet_program_and_table_of_moves_list_all_cautions():
    one = job()
    sheet = " ".join(text.render(one.settings()).decode().split())
    head = " ".join(rs274.render(one.program()).decode("ascii").partition("G21")[0].replace(")\n(-", "").split())
    rows = list(csv.reader(io.StringIO(moves.render(one.program()).decode())))
    for caution in CAUTIONS:
        assert caution in sheet
        assert f"(caution: {caution})" in head
    assert [row[-1] for row in rows[1 : 1 + len(CAUTIONS)]] == list(CAUTIONS)
    assert {tuple(row[:3]) for row in rows[1 : 1 + len(CAUTIONS)]} == {("", "", "note")}


def test_an_air_table_of_moves_states_this_first():
    rows = list(csv.reader(io.StringIO(moves.render(job().program(5.0)).decode())))
    assert rows[1][-1] == "trial in air: the tip stays at least 5 mm off the work in every cut"
    assert not any("in air:" in row[-1] for row in csv.reader(io.StringIO(moves.render(job().program()).decode())))


@pytest.mark.parametrize("more", [[], ["--air", "5 mm"], ["--as", "moves"]])
def test_the_last_line_of_program_is_the_short_form_of_the_cautions(more, written, capsys):
    assert main(["program", "ring.toml", "--into", "ring", *more]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == IN_SHORT


def test_the_last_line_of_make_and_of_prove_is_the_short_form_of_the_cautions(written, capsys):
    assert main(["make", "ring.toml", "--into", "ring"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == IN_SHORT
    assert main(["prove", "ring/program.ngc", "--job", "ring.toml"]) == 0
    assert capsys.readouterr().out.splitlines()[-2:] == ["proved", IN_SHORT]


def test_without_comments_the_cautions_are_on_the_sheet_and_the_last_line(written, capsys):
    silent = JOB.replace('lathe = "plain-bench"', "") + (
        '[lathe]\nheadstock = { sideways = "fixed" }\naxis = [{ moves = "spindle", letter = "C" }, '
        '{ moves = "x", letter = "X" }, { moves = "z", letter = "Z" }]\n[lathe.controller]\ncomments = "none"\n'
    )
    Path("silent.toml").write_text(silent, encoding="utf-8")
    sheet = {group.name: {each.name: each.value for each in group.entries} for group in read_job("silent.toml").settings().groups}
    assert sheet["program"]["remarks"] == f"none: {SILENT}"
    assert main(["program", "silent.toml", "--into", "silent"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == f"{SILENT}; {IN_SHORT}"
    assert "caution" not in Path("silent/program.ngc").read_text(encoding="ascii")
    assert main(["program", "silent.toml", "--into", "silent", "--as", "moves"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == IN_SHORT
    spoken = job(controller=Controller()).settings()
    assert not any(each.name == "remarks" for group in spoken.groups for each in group.entries)


def test_the_short_line_mentions_every_caution():
    for word in (
        "eye",
        "breathing",
        "guards",
        "loose",
        "in air first",
        "stop cutter and spindle",
        "maker",
        "local codes",
        "licensed",
    ):
        assert word in IN_SHORT


def test_the_sheet_of_a_hand_set_lathe_does_not_mention_a_program():
    lathe = Lathe(name="by hand", headstock=Headstock(sideways="fixed"))
    sheet = replace(job(), lathe=lathe, passes=[RING.series(3, x=-1.0, spindle="1/8 turn")]).settings()
    page = text.render(sheet).decode()
    assert "program" not in page.lower()
    assert "controller" not in page.lower()
    assert sheet.by_hand
    assert "Everything is set by hand." in page
    assert {column.by for steps in sheet.steps for column in steps.columns} == {"hand"}


def test_a_lathe_without_a_spindle_motor_has_a_program_only_for_passes_of_0_turns():
    lathe = Lathe(name="slides", headstock=Headstock(sideways="fixed"), axes=read_lathe("plain-bench").axes[1:])
    assert lathe.axis("spindle") is None
    turning = replace(job(), lathe=lathe)
    assert "program" not in [group.name for group in turning.settings().groups]
    flute = Pass(turns=0, at=At(x=20.0, depth=0.3), travel=At(x=-5.0)).series(2, depth=0.1)
    still = replace(turning, passes=[flute]).settings()
    assert "program" in [group.name for group in still.groups]
    assert [column.by for column in still.steps[0].columns] == ["program"]
