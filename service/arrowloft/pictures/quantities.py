"""Figures and texts of a picture: in the reader's units, and in signs that can be drawn."""

from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from arrowloft import units
from arrowloft.pictures.frame import nice_step, text_width, wrapped
from arrowloft.pictures.outlines import FONT

_BOX = "\u25a1"
"""What stands for a sign that the pictures' font lacks."""


class Quantities:
    """SI in the reader's units."""

    def __init__(self, chosen: Mapping[str, str]) -> None:
        """chosen: unit of each dimension."""
        self.chosen = chosen

    def read(self, si: Any, dimension: str) -> Any:
        """Values in the reader's unit."""
        return units.from_si(np.asarray(si, dtype=float), dimension, self.chosen[dimension])

    def text(self, si: float, dimension: str) -> str:
        """One value and its unit, to three digits."""
        return f"{digits(float(self.read(si, dimension)))} {self.chosen[dimension]}"

    def span(self, low: float, high: float, dimension: str) -> str:
        """Two values and their unit; one where they read the same."""
        first, last = (digits(float(self.read(one, dimension))) for one in (low, high))
        whole = first if first == last else f"{first} to {last}"
        return f"{whole} {self.chosen[dimension]}"


def digits(value: float, count: int = 3) -> str:
    """To so many digits, or to one unit where that is more; no zero at the end, no -0."""
    rounded = float(f"{value:.{count}g}") + 0.0
    return f"{value:.0f}" if abs(value) >= 10.0**count else f"{rounded:.10g}"


def signed(value: float) -> str:
    """The same with its sign, which a zero has not."""
    text = digits(value)
    return f"+{text}" if value > 0.0 and text != "0" else text


def ticks(low: float, high: float, parts: float) -> list[float]:
    """Multiples of a nice step between two ends, `parts` of them or a few more."""
    step = nice_step(high - low, parts)
    first, last = int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9))
    return [step * count for count in range(first, last + 1)]


def padded(low: float, high: float, share: float) -> tuple[float, float]:
    """Two ends, moved apart by a share of what lies between them."""
    more = share * (high - low)
    return low - more, high + more


def at_least(low: float, high: float, span: float) -> tuple[float, float]:
    """Two ends, moved apart until they are a span apart, each as far as the other."""
    more = 0.5 * max(0.0, span - (high - low))
    return low - more, high + more


@lru_cache(maxsize=1)
def _known() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return frozenset(get_font(findfont(FontProperties(family=FONT))).get_charmap())


def drawable(text: str) -> str:
    """A caller's text with a box for every sign that the font lacks."""
    if text.isascii() and text.isprintable():  # it has these: no need to open it
        return text
    known = _known()
    return "".join(sign if ord(sign) in known else _BOX for sign in text)


def boxed(texts: Iterable[str]) -> list[str]:
    """What is said under a picture that cannot draw some of these texts."""
    if all(drawable(text) == text for text in texts):
        return []
    return ["Signs that the picture's font lacks are boxes; its description has them."]


def readable(text: str) -> str:
    """A caller's text for those who cannot see it, without what XML does not allow."""
    return "".join("\ufffd" if sign in "\ufffe\uffff" else sign for sign in text)


def folded(text: str, wide: float, measure: Callable[[str], float] = text_width) -> list[str]:
    """A caller's text in lines no wider than that; a longer word is broken.

    wide: in what `measure` tells of a text; inches, if it is not given.
    """
    lines: list[str] = []
    for line in wrapped(drawable(text), wide, measure) or [""]:
        while measure(line) > wide:
            size = max(1, int(len(line) * wide / measure(line)))
            while size > 1 and measure(line[:size]) > wide:
                size -= 1
            lines.append(line[:size])
            line = line[size:]
        lines.append(line)
    return lines
