"""The kit is made of public names, and what it takes for a sample is one."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import numpy as np
import pytest

import lobework.testing
from lobework.checks.check import closure_findings
from lobework.errors import SettingError
from lobework.parts.chuck import Oval
from lobework.parts.cutter import Pen
from lobework.parts.follower import Roller
from lobework.parts.piece import Disc
from lobework.targets import BUILT_IN
from lobework.testing import Sample, strategies
from lobework.testing.settings import table_of

SOURCES = sorted(Path(lobework.testing.__path__[0]).rglob("*.py"))


def borrowed(path):
    """What a module takes from the rest of the library: each module with a name of it."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("lobework"):
            yield from ((node.module, each.name) for each in node.names)


@pytest.mark.parametrize("path", SOURCES, ids=[path.stem for path in SOURCES])
def test_the_kit_uses_only_public_names(path):
    for module, name in borrowed(path):
        imported = importlib.import_module(module)
        is_module = importlib.util.find_spec(f"{module}.{name}") is not None if hasattr(imported, "__path__") else False
        assert is_module or name in imported.__all__, f"{path.name}: {module}.{name} is not public"


def test_every_public_name_of_the_kit_exists():
    for name in lobework.testing.__all__:
        assert getattr(lobework.testing, name).__doc__
    assert {"ExpectedValue", "Sample", "Promise", "Broken", "promises_of", "verify", "Report", "worst", "assert_close"} <= set(
        lobework.testing.__all__
    )
    assert "strategies" in dir(lobework.testing)
    assert strategies.__all__
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = lobework.testing.no_such_name


@pytest.mark.parametrize(
    ("part", "kind", "name"),
    [
        (Oval(throw=1.0), "chuck", "oval"),
        (Roller(3.0), "follower", "roller"),
        (Pen(), "cutter", "pen"),
        (Disc(diameter=9.0, thickness=1.0), "piece", "disc"),
        (BUILT_IN[0], "target", "svg"),
        (closure_findings, "check", "closure_findings"),
    ],
    ids=lambda given: given if isinstance(given, str) else "",
)
def test_a_sample_has_the_kind_and_name_of_its_part(part, kind, name):
    assert (Sample(part).kind, Sample(part).name) == (kind, name)


@pytest.mark.parametrize(
    "given", [Oval, "oval", None, 3.0, np.zeros(3)], ids=["a class", "a word", "nothing", "a number", "an array"]
)
def test_an_invalid_sample_is_refused_in_one_line(given):
    with pytest.raises(SettingError, match="must be a part with its settings, a target, a backend or a check"):
        Sample(given)


def test_a_part_is_written_as_a_table_of_a_job_file():
    assert table_of(Oval(throw=5.0, ring_angle_deg=30.0, index="1/12 turn")) == (
        '{ kind = "oval", throw = 5.0, ring_angle = 30.0, index = "30 deg" }'
    )
    assert table_of(Disc(diameter=70.0, thickness=8.0, material='box"wood'), "form") == (
        '{ form = "disc", diameter = 70.0, thickness = 8.0, material = "box\\"wood" }'
    )
