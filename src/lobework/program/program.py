"""The program for a controller: its steps and their timing, independent of the file format."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.errors import SettingError, require
from lobework.lathe.clearance import highest_z, largest_offset, reach_of
from lobework.lathe.hand_settings import (
    HandSetting,
    by_hand,
    cam_name,
    feed_in,
    on_one_circle,
    show_length,
    show_place,
    show_ratio,
    turns_with_spindle,
    withdraw,
)
from lobework.parts.feeds import Feeds
from lobework.program.blocks import Grid, blocks_of
from lobework.program.steps import Dwell, Feed, Program, Prompt, Rapid, Section, Step, Timed
from lobework.program.timing import SlowDown, limits_of
from lobework.quantities.tolerances import JOIN_MM
from lobework.quantities.units import MM_PER, LengthUnit, format_number
from lobework.sheets.directions import DIRECTIONS, directions, trials
from lobework.sheets.zeros import ZEROS, refits, zero_again, zero_steps
from lobework.text.cautions import AFTER_HANDS, BEFORE_HANDS, READY

if TYPE_CHECKING:
    from lobework.kinematics.motion import Motion
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Axis, Lathe
    from lobework.lathe.passes import Cut
    from lobework.parts.protocols import Piece
    from lobework.program.steps import Setup

__all__ = ["Dwell", "Feed", "Feeds", "Program", "Prompt", "Rapid", "Section", "Step", "Timed", "how_slow", "program"]

_FINER: Final = 8
"""Points per interval of a trace at which the tip is checked for its lowest position."""


def _used_axes(traces: Sequence[Trace], lathe: Lathe) -> tuple[Axis, ...]:
    """Return the axes that the job uses, in the lathe's order."""
    used = {name for trace in traces for name in trace.motion.axes(np.zeros(1))}
    if any(trace.cut.passed.turns for trace in traces):
        lathe.need("spindle", "a program turns the spindle")
    return tuple(axis for axis in lathe.axes if axis.moves in used)


def _outermost_reach(trace: Trace, piece: Piece | None) -> float:
    """Return the greatest reach of the work towards the cutter at any cam angles, as a position of the infeed slide, mm."""
    motion, approach = trace.motion, trace.cut.approach
    turns = float(math.ceil(motion.cut.passed.turns or 1))
    begins = _start_turns(motion)
    tilted = highest_z(piece, motion.cut.lathe, turns, begins) if piece is not None and motion.still is None else None
    pushes = motion.endways if approach.axis == "z" else motion.sideways
    peak = pushes.peak
    if piece is not None and tilted is not None:
        return peak + (reach_of(piece, motion.cut.lathe, turns, begins) if approach.axis == "x" else tilted)
    if approach.axis == "x":
        return approach.surface + _eccentricity(motion) + peak
    return float((motion.tip(trace.u)[:, 2] - trace.z - pushes.at(trace.u)).max()) + peak


def _eccentricity(motion: Motion) -> float:
    """Return the greatest distance, mm, from the spindle's axis to which the chucks carry the middle of the work."""
    return largest_offset(motion.cut.lathe, float(math.ceil(motion.cut.passed.turns or 1)), _start_turns(motion))


def _start_turns(motion: Motion) -> float:
    """Return the spindle's position at the start of the pass, turns."""
    return float(motion.cut.passed.spindle.in_turns())


def _clear_position(cut: Cut, feeds: Feeds) -> float:
    """Return the position of the infeed slide at which the tip is clear of the work, mm."""
    return cut.approach.surface + feeds.clear


def _check_clear(traces: Sequence[Trace], feeds: Feeds, units: LengthUnit, piece: Piece | None) -> None:
    """Raise `SettingError` if the clear position is not beyond the work by more than tolerance and rounding error."""

    def high(trace: Trace) -> float:
        approach = trace.cut.approach
        feeds_in = trace.motion.tip(trace.u)[:, "xyz".index(approach.axis)]
        return max(float(feeds_in.max()), _outermost_reach(trace, piece)) - approach.surface

    most, cut = max(((high(trace), trace.cut) for trace in traces), key=lambda each: each[0])
    point, moving = ("highest", "face") if cut.approach.axis == "z" else ("outermost", "moving side")
    axis = cut.lathe.axis(cut.approach.axis)
    rounding = 0.5 * float(Grid.of([axis], cut.lathe.controller, units).step[0]) if axis is not None else 0.0
    near = feeds.tolerance + rounding
    margin = f"more than {show_length(near, units)} (tolerance and rounding) " if most < feeds.clear else ""
    among = f"cut {cut.number} ({cut.title}) or of the {moving} of the work"
    reaches = f"{margin}above {show_length(most, units)}, the {point} point of {among}"
    require(most < feeds.clear - near, "clear", feeds.clear / float(MM_PER[units]), reaches, "raise clear in [program]")


def _air_lift(trace: Trace, piece: Piece | None, air: float, feeds: Feeds) -> float:
    """Return the distance, mm, by which a cut is lifted so that the tip always stays at least ``air`` mm off the work."""
    within = np.linspace(0, len(trace.u) - 1, _FINER * (len(trace.u) - 1) + 1)
    u = np.interp(within, np.arange(len(trace.u)), trace.u)
    low = float(trace.motion.axes(u)[trace.cut.approach.axis].min()) - feeds.tolerance
    return max(_outermost_reach(trace, piece) + air - low, 0.0)


def _positions(step: Step) -> Iterator[tuple[str, float]]:
    """Yield the letter of each axis that a step moves, with its target, or its lowest and highest positions."""
    if isinstance(step, Timed):
        for letter, places in zip(step.letters, step.places.T, strict=True):
            yield letter, float(places.min())
            yield letter, float(places.max())
    elif isinstance(step, Rapid | Feed):
        yield from step.to.items()


def _check_travel(section: Section, axes: Sequence[Axis], units: LengthUnit) -> None:
    """Raise `SettingError` if a step would move an axis beyond its travel."""
    limits: dict[str, Axis] = {axis.letter: axis for axis in axes}
    for letter, place in (end for step in section.steps for end in _positions(step)):
        axis = limits[letter]
        if not axis.low - JOIN_MM <= place <= axis.high + JOIN_MM:
            past = axis.low if place < axis.low else axis.high
            goes, end = (f"{format_number(at)} deg" if axis.rotary else show_length(at, units) for at in (place, past))
            raise SettingError(
                f"cut {section.number} ({section.title}): {letter} would go to {goes}, but the travel of the lathe's "
                f"{axis.moves} axis ends at {end}",
                remedy="move the pass, or lower clear in [program]",
            )


def _hand_slides(trace: Trace, lathe: Lathe) -> dict[str, float]:
    """Return the positions, mm, of the slides without an axis, by name."""
    by_hand, moved = {}, trace.motion.tip(trace.u)
    for name, places in zip("xyz", moved.T, strict=True):
        if lathe.axis(name) is None:
            if np.ptp(places) > JOIN_MM:
                lathe.need(name, f"cut {trace.cut.number} ({trace.cut.title}) moves the {name} slide")
            by_hand[name] = float(places[0])
            _check_hand_slide(trace.cut, name, by_hand[name])
    return by_hand


def _check_hand_slide(cut: Cut, name: str, place: float) -> None:
    """Raise `SettingError` if a slide would have to be set by hand beyond its travel."""
    hand = cut.lathe.hand_axis(name)
    if hand is not None and not hand.low - JOIN_MM <= place <= hand.high + JOIN_MM:
        past = hand.low if place < hand.low else hand.high
        goes, end = (show_place(name, at, cut.lathe, cut.units) for at in (place, past))
        raise SettingError(
            f"cut {cut.number} ({cut.title}): the {name} slide would be set to {goes}, but its travel ends at {end}",
            remedy="move the pass",
        )


def _hand_changes(
    before: tuple[Cut, Mapping[str, HandSetting]], now: tuple[Cut, Mapping[str, HandSetting]], units: LengthUnit
) -> list[str]:
    """Return the instructions for the operator between two cuts."""
    (cut, was), (following, must_be) = before, now
    gone = [f"take off {each.what}" for what, each in was.items() if what not in must_be and each.do == "fit"]
    found = gone + [str(each) for what, each in must_be.items() if was.get(what) != each]
    found += zero_again(cut, following, units) if refits(cut, following) else ()
    return [BEFORE_HANDS, *found, AFTER_HANDS] if found else []


def _hand_settings(trace: Trace, cut: Cut, units: LengthUnit) -> dict[str, HandSetting]:
    """Return all settings by hand for a cut, including slides without an axis, but not its depth."""
    slides = _hand_slides(trace, cut.lathe)
    into = cut.approach.axis
    set_so = {name: mm for name, mm in slides.items() if name != into and (name != "y" or mm)}
    by_name = {name: HandSetting("set", f"{name} slide", show_place(name, mm, cut.lathe, units)) for name, mm in set_so.items()}
    return {**by_hand(cut, units), **by_name}


def _notes(trace: Trace, units: LengthUnit) -> tuple[str, ...]:
    """Return the remarks on a cut: its turns and slides, and each of its cams."""
    cut = trace.cut
    at = cut.passed.at
    places = {name: getattr(at, name) for name in ("x", "y", "z", "depth")}
    slides = ", ".join(f"{name} {show_length(mm, units)}" for name, mm in places.items() if mm)
    if (arc := cut.passed.arc) is not None:
        angles = f"from {format_number(arc.from_deg)} to {format_number(arc.to_deg)} deg, the cutter"
        angles += " turning with it" if arc.cutter == "turns" else " keeping its direction"
        slides = f"along an arc of {show_length(arc.radius, units)} about {slides or 'zero'}, {angles}"
    if (template := cut.passed.template) is not None:
        source = template.source or f"{len(template.points)} points"
        slides = f"guided by a template, {source}" + (f"; {slides}" if slides else "")
    turns = f"{cut.passed.turns} spindle turn" + ("s" if cut.passed.turns != 1 else "")
    turns = (
        turns if cut.passed.turns else f"{'the slides move' if cut.span else 'plunge and retract only'}, the spindle stands still"
    )
    cams = []
    for number, drive in enumerate(cut.passed.cams, 1):
        how = "on the spindle" if turns_with_spindle(drive, number, cut.lathe) else f"at ratio {show_ratio(drive.ratio)}"
        cams.append(f"{cam_name(drive, number)}: {drive.cam.kind}, {drive.cam.lobes} lobes, {how}")
    return (f"{turns}; {slides or 'tip at zero'}", *cams)


def _depth_steps(cut: Cut, depth: float, plunge: float, feeds: Feeds, units: LengthUnit) -> tuple[Step, Step]:
    """Return the steps that move the tip into the work and out of it: by the axis of the infeed slide, otherwise by hand."""
    name = cut.approach.axis
    if (axis := cut.lathe.axis(name)) is not None:
        return Feed({axis.letter: depth}, plunge), Rapid({axis.letter: _clear_position(cut, feeds)})
    return Prompt((feed_in(cut, depth, units),)), Prompt((withdraw(cut, feeds.clear, units),))


def _plunge_rate(cut: Cut, far: float, feeds: Feeds) -> float:
    """Return the speed of a plunge over ``far`` mm from rest to rest, mm a minute."""
    axis = cut.lathe.axis(cut.approach.axis)
    if axis is None:
        return feeds.plunge
    (top,), (most,) = limits_of([axis])
    return min(feeds.plunge, 60 * float(top), 60 * math.sqrt(most * far))


def _must_turn_back(cut: Cut) -> bool:
    """Return whether the spindle must be turned back after a cut, because a chuck is not at its starting position."""
    vary = [each.period_turns for each in cut.lathe.chucks if each.is_dynamic]
    return any(not period_turns or cut.passed.turns % period_turns for period_turns in vary)


def _section(
    trace: Trace, prompt: Sequence[str], axes: Sequence[Axis], feeds: Feeds, units: LengthUnit, lift: float, frame: str
) -> tuple[Section, float]:
    """Return the section of one cut and its greatest deviation, mm; the tip moves clear before any other axis moves."""
    cut = trace.cut
    begins = trace.motion.axes(np.zeros(1))
    moving = [axis for axis in axes if axis.moves in begins]
    grid = Grid.of(moving, cut.lathe.controller, units)
    blocks = blocks_of(trace, moving, feeds, units) if cut.span else None
    depth = float(begins[cut.approach.axis][0])
    here = np.array([[float(begins[axis.moves][0]) for axis in moving]])
    places = blocks.places if blocks is not None else grid.nearest(here)
    into = next((a for a, axis in enumerate(moving) if axis.moves == cut.approach.axis), None)
    if lift and into is not None:
        places = places.copy()
        places[:, into] += math.ceil(lift / grid.step[into]) * grid.step[into]
        places = grid.nearest(places)
    depth = depth + lift if into is None else float(places[0, into])
    starts: dict[str, float] = {axis.letter: float(place) for axis, place in zip(moving, places[0], strict=True)}
    others: dict[str, float] = {axis.letter: starts[axis.letter] for axis in moving if axis.moves != cut.approach.axis}
    steps: list[Step] = [Prompt(tuple(prompt))] if prompt else []
    clear = _clear_position(cut, feeds)
    if into is not None:
        clear = float(grid.nearest(np.where(np.arange(len(moving)) == into, clear, here))[0, into])
    plunge = _plunge_rate(cut, clear - depth, feeds)
    inward, away = _depth_steps(cut, depth, plunge, feeds, units)
    if isinstance(away, Rapid):
        steps.append(away)
    steps += [Rapid(others), inward]
    if feeds.dwell or (blocks is not None and isinstance(inward, Feed)):
        steps.append(Dwell(feeds.dwell))
    if blocks is not None and blocks.seconds.size:
        steps.append(Timed(blocks.seconds / 60, tuple(axis.letter for axis in moving), places[1:]))
    steps.append(away)
    if _must_turn_back(cut):
        steps.append(Rapid({axis.letter: others[axis.letter] for axis in moving if axis.rotary}))
    slows = None if blocks is None else blocks.slows
    notes = [*_notes(trace, units), *([f"best angle of the frame: {frame}"] if frame else [])]
    notes += [how_slow(slows, trace, feeds, units)] if slows else []
    section = Section(cut.number, cut.title, tuple(notes), tuple(steps), slows, starts)
    _check_travel(section, axes, units)
    return section, 0.0 if blocks is None else blocks.max_deviation


def how_slow(slows: SlowDown, trace: Trace, feeds: Feeds, units: LengthUnit) -> str:
    """Return a text that names the stretch where a cut is slower than its target speed, and the limit that causes this."""
    cut, axis = trace.cut, slows.axis
    by_feed = feeds.pace == "cutter" or not cut.passed.turns
    rate = slows.rate * (feeds.feed if by_feed else feeds.spindle_rpm)
    speed = f"{show_length(float(f'{rate:.3g}'), units)} a minute" if by_feed else f"{rate:.3g} turns a minute"
    start, end = (f"{u:.4g}" if cut.passed.turns else f"{100 * u / cut.span:.3g}" for u in (slows.start, slows.end))
    where = f"between {start} and {end} {'turns' if cut.passed.turns else 'per cent of the cut'}"
    if slows.start == 0 and slows.end == cut.span:
        where = "throughout"
    limit = "top speed" if slows.by_speed else "acceleration"
    more = f", and in {slows.times - 1} more stretches" if slows.times > 1 else ""
    return f"slows to {speed} {where}, limited by the {limit} of {axis.moves} ({axis.letter}){more}"


def program(
    title: str,
    traces: Sequence[Trace],
    feeds: Feeds | None = None,
    units: LengthUnit = "mm",
    piece: Piece | None = None,
    *,
    air: float = 0.0,
    setup: Setup = (),
    frames: Mapping[int, str] = MappingProxyType({}),
) -> Program:
    """Return the program of a job.

    Nothing moves before the operator confirms that the lathe is set up. At the start of each cut the tip is clear of the work:
    everything else moves first, then the tip plunges and dwells. The cut runs at the target speed, or slower if an axis limits
    it, and the tip is withdrawn before anything else moves. If the operator must change something between two cuts, the program
    stops and shows the instructions. The program can be started from any cut.

    Parameters
    ----------
    title : str
        Title of the job.
    traces : sequence of Trace
        The cuts in order, at least one.
    feeds : Feeds, optional
        Speeds, tolerance and clearance.
    units : "mm" or "inch"
        Unit of lengths in the program.
    piece : Piece, optional
        The work; needed to find the reach of its edges if chucks tilt the work.
    air : float, mm
        Least distance of the tip from the work in a trial in air (dry run); zero if the program cuts.
    setup : tuple, optional
        Settings that are listed at the head of the program.
    frames : mapping, optional
        Best angle of a cutting frame, by the number of a cut: see `lobework.checks.cutting_frame.frame_by_cut`.

    Returns
    -------
    Program
        The program, with every axis of the lathe that the job uses.

    Raises
    ------
    SettingError
        If the lathe lacks a spindle axis, a move would go beyond the travel of an axis, ``clear`` is within reach of the work, or
        the tolerance is finer than the controller's decimals.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.lathe.lathe import Axis, Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> from lobework.parts.slide import At
    >>> from lobework.kinematics.trace import trace
    >>> axes = (Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z"))
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=axes)
    >>> ring = trace(Cut(number=1, passed=Pass(name="ring", at=At(x=24.0, depth=0.4)), lathe=lathe))
    >>> [type(step).__name__ for step in program("Lid", [ring]).sections[0].steps]
    ['Prompt', 'Rapid', 'Rapid', 'Feed', 'Dwell', 'Timed', 'Rapid']
    """
    feeds = feeds or Feeds()
    require(len(traces) > 0, "traces", len(traces), "one or more", "give the job a pass")
    require(0 <= air < math.inf, "air", air, "zero or more", "write a distance from the work, such as 5 mm")
    lathe = traces[0].cut.lathe
    axes = _used_axes(traces, lathe)
    _check_clear(traces, feeds, units, piece)
    lifts = [_air_lift(trace, piece, air, feeds) if air else 0.0 for trace in traces]
    feeds = replace(feeds, clear=feeds.clear + max(lifts))
    by_pass = itertools.groupby((trace.cut for trace in traces), key=lambda cut: cut.group)
    cuts = [cut for _, same in by_pass for cut in on_one_circle(list(same))]
    settings = [(cut, _hand_settings(trace, cut, units)) for trace, cut in zip(traces, cuts, strict=True)]
    tried = trials(axes) if air else ()
    ready = (*READY[:2], *tried, *READY[2:])
    prompts = [ready, *(_hand_changes(before, now, units) for before, now in itertools.pairwise(settings))]
    made = [
        _section(trace, prompt, axes, feeds, units, lift, frames.get(trace.cut.number, ""))
        for trace, prompt, lift in zip(traces, prompts, lifts, strict=True)
    ]
    sections = [section for section, _ in made]
    _, away = _depth_steps(traces[0].cut, 0.0, feeds.plunge, feeds, units)
    if isinstance(away, Prompt):
        sections[0] = replace(sections[0], steps=(away, *sections[0].steps))
    return Program(
        title=title,
        lathe=lathe,
        axes=axes,
        feeds=feeds,
        units=units,
        sections=tuple(sections),
        approach=traces[0].cut.approach,
        air=air,
        max_deviation=max(max_deviation for _, max_deviation in made),
        setup=setup,
        opening_groups=((DIRECTIONS, directions(cuts)), (ZEROS, zero_steps(cuts[0], units))),
    )
