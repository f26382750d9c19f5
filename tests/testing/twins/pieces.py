"""Forms of work that keep every promise, and their faulty twins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lobework.errors import require
from lobework.geometry.surface import Face, Round
from lobework.quantities.fields import Length
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import Forgetful, Reused, Shifted, Trusting, Twin, ends_of

UNITS = "marks its settings with their units"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """A square plate, which can only be drawn."""

    form: ClassVar[str] = "tile"
    side: Length

    def __post_init__(self):
        require(0 < self.side < math.inf, "side", self.side, "above zero")

    @property
    def outline(self):
        half = self.side / 2
        return np.array([[half, half], [-half, half], [-half, -half], [half, -half], [half, half]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Cone:
    """A cone that lies along the spindle, cut on its side."""

    form: ClassVar[str] = "cone"
    radius: Length = 12.0
    length: Length = 20.0
    lean: ClassVar[float] = math.radians(10.0)

    def __post_init__(self):
        require(8.0 < self.radius < math.inf, "radius", self.radius, "above 8 mm")
        require(0 < self.length < 30.0, "length", self.length, "from 0 to 30 mm")

    @property
    def outline(self):
        half = math.pi * self.radius
        return np.array([[-half, 0.0], [half, 0.0], [half, -self.length], [-half, -self.length], [-half, 0.0]])

    def profile(self, s):
        sine, cosine = math.sin(self.lean), math.cos(self.lean)
        return np.stack([self.radius - s * sine, -s * cosine, cosine + 0 * s, -sine + 0 * s], axis=-1)

    def wall(self, s):
        return self.profile(s)[:, 0] / math.cos(self.lean)

    @property
    def surface(self):
        return Round(length=self.length, profile=self.profile, wall=self.wall, straight=False)

    def seen(self, points):
        sine, cosine = math.sin(self.lean), math.cos(self.lean)
        out = np.hypot(points[:, 0], points[:, 1])
        along = (self.radius - out) * sine - points[:, 2] * cosine
        deep = (self.radius - out) * cosine + points[:, 2] * sine
        around = np.unwrap(np.arctan2(points[:, 1], points[:, 0]))
        return np.stack([self.radius * around, -along, deep], axis=-1)


SIZE = ExpectedValue(lambda it: np.ptp(it.outline, axis=0), [20.0, 20.0], "its own side")


@dataclass(frozen=True, slots=True, kw_only=True)
class Misread(Tile):
    extra: Shifted = 0.0


class Forgetting(Forgetful, Tile):
    pass


class Gullible(Trusting, Tile):
    pass


class Open(Tile):
    @property
    def outline(self):
        return super().outline[:-1]


class Thin(Tile):
    @property
    def outline(self):
        return super().outline * [1.0, 0.0]


class Lost(Tile):
    @property
    def outline(self):
        return np.where(super().outline == -self.side / 2, np.nan, super().outline)


KEPT = np.array([[10.0, 10.0], [-10.0, 10.0], [-10.0, -10.0], [10.0, -10.0], [10.0, 10.0]])


class Lending(Tile):
    """Hands out the only outline that it has."""

    @property
    def outline(self):
        return KEPT


class Diameter(Tile):
    @property
    def outline(self):
        return 2 * super().outline


class Shallow(Cone):
    """Measures depth along the radius, not along the normal."""

    def seen(self, points):
        seen = super().seen(points)
        return seen * [1.0, 1.0, 1 / math.cos(self.lean)]


class Overwriting(Cone):
    def seen(self, points):
        seen = super().seen(points)
        points[:] = seen
        return seen


class Unlevel(Cone):
    """Its normals are not unit."""

    def profile(self, s):
        return super().profile(s) * [1.0, 1.0, 1.01, 1.01]


class Long(Cone):
    """Counts its profile by z."""

    def profile(self, s):
        return super().profile(s / math.cos(self.lean))


class Hollowed(Cone):
    def wall(self, s):
        return -super().wall(s)


class Paper(Tile):
    @property
    def surface(self):
        return Face(radius=self.side / 2, thickness=0.0)


COUNT = itertools.count()


class Growing(Tile):
    """Larger each time that it is looked at."""

    @property
    def outline(self):
        return super().outline * 2.0 ** next(COUNT)


class Wide(Cone):
    """Takes the diameter for the radius where it is carved."""

    def profile(self, s):
        return super().profile(s) * [2.0, 1.0, 1.0, 1.0]

    def seen(self, points):
        return super().seen(points * [0.5, 0.5, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab(Tile):
    """A round plate to be carved."""

    @property
    def outline(self):
        turn = np.linspace(0.0, 2 * math.pi, 181)
        return self.side / 2 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)

    @property
    def surface(self):
        return Face(radius=self.side / 2, thickness=4.0)


class Narrow(Slab):
    """Half as wide where it is carved as it is drawn."""

    @property
    def surface(self):
        return Face(radius=self.side / 4, thickness=4.0)


class Shrunk(Cone):
    """Seen half as long as it is."""

    def seen(self, points):
        return super().seen(points) * [1.0, 0.5, 1.0]


class Turned(Cone):
    """Seen upside down: above its sheet."""

    def seen(self, points):
        return super().seen(points) * [1.0, -1.0, 1.0]


class Remembering(Cone):
    """Keeps where points are seen by how many there are, and where the first and last lie."""

    seen = Reused(Cone.seen, lambda part, points: (repr(part), len(points), ends_of(points)))


SHEETS = []


class Shelved(Tile):
    """Keeps the first outline that anybody asked for."""

    @property
    def outline(self):
        SHEETS.append(super().outline)
        return SHEETS[0].copy()


class Chatty(Tile):
    @property
    def outline(self):
        print("outline")
        return super().outline


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain(Tile):
    """Its side is a length, and marked as a plain number.

    Parameters
    ----------
    side : float, mm
        Along one edge.
    """

    side: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Untold(Tile):
    """Its side is a length without a mark."""

    side: float


class Large(Tile):
    """Is open where it is large."""

    @property
    def outline(self):
        return super().outline[: 5 if self.side < 50 else 4]


class Steep(Cone):
    """Is not as long along its profile as it says, where it is long."""

    def profile(self, s):
        return super().profile(s * (1.0 if self.length < 22 else 1.1))


TWINS = [
    Twin(
        "diameter for radius where it is carved",
        "maps its surface onto its sheet",
        Sample(Wide()),
        "the circumference at radius 12 mm",
    ),
    Twin(
        "half as wide where it is carved",
        "maps its surface onto its sheet",
        Sample(Narrow(side=20.0)),
        "its surface on its sheet",
    ),
    Twin("seen half as long", "maps its surface onto its sheet", Sample(Shrunk()), "along its surface"),
    Twin("seen upside down", "maps its surface onto its sheet", Sample(Turned()), "its surface on its sheet"),
    Twin(
        "keeps what is seen by length and ends",
        "maps depth like its surface",
        Sample(Remembering()),
        "the inner points in another order",
    ),
    Twin(
        "keeps its outline whatever the settings",
        "depends on its own settings alone",
        Sample(Shelved(side=20.0)),
        "the settings do not change the results",
    ),
    Twin("prints what it is asked", "prints nothing", Sample(Chatty(side=20.0)), "the item prints 'outline outline'"),
    Twin(
        "mm, and a plain number",
        UNITS,
        Sample(Plain(side=20.0)),
        "side: its docstring says mm, but the setting is marked as a plain",
    ),
    Twin(
        "a length without a mark",
        UNITS,
        Sample(Untold(side=20.0)),
        "side: the setting is marked as a plain number, but the",
    ),
    Twin(
        "open where it is large",
        "keeps its promises at other settings",
        Sample(Large(side=20.0)),
        "has a closed outline, at Large(",
    ),
    Twin("stretched where it is long", "keeps its promises at other settings", Sample(Steep()), "has a valid surface, at Steep("),
    Twin("equal to any other", "keeps its settings", Sample(Forgetting(side=20.0)), "is equal to"),
    Twin("reads one more than is shown", "keeps its settings in a job file", Sample(Misread(side=20.0, extra=0.5)), "is read as"),
    Twin("takes anything", "refuses nan and infinity", Sample(Gullible(side=20.0)), "side=nan is accepted"),
    Twin("an open edge", "has a closed outline", Sample(Open(side=20.0)), "its last point compared with its first: worst error"),
    Twin("no wood inside", "has a closed outline", Sample(Thin(side=20.0)), "outline encloses no area"),
    Twin("nan for an edge", "has a closed outline", Sample(Lost(side=20.0)), "outline: nan at sample"),
    Twin("one outline for everybody", "has a closed outline", Sample(Lending(side=20.0)), "outline, at the next call"),
    Twin(
        "depth along the radius", "maps depth like its surface", Sample(Shallow()), "0.1 mm below the surface: depth: worst error"
    ),
    Twin(
        "changes its input",
        "maps depth like its surface",
        Sample(Overwriting()),
        "the method changes its array of points",
    ),
    Twin("normals that are not unit", "has a valid surface", Sample(Unlevel()), "its normals: worst error 0.01"),
    Twin("a profile that is longer than it says", "has a valid surface", Sample(Long()), "must be the length along the profile"),
    Twin("a wall below zero", "has a valid surface", Sample(Hollowed()), "a radius or a wall thickness is below zero"),
    Twin("no thickness", "has a valid surface", Sample(Paper(side=20.0)), "must be above zero"),
    Twin(
        "another size each time", "is drawn within its sheet", Sample(Growing(side=20.0)), "its outline extends beyond the sheet"
    ),
    Twin("radius for diameter", "gives the known answers", Sample(Diameter(side=20.0), known=[SIZE]), "40 instead of 20"),
]
HONESTS = [Sample(Tile(side=20.0), known=[SIZE]), Sample(Cone()), Sample(Slab(side=20.0))]
