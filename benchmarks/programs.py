"""A program of a hundred thousand blocks: planned, paced and written; and read back and proved."""

from __future__ import annotations

import statistics
from dataclasses import replace
from fractions import Fraction

from benchmarks.measure import RUNS, say, seconds
from lobework import At, Disc, Drive, Feeds, Job, Pass, Roller, Wave, read_lathe
from lobework.cutter import Pen
from lobework.targets.rs274 import render

BLOCKS = 100_000


def long_job() -> Job:
    """Return a spiral of forty turns, on a lathe that has its slides follow the lift of twelve waves, and must pace it."""
    cam = Drive(Wave(lobes=12, base_radius=60.0, rise=3.0), follower=Roller(2.0))
    spiral = Pass(turns=Fraction(40), at=At(x=24.0, depth=0.4), travel=At(x=-0.8), cams=(cam,))
    lathe = read_lathe("computed-bench")
    axes = tuple(replace(axis, top_speed=200.0, acceleration=400.0) for axis in lathe.axes)
    feeds = Feeds(spindle_rpm=20.0, tolerance=1e-4)
    return Job(
        lathe=replace(lathe, axes=axes), piece=Disc(diameter=70.0, thickness=8.0), cutter=Pen(), passes=[spiral], feeds=feeds
    )


def programs() -> list[bool]:
    """Time planning, writing and proving, once everything is compiled."""
    traces = long_job().trace()

    def fresh() -> object:
        return traces[:].program()

    made = traces.program()
    text = render(made)
    blocks = text.count(b"\n")
    planned, written = (statistics.median(seconds(work) for _ in range(RUNS)) for work in (fresh, lambda: render(made)))
    job = long_job()
    assert job.prove(text).proved
    proved = statistics.median(seconds(lambda: job.prove(text)) for _ in range(RUNS))
    return [
        say(
            f"program of {blocks:,} lines, planned and written",
            f"{planned:.2f} s and {written:.2f} s",
            "under 1 s for 100,000",
            (planned + written) / blocks < 1.0 / BLOCKS,
        ),
        say("the same, read back and proved", f"{proved:.2f} s", "under 1 s for 100,000", proved / blocks < 1.0 / BLOCKS),
    ]
