"""The sight's own housing: whether the arrow passes under it as it leaves the bow (SI).

The housing hangs below the pin and moves with it. The farther the mark, the lower the pin,
and the nearer the housing comes to the arrow's line.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.aim import aim
from arrowloft.core.arrays import Array, Real
from arrowloft.core.distances import aim_at_distances
from arrowloft.core.flight import CONVERGED
from arrowloft.core.geometry import pin_height
from arrowloft.core.reach import falling_flights, reach
from arrowloft.core.shot import Shot

SEARCHED = 240
"""Distances of the table in which the flattest mark and the last clear one are looked for."""

NEAR_REACH = 0.98
"""Share of the reach up to which tables are solved at ease."""

AGREED = 1e-8
"""Agreement of the angle of the flight that falls and of the aimed one, rad."""

ROUNDS = 4
"""Rounds of SECTIONS aims each: they close in on a distance to 1e-8 of the bracket."""

SECTIONS = 24


class AlwaysTouches(ValueError):
    """A housing that the arrow touches at every mark: even the flattest shot meets it."""


@dataclass(frozen=True, kw_only=True)
class Housing:
    """The housing's lowest point and the arrow's reach, m; floats.

    below_pin: lowest point of the housing below the pin, perpendicular to the arrow's line.
    ahead_of_eye: of that point, along the arrow's line.
    arrow_radius: reach of vane or shaft from the arrow's axis.
    sideways: sideways distance between the arrow's axis and the housing's nearest point.
    """

    below_pin: float
    ahead_of_eye: float
    arrow_radius: float
    sideways: float = 0.0

    def clearance(self, shot: Shot, sight_radius: float, launch_angle: Real) -> Array:
        """Free space between arrow and housing at marks of these launch angles, m.

        The lowest point stands h = peep height - radius tan(angle) - below_pin + fall above
        the arrow's axis, and the housing is solid from there upward at the sideways offset
        o. The axis is hypot(h, o) from it where h >= 0, |o| where h < 0; the arrow's radius r
        comes off that. Where the two would share the space it is h - sqrt(r^2 - o^2) instead:
        minus what the pin must rise until they just touch.

        The arrow flies rigid along its line and its nock end has fallen by
        1/2 g cos(slope) cos(roll) t^2 where it passes. A shaft that flexes, vanes that turn
        into the housing, and a sight that was knocked are not in it.
        """
        height = pin_height(shot.peep_height, sight_radius, launch_angle)
        above = np.asarray(height - self.below_pin + self.fall(shot))
        free = np.hypot(np.maximum(above, 0.0), self.sideways) - self.arrow_radius
        needed = np.sqrt(max(self.arrow_radius**2 - self.sideways**2, 0.0))
        clearance: Array = np.where(free < 0.0, above - needed, free)
        return clearance

    def fall(self, shot: Shot) -> Real:
        """Fall of the free arrow, in the bow's plane, when its nock end passes the housing, m.

        In vacuum, 1/2 g cos(slope) cos(roll) t^2; the nock end starts at launch_forward -
        balance point (0 where unknown), and is held by the string until then.
        """
        balance = shot.arrow.balance_point
        nock = shot.launch_forward - (0.0 if balance is None else balance)
        time = np.maximum(0.0, self.ahead_of_eye - nock) / shot.launch_speed
        fall: Real = 0.5 * shot.gravity * np.cos(shot.slope) * np.cos(shot.roll) * time**2
        return fall

    def steepest(self, shot: Shot, sight_radius: float) -> float | None:
        """Launch angle at which the clearance comes to nothing, rad; one shot, floats.

        tan(angle) = (peep height - below_pin + fall - sqrt(arrow_radius^2 - o^2)) / radius.
        None where it never does, the arrow passing beside the housing: |o| >= arrow_radius.
        """
        if abs(self.sideways) >= self.arrow_radius:
            return None
        needed = np.sqrt(self.arrow_radius**2 - self.sideways**2)
        room = shot.peep_height - self.below_pin + self.fall(shot) - needed
        return float(np.arctan2(room, sight_radius))


def farthest_clear(shot: Shot, sight_radius: float, housing: Housing) -> float | None:
    """Farthest distance whose mark can be set before arrow and housing touch, m.

    It is the distance at which the shot loosed at the steepest clear angle comes down to
    the line of sight. One shot, floats. None where the housing never limits: the arrow
    passes beside it, or even at the reach under it. Very near marks, steep as well, may
    touch too: this is the limit from the flattest mark on outward.

    Raises AlwaysTouches where even the flattest mark touches; Unsolved.
    """
    steepest = housing.steepest(shot, sight_radius)
    if steepest is None:
        return None
    fallen = _falls_at(shot, steepest)
    if fallen is not None:
        return fallen
    limit = reach(shot)
    if steepest >= limit.launch_angle[0]:
        return None
    return _last_below(shot, steepest, float(limit.distance[0]))


def _falls_at(shot: Shot, angle: float) -> float | None:
    """Where the shot comes down to the line of sight, m; None unless aiming there agrees.

    It does not for an angle above that of the reach, as aiming finds the low one. And a
    flight that hardly rises above the line, or starts above it, may not settle.
    """
    flights, _ = falling_flights(shot, np.array([angle]))
    distance = float(flights.tip()[0, 0])
    falls = flights.moved[0] <= CONVERGED and flights.velocity[-1, 1, 0] < 0.0
    if not (falls and distance > nearest_aim(shot)):
        return None
    aimed = aim(shot, np.array([distance]))
    return distance if abs(aimed.launch_angle[0] - angle) <= AGREED else None


def nearest_aim(shot: Shot) -> float:
    """Nearest distance that is ahead of the tip of the launched arrow with room to aim, m."""
    return float(shot.launch_forward + np.abs(shot.tip_lead)) + 0.101


def _last_below(shot: Shot, angle: float, farthest: float) -> float:
    """Farthest distance whose launch angle is at most `angle`, by closing in on it with aims."""
    near = nearest_aim(shot)
    grid = np.geomspace(near, max(NEAR_REACH * farthest, 1.001 * near), SEARCHED)
    angles = aim_at_distances(shot, grid).aimed.launch_angle
    for _ in range(ROUNDS):
        below = np.flatnonzero(angles <= angle)
        # The flattest mark may lie between two points, both steeper than asked.
        first = int(below[-1]) if below.size else int(np.argmin(angles))
        low = grid[first] if below.size else grid[max(first - 1, 0)]
        high = grid[min(first + 1, grid.size - 1)]
        if not low < high:
            break
        grid = np.linspace(low, high, SECTIONS)
        angles = aim(shot, grid).launch_angle
    below = np.flatnonzero(angles <= angle)
    if not below.size:
        raise AlwaysTouches("the arrow touches the sight's housing at every mark")
    return float(grid[below[-1]])
