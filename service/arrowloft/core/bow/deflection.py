"""How far a shaft bends under a load, and the same stiffness under either standard (SI).

A shaft rests on two supports, a span S apart, and a weight W hangs from its middle. A
straight beam of one flexural rigidity EI over the whole span sags there by

    delta = W S^3 / (48 EI)

so a deflection under one span and load tells that under any other. The formula holds for
small sags: in truth the supports push across the bent beam, and it sags more, by about
10 (delta / S)^2 as a share: 0.2 % at a seventieth of the span, 3 % at a twentieth, 11 % at
a tenth (the bent beam integrated; derived).
"""

from dataclasses import dataclass

from arrowloft.core.arrays import Real

_INCH, _POUND_FORCE = 0.0254, 4.4482216152605

LARGEST_SAG = 0.1
"""Sag as a share of the span up to which the formula is taken to hold: it is a tenth off there."""

BEYOND_SAG = 0.24
"""Share of the span beyond which there is nothing to tell: there the load is the greatest that a
shaft free to slide can carry, and it slips through between its supports (derived)."""


@dataclass(frozen=True)
class Standard:
    """A way of measuring a shaft's deflection: span between the supports, m, and load, N."""

    span: float
    load: float


LONG_SPAN = Standard(span=28 * _INCH, load=1.94 * _POUND_FORCE)
"""28 in and 1.94 lbf: ASTM F2031 (published, quoted)."""

SHORT_SPAN = Standard(span=26 * _INCH, load=2.0 * _POUND_FORCE)
"""26 in and 2 lbf, the older standard (from memory)."""

POUNDS_LENGTH = 26 * _INCH
"""Length that the trade's figure in pounds divides by the older deflection (from memory)."""


def rigidity(measured: Standard, deflection: Real) -> Real:
    """Flexural rigidity EI = W S^3 / (48 delta), N m2, of a sag measured in the middle, m."""
    found: Real = measured.load * measured.span**3 / (48.0 * deflection)
    return found


def deflection(flexural_rigidity: Real, under: Standard) -> Real:
    """Sag in the middle, delta = W S^3 / (48 EI), m, for EI in N m2."""
    found: Real = under.load * under.span**3 / (48.0 * flexural_rigidity)
    return found


def pounds(flexural_rigidity: Real) -> Real:
    """The trade's figure in pounds: 26 in / (deflection under the older standard)."""
    found: Real = POUNDS_LENGTH / deflection(flexural_rigidity, SHORT_SPAN)
    return found


def rigidity_of_pounds(figure: Real) -> Real:
    """Flexural rigidity, N m2, for the trade's figure in pounds: `pounds` undone."""
    return rigidity(SHORT_SPAN, POUNDS_LENGTH / figure)
