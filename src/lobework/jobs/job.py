"""A job: what is cut, on which lathe, with which cutter, and everything that can be learnt from it."""

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

if TYPE_CHECKING:
    from lobework.carve import Backend, Carving, Progress, Stock
    from lobework.checks.check import Finding
    from lobework.program.program import Program
    from lobework.program.timing import SlowDown
    from lobework.proof import Proof
    from lobework.quantities.units import LengthUnit
    from lobework.render.drawing import Drawing
    from lobework.sheets.settings import Group, Settings

__all__ = ["Job", "Traces", "require_few", "require_room"]


class Traces(Sequence[Trace]):
    """The traces of a job, in the order of its cuts; in a notebook they show themselves as a drawing.

    Parameters
    ----------
    job : Job
        Whose they are.
    traces : iterable of Trace
        One for each cut.
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

    def _repr_svg_(self) -> str:
        return registry.installed().target("svg").render(self.drawing()).decode("utf-8")

    def check(self) -> list[Finding]:
        """Return what every installed check finds, the gravest first."""
        from lobework.checks.cutting_frame import frame_findings
        from lobework.checks.jumps import jump_findings
        from lobework.checks.workpiece import body_findings, work_findings
        from lobework.render.relief.wood import material_findings

        cuts = [each.cut for each in self]
        every = [*work_findings(self.job.piece, self), *body_findings(self.job.piece, self.job.cutter, self)]
        every += [*jump_findings(self), *self._time_findings()]
        every += frame_findings(self.job.piece, self.job.cutter, cuts)
        every += material_findings(self.job.piece) if not self.job.uncarvable else []
        every += [finding for look in registry.installed().checks() for finding in look(cuts, self)]
        return sorted(every, key=lambda finding: ("problem", "warning", "note").index(finding.level))

    def drawing(self) -> Drawing:
        """Return the drawing of these cuts, in true millimetres."""
        from lobework.render.drawing import draw

        return draw(self.job.title, self.job.piece, self.job.cutter, self, units=self.job.units)

    def program(self, air: float = 0.0) -> Program:
        """Return the moves of the axes, in time; with ``air``, lifted so that the tip stays so many mm off the work."""
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
        """The groups of the sheet that the head of a program repeats: all but those that it has of its own."""
        from lobework.sheets.directions import DIRECTIONS
        from lobework.sheets.settings import set_up
        from lobework.sheets.zeros import ZEROS

        job = self.job
        groups = set_up(job.lathe, job.piece, job.cutter, [each.cut for each in self], job.units, job.feeds)
        own = (DIRECTIONS, f"{ZEROS}, before the first cut")
        return (group for group in groups if group.name not in own)

    @property
    def _frames(self) -> dict[int, str]:
        """At which angle a cutting frame would fit each cut, where that differs from cut to cut."""
        from lobework.checks.cutting_frame import frame_by_cut

        found: dict[int, str] = {}
        for _, same in itertools.groupby((each.cut for each in self), key=lambda cut: cut.group):
            found |= frame_by_cut(list(same), self.job.cutter, self.job.piece)
        return found

    def _time_findings(self) -> Iterator[Finding]:
        """Yield what stands against a program, and where it goes slower than was asked for."""
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
                yield self._slowest(slow)

    def _slowest(self, slow: Sequence[tuple[SlowDown, Trace]]) -> Finding:
        """Return where the slowest of some cuts of one pass goes slower than was asked for."""
        from lobework.checks.check import Finding
        from lobework.program.program import how_slow

        slows, each = min(slow, key=lambda one: one[0].rate)
        more = f"; {len(slow) - 1} more cuts of its pass slow down" if len(slow) > 1 else ""
        message = how_slow(slows, each, self.job.feeds, self.job.units) + more
        return Finding(kind="time", level="note", where=f"cut {each.cut.number} ({each.cut.title})", message=message)

    def slow_downs(self) -> tuple[str, ...]:
        """Return in words where each pass goes slower than was asked for, if anywhere; none where no program can be made."""
        return tuple(f"{each.where} {each.message}" for each in self._time_findings() if each.kind == "time")

    def carve(self, resolution: float | None = None, *, backend: str | None = None, progress: Progress | None = None) -> Carving:
        """Return what these cuts leave in the wood; see `Job.carve`."""
        from lobework.carve import Carving, sweep_of
        from lobework.carve.backend import needs, refuse

        job = self.job
        ways, stock = job._carved_by(resolution, backend)
        sweeps = [sweep_of(each, job.cutter, stock.surface) for each in self]
        asked = needs(stock, sweeps)
        way = next((each for each in ways if asked <= each.can), ways[0])
        refuse(way, stock, sweeps)
        depth = stock.uncut()
        way.carve(stock, sweeps, depth, progress)
        depth.flags.writeable = False
        return Carving(title=job.title, piece=job.piece, stock=stock, depth=depth, sweeps=tuple(sweeps), units=job.units)

    def carve_once(self, progress: Progress | None = None) -> Carving:
        """Return what these cuts leave in the wood, at the job's own resolution; carved at the first call, then kept."""
        self._carving = self._carving or self.carve(progress=progress)
        return self._carving

    def shown(
        self, what: Literal["drawing", "axes", "program", "settings", "carving"]
    ) -> Drawing | Program | Settings | Traces | Carving:
        """Return what a target that shows ``what`` renders."""
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
    """What is cut, on which lathe, with which cutter.

    Parameters
    ----------
    lathe : Lathe
        With its chucks mounted.
    piece : Piece
        What is in the chuck.
    cutter : Cutter
        What cuts it.
    passes : tuple of Pass or Series
        In the order they are cut; one or more.
    title : str
        Heads the drawing, the settings and the program.
    units : "mm" or "inch"
        Of drawing, settings and program; everything in Python is in mm.
    chord : float, mm
        How far a straight move between two samples may stray from the path on the work.
    feeds : Feeds
        Speeds and clearances of the program.
    resolution : float, mm
        From ray to ray of the work when it is carved.

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
            require(isinstance(each, Pass | Series), f"passes[{place}]", repr(each), "a Pass, or a series of one")
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
        require_few(self._count)

    def __repr__(self) -> str:
        cuts = "1 cut" if self._count == 1 else f"{self._count} cuts"
        return f"<Job {self.title!r}: {cuts} on {self.lathe.name}>"

    @property
    def _count(self) -> int:
        levels = ([level.count for level in each.levels()] if isinstance(each, Series) else [1] for each in self.passes)
        return sum(math.prod(counts) for counts in levels)

    def cuts(self) -> tuple[Cut, ...]:
        """Return every cut, each step of each series applied, in the order they are cut.

        Raises
        ------
        InputError
            Where a step cannot be taken; the message names the pass and the step.
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
        """Why this job can only be drawn: its cutter has no edge, or its work no surface; empty where it can be carved."""
        from lobework.carve.sweep import has_edge

        if not has_edge(self.cutter):
            return "this cutter has no edge to carve with"
        return "" if surface_of(self.piece) is not None else "this work has no surface to carve"

    @property
    def _approach(self) -> Approach:
        """From where the cutter comes: to the side of work that has a side, to the face of any other."""
        surface = surface_of(self.piece)
        if not isinstance(surface, Round):
            return Approach()
        return Approach(axis="x", surface=float(surface.profile(np.linspace(0.0, surface.length, 1025))[:, 0].max()))

    def trace(self) -> Traces:
        """Return the path of every cut on the piece.

        Raises
        ------
        TooLargeError
            Where the traces would need more memory than a job may take; nothing has been traced then.
        InputError
            Where this lathe cannot make a cut, or its chucks carry the work into the bed; the message names the pass.
        PartError
            Where a chuck, a cam or a follower gives a number that is not finite; the message names it and its plugin.
        PluginError
            Where a chuck's motions are no rigid motions; the message names its plugin.
        """
        cuts = self.cuts()
        require_room(sum(self._estimates(cuts)))
        traces: list[Trace] = []
        samples = 0
        for cut in cuts:
            with _in_pass(cut):
                require_clear(cut, self.piece)
                traces.append(trace(cut, chord=self.chord))
            samples += traces[-1].x.size
            require_room(samples)
        return Traces(self, traces)

    def _estimates(self, cuts: Sequence[Cut]) -> Iterator[int]:
        """Yield about how many samples each pass would take with all its repetitions, taken to be like the first."""
        for _, same in itertools.groupby(cuts, key=lambda cut: cut.group):
            group = list(same)
            with _in_pass(group[0]):
                yield len(group) * estimate(group[0], chord=self.chord)

    def carve(self, resolution: float | None = None, *, backend: str | None = None, progress: Progress | None = None) -> Carving:
        """Return what the cuts leave in the wood.

        Parameters
        ----------
        resolution : float, mm, optional
            From ray to ray; the job's own unless given.
        backend : str, optional
            Which way of carving; unless given the first that is installed and can, "compiled" where it can.
        progress : callable, optional
            Called now and then with the part done, 0 to 1; what it raises stops the carving.

        Raises
        ------
        SettingError
            Where the work or the cutter cannot be carved, or the backend cannot do what is asked.
        TooLargeError
            Where the grid would take more memory than a job may; nothing has been carved then.
        UnknownNameError
            Where no backend has that name.
        """
        self._carved_by(resolution, backend)
        return self.trace().carve(resolution, backend=backend, progress=progress)

    def _carved_by(self, resolution: float | None, backend: str | None) -> tuple[list[Backend], Stock]:
        """Return the ways of carving to choose from, and the stock; what is wrong is said before anything is traced."""
        from lobework.carve import stock_of

        shelf = registry.installed()
        ways = list(shelf.backends().values()) if backend is None else [shelf.backend(backend)]
        return ways, stock_of(self.piece, self.resolution if resolution is None else resolution)

    def check(self) -> list[Finding]:
        """Return what every installed check finds, the gravest first."""
        return self.trace().check()

    def drawing(self) -> Drawing:
        """Return the drawing of every cut, in true millimetres."""
        return self.trace().drawing()

    def program(self, air: float = 0.0) -> Program:
        """Return the moves of the axes, in time; with ``air``, lifted so that the tip stays so many mm off the work."""
        return self.trace().program(air)

    def prove(self, program: bytes | str | Path, tolerance: float | None = None, *, air: float = 0.0) -> Proof:
        """Return what comes of a program for this job when it is read back and run on the lathe's model.

        Parameters
        ----------
        program : bytes, or path of a file
            RS274/NGC, whoever wrote it.
        tolerance : float, mm, optional
            How far its path on the work may be from the job's; that of its feeds unless given.
        air : float, mm
            How far off the work a program keeps that was written to be tried in air.

        Raises
        ------
        InputError
            Where the file cannot be read, or the job cannot be cut.
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
        """Return the numbers to set and the steps in order; of a lathe whose axes have limits, also where its cuts slow down."""
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
            Where the file exists and ``overwrite`` is not set; nothing is written then.
        UnknownNameError
            Where no target has that name.
        """
        chosen = registry.installed().target(target)
        path = Path(folder) / chosen.file
        refuse_existing([path], overwrite=overwrite)
        shown = self.settings() if chosen.shows == "settings" else self.trace().shown(chosen.shows)
        write_files({path: chosen.render(shown)}, overwrite=overwrite)
        return path


def require_few(cuts: int) -> None:
    """Refuse more cuts than a job may have."""
    require(cuts <= MOST_CUTS, "count", cuts, f"at most {MOST_CUTS:,} cuts in all", "split the job, or repeat fewer times")


def require_room(samples: int) -> None:
    """Refuse, with its size, what would need more memory than a job may take: ``samples`` of all cuts together.

    >>> require_room(10**9)
    Traceback (most recent call last):
    lobework.errors.TooLargeError: the traces would need 32 GB for 1,000,000,000 samples, more than the 4 GB a job may take; \
    use fewer turns or a smaller series, or a larger chord
    """
    if samples * BYTES_A_SAMPLE > MOST_BYTES:
        raise TooLargeError(
            f"the traces would need {samples * BYTES_A_SAMPLE / 1e9:,.0f} GB for {samples:,} samples, "
            f"more than the {MOST_BYTES // 10**9} GB a job may take; use fewer turns or a smaller series, or a larger chord"
        )


@contextlib.contextmanager
def _in_pass(cut: Cut) -> Iterator[None]:
    """Have whatever is complained of here name the pass; and whoever brought the part that is at fault."""
    try:
        yield
    except InputError as error:
        again = any(level.number > 1 for level in cut.levels)
        step = f"series step {'.'.join(str(level.number) for level in cut.levels)}, " if again else ""
        where = error.where.removeprefix(f"pass[{cut.group}]").removeprefix(".")
        where = f"pass[{cut.group}].{step}{where}".rstrip("., ")
        brought = _brought_by(error.part) if isinstance(error, PartError) else ""
        raise error.replaced(where=where, remedy=f"{error.remedy}{brought}") from None
    except PluginError as error:
        raise PluginError(f"pass[{cut.group}]: {error}{_brought_by(error.part)}") from error


def _brought_by(part: type | None) -> str:
    """Return which plugin brought a part, in brackets; empty where none did, or it is not known."""
    shelf = registry.installed()
    brought = (record for record in shelf.loaded[1:] for kind, name in record.offers if shelf.parts[kind][name] is part)
    return next((f"; it came with {record.title}" for record in brought), "")
