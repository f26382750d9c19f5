"""The check keeps every promise of its kind, and its readme file is correct."""

import doctest
import re
from pathlib import Path

import lobework_climb
import pytest

from lobework import read_job
from lobework.plugins import installed

FOLDER = Path(__file__).parents[1]
README = (FOLDER / "README.md").read_text(encoding="utf-8")
JOBS = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
EXAMPLES = sorted((FOLDER / "examples").glob("*.toml"))


@pytest.mark.lobework("climb")
def test_the_check_keeps_its_promises(promise):
    promise.hold()


def test_examples_in_docstrings():
    assert doctest.testmod(lobework_climb).attempted > 0
    assert doctest.testmod(lobework_climb).failed == 0


def test_the_tested_plugin_is_the_installed_one():
    record = next(record for record in installed().loaded if record.name == "climb")
    assert (record.package, record.offers) == ("lobework-climb", (("check", "climb"),))


def test_the_job_of_the_readme_gives_the_findings_shown_there(tmp_path):
    (tmp_path / "steep.toml").write_text(JOBS[0], encoding="utf-8")
    assert said(tmp_path / "steep.toml") == re.findall(r"```text\n(.*?)\n```", README, re.DOTALL)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_has_a_steep_pass_and_an_easy_one(path):
    (found,) = said(path)
    assert "steep waves, cam 1" in found


def said(path):
    return [str(finding) for finding in read_job(path).check() if finding.kind == "climb"]
