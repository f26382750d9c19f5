"""Kernels run as plain Python, for a debugger or for coverage: the same outputs, and the same depths but for rounding."""

from __future__ import annotations

import os
import subprocess
import sys
from random import Random

import numpy as np
import pytest

from lobework.cli import main
from tests.search import examples, seed
from tests.small_sweeps import depths_of, sweeps

JOB = """
title = "Trial"
units = "mm"
lathe = "rocking-bench"
resolution = 1.0

[piece]
form = "disc"
diameter = 20
thickness = 6

[cutter]
kind = "vee"
angle = "90 deg"
width = 3

[[pass]]
name = "ring"
at = { x = 6, depth = 0.5 }

[[pass.cam]]
shape = "wave"
lobes = 3
base_radius = 60
rise = 1.8
follower = { kind = "roller", radius = 2 }
"""
ROUNDED = {".html", ".png", ".stl", ".3mf"}
"""Files that show depths, of which the last bits may differ: compiled code fuses a product and a sum."""
CARVE = """
import sys
import numpy as np
from tests.test_uncompiled import depths
from lobework.kernels.jit import COMPILED
assert not COMPILED
np.savez(sys.argv[1], **depths())
"""


def depths():
    """The depths of some small sweeps, by name."""
    every = sweeps()
    return {name: depths_of(*every[name]) for name in Random(seed(11)).sample(sorted(every), examples(60))}


def uncompiled(*command, cwd=None):
    """Run a command of Python without compilation."""
    done = subprocess.run(
        [sys.executable, *command],
        cwd=cwd,
        env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_an_uncompiled_job_gives_the_same_files(tmp_path):
    (tmp_path / "trial.toml").write_text(JOB, encoding="utf-8")
    assert main(["make", str(tmp_path / "trial.toml"), "--into", str(tmp_path / "compiled")]) == 0
    uncompiled("-m", "lobework", "make", "trial.toml", "--into", "python", cwd=tmp_path)
    compiled, python = (
        {path.name: path.read_bytes() for path in (tmp_path / into).iterdir() if path.suffix not in ROUNDED}
        for into in ("compiled", "python")
    )
    assert len(compiled) >= 5
    assert compiled == python


@pytest.mark.drawn
def test_uncompiled_kernels_carve_the_same_depths(tmp_path):
    uncompiled("-c", CARVE, str(tmp_path / "depths.npz"))
    python = np.load(tmp_path / "depths.npz")
    for name, depth in depths().items():
        np.testing.assert_allclose(python[name], depth, rtol=0, atol=2e-6, equal_nan=False, err_msg=name)
