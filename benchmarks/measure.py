"""How things are measured here: by pytest-benchmark, with what is beaten run by turns beside what beats it."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

RUNS = 7


def seconds(work: Callable[[], object]) -> float:
    """Return how long one call takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def by_turns(benchmark: Any, work: Callable[[], object], *beside: Callable[[], object], runs: int = RUNS) -> list[list[float]]:
    """Return the seconds of each run of some work, taken by the benchmark, and of each thing that is run beside it by turns.

    One run of each goes before, and does not count.
    """
    others: list[list[float]] = []

    def run_the_others() -> None:
        others.append([seconds(each) for each in beside])

    benchmark.pedantic(work, setup=run_the_others, rounds=runs, iterations=1, warmup_rounds=1)
    return [list(benchmark.stats.stats.data), *map(list, zip(*others[1:], strict=True))]


def medians(benchmark: Any, work: Callable[[], object], *beside: Callable[[], object], runs: int = RUNS) -> list[float]:
    """Return the median seconds of some work, and of each thing that is run beside it by turns."""
    return [statistics.median(each) for each in by_turns(benchmark, work, *beside, runs=runs)]


@dataclass(frozen=True)
class Line:
    """One line of the table: what was measured, what it came to, and what is asked for."""

    what: str
    measured: str
    asked: str
    kept: bool

    def __str__(self) -> str:
        return f"{'ok  ' if self.kept else 'MISS'} {self.what:58} {self.measured:48} asked: {self.asked}"


class Claims:
    """What a benchmark claims; each is one line of the table, and what is missed fails the benchmark when it has run.

    Parameters
    ----------
    benchmark : fixture of pytest-benchmark
        Takes the lines into its own record too.
    """

    def __init__(self, benchmark: Any) -> None:
        self.benchmark = benchmark
        self.lines: list[Line] = []

    def told(self, what: str, measured: str) -> None:
        """Claim nothing, and show a figure."""
        self.asked(what, measured, "(told)", True)

    def asked(self, what: str, measured: str, asked: str, kept: bool) -> None:
        """Claim that what is asked for was kept."""
        self.lines.append(Line(what, measured, asked, bool(kept)))
        self.benchmark.extra_info["lines"] = [str(line) for line in self.lines]

    @property
    def missed(self) -> Sequence[Line]:
        """The lines that were not kept."""
        return [line for line in self.lines if not line.kept]
