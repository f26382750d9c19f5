"""How a command line is laid out and understood."""

from __future__ import annotations

import argparse
from collections.abc import Callable
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
    "add_verb",
    "takes_folder",
    "takes_job",
    "takes_target",
]

DONE: Final = 0
FOUND: Final = 1
WRONG: Final = 2
FAULT: Final = 70
STOPPED: Final = 130

Verbs: TypeAlias = dict[str, Callable[[Any, str], None]]
"""What adds each verb to a command line, by the verb's name."""


class UsageError(LobeworkError):
    """A command line that cannot be understood."""


class Parser(argparse.ArgumentParser):
    """Complains in one line."""

    def error(self, message: str) -> NoReturn:
        """Raise `UsageError` with the message and where to read on."""
        raise UsageError(f"{message}; see {self.prog} --help")

    def refuse(self, given: str) -> NoReturn:
        """Raise `UsageError` for what nothing answers to."""
        options = [each for action in self._actions for each in action.option_strings]
        self.error(f"{given!r} is not understood here{nearest(given, options)}")


def add_verb(verbs: Any, name: str, message: str, example: str, act: Callable[[argparse.Namespace], int]) -> Parser:
    """Add one verb: what its help says, a line to try, and what it does; return its parser."""
    verb: Parser = verbs.add_parser(
        name, help=message, description=f"{message[0].upper()}{message[1:]}.", epilog=f"Try: {example}", allow_abbrev=False
    )
    verb.set_defaults(act=act, verb=verb)
    return verb


def takes_job(verb: argparse.ArgumentParser) -> None:
    """Let a verb take a job file."""
    verb.add_argument("job", metavar="JOB", help="a job file, such as lid.toml")


def takes_folder(verb: argparse.ArgumentParser, otherwise: str) -> None:
    """Let a verb take the folder that it writes in."""
    verb.add_argument("--into", metavar="DIR", type=Path, help=f"the folder to write in, made if need be ({otherwise})")
    verb.add_argument("--overwrite", action="store_true", help="replace files that exist")


def takes_target(verb: argparse.ArgumentParser, default: str) -> None:
    """Let a verb take the name of a target."""
    message = f"what to write, of those that lobework list shows ({default} unless given)"
    verb.add_argument("--as", dest="target", metavar="TARGET", default=default, help=message)
