"""The result of a proof, and the report of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from lobework.lathe.hand_settings import show_length
from lobework.quantities.units import format_number
from lobework.text.shown import Shown

if TYPE_CHECKING:
    from lobework.checks.check import Finding
    from lobework.geometry.rigid import Array
    from lobework.proof.limits import Use
    from lobework.proof.reader import Remark
    from lobework.quantities.units import LengthUnit

__all__ = ["Deviation", "Proof", "fine", "place"]

_MOST_SHOWN: Final = 20


@dataclass(frozen=True, slots=True)
class Deviation:
    """The greatest deviation of the program's path on the work from the job's path, and its position.

    Parameters
    ----------
    mm : float
        The greatest deviation.
    line : int
        Line of the program.
    cut : int
        Number of the job's cut.
    u : float
        Position in the cut: turns of the spindle, or the fraction of the cut if the spindle does not turn.
    turns : bool
        Whether the spindle turns in this cut.
    place : tuple of float, mm
        Position on the work: x, y, z.
    """

    mm: float
    line: int
    cut: int
    u: float
    turns: bool
    place: tuple[float, float, float]

    def where(self, units: LengthUnit = "mm") -> str:
        """Return the line, the cut and the position as text.

        >>> Deviation(0.0021, 4120, 3, 0.314, True, (23.4, -2.1, -0.4)).where()
        'line 4120, cut 3, at 0.314 turns, x 23.4 y -2.1 z -0.4 mm'
        """
        done = f"{format_number(self.u, 4)} turns" if self.turns else f"{format_number(100 * self.u, 1)} % of the way"
        return f"line {self.line}, cut {self.cut}, at {done}, {place(self.place, units)}"


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Proof(Shown):
    """The result of a proof: a program is read back, run on the lathe's model, and compared with its job.

    Parameters
    ----------
    title : str
        Title of the job.
    units : "mm" or "inch"
        Unit of the lengths in the report.
    allowed : float, mm
        Greatest allowed deviation between the two paths.
    deviation : Deviation or None
        The greatest deviation; None if the program cuts nothing or could not be run.
    whole_path : bool
        Whether the program makes every cut of the job.
    air : float, mm
        Clearance from the work in a trial in air (dry run); zero for a program that cuts.
    findings : tuple of Finding
        Problems, warnings and notes.
    wrong : tuple of Remark
        Errors because of which the program cannot be run: lines that break the standard or are not understood.
    uses : tuple of Use
        Travel, speed and acceleration of each axis.
    blocks, stops : int
        Number of moves, and number of operator stops.
    cutting, whole : float
        Minutes of all feed moves, including plunges, without dwells and rapid moves; minutes of the whole program, with dwells
        and with rapid moves at the top speeds of the axes, but without the time that the operator needs at a stop.
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
        """Whether the program cuts the job within the lathe's limits: there are no errors, problems or warnings."""
        return not self.wrong and not self.problems and not self.warnings

    @property
    def problems(self) -> tuple[Finding, ...]:
        """The findings that forbid running the program."""
        return tuple(each for each in self.findings if each.level == "problem")

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """The findings that probably show a mistake."""
        return tuple(each for each in self.findings if each.level == "warning")

    @property
    def code(self) -> int:
        """Exit code: 0 if proved; 1 if there is a problem or a warning; 2 if the program cannot be run."""
        return 2 if self.wrong else int(not self.proved)

    def __str__(self) -> str:
        return "\n".join(self.lines())

    @property
    def summary(self) -> str:
        """The result in one line."""
        if self.wrong:
            more = f" (and {len(self.wrong) - 1} more)" if len(self.wrong) > 1 else ""
            return f"not proved: {self.wrong[0]}{more}"
        if not self.proved:
            counts = ((len(self.problems), "problem"), (len(self.warnings), "warning"))
            shown = (f"{n} {what}{'s' if n != 1 else ''}" for n, what in counts if n)
            return f"not proved: {', '.join(shown)}"
        return f"proved{' in air' if self.air else ''}: {self._path_line}"

    @property
    def _path_line(self) -> str:
        if self.deviation is None:
            return "the program cuts nothing, and the job has nothing to cut"
        if not self.whole_path:
            return "the path is not the job's: cuts are missing"
        far = fine(self.deviation.mm, self.units)
        message = "the path keeps within" if self.deviation.mm <= self.allowed else "the path deviates by"
        of = "of the job's" if self.deviation.mm <= self.allowed else "from the job's"
        return f"{message} {far} {of} (worst: {self.deviation.where(self.units)}); allowed {fine(self.allowed, self.units)}"

    def lines(self) -> Iterator[str]:
        """Yield the lines of the report, errors and findings first."""
        yield from _first_lines(self.wrong)
        if self.wrong:
            yield self.summary
            return
        yield from _first_lines(self.findings)
        if self.deviation is not None:
            yield self._path_line
        for use in self.uses:
            yield str(use)
        once = "once" if self.stops == 1 else f"{self.stops} times"
        yield (
            f"{self.blocks:,} moves, {format_number(self.cutting, 2)} minutes of cutting time, "
            f"{format_number(self.whole, 2)} minutes in all; stops for the operator {once if self.stops else 'never'}"
        )
        if self.air:
            yield (
                f"in air: the tip stays {fine(self.air, self.units)} or more off the work"
                if self.proved
                else "in air: not proved"
            )
        yield "proved" if self.proved else self.summary


def _first_lines(things: tuple[Finding, ...] | tuple[Remark, ...]) -> Iterator[str]:
    """Yield the first findings, and the number of the others."""
    yield from map(str, things[:_MOST_SHOWN])
    if len(things) > _MOST_SHOWN:
        yield f"and {len(things) - _MOST_SHOWN} more"


def place(point: Sequence[float] | Array, units: LengthUnit = "mm") -> str:
    """Return a position on the work as text.

    >>> place((23.4, -2.1, -0.4)), place((25.4, 0.0, -0.254), "inch")
    ('x 23.4 y -2.1 z -0.4 mm', 'x 1 y 0 z -0.01 in')
    """
    scale, places, unit = (1.0, 3, "mm") if units == "mm" else (25.4, 4, "in")
    x, y, z = (format_number(float(each) / scale, places) for each in point)
    return f"x {x} y {y} z {z} {unit}"


def fine(mm: float, units: LengthUnit) -> str:
    """Return a small length as text, rounded up to a tenth of a micron.

    >>> fine(0.0021, "mm"), fine(0.005, "inch"), fine(1.25, "mm"), fine(2e-7, "mm")
    ('0.0021 mm', '0.0002 in', '1.25 mm', '0.0001 mm')
    """
    if math.isinf(mm):
        return "an infinite length"
    if math.isnan(mm):
        return "no finite length"
    return show_length(max(math.ceil(mm * 1e4 - 1e-6) / 1e4, 1e-4) if mm < 0.1 else mm, units)
