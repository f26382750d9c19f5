"""Packages of plugins/: each is whole, says truly what it is, and can be installed by itself."""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FOLDERS = sorted(each.parent for each in ROOT.glob("plugins/*/pyproject.toml"))
LIBRARY = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
everywhere = pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)


def project(folder):
    return tomllib.loads((folder / "pyproject.toml").read_text(encoding="utf-8"))


def module(folder):
    return folder / f"lobework_{folder.name}.py"


def test_every_folder_is_a_package():
    assert sorted(each for each in (ROOT / "plugins").iterdir() if each.is_dir()) == FOLDERS
    assert FOLDERS


@everywhere
def test_a_package_is_named_after_its_folder_and_requires_only_the_library(folder):
    said = project(folder)["project"]
    assert said["name"] == f"lobework-{folder.name}"
    assert said["dependencies"] == ["lobework"]
    assert said["requires-python"] == LIBRARY["requires-python"]
    assert "lobework[testing]" in said["optional-dependencies"]["test"]
    assert said["entry-points"] == {"lobework": {folder.name: module(folder).stem}}


@everywhere
def test_a_package_has_the_licence_of_the_library(folder):
    said = project(folder)["project"]
    assert (said["license"], said["license-files"]) == (LIBRARY["license"], LIBRARY["license-files"])
    assert (folder / "LICENSE").read_bytes() == (ROOT / "LICENSE").read_bytes()


@everywhere
def test_a_package_installs_only_its_module(folder):
    assert project(folder)["tool"]["hatch"]["build"]["targets"]["wheel"]["only-include"] == [module(folder).name]
    assert list(folder.glob("*.py")) == [module(folder)]


@everywhere
def test_a_package_declares_the_contract_and_offers_samples(folder):
    body = ast.parse(module(folder).read_text(encoding="utf-8")).body
    assert "lobework_contract = 2" in [ast.unparse(each) for each in body]
    hooks = [
        each.name for each in body if isinstance(each, ast.FunctionDef) and "hookimpl" in map(ast.unparse, each.decorator_list)
    ]
    assert "lobework_samples" in hooks
    assert len(hooks) > 1


@everywhere
def test_the_tests_of_a_package_use_the_kit_and_treat_warnings_as_errors(folder):
    assert "-W error" in project(folder)["tool"]["pytest"]["ini_options"]["addopts"]
    tests = "".join(each.read_text(encoding="utf-8") for each in (folder / "tests").glob("test_*.py"))
    assert f'@pytest.mark.lobework("{folder.name}")' in tests
    assert not re.search(r"skip|xfail", tests)


@everywhere
def test_the_page_of_a_package_describes_its_installation_and_shows_a_job(folder):
    page = (folder / "README.md").read_text(encoding="utf-8")
    assert page.startswith(f"# lobework-{folder.name}\n")
    assert f"pip install lobework-{folder.name}" in page
    assert re.search(r"```toml\n.*?\[\[pass\]\].*?```", page, re.DOTALL)


@everywhere
def test_a_package_has_an_example(folder):
    assert list((folder / "examples").glob("*.toml"))


def test_the_page_of_all_packages_names_each():
    named = re.findall(
        r"^\| \[lobework-(\w+)\]\((\w+)/README.md\) \|",
        (ROOT / "plugins" / "README.md").read_text(encoding="utf-8"),
        re.MULTILINE,
    )
    assert sorted(named) == [(each.name, each.name) for each in FOLDERS]
