"""The stops for a person: where a program waits, in what words, and what the job has a person do there."""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.checks.check import Finding
from lobework.lathe.hand_settings import HandSetting, by_hand, feed_in, on_one_circle, show_place, withdraw
from lobework.proof.reader import ARC, DWELL, FEED, RAPID, STOP, SWITCHED
from lobework.sheets.zeros import refits, zero_again
from lobework.text.cautions import AFTER_HANDS, BEFORE_HANDS, READY

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Lathe
    from lobework.proof.reader import ReadBlocks, Reading
    from lobework.quantities.units import LengthUnit

__all__ = ["Halt", "Hands", "halts_of", "opening_findings", "stands_clear"]

_MOST_BACK: Final = 100
"""Lines before a stop in which its words are looked for."""
_MOST_TOGETHER: Final = 1000
"""Stops of one halt whose words are read."""
_WORDS: Final = re.compile(r"\(([^()]*)\)")
_MESSAGE: Final = re.compile(r"\s*m\s*s\s*g\s*,(.*)", re.IGNORECASE | re.DOTALL)
"""A comment that a controller shows (3.3.4)."""


class Halt(NamedTuple):
    """Stops that follow one another without a move between them.

    ``line`` of the first. ``first``, ``last``: their blocks. ``stops``: how many stops of the program are done after it.
    ``words``: what they say, one line each, without blanks. ``at``: (6,) mm and degrees, where the axes stand.
    """

    line: int
    first: int
    last: int
    stops: int
    words: str
    at: Array

    @property
    def feeds_in(self) -> bool:
        """Whether a person feeds the cutter in at it."""
        return "feedthecutterinbyhandto" in self.words.replace("\n", "")


@lru_cache(maxsize=4096)
def plain(text: str) -> str:
    """Return text as it can stand in a comment of a program, without blanks.

    >>> plain("Set the ring (upper) to 1/4 turn")
    'setthering[upper]to1/4turn'
    """
    spelled = unicodedata.normalize("NFKD", text).replace("(", "[").replace(")", "]")
    shown = (letter if " " <= letter <= "~" else "?" for letter in spelled if not unicodedata.combining(letter))
    return "".join("".join(shown).split()).lower()


def _times(thing: str, words: str, *, whole: bool = True) -> int:
    """Return how often words hold a thing, which may be broken over lines; with ``whole``, nothing may follow it."""
    lines = words.splitlines()
    flat, wanted = "".join(lines), plain(thing)
    breaks = {0, *itertools.accumulate(map(len, lines))}
    count, at = 0, flat.find(wanted)
    while at >= 0:
        end = at + len(wanted)
        begins = at in breaks or flat[at - 1] == ";"
        count += begins and (not whole or end in breaks or flat[end] == ";")
        at = flat.find(wanted, at + 1)
    return count


def _in_order(things: Sequence[str], words: str) -> bool:
    """Return whether words hold things in this order."""
    flat, at = words.replace("\n", ""), 0
    for thing in things:
        at = flat.find(plain(thing), at) + 1
        if not at:
            return False
    return True


def halts_of(reading: Reading, blocks: ReadBlocks, lathe: Lathe) -> list[Halt]:
    """Return where a program waits for a person, in order; ``blocks`` are those of the reading, as the lathe's model has them."""
    stops = np.flatnonzero(blocks.kind == STOP)
    moves = np.flatnonzero(~np.isin(blocks.kind, (STOP, DWELL, SWITCHED)))
    parted = np.flatnonzero(np.diff(np.searchsorted(moves, stops))) + 1
    found = []
    for first, end in itertools.pairwise([0, *parted.tolist(), stops.size] if stops.size else []):
        lines = blocks.line[stops[first:end]].tolist()
        after = blocks.line[np.maximum(stops[first:end] - 1, 0)].tolist()
        after[0] = after[0] if stops[first] else 0
        said = [plain(_said_at(reading, *each, lathe)) for each in zip(lines[:_MOST_TOGETHER], after, strict=False)]
        cut = [0, *_withdrawn_at(said), end - first]
        for one, other in itertools.pairwise(cut):
            block, words = int(stops[first + one]), "".join(f"{each}\n" for each in said[one:other])
            found.append(Halt(lines[one], block, int(stops[first + other - 1]), first + other, words, blocks.start[block].copy()))
    return found


def _withdrawn_at(said: Sequence[str]) -> Iterator[int]:
    """Yield which stops have a person withdraw the cutter that was fed in at one before them: the tip cuts between the two."""
    fed = False
    for k, words in enumerate(said):
        if fed and words.startswith("withdrawthecutterbyhand"):
            yield k
        fed = (fed and not words.startswith("withdraw")) or words.startswith("feedthecutterinbyhand")


def _said_at(reading: Reading, line: int, after: int, lathe: Lathe) -> str:
    """Return the last message before a stop, on its line or since line ``after``: the one that stays shown."""
    by_semicolon = lathe.controller.comments == "semicolon"
    for number in range(line, max(line - _MOST_BACK, min(after, line - 1)), -1):
        text = reading.line(number).decode("latin-1")
        _, _, remark = _WORDS.sub("", text).partition(";")
        shown = [match[1] for each in _WORDS.findall(text) if (match := _MESSAGE.match(each))]
        if shown:
            return str(shown[-1])
        if remark.strip() and by_semicolon:
            return remark
    return ""


def opening_findings(halts: Sequence[Halt], blocks: ReadBlocks, hands: Hands, first: int) -> Iterator[Finding]:
    """Yield that a program moves an axis before a person has confirmed that the lathe is ready, or does not ask for all of it."""
    moving = np.flatnonzero(np.isin(blocks.kind, (RAPID, FEED, ARC)))
    if not moving.size:
        return
    opening = halts[0] if halts and halts[0].last < moving[0] else None
    wanted = list(READY)
    away = hands.away(first) if hands.fed_by_hand else ""
    wanted = [away, *wanted] if away else wanted
    if opening is None:
        message = f"moves before the opening stop; write M0 before it, and in its words: {'; '.join(wanted)}"
        yield Finding(kind="stop", level="problem", where=f"line {blocks.line[moving[0]]}", message=message)
    elif hands.spoken:
        lacks = [each for each in wanted if not _times(each, opening.words, whole=each in READY or hands.clear is not None)]
        if lacks:
            message = f"the words of the opening stop lack: {'; '.join(lacks)}"
            yield Finding(kind="stop", level="problem", where=f"line {opening.line}", message=message)
        elif not _in_order(wanted, opening.words):
            message = f"the words of the opening stop come in another order than: {'; '.join(wanted)}"
            yield Finding(kind="stop", level="problem", where=f"line {opening.line}", message=message)


class Hands:
    """What a person sets for each cut of a job, and which stops of a program ask for it.

    Parameters
    ----------
    traces : sequence of Trace
        Of the job's cuts.
    lathe : Lathe
        Whose cuts they are.
    units : "mm" or "inch"
        That the job's words have.
    clear : float, mm, or None
        How far off the work the job has the tip stand between cuts; None if unknown, or if the whole job is lifted.
    """

    def __init__(self, traces: Sequence[Trace], lathe: Lathe, units: LengthUnit, clear: float | None) -> None:
        self.lathe, self.units, self.clear = lathe, units, clear
        self.into = traces[0].cut.approach.axis
        self.fed_by_hand = lathe.axis(self.into) is None
        self.spoken = lathe.controller.comments != "none"
        by_pass = itertools.groupby((each.cut for each in traces), key=lambda cut: cut.group)
        cuts = [cut for _, same in by_pass for cut in on_one_circle(list(same))]
        self._traces = {each.cut.number: each for each in traces}
        self._cuts = {cut.number: cut for cut in cuts}
        self._known: dict[int, Mapping[str, HandSetting]] = {}

    def settings(self, number: int) -> Mapping[str, HandSetting]:
        """Return everything that is set by hand for a cut, but its depth."""
        if number not in self._known:
            cut, begins = self._cuts[number], self._traces[number].motion.tip(np.zeros(1))[0].tolist()
            found = dict(by_hand(cut, self.units))
            for name, place in zip("xyz", begins, strict=True):
                if self.lathe.axis(name) is None and name != self.into and (name != "y" or place):
                    what = f"{name} slide"
                    found[what] = HandSetting("set", what, show_place(name, place, cut.lathe, self.units))
            self._known[number] = found
        return self._known[number]

    def changes(self, before: int, now: int) -> list[str]:
        """Return what a person must do between two cuts, with the cutter stopped before and started after; nothing if nothing."""
        was, must_be = self.settings(before), self.settings(now)
        gone = [f"take off {each.what}" for what, each in was.items() if what not in must_be and each.do == "fit"]
        found = gone + [str(each) for what, each in must_be.items() if was.get(what) != each]
        if refits(self._cuts[before], self._cuts[now]):
            found += zero_again(self._cuts[before], self._cuts[now], self.units)
        return [BEFORE_HANDS, *found, AFTER_HANDS] if found else []

    def _depth(self, number: int) -> str:
        """Return the words that have a person feed the cutter in for a cut."""
        cut, trace = self._cuts[number], self._traces[number]
        if self.clear is None:
            return f"feed the cutter in by hand to {self.into}"
        return feed_in(cut, float(trace.motion.axes(np.zeros(1))[self.into][0]), self.units)

    def away(self, number: int) -> str:
        """Return the words that have a person withdraw the cutter after a cut."""
        return "withdraw the cutter by hand" if self.clear is None else withdraw(self._cuts[number], self.clear, self.units)

    def between(self, halts: Sequence[Halt], before: int, now: int, where: str) -> Iterator[Finding]:
        """Yield what the halts between two cuts lack of what a person must do there, in that order; each in its words."""
        first = [self.away(before)] if self.fed_by_hand else []
        last = [self._depth(now)] if self.fed_by_hand else []
        must = [*first, *self.changes(before, now), *last]
        cut = self._cuts[now]
        if must and not halts:
            message = f"the program does not stop before cut {cut.number} ({cut.title}), where a person must: {'; '.join(must)}"
            yield Finding(kind="stop", level="problem", where=where, message=message)
        elif must and self.spoken:
            words = "".join(each.words for each in halts)
            lacks = [each for each in must if not _times(each, words, whole=self.clear is not None)]
            at = f"line {halts[0].line}"
            if lacks:
                message = f"the words of the stop before cut {cut.number} ({cut.title}) lack: {'; '.join(lacks)}"
                yield Finding(kind="stop", level="problem", where=at, message=message)
                return
            if not _in_order(must, words):
                message = f"the stops before cut {cut.number} ({cut.title}) come in another order than: {'; '.join(must)}"
                yield Finding(kind="stop", level="problem", where=at, message=message)
        yield from self.contrary(halts, now)

    def none_needed(self, halts: Sequence[Halt], now: int) -> Iterator[Finding]:
        """Yield the halts between moves between which a person has nothing to do."""
        for halt in halts:
            message = "stops for a person, who has nothing to set here in the job"
            yield Finding(kind="stop", level="note", where=f"line {halt.line}", message=message)
        yield from self.contrary(halts, now)

    def contrary(self, halts: Sequence[Halt], now: int) -> Iterator[Finding]:
        """Yield the halts whose words have a person set something otherwise than the job does for a cut."""
        for halt in halts if self.spoken else ():
            for what, setting in self.settings(now).items():
                begins = f"set {what} to" if setting.do == "set" else f"fit {what}:"
                if _times(begins, halt.words, whole=False) > _times(str(setting), halt.words):
                    cut = self._cuts[now]
                    message = f"the words of this stop set {what} otherwise than cut {cut.number} ({cut.title}): {setting}"
                    yield Finding(kind="stop", level="problem", where=f"line {halt.line}", message=message)

    def first(self, halts: Sequence[Halt], now: int, where: str) -> Iterator[Finding]:
        """Yield that the cutter is not fed in by hand before the first cut, if a person must."""
        words = "".join(each.words for each in halts)
        if self.fed_by_hand and (
            not halts or (self.spoken and not _times(self._depth(now), words, whole=self.clear is not None))
        ):
            cut = self._cuts[now]
            message = f"the program does not stop before cut {cut.number} ({cut.title}), where a person must: {self._depth(now)}"
            yield Finding(kind="stop", level="problem", where=where, message=message)
        yield from self.contrary(halts, now)

    def last(self, halts: Sequence[Halt], before: int, where: str) -> Iterator[Finding]:
        """Yield that the cutter, fed in by hand, is not withdrawn after the last cut."""
        if self.fed_by_hand and not (halts and (not self.spoken or _times(self.away(before), halts[0].words, whole=False))):
            message = f"the program ends with the tip in the work; stop after the last cut, and in its words: {self.away(before)}"
            yield Finding(kind="stop", level="problem", where=where, message=message)


def stands_clear(halts: Sequence[Halt], touches: Callable[[Halt], bool], reaches: Callable[[Halt], bool]) -> Iterator[Finding]:
    """Yield the halts at which the tip is in the work, or nearer to it than the job has it stand."""
    for halt in halts:
        where = f"line {halt.line}"
        if touches(halt):
            message = "stops for a person while the tip is in the work; withdraw it first"
            yield Finding(kind="stop", level="problem", where=where, message=message)
        elif not reaches(halt):
            message = "stops for a person while the tip is nearer to the work than clear; withdraw it first"
            yield Finding(kind="stop", level="warning", where=where, message=message)
