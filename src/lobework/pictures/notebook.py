"""What a notebook shows of a result."""

from __future__ import annotations

from html import escape
from typing import Any, Final

from lobework.carve.carving import Carving
from lobework.jobs.job import Traces
from lobework.pictures.pages import settings_body
from lobework.program.steps import Program
from lobework.proof import Proof
from lobework.render.drawing import Drawing
from lobework.sheets.settings import Settings
from lobework.targets import relief, rs274, svg
from lobework.text.printable import printable

__all__ = ["bundle"]

_DOTS: Final = 800
_FIRST_LINES: Final = 40
"""Number of lines of a program that are shown."""


def bundle(result: Any) -> dict[str, Any]:
    """Return a result by MIME type: always as plain text, and as a picture or HTML if there is one.

    The picture of a carving needs Pillow; without it there is only text.
    """
    return {"text/plain": repr(result), **_rich(result)}


def _rich(result: Any) -> dict[str, Any]:
    if isinstance(result, Traces):
        result = result.drawing()
    if isinstance(result, Drawing):
        return {"image/svg+xml": svg.render(result).decode()}
    if isinstance(result, Carving):
        return {"image/png": relief.render(result, dots=_DOTS)} if relief.has_encoder() else {}
    if isinstance(result, Settings):
        return {"text/html": settings_body(result)}
    if isinstance(result, Program):
        return {"text/html": _listing(result)}
    if isinstance(result, Proof):
        return {"text/html": _preformatted(str(result).splitlines())}
    return {}


def _preformatted(lines: list[str]) -> str:
    text = "\n".join(map(printable, lines))
    return f"<pre>{escape(text)}</pre>"


def _listing(program: Program) -> str:
    """Return the first lines of a program as HTML."""
    lines = rs274.render(program).decode().splitlines()
    more = [f"... and {len(lines) - _FIRST_LINES:,} more lines"] if len(lines) > _FIRST_LINES else []
    return _preformatted([*lines[:_FIRST_LINES], *more])
