"""The command ``lobework``: verbs that read a job file and write, print or check what it asks for."""

from __future__ import annotations

import argparse
import atexit
import gc
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn, Self, get_args

from lobework.errors import InputError, LobeworkError, PluginError, nearest

if TYPE_CHECKING:
    from lobework.job import Job

__all__ = ["main"]

_DONE: Final = 0
_FOUND: Final = 1
_WRONG: Final = 2
_FAULT: Final = 70
_STOPPED: Final = 130
_NO_MORE: Final = "stopped; nothing more was written"
_LONGEST_LINE: Final = 600
_WIPE: Final = "\r" + " " * 24 + "\r"
"""Over what a terminal shows of long work."""


class _UsageError(LobeworkError):
    """A command line that cannot be understood."""


class _Parser(argparse.ArgumentParser):
    """Complains in one line."""

    def error(self, message: str) -> NoReturn:
        """Raise `_UsageError` with the message and where to read on."""
        raise _UsageError(f"{message}; see {self.prog} --help")

    def refuse(self, given: str) -> NoReturn:
        """Raise `_UsageError` for what nothing answers to."""
        options = [each for action in self._actions for each in action.option_strings]
        self.error(f"{given!r} is not understood here{nearest(given, options)}")


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
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    if arguments is None:
        _be_quick()
    with _Presses() as presses:
        try:
            code = _run(sys.argv[1:] if arguments is None else arguments)
            sys.stdout.flush()
        except PluginError as error:
            if error.__cause__ is None:
                return _say(str(error), _WRONG)
            return _fault(str(error), error)
        except LobeworkError as error:
            return _say(str(error), _WRONG)
        except KeyboardInterrupt:
            return _say(_NO_MORE, _STOPPED)
        except BrokenPipeError:
            _leave_pipe()
            return _DONE
        except (MemoryError, RecursionError) as error:
            return _say(f"this job is more than the machine can hold ({type(error).__name__}); use a smaller one", _WRONG)
        except Exception as error:  # noqa: BLE001 - whatever goes wrong is said in one line
            if presses.lost:
                return _say(_NO_MORE, _STOPPED)
            return _fault(f"a fault in {_whose(error)}: {type(error).__name__}: {error}", error)
    return code


def _fault(says: str, error: Exception) -> int:
    """Say whose fault it is, or let Python say where, if asked."""
    if os.environ.get("LOBEWORK_TRACEBACK"):
        raise error
    return _say(f"{says}; LOBEWORK_TRACEBACK=1 shows where", _FAULT)


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


def _whose(error: Exception) -> str:
    """Return in whose code a fault arose: a plugin's, by its name and package, or ours."""
    import contextlib

    from lobework import plugins

    record = None
    with contextlib.suppress(Exception):
        record = plugins.installed().behind(error)
    return record.title if record else "lobework itself"


def _say(message: str, code: int) -> int:
    """Print one line on stderr, whatever the message holds, and return the code."""
    line = "".join(each if each.isprintable() else " " for each in " ".join(message.split()))
    if len(line) > _LONGEST_LINE:
        line = f"{line[: _LONGEST_LINE - 103]}...{line[-100:]}"
    try:
        print(f"{_WIPE if sys.stderr.isatty() else ''}lobework: {line}", file=sys.stderr, flush=True)
    except BrokenPipeError:
        _leave_pipe()
    return code


def _leave_pipe() -> None:
    """Let whatever is still unwritten go nowhere: who was reading has left."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())


def _run(arguments: Sequence[str]) -> int:
    import warnings

    parser = _parser()
    if not arguments:
        parser.print_help()
        return _DONE
    first = arguments[0]
    if not first.startswith("-") and first not in _COMMANDS:
        raise _UsageError(f"there is no command {first!r}{nearest(first, _COMMANDS)}; commands: {', '.join(_COMMANDS)}")
    try:
        asked, rest = parser.parse_known_args(arguments)
    except SystemExit as left:
        return int(left.code or 0)
    verb: _Parser = getattr(asked, "verb", parser)
    if rest or verb is parser:
        verb.refuse(rest[0] if rest else arguments[0])
    with warnings.catch_warnings():
        warnings.simplefilter("default")
        warnings.showwarning = lambda message, *_, **__: _say(f"note: {message}", 0)  # type: ignore[assignment]
        code: int = asked.act(asked)
    return code


def _parser() -> _Parser:
    parser = _Parser(
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
    """Prints the installed version; looked up only when asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any, **__: Any) -> None:
        """Print and leave."""
        from importlib import metadata

        print(f"lobework {metadata.version('lobework')}")
        parser.exit()


def _verb(verbs: Any, name: str, says: str, example: str, act: Callable[[argparse.Namespace], int]) -> _Parser:
    verb: _Parser = verbs.add_parser(
        name, help=says, description=f"{says[0].upper()}{says[1:]}.", epilog=f"Try: {example}", allow_abbrev=False
    )
    verb.set_defaults(act=act, verb=verb)
    return verb


def _takes_job(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("job", metavar="JOB", help="a job file, such as lid.toml")


def _takes_folder(verb: argparse.ArgumentParser, otherwise: str) -> None:
    verb.add_argument("--into", metavar="DIR", type=Path, help=f"the folder to write in, made if need be ({otherwise})")
    verb.add_argument("--overwrite", action="store_true", help="replace files that exist")


def _takes_target(verb: argparse.ArgumentParser, default: str) -> None:
    says = f"what to write, of those that lobework list shows ({default} unless given)"
    verb.add_argument("--as", dest="target", metavar="TARGET", default=default, help=says)


def _add_make(verbs: Any, name: str) -> None:
    says = "write everything for a job, and say what the check finds"
    verb = _verb(verbs, name, says, "lobework make lid.toml --into lid", _make)
    _takes_job(verb)
    _takes_folder(verb, "otherwise ./ and the job file's name")


def _add_draw(verbs: Any, name: str) -> None:
    verb = _verb(verbs, name, "write the drawing, in true size", "lobework draw lid.toml --as svg", _write("drawing"))
    _takes_job(verb)
    _takes_target(verb, "svg")
    _takes_folder(verb, "otherwise ./ and the job file's name")


def _add_carve(verbs: Any, name: str) -> None:
    says = "carve the work, and write what is left: a picture, a solid or a page"
    verb = _verb(verbs, name, says, "lobework carve lid.toml --as relief", _carve)
    _takes_job(verb)
    _takes_target(verb, "relief")
    verb.add_argument("--resolution", metavar="LENGTH", help="from ray to ray, such as '0.02 mm' (otherwise the job's)")
    verb.add_argument("--backend", metavar="NAME", help="the way of carving, of those that lobework list shows")
    _takes_folder(verb, "otherwise ./ and the job file's name")


def _add_program(verbs: Any, name: str) -> None:
    verb = _verb(verbs, name, "write the program for the controller", "lobework program lid.toml --into lid", _write("program"))
    _takes_job(verb)
    _takes_target(verb, "rs274")
    _takes_folder(verb, "otherwise ./ and the job file's name")


def _add_settings(verbs: Any, name: str) -> None:
    verb = _verb(verbs, name, "print the numbers to set and the steps in order", "lobework settings lid.toml", _settings)
    _takes_job(verb)
    _takes_target(verb, "text")
    _takes_folder(verb, "otherwise they are printed")


def _add_check(verbs: Any, name: str) -> None:
    says = "say what would go wrong; exit code 1 where something would"
    _takes_job(_verb(verbs, name, says, "lobework check lid.toml", _check))


def _add_list(verbs: Any, name: str) -> None:
    _verb(
        verbs, name, "list what is installed: cams, chucks, cutters, backends, lathes, targets, plugins", "lobework list", _list
    )


def _add_new(verbs: Any, name: str) -> None:
    says = "write a job file to start from, or lay out a package for a plugin of your own"
    verb = _verb(verbs, name, says, "lobework new lid.toml", _new)
    verb.usage = "lobework new FILE [--overwrite]\n       lobework new plugin NAME [--kind KIND] [--into DIR] [--overwrite]"
    verb.add_argument("file", metavar="FILE", help="the job file to write, such as lid.toml; or the word plugin")
    verb.add_argument("name", metavar="NAME", nargs="?", help="the plugin to lay out, such as sway")
    brings = "what the plugin brings: chuck (unless given), cam, follower, cutter, piece, backend, target or check"
    verb.add_argument("--kind", metavar="KIND", help=brings)
    verb.add_argument("--into", metavar="DIR", type=Path, help="the folder to lay it out in (otherwise ./lobework-NAME)")
    verb.add_argument("--overwrite", action="store_true", help="replace files that exist")


def _add_schema(verbs: Any, name: str) -> None:
    _verb(verbs, name, "print the JSON Schema of a job file, for editors", "lobework schema > job.schema.json", _schema)


def _add_verify(verbs: Any, name: str) -> None:
    says = "hold a plugin to every promise of the kit; exit code 1 where one is broken"
    verb = _verb(verbs, name, says, "lobework verify built-in", _verify)
    verb.add_argument("name", metavar="NAME", help="a plugin or package that lobework list shows")


_COMMANDS: Final[dict[str, Callable[[Any, str], None]]] = {
    "make": _add_make,
    "draw": _add_draw,
    "carve": _add_carve,
    "program": _add_program,
    "settings": _add_settings,
    "check": _add_check,
    "list": _add_list,
    "new": _add_new,
    "schema": _add_schema,
    "verify": _add_verify,
}


def _with_job(path: str, act: Callable[[Job], int]) -> int:
    """Do something with a job; a complaint that comes up on the way names the job file."""
    from lobework.jobfile import placed, read_job

    job = read_job(path)
    try:
        return act(job)
    except _OutputError as error:
        raise error.cause from None
    except InputError as error:
        raise placed(error, path) from None


class _OutputError(Exception):
    """A complaint about what is written, not about the job."""

    def __init__(self, cause: LobeworkError) -> None:
        self.cause = cause


def _folder(asked: argparse.Namespace) -> Path:
    return asked.into if asked.into is not None else Path(Path(asked.job).stem)


def _saved(contents: dict[Path, bytes], *, overwrite: bool) -> None:
    from lobework.outputs import write_files

    try:
        write_files(contents, overwrite=overwrite)
    except LobeworkError as error:
        raise _OutputError(error) from None
    for path in contents:
        print(f"wrote {path}")


def _refuse(paths: Sequence[Path], *, overwrite: bool) -> None:
    from lobework.outputs import refuse_existing

    try:
        refuse_existing(paths, overwrite=overwrite)
    except LobeworkError as error:
        raise _OutputError(error) from None


def _make(asked: argparse.Namespace) -> int:
    from lobework import plugins
    from lobework.work import carving_findings

    def made(job: Job) -> int:
        folder = _folder(asked)
        targets, without = _runnable(plugins.installed().targets().values(), job)
        _refuse([folder / target.file for target in targets], overwrite=asked.overwrite)
        traces = job.trace()
        found = traces.check()
        if any(target.shows == "carving" for target in targets):
            found += carving_findings(traces.carve_once(progress=_progress("carving")))
        contents = {}
        for target in targets:
            try:
                contents[folder / target.file] = target.render(traces.shown(target.shows))
            except LobeworkError as error:
                without.append(f"left out {target.file}: {error}")
        _saved(contents, overwrite=asked.overwrite)
        for line in [*without, *found]:
            print(line)
        return _DONE if len(contents) == len(targets) else _FOUND

    return _with_job(asked.job, made)


def _runnable(targets: Any, job: Job) -> tuple[list[Any], list[str]]:
    """Return the targets that can be written for a job here, and a line for each that cannot, with what it lacks."""
    without = {each.name: f"left out {each.file}: {lacks}" for each in targets if (lacks := _lacks(each, job))}
    return [each for each in targets if each.name not in without], list(without.values())


def _lacks(target: Any, job: Job) -> str:
    from importlib.util import find_spec

    if target.shows == "carving" and (why := job.uncarvable):
        return why
    if target.needs and find_spec(target.needs[0]) is None:
        return f"pip install '{target.needs[1]}' brings what it needs"
    return ""


def _progress(doing: str) -> Callable[[float], None] | None:
    """Return what shows on a terminal how far long work has come, in one line that is wiped at the end."""
    if not sys.stderr.isatty():
        return None

    def show(part: float) -> None:
        print(f"\r{doing} {part:4.0%}" if part < 1 else _WIPE, end="", file=sys.stderr, flush=True)

    return show


def _target(name: str, shows: str) -> Any:
    """Return a target by name, if it shows what the command is for."""
    from lobework import plugins
    from lobework.errors import UnknownNameError

    fits = {each.name: each for each in plugins.installed().targets().values() if each.shows == shows}
    if name not in fits:
        raise UnknownNameError(f"target for the {shows}", name, fits)
    return fits[name]


def _write(shows: str) -> Callable[[argparse.Namespace], int]:
    """Return a command that writes the file of one target."""

    def written(asked: argparse.Namespace) -> int:
        def act(job: Job) -> int:
            target = _target(asked.target, shows)
            path = _folder(asked) / target.file
            _refuse([path], overwrite=asked.overwrite)
            shown = job.drawing() if shows == "drawing" else job.program()
            _saved({path: target.render(shown)}, overwrite=asked.overwrite)
            return _DONE

        return _with_job(asked.job, act)

    return written


def _carve(asked: argparse.Namespace) -> int:
    from lobework.work import carving_findings, carving_summary

    def act(job: Job) -> int:
        target = _target(asked.target, "carving")
        path = _folder(asked) / target.file
        _refuse([path], overwrite=asked.overwrite)
        if (lacks := _lacks(target, job)) and not job.uncarvable:
            raise _OutputError(InputError(lacks, f"--as {target.name}"))
        resolution = _resolution(asked.resolution, job)
        carving = job.carve(resolution, backend=asked.backend, progress=_progress("carving"))
        found = carving_findings(carving)
        _saved({path: target.render(carving)}, overwrite=asked.overwrite)
        for line in [*carving_summary(carving, job.units), *found]:
            print(line)
        return _FOUND if any(finding.level == "problem" for finding in found) else _DONE

    return _with_job(asked.job, act)


def _resolution(given: str | None, job: Job) -> float | None:
    """Return the resolution that the command line asks for, mm, once it is one that the work can be carved at."""
    from lobework.carve import stock_of
    from lobework.jobfile.source import pointed
    from lobework.units import length

    if given is None:
        return None
    try:
        resolution = length(given, job.units)
        if not job.uncarvable:
            stock_of(job.piece, resolution)
    except InputError as error:
        says = pointed(error, {"resolution": given}).says
        raise _OutputError(type(error)(says, "--resolution")) from None
    return resolution


def _settings(asked: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(asked.target, "settings")
        if asked.into is None:
            print(target.render(job.settings()).decode("utf-8"), end="")
            return _DONE
        path = asked.into / target.file
        _refuse([path], overwrite=asked.overwrite)
        _saved({path: target.render(job.settings())}, overwrite=asked.overwrite)
        return _DONE

    return _with_job(asked.job, act)


def _check(asked: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        found = job.check()
        for finding in found:
            print(finding)
        if not found:
            print("nothing found")
        return _FOUND if any(finding.level != "note" for finding in found) else _DONE

    return _with_job(asked.job, act)


def _list(asked: argparse.Namespace) -> int:  # noqa: ARG001
    from lobework import jobfile, plugins

    shelf = plugins.installed()
    for kind in get_args(plugins.PartKind):
        _print_section(f"{kind}s", {name: _first_line(part) for name, part in shelf.kinds(kind).items()})
    _print_section("backends", {name: backend.says for name, backend in shelf.backends().items()})
    _print_section("lathes", jobfile.shipped_lathes())
    _print_section("targets", {target.name: f"{target.file}: {target.says}" for target in shelf.targets().values()})
    _print_section("plugins", {record.name: f"{record.package} {record.version}" for record in shelf.loaded})
    if shelf.refused:
        _print_section("plugins left out", {each.name: f"{each.package} {each.version}: {each.cause}" for each in shelf.refused})
    return _DONE


def _print_section(title: str, lines: Mapping[str, str]) -> None:
    print(title)
    for name, says in lines.items():
        print(f"  {name:<14} {says}".rstrip())


def _first_line(part: type) -> str:
    return (part.__doc__ or "").strip().partition("\n")[0]


def _new(asked: argparse.Namespace) -> int:
    from lobework.jobfile import starter
    from lobework.outputs import write_files

    if asked.file == "plugin":
        return _new_plugin(asked)
    for given in (asked.name, "--kind" if asked.kind else None, "--into" if asked.into else None):
        if given is not None:
            asked.verb.error(f"{given!r} belongs to lobework new plugin NAME; a job file is written by lobework new FILE alone")
    path = Path(asked.file)
    write_files({path: starter().encode()}, overwrite=asked.overwrite)
    print(f"wrote {path}; next: lobework make {path}")
    return _DONE


def _new_plugin(asked: argparse.Namespace) -> int:
    from shlex import quote

    from lobework.errors import OutputExistsError
    from lobework.outputs import write_files
    from lobework.skeleton import lay_out

    if asked.name is None:
        asked.verb.error("a plugin wants a name: lobework new plugin sway")
    files = lay_out(asked.name, asked.kind or "chuck")
    folder = asked.into or Path(f"lobework-{asked.name}")
    if os.path.lexists(folder) and not asked.overwrite:
        raise OutputExistsError(folder)
    write_files({folder / path: content for path, content in files.items()}, overwrite=asked.overwrite)
    print(f"wrote {', '.join(map(str, files))} in {folder}")
    print(f"next: python -m pip install {quote(os.path.join(os.curdir, folder))} && lobework verify {asked.name}")  # noqa: PTH118
    return _DONE


def _schema(asked: argparse.Namespace) -> int:  # noqa: ARG001
    import json

    from lobework.jobfile import job_schema

    print(json.dumps(job_schema(), indent=2, ensure_ascii=False))
    return _DONE


def _verify(asked: argparse.Namespace) -> int:
    from lobework.testing import verify

    report = verify(asked.name, _progress("verifying"))
    print(report)
    return _DONE if report.kept else _FOUND
