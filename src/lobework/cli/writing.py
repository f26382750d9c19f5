"""What the verbs share: a job in hand, files that appear whole or not at all, and how far long work has come."""

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

__all__ = ["EVERY", "FIRST_AFTER", "WIPE", "OutputError", "air_of", "folder_of", "progress", "refuse", "save", "say", "with_job"]

WIPE: Final = "\r" + " " * 24 + "\r"
"""Over what a terminal shows of long work."""
FIRST_AFTER: Final = 5.0
EVERY: Final = 30.0
"""Seconds after which long work first says how far it has come where there is no terminal, and from then on."""


def with_job(path: str, act: Callable[[Job], int]) -> int:
    """Do something with a job; a complaint that comes up on the way names the job file."""
    from lobework.jobs.jobfile import placed, read_job

    job = read_job(path)
    try:
        return act(job)
    except OutputError as error:
        raise error.cause from None
    except InputError as error:
        raise placed(error, path) from None


class OutputError(Exception):
    """A complaint about what is written, not about the job."""

    def __init__(self, cause: LobeworkError) -> None:
        self.cause = cause


def folder_of(asked: argparse.Namespace) -> Path:
    """Return the folder that a verb on a job writes in."""
    return asked.into if asked.into is not None else Path(Path(asked.job).stem)


def save(contents: dict[Path, bytes], *, overwrite: bool) -> None:
    """Write files, and say so."""
    from lobework.files.outputs import write_files

    try:
        write_files(contents, overwrite=overwrite)
    except LobeworkError as error:
        raise OutputError(error) from None
    say(f"wrote {path}" for path in contents)


def say(lines: Iterable[object]) -> None:
    """Print each on a line of its own, whatever names it holds."""
    for line in lines:
        print(printable(str(line)))


def refuse(paths: Sequence[Path], *, overwrite: bool) -> None:
    """Refuse, before any work is done, to write over what exists."""
    from lobework.files.outputs import refuse_existing

    try:
        refuse_existing(paths, overwrite=overwrite)
    except LobeworkError as error:
        raise OutputError(error) from None


def progress(doing: str) -> Callable[[float], None]:
    """Return what shows how far long work has come: on a terminal one line that is wiped at the end, else a line now and then."""
    return _on_terminal(doing) if sys.stderr.isatty() else _now_and_then(doing)


def _on_terminal(doing: str) -> Callable[[float], None]:
    def show(part: float) -> None:
        print(f"\r{doing} {part:4.0%}" if part < 1 else WIPE, end="", file=sys.stderr, flush=True)

    return show


def air_of(given: str | None, job: Job) -> float:
    """Return how far off the work a program stays that is to be tried in air, mm; zero of one that cuts."""
    from lobework.errors import require
    from lobework.quantities.units import length

    if given is None:
        return 0.0
    try:
        air = length(given, job.units)
        require(0 < air <= 1000, "air", given, "above zero, such as '5 mm'")
    except InputError as error:
        raise OutputError(error.replaced(where="--air")) from None
    return air


def _now_and_then(doing: str) -> Callable[[float], None]:
    """Return what prints a line once work has taken `FIRST_AFTER` seconds, and then every `EVERY`.

    The time to go is counted from the first part that is told: before it, kernels may have been compiled.
    """
    begun = time.monotonic()
    due = begun + FIRST_AFTER
    first: tuple[float, float] | None = None

    def tell(part: float) -> None:
        nonlocal due, first
        now = time.monotonic()
        if first is None:
            first = now, part
        if not 0 < part < 1 or now < due:
            return
        due = now + EVERY
        since, done = now - first[0], part - first[1]
        left = f", about {_in_words(since * (1 - part) / done)} to go" if done > 0 else ""
        print(f"{doing}: {part:.0%} after {_in_words(now - begun)}{left}", file=sys.stderr, flush=True)

    return tell


def _in_words(seconds: float) -> str:
    """Return a time as people say it.

    >>> _in_words(4.2), _in_words(125.0), _in_words(7500.0)
    ('4 s', '2 min 5 s', '2 h 5 min')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min {whole % 60} s" if whole < 3600 else f"{whole // 3600} h {whole % 3600 // 60} min"
