"""Results that a notebook shows."""

from __future__ import annotations

import importlib
from typing import Any, Final

__all__ = ["Shown"]

_NOTEBOOK: Final = "lobework.pictures.notebook"
"""The module that makes the pictures. It is imported by name when a notebook shows a result, because it imports the results."""


class Shown:
    """Base class of the results that a notebook shows: as a picture, a table or text.

    Examples
    --------
    >>> from lobework.sheets.settings import Settings
    >>> sorted(Settings(title="Lid", groups=(), steps=())._repr_mimebundle_())
    ['text/html', 'text/plain']
    """

    __slots__ = ()

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, Any]:
        """Return the result by MIME type; a notebook calls this (IPython, "Rich display")."""
        shown: dict[str, Any] = importlib.import_module(_NOTEBOOK).bundle(self)
        return shown
