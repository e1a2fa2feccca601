"""Launch speed from a chronograph."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from arrowloft.plugin import (
    Array,
    LaunchCase,
    LaunchModel,
    LaunchSpeed,
    Note,
    ParameterError,
    Real,
    Source,
    Validity,
    carry_speed,
    holds,
    parameter,
)

FOOT_PER_SECOND = 0.3048
REPEAT_SHARE = 0.002
"""Standard deviation of a bow's speed from shot to shot (Tuijn & Kooi, published)."""
DRAG_SHARE = 0.25
"""Standard uncertainty of the drag undone: published arrow drag spans 1.3 to 2.6."""
FEWEST = 5
SPAN = 2 * FOOT_PER_SECOND


@dataclass(frozen=True, kw_only=True)
class Measured(LaunchModel):
    """Launch speed read from a chronograph, with the flight to its gate undone.

    v = v_gate carried back over the gate's distance d by the chosen drag law,
    dv/dx = -(rho CdA / 2m) v, which is v_gate exp(k d) for a constant CdA. Several
    readings give their mean and, as uncertainty, s / sqrt(n) together with the
    instrument's, 1 ft/s unless given. One reading counts with a shot-to-shot deviation
    of 0.2 percent. A quarter of the speed given back for drag is added as uncertainty.
    """

    name = "measured"
    version = "1"
    sources = (
        Source("ASTM F1544 (quoted): mean of at least 5 shots that agree within 2 ft/s"),
        Source("B. W. Tuijn, B. W. Kooi, Eur. J. Phys. 13 (1992) 127-134: speed repeats to 0.2 %"),
        Source("Newton's second law along a flat path", standing="derived"),
    )
    validity = (Validity("launch_speed", 20.0, 130.0, reason="Beyond the speeds that bows reach."),)
    by_lane = True
    example = MappingProxyType({"readings": (85.3, 85.1, 85.4, 85.2, 85.3), "gate_distance": 0.6})

    speed: Real | None = parameter(
        "One reading, or the mean of several; give either this or readings.",
        "speed",
        default=None,
        low=5.0,
        high=200.0,
        free=True,
    )
    readings: Array | None = parameter(
        "Two or more readings of the same bow and arrow; give either this or speed.",
        "speed",
        default=None,
        low=5.0,
        high=200.0,
        array=True,
        least=2,
    )
    gate_distance: Real = parameter(
        "Free flight up to the reading: from the place of the arrow's point as it leaves the "
        "string, one arrow's length ahead of the string at rest, to the middle of the gate.",
        "length",
        default=0.0,
        low=0.0,
        high=100.0,
    )
    instrument_uncertainty: Real = parameter(
        "Standard uncertainty of the chronograph, not lessened by more shots; the default, "
        "1 ft/s, is half the span within which ASTM F1544 wants shots to agree.",
        "speed",
        default=FOOT_PER_SECOND,
        low=0.0,
        high=20.0,
    )

    def __post_init__(self) -> None:
        if (self.speed is None) == (self.readings is None):
            raise ParameterError("speed", "give exactly one of speed and readings")
        if self.readings is not None and np.size(self.readings) < 2:
            raise ParameterError("readings", "give two or more readings, or one as speed")

    def launch_speed(self, case: LaunchCase) -> LaunchSpeed:
        """Speed at the string, m/s; figures: at the gate; of several also mean, spread, number."""
        figures: dict[str, tuple[Real, str]] = {}
        notes: list[Note] = []
        if self.readings is None:
            assert self.speed is not None
            at_gate = 1.0 * self.speed
            scatter = REPEAT_SHARE * at_gate
        else:
            at_gate = float(np.mean(self.readings))
            spread, shots = float(np.std(self.readings, ddof=1)), np.size(self.readings)
            scatter = spread / shots**0.5
            figures |= {"spread": (spread, "speed"), "shots": (float(shots), "number")}
            figures["mean"] = (at_gate, "speed")
            if shots < FEWEST or np.ptp(self.readings) > SPAN:
                notes.append(
                    Note(
                        "launch-readings-scatter",
                        "The readings are fewer than 5 or lie more than 2 ft/s apart: "
                        "take more, and leave out shots that felt wrong.",
                    )
                )
        figures["speed_at_gate"] = (at_gate, "speed")
        if not holds(self.gate_distance != 0):
            notes.append(
                Note(
                    "launch-gate-at-string",
                    "No gate distance was given: the reading is taken as the launch speed.",
                )
            )
        speed = self._undo(at_gate, case)
        ratio = speed / at_gate  # d(speed) / d(reading), exact where CdA is constant
        reading = ratio * np.hypot(scatter, self.instrument_uncertainty)
        uncertainty: Real = np.hypot(reading, DRAG_SHARE * (speed - at_gate))
        return LaunchSpeed(speed, uncertainty, figures, tuple(notes))

    def _undo(self, at_gate: Real, case: LaunchCase) -> Real:
        if holds(self.gate_distance == 0):
            return at_gate + 0.0 * case.arrow.mass  # of the lanes' shape
        try:
            return carry_speed(at_gate, -self.gate_distance, case.air, case.arrow, case.drag)
        except ArithmeticError as error:
            raise ParameterError(
                "gate_distance",
                f"the flight to the gate cannot be undone: {error}; measure closer to the bow",
            ) from error
