"""The promises of every target."""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import replace
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final, get_args

import numpy as np

from lobework.geometry.surface import Face
from lobework.lathe.passes import Pass
from lobework.parts.slide import At
from lobework.plugins.validation import name_of
from lobework.program.program import Feed, Program, Rapid, Timed
from lobework.targets.target import Shows
from lobework.testing.compare import Broken, assert_close
from lobework.testing.jobs import JOBS, traced
from lobework.testing.promise import Unjudged, promised
from lobework.testing.snapshots import Snapshot

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lobework.carve import Carving
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.plugins.sample import Sample
    from lobework.quantities.units import LengthUnit
    from lobework.render.drawing import Drawing
    from lobework.targets import Target

__all__ = ["ready"]

_SIZE_MM: Final = 0.03
"""Tolerance of the size of the content of a file, mm; it is larger than one step of a plotter."""
_LINE_MM: Final = 0.05
"""Tolerance of the position of a line in a file, mm, after the content of the file has been centred on the lines of the job."""
_PAIRS_PER_BATCH: Final = 2**19
_UNITS: Final[tuple[LengthUnit, ...]] = ("mm", "inch")


def ready(target: Target) -> Target:
    """Return the target; raise `Unjudged` if a package that the target needs is not installed."""
    if target.needs and find_spec(target.needs[0]) is None:
        raise Unjudged(f"{target.needs[0]} is not installed here; run: pip install '{target.needs[1]}'")
    return target


def _cases(target: Target) -> list[tuple[str, LengthUnit]]:
    """Return the name of every job with every unit to test; a target that shows a carving is tested in mm only."""
    return [(name, units) for name in JOBS for units in _UNITS if units == "mm" or target.shows != "carving"]


@functools.cache
def _rendered(target: Target, name: str, units: LengthUnit) -> tuple[bytes, Broken | None, int]:
    """Return the file that a target renders for a job, with the result of the test that the target does not change its input.

    The result is the error if the target changed its input, otherwise None, and the number of compared values.
    """
    traces = traced(name, units) if target.shows == "carving" else replace(JOBS[name], units=units).trace()
    shown = traces.shown(target.shows)
    before = Snapshot(shown)
    file = _bytes(target, shown, f"{name}, in {units}")
    try:
        return file, None, before.assert_unchanged(f"{name}, in {units}: it")
    except Broken as changed:
        return file, changed, 0


def _bytes(target: Target, shown: Any, name: str) -> bytes:
    file = target.render(shown)
    if not isinstance(file, bytes):
        raise Broken(f"{name}: render returned {type(file).__name__} instead of the file's bytes")
    if not file:
        raise Broken(f"{name}: the file is empty")
    return file


@promised(
    "target",
    "writes a whole file",
    "For each job, in mm and in inches, render returns the bytes of one file; the target has a plain file name.",
)
def _whole(sample: Sample) -> int:
    target = ready(sample.part)
    name_of("target", target)
    return sum(bool(_rendered(target, *each)[0]) for each in _cases(target))


@promised(
    "target",
    "writes the same file again",
    "If a job is computed again, the file has the same bytes: no date, no random numbers, and nothing from other jobs.",
)
def _same_again(sample: Sample) -> int:
    target = ready(sample.part)
    first = {name: _rendered(target, name, "mm")[0] for name in JOBS}
    for name in ("one ring",) if target.shows == "carving" else JOBS:
        if _bytes(target, JOBS[name].trace().shown(target.shows), name) != first[name]:
            raise Broken(f"{name}: the same job gives a different file the second time")
    return len(first)


@promised(
    "target",
    "writes different files for different jobs",
    "Different jobs give different files, and a job with a moved cut gives another file than the original job.",
)
def _shows(sample: Sample) -> int:
    target = ready(sample.part)
    files = {name: _rendered(target, name, "mm")[0] for name in JOBS}
    moved = replace(JOBS["one ring"], passes=(Pass(name="ring", at=At(x=7.0, depth=0.4)),))
    files["one ring, moved"] = _bytes(target, moved.trace().shown(target.shows), "one ring, moved")
    for (one, a), (other, b) in itertools.combinations(files.items(), 2):
        if a == b:
            raise Broken(f"{one!r} and {other!r} give the same file")
    return len(files)


@promised("target", "does not change its input", "The target does not change the object that it renders.")
def _leaves_alone(sample: Sample) -> int:
    target, cases = ready(sample.part), 0
    for each in _cases(target):
        _, changed, looked_at = _rendered(target, *each)
        if changed is not None:
            raise changed
        cases += looked_at
    return cases


@promised(
    "target",
    "refuses what it does not show",
    "The function render raises an error for an object of another kind than the attribute shows states.",
)
def _refuses(sample: Sample) -> int:
    target, cases = ready(sample.part), 0
    for other in get_args(Shows):
        if other != target.shows:
            shown = traced("one ring").shown(other)
            try:
                given = target.render(shown)
            except Exception:  # noqa: BLE001  (any error refuses the object)
                cases += 1
                continue
            raise Broken(f"the target shows the {target.shows}, but given the {other} instead it writes {len(given)} bytes")
    return cases


def _path(step: Any, place: dict[str, float]) -> Iterator[dict[str, float]]:
    """Yield the positions of the slides in one step of a program, and update ``place`` to the last of these positions."""
    if isinstance(step, Rapid | Feed):
        place.update(step.to)
        yield dict(place)
    elif isinstance(step, Timed):
        for row in step.places.tolist():
            place.update(zip(step.letters, row, strict=True))
            yield dict(place)


def _of_program(program: Program) -> list[Array]:
    """Return the path of the slides, (n, 3) mm; an axis that the program does not move is at zero."""
    place: dict[str, float] = {}
    steps = [step for section in program.sections for step in section.steps]
    every = [each for step in steps for each in _path(step, place)]
    return [np.array([[each.get(letter, 0.0) for letter in "XYZ"] for each in every])]


def _of_axes(traces: Sequence[Trace]) -> list[Array]:
    return [np.stack([each.x, each.y, each.z], axis=-1) for each in traces]


def _of_drawing(sheet: Drawing) -> list[Array]:
    strokes = ((stroke.points, stroke.closed) for stroke in sheet.strokes)
    return [np.concatenate([points, points[:1]]) if closed else points for points, closed in strokes]


def _of_carving(carving: Carving) -> list[Array]:
    """Return two opposite corners of the bounding box of the work."""
    surface = carving.stock.surface
    if isinstance(surface, Face):
        return [np.array([[-surface.radius, -surface.radius, -surface.thickness], [surface.radius, surface.radius, 0.0]])]
    profile = surface.profile(np.linspace(0.0, surface.length, 1025))
    widest = float(profile[:, 0].max())
    return [np.array([[-widest, -widest, profile[:, 1].min()], [widest, widest, profile[:, 1].max()]])]


_LINES_OF: Final[dict[str, Any]] = {"drawing": _of_drawing, "axes": _of_axes, "program": _of_program, "carving": _of_carving}


def _with_midpoints(lines: Sequence[Array], wide: int) -> Array:
    """Return all points of lines, and the midpoints of their segments, so that a missing closing segment is found."""
    return np.concatenate([part[:, :wide] for line in lines for part in (line, (line[1:] + line[:-1]) / 2)])


def _greatest_distance(points: Array, lines: Sequence[Array]) -> float:
    """Return the greatest distance, mm, of (n, k) points from the nearest line."""
    begin = np.concatenate([line[:-1] if len(line) > 1 else line for line in lines])
    along = np.concatenate([np.diff(line, axis=0) if len(line) > 1 else 0 * line for line in lines])
    square = np.maximum((along**2).sum(axis=1), 1e-300)
    furthest = 0.0
    for part in np.array_split(points, max(1, math.ceil(len(points) * len(begin) / _PAIRS_PER_BATCH))):
        to = part[:, None] - begin
        done = np.clip((to * along).sum(axis=2) / square, 0.0, 1.0)
        off = to - done[..., None] * along
        furthest = max(furthest, math.sqrt(float((off * off).sum(axis=2).min(axis=1).max(initial=0.0))))
    return furthest


@promised(
    "target",
    "is true to size",
    "The content of the file has the size of the job, in mm and in inches; no line is missing, mirrored or displaced.",
    f"{_SIZE_MM} mm",
)
def _true_size(sample: Sample) -> int:
    target = ready(sample.part)
    if target.shows == "settings":
        raise Unjudged("settings are text; they have no size")
    if sample.reads is None:
        raise Unjudged(
            "its sample has no function reads, so the size of the content is unknown; "
            "give reads, which takes the file's bytes and returns the lines in mm"
        )
    cases = 0
    for name, units in _cases(target):
        lines = [np.asarray(line, dtype=np.float64) for line in sample.reads(_rendered(target, name, units)[0])]
        if not lines or any(line.ndim != 2 or line.shape[1] not in (2, 3) for line in lines):
            raise Broken(f"{name}, in {units}: reads returns no lines of (n, 2) or (n, 3) mm")
        shown = _LINES_OF[target.shows](traced(name, units).shown(target.shows))
        wide = min(line.shape[1] for line in (*shown, *lines))
        read, true = (np.concatenate([line[:, :wide] for line in each]) for each in (lines, shown))
        if not math.isfinite(float(read.sum())):
            raise Broken(f"{name}, in {units}: the file contains positions that are not finite")
        size, expected = np.ptp(read, axis=0), np.ptp(true, axis=0)
        allowed = _SIZE_MM if target.shows != "carving" else max(_SIZE_MM, 0.02 * float(expected.max()))
        assert_close(size, expected, allowed, what=f"{name}, in {units}: size of its content along X, Y and Z")
        if target.shows != "carving":
            shift = (true.min(axis=0) + true.max(axis=0) - read.min(axis=0) - read.max(axis=0)) / 2
            off = max(
                _greatest_distance(_with_midpoints(lines, wide) + shift, [line[:, :wide] for line in shown]),
                _greatest_distance(_with_midpoints(shown, wide) - shift, [line[:, :wide] for line in lines]),
            )
            if off > _LINE_MM:
                message = f"a line is {off:.3g} mm from its place: the line may be mirrored, rotated, missing or not closed"
                raise Broken(f"{name}, in {units}: after centring on the job, {message}")
        cases += len(lines)
    return cases
