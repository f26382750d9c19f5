"""PNG: the sheet as a picture, by default at 254 dots an inch, which is ten dots a millimetre."""

from __future__ import annotations

import struct
import zlib
from typing import TYPE_CHECKING, Final

from lobework.errors import InputError, TooLargeError
from lobework.targets import svg
from lobework.targets.target import Target

if TYPE_CHECKING:
    from lobework.render.drawing import Drawing

__all__ = ["TARGET", "render"]

_MOST_DOTS: Final = 100_000_000
_HEADER_BYTES: Final = 33
"""Signature (8) and IHDR chunk (25), after which pHYs may follow. Source: W3C PNG specification, 2nd ed., 5.2 and 11.2.2."""


def _with_resolution(png: bytes, dots_per_metre: int) -> bytes:
    """Return a PNG picture with its resolution added (pHYs; W3C PNG specification, 2nd ed., 11.3.5.3)."""
    body = b"pHYs" + struct.pack(">IIB", dots_per_metre, dots_per_metre, 1)
    chunk = struct.pack(">I", 9) + body + struct.pack(">I", zlib.crc32(body))
    return png[:_HEADER_BYTES] + chunk + png[_HEADER_BYTES:]


def render(drawing: Drawing, dpi: float = 254.0) -> bytes:
    """Return the sheet as a PNG picture on white.

    Parameters
    ----------
    drawing : Drawing
        The sheet.
    dpi : float
        Resolution, dots an inch.

    Returns
    -------
    bytes
        Contents of the file, which includes the resolution.

    Raises
    ------
    InputError
        If the renderer is not installed; the message gives the command to install it.
    TooLargeError
        If the picture would have more than a hundred million dots.

    Examples
    --------
    >>> from lobework.render.drawing import Drawing
    >>> sheet = Drawing(
    ...     title="Lid", description="", left=0, top=0, width=90, height=60, layers=(), lines=(), words=(), bar=50
    ... )
    >>> int.from_bytes(render(sheet)[16:20], "big")
    900
    """
    try:
        import resvg_py
    except ImportError:
        problem, remedy = "a PNG needs the renderer resvg-py, which is not installed", "run: pip install 'lobework[png]'"
        raise InputError(problem, remedy=remedy) from None
    across, down = round(drawing.width / 25.4 * dpi), round(drawing.height / 25.4 * dpi)
    if across * down > _MOST_DOTS:
        problem = f"a picture of {across} x {down} dots has more than {_MOST_DOTS:,} dots"
        raise TooLargeError(problem, remedy="write SVG instead, or a PNG at fewer dots an inch")
    sheet = svg.sized(drawing, str(across), str(down))
    png = resvg_py.svg_to_bytes(svg_string=sheet, width=across, height=down, background="#ffffff")
    return _with_resolution(bytes(png), round(dpi / 0.0254))


TARGET: Final = Target(
    name="png",
    file="drawing.png",
    shows="drawing",
    description="the sheet as a picture, ten dots a millimetre",
    render=render,
    needs=("resvg_py", "lobework[png]"),
)
