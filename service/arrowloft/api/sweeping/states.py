"""Air, gravity and light arrows of many set-ups; what is said of one, `conditions` says."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from arrowloft.api.conditions import LIGHT_ARROW
from arrowloft.core.arrays import Real
from arrowloft.core.bow.arrow_check import ROUNDING
from arrowloft.core.setup.air import Air, air, beyond_cipm_range
from arrowloft.core.setup.equipment import LEAST_MASS_PER_DRAW_WEIGHT, Arrow, Bow
from arrowloft.core.setup.gravity import STANDARD, normal_gravity
from arrowloft.plugin import Note

_BEYOND = Note(
    "air-beyond-recommended-range",
    "The air of some set-ups is outside 15 to 27 degC or 600 to 1100 hPa, for which the density "
    "formula is recommended; it still holds to about one part in ten thousand.",
)


def air_of(asked: Mapping[str, Any], notes: list[Note]) -> Air:
    """The air of every set-up; noted where some is beyond the formula's range."""
    # The members' bounds leave nothing that the formulae refuse.
    state, _ = air(**asked.get("air", {}), altitude=asked.get("site", {}).get("altitude", 0.0))
    if beyond_cipm_range(state.temperature, state.pressure):
        notes.append(_BEYOND)
    return state


def gravity_of(asked: Mapping[str, Any]) -> Real:
    """Gravity at every site, m/s2; the standard one where no latitude is given."""
    site = asked.get("site", {})
    if "latitude" not in site:
        return STANDARD
    return normal_gravity(site["latitude"], site.get("altitude", 0.0))


def light_arrows(bow: Bow, arrow: Arrow, count: int) -> int:
    """How many of `count` set-ups have an arrow lighter than common practice allows."""
    if bow.draw_weight is None:
        return 0
    least = LEAST_MASS_PER_DRAW_WEIGHT * bow.draw_weight * (1.0 - ROUNDING)
    return int(np.count_nonzero(np.broadcast_to(arrow.mass < least, (count,))))


def light_note(light: int, setups: int) -> Note:
    """The caution, of arrows that may harm their bow."""
    return Note(
        LIGHT_ARROW,
        f"In {light} of {setups} set-ups the arrow is lighter than 5 grains per pound of draw "
        "weight, which by common practice may harm the bow and its archer: keep to the bow "
        "maker's least arrow mass.",
    )
