"""A picture read back: texts where they stand, and points of elements in the data's units."""

import re
import xml.etree.ElementTree as ET
from html import unescape
from typing import Any

import numpy as np

from arrowloft.pictures.frame import text_width

Points = np.ndarray[Any, Any]
SVG = "{http://www.w3.org/2000/svg}"
XLINK = "{http://www.w3.org/1999/xlink}href"

_TEXT = re.compile(r"<!-- (.*?) -->\s*<g [^>]*?transform=\"translate\((\S+) (\S+)\)", re.DOTALL)


class Pictured:
    """A picture as SVG."""

    def __init__(self, picture: bytes) -> None:
        self.root = ET.fromstring(picture)
        self.raw = picture.decode()
        self.size = tuple(float(part) for part in self.root.get("viewBox", "").split()[2:])

    @property
    def description(self) -> str:
        """What is read out."""
        return self.root[1].text or ""

    def placed(self) -> list[tuple[str, float, float]]:
        """Every line of text, and where it begins, points from the sheet's upper left."""
        return [(unescape(t), float(x), float(y)) for t, x, y in _TEXT.findall(self.raw)]

    @property
    def words(self) -> str:
        """All lines of text."""
        return " ".join(text for text, _, _ in self.placed())

    def names(self) -> set[str]:
        """Ids of the elements."""
        return {str(one.get("id")) for one in self.root.iter(f"{SVG}g")}

    def group(self, name: str) -> ET.Element:
        """The element of that id."""
        [found] = [one for one in self.root.iter(f"{SVG}g") if one.get("id") == name]
        return found

    def paths(self, name: str) -> list[Points]:
        """Points of each path of an element, on the sheet."""
        found = []
        for one in self.group(name).iter(f"{SVG}path"):
            numbers = re.findall(r"[ML] (-?[\d.e-]+) (-?[\d.e-]+)", one.get("d", ""))
            found.append(np.array(numbers, dtype=float))
        return found

    def sheet(self, name: str) -> Points:
        """Points of an element's first path."""
        return self.paths(name)[0]

    def marks(self, name: str) -> Points:
        """Places of an element's marks, on the sheet."""
        uses = [(u.get("x"), u.get("y")) for u in self.group(name).iter(f"{SVG}use")]
        return np.array(uses, dtype=float)

    def style(self, name: str, of: str) -> str | None:
        """A property of the style of an element's first path."""
        path = self.group(name).find(f"{SVG}path")
        assert path is not None
        found = re.search(rf"(?:^|[ ;]){of}: ([^;]+)", path.get("style", ""))
        return found and found[1]

    def check_sound(self) -> None:
        """It has all it needs, nothing from outside, and its text stays on the sheet."""
        width, height = self.size
        for one in self.root.iter():
            assert (one.get(XLINK) or "#").startswith("#")
            assert one.tag != f"{SVG}script" and one.tag != f"{SVG}image"
        outside = set(re.findall(r"https?://[^\"]+", re.sub(r"<desc.*?</desc>", "", self.raw)))
        assert outside == {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
        assert self.placed()
        for text, x, y in self.placed():
            assert x >= 0 and 0 < y < height
            # Axes' names stand upright: where they begin is all that is told of them.
            assert x + 72 * text_width(text) <= width + 1 or x < 40


class Scale:
    """From the sheet to the data of a panel, by two known places."""

    def __init__(self, sheet: Points, data: Points) -> None:
        """sheet, data: (2, 2), two places that differ both across and up."""
        self.origin, self.zero = sheet[0], data[0]
        self.factor = (data[1] - data[0]) / (sheet[1] - sheet[0])

    def __call__(self, points: Points) -> Points:
        """Points in the data's units."""
        found: Points = self.zero + (points - self.origin) * self.factor
        return found
