"""The promises of every part about its settings: copies and job files keep the settings, and nan and infinity are rejected."""

from __future__ import annotations

import copy
import json
import math
import pickle
import tomllib
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

from lobework.jobs.jobfile.tables import Context, choice_of
from lobework.plugins import registry
from lobework.plugins.sample import Sample
from lobework.quantities.fields import Angle, Length, hints_of, measures
from lobework.quantities.units import Phase, format_phase
from lobework.testing.compare import Broken, assert_close
from lobework.testing.promise import promised
from lobework.testing.refusal import accepted_variants, refused

__all__ = ["PARTS", "table_of", "variants_with_one_change"]

PARTS: Final = ("chuck", "cam", "follower", "cutter", "piece")
_NAMES: Final = {"cam": "shape", "piece": "form"}
_NO_NUMBERS: Final = (math.nan, math.inf, -math.inf)


def variants_with_one_change(part: Any) -> Iterator[Any]:
    """Yield the accepted variants of a part in which one setting is changed by a small or a large amount."""
    for each in fields(part):
        if each.init:
            yield from accepted_variants(part, each.name, _nearby(getattr(part, each.name)))


def _nearby(value: Any) -> tuple[Any, ...]:
    if isinstance(value, bool):
        return (not value,)
    if isinstance(value, int):
        return value + 1, value - 1, 2 * value
    if isinstance(value, float):
        return value * 1.125, value * 0.875, value + 1.0, 0.0
    if isinstance(value, Fraction):
        return value + Fraction(1, 16), value / 2
    if isinstance(value, Phase):
        return value + Phase(Fraction(1, 7)), Phase()
    return ()


def _keeps_settings(sample: Sample) -> int:
    """Test that copies of the part equal the part, and that parts with other settings do not; return the number of cases."""
    part = sample.part
    for method, same in (
        ("a copy made with the same settings", replace(part)),
        ("a pickled copy", pickle.loads(pickle.dumps(part))),
        ("a deep copy", copy.deepcopy(part)),
    ):
        if same != part:
            raise Broken(f"{method} is not equal to the part: {same!r} instead of {part!r}")
        if hash(same) != hash(part):
            raise Broken(f"{method} is equal to the part, but has another hash")
    if "\n" in repr(part):
        raise Broken("the repr has more than one line; use the repr that dataclass generates")
    cases = 4
    for other in variants_with_one_change(part):
        if other == part and repr(other) != repr(part):
            raise Broken(f"{other!r} is equal to {part!r}, although the settings differ")
        cases += 1
    return cases


def table_of(part: Any, key: str = "kind") -> str:
    """Return a part as an inline table of a job file; ``key`` is the key under which the name of the part is written.

    >>> from lobework.parts.follower import Roller
    >>> table_of(Roller(3.0))
    '{ kind = "roller", radius = 3.0 }'
    """
    marks = measures(type(part))
    pairs = [(key, getattr(part, key if key == "form" else "kind", None))]
    for each in fields(part):
        if each.init and getattr(part, each.name) != each.default:
            short = each.name.removesuffix("_deg") if marks[each.name] is not None else each.name
            pairs.append((short, getattr(part, each.name)))
    return f"{{ {', '.join(f'{name} = {_toml_text(value)}' for name, value in pairs if value is not None)} }}"


def _toml_text(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Phase):
        return json.dumps(format_phase(value))
    if isinstance(value, tuple | list) and value and all(_is_named(each) for each in value):
        return f"{{ {', '.join(f'{json.dumps(name)} = {_toml_text(inner)}' for name, inner in value)} }}"
    if isinstance(value, tuple | list | frozenset):
        return f"[{', '.join(map(_toml_text, value))}]"
    if is_dataclass(value):
        return table_of(value)
    return json.dumps(str(value))


def _is_named(each: Any) -> bool:
    return isinstance(each, tuple) and len(each) == 2 and isinstance(each[0], str)


def _goes_through_a_file(sample: Sample) -> int:
    """Write the part as a table of a job file, and read the table again; return the number of cases."""
    part, kind, name = sample.part, sample.kind, sample.name
    cls: type = type(part)
    if registry.installed().parts[kind].get(name) is not cls:
        raise Broken(f"the {kind} installed as {name!r} is another class; install the package that offers this class")
    text = f"part = {table_of(part, _NAMES.get(kind, 'kind'))}"
    read = choice_of(kind).read(tomllib.loads(text)["part"], Context("mm", Path()))
    if read != part:
        raise Broken(f"{text} is read as {read!r}")
    shown = [(each, mark, getattr(part, each)) for each, mark in measures(cls).items() if mark is not None]
    for each, mark, value in shown:
        if isinstance(value, float) and math.isfinite(value):
            assert_close(mark.read(mark.show(value)), value, 1e-6, what=f"{each}, shown as {mark.show(value)!r}")
        elif isinstance(value, Phase) and mark.read(mark.show(value)) != value:
            raise Broken(f"{each}={value!r} is shown as {mark.show(value)!r}, which is read as another value")
    return 1 + len(shown)


def _rejects_non_numbers(sample: Sample) -> int:
    """Set every length, angle and plain number to nan and to infinity; return the number of cases."""
    part: Any = sample.part
    cls: type = type(part)
    hints, cases = hints_of(cls), 0
    for each in fields(part):
        if each.init and hints[each.name] in (Length, Angle, float):
            for given in _NO_NUMBERS if each.default not in _NO_NUMBERS else _NO_NUMBERS[:1]:
                _assert_rejected(part, each.name, given)
                cases += 1
    return cases


def _assert_rejected(part: Any, name: str, given: float) -> None:
    try:
        refused(lambda: replace(part, **{name: given}), f"{name}={given} is accepted; reject it with lobework.plugins.require")
    except Broken:
        raise
    except Exception as error:  # noqa: BLE001  (any other error is wrong)
        message = f"with {type(error).__name__} instead of lobework.plugins.require"
        raise Broken(f"{name}={given} is rejected {message}: {error}") from None


for _kind in PARTS:
    promised(
        _kind,
        "keeps its settings",
        "A copy with the same settings, a deep copy and a pickled copy equal the part; a copy with other settings does not.",
    )(_keeps_settings)
    promised(
        _kind,
        "keeps its settings in a job file",
        "The settings of a part can be written to a job file and read again without change.",
    )(_goes_through_a_file)
    promised(
        _kind,
        "refuses nan and infinity",
        "A setting that is a length, angle or number is rejected, with a message of one line, if its value is nan or infinite.",
    )(_rejects_non_numbers)
