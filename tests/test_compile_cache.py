"""Compiled kernels where nothing can be written, and where what was kept is damaged: one line of warning, and the same answer."""

from __future__ import annotations

import ast
import importlib.util
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numba
import pytest

from lobework.kernels import jit

LIBRARY = Path(__file__).parents[1] / "src" / "lobework"
KERNELS = Path("lobework") / "kernels"
LARGE = Path(__file__).parents[1] / "docs" / "examples" / "swirled-knob.toml"
"""A job whose program is large enough to be reckoned by kernels."""
KERNEL = """
from lobework.kernels.jit import kernel


@kernel()
def halved(x):
    return x / 2


@kernel()
def quartered(x):
    return halved(halved(x))
"""
CALL = """
import numpy as np
from lobework.kernels.mesh.self_crossing import crossing

x, y = np.array([[0.0, 1.0, 1.0, 0.0, 0.5]]), np.array([[0.0, 0.0, -1.0, -1.0, 1.0]])
print(*crossing(x, y))
"""
NO_USER = "import pwd\n\ndef getpwuid(uid):\n    raise KeyError(uid)\n\npwd.getpwuid = getpwuid\n"
ANSWER = "0 0 3\n"
WARNED = re.compile(r"CacheWarning: (.*)")


def copied(folder):
    """A copy of the library in a folder, with nothing compiled."""
    shutil.copytree(LIBRARY, folder / "lobework", ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def sealed_off(folder):
    """A copy of the library that keeps nothing, whoever runs it: where its folder of compiled code would be, a file is."""
    copied(folder)
    for kernels in (folder / KERNELS, *(path for path in (folder / KERNELS).iterdir() if path.is_dir())):
        (kernels / "__pycache__").write_text("", encoding="utf-8")
    return folder


def run(site, *arguments, without=(), **variables):
    """Run Python with the library of a folder, there; return what it did."""
    around = {
        name: value for name, value in os.environ.items() if not name.startswith(("NUMBA_", "XDG_")) and name not in without
    }
    around |= {"PYTHONPATH": str(site), **variables}
    line = [sys.executable, "-W", "default::UserWarning", *arguments]
    return subprocess.run(line, cwd=site, env=around, capture_output=True, text=True, check=False)


def warned(done):
    assert done.returncode == 0, done.stderr
    return WARNED.findall(done.stderr)


def kept(folder):
    return sorted(path for path in folder.rglob("*.nb?"))


def test_without_a_writable_folder_kernels_are_compiled_in_memory_with_one_warning(tmp_path):
    done = run(sealed_off(tmp_path), "-c", CALL, HOME=os.devnull)
    (message,) = warned(done)
    assert done.stdout == ANSWER
    assert message.startswith("compiled code cannot be stored: ")
    assert "NUMBA_CACHE_DIR" in message
    assert kept(tmp_path) == []


def test_without_a_home_folder_no_cache_is_made_in_the_working_folder(tmp_path):
    done = run(sealed_off(tmp_path), "-c", NO_USER + CALL, without=("HOME",))
    assert len(warned(done)) == 1
    assert done.stdout == ANSWER
    assert sorted(path.name for path in tmp_path.iterdir()) == ["lobework"]


def test_the_variable_that_the_warning_names_moves_the_cache(tmp_path):
    site, elsewhere = sealed_off(tmp_path / "site"), tmp_path / "elsewhere"
    done = run(site, "-c", CALL, HOME=os.devnull, NUMBA_CACHE_DIR=str(elsewhere))
    assert (warned(done), done.stdout) == ([], ANSWER)
    assert len(kept(elsewhere)) == 4
    assert kept(site) == []


def test_a_command_runs_without_a_writable_folder_and_reports_it_in_one_line(tmp_path):
    site = sealed_off(tmp_path)
    script = "from lobework.cli import main\nraise SystemExit(main())"
    done = run(site, "-c", script, "program", str(LARGE), "--into", "knob", HOME=os.devnull)
    assert done.returncode == 0
    assert done.stdout.startswith("wrote knob")
    (line,) = [line for line in done.stderr.splitlines() if "note: " in line]
    assert line.startswith("lobework: note: compiled code cannot be stored: ")
    assert "Traceback" not in done.stderr


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A copy of the library with what it needs for one call compiled and kept."""
    site = copied(tmp_path_factory.mktemp("whole"))
    done = run(site, "-c", CALL)
    assert (warned(done), done.stdout) == ([], ANSWER)
    assert len(kept(site)) == 4
    return site


def flipped(data):
    middle = len(data) // 2
    return data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :]


def answer_of(file):
    """What the kernel of a file answers where nothing of it has been loaded yet."""
    spec = importlib.util.spec_from_file_location(file.stem, file)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.quartered(6.0)


@pytest.mark.parametrize("ending", [".nbi", ".nbc"])
@pytest.mark.parametrize(
    "damage",
    [lambda data: data[: len(data) // 2], lambda data: b"", lambda data: os.urandom(len(data)), flipped],
    ids=["truncated", "empty", "garbage", "one bit"],
)
def test_a_damaged_cache_file_is_recompiled_and_replaced_with_one_warning(damage, ending, tmp_path, monkeypatch):
    monkeypatch.setattr(numba.config, "CACHE_DIR", "")
    monkeypatch.setattr(jit, "_warned", set())
    file = tmp_path / "trial_kernel.py"
    file.write_text(KERNEL, encoding="utf-8")
    assert answer_of(file) == 1.5
    damaged = [path for path in kept(tmp_path) if path.suffix == ending]
    assert (len(damaged), len(kept(tmp_path))) == (2, 4)
    for path in damaged:
        path.write_bytes(damage(path.read_bytes()))
    with pytest.warns(jit.CacheWarning) as told:
        assert answer_of(file) == 1.5
    (message,) = (str(each.message) for each in told)
    assert message.startswith("compiled code is damaged: ")
    assert "NUMBA_CACHE_DIR" in message
    written = {path: path.stat().st_mtime_ns for path in kept(tmp_path)}
    assert answer_of(file) == 1.5
    assert {path: path.stat().st_mtime_ns for path in kept(tmp_path)} == written


def test_a_process_with_damaged_kernels_gives_the_same_result_with_one_warning(whole):
    for path in kept(whole):
        path.write_bytes(flipped(path.read_bytes()))
    done = run(whole, "-c", CALL)
    (message,) = warned(done)
    assert done.stdout == ANSWER
    assert message.startswith("compiled code is damaged: ")
    again = run(whole, "-c", CALL)
    assert (warned(again), again.stdout) == ([], ANSWER)


def test_a_kernel_is_recompiled_if_an_imported_file_has_changed(whole):
    written = {path: path.stat().st_mtime_ns for path in kept(whole)}
    with (whole / "lobework" / "geometry" / "rigid.py").open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    done = run(whole, "-c", CALL)
    assert (warned(done), done.stdout) == ([], ANSWER)
    assert all(path.stat().st_mtime_ns > written[path] for path in kept(whole))


def imported(file):
    """The files of the library that a file imports from, by Python's own parser."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        names = [each.name for each in getattr(node, "names", ())]
        of = [f"{node.module}.{name}" for name in names] + [node.module] if isinstance(node, ast.ImportFrom) else names
        for path in (LIBRARY.parent.joinpath(*name.split(".")).with_suffix(".py") for name in of):
            if isinstance(node, ast.Import | ast.ImportFrom) and path.is_relative_to(LIBRARY) and path.is_file():
                yield path


@pytest.mark.parametrize("file", sorted((LIBRARY / "kernels").rglob("*.py")), ids=lambda path: str(path.relative_to(LIBRARY)))
def test_the_cache_stamp_covers_every_imported_file(file):
    reached, new = set(), {file}
    while new:
        reached |= new
        new = {each for path in new for each in imported(path)} - reached
    gathered = {}
    jit._gather(file, gathered)
    assert set(gathered) >= reached


def test_kernels_are_compiled_in_one_place():
    users = {path.name for path in (LIBRARY / "kernels").rglob("*.py") if "njit" in path.read_text(encoding="utf-8")}
    assert users == {"jit.py"}
