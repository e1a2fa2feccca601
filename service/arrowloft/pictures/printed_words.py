"""What a printed sheet says, on it and to those who cannot see it."""

from arrowloft.core.sight.printed import PrintedSheet, Strip
from arrowloft.pictures import printed_card
from arrowloft.pictures.millimetres import boxes_in
from arrowloft.pictures.printed_strip import Numbers, shows_zero, span
from arrowloft.pictures.quantities import Quantities, digits, readable

PAPER = {"a4": "A4", "letter": "Letter"}

PRINT = "Print at 100 %, no fitting to the page; this ruler must measure 100 mm: 3.94 in."

SCAN = (
    "The code holds the request: send it to /v1/sight-scale, or take it up on the page (Menu, "
    "Take up a code)."
)

_BOTH_WAYS = (
    "Measure each strip as well, from its first tick to its last: a printer may stretch the two "
    "ways differently."
)

_NO_ROOM = "The request is too long for a code on this sheet."

_BOXES = "Signs that this sheet cannot show are boxes; its description has them."


def title(sheet: PrintedSheet) -> str:
    """As the caller gave it, or what the sheet is."""
    if sheet.title.strip():
        return sheet.title
    return "Sight scale" if len(sheet.strips) == 1 else "Sight scales"


def notes(sheet: PrintedSheet, *, coded: bool) -> list[str]:
    """What else stands under the sheet.  coded: whether the request's code stands on it."""
    found = [_BOTH_WAYS] if sheet.strips else []
    if any(shows_zero(strip) for strip in sheet.strips):
        found.append(
            "The small triangle on a strip points at travel 0, from which its marks count."
        )
    found += [
        f"On strip {place} not every number has room: one of {every} is written."
        for place, strip in enumerate(sheet.strips, 1)
        if (every := Numbers.of(strip).every) > 1
    ]
    if sheet.request is not None and not coded:
        found.append(_NO_ROOM)
    labels = [strip.label for strip in sheet.strips]
    if sheet.card is not None:
        labels.append(sheet.card.label)
    texts = (sheet.title, sheet.date, *labels, *sheet.said)
    return [*found, _BOXES] if any(map(boxes_in, texts)) else found


def described(sheet: PrintedSheet, figures: Quantities, said: list[str], *, coded: bool) -> str:
    """The sheet in words; said: what stands under it."""
    head = f"{title(sheet)}. {sheet.date}. " if sheet.date.strip() else f"{title(sheet)}. "
    parts = [f"{head}Sheet of {PAPER[sheet.paper]} paper at true size."]
    parts += [_strip(strip, place, figures) for place, strip in enumerate(sheet.strips, 1)]
    if sheet.card is not None:
        parts.append(printed_card.in_words(sheet.card, figures))
    if coded:
        parts.append(SCAN)
    return readable(" ".join([*parts, f"A ruler of 100 mm. {PRINT}", *said]))


def _strip(strip: Strip, place: int, figures: Quantities) -> str:
    """One scale: its ends, its way and its numbers with their places."""
    low, high = float(strip.distance.min()), float(strip.distance.max())
    way = "down" if strip.position[-1] >= strip.position[0] else "up"
    first = strip.position.min()
    numbers = ", ".join(
        f"{digits(float(figures.read(strip.distance[index], 'distance')), 4)} at "
        f"{1e3 * float(strip.position[index] - first):.2f}"
        for index in Numbers.of(strip).ticks
    )
    unit = figures.chosen["distance"]
    word = f", {strip.word}" if strip.word else ""
    return (
        f"Strip {place}, “{strip.label}”{word}: {strip.distance.size} ticks for "
        f"{figures.span(low, high, 'distance')}, farther {way}, {span(strip):.2f} mm from the "
        f"first to the last. Numbers, {unit} at mm below the upper end: {numbers}."
    )
