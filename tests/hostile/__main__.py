"""Hostile inputs: ``python -m tests.hostile --count 10000 --seed 7 --reader jobs``; exit code 1 if any is read badly."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path

from tests.hostile.readers import Reader, installed
from tests.hostile.run import Failure, failures, kept

CASES = Path(__file__).parent / "cases"


def main() -> int:
    """Run the command."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    readers = installed()
    parser = argparse.ArgumentParser(prog="python -m tests.hostile", description=__doc__)
    parser.add_argument("--count", type=int, default=1_000, help="inputs for each reader, after the cases that are kept")
    parser.add_argument("--first", type=int, default=0, help="number of the first")
    parser.add_argument("--seed", type=int, default=0, help="another seed, other inputs")
    parser.add_argument("--reader", choices=[*readers, "all"], default="all", help="which reader (all unless given)")
    parser.add_argument("--untimed", action="store_true", help="let an input take its time")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="write each input that is read badly into this folder")
    asked = parser.parse_args()
    found = [each for name, reader in readers.items() if asked.reader in (name, "all") for each in _tried(reader, asked)]
    return 1 if found else 0


def _tried(reader: Reader, asked: argparse.Namespace) -> list[Failure]:
    began, found = time.monotonic(), []
    cases = sorted(CASES.glob(f"{reader.name}-*"))
    for failure in kept(reader, cases, timed=not asked.untimed):
        print(failure, flush=True)
        found.append(failure)
    for failure in failures(reader, asked.seed, asked.count, first=asked.first, timed=not asked.untimed):
        print(failure, flush=True)
        found.append(failure)
        if asked.keep is not None:
            asked.keep.mkdir(parents=True, exist_ok=True)
            (asked.keep / f"{reader.name}-{asked.seed}-{failure.number}").write_bytes(reader.input(asked.seed, failure.number))
    took = time.monotonic() - began
    print(f"{reader.name}: {len(cases)} cases and {asked.count} inputs of seed {asked.seed}, {len(found)} failures, {took:.0f} s")
    for kind, times in Counter(each.message.partition("|")[2] or each.message[:80] for each in found).most_common(12):
        print(f"  {times} times {kind.strip()}")
    return found


if __name__ == "__main__":
    sys.exit(main())
