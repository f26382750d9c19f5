"""SVG: the sheet in true millimetres, with a group for each pass and for each cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from typing import TYPE_CHECKING, Final

from lobework.render.marks import AIR_DASH_MM, BAND_OPACITY, COLOURS, TEXT_COLOURS, TIP_LINE_MM, has_band
from lobework.targets.target import Target
from lobework.text.printable import printable

if TYPE_CHECKING:
    from lobework.geometry.rigid import Array
    from lobework.render.drawing import Drawing, Figure, Layer, Stroke, TextLine

__all__ = ["TARGET", "path_data", "render", "sized"]

_FONT: Final = "'Palatino Linotype', Palatino, 'TeX Gyre Pagella', 'Book Antiqua', Georgia, 'DejaVu Serif', serif"


def _short(value: float) -> str:
    """Return a number without the zero before its decimal point."""
    return f"{value:g}".removeprefix("0")


_STYLE: Final = f"""
svg {{ background: #fff }}
path {{ fill: none; stroke-linecap: round; stroke-linejoin: round }}
.cut {{ stroke: {COLOURS["cut"]} }}
.band {{ stroke: {COLOURS["cut"]}; opacity: {_short(BAND_OPACITY)} }}
.air {{ stroke: {COLOURS["air"]}; stroke-dasharray: {" ".join(map(_short, AIR_DASH_MM))} }}
.outline, .rule {{ stroke: {COLOURS["outline"]} }}
.accent {{ stroke: {COLOURS["accent"]} }}
text {{ font-family: {_FONT}; fill: {TEXT_COLOURS["title"]} }}
.plain {{ fill: {TEXT_COLOURS["plain"]} }}
.note {{ fill: {TEXT_COLOURS["note"]}; font-style: italic }}
"""


def _text(text: str) -> str:
    return escape(printable(text), quote=False)


def path_data(points: Array, *, closed: bool = False) -> str:
    """Return SVG path data for (n, 2) mm points, rounded to 0.1 um; the sign of Y is reversed, as SVG's Y axis points down.

    >>> import numpy as np
    >>> path_data(np.array([[0.0, 1.0], [2.0, -3.0]]), closed=True)
    'M0.0000 -1.0000L2.0000 3.0000Z'
    """
    down = (points * (1.0, -1.0)).round(4) + 0.0
    if len(down) == 1:
        down = down.repeat(2, axis=0)
    body = "L".join(["%.4f %.4f"] * len(down)) % tuple(down.ravel().tolist())
    return f"M{body}{'Z' if closed else ''}"


def _number(value: float) -> str:
    return f"{value + 0.0:.4f}"


def _path(stroke: Stroke, *attributes: str) -> str:
    return f'<path {"".join(f"{each} " for each in attributes)}d="{path_data(stroke.points, closed=stroke.closed)}"/>'


def _width(stroke: Stroke) -> str:
    return f'stroke-width="{_number(stroke.width)}"'


def _strokes(strokes: Iterable[Stroke]) -> Iterator[str]:
    return (_path(stroke, f'class="{stroke.ink}"', _width(stroke)) for stroke in strokes)


def _grooves(strokes: Sequence[Stroke], key: str) -> Iterator[str]:
    """Yield pale bands as wide as the groove, beneath a fine line on the path of the tip."""
    yield '<g class="band">'
    yield from (f'<use href="#{key}-{number}" {_width(stroke)}/>' for number, stroke in enumerate(strokes, 1))
    yield f'</g><g class="cut" stroke-width="{_number(TIP_LINE_MM)}">'
    yield from (_path(stroke, f'id="{key}-{number}"') for number, stroke in enumerate(strokes, 1))
    yield "</g>"


def _figure(figure: Figure, key: str) -> Iterator[str]:
    yield f'<g id="{key}"><title>{_text(figure.title)}</title>'
    cut = [stroke for stroke in figure.strokes if stroke.ink == "cut"]
    yield from _strokes(stroke for stroke in figure.strokes if stroke.ink != "cut")
    yield from _grooves(cut, key) if has_band(figure) else _strokes(cut)
    yield "</g>"


def _layer(layer: Layer) -> Iterator[str]:
    yield f'<g id="{layer.name}">'
    yield f"<title>{_text(layer.title)}</title>"
    for number, figure in enumerate(layer.figures, 1):
        yield from _figure(figure, f"{layer.name}-cut-{number}")
    yield "</g>"


def _text_line(line: TextLine) -> str:
    place = f'x="{_number(line.x)}" y="{_number(-line.y)}" font-size="{_number(line.size)}" text-anchor="{line.anchor}"'
    return f'<text class="{line.manner}" {place}>{_text(line.text)}</text>'


def _lines(drawing: Drawing, width: str, height: str) -> Iterator[str]:
    box = " ".join(map(_number, (drawing.left, -drawing.top, drawing.width, drawing.height)))
    yield '<?xml version="1.0" encoding="UTF-8"?>'
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}" height="{height}" viewBox="{box}" '
        'role="img" aria-labelledby="sheet-title sheet-says">'
    )
    yield f'<title id="sheet-title">{_text(drawing.title)}</title>'
    yield f'<desc id="sheet-says">{_text(drawing.description)}</desc>'
    yield f"<style>{_STYLE}</style>"
    yield '<g id="sheet"><title>outline, centre and scale bar</title>'
    yield from _strokes(drawing.lines)
    yield "</g>"
    for layer in drawing.layers:
        yield from _layer(layer)
    yield '<g id="words" aria-label="words on the sheet">'
    yield from (_text_line(line) for line in drawing.words)
    yield "</g>"
    yield "</svg>"


def sized(drawing: Drawing, width: str, height: str) -> str:
    """Return the sheet as SVG text with the displayed ``width`` and ``height``, which are SVG lengths with their units."""
    return "\n".join(_lines(drawing, width, height)) + "\n"


def render(drawing: Drawing) -> bytes:
    """Return the sheet as an SVG file.

    Parameters
    ----------
    drawing : Drawing
        The sheet.

    Returns
    -------
    bytes
        Contents of the file, UTF-8; equal sheets give equal bytes.

    References
    ----------
    W3C, *Scalable Vector Graphics (SVG) 1.1 (Second Edition)*, chapters 7 and 8.

    Examples
    --------
    >>> from lobework.render.drawing import Drawing
    >>> sheet = Drawing(
    ...     title="Lid", description="", left=0, top=0, width=90, height=60, layers=(), lines=(), words=(), bar=50
    ... )
    >>> b'width="90.0000mm" height="60.0000mm" viewBox="0.0000 0.0000 90.0000 60.0000"' in render(sheet)
    True
    """
    return sized(drawing, f"{_number(drawing.width)}mm", f"{_number(drawing.height)}mm").encode()


TARGET: Final = Target(
    name="svg",
    file="drawing.svg",
    shows="drawing",
    description="the sheet in true millimetres, to print or engrave",
    render=render,
)
