"""What every part promises at other settings than those of its samples: a little off them, and far from them."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterator
from dataclasses import fields
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final, Literal, get_args, get_origin

import numpy as np

from lobework.errors import InputError
from lobework.plugins.sample import Sample
from lobework.plugins.validation import one_line, plain
from lobework.quantities.fields import hints_of
from lobework.quantities.units import Phase
from lobework.testing.answers import answers
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import made, promised
from lobework.testing.refusal import taken
from lobework.testing.settings import PARTS, near

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["others"]

_MOST: Final = 32
"""Other settings that are tried of each sample."""
_MIXED: Final = 8
"""Of those, how many in which several settings are changed at once."""
_FEWEST: Final = 3
"""Of so many other settings, one at least makes a difference."""
_FACTORS: Final = (0.1, 3.0, 10.0, -1.0)
_ASKED: Final = {
    "chuck": (
        "gives a motion for each angle",
        "stays rigid",
        "takes each angle by itself",
        "turns its index counterclockwise",
    ),
    "cam": (
        "says what it is",
        "has equal lobes",
        "has the top of a lobe at zero",
        "stands on its base",
        "slopes as it rises",
        "names every corner",
    ),
    "follower": ("says what it is", "has the form that it says", "slopes as its nose", "takes each place by itself"),
    "cutter": ("widens as it goes in", "agrees with its edge"),
    "piece": ("has a closed outline", "sees depth as its surface says", "has a sound surface", "is drawn within its sheet"),
}
"""Promises that take no time worth mentioning, and that hang on the settings."""
_NUDGE: Final = 1e-9
_APART: Final = 1e-6


def _far(value: Any, hint: Any) -> tuple[Any, ...]:
    """Return values far from one that a setting has, and every other word that it may be."""
    if get_origin(hint) is Literal:
        return tuple(each for each in get_args(hint) if each != value)
    if isinstance(value, bool):
        return (not value,)
    if isinstance(value, int):
        return 1, 2, 3, value + 5, 10 * value
    if isinstance(value, float):
        return tuple(value * factor for factor in _FACTORS) if value else (0.3, 7.0, -7.0)
    if isinstance(value, Fraction):
        return value * 3, value + 1, 1 / value if value else Fraction(1)
    if isinstance(value, Phase):
        return Phase(Fraction(1, 2)), value + Phase(Fraction(-1, 5))
    if isinstance(value, tuple):
        return tuple(_times(value, factor) for factor in _FACTORS)
    return ()


def _times(value: Any, factor: float) -> Any:
    if isinstance(value, float):
        return value * factor
    return tuple(_times(each, factor) for each in value) if isinstance(value, tuple) else value


def others(part: Any) -> Iterator[Any]:
    """Yield parts with other settings, as far as the part takes them: one changed, a little or a lot, and several at once."""
    made_of: type = type(part)
    hints = hints_of(made_of)
    one_by_one = list(near(part))
    for each in fields(part):
        if each.init:
            one_by_one += taken(part, each.name, _far(getattr(part, each.name), hints[each.name]))
    seen = {repr(part)}
    drawn = random.Random(0)
    for other in itertools.islice(_evenly(one_by_one, drawn), _MOST - _MIXED):
        if repr(other) not in seen:
            seen.add(repr(other))
            yield other
    for _ in range(_MIXED):
        mixed = part
        for each in fields(part):
            values = [*_far(getattr(part, each.name), hints[each.name]), getattr(part, each.name)] if each.init else []
            if values:
                mixed = next(taken(mixed, each.name, [drawn.choice(values)]), mixed)
        if repr(mixed) not in seen:
            seen.add(repr(mixed))
            yield mixed


def _evenly(parts: list[Any], drawn: random.Random) -> Iterator[Any]:
    """Yield the parts in an order that favours none of the settings."""
    yield from drawn.sample(parts, len(parts))


def _holds(sample: Sample) -> int:
    """Ask the promises that hang on the settings at other settings."""
    kind, asked = sample.kind, [each for each in made(sample.kind) if each.name in _ASKED[sample.kind]]
    tries: list[tuple[str, Callable[[Sample], int]]] = [(each.name, each.tries) for each in asked]
    tries += [("varies as it says", _stands_still), ("comes back when it says", _comes_back)] if kind == "chuck" else []
    tries = [(name, ask) for name, ask in tries if _holds_here(ask, sample)]
    cases = 0
    for other in others(sample.part):
        for name, ask in tries:
            try:
                cases += bool(ask(Sample(other)))
            except KeyboardInterrupt:
                raise
            except Broken as broken:
                raise Broken(f"{name}, {_at(other)}: {broken}") from None
            except InputError as error:
                raise Broken(f"{name}, {_at(other)}: it takes these settings, and refuses them later: {error}") from None
            except BaseException as error:
                raise Broken(f"{name}, {_at(other)}: it fails: {one_line(error)}") from error
    return cases or 1


def _holds_here(ask: Callable[[Sample], int], sample: Sample) -> bool:
    """Return whether a promise is kept at the sample's own settings; where it is not, it says so itself."""
    try:
        ask(sample)
    except KeyboardInterrupt:
        raise
    except BaseException:  # noqa: BLE001
        return False
    return True


def _at(part: Any) -> str:
    return f"at {plain(repr(part))}"


def _stands_still(sample: Sample) -> int:
    if sample.part.is_dynamic:
        return 0
    for what, given in answers("chuck", sample.part).items():
        assert_close(given.numbers, np.broadcast_to(given.numbers[:1], given.numbers.shape), 0.0, what=f"{what}: it moves")
    return 1


def _comes_back(sample: Sample) -> int:
    turns = getattr(sample.part, "period_turns", None)
    if not turns:
        return 0
    later = answers("chuck", sample.part, turned=2 * np.pi * turns)
    for what, given in answers("chuck", sample.part).items():
        assert_close(later[what].numbers, given.numbers, _APART, what=f"{what}, {turns} turns later")
    return 1


def _apart(sample: Sample) -> int:
    """Ask parts with different settings in turn: the same places, and places next to them that nobody has asked before."""
    kind, part, cases = sample.kind, sample.part, 0
    tried = list(itertools.islice(others(part), _MIXED))
    alike = True
    for other in tried:
        own = answers(kind, part)
        alike = alike and all(np.array_equal(given.numbers, own[what].numbers) for what, given in answers(kind, other).items())
        told, before, beyond = answers(kind, other), _beside(kind, other, -_NUDGE), _beside(kind, other, _NUDGE)
        for what, given in told.items():
            scale = 1.0 + float(np.abs(given.numbers[np.isfinite(given.numbers)]).max(initial=0.0))
            with np.errstate(invalid="ignore"):
                smooth = np.abs(before[what] - beyond[what]) <= _APART * scale
            try:
                assert_close(beyond[what][smooth], given.numbers[smooth], _APART * scale)
            except Broken as broken:
                message = f"{what} of {plain(repr(other))}, asked after another: {broken}"
                raise Broken(f"{message}; what is kept of one answer must hang on all of the settings") from None
            cases += 1
    if alike and len(tried) >= _FEWEST:
        raise Broken(f"none of its settings makes any difference, of {len(tried)} others that were tried")
    return cases or 1


def _beside(kind: str, part: Any, nudge: float) -> dict[str, Array]:
    """Return what a part gives next to the places at which all are asked; it may jump between."""
    return {what: given.numbers for what, given in answers(kind, part, 1 + nudge, nudge).items()}


for _kind in PARTS:
    promised(
        _kind,
        "holds at other settings",
        "Settings that are near those of its samples, or far from them, are refused at once or keep the promises too.",
    )(_holds)
    promised(
        _kind,
        "keeps its settings apart",
        "What it gives hangs on its own settings, whatever another one with other settings was asked before.",
    )(_apart)
