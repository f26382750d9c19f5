"""A chuck that keeps every promise, and its faulty twins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar

import numpy as np

from lobework.errors import require
from lobework.geometry.rigid import Rigid
from lobework.parts.protocols import ChuckSlide
from lobework.quantities.fields import Angle, Length, Turning, require_numbers
from lobework.quantities.units import Phase
from lobework.testing import ExpectedValue, Sample
from tests.testing.twins.twin import (
    Forgetful,
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
OTHERS = "keeps its promises at other settings"
APART = "depends on its own settings alone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rocker:
    """Carries the work on a slide that goes to and fro, and swings it."""

    kind: ClassVar[str] = "rocker"
    is_dynamic: ClassVar[bool] = True
    period_turns: ClassVar[int] = 1
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


HONEST = Sample(Rocker(), known=[ExpectedValue(lambda it: it.motions(np.zeros(1)).shift, [[3.0, 0.0, 0.0]], "its definition")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """Keeps every promise with as little as may be: it stands still, and says nothing besides."""

    kind: ClassVar[str] = "still"
    is_dynamic: ClassVar[bool] = False

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


class LostAWhile(Rocker):
    """Gives no number from 100 to 100.5 degrees of the spindle."""

    def out(self, theta):
        degrees = np.degrees(theta) % 360
        return np.where((degrees >= 100) & (degrees < 100.5), np.nan, self.arm * np.cos(theta))


class Arctan(Rocker):
    """Takes the tangent's inverse for the angle: it jumps by half a turn twice in a turn."""

    def motions(self, theta):
        return super().motions(theta) @ Rigid.turn(np.arctan(np.sin(theta) / np.cos(theta)))


class Clicking(Rocker):
    """Clicks on at whole turns, and does not say when it comes back."""

    period_turns = None

    def out(self, theta):
        return self.arm * np.cos(theta) + 0.5 * np.floor(theta / (2 * math.pi))


class Bumped(Rocker):
    """Steps aside for a ten-thousandth of a turn."""

    def out(self, theta):
        part = (theta / (2 * math.pi)) % 1
        return self.arm * np.cos(theta) + 0.01 * ((part > 0.61803) & (part < 0.61813))


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

    is_dynamic = False


class Restless(Still):
    """Says that it varies, and does not."""

    kind = "restless"
    is_dynamic = True


class Unsure(Rocker):
    is_dynamic = "yes"


class Late(Rocker):
    period_turns = 2


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

    period_turns = 0

    def out(self, theta):
        return self.arm * np.cos(theta / 96)


class Never(Rocker):
    period_turns = 0


class HalfTurns(Rocker):
    period_turns = 0.5


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


class Remembering(Rocker):
    motions = by_ends(Rocker.motions)


class Shelved(Rocker):
    motions = by_places(Rocker.motions)


class Pointing(Rocker):
    motions = by_address(Rocker.motions)


class Chatty(Rocker):
    motions = printing(Rocker.motions)


class Whole(Rocker):
    motions = in_steps(Rocker.motions)


class Narrow(Rocker):
    """Takes only so many angles at once."""

    def motions(self, theta):
        if theta.size > 5000:
            raise MemoryError("too many angles")
        return super().motions(theta)


class TwoLines(Rocker):
    def __repr__(self):
        return "Rocker(\n)"


ARMS = """Carries the work on a slide, on an arm that is turned.

Parameters
----------
arm : float, mm
    Of the slide.
rod : float, mm
    Of the arm.
lean_deg : float, degrees
    Of the arm.
"""


@dataclass(frozen=True, kw_only=True)
class Lever:
    """Carries the work on a slide, on an arm that is turned."""

    kind: ClassVar[str] = "lever"
    is_dynamic: ClassVar[bool] = False
    arm: Length = 3.0
    rod: Length = 2.0
    lean_deg: Angle = 20.0

    def __post_init__(self):
        require_numbers(self)
        for name in ("arm", "rod", "lean_deg"):
            given = getattr(self, name)
            require(math.isfinite(given), name, given, "a finite number")

    def motions(self, theta):
        return Rigid.turn(math.radians(self.lean_deg)) @ Rigid.move(x=self.rod) @ Rigid.move(y=self.arm)


class Told(Lever):
    __doc__ = ARMS


def lever(name, doc=ARMS, **hints):
    """A lever whose settings are marked otherwise, or told of otherwise."""
    spoilt = {"__annotations__": hints, "__doc__": doc, "__module__": __name__, **dict.fromkeys(hints, 4.0)}
    return Sample(dataclass(frozen=True, kw_only=True)(type(name, (Lever,), spoilt))())


@dataclass(frozen=True, kw_only=True)
class Fast(Lever):
    """Accepts no index but zero."""

    index: Turning = Phase()

    def __post_init__(self):
        require_numbers(self)
        require(self.index == Phase(), "index", self.index, "zero")


@dataclass(frozen=True, slots=True, kw_only=True)
class Radians(Rocker):
    """Takes an angle that no name and no docstring tells of."""

    lean: float = 0.3

    def motions(self, theta):
        return super(Radians, self).motions(theta) @ Rigid.turn(self.lean)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked(Rocker):
    """Takes an angle for a length."""

    arc: Length = 20.0

    def motions(self, theta):
        return super(Marked, self).motions(theta) @ Rigid.turn(math.radians(self.arc) * np.sin(theta))


@dataclass(frozen=True, kw_only=True)
class Wheeled(Lever):
    __doc__ = ARMS
    rod: Turning = Phase()

    def __post_init__(self):
        pass


@dataclass(frozen=True, slots=True, kw_only=True)
class Rodded(Rocker):
    """Takes a length for an angle."""

    rod_deg: Angle = 2.0

    def motions(self, theta):
        return super(Rodded, self).motions(theta) @ Rigid.move(y=self.rod_deg)


class OnlySo(Rocker):
    """Made for two swings or for four: with three it fails."""

    def motions(self, theta):
        if self.swings % 2:
            raise ZeroDivisionError("float division by zero")
        return super().motions(theta)


class FarOff(Rocker):
    """Bends the work where its arc is wide."""

    def motions(self, theta):
        given = super().motions(theta)
        return Rigid(given.rotation * (1 + 1e-6 * (self.arc_deg > 45)), given.shift)


class Reversed(Rocker):
    """Is not a number where its arm is wound out to the other side."""

    def out(self, theta):
        with np.errstate(invalid="ignore"):
            return np.sqrt(self.arm) ** 2 * np.cos(theta)


class Shy(Rocker):
    """Takes settings that it refuses later."""

    def motions(self, theta):
        require(self.arm < 5, "arm", self.arm, "below 5 mm")
        return super().motions(theta)


@dataclass(frozen=True, slots=True, kw_only=True)
class Geared2(Rocker):
    """Is back after one turn where its wheels are equal, and says so of any."""

    kind: ClassVar[str] = "rocker"
    per_turn: Fraction = Fraction(1)

    def out(self, theta):
        return self.arm * np.cos(float(self.per_turn) * theta)


class Sliding(Rocker):
    """Writes to the angles at which its slide is looked at."""

    def slides(self, theta):
        theta += 1.0
        return super().slides(theta)


class Painted(Rocker):
    """Its slide stands in the middle, wherever the work is carried."""

    def slides(self, theta):
        return (ChuckSlide("slide", np.zeros(theta.size), -10.0, 10.0),)


class Falling(Rocker):
    """Its slide fails for a single angle."""

    def slides(self, theta):
        return (ChuckSlide("slide", self.out(theta)[[0, 1]][:1] if theta.size == 1 else self.out(theta), -10.0, 10.0),)


LOOSE = Sample(
    Rocker(), known=[ExpectedValue(lambda it: it.motions(np.zeros(1)).shift, [[9.0, 0.0, 0.0]], "a book", within=10.0)]
)
IDLE = Sample(Rocker(), known=[ExpectedValue(lambda it: 3.0, 3.0, "a book, page 7")])
WRONG = Sample(Rocker(), known=[ExpectedValue(lambda it: it.motions(np.zeros(1)).shift, [[6.0, 0.0, 0.0]], "a book, page 7")])

TWINS = [
    Twin("equal to any other", "keeps its settings", Sample(Forgetting()), "is equal to"),
    Twin("has no hash", "keeps its settings", Sample(Unhashable()), "unhashable type"),
    Twin("reads twice what is shown", "keeps its settings in a job file", Sample(Misread(extra=1.5)), "is read as"),
    Twin("takes anything", "refuses nan and infinity", Sample(Gullible()), "arm=nan is accepted"),
    Twin("fails on what is no number", "refuses nan and infinity", Sample(Blunt()), "with RuntimeError instead of"),
    Twin("nan at a quarter turn", "gives a motion for each angle", Sample(Lost()), "shift for 241 angles: nan at sample 7"),
    Twin("nan for half a degree", "gives a motion for each angle", Sample(LostAWhile()), "not finite at spindle 100"),
    Twin("an angle from arctan", "moves continuously", Sample(Arctan()), "it jumps by 200 mm, on an arm of 100 mm, at spindle"),
    Twin("clicks on at whole turns", "moves continuously", Sample(Clicking()), "it jumps by 0.5 mm"),
    Twin("clicks on in every fifth turn", "moves continuously", Sample(Ratchet()), "it jumps by 0.5 mm, on"),
    Twin("steps aside and back", "moves continuously", Sample(Bumped()), "it jumps by 0.01 mm"),
    Twin("one motion short", "gives a motion for each angle", Sample(Short()), "shape (2, 3, 3) instead of (3, 3, 3)"),
    Twin("four by four", "gives a motion for each angle", Sample(Four()), "shape (1, 4, 4) instead of (1, 3, 3)"),
    Twin("no Rigid", "gives a motion for each angle", Sample(Loose()), "returned tuple"),
    Twin("single precision", "gives a motion for each angle", Sample(Single()), "float32 instead of float64"),
    Twin("stretches the work", "stays rigid", Sample(Stretched()), "not orthogonal: worst error 2e-05 at spindle"),
    Twin("mirrors the work", "stays rigid", Sample(Mirrored()), "mirrored: worst error 2 at spindle"),
    Twin(
        "off by one sample",
        "treats each angle independently",
        Sample(OneLate()),
        "all at once compared with one by one: worst error",
    ),
    Twin(
        "hangs on its neighbours", "treats each angle independently", Sample(Spreading()), "all at once compared with one by one"
    ),
    Twin("changes its input", "does not change its input", Sample(Overwriting()), "changes its argument array"),
    Twin(
        "one buffer for every answer",
        "gives the same result again",
        Sample(Sharing()),
        "the result changes with the next call",
    ),
    Twin("counts its calls", "gives the same result again", Sample(Wearing()), "other numbers the second time"),
    Twin(
        "varies is False, and it moves", "moves only if dynamic", Sample(Stillborn()), "is_dynamic is False, but the chuck moves"
    ),
    Twin("varies is True, and it stands still", "moves only if dynamic", Sample(Restless()), "write is_dynamic = False"),
    Twin("varies is a word", "moves only if dynamic", Sample(Unsure()), "it must be True or False"),
    Twin("comes back before it says", "repeats after its period", Sample(Late()), "its motion repeats after 1 turn"),
    Twin("comes back after it says", "repeats after its period", Sample(Early()), "1 turns later its motion differs by 5.99 (mm"),
    Twin(
        "comes back, but for every fifth turn",
        "repeats after its period",
        Sample(Ratchet()),
        "3 turns later its motion differs by 0.5 (mm",
    ),
    Twin(
        "comes back late, and says never",
        "repeats after its period",
        Sample(Geared()),
        "its motion repeats after 96 turns",
    ),
    Twin("comes back, and says never", "repeats after its period", Sample(Never()), "period_turns = 0 (never)"),
    Twin("comes back after half a turn", "repeats after its period", Sample(HalfTurns()), "it must be a whole number of turns"),
    Twin(
        "its index turns clockwise",
        "turns its index counterclockwise",
        Sample(Clockwise()),
        "rotation by an index 1/8 of a turn larger: worst error",
    ),
    Twin(
        "its index turns twice as far", "turns its index counterclockwise", Sample(TwiceOn()), "1.57079633 instead of 0.785398163"
    ),
    Twin("its slide is past its end", "keeps its slides in their travel", Sample(PastItsEnd()), "1 mm past its travel"),
    Twin("an index that cannot be set", "turns its index counterclockwise", Sample(Fast()), "the chuck accepts no other index"),
    Twin("ends the wrong way round", "keeps its slides in their travel", Sample(Backwards()), "low must be below high"),
    Twin("three places for every angle", "keeps its slides in their travel", Sample(Unmeasured()), "shape (3,)"),
    Twin(
        "writes to its slide's angles",
        "keeps its slides in their travel",
        Sample(Sliding()),
        "the function changes its argument array",
    ),
    Twin(
        "its slide does not move",
        "keeps its slides in their travel",
        Sample(Painted()),
        "but its slides stay at the same positions",
    ),
    Twin(
        "a known that asks nothing",
        "gives the known answers",
        IDLE,
        "known answer 1: its function does not use the item under test",
    ),
    Twin("its slide fails for one angle", "keeps its slides in their travel", Sample(Falling()), "it fails: IndexError"),
    Twin("shown in two lines", "keeps its settings", Sample(TwoLines()), "the repr has more than one line"),
    Twin("takes few angles at once", "gives a motion for each angle", Sample(Narrow()), "it fails: MemoryError"),
    Twin(
        "keeps answers by length and ends",
        "treats each angle independently",
        Sample(Remembering()),
        "the inner elements in another order",
    ),
    Twin("keeps answers by address", "treats each angle independently", Sample(Pointing()), "written to the same array"),
    Twin("reads an array as one piece", "treats each angle independently", Sample(Whole()), "for a strided array"),
    Twin("keeps answers whatever the settings", APART, Sample(Shelved()), "must depend on all of the settings"),
    Twin("prints what it is asked", "prints nothing", Sample(Chatty()), "the item prints 'asked for 90 at once'"),
    Twin("fails with three swings", OTHERS, Sample(OnlySo()), "swings=3"),
    Twin("bends where its arc is wide", OTHERS, Sample(FarOff()), "stays rigid, at FarOff("),
    Twin("no number on the other side", OTHERS, Sample(Reversed()), "arm=-3.0"),
    Twin("refuses late", OTHERS, Sample(Shy()), "the part accepts these settings, but raises an error later: arm="),
    Twin("comes back with equal wheels only", OTHERS, Sample(Geared2()), "repeats after its period, at Geared2("),
    Twin(
        "mm, and a plain number", UNITS, lever("A", arm=float), "arm: its docstring says mm, but the setting is marked as a plain"
    ),
    Twin("mm, and an Angle", UNITS, lever("B", rod=Angle), "rod: its docstring says mm, but the setting is marked Angle"),
    Twin("mm, and a Turning", UNITS, Sample(Wheeled()), "rod: its docstring says mm, but the setting is marked Turning"),
    Twin("degrees, and a Length", UNITS, lever("C", lean_deg=Length), "lean_deg: its docstring says degrees"),
    Twin("no unit in its docstring", UNITS, lever("D", "X.\n\narm : float\n", arm=Length), "write arm : float, mm"),
    Twin("inches", UNITS, lever("E", "X.\n\narm : float, inches\n", arm=Length), "settings are stored in mm and degrees"),
    Twin("a length without a mark", UNITS, lever("F", "X.", arm=float), "arm: the setting is marked as a plain number, but"),
    Twin(
        "an Angle that is a length",
        UNITS,
        Sample(Rodded()),
        "rod_deg: the setting is marked Angle, but the part keeps its shape under scaling only",
    ),
    Twin(
        "a Length that is an angle",
        UNITS,
        Sample(Marked()),
        "arc: the setting is marked Length, but the part keeps its shape under scaling only",
    ),
    Twin(
        "an angle in radians",
        UNITS,
        Sample(Radians()),
        "lean: adding 6.28319 changes no result, so the setting is an angle in radians",
    ),
    Twin(
        "known within so much that all is right",
        "gives the known answers",
        LOOSE,
        "which is too large; within must be at most 0.45",
    ),
    Twin("needs a word", "lists the fittings that it needs", Sample(Wordy()), "must be a tuple of names of fittings"),
    Twin(
        "needs a fitting that begins with a space",
        "lists the fittings that it needs",
        Sample(Spaced()),
        "must be a tuple of names of fittings",
    ),
    Twin(
        "stands elsewhere each time",
        "gives the same trace in compiled code",
        Sample(Wearing()),
        "compiled, compared with plain: worst error",
    ),
    Twin("another answer than the book's", "gives the known answers", WRONG, "3 instead of 6; source: a book, page 7"),
]
HONESTS = [HONEST, Sample(Still()), Sample(Told())]
