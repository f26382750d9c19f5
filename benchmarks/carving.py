"""What carving costs: beside the judge, C by hand, and general libraries that could do the same, all in one run.

The face: 2048 x 2048 rays over 100 mm, and 200,000 samples in 50 closed grooves; a ball of 1.5 mm half a millimetre deep, and a
vee of 90 degrees a millimetre deep.
"""

from __future__ import annotations

import ctypes
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from benchmarks.measure import RUNS, paired, say, seconds
from lobework import Ball, Barrel, Disc, Vee
from lobework.carve.compiled import Compiled
from lobework.carve.compiled_face import MERGED_MM
from lobework.carve.plain import Plain
from lobework.carve.stock import Stock, stock_of
from lobework.carve.sweep import Sweep

ACROSS = 100.0
RAYS = 2048
GROOVES = 50
SAMPLES = 200_000
UP, LEVEL = np.array([[0.0, 0.0, 1.0]]), np.array([[1.0, 0.0, 0.0]])
CUTS = {"ball": (Ball(radius=1.5), 0.5), "vee": (Vee(angle_deg=90.0, width=3.0), 1.0)}
LACKING = "not measured: {} is not here; pip install {}"


def face() -> Stock:
    return stock_of(Disc(diameter=ACROSS, thickness=10.0), resolution=ACROSS / (RAYS - 1))


def groove(number: float, samples: int, depth: float) -> np.ndarray:
    """Return one closed groove, (samples, 3): a ring waved eight times."""
    turn = np.linspace(0.0, 2 * np.pi, samples)
    radius = 4 + 43 * number / (GROOVES - 1) + 0.6 * np.cos(8 * turn + 0.3 * number)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full_like(turn, -depth)], axis=-1)


def sweeps(kind: str, samples: int = SAMPLES, grooves: int = GROOVES) -> list[Sweep]:
    cutter, depth = CUTS[kind]
    return [
        Sweep(cutter.edge, cutter.held, groove(k * GROOVES / grooves, samples // grooves, depth), UP, LEVEL)
        for k in range(grooves)
    ]


def carved(stock: Stock, cuts: Sequence[Sweep]) -> np.ndarray:
    depth = stock.uncut()
    Compiled().carve(stock, cuts, depth)
    return depth


def beside_the_judge(kind: str) -> list[bool]:
    """Time the judge stamping, a place of the path at a time, on some grooves; and compare with a path 8 times as dense."""
    stock, cuts = face(), sweeps(kind)
    some = cuts[::16]
    fast, slow = paired(lambda: carved(stock, cuts), lambda: Plain(stamps=True).carve(stock, some, stock.uncut()), 3)
    ratio = slow / sum(len(cut.tip) for cut in some) * SAMPLES / fast
    dense = [Sweep(cut.edge, cut.held, groove(k, 8 * len(cut.tip), CUTS[kind][1]), UP, LEVEL) for k, cut in enumerate(cuts)]
    apart = np.abs(carved(stock, cuts) - carved(stock, dense)).max()
    return [
        say(f"carving with a {kind}, {SAMPLES:,} samples", f"{1e3 * fast:.1f} ms", "(told)", True),
        say("  beside the judge, stamping at each sample", f"{ratio:.0f} times as fast", "80 times", ratio >= 80),
        say("  from a path eight times as dense", f"{1e3 * apart:.3f} um", "under 0.42 um", apart < 4.2e-4),
    ]


def barrel() -> Stock:
    """Return a barrel of about as many rays as the face, as far apart."""
    return stock_of(Barrel(diameter=ACROSS / np.pi, length=ACROSS), resolution=ACROSS / (RAYS - 1))


def band(number: int, samples: int, depth: float) -> tuple[np.ndarray, np.ndarray]:
    """Return one closed groove round the barrel, waved six times, and the ways out of it: (samples, 3) each."""
    turn = np.linspace(0.0, 2 * np.pi, samples)
    out = np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
    along = -ACROSS * (number + 0.5) / GROOVES + np.sin(6 * turn)
    return (ACROSS / (2 * np.pi) - depth) * out + along[:, None] * UP, out


def round_the_barrel(kind: str) -> list[bool]:
    """Time the judge stamping on a part of one groove round a barrel, beside all grooves carved whole."""
    stock, (cutter, depth) = barrel(), CUTS[kind]
    bands = [band(number, SAMPLES // GROOVES, depth) for number in range(GROOVES)]
    cuts = [Sweep(cutter.edge, cutter.held, tip, out, UP) for tip, out in bands]
    tip, out = (each[:400] for each in bands[GROOVES // 2])
    some = [Sweep(cutter.edge, cutter.held, tip, out, UP)]
    fast, slow = paired(lambda: carved(stock, cuts), lambda: Plain(stamps=True).carve(stock, some, stock.uncut()), 3)
    ratio = slow / len(tip) * SAMPLES / fast
    return [
        say(f"carving a barrel with a {kind}, {SAMPLES:,} samples", f"{fast:.2f} s", "(told)", True),
        say("  beside the judge, stamping at each sample", f"{ratio:.0f} times as fast", "80 times", ratio >= 80),
    ]


def by_hand(kind: str) -> list[bool]:
    """Time the same way of working in C, built here and now."""
    if not (compiler := shutil.which("cc")):
        return [say("C by hand", "not measured: there is no C compiler here (cc)", "0.9 of it", True)]
    stock, cuts, (cutter, depth) = face(), sweeps(kind), CUTS[kind]
    tip = np.concatenate([cut.tip for cut in cuts])
    offsets = np.cumsum([0, *(len(cut.tip) for cut in cuts)])
    number, whole = ctypes.c_double, ctypes.c_int64
    radius, rise = (cutter.radius, 0.0) if kind == "ball" else (0.0, cutter.edge.parts[0].rise)
    steps = (stock.across[0], stock.down[0], stock.column_step, stock.row_step)
    with tempfile.TemporaryDirectory() as folder:
        library = Path(folder) / "carve_face.so"
        flags = ["-O3", "-march=native", "-fopenmp", "-shared", "-fPIC"]
        subprocess.run([compiler, *flags, str(Path(__file__).with_suffix(".c")), "-o", str(library), "-lm"], check=True)
        carve = ctypes.CDLL(str(library)).carve
        result = stock.uncut()

        def hand() -> None:
            result.fill(0.0)
            carve(
                *(array.ctypes.data_as(ctypes.c_void_p) for array in (tip, offsets)),
                whole(len(cuts)),
                *map(number, (MERGED_MM / 2, depth, radius, rise, cutter.edge.half_width, *steps)),
                *stock.shape,
                result.ctypes.data_as(ctypes.c_void_p),
            )

        ours = stock.uncut()

        def compiled() -> None:
            ours.fill(0.0)
            Compiled().carve(stock, cuts, ours)

        fast, slow = paired(compiled, hand, 4 * RUNS)
    apart = np.abs(ours - np.where(stock.inside, result, 0.0)).max()
    told = f"{slow / fast:.2f} of its speed ({1e3 * slow:.1f} ms), {apart:.0e} mm apart"
    return [say(f"  {kind} beside C by hand, the same way of working", told, "0.9", slow >= 0.9 * fast)]


def distance_transform(kind: str) -> list[bool]:
    """Time a general distance transform of the drawn path, and the cutter's profile laid over it."""
    try:
        import cv2
    except ImportError:
        return [say("distance transform", LACKING.format("OpenCV", "opencv-python-headless"), "2 times", True)]
    stock, cuts, (cutter, depth) = face(), sweeps(kind), CUTS[kind]

    def transformed() -> np.ndarray:
        drawn = np.full(stock.shape, 255, np.uint8)
        paths = [
            np.rint((cut.tip[:, None, :2] - (stock.across[0], stock.down[0])) / stock.row_step * 16).astype(np.int32)
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

    fast, slow = paired(lambda: carved(stock, cuts), transformed, 4 * RUNS)
    apart = np.abs(np.where(stock.inside, transformed() - carved(stock, cuts), 0)).max()
    told = f"{slow / fast:.1f} times as fast ({1e3 * slow:.0f} ms), it is {1e3 * apart:.0f} um off"
    return [say(f"  {kind} beside a distance transform and profile", told, "2 times", slow >= 2 * fast)]


def solids(segments: int = 2000) -> list[bool]:
    """Time swept solids taken from a block one by one, as triangles."""
    try:
        from manifold3d import Manifold, OpType
    except ImportError:
        return [say("solids of triangles", LACKING.format("manifold3d", "manifold3d"), "1000 times", True)]
    stock = face()
    cutter, depth = CUTS["ball"]
    tip = np.concatenate([groove(k, segments // 10 + 1, depth) for k in range(0, 50, 5)])
    cuts = [Sweep(cutter.edge, cutter.held, part, UP, LEVEL) for part in np.split(tip, 10)]

    def subtracted() -> None:
        ball = Manifold.sphere(cutter.radius, 64)
        swept = [
            Manifold.batch_hull([ball.translate((*a[:2], a[2] + cutter.radius)), ball.translate((*b[:2], b[2] + cutter.radius))])
            for cut in cuts
            for a, b in zip(cut.tip[:-1], cut.tip[1:], strict=True)
        ]
        block = Manifold.cube((ACROSS, ACROSS, 10.0), True).translate((0.0, 0.0, -5.0))
        (block - Manifold.batch_boolean(swept, OpType.Add)).volume()

    fast = statistics.median(seconds(lambda: carved(stock, cuts)) for _ in range(RUNS))
    slow = seconds(subtracted)
    told = f"{slow / fast:,.0f} times as fast ({slow:.0f} s)"
    return [say(f"  {segments} segments beside solids of triangles", told, "1000 times", slow >= 1000 * fast)]


def winding(samples: int) -> Sweep:
    """Return one long path, its samples 0.04 mm apart, winding out and in over the face."""
    cutter, depth = CUTS["ball"]
    swing = np.arange(samples) * 0.04 / (2 * np.pi * 25.0)
    radius = 25 + 20 * np.sin(0.0137 * swing + 0.5) + 0.5 * np.cos(8.03 * 2 * np.pi * swing)
    turn = 2 * np.pi * swing
    tip = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full_like(turn, -depth)], axis=-1)
    return Sweep(cutter.edge, cutter.held, tip, UP, LEVEL)


def lengths() -> list[bool]:
    """Time paths of ten thousand samples to ten million: what each further sample costs."""
    stock = face()
    counts, times = (10_000, 100_000, 1_000_000, 10_000_000), []
    carved(stock, [winding(1000)])
    for count in counts:
        cut = winding(count)
        times.append(min(seconds(lambda cut=cut: carved(stock, [cut])) for _ in range(3)))
    costs = [1e9 * (b - a) / (n - m) for a, b, m, n in zip(times[:-1], times[1:], counts[:-1], counts[1:], strict=True)]
    told = ", ".join(f"{cost:.0f}" for cost in costs) + f" ns; {times[-1]:.2f} s in all"
    return [
        say("each further sample, 10 thousand to 10 million", told, "as much all the way", costs[-1] <= 1.5 * costs[0]),
    ]


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


def memory() -> list[bool]:
    """Compare the peak of the whole process while it carves, the grid included, with the grid."""
    if not Path("/proc/self/clear_refs").exists():
        return [say("peak memory", "not measured: this system does not tell a process's peak", "3 times", True)]
    kept = []
    for path in ("grooves", "ten million"):
        answer = subprocess.run([sys.executable, "-c", PEAK, path], check=True, capture_output=True, text=True)
        grids = json.loads(answer.stdout)
        kept.append(say(f"peak memory, {path} samples", f"{grids:.2f} times the grid", "under 3", grids < 3))
    return kept


MEASURES: tuple[Callable[[], list[bool]], ...] = (
    *(
        lambda kind=kind, measure=measure: measure(kind)
        for kind in CUTS
        for measure in (beside_the_judge, by_hand, distance_transform, round_the_barrel)
    ),
    solids,
    lengths,
    memory,
)
"""All that is measured, in this order."""


def carving() -> list[bool]:
    """Measure all of it."""
    return [kept for measure in MEASURES for kept in measure()]
