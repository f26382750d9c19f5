"""Tests of the promises of a part with other settings than the settings of its samples."""

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
from lobework.plugins.validation import one_line, shortened_line
from lobework.quantities.fields import hints_of
from lobework.quantities.units import Phase
from lobework.testing.answers import answers
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import promised, registered_promises
from lobework.testing.refusal import accepted_variants
from lobework.testing.settings import PARTS, variants_with_one_change

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array

__all__ = ["variants"]

_MOST: Final = 32
"""Largest number of variants that are tested per sample."""
_MIXED: Final = 8
"""Largest number of variants in which several settings are changed at once."""
_FEWEST: Final = 3
"""Number of tested variants from which at least one variant must have other results than the sample."""
_FACTORS: Final = (0.1, 3.0, 10.0, -1.0)
_OF_SETTINGS: Final = {
    "chuck": (
        "gives a motion for each angle",
        "stays rigid",
        "treats each angle independently",
        "turns its index counterclockwise",
    ),
    "cam": (
        "has valid attributes",
        "has equal lobes",
        "has the top of a lobe at angle zero",
        "has its lowest point at its base radius",
        "has the slope of its rise",
        "lists every corner",
    ),
    "follower": (
        "has valid attributes",
        "has the form that it declares",
        "has the slope of its nose",
        "treats each position independently",
    ),
    "cutter": ("never narrows with depth", "agrees with its edge"),
    "piece": ("has a closed outline", "maps depth like its surface", "has a valid surface", "is drawn within its sheet"),
}
"""Names of the promises that depend on the settings and can be tested quickly, by kind of part."""
_NUDGE: Final = 1e-9
_DIFFERENCE: Final = 1e-6


def _far_values(value: Any, hint: Any) -> tuple[Any, ...]:
    """Return values far from the present value of a setting; for a setting of type Literal, all other allowed values."""
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
        return tuple(_scaled(value, factor) for factor in _FACTORS)
    return ()


def _scaled(value: Any, factor: float) -> Any:
    if isinstance(value, float):
        return value * factor
    return tuple(_scaled(each, factor) for each in value) if isinstance(value, tuple) else value


def variants(part: Any) -> Iterator[Any]:
    """Yield valid variants of a part: first with one setting changed by a small or a large amount, then with several changed."""
    made_of: type = type(part)
    hints = hints_of(made_of)
    one_by_one = list(variants_with_one_change(part))
    for each in fields(part):
        if each.init:
            one_by_one += accepted_variants(part, each.name, _far_values(getattr(part, each.name), hints[each.name]))
    seen = {repr(part)}
    drawn = random.Random(0)
    for other in itertools.islice(_shuffled(one_by_one, drawn), _MOST - _MIXED):
        if repr(other) not in seen:
            seen.add(repr(other))
            yield other
    for _ in range(_MIXED):
        mixed = part
        for each in fields(part):
            values = [*_far_values(getattr(part, each.name), hints[each.name]), getattr(part, each.name)] if each.init else []
            if values:
                mixed = next(accepted_variants(mixed, each.name, [drawn.choice(values)]), mixed)
        if repr(mixed) not in seen:
            seen.add(repr(mixed))
            yield mixed


def _shuffled(parts: list[Any], drawn: random.Random) -> Iterator[Any]:
    """Yield the parts in random order, so that no setting is favoured."""
    yield from drawn.sample(parts, len(parts))


def _test_variants(sample: Sample) -> int:
    """Test the promises that depend on the settings, with variants of the sample; return the number of cases."""
    kind, selected = sample.kind, [each for each in registered_promises(sample.kind) if each.name in _OF_SETTINGS[sample.kind]]
    tries: list[tuple[str, Callable[[Sample], int]]] = [(each.name, each.tries) for each in selected]
    tries += [("moves only if dynamic", _is_static), ("repeats after its period", _repeats)] if kind == "chuck" else []
    tries = [(name, function) for name, function in tries if _holds_at_sample(function, sample)]
    cases = 0
    for other in variants(sample.part):
        for name, function in tries:
            try:
                cases += bool(function(Sample(other)))
            except KeyboardInterrupt:
                raise
            except Broken as broken:
                raise Broken(f"{name}, {_at(other)}: {broken}") from None
            except InputError as error:
                raise Broken(
                    f"{name}, {_at(other)}: the part accepts these settings, but raises an error later: {error}"
                ) from None
            except BaseException as error:
                raise Broken(f"{name}, {_at(other)}: it fails: {one_line(error)}") from error
    return cases or 1


def _holds_at_sample(function: Callable[[Sample], int], sample: Sample) -> bool:
    """Return whether a promise is kept with the sample's own settings; if not, the test of that promise reports the error."""
    try:
        function(sample)
    except KeyboardInterrupt:
        raise
    except BaseException:  # noqa: BLE001
        return False
    return True


def _at(part: Any) -> str:
    return f"at {shortened_line(repr(part))}"


def _is_static(sample: Sample) -> int:
    if sample.part.is_dynamic:
        return 0
    for what, given in answers("chuck", sample.part).items():
        assert_close(given.numbers, np.broadcast_to(given.numbers[:1], given.numbers.shape), 0.0, what=f"{what}: it moves")
    return 1


def _repeats(sample: Sample) -> int:
    turns = getattr(sample.part, "period_turns", None)
    if not turns:
        return 0
    later = answers("chuck", sample.part, turned=2 * np.pi * turns)
    for what, given in answers("chuck", sample.part).items():
        assert_close(later[what].numbers, given.numbers, _DIFFERENCE, what=f"{what}, {turns} turns later")
    return 1


def _own_settings(sample: Sample) -> int:
    """Test that the results of a part do not change when parts with other settings are called in between.

    The results of each part are compared with the results of the same part for slightly different arguments.
    """
    kind, part, cases = sample.kind, sample.part, 0
    tried = list(itertools.islice(variants(part), _MIXED))
    alike = True
    for other in tried:
        own = answers(kind, part)
        alike = alike and all(np.array_equal(given.numbers, own[what].numbers) for what, given in answers(kind, other).items())
        results, before, beyond = (
            answers(kind, other),
            _answers_beside(kind, other, -_NUDGE),
            _answers_beside(kind, other, _NUDGE),
        )
        for what, given in results.items():
            scale = 1.0 + float(np.abs(given.numbers[np.isfinite(given.numbers)]).max(initial=0.0))
            with np.errstate(invalid="ignore"):
                smooth = np.abs(before[what] - beyond[what]) <= _DIFFERENCE * scale
            try:
                assert_close(beyond[what][smooth], given.numbers[smooth], _DIFFERENCE * scale)
            except Broken as broken:
                message = f"{what} of {shortened_line(repr(other))}, called after a part with other settings: {broken}"
                raise Broken(f"{message}; a cached result must depend on all of the settings") from None
            cases += 1
    if alike and len(tried) >= _FEWEST:
        raise Broken(f"the settings do not change the results: {len(tried)} other settings were tested")
    return cases or 1


def _answers_beside(kind: str, part: Any, nudge: float) -> dict[str, Array]:
    """Return the results of a part for arguments next to the usual ones; there may be a jump between the two."""
    return {what: given.numbers for what, given in answers(kind, part, 1 + nudge, nudge).items()}


for _kind in PARTS:
    promised(
        _kind,
        "keeps its promises at other settings",
        "Settings other than those of the samples, similar or very different, are refused at once or keep the promises.",
    )(_test_variants)
    promised(
        _kind,
        "depends on its own settings alone",
        "The results of a part depend on its own settings alone, not on earlier calls of parts with other settings.",
    )(_own_settings)
