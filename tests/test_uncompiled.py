"""Kernels run as plain Python, for a debugger or for coverage: the same outputs, and the same depths but for rounding."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace

import numpy as np

from lobework.carve.compiled import CompiledBackend
from lobework.carve.stock import stock_of
from lobework.cli import main
from lobework.parts.cutter import Vee
from lobework.parts.holder import CuttingFrame, DrillingSpindle, EccentricFrame, FixedTool
from lobework.parts.piece import Barrel, Disc
from tests.carving import on_face, on_round

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
    """Short passes of every kind of holder over a face, level and sloping, and of two round a barrel."""
    disc, barrel = (stock_of(Disc(diameter=10.0, thickness=3.0), 0.5), stock_of(Barrel(diameter=10.0, length=9.0), 0.5))
    vee, found = Vee(angle_deg=90.0, width=2.0), {}
    holders = (DrillingSpindle(), FixedTool(), CuttingFrame(radius=6.0), EccentricFrame(radius=1.0))
    cases = [
        (disc, on_face(replace(vee, holder=each), [[-3.0, 0.0, -0.5], [3.0, 1.0, z]])) for each in holders for z in (-0.5, -0.3)
    ]
    cases += [(barrel, on_round(replace(vee, holder=each), barrel.surface, [0.1, 0.3], [3.0, 4.0], 0.5)) for each in holders[:2]]
    for number, (stock, sweep) in enumerate(cases):
        CompiledBackend().carve(stock, [sweep], found.setdefault(str(number), stock.uncut()))
    return found


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


def test_every_kind_of_cutter_and_surface_is_carved_the_same(tmp_path):
    uncompiled("-c", CARVE, str(tmp_path / "depths.npz"))
    python = np.load(tmp_path / "depths.npz")
    for name, depth in depths().items():
        np.testing.assert_allclose(python[name], depth, rtol=0, atol=2e-6, equal_nan=False, err_msg=name)
