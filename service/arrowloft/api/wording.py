"""Words for problems: what a caller wrote, repeated safely, and what they may have meant."""

import difflib
from collections.abc import Sequence

from arrowloft import units

_LONGEST_ECHO = 60


def shown(text: object) -> str:
    """A caller's text as it may be repeated to them: quoted, and cut where it is long."""
    plain = str(text).encode("ascii", "backslashreplace").decode()
    return f'"{plain}"' if len(plain) <= _LONGEST_ECHO else f'"{plain[:_LONGEST_ECHO]}..."'


def nearest(name: str, known: Sequence[str]) -> str:
    """A hint at the nearest known name, or the list of them where none is near."""
    if name and len(name) <= _LONGEST_ECHO:
        near = difflib.get_close_matches(name, known, 1)
        near += [item for item in known if item.startswith(name)]
        if near:
            return f"did you mean {shown(near[0])}?"
    return f"known here: {', '.join(known)}."


def sentence(text: str) -> str:
    """The text with a capital and a full stop, as every detail of a problem has them."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?")) else f"{text}."


def unit_of(text: str, dimension: str) -> str:
    """The unit that ends a text which `units.parse` has read."""
    return max((unit for unit in units.units_of(dimension) if text.endswith(unit)), key=len)


def written(si: float, dimension: str, unit: str) -> str:
    """An SI value as a caller writes it, with six significant digits."""
    return f"{units.from_si(si, dimension, unit):.6g} {unit}"
