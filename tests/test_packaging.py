"""What is installed: the wheel holds the library, its lathes and its type marker, and nothing else."""

from __future__ import annotations

import email
import re
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import zipfile
from importlib.metadata import distribution, version
from pathlib import Path

import pytest

import lobework
from lobework.targets import BUILT_IN

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def built(kind, folder):
    """The one file that comes of building a wheel or an sdist."""
    build = [sys.executable, "-m", "hatchling", "build", "-t", kind, "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    (file,) = folder.iterdir()
    return file


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    with zipfile.ZipFile(built("wheel", tmp_path_factory.mktemp("wheel"))) as opened:
        yield opened


@pytest.fixture(scope="module")
def metadata(wheel):
    return email.message_from_bytes(wheel.read(f"lobework-{lobework.__version__}.dist-info/METADATA"))


def test_the_wheel_contains_every_source_file_and_no_other(wheel):
    source = ROOT / "src"
    files = (path for path in (source / "lobework").rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    names = {name for name in wheel.namelist() if ".dist-info/" not in name}
    assert names == {path.relative_to(source).as_posix() for path in files if path.suffix not in (".nbi", ".nbc")}


def test_the_source_archive_contains_the_files_that_tests_and_developers_need(tmp_path):
    with tarfile.open(built("sdist", tmp_path)) as opened:
        names = {name.partition("/")[2] for name in opened.getnames()}
    asked = (".ci/*", "benchmarks/*.py", "docs/examples/*.toml", "plugins/*/*.*", "src/**/*.txt", "tests/**/*.py")
    files = {path.relative_to(ROOT).as_posix() for pattern in asked for path in ROOT.glob(pattern) if path.is_file()}
    assert {pattern for pattern in asked if not any(ROOT.glob(pattern))} == set()
    assert files - names == set()


def test_the_wheel_contains_py_typed(wheel):
    assert "lobework/py.typed" in wheel.namelist()


def test_the_wheel_contains_the_licence(wheel, metadata):
    assert metadata["License-Expression"] == "MIT"
    assert wheel.read(f"lobework-{lobework.__version__}.dist-info/licenses/LICENSE") == (ROOT / "LICENSE").read_bytes()


def test_the_wheel_shows_the_readme(metadata):
    assert metadata.get_payload().strip() == (ROOT / "README.md").read_text(encoding="utf-8").strip()


def test_the_core_requires_only_numba_numpy_pluggy_and_pydantic(metadata):
    needed = {line.partition(">")[0] for line in metadata.get_all("Requires-Dist") if "extra ==" not in line}
    assert needed == {"numba", "numpy", "pluggy", "pydantic", "typing-extensions"}  # the last before Python 3.12 alone


def test_the_installed_version_is_the_written_one():
    assert version("lobework") == lobework.__version__


def test_the_command_is_installed():
    (entry,) = distribution("lobework").entry_points.select(group="console_scripts", name="lobework")
    assert entry.value == "lobework.cli:main"
    command = Path(sysconfig.get_path("scripts")) / "lobework"
    answer = subprocess.run([command, "--help"], capture_output=True, text=True, check=True)
    assert answer.stdout.startswith("usage: lobework")


def test_the_library_registers_no_entry_points_in_its_own_group():
    """Built-ins come in through the hooks, but not by way of the installer."""
    assert not distribution("lobework").entry_points.select(group="lobework")


def brought_by(extra):
    """What an extra brings, by what it names of the library's own extras too."""
    for each in PROJECT["optional-dependencies"][extra]:
        if (own := re.fullmatch(r"lobework\[(.*)\]", each)) is not None:
            for other in own[1].split(","):
                yield from brought_by(other)
        else:
            yield re.split(r"[<>=;~]", each)[0]


def test_the_extra_for_plugin_authors_brings_all_that_carving_and_verifying_need():
    """A plugin's own extra asks for lobework[testing] alone; its author carves and makes jobs with it."""
    carving = {target.needs[1] for target in BUILT_IN if target.needs is not None and target.shows == "carving"}
    assert carving == {"lobework[picture]"}
    assert {"pytest", "hypothesis", *brought_by("picture")} <= set(brought_by("testing"))
