"""Launch speed from a bow's rated speed."""

from dataclasses import dataclass, replace
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

GRAIN, INCH, POUND_FORCE = 64.79891e-6, 0.0254, 4.4482216152605
FULLNESS_SHARE = 0.1
"""Standard uncertainty of ln E per unit of ln(F P) bridged: cams change shape with setting."""


@dataclass(frozen=True, kw_only=True)
class Rated(LaunchModel):
    """Launch speed from a bow's rated speed, carried to this draw and this arrow.

    The rated speed v_r with the rated arrow m_r gives E_r = (m_r + M) v_r^2 / 2. The
    energy is taken as proportional to draw weight times power stroke, E = E_r F P /
    (F_r P_r), with P = draw length - 1.75 in - brace height, and the speed is
    v = sqrt(2 E / (m + M + s)) with s the mass added at the middle of the string.
    The usual rating is 70 lbf, 30 in, 350 gr, which the defaults hold; an older one
    is 60 lbf, 30 in, 540 gr. The virtual mass M of 5 g stands for an efficiency of
    350 gr / (350 gr + M) = 0.82, common for compound bows of today; its uncertainty
    of 2 g spans 0.76 to 0.88. Unless given, the rated speed is uncertain by 10 ft/s; a tenth
    of ln(F P / (F_r P_r)) counts as the energy's uncertainty as a share, all in quadrature.
    """

    name = "rated"
    version = "1"
    sources = (
        Source("Trade press: rating conditions 70 lbf, 30 in, 350 gr; 60 lbf, 30 in, 540 gr"),
        Source("AMO FP-3, 2000 (quoted): draw length is to the grip's pivot point plus 1.75 in"),
        Source(
            "B. W. Tuijn, B. W. Kooi, Eur. J. Phys. 13 (1992) 127-134: energy over force times "
            "power stroke 0.581 to 0.595, nearly the same on four bows"
        ),
        Source("Efficiency of compound bows near 0.8", standing="common practice"),
    )
    validity = (
        Validity(
            "arrow_mass",
            250 * GRAIN,
            750 * GRAIN,
            reason="The virtual mass is only nearly constant: the rated arrow is 350 gr.",
        ),
    )
    by_lane = True
    example = MappingProxyType({"rated_speed": 96.3})

    rated_speed: Real = parameter(
        "Speed of the bow under its rating conditions.", "speed", low=20.0, high=150.0, free=True
    )
    rated_draw_weight: Real = parameter(
        "Peak draw weight of the rating.",
        "force",
        default=70 * POUND_FORCE,
        low=10.0,
        high=1000.0,
    )
    rated_draw_length: Real = parameter(
        "Draw length of the rating, to the pivot point plus 1.75 in.",
        "length",
        default=30 * INCH,
        low=0.3,
        high=1.2,
    )
    rated_arrow_mass: Real = parameter(
        "Arrow mass of the rating.", "mass", default=350 * GRAIN, low=0.005, high=0.1
    )
    virtual_mass: Real = parameter(
        "Virtual mass of the bow with its bare string.", "mass", default=0.005, low=0.0, high=0.2
    )
    string_mass_added: Real = parameter(
        "Mass on the string that the rated bow did not carry: all of what sits at its middle "
        "(nocking point, loop, peep), a third of what is spread along it.",
        "mass",
        default=0.0,
        low=0.0,
        high=0.05,
    )
    rated_speed_uncertainty: Real = parameter(
        "Standard uncertainty of the rated speed for a single bow; the default is 10 ft/s "
        "(common practice: rated speeds are best cases).",
        "speed",
        default=10 * 0.3048,
        low=0.0,
        high=50.0,
    )
    virtual_mass_uncertainty: Real = parameter(
        "Standard uncertainty of the virtual mass.", "mass", default=0.002, low=0.0, high=0.1
    )

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed, m/s; raises CaseError where draw weight, draw length or brace height lack."""
        work = self._work_ratio(case.bow)
        rated = self.rated_arrow_mass + self.virtual_mass
        moved = case.arrow.mass + self.virtual_mass + self.string_mass_added
        speed = self.rated_speed * np.sqrt(work * rated / moved)
        share: Real = np.hypot(
            self.rated_speed_uncertainty / self.rated_speed,
            (1 / rated - 1 / moved) / 2 * self.virtual_mass_uncertainty,
        )
        share = np.hypot(share, FULLNESS_SHARE / 2 * np.log(work))
        energy = rated * self.rated_speed**2 / 2
        figures: dict[str, tuple[Real, str]] = {"rated_stored_energy": (energy, "energy")}
        if np.ndim(speed) == 0:
            figures["stored_energy"] = (float(energy * work), "energy")
            figures["efficiency"] = (float(case.arrow.mass / moved), "number")
        return LaunchSpeed(speed, speed * share, figures, (self._note(),))

    def _note(self) -> Note:
        """What the answer rests on, as most callers leave the conditions to the defaults."""
        weight, length = self.rated_draw_weight / POUND_FORCE, self.rated_draw_length / INCH
        mass, virtual = self.rated_arrow_mass / GRAIN, 1e3 * self.virtual_mass
        return Note(
            "launch-rated-speed",
            f"The speed rests on the bow's rating, taken as {_text(weight, 4)} lbf, "
            f"{_text(length, 4)} in and {_text(mass, 4)} gr, and on a virtual mass of "
            f"{_text(virtual, 3)} g; a speed measured with this arrow is surer.",
        )

    def _work_ratio(self, bow: Bow) -> Real:
        """F P / (F_r P_r): draw weight times power stroke over the rating's."""
        for member in ("draw_weight", "draw_length", "brace_height"):
            if getattr(bow, member) is None:
                raise CaseError(
                    f"bow/{member}",
                    f"the rated speed cannot be carried to this bow without its {member}: give it",
                )
        stroke = bow.power_stroke
        rated_stroke = replace(bow, draw_length=self.rated_draw_length).power_stroke
        assert stroke is not None and rated_stroke is not None and bow.draw_weight is not None
        if np.any(np.minimum(stroke, rated_stroke) <= 0):
            raise CaseError(
                "bow/brace_height",
                "draw length - 1.75 in - brace height leaves no power stroke: check these lengths",
            )
        return bow.draw_weight * stroke / (self.rated_draw_weight * rated_stroke)


def _text(values: Real, digits: int) -> str:
    """The value with so many significant digits; of lanes that differ, the least and greatest."""
    if not isinstance(values, np.ndarray):
        return f"{values:.{digits}g}"
    least, greatest = (f"{end:.{digits}g}" for end in (values.min(), values.max()))
    return least if least == greatest else f"{least} to {greatest}"
