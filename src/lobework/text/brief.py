"""A one-line ``repr`` for dataclasses that hold arrays or long lists."""

from __future__ import annotations

from dataclasses import fields
from typing import Any, Final

import numpy as np

__all__ = ["Brief"]

_LONGEST: Final = 60
"""Maximum number of characters of one field in the ``repr``."""


class Brief:
    """Base class for dataclasses with a one-line ``repr``: arrays are shown as shape and type, long lists as length and type.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> @dataclass(repr=False)
    ... class Stroke(Brief):
    ...     points: np.ndarray
    ...     layer: str
    >>> Stroke(np.zeros((720, 2)), "cut")
    Stroke(points=<(720, 2) float64>, layer='cut')
    """

    __slots__ = ()

    def __repr__(self) -> str:
        shown = ", ".join(f"{each.name}={_short(getattr(self, each.name))}" for each in fields(self) if each.repr)  # type: ignore[arg-type]
        return f"{type(self).__name__}({shown})"


def _short(value: Any) -> str:
    """Return a short representation of a field's value."""
    if isinstance(value, np.ndarray):
        return f"<{value.shape} {value.dtype}>"
    if isinstance(value, tuple | list) and len(value) > 3:
        return f"<{len(value)} of {type(value[0]).__name__}>"
    if isinstance(value, tuple | list):
        inner = ", ".join(map(_short, value))
        return f"({inner},)" if len(value) == 1 else f"({inner})"
    if callable(value):
        return f"<{getattr(value, '__name__', type(value).__name__)}>"
    text = repr(value)
    return text if len(text) <= _LONGEST and "\n" not in text else f"<{type(value).__name__}>"
