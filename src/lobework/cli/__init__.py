"""The command ``lobework``: verbs that read a job file and write, print or check what it asks for."""

from __future__ import annotations

import argparse
import atexit
import contextlib
import gc
import os
import sys
from collections.abc import Sequence
from typing import Any, Final, Self

import lobework
from lobework.cli import helices, jobs, numbers, proof, shelf
from lobework.cli.parser import DONE, FAULT, STOPPED, WRONG, Parser, UsageError, Verbs
from lobework.cli.streams import GuardedOutput, PrintError, leave, nowhere
from lobework.cli.writing import WIPE
from lobework.errors import LobeworkError, PluginError, nearest
from lobework.text.printable import one_line

__all__ = ["main"]

_NO_MORE: Final = "stopped; nothing more was written"
_LONGEST_LINE: Final = 600


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        What follows the command's name; the process's own unless given.

    Returns
    -------
    int
        0 done, 1 the check found something, 2 the input is wrong, 70 a fault in a plugin or in lobework, 130 stopped by hand.

    Examples
    --------
    >>> main(["draw", "no such job.toml"])
    2
    """
    sys.stderr = sys.stderr or nowhere()
    if sys.stdout is None:
        sys.stdout = nowhere()
        return _say("standard output is closed, so nothing can be printed; open it, or send it to /dev/null", WRONG)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    if arguments is None:
        _be_quick()
    with _Presses() as presses, contextlib.redirect_stdout(GuardedOutput(sys.stdout)):
        try:
            code = _run(sys.argv[1:] if arguments is None else arguments)
            sys.stdout.flush()
        except PrintError as error:
            leave(sys.stdout)
            return _say(f"standard output cannot be written: {error}; make room, or send it elsewhere", WRONG)
        except PluginError as error:
            if error.__cause__ is None:
                return _say(str(error), WRONG)
            return _fault(str(error), error)
        except LobeworkError as error:
            for other in (error, *getattr(error, "others", ())):
                _say(str(other), WRONG)
            return WRONG
        except KeyboardInterrupt:
            return _say(_NO_MORE, STOPPED)
        except BrokenPipeError:
            leave(sys.stdout)
            return DONE
        except (MemoryError, RecursionError) as error:
            return _say(f"this job is more than the machine can hold ({type(error).__name__}); use a smaller one", WRONG)
        except BaseException as error:  # noqa: BLE001 - whatever goes wrong is said in one line; sys.exit in a plugin's part too
            if presses.lost:
                return _say(_NO_MORE, STOPPED)
            return _fault(f"a fault in {_whose(error)}: {type(error).__name__}: {_message(error)}", error)
    return code


def _message(error: BaseException) -> str:
    """Return an error's message; one whose own code fails to give it has none."""
    try:
        return str(error)
    except Exception:  # noqa: BLE001 - a plugin's error may do anything
        return "its message cannot be read"


def _fault(message: str, error: BaseException) -> int:
    """Say whose fault it is, or let Python say where, if asked."""
    if os.environ.get("LOBEWORK_TRACEBACK"):
        raise error
    return _say(f"{message}; LOBEWORK_TRACEBACK=1 shows where", FAULT)


class _Presses:
    """Notes a Ctrl-C that is lost: while numba compiles, Python is called back from where nothing can be raised."""

    def __enter__(self) -> Self:
        self.lost, self._told = False, sys.unraisablehook
        sys.unraisablehook = self._note
        return self

    def __exit__(self, *_: object) -> None:
        sys.unraisablehook = self._told

    def _note(self, untold: sys.UnraisableHookArgs) -> None:
        if isinstance(untold.exc_value, KeyboardInterrupt):
            self.lost = True
        else:
            self._told(untold)


def _be_quick() -> None:
    """Save this process what it has no use for: threads for large matrices, and a sweep of what ends with it anyway."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    atexit.register(gc.freeze)


def _whose(error: BaseException) -> str:
    """Return in whose code a fault arose: a plugin's, by its name and package, or ours."""
    from lobework.plugins import registry

    record = None
    with contextlib.suppress(Exception):
        record = registry.installed().behind(error)
    return record.title if record else "lobework itself"


def _say(message: str, code: int) -> int:
    """Print one line on stderr, whatever the message holds, and return the code."""
    line = one_line(message)
    if len(line) > _LONGEST_LINE:
        line = f"{line[: _LONGEST_LINE - 103]}...{line[-100:]}"
    try:
        print(f"{WIPE if sys.stderr.isatty() else ''}lobework: {line}", file=sys.stderr, flush=True)
    except OSError:
        leave(sys.stderr)
    return code


def _run(arguments: Sequence[str]) -> int:
    import warnings

    parser = _parser()
    if not arguments:
        parser.print_help()
        return DONE
    first = arguments[0]
    if not first.startswith("-") and first not in _COMMANDS:
        raise UsageError(f"there is no command {first!r}{nearest(first, _COMMANDS)}; commands: {', '.join(_COMMANDS)}")
    try:
        asked, rest = parser.parse_known_args(arguments)
    except SystemExit as left:
        return int(left.code or 0)
    verb: Parser = getattr(asked, "verb", parser)
    if rest or verb is parser:
        verb.refuse(rest[0] if rest else arguments[0])
    with warnings.catch_warnings():
        warnings.simplefilter("default")
        warnings.showwarning = lambda message, *_, **__: _say(f"note: {message}", 0)  # type: ignore[assignment]
        try:
            code: int = asked.act(asked)
        finally:
            _say_notes()
    return code


def _say_notes() -> None:
    """Say what is to be noted of the plugins, if any have been loaded."""
    loaded = sys.modules.get("lobework.plugins.registry")
    for note in loaded.noted() if loaded is not None else ():
        _say(f"note: {note}", DONE)


def _parser() -> Parser:
    parser = Parser(
        prog="lobework",
        description="A rose engine on paper: see a pattern, check it, set the lathe, and send the program, before wood is cut.",
        epilog="Start here: lobework new lid.toml && lobework make lid.toml",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version")
    verbs = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for name, add in _COMMANDS.items():
        add(verbs, name)
    return parser


class _Version(argparse.Action):
    """Print the version."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any, **__: Any) -> None:
        """Print and leave."""
        print(f"lobework {lobework.__version__}")
        parser.exit()


_COMMANDS: Final[Verbs] = {**jobs.VERBS, **proof.VERBS, **numbers.VERBS, **helices.VERBS, **shelf.VERBS}
