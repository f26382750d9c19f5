"""The promises of every chuck."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lobework.geometry.continuity import Continuity, continuity_of, turn_edges
from lobework.geometry.rigid import Rigid
from lobework.kinematics.trace import trace
from lobework.lathe.mounting import chuck_motion_of
from lobework.parts.cam import Wave
from lobework.parts.chuck import EccentricChuck, Oval
from lobework.parts.drive import Drive
from lobework.parts.follower import Roller
from lobework.parts.slide import At
from lobework.quantities.tolerances import JOIN_MM, JUMP_MM, RIGID
from lobework.quantities.units import Phase, plain_number
from lobework.testing.angles import MANY, TURNING
from lobework.testing.arrays import each_alone, finite_of_shape, leaves_alone, same_again
from lobework.testing.benches import cut_on, fixed, sliding
from lobework.testing.compare import Broken, assert_close, worst
from lobework.testing.promise import promised
from lobework.testing.refusal import accepted_variants, refused
from lobework.testing.settings import variants_with_one_change

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.kinematics.trace import TraceBackend
    from lobework.parts.protocols import Chuck
    from lobework.plugins.sample import Sample

__all__: list[str] = []

_REPEATED: Final = 1e-7
"""Tolerance of the motion of a chuck after its period: in mm for the shift, dimensionless for the elements of the rotation."""
_MOST_TURNS: Final = 400
"""Largest period, turns, that is tested for a chuck with ``period_turns = 0``. Wheels of more than a hundred teeth are common."""
_LATER: Final = (1, 2, 3, 5, 7, 24, 96)
_FURTHER: Final = (2.0, 10.0, 100.0, 1000.0, -10.0, -1000.0)
_INDEXED: Final = tuple(Fraction(1, parts) for parts in (8, 6, 12, 10, 96))
_BACKENDS: Final[tuple[TraceBackend, TraceBackend]] = ("plain", "compiled")
_WHOLE: Final = 2 * math.pi
_GRID_FACTOR: Final = 16
_FROM_TO: Final = (-2.0, 10.0)
"""Range of turns that is searched for jumps on a coarser grid; a jump that occurs every fifth turn occurs within this range."""
_ONE_TURN: Final = np.linspace(0.0, _WHOLE, 361)
_LAST: Final[list[tuple[Chuck, Continuity]]] = []


def _motions_of(chuck: Chuck, theta: Array) -> Rigid:
    """Return the motions of the chuck, one for each angle."""
    given = chuck.motions(theta)
    return Rigid(np.broadcast_to(given.rotation, (theta.size, 3, 3)), np.broadcast_to(given.shift, (theta.size, 3)))


def _as_rows(given: Rigid) -> Array:
    """Return motions as an array, (n, 12): the nine elements of each rotation, row by row, then the three of each shift."""
    return np.concatenate([given.rotation.reshape(-1, 9), given.shift], axis=1)


def _methods(chuck: Chuck) -> dict[str, Callable[[Array], Array]]:
    return {
        "rotation": lambda theta: _motions_of(chuck, theta).rotation,
        "shift": lambda theta: _motions_of(chuck, theta).shift,
    }


def _cached_continuity(chuck: Chuck) -> Continuity:
    """Return the angles at which the motion of a chuck is not finite or jumps.

    The grid of angles is fine in the first turn and coarser outside the first turn.

    The result for the last chuck is cached, because two successive promises use the result.
    """
    if not _LAST or _LAST[0][0] is not chuck:
        _LAST[:] = [(chuck, _continuity(chuck))]
    return _LAST[0][1]


def _continuity(chuck: Chuck) -> Continuity:
    found = [
        continuity_of(chuck_motion_of(chuck), edges)
        for edges in (turn_edges(0.0, 1.0, finer=_GRID_FACTOR), turn_edges(*_FROM_TO))
    ]
    lost = next((each.lost for each in found if each.lost is not None), None)
    return Continuity(lost, tuple(step for each in found for step in each.steps))


def _difference(one: Rigid, other: Rigid) -> float:
    """Return the greatest difference between two batches of motions: between shifts, mm, or between elements of rotations."""
    return max(worst(one.rotation, other.rotation).error, worst(one.shift, other.shift).error)


@promised("chuck", "gives a motion for each angle", "For n spindle angles the chuck returns n motions, all finite.")
def _gives_motions(sample: Sample) -> int:
    sizes = (1, 2, 3, 7, TURNING.size, MANY)
    for count in sizes:
        theta = np.resize(TURNING, count)
        given = sample.part.motions(theta)
        if not isinstance(given, Rigid):
            raise Broken(f"motions returned {type(given).__name__}, which is not a lobework.plugins.Rigid")
        for what, array, shape in (("rotation", given.rotation, (3, 3)), ("shift", given.shift, (3,))):
            one = 1 if isinstance(array, np.ndarray) and len(array) == 1 else count
            finite_of_shape(f"{what} for {count} angles", array, (one, *shape))
    lost = _cached_continuity(sample.part).lost
    if lost is not None:
        raise Broken(f"its motion is not finite at spindle {360 * lost:.9g} deg; it must be finite at every angle")
    return len(sizes)


@promised(
    "chuck",
    "moves continuously",
    "The motion of the chuck is continuous, both at whole turns and between whole turns.",
    f"{JUMP_MM:g} mm",
)
def _continuous(sample: Sample) -> int:
    if steps := _cached_continuity(sample.part).steps:
        worst = max(steps, key=lambda each: each.size)
        more = f" (and at {len(steps) - 1} more positions)" if len(steps) > 1 else ""
        raise Broken(f"it jumps by {worst.size:.4g} mm, on an arm of 100 mm, at spindle {360 * worst.after:.9g} deg{more}")
    return 2


@promised("chuck", "stays rigid", "The work is rotated and shifted, never stretched, bent or mirrored.", f"{RIGID:g}")
def _stays_rigid(sample: Sample) -> int:
    turned = _motions_of(sample.part, TURNING.copy()).rotation
    square = turned @ np.swapaxes(turned, -1, -2)
    assert_close(square, np.broadcast_to(np.eye(3), square.shape), RIGID, TURNING, unit="", what="not orthogonal")
    assert_close(np.linalg.det(turned), np.ones(len(turned)), RIGID, TURNING, unit="", what="mirrored")
    return TURNING.size


@promised(
    "chuck",
    "treats each angle independently",
    "The motion at one angle does not depend on the other angles of the array.",
    "1e-9 mm",
)
def _each_alone(sample: Sample) -> int:
    return each_alone({"motion": lambda theta: _as_rows(_motions_of(sample.part, theta))}, TURNING, 1e-9, along="spindle")


@promised("chuck", "does not change its input", "The methods of the chuck do not write to the array of angles that they receive.")
def _leaves_alone(sample: Sample) -> int:
    return leaves_alone(_methods(sample.part), TURNING)


@promised(
    "chuck",
    "gives the same result again",
    "Equal angles give equal motions, and the next call does not overwrite an earlier result.",
)
def _same_again(sample: Sample) -> int:
    return same_again(_methods(sample.part), TURNING)


@promised(
    "chuck",
    "moves only if dynamic",
    "With is_dynamic = False the chuck does not move; with True it moves, with these settings or with similar ones.",
)
def _varies(sample: Sample) -> int:
    chuck = sample.part
    if not isinstance(chuck.is_dynamic, bool | np.bool_):
        raise Broken(f"is_dynamic is {chuck.is_dynamic!r}; it must be True or False")
    if not chuck.is_dynamic:
        for what, function in _methods(chuck).items():
            given = function(TURNING)
            first = np.broadcast_to(given[:1], given.shape)
            assert_close(given, first, 0.0, TURNING, what=f"{what}: is_dynamic is False, but the chuck moves")
        return TURNING.size
    tried = [chuck, *(each for each in variants_with_one_change(chuck) if each.is_dynamic)]
    for number, each in enumerate(tried, 1):
        standing = _motions_of(each, TURNING)
        if (
            _difference(standing, Rigid(standing.rotation[:1] + 0 * standing.rotation, standing.shift[:1] + 0 * standing.shift))
            > 0
        ):
            return number
    raise Broken("is_dynamic is True, but the chuck never moves; write is_dynamic = False")


def _difference_after(chuck: Chuck, turns: int) -> float:
    """Return the greatest difference between the motions of a chuck in one turn and the motions ``turns`` turns later."""
    theta = np.linspace(0.0, _WHOLE, 33)[:-1] + 0.1
    return _difference(_motions_of(chuck, theta), _motions_of(chuck, theta + _WHOLE * turns))


@promised(
    "chuck",
    "repeats after its period",
    "The motion repeats after period_turns turns and not earlier; with period_turns = 0 the motion never repeats.",
    f"{_REPEATED:g} mm",
)
def _period(sample: Sample) -> int:
    chuck = sample.part
    turns = plain_number(getattr(chuck, "period_turns", None))
    if turns is None:
        return _numerical_period(chuck)
    if isinstance(turns, bool) or not isinstance(turns, int) or turns < 0:
        raise Broken(f"period_turns is {turns!r}; it must be a whole number of turns, or 0 if the motion never repeats")
    earlier = [fewer for fewer in range(1, min(turns or _MOST_TURNS, 10_000)) if turns % fewer == 0]
    for later in (turns * times for times in (_LATER if turns else ())):
        if (difference := _difference_after(chuck, later)) > _REPEATED * later / turns:
            raise Broken(
                f"period_turns = {turns}, but {later} turns later its motion differs by {difference:.3g} "
                "(mm, or element of the rotation)"
            )
    for fewer in earlier:
        if _difference_after(chuck, fewer) <= _REPEATED:
            message = f"period_turns = {turns}" if turns else "period_turns = 0 (never)"
            raise Broken(f"{message}, but its motion repeats after {fewer} {'turn' if fewer == 1 else 'turns'}")
    passed = trace(cut_on(fixed(chuck), turns=turns or 1, at=At(x=10.0, y=3.0)))
    closes = passed.closure.turns or 0
    if closes != turns or (passed.closure.gap_mm <= JOIN_MM) != bool(turns):
        raise Broken(
            f"a pass of {turns or 1} turns closes after {closes} turns, with {passed.closure.gap_mm:.3g} mm between its ends"
        )
    return len(_LATER) + len(earlier) if turns else 1 + len(earlier)


def _numerical_period(chuck: Chuck) -> int:
    """Test the numerically determined period of a chuck without ``period_turns``; return the number of cases."""
    turns = trace(cut_on(fixed(chuck), at=At(x=10.0, y=3.0))).closure.turns
    if turns is not None and (difference := _difference_after(chuck, turns)) > 1e-3:
        message = (
            f"its path closes after {turns} turns, where its motion differs by {difference:.3g} (mm, or element of the rotation)"
        )
        raise Broken(f"{message}; define period_turns: the period in turns, or 0 if the motion never repeats")
    return 1


@promised(
    "chuck",
    "turns its index counterclockwise",
    "The index rotates the work by the value of the index, counterclockwise as seen from the cutter.",
    "1e-9",
)
def _index(sample: Sample) -> int:
    chuck = sample.part
    name = next((each.name for each in fields(chuck) if each.name in ("index", "index_deg")), None)
    if name is None:
        return 1
    cases = 0
    for part, other in _indexed(chuck, name):
        before, after = _motions_of(chuck, TURNING), _motions_of(other, TURNING)
        between = (before.inverse() @ after).rotation
        angle = _WHOLE * float(part)
        axis_z = (between[:, 1, 0] - between[:, 0, 1]) / 2 / math.sin(angle)
        turned = np.arccos(np.clip((np.trace(between, axis1=1, axis2=2) - 1) / 2, -1.0, 1.0)) * np.sign(axis_z)
        assert_close(
            turned, np.full(TURNING.size, angle), 1e-7, TURNING, unit="rad", what=f"rotation by an index {part} of a turn larger"
        )
        cases += TURNING.size
    if not cases:
        raise Broken(f"{name}: the chuck accepts no other index, not even one that is 1/96 of a turn larger")
    return cases


def _indexed(chuck: Any, name: str) -> Iterator[tuple[Fraction, Any]]:
    for part in _INDEXED:
        now = getattr(chuck, name)
        further = now + Phase(part) if isinstance(now, Phase) else now + 360 * float(part)
        yield from ((part, other) for other in accepted_variants(chuck, name, [further]))


@promised(
    "chuck",
    "keeps its slides in their travel",
    "In the sample each slide stays within its travel; a pass that drives a slide past the end of its travel is refused.",
)
def _slides(sample: Sample) -> int:
    chuck = sample.part
    if not hasattr(chuck, "slides"):
        return 1
    for slide in chuck.slides(_ONE_TURN.copy()):
        one = 1 if isinstance(slide.at, np.ndarray) and slide.at.size == 1 else _ONE_TURN.size
        finite_of_shape(f"slide {slide.name!r}", slide.at, (one,))
        if not slide.low < slide.high:
            raise Broken(f"slide {slide.name!r}: its travel is from {slide.low:g} to {slide.high:g} mm; low must be below high")
        if _overtravel(slide) > 0:
            raise Broken(
                f"slide {slide.name!r} is {_overtravel(slide):g} mm past its travel; give the sample settings that can be cut"
            )
    names = [slide.name for slide in chuck.slides(_ONE_TURN.copy())]
    functions = {f"slide {name!r}": functools.partial(_slide_at, chuck, number) for number, name in enumerate(names)}
    each_alone(functions, _ONE_TURN[:73], 1e-9, along="spindle")
    leaves_alone(functions, _ONE_TURN)
    _assert_slides_follow(chuck)
    trace(cut_on(fixed(chuck), at=At(x=10.0)))
    return 1 + sum(_overtravel_cases(other) for other in _enlarged(chuck))


def _assert_slides_follow(chuck: Any) -> None:
    """Raise `Broken` if other settings change the shift of the work without a change in any slide position."""
    shift, positions = (
        _motions_of(chuck, _ONE_TURN).shift,
        [_slide_at(chuck, k, _ONE_TURN) for k in range(len(chuck.slides(_ONE_TURN)))],
    )
    others = [
        other for other in variants_with_one_change(chuck) if worst(_motions_of(other, _ONE_TURN).shift, shift).error > RIGID
    ]
    if positions and others and all(_same_positions(other, positions) for other in others):
        raise Broken(
            f"with {len(others)} other settings the work is shifted, but its slides stay at the same positions; "
            "compute slides from the settings"
        )


def _same_positions(chuck: Any, positions: list[Array]) -> bool:
    now = [_slide_at(chuck, k, _ONE_TURN) for k in range(len(chuck.slides(_ONE_TURN)))]
    return len(now) == len(positions) and all(np.array_equal(one, other) for one, other in zip(now, positions, strict=True))


def _slide_at(chuck: Any, number: int, theta: Array) -> Array:
    """Return the position of slide number ``number`` of a chuck at each of the angles ``theta``."""
    return np.array(np.broadcast_to(chuck.slides(theta)[number].at, theta.shape))


def _overtravel(slide: Any) -> float:
    return max(float(slide.low - slide.at.min()), float(slide.at.max() - slide.high))


def _enlarged(chuck: Any) -> Iterator[Any]:
    """Yield the accepted variants of a chuck in which one number is multiplied by one of several factors."""
    for each in fields(chuck):
        value = getattr(chuck, each.name)
        if isinstance(value, float):
            yield from accepted_variants(chuck, each.name, [(value or 1.0) * factor for factor in _FURTHER])


def _overtravel_cases(chuck: Any) -> int:
    past = [slide for slide in chuck.slides(_ONE_TURN.copy()) if _overtravel(slide) > 1e-6]
    if not past:
        return 0
    message = f"slide {past[0].name!r} is driven {_overtravel(past[0]):g} mm past its travel, but the pass is not refused"
    refused(lambda: trace(cut_on(fixed(chuck), at=At(x=10.0))), message)
    return 1


@promised(
    "chuck",
    "lists the fittings that it needs",
    "A lathe that lacks a needed fitting refuses the chuck in one line; a lathe with all needed fittings accepts the chuck.",
)
def _needs(sample: Sample) -> int:
    chuck = sample.part
    needs = getattr(chuck, "needs", ())
    if not isinstance(needs, tuple) or not all(isinstance(each, str) and each == each.strip() and each for each in needs):
        raise Broken(f"needs is {needs!r}; it must be a tuple of names of fittings, such as ('ring',)")

    def traced(*fittings: str) -> None:
        trace(cut_on(replace(fixed(), fittings=fittings).mount(chuck), at=At(x=10.0)))

    traced(*needs)
    for lacking in needs:
        others = [each for each in needs if each != lacking]
        line = refused(functools.partial(traced, *others), f"a lathe without the fitting {lacking!r} accepts the chuck")
        if lacking not in line:
            raise Broken(
                f"a lathe without the fitting {lacking!r} refuses the chuck, but the message does not name the fitting: {line}"
            )
    return 1 + len(needs)


@promised(
    "chuck",
    "gives the same trace in compiled code",
    "For the chuck alone and in a stack, compiled code gives the same path as plain code.",
    "1e-9 mm",
)
def _same_trace(sample: Sample) -> int:
    chuck, wave = sample.part, Drive(Wave(lobes=5, base_radius=50.0, rise=2.0), follower=Roller(3.0))
    cases = 0
    for stack in ((chuck,), (EccentricChuck(shift=2.0, index=Phase(Fraction(1, 9))), chuck), (chuck, Oval(throw=1.5))):
        cut = cut_on(sliding(*stack), wave, at=At(x=12.0, y=1.0, depth=0.3))
        plain, compiled = (trace(cut, chord=0.01, backend=backend) for backend in _BACKENDS)
        theta = _WHOLE * plain.u
        for axis in "xyz":
            assert_close(
                getattr(compiled, axis), getattr(plain, axis), 1e-9, theta, what=f"{axis}, compiled, compared with plain"
            )
        cases += 1
    return cases
