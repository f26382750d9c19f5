"""Verbs that read a job and write, print or check what it asks for."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any, Final

from lobework.cli.parser import DONE, FOUND, Verbs, add_verb, takes_folder, takes_job, takes_target
from lobework.cli.writing import OutputError, air_of, folder_of, progress, refuse, save, say, with_job
from lobework.errors import InputError, LobeworkError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from lobework.jobs.job import Job

__all__ = ["VERBS"]


def _add_make(verbs: Any, name: str) -> None:
    message = "write everything for a job, and say what the check finds"
    verb = add_verb(verbs, name, message, "lobework make lid.toml --into lid", _make)
    takes_job(verb)
    takes_folder(verb, "otherwise ./ and the job file's name")


def _add_draw(verbs: Any, name: str) -> None:
    verb = add_verb(verbs, name, "write the drawing, in true size", "lobework draw lid.toml --as svg", _draw)
    takes_job(verb)
    takes_target(verb, "svg")
    takes_folder(verb, "otherwise ./ and the job file's name")


def _add_carve(verbs: Any, name: str) -> None:
    message = "carve the work, and write what is left: a picture, a solid or a page"
    verb = add_verb(verbs, name, message, "lobework carve lid.toml --as relief", _carve)
    takes_job(verb)
    takes_target(verb, "relief")
    verb.add_argument("--resolution", metavar="LENGTH", help="from ray to ray, such as '0.02 mm' (otherwise the job's)")
    verb.add_argument("--backend", metavar="NAME", help="the way of carving, of those that lobework list shows")
    takes_folder(verb, "otherwise ./ and the job file's name")


def _add_program(verbs: Any, name: str) -> None:
    verb = add_verb(verbs, name, "write the program for the controller", "lobework program lid.toml --into lid", _program)
    takes_job(verb)
    takes_target(verb, "rs274")
    message = "to try it in air: so far off the work, such as '5 mm', every other axis as it cuts; written to program-air.ngc"
    verb.add_argument("--air", metavar="LENGTH", help=message)
    takes_folder(verb, "otherwise ./ and the job file's name")


def _add_settings(verbs: Any, name: str) -> None:
    verb = add_verb(verbs, name, "print the numbers to set and the steps in order", "lobework settings lid.toml", _settings)
    takes_job(verb)
    takes_target(verb, "text")
    takes_folder(verb, "otherwise they are printed")


def _add_check(verbs: Any, name: str) -> None:
    message = "say what would go wrong; exit code 1 where something would"
    takes_job(add_verb(verbs, name, message, "lobework check lid.toml", _check))


def _make(asked: argparse.Namespace) -> int:
    from lobework.checks.workpiece import body_findings, carving_findings
    from lobework.plugins import registry

    def made(job: Job) -> int:
        folder = folder_of(asked)
        targets, absent, without = _runnable(registry.installed().targets().values(), job)
        refuse([folder / target.file for target in targets], overwrite=asked.overwrite)
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
                without.append(f"left out {target.file}: {error}")
        save(contents, overwrite=asked.overwrite)
        read, sound = _read_back(job, contents)
        say([*absent, *without, *found, *read])
        if any(target.shows == "program" for target in targets):
            _caution(job, silent=True)
        return DONE if sound and not without else FOUND

    return with_job(asked.job, made)


def _read_back(job: Job, contents: Mapping[Path, bytes]) -> tuple[list[str], bool]:
    """Return what comes of the program that was written when it is read back, in a line, and whether that is well."""
    program = next((path for path in contents if path.name == "program.ngc"), None)
    if program is None:
        return [], True
    try:
        proof = job.prove(contents[program])
    except InputError as error:
        return [f"{program.name} not proved: {error}"], False
    return [f"{program.name} {proof.summary}"], proof.proved


def _runnable(targets: Any, job: Job) -> tuple[list[Any], list[str], list[str]]:
    """Return the targets that can be written for a job here, and lines on the others.

    The first lines name the files that such a job does not have, the second those that are left out for want of something here.
    """
    absent = {each.name: f"no {each.file}: {why}" for each in targets if (why := _has_no(each, job))}
    without = {
        each.name: f"left out {each.file}: {lacks}" for each in targets if each.name not in absent and (lacks := _lacks(each))
    }
    made = [each for each in targets if each.name not in absent | without]
    return made, list(absent.values()), list(without.values())


def _has_no(target: Any, job: Job) -> str:
    """Return why a job has no such file; empty if it has one."""
    if target.shows == "carving" and (why := job.uncarvable):
        return why
    if target.shows == "program" and not job.lathe.axes:
        return f"a controller moves nothing on lathe {job.lathe.name!r}"
    return ""


def _lacks(target: Any) -> str:
    """Return what is not installed that a target needs; empty if all is there."""
    from importlib.util import find_spec

    if target.needs and find_spec(target.needs[0]) is None:
        return f"pip install '{target.needs[1]}' brings what it needs"
    return ""


def _target(name: str, shows: str) -> Any:
    """Return a target by name, if it shows what the command is for."""
    from lobework.errors import UnknownNameError
    from lobework.plugins import registry

    fits = {each.name: each for each in registry.installed().targets().values() if each.shows == shows}
    if name not in fits:
        raise UnknownNameError(f"target for the {shows}", name, fits)
    return fits[name]


def _draw(asked: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(asked.target, "drawing")
        path = folder_of(asked) / target.file
        refuse([path], overwrite=asked.overwrite)
        save({path: target.render(job.drawing())}, overwrite=asked.overwrite)
        return DONE

    return with_job(asked.job, act)


def _program(asked: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(asked.target, "program")
        air = air_of(asked.air, job)
        path = folder_of(asked) / target.file
        path = path.with_stem(f"{path.stem}-air") if air else path
        refuse([path], overwrite=asked.overwrite)
        save({path: target.render(job.program(air))}, overwrite=asked.overwrite)
        _caution(job, silent=target.name == "rs274")
        return DONE

    return with_job(asked.job, act)


def _caution(job: Job, *, silent: bool) -> None:
    """Print, in the last line before somebody goes to the lathe, what to mind there."""
    from lobework.text.cautions import IN_SHORT, SILENT

    message = f"{SILENT}; " if silent and job.lathe.controller.comments == "none" else ""
    print(f"{message}{IN_SHORT}")


def _carve(asked: argparse.Namespace) -> int:
    from lobework.checks.workpiece import carving_findings, carving_summary
    from lobework.render.relief.wood import material_findings

    def act(job: Job) -> int:
        target = _target(asked.target, "carving")
        path = folder_of(asked) / target.file
        refuse([path], overwrite=asked.overwrite)
        if not job.uncarvable and (lacks := _lacks(target)):
            raise OutputError(InputError(lacks, f"--as {target.name}"))
        resolution = _resolution(asked.resolution, job)
        carving = job.carve(resolution, backend=asked.backend, progress=progress("carving"))
        found = [*carving_findings(carving, job.units), *material_findings(job.piece)]
        save({path: target.render(carving)}, overwrite=asked.overwrite)
        say([*carving_summary(carving, job.units), *found])
        return FOUND if any(finding.level == "problem" for finding in found) else DONE

    return with_job(asked.job, act)


def _resolution(given: str | None, job: Job) -> float | None:
    """Return the resolution that the command line asks for, mm, once it is one that the work can be carved at."""
    from lobework.carve import stock_of
    from lobework.jobs.jobfile.source import pointed
    from lobework.quantities.units import length

    if given is None:
        return None
    try:
        resolution = length(given, job.units)
        if not job.uncarvable:
            stock_of(job.piece, resolution)
    except InputError as error:
        raise OutputError(pointed(error, {"resolution": given}).replaced(where="--resolution")) from None
    return resolution


def _settings(asked: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        target = _target(asked.target, "settings")
        if asked.into is None:
            print(target.render(job.settings()).decode("utf-8"), end="")
            return DONE
        path = asked.into / target.file
        refuse([path], overwrite=asked.overwrite)
        save({path: target.render(job.settings())}, overwrite=asked.overwrite)
        return DONE

    return with_job(asked.job, act)


def _check(asked: argparse.Namespace) -> int:
    def act(job: Job) -> int:
        found = job.check()
        say(found or ["nothing found"])
        return FOUND if any(finding.level != "note" for finding in found) else DONE

    return with_job(asked.job, act)


VERBS: Final[Verbs] = {
    "make": _add_make,
    "draw": _add_draw,
    "carve": _add_carve,
    "program": _add_program,
    "settings": _add_settings,
    "check": _add_check,
}
