"""Followers that keep every promise, round and shaped, and their faulty twins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from lobework.errors import require
from lobework.kinematics.contact import touch_at
from lobework.parts.cam import EccentricCam
from lobework.quantities.fields import Length
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import Forgetful, Shifted, Trusting, Twin, by_address, by_ends, by_places, in_steps, printing

UNITS = "marks its settings with their units"


@dataclass(frozen=True, slots=True)
class Ball:
    """A round follower of a radius."""

    kind: ClassVar[str] = "ball"
    form: ClassVar[Literal["round", "flat", "shaped"]] = "round"
    radius: Length

    def __post_init__(self):
        require(0 < self.radius < math.inf, "radius", self.radius, "above zero")

    @property
    def half_width(self):
        return self.radius

    @property
    def rest(self):
        return self.radius

    def nose_at(self, q):
        return np.sqrt(np.maximum((self.rest - q) * (self.rest + q), 0.0))

    def nose_slope_at(self, q):
        with np.errstate(divide="ignore"):
            return -q / self.nose_at(q)


@dataclass(frozen=True, slots=True)
class Bow:
    """A parabola, rounder on its one side: neither round nor flat."""

    kind: ClassVar[str] = "bow"
    form: ClassVar[Literal["round", "flat", "shaped"]] = "shaped"
    half_width: ClassVar[float] = 2.0
    rest: ClassVar[float] = 6.0

    def nose_at(self, q):
        return self.rest - 0.5 * q**2 + 0.02 * q**3

    def nose_slope_at(self, q):
        return -q + 0.06 * q**2


TOP = ExpectedValue(lambda it: touch_at(EccentricCam(radius=30.0, offset=10.0), it, np.zeros(1)).reach, [43.0], "its definition")


@dataclass(frozen=True, slots=True)
class Misread(Ball):
    extra: Shifted = 0.0


class Forgetting(Forgetful, Ball):
    pass


class Gullible(Trusting, Ball):
    pass


class Diameter(Ball):
    """Takes its radius for its diameter where it stands, and not where it is wide."""

    @property
    def rest(self):
        return 2 * self.radius


class Halved(Ball):
    """Takes its radius for its diameter all through."""

    @property
    def rest(self):
        return self.radius / 2

    half_width = rest


class Ended(Bow):
    """Says that it is flat, and is not endless."""

    form = "flat"
    rest = 0.0

    def nose_at(self, q):
        return np.zeros_like(q)

    def nose_slope_at(self, q):
        return np.zeros_like(q)


class Square(Ball):
    form = "square"


class Steep(Ball):
    def nose_slope_at(self, q):
        return -1.001 * q / self.nose_at(q)


class Reversed(Bow):
    def nose_slope_at(self, q):
        return -super().nose_slope_at(q)


class OneLate(Ball):
    def nose_at(self, q):
        return super().nose_at(np.concatenate([q[:1], q[:-1]]))


class Overwriting(Ball):
    def nose_at(self, q):
        np.abs(q, out=q)
        return super().nose_at(q)


BUFFER = np.zeros(8192)
COUNT = itertools.count()


class Sharing(Ball):
    def nose_at(self, q):
        BUFFER[: q.size] = super().nose_at(q)
        return BUFFER[: q.size]


class Lost(Ball):
    def nose_at(self, q):
        return np.where(q == 0.0, np.nan, super().nose_at(q))


class LostAWhile(Bow):
    def nose_at(self, q):
        return np.where((q > 0.701) & (q < 0.704), np.nan, super().nose_at(q))


class Stepped(Bow):
    """Has a step to one side."""

    def nose_at(self, q):
        return super().nose_at(q) - 0.25 * (q > 0.7)


class Oval(Ball):
    """Says that it is round, and is a little oval: only in its contact does that show."""

    def nose_at(self, q):
        return super().nose_at(q) * (1 - 1e-4 * (q / self.radius) ** 2)


class Shy(Ball):
    """Says that it cannot be used so, and can."""

    def nose_slope_at(self, q):
        require(q.size < 10, "q", f"{q.size} places", "fewer")
        return super().nose_slope_at(q)


class Remembering(Ball):
    nose_at = by_ends(Ball.nose_at)


class Pointing(Ball):
    nose_slope_at = by_address(Ball.nose_slope_at)


@dataclass(frozen=True, slots=True)
class Blade:
    """A parabola as sharp as it is set: neither round nor flat."""

    kind: ClassVar[str] = "blade"
    form: ClassVar[Literal["round", "flat", "shaped"]] = "shaped"
    half_width: ClassVar[float] = 2.0
    rest: Length = 6.0

    def __post_init__(self):
        require(0 < self.rest < math.inf, "rest", self.rest, "above zero")

    def nose_at(self, q):
        return self.rest - 0.5 * q**2

    def nose_slope_at(self, q):
        return -q


class Shelved(Blade):
    nose_at = by_places(Blade.nose_at)


class Whole(Ball):
    nose_at = in_steps(Ball.nose_at)


class Chatty(Ball):
    nose_at = printing(Ball.nose_at)


@dataclass(frozen=True, slots=True)
class Plain(Ball):
    """Its radius is a length, and marked as a plain number.

    Parameters
    ----------
    radius : float, mm
        Of the ball.
    """

    radius: float


@dataclass(frozen=True, slots=True)
class Untold(Ball):
    """Its radius is a length without a mark."""

    radius: float


class Small(Ball):
    """Is as wide as 5 mm at most, whatever it says."""

    @property
    def half_width(self):
        return min(self.radius, 5.0)


class Zero(Ball):
    """Divides by what is zero at 9 mm."""

    def nose_at(self, q):
        return super().nose_at(q) * (1.0 if self.radius < 8 else 1 / 0)


TWINS = [
    Twin(
        "keeps its nose by length and ends",
        "treats each position independently",
        Sample(Remembering(3.0)),
        "the inner elements in another order",
    ),
    Twin("keeps slopes by address", "treats each position independently", Sample(Pointing(3.0)), "written to the same array"),
    Twin("reads an array as one piece", "treats each position independently", Sample(Whole(3.0)), "for a strided array"),
    Twin("keeps its nose whatever the settings", "depends on its own settings alone", Sample(Shelved()), "must depend on all of"),
    Twin("prints what it is asked", "prints nothing", Sample(Chatty(3.0)), "the item prints 'asked for 37 at once"),
    Twin(
        "mm, and a plain number", UNITS, Sample(Plain(3.0)), "radius: its docstring says mm, but the setting is marked as a plain"
    ),
    Twin(
        "a length without a mark",
        UNITS,
        Sample(Untold(3.0)),
        "radius: the setting is marked as a plain number, but the part",
    ),
    Twin(
        "no wider than 5 mm",
        "keeps its promises at other settings",
        Sample(Small(3.0)),
        "has the form that it declares, at Small(radius=",
    ),
    Twin("fails from 8 mm on", "keeps its promises at other settings", Sample(Zero(3.0)), "it fails: ZeroDivisionError"),
    Twin("equal to any other", "keeps its settings", Sample(Forgetting(3.0)), "is equal to"),
    Twin("reads one more than is shown", "keeps its settings in a job file", Sample(Misread(3.0, 0.5)), "is read as"),
    Twin("takes anything", "refuses nan and infinity", Sample(Gullible(3.0)), "radius=nan is accepted"),
    Twin("is square", "has valid attributes", Sample(Square(3.0)), "form is 'square'"),
    Twin("nan at its tip", "has valid attributes", Sample(Lost(3.0)), "nose_at: nan at sample 200"),
    Twin("nan beside its tip", "has valid attributes", Sample(LostAWhile()), "nose_at returns nan at 0.70"),
    Twin(
        "a step beside its tip",
        "has a nose of continuous height",
        Sample(Stepped()),
        "nose_at jumps by 0.25 mm at 0.7 mm from the middle of the nose",
    ),
    Twin("radius for diameter in one place", "has the form that it declares", Sample(Diameter(3.0)), "3 instead of 6"),
    Twin(
        "radius for diameter all through",
        "has the form that it declares",
        Sample(Halved(3.0)),
        "its radius, compared with its radius",
    ),
    Twin("a flat with ends", "has the form that it declares", Sample(Ended()), "half_width of a flat follower"),
    Twin("an oval that says that it is round", "has the form that it declares", Sample(Oval(3.0)), "nose_at of a round follower"),
    Twin("a slope that is not the slope", "has the slope of its nose", Sample(Steep(3.0)), "nose_slope_at:"),
    Twin("a slope the other way", "has the slope of its nose", Sample(Reversed()), "nose_slope_at: -2.2"),
    Twin(
        "off by one sample",
        "treats each position independently",
        Sample(OneLate(3.0)),
        "nose_at, all at once compared with one by one",
    ),
    Twin("changes its input", "does not change its input", Sample(Overwriting(3.0)), "nose_at: the function changes"),
    Twin("one buffer for every answer", "gives the same result again", Sample(Sharing(3.0)), "nose_at: the result changes"),
    Twin("an oval that bears as one", "has the right reach on a disc", Sample(Oval(3.0)), "its reach: worst error"),
    Twin("refuses what it can", "is refused where it cannot touch the cam", Sample(Shy(3.0)), "refuses the follower: cam[1]: q="),
    Twin("another answer than the book's", "gives the known answers", Sample(Halved(3.0), known=[TOP]), "source: its definition"),
]
HONESTS = [Sample(Ball(3.0), known=[TOP]), Sample(Bow())]
