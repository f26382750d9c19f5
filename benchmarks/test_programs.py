"""Run time and memory of a program of a hundred thousand blocks: planning, pacing, writing, reading back and proving it."""

from __future__ import annotations

import statistics
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from benchmarks.measure import RUNS
from lobework import At, Disc, Drive, Feeds, Job, Pass, Roller, Wave, read_lathe
from lobework.parts.cutter import Pen
from lobework.targets.rs274 import render

BLOCKS = 100_000
SHORT, LONG = Fraction(10), Fraction(40)


def long_job(turns: Fraction = LONG) -> Job:
    """Return a job with one spiral on a lathe whose slides follow the lift of twelve waves and whose axis limits slow it down."""
    cam = Drive(Wave(lobes=12, base_radius=60.0, rise=3.0), follower=Roller(2.0))
    spiral = Pass(turns=turns, at=At(x=24.0, depth=0.4), travel=At(x=float(-turns / 50)), cams=(cam,))
    lathe = read_lathe("computed-bench")
    axes = tuple(replace(axis, top_speed=200.0, acceleration=400.0) for axis in lathe.axes)
    feeds = Feeds(spindle_rpm=20.0, tolerance=1e-4)
    return Job(
        lathe=replace(lathe, axes=axes), piece=Disc(diameter=70.0, thickness=8.0), cutter=Pen(), passes=[spiral], feeds=feeds
    )


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Return the median wall-clock time and the median processor time of a call, seconds."""
    runs = []
    for _ in range(RUNS):
        wall, busy = time.perf_counter(), time.process_time()
        work()
        runs.append((time.perf_counter() - wall, time.process_time() - busy))
    return statistics.median(wall for wall, _ in runs), statistics.median(busy for _, busy in runs)


def bytes_a_block(turns: Fraction) -> tuple[int, float]:
    """Return the number of blocks of a spiral, and the peak memory of planning, writing and proving it, bytes per block."""
    job = long_job(turns)
    tracemalloc.start()
    text = render(job.program())
    assert job.prove(text).proved
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    blocks = text.count(b"\n")
    return blocks, most / blocks


def test_programs(benchmark, claims):
    """The time is measured after compilation; the memory must grow no faster than the length of the program."""
    job = long_job()
    traces = job.trace()

    def fresh() -> object:
        return traces[:].program()

    made = traces.program()
    text = render(made)
    assert job.prove(text).proved
    blocks = text.count(b"\n")
    parts = [timed(work) for work in (fresh, lambda: render(made), lambda: job.prove(text))]
    benchmark.pedantic(lambda: job.prove(render(fresh())), rounds=RUNS)
    wall, busy = (sum(each) for each in zip(*parts, strict=True))
    planned, written, proved = (f"{each:.2f}" for each, _ in parts)
    (few, short), (_, long) = bytes_a_block(SHORT), bytes_a_block(LONG)
    measured = f"{planned} + {written} + {proved} = {wall:.2f} s, {busy:.2f} s of one core"
    what = f"program of {blocks:,} lines, planned, written and proved"
    claims.add_requirement(what, measured, "under 2 s for 100,000", wall / blocks < 2.0 / BLOCKS)
    measured = f"{long:.0f} and {short:.0f} bytes"
    claims.add_requirement(
        f"its memory for each line, and that of {few:,}",
        measured,
        "equal: memory is proportional to the lines",
        long < 1.1 * short,
    )
