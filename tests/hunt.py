"""Search for failures with one fresh seed after the other: ``python -m tests.hunt --minutes 30``.

Runs every test that draws its cases, once for each seed, with more cases than the usual run. Prints a line for each seed. At the
end it prints the seeds that came back clean and the tests that failed, each with the command that repeats it. Exit codes: 0 all
clean, 1 a test failed, 2 the command is wrong.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parent.parent
_FAILED: Final = re.compile(r"^(?:FAILED|ERROR) (\S+(?: \S+)*?)(?: - .*)?$", re.MULTILINE)
_RAN: Final = re.compile(r"(\d+) (passed|failed|error)")
NOTHING_FAILED, SOME_FAILED, NO_TESTS = 0, 1, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """What one seed found: how many tests ran, in how many seconds, and which failed."""

    seed: int
    ran: int
    seconds: float
    failed: tuple[str, ...]
    printed: str

    def __str__(self) -> str:
        found = "clean" if not self.failed else f"{len(self.failed)} failed: {', '.join(self.failed)}"
        return f"seed {self.seed}: {found} ({self.ran} tests, {self.seconds:.0f} s)"


def command(seed: int, processes: str, paths: list[str]) -> list[str]:
    """Return the pytest command of one seed."""
    marks = "hypothesis or drawn"
    options = ["-c", "pyproject.toml", "-q", "-n", processes, "-m", marks, f"--hypothesis-seed={seed}", "-p", "no:cacheprovider"]
    return [sys.executable, "-m", "pytest", *options, *paths]


def searched(seed: int, times: int, processes: str, paths: list[str]) -> Round:
    """Run the tests with one seed.

    Raises
    ------
    RuntimeError
        If pytest ran no test, or could not run.
    """
    begins = time.monotonic()
    environment = {**os.environ, "CI": "", "LOBEWORK_SEED": str(seed), "LOBEWORK_EXAMPLES": str(times)}
    done = subprocess.run(command(seed, processes, paths), cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    ran = sum(int(count) for count, _ in _RAN.findall(done.stdout.rstrip().rpartition("\n")[2]))
    if done.returncode not in (NOTHING_FAILED, SOME_FAILED) or not ran:
        raise RuntimeError(f"pytest ran no test (exit code {done.returncode}):\n{done.stdout[-2000:]}{done.stderr[-2000:]}")
    failed = tuple(dict.fromkeys(_FAILED.findall(done.stdout)))
    if bool(failed) != (done.returncode == SOME_FAILED):
        failed = failed or ("a test whose name was not found; see the output",)
    return Round(seed=seed, ran=ran, seconds=time.monotonic() - begins, failed=failed, printed=done.stdout)


def hunt(seeds: range, minutes: float, times: int, processes: str, paths: list[str]) -> list[Round]:
    """Run the tests with each seed until the seeds or the minutes are used up; print a line for each."""
    until, rounds = time.monotonic() + 60 * minutes, []
    for seed in seeds:
        rounds.append(searched(seed, times, processes, paths))
        print(rounds[-1], flush=True)
        if rounds[-1].failed:
            print(rounds[-1].printed[-6000:], flush=True)
        if time.monotonic() >= until:
            break
    return rounds


def main(given: list[str] | None = None) -> int:
    """Run the command; return its exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.hunt", description="Search for failures with fresh seeds.")
    parser.add_argument("paths", nargs="*", default=["tests"], help="tests to run, as for pytest; all of them unless given")
    parser.add_argument("--minutes", type=float, default=30.0, help="start no further seed after so many minutes")
    parser.add_argument("--first", type=int, default=1, help="the first seed; the others follow it")
    parser.add_argument("--seeds", type=int, default=10**6, help="how many seeds at the most")
    parser.add_argument("--examples", type=int, default=3, help="how many times the usual number of cases")
    parser.add_argument("--processes", default="auto", help="processes at once, as for pytest -n")
    asked = parser.parse_args(given)
    if not (asked.minutes > 0 and asked.seeds > 0 and asked.examples > 0 and asked.first >= 0):
        parser.error("--minutes, --seeds and --examples must be above zero, --first zero or more")
    seeds = range(asked.first, asked.first + asked.seeds)
    rounds = hunt(seeds, asked.minutes, asked.examples, asked.processes, asked.paths)
    clean = [each.seed for each in rounds if not each.failed]
    print(f"{len(clean)} of {len(rounds)} seeds clean: {', '.join(map(str, clean)) or 'none'}")
    for each in rounds:
        for name in each.failed:
            again = f"LOBEWORK_SEED={each.seed} LOBEWORK_EXAMPLES={asked.examples}"
            print(f"failed: {again} python -m pytest '{name}' --hypothesis-seed={each.seed}")
    return 0 if len(clean) == len(rounds) else 1


if __name__ == "__main__":
    sys.exit(main())
