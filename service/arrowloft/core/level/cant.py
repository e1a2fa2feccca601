"""Cant: how level a bow must be held for its arrows to stay within an allowance.

Each distance is aimed with the bow level; then the bow is rolled about the line of sight,
the aim point and the mark held, and the whole flight is followed again. The shift of an
impact is counted from where the level bow's arrow meets the target plane, wind and all.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.motion import sideways
from arrowloft.core.level.roll_series import MOST_ROLL, RolledShot, rolled
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """How far an impact may be off: a radius, m, or an angle seen from the eye, rad."""

    radius: float = 0.0
    angle: float = 0.0

    def at(self, distance: Array) -> Array:
        """The radius at each distance, m: radius + distance tan(angle), one of them zero."""
        allowed: Array = self.radius + distance * np.tan(self.angle)
        return allowed


@dataclass(frozen=True, kw_only=True)
class CantTable:
    """What cant does at each distance; rows in the order asked, SI.

    distance, allowance: (rows,), m.  cants: (cants,), rad, top limb to the right positive.
    right, up, displacement: shift of the impact and its size, (rows, cants), m; NaN where
        the canted bow's arrow never comes to the target plane.
    max_cant_left, max_cant_right: largest cant to either side within the allowance, (rows,),
        rad, as magnitudes; NaN where none up to 45 degrees leaves it.
    max_cant: the smaller of the two.
    rolled: the shot, to ask for other cants.
    """

    distance: Array
    allowance: Array
    cants: Array
    right: Array
    up: Array
    displacement: Array
    max_cant: Array
    max_cant_left: Array
    max_cant_right: Array
    rolled: RolledShot

    @property
    def error(self) -> float:
        """Estimated error of any shift, m."""
        return self.rolled.error

    @property
    def airspeed_range(self) -> tuple[float, float]:
        """Least and greatest airspeed flown, m/s."""
        return self.rolled.airspeed_range


def cant_table(shot: Shot, distances: Array, cants: Array, allowance: Allowance) -> CantTable:
    """Shifts of one shot (every member a float, its roll 0) at each distance, m, and cant, rad.

    Cants lie within 45 degrees either way (else ValueError). Without drag a cant b at a
    distance moves the impact D sin(b) sideways and D (1 - cos(b)) down, D being the drop
    below the line of departure; here every flight is whole.

    Raises TooNear, BeyondReach, Unsolved, whose lanes count the distances.
    """
    if np.any(np.abs(cants) > MOST_ROLL):
        raise ValueError("a cant lies beyond 45 degrees")
    flown = rolled(shot, distances)
    right, up = flown.shift(cants)
    allowed = allowance.at(distances)
    right_most = left_most = flown.largest_roll(allowed, 1)
    if sideways(shot):  # else the left is the right's mirror image
        left_most = flown.largest_roll(allowed, -1)
    return CantTable(
        distance=distances,
        allowance=allowed,
        cants=cants,
        right=right,
        up=up,
        displacement=np.hypot(right, up),
        max_cant=np.fmin(left_most, right_most),
        max_cant_left=left_most,
        max_cant_right=right_most,
        rolled=flown,
    )
