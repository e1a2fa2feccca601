"""Lines of text as outlines: a picture needs no font where it is shown.

The library can write text so itself, but lays every letter out anew each time it stands in a
picture: that took half of the time. Here a word is laid out once in a process.
"""

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from html import unescape
from typing import TYPE_CHECKING, NamedTuple

from arrowloft.core.arrays import Array

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

FONT = "DejaVu Sans"
"""Comes with the library, so that every host draws the same."""

_TEXT = re.compile(r"<text ([^>]*)>([^<]*)</text>")
_STYLE = re.compile(r'style="([^"]*)"')
_SIZE = re.compile(r"font-size: ([\d.]+)px")
_BOLD = re.compile(r"font-weight: (?:bold|[6-9]00)")
_PAINT = re.compile(r"(?:fill|opacity): [^;]+")
_PLACE = re.compile(r'x="(\S+)" y="(\S+)"|translate\((\S+) (\S+)\)')
_TURN = re.compile(r"rotate\((-?[\d.]+)")
_ANCHOR = re.compile(r"text-anchor: (middle|end)")
_DASHES = re.compile("-(?=-)")  # two together may not stand in a comment
_BEFORE = {"middle": 0.5, "end": 1.0}
"""Share of a line's width that lies before its place."""

_JOINED = "\u0300"
"""From this sign on, letters may join, turn round or stand over others."""

_FINE = 64.0
"""Steps of the outlines' coordinates to a unit of the library's layout."""

_CURVES = {1: ("M", 1), 2: ("L", 1), 3: ("Q", 2), 4: ("C", 3), 79: ("z", 1)}
_CLOSE = 79
"""The library's code of a piece of an outline -> its letter in SVG, and its points."""


_Letter = tuple[str, float, float]


class _Word(NamedTuple):
    """letters: name and place of each, in the units of the library's layout, as is the width.

    outlines: of each name.
    """

    letters: tuple[_Letter, ...]
    width: float
    outlines: dict[str, str]


def outlined(picture: str) -> str:
    """A picture as SVG with outlines for its text, and each line of it as a comment beside them.

    picture: with text as text, as the library writes it, and with a `<defs>`.
    """
    used: dict[str, str] = {}
    body = _TEXT.sub(lambda found: _line(found[1], found[2], used), picture)
    letters = "".join(
        f'  <path id="{name}" d="{outline}" transform="scale({1 / _FINE:g})"/>\n'
        for name, outline in used.items()
    )
    start = body.index("<defs>") + len("<defs>\n")
    return f"{body[:start]}{letters}{body[start:]}"


def _line(attributes: str, written: str, used: dict[str, str]) -> str:
    """One line of text; adds to `used` what it needs of outlines."""
    from matplotlib.textpath import text_to_path

    style, place = _STYLE.findall(attributes)[0], _PLACE.findall(attributes)[0]
    size = float(_SIZE.findall(style)[0])
    words = _words(unescape(written), _BOLD.search(style) is not None)
    for word in words:
        used.update(word.outlines)
    width = sum(word.width for word in words)
    before = sum(_BEFORE[name] for name in _ANCHOR.findall(style)) * width
    scale = size / text_to_path.FONT_SCALE
    turn = "".join(f" rotate({angle})" for angle in _TURN.findall(attributes) if float(angle))
    paint = "; ".join(_PAINT.findall(style))
    at = " ".join(part for part in place if part)
    return (
        f"<!-- {_DASHES.sub('- ', written)} -->\n"
        f'    <g style="{paint}" '
        f'transform="translate({at}){turn} scale({scale:.6g} {-scale:.6g})">\n'
        f"{_uses(words, -before)}    </g>"
    )


def _uses(words: Sequence[_Word], at: float) -> str:
    """The words side by side.  at: where the first starts."""
    found = []
    for word in words:
        for name, x, y in word.letters:
            up = f' y="{y:.6g}"' if y else ""
            found.append(f'     <use xlink:href="#{name}" x="{at + x:.6g}"{up}/>\n')
        at += word.width
    return "".join(found)


def _words(text: str, bold: bool) -> list[_Word]:
    """A line in parts that do not change each other's letters."""
    if max(text) >= _JOINED:
        return [_joined(text, bold)]
    return [_plain(part, bold) for part in re.findall(" +|[^ ]+", text)]


@lru_cache(maxsize=4096)
def _plain(word: str, bold: bool) -> _Word:
    """A word of letters side by side, or spaces."""
    # The space after it tells where it ends: no letter is kerned with a space.
    letters, outlines = _laid_out(f"{word} ", bold)
    _, width, _ = letters.pop()
    return _Word(_inked(letters, outlines), width, outlines)


def _joined(line: str, bold: bool) -> _Word:
    """A line in which the letters may stand anywhere."""
    from matplotlib.textpath import text_to_path

    letters, outlines = _laid_out(line, bold)
    font = _named(bold)
    width, _, _ = text_to_path.get_text_width_height_descent(line, font, ismath=False)
    return _Word(_inked(letters, outlines), width, outlines)


def _laid_out(text: str, bold: bool) -> tuple[list[_Letter], dict[str, str]]:
    """Each letter and its place, and the outlines."""
    from matplotlib.font_manager import findfont, get_font
    from matplotlib.textpath import text_to_path

    font = get_font(findfont(_named(bold)))
    font.set_size(text_to_path.FONT_SCALE, text_to_path.DPI)
    letters, outlines, _ = text_to_path.get_glyphs_with_font(font, text)
    inked = {name: _path(*outline) for name, outline in outlines.items() if len(outline[1])}
    return [(name, float(x), float(y)) for name, x, y, _ in letters], inked


def _inked(letters: Sequence[_Letter], outlines: Mapping[str, str]) -> tuple[_Letter, ...]:
    """Those letters that are more than room."""
    return tuple(letter for letter in letters if letter[0] in outlines)


def _path(vertices: Array, codes: Array) -> str:
    """An outline as SVG writes it."""
    numbers = iter((vertices * _FINE).round().astype(int).tolist())
    said, after = list[str](), iter(codes.tolist())
    for code in after:
        letter, points = _CURVES[code]
        places = [next(numbers) for _ in range(points)]
        for _ in range(points - 1):
            next(after)
        said.append(letter if code == _CLOSE else letter + " ".join(f"{x} {y}" for x, y in places))
    return "".join(said)


def face(size: float, bold: bool) -> "FontProperties":
    """The pictures' letters, whatever this host's settings are.  size: points."""
    from matplotlib.font_manager import FontProperties

    weight = "bold" if bold else "normal"
    return FontProperties(
        family=FONT, size=size, weight=weight, style="normal", variant="normal", stretch="normal"
    )


@lru_cache(maxsize=2)
def _named(bold: bool) -> "FontProperties":
    """As large as the library lays letters out."""
    from matplotlib.textpath import text_to_path

    return face(text_to_path.FONT_SCALE, bold)
