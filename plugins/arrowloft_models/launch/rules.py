"""Launch speed by the trade's rules of thumb."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from arrowloft.plugin import (
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

GRAIN, INCH, POUND_FORCE, FOOT_PER_SECOND = 64.79891e-6, 0.0254, 4.4482216152605, 0.3048


@dataclass(frozen=True, kw_only=True)
class Rules(LaunchModel):
    """Launch speed by rules of thumb from a reference speed; common practice, no source.

    v = v_ref + a (L - L_ref) / 1 in + b (F - F_ref) / 10 lbf - c (m - m_ref) / 5 gr
    - d s / 3 gr, with draw length L, draw weight F, arrow mass m and the mass s added
    at the middle of the string. The trade gives a = 10 ft/s, b = 15 to 20 ft/s,
    c = 1 to 1.5 ft/s, elsewhere 1 ft/s per 2 to 3 gr, that is 1.7 to 2.5 per 5 gr, and
    d = 1 ft/s. The rules disagree and mechanics bends where they are straight, so each
    step counts with an uncertainty of 40 percent, all in quadrature with the
    reference's, 10 ft/s unless given. Prefer any other model where its data are at hand.
    """

    name = "rules"
    version = "1"
    sources = (
        Source("Rules of thumb of the archery trade, no source", standing="common practice"),
    )
    by_lane = True
    example = MappingProxyType({"reference_speed": 96.3})

    reference_speed: Real = parameter(
        "Speed with the reference draw and arrow.", "speed", low=20.0, high=150.0, free=True
    )
    reference_draw_length: Real = parameter(
        "Draw length of the reference.", "length", default=30 * INCH, low=0.3, high=1.2
    )
    reference_draw_weight: Real = parameter(
        "Draw weight of the reference.", "force", default=70 * POUND_FORCE, low=10.0, high=1000.0
    )
    reference_arrow_mass: Real = parameter(
        "Arrow mass of the reference.", "mass", default=350 * GRAIN, low=0.005, high=0.1
    )
    string_mass_added: Real = parameter(
        "Mass added at the middle of the string.", "mass", default=0.0, low=0.0, high=0.05
    )
    speed_per_inch: Real = parameter(
        "Speed gained per inch of draw length.",
        "speed",
        default=10 * FOOT_PER_SECOND,
        low=0.0,
        high=15.0,
    )
    speed_per_ten_pounds: Real = parameter(
        "Speed gained per 10 lbf of draw weight; default amid the trade's 15 to 20 ft/s.",
        "speed",
        default=17.5 * FOOT_PER_SECOND,
        low=0.0,
        high=30.0,
    )
    speed_per_five_grains: Real = parameter(
        "Speed lost per 5 gr of arrow mass; the default, 1.5 ft/s, lies between the trade's rules.",
        "speed",
        default=1.5 * FOOT_PER_SECOND,
        low=0.0,
        high=5.0,
    )
    speed_per_three_string_grains: Real = parameter(
        "Speed lost per 3 gr at the middle of the string.",
        "speed",
        default=FOOT_PER_SECOND,
        low=0.0,
        high=5.0,
    )
    reference_uncertainty: Real = parameter(
        "Standard uncertainty of the reference speed; default 10 ft/s (common practice).",
        "speed",
        default=10 * FOOT_PER_SECOND,
        low=0.0,
        high=50.0,
    )
    step_uncertainty: Real = parameter(
        "Standard uncertainty of each step as a share of it; the rules differ by 2 to 3 times.",
        default=0.4,
        low=0.0,
        high=2.0,
    )

    def limits(self) -> tuple[Validity, ...]:
        """Arrow masses from 50 gr below to 100 gr above the reference."""
        low, high = self.reference_arrow_mass - 50 * GRAIN, self.reference_arrow_mass + 100 * GRAIN
        reason = "A straight rule leaves the true, bent relation: keep near the reference arrow."
        return (Validity("arrow_mass", low, high, reason=reason),)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed, m/s; raises CaseError where draw length or weight lacks, or none is left."""
        bow, mass = case.bow, case.arrow.mass
        if bow.draw_length is None:
            raise CaseError("bow/draw_length", "the rules of thumb need the draw length: give it")
        if bow.draw_weight is None:
            raise CaseError("bow/draw_weight", "the rules of thumb need the draw weight: give it")
        steps = (
            self.speed_per_inch * (bow.draw_length - self.reference_draw_length) / INCH,
            self.speed_per_ten_pounds
            * (bow.draw_weight - self.reference_draw_weight)
            / (10 * POUND_FORCE),
            -self.speed_per_five_grains * (mass - self.reference_arrow_mass) / (5 * GRAIN),
            -self.speed_per_three_string_grains * self.string_mass_added / (3 * GRAIN),
        )
        speed = self.reference_speed + sum(steps)
        if np.any(speed <= 0):
            raise CaseError("arrow/mass", "the rules of thumb leave no speed: use another model")
        squares = sum((self.step_uncertainty * step) ** 2 for step in steps)
        uncertainty = np.sqrt(self.reference_uncertainty**2 + squares)
        note = Note(
            "launch-common-practice",
            "Rules of thumb of the trade, without a source: prefer a measured speed, two-arrow "
            "or rated.",
        )
        return LaunchSpeed(speed, uncertainty, {}, (note,))
