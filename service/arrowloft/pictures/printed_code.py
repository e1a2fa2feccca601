"""The QR code of a printed sheet (ISO/IEC 18004): black squares, merged along each row."""

from dataclasses import dataclass
from itertools import groupby

from arrowloft.pictures.millimetres import INCH, Bars

QUIET = 4
"""Modules that stay white on each side, as the standard asks."""

_DOT = INCH / 300
"""The dot of a printer, mm: modules of whole dots are printed alike."""

_DOTS = (7, 6, 5, 4)
"""Sizes of a module, dots; the smallest is 0.339 mm."""

_COMFORTABLE = 50.0
"""Side up to which larger modules are taken, mm."""


@dataclass(frozen=True)
class Code:
    """Rows of modules, True where dark, without the quiet zone; and a module's size, mm."""

    rows: tuple[tuple[bool, ...], ...]
    module: float

    @property
    def side(self) -> float:
        """Of the square that it takes with its quiet zone, mm."""
        return self.module * (len(self.rows) + 2 * QUIET)

    def drawn(self, left: float, top: float) -> Bars:
        """The code, its quiet zone's upper left corner at (left, top), mm."""
        bars, quiet = [], QUIET * self.module
        for number, row in enumerate(self.rows):
            column = 0
            for dark, run in groupby(row):
                long = len(list(run))
                if dark:
                    bars.append((column, number, long))
                column += long
        return Bars(
            left=left + quiet, top=top + quiet, unit=self.module, bars=tuple(bars), name="code"
        )


def codes(text: str) -> list[Code]:
    """The code of a text in the forms that it may be printed in, the best first.

    Byte mode, UTF-8. Error correction level M, up to 2,331 bytes, which reads with a crease
    or a stain; then level L, up to 2,953 bytes, which is smaller. Empty where the text is
    too long for a code.
    """
    return [*_at_level(text, "m"), *_at_level(text, "l")]


def _at_level(text: str, level: str) -> list[Code]:
    """The code with one level of error correction in its sizes, the best first."""
    import segno

    try:
        made = segno.make(
            text, error=level, mode="byte", encoding="utf-8", micro=False, boost_error=False
        )
    except segno.DataOverflowError:
        return []
    rows = tuple(tuple(bool(module) for module in row) for row in made.matrix)
    sizes = [Code(rows, dots * _DOT) for dots in _DOTS]
    return [one for one in sizes if one.side <= _COMFORTABLE or one is sizes[-1]]
