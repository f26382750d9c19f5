"""The subcommand that reads a program back and proves it."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.parser import Verbs, add_verb
from lobework.cli.writing import OutputError, air_of, print_lines, with_job
from lobework.errors import InputError

if TYPE_CHECKING:
    from lobework.jobs.job import Job

__all__ = ["VERBS"]


def _add_prove(verbs: Any, name: str) -> None:
    message = "read a program back, and compare its cuts with those of the job; "
    message += "exit code 1 if they differ, 2 if the program cannot be run"
    verb = add_verb(verbs, name, message, "lobework prove lid/program.ngc --job lid.toml", _prove)
    verb.add_argument("program", metavar="PROGRAM", help="a program in RS274/NGC, such as lid/program.ngc")
    verb.add_argument("--job", metavar="JOB", required=True, help="the job file of the program")
    verb.add_argument(
        "--tolerance",
        metavar="LENGTH",
        help="largest distance of the program's path on the work from the job's path (default: the tolerance of the job)",
    )
    message = "for a program written with lobework program --air: the distance that was given there"
    verb.add_argument("--air", metavar="LENGTH", help=message)


def _prove(options: argparse.Namespace) -> int:
    from lobework.proof import load
    from lobework.text.cautions import IN_SHORT

    program = load(options.program)

    def act(job: Job) -> int:
        tolerance, air = _tolerance(options.tolerance, job), air_of(options.air, job)
        try:
            proof = job.prove(program, tolerance, air=air)
        except InputError as error:
            is_of_program = not error.where or error.where.startswith("line ")
            raise OutputError(error.at(options.program)) if is_of_program else error from None
        print_lines([*proof.lines(), IN_SHORT])
        return proof.code

    return with_job(options.job, act)


def _tolerance(given: str | None, job: Job) -> float | None:
    """Return the tolerance given on the command line, mm; None if unspecified."""
    from dataclasses import replace

    from lobework.jobs.jobfile.source import with_key_and_value
    from lobework.quantities.units import length

    if given is None:
        return None
    try:
        return replace(job.feeds, tolerance=length(given, job.units)).tolerance
    except InputError as error:
        raise OutputError(with_key_and_value(error, {"tolerance": given}).replaced(where="--tolerance")) from None


VERBS: Final[Verbs] = {"prove": _add_prove}
