"""Subcommands that read a job file, and write, print or check the results."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.parser import DONE, FOUND, Verbs, add_folder, add_job, add_target, add_verb
from lobework.cli.writing import OutputError, air_of, folder_of, print_lines, progress, require_absent, save, with_job
from lobework.errors import InputError, LobeworkError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from lobework.jobs.job import Job

__all__ = ["VERBS"]


def _add_make(verbs: Any, name: str) -> None:
    message = "write every file of a job, and print the findings of the check"
    verb = add_verb(verbs, name, message, "lobework make lid.toml --into lid", _make)
    add_job(verb)
    add_folder(verb, "default: ./ and the name of the job file without .toml")


def _add_draw(verbs: Any, name: str) -> None:
    verb = add_verb(verbs, name, "write the drawing, in true size", "lobework draw lid.toml --as svg", _draw)
    add_job(verb)
    add_target(verb, "svg")
    add_folder(verb, "default: ./ and the name of the job file without .toml")


def _add_carve(verbs: Any, name: str) -> None:
    message = "carve the work, and write the result as a picture, a solid or a page"
    verb = add_verb(verbs, name, message, "lobework carve lid.toml --as relief", _carve)
    add_job(verb)
    add_target(verb, "relief")
    verb.add_argument(
        "--resolution",
        metavar="LENGTH",
        help="distance between neighbouring rays, such as '0.02 mm' (default: the resolution of the job)",
    )
    verb.add_argument("--backend", metavar="NAME", help="the backend that carves, one of those that lobework list shows")
    add_folder(verb, "default: ./ and the name of the job file without .toml")


def _add_program(verbs: Any, name: str) -> None:
    verb = add_verb(verbs, name, "write the program for the controller", "lobework program lid.toml --into lid", _program)
    add_job(verb)
    add_target(verb, "rs274")
    message = (
        "write a program for a trial in air (dry run) at this distance from the work, such as '5 mm'; its file is program-air.ngc"
    )
    verb.add_argument("--air", metavar="LENGTH", help=message)
    add_folder(verb, "default: ./ and the name of the job file without .toml")


def _add_settings(verbs: Any, name: str) -> None:
    verb = add_verb(
        verbs, name, "print the settings of the lathe and the steps in order", "lobework settings lid.toml", _settings
    )
    add_job(verb)
    add_target(verb, "text")
    add_folder(verb, "default: print the settings")


def _add_check(verbs: Any, name: str) -> None:
    message = "print the findings of the check; exit code 1 if there is a problem or a warning"
    add_job(add_verb(verbs, name, message, "lobework check lid.toml", _check))


def _make(options: argparse.Namespace) -> int:
    from lobework.checks.workpiece import body_findings, carving_findings
    from lobework.plugins import registry

    def act(job: Job) -> int:
        folder = folder_of(options)
        targets, absent, without = _writable(registry.installed().targets().values(), job)
        require_absent([folder / target.file for target in targets], overwrite=options.overwrite)
        traces = job.trace()
        found = traces.check()
        if any(target.shows == "carving" for target in targets):
            bodies = not any(body_findings(job.piece, job.cutter, traces))
            found += carving_findings(traces.carve_once(progress=progress("carving")), job.units, bodies)
        contents = {}
        for target in targets:
            try:
                contents[folder / target.file] = target.render(traces.shown(target.shows))
            except LobeworkError as error:
                without.append(f"{target.file} not written: {error}")
        save(contents, overwrite=options.overwrite)
        read, sound = _read_back(job, contents)
        print_lines([*absent, *without, *found, *read])
        if any(target.shows == "program" for target in targets):
            _print_cautions(job, silent=True)
        return DONE if sound and not without else FOUND

    return with_job(options.job, act)


def _read_back(job: Job, contents: Mapping[Path, bytes]) -> tuple[list[str], bool]:
    """Prove the program among the written files; return the lines to print, and False if the program is not proved."""
    program = next((path for path in contents if path.name == "program.ngc"), None)
    if program is None:
        return [], True
    try:
        proof = job.prove(contents[program])
    except InputError as error:
        return [f"{program.name} not proved: {error}"], False
    return [f"{program.name} {proof.summary}"], proof.proved


def _writable(targets: Any, job: Job) -> tuple[list[Any], list[str], list[str]]:
    """Return the targets that can be written for a job, and lines on the other targets.

    The first list of lines names the files that the job does not have. The second list names the files for which a package is
    not installed.
    """
    absent = {each.name: f"no {each.file}: {why}" for each in targets if (why := _why_absent(each, job))}
    without = {
        each.name: f"{each.file} not written: {lack}"
        for each in targets
        if each.name not in absent and (lack := _missing_package(each))
    }
    made = [each for each in targets if each.name not in absent | without]
    return made, list(absent.values()), list(without.values())


def _why_absent(target: Any, job: Job) -> str:
    """Return the reason why a job has no file of this target; empty if it has one."""
    if target.shows == "carving" and (why := job.uncarvable):
        return why
    if target.shows == "program" and not job.lathe.axes:
        return f"lathe {job.lathe.name!r} has no axis that a controller moves"
    return ""


def _missing_package(target: Any) -> str:
    """Return the remedy if a target needs a package that is not installed; empty otherwise."""
    from importlib.util import find_spec

    if target.needs and find_spec(target.needs[0]) is None:
        return f"a package that this target needs is not installed; run: pip install '{target.needs[1]}'"
    return ""


def _target(name: str, shows: str) -> Any:
    """Return the target with a given name, among the targets that show the result ``shows``, such as "drawing"."""
    from lobework.errors import UnknownNameError
    from lobework.plugins import registry

    fits = {each.name: each for each in registry.installed().targets().values() if each.shows == shows}
    if name not in fits:
        raise UnknownNameError(f"target for the {shows}", name, fits)
    return fits[name]


def _draw(options: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(options.target, "drawing")
        path = folder_of(options) / target.file
        require_absent([path], overwrite=options.overwrite)
        save({path: target.render(job.drawing())}, overwrite=options.overwrite)
        return DONE

    return with_job(options.job, act)


def _program(options: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(options.target, "program")
        air = air_of(options.air, job)
        path = folder_of(options) / target.file
        path = path.with_stem(f"{path.stem}-air") if air else path
        require_absent([path], overwrite=options.overwrite)
        save({path: target.render(job.program(air))}, overwrite=options.overwrite)
        _print_cautions(job, silent=target.name == "rs274")
        return DONE

    return with_job(options.job, act)


def _print_cautions(job: Job, *, silent: bool) -> None:
    """Print the cautions for running the program, as the last line."""
    from lobework.text.cautions import IN_SHORT, SILENT

    message = f"{SILENT}; " if silent and job.lathe.controller.comments == "none" else ""
    print(f"{message}{IN_SHORT}")


def _carve(options: argparse.Namespace) -> int:
    from lobework.checks.workpiece import carving_findings, carving_summary
    from lobework.render.relief.wood import material_findings

    def act(job: Job) -> int:
        target = _target(options.target, "carving")
        path = folder_of(options) / target.file
        require_absent([path], overwrite=options.overwrite)
        if not job.uncarvable and (missing := _missing_package(target)):
            raise OutputError(InputError(missing, where=f"--as {target.name}"))
        resolution = _resolution(options.resolution, job)
        carving = job.carve(resolution, backend=options.backend, progress=progress("carving"))
        found = [*carving_findings(carving, job.units), *material_findings(job.piece)]
        save({path: target.render(carving)}, overwrite=options.overwrite)
        print_lines([*carving_summary(carving, job.units), *found])
        return FOUND if any(finding.level == "problem" for finding in found) else DONE

    return with_job(options.job, act)


def _resolution(given: str | None, job: Job) -> float | None:
    """Return the resolution given on the command line, mm; raise an error if the work cannot be carved at this resolution."""
    from lobework.carve import stock_of
    from lobework.jobs.jobfile.source import with_key_and_value
    from lobework.quantities.units import length

    if given is None:
        return None
    try:
        resolution = length(given, job.units)
        if not job.uncarvable:
            stock_of(job.piece, resolution)
    except InputError as error:
        raise OutputError(with_key_and_value(error, {"resolution": given}).replaced(where="--resolution")) from None
    return resolution


def _settings(options: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(options.target, "settings")
        if options.into is None:
            print(target.render(job.settings()).decode("utf-8"), end="")
            return DONE
        path = options.into / target.file
        require_absent([path], overwrite=options.overwrite)
        save({path: target.render(job.settings())}, overwrite=options.overwrite)
        return DONE

    return with_job(options.job, act)


def _check(options: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        found = job.check()
        print_lines(found or ["no findings"])
        return FOUND if any(finding.level != "note" for finding in found) else DONE

    return with_job(options.job, act)


VERBS: Final[Verbs] = {
    "make": _add_make,
    "draw": _add_draw,
    "carve": _add_carve,
    "program": _add_program,
    "settings": _add_settings,
    "check": _add_check,
}
