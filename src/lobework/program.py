"""The program: what a controller is told to do, step by step and in time, in no format yet."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.clearance import reach_of, rises_to
from lobework.errors import SettingError, require
from lobework.hand import HandSetting, by_hand, cam_name, show_length, show_ratio, turns_with_spindle
from lobework.kinds import Length, require_numbers
from lobework.slide import Approach
from lobework.tolerances import JOIN_MM
from lobework.units import LengthUnit, format_number

if TYPE_CHECKING:
    from lobework.kinds import Piece
    from lobework.lathe import Axis, Lathe
    from lobework.motion import Motion
    from lobework.passes import Cut
    from lobework.rigid import Array
    from lobework.trace import Trace

__all__ = ["Feed", "Feeds", "Program", "Prompt", "Rapid", "Section", "Step", "Timed", "program"]

_READY: Final = (
    "set up the lathe and its zeros as the settings say",
    "protection on, guards in place, nothing loose near the spindle",
    "cutter running, its tip clear of the work, hands away",
)
_BEFORE_HANDS: Final = "stop the cutter"
_AFTER_HANDS: Final = "start the cutter, then hands away"
_STRAIGHT: Final = 1e-9
"""Where every sample is this near to one even motion, mm or degrees beyond rounding, one move says it all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeds:
    """How fast the program goes, and how far clear it stands off between cuts.

    Parameters
    ----------
    spindle_rpm : float
        Turns of the spindle in a minute while it cuts, constant; above zero.
    clear : float, mm
        Where the tip stands while anything else moves, out from the face of the work or from its side.
    plunge : float, mm a minute
        How fast the tip goes from there into the work.

    Examples
    --------
    >>> Feeds(spindle_rpm=4.0).clear
    5.0
    """

    spindle_rpm: float = 2.0
    clear: Length = 5.0
    plunge: Length = 60.0

    def __post_init__(self) -> None:
        require_numbers(self)
        require(1e-3 <= self.spindle_rpm <= 1000, "spindle_rpm", self.spindle_rpm, "from 0.001 to 1000")
        require(0 < self.clear < math.inf, "clear", self.clear, "above zero", "stand off the face between cuts")
        require(0.1 <= self.plunge < math.inf, "plunge", self.plunge, "0.1 mm a minute or more")


@dataclass(frozen=True, slots=True)
class Rapid:
    """Go as fast as the lathe will: letters to where they go, mm or degrees."""

    to: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Feed:
    """Go in a straight line at a rate, mm a minute."""

    to: Mapping[str, float]
    rate: float


@dataclass(frozen=True, slots=True, eq=False)
class Timed:
    """Go through places, each in its own time.

    Parameters
    ----------
    minutes : (m,) float64
        That each move takes.
    letters : tuple of str
        What moves.
    places : (m, k) float64, mm or degrees
        Where each move ends, by letter.
    """

    minutes: Array
    letters: tuple[str, ...]
    places: Array


@dataclass(frozen=True, slots=True)
class Prompt:
    """Stop, say what a person must do, thing by thing, and wait."""

    says: tuple[str, ...]


Step = Rapid | Feed | Timed | Prompt


@dataclass(frozen=True, slots=True)
class Section:
    """One cut: its number and title, what to know of it, and its steps."""

    number: int
    title: str
    notes: tuple[str, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """What a controller is told, in no format yet; mm, degrees and minutes.

    Parameters
    ----------
    title : str
        Of the job.
    lathe : Lathe
        That it is for.
    axes : tuple of Axis
        That it moves.
    feeds : Feeds
        That it keeps to.
    units : "mm" or "inch"
        To write lengths in.
    sections : tuple of Section
        The cuts, in order.
    approach : Approach
        From where the cutter comes to the work.
    """

    title: str
    lathe: Lathe
    axes: tuple[Axis, ...]
    feeds: Feeds
    units: LengthUnit
    sections: tuple[Section, ...]
    approach: Approach = Approach()

    @property
    def minutes(self) -> float:
        """How long the spindle turns under cut, in all."""
        timed = (step for section in self.sections for step in section.steps if isinstance(step, Timed))
        return float(sum(step.minutes.sum() for step in timed))


def _used_axes(traces: Sequence[Trace], lathe: Lathe) -> tuple[Axis, ...]:
    """Return the axes that the job uses, in the lathe's order."""
    used = {name for trace in traces for name in trace.axes}
    lathe.need("spindle", "a program turns the spindle")
    return tuple(axis for axis in lathe.axes if axis.moves in used)


def _steady(minutes: Array, places: Array) -> bool:
    """Return whether every axis moves evenly from the first sample to the last."""
    part = ((minutes - minutes[0]) / (minutes[-1] - minutes[0]))[:, None]
    off = np.abs(places[0] + part * (places[-1] - places[0]) - places).max(axis=0)
    rounding: Array = 4 * np.finfo(np.float64).eps * np.abs(places).max(axis=0)
    return bool(np.all(off <= _STRAIGHT + rounding))


def _timed(trace: Trace, axes: Sequence[Axis], rpm: float) -> tuple[Timed, ...]:
    """Return a cut's moves at constant spindle speed: one, where every axis moves evenly all the way; none of a plunge."""
    if not trace.cut.passed.turns:
        return ()
    later = np.concatenate(([True], np.diff(trace.u) > 0))
    minutes, moved = trace.u[later] / rpm, trace.axes
    places = np.stack([moved[axis.moves][later] for axis in axes], axis=-1)
    if len(minutes) < 2:
        raise SettingError(f"cut {trace.cut.number} ({trace.cut.title}): it has no length in time, so there is nothing to send")
    kept = np.array([0, len(minutes) - 1]) if _steady(minutes, places) else np.arange(len(minutes))
    return (Timed(np.diff(minutes[kept]), tuple(axis.letter for axis in axes), places[kept[1:]]),)


def _outermost(trace: Trace, piece: Piece | None) -> float:
    """Return how far out the work may come while cams turn on, in this cut or on the way to it, mm on the slide that feeds in."""
    motion, approach = trace.motion, trace.cut.approach
    turns = float(math.ceil(motion.cut.passed.turns or 1))
    tilted = rises_to(piece, motion.cut.lathe, turns) if piece is not None and motion.still is None else None
    pushes = motion.endways if approach.axis == "z" else motion.sideways
    peaks = [max(push.scale * lift for lift in push.curve.extent) for push in pushes] or [0.0]
    peak = max(peaks) if motion.furthest else sum(peaks)
    if piece is not None and tilted is not None:
        return peak + (reach_of(piece, motion.cut.lathe, turns) if approach.axis == "x" else tilted)
    if approach.axis == "x":
        return approach.surface + _runs_out(motion) + peak
    return float((trace.axes["z"] - trace.z - motion.displaced(pushes, trace.u)).max()) + peak


def _runs_out(motion: Motion) -> float:
    """Return how far the chucks carry the middle of the work from the spindle's axis, mm."""
    shift = motion.chucks(np.linspace(0.0, 2 * math.pi * math.ceil(motion.cut.passed.turns or 1), 721)).shift
    return float(np.hypot(shift[:, 0], shift[:, 1]).max())


def _clear_of(cut: Cut, feeds: Feeds) -> float:
    """Return where the tip stands clear, mm on the slide that feeds in."""
    return cut.approach.surface + feeds.clear


def _check_clear(traces: Sequence[Trace], feeds: Feeds, piece: Piece | None) -> None:
    def high(trace: Trace) -> float:
        approach = trace.cut.approach
        return max(float(trace.axes[approach.axis].max()), _outermost(trace, piece)) - approach.surface

    most, cut = max(((high(trace), trace.cut) for trace in traces), key=lambda each: each[0])
    moving = "the face of the work" if cut.approach.axis == "z" else "the moving side of the work"
    reaches = f"above {most:g} mm, where cut {cut.number} ({cut.title}) or {moving} reaches"
    require(most < feeds.clear, "clear", feeds.clear, reaches, "raise clear in [program]")


def _ends(step: Step) -> Iterator[tuple[str, float]]:
    """Yield each letter with the lowest and the highest place that a step sends it to."""
    if isinstance(step, Timed):
        for letter, places in zip(step.letters, step.places.T, strict=True):
            yield letter, float(places.min())
            yield letter, float(places.max())
    elif not isinstance(step, Prompt):
        yield from step.to.items()


def _check_travel(section: Section, axes: Sequence[Axis]) -> None:
    limits: dict[str, Axis] = {axis.letter: axis for axis in axes}
    for letter, place in (end for step in section.steps for end in _ends(step)):
        axis = limits[letter]
        if not axis.low - JOIN_MM <= place <= axis.high + JOIN_MM:
            unit = "deg" if axis.rotary else "mm"
            raise SettingError(
                f"cut {section.number} ({section.title}): {letter} would go to {format_number(place)} {unit}, but the lathe's "
                f"{axis.moves} axis travels from {axis.low:g} to {axis.high:g}; move the pass, or lower clear in [program]"
            )


def _held_slides(trace: Trace, lathe: Lathe) -> dict[str, float]:
    """Return the slides that this cut needs and that the lathe has no axis for: name to place, mm."""
    held, moved = {}, trace.axes
    for name in ("x", "y", "z"):
        if lathe.axis(name) is None:
            places = moved[name]
            if np.ptp(places) > JOIN_MM:
                lathe.need(name, f"cut {trace.cut.number} ({trace.cut.title}) moves the {name} slide")
            held[name] = float(places[0])
    return held


def _changes(before: Mapping[str, HandSetting], now: Mapping[str, HandSetting]) -> list[str]:
    """Return what a person must change between two cuts, in words."""
    gone = [f"take off {each.what}" for what, each in before.items() if what not in now and each.do == "fit"]
    found = gone + [str(each) for what, each in now.items() if before.get(what) != each]
    return [_BEFORE_HANDS, *found, _AFTER_HANDS] if found else []


def _hand_work(trace: Trace, units: LengthUnit) -> dict[str, HandSetting]:
    """Return everything set by hand for a cut, the slides without an axis among it; depth by hand comes at its own stop."""
    slides = _held_slides(trace, trace.cut.lathe)
    into = trace.cut.approach.axis
    set_so = {name: mm for name, mm in slides.items() if name != into and (name != "y" or mm)}
    by_name = {name: HandSetting("set", f"{name} slide", show_length(mm, units)) for name, mm in set_so.items()}
    return {**by_hand(trace.cut, units), **by_name}


def _notes(trace: Trace, units: LengthUnit) -> tuple[str, ...]:
    cut = trace.cut
    at = cut.passed.at
    places = {name: getattr(at, name) for name in ("x", "y", "z", "depth")}
    slides = ", ".join(f"{name} {show_length(mm, units)}" for name, mm in places.items() if mm)
    if (arc := cut.passed.arc) is not None:
        way = f"from {format_number(arc.from_deg)} to {format_number(arc.to_deg)} deg, the cutter"
        way += " turning with it" if arc.cutter == "turns" else " keeping its direction"
        slides = f"along an arc of {show_length(arc.radius, units)} about {slides or 'zero'}, {way}"
    turns = f"{cut.passed.turns} spindle turn" + ("s" if cut.passed.turns != 1 else "")
    turns = turns if cut.passed.turns else "in and out again, the spindle still"
    cams = []
    for number, drive in enumerate(cut.passed.cams, 1):
        how = "on the spindle" if turns_with_spindle(drive, number, cut.lathe) else f"at ratio {show_ratio(drive.ratio)}"
        cams.append(f"{cam_name(drive, number)}: {drive.cam.kind}, {drive.cam.lobes} lobes, {how}")
    return (f"{turns}; {slides or 'tip at zero'}", *cams)


def _depth_steps(trace: Trace, feeds: Feeds, units: LengthUnit) -> tuple[Step, Step]:
    """Return how the tip goes into the work, and how it comes away: by its axis, or by hand where it has none."""
    name = trace.cut.approach.axis
    depth, axis = float(trace.axes[name][0]), trace.cut.lathe.axis(name)
    if axis is not None:
        return Feed({axis.letter: depth}, feeds.plunge), Rapid({axis.letter: _clear_of(trace.cut, feeds)})
    clear = show_length(feeds.clear, units)
    surface = "face" if name == "z" else "work"
    return (
        Prompt((f"feed the cutter in by hand to {name} {show_length(depth, units)}",)),
        Prompt((f"withdraw the cutter by hand, {clear} clear of the {surface}",)),
    )


def _leaves_wound(cut: Cut) -> bool:
    """Return whether a chuck does not stand at the end of a cut as it did: the spindle must be turned back before it is set."""
    vary = [each.comes_back for each in cut.lathe.chucks if each.chuck.varies]
    return any(not comes_back or cut.passed.turns % comes_back for comes_back in vary)


def _section(trace: Trace, prompt: Sequence[str], axes: Sequence[Axis], feeds: Feeds, units: LengthUnit) -> Section:
    """Return one cut's steps; after a stop the tip is sent clear again, for a person may have moved it."""
    moved = trace.axes
    moving = [axis for axis in axes if axis.moves in moved]
    feeds_in = trace.cut.approach.axis
    start: dict[str, float] = {axis.letter: float(moved[axis.moves][0]) for axis in moving if axis.moves != feeds_in}
    into, away = _depth_steps(trace, feeds, units)
    stop: list[Step] = [Prompt(tuple(prompt))] if prompt else []
    if prompt and isinstance(away, Rapid):
        stop.append(away)
    back = [Rapid({axis.letter: start[axis.letter] for axis in moving if axis.rotary})] if _leaves_wound(trace.cut) else []
    steps = (*stop, Rapid(start), into, *_timed(trace, moving, feeds.spindle_rpm), away, *back)
    section = Section(trace.cut.number, trace.cut.title, _notes(trace, units), steps)
    _check_travel(section, axes)
    return section


def program(
    title: str,
    traces: Sequence[Trace],
    feeds: Feeds | None = None,
    units: LengthUnit = "mm",
    piece: Piece | None = None,
) -> Program:
    """Return the program of a job.

    Nothing moves before a person has said that the lathe is set up. Each cut is approached with the tip clear of the
    work: everything else moves first, then the tip goes in. It is cut at constant spindle speed, and the tip is
    withdrawn before anything else moves. What a person must change between two cuts stops the program and is said.

    Parameters
    ----------
    title : str
        Of the job.
    traces : sequence of Trace
        The cuts in order, at least one.
    feeds : Feeds, optional
        How fast, and how far clear.
    units : "mm" or "inch"
        To write lengths in.
    piece : Piece, optional
        The work; needed where chucks tilt it, to know how far out its edges come.

    Returns
    -------
    Program
        With every axis that the lathe has and the job uses.

    Raises
    ------
    SettingError
        Where the lathe lacks a spindle axis, a move would pass the end of an axis, or ``clear`` is not clear.

    Examples
    --------
    >>> from lobework.carriage import Headstock
    >>> from lobework.lathe import Axis, Lathe
    >>> from lobework.passes import Cut, Pass
    >>> from lobework.slide import At
    >>> from lobework.trace import trace
    >>> axes = (Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z"))
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=axes)
    >>> ring = trace(Cut(number=1, passed=Pass(name="ring", at=At(x=24.0, depth=0.4)), lathe=lathe))
    >>> [type(step).__name__ for step in program("Lid", [ring]).sections[0].steps]
    ['Prompt', 'Rapid', 'Rapid', 'Feed', 'Timed', 'Rapid']
    """
    feeds = feeds or Feeds()
    require(len(traces) > 0, "traces", len(traces), "one or more", "give the job a pass")
    lathe = traces[0].cut.lathe
    axes = _used_axes(traces, lathe)
    _check_clear(traces, feeds, piece)
    settings = [_hand_work(trace, units) for trace in traces]
    prompts = [_READY, *(_changes(before, now) for before, now in itertools.pairwise(settings))]
    sections = [_section(trace, prompt, axes, feeds, units) for trace, prompt in zip(traces, prompts, strict=True)]
    _, away = _depth_steps(traces[0], feeds, units)
    if isinstance(away, Prompt):
        sections[0] = replace(sections[0], steps=(away, *sections[0].steps))
    return Program(
        title=title, lathe=lathe, axes=axes, feeds=feeds, units=units, sections=tuple(sections), approach=traces[0].cut.approach
    )
