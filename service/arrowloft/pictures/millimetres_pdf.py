"""Writes a drawing as PDF, its page as large as the paper, its font embedded."""

import io
from typing import Any

from arrowloft.pictures.millimetres import FONT, INCH, Bars, Drawing, Line, Mark, Text, font

_POINT = 72 / INCH
"""Points to the millimetre."""


def as_pdf(drawing: Drawing) -> bytes:
    """The drawing as PDF; the same drawing gives the same bytes.

    Printers are told not to scale it (ISO 32000-1, 12.2: PrintScaling None).
    """
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfgen.canvas import Canvas

    pdfmetrics.registerFont(font())
    written = io.BytesIO()
    canvas = Canvas(
        written,
        pagesize=(drawing.width * _POINT, drawing.height * _POINT),
        invariant=1,
        pageCompression=1,
        initialFontName=FONT,
        lang="en",
    )
    canvas.setTitle(_unicode(drawing.title))
    canvas.setSubject(_unicode(drawing.description))
    for nothing in (canvas.setAuthor, canvas.setCreator, canvas.setProducer):
        nothing("")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for mark in drawing.marks:
        _draw(canvas, mark, drawing.height)
    canvas.showPage()
    canvas.save()
    return written.getvalue()


def _draw(canvas: Any, mark: Mark, height: float) -> None:
    if isinstance(mark, Line):
        _line(canvas, mark, height)
    elif isinstance(mark, Text):
        _text(canvas, mark, height)
    else:
        _bars(canvas, mark, height)


def _line(canvas: Any, mark: Line, height: float) -> None:
    canvas.setLineWidth(mark.width * _POINT)
    canvas.setStrokeGray(0.55 if mark.grey else 0.0)
    canvas.setDash([2 * _POINT, 1.2 * _POINT] if mark.dashed else [])
    x1, x2 = mark.x1 * _POINT, mark.x2 * _POINT
    canvas.line(x1, (height - mark.y1) * _POINT, x2, (height - mark.y2) * _POINT)


def _text(canvas: Any, mark: Text, height: float) -> None:
    write = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }
    canvas.setFont(FONT, mark.size * _POINT)
    write[mark.anchor](mark.x * _POINT, (height - mark.y) * _POINT, mark.text)


def _bars(canvas: Any, mark: Bars, height: float) -> None:
    path = canvas.beginPath()
    unit, left, top = mark.unit * _POINT, mark.left * _POINT, (height - mark.top) * _POINT
    for column, row, long in mark.bars:
        path.rect(left + column * unit, top - (row + 1) * unit, long * unit, unit)
    canvas.drawPath(path, stroke=0, fill=1)


def _unicode(text: str) -> str:
    """A text without halves of characters, which no encoding has."""
    return text.encode("utf-8", "replace").decode()
