"""Copies of the contents of an object, for detecting changes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from lobework.jobs.job import Traces
from lobework.testing.compare import Broken

__all__ = ["Snapshot"]


class Snapshot:
    """A copy of the numbers and texts contained in an object.

    Parameters
    ----------
    thing : Any
        The object; dataclasses, sequences and mappings are searched recursively, and arrays are copied.
    """

    def __init__(self, thing: Any) -> None:
        self._thing = thing
        self._kept = [(where, _copy_of(value)) for where, value in _values_in(thing)]

    def assert_unchanged(self, who: str) -> int:
        """Return the number of compared values; raise `Broken` if a value has changed since the copy was made."""
        now = list(_values_in(self._thing))
        if len(now) != len(self._kept):
            raise Broken(f"{who} changes its input: the input contains {len(now)} values instead of {len(self._kept)}")
        for (where, value), (_, kept) in zip(now, self._kept, strict=True):
            if not _same(value, kept):
                raise Broken(f"{who} changes its input: {where}")
        return len(now)


def _values_in(thing: Any, where: str = "", seen: frozenset[int] = frozenset()) -> Iterator[tuple[str, Any]]:
    """Yield the path and the value of each array, number and text in an object."""
    if id(thing) in seen:
        return
    seen |= {id(thing)}
    if isinstance(thing, Traces):
        yield from _values_in(tuple(thing), where, seen)
    elif isinstance(thing, np.ndarray | int | float | str | bytes) or thing is None:
        yield where or "it", thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        for each in fields(thing):
            yield from _values_in(getattr(thing, each.name), f"{where}.{each.name}".lstrip("."), seen)
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from _values_in(value, f"{where}[{key!r}]", seen)
    elif isinstance(thing, list | tuple):
        for number, value in enumerate(thing):
            yield from _values_in(value, f"{where}[{number}]", seen)


def _copy_of(value: Any) -> Any:
    return value.copy() if isinstance(value, np.ndarray) else value


def _same(value: Any, kept: Any) -> bool:
    if isinstance(kept, np.ndarray):
        return isinstance(value, np.ndarray) and np.array_equal(value, kept, equal_nan=True)
    return type(value) is type(kept) and bool(value == kept)
