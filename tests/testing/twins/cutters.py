"""A cutter that keeps every promise, and its faulty twins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import ClassVar

from lobework.errors import require
from lobework.geometry.cutter_edge import Edge, LineSegment
from lobework.parts.holder import DrillingSpindle, FixedTool, Holder
from lobework.quantities.fields import Length
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import Forgetful, Shifted, Trusting, Twin

UNITS = "marks its settings with their units"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spear:
    """A pointed cutter, half as wide as it is high."""

    kind: ClassVar[str] = "spear"
    width: Length
    holder: Holder = DrillingSpindle()

    def __post_init__(self):
        require(0 < self.width < math.inf, "width", self.width, "above zero")

    @property
    def edge(self):
        return Edge((LineSegment(0.0, self.width / 2, 0.0, 2.0),))

    def width_at(self, depth):
        return self.edge.width_at(depth)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quill:
    """It only draws: a line that is wider the harder it is pressed."""

    kind: ClassVar[str] = "quill"
    line: Length

    def __post_init__(self):
        require(0 < self.line < math.inf, "line", self.line, "above zero")

    def width_at(self, depth):
        return self.line * (1 + max(depth, 0.0))


WIDTHS = ExpectedValue(lambda it: [it.width_at(depth) for depth in (0.0, 0.5, 9.0)], [0.0, 0.5, 2.0], "its definition")


@dataclass(frozen=True, slots=True, kw_only=True)
class Misread(Spear):
    extra: Shifted = 0.0


class Forgetting(Forgetful, Spear):
    pass


class Gullible(Trusting, Spear):
    pass


class Narrowing(Quill):
    def width_at(self, depth):
        return self.line * (0.5 + 0.5 / (1 + max(depth, 0.0)))


class Lost(Quill):
    def width_at(self, depth):
        return math.nan if depth > 0.5 else self.line


class Wide(Quill):
    """Wider above the surface than on it."""

    def width_at(self, depth):
        return self.line * (2 if depth < 0 else 1)


class HalfWidth(Spear):
    """Says how far it reaches to one side: radius for diameter."""

    def width_at(self, depth):
        return self.edge.width_at(depth) / 2


class Hovering(Spear):
    """Leaves a line above the surface."""

    def width_at(self, depth):
        return max(self.edge.width_at(depth), 1e-3)


class Thinning(Quill):
    """Its line is another each time."""

    lines: ClassVar[list[float]] = []

    def width_at(self, depth):
        self.lines.append(depth)
        return self.line * (1 + 1e-6 * len(self.lines))


COUNT = itertools.count()


class Wearing(Spear):
    """Blunter each time that it is looked at."""

    @property
    def edge(self):
        return Edge((LineSegment(0.0, self.width / 2, 0.0, 2.0 / (1 + 0.01 * next(COUNT))),))


class Gripper(FixedTool):
    """A holder that no way of carving knows."""

    kind = "gripper"


@dataclass(frozen=True, slots=True, kw_only=True)
class Handheld:
    """It has an edge, and nothing that holds it."""

    kind: ClassVar[str] = "handheld"
    width: Length

    def __post_init__(self):
        require(0 < self.width < math.inf, "width", self.width, "above zero")

    @property
    def edge(self):
        return Edge((LineSegment(0.0, self.width / 2, 0.0, 2.0),))

    def width_at(self, depth):
        return self.edge.width_at(depth)


class Bolted(Handheld):
    """Nobody can set what holds it."""

    holder = DrillingSpindle()


class Dropping(Spear):
    """Drops the holder that it is set to."""

    def __post_init__(self):
        object.__setattr__(self, "holder", DrillingSpindle())


@dataclass(frozen=True, slots=True, kw_only=True)
class Deaf(Handheld):
    """Ignores the holder that it is set to."""

    grip: Holder = DrillingSpindle()

    @property
    def holder(self):
        return DrillingSpindle()


class Bending(Spear):
    """Its edge is another one in a frame."""

    @property
    def edge(self):
        return Edge(
            (LineSegment(0.0, self.width / 2, 0.0, 2.0 if isinstance(self.holder, DrillingSpindle | FixedTool) else 1.9),)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Edgeless(Quill):
    """Is held, and has no edge."""

    holder: Holder = DrillingSpindle()


WIDTHS_KEPT = {}


class Shelved(Quill):
    """Keeps its widths by the depth, whatever its line."""

    def width_at(self, depth):
        return WIDTHS_KEPT.setdefault(depth, super().width_at(depth))


class Chatty(Quill):
    def width_at(self, depth):
        print("how wide?")
        return super().width_at(depth)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain(Spear):
    """Its width is a length, and marked as a plain number.

    Parameters
    ----------
    width : float, mm
        Across its shoulders.
    """

    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Untold(Spear):
    """Its width is a length without a mark."""

    width: float


class Thick(Spear):
    """Is half as wide as it says where it is wide."""

    def width_at(self, depth):
        return super().width_at(depth) / (1 if self.width < 10 else 2)


class Whole(Quill):
    """Takes nothing but a float."""

    def width_at(self, depth):
        if type(depth) is not float:
            raise TypeError("a float, please")
        return super().width_at(depth)


TWINS = [
    Twin(
        "an edge without a holder",
        "keeps the holder that is set",
        Sample(Handheld(width=2.0)),
        "the cutter has an edge but no setting holder",
    ),
    Twin(
        "a holder that cannot be set",
        "keeps the holder that is set",
        Sample(Bolted(width=2.0)),
        "the cutter has an edge but no setting holder",
    ),
    Twin(
        "drops its holder",
        "keeps the holder that is set",
        Sample(Dropping(width=2.0)),
        "with the setting holder=FixedTool(), its holder is Drilling",
    ),
    Twin(
        "ignores its holder",
        "keeps the holder that is set",
        Sample(Deaf(width=2.0)),
        "the cutter has an edge but no setting holder",
    ),
    Twin(
        "another edge in a frame",
        "keeps the holder that is set",
        Sample(Bending(width=2.0)),
        "its edge, in the holder 'eccentric frame'",
    ),
    Twin(
        "a holder without an edge",
        "keeps the holder that is set",
        Sample(Edgeless(line=0.4)),
        "edge is None; a cutter with a holder must have",
    ),
    Twin(
        "keeps widths whatever the settings", "depends on its own settings alone", Sample(Shelved(line=0.4)), "must depend on all"
    ),
    Twin("prints what it is asked", "prints nothing", Sample(Chatty(line=0.4)), "the item prints 'how wide?"),
    Twin(
        "mm, and a plain number",
        UNITS,
        Sample(Plain(width=2.0)),
        "width: its docstring says mm, but the setting is marked as a plain",
    ),
    Twin("a length without a mark", UNITS, Sample(Untold(width=2.0)), "width: the setting is marked as a plain number, but"),
    Twin(
        "half as wide where it is wide",
        "keeps its promises at other settings",
        Sample(Thick(width=2.0)),
        "agrees with its edge, at Thick(",
    ),
    Twin("takes a float alone", "never narrows with depth", Sample(Whole(line=0.4)), "it fails: TypeError: a float, please"),
    Twin("equal to any other", "keeps its settings", Sample(Forgetting(width=2.0)), "is equal to"),
    Twin("reads one more than is shown", "keeps its settings in a job file", Sample(Misread(width=2.0, extra=0.5)), "is read as"),
    Twin("takes anything", "refuses nan and infinity", Sample(Gullible(width=2.0)), "width=nan is accepted"),
    Twin(
        "narrower deeper down", "never narrows with depth", Sample(Narrowing(line=0.4)), "width_at falls from 0.276923077 at 1.6"
    ),
    Twin("nan deeper down", "never narrows with depth", Sample(Lost(line=0.4)), "is nan; it must be a number of mm"),
    Twin("wider above the surface", "never narrows with depth", Sample(Wide(line=0.4)), "above the surface, is 0.8 mm"),
    Twin(
        "half of its width",
        "agrees with its edge",
        Sample(HalfWidth(width=2.0)),
        "compared with the width of its edge: worst error",
    ),
    Twin("a line above the surface", "agrees with its edge", Sample(Hovering(width=2.0)), "worst error 0.001 mm"),
    Twin(
        "another line each time",
        "is drawn as wide as it cuts",
        Sample(Thinning(line=0.4)),
        "width of the drawn line: worst error",
    ),
    Twin(
        "held by an unknown holder",
        "carves like the reference",
        Sample(Spear(width=2.0, holder=Gripper())),
        "no built-in backend",
    ),
    Twin("blunter each time", "cuts the outline of its edge", Sample(Wearing(width=2.0)), "across the cut: worst"),
    Twin(
        "half of the book's width",
        "gives the known answers",
        Sample(HalfWidth(width=2.0), known=[WIDTHS]),
        "1 instead of 2; source",
    ),
]
HONESTS = [Sample(Spear(width=2.0), known=[WIDTHS]), Sample(Spear(width=2.0, holder=FixedTool())), Sample(Quill(line=0.4))]
