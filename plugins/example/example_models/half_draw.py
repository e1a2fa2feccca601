"""Launch speed from two readings of a bow scale."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from arrowloft.plugin import (
    Bow,
    CaseError,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    Real,
    Source,
    Validity,
    parameter,
)

SHARES = (0.25, 0.75)
"""Force at half draw as a share of that at full draw between which a parabola rises all along."""


@dataclass(frozen=True, kw_only=True)
class HalfDraw(LaunchModel):
    """Launch speed from the forces at half draw and at full draw, for longbows and recurves.

    A parabola through rest (no force), half draw H and full draw F encloses, by Simpson's rule,
    W = (4 H + F) P / 6 over the power stroke P; E = (1 - h) W with the hysteresis h, and
    v = sqrt(2 E / (m + M)) with the bow's virtual mass M. F is the bow's draw weight, P its
    draw length - 1.75 in - brace height. The rule is exact for cubics too.

    Uncertainty: (u_v / v)^2 = ((u_E / E)^2 + (u_M / (m + M))^2) / 4; unless given, 3 % of E for
    the scale, the place of half draw and the parabola, and 20 % of M.
    """

    name = "half-draw"
    version = "1"
    sources = (
        Source("Simpson's rule, and conservation of energy", "derived"),
        Source("P. E. Klopsteg, Am. J. Phys. 11 (1943) 175: virtual mass", "from memory"),
        Source(
            "B. W. Tuijn, B. W. Kooi, Eur. J. Phys. 13 (1992) 127-134: energy over draw weight "
            "times power stroke 0.581 to 0.595, hysteresis 0.2 to 0.9 % on four recurve bows"
        ),
    )
    validity = (Validity("launch_speed", 20.0, 100.0, reason="Beyond the speeds of such bows."),)
    example = MappingProxyType({"half_draw_force": 112.0, "virtual_mass": 0.0052})
    by_lane = True

    half_draw_force: float = parameter(
        "Force that holds the string half-way between rest and full draw.",
        "force",
        low=1.0,
        high=1000.0,
    )
    virtual_mass: float = parameter(
        "Virtual mass of the bow: what of limbs and string moves with the arrow.",
        "mass",
        default=0.005,
        low=0.0,
        high=0.2,
        free=True,
    )
    hysteresis: float = parameter(
        "Share of the drawing energy lost in limbs and string; default amid the published "
        "0.002 to 0.009.",
        default=0.005,
        low=0.0,
        high=0.5,
    )
    energy_uncertainty: float = parameter(
        "Standard uncertainty of the energy as a share of it.", default=0.03, low=0.0, high=1.0
    )
    virtual_mass_uncertainty: float = parameter(
        "Standard uncertainty of the virtual mass as a share of it.",
        default=0.2,
        low=0.0,
        high=2.0,
    )

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed, m/s; figures: stored energy, fullness, and one arrow's efficiency.

        Fullness is the drawing energy over draw weight times power stroke: 0.5 for a linear
        spring.  Raises CaseError where draw weight, draw length or brace height lack.
        """
        weight, stroke = _weight_and_stroke(case.bow)
        drawing = (4 * self.half_draw_force + weight) * stroke / 6
        stored = (1 - self.hysteresis) * drawing
        moved = case.arrow.mass + self.virtual_mass
        speed = np.sqrt(2 * stored / moved)
        share = self.virtual_mass * self.virtual_mass_uncertainty / moved
        figures = {
            "stored_energy": (stored, "energy"),
            "fullness": (drawing / (weight * stroke), "number"),
            "efficiency": (case.arrow.mass / moved, "number"),
        }
        uncertainty = speed / 2 * np.hypot(self.energy_uncertainty, share)
        notes = _shape_notes(self.half_draw_force / weight)
        return LaunchSpeed(speed, uncertainty, figures, notes)


def _weight_and_stroke(bow: Bow) -> tuple[Real, Real]:
    """Draw weight, N, and power stroke, m."""
    for member in ("draw_weight", "draw_length", "brace_height"):
        if getattr(bow, member) is None:
            raise CaseError(f"bow/{member}", f"The model half-draw needs the {member}: give it.")
    weight, stroke = bow.draw_weight, bow.power_stroke
    assert weight is not None and stroke is not None
    if np.any(stroke <= 0):
        raise CaseError(
            "bow/brace_height",
            "Draw length - 1.75 in - brace height leaves no power stroke: check these lengths.",
        )
    return weight, stroke


def _shape_notes(share: Real) -> tuple[Note, ...]:
    """A caution where no parabola that rises all along goes through the two readings."""
    low, high = SHARES
    if np.all((share >= low) & (share <= high)):
        return ()
    message = (
        "The force at half draw is not between 25 % and 75 % of the draw weight: read both again, "
        "or, for a compound bow, choose a model that takes the whole force-draw curve."
    )
    return (Note("half-draw-no-parabola", message),)
