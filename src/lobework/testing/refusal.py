"""Functions for tests of settings: `refused` requires an error, `accepted_variants` yields variants that a part accepts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any

from lobework.errors import InputError
from lobework.testing.compare import Broken

__all__ = ["accepted_variants", "refused"]


def refused(act: Callable[[], object], otherwise: str) -> str:
    """Return the message of the `InputError` that the function ``act`` raises.

    If ``act`` raises no such error, raise `Broken` with the message ``otherwise``.
    """
    try:
        act()
    except InputError as error:
        if "\n" in str(error):
            raise Broken(f"the error message has more than one line: {error}") from None
        return str(error)
    raise Broken(otherwise)


def accepted_variants(part: Any, name: str, values: Iterable[Any]) -> Iterator[Any]:
    """Yield one variant of the part for each of ``values`` that the part accepts as its setting ``name``."""
    for value in values:
        try:
            yield replace(part, **{name: value})
        except InputError:
            continue
