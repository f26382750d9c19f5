"""A chuck that keeps every promise, and its faulty twins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lobework.errors import require
from lobework.kinds import Angle, ChuckSlide, Length, Turning, require_numbers
from lobework.rigid import Rigid
from lobework.testing import Known, Sample
from lobework.units import Phase
from tests.testing.twins.twin import Forgetful, Shifted, Trusting, Twin


@dataclass(frozen=True, slots=True, kw_only=True)
class Rocker:
    """Carries the work on a slide that goes to and fro, and swings it."""

    kind: ClassVar[str] = "rocker"
    varies: ClassVar[bool] = True
    comes_back: ClassVar[int] = 1
    needs: ClassVar[tuple[str, ...]] = ("ring", "stop")
    arm: Length = 3.0
    arc_deg: Angle = 20.0
    swings: int = 2
    index: Turning = Phase()

    def __post_init__(self):
        require_numbers(self)
        object.__setattr__(self, "index", Phase.of(self.index))
        require(math.isfinite(self.arm), "arm", self.arm, "a finite length")
        require(0 <= self.arc_deg <= 90, "arc", self.arc_deg, "from 0 to 90 degrees")
        require(self.swings >= 1, "swings", self.swings, "one or more")

    def out(self, theta):
        return self.arm * np.cos(theta)

    def motions(self, theta):
        swung = Rigid.turn(math.radians(self.arc_deg / 2) * np.sin(self.swings * theta))
        return Rigid.move(x=self.out(theta)) @ swung @ Rigid.turn(self.turned)

    @property
    def turned(self):
        return self.index.in_radians()

    def slides(self, theta):
        return (ChuckSlide("slide", self.out(theta), -10.0, 10.0),)


HONEST = Sample(Rocker(), known=[Known(lambda it: it.motions(np.zeros(1)).shift, [[3.0, 0.0, 0.0]], "its definition")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """Keeps every promise with as little as may be: it stands still, and says nothing besides."""

    kind: ClassVar[str] = "still"
    varies: ClassVar[bool] = False

    def motions(self, theta):
        return Rigid.move(x=2.0)


class Forgetting(Forgetful, Rocker):
    pass


class Unhashable(Rocker):
    __hash__ = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Misread(Rocker):
    extra: Shifted = 0.0


class Gullible(Trusting, Rocker):
    pass


class Blunt(Rocker):
    def __post_init__(self):
        if not math.isfinite(self.arm):
            raise RuntimeError("what is this?")


class Lost(Rocker):
    def out(self, theta):
        return np.where(np.abs(theta - math.pi / 2) < 1e-12, np.nan, self.arm * np.cos(theta))


class Short(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        return Rigid(given.rotation[: max(2, theta.size - 1)], given.shift)


class Four(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        return Rigid(np.pad(given.rotation, ((0, 0), (0, 1), (0, 1))), given.shift)


class Loose(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        return given.rotation, given.shift


class Single(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        return Rigid(given.rotation.astype(np.float32), given.shift)


class Stretched(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        return Rigid(given.rotation * 1.00001, given.shift)


class Mirrored(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        return Rigid(given.rotation @ np.diag([1.0, 1.0, -1.0]), given.shift)


class OneLate(Rocker):
    """Off by one sample."""

    def out(self, theta):
        return self.arm * np.cos(np.concatenate([theta[:1], theta[:-1]]))


class Spreading(Rocker):
    def out(self, theta):
        return self.arm * np.cos(theta) + 1e-6 * np.ptp(theta)


class Overwriting(Rocker):
    def out(self, theta):
        theta *= 1.0 + 1e-12
        return self.arm * np.cos(theta)


BUFFER = np.zeros((4096, 3))


class Sharing(Rocker):
    def motions(self, theta):
        given = super().motions(theta)
        BUFFER[: theta.size] = given.shift
        return Rigid(given.rotation, BUFFER[: theta.size])


COUNT = itertools.count()


class Wearing(Rocker):
    def out(self, theta):
        return self.arm * np.cos(theta) + 1e-6 * next(COUNT)


class Stillborn(Rocker):
    """Says that it does not vary, and does."""

    varies = False


class Restless(Still):
    """Says that it varies, and does not."""

    kind = "restless"
    varies = True


class Unsure(Rocker):
    varies = "yes"


class Late(Rocker):
    comes_back = 2


class Early(Rocker):
    """Its slide goes to and fro once in two turns."""

    def out(self, theta):
        return self.arm * np.cos(theta / 2)


class Ratchet(Rocker):
    """Clicks on in every fifth turn, and is back in the sixth."""

    def out(self, theta):
        return self.arm * np.cos(theta) + 0.5 * (np.floor(theta / (2 * math.pi)) % 5 == 3)


class Geared(Rocker):
    """Is back after 96 turns, and says that it never is."""

    comes_back = 0

    def out(self, theta):
        return self.arm * np.cos(theta / 96)


class Never(Rocker):
    comes_back = 0


class HalfTurns(Rocker):
    comes_back = 0.5


class Clockwise(Rocker):
    @property
    def turned(self):
        return -self.index.in_radians()


class TwiceOn(Rocker):
    @property
    def turned(self):
        return 2 * self.index.in_radians()


class PastItsEnd(Rocker):
    def slides(self, theta):
        return (ChuckSlide("slide", self.out(theta), -10.0, 2.0),)


class Backwards(Rocker):
    def slides(self, theta):
        return (ChuckSlide("slide", self.out(theta), 10.0, -10.0),)


class Unmeasured(Rocker):
    def slides(self, theta):
        return (ChuckSlide("slide", self.out(theta)[:3], -10.0, 10.0),)


class Wordy(Rocker):
    needs = "ring"


class Spaced(Rocker):
    needs = (" ring",)


WRONG = Sample(Rocker(), known=[Known(lambda it: it.motions(np.zeros(1)).shift, [[6.0, 0.0, 0.0]], "a book, page 7")])

TWINS = [
    Twin("equal to any other", "keeps its settings", Sample(Forgetting()), "is equal to"),
    Twin("has no hash", "keeps its settings", Sample(Unhashable()), "unhashable type"),
    Twin("reads twice what is shown", "goes through a job file", Sample(Misread(extra=1.5)), "is read as"),
    Twin("takes anything", "refuses what is no number", Sample(Gullible()), "arm=nan is taken"),
    Twin("fails on what is no number", "refuses what is no number", Sample(Blunt()), "with RuntimeError rather than"),
    Twin("nan at a quarter turn", "gives a motion for each angle", Sample(Lost()), "shift for 241 angles: nan at sample 7"),
    Twin("one motion short", "gives a motion for each angle", Sample(Short()), "shape (2, 3, 3) where (3, 3, 3)"),
    Twin("four by four", "gives a motion for each angle", Sample(Four()), "shape (1, 4, 4) where (1, 3, 3)"),
    Twin("no Rigid", "gives a motion for each angle", Sample(Loose()), "returned tuple"),
    Twin("single precision", "gives a motion for each angle", Sample(Single()), "float32 where float64"),
    Twin("stretches the work", "stays rigid", Sample(Stretched()), "not square: worst error 2e-05 at spindle"),
    Twin("mirrors the work", "stays rigid", Sample(Mirrored()), "mirrored: worst error 2 at spindle"),
    Twin("off by one sample", "takes each angle by itself", Sample(OneLate()), "all at once against one by one: worst error"),
    Twin("hangs on its neighbours", "takes each angle by itself", Sample(Spreading()), "all at once against one by one"),
    Twin("changes its input", "leaves its input alone", Sample(Overwriting()), "changes the angles that it is given"),
    Twin(
        "one buffer for every answer", "says the same again", Sample(Sharing()), "the answer changes when something else is asked"
    ),
    Twin("counts its calls", "says the same again", Sample(Wearing()), "other numbers the second time"),
    Twin("varies is False, and it moves", "varies as it says", Sample(Stillborn()), "it does not vary, and moves"),
    Twin("varies is True, and it stands still", "varies as it says", Sample(Restless()), "write varies = False"),
    Twin("varies is a word", "varies as it says", Sample(Unsure()), "it must be True or False"),
    Twin("comes back before it says", "comes back when it says", Sample(Late()), "it stands as it did after 1 already"),
    Twin("comes back after it says", "comes back when it says", Sample(Early()), "1 turns later it stands 5.99 mm"),
    Twin("comes back, but for every fifth turn", "comes back when it says", Sample(Ratchet()), "3 turns later it stands 0.5 mm"),
    Twin("comes back late, and says never", "comes back when it says", Sample(Geared()), "as it did after 96 already"),
    Twin("comes back, and says never", "comes back when it says", Sample(Never()), "comes_back = 0, never"),
    Twin("comes back after half a turn", "comes back when it says", Sample(HalfTurns()), "it must be a whole number of turns"),
    Twin(
        "its index turns clockwise",
        "turns its index counterclockwise",
        Sample(Clockwise()),
        "index 1/8 of a turn on: worst error",
    ),
    Twin("its index turns twice as far", "turns its index counterclockwise", Sample(TwiceOn()), "1.57079633 for 0.785398163"),
    Twin("its slide is past its end", "keeps its slides in their travel", Sample(PastItsEnd()), "1 mm past its travel"),
    Twin("ends the wrong way round", "keeps its slides in their travel", Sample(Backwards()), "the first must be lower"),
    Twin("three places for every angle", "keeps its slides in their travel", Sample(Unmeasured()), "shape (3,)"),
    Twin("needs a word", "says what it needs", Sample(Wordy()), "must be a tuple of fittings"),
    Twin("needs a fitting that begins with a space", "says what it needs", Sample(Spaced()), "must be a tuple of fittings"),
    Twin("stands elsewhere each time", "is traced alike both ways", Sample(Wearing()), "compiled for plain: worst error"),
    Twin("another answer than the book's", "gives the known answers", WRONG, "3 for 6; source: a book, page 7"),
]
HONESTS = [HONEST, Sample(Still())]
