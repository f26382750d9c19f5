"""Measurement of run times by pytest-benchmark; the functions that are compared are run alternately."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

RUNS = 7


def seconds(work: Callable[[], object]) -> float:
    """Return the run time of one call, seconds."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def alternate_runs(
    benchmark: Any, work: Callable[[], object], *compared: Callable[[], object], runs: int = RUNS
) -> list[list[float]]:
    """Return the run times, seconds, of ``work``, measured by the benchmark, and of each function in ``compared``.

    The functions are run alternately. One warm-up run of each is not counted.
    """
    others: list[list[float]] = []

    def run_the_others() -> None:
        others.append([seconds(each) for each in compared])

    benchmark.pedantic(work, setup=run_the_others, rounds=runs, iterations=1, warmup_rounds=1)
    return [list(benchmark.stats.stats.data), *map(list, zip(*others[1:], strict=True))]


def medians(benchmark: Any, work: Callable[[], object], *compared: Callable[[], object], runs: int = RUNS) -> list[float]:
    """Return the median run times, seconds, of ``work`` and of each function in ``compared``, which are run alternately."""
    return [statistics.median(each) for each in alternate_runs(benchmark, work, *compared, runs=runs)]


@dataclass(frozen=True)
class Line:
    """One line of the table: what was measured, the result, the requirement, and whether it is met."""

    what: str
    measured: str
    required: str
    met: bool

    def __str__(self) -> str:
        return f"{'ok  ' if self.met else 'MISS'} {self.what:58} {self.measured:48} required: {self.required}"


class Claims:
    """The claims of a benchmark: each is one line of the table; a missed claim makes the benchmark fail after it has run.

    Parameters
    ----------
    benchmark : fixture of pytest-benchmark
        The fixture; the lines are stored in its record too.
    """

    def __init__(self, benchmark: Any) -> None:
        self.benchmark = benchmark
        self.lines: list[Line] = []

    def add_result(self, what: str, measured: str) -> None:
        """Add a line with a result and without a requirement."""
        self.add_requirement(what, measured, "(no requirement)", True)

    def add_requirement(self, what: str, measured: str, required: str, met: bool) -> None:
        """Add a line with a result, its requirement, and whether it is met."""
        self.lines.append(Line(what, measured, required, bool(met)))
        self.benchmark.extra_info["lines"] = [str(line) for line in self.lines]

    @property
    def not_met(self) -> Sequence[Line]:
        """The lines whose requirement is not met."""
        return [line for line in self.lines if not line.met]
