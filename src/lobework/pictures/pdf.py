"""PDF, in true size, by reportlab."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

from lobework.render.marks import TEXT_COLOURS, marks_of
from lobework.text.printable import one_line

if TYPE_CHECKING:
    from lobework.render.drawing import Drawing, TextLine
    from lobework.render.marks import Mark

__all__ = ["render"]

_POINTS_PER_MM: Final = 72 / 25.4
_FONTS: Final = {"title": "Times-Roman", "plain": "Times-Roman", "note": "Times-Italic"}
_WIDE_FONT: Final = "Vera"
"""A font with more letters, for text that the standard fonts do not have."""
_ROUND: Final = 1


def render(drawing: Drawing, scale: float = 1.0) -> bytes:
    """Return a drawing as a PDF page of the drawing's own size, times ``scale``; equal drawings give equal bytes.

    References
    ----------
    ISO 32000-1:2008, *Document management - Portable document format*, 8.4 and 8.5 (graphics state, paths).
    """
    from reportlab.pdfgen.canvas import Canvas

    per_mm = scale * _POINTS_PER_MM
    file = io.BytesIO()
    page = Canvas(file, pagesize=(drawing.width * per_mm, drawing.height * per_mm), invariant=1)
    page.setTitle(one_line(drawing.title))
    page.setSubject(one_line(drawing.description))
    page.scale(per_mm, per_mm)
    page.translate(-drawing.left, drawing.height - drawing.top)
    page.setLineCap(_ROUND)
    page.setLineJoin(_ROUND)
    for mark in marks_of(drawing):
        _stroke(page, mark)
    for line in drawing.words:
        _write(page, line)
    page.showPage()
    page.save()
    return file.getvalue()


def _stroke(page: Any, mark: Mark) -> None:
    page.setStrokeColor(mark.colour)
    page.setStrokeAlpha(mark.opacity)
    page.setLineWidth(mark.width)
    page.setDash(*([] if mark.dash is None else [list(mark.dash)]))
    path = page.beginPath()
    first, *rest = mark.points.round(4).tolist()
    path.moveTo(*first)
    for point in rest or [first]:
        path.lineTo(*point)
    if mark.closed:
        path.close()
    page.drawPath(path)


def _write(page: Any, line: TextLine) -> None:
    text = one_line(line.text)
    page.setFillColor(TEXT_COLOURS[line.manner])
    page.setFont(_font(text, line.manner), line.size)
    draw = {"start": page.drawString, "middle": page.drawCentredString, "end": page.drawRightString}[line.anchor]
    draw(line.x, line.y, text)


def _font(text: str, manner: str) -> str:
    """Return the name of a font for a text; a font with more letters if the standard fonts lack one."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        if _WIDE_FONT not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(_WIDE_FONT, "Vera.ttf"))
        return _WIDE_FONT
    return _FONTS[manner]
