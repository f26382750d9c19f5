"""Passes, and series of passes whose settings change step by step."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from lobework.errors import InputError, SettingError, is_whole, nearest, require, together
from lobework.lathe.mounting import measures_of
from lobework.parts.drive import Drive
from lobework.parts.slide import Approach, At, SlideArc
from lobework.parts.template import Template
from lobework.parts.twist import Twist
from lobework.quantities.fields import Measure, Turning, held_in, measures
from lobework.quantities.units import Phase, Written, format_phase, plain_number, ratio

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.lathe.lathe import Lathe
    from lobework.lathe.mounting import Mounted
    from lobework.quantities.units import LengthUnit

__all__ = ["Cut", "Level", "Pass", "Series", "Together"]

Together = Literal["sum", "furthest"]
_SLIDE: Final = tuple(each.name for each in fields(At))
_PLACES: Final = (*_SLIDE, "spindle")
_STEPS: Final = "a mapping from settings to steps, such as {'x': -1}"
_CAM_STEPS: Final = ("phase", "index", "gain", "twist")
_FINEST: Final = 10**9
"""Largest denominator when a fraction of a twist's angle is rounded. Simple fractions stay exact; the error of other fractions is
below half a billionth."""
MOST_CUTS: Final = 100_000


class _Repeats:
    __slots__ = ()

    def series(self, count: int, each: Mapping[str, Any] | None = None, *, name: str = "", **steps: Any) -> Series:
        """Return a series of ``count`` repetitions.

        The steps between them are keyword arguments, or are in the mapping ``each``.
        """
        require(each is None or isinstance(each, Mapping), "each", repr(each), _STEPS)
        return Series(of=self, count=count, each={**(each or {}), **steps}, name=name)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pass(_Repeats):
    """One uninterrupted cut.

    Parameters
    ----------
    turns : Fraction
        Number of spindle turns. With zero turns the spindle stands still while the slides travel; if there is no travel either,
        the cutter only plunges and retracts.
    spindle : Phase, or what `lobework.quantities.units.phase` reads
        Angle of the spindle at the beginning of the pass, set by the spindle's axis or index; the cams turn with the spindle.
        To place flutes round the work, step this setting in a series.
    at : At
        Position of the tip on its slides at the beginning of the pass. If there is an arc, ``at`` is the position of its centre;
        ``depth`` is then measured towards the centre, or in a hollow away from the centre.
    travel : At
        Travel of the slides during the pass, at constant speed.
    arc : SlideArc, optional
        A circular path of the tip, instead of a straight travel.
    template : Template, optional
        A curve that the tip follows, instead of a straight travel; the setting ``at`` is then the offset from the curve, and the
        depth.
    cams : tuple of Drive
        The cams that move the headstock; without cams the headstock stands still.
    together : "sum" or "furthest", optional
        Combination of two cams that act in the same direction: their lifts are added, or the cam with the larger lift moves the
        headstock. Default: "furthest" on a rocking headstock, where "sum" is not allowed, and "sum" on other headstocks.
    name : str
        Name of the pass in the layers of a drawing, in steps and in settings.

    Examples
    --------
    >>> rings = Pass(turns=1, at=At(x=24.0, depth=0.4)).series(16, x=-0.9)
    >>> rings.count
    16
    """

    turns: Fraction = Fraction(1)
    spindle: Turning = Phase()
    at: At = At()
    travel: At = At()
    arc: SlideArc | None = None
    template: Template | None = None
    cams: tuple[Drive, ...] = ()
    together: Together | None = None
    name: str = ""

    if TYPE_CHECKING:

        def __init__(
            self,
            *,
            turns: Written = ...,
            spindle: Phase | Written = ...,
            at: At = ...,
            travel: At = ...,
            arc: SlideArc | None = ...,
            template: Template | None = ...,
            cams: Iterable[Drive] = ...,
            together: Together | None = ...,
            name: str = ...,
        ) -> None: ...

    def __post_init__(self) -> None:
        with together():
            object.__setattr__(self, "turns", ratio(self.turns))
            object.__setattr__(self, "spindle", Phase.of(self.spindle))
            require(not self.spindle.lobes, "spindle", format_phase(self.spindle), "in degrees or turns", "only cams have lobes")
            require(abs(self.spindle.in_turns()) <= 10**6, "spindle", float(self.spindle.in_turns()), "at most a million turns")
            drives = self.cams if isinstance(self.cams, Iterable) else (self.cams,)
            drives = tuple(drives)
            for place, drive in enumerate(drives, 1):
                must_be = "a Drive, such as Drive(cam, follower=Roller(3))"
                require(isinstance(drive, Drive), f"cams[{place}]", repr(drive), must_be)
            for name in ("at", "travel"):
                require(
                    isinstance(getattr(self, name), At), name, repr(getattr(self, name)), "an At, such as At(x=24, depth=0.4)"
                )
            named = tuple(drive if drive.name else replace(drive, name=f"cam {number}") for number, drive in enumerate(drives, 1))
            object.__setattr__(self, "cams", named)
            require(0 <= self.turns <= 10**6, "turns", self.turns, "zero or more, at most a million")
            if self.arc is not None:
                must_be = "a SlideArc, such as SlideArc(radius=25, from_deg=10, to_deg=80)"
                require(isinstance(self.arc, SlideArc), "arc", repr(self.arc), must_be)
                require(self.travel == At(), "travel", "given", "left out if an arc is given", "the slides follow only the arc")
                short = self.arc.radius < 0 or self.at.depth < self.arc.radius
                require(short, "at.depth", self.at.depth, f"less than the arc's radius, {self.arc.radius:g}")
            if self.template is not None:
                must_be = "a Template, such as Template(points=[(0, 20), (-30, 25), (-60, 18)])"
                require(isinstance(self.template, Template), "template", repr(self.template), must_be)
                alone = "left out if a template is given", "the slides follow only the template"
                require(self.travel == At(), "travel", "given", *alone)
                require(self.arc is None, "arc", "given", *alone)
            require(self.together in ("sum", "furthest", None), "together", self.together, "'sum' or 'furthest'")
            names = [drive.name for drive in named]
            require(len(set(names)) == len(names), "cam.name", names, "different for each cam of a pass")


@dataclass(frozen=True, slots=True, kw_only=True)
class Series(_Repeats):
    """A pass, or a series, that is repeated with a step between the repetitions.

    Parameters
    ----------
    of : Pass or Series
        The pass or series that is repeated.
    count : int
        Number of times that the pass or series is cut, one or more.
    each : mapping from setting to step
        Step of each setting that changes. ``x``, ``y``, ``z``, ``depth``: positions of the slides, mm. ``spindle``: angle of the
        spindle at the beginning. ``phase``, ``gain``, ``twist``: phase, gain and twist angle of all cams. ``index``: index of the
        outermost chuck that has an index. A dotted name such as ``"cam 2.phase"`` or ``"upper.shift"`` is a setting of one cam or
        chuck. A name such as ``"stage 1.arm"`` is a setting of a part in a chuck's list of parts.
    name : str
        Name of one repetition on the settings sheet, such as "row".
    """

    of: Pass | Series
    count: int
    each: Mapping[str, Any] = field(default_factory=dict, hash=False)
    name: str = ""

    def __post_init__(self) -> None:
        with together():
            object.__setattr__(self, "count", plain_number(self.count))
            require(is_whole(self.count, 1, sys.maxsize), "count", self.count, "a whole number, one or more")
            require(isinstance(self.each, Mapping), "each", repr(self.each), _STEPS)
            object.__setattr__(self, "each", dict(self.each))

    def levels(self) -> tuple[Series, ...]:
        """Return the nested series, outermost first."""
        return (self, *(self.of.levels() if isinstance(self.of, Series) else ()))

    @property
    def innermost(self) -> Pass:
        """The pass that is repeated."""
        return self.of.innermost if isinstance(self.of, Series) else self.of


@dataclass(frozen=True, slots=True)
class Level:
    """The position of a cut in one level of nested series: repetition ``number``, from 1, of ``count`` repetitions."""

    name: str
    number: int
    count: int


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Cut:
    """One pass of a job with all steps of its series applied.

    Parameters
    ----------
    number : int
        Number of the cut in the job, from 1.
    passed : Pass
        The pass with all steps applied.
    lathe : Lathe
        The lathe with all steps of its chucks' settings applied.
    levels : tuple of Level
        Positions in the nested series, outermost first; empty if the pass is not in a series.
    stepped : mapping from setting to value
        Values, in this cut, of the settings that the series steps; the keys are full names.
    group : int
        Number of the pass in the job, from 1, to which the cut belongs.
    approach : Approach
        Direction from which the cutter approaches the work. Default: along the spindle, to a face.
    units : "mm" or "inch"
        Unit of lengths in messages and outputs.
    """

    number: int
    passed: Pass
    lathe: Lathe
    levels: tuple[Level, ...] = ()
    stepped: Mapping[str, Any] = field(default_factory=dict, hash=False)
    group: int = 1
    approach: Approach = Approach()
    units: LengthUnit = "mm"

    def __repr__(self) -> str:
        return f"<cut {self.number} ({self.title}) on {self.lathe.name}>"

    @property
    def tip(self) -> tuple[float, float, float]:
        """Position of the tip on the bench at the beginning of the pass, (x, y, z) mm."""
        return self.passed.at.tip(self.approach.axis) if self.is_straight else self._position(0.0)

    @property
    def travel(self) -> tuple[float, float, float]:
        """Displacement of the tip on the bench from the beginning to the end of the pass, (x, y, z) mm."""
        if self.is_straight:
            return self.passed.travel.tip(self.approach.axis)
        (x, y, z), (to_x, to_y, to_z) = self._position(0.0), self._position(1.0)
        return to_x - x, to_y - y, to_z - z

    @property
    def span(self) -> float:
        """Range of the parameter ``u``: the spindle turns, 1 if only the slides move, 0 if the cutter only plunges."""
        return float(self.passed.turns) or float(not self.is_straight or any(self.travel))

    @property
    def is_straight(self) -> bool:
        """Whether the slides stand still or travel in a straight line."""
        return self.passed.arc is None and self.passed.template is None

    @property
    def keeps_z(self) -> bool:
        """Whether the slides stay at one position along the spindle."""
        return self.is_straight and not self.travel[2]

    @property
    def corners(self) -> Array:
        """The values of ``u``, (k,), between 0 and `span`, at which the path of the slides may have a corner."""
        template = self.passed.template
        return np.zeros(0) if template is None else self.span * template.corners(self.approach.axis)

    def slides(self, u: Array) -> Array:
        """Return the position of the tip on the bench, (n, 3) mm, at (n,) values of ``u``, without the lift of software cams."""
        passed, part = self.passed, u / (self.span or 1.0)
        if passed.arc is not None:
            return passed.arc.tip(passed.at, part)
        if passed.template is not None:
            return passed.template.tip(passed.at, part, self.approach.axis)
        inner_parts: Array = np.array(self.tip)[:, None] + np.array(self.travel)[:, None] * part
        return inner_parts.T

    def as_set(self, drive: Drive) -> Drive:
        """Return a drive as it is set for this cut.

        If z is constant in the cut, a twist along the work is replaced by a constant change of the phase.
        """
        twist = drive.twist
        if twist is None or twist.over is None or not self.keeps_z:
            return drive
        gone = float(twist.eased_share(twist.share_along(np.array(self.tip[2:])))[0])
        turned = twist.angle * Fraction(gone).limit_denominator(_FINEST)
        return replace(drive, phase=drive.phase + turned, twist=None)

    def _position(self, part: float) -> tuple[float, float, float]:
        """Return the position of the tip, mm, at the fraction ``part`` of its arc or template."""
        x, y, z = self.slides(np.array([part * self.span]))[0].tolist()
        return x, y, z

    @property
    def title(self) -> str:
        """The pass's name and its step numbers, such as ``"wave rings 2.14"``."""
        steps = ".".join(str(level.number) for level in self.levels)
        return " ".join(part for part in (self.passed.name or f"pass {self.group}", steps) if part)


def step_targets(setting: str, of: Pass, lathe: Lathe) -> list[str]:
    """Return the full names of the settings that the name of a step stands for, on a given pass and lathe.

    Raises
    ------
    SettingError
        If no setting has this name; the message lists the settings that can be stepped.
    """
    cams = [drive.name for drive in of.cams]
    chucks = {mounted.name: mounted.chuck for mounted in lathe.chucks}
    owner, _, name = setting.rpartition(".")
    for both in sorted(chucks.keys() & cams):
        raise SettingError(
            f"{both!r} is the name of a cam and of a chuck, so a step with this name is ambiguous",
            remedy="rename the cam or the chuck",
        )
    known: list[str] = [*_PLACES]
    known += [f"{drive.name}.{step}" for drive in of.cams for step in _CAM_STEPS if getattr(drive, step) is not None]
    known += [f"{chuck}.{short}" for chuck, part in chucks.items() for short in _steppable(part)]
    if owner or setting in _PLACES:
        found = [setting] if setting in known else [full for full in known if full.endswith(f".{setting}")]
    elif setting == "index":
        wheels = [f"{chuck}.index" for chuck, part in chucks.items() if "index" in _steppable(part)]
        found = wheels[-1:]
    else:
        found = [full for full in known if full.rpartition(".")[2] == name]
    if not found:
        problem = f"no slide, cam or chuck of this pass has a setting {setting!r}{nearest(setting, known)}"
        raise SettingError(problem, remedy=f"settings that can be stepped: {', '.join(sorted(known))}")
    return found


def step_measure(full: str, of: Pass, lathe: Lathe) -> Measure | None:
    """Return the measure of a step of the setting whose full name is ``full``; None if the step is a plain number."""
    owner, _, name = full.rpartition(".")
    if not owner:
        mark = measures(Pass if name == "spindle" else At)[name]
        return mark and lathe.on_scale(name, mark)
    for number, drive in enumerate(of.cams, 1):
        if drive.name == owner:
            mark = measures(Twist)["angle"] if name == "twist" else measures(Drive)[name]
            return mark and lathe.on_scale(f"cam {number} {name}", mark, drive.cam.lobes)
    mounted, setting = _on_chuck(full, lathe)
    return _steppable(mounted.chuck)[setting]


def _on_chuck(full: str, lathe: Lathe) -> tuple[Mounted, str]:
    """Return the chuck to which a full name refers, and the name of the setting on that chuck."""
    mounted = next(mounted for mounted in lathe.chucks if full.startswith(f"{mounted.name}."))
    return mounted, full.removeprefix(f"{mounted.name}.")


def _steppable(part: Any) -> dict[str, Measure | None]:
    """Return the measures of the numeric settings of a chuck and of the parts in it.

    The keys are the settings' names in files.
    """
    marks = {name.removesuffix("_deg"): mark for name, mark in measures_of(part).items()}
    found = {name: mark for name, mark in marks.items() if mark is not None and mark.schema is None}
    inner_parts = {one: inner for each in fields(part) for one, inner in held_in(part, each.name).items()}
    return found | {f"{one}.{name}": mark for one, inner in inner_parts.items() for name, mark in _steppable(inner).items()}


def _amount(given: Any, mark: Measure | None) -> Any:
    return mark.read(given) if mark is not None else float(ratio(given))


def _stepped(of: Pass, lathe: Lathe, full: str, amount: Any) -> tuple[Pass, Lathe, Any]:
    """Return the pass and the lathe with the setting named ``full`` changed by ``amount``, and the new value of the setting."""
    owner, _, name = full.rpartition(".")
    if full == "spindle":
        return replace(of, spindle=of.spindle + amount), lathe, of.spindle + amount
    if not owner:
        value = getattr(of.at, name) + amount
        return replace(of, at=replace(of.at, **{name: value})), lathe, value
    if any(drive.name == owner for drive in of.cams):
        drive = next(drive for drive in of.cams if drive.name == owner)
        if name == "twist" and drive.twist is not None:
            value = drive.twist.angle + amount
            stepped = replace(drive, twist=replace(drive.twist, angle=value))
        else:
            value = getattr(drive, name) + amount
            stepped = replace(drive, **{name: value})
        return replace(of, cams=tuple(stepped if each is drive else each for each in of.cams)), lathe, value
    mounted, setting = _on_chuck(full, lathe)
    chuck, value = _part_stepped(mounted.chuck, setting, amount)
    moved = mounted._replace(chuck=chuck)
    return of, replace(lathe, chucks=tuple(moved if m is mounted else m for m in lathe.chucks)), value


def _part_stepped(part: Any, setting: str, amount: Any) -> tuple[Any, Any]:
    """Return a part with one of its settings changed by ``amount``, and the new value.

    ``setting`` may also name a setting of an inner part: ``inner.setting``.
    """
    one, _, name = setting.partition(".")
    for each in fields(part) if name else ():
        inner_parts = held_in(part, each.name)
        if one in inner_parts:
            inner_parts[one], value = _part_stepped(inner_parts[one], name, amount)
            return replace(part, **{each.name: tuple(inner_parts.values())}), value
    attribute = setting if hasattr(part, setting) else f"{setting}_deg"
    value = getattr(part, attribute) + amount
    return replace(part, **{attribute: value}), value


def cuts_of(
    item: Pass | Series,
    lathe: Lathe,
    *,
    first: int = 1,
    group: int = 1,
    approach: Approach | None = None,
    units: LengthUnit = "mm",
) -> Iterator[Cut]:
    """Yield all cuts of a pass or series on a lathe in the order of cutting; the innermost series is cut in full first.

    Raises
    ------
    InputError
        If the name or the unit of a step is invalid, or a setting becomes invalid by a step; the message contains the step.
    """
    approach = approach or Approach()
    if isinstance(item, Pass):
        yield Cut(number=first, passed=item, lathe=lathe, group=group, approach=approach, units=units)
        return
    levels, base = item.levels(), item.innermost
    steps: list[list[tuple[str, Any]]] = []
    for depth, level in enumerate(reversed(levels)):
        read = []
        for setting, given in level.each.items():
            where = "series.each" if len(levels) == 1 else f"series[{depth + 1}].each"
            try:
                for full in step_targets(setting, base, lathe):
                    read.append((full, _amount(given, step_measure(full, base, lathe))))
            except InputError as error:
                raise error.at(f"{where}.{setting}") from None
        steps.insert(0, read)
    total = 1
    for level in levels:
        total *= level.count
    require(total <= MOST_CUTS, "count", total, f"at most {MOST_CUTS} passes in all", "split the job")
    for number, places in enumerate(itertools.product(*(range(level.count) for level in levels)), first):
        passed, stepped_lathe, stepped = base, lathe, {}
        for place, read in zip(places, steps, strict=True):
            for full, amount in read:
                try:
                    passed, stepped_lathe, stepped[full] = _stepped(passed, stepped_lathe, full, amount * place)
                except InputError as error:
                    raise error.at(f"series step {'.'.join(str(p + 1) for p in places)}, {full}") from None
        marks = tuple(Level(level.name, place + 1, level.count) for level, place in zip(levels, places, strict=True))
        cut = Cut(number=number, passed=passed, lathe=stepped_lathe, levels=marks, group=group, approach=approach, units=units)
        phases = {f"{drive.name}.phase": set_so.phase for drive in passed.cams if (set_so := cut.as_set(drive)) is not drive}
        yield replace(cut, stepped=stepped | phases)
