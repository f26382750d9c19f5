"""Reads a program, carries it out on the lathe's model, and compares what it cuts with the job."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from lobework.check import Finding
from lobework.errors import TooLargeError, require
from lobework.kinds import seen_on
from lobework.proof.compare import SHARE, Compared, Model, compared, pieces_of, placed
from lobework.proof.direction import direction_findings
from lobework.proof.limits import limit_findings, used
from lobework.proof.reader import ARC, DWELL, FEED, LETTERS, RAPID, STOP, Reading, Remark, read
from lobework.proof.replay import Moves, replayed
from lobework.proof.report import Deviation, Proof, fine, place
from lobework.proof.sampling import Samples, TooFarError, sampled
from lobework.proof.setups import SetUp, divided, hand_work, matched, set_ups
from lobework.proof.wood import surely_clear, touching
from lobework.tolerances import JOIN_MM
from lobework.units import format_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lobework.kinds import Cutter, Piece
    from lobework.lathe import Lathe
    from lobework.rigid import Array
    from lobework.trace import Trace
    from lobework.units import LengthUnit

__all__ = ["SHARE", "prove"]

_LIKE_AN_INCH: Final = 0.05
_TRIED: Final = 24
_SHARES: Final = (0.37, 1.0)
_SEEN: Final = 65
_RAPID_MM: Final = 0.02
_SPAN_MM: Final = 0.25
"""The furthest from one place that is looked at to the next: a straight move may go through the work from air to air."""
_MOSTLY: Final = 0.5


def prove(
    program: bytes,
    traces: Sequence[Trace],
    piece: Piece,
    cutter: Cutter,
    *,
    tolerance: float,
    title: str = "",
    units: LengthUnit = "mm",
) -> Proof:
    r"""Return what comes of a program when it is read back and run on the lathe's model.

    Parameters
    ----------
    program : bytes
        RS274/NGC, within the plain subset of the standard.
    traces : sequence of Trace
        Of the job's cuts, one or more, to `SHARE` of the tolerance.
    piece : Piece
        The work.
    cutter : Cutter
        What cuts it.
    tolerance : float, mm
        How far the program's path on the work may be from the job's.
    title : str
        Of the job.
    units : "mm" or "inch"
        Of the job: for what is said, and where the program does not say its own.

    Raises
    ------
    SettingError
        Where the tolerance is none.
    TooLargeError
        Where the program is too long to be read, or a move goes too far to be looked at.

    Examples
    --------
    >>> from lobework.carriage import Headstock
    >>> from lobework.cutter import Pen
    >>> from lobework.lathe import Axis, Lathe
    >>> from lobework.passes import Cut, Pass
    >>> from lobework.piece import Disc
    >>> from lobework.slide import At
    >>> from lobework.trace import trace
    >>> axes = (Axis(moves="spindle", letter="C"), Axis(moves="x", letter="X"), Axis(moves="z", letter="Z"))
    >>> lathe = Lathe(name="bench", headstock=Headstock(sideways="fixed"), axes=axes)
    >>> ring = trace(Cut(number=1, passed=Pass(at=At(x=20.0, depth=0.2)), lathe=lathe), chord=2.5e-4)
    >>> program = b"G21 G61 G90\nG0 Z5\nG0 X20 C0\nG1 Z-0.2 F60\nG93\nG1 C-360 F2\nG94\nG0 Z5\nM2\n"
    >>> proof = prove(program, [ring], Disc(diameter=60.0, thickness=8.0), Pen(), tolerance=0.005)
    >>> proof.proved, proof.deviation.mm < 0.0003, proof.cutting
    (True, True, 0.5866666666666667)
    """
    require(0 < tolerance < math.inf, "tolerance", tolerance, "above zero, such as 0.005 mm")
    reading = read(program, units)
    lathe = traces[0].cut.lathe
    wrong = (*reading.wrong, *_lacking(reading, lathe))
    if wrong:
        return Proof(title=title, units=units, allowed=tolerance, wrong=tuple(sorted(wrong, key=lambda each: each.line)))
    return _Bench(reading, traces, piece, cutter, tolerance, units).proof(title)


def _lacking(reading: Reading, lathe: Lathe) -> Iterator[Remark]:
    """Yield the axis words that the lathe has no axis for."""
    has = {axis.letter for axis in lathe.axes}
    for letter, (_, line) in reading.named.items():
        if letter not in has:
            those = ", ".join(f"{axis.letter} {axis.moves}" for axis in lathe.axes) or "none"
            text = reading.text(line)
            yield Remark(line, "wrong", f"{text!r}: lathe {lathe.name!r} has no axis {letter}; it has: {those}")


class _Bench:
    """One program on one job's lathe."""

    def __init__(
        self, reading: Reading, traces: Sequence[Trace], piece: Piece, cutter: Cutter, tolerance: float, units: LengthUnit
    ) -> None:
        self.reading, self.traces, self.units, self.tolerance = reading, traces, units, tolerance
        self.piece, self.cutter = piece, cutter
        self.lathe, self.into = traces[0].cut.lathe, traces[0].cut.approach.axis
        self.touches = touching(piece, cutter, tolerance)
        self.letters: dict[str, str] = {axis.letter: axis.moves for axis in self.lathe.axes if axis.letter in reading.named}
        self.columns = [LETTERS.index(letter) for letter in self.letters]
        self.moves = replayed(reading.blocks, self.lathe, self.into)
        self.feed = self.moves.of(~self.moves.rapid)
        self.setups = set_ups(traces)
        self.stretches = divided(self.feed.stretch)
        times = [self._times_in(each) for each in self.stretches]
        self.which = matched(times, [len(each.traces) for each in self.setups], self._misfit)

    def model(self, setup: SetUp) -> Model:
        """Return where the tip is on the work, in one set-up, of (n, 6) axes."""
        return placed(setup.motion, self.columns, list(self.letters.values()))

    def sampled(self, setup: SetUp, moves: Moves, chord: float) -> Samples:
        """Return places along moves in one set-up."""
        pieces = pieces_of(setup.motion, moves.start, moves.end, self.letters)
        try:
            return sampled(self.model(setup), moves.start, moves.end, pieces, chord, _SPAN_MM)
        except TooFarError as far:
            line = int(moves.line[far.move])
            says = f"{self.reading.text(line)!r}: goes too far to be looked at all along; is a number wrong?"
            raise TooLargeError(says, f"line {line}") from None

    def _times_in(self, stretch: slice) -> int:
        """Return how often the tip goes into the work in a stretch."""
        part = self.feed.of(_range(stretch))
        return int((part.start[1:] != part.end[:-1]).any(axis=1).sum()) + 1

    def _misfit(self, i: int, k: int) -> float:
        """Return how much of a stretch is not on the path of a set-up."""
        chosen = _range(self.stretches[i])
        part = self.feed.of(chosen[np.linspace(0, chosen.size - 1, _TRIED).astype(np.int64)])
        part = part.of(~self._plunges(part))
        if not len(part.line):
            return 0.0
        setup = self.setups[k]
        places = np.concatenate([part.start + share * (part.end - part.start) for share in _SHARES])
        far, _, _ = setup.asked.nearest(self.model(setup)(places), self.tolerance)
        return float((far > 2 * self.tolerance).mean())

    def _plunges(self, moves: Moves) -> NDArray[np.bool_]:
        """Return which moves take the tip straight in or out."""
        moved = moves.start != moves.end
        plunges: NDArray[np.bool_] = moved[:, LETTERS.index(self.into.upper())] & (moved.sum(axis=1) == 1)
        return plunges

    def _in_air(self, setup: SetUp, points: Array) -> NDArray[np.bool_]:
        """Return which (n, 3) places are neither on the path of a set-up nor in the wood."""
        far, _, _ = setup.asked.nearest(points, self.tolerance)
        off: NDArray[np.bool_] = far > self.tolerance
        off[off] = ~self.touches(points[off])
        return off

    def _counts(self, setup: SetUp, moves: Moves, samples: Samples) -> NDArray[np.bool_]:
        """Return which samples count as cut: all but those on the way straight in or out, of which the deepest does.

        A way in that ends in the air counts all along: it may have gone through the work.
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

    def path(self) -> Iterator[tuple[SetUp, Compared, list[Finding]]]:
        """Yield each set-up, what came of its path, and where the cutter points elsewhere."""
        columns = dict(zip(self.letters.values(), self.columns, strict=True))
        for k, setup in enumerate(self.setups):
            mine = [_range(self.stretches[i]) for i, to in enumerate(self.which) if to == k]
            moves = self.feed.of(np.concatenate(mine) if mine else np.zeros(0, np.int64))
            samples = self.sampled(setup, moves, SHARE * self.tolerance)
            counts = self._counts(setup, moves, samples)
            outcome = compared(setup, moves, counts, samples, self.tolerance, self.model(setup), self.touches)
            askew = direction_findings(setup, moves, samples, counts, columns, self.cutter, self.tolerance)
            yield setup, outcome, list(askew)

    def stop_findings(self) -> Iterator[Finding]:
        """Yield the places where a person must act, and the program does not stop."""
        for k in range(1, len(self.setups)):
            before = [i for i, to in enumerate(self.which) if to < k]
            if k in self.which or not before:
                continue
            stretch = self.stretches[before[-1]]
            asked = len(self.setups[self.which[before[-1]]].traces)
            part = self.feed.of(_range(stretch))
            begins = np.flatnonzero((part.start[1:] != part.end[:-1]).any(axis=1)) + 1
            if begins.size < asked:
                continue
            cut = self.setups[k].first
            must = hand_work(self.setups[k - 1].traces[-1].cut, cut, self.units)
            says = f"the program does not stop before cut {cut.number} ({cut.title}), where a person must: {must}"
            yield Finding(kind="stop", level="problem", where=f"line {part.line[begins[asked - 1]]}", says=says)

    def touch_findings(self) -> Iterator[Finding]:
        """Yield fast moves that come to the wood."""
        if self.lathe.axis(self.into) is None or not self.which:
            return
        fast = np.flatnonzero(self.moves.rapid & self._known())
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
            samples = self.sampled(setup, moves, _RAPID_MM)
            struck = np.flatnonzero(self.touches(samples.points))
            if struck.size:
                deep = seen_on(self.piece, samples.points[struck])[:, 2]
                worst = struck[int(deep.argmax())]
                into = f"goes {fine(float(deep.max()), self.units)} deep into" if deep.max() > 0 else "comes to the surface of"
                says = f"a fast move {into} the work, at {place(samples.points[worst], self.units)}"
                where = f"line {moves.line[samples.move[worst]]}"
                yield Finding(kind="touch", level="problem", where=where, says=f"{says}; go clear of it first")

    def _known(self) -> NDArray[np.bool_]:
        """Return for which moves it is known where every slide begins: once all have been sent somewhere, or one at a feed."""
        last = max((line for letter, (_, line) in self.reading.named.items() if letter in "XYZ"), default=0)
        first = int(self.feed.line[0]) if len(self.feed.line) else last
        known: NDArray[np.bool_] = self.moves.line > min(last, first)
        return known

    def unit_findings(self) -> Iterator[Finding]:
        """Yield that lengths are in the wrong unit, where all of them are an inch in mm, or a mm in inches, of the job's."""
        here = np.abs(self.feed.end[:, :3]).max(axis=0, initial=0.0)
        ratios = []
        for column, name in enumerate("xyz"):
            if LETTERS[column] in self.letters:
                job = max(float(np.abs(_axes(each)[name]).max()) for each in self.traces)
                ratios += [here[column] / job] if job > 0.01 and here[column] > 0 else []
        for times, write in ((25.4, "G21"), (1 / 25.4, "G20")):
            if ratios and all(abs(each / times - 1) < _LIKE_AN_INCH for each in ratios):
                says = f"its lengths are {format_number(times, 4)} times the job's; they would fit if it began with {write}"
                yield Finding(kind="units", level="problem", where="whole program", says=says)

    def unsaid_findings(self) -> Iterator[Finding]:
        """Yield axes that the program leaves where they stand."""
        for axis in self.lathe.axes:
            unit = "deg" if axis.rotary else "mm"
            if axis.letter in self.reading.named:
                at, line = self.reading.named[axis.letter]
                if self.reading.blocks.kind[at] != RAPID:
                    says = f"{axis.letter} is first sent anywhere at a feed, from wherever it stands; taken as 0 {unit}"
                    yield Finding(kind="program", level="note", where=f"line {line}", says=says)
                continue
            asked = [_axes(each).get(axis.moves) for each in self.traces]
            places = np.concatenate([each for each in asked if each is not None] or [np.zeros(0)])
            if places.size and np.ptp(places) <= JOIN_MM:
                says = f"never sent anywhere; it must stand at {format_number(axis.sign * float(places[0]))} {unit}"
                yield Finding(kind="program", level="note", where=axis.letter, says=says)
            elif places.size:
                says = f"never sent anywhere, and the job moves the {axis.moves} by it"
                yield Finding(kind="program", level="problem", where=axis.letter, says=says)

    def remark_findings(self) -> Iterator[Finding]:
        """Yield what the reader has to say."""
        for each in self.reading.remarks:
            level: Literal["note", "problem"] = "note" if each.level == "note" else "problem"
            yield Finding(kind="program", level=level, where=f"line {each.line}", says=each.says)

    def proof(self, title: str) -> Proof:
        """Return what comes of it all."""
        strays: list[Deviation] = []
        found: list[Finding] = []
        for setup, outcome, askew in self.path():
            found += [*path_findings(setup, outcome, self.tolerance, self.units), *askew]
            strays += deviations(setup, outcome)
        uses = used(self.moves, [axis for axis in self.lathe.axes if axis.letter in self.letters], self.units)
        found += [*self.stop_findings(), *self.touch_findings(), *limit_findings(uses)]
        if found:
            found += self.unit_findings()
        found += [*self.unsaid_findings(), *self.remark_findings()]
        blocks, seconds = self.reading.blocks, self.moves.seconds
        return Proof(
            title=title,
            units=self.units,
            allowed=self.tolerance,
            deviation=max(strays, key=lambda each: each.mm, default=None),
            findings=tuple(sorted(found, key=lambda each: ("problem", "warning", "note").index(each.level))),
            uses=tuple(uses),
            blocks=int(np.isin(blocks.kind, (RAPID, FEED, ARC)).sum()),
            stops=int((blocks.kind == STOP).sum()),
            cutting=float(seconds[~self.moves.rapid].sum()) / 60,
            whole=float(seconds.sum()) / 60 + float(blocks.minutes[blocks.kind == DWELL].sum()),
        )


def _range(part: slice) -> NDArray[np.int64]:
    return np.arange(part.start, part.stop)


def _axes(trace: Trace) -> dict[str, Array]:
    """Return the axes of a cut here and there."""
    return trace.motion.axes(np.linspace(0.0, trace.cut.span, _SEEN))


def path_findings(setup: SetUp, outcome: Compared, tolerance: float, units: LengthUnit) -> Iterator[Finding]:
    """Yield where the program cuts what the job does not ask for, and the cuts that it leaves out or does otherwise."""
    cuts = [each.cut for each in setup.traces]
    if outcome.cut is not None and outcome.cut.mm > tolerance:
        cut = cuts[outcome.cut.cut]
        beside = f"{fine(outcome.cut.mm, units)} beside the path of cut {cut.number} ({cut.title})"
        says = f"cuts {beside}, at {place(outcome.cut.place, units)}"
        yield Finding(kind="path", level="problem", where=f"line {outcome.cut.line}", says=says)
    missing = [cut for cut, part in zip(cuts, outcome.missing, strict=True) if part > _MOSTLY]
    if missing:
        first, last = missing[0], missing[-1]
        where = f"cut {first.number} ({first.title})"
        if len(missing) > 1:
            some = "cuts" if last.number - first.number < len(missing) else f"{len(missing)} of the cuts"
            where = f"{some} {first.number} to {last.number}"
        says = "is missing" if len(missing) == 1 else "are missing"
        yield Finding(kind="path", level="problem", where=where, says=f"{says}: the program does not go there")
    for cut, owed in zip(cuts, outcome.owed, strict=True):
        if owed.mm > tolerance and cut not in missing:
            nearest = f"the nearest that is cut is on line {owed.line}"
            says = f"strays by {fine(owed.mm, units)} from the job, at {place(owed.place, units)}; {nearest}"
            yield Finding(kind="path", level="problem", where=f"cut {cut.number} ({cut.title})", says=says)


def deviations(setup: SetUp, outcome: Compared) -> list[Deviation]:
    """Return the worst places of each cut that is there, and of what is cut."""
    there = [owed for owed, part in zip(outcome.owed, outcome.missing, strict=True) if part <= _MOSTLY]
    found = []
    for each in [*there, *([outcome.cut] if outcome.cut is not None else [])]:
        cut = setup.traces[each.cut].cut
        found.append(Deviation(each.mm, each.line, cut.number, each.u, cut.passed.turns > 0, each.place))
    return found
