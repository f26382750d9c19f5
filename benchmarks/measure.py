"""How things are timed here: medians of runs by turns, and one line a claim."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

RUNS = 7


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def paired(fast: Callable[[], object], slow: Callable[[], object], runs: int = RUNS) -> tuple[float, float]:
    """Return the median seconds of both, run by turns."""
    fast()
    times = [(seconds(fast), seconds(slow)) for _ in range(runs)]
    return statistics.median(each[0] for each in times), statistics.median(each[1] for each in times)


def say(what: str, measured: str, asked: str, kept: bool) -> bool:
    """Print one line, and return whether what is asked for was kept."""
    print(f"{'ok  ' if kept else 'MISS'} {what:58} {measured:48} asked: {asked}", flush=True)
    return kept
