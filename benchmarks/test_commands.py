"""Run times of whole processes, compared with an interpreter that only imports numpy."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from benchmarks.measure import RUNS, medians

EXAMPLE = Path(__file__).parents[1] / "docs" / "examples" / "wave-rings.toml"


def test_commands(benchmark, claims, tmp_path):
    lobework = [shutil.which("lobework", path=str(Path(sys.executable).parent)) or "lobework"]
    around = {**os.environ, "LOBEWORK_PLUGINS": "", "PYTHONDONTWRITEBYTECODE": ""}

    def process(*words):
        return lambda: subprocess.run(words, check=True, stdout=subprocess.DEVNULL, env=around)

    draw = process(*lobework, "draw", str(EXAMPLE), "--into", str(tmp_path), "--overwrite")
    helps, imports = process(*lobework, "--help"), process(sys.executable, "-c", "import numpy")
    drawn, helped, bare = medians(benchmark, draw, helps, imports, runs=RUNS + 1)
    measured = f"{drawn:.3f} s, {drawn / bare:.1f} times 'import numpy' ({bare:.3f} s)"
    claims.add_requirement("lobework draw, whole process", measured, "under 0.6 s", drawn < 0.6)
    claims.add_requirement(
        "lobework --help, whole process", f"{helped:.3f} s, {helped / bare:.1f} times", "under 0.25 s", helped < 0.25
    )
