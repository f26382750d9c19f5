"""The page on the program: its job is read, every line is typed as it stands, and what it shows is what comes."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from lobework.cli import main

PAGE = (Path(__file__).parents[2] / "docs" / "program.md").read_text(encoding="utf-8")
JOB = re.search(r"^```toml\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)[1]
TYPED = re.findall(r"^```console\n\$ lobework ([^\n]*)\n(.*?)```$", PAGE, re.DOTALL | re.MULTILINE)
SHOWN = re.findall(r"^```text\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("tide.toml").write_text(JOB, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(("line", "answer"), TYPED, ids=[line for line, _ in TYPED])
def test_a_command_on_the_page_prints_the_shown_output(line, answer, folder, capsys):
    if line.startswith("prove"):
        assert main(["program", "tide.toml", "--into", "tide"]) == 0
        assert main(["program", "tide.toml", "--into", "tide", "--air", "5 mm"]) == 0
        capsys.readouterr()
    assert main(shlex.split(line)) == 0
    told = capsys.readouterr().out
    assert told == answer or (not answer and told.startswith("wrote tide"))


def test_the_program_contains_the_text_on_the_page(folder):
    main(["program", "tide.toml", "--into", "tide"])
    text = (folder / "tide" / "program.ngc").read_text(encoding="ascii")
    (shown,) = SHOWN
    assert shown in text
    for said in re.findall(r"`(accuracy: [^`]*)`", PAGE):
        assert f"({said})" in text


def test_every_code_block_is_tested():
    assert PAGE.count("\n```") == 2 * (len(TYPED) + len(SHOWN) + 1)
