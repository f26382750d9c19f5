"""Compile all kernels before a run of every test, in two processes, so that no two processes of the run compile the same kernel.

``python -m tests.compile_kernels carve`` compiles those that carve, ``python -m tests.compile_kernels other`` the others.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[1]
EXAMPLES = ROOT / "docs/examples"


def carve():
    """Carve a short sweep of every edge by every holder."""
    from tests.small_sweeps import depths_of, sweeps

    for stock, sweep in sweeps().values():
        depths_of(stock, sweep)


def long_job():
    """A spiral on a lathe with limits: long enough for the compiled program."""
    from lobework import At, Disc, Drive, Feeds, Job, Pass, Roller, Vee, Wave, read_lathe

    lathe = read_lathe("computed-bench")
    axes = tuple(replace(axis, top_speed=200.0, acceleration=400.0) for axis in lathe.axes)
    cam = Drive(Wave(lobes=12, base_radius=60.0, rise=1.0), follower=Roller(2.0))
    spiral = Pass(turns=12, at=At(x=24.0, depth=0.4), travel=At(x=-2.0), cams=(cam,))
    piece = Disc(diameter=70.0, thickness=8.0)
    feeds = Feeds(spindle_rpm=20.0, tolerance=1e-4)
    return Job(lathe=replace(lathe, axes=axes), piece=piece, cutter=Vee(angle_deg=90.0, width=2.0), passes=[spiral], feeds=feeds)


def other():
    """Trace cuts by the compiled path, through a chuck too; write a program and a solid, and prove the program."""
    import numpy as np

    from lobework.jobs.jobfile import read_job
    from lobework.kinematics.contact import touch_at
    from lobework.kinematics.trace import trace
    from lobework.plugins import registry

    job = long_job()
    for cut in (job.cuts()[-1], read_job(EXAMPLES / "oval-medallion.toml").cuts()[-1]):
        for drive in cut.passed.cams:
            touch_at(drive.cam, drive.follower, np.linspace(0.0, 6.0, 9), backend="compiled")
        trace(cut, backend="compiled")
    program = registry.installed().target("rs274").render(job.program())
    assert job.prove(program).proved
    registry.installed().target("stl").render(read_job(EXAMPLES / "barrel-weave.toml").trace()[:2].carve(0.6))


class Compilation:
    """The two processes, which run while the tests are collected."""

    def __init__(self) -> None:
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))}
        command = [sys.executable, "-m", "tests.compile_kernels"]
        pipes = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "text": True}
        self.processes = [subprocess.Popen([*command, part], cwd=ROOT, env=environment, **pipes) for part in ("carve", "other")]

    def wait(self) -> None:
        """Wait for both processes; raise an error with the output of one that failed."""
        for process in self.processes:
            _, errors = process.communicate()
            if process.returncode:
                raise RuntimeError(f"the kernels cannot be compiled:\n{errors}")


if __name__ == "__main__":
    {"carve": carve, "other": other}[sys.argv[1]]()
