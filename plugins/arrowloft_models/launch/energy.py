"""Launch speed from the bow's stored energy."""

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
    parameter,
)


@dataclass(frozen=True, kw_only=True)
class Energy(LaunchModel):
    """Launch speed from the energy the bow gives back, with virtual mass or efficiency.

    v = sqrt(2 E / (m + M)) with the bow's virtual mass M, or v = sqrt(2 eta E / m)
    with an efficiency eta. The virtual mass hardly depends on the arrow, the
    efficiency does: eta = m / (m + M). Uncertainties are shares that combine in
    quadrature, (u_v / v)^2 = ((u_E / E)^2 + (u_M / (m + M))^2) / 4, or with eta alike;
    unless given they are 2 % of E, 20 % of M, and 0.03 of eta itself.
    """

    name = "energy"
    version = "1"
    sources = (
        Source("Conservation of energy", standing="derived"),
        Source("P. E. Klopsteg, Am. J. Phys. 11 (1943) 175: virtual mass", standing="from memory"),
        Source("B. W. Tuijn, B. W. Kooi, Eur. J. Phys. 13 (1992) 127-134: its use on four bows"),
    )
    validity = (Validity("launch_speed", 20.0, 130.0, reason="Beyond the speeds that bows reach."),)
    by_lane = True
    example = MappingProxyType({"stored_energy": 105.0, "virtual_mass": 0.0052})

    stored_energy: Real = parameter(
        "Energy the bow gives back over its power stroke: under the draw curve, less hysteresis.",
        "energy",
        low=1.0,
        high=1000.0,
        free=True,
    )
    virtual_mass: Real | None = parameter(
        "Virtual mass of the bow; give either this or efficiency.",
        "mass",
        default=None,
        low=0.0,
        high=0.2,
    )
    efficiency: Real | None = parameter(
        "Share of the stored energy that this arrow takes; give either this or virtual_mass.",
        default=None,
        low=0.05,
        high=1.0,
    )
    energy_uncertainty: Real = parameter(
        "Standard uncertainty of the energy as a share; the default is what a hand-read scale "
        "of 1 to 2 percent leaves.",
        default=0.02,
        low=0.0,
        high=1.0,
    )
    virtual_mass_uncertainty: Real = parameter(
        "Standard uncertainty of the virtual mass as a share of it; the default allows for "
        "its being only nearly constant.",
        default=0.2,
        low=0.0,
        high=2.0,
    )
    efficiency_uncertainty: Real = parameter(
        "Standard uncertainty of the efficiency itself; the default, 0.03, is the reach of "
        "quoted efficiencies of one kind of bow.",
        default=0.03,
        low=0.0,
        high=1.0,
    )

    def __post_init__(self) -> None:
        if (self.virtual_mass is None) == (self.efficiency is None):
            raise ParameterError("virtual_mass", "give exactly one of virtual_mass and efficiency")

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed, m/s; figures for a single arrow: efficiency, virtual mass, kinetic energy."""
        mass = case.arrow.mass
        share: Real
        notes: tuple[Note, ...] = ()
        if self.virtual_mass is not None:
            efficiency = mass / (mass + self.virtual_mass)
            share = self.virtual_mass * self.virtual_mass_uncertainty / (mass + self.virtual_mass)
        else:
            efficiency = np.full(np.shape(mass), self.efficiency)[()]
            share = self.efficiency_uncertainty / efficiency
            notes = (
                Note(
                    "launch-efficiency-one-mass",
                    "An efficiency holds for one arrow mass; for others give virtual_mass.",
                ),
            )
        kinetic = efficiency * self.stored_energy
        speed = np.sqrt(2 * kinetic / mass)
        figures: dict[str, tuple[Real, str]] = {"stored_energy": (self.stored_energy, "energy")}
        if np.ndim(mass) == 0:
            figures["efficiency"] = (float(efficiency), "number")
            figures["virtual_mass"] = (float(mass / efficiency - mass), "mass")
            figures["kinetic_energy"] = (float(kinetic), "energy")
        uncertainty = speed / 2 * np.hypot(self.energy_uncertainty, share)
        return LaunchSpeed(speed, uncertainty, figures, notes)
