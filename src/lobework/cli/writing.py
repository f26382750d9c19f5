"""What the verbs share: a job in hand, files that appear whole or not at all, and how far long work has come."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lobework.errors import InputError, LobeworkError
from lobework.printable import printable

if TYPE_CHECKING:
    from lobework.job import Job

__all__ = ["WIPE", "OutputError", "air_of", "folder_of", "progress", "refuse", "save", "say", "with_job"]

WIPE: Final = "\r" + " " * 24 + "\r"
"""Over what a terminal shows of long work."""


def with_job(path: str, act: Callable[[Job], int]) -> int:
    """Do something with a job; a complaint that comes up on the way names the job file."""
    from lobework.jobfile import placed, read_job

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
    from lobework.outputs import write_files

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
    from lobework.outputs import refuse_existing

    try:
        refuse_existing(paths, overwrite=overwrite)
    except LobeworkError as error:
        raise OutputError(error) from None


def progress(doing: str) -> Callable[[float], None] | None:
    """Return what shows on a terminal how far long work has come, in one line that is wiped at the end."""
    if not sys.stderr.isatty():
        return None

    def show(part: float) -> None:
        print(f"\r{doing} {part:4.0%}" if part < 1 else WIPE, end="", file=sys.stderr, flush=True)

    return show


def air_of(given: str | None, job: Job) -> float:
    """Return how far off the work a program stays that is to be tried in air, mm; zero of one that cuts."""
    from lobework.errors import require
    from lobework.units import length

    if given is None:
        return 0.0
    try:
        air = length(given, job.units)
        require(0 < air <= 1000, "air", given, "above zero, such as '5 mm'")
    except InputError as error:
        raise OutputError(type(error)(error.says, "--air")) from None
    return air
