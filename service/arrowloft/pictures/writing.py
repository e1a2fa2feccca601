"""A line of text as something that is drawn; imported with the plotting library only.

The library's own texts measure themselves before they are drawn, letter by letter. Here the
place of the line's baseline is told, and how wide it is where that matters.
"""

from typing import TYPE_CHECKING, Any

from matplotlib.artist import Artist
from matplotlib.colors import to_rgba

from arrowloft.pictures.frame import INK, TEXT, text_width
from arrowloft.pictures.outlines import face

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backend_bases import RendererBase
    from matplotlib.figure import Figure

ASCENT, DESCENT = 0.76 * TEXT, 0.208 * TEXT
"""Points that the letters reach over their baseline, and below it."""

MIDDLE = -0.5 * ASCENT
"""Rise of a line whose letters stand with their middle at its place, points."""

_FONTS = {(size, bold): face(size, bold) for size in (TEXT, 13.0) for bold in (False, True)}


class LineOfText(Artist):
    """One line of text in letters of one size."""

    def __init__(
        self,
        place: tuple[float, float],
        text: str,
        *,
        rise: float = 0.0,
        aside: float = 0.0,
        before: float = 0.0,
        upward: bool = False,
        color: str = INK,
        bold: bool = False,
        size: float = TEXT,
        **properties: Any,
    ) -> None:
        """place: in the coordinates of `transform`, one of the artist's properties.

        rise, aside: from there to the baseline, points up and to the right on the sheet.
        before: share of the line's width that lies before its place; of letters of the size
        TEXT.  upward: it is read from below to above.
        """
        super().__init__()
        self.place, self.text, self.shift = place, text, (aside, rise)
        self.before, self.upward, self.color = before, upward, to_rgba(color)
        self.font = _FONTS[size, bold]
        self.set_zorder(3)
        self.set_clip_on(False)
        self.set(**properties)

    def draw(self, renderer: "RendererBase") -> None:
        """Draw it: the library calls this."""
        if not self.text:
            return
        x, y = self.get_transform().transform(self.place)
        x, y = (a + renderer.points_to_pixels(b) for a, b in zip((x, y), self.shift, strict=True))
        back = self.before and renderer.points_to_pixels(72.0 * self.before * text_width(self.text))
        x, y = (x, y - back) if self.upward else (x - back, y)
        if renderer.flipy():
            y = renderer.get_canvas_width_height()[1] - y
        paint = renderer.new_gc()
        paint.set_foreground(self.color, isRGBA=True)
        renderer.open_group("text", self.get_gid())
        renderer.draw_text(paint, x, y, self.text, self.font, 90.0 if self.upward else 0.0)
        renderer.close_group("text")
        paint.restore()


def write(on: "Axes | Figure", place: tuple[float, float], text: str, **how: Any) -> None:
    """Add a line of text.  how: see LineOfText; its place is in data, or a share of the sheet."""
    on.add_artist(LineOfText(place, text, **how))
