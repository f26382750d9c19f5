"""A way of carving that keeps every promise, and its faulty twins: each carves as the plain way, but for one fault."""

from __future__ import annotations

import itertools
import math
import sys
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from lobework.carve.backend import EVERYTHING
from lobework.carve.compiled import CompiledBackend
from lobework.carve.plain import PlainBackend
from lobework.parts.holder import DrillingSpindle
from lobework.plugins.samples.backends import BACKENDS
from lobework.testing import Sample
from tests.testing.twins.twin import Twin

JUDGE = PlainBackend()
FEW = frozenset(["face", "drilling spindle"])


@dataclass(frozen=True)
class Second:
    """The plain way over again, for upright cutters on a face."""

    name: str = "second"
    message: str = "plain again"
    can: frozenset[str] = FEW

    def carve(self, stock, sweeps, depth, progress=None):
        JUDGE.carve(stock, sweeps, depth, progress)


class Quick(Second):
    """The compiled way over again."""

    def carve(self, stock, sweeps, depth, progress=None):
        CompiledBackend().carve(stock, sweeps, depth, progress)


class DropsLast(Second):
    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps[:-1] if len(sweeps) > 1 else sweeps, depth, progress)


class Company(Second):
    """Carves nothing if there is one pass alone."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps if len(sweeps) > 1 else [], depth, progress)


class Leaking(Second):
    """Cuts a mark of one pass in the wrong tile, where the grid has several."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        if stock.rows > 256 and len(sweeps) > 1:
            depth[140:150, 140:150] += np.float32(0.01)


class Shallow(Second):
    """A thousandth of a mm short."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        depth -= np.where(depth > 0.01, np.float32(1e-3), np.float32(0.0))


class Boastful(Second):
    """Says that it can carve round work, and carves nothing there."""

    def carve(self, stock, sweeps, depth, progress=None):
        if not hasattr(stock.surface, "profile"):
            super().carve(stock, sweeps, depth, progress)


class Idle(Second):
    """Carves with no holder that there is."""


class Building(Second):
    """Fills up what was carved before."""

    def carve(self, stock, sweeps, depth, progress=None):
        depth[:] = 0.0
        super().carve(stock, sweeps, depth, progress)


class Wearing(Second):
    """Goes a little deeper into what is carved already."""

    def carve(self, stock, sweeps, depth, progress=None):
        before = depth.copy()
        super().carve(stock, sweeps, depth, progress)
        depth += np.where((before > 0) & (before == depth) & bool(len(sweeps)), np.float32(1e-3), np.float32(0.0))


class Ordered(Second):
    """Lets the last pass fill up what the first has carved."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        if len(sweeps) > 3:
            last = stock.uncut()
            super().carve(stock, sweeps[-1:], last)
            depth[last > 0] = last[last > 0]


class Meddling(Second):
    def carve(self, stock, sweeps, depth, progress=None):
        for sweep in sweeps:
            if sweep.tip.flags.writeable:
                sweep.tip[:, 2] -= 1e-3
        super().carve(stock, sweeps, depth, progress)


class Silent(Second):
    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth)


class Percent(Second):
    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress and (lambda part: progress(100 * part)))


class Stubborn(Second):
    """Goes on when it is told to stop."""

    def carve(self, stock, sweeps, depth, progress=None):
        def told(part):
            try:
                progress(part)
            except Exception:  # noqa: BLE001  (that is its fault)
                return

        super().carve(stock, sweeps, depth, progress and told)


class Wrapping(Second):
    """Wraps up what stops it."""

    def carve(self, stock, sweeps, depth, progress=None):
        try:
            super().carve(stock, sweeps, depth, progress)
        except Exception as error:
            raise RuntimeError("stopped") from error


class Scratching(Second):
    """Carves where the cutter is in the air."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        if any((sweep.tip[:, 2] > 3).all() for sweep in sweeps):
            depth += np.where(stock.inside, np.float32(1e-3), np.float32(0.0))


class Straying(Second):
    """Carves where there is no work."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        depth[0, 0] = 0.5


class Capped(Second):
    """Goes 1 mm deep at most."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        np.minimum(depth, np.float32(1.0), out=depth)


class CappedAtWork(Second):
    """Goes as deep as the work is thick."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        np.minimum(depth, np.float32(5.0), out=depth)


class Blunt(Second):
    """Leaves out cuts that are no deeper than a hundredth of a mm."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, [each for each in sweeps if each.tip[:, 2].min() < -0.01], depth, progress)


@dataclass(frozen=True)
class Modest(Second):
    """Carves nothing much, and says that it is no better than that."""

    within: float = 1.0

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        depth[depth > 0] += np.float32(0.3)


class Reusing(Second):
    """Carves again what it carved for passes of as many places, with the same ends."""

    kept: ClassVar = {}

    def carve(self, stock, sweeps, depth, progress=None):
        ends = tuple((len(each.tip), *each.tip[0], *each.tip[-1]) for each in sweeps)
        if (stock.shape, ends) not in self.kept:
            alone = stock.uncut()
            super().carve(stock, sweeps, alone, progress)
            self.kept[stock.shape, ends] = alone
        np.maximum(depth, self.kept[stock.shape, ends], out=depth)


class Plungeless(Second):
    """Leaves out a pass of one place."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, [each for each in sweeps if len(each.tip) > 1], depth, progress)


class Few(Second):
    """Carves the first eight passes."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps[:8], depth, progress)


class Short(Second):
    """Carves the first five hundred places of a pass."""

    def carve(self, stock, sweeps, depth, progress=None):
        cut = (replace(each, tip=each.tip[:500], outward=each.outward[:500], level=each.level[:500]) for each in sweeps)
        super().carve(stock, tuple(cut), depth, progress)


class Halting(Second):
    """Fails where the tip stands still for a while."""

    def carve(self, stock, sweeps, depth, progress=None):
        for each in sweeps:
            away = np.linalg.norm(np.diff(each.tip, axis=0), axis=1)
            if (away == 0).any():
                raise ZeroDivisionError("no way to go")
        super().carve(stock, sweeps, depth, progress)


class Spindled(Second):
    """Takes every holder for a drilling spindle."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, [replace(each, holder=DrillingSpindle()) for each in sweeps], depth, progress)


class Untilted(Second):
    """Takes every cutter for an upright one."""

    def carve(self, stock, sweeps, depth, progress=None):
        up = np.array([[0.0, 0.0, 1.0]])
        super().carve(stock, [replace(each, outward=up) for each in sweeps], depth, progress)


class Chatty(Second):
    def carve(self, stock, sweeps, depth, progress=None):
        print("carving")
        super().carve(stock, sweeps, depth, progress)


class Emptying(Second):
    """Takes the passes out of the list that it is given."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, tuple(sweeps), depth, progress)
        if isinstance(sweeps, list):
            sweeps.clear()


class Halfway(Second):
    """Is told to stop, and leaves the depths of what it has not carved yet."""

    def carve(self, stock, sweeps, depth, progress=None):
        if progress:
            progress(0.0)
            depth[:] = 0.0
        super().carve(stock, sweeps, depth, progress)


COUNT = itertools.count()


class Restless(Second):
    """Carves a little differently each time."""

    def carve(self, stock, sweeps, depth, progress=None):
        super().carve(stock, sweeps, depth, progress)
        depth += np.where(depth > 0.01, np.float32(2e-5 * (next(COUNT) % 2)), np.float32(0.0))


@dataclass(frozen=True)
class Unbound(Second):
    """Claims an ability that the library does not know."""

    can: frozenset[str] = frozenset({"face", "drilling spindle", "fluting"})


class Secretive(Second):
    """Is not refused what it does not claim: where it is to be refused it claims everything."""

    @property
    def can(self):
        return EVERYTHING if sys._getframe(1).f_code.co_name == "refuse" else FEW

    @can.setter
    def can(self, value):
        pass


(BALL,) = BACKENDS[1].known

TWINS = [
    Twin("a thousandth short", "carves like the reference", Sample(Shallow()), "disc, drilling spindle: worst error 0.001 mm"),
    Twin("claims what it does not carve", "carves like the reference", Sample(Boastful(can=FEW | {"round"})), "barrel, drilling"),
    Twin(
        "can hold no cutter",
        "carves like the reference",
        Sample(Idle(can=frozenset(["face"]))),
        "at least one surface and one holder",
    ),
    Twin("takes every holder for a spindle", "carves like the reference", Sample(Spindled(can=FEW | {"fixed"})), "disc, fixed"),
    Twin("takes a leaning cutter for upright", "carves like the reference", Sample(Untilted(can=FEW | {"leaning"})), "leaning"),
    Twin(
        "no deeper than 1 mm",
        "carves deep passes like the reference",
        Sample(Capped()),
        "disc, drilling spindle, deep: worst error",
    ),
    Twin("no deeper than 1 mm in a groove", "cuts a groove of the right width", Sample(Capped()), "on a face, 2.6 mm deep"),
    Twin("no deeper than the work", "cuts a groove of the right width", Sample(CappedAtWork()), "on a face, 6.5 mm deep"),
    Twin("leaves out what is not deep", "cuts a groove of the right width", Sample(Blunt()), "on a face, 0.004 mm deep"),
    Twin("as exact as it says, and useless", "states its accuracy", Sample(Modest()), "'within' is 1.0; it must be a number of"),
    Twin("an accuracy that is no number", "states its accuracy", Sample(Modest(within=math.nan)), "'within' is nan"),
    Twin("an accuracy of zero", "states its accuracy", Sample(Modest(within=0.0)), "'within' is 0.0"),
    Twin("the last carving of these ends", "treats each carving independently", Sample(Reusing()), "moved inwards: worst error"),
    Twin("leaves out a plunge", "carves passes of any length", Sample(Plungeless()), "one place: worst error"),
    Twin("eight passes at most", "carves passes of any length", Sample(Few()), "many passes: worst error"),
    Twin("five hundred places at most", "carves passes of any length", Sample(Short()), "many places: worst error"),
    Twin("fails where the tip rests", "carves passes of any length", Sample(Halting()), "it fails: ZeroDivisionError"),
    Twin("carves no pass alone", "carves every pass", Sample(Company()), "pass 1 of 3, cut by itself, is not carved"),
    Twin("prints what it does", "prints nothing", Sample(Chatty()), "the item prints 'carving'"),
    Twin("empties the list of passes", "does not change its input", Sample(Emptying()), "the backend changes the list of passes"),
    Twin("forgets what was carved before", "reports its progress", Sample(Halfway()), "into work that was carved before"),
    Twin("claims an unknown ability", "is not given work that it cannot carve", Sample(Unbound()), "can contains 'fluting'"),
    Twin(
        "claims now this, now that", "is not given work that it cannot carve", Sample(Secretive()), "the carving is not refused"
    ),
    Twin("a thousandth short of a groove", "cuts a groove of the right width", Sample(Shallow()), "a straight groove on a face"),
    Twin("puts material back", "never decreases a depth", Sample(Building()), "a depth decreases: worst error"),
    Twin(
        "deeper the second time",
        "changes no depth when passes are repeated",
        Sample(Wearing()),
        "cut again: worst error 0.001 mm",
    ),
    Twin(
        "the last pass fills up the first",
        "does not depend on the order of passes",
        Sample(Ordered()),
        "the last pass first: worst error",
    ),
    Twin("drops the last pass", "carves every pass", Sample(DropsLast()), "pass 3 of 3 is carved less deep"),
    Twin(
        "a mark in the wrong tile",
        "carves no deeper than the deepest pass",
        Sample(Leaking()),
        "the deepest of each alone: worst error 0.01 mm",
    ),
    Twin("moves the passes", "does not change its input", Sample(Meddling()), "the backend changes an array of its input"),
    Twin("says nothing of how far it is", "reports its progress", Sample(Silent()), "progress receives nothing"),
    Twin("tells per cent", "reports its progress", Sample(Percent()), "the values must be from 0 to 1"),
    Twin(
        "goes on when it is stopped",
        "reports its progress",
        Sample(Stubborn()),
        "an error raised by progress does not stop the carving",
    ),
    Twin(
        "wraps up what stops it",
        "reports its progress",
        Sample(Wrapping()),
        "an error raised by progress is replaced by RuntimeError",
    ),
    Twin(
        "scratches from the air",
        "leaves the stock unchanged without a cut",
        Sample(Scratching()),
        "passes in the air: worst error",
    ),
    Twin(
        "strays off the work",
        "leaves the stock unchanged without a cut",
        Sample(Straying()),
        "there is no work at this ray, so its depth must stay zero",
    ),
    Twin("another carving each time", "changes no depth when passes are repeated", Sample(Restless()), "worst error 2e-05 mm"),
    Twin("another pit than a ball's", "gives the known answers", Sample(Shallow(), known=[BALL]), "source: closed form"),
]
HONESTS = [Sample(Second(), known=[BALL]), Sample(Quick(can=frozenset(["round", "drilling spindle"])))]
