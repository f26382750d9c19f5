"""Packages that are there for a subprocess, as if they had been installed."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import lobework

SOURCE = Path(lobework.__path__[0]).parent

STEPS = '''
"""A plate that is set a step off, and its twin with an index that turns the wrong way."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lobework.errors import require
from lobework.plugins import hookimpl
from lobework.quantities.fields import Length, Turning
from lobework.geometry.rigid import Rigid
from lobework.quantities.units import Phase

lobework_contract = 2
WAY = {way}


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A plate."""

    kind: ClassVar[str] = "{name}"
    is_dynamic: ClassVar[bool] = False
    step: Length
    index: Turning = Phase()

    def __post_init__(self):
        require(abs(self.step) < 100, "step", self.step, "below 100 mm")

    def motions(self, theta):
        return Rigid.move(x=self.step) @ Rigid.turn(WAY * self.index.in_radians())


@hookimpl
def lobework_chucks():
    return [Plate]


@hookimpl
def lobework_samples():
    from lobework.testing import ExpectedValue, Sample

    known = ExpectedValue(lambda it: it.motions(np.zeros(1)).shift[0], [3.0, 0.0, 0.0], "its definition")
    return [Sample(Plate(step=3.0), known=[known])] if {sampled} else []
'''


class Bench:
    """A folder with packages in it, for a Python of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def package(self, name: str, source: str) -> None:
        module = f"lobework_{name}"
        (self.folder / f"{module}.py").write_text(source, encoding="utf-8")
        info = self.folder / f"{module}-1.0.dist-info"
        info.mkdir()
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: lobework-{name}\nVersion: 1.0\n", encoding="utf-8")
        (info / "entry_points.txt").write_text(f"[lobework]\n{name} = {module}\n", encoding="utf-8")

    def plate(self, name: str, way: int = 1, sampled: bool = True) -> None:
        self.package(name, STEPS.format(name=name, way=way, sampled=sampled))

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        given = {name: value for name, value in os.environ.items() if name not in ("LOBEWORK_PLUGINS", "PYTEST_ADDOPTS", "CI")}
        given["PYTHONPATH"] = f"{self.folder}{os.pathsep}{SOURCE}"
        command = [sys.executable, "-W", "error", *arguments]
        return subprocess.run(command, env=given, cwd=self.folder, capture_output=True, text=True, check=False)

    def lobework(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command; how far a long one has come, which hangs on the machine, is left out of what it said."""
        done = self.run("-c", f"import sys; from lobework.cli import main; sys.exit(main({list(arguments)!r}))")
        done.stderr = re.sub(r"^verifying: .*\n", "", done.stderr, flags=re.MULTILINE)
        return done


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)
