"""The public names: sorted, real, and cheap to ask for."""

from __future__ import annotations

import ast
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import lobework

MODULES = sorted(module.name for module in pkgutil.walk_packages(lobework.__path__, "lobework."))


def in_order(names: list[str]) -> list[str]:
    """Return the names once each: constants, then classes, then functions, as the linter sorts them."""
    return sorted(set(names), key=lambda name: (not name.isupper(), not name[0].isupper(), name))


def test_the_public_names_are_sorted_and_given_once():
    assert list(lobework.__all__) == in_order(lobework.__all__)


@pytest.mark.parametrize("name", lobework.__all__)
def test_every_public_name_exists_and_has_a_docstring(name):
    assert getattr(lobework, name).__doc__


def test_dir_shows_the_public_names():
    assert set(lobework.__all__) <= set(dir(lobework))


def test_star_import_gives_the_public_names():
    given: dict[str, object] = {}
    exec("from lobework import *", given)
    assert set(given) - {"__builtins__"} == set(lobework.__all__)


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = lobework.no_such_name


@pytest.mark.parametrize("name", MODULES)
def test_a_module_lists_its_names_sorted_and_each_exists(name):
    module = importlib.import_module(name)
    names = list(getattr(module, "__all__", ()))
    assert names == in_order(names)
    assert [each for each in names if not hasattr(module, each)] == []


@pytest.mark.parametrize("name", MODULES)
def test_a_module_that_defines_public_classes_lists_them(name):
    path = importlib.import_module(name).__file__
    assert path is not None
    tree = ast.parse(Path(path).read_text(encoding="utf-8"))
    classes = {node.name for node in tree.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_")}
    assert classes <= set(getattr(importlib.import_module(name), "__all__", ()))


def imported_by(statements: str) -> set[str]:
    """Return the modules that a fresh interpreter holds after ``statements``."""
    ask = f"{statements}; import sys; print(*sys.modules)"
    return set(subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True).stdout.split())


def test_importing_the_library_imports_nothing_heavy():
    assert not imported_by("import lobework") & {"numba", "numpy", "pluggy", "pydantic"}


def test_importing_every_module_but_the_kernels_compiles_nothing():
    """Only calling a kernel brings in the compiler."""
    modules = [name for name in MODULES if not name.startswith("lobework.kernels.")]
    loaded = imported_by("; ".join(f"import {name}" for name in modules))
    assert not loaded & {"llvmlite", "numba"}
