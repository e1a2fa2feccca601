"""A boundary layer that turns from laminar to turbulent over a band of Reynolds numbers."""

from typing import Final

import numpy as np
from scipy.special import ndtr

from arrowloft.plugin import Array, Arrow, Flow, Note, Real
from arrowloft_models._lanes import log

HALF_BAND: Final = 3.0
"""Standard deviations of the blend from the middle of the band to its ends."""

NEAR: Final = 0.25
"""Share by which the band's ends are widened for the note: they are published as "about"."""


def turbulent_share(reynolds: Array, low: Real, high: Real) -> Array:
    """Phi(3 s), s from -1 to 1 over the band [low, high] in ln Re: 0.13 % to 99.87 %.

    reynolds: above zero, on the shaft diameter as the band is.  low, high: floats, or (lanes,).
    """
    slope = 2.0 * HALF_BAND / log(high / low)
    return np.asarray(ndtr(slope * (np.log(reynolds) - 0.5 * log(low * high))))


def undecided(
    flow: Flow, arrow: Arrow, low: Real, high: Real, consequence: str
) -> tuple[Note, ...]:
    """A note where any lane's flown Reynolds numbers lie in or near the band [low, high].

    flow.airspeed: least and greatest, (2,) or (2, lanes).  The note's band is that of all
    lanes together.  consequence: what follows and what to do, the end of the sentence.
    """
    low, high = (1.0 - NEAR) * low, (1.0 + NEAR) * high
    reynolds = flow.reynolds(arrow.shaft_diameter)
    touched = (np.max(reynolds, axis=0) >= low) & (np.min(reynolds, axis=0) <= high)
    if not np.any(touched):
        return ()
    least, greatest = np.min(low), np.max(high)
    message = (
        f"The flight touches Reynolds numbers from {least:,.0f} to {greatest:,.0f}, in or near the "
        f"band where the boundary layer may be laminar or turbulent: {consequence}"
    )
    return (Note("boundary-layer-undecided", message),)
