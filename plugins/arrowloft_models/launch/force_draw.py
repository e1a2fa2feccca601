"""Launch speed from a measured force-draw curve."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from scipy.interpolate import PchipInterpolator

from arrowloft.plugin import (
    LEAST_MASS_PER_DRAW_WEIGHT,
    Array,
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

STROKE_GAP = 0.01
"""Difference from the bow's own power stroke that is worth a note, m."""
REST_SHARE = 0.2
"""Share of the peak force that a reading at rest may have: a string at rest has none."""


@dataclass(frozen=True, kw_only=True)
class ForceDraw(LaunchModel):
    """Launch speed from force-draw points measured on the bow.

    E = (1 - h) integral of F dx from the string at rest to the last point, with the
    hysteresis h, and v = sqrt(2 E / (m + M)) with the virtual mass M. The draw is the
    way the string was pulled from rest: the trade's draw length less 1.75 in less
    brace height. Where the list does not start at rest, (0, 0) is put before it.
    Uncertainty: (u_v / v)^2 = ((u_E / E)^2 + (u_M / (m + M))^2) / 4; unless given, 2 % of E
    and 20 % of M. The arrow's mass is checked against the greatest force of the points.
    """

    name = "force-draw"
    version = "1"
    sources = (
        Source(
            "B. W. Tuijn, B. W. Kooi, Eur. J. Phys. 13 (1992) 127-134: trapezoid rule on "
            "measured points; hysteresis 0.2 to 0.9 % on four recurve bows"
        ),
        Source("P. E. Klopsteg, Am. J. Phys. 11 (1943) 175: virtual mass", standing="from memory"),
    )
    validity = (Validity("launch_speed", 20.0, 130.0, reason="Beyond the speeds that bows reach."),)
    by_lane = True
    example = MappingProxyType(
        {
            "draw": (0.0, 0.1, 0.2, 0.3, 0.4, 0.45),
            "force": (0.0, 62.0, 101.0, 128.0, 156.0, 175.0),
            "virtual_mass": 0.0052,
        }
    )

    draw: Array = parameter(
        "Way of the string from rest at each point, growing, up to the draw that is shot.",
        "length",
        low=0.0,
        high=1.5,
        array=True,
        least=2,
    )
    force: Array = parameter(
        "Force that holds the string at each point.",
        "force",
        low=0.0,
        high=2000.0,
        array=True,
        least=2,
    )
    virtual_mass: Real = parameter(
        "Virtual mass of the bow; two arrows shot from it give it by the model two-arrow.",
        "mass",
        low=0.0,
        high=0.2,
        free=True,
    )
    rule: str = parameter(
        "How to integrate between points: straight lines, or a monotone cubic through them.",
        "choice",
        default="trapezoid",
        choices=("trapezoid", "monotone-cubic"),
    )
    hysteresis: Real = parameter(
        "Share of the drawing energy lost in limbs and string; default amid the published "
        "0.002 to 0.009.",
        default=0.005,
        low=0.0,
        high=0.5,
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

    def __post_init__(self) -> None:
        if np.size(self.draw) != np.size(self.force):
            raise ParameterError("force", "give one force for each draw")
        if (np.diff(self.draw) <= 0).any():
            raise ParameterError("draw", "each draw must be greater than the one before it")
        if np.max(self.force) <= 0:
            raise ParameterError("force", "all forces are zero: give at least one that is not")
        if self.draw[0] == 0 and self.force[0] > REST_SHARE * np.max(self.force):
            raise ParameterError(
                "force",
                "a string at rest has no force, but the point at zero draw has more than 20 % of "
                "the greatest one: count the draw from the string at rest",
            )

    def _drawing_energy(self) -> float:
        draw, force = np.asarray(self.draw, float), np.asarray(self.force, float)
        if draw[0] > 0:
            draw, force = np.append(0.0, draw), np.append(0.0, force)
        if self.rule == "trapezoid":
            return float(np.trapezoid(force, draw))
        return float(PchipInterpolator(draw, force).integrate(0.0, draw[-1]))

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed, m/s; figures: energies, power stroke, peak force, fullness of the curve.

        Fullness is the drawing energy over peak force times power stroke: 0.5 for a
        linear spring, 0.581 to 0.595 for the published recurve bows.
        """
        drawing = self._drawing_energy()
        stored = (1 - self.hysteresis) * drawing
        stroke, peak = float(self.draw[-1]), float(np.max(self.force))
        moved = case.arrow.mass + self.virtual_mass
        speed = np.sqrt(2 * stored / moved)
        share = self.virtual_mass * self.virtual_mass_uncertainty / moved
        figures: dict[str, tuple[Real, str]] = {
            "drawing_energy": (drawing, "energy"),
            "stored_energy": (stored, "energy"),
            "power_stroke": (stroke, "length"),
            "peak_force": (peak, "force"),
            "fullness": (drawing / (peak * stroke), "number"),
        }
        if np.ndim(moved) == 0:
            figures["efficiency"] = (float(case.arrow.mass / moved), "number")
        uncertainty = speed / 2 * np.hypot(self.energy_uncertainty, share)
        notes = _stroke_notes(stroke, case) + _mass_notes(peak, case)
        return LaunchSpeed(speed, uncertainty, figures, notes)


def _stroke_notes(stroke: float, case: LaunchCase) -> tuple[Note, ...]:
    own = case.bow.power_stroke
    if own is None or np.all(np.abs(own - stroke) <= STROKE_GAP):
        return ()
    message = (
        "The last draw differs by more than 1 cm from the bow's draw length - 1.75 in - brace "
        "height; the energy is taken up to the last draw: let the points end where you shoot."
    )
    return (Note("launch-stroke-differs", message),)


def _mass_notes(peak: float, case: LaunchCase) -> tuple[Note, ...]:
    """A caution where the arrow is too light for the curve; none where draw weight tells it."""
    # A hair below passes: the caller's units do not convert to the last digit.
    least = LEAST_MASS_PER_DRAW_WEIGHT * (1 - 1e-9)
    light = case.arrow.mass < least * peak
    if case.bow.draw_weight is not None:
        # The service itself cautions, for every model, by the bow's own draw weight.
        light = light & (case.arrow.mass >= least * case.bow.draw_weight)
    if not np.any(light):
        return ()
    message = (
        "The arrow is lighter than 5 grains per pound of the points' greatest force, which by "
        "common practice may harm the bow and its archer: keep to the bow maker's least arrow mass."
    )
    return (Note("light-arrow", message),)
