"""Print what is claimed of lobework's speed and memory, measured now.

Each line gives the figure, the thing it is measured beside, their ratio, and what is asked for. Interleaved runs, medians.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import tracemalloc
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from pathlib import Path
from typing import ClassVar

import numpy as np

from benchmarks.carving import carving
from benchmarks.measure import RUNS, paired, say, seconds
from benchmarks.programs import programs
from lobework import At, Cut, Drive, EccentricChuck, Lathe, Oval, Pass, Roller, Wave, read_lathe
from lobework.contact import touch_at
from lobework.motion import motion_of
from lobework.rigid import Rigid
from lobework.trace import lay_out, trace

EXAMPLE = Path(__file__).parents[1] / "docs" / "examples" / "wave-rings.toml"
SAMPLES = 10_000_000


def common_cut(lathe: Lathe | None = None, turns: Fraction = Fraction(1)) -> Cut:
    """Return the common case: a rocking headstock, one cam with a roller, no chuck that varies."""
    drive = Drive(Wave(lobes=5, base_radius=62.0, rise=5.0), ratio="3/5", follower=Roller(3.0))
    passed = Pass(turns=turns, at=At(x=24.0, depth=0.4), cams=(drive,))
    return Cut(number=1, passed=passed, lathe=lathe or read_lathe("rocking-bench"))


def chord_for(samples: int, cut: Cut) -> float:
    """Return the chord tolerance at which the cut takes about so many samples."""
    return 2e-3 * (trace(cut, way="plain").u.size / samples) ** 2


def tracing() -> list[bool]:
    """Time the compiled loop on ten million samples beside the plain path; both into memory that is already there."""
    cut = common_cut(turns=Fraction(100))
    fill = lay_out(motion_of(cut), chord_for(SAMPLES, cut))
    columns = fill()
    few = common_cut()
    few_chord = chord_for(50_000, few)
    plain, direct = trace(few, chord=few_chord, way="plain"), motion_of(few)

    def numpy_direct() -> None:
        for part in np.array_split(plain.u, max(1, plain.u.size // 8192)):
            direct.place(part)

    compiled, judged = paired(fill, numpy_direct)
    a_sample, judged_a_sample = 1e9 * compiled / columns[0].size, 1e9 * judged / plain.u.size
    whole = statistics.median(seconds(lambda: trace(cut, chord=chord_for(SAMPLES, cut), way="compiled")) for _ in range(3))
    same = trace(few, chord=few_chord, way="compiled")
    worst = max(float(np.abs(getattr(same, column) - getattr(plain, column)).max()) for column in "uxyz")
    written = statistics.median(
        seconds(lambda: [column.fill(1.0) for column in columns if column.flags.writeable]) for _ in range(RUNS)
    )
    return [
        say(
            f"compiled trace, {columns[0].size:,} samples",
            f"{a_sample:.2f} ns a sample; memory alone {1e9 * written / columns[0].size:.2f}",
            "under 2.5 ns",
            a_sample < 2.5,
        ),
        say(
            "  beside numpy direct",
            f"{judged_a_sample / a_sample:.0f} times as fast as {judged_a_sample:.0f} ns",
            "30 times",
            judged_a_sample >= 30 * a_sample,
        ),
        say("  the two differ by at most", f"{worst:.1e} mm", "1e-9 mm", worst <= 1e-9),
        say(
            "  whole call, planning and fresh memory included", f"{1e9 * whole / columns[0].size:.2f} ns a sample", "(told)", True
        ),
    ]


@dataclass(frozen=True, kw_only=True)
class Geared:
    """A stranger's chuck: an arm, and a wheel on it that turns three times with the spindle; it says nothing more."""

    kind: ClassVar[str] = "geared"
    varies: ClassVar[bool] = True
    arm: float

    def motions(self, theta: np.ndarray) -> Rigid:
        """Return where the work stands."""
        return Rigid.move(x=self.arm) @ Rigid.turn(3 * theta)


def stack_of_chucks() -> list[bool]:
    """Time whole traces through three chucks beside those through none, by turns, the quickest of each."""
    bench, kept = replace(read_lathe("rocking-bench"), fittings=None), []
    ours = (
        bench.mount(Oval(throw=5.0), "a")
        .mount(Oval(throw=3.0, ring_angle_deg=30.0, swing=2.0), "b")
        .mount(EccentricChuck(shift=6.0))
    )
    stranger = bench.mount(EccentricChuck(shift=6.0)).mount(Oval(throw=5.0)).mount(Geared(arm=4.0))
    for samples in (SAMPLES, 30_000):
        cuts = [common_cut(lathe=lathe, turns=Fraction(100)) for lathe in (bench, ours, stranger)]
        chords = [chord_for(samples, cut) for cut in cuts]
        counts = [trace(cut, chord=chord, way="compiled").x.size for cut, chord in zip(cuts, chords, strict=True)]
        rounds = [
            [seconds(lambda c=cut, d=chord: trace(c, chord=d, way="compiled")) for cut, chord in zip(cuts, chords, strict=True)]
            for _ in range(RUNS + 2)
        ]
        plain, *through = (1e9 * min(column) / count for column, count in zip(zip(*rounds, strict=True), counts, strict=True))
        for name, each in zip(("", ", one a stranger's"), through, strict=True):
            kept.append(
                say(
                    f"trace of {counts[0]:,} through three chucks{name}",
                    f"{each / plain:.2f} times one through none, {plain:.1f} ns a sample",
                    "under 3",
                    each < 3 * plain,
                )
            )
    few = common_cut(lathe=stranger, turns=Fraction(4))
    chord = chord_for(200_000, few)
    fast, slow = paired(lambda: trace(few, chord=chord, way="compiled"), lambda: trace(few, chord=chord, way="plain"), 3)
    worst = max(
        float(
            np.abs(
                getattr(trace(few, chord=chord, way="compiled"), axis) - getattr(trace(few, chord=chord, way="plain"), axis)
            ).max()
        )
        for axis in "xyz"
    )
    kept.append(
        say(
            "  beside the plain way, 200,000 samples",
            f"{slow / fast:.0f} times as fast, within {worst:.0e} mm",
            "within 1e-10 mm",
            worst <= 1e-10,
        )
    )
    return kept


def memory() -> list[bool]:
    """Compare the peak of a trace with its arrays."""
    kept = []
    bench = read_lathe("rocking-bench")
    for way, chucks in (("plain", ()), ("compiled", ()), ("compiled", (Oval(throw=5.0), Geared(arm=4.0)))):
        cut = common_cut(lathe=reduce(Lathe.mount, chucks, bench), turns=Fraction(100))
        chord = chord_for(1_000_000, cut)
        trace(common_cut(), way=way)
        tracemalloc.start()
        traced = trace(cut, chord=chord, way=way)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        arrays = sum(column.nbytes for column in (traced.x, traced.y, traced.z) if column.strides[0])
        kept.append(
            say(
                f"peak memory of a {way} trace{' through two chucks' if chucks else ''}, {traced.x.size:,} samples",
                f"{peak / arrays:.3f} of its arrays",
                "1.2",
                peak <= 1.2 * arrays,
            )
        )
    return kept


def contact() -> list[bool]:
    """Time a contact table beside the plain contact."""
    kept = []
    for name, cam, follower in (
        ("four waves, 3 mm roller", Wave(lobes=4, base_radius=62.0, rise=5.0), Roller(3.0)),
        ("twenty-four waves, 3 mm roller", Wave(lobes=24, base_radius=62.0, rise=2.0), Roller(3.0)),
        ("four waves, 12 mm roller", Wave(lobes=4, base_radius=62.0, rise=5.0), Roller(12.0)),
    ):
        phi = np.linspace(0, 2 * np.pi, 4096, endpoint=False)
        fast, slow = paired(
            lambda c=cam, f=follower, p=phi: touch_at(c, f, p, way="compiled"),
            lambda c=cam, f=follower, p=phi: touch_at(c, f, p),
            9,
        )
        apart = float(np.abs(touch_at(cam, follower, phi, way="compiled").reach - touch_at(cam, follower, phi).reach).max())
        kept.append(
            say(
                f"contact table of 4096, {name}",
                f"{1e3 * fast:.2f} ms, {slow / fast:.0f} times plain, within {apart:.0e} mm",
                "under 1 ms",
                fast < 1e-3,
            )
        )
    return kept


def commands() -> list[bool]:
    """Time whole processes, beside an interpreter that only imports numpy."""
    lobework = [shutil.which("lobework", path=str(Path(sys.executable).parent)) or "lobework"]
    quiet = {
        "stdout": subprocess.DEVNULL,
        "env": {**os.environ, "LOBEWORK_PLUGINS": "", "PYTHONDONTWRITEBYTECODE": ""},
    }

    def process(*words: str) -> float:
        return seconds(lambda: subprocess.run(words, check=True, **quiet))

    with tempfile.TemporaryDirectory() as folder:
        draw = [*lobework, "draw", str(EXAMPLE), "--into", folder, "--overwrite"]
        rounds = [
            (process(*draw), process(*lobework, "--help"), process(sys.executable, "-c", "import numpy")) for _ in range(RUNS + 2)
        ]
    drawn, helped, bare = (statistics.median(column) for column in zip(*rounds[1:], strict=True))
    return [
        say(
            "lobework draw, whole process",
            f"{drawn:.3f} s, {drawn / bare:.1f} times 'import numpy' ({bare:.3f} s)",
            "under 0.6 s",
            drawn < 0.6,
        ),
        say("lobework --help, whole process", f"{helped:.3f} s, {helped / bare:.1f} times", "under 0.25 s", helped < 0.25),
    ]


def main() -> int:
    """Run everything; 1 where something that is asked for was missed."""
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}, numpy {np.__version__}")
    kept = [*commands(), *contact(), *tracing(), *stack_of_chucks(), *memory(), *programs(), *carving()]
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
