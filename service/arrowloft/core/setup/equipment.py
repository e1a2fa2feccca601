"""What the archer holds: bow and arrow, and the lengths derived from them (SI)."""

from dataclasses import dataclass

from arrowloft.core.arrays import Real

PIVOT_ALLOWANCE = 1.75 * 0.0254
"""Trade's draw length less the draw to the grip's pivot point, m (AMO FP-3, 2000, quoted)."""

LEAST_MASS_PER_DRAW_WEIGHT = 5 * 64.79891e-6 / 4.4482216152605
"""5 grains of arrow per pound-force of peak draw weight, kg/N (common practice, quoted)."""


@dataclass(frozen=True, kw_only=True)
class Bow:
    """A bow as the flight sees it.

    peep_height: eye above the arrow's line, perpendicular to it, m.
    draw_length: the trade's draw length, nock to grip's pivot point + 1.75 in, m.
    brace_height: grip's pivot point to the string at rest, m.
    draw_weight: peak force of the draw, N.
    launch_forward: balance point ahead of the eye, along the arrow's line, where the
        arrow leaves the string, m; None: derived by `launch_forward`.
    """

    peep_height: Real
    draw_length: Real | None = None
    brace_height: Real | None = None
    draw_weight: Real | None = None
    launch_forward: Real | None = None

    @property
    def power_stroke(self) -> Real | None:
        """Way of the string from full draw to rest, m: draw length - 1.75 in - brace height."""
        if self.draw_length is None or self.brace_height is None:
            return None
        return self.draw_length - PIVOT_ALLOWANCE - self.brace_height


@dataclass(frozen=True, kw_only=True)
class Arrow:
    """An arrow as the flight sees it.

    mass: kg.  shaft_diameter: outer, m.
    length: nock throat to the end of the point, m.
    balance_point: nock throat to the balance point, m.
    tip_lead: tip ahead of the balance point, m; None: derived by `tip_lead`.
    """

    mass: Real
    shaft_diameter: Real
    length: Real | None = None
    balance_point: Real | None = None
    tip_lead: Real | None = None


def launch_forward(bow: Bow, arrow: Arrow) -> Real | None:
    """Balance point ahead of the eye as the arrow leaves the string, m; None where unknown.

    The bow's own value, or power stroke + distance from nock throat to balance point.
    """
    if bow.launch_forward is not None:
        return bow.launch_forward
    if bow.power_stroke is None or arrow.balance_point is None:
        return None
    return bow.power_stroke + arrow.balance_point


def tip_lead(arrow: Arrow) -> Real | None:
    """Tip ahead of the balance point, m; None where unknown.

    The arrow's own value, or length - distance from nock throat to balance point.
    """
    if arrow.tip_lead is not None:
        return arrow.tip_lead
    if arrow.length is None or arrow.balance_point is None:
        return None
    return arrow.length - arrow.balance_point
