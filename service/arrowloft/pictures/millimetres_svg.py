"""Writes a drawing as SVG whose user units are millimetres.

How a mark looks stands in attributes: the page that shows it may forbid styles of its own.
"""

import re
import xml.etree.ElementTree as ET

from arrowloft.pictures.millimetres import Bars, Drawing, Line, Mark, Text, text_width

_NO_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 does not allow (production 2, Char)."""

_BLACK, _GREY = "#000000", "#8c8c8c"


def as_svg(drawing: Drawing) -> bytes:
    """The drawing as SVG 1.1 in UTF-8; the same drawing gives the same bytes."""
    wide, tall = _number(drawing.width), _number(drawing.height)
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{wide}mm",
            "height": f"{tall}mm",
            "viewBox": f"0 0 {wide} {tall}",
            "lang": "en",
            "role": "img",
            "aria-labelledby": "sheet-title sheet-description",
            "font-family": "DejaVu Sans, Verdana, sans-serif",
            "fill": _BLACK,
        },
    )
    _child(root, "title", {"id": "sheet-title"}, drawing.title)
    _child(root, "desc", {"id": "sheet-description"}, drawing.description)
    paper = {"id": "paper", "width": wide, "height": tall, "fill": "#ffffff"}
    _child(root, "rect", paper)
    for mark in drawing.marks:
        _write(root, mark)
    ET.indent(root, " ")
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written


def _write(root: ET.Element, mark: Mark) -> None:
    named = {"id": mark.name} if mark.name else {}
    if isinstance(mark, Line):
        _child(root, "line", named | _line(mark))
    elif isinstance(mark, Text):
        _child(root, "text", named | _text(mark), mark.text)
    else:
        _child(root, "path", named | _bars(mark))


def _line(mark: Line) -> dict[str, str]:
    ends = {name: _number(getattr(mark, name)) for name in ("x1", "y1", "x2", "y2")}
    look = {
        "stroke": _GREY if mark.grey else _BLACK,
        "stroke-width": _number(mark.width),
    }
    return ends | look | ({"stroke-dasharray": "2 1.2"} if mark.dashed else {})


def _text(mark: Text) -> dict[str, str]:
    place = {"x": _number(mark.x), "y": _number(mark.y), "font-size": _number(mark.size)}
    anchor = {} if mark.anchor == "start" else {"text-anchor": mark.anchor}
    # Where the font is missing, another one must not need more room.
    room = {
        "textLength": _number(text_width(mark.text, mark.size)),
        "lengthAdjust": "spacingAndGlyphs",
    }
    return place | anchor | room


def _bars(mark: Bars) -> dict[str, str]:
    place = f"translate({_number(mark.left)} {_number(mark.top)}) scale({mark.unit:.7g})"
    path = "".join(f"M{column} {row}h{long}v1h-{long}z" for column, row, long in mark.bars)
    return {"transform": place, "d": path, "shape-rendering": "crispEdges"}


def _child(root: ET.Element, tag: str, attributes: dict[str, str], text: str = "") -> None:
    child = ET.SubElement(root, tag, attributes)
    if text:
        child.text = _NO_XML.sub("\ufffd", text)


def _number(value: float) -> str:
    """To a tenth of a micrometre, without zeros at the end."""
    return f"{value:.4f}".rstrip("0").rstrip(".")
