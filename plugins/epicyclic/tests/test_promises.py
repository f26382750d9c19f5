"""The chuck keeps every promise of its kind, and its readme file is correct."""

import doctest
import re
from pathlib import Path

import lobework_epicyclic
import pytest

from lobework import read_job
from lobework.plugins import installed

FOLDER = Path(__file__).parents[1]
JOBS = re.findall(r"```toml\n(.*?)```", (FOLDER / "README.md").read_text(encoding="utf-8"), re.DOTALL)
EXAMPLES = sorted((FOLDER / "examples").glob("*.toml"))


@pytest.mark.lobework("epicyclic")
def test_the_geometric_chuck_keeps_its_promises(promise):
    promise.hold()


def test_examples_in_docstrings():
    assert doctest.testmod(lobework_epicyclic).attempted > 0
    assert doctest.testmod(lobework_epicyclic).failed == 0


def test_the_tested_plugin_is_the_installed_one():
    record = next(record for record in installed().loaded if record.name == "epicyclic")
    assert (record.package, record.offers) == ("lobework-epicyclic", (("chuck", "epicyclic"),))


@pytest.mark.parametrize("number", range(len(JOBS)))
def test_the_job_of_the_readme_can_be_cut(number, tmp_path):
    (tmp_path / "readme.toml").write_text(JOBS[number], encoding="utf-8")
    sound(read_job(tmp_path / "readme.toml"))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_can_be_cut(path):
    sound(read_job(path))


def sound(job):
    found = [str(finding) for finding in job.check()]
    assert not [each for each in found if not each.startswith("note")], found
    assert any("closes after" in each for each in found), found
    assert job.trace().drawing().layers
