"""Launch speed from the speeds of two other arrows."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from arrowloft.plugin import (
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    ParameterError,
    Real,
    Source,
    Validity,
    holds,
    parameter,
)
from arrowloft_models._lanes import greater, lesser

REACH = 1.25
"""How far beyond the masses shot the virtual mass is taken as constant (a cautious choice)."""
DOUBTFUL = 0.1
"""Relative uncertainty of the speed beyond which the two arrows tell too little."""


@dataclass(frozen=True, kw_only=True)
class TwoArrow(LaunchModel):
    """Launch speed of any arrow from the speeds of a lighter and a heavier one.

    The same bow, draw and string give both the same energy E with the same virtual
    mass M: (m1 + M) v1^2 = (m2 + M) v2^2 = 2 E. Then 1/v^2 is linear in the arrow's
    mass, and with t = (m - m1) / (m2 - m1)

        1/v^2 = (1 - t) / v1^2 + t / v2^2,
        M = (m2 v2^2 - m1 v1^2) / (v1^2 - v2^2),
        E = v1^2 v2^2 (m2 - m1) / (2 (v1^2 - v2^2)).

    Uncertainty from the readings' u, 1 ft/s unless given:
    u hypot((1 - t) (v/v1)^3, t (v/v2)^3).
    """

    name = "two-arrow"
    version = "1"
    sources = (
        Source("P. E. Klopsteg, Am. J. Phys. 11 (1943) 175: virtual mass", standing="from memory"),
        Source("B. W. Tuijn, B. W. Kooi, Eur. J. Phys. 13 (1992) 127-134: nearly constant M"),
        Source("Elimination of E and M from two energy balances", standing="derived"),
    )
    by_lane = True
    example = MappingProxyType(
        {"first_mass": 0.0236, "first_speed": 90.2, "second_mass": 0.0311, "second_speed": 80.4}
    )

    first_mass: Real = parameter("Mass of the first arrow.", "mass", low=0.001, high=0.5)
    first_speed: Real = parameter("Its speed at the string.", "speed", low=5.0, high=200.0)
    second_mass: Real = parameter("Mass of the second arrow.", "mass", low=0.001, high=0.5)
    second_speed: Real = parameter("Its speed at the string.", "speed", low=5.0, high=200.0)
    reading_uncertainty: Real = parameter(
        "Standard uncertainty of each of the two speeds; the default, 1 ft/s, is half the span "
        "within which ASTM F1544 wants shots to agree.",
        "speed",
        default=0.3048,
        low=0.0,
        high=20.0,
    )

    def __post_init__(self) -> None:
        gap = self.second_mass - self.first_mass
        if not holds(gap != 0):
            raise ParameterError(
                "second_mass", "the two arrows weigh the same: shoot two of different mass"
            )
        if not holds((self.first_speed - self.second_speed) * gap > 0):
            raise ParameterError(
                "second_speed",
                "the heavier arrow must be the slower one: check which speed belongs to which "
                "arrow, or take the mean of more shots",
            )
        if not holds(self.virtual_mass >= 0):
            raise ParameterError(
                "second_speed",
                "these speeds give the bow a negative virtual mass, as if the heavier arrow took "
                "more energy than the bow holds: take the mean of more shots, or shoot two "
                "arrows that differ more in mass",
            )

    @property
    def virtual_mass(self) -> Real:
        """M, kg."""
        square1, square2 = self.first_speed**2, self.second_speed**2
        return (self.second_mass * square2 - self.first_mass * square1) / (square1 - square2)

    @property
    def virtual_mass_uncertainty(self) -> Real:
        """Standard uncertainty of M from the readings', kg: dM/dv1, dM/dv2 in quadrature."""
        v1, v2 = self.first_speed, self.second_speed
        common = 2 * v1 * v2 * (self.second_mass - self.first_mass) / (v1**2 - v2**2) ** 2
        uncertainty: Real = abs(common) * np.hypot(v1, v2) * self.reading_uncertainty
        return uncertainty

    def limits(self) -> tuple[Validity, ...]:
        """Arrow masses up to a quarter beyond those shot."""
        light = lesser(self.first_mass, self.second_mass)
        heavy = greater(self.first_mass, self.second_mass)
        reason = "The virtual mass is only nearly constant: stay near the masses shot."
        return (Validity("arrow_mass", light / REACH, heavy * REACH, reason=reason),)

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed, m/s; figures: virtual mass with its uncertainty, stored energy."""
        v1, v2 = self.first_speed, self.second_speed
        t = (case.arrow.mass - self.first_mass) / (self.second_mass - self.first_mass)
        speed = 1 / np.sqrt((1 - t) / v1**2 + t / v2**2)
        spread = np.hypot((1 - t) * (speed / v1) ** 3, t * (speed / v2) ** 3)
        uncertainty = self.reading_uncertainty * spread
        return LaunchSpeed(speed, uncertainty, self._figures(), _doubt(uncertainty / speed))

    def _figures(self) -> Mapping[str, tuple[Real, str]]:
        energy = (self.first_mass + self.virtual_mass) * self.first_speed**2 / 2
        return {
            "virtual_mass": (self.virtual_mass, "mass"),
            "virtual_mass_uncertainty": (self.virtual_mass_uncertainty, "mass"),
            "stored_energy": (energy, "energy"),
        }


def _doubt(share: Real) -> tuple[Note, ...]:
    """A caution where the speed's relative uncertainty is too large in any lane."""
    greatest = float(np.max(share))
    if greatest <= DOUBTFUL:
        return ()
    message = (
        f"The speed is uncertain by {100 * greatest:.0f} %, as the two speeds differ too little "
        "for their own uncertainty: shoot two arrows that differ more in mass, with this arrow's "
        "between them, or take the mean of more shots."
    )
    return (Note("launch-speeds-too-close", message),)
