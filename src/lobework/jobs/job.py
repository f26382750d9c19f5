"""A job: the work, the lathe, the cutter and the passes, and the results computed from them."""

from __future__ import annotations

import contextlib
import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, overload

import numpy as np

from lobework.errors import InputError, PartError, PluginError, TooLargeError, require
from lobework.files.outputs import refuse_existing, write_files
from lobework.geometry.surface import Round
from lobework.kinematics.trace import BYTES_A_SAMPLE, MOST_BYTES, Trace, estimate, trace
from lobework.lathe.clearance import require_clear
from lobework.lathe.lathe import Lathe
from lobework.lathe.passes import MOST_CUTS, Cut, Pass, Series, cuts_of
from lobework.parts.abilities import surface_of
from lobework.parts.feeds import Feeds
from lobework.parts.protocols import Cutter, Piece
from lobework.parts.slide import Approach
from lobework.plugins import registry
from lobework.quantities.fields import require_part
from lobework.quantities.tolerances import CHORD_MM, CONTACT_MM, RESOLUTION_MM
from lobework.quantities.units import is_real, plain_number
from lobework.text.shown import Shown

if TYPE_CHECKING:
    from lobework.carve import Backend, Carving, Progress, Stock
    from lobework.checks.check import Finding
    from lobework.program.program import Program
    from lobework.program.timing import SlowDown
    from lobework.proof import Proof
    from lobework.quantities.units import LengthUnit
    from lobework.render.drawing import Drawing
    from lobework.sheets.settings import Group, Settings

__all__ = ["Job", "Traces", "require_cut_count", "require_memory"]


class Traces(Shown, Sequence[Trace]):
    """The traces of a job, in the order of its cuts; a notebook shows the traces as a drawing.

    Parameters
    ----------
    job : Job
        The job that is traced.
    traces : iterable of Trace
        The traces, one for each cut.
    """

    __slots__ = ("_carving", "_drawing", "_programs", "_traces", "job")

    def __init__(self, job: Job, traces: Iterable[Trace]) -> None:
        self.job = job
        self._traces = tuple(traces)
        self._carving: Carving | None = None
        self._drawing: Drawing | None = None
        self._programs: dict[float, Program] = {}

    def __len__(self) -> int:
        return len(self._traces)

    @overload
    def __getitem__(self, place: int) -> Trace: ...

    @overload
    def __getitem__(self, place: slice) -> Traces: ...

    def __getitem__(self, place: int | slice) -> Trace | Traces:
        return Traces(self.job, self._traces[place]) if isinstance(place, slice) else self._traces[place]

    def __repr__(self) -> str:
        samples = sum(each.x.size for each in self._traces)
        return f"<{len(self)} traces of {samples} samples: {self.job.title or 'untitled'}>"

    def check(self) -> list[Finding]:
        """Return the findings of every installed check, the most severe first."""
        from lobework.checks.cutting_frame import frame_findings
        from lobework.checks.jumps import jump_findings
        from lobework.checks.workpiece import body_findings, work_findings
        from lobework.render.relief.wood import material_findings

        cuts = [each.cut for each in self]
        findings = [*work_findings(self.job.piece, self), *body_findings(self.job.piece, self.job.cutter, self)]
        findings += [*jump_findings(self), *self._time_findings()]
        findings += frame_findings(self.job.piece, self.job.cutter, cuts)
        findings += material_findings(self.job.piece) if not self.job.uncarvable else []
        findings += [finding for check in registry.installed().checks() for finding in check(cuts, self)]
        return sorted(findings, key=lambda finding: ("problem", "warning", "note").index(finding.level))

    def drawing(self) -> Drawing:
        """Return the drawing of these cuts, in true millimetres."""
        from lobework.render.drawing import draw

        return draw(self.job.title, self.job.piece, self.job.cutter, self, units=self.job.units)

    def program(self, air: float = 0.0) -> Program:
        """Return the timed moves of the axes.

        If ``air`` is above zero, the program is for a trial in air (dry run): the tip keeps ``air`` mm or more from the work.
        """
        from lobework.program.program import program

        if air not in self._programs:
            job = self.job
            setup = tuple((group.name, tuple((each.name, each.value) for each in group.entries)) for group in self._groups)
            self._programs[air] = program(
                job.title, self, job.feeds, job.units, job.piece, air=air, setup=setup, frames=self._frames
            )
        return self._programs[air]

    @property
    def _groups(self) -> Iterator[Group]:
        """The groups of the settings sheet that are repeated in the head of a program."""
        from lobework.sheets.directions import DIRECTIONS
        from lobework.sheets.settings import set_up
        from lobework.sheets.zeros import ZEROS

        job = self.job
        groups = set_up(job.lathe, job.piece, job.cutter, [each.cut for each in self], job.units, job.feeds)
        in_program = (DIRECTIONS, f"{ZEROS}, before the first cut")
        return (group for group in groups if group.name not in in_program)

    @property
    def _frames(self) -> dict[int, str]:
        """The best angle of a cutting frame, by the number of the cut, if the angle differs from cut to cut."""
        from lobework.checks.cutting_frame import frame_by_cut

        found: dict[int, str] = {}
        for _, same in itertools.groupby((each.cut for each in self), key=lambda cut: cut.group):
            found |= frame_by_cut(list(same), self.job.cutter, self.job.piece)
        return found

    def _time_findings(self) -> Iterator[Finding]:
        """Yield a finding for an error that makes a program impossible, or for each pass with cuts slower than programmed."""
        from lobework.checks.check import Finding

        if self.job.lathe.axis("spindle") is None:
            return
        try:
            sections = self.program().sections
        except InputError as error:
            yield Finding(kind="program", level="problem", where="program", message=str(error))
            return
        for _, same in itertools.groupby(zip(self, sections, strict=True), key=lambda each: each[0].cut.group):
            slow = [(section.slows, each) for each, section in same if section.slows]
            if slow:
                yield self._slowest_finding(slow)

    def _slowest_finding(self, slow: Sequence[tuple[SlowDown, Trace]]) -> Finding:
        """Return the finding on the slowest cut of one pass."""
        from lobework.checks.check import Finding
        from lobework.program.program import how_slow

        slow_down, trace = min(slow, key=lambda one: one[0].rate)
        more = f"; {len(slow) - 1} more cuts of this pass slow down" if len(slow) > 1 else ""
        message = how_slow(slow_down, trace, self.job.feeds, self.job.units) + more
        return Finding(kind="time", level="note", where=f"cut {trace.cut.number} ({trace.cut.title})", message=message)

    def slow_downs(self) -> tuple[str, ...]:
        """Return one line for each pass that is slower than programmed; empty if no program can be made."""
        return tuple(f"{each.where} {each.message}" for each in self._time_findings() if each.kind == "time")

    def carve(self, resolution: float | None = None, *, backend: str | None = None, progress: Progress | None = None) -> Carving:
        """Return the work after these cuts are carved; see `Job.carve`."""
        from lobework.carve import Carving, sweep_of
        from lobework.carve.backend import needs, refuse

        job = self.job
        backends, stock = job._backends_and_stock(resolution, backend)
        sweeps = [sweep_of(each, job.cutter, stock.surface) for each in self]
        needed = needs(stock, sweeps)
        chosen = next((each for each in backends if needed <= each.can), backends[0])
        refuse(chosen, stock, sweeps)
        depth = stock.uncut()
        chosen.carve(stock, sweeps, depth, progress)
        depth.flags.writeable = False
        return Carving(title=job.title, piece=job.piece, stock=stock, depth=depth, sweeps=tuple(sweeps), units=job.units)

    def carve_once(self, progress: Progress | None = None) -> Carving:
        """Return the work after these cuts are carved at the job's resolution; later calls return the first result."""
        self._carving = self._carving or self.carve(progress=progress)
        return self._carving

    def shown(
        self, what: Literal["drawing", "axes", "program", "settings", "carving"]
    ) -> Drawing | Program | Settings | Traces | Carving:
        """Return the result that a target renders; ``what`` is the kind of result that the target shows."""
        if what == "settings":
            return self.job.settings(self)
        if what == "carving":
            return self.carve_once()
        if what == "drawing":
            self._drawing = self._drawing or self.drawing()
            return self._drawing
        return self.program() if what == "program" else self


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Job:
    """The work, the lathe, the cutter and the passes.

    Parameters
    ----------
    lathe : Lathe
        The lathe, with its chucks mounted.
    piece : Piece
        The work in the chuck.
    cutter : Cutter
        The cutter.
    passes : tuple of Pass or Series
        One or more passes, in the order of cutting.
    title : str
        The heading of the drawing, the settings and the program.
    units : "mm" or "inch"
        The unit of the drawing, the settings and the program; in Python all lengths are in mm.
    chord : float, mm
        Chord tolerance: the largest distance between the path on the work and the straight move from one sample to the next.
    feeds : Feeds
        Speeds and clearances of the program.
    resolution : float, mm
        Distance between neighbouring rays of the carved work.

    Examples
    --------
    >>> from lobework.jobs import jobfile
    >>> from lobework.parts.cutter import Vee
    >>> from lobework.parts.piece import Disc
    >>> from lobework.parts.slide import At
    >>> job = Job(
    ...     title="Tide box, medallion",
    ...     lathe=jobfile.read_lathe("plain-bench"),
    ...     piece=Disc(diameter=40.0, thickness=5.0),
    ...     cutter=Vee(angle_deg=90.0, width=3.0),
    ...     passes=[Pass(at=At(x=12.0, depth=0.3)).series(3, x=-2.0)],
    ... )
    >>> job
    <Job 'Tide box, medallion': 3 cuts on plain-bench>
    >>> [cut.passed.at.x for cut in job.cuts()]
    [12.0, 10.0, 8.0]
    """

    lathe: Lathe
    piece: Piece
    cutter: Cutter
    passes: Sequence[Pass | Series]
    title: str = ""
    units: LengthUnit = "mm"
    chord: float = CHORD_MM
    feeds: Feeds = field(default_factory=Feeds)
    resolution: float = RESOLUTION_MM

    def __post_init__(self) -> None:
        passes = tuple(self.passes) if isinstance(self.passes, Iterable) else (self.passes,)
        object.__setattr__(self, "passes", passes)
        require(self.passes, "pass", "[]", "one pass or more")
        for place, each in enumerate(passes, 1):
            require(isinstance(each, Pass | Series), f"passes[{place}]", repr(each), "a Pass, or a Series of a Pass")
        require(isinstance(self.lathe, Lathe), "lathe", repr(self.lathe), "a Lathe, such as read_lathe('rocking-bench')")
        require_part(self.piece, "outline", "piece", "a piece such as Disc(diameter=70, thickness=8)")
        require_part(self.cutter, "width_at", "cutter", "a cutter such as Vee(angle_deg=90, width=3), or Pen()")
        require(isinstance(self.feeds, Feeds), "feeds", repr(self.feeds), "Feeds, such as Feeds(spindle_rpm=2)")
        for name in ("chord", "resolution"):
            object.__setattr__(self, name, plain_number(getattr(self, name)))
        require(is_real(self.chord), "chord", repr(self.chord), "a plain number, in mm")
        require(is_real(self.resolution), "resolution", repr(self.resolution), "a plain number, in mm")
        require(0 < self.resolution < math.inf, "resolution", float(self.resolution), "above zero, such as 0.05 mm")
        require(self.units in ("mm", "inch"), "units", self.units, "'mm' or 'inch'")
        require(CONTACT_MM <= self.chord < math.inf, "chord", self.chord, f"at least {CONTACT_MM:g} mm, such as 0.002 mm")
        require_cut_count(self._count)

    def __repr__(self) -> str:
        cuts = "1 cut" if self._count == 1 else f"{self._count} cuts"
        return f"<Job {self.title!r}: {cuts} on {self.lathe.name}>"

    @property
    def _count(self) -> int:
        levels = ([level.count for level in each.levels()] if isinstance(each, Series) else [1] for each in self.passes)
        return sum(math.prod(counts) for counts in levels)

    def cuts(self) -> tuple[Cut, ...]:
        """Return every cut, with the steps of each series applied, in the order of cutting.

        Raises
        ------
        InputError
            If a step cannot be applied; the error names the pass and the step.
        """
        found: list[Cut] = []
        approach = self._approach
        for group, item in enumerate(self.passes, 1):
            try:
                found.extend(cuts_of(item, self.lathe, first=len(found) + 1, group=group, approach=approach, units=self.units))
            except InputError as error:
                raise error.replaced(where=f"pass[{group}].{error.where}".removesuffix(".")) from None
        return tuple(found)

    @property
    def uncarvable(self) -> str:
        """Reason why this job can be drawn but not carved: the cutter has no edge, or the work no surface; otherwise empty."""
        from lobework.carve.sweep import has_edge

        if not has_edge(self.cutter):
            return "this cutter has no edge to carve with"
        return "" if surface_of(self.piece) is not None else "this work has no surface to carve"

    @property
    def _approach(self) -> Approach:
        """The direction of the infeed: towards the side of the work if the work has one, otherwise towards its face."""
        surface = surface_of(self.piece)
        if not isinstance(surface, Round):
            return Approach()
        return Approach(axis="x", surface=float(surface.profile(np.linspace(0.0, surface.length, 1025))[:, 0].max()))

    def trace(self) -> Traces:
        """Return the path of every cut on the piece.

        Raises
        ------
        TooLargeError
            If the traces need more memory than a job may use; nothing is traced.
        InputError
            If this lathe cannot make a cut, or the chucks carry the work into the bed; the error names the pass.
        PartError
            If a chuck, a cam or a follower returns a number that is not finite; the error names this part and its plugin.
        PluginError
            If a chuck's motions are not rigid; the error names the chuck's plugin.
        """
        cuts = self.cuts()
        require_memory(sum(self._estimates(cuts)))
        traces: list[Trace] = []
        samples = 0
        for cut in cuts:
            with _in_pass(cut):
                require_clear(cut, self.piece)
                traces.append(trace(cut, chord=self.chord))
            samples += traces[-1].x.size
            require_memory(samples)
        return Traces(self, traces)

    def _estimates(self, cuts: Sequence[Cut]) -> Iterator[int]:
        """Yield the estimated number of samples of each pass; all cuts of a pass are assumed to be like the first."""
        for _, same in itertools.groupby(cuts, key=lambda cut: cut.group):
            group = list(same)
            with _in_pass(group[0]):
                yield len(group) * estimate(group[0], chord=self.chord)

    def carve(self, resolution: float | None = None, *, backend: str | None = None, progress: Progress | None = None) -> Carving:
        """Return the work after all cuts are carved.

        Parameters
        ----------
        resolution : float, mm, optional
            Distance between neighbouring rays; default: the job's resolution.
        backend : str, optional
            The carving backend; default: "compiled" if that can carve the job, otherwise the first installed backend that can.
        progress : callable, optional
            Called at intervals with the fraction done, 0 to 1; an exception raised by the function stops the carving.

        Raises
        ------
        SettingError
            If the work cannot be carved at this resolution, the cutter has no edge, or the backend cannot carve the job.
        TooLargeError
            If the grid needs more memory than a job may use; nothing is carved.
        UnknownNameError
            If no backend has the given name.
        """
        self._backends_and_stock(resolution, backend)
        return self.trace().carve(resolution, backend=backend, progress=progress)

    def _backends_and_stock(self, resolution: float | None, backend: str | None) -> tuple[list[Backend], Stock]:
        """Return the backends to choose from, and the stock; errors in either are raised before anything is traced."""
        from lobework.carve import stock_of

        shelf = registry.installed()
        backends = list(shelf.backends().values()) if backend is None else [shelf.backend(backend)]
        return backends, stock_of(self.piece, self.resolution if resolution is None else resolution)

    def check(self) -> list[Finding]:
        """Return the findings of every installed check, the most severe first."""
        return self.trace().check()

    def drawing(self) -> Drawing:
        """Return the drawing of every cut, in true millimetres."""
        return self.trace().drawing()

    def program(self, air: float = 0.0) -> Program:
        """Return the timed moves of the axes.

        If ``air`` is above zero, the program is for a trial in air (dry run): the tip keeps ``air`` mm or more from the work.
        """
        return self.trace().program(air)

    def prove(self, program: bytes | str | Path, tolerance: float | None = None, *, air: float = 0.0) -> Proof:
        """Return the proof of a program for this job: the program is read back and run on the model of the lathe.

        Parameters
        ----------
        program : bytes, or path of a file
            RS274/NGC, from any source.
        tolerance : float, mm, optional
            Largest distance of the program's path on the work from the job's path; default: the tolerance of the job's feeds.
        air : float, mm
            Distance that the program keeps from the work, if the program is for a trial in air (dry run).

        Raises
        ------
        InputError
            If the file cannot be read, or the job cannot be cut.
        """
        from lobework.proof import SHARE, load, prove

        data = program if isinstance(program, bytes) else load(program)
        allowed = self.feeds.tolerance if tolerance is None else tolerance
        traces = replace(self, chord=min(self.chord, max(SHARE * allowed, CONTACT_MM))).trace()
        return prove(
            data,
            traces,
            self.piece,
            self.cutter,
            tolerance=allowed,
            title=self.title,
            units=self.units,
            feeds=self.feeds,
            air=air,
        )

    def settings(self, traces: Traces | None = None) -> Settings:
        """Return the settings and the steps in order; if the axes have limits, also one line for each pass that slows down."""
        from lobework.kinematics.motion import motion_of

        cuts = self.cuts()
        for _, same in itertools.groupby(cuts, key=lambda cut: cut.group):
            first = next(same)
            for each in (first, *same):
                with _in_pass(each):
                    motion_of(each)
                    require_clear(each, self.piece)
        limited = any(min(axis.top_speed, axis.acceleration) < math.inf for axis in self.lathe.axes)
        return self._sheet(cuts, (traces or self.trace()).slow_downs() if limited else ())

    def _sheet(self, cuts: Sequence[Cut], slows: Sequence[str] = ()) -> Settings:
        from lobework.sheets.settings import settings

        return settings(self.title, self.lathe, self.piece, self.cutter, cuts, units=self.units, feeds=self.feeds, slows=slows)

    def write(self, target: str, folder: Path | str = ".", *, overwrite: bool = False) -> Path:
        """Write the file of one target, such as "svg", "png", "csv", "rs274" or "text", and return its path.

        Raises
        ------
        OutputExistsError
            If the file exists and ``overwrite`` is not set; nothing is written.
        UnknownNameError
            If no target has the given name.
        """
        chosen = registry.installed().target(target)
        path = Path(folder) / chosen.file
        refuse_existing([path], overwrite=overwrite)
        shown = self.settings() if chosen.shows == "settings" else self.trace().shown(chosen.shows)
        write_files({path: chosen.render(shown)}, overwrite=overwrite)
        return path


def require_cut_count(cuts: int) -> None:
    """Raise an error if a job would have more cuts than are allowed."""
    require(cuts <= MOST_CUTS, "count", cuts, f"at most {MOST_CUTS:,} cuts in all", "split the job, or repeat fewer times")


def require_memory(samples: int) -> None:
    """Raise an error if traces need more memory than a job may use; ``samples`` is the total number of samples of all cuts.

    >>> require_memory(10**9)
    Traceback (most recent call last):
    lobework.errors.TooLargeError: the traces would need 32 GB for 1,000,000,000 samples, more than the 4 GB a job may take; \
    use fewer turns or a smaller series, or a larger chord
    """
    if samples * BYTES_A_SAMPLE > MOST_BYTES:
        needed = f"{samples * BYTES_A_SAMPLE / 1e9:,.0f} GB for {samples:,} samples"
        problem = f"the traces would need {needed}, more than the {MOST_BYTES // 10**9} GB a job may take"
        raise TooLargeError(problem, remedy="use fewer turns or a smaller series, or a larger chord")


@contextlib.contextmanager
def _in_pass(cut: Cut) -> Iterator[None]:
    """Add the number of the pass, and the plugin of the part at fault, to errors raised inside the block."""
    try:
        yield
    except InputError as error:
        repeated = any(level.number > 1 for level in cut.levels)
        step = f"series step {'.'.join(str(level.number) for level in cut.levels)}, " if repeated else ""
        where = error.where.removeprefix(f"pass[{cut.group}]").removeprefix(".")
        where = f"pass[{cut.group}].{step}{where}".rstrip("., ")
        plugin = _plugin_of(error.part) if isinstance(error, PartError) else ""
        raise error.replaced(where=where, remedy="; ".join(filter(None, (error.remedy, plugin)))) from None
    except PluginError as error:
        raise PluginError("; ".join(filter(None, (f"pass[{cut.group}]: {error}", _plugin_of(error.part))))) from error


def _plugin_of(part: type | None) -> str:
    """Return a clause for a message that names the plugin of a part; empty if the part is built in or unknown."""
    shelf = registry.installed()
    plugins = (record for record in shelf.loaded[1:] for kind, name in record.offers if shelf.parts[kind][name] is part)
    return next((f"this part comes with {record.title}" for record in plugins), "")
