"""A boundary layer that turns from laminar to turbulent over a band of Reynolds numbers."""

from math import log
from typing import Final

import numpy as np
from scipy.special import ndtr

from arrowloft.plugin import Array, Arrow, Flow, Note

HALF_BAND: Final = 3.0
"""Standard deviations of the blend from the middle of the band to its ends."""

NEAR: Final = 0.25
"""Share by which the band's ends are widened for the note: they are published as "about"."""


def turbulent_share(reynolds: Array, low: float, high: float) -> Array:
    """Phi(3 s), s from -1 to 1 over the band [low, high] in ln Re: 0.13 % to 99.87 %.

    reynolds: above zero, on the shaft diameter as the band is.
    """
    slope = 2.0 * HALF_BAND / log(high / low)
    return np.asarray(ndtr(slope * (np.log(reynolds) - 0.5 * log(low * high))))


def undecided(
    flow: Flow, arrow: Arrow, low: float, high: float, consequence: str
) -> tuple[Note, ...]:
    """A note where any lane's flown Reynolds numbers lie in or near the band [low, high].

    consequence: what follows and what to do, the end of the sentence.
    """
    low, high = (1.0 - NEAR) * low, (1.0 + NEAR) * high
    reynolds = flow.reynolds(arrow.shaft_diameter)
    if np.max(reynolds) < low or np.min(reynolds) > high:
        return ()
    message = (
        f"The flight touches Reynolds numbers from {low:,.0f} to {high:,.0f}, in or near the band "
        f"where the boundary layer may be laminar or turbulent: {consequence}"
    )
    return (Note("boundary-layer-undecided", message),)
