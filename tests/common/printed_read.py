"""A printed sheet read back from its file: lines, texts and squares, in millimetres."""

import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pdfplumber

_SVG = "{http://www.w3.org/2000/svg}"
_MM = 25.4 / 72


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    width: float
    black: bool
    dashed: bool
    name: str = ""

    @property
    def box(self) -> tuple[float, float, float, float]:
        return (
            min(self.x1, self.x2),
            min(self.y1, self.y2),
            max(self.x1, self.x2),
            max(self.y1, self.y2),
        )

    def close(self, other: "Line", within: float) -> bool:
        """Whether it is the same line, whichever end comes first."""
        apart = zip((*self.box, self.width), (*other.box, other.width), strict=True)
        same = (self.black, self.dashed) == (other.black, other.dashed)
        return same and all(abs(one - two) <= within for one, two in apart)


@dataclass(frozen=True)
class Text:
    """left, right: of the letters.  y: the line that they stand on."""

    left: float
    right: float
    y: float
    size: float
    text: str
    name: str = ""

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, upper, right and lower edge of the letters; figures have nothing below."""
        below = 0.0 if re.fullmatch(r"[\d.]*", self.text) else 0.22 * self.size
        return (self.left, self.y - 0.73 * self.size, self.right, self.y + below)


Square = tuple[float, float, float, float]
"""Left, upper, right and lower edge."""


def meet(one: Square, two: Square) -> bool:
    """Whether two boxes have room in common."""
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


@dataclass(frozen=True)
class Read:
    """What stands on the sheet, in the order in which it is drawn."""

    width: float
    height: float
    lines: list[Line]
    texts: list[Text]
    squares: list[Square]

    def line(self, name: str) -> Line:
        [found] = [line for line in self.lines if line.name == name]
        return found

    def named(self, begin: str) -> list[Any]:
        """Lines and texts whose name begins so."""
        return [one for one in (*self.lines, *self.texts) if one.name.startswith(begin)]

    def words(self, begin: str = "") -> str:
        return " ".join(one.text for one in self.texts if one.name.startswith(begin))

    def frame(self, name: str) -> Square:
        """Of the cut lines of that name."""
        left, right = self.line(f"{name}-left"), self.line(f"{name}-right")
        return (left.x1, left.box[1], right.x1, right.box[3])

    def code(self) -> Square:
        """The dark square of the code."""
        edges = list(zip(*self.squares, strict=True))
        return (min(edges[0]), min(edges[1]), max(edges[2]), max(edges[3]))

    def modules(self, count: int) -> list[list[int]]:
        """Modules of the code, 1 where dark: what stands at each one's middle."""
        left, top, right, _ = self.code()
        size = (right - left) / count
        found = [[0] * count for _ in range(count)]
        for x1, y1, x2, y2 in self.squares:
            assert abs(y2 - y1 - size) < 1e-4
            for column in range(round((x1 - left) / size), round((x2 - left) / size)):
                found[round((y1 - top) / size)][column] += 1
        return found


def read_svg(picture: bytes) -> Read:
    root = ET.fromstring(picture)
    width, height = (float(size) for size in root.get("viewBox", "").split()[2:])
    assert root.get("viewBox", "").startswith("0 0 ")
    assert (root.get("width"), root.get("height")) == (f"{width:.6g}mm", f"{height:.6g}mm")
    lines = [_line(one) for one in root.iter(f"{_SVG}line")]
    texts = [_text(one) for one in root.iter(f"{_SVG}text")]
    squares = [bar for one in root.iter(f"{_SVG}path") for bar in _bars(one)]
    return Read(width, height, lines, texts, squares)


def _line(one: ET.Element) -> Line:
    x1, y1, x2, y2, width = (
        float(one.get(name, "")) for name in ("x1", "y1", "x2", "y2", "stroke-width")
    )
    black = one.get("stroke") == "#000000"
    return Line(
        x1, y1, x2, y2, width, black, one.get("stroke-dasharray") is not None, one.get("id", "")
    )


def _text(one: ET.Element) -> Text:
    x, y, size, wide = (float(one.get(name, "")) for name in ("x", "y", "font-size", "textLength"))
    left = x - wide * {"start": 0.0, "middle": 0.5, "end": 1.0}[one.get("text-anchor", "start")]
    return Text(left, left + wide, y, size, one.text or "", one.get("id", ""))


def _bars(one: ET.Element) -> Iterator[Square]:
    place = re.fullmatch(r"translate\((\S+) (\S+)\) scale\((\S+)\)", one.get("transform", ""))
    assert place
    left, top, unit = (float(number) for number in place.groups())
    path = one.get("d", "")
    bars = re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", path)
    assert path == "".join(f"M{x} {y}h{long}v1h-{back}z" for x, y, long, back in bars)
    for x, y, long, back in bars:
        assert long == back
        x1, y1 = left + unit * int(x), top + unit * int(y)
        yield (x1, y1, x1 + unit * int(long), y1 + unit)


def read_pdf(picture: bytes) -> Read:
    """The PDF; its lines and texts have no names."""
    with pdfplumber.open(io.BytesIO(picture)) as document:
        [page] = document.pages
        lines = [
            Line(
                *(_MM * float(one[side]) for side in ("x0", "top", "x1", "bottom")),
                _MM * one["linewidth"],
                one["stroking_color"] in ((0,), (0.0,), 0),
                bool(one["dash"] and one["dash"][0]),
            )
            for one in page.lines
        ]
        squares = [
            tuple(_MM * float(one[side]) for side in ("x0", "top", "x1", "bottom"))
            for one in page.rects
        ]
        texts = [
            Text(
                _MM * one["x0"],
                _MM * one["x1"],
                _MM * (float(page.height) - one["matrix"][5]),
                _MM * one["size"],
                one["text"],
            )
            for one in page.chars
        ]
        return Read(_MM * float(page.width), _MM * float(page.height), lines, texts, squares)
