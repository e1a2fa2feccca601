"""What pictures share: one look, the same bytes every time, labels that do not overlap.

The plotting library is imported where it is used: the service's start does not wait for it.
"""

import io
import math
import operator
import re
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

from arrowloft.pictures.outlines import FONT, face, outlined

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

TEXT = 8.5
"""Size of labels, points."""

_ROW, _GAP = 0.19, 0.12
"""Height of a row of labels, and room between two of them, inches."""

Form = Literal["svg", "pdf"]
"""What a picture is written as."""

INK, PAPER, FAINT = "#1b1b1b", "#ffffff", "#c9c9c4"

_LOOK: dict[str, Any] = {
    "font.family": FONT,
    "font.size": TEXT,
    "axes.linewidth": 0.6,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.unicode_minus": False,
    "axes.formatter.useoffset": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": TEXT,
    "ytick.labelsize": TEXT,
    "hatch.linewidth": 0.5,
    # Every point of the data is drawn where it is.
    "path.simplify": False,
    # Made outlines afterwards, see `outlines`.
    "svg.fonttype": "none",
    "text.parse_math": False,
    "svg.hashsalt": "arrowloft",
    # Embedded as drawings with their letters' codes, which can be searched and copied: to
    # embed a part of the TrueType font takes 0.3 s more.
    "pdf.fonttype": 3,
}

_ASCII = "".join(map(chr, range(33, 127)))

_IN_POINTS = re.compile(r'"([\d.]+)pt"')

# The look is set for the whole process while a picture is made: one at a time.
_drawing = threading.Lock()


def drawn(
    name: str,
    size: tuple[float, float],
    draw: Callable[["Figure"], None],
    title: str,
    description: str,
    form: Form,
) -> bytes:
    """One picture, as SVG 1.1 in UTF-8 or as PDF; the same arguments give the same bytes.

    name: begins the ids of its title and description.  size: width and height, inches.
    draw: fills the figure.  title, description: read out where it cannot be seen; in a PDF
    they are its title and subject.
    """
    import matplotlib
    from matplotlib.figure import Figure

    with _drawing, matplotlib.rc_context():
        matplotlib.rcdefaults()  # not what a file on this host may say
        look: Any = matplotlib.rcParams
        look.update(_LOOK)
        figure = Figure(figsize=size, facecolor=PAPER)
        draw(figure)
        if form == "pdf":
            return _as_pdf(figure, title, description)
        svg = outlined(_as_svg(figure))
        return _titled(svg, name, title, description).encode()


def prepare() -> None:
    """Import what draws, and draw a little: a process's first picture takes long without."""

    def draw(figure: "Figure") -> None:
        from arrowloft.pictures.writing import write

        axes = figure.add_axes((0.2, 0.2, 0.6, 0.6))
        axes.plot([0.0, 1.0], [0.0, 1.0], marker="o")
        axes.fill([0.0, 1.0, 1.0], [0.0, 0.0, 1.0], hatch="//")
        write(axes, (0.0, 0.0), _ASCII)

    forms: tuple[Form, ...] = ("svg", "pdf")
    for form in forms:
        drawn("first", (1.0, 1.0), draw, "", "", form)


def _as_svg(figure: "Figure") -> str:
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    written = io.StringIO()
    canvas: Any = FigureCanvasSVG(figure)
    canvas.print_svg(written, metadata=dict.fromkeys(("Date", "Creator", "Format", "Type")))
    return written.getvalue()


def _as_pdf(figure: "Figure", title: str, description: str) -> bytes:
    from matplotlib.backends.backend_pdf import FigureCanvasPdf

    written = io.BytesIO()
    said = {"Title": title, "Subject": description}
    nothing = dict.fromkeys(("Creator", "Producer", "CreationDate"))
    canvas: Any = FigureCanvasPdf(figure)
    canvas.print_pdf(written, metadata=said | nothing)
    return written.getvalue()


def _titled(text: str, name: str, title: str, description: str) -> str:
    """The picture with what a screen reader says of it, as the first children of its root."""
    start = text.index("<svg ")
    end = text.index(">", start)
    said = (
        f' role="img" aria-labelledby="{name}-title {name}-description">\n'
        f' <title id="{name}-title">{escape(title)}</title>\n'
        f' <desc id="{name}-description">{escape(description)}</desc>'
    )
    # Not every reader of SVG knows points: 96 units to the inch, as everywhere on the web.
    root = _IN_POINTS.sub(lambda size: f'"{float(size[1]) * 96 / 72:.6g}"', text[start:end])
    # Without the document type: it names an outside file that no reader needs.
    return f'<?xml version="1.0" encoding="utf-8"?>\n{root}{said}{text[end + 1 :]}'


def text_width(text: str) -> float:
    """How wide a label is drawn, inches: its letters side by side, without their kerning."""
    return sum(map(_advance, text))


@lru_cache(maxsize=1024)
def _advance(letter: str) -> float:
    """How wide one letter is drawn, inches."""
    from matplotlib.textpath import text_to_path

    font = face(TEXT, bold=False)
    width, _, _ = text_to_path.get_text_width_height_descent(letter, font, ismath=False)
    return float(width) / 72.0


def wrapped(text: str, wide: float, measure: Callable[[str], float] = text_width) -> list[str]:
    """A text in lines no wider than that, broken between words.

    wide: in what `measure` tells of a text; inches, if it is not given.
    """
    space = measure("a a") - measure("aa")
    lines: list[str] = []
    end = wide
    for word in text.split():
        width = measure(word)
        if lines and end + space + width <= wide:
            lines[-1] += f" {word}"
            end += space + width
        else:
            lines.append(word)
            end = width
    return lines


def nice_step(span: float, parts: float) -> float:
    """The greatest of 1, 2 and 5 times a power of ten that divides a span into `parts` or more."""
    wanted = span / parts
    ten = 10.0 ** math.floor(math.log10(wanted))
    return max(step * ten for step in (1.0, 2.0, 5.0) if step * ten <= wanted * (1 + 1e-9))


@dataclass(frozen=True)
class Label:
    """A line of text with its left end at x, and a leader that starts at the point (x, y).

    line: colour, dashes and width of the leader.
    """

    x: float
    y: float
    text: str
    line: Mapping[str, Any]


def staircase(starts: Sequence[float], widths: Sequence[float]) -> list[int]:
    """Row of each label, 0 nearest, so that no text covers another or another's leader.

    starts: left ends.  widths: in the same units.  Every leader stands at its label's left
    end and goes out to its row: a label whose text reaches the next leader goes farther out.
    """
    order = sorted(range(len(starts)), key=lambda index: (starts[index], index), reverse=True)
    rows = [0] * len(starts)
    for place, index in enumerate(order):
        end = starts[index] + widths[index]
        rows[index] = max((rows[o] + 1 for o in order[:place] if starts[o] < end), default=0)
    return rows


class Strip:
    """Labels beside a panel's edge, each with a leader to what it names."""

    def __init__(self, labels: Sequence[Label], inches: float) -> None:
        """Find each label's row.  inches: of the sheet to one unit of the panel."""
        self.labels, self.inches = labels, inches
        self.widths = [text_width(one.text) + _GAP for one in labels]
        starts = [one.x * inches for one in labels]
        self.rows = staircase(starts, self.widths)
        self.right = max(map(operator.add, starts, self.widths), default=0.0)
        """Where its last text ends, inches from where x is 0."""

    @property
    def height(self) -> float:
        """How much room it takes, inches."""
        return _ROW * (1.6 + max(self.rows, default=-1))

    def draw(self, axes: "Axes", edge: float, outward: float) -> None:
        """Draw it from an edge of the panel on; outward: +1 or -1, the way y goes there."""
        from arrowloft.pictures.writing import MIDDLE, write

        for label, row in zip(self.labels, self.rows, strict=True):
            end = edge + outward * (row + 0.8) * _ROW / self.inches
            axes.plot([label.x] * 2, [label.y, end], clip_on=False, zorder=4, **label.line)
            place = (label.x + 0.05 / self.inches, end)
            write(axes, place, label.text, color=label.line["color"], rise=MIDDLE)
