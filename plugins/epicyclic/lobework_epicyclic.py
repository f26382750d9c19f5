"""The geometric chuck: each stage has a slide and a wheel geared to the stage before; the first is geared to the spindle."""

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

lobework_contract = 2

_MOST_TEETH = 10_000
_PAIRS = "pairs of wheels, driver and driven, in teeth, such as [[60, 120]]"


def _train(given: Any) -> tuple[tuple[int, int], ...]:
    """Return a train of wheels as pairs of whole numbers, from the fixed wheel on; raise `SettingError` for an invalid one."""
    rows = given if isinstance(given, list | tuple) else []
    pairs = [tuple(map(plain_number, each)) if isinstance(each, list | tuple | np.ndarray) else () for each in rows]
    require(pairs and all(len(pair) == 2 for pair in pairs), "train", given, _PAIRS)
    for teeth in (teeth for pair in pairs for teeth in pair):
        must_be = f"whole numbers of teeth, 1 to {_MOST_TEETH}"
        require(is_whole(teeth, 1, _MOST_TEETH), "train", repr(teeth), must_be, "use an idler to reverse the train")
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
    """A slide with a wheel on it that carries the work or the next stage, driven by a train of wheels.

    The train begins at a wheel under the slide that does not turn with it: for the first stage, the headstock holds this wheel;
    for a later stage, the slide of the stage before holds it. As the slide goes round, the train rolls on that wheel. One pair of
    wheels turns the work in the direction of the slide's rotation; every further mesh, of another pair or of an idler, reverses
    the direction.

    Parameters
    ----------
    arm : float, mm
        Offset of the slide from its middle; negative to the other side.
    train : list of [driver, driven] pairs
        Teeth of the wheels, from the fixed wheel on; the driven wheel of a pair shares an arbor with the next driver.
    idler : bool
        Whether the train has an additional wheel, which reverses the rotation and does not change its rate.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the wheel on the slide is turned at the beginning of a pass.
    travel : float, mm
        Travel of the slide to either side of its middle; unlimited if unspecified.
    screw : Screw, optional
        Screw of the slide.

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
        require(self.travel > 0, "travel", self.travel, "above zero", "leave it out if the travel is unlimited")
        reached = math.isfinite(self.arm) and abs(self.arm) <= self.travel
        end = f", {self.travel:g} mm to either side" if self.travel < math.inf else ""
        require(reached, "arm", self.arm, f"a length within the travel of its slide{end}")
        require(self.screw is None or isinstance(self.screw, Screw), "screw", repr(self.screw), "a Screw, or left out")

    @property
    def ratio(self) -> Fraction:
        """Turns of the work on the slide per turn of the slide; negative in the opposite direction."""
        rate = prod((Fraction(driver, driven) for driver, driven in self.train), start=Fraction(1))
        return rate if (len(self.train) + self.idler) % 2 else -rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Epicyclic:
    """The geometric chuck, with any number of stages: it cuts loops, petals and cusps round the work.

    The first stage is geared to the spindle, and each later stage to the stage before. The spindle, or the wheel of the stage
    before, carries the stage round, and the stage turns its own wheel in proportion. With the cutter at ``x`` from the axis, one
    stage with ``arm`` and ``ratio`` draws ``(x e^(-i t) - arm) e^(-i ratio t)`` for the spindle angle t: with the ratio p/q it
    closes after q turns and has q loops.

    Parameters
    ----------
    stages : list of Stage
        One or more stages, from the spindle outwards; the wheel of the last stage carries the work.
    index : Phase, or what `lobework.quantities.units.phase` reads
        Angle by which the work is turned relative to the last stage, on its own dividing wheel.
    wheel : Wheel, optional
        The dividing wheel, with its circles of holes.

    References
    ----------
    J. Lukin, *The Lathe & Its Uses*, on the epicycloidal chuck, figures 313-317: with a wheel of 120, a change wheel of 60 gives
    two loops, one of 40 three loops. The gearing of compound stages: from memory.

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
        """Turns of each stage's wheel on its slide per turn of the spindle."""
        return tuple(accumulate((stage.ratio for stage in self.stages), mul))

    @property
    def period_turns(self) -> int:
        """Turns of the spindle after which every wheel is again at its first position."""
        return lcm(*(ratio.denominator for ratio in self.ratios))

    @property
    def needs(self) -> tuple[str, ...]:
        """The fitting that the lathe must have: the fixed wheel for the train of the first stage."""
        return ("fixed wheel",)

    def motions(self, theta: Array) -> Rigid:
        """Return the motions of the work relative to the spindle: n rigid motions for (n,) rad."""
        work = Rigid.still()
        for stage, ratio in zip(self.stages, self.ratios, strict=True):
            work = work @ Rigid.move(x=stage.arm) @ Rigid.turn(float(ratio) * theta + stage.index.in_radians())
        return work @ Rigid.turn(self.index.in_radians())

    def slides(self, theta: Array) -> tuple[ChuckSlide, ...]:
        """Return the position of each stage's slide, mm; it is set by hand and constant."""
        stages = enumerate(self.stages, 1)
        return tuple(ChuckSlide(f"stage {number}", np.array([each.arm]), -each.travel, each.travel) for number, each in stages)


def _distances(chuck: Epicyclic, x: float, turns: list[Fraction]) -> Array:
    """Return the distances of a cutter at ``x`` mm from the axis to the centre of the work, after these turns of the spindle."""
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
                    "from the same: with the cutter at the offset of the slide, the loops go through the centre",
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
