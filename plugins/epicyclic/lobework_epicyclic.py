"""The geometric chuck: the work stands on a slide, on a wheel geared to the spindle, as often over as there are stages."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from math import lcm, prod
from operator import mul
from typing import TYPE_CHECKING, Annotated, Any, ClassVar

import numpy as np

from lobework.plugins import (
    Chuck,
    ChuckSlide,
    Length,
    Measure,
    Phase,
    Rigid,
    Screw,
    Turning,
    Wheel,
    hookimpl,
    is_whole,
    plain_number,
    require,
    require_numbers,
)

if TYPE_CHECKING:
    from lobework.plugins import Array
    from lobework.testing import Sample

__all__ = ["Epicyclic", "Stage", "Train", "lobework_chucks", "lobework_contract", "lobework_samples"]

lobework_contract = 1

_MOST_TEETH = 10_000
_PAIRS = "pairs of wheels, driver and driven, in teeth, such as [[60, 120]]"


def _train(given: Any) -> tuple[tuple[int, int], ...]:
    """Return a train of wheels, from the still one on; refuse what no train can be."""
    rows = given if isinstance(given, list | tuple) else []
    pairs = [tuple(map(plain_number, each)) if isinstance(each, list | tuple | np.ndarray) else () for each in rows]
    require(pairs and all(len(pair) == 2 for pair in pairs), "train", given, _PAIRS)
    for teeth in (teeth for pair in pairs for teeth in pair):
        must_be = f"whole numbers of teeth, 1 to {_MOST_TEETH}"
        require(is_whole(teeth, 1, _MOST_TEETH), "train", repr(teeth), must_be, "for the other way put in an idler")
    return tuple((driver, driven) for driver, driven in pairs)


Train = Annotated[
    tuple[tuple[int, int], ...],
    Measure(
        _PAIRS,
        lambda given: given,
        lambda train: ", ".join(f"{driver} drives {driven}" for driver, driven in train),
        schema={
            "type": "array",
            "items": {"type": "array", "items": {"type": "integer", "minimum": 1}, "minItems": 2, "maxItems": 2},
            "minItems": 1,
        },
    ),
]
"""A field of pairs of wheels, driver and driven, in teeth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A slide, and on it a wheel that is geared to what carries the slide.

    Under the slide stands a wheel that does not turn with it: the first stage's is held still by the headstock, and each later
    one's by the slide of the stage before. As the slide is carried round, the train rolls on that wheel. One pair of wheels in
    mesh turns the work on the way that the slide is carried round; every further mesh, of another pair or of an idler, reverses
    it.

    Parameters
    ----------
    arm : float, mm
        How far the slide is wound out; negative winds it to the other side.
    train : list of [driver, driven] pairs
        Teeth of the wheels, from the still wheel on; driver and driven of different pairs share an arbor.
    idler : bool
        Whether one more wheel stands in the train, which reverses the turn and leaves its rate.
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the wheel on the slide is turned on in its train when the pass begins.
    travel : float, mm
        How far the slide goes to either side of its middle; without end unless given.
    screw : Screw, optional
        What winds the slide.

    Examples
    --------
    >>> Stage(arm=3.0, train=[(60, 120)]).ratio, Stage(arm=3.0, train=[(60, 120)], idler=True).ratio
    (Fraction(1, 2), Fraction(-1, 2))
    >>> Stage(arm=3.0, train=[(40, 120), (36, 24)]).ratio
    Fraction(-1, 2)
    """

    arm: Length
    train: Train
    idler: bool = False
    index: Turning = Phase()
    travel: Length = math.inf
    screw: Screw | None = None

    def __post_init__(self) -> None:
        require_numbers(self)
        object.__setattr__(self, "train", _train(self.train))
        object.__setattr__(self, "index", Phase.of(self.index))
        require(not self.index.lobes, "index", self.index.lobes, "in degrees or turns; only cams have lobes")
        require(isinstance(self.idler, bool), "idler", self.idler, "true or false")
        require(self.travel > 0, "travel", self.travel, "above zero", "leave it out where the slide has no end")
        reached = math.isfinite(self.arm) and abs(self.arm) <= self.travel
        end = f", {self.travel:g} mm to either side" if self.travel < math.inf else ""
        require(reached, "arm", self.arm, f"a length within the travel of its slide{end}")
        require(self.screw is None or isinstance(self.screw, Screw), "screw", repr(self.screw), "a Screw, or left out")

    @property
    def ratio(self) -> Fraction:
        """Turns of the work on the slide for one turn of the slide; negative the other way."""
        rate = prod((Fraction(driver, driven) for driver, driven in self.train), start=Fraction(1))
        return rate if (len(self.train) + self.idler) % 2 else -rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Epicyclic:
    """The geometric chuck, of any number of stages: it lays loops, petals and cusps round the work.

    Each stage is geared to the one before, the first to the spindle: a stage is carried round by the wheel of the one before,
    and turns its own wheel in proportion to that. With the cutter ``x`` off the axis, one stage of ``arm`` and ``ratio`` draws
    ``(x e^(-i t) - arm) e^(-i ratio t)`` for the spindle's turn t: of ratio p/q it closes after q turns, and has q loops.

    Parameters
    ----------
    stages : list of Stage
        From the spindle outwards, one or more; the work is on the last one's wheel.
    index : Phase, or what `lobework.quantities.units.phase` reads
        How far the work is turned on against the last stage, on its own dividing wheel.
    wheel : Wheel, optional
        That dividing wheel, with its circles of holes.

    References
    ----------
    J. Lukin, *The Lathe & Its Uses*, on the epicycloidal chuck, figures 313-317: on a wheel of 120, a change wheel of 60 gives
    two loops, one of 40 three. How the stages of a compound one are geared: from memory.

    Examples
    --------
    >>> chuck = Epicyclic(stages=[Stage(arm=3.0, train=[(40, 120)])])
    >>> chuck.ratios, chuck.period_turns
    ((Fraction(1, 3),), 3)
    >>> chuck.motions(np.array([0.0, 3 * np.pi])).apply(np.array([[2.0, 0.0, 0.0]])).round(12)
    array([[5., 0., 0.],
           [1., 0., 0.]])
    """

    kind: ClassVar[str] = "epicyclic"
    is_dynamic: ClassVar[bool] = True
    stages: tuple[Stage, ...]
    index: Turning = Phase()
    wheel: Wheel | None = None

    def __post_init__(self) -> None:
        stages = tuple(self.stages) if isinstance(self.stages, list | tuple) else (self.stages,)
        must_be = "a Stage, such as Stage(arm=3.0, train=[(60, 120)])"
        for number, stage in enumerate(stages, 1):
            require(isinstance(stage, Stage), f"stages[{number}]", repr(stage), must_be)
        require(stages, "stages", "none", "one or more")
        require(self.wheel is None or isinstance(self.wheel, Wheel), "wheel", repr(self.wheel), "a Wheel, or left out")
        object.__setattr__(self, "stages", stages)
        object.__setattr__(self, "index", Phase.of(self.index))

    @property
    def ratios(self) -> tuple[Fraction, ...]:
        """Turns of each stage's wheel on its slide for one turn of the spindle."""
        return tuple(accumulate((stage.ratio for stage in self.stages), mul))

    @property
    def period_turns(self) -> int:
        """Turns of the spindle after which every wheel stands as it did at the start."""
        return lcm(*(ratio.denominator for ratio in self.ratios))

    @property
    def needs(self) -> tuple[str, ...]:
        """The wheel that the first stage rolls on, held still by the headstock."""
        return ("fixed wheel",)

    def motions(self, theta: Array) -> Rigid:
        """Return where the work stands on the spindle: (n,) rad in, n rigid motions out."""
        work = Rigid.still()
        for stage, ratio in zip(self.stages, self.ratios, strict=True):
            work = work @ Rigid.move(x=stage.arm) @ Rigid.turn(float(ratio) * theta + stage.index.in_radians())
        return work @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return where each stage's slide stands, mm: it is wound by hand, and stays there."""
        stages = enumerate(self.stages, 1)
        return tuple(ChuckSlide(f"stage {number}", np.array([each.arm]), -each.travel, each.travel) for number, each in stages)


def _distances(chuck: Epicyclic, x: float, turns: list[Fraction]) -> Array:
    """Return how far from the middle of the work a cutter ``x`` mm off the axis is, after so many turns of the spindle."""
    theta = 2 * math.pi * np.array([float(each) for each in turns])
    cutter = np.stack([x * np.cos(theta), -x * np.sin(theta), np.zeros_like(theta)], axis=-1)
    distances: Array = np.hypot(*chuck.motions(theta).inverse().apply(cutter).T[:2])
    return distances


@hookimpl
def lobework_chucks() -> list[type[Chuck]]:
    """Return the geometric chuck."""
    return [Epicyclic]


@hookimpl
def lobework_samples() -> list[Sample]:
    """Return geometric chucks with known answers."""
    from lobework.testing import ExpectedValue, Sample

    ellipse = Epicyclic(stages=(Stage(arm=1.0, train=((60, 120),), idler=True),))
    loops = Epicyclic(stages=(Stage(arm=3.0, train=((40, 120),)),))
    snail = Epicyclic(stages=(Stage(arm=16.0, train=((96, 96),)), Stage(arm=12.0, train=((96, 96),))))
    compound = Epicyclic(
        stages=(Stage(arm=7.0, train=((36, 120),)), Stage(arm=-2.0, train=((48, 32), (30, 60)), index=Phase.of("1/12 turn"))),
        index=Phase.of("1/96 turn"),
    )
    halves = [Fraction(0), Fraction(1, 2), Fraction(1), Fraction(3, 2)]
    return [
        Sample(
            ellipse,
            known=[
                ExpectedValue(
                    lambda chuck: _distances(chuck, 5.0, halves),
                    [4.0, 6.0, 4.0, 6.0],
                    'HandWiki, "Hypotrochoid": R = 10, r = 5, d = 1 has half axes 6 and 4',
                )
            ],
        ),
        Sample(
            loops,
            known=[
                ExpectedValue(
                    lambda chuck: chuck.period_turns, 3, "J. Lukin, The Lathe & Its Uses, figures 313-317: 40 on 120, three loops"
                ),
                ExpectedValue(
                    lambda chuck: _distances(chuck, 3.0, [Fraction(n) for n in range(3)]),
                    [0.0, 0.0, 0.0],
                    "from the same: cut as far out as the slide, the loops go through the middle",
                ),
            ],
        ),
        Sample(
            snail,
            known=[
                ExpectedValue(
                    lambda chuck: _distances(chuck, 0.0, [Fraction(0), Fraction(1, 4), Fraction(1, 2)]),
                    [28.0, 20.0, 4.0],
                    "J. H. Ibbetson, Specimens in Eccentric Circular Turning, Specimen X, pp. 168-169",
                )
            ],
        ),
        Sample(compound, known=[ExpectedValue(lambda chuck: chuck.period_turns, 40, "3/10 of a turn, and -3/4 of that")]),
    ]
