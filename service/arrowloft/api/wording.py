"""Words for problems: what a caller wrote, repeated safely, and what they may have meant."""

import difflib
import re
from collections.abc import Sequence

from arrowloft import units

_LONGEST_ECHO = 60
_ALIKE = 0.7
"""Likeness from which a name is taken for a slip: distances is no slip for obstacles."""
_AFTER_NUMBER = re.compile(r"-?[0-9.]+(?:[eE][+-]?[0-9]+)? *\W*([^\W\d_].*)")


def shown(text: object) -> str:
    """A caller's text as it may be repeated to them: quoted, and cut where it is long."""
    plain = str(text).encode("ascii", "backslashreplace").decode()
    return f'"{plain}"' if len(plain) <= _LONGEST_ECHO else f'"{plain[:_LONGEST_ECHO]}..."'


def nearest(name: str, known: Sequence[str]) -> str:
    """A hint at the nearest known name, or the list of them where none is near."""
    near = _near(name, known)
    return f"did you mean {shown(near)}?" if near else f"known here: {', '.join(known)}."


def _near(name: str, known: Sequence[str]) -> str | None:
    """The known name that looks most like this one, begins with it, or ends with it."""
    if not name or len(name) > _LONGEST_ECHO:
        return None
    near = difflib.get_close_matches(name, known, 1, _ALIKE)
    near += [item for item in known if item.startswith(name)]
    near += [item for item in known if item.endswith(name)]
    return near[0] if near else None


def unit_fault(text: str, dimension: str, fault: str) -> str:
    """What `units.parse` said of a text, with the unit that its writer may have meant.

    A unit may be cut short (C for degC) or be written out (grain for gr).
    """
    found = _AFTER_NUMBER.fullmatch(text[:_LONGEST_ECHO])
    known = units.units_of(dimension)
    if found is None or found[1] in known:
        return sentence(fault)
    folded = {unit.casefold(): unit for unit in reversed(known)}
    name = found[1].casefold()
    begun = [unit for unit in folded if len(unit) > 1 and name.startswith(unit)]
    near = _near(name, tuple(folded)) or max(begun, key=len, default=None)
    if near is None:
        return sentence(fault)
    # The example's unit may be another.
    return sentence(f"{fault.partition(', for example')[0]}; did you mean {shown(folded[near])}?")


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
