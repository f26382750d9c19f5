"""Subcommands that list or verify installed parts, or write templates of files."""

from __future__ import annotations

import argparse
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, get_args

from lobework.cli.parser import DONE, FOUND, Verbs, add_verb
from lobework.cli.writing import print_lines, progress

__all__ = ["VERBS"]


def _add_list(verbs: Any, name: str) -> None:
    add_verb(
        verbs, name, "list what is installed: cams, chucks, cutters, backends, lathes, targets, plugins", "lobework list", _list
    )


def _add_new(verbs: Any, name: str) -> None:
    message = "write a job file or a lathe file to start from, or the package of a new plugin"
    verb = add_verb(verbs, name, message, "lobework new lid.toml", _new)
    verb.usage = (
        "lobework new FILE [--overwrite]\n"
        "       lobework new lathe FILE [--overwrite]\n"
        "       lobework new plugin NAME [--kind KIND] [--into DIR] [--overwrite]"
    )
    verb.add_argument("file", metavar="FILE", help="the job file to write, such as lid.toml; or the word lathe or plugin")
    verb.add_argument(
        "name", metavar="NAME", nargs="?", help="the lathe file to write, such as my-bench.toml; or the name of the plugin"
    )
    kinds = "kind of part of the plugin: chuck (default), cam, follower, cutter, piece, backend, target or check"
    verb.add_argument("--kind", metavar="KIND", help=kinds)
    verb.add_argument("--into", metavar="DIR", type=Path, help="the folder of the package (default: ./lobework-NAME)")
    verb.add_argument("--overwrite", action="store_true", help="replace files that exist")


def _add_lathe(verbs: Any, name: str) -> None:
    message = "print the description of a lathe, or the errors of a lathe file"
    verb = add_verb(verbs, name, message, "lobework lathe rocking-bench", _lathe)
    verb.add_argument(
        "name", metavar="NAME", help="a lathe that lobework list shows, or a lathe file of yours, such as my-bench.toml"
    )


def _add_schema(verbs: Any, name: str) -> None:
    message = "print the JSON Schema of a job file, or of a lathe file, for editors"
    verb = add_verb(verbs, name, message, "lobework schema > job.schema.json", _schema)
    verb.add_argument("--of", choices=("job", "lathe"), default="job", help="the file that the schema describes (default: job)")


def _add_verify(verbs: Any, name: str) -> None:
    message = "check whether a plugin keeps every promise of the kit; exit code 1 if it breaks one"
    verb = add_verb(verbs, name, message, "lobework verify built-in", _verify)
    verb.add_argument("name", metavar="NAME", help="a plugin or package that lobework list shows")


def _list(options: argparse.Namespace) -> int:  # noqa: ARG001
    from lobework.jobs import jobfile
    from lobework.plugins import registry

    shelf = registry.installed()
    for kind in get_args(registry.PartKind):
        _print_section(f"{kind}s", {name: _first_line(part) for name, part in shelf.kinds(kind).items()})
    _print_section("backends", {name: backend.description for name, backend in shelf.backends().items()})
    _print_section("lathes", jobfile.shipped_lathes())
    _print_section("targets", {target.name: f"{target.file}: {target.description}" for target in shelf.targets().values()})
    _print_section("plugins", {record.name: f"{record.package} {record.version}" for record in shelf.loaded})
    if shelf.refused:
        _print_section(
            "plugins not loaded", {each.name: f"{each.package} {each.version}: {each.cause}" for each in shelf.refused}
        )
    return DONE


def _print_section(title: str, lines: Mapping[str, str]) -> None:
    print(title)
    for name, message in lines.items():
        print_lines([f"  {name:<14} {message}".rstrip()])


def _first_line(part: type) -> str:
    return (part.__doc__ or "").strip().partition("\n")[0]


def _new(options: argparse.Namespace) -> int:
    from lobework.files.outputs import write_files
    from lobework.jobs.jobfile import starter

    if options.file == "plugin":
        return _new_plugin(options)
    if options.file == "lathe" and not options.kind and not options.into:
        if options.name is None:
            options.verb.error("a lathe file needs a name: lobework new lathe my-bench.toml")
        path = Path(options.name)
        if path.suffix != ".toml":
            options.verb.error(f"{options.name!r} must end in .toml: in a job, a name without .toml means a built-in lathe")
        write_files({path: starter("lathe").encode()}, overwrite=options.overwrite)
        print_lines([f"wrote {path}; next: lobework lathe {path}"])
        return DONE
    for given in (options.name, "--kind" if options.kind else None, "--into" if options.into else None):
        if given is not None:
            options.verb.error(f"{given!r} is only for lobework new plugin NAME; to write a job file, use lobework new FILE")
    path = Path(options.file)
    write_files({path: starter().encode()}, overwrite=options.overwrite)
    print_lines([f"wrote {path}; next: lobework make {path}"])
    return DONE


def _new_plugin(options: argparse.Namespace) -> int:
    from shlex import quote

    from lobework.errors import OutputExistsError
    from lobework.files.outputs import write_files
    from lobework.plugins.skeleton import lay_out

    if options.name is None:
        options.verb.error("a plugin needs a name: lobework new plugin sway")
    files = lay_out(options.name, options.kind or "chuck")
    folder = options.into or Path(f"lobework-{options.name}")
    if os.path.lexists(folder) and not options.overwrite:
        raise OutputExistsError(folder)
    write_files({folder / path: content for path, content in files.items()}, overwrite=options.overwrite)
    print_lines([f"wrote {', '.join(map(str, files))} in {folder}"])
    argument = quote(os.path.join(os.curdir, folder))  # noqa: PTH118
    print_lines([f"next: python -m pip install -e {argument} && lobework verify {options.name}"])
    return DONE


def _lathe(options: argparse.Namespace) -> int:
    from lobework.jobs.jobfile import lathe_and_units
    from lobework.sheets.lathe_sheet import lathe_sheet
    from lobework.targets.text import render_groups

    lathe, units = lathe_and_units(options.name)
    print(render_groups(lathe.name, lathe_sheet(lathe, units)))
    return DONE


def _schema(options: argparse.Namespace) -> int:
    import json

    from lobework.jobs.jobfile import job_schema, lathe_schema

    print(json.dumps(job_schema() if options.of == "job" else lathe_schema(), indent=2, ensure_ascii=False))
    return DONE


def _verify(options: argparse.Namespace) -> int:
    from lobework.testing import verify

    report = verify(options.name, progress("verifying"))
    print(report)
    return DONE if report.kept else FOUND


VERBS: Final[Verbs] = {
    "list": _add_list,
    "lathe": _add_lathe,
    "new": _add_new,
    "schema": _add_schema,
    "verify": _add_verify,
}
