"""The proof: a program is read and run on the lathe's model, and the result is compared with the job."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from lobework.checks.check import Finding
from lobework.checks.jumps import jump_findings
from lobework.errors import SettingError, TooLargeError, require
from lobework.geometry.continuity import all_finite
from lobework.kernels.rs274.block_kinds import ARC, DWELL, FEED, RAPID, STOP
from lobework.parts.abilities import seen_on
from lobework.proof.air import with_hand_feed, with_lift
from lobework.proof.clearance import clear_findings, end_findings, resolution
from lobework.proof.compare import SHARE, Comparison, Model, compare, initial_pieces, model_of
from lobework.proof.contact import contact_test, surely_clear
from lobework.proof.dialect import axis_findings, controller_findings, remark_findings, unit_findings
from lobework.proof.direction import direction_findings
from lobework.proof.limits import axis_uses, limit_findings
from lobework.proof.order import begins_run, order_findings
from lobework.proof.pace import Pace
from lobework.proof.partition import cut_groups, fits_in_one_part, parts_of
from lobework.proof.reader import LETTERS, Reading, Remark, read
from lobework.proof.replay import Moves, feed_moves, replay, with_model_signs
from lobework.proof.report import Deviation, Proof, fine, place
from lobework.proof.sampling import Samples, TooFarError, sample
from lobework.proof.setups import SetUp, hand_work, match, set_ups, stretches_of
from lobework.proof.stops import Halt, HandWork, halt_findings, halts_of, opening_findings
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Lathe
    from lobework.parts.feeds import Feeds
    from lobework.parts.protocols import Cutter, Piece
    from lobework.quantities.units import LengthUnit

__all__ = ["SHARE", "prove"]

_MISFIT_MOVES: Final = 24
_MISFIT_PLACES: Final = (0.37, 1.0)
_RAPID_MM: Final = 0.02
_BATCH: Final = 20_000
_DWELL_ROUNDING_S: Final = 1e-3
"""Allowance for the rounding of a dwell's word."""
_SPAN_MM: Final = 0.25
"""Greatest distance between two samples, so that a straight move through the work from air to air is detected."""
_MAJORITY: Final = 0.5


def prove(
    program: bytes,
    traces: Sequence[Trace],
    piece: Piece,
    cutter: Cutter,
    *,
    tolerance: float,
    title: str = "",
    units: LengthUnit = "mm",
    feeds: Feeds | None = None,
    air: float = 0.0,
) -> Proof:
    r"""Prove a program: read it back, run it on the lathe's model, and compare it with its job.

    Parameters
    ----------
    program : bytes
        RS274/NGC, within the supported subset of the standard.
    traces : sequence of Trace
        Traces of the job's cuts, one or more; chord tolerance: `SHARE` of the tolerance.
    piece : Piece
        The work.
    cutter : Cutter
        The cutter.
    tolerance : float, mm
        Greatest allowed deviation of the program's path on the work from the job's.
    title : str
        Title of the job.
    units : "mm" or "inch"
        Unit of the job: for messages, and for a program without G20 and G21.
    feeds : Feeds, optional
        Feeds, dwell and clearance of the job; if absent, they are not compared.
    air : float, mm
        For a trial in air (dry run): least distance from the work. The lift is removed before the paths are compared.

    Returns
    -------
    Proof
        The result of the proof.

    Raises
    ------
    SettingError
        If the tolerance is not above zero, or a path is not finite.
    TooLargeError
        If the program is too long to be read, or a move is too long to be sampled.

    Examples
    --------
    >>> from lobework.parts.headstock import Headstock
    >>> from lobework.parts.cutter import Pen
    >>> from lobework.lathe.lathe import Axis, Lathe
    >>> from lobework.lathe.passes import Cut, Pass
    >>> from lobework.parts.piece import Disc
    >>> from lobework.parts.slide import At
    >>> from lobework.kinematics.trace import trace
    >>> axes = (Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z"))
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=axes)
    >>> ring = trace(Cut(number=1, passed=Pass(at=At(x=20.0, depth=0.2)), lathe=lathe), chord=2.5e-4)
    >>> from lobework.text.cautions import READY
    >>> opening = f"(MSG, {'; '.join(READY)})\nM0\n".encode()
    >>> program = opening + b"G21 G61 G90\nG0 Z5\nG0 X20 C0\nG1 Z-0.2 F60\nG93\nG1 C360 F2\nG94\nG0 Z5\nM2\n"
    >>> proof = prove(program, [ring], Disc(diameter=60.0, thickness=8.0), Pen(), tolerance=0.005)
    >>> proof.proved, proof.deviation.mm < 0.0003, proof.cutting
    (True, True, 0.5866666666666667)
    """
    require(0 < tolerance < math.inf, "tolerance", tolerance, "above zero, such as 0.005 mm")
    lathe = traces[0].cut.lathe
    for trace in traces:
        if not all(all_finite(each) for each in (trace.x, trace.y, trace.z)):
            raise SettingError(
                "the path of the job is not finite, so no program can be compared with it", where=f"pass[{trace.cut.group}]"
            )
    reading = read(program, units, longest=lathe.controller.longest_line)
    wrong = (*reading.wrong, *_unknown_axes(reading, lathe))
    if wrong:
        return Proof(title=title, units=units, allowed=tolerance, wrong=tuple(sorted(wrong, key=lambda each: each.line)))
    run = _ProofRun(reading, traces, piece, cutter, tolerance, units, feeds, air)
    del reading, wrong
    return run.proof(title)


def _unknown_axes(reading: Reading, lathe: Lathe) -> Iterator[Remark]:
    """Yield an error for each axis that the program names and the lathe does not have."""
    has = {axis.letter for axis in lathe.axes}
    for letter, (_, line) in reading.named.items():
        if letter not in has:
            axes = ", ".join(f"{axis.letter} {axis.moves}" for axis in lathe.axes) or "none"
            text = reading.text(line)
            yield Remark(line, "wrong", f"{text!r}: lathe {lathe.name!r} has no axis {letter}; it has: {axes}")


class _ProofRun:
    """One program, run on the model of one job's lathe."""

    def __init__(
        self,
        reading: Reading,
        traces: Sequence[Trace],
        piece: Piece,
        cutter: Cutter,
        tolerance: float,
        units: LengthUnit,
        feeds: Feeds | None,
        air: float,
    ) -> None:
        self.reading, self.traces, self.units, self.tolerance = reading, traces, units, tolerance
        self.piece, self.cutter, self.feeds, self.air = piece, cutter, feeds, air
        self.lathe, self.into = traces[0].cut.lathe, traces[0].cut.approach.axis
        self.in_contact = contact_test(piece, cutter, tolerance)
        self.too_near = contact_test(piece, cutter, max(air - tolerance, tolerance)) if air else self.in_contact
        self.letters: dict[str, str] = {axis.letter: axis.moves for axis in self.lathe.axes if axis.letter in reading.named}
        self.columns = [LETTERS.index(letter) for letter in self.letters]
        self.blocks = with_model_signs(reading.blocks, self.lathe)
        self.moves = replay(self.blocks, self.lathe, self.into)
        self.fed_by_hand = self.lathe.axis(self.into) is None
        self.halts = halts_of(reading, self.blocks, self.lathe)
        if self.fed_by_hand:
            self.moves = self.moves.with_hand_cuts([each for each in self.halts if each.feeds_in])
        self.feed = feed_moves(self.moves, self.into)
        if air and not self.fed_by_hand:
            self.feed = with_lift(self.feed, traces, self.into)
        self.end, self.last_line = self.blocks.end[-1:].copy(), int(self.blocks.line[-1]) if self.blocks.line.size else 0
        none = np.zeros((0, len(LETTERS)))
        self.blocks = replace(self.blocks, start=none, end=none, arc=none)
        self.reading = replace(reading, blocks=self.blocks)
        self.setups = set_ups(traces)
        self.stretches = stretches_of(self.feed.stretch)
        times = [self._times_in(each) for each in self.stretches]
        self.which = match(times, [len(each.traces) for each in self.setups], self._misfit)
        self.surface = traces[0].cut.approach.surface
        self.pace = None if feeds is None else Pace(feeds, self.lathe, self.into, units)

    def model(self, setup: SetUp) -> Model:
        """Return the lathe's model in one set-up: a function from (n, 6) axis positions to tip positions on the work."""
        return model_of(setup.motion, self.columns, list(self.letters.values()))

    def samples(self, setup: SetUp, moves: Moves, chord: float, model: Model | None = None) -> Samples:
        """Return samples of the path of moves in one set-up."""
        pieces = initial_pieces(setup.motion, moves.start, moves.end, self.letters)
        try:
            return sample(model or self.model(setup), moves.start, moves.end, pieces, chord, _SPAN_MM)
        except TooFarError as far:
            line = int(moves.line[far.move])
            problem = f"{self.reading.text(line)!r}: the move is too long to be checked"
            raise TooLargeError(problem, where=f"line {line}", remedy="check the numbers on this line") from None

    def _times_in(self, stretch: slice) -> int:
        """Return the number of times that the tip enters the work in a stretch."""
        return int(self.feed.begins[stretch][1:].sum()) + 1

    def _misfit(self, i: int, k: int) -> float:
        """Return the fraction of a stretch that is off the path of a set-up, 0 to 1."""
        chosen = _indices(self.stretches[i])
        part = self.feed.of(chosen[np.linspace(0, chosen.size - 1, _MISFIT_MOVES).astype(np.int64)])
        part = part.of(~self._plunges(part))
        if not len(part.line):
            return 0.0
        setup = self.setups[k]
        places = np.concatenate([part.start + share * (part.end - part.start) for share in _MISFIT_PLACES])
        far, _, _ = setup.target.nearest(self.model(setup)(places), self.tolerance)
        return float((~(far <= 2 * self.tolerance)).mean())

    def _plunges(self, moves: Moves) -> NDArray[np.bool_]:
        """Return which moves move the tip straight in or out."""
        moved = moves.start != moves.end
        plunges: NDArray[np.bool_] = moved[:, LETTERS.index(self.into.upper())] & (moved.sum(axis=1) == 1)
        return plunges

    def _in_air(self, setup: SetUp, points: Array) -> NDArray[np.bool_]:
        """Return which of (n, 3) positions are neither on the path of a set-up nor in the work."""
        off = np.ones(len(points), bool)
        for group in [setup] if fits_in_one_part(setup) else cut_groups(setup):
            off &= ~(group.target.nearest(points, self.tolerance, 4 * self.tolerance)[0] <= self.tolerance)
        off[off] = ~self.in_contact(points[off])
        return off

    def _counted(self, setup: SetUp, moves: Moves, samples: Samples) -> NDArray[np.bool_]:
        """Return which samples count as cut: all except those of plunges and retracts, and the deepest sample of each plunge.

        If a plunge ends in the air, all of its samples count, because the tip may have passed through the work.
        """
        plunges = self._plunges(moves)
        column = LETTERS.index(self.into.upper())
        start, end = moves.start[:, column], moves.end[:, column]
        onward = np.zeros(len(start), bool)
        onward[1:] = plunges[1:] & plunges[:-1] & (moves.start[1:] == moves.end[:-1]).all(axis=1)
        run = np.cumsum(~onward) - 1
        lowest = np.full(len(run), math.inf)
        np.minimum.at(lowest, run, np.minimum(start, end))
        at, part = samples.move, samples.part
        stands = np.where(part == 1.0, end[at], np.where(part == 0.0, start[at], math.inf))
        deepest = plunges[at] & (stands == lowest[run[at]])
        ends, beyond = np.flatnonzero(deepest), np.zeros(len(run), bool)
        beyond[run[at[ends[self._in_air(setup, samples.points[ends])]]]] = True
        counts: NDArray[np.bool_] = ~plunges[at] | deepest | beyond[run[at]]
        return counts

    def path(self) -> Iterator[tuple[SetUp, Comparison, list[Finding]]]:
        """Yield the parts of each set-up, with the comparison of their paths and further findings."""
        for k, setup in enumerate(self.setups):
            mine = [_indices(self.stretches[i]) for i, to in enumerate(self.which) if to == k]
            which = np.concatenate(mine) if mine else np.zeros(0, np.int64)
            results = []
            for part, some in parts_of(setup, self.feed, which, self.model(setup), self.tolerance):
                results.append(self._comparison(part, self.feed.of(some)))
                if (
                    len(part.traces) < len(setup.traces)
                    and not self._within_tolerance(results[-1][1])
                    and fits_in_one_part(setup, which.size)
                ):
                    results = [self._comparison(setup, self.feed.of(which))]
                    break
            yield from results

    def _within_tolerance(self, outcome: Comparison) -> bool:
        """Return whether the deviations are within the tolerance, in both directions."""
        cut = outcome.program_deviation is None or outcome.program_deviation.mm <= self.tolerance
        return cut and all(each.mm <= self.tolerance for each in outcome.job_deviations)

    def _comparison(self, setup: SetUp, moves: Moves) -> tuple[SetUp, Comparison, list[Finding]]:
        columns = dict(zip(self.letters.values(), self.columns, strict=True))
        samples = self.samples(setup, moves, SHARE * self.tolerance)
        counts = self._counted(setup, moves, samples)
        outcome = compare(setup, moves, counts, samples, self.tolerance, self.model(setup), self.in_contact)
        findings = list(direction_findings(setup, moves, samples, counts, columns, self.cutter, self.tolerance))
        sound = self._within_tolerance(outcome)
        order = list(order_findings(setup, moves, samples, 2 * self.tolerance)) if sound and len(setup.traces) > 1 else []
        if self.pace is not None and self.feeds is not None:
            runs = int(begins_run(moves).sum())
            one_each = sound and not order and runs == len(setup.traces)
            clear = self.surface + self.feeds.clear
            self.pace.add(setup, moves, samples, self.tolerance, clear, sound=sound, one_each=one_each)
        return SetUp(setup.traces), outcome, [*findings, *order]

    def stop_findings(self) -> Iterator[Finding]:
        """Yield a finding for each set-up that the program begins without a stop."""
        for k in range(1, len(self.setups)):
            before = [i for i, to in enumerate(self.which) if to < k]
            if k in self.which or not before:
                continue
            stretch = self.stretches[before[-1]]
            expected = len(self.setups[self.which[before[-1]]].traces)
            begins = np.flatnonzero(self.feed.begins[stretch][1:]) + 1
            if begins.size < expected:
                continue
            cut = self.setups[k].first
            must = hand_work(self.setups[k - 1].traces[-1].cut, cut, self.units)
            message = f"the program does not stop before cut {cut.number} ({cut.title}), where the operator must: {must}"
            yield Finding(
                kind="stop", level="problem", where=f"line {self.feed.line[stretch][begins[expected - 1]]}", message=message
            )

    def hand_findings(self) -> Iterator[Finding]:
        """Yield findings about the messages of stops, and about stops at which the tip is not clear."""
        clear = self.feeds.clear if self.feeds is not None and not self.air else None
        hands = HandWork(self.traces, self.lathe, self.units, clear)
        yield from opening_findings(self.halts, self.blocks, hands, self.traces[0].cut.number)
        done = 0
        for i, (stretch, k) in enumerate(zip(self.stretches, self.which, strict=True)):
            first = int(self.feed.stretch[stretch.start])
            halts = [each for each in self.halts if done < each.stops <= first]
            where, now = f"line {self.feed.line[stretch.start]}", self.setups[k].first.number
            if i and k > self.which[i - 1]:
                yield from hands.between(halts, self.setups[k - 1].traces[-1].cut.number, now, where)
            elif i:
                yield from hands.unneeded(halts, now)
            else:
                yield from hands.first(halts, now, where)
            done = first
        if self.which:
            rest = [each for each in self.halts if each.stops > done]
            number = self.setups[self.which[-1]].traces[-1].cut.number
            yield from hands.last(rest, number, f"line {self.feed.line[-1]}")
        if self.fed_by_hand:
            yield from self._moves_while_fed_in()
        elif self.which:
            yield from halt_findings([each for each in self.halts if self._tip_known(each)], self._tip_in_work, self._tip_clear)

    def _moves_while_fed_in(self) -> Iterator[Finding]:
        """Yield a finding if there is a rapid move while the cutter is fed in by hand."""
        fast = self.moves.of(self.moves.rapid & (self.moves.start != self.moves.end).any(axis=1))
        inside = np.flatnonzero(np.isin(fast.stretch, self.feed.stretch))
        if inside.size:
            message = "a rapid move with the cutter fed in by hand; stop first, so that the operator can withdraw the cutter"
            yield Finding(kind="clear", level="problem", where=f"line {fast.line[inside[0]]}", message=message)

    def _tip_known(self, halt: Halt) -> bool:
        """Return whether the position of the tip is known at a halt."""
        at, _ = self.reading.named.get(self.into.upper(), (math.inf, 0))
        return at < halt.first

    def _tip_in_work(self, halt: Halt) -> bool:
        """Return whether the tip is in the work at a halt, in the set-up before the halt or after it."""
        numbers = [int(self.feed.stretch[each.start]) for each in self.stretches]
        i = int(np.searchsorted(numbers, halt.stops))
        beside = {self.which[min(max(j, 0), len(numbers) - 1)] for j in (i - 1, i)}
        return any(bool(self.too_near(self.model(self.setups[k])(halt.position[None]))[0]) for k in beside)

    def _tip_clear(self, halt: Halt) -> bool:
        """Return whether the tip has the job's clearance at a halt."""
        stands = float(halt.position[LETTERS.index(self.into.upper())])
        return self.feeds is None or stands >= self.surface + self.feeds.clear - self._slack

    @property
    def _slack(self) -> float:
        return self.tolerance + resolution(self.lathe.controller.slide_places, self.units)

    def clear_findings(self) -> Iterator[Finding]:
        """Yield findings about the clearance of the tip during rapid moves and at the end of the program."""
        if self.fed_by_hand or not len(self.moves.line):
            return
        level = self.surface + self.feeds.clear if self.feeds is not None else -math.inf
        yield from clear_findings(
            self.moves, self.into, self.reading.named.get(self.into.upper()), level, self._slack, self.units
        )
        setup = self.setups[self.which[-1] if self.which else -1]
        place_of = self.model(setup)
        yield from end_findings(
            self.end,
            self.last_line,
            self.into,
            level,
            self._slack,
            lambda at: self.too_near(place_of(at)),
            self.units,
        )

    def time_findings(self) -> Iterator[Finding]:
        """Yield findings about speeds, durations and dwells that differ from those of the job."""
        if self.pace is None or self.feeds is None:
            return
        waits = self.blocks.kind == DWELL
        yield from self.pace.findings(self.blocks.minutes[waits])
        if not self.feeds.dwell:
            return
        lines, gone = self.blocks.line[waits], np.append(0.0, np.cumsum(60 * self.blocks.minutes[waits]))
        run, at = np.cumsum(self.feed.begins) - 1, self.feed.at
        cutting = np.flatnonzero(~self.feed.plunges & (self.moves.seconds[at] > 0))
        _, first = np.unique(run[cutting], return_index=True)
        begins = cutting[first]
        before = np.where(at[begins] > 0, self.moves.line[np.maximum(at[begins] - 1, 0)], 0)
        waited = gone[np.searchsorted(lines, self.feed.line[begins], "right")] - gone[np.searchsorted(lines, before, "right")]
        short = np.flatnonzero(~(waited >= self.feeds.dwell - _DWELL_ROUNDING_S))
        if short.size:
            message = f"waits {format_number(float(waited[short[0]]), 3)} s before the cut; the job specifies "
            message += f"{format_number(self.feeds.dwell, 3)} s (dwell)"
            yield Finding(kind="time", level="problem", where=f"line {self.feed.line[begins[short[0]]]}", message=message)

    def air_findings(self) -> Iterator[Finding]:
        """Yield findings where a program for a trial in air has too little clearance from the work."""
        if not self.air or not self.which:
            return
        numbers = [int(self.feed.stretch[each.start]) for each in self.stretches]
        at = np.minimum(np.searchsorted(numbers, self.moves.stretch), len(numbers) - 1)
        known = ~self.moves.rapid | self._position_known()
        names, columns = list(self.letters.values()), list(self.columns)
        every = self.moves
        if self.fed_by_hand:
            names, columns = [*names, self.into], [*columns, LETTERS.index(self.into.upper())]
            every, known = with_hand_feed(every, self.halts, self.into), ~self.moves.rapid
        for k, setup in enumerate(self.setups):
            moves = every.of((np.asarray(self.which)[at] == k) & known)
            for some in np.array_split(np.arange(len(moves.line)), max(1, len(moves.line) // _BATCH)):
                mine = moves.of(some)
                samples = self.samples(setup, mine, _RAPID_MM, model_of(setup.motion, columns, names))
                struck = np.flatnonzero(self.too_near(samples.points))
                if struck.size:
                    deep = seen_on(self.piece, samples.points[struck])[:, 2]
                    worst = struck[int(deep.argmax())]
                    off = fine(max(-float(deep.max()), 0.0), self.units)
                    message = f"comes within {off} of the work, at {place(samples.points[worst], self.units)}; "
                    message += f"in air, the tip must stay {fine(self.air, self.units)} off"
                    where = f"line {mine.line[samples.move[worst]]}"
                    yield Finding(kind="air", level="problem", where=where, message=message)
                    break

    def touch_findings(self) -> Iterator[Finding]:
        """Yield findings for rapid moves that touch the work."""
        if self.lathe.axis(self.into) is None or not self.which:
            return
        fast = np.flatnonzero(self.moves.rapid & self._position_known())
        column = LETTERS.index(self.into.upper())
        numbers = [int(self.feed.stretch[each.start]) for each in self.stretches]
        at = np.minimum(np.searchsorted(numbers, self.moves.stretch[fast]), len(numbers) - 1)
        for k, setup in enumerate(self.setups):
            moves = self.moves.of(fast[np.asarray(self.which)[at] == k])
            nearest = np.minimum(moves.start[:, :3], moves.end[:, :3])
            moves = moves.of(~surely_clear(setup.motion, self.piece, nearest, self.tolerance))
            out = self._plunges(moves) & (moves.end[:, column] > moves.start[:, column])
            out[out] = ~self._in_air(setup, self.model(setup)(moves.start[out]))
            moves = moves.of(~out)
            samples = self.samples(setup, moves, _RAPID_MM)
            struck = np.flatnonzero(self.in_contact(samples.points))
            if struck.size:
                deep = seen_on(self.piece, samples.points[struck])[:, 2]
                worst = struck[int(deep.argmax())]
                contact = f"goes {fine(float(deep.max()), self.units)} deep into" if deep.max() > 0 else "touches the surface of"
                message = f"a rapid move {contact} the work, at {place(samples.points[worst], self.units)}"
                where = f"line {moves.line[samples.move[worst]]}"
                yield Finding(
                    kind="touch", level="problem", where=where, message=f"{message}; move the tip clear of the work first"
                )

    def _position_known(self) -> NDArray[np.bool_]:
        """Return for which moves the positions of all slides are known: after the program has named all, or after a feed move."""
        last = max((line for letter, (_, line) in self.reading.named.items() if letter in "XYZ"), default=0)
        first = int(self.feed.line[0]) if len(self.feed.line) else last
        known: NDArray[np.bool_] = self.moves.line > min(last, first)
        return known

    def proof(self, title: str) -> Proof:
        """Return the result of the proof."""
        max_deviation: list[Deviation] = []
        findings: list[Finding] = []
        whole = True
        for setup, outcome, more in self.path():
            findings += [*path_findings(setup, outcome, self.tolerance, self.units), *more]
            max_deviation += deviations(setup, outcome)
            whole &= max(outcome.missing, default=0.0) <= _MAJORITY
        uses = axis_uses(self.moves, [axis for axis in self.lathe.axes if axis.letter in self.letters], self.units)
        findings += [*jump_findings(self.traces), *self.stop_findings(), *self.hand_findings(), *self.clear_findings()]
        findings += [*self.touch_findings(), *self.air_findings(), *limit_findings(uses), *self.time_findings()]
        findings += controller_findings(self.reading, self.lathe.controller)
        if findings:
            findings += unit_findings(self.feed, self.letters, self.traces)
        findings += axis_findings(self.reading, self.lathe, self.traces)
        findings += remark_findings(self.reading, self.lathe.controller)
        blocks, seconds = self.reading.blocks, self.moves.seconds
        return Proof(
            title=title,
            units=self.units,
            allowed=self.tolerance,
            deviation=max(max_deviation, key=lambda each: (math.isnan(each.mm), each.mm), default=None),
            whole_path=whole,
            air=self.air,
            findings=tuple(sorted(findings, key=lambda each: ("problem", "warning", "note").index(each.level))),
            uses=tuple(uses),
            blocks=int(np.isin(blocks.kind, (RAPID, FEED, ARC)).sum()),
            stops=int((blocks.kind == STOP).sum()),
            cutting=float(seconds[~self.moves.rapid].sum()) / 60,
            whole=float(seconds.sum()) / 60 + float(blocks.minutes[blocks.kind == DWELL].sum()),
        )


def _indices(part: slice) -> NDArray[np.int64]:
    return np.arange(part.start, part.stop)


def path_findings(setup: SetUp, outcome: Comparison, tolerance: float, units: LengthUnit) -> Iterator[Finding]:
    """Yield findings where the program's path deviates from the job's, and for cuts of the job that are missing or deviate."""
    cuts = [each.cut for each in setup.traces]
    if outcome.program_deviation is not None and not outcome.program_deviation.mm <= tolerance:
        cut = cuts[outcome.program_deviation.cut]
        distance = f"{fine(outcome.program_deviation.mm, units)} off the path of cut {cut.number} ({cut.title})"
        message = f"cuts {distance}, at {place(outcome.program_deviation.place, units)}"
        yield Finding(kind="path", level="problem", where=f"line {outcome.program_deviation.line}", message=message)
    missing = [cut for cut, part in zip(cuts, outcome.missing, strict=True) if not part <= _MAJORITY]
    if missing:
        first, last = missing[0], missing[-1]
        where = f"cut {first.number} ({first.title})"
        if len(missing) > 1:
            some = "cuts" if last.number - first.number < len(missing) else f"{len(missing)} of the cuts"
            where = f"{some} {first.number} to {last.number}"
        message = "is missing" if len(missing) == 1 else "are missing"
        yield Finding(kind="path", level="problem", where=where, message=f"{message}: the program does not cut there")
    for cut, deviation in zip(cuts, outcome.job_deviations, strict=True):
        if not deviation.mm <= tolerance and cut not in missing:
            nearest = f"the nearest cut in the program is on line {deviation.line}"
            message = f"deviates by {fine(deviation.mm, units)} from the job, at {place(deviation.place, units)}; {nearest}"
            yield Finding(kind="path", level="problem", where=f"cut {cut.number} ({cut.title})", message=message)


def deviations(setup: SetUp, outcome: Comparison) -> list[Deviation]:
    """Return the greatest deviation of each cut that is not missing, and the greatest deviation of the program's path."""
    there = [deviation for deviation, part in zip(outcome.job_deviations, outcome.missing, strict=True) if part <= _MAJORITY]
    findings = []
    for each in [*there, *([outcome.program_deviation] if outcome.program_deviation is not None else [])]:
        cut = setup.traces[each.cut].cut
        findings.append(Deviation(each.mm, each.line, cut.number, each.u, cut.passed.turns > 0, each.place))
    return findings
