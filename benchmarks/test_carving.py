"""Run time and memory of carving, compared with the reference backend, hand-written C and general libraries in the same run."""

from __future__ import annotations

import ctypes
import json
import shutil
import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from benchmarks.carving import ACROSS, CUTS, GROOVES, LEVEL, SAMPLES, UP, band, barrel, carved, face, groove, sweeps, winding
from benchmarks.measure import RUNS, alternate_runs, medians, seconds
from lobework.carve.compiled import CompiledBackend
from lobework.carve.compiled_face import MERGED_MM
from lobework.carve.plain import PlainBackend
from lobework.carve.sweep import Sweep

each_cutter = pytest.mark.parametrize("kind", CUTS)


@each_cutter
def test_carving_compared_with_the_reference(kind, benchmark, claims):
    """The reference stamps the cutter at each sample of some of the grooves.

    The result is also compared with that of a path with 8 times as many samples.
    """
    stock, cuts = face(), sweeps(kind)
    some = cuts[::16]
    judge = lambda: PlainBackend(stamps=True).carve(stock, some, stock.uncut())  # noqa: E731
    fast, slow = medians(benchmark, lambda: carved(stock, cuts), judge, runs=3)
    ratio = slow / sum(len(cut.tip) for cut in some) * SAMPLES / fast
    dense = [Sweep(cut.edge, cut.holder, groove(k, 8 * len(cut.tip), CUTS[kind][1]), UP, LEVEL) for k, cut in enumerate(cuts)]
    max_difference = np.abs(carved(stock, cuts) - carved(stock, dense)).max()
    claims.add_result(f"carving with a {kind}, {SAMPLES:,} samples", f"{1e3 * fast:.1f} ms")
    claims.add_requirement(
        "  compared with the reference, stamping at each sample", f"{ratio:.0f} times as fast", "80 times", ratio >= 80
    )
    claims.add_requirement(
        "  from a path eight times as dense", f"{1e3 * max_difference:.3f} um", "under 0.42 um", max_difference < 4.2e-4
    )


@each_cutter
def test_carving_compared_with_c(kind, benchmark, claims, tmp_path):
    """The same algorithm in C, compiled by the test."""
    if not (compiler := shutil.which("cc")):
        pytest.skip("there is no C compiler here (cc)")
    stock, cuts, (cutter, depth) = face(), sweeps(kind), CUTS[kind]
    tip = np.concatenate([cut.tip for cut in cuts])
    offsets = np.cumsum([0, *(len(cut.tip) for cut in cuts)])
    number, whole = ctypes.c_double, ctypes.c_int64
    radius, rise = (cutter.radius, 0.0) if kind == "ball" else (0.0, cutter.edge.parts[0].slope)
    steps = (stock.column_positions[0], stock.row_positions[0], stock.column_step, stock.row_step)
    library = tmp_path / "carve_face.so"
    flags = ["-O3", "-march=native", "-fopenmp", "-shared", "-fPIC"]
    source = Path(__file__).with_name("carving.c")
    subprocess.run([compiler, *flags, str(source), "-o", str(library), "-lm"], check=True)
    carve = ctypes.CDLL(str(library)).carve
    result, ours = stock.uncut(), stock.uncut()

    def hand() -> None:
        result.fill(0.0)
        carve(
            *(array.ctypes.data_as(ctypes.c_void_p) for array in (tip, offsets)),
            whole(len(cuts)),
            *map(number, (MERGED_MM / 2, depth, radius, rise, cutter.edge.half_width, *steps)),
            *stock.shape,
            result.ctypes.data_as(ctypes.c_void_p),
        )

    def compiled() -> None:
        ours.fill(0.0)
        CompiledBackend().carve(stock, cuts, ours)

    fast, slow = medians(benchmark, compiled, hand, runs=4 * RUNS)
    max_difference = np.abs(ours - np.where(stock.inside, result, 0.0)).max()
    measured = f"{slow / fast:.2f} of its speed ({1e3 * slow:.1f} ms), {max_difference:.0e} mm apart"
    claims.add_requirement(f"  {kind} compared with C by hand, the same algorithm", measured, "0.9", slow >= 0.9 * fast)


@each_cutter
def test_carving_compared_with_a_distance_transform(kind, benchmark, claims):
    """A general distance transform of the drawn path, converted to depths by the profile of the cutter."""
    cv2 = pytest.importorskip("cv2", reason="OpenCV is not installed; run: pip install opencv-python-headless")
    stock, cuts, (cutter, depth) = face(), sweeps(kind), CUTS[kind]

    def transformed() -> np.ndarray:
        drawn = np.full(stock.shape, 255, np.uint8)
        paths = [
            np.rint((cut.tip[:, None, :2] - (stock.column_positions[0], stock.row_positions[0])) / stock.row_step * 16).astype(
                np.int32
            )
            for cut in cuts
        ]
        cv2.polylines(drawn, paths, False, 0, 1, cv2.LINE_8, 4)
        off = cv2.distanceTransform(drawn, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
        off *= np.float32(stock.row_step)
        if kind == "vee":
            return np.maximum(np.subtract(np.float32(depth), off, out=off), 0, out=off)
        np.multiply(off, off, out=off)
        np.subtract(np.float32(cutter.radius**2), off, out=off)
        np.sqrt(np.maximum(off, 0, out=off), out=off)
        return np.maximum(np.subtract(off, np.float32(cutter.radius - depth), out=off), 0, out=off)

    fast, slow = medians(benchmark, lambda: carved(stock, cuts), transformed, runs=4 * RUNS)
    max_difference = np.abs(np.where(stock.inside, transformed() - carved(stock, cuts), 0)).max()
    measured = f"{slow / fast:.1f} times as fast ({1e3 * slow:.0f} ms), it is {1e3 * max_difference:.0f} um off"
    claims.add_requirement(f"  {kind} compared with a distance transform and profile", measured, "2 times", slow >= 2 * fast)


@each_cutter
def test_carving_round_a_barrel(kind, benchmark, claims):
    """The reference stamps a part of one groove round a barrel; the compiled backend carves all grooves completely."""
    stock, (cutter, depth) = barrel(), CUTS[kind]
    bands = [band(number, SAMPLES // GROOVES, depth) for number in range(GROOVES)]
    cuts = [Sweep(cutter.edge, cutter.holder, tip, out, UP) for tip, out in bands]
    tip, out = (each[:400] for each in bands[GROOVES // 2])
    some = [Sweep(cutter.edge, cutter.holder, tip, out, UP)]
    judge = lambda: PlainBackend(stamps=True).carve(stock, some, stock.uncut())  # noqa: E731
    fast, slow = medians(benchmark, lambda: carved(stock, cuts), judge, runs=3)
    ratio = slow / len(tip) * SAMPLES / fast
    claims.add_result(f"carving a barrel with a {kind}, {SAMPLES:,} samples", f"{fast:.2f} s")
    claims.add_requirement(
        "  compared with the reference, stamping at each sample", f"{ratio:.0f} times as fast", "80 times", ratio >= 80
    )


def test_carving_compared_with_triangle_meshes(benchmark, claims):
    """Swept solids as triangle meshes: their union is subtracted from a block."""
    manifold3d = pytest.importorskip("manifold3d", reason="manifold3d is not installed; run: pip install manifold3d")
    Manifold, OpType = manifold3d.Manifold, manifold3d.OpType  # noqa: N806
    stock, segments = face(), 2000
    cutter, depth = CUTS["ball"]
    tip = np.concatenate([groove(k, segments // 10 + 1, depth) for k in range(0, 50, 5)])
    cuts = [Sweep(cutter.edge, cutter.holder, part, UP, LEVEL) for part in np.split(tip, 10)]

    def subtracted() -> None:
        ball = Manifold.sphere(cutter.radius, 64)
        swept = [
            Manifold.batch_hull([ball.translate((*a[:2], a[2] + cutter.radius)), ball.translate((*b[:2], b[2] + cutter.radius))])
            for cut in cuts
            for a, b in zip(cut.tip[:-1], cut.tip[1:], strict=True)
        ]
        block = Manifold.cube((ACROSS, ACROSS, 10.0), True).translate((0.0, 0.0, -5.0))
        (block - Manifold.batch_boolean(swept, OpType.Add)).volume()

    (fast,) = medians(benchmark, lambda: carved(stock, cuts))
    slow = seconds(subtracted)
    measured = f"{slow / fast:,.0f} times as fast ({slow:.0f} s)"
    claims.add_requirement(
        f"  {segments} segments compared with solids of triangles", measured, "1000 times", slow >= 1000 * fast
    )


def test_time_per_further_sample(benchmark, claims):
    """The time for each further sample is measured on paths of ten thousand to ten million samples."""
    stock, counts = face(), (10_000, 100_000, 1_000_000, 10_000_000)
    works = [partial(carved, stock, [winding(count)]) for count in counts]
    runs = alternate_runs(benchmark, works[-1], *works[:-1], runs=3)
    times = [min(each) for each in (*runs[1:], runs[0])]
    costs = [1e9 * (b - a) / (n - m) for a, b, m, n in zip(times[:-1], times[1:], counts[:-1], counts[1:], strict=True)]
    measured = ", ".join(f"{cost:.0f}" for cost in costs) + f" ns; {times[-1]:.2f} s in all"
    what = "each further sample, 10 thousand to 10 million"
    claims.add_requirement(what, measured, "at most 1.5 times as long at the end", costs[-1] <= 1.5 * costs[0])


PEAK = """
import json, sys
import numpy as np
from benchmarks.carving import carved, face, sweeps, winding
from lobework.carve.stock import stock_of
from lobework import Disc
def now(key):
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith(key)) * 1024
cuts = sweeps("ball") if sys.argv[1] == "grooves" else [winding(10_000_000)]
carved(stock_of(Disc(diameter=100.0, thickness=10.0), resolution=1.0), sweeps("ball", 2000))
stock = face()
before = now("VmRSS:")
open("/proc/self/clear_refs", "w").write("5")
depth = carved(stock, cuts)
print(json.dumps((now("VmHWM:") - before) / depth.nbytes))
"""


@pytest.mark.parametrize("path", ["grooves", "ten million"])
def test_memory_of_a_carving(path, benchmark, claims):
    """Increase of the peak memory of the whole process while it carves, including the grid, as a multiple of the grid."""
    if not Path("/proc/self/clear_refs").exists():
        pytest.skip("this system does not report a process's peak memory")
    line = [sys.executable, "-c", PEAK, path]
    answer = benchmark.pedantic(lambda: subprocess.run(line, check=True, capture_output=True, text=True), rounds=1)
    grids = json.loads(answer.stdout)
    claims.add_requirement(f"peak memory, {path} samples", f"{grids:.2f} times the grid", "under 3", grids < 3)
