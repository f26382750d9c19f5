"""Operator stops of a program: positions and messages, compared with the work by hand that the job needs."""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from lobework.checks.check import Finding
from lobework.kernels.rs274.block_kinds import ARC, DWELL, FEED, RAPID, STOP, SWITCHED
from lobework.lathe.hand_settings import HandSetting, by_hand, feed_in, on_one_circle, show_place, withdraw
from lobework.sheets.zeros import refits, zero_again
from lobework.text.cautions import AFTER_HANDS, BEFORE_HANDS, READY

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import Trace
    from lobework.lathe.lathe import Lathe
    from lobework.proof.reader import ReadBlocks, Reading
    from lobework.quantities.units import LengthUnit

__all__ = ["Halt", "HandWork", "halt_findings", "halts_of", "opening_findings"]

_MOST_BACK: Final = 100
"""Number of lines before a stop that are searched for the message of the stop."""
_MOST_TOGETHER: Final = 1000
"""Greatest number of stops of one halt whose messages are read."""
_WORDS: Final = re.compile(r"\(([^()]*)\)")
_MESSAGE: Final = re.compile(r"\s*m\s*s\s*g\s*,(.*)", re.IGNORECASE | re.DOTALL)
"""A comment that the controller displays (NISTIR 6556, 3.3.4)."""


class Halt(NamedTuple):
    """Consecutive stops without a move between them.

    ``line``: line of the first stop. ``first``, ``last``: blocks of the first and the last stop. ``stops``: number of stops of
    the program up to the last of these. ``words``: messages of these stops, one per line, without blanks. ``position``: position
    of the axes, (6,) mm and degrees.
    """

    line: int
    first: int
    last: int
    stops: int
    words: str
    position: Array

    @property
    def feeds_in(self) -> bool:
        """Whether the operator feeds the cutter in at this halt."""
        return "feedthecutterinbyhandto" in self.words.replace("\n", "")


@lru_cache(maxsize=4096)
def comment_text(text: str) -> str:
    """Convert a text to the characters that a comment of a program can contain, in lower case and without blanks.

    >>> comment_text("Set the ring (upper) to 1/4 turn")
    'setthering[upper]to1/4turn'
    """
    spelled = unicodedata.normalize("NFKD", text).replace("(", "[").replace(")", "]")
    shown = (letter if " " <= letter <= "~" else "?" for letter in spelled if not unicodedata.combining(letter))
    return "".join("".join(shown).split()).lower()


def _count(instruction: str, words: str, *, whole: bool = True) -> int:
    """Return the number of times that messages contain an instruction, which may be broken over lines.

    An instruction begins at the start of a message or after a semicolon. If ``whole`` is true, it must also end at the end of a
    message or before a semicolon.
    """
    lines = words.splitlines()
    flat, wanted = "".join(lines), comment_text(instruction)
    breaks = {0, *itertools.accumulate(map(len, lines))}
    count, at = 0, flat.find(wanted)
    while at >= 0:
        end = at + len(wanted)
        begins = at in breaks or flat[at - 1] == ";"
        count += begins and (not whole or end in breaks or flat[end] == ";")
        at = flat.find(wanted, at + 1)
    return count


def _in_order(instructions: Sequence[str], words: str) -> bool:
    """Return whether messages contain the given instructions in the given order."""
    flat, at = words.replace("\n", ""), 0
    for instruction in instructions:
        at = flat.find(comment_text(instruction), at) + 1
        if not at:
            return False
    return True


def halts_of(reading: Reading, blocks: ReadBlocks, lathe: Lathe) -> list[Halt]:
    """Return the halts of a program, in order; ``blocks`` are its blocks, in the sense of the lathe's model."""
    stops = np.flatnonzero(blocks.kind == STOP)
    moves = np.flatnonzero(~np.isin(blocks.kind, (STOP, DWELL, SWITCHED)))
    parted = np.flatnonzero(np.diff(np.searchsorted(moves, stops))) + 1
    found = []
    for first, end in itertools.pairwise([0, *parted.tolist(), stops.size] if stops.size else []):
        lines = blocks.line[stops[first:end]].tolist()
        after = blocks.line[np.maximum(stops[first:end] - 1, 0)].tolist()
        after[0] = after[0] if stops[first] else 0
        messages = [comment_text(_message_of(reading, *each, lathe)) for each in zip(lines[:_MOST_TOGETHER], after, strict=False)]
        cut = [0, *_withdrawals(messages), end - first]
        for one, other in itertools.pairwise(cut):
            block, words = int(stops[first + one]), "".join(f"{each}\n" for each in messages[one:other])
            found.append(Halt(lines[one], block, int(stops[first + other - 1]), first + other, words, blocks.start[block].copy()))
    return found


def _withdrawals(messages: Sequence[str]) -> Iterator[int]:
    """Yield the indices of stops at which the operator withdraws a cutter that was fed in at an earlier stop and has cut."""
    fed = False
    for k, words in enumerate(messages):
        if fed and words.startswith("withdrawthecutterbyhand"):
            yield k
        fed = (fed and not words.startswith("withdraw")) or words.startswith("feedthecutterinbyhand")


def _message_of(reading: Reading, line: int, after: int, lathe: Lathe) -> str:
    """Return the message that the controller displays at a stop: the last on its line or since line ``after``."""
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


def opening_findings(halts: Sequence[Halt], blocks: ReadBlocks, hands: HandWork, first: int) -> Iterator[Finding]:
    """Yield a finding if an axis moves before the operator confirms that the lathe is ready, or the opening message is wrong."""
    moving = np.flatnonzero(np.isin(blocks.kind, (RAPID, FEED, ARC)))
    if not moving.size:
        return
    opening = halts[0] if halts and halts[0].last < moving[0] else None
    wanted = list(READY)
    withdrawal = hands.withdrawal(first) if hands.fed_by_hand else ""
    wanted = [withdrawal, *wanted] if withdrawal else wanted
    if opening is None:
        message = f"moves before the opening stop; write M0 before this line, with the message: {'; '.join(wanted)}"
        yield Finding(kind="stop", level="problem", where=f"line {blocks.line[moving[0]]}", message=message)
    elif hands.has_messages:
        lacks = [each for each in wanted if not _count(each, opening.words, whole=each in READY or hands.clear is not None)]
        if lacks:
            message = f"the message of the opening stop lacks: {'; '.join(lacks)}"
            yield Finding(kind="stop", level="problem", where=f"line {opening.line}", message=message)
        elif not _in_order(wanted, opening.words):
            message = f"the message of the opening stop is in the wrong order; write: {'; '.join(wanted)}"
            yield Finding(kind="stop", level="problem", where=f"line {opening.line}", message=message)


class HandWork:
    """The manual operations that a job needs, and its comparison with the messages of a program's stops.

    Parameters
    ----------
    traces : sequence of Trace
        The traces of the job's cuts.
    lathe : Lathe
        The job's lathe.
    units : "mm" or "inch"
        Unit of the lengths in the instructions.
    clear : float, mm, or None
        Clearance of the tip from the work between cuts; None if unknown, or if the whole job is lifted.
    """

    def __init__(self, traces: Sequence[Trace], lathe: Lathe, units: LengthUnit, clear: float | None) -> None:
        self.lathe, self.units, self.clear = lathe, units, clear
        self.into = traces[0].cut.approach.axis
        self.fed_by_hand = lathe.axis(self.into) is None
        self.has_messages = lathe.controller.comments != "none"
        by_pass = itertools.groupby((each.cut for each in traces), key=lambda cut: cut.group)
        cuts = [cut for _, same in by_pass for cut in on_one_circle(list(same))]
        self._traces = {each.cut.number: each for each in traces}
        self._cuts = {cut.number: cut for cut in cuts}
        self._known: dict[int, Mapping[str, HandSetting]] = {}

    def settings(self, number: int) -> Mapping[str, HandSetting]:
        """Return all settings by hand for a cut, except the depth of the cut."""
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
        """Return the instructions between two cuts, from stopping to starting the cutter; empty if no work by hand is needed."""
        was, must_be = self.settings(before), self.settings(now)
        removed = [f"take off {each.what}" for what, each in was.items() if what not in must_be and each.do == "fit"]
        found = removed + [str(each) for what, each in must_be.items() if was.get(what) != each]
        if refits(self._cuts[before], self._cuts[now]):
            found += zero_again(self._cuts[before], self._cuts[now], self.units)
        return [BEFORE_HANDS, *found, AFTER_HANDS] if found else []

    def _infeed(self, number: int) -> str:
        """Return the instruction to feed the cutter in for a cut."""
        cut, trace = self._cuts[number], self._traces[number]
        if self.clear is None:
            return f"feed the cutter in by hand to {self.into}"
        return feed_in(cut, float(trace.motion.axes(np.zeros(1))[self.into][0]), self.units)

    def withdrawal(self, number: int) -> str:
        """Return the instruction to withdraw the cutter after a cut."""
        return "withdraw the cutter by hand" if self.clear is None else withdraw(self._cuts[number], self.clear, self.units)

    def between(self, halts: Sequence[Halt], before: int, now: int, where: str) -> Iterator[Finding]:
        """Yield findings if the halts between two cuts lack an instruction, or give the instructions in the wrong order."""
        first = [self.withdrawal(before)] if self.fed_by_hand else []
        last = [self._infeed(now)] if self.fed_by_hand else []
        must = [*first, *self.changes(before, now), *last]
        cut = self._cuts[now]
        if must and not halts:
            message = (
                f"the program does not stop before cut {cut.number} ({cut.title}), where the operator must: {'; '.join(must)}"
            )
            yield Finding(kind="stop", level="problem", where=where, message=message)
        elif must and self.has_messages:
            words = "".join(each.words for each in halts)
            lacks = [each for each in must if not _count(each, words, whole=self.clear is not None)]
            at = f"line {halts[0].line}"
            if lacks:
                message = f"the message of the stop before cut {cut.number} ({cut.title}) lacks: {'; '.join(lacks)}"
                yield Finding(kind="stop", level="problem", where=at, message=message)
                return
            if not _in_order(must, words):
                message = f"the stops before cut {cut.number} ({cut.title}) are in the wrong order; write: {'; '.join(must)}"
                yield Finding(kind="stop", level="problem", where=at, message=message)
        yield from self.contradictions(halts, now)

    def unneeded(self, halts: Sequence[Halt], now: int) -> Iterator[Finding]:
        """Yield findings for halts at which the job needs no work by hand."""
        for halt in halts:
            message = "stops for the operator, but the job needs no setting here"
            yield Finding(kind="stop", level="note", where=f"line {halt.line}", message=message)
        yield from self.contradictions(halts, now)

    def contradictions(self, halts: Sequence[Halt], now: int) -> Iterator[Finding]:
        """Yield findings for halts whose messages contradict the job's settings for a cut."""
        for halt in halts if self.has_messages else ():
            for what, setting in self.settings(now).items():
                begins = f"set {what} to" if setting.do == "set" else f"fit {what}:"
                if _count(begins, halt.words, whole=False) > _count(str(setting), halt.words):
                    cut = self._cuts[now]
                    message = f"the message of this stop contradicts cut {cut.number} ({cut.title}): {setting}"
                    yield Finding(kind="stop", level="problem", where=f"line {halt.line}", message=message)

    def first(self, halts: Sequence[Halt], now: int, where: str) -> Iterator[Finding]:
        """Yield a finding if the cutter is fed by hand and the halts before the first cut lack the instruction to feed it in."""
        words = "".join(each.words for each in halts)
        if self.fed_by_hand and (
            not halts or (self.has_messages and not _count(self._infeed(now), words, whole=self.clear is not None))
        ):
            cut = self._cuts[now]
            message = (
                f"the program does not stop before cut {cut.number} ({cut.title}), where the operator must: {self._infeed(now)}"
            )
            yield Finding(kind="stop", level="problem", where=where, message=message)
        yield from self.contradictions(halts, now)

    def last(self, halts: Sequence[Halt], before: int, where: str) -> Iterator[Finding]:
        """Yield a finding if the cutter is fed by hand and is not withdrawn after the last cut."""
        if self.fed_by_hand and not (
            halts and (not self.has_messages or _count(self.withdrawal(before), halts[0].words, whole=False))
        ):
            message = (
                f"the program ends with the tip in the work; stop after the last cut, with the message: {self.withdrawal(before)}"
            )
            yield Finding(kind="stop", level="problem", where=where, message=message)


def halt_findings(halts: Sequence[Halt], touches: Callable[[Halt], bool], reaches: Callable[[Halt], bool]) -> Iterator[Finding]:
    """Yield findings for halts at which the tip is in the work, or has less clearance than in the job."""
    for halt in halts:
        where = f"line {halt.line}"
        if touches(halt):
            message = "stops for the operator while the tip is in the work; withdraw the tip first"
            yield Finding(kind="stop", level="problem", where=where, message=message)
        elif not reaches(halt):
            message = "stops for the operator while the tip is not clear of the work; withdraw the tip first"
            yield Finding(kind="stop", level="warning", where=where, message=message)
