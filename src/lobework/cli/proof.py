"""The verb that reads a program back."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.parser import Verbs, add_verb
from lobework.cli.writing import OutputError, air_of, say, with_job
from lobework.errors import InputError

if TYPE_CHECKING:
    from lobework.jobs.job import Job

__all__ = ["VERBS"]


def _add_prove(verbs: Any, name: str) -> None:
    message = "read a program back, and compare what it cuts with the job; exit code 1 where it differs, 2 where it cannot be run"
    verb = add_verb(verbs, name, message, "lobework prove lid/program.ngc --job lid.toml", _prove)
    verb.add_argument("program", metavar="PROGRAM", help="a program in RS274/NGC, such as lid/program.ngc")
    verb.add_argument("--job", metavar="JOB", required=True, help="the job file that it is for")
    verb.add_argument(
        "--tolerance", metavar="LENGTH", help="how far its path on the work may be from the job's, otherwise the job's"
    )
    message = "of a program to be tried in air: how far off the work it keeps, as it was written with lobework program --air"
    verb.add_argument("--air", metavar="LENGTH", help=message)


def _prove(asked: argparse.Namespace) -> int:
    from lobework.proof import load
    from lobework.text.cautions import IN_SHORT

    program = load(asked.program)

    def act(job: Job) -> int:
        tolerance, air = _tolerance(asked.tolerance, job), air_of(asked.air, job)
        try:
            proof = job.prove(program, tolerance, air=air)
        except InputError as error:
            own = not error.where or error.where.startswith("line ")
            raise OutputError(error.at(asked.program)) if own else error from None
        say([*proof.lines(), IN_SHORT])
        return proof.code

    return with_job(asked.job, act)


def _tolerance(given: str | None, job: Job) -> float | None:
    """Return the tolerance that the command line asks for, mm."""
    from dataclasses import replace

    from lobework.jobs.jobfile.source import pointed
    from lobework.quantities.units import length

    if given is None:
        return None
    try:
        return replace(job.feeds, tolerance=length(given, job.units)).tolerance
    except InputError as error:
        raise OutputError(pointed(error, {"tolerance": given}).replaced(where="--tolerance")) from None


VERBS: Final[Verbs] = {"prove": _add_prove}
