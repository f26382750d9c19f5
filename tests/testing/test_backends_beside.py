"""A less exact backend that is installed beside others: its own stated error is its bound, and it is no bound for the others."""

from __future__ import annotations

COARSE = '''
from dataclasses import dataclass

import numpy as np

from lobework.carve.plain import PlainBackend
from lobework.plugins import hookimpl

lobework_contract = 2


@dataclass(frozen=True)
class Coarse:
    """The plain way, a few thousandths short."""

    name: str = "coarse"
    description: str = "quick, and a few thousandths short"
    can: frozenset = frozenset({"face", "drilling spindle"})
    within: float = WITHIN

    def carve(self, stock, sweeps, depth, progress=None):
        own = stock.uncut()
        PlainBackend().carve(stock, sweeps, own, progress)
        own -= np.where(own > 0.02, np.float32(4e-3), np.float32(0.0))
        np.maximum(depth, own, out=depth)


@hookimpl
def lobework_backends():
    return [Coarse()]


@hookimpl
def lobework_samples():
    from lobework.testing import Sample

    return [Sample(Coarse())]
'''
CUTTER = '''
import math
from dataclasses import dataclass
from typing import ClassVar

from lobework.geometry.cutter_edge import Edge, LineSegment
from lobework.errors import require
from lobework.parts.holder import DrillingSpindle, Holder
from lobework.plugins import hookimpl
from lobework.quantities.fields import Length

lobework_contract = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Spear:
    """A pointed cutter."""

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


@hookimpl
def lobework_cutters():
    return [Spear]


@hookimpl
def lobework_samples():
    from lobework.testing import Sample

    return [Sample(Spear(width=2.0))]
'''


def broken_in(done):
    return [line.strip() for line in done.stdout.splitlines() if "BROKEN" in line]


def test_a_cutter_is_not_compared_with_a_less_accurate_backend_of_another_package(bench):
    bench.package("coarse", COARSE.replace("WITHIN", "5e-3"))
    bench.package("spear", CUTTER)
    done = bench.lobework("verify", "spear")
    assert (broken_in(done), done.stderr, done.returncode) == ([], "", 0)


def test_a_less_accurate_backend_is_tested_to_its_stated_accuracy(bench):
    bench.package("coarse", COARSE.replace("WITHIN", "5e-3"))
    done = bench.lobework("verify", "coarse")
    assert (broken_in(done), done.returncode) == ([], 0)


def test_a_backend_less_accurate_than_it_states_breaks_its_promise(bench):
    bench.package("coarse", COARSE.replace("WITHIN", "1e-3"))
    done = bench.lobework("verify", "coarse")
    assert done.returncode == 1
    assert any(line.startswith("carves like the reference: BROKEN: disc, drilling spindle: worst") for line in broken_in(done))


def test_a_backend_that_states_an_absurd_accuracy_is_left_out(bench):
    bench.package("coarse", COARSE.replace("WITHIN", "1.0"))
    done = bench.lobework("verify", "coarse")
    assert done.returncode == 1
    must_be = "a number of mm, above zero and at most 0.01"
    assert broken_in(done) == [f"is loaded: BROKEN: backend 'coarse': its accuracy 'within' is 1.0; it must be {must_be}"]
