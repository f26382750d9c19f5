"""The parser of the command line: subcommands, the options that they share, and exit codes."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, NoReturn, TypeAlias

from lobework.errors import LobeworkError, nearest

__all__ = [
    "DONE",
    "FAULT",
    "FOUND",
    "STOPPED",
    "WRONG",
    "Parser",
    "UsageError",
    "Verbs",
    "add_folder",
    "add_job",
    "add_target",
    "add_verb",
]

DONE: Final = 0
FOUND: Final = 1
WRONG: Final = 2
FAULT: Final = 70
STOPPED: Final = 130

Verbs: TypeAlias = dict[str, Callable[[Any, str], None]]
"""Mapping from the name of each subcommand to the function that adds this subcommand to the parser."""

_SIGNED: Final = re.compile(r"-\d")


class UsageError(LobeworkError):
    """A command line that cannot be understood."""


class Parser(argparse.ArgumentParser):
    """A parser that reports an error by raising `UsageError` with a message of one line.

    If ``signed_values`` is true, an argument that begins with a minus and a digit, such as "-3/4", is a value and not an option.
    """

    signed_values = False

    def parse_known_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        """Return the parsed arguments, and the list of unknown arguments.

        Signed values are passed to argparse with a leading space, because argparse treats an argument with a space as a value.
        """
        if self.signed_values and args is not None:
            args = [f" {each}" if _SIGNED.match(each) else each for each in args]
        found, rest = super().parse_known_args(args, namespace)
        if self.signed_values:
            for name, value in vars(found).items():
                setattr(found, name, [*map(_without_space, value)] if isinstance(value, list) else _without_space(value))
        return found, [_without_space(each) for each in rest]

    def error(self, message: str) -> NoReturn:
        """Raise `UsageError` with the message and a reference to the help."""
        raise UsageError(f"{message}; see {self.prog} --help")

    def refuse(self, given: str) -> NoReturn:
        """Raise `UsageError` for an unknown argument."""
        options = [each for action in self._actions for each in action.option_strings]
        self.error(f"{given!r} is unknown here{nearest(given, options)}")


def _without_space(value: Any) -> Any:
    """Return an argument without the space that marks it as a value."""
    return value[1:] if isinstance(value, str) and value.startswith(" -") else value


def add_verb(verbs: Any, name: str, message: str, example: str, act: Callable[[argparse.Namespace], int]) -> Parser:
    """Add a subcommand with its help text, an example and the function that runs it; return the parser of the subcommand."""
    verb: Parser = verbs.add_parser(
        name, help=message, description=f"{message[0].upper()}{message[1:]}.", epilog=f"Try: {example}", allow_abbrev=False
    )
    verb.set_defaults(act=act, verb=verb)
    return verb


def add_job(verb: argparse.ArgumentParser) -> None:
    """Add the argument for a job file."""
    verb.add_argument("job", metavar="JOB", help="a job file, such as lid.toml")


def add_folder(verb: argparse.ArgumentParser, otherwise: str) -> None:
    """Add the options for the output folder and for overwriting files."""
    verb.add_argument("--into", metavar="DIR", type=Path, help=f"the folder to write in, created if necessary ({otherwise})")
    verb.add_argument("--overwrite", action="store_true", help="replace files that exist")


def add_target(verb: argparse.ArgumentParser, default: str) -> None:
    """Add the option for the name of a target."""
    message = f"the target to write, one of those that lobework list shows (default: {default})"
    verb.add_argument("--as", dest="target", metavar="TARGET", default=default, help=message)
