"""What came of reading a program back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lobework.lathe.hand_settings import show_length
from lobework.quantities.units import format_number

if TYPE_CHECKING:
    from lobework.checks.check import Finding
    from lobework.geometry.rigid import Array
    from lobework.proof.limits import Use
    from lobework.proof.reader import Remark
    from lobework.quantities.units import LengthUnit

__all__ = ["Deviation", "Proof", "fine", "place"]

_MOST_SAID: Final = 20


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far the program's path on the work and the job's are apart, at the worst.

    Parameters
    ----------
    mm : float
        How far.
    line : int
        Of the program.
    cut : int
        Of the job.
    u : float
        How far into the cut: turns of the spindle, or the part done where it stands still.
    turns : bool
        Whether the spindle turns in it.
    place : tuple of float, mm
        Where on the work: x, y, z.
    """

    mm: float
    line: int
    cut: int
    u: float
    turns: bool
    place: tuple[float, float, float]

    def where(self, units: LengthUnit = "mm") -> str:
        """Return the place in words.

        >>> Deviation(0.0021, 4120, 3, 0.314, True, (23.4, -2.1, -0.4)).where()
        'line 4120, cut 3, at 0.314 turns, x 23.4 y -2.1 z -0.4 mm'
        """
        done = f"{format_number(self.u, 4)} turns" if self.turns else f"{format_number(100 * self.u, 1)} % of the way"
        return f"line {self.line}, cut {self.cut}, at {done}, {place(self.place, units)}"


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Proof:
    """A program read back, run through the lathe's model, and compared with its job.

    Parameters
    ----------
    title : str
        Of the job.
    units : "mm" or "inch"
        To say lengths in.
    allowed : float, mm
        How far the two paths may be apart.
    deviation : Deviation or None
        How far they are; None where the program cuts nothing, or could not be run.
    whole_path : bool
        Whether every cut of the job is there.
    air : float, mm
        How far off the work a program keeps that is tried in air; zero of one that cuts.
    findings : tuple of Finding
        What is wrong, and what is to be known.
    wrong : tuple of Remark
        What keeps the program from being run: against the standard, or not understood.
    uses : tuple of Use
        What is asked of each axis.
    blocks, stops : int
        Moves that it makes; times that it waits for a person.
    cutting, whole : float
        Minutes under cut: of all moves at a feed, plunges among them, no waits and no fast moves. Minutes in all: with waits, and
        with fast moves at the top speeds of the axes; without what a person takes at a stop.
    """

    title: str
    units: LengthUnit
    allowed: float
    deviation: Deviation | None = None
    whole_path: bool = True
    air: float = 0.0
    findings: tuple[Finding, ...] = ()
    wrong: tuple[Remark, ...] = ()
    uses: tuple[Use, ...] = ()
    blocks: int = 0
    stops: int = 0
    cutting: float = 0.0
    whole: float = 0.0

    def __repr__(self) -> str:
        return f"<proof: {self.summary}>"

    @property
    def proved(self) -> bool:
        """Whether the program does what the job asks for, within the lathe's limits: nothing graver than a note is found."""
        return not self.wrong and not self.problems and not self.warnings

    @property
    def problems(self) -> tuple[Finding, ...]:
        """What is found that must not be sent."""
        return tuple(each for each in self.findings if each.level == "problem")

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """What is found that is probably not meant."""
        return tuple(each for each in self.findings if each.level == "warning")

    @property
    def code(self) -> int:
        """0 proved, 1 a problem or a warning was found, 2 the program is wrong or not understood."""
        return 2 if self.wrong else int(not self.proved)

    def __str__(self) -> str:
        return "\n".join(self.lines())

    @property
    def summary(self) -> str:
        """The outcome in one line."""
        if self.wrong:
            more = f" (and {len(self.wrong) - 1} more)" if len(self.wrong) > 1 else ""
            return f"not proved: {self.wrong[0]}{more}"
        if not self.proved:
            counts = ((len(self.problems), "problem"), (len(self.warnings), "warning"))
            shown = (f"{n} {what}{'s' if n != 1 else ''}" for n, what in counts if n)
            return f"not proved: {', '.join(shown)}"
        return f"proved{' in air' if self.air else ''}: {self._keeps}"

    @property
    def _keeps(self) -> str:
        if self.deviation is None:
            return "nothing is cut, as nothing should be"
        if not self.whole_path:
            return "the path is not the job's: cuts are missing"
        far = fine(self.deviation.mm, self.units)
        message = "the path keeps within" if self.deviation.mm <= self.allowed else "the path strays by"
        of = "of the job's" if self.deviation.mm <= self.allowed else "from the job's"
        return f"{message} {far} {of} (worst: {self.deviation.where(self.units)}); allowed {fine(self.allowed, self.units)}"

    def lines(self) -> Iterator[str]:
        """Yield the report, line by line: what is wrong first."""
        yield from _first(self.wrong)
        if self.wrong:
            yield self.summary
            return
        yield from _first(self.findings)
        if self.deviation is not None:
            yield self._keeps
        for use in self.uses:
            yield str(use)
        once = "once" if self.stops == 1 else f"{self.stops} times"
        yield (
            f"{self.blocks:,} moves, {format_number(self.cutting, 2)} minutes under cut, "
            f"{format_number(self.whole, 2)} minutes in all; stops for a person {once if self.stops else 'nowhere'}"
        )
        if self.air:
            yield f"in air: keeps {fine(self.air, self.units)} off the work or more" if self.proved else "in air: not proved"
        yield "proved" if self.proved else self.summary


def _first(things: tuple[Finding, ...] | tuple[Remark, ...]) -> Iterator[str]:
    """Yield so many things as anybody reads, and how many more there are."""
    yield from map(str, things[:_MOST_SAID])
    if len(things) > _MOST_SAID:
        yield f"and {len(things) - _MOST_SAID} more"


def place(point: Sequence[float] | Array, units: LengthUnit = "mm") -> str:
    """Return where something is on the work, in words.

    >>> place((23.4, -2.1, -0.4)), place((25.4, 0.0, -0.254), "inch")
    ('x 23.4 y -2.1 z -0.4 mm', 'x 1 y 0 z -0.01 in')
    """
    scale, places, unit = (1.0, 3, "mm") if units == "mm" else (25.4, 4, "in")
    x, y, z = (format_number(float(each) / scale, places) for each in point)
    return f"x {x} y {y} z {z} {unit}"


def fine(mm: float, units: LengthUnit) -> str:
    """Return a small length, to a tenth of a micron.

    >>> fine(0.0021, "mm"), fine(0.005, "inch"), fine(1.25, "mm"), fine(2e-7, "mm")
    ('0.0021 mm', '0.0002 in', '1.25 mm', '0.0001 mm')
    """
    if math.isinf(mm):
        return "everything"
    if math.isnan(mm):
        return "no finite length"
    return show_length(max(math.ceil(mm * 1e4 - 1e-6) / 1e4, 1e-4) if mm < 0.1 else mm, units)
