"""Tracing and carving in several threads and processes at a time: the same results, or one line that says what to do."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "processes.md").read_text(encoding="utf-8")
LAYERS = ["workqueue", "omp", *(["tbb"] if importlib.util.find_spec("tbb") else [])]
each_layer = pytest.mark.parametrize("layer", LAYERS)

WORK = """
import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor

import numba
import numpy as np

import lobework as lw
from lobework.kinematics.trace import trace

WAVE = lw.Drive(lw.Wave(lobes=12, base_radius=62, rise=2), follower=lw.Roller(4))


def job(x):
    ring = lw.Pass(at=lw.At(x=x, depth=0.5), cams=[WAVE])
    disc, vee = lw.Disc(diameter=60, thickness=5), lw.Vee(angle_deg=90, width=3)
    return lw.Job(lathe=lw.read_lathe("rocking-bench"), piece=disc, cutter=vee, passes=[ring.series(4, x=-1)], resolution=0.25)


def carved(x):
    return job(x).carve().depth.tobytes()


def traced(x):
    return trace(job(x).cuts()[0], backend="compiled", chord=1e-4).x.tobytes()


PLACES = [16.0, 18.0, 20.0, 22.0]
"""
THREADS = f"""{WORK}
for work in (carved, traced):
    alone = [work(each) for each in PLACES]
    with ThreadPoolExecutor(4) as pool:
        for _ in range(5):
            assert list(pool.map(work, PLACES)) == alone
print(numba.threading_layer())
"""
PROCESSES = f"""{WORK}
if __name__ == "__main__":
    alone = carved(PLACES[0]) if "before" in sys.argv else None
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context(sys.argv[1])) as pool:
        found = pool.submit(carved, PLACES[0])
        try:
            print("the same" if found.result() in (alone, carved(PLACES[0])) else "another")
        except lw.LobeworkError as error:
            print(error)
"""
REFUSED = re.search(r"<!-- refused -->\n+```text\n(.*\n)```", PAGE)[1]


def run(tmp_path, script, *arguments, **variables):
    (tmp_path / "script.py").write_text(script, encoding="utf-8")
    line = [sys.executable, "-W", "error", "script.py", *arguments]
    return subprocess.run(line, cwd=tmp_path, env=os.environ | variables, capture_output=True, text=True, check=False)


@each_layer
def test_threads_carve_and_trace_at_the_same_time_to_the_same_bits(layer, tmp_path):
    done = run(tmp_path, THREADS, NUMBA_THREADING_LAYER=layer)
    assert (done.returncode, done.stdout, done.stderr) == (0, f"{layer}\n", "")


@pytest.mark.parametrize("method", ["spawn", "forkserver"])
def test_a_process_that_is_started_afresh_carves_after_its_parent_has(method, tmp_path):
    done = run(tmp_path, PROCESSES, method, "before")
    assert (done.returncode, done.stdout, done.stderr) == (0, "the same\n", "")


@pytest.mark.parametrize("order", ["before", "after"])
@each_layer
def test_a_forked_process_carves_the_same_or_is_refused_in_one_line(layer, order, tmp_path):
    """GNU's OpenMP ends a process that was forked after it had started threads; the page shows the line."""
    done = run(tmp_path, PROCESSES, "fork", order, NUMBA_THREADING_LAYER=layer)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == (REFUSED if (layer, order) == ("omp", "before") else "the same\n")


def test_threads_that_are_not_installed_are_refused_in_one_line(tmp_path):
    script = f"{WORK}\ntry:\n    carved(16.0)\nexcept lw.LobeworkError as error:\n    print(error)\n"
    hidden = "import sys\n\nsys.modules['numba.np.ufunc.omppool'] = None\n"
    done = run(tmp_path, hidden + script, NUMBA_THREADING_LAYER="omp")
    assert done.stdout.startswith("NUMBA_THREADING_LAYER=omp: must be an installed threading layer")
    assert done.stdout.count("\n") == 1
