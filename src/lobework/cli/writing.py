"""Functions that the subcommands share: reading a job, writing files, and showing progress."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lobework.errors import InputError, LobeworkError
from lobework.text.printable import printable

if TYPE_CHECKING:
    from lobework.jobs.job import Job

__all__ = [
    "EVERY",
    "FIRST_AFTER",
    "WIPE",
    "OutputError",
    "air_of",
    "folder_of",
    "print_lines",
    "progress",
    "require_absent",
    "save",
    "with_job",
]

WIPE: Final = "\r" + " " * 24 + "\r"
"""Text that erases the progress line on a terminal."""
FIRST_AFTER: Final = 5.0
"""Seconds until the first line of progress, if standard error is not a terminal."""
EVERY: Final = 30.0
"""Seconds between lines of progress, if standard error is not a terminal."""


def with_job(path: str, act: Callable[[Job], int]) -> int:
    """Read a job and call ``act`` with this job; add the path of the job file to errors that ``act`` raises."""
    from lobework.jobs.jobfile import read_job, with_file_and_line

    job = read_job(path)
    try:
        return act(job)
    except OutputError as error:
        raise error.cause from None
    except InputError as error:
        raise with_file_and_line(error, path) from None


class OutputError(Exception):
    """An error about output or options, not about the job: the path of the job file is not added to such an error."""

    def __init__(self, cause: LobeworkError) -> None:
        self.cause = cause


def folder_of(options: argparse.Namespace) -> Path:
    """Return the output folder of a subcommand that reads a job."""
    return options.into if options.into is not None else Path(Path(options.job).stem)


def save(contents: dict[Path, bytes], *, overwrite: bool) -> None:
    """Write files, and print their paths."""
    from lobework.files.outputs import write_files

    try:
        write_files(contents, overwrite=overwrite)
    except LobeworkError as error:
        raise OutputError(error) from None
    print_lines(f"wrote {path}" for path in contents)


def print_lines(lines: Iterable[object]) -> None:
    """Print each item on one line, without control characters."""
    for line in lines:
        print(printable(str(line)))


def require_absent(paths: Sequence[Path], *, overwrite: bool) -> None:
    """Raise an error, before any work is done, if a file exists that must not be overwritten."""
    from lobework.files.outputs import refuse_existing

    try:
        refuse_existing(paths, overwrite=overwrite)
    except LobeworkError as error:
        raise OutputError(error) from None


def progress(doing: str) -> Callable[[float], None]:
    """Return a callback that shows progress: on a terminal one line, erased at the end; otherwise one line at each interval."""
    return _on_terminal(doing) if sys.stderr.isatty() else _at_intervals(doing)


def _on_terminal(doing: str) -> Callable[[float], None]:
    def show(part: float) -> None:
        print(f"\r{doing} {part:4.0%}" if part < 1 else WIPE, end="", file=sys.stderr, flush=True)

    return show


def air_of(given: str | None, job: Job) -> float:
    """Return the distance that a trial in air (dry run) keeps from the work, mm; zero for a program that cuts."""
    from lobework.errors import require
    from lobework.quantities.units import length

    if given is None:
        return 0.0
    try:
        air = length(given, job.units)
        require(0 < air <= 1000, "air", given, "above zero and at most 1000 mm, such as '5 mm'")
    except InputError as error:
        raise OutputError(error.replaced(where="--air")) from None
    return air


def _at_intervals(doing: str) -> Callable[[float], None]:
    """Return a callback that prints a line after `FIRST_AFTER` seconds, and then one every `EVERY` seconds.

    The estimate of the remaining time counts from the first call, because kernels may have been compiled before.
    """
    begun = time.monotonic()
    due = begun + FIRST_AFTER
    first: tuple[float, float] | None = None

    def show(part: float) -> None:
        nonlocal due, first
        now = time.monotonic()
        if first is None:
            first = now, part
        if not 0 < part < 1 or now < due:
            return
        due = now + EVERY
        since, done = now - first[0], part - first[1]
        remaining = f", about {_in_words(since * (1 - part) / done)} to go" if done > 0 else ""
        print(f"{doing}: {part:.0%} after {_in_words(now - begun)}{remaining}", file=sys.stderr, flush=True)

    return show


def _in_words(seconds: float) -> str:
    """Return a duration in words.

    >>> _in_words(4.2), _in_words(125.0), _in_words(7500.0)
    ('4 s', '2 min 5 s', '2 h 5 min')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min {whole % 60} s" if whole < 3600 else f"{whole // 3600} h {whole % 3600 // 60} min"
