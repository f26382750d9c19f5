"""The command ``lobework``: its subcommands read a job file, and write, print or check the results."""

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
from lobework.cli.streams import GuardedOutput, PrintError, discard_output, null_stream
from lobework.cli.writing import WIPE
from lobework.errors import LobeworkError, PluginError, nearest
from lobework.text.printable import one_line

__all__ = ["main"]

_STOPPED_MESSAGE: Final = "stopped; nothing more was written"
_LONGEST_LINE: Final = 600


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code.

    Parameters
    ----------
    arguments : sequence of str, optional
        Arguments after the command's name; default: the arguments of the process.

    Returns
    -------
    int
        Exit code: 0 done, 1 the check has findings, 2 the input is wrong, 70 a fault in a plugin or in lobework, 130 interrupted.

    Examples
    --------
    >>> main(["draw", "no such job.toml"])
    2
    """
    sys.stderr = sys.stderr or null_stream()
    if sys.stdout is None:
        sys.stdout = null_stream()
        return _print_error("standard output is closed, so nothing can be printed; open it, or redirect it to /dev/null", WRONG)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    if arguments is None:
        _shorten_run()
    with _LostInterrupts() as interrupts, contextlib.redirect_stdout(GuardedOutput(sys.stdout)):
        try:
            code = _run(sys.argv[1:] if arguments is None else arguments)
            sys.stdout.flush()
        except PrintError as error:
            discard_output(sys.stdout)
            return _print_error(f"standard output cannot be written: {error}; free some space, or redirect it", WRONG)
        except PluginError as error:
            if error.__cause__ is None:
                return _print_error(str(error), WRONG)
            return _report_fault(str(error), error)
        except LobeworkError as error:
            for other in (error, *getattr(error, "further_errors", ())):
                _print_error(str(other), WRONG)
            return WRONG
        except KeyboardInterrupt:
            return _print_error(_STOPPED_MESSAGE, STOPPED)
        except BrokenPipeError:
            discard_output(sys.stdout)
            return DONE
        except (MemoryError, RecursionError) as error:
            return _print_error(f"this job is too large for this machine ({type(error).__name__}); use a smaller one", WRONG)
        except BaseException as error:  # noqa: BLE001 - every error is reported in one line, sys.exit in a plugin too
            if interrupts.lost:
                return _print_error(_STOPPED_MESSAGE, STOPPED)
            return _report_fault(f"a fault in {_owner_of(error)}: {type(error).__name__}: {_message_of(error)}", error)
    return code


def _message_of(error: BaseException) -> str:
    """Return the message of an error, or a substitute if the error's own ``__str__`` fails."""
    try:
        return str(error)
    except Exception:  # noqa: BLE001 - the error class of a plugin may raise anything
        return "the message of the error cannot be read"


def _report_fault(message: str, error: BaseException) -> int:
    """Print the fault and return the exit code; if ``LOBEWORK_TRACEBACK`` is set, raise the error instead."""
    if os.environ.get("LOBEWORK_TRACEBACK"):
        raise error
    return _print_error(f"{message}; set LOBEWORK_TRACEBACK=1 to see where", FAULT)


class _LostInterrupts:
    """Record a Ctrl-C that Python drops: an exception raised in a callback while numba compiles does not propagate."""

    def __enter__(self) -> Self:
        self.lost, self._previous_hook = False, sys.unraisablehook
        sys.unraisablehook = self._record
        return self

    def __exit__(self, *_: object) -> None:
        sys.unraisablehook = self._previous_hook

    def _record(self, dropped: sys.UnraisableHookArgs) -> None:
        if isinstance(dropped.exc_value, KeyboardInterrupt):
            self.lost = True
        else:
            self._previous_hook(dropped)


def _shorten_run() -> None:
    """Skip work that a short process does not need: threads for large matrices, and garbage collection at exit."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    atexit.register(gc.freeze)


def _owner_of(error: BaseException) -> str:
    """Return the owner of the code that raised an error: the title of a plugin, or "lobework itself"."""
    from lobework.plugins import registry

    record = None
    with contextlib.suppress(Exception):
        record = registry.installed().plugin_at_fault(error)
    return record.title if record else "lobework itself"


def _print_error(message: str, code: int) -> int:
    """Print a message as one line on standard error, and return ``code``."""
    line = one_line(message)
    if len(line) > _LONGEST_LINE:
        line = f"{line[: _LONGEST_LINE - 103]}...{line[-100:]}"
    try:
        print(f"{WIPE if sys.stderr.isatty() else ''}lobework: {line}", file=sys.stderr, flush=True)
    except OSError:
        discard_output(sys.stderr)
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
        options, rest = parser.parse_known_args(arguments)
    except SystemExit as exit_request:
        return int(exit_request.code or 0)
    verb: Parser = getattr(options, "verb", parser)
    if rest or verb is parser:
        verb.refuse(rest[0] if rest else arguments[0])
    with warnings.catch_warnings():
        warnings.simplefilter("default")
        warnings.showwarning = lambda message, *_, **__: _print_error(f"note: {message}", 0)  # type: ignore[assignment]
        try:
            code: int = options.act(options)
        finally:
            _print_notes()
    return code


def _print_notes() -> None:
    """Print the notes on the loaded plugins, if any have been loaded."""
    loaded = sys.modules.get("lobework.plugins.registry")
    for note in loaded.last_load_notes() if loaded is not None else ():
        _print_error(f"note: {note}", DONE)


def _parser() -> Parser:
    parser = Parser(
        prog="lobework",
        description="A rose engine on paper: draw a pattern, check it, print the settings of the lathe, and write the program, "
        "before wood is cut.",
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
        """Print the version and exit."""
        print(f"lobework {lobework.__version__}")
        parser.exit()


_COMMANDS: Final[Verbs] = {**jobs.VERBS, **proof.VERBS, **numbers.VERBS, **helices.VERBS, **shelf.VERBS}
