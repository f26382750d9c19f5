"""A cam that keeps every promise, and its faulty twins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from lobework.errors import require
from lobework.parts.cam import CamShape, Wave
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import (
    Forgetful,
    Proud,
    Restless,
    Shifted,
    Trusting,
    Twin,
    by_address,
    by_ends,
    by_places,
    in_steps,
    printing,
)

UNITS = "marks its settings with their units"


@dataclass(frozen=True, slots=True, kw_only=True)
class Roof(CamShape):
    """Lobes with a sharp ridge at the top and a parabola down to a round hollow."""

    kind: ClassVar[str] = "roof"

    @property
    def corners(self):
        return (0.0,)

    def part(self, psi):
        """How far round the lobe from its top, -1 to 1 at the hollows."""
        return self._within_lobe(psi) * self.lobes / math.pi

    def rise_at(self, psi):
        return self.rise * (1 - np.abs(self.part(psi))) ** 2

    def slope_at(self, psi):
        part = self.part(psi)
        return -2 * self.rise * (1 - np.abs(part)) * np.where(part < 0, -1.0, 1.0) * self.lobes / math.pi


def sample(shape, known=(), **given):
    return Sample(shape(lobes=5, base_radius=50.0, rise=4.0, **given), known=known)


HEIGHTS = ExpectedValue(lambda cam: cam.rise_at(np.radians([0.0, 18.0, 36.0])), [4.0, 1.0, 0.0], "its definition")


@dataclass(frozen=True, slots=True, kw_only=True)
class Misread(Roof):
    extra: Shifted = 0.0


class Forgetting(Forgetful, Roof):
    pass


class Only(Proud, Roof):
    pass


class Unlike(Restless, Roof):
    pass


class Listing(Roof):
    """Returns a list of heights."""

    def rise_at(self, psi):
        return super().rise_at(psi).tolist()


class Gullible(Trusting, Roof):
    pass


class Fractional(Roof):
    def __post_init__(self):
        pass


class Beyond(Roof):
    @property
    def corners(self):
        return (0.0, 7.0)


class Uneven(Roof):
    """Its second lobe is a little higher."""

    def rise_at(self, psi):
        return super().rise_at(psi) + 1e-6 * np.sin(psi / 2) ** 2


class Twofold(Roof):
    """Goes up and down twice in what it says is one lobe."""

    corners = (0.0, math.pi / 5)

    def part(self, psi):
        return super().part(psi) * 2 % 2.0 - 2.0 * (super().part(psi) * 2 % 2.0 > 1.0)


class Offset(Roof):
    """Its top stands a degree further on."""

    def part(self, psi):
        return super().part(psi - math.radians(1.0))


class Sunk(Roof):
    def rise_at(self, psi):
        return super().rise_at(psi) - 0.25


class Raised(Roof):
    def rise_at(self, psi):
        return super().rise_at(psi) + 0.25


class Doubled(Roof):
    """Takes its rise for half of it: diameter for radius."""

    def rise_at(self, psi):
        return 2 * super().rise_at(psi)

    def slope_at(self, psi):
        return 2 * super().slope_at(psi)


class Steep(Roof):
    """Its slope is one part in ten thousand off."""

    def slope_at(self, psi):
        return 1.0001 * super().slope_at(psi)


class PerDegree(Roof):
    def slope_at(self, psi):
        return super().slope_at(psi) * math.pi / 180


class Between(Roof):
    """At its corner it gives neither side's slope."""

    def slope_at(self, psi):
        return np.where(np.abs(self._within_lobe(psi)) < 1e-10, 0.0, super().slope_at(psi))


class Smooth(Roof):
    """Names no corner."""

    corners = ()


class Arched(Roof):
    """Goes over from one parabola to another halfway down, where its curvature jumps."""

    def rise_at(self, psi):
        part = np.abs(self.part(psi))
        return self.rise * np.where(part < 0.5, 1 - 2 * part**2, 2 * (1 - part) ** 2)

    def slope_at(self, psi):
        part = self.part(psi)
        down = np.where(np.abs(part) < 0.5, -4 * np.abs(part), -4 * (1 - np.abs(part)))
        return self.rise * down * np.sign(part) * self.lobes / math.pi


class OneLate(Roof):
    """Off by one sample."""

    def rise_at(self, psi):
        return super().rise_at(np.concatenate([psi[:1], psi[:-1]]))


class Overwriting(Roof):
    def rise_at(self, psi):
        psi %= 2 * math.pi
        return super().rise_at(psi)


BUFFER = np.zeros(8192)
COUNT = itertools.count()


class Sharing(Roof):
    def rise_at(self, psi):
        BUFFER[: psi.size] = super().rise_at(psi)
        return BUFFER[: psi.size]


class Wearing(Roof):
    def rise_at(self, psi):
        return super().rise_at(psi) + 1e-6 * next(COUNT)


class Narrow(Roof):
    """Takes only so many angles at once."""

    def rise_at(self, psi):
        if psi.size > 1000:
            raise ValueError("too many angles")
        return super().rise_at(psi)


class Lost(Roof):
    def rise_at(self, psi):
        return np.where(psi == 0.0, np.nan, super().rise_at(psi))


class LostAWhile(Roof):
    """Gives no number for a twentieth of a degree in its third lobe."""

    def rise_at(self, psi):
        degrees = np.degrees(psi) % 360
        return np.where((degrees >= 160) & (degrees < 160.05), np.nan, super().rise_at(psi))


class Cliff(Roof):
    """Falls off at an angle that it names as a corner."""

    corners = (0.0, 0.4)

    def rise_at(self, psi):
        return super().rise_at(psi) + 0.2 * (np.abs(np.mod(psi, 2 * math.pi / self.lobes) - 0.4) < 0.1 / self.lobes)


class Jagged(Roof):
    """So finely notched that no table of it can be true: its slope says nothing of that."""

    def rise_at(self, psi):
        return super().rise_at(psi) + 2e-6 * np.sin(9000 * psi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sideways(Roof):
    on: Literal["edge", "face"] = "side"

    def __post_init__(self):
        pass


class Remembering(Roof):
    rise_at = by_ends(Roof.rise_at)


class Pointing(Roof):
    slope_at = by_address(Roof.slope_at)


class Shelved(Roof):
    rise_at = by_places(Roof.rise_at)


class Whole(Roof):
    slope_at = in_steps(Roof.slope_at)


class Chatty(Roof):
    rise_at = printing(Roof.rise_at)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain(Roof):
    """Its rise is a length, and marked as a plain number.

    Parameters
    ----------
    rise : float, mm
        From the hollow to the top.
    """

    rise: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Roof):
    """Its hollow is a length without a mark."""

    hollow: float = 1.0

    def rise_at(self, psi):
        return super(Told, self).rise_at(psi) * (1 + self.hollow / self.rise)


class Fives(Roof):
    """Is right with five lobes, and with others off by a tenth of its height."""

    def rise_at(self, psi):
        return super().rise_at(psi) * (1.0 if self.lobes == 5 else 1.1)


class Edged(Roof):
    """Is not a number on the face."""

    def rise_at(self, psi):
        return super().rise_at(psi) * (1.0 if self.on == "edge" else math.nan)


class Lopsided(Roof):
    """Forgets its corner where it rises much."""

    @property
    def corners(self):
        return (0.0,) if self.rise < 5 else ()


class Late(Roof):
    """Takes a rise that it refuses when it is asked how high it is."""

    def rise_at(self, psi):
        require(self.rise < 10, "rise", self.rise, "below 10 mm")
        return super().rise_at(psi)


TWINS = [
    Twin(
        "keeps heights by length and ends",
        "treats each angle independently",
        sample(Remembering),
        "the inner elements in another order",
    ),
    Twin("keeps slopes by address", "treats each angle independently", sample(Pointing), "written to the same array"),
    Twin("reads an array as one piece", "treats each angle independently", sample(Whole), "for a strided array"),
    Twin(
        "keeps heights whatever the settings",
        "depends on its own settings alone",
        sample(Shelved),
        "must depend on all of the settings",
    ),
    Twin("prints what it is asked", "prints nothing", sample(Chatty), "the item prints 'asked for 90 at once"),
    Twin(
        "mm, and a plain number", UNITS, sample(Plain), "rise: its docstring says mm, but the setting is marked as a plain number"
    ),
    Twin(
        "a length without a mark",
        UNITS,
        sample(Told),
        "hollow: the setting is marked as a plain number, but the part keeps its shape",
    ),
    Twin(
        "made for five lobes",
        "keeps its promises at other settings",
        sample(Fives),
        "has its lowest point at its base radius, at Fives(",
    ),
    Twin("made for the edge", "keeps its promises at other settings", sample(Edged), "on='face'): rise_at: nan"),
    Twin("forgets its corner", "keeps its promises at other settings", sample(Lopsided), "lists every corner, at Lopsided("),
    Twin(
        "refuses late",
        "keeps its promises at other settings",
        sample(Late),
        "the part accepts these settings, but raises an error later: rise=",
    ),
    Twin("equal to any other", "keeps its settings", sample(Forgetting), "is equal to"),
    Twin("equal to no copy", "keeps its settings", sample(Only), "a copy made with the same settings is not equal to the part"),
    Twin("another hash for an equal", "keeps its settings", sample(Unlike), "is equal to the part, but has another hash"),
    Twin("a list of heights", "has valid attributes", sample(Listing), "rise_at: list instead of a numpy array"),
    Twin("reads one more than is shown", "keeps its settings in a job file", sample(Misread, extra=0.5), "is read as"),
    Twin("takes anything", "refuses nan and infinity", sample(Gullible), "base_radius=nan is accepted"),
    Twin("half a lobe", "has valid attributes", Sample(Fractional(base_radius=50.0, rise=4.0, lobes=2.5)), "lobes is 2.5"),
    Twin("a corner beyond its lobe", "has valid attributes", sample(Beyond), "not all within the first lobe"),
    Twin("a wave on its side", "has valid attributes", sample(Sideways), "on is 'side'"),
    Twin("nan at its top", "has valid attributes", sample(Lost), "rise_at: nan at sample 0"),
    Twin("nan in its third lobe", "has valid attributes", sample(LostAWhile), "rise_at returns nan at 160"),
    Twin("a cliff", "rises continuously", sample(Cliff), "rise_at jumps by 0.2 mm at cam"),
    Twin("one lobe higher", "has equal lobes", sample(Uneven), "lobes further: worst error"),
    Twin("twice as many lobes", "has equal lobes", sample(Twofold), "lobes is 5, but the cam has 2 times as many lobes"),
    Twin("its top a degree further on", "has the top of a lobe at angle zero", sample(Offset), "higher than at angle zero"),
    Twin("below its base", "has its lowest point at its base radius", sample(Sunk), "below its base: worst error 0.25 mm at cam"),
    Twin(
        "never down to its base",
        "has its lowest point at its base radius",
        sample(Raised),
        "its lowest height: worst error 0.25 mm",
    ),
    Twin("rises twice as far as it is set", "has its lowest point at its base radius", sample(Doubled), "8 instead of 4"),
    Twin(
        "a slope that is not the slope", "has the slope of its rise", sample(Steep), "slope_at: worst error 0.00127 mm/rad at cam"
    ),
    Twin("a slope a degree", "has the slope of its rise", sample(PerDegree), "slope_at: worst error"),
    Twin("neither side's slope at a corner", "has the slope of its rise", sample(Between), "0 mm/rad at the corner 0 deg"),
    Twin("a corner that it does not name", "lists every corner", sample(Smooth), "its slope jumps at 0 deg"),
    Twin("a jump of curvature that it does not name", "lists every corner", sample(Arched), "its curvature jumps at 18"),
    Twin(
        "off by one sample", "treats each angle independently", sample(OneLate), "rise_at, all at once compared with one by one"
    ),
    Twin(
        "changes its input", "does not change its input", sample(Overwriting), "rise_at: the function changes its argument array"
    ),
    Twin("one buffer for every answer", "gives the same result again", sample(Sharing), "rise_at: the result changes"),
    Twin("counts its calls", "gives the same result again", sample(Wearing), "rise_at: equal arguments give other numbers"),
    Twin("notched", "gives the same lift in compiled code", sample(Jagged), "worst error"),
    Twin(
        "takes few angles at once",
        "gives the same trace in compiled code",
        sample(Narrow),
        "it fails: ValueError: too many angles",
    ),
    Twin(
        "another answer than the book's",
        "gives the known answers",
        sample(Doubled, [HEIGHTS]),
        "8 instead of 4; source: its definition",
    ),
]
HONESTS = [
    sample(Roof, [HEIGHTS]),
    sample(Roof, on="face"),
    Sample(Wave(lobes=1, base_radius=30.0, rise=0.0)),
]
