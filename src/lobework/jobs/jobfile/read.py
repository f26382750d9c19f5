"""Read job files and lathe files into the objects that they describe."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from lobework.errors import InputError, UnknownNameError
from lobework.jobs.jobfile.source import Source, with_key_and_value, with_key_prefix, written_key
from lobework.quantities.units import LengthUnit, length

if TYPE_CHECKING:
    from lobework.jobs.job import Job
    from lobework.jobs.jobfile.tables import Context
    from lobework.jobs.jobfile.written import WrittenPass
    from lobework.lathe.lathe import Lathe
    from lobework.lathe.passes import Pass, Series
    from lobework.parts.protocols import Piece
    from lobework.quantities.fields import Measure

__all__ = [
    "job_schema",
    "lathe_and_units",
    "lathe_schema",
    "read_job",
    "read_lathe",
    "shipped_lathes",
    "starter",
    "with_file_and_line",
]

_LATHES: Final = Path(__file__).parents[2] / "lathes"
_MOST_LEVELS: Final = 12
_DRAFT: Final = {"$schema": "https://json-schema.org/draft/2020-12/schema"}


def shipped_lathes() -> dict[str, str]:
    """Return the built-in lathes by name, each with the first line of its file.

    >>> list(shipped_lathes())
    ['computed-bench', 'geared-bench', 'hand-bench', 'plain-bench', 'rocking-bench', 'sliding-bench']
    """
    return {each.stem: _first_comment(each) for each in sorted(_LATHES.glob("*.toml"))}


def _first_comment(path: Path) -> str:
    with path.open(encoding="utf-8") as file:
        return file.readline().lstrip("# ").rstrip()


def read_lathe(name: Path | str) -> Lathe:
    """Return a lathe: a built-in one by its name, or the lathe of a lathe file by the file's path.

    If the file has no ``name`` key, the lathe is named after the file.

    Raises
    ------
    UnknownNameError
        If the name is neither the name of a built-in lathe nor the path of a TOML file.
    InputError
        If the file cannot be read or is wrong; the error names the file, the line, the key, the value and the allowed values.

    Examples
    --------
    >>> read_lathe("rocking-bench").headstock.pivot_height
    250.0
    """
    return lathe_and_units(name)[0]


def lathe_and_units(name: Path | str) -> tuple[Lathe, LengthUnit]:
    """Return a lathe as `read_lathe` does, and the units of its file."""
    from lobework.jobs.jobfile.written import lathe_table

    path = Path(name)
    if str(name) in shipped_lathes():
        path = _LATHES / f"{name}.toml"
    elif path.suffix != ".toml":
        raise UnknownNameError("lathe", str(name), shipped_lathes())
    source = Source.read(path, "give the name of a built-in lathe, or the path of a lathe file")
    context = _context(source)
    try:
        return _lathe_of(lathe_table(in_file=True).read(source.holds, context), path.stem), context.units
    except InputError as error:
        raise source.with_file_and_line(with_key_and_value(error, source.holds)) from None


def read_job(path: Path | str) -> Job:
    """Return the job that a job file describes; without a ``title`` key, the title is the name of the file.

    Raises
    ------
    InputError
        If the file cannot be read or is wrong; the error names the file, the line, the key, the value and the allowed values.
    """
    from lobework.jobs.jobfile.written import job_table

    source = Source.read(path, "check the name, or start a job with: lobework new FILE")
    context = _with_screws(_context(source), source.holds.get("lathe"))
    try:
        return _job_of(job_table().read(source.holds, context), Path(path).stem, context)
    except InputError as error:
        raise source.with_file_and_line(with_key_and_value(error, source.holds)) from None


def with_file_and_line(error: InputError, path: Path | str) -> InputError:
    """Return an error of the job in the file ``path``, with the file added to the message, and the line if the key is known."""
    source = Source.read(path)
    return source.with_file_and_line(with_key_and_value(error, source.holds))


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a job file, with every installed part.

    >>> job_schema()["required"]
    ['lathe', 'piece', 'cutter', 'pass']
    """
    from lobework.jobs.jobfile.written import job_table

    return {**_DRAFT, **job_table().json_schema()}


def lathe_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a lathe file.

    >>> lathe_schema()["required"]
    ['headstock']
    """
    from lobework.jobs.jobfile.written import lathe_table

    return {**_DRAFT, **lathe_table(in_file=True).json_schema()}


def starter(of: Literal["job", "lathe"] = "job") -> str:
    """Return the text of a template for a job file, or for a lathe file.

    >>> "[[pass]]" in starter(), "[headstock]" in starter("lathe")
    (True, True)
    """
    name = {"job": "starter.toml", "lathe": "starter_lathe.toml"}[of]
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


def _context(source: Source) -> Context:
    from lobework.jobs.jobfile.tables import Context

    return Context("inch" if source.holds.get("units") == "inch" else "mm", Path(source.path).parent)


def _with_screws(context: Context, given: Any) -> Context:
    """Return a context with the screws of the job's lathe; the lathe is read when the first position in turns is read."""
    from dataclasses import replace
    from functools import cache

    from lobework.gearing.screw import Screw
    from lobework.jobs.jobfile.written import lathe_table

    @cache
    def screw(slide: str) -> Screw | None:
        if not isinstance(given, str | dict):
            return None
        try:
            read = lathe_table(in_file=False).read(given, context) if isinstance(given, dict) else given
            hand = _named_lathe(read, context).hand_axis(slide)
        except InputError as error:
            raise _flattened(error) from None
        return hand.screw if hand is not None else None

    return replace(context, screw=screw)


def _lathe_of(read: dict[str, Any], name: str) -> Lathe:
    from lobework.lathe.lathe import Lathe

    settings: dict[str, Any] = {key: read[key] for key in ("fittings", "swing", "controller") if key in read}
    settings |= {field: tuple(read[key]) for key, field in (("axis", "axes"), ("hand", "hand"), ("cam", "cams")) if key in read}
    return Lathe(name=read.get("name") or name, headstock=read["headstock"], **settings)


def _named_lathe(given: str | dict[str, Any], context: Context) -> Lathe:
    """Return the lathe that a job describes by a name, a path or a table."""
    if isinstance(given, dict):
        try:
            return _lathe_of(given, "lathe of this job")
        except InputError as error:
            raise with_key_and_value(error, given) from None
    try:
        return read_lathe(context.folder / given if given.endswith(".toml") else given)
    except UnknownNameError as error:
        raise InputError(error.message, remedy="or write the path of a lathe file, which ends in .toml") from None
    except InputError as error:
        raise _flattened(error) from None


def _flattened(error: InputError) -> InputError:
    """Return the error of another file, with the location of the error moved into the message."""
    return type(error)(str(error))


def _job_of(read: dict[str, Any], name: str, context: Context) -> Job:
    from dataclasses import replace

    from lobework.jobs.job import Job

    try:
        machine = _named_lathe(read["lathe"], context)
    except InputError as error:
        raise with_key_prefix(error, "lathe") from None
    machine = replace(machine, chucks=tuple(read.get("chuck", ())))
    written = [_with_template(each, read["piece"], f"pass[{number}]") for number, each in enumerate(read["pass"], 1)]
    passes = tuple(_with_series(each, machine, context.units, f"pass[{number}]") for number, each in enumerate(written, 1))
    settings: dict[str, Any] = {key: read[key] for key in ("units", "chord", "resolution", "piece", "cutter") if key in read}
    if "program" in read:
        settings["feeds"] = read["program"]
    return Job(title=read.get("title") or name, lathe=machine, passes=passes, **settings)


def _with_template(written: WrittenPass, piece: Piece, where: str) -> WrittenPass:
    """Return a pass; if the pass follows the side of the work, that side becomes its template."""
    from dataclasses import replace

    from lobework.parts.template import template_of

    if written.follows is None:
        return written
    try:
        template = template_of(piece, written.follows.start, written.follows.end, written.follows.rubber)
    except InputError as error:
        raise with_key_prefix(error, f"{where}.template") from None
    try:
        return replace(written, passed=replace(written.passed, template=template), follows=None)
    except InputError as error:
        raise with_key_prefix(with_key_and_value(error, {"travel": "given", "arc": "given"}), where) from None


def _with_series(written: WrittenPass, machine: Lathe, units: LengthUnit, where: str) -> Pass | Series:
    """Return a pass with the series that repeat it; bare lengths in the steps of the series are converted to mm."""
    from lobework.jobs.job import require_cut_count

    item: Pass | Series = written.passed
    if len(written.repeats) > _MOST_LEVELS:
        problem = f"{len(written.repeats)} nested series"
        raise InputError(problem, f"{where}.series", remedy=f"at most {_MOST_LEVELS}")
    for settings, place in written.repeats:
        try:
            each = _checked_steps(settings.get("each", {}), written.passed, machine, units)
            item = item.series(settings["count"], each, name=settings.get("name", ""))
            require_cut_count(math.prod(level.count for level in item.levels()))
        except InputError as error:
            raise with_key_prefix(with_key_and_value(error, settings), f"{where}.series{place}") from None
    return item


def _checked_steps(each: dict[str, Any], of: Pass, machine: Lathe, units: LengthUnit) -> dict[str, Any]:
    """Return the steps of a series after checking them; bare lengths are converted to mm."""
    from lobework.lathe.passes import step_measure, step_targets

    found = {}
    for setting, given in each.items():
        try:
            marks = [step_measure(full, of, machine) for full in step_targets(setting, of, machine)]
            found[setting] = _checked_step(given, marks, units)
        except InputError as error:
            raise error.replaced(where=f"each.{_step_key(setting)}") from None
    return found


def _checked_step(given: Any, marks: list[Measure | None], units: LengthUnit) -> Any:
    """Return a step after checking it for all settings that the step changes; a bare length is converted to mm."""
    from lobework.jobs.jobfile.tables import quantity
    from lobework.quantities.units import ratio

    for mark in marks:
        if mark is None:
            quantity(ratio, given, "a number such as 0.5")
        else:
            quantity(mark.read, given, mark.description)
    bare = not isinstance(given, str) and any(mark is not None and mark.takes_bare for mark in marks)
    return length(given, units) if bare else given


def _step_key(setting: str) -> str:
    owner, _, name = setting.rpartition(".")
    return f"{written_key(owner)}.{name}" if owner else setting
