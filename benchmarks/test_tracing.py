"""Run time of tracing ten million samples, with and without chucks, compared with the plain path; and the peak memory."""

from __future__ import annotations

import statistics
import tracemalloc
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from typing import ClassVar

import numpy as np
import pytest

from benchmarks.measure import RUNS, alternate_runs, medians, seconds
from lobework import At, Cut, Drive, EccentricChuck, Lathe, Oval, Pass, Roller, Wave, read_lathe
from lobework.geometry.rigid import Rigid
from lobework.kinematics.motion import motion_of
from lobework.kinematics.trace import lay_out, trace

SAMPLES = 10_000_000


def common_cut(lathe: Lathe | None = None, turns: Fraction = Fraction(1)) -> Cut:
    """Return a cut of the common case: a rocking headstock, one cam with a roller, and no moving chuck."""
    drive = Drive(Wave(lobes=5, base_radius=62.0, rise=5.0), ratio="3/5", follower=Roller(3.0))
    passed = Pass(turns=turns, at=At(x=24.0, depth=0.4), cams=(drive,))
    return Cut(number=1, passed=passed, lathe=lathe or read_lathe("rocking-bench"))


def chord_for(samples: int, cut: Cut) -> float:
    """Return the chord tolerance at which the trace of the cut has about ``samples`` samples."""
    return 2e-3 * (trace(cut, backend="plain").u.size / samples) ** 2


@dataclass(frozen=True, kw_only=True)
class Geared:
    """A chuck as of a plugin: an arm, and on it a wheel that makes three turns per turn of the spindle; it declares no more."""

    kind: ClassVar[str] = "geared"
    is_dynamic: ClassVar[bool] = True
    arm: float

    def motions(self, theta: np.ndarray) -> Rigid:
        """Return the motions of the work relative to the spindle, for (n,) rad."""
        return Rigid.move(x=self.arm) @ Rigid.turn(3 * theta)


def test_tracing(benchmark, claims):
    """The compiled loop writes into memory that is already allocated; the plain path is computed in parts."""
    cut = common_cut(turns=Fraction(100))
    fill = lay_out(motion_of(cut), chord_for(SAMPLES, cut))
    columns = fill()
    few = common_cut()
    few_chord = chord_for(50_000, few)
    plain, direct = trace(few, chord=few_chord, backend="plain"), motion_of(few)

    def numpy_direct() -> None:
        for part in np.array_split(plain.u, max(1, plain.u.size // 8192)):
            direct.place(part)

    def write_alone() -> None:
        for column in columns:
            if column.flags.writeable:
                column.fill(1.0)

    compiled, judged, written = medians(benchmark, fill, numpy_direct, write_alone)
    a_sample, judged_a_sample = 1e9 * compiled / columns[0].size, 1e9 * judged / plain.u.size
    whole = statistics.median(seconds(lambda: trace(cut, chord=chord_for(SAMPLES, cut), backend="compiled")) for _ in range(3))
    same = trace(few, chord=few_chord, backend="compiled")
    worst = max(float(np.abs(getattr(same, column) - getattr(plain, column)).max()) for column in "uxyz")
    measured = f"{a_sample:.2f} ns a sample; memory alone {1e9 * written / columns[0].size:.2f}"
    claims.add_requirement(f"compiled trace, {columns[0].size:,} samples", measured, "under 2.5 ns", a_sample < 2.5)
    measured = f"{judged_a_sample / a_sample:.0f} times as fast as {judged_a_sample:.0f} ns"
    claims.add_requirement("  compared with numpy direct", measured, "30 times", judged_a_sample >= 30 * a_sample)
    claims.add_requirement("  the two differ by at most", f"{worst:.1e} mm", "1e-9 mm", worst <= 1e-9)
    claims.add_result("  whole call, planning and fresh memory included", f"{1e9 * whole / columns[0].size:.2f} ns a sample")


@pytest.mark.parametrize("samples", [SAMPLES, 30_000])
def test_tracing_through_chucks(samples, benchmark, claims):
    """Whole traces through three chucks and through none are run alternately; the shortest run of each counts."""
    bench = replace(read_lathe("rocking-bench"), fittings=None)
    swung = Oval(throw=3.0, ring_angle_deg=30.0, swing=2.0)
    ours = bench.mount(Oval(throw=5.0), "a").mount(swung, "b").mount(EccentricChuck(shift=6.0))
    plugin_chuck = bench.mount(EccentricChuck(shift=6.0)).mount(Oval(throw=5.0)).mount(Geared(arm=4.0))
    cuts = [common_cut(lathe=lathe, turns=Fraction(100)) for lathe in (ours, plugin_chuck, bench)]
    chords = [chord_for(samples, cut) for cut in cuts]

    def traced(cut, chord):
        return lambda: trace(cut, chord=chord, backend="compiled")

    works = list(map(traced, cuts, chords))
    counts = [work().x.size for work in works]
    runs = alternate_runs(benchmark, *works, runs=RUNS + 2)
    *through, plain = (1e9 * min(each) / count for each, count in zip(runs, counts, strict=True))
    for name, each in zip(("", ", one of a plugin"), through, strict=True):
        measured = f"{each / plain:.2f} times one through none, {plain:.1f} ns a sample"
        claims.add_requirement(f"trace of {counts[-1]:,} through three chucks{name}", measured, "under 3", each < 3 * plain)


def test_tracing_through_an_external_chuck_compared_with_plain(benchmark, claims):
    bench = replace(read_lathe("rocking-bench"), fittings=None)
    plugin_chuck = bench.mount(EccentricChuck(shift=6.0)).mount(Oval(throw=5.0)).mount(Geared(arm=4.0))
    cut = common_cut(lathe=plugin_chuck, turns=Fraction(4))
    chord = chord_for(200_000, cut)
    compiled, plain = (lambda: trace(cut, chord=chord, backend="compiled")), (lambda: trace(cut, chord=chord, backend="plain"))
    fast, slow = medians(benchmark, compiled, plain, runs=3)
    one, other = compiled(), plain()
    worst = max(float(np.abs(getattr(one, axis) - getattr(other, axis)).max()) for axis in "xyz")
    measured = f"{slow / fast:.0f} times as fast, within {worst:.0e} mm"
    claims.add_requirement("  compared with the plain path, 200,000 samples", measured, "within 1e-10 mm", worst <= 1e-10)


@pytest.mark.parametrize(
    ("way", "chucks"),
    [("plain", ()), ("compiled", ()), ("compiled", (Oval(throw=5.0), Geared(arm=4.0)))],
    ids=["plain", "compiled", "compiled, through two chucks"],
)
def test_memory_of_a_trace(way, chucks, benchmark, claims):
    """Peak memory of a trace, as a multiple of its arrays."""
    cut = common_cut(lathe=reduce(Lathe.mount, chucks, read_lathe("rocking-bench")), turns=Fraction(100))
    chord = chord_for(1_000_000, cut)
    trace(common_cut(), backend=way)
    tracemalloc.start()
    traced = benchmark.pedantic(lambda: trace(cut, chord=chord, backend=way), rounds=1)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    arrays = sum(column.nbytes for column in (traced.x, traced.y, traced.z) if column.strides[0])
    what = f"peak memory of a {way} trace{' through two chucks' if chucks else ''}, {traced.x.size:,} samples"
    claims.add_requirement(what, f"{peak / arrays:.3f} of its arrays", "1.2", peak <= 1.2 * arrays)
