"""What a thing holds, kept, so that it can be told whether somebody has changed it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from lobework.jobs.job import Traces
from lobework.testing.compare import Broken

__all__ = ["Snapshot"]


class Snapshot:
    """The numbers and words that are in a thing, as they are now.

    Parameters
    ----------
    thing : Any
        Dataclasses, sequences and mappings are looked into; arrays are kept number by number.
    """

    def __init__(self, thing: Any) -> None:
        self._thing = thing
        self._kept = [(where, _kept(holder)) for where, holder in _held(thing)]

    def assert_unchanged(self, who: str) -> int:
        """Return how many things were looked at; raise `Broken` where one is not what it was."""
        now = list(_held(self._thing))
        if len(now) != len(self._kept):
            raise Broken(f"{who} changes what it is given: it holds {len(now)} things for {len(self._kept)}")
        for (where, holder), (_, kept) in zip(now, self._kept, strict=True):
            if not _same(holder, kept):
                raise Broken(f"{who} changes what it is given: {where}")
        return len(now)


def _held(thing: Any, where: str = "", seen: frozenset[int] = frozenset()) -> Iterator[tuple[str, Any]]:
    """Yield each array, number and text in a thing, with the way to it."""
    if id(thing) in seen:
        return
    seen |= {id(thing)}
    if isinstance(thing, Traces):
        yield from _held(tuple(thing), where, seen)
    elif isinstance(thing, np.ndarray | int | float | str | bytes) or thing is None:
        yield where or "it", thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        for each in fields(thing):
            yield from _held(getattr(thing, each.name), f"{where}.{each.name}".lstrip("."), seen)
    elif isinstance(thing, Mapping):
        for key, value in thing.items():
            yield from _held(value, f"{where}[{key!r}]", seen)
    elif isinstance(thing, list | tuple):
        for number, value in enumerate(thing):
            yield from _held(value, f"{where}[{number}]", seen)


def _kept(holder: Any) -> Any:
    return holder.copy() if isinstance(holder, np.ndarray) else holder


def _same(holder: Any, kept: Any) -> bool:
    if isinstance(kept, np.ndarray):
        return isinstance(holder, np.ndarray) and np.array_equal(holder, kept, equal_nan=True)
    return type(holder) is type(kept) and bool(holder == kept)
