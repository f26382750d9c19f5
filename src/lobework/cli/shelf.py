"""Verbs on what is installed, and on what there is to start from."""

from __future__ import annotations

import argparse
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, get_args

from lobework.cli.parser import DONE, FOUND, Verbs, add_verb
from lobework.cli.writing import progress, say

__all__ = ["VERBS"]


def _add_list(verbs: Any, name: str) -> None:
    add_verb(
        verbs, name, "list what is installed: cams, chucks, cutters, backends, lathes, targets, plugins", "lobework list", _list
    )


def _add_new(verbs: Any, name: str) -> None:
    message = "write a job file or a lathe file to start from, or lay out a package for a plugin of your own"
    verb = add_verb(verbs, name, message, "lobework new lid.toml", _new)
    verb.usage = (
        "lobework new FILE [--overwrite]\n"
        "       lobework new lathe FILE [--overwrite]\n"
        "       lobework new plugin NAME [--kind KIND] [--into DIR] [--overwrite]"
    )
    verb.add_argument("file", metavar="FILE", help="the job file to write, such as lid.toml; or the word lathe, or plugin")
    verb.add_argument("name", metavar="NAME", nargs="?", help="the lathe file to write, such as my-bench.toml; the plugin's name")
    brings = "what the plugin brings: chuck (unless given), cam, follower, cutter, piece, backend, target or check"
    verb.add_argument("--kind", metavar="KIND", help=brings)
    verb.add_argument("--into", metavar="DIR", type=Path, help="the folder to lay it out in (otherwise ./lobework-NAME)")
    verb.add_argument("--overwrite", action="store_true", help="replace files that exist")


def _add_lathe(verbs: Any, name: str) -> None:
    message = "print all that is known of a lathe in plain words, and say what is wrong with a lathe file"
    verb = add_verb(verbs, name, message, "lobework lathe rocking-bench", _lathe)
    verb.add_argument(
        "name", metavar="NAME", help="a lathe that lobework list shows, or a lathe file of yours, such as my-bench.toml"
    )


def _add_schema(verbs: Any, name: str) -> None:
    message = "print the JSON Schema of a job file, or of a lathe file, for editors"
    verb = add_verb(verbs, name, message, "lobework schema > job.schema.json", _schema)
    verb.add_argument("--of", choices=("job", "lathe"), default="job", help="whose: that of a job file unless given")


def _add_verify(verbs: Any, name: str) -> None:
    message = "hold a plugin to every promise of the kit; exit code 1 where one is broken"
    verb = add_verb(verbs, name, message, "lobework verify built-in", _verify)
    verb.add_argument("name", metavar="NAME", help="a plugin or package that lobework list shows")


def _list(asked: argparse.Namespace) -> int:  # noqa: ARG001
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
        _print_section("plugins left out", {each.name: f"{each.package} {each.version}: {each.cause}" for each in shelf.refused})
    return DONE


def _print_section(title: str, lines: Mapping[str, str]) -> None:
    print(title)
    for name, message in lines.items():
        say([f"  {name:<14} {message}".rstrip()])


def _first_line(part: type) -> str:
    return (part.__doc__ or "").strip().partition("\n")[0]


def _new(asked: argparse.Namespace) -> int:
    from lobework.files.outputs import write_files
    from lobework.jobs.jobfile import starter

    if asked.file == "plugin":
        return _new_plugin(asked)
    if asked.file == "lathe" and not asked.kind and not asked.into:
        if asked.name is None:
            asked.verb.error("a lathe file wants a name: lobework new lathe my-bench.toml")
        path = Path(asked.name)
        if path.suffix != ".toml":
            asked.verb.error(f"{asked.name!r} must end in .toml, as jobs tell a lathe file from a lathe that ships")
        write_files({path: starter("lathe").encode()}, overwrite=asked.overwrite)
        say([f"wrote {path}; next: lobework lathe {path}"])
        return DONE
    for given in (asked.name, "--kind" if asked.kind else None, "--into" if asked.into else None):
        if given is not None:
            asked.verb.error(f"{given!r} belongs to lobework new plugin NAME; a job file is written by lobework new FILE alone")
    path = Path(asked.file)
    write_files({path: starter().encode()}, overwrite=asked.overwrite)
    say([f"wrote {path}; next: lobework make {path}"])
    return DONE


def _new_plugin(asked: argparse.Namespace) -> int:
    from shlex import quote

    from lobework.errors import OutputExistsError
    from lobework.files.outputs import write_files
    from lobework.plugins.skeleton import lay_out

    if asked.name is None:
        asked.verb.error("a plugin wants a name: lobework new plugin sway")
    files = lay_out(asked.name, asked.kind or "chuck")
    folder = asked.into or Path(f"lobework-{asked.name}")
    if os.path.lexists(folder) and not asked.overwrite:
        raise OutputExistsError(folder)
    write_files({folder / path: content for path, content in files.items()}, overwrite=asked.overwrite)
    say([f"wrote {', '.join(map(str, files))} in {folder}"])
    beside = quote(os.path.join(os.curdir, folder))  # noqa: PTH118
    say([f"next: python -m pip install -e {beside} && lobework verify {asked.name}"])
    return DONE


def _lathe(asked: argparse.Namespace) -> int:
    from lobework.jobs.jobfile import lathe_and_units
    from lobework.sheets.lathe_sheet import lathe_sheet
    from lobework.targets.text import render_groups

    lathe, units = lathe_and_units(asked.name)
    print(render_groups(lathe.name, lathe_sheet(lathe, units)))
    return DONE


def _schema(asked: argparse.Namespace) -> int:
    import json

    from lobework.jobs.jobfile import job_schema, lathe_schema

    print(json.dumps(job_schema() if asked.of == "job" else lathe_schema(), indent=2, ensure_ascii=False))
    return DONE


def _verify(asked: argparse.Namespace) -> int:
    from lobework.testing import verify

    report = verify(asked.name, progress("verifying"))
    print(report)
    return DONE if report.kept else FOUND


VERBS: Final[Verbs] = {
    "list": _add_list,
    "lathe": _add_lathe,
    "new": _add_new,
    "schema": _add_schema,
    "verify": _add_verify,
}
