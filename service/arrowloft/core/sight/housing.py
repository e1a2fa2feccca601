"""The sight's own housing: whether the arrow passes under it as it leaves the bow (SI).

The housing hangs below the pin and moves with it. The farther the mark, the lower the pin,
and the nearer the housing comes to the arrow's line.
"""

from dataclasses import dataclass

import numpy as np

from arrowloft.core.arrays import Array, Real
from arrowloft.core.flight.aim import aim, nearest_aim
from arrowloft.core.flight.aimed import ERROR_SHARE
from arrowloft.core.flight.geometry import pin_height
from arrowloft.core.flight.motion import CONVERGED
from arrowloft.core.flight.reach import falling_flights, reach, require_reached
from arrowloft.core.flight.stepping import range_of_angle
from arrowloft.core.setup.shot import Shot

SECTIONS = 24
"""Distances aimed at in each round that looks for the flattest mark or closes in on a limit."""

CLOSED = 1e-8
"""Share of a distance to which a limit is closed in on, by at most ROUNDS rounds of aims."""

ROUNDS = 8

ANGLE_STEP = 1e-5
"""Step of the launch angle that tells the low arc from the high one, rad."""

SETTLED = 1e-6
"""Estimated error of the angle, rad, at which a falling flight is good: a micrometre of the
clearance. Smooth laws leave some 1e-10."""

STEPPED_NEAR = 1e-3
"""Share of the distance to which the same flight step by step must agree with one that is
not good enough: it is the same fall, not another."""

LEAST_LEVER = 0.05
"""Least rise of the impact per angle that the error is shared by, as a share of the distance."""


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
        None where it never does, the arrow passing beside the housing: |o| > arrow_radius.
        """
        if abs(self.sideways) > self.arrow_radius:
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

    Raises AlwaysTouches where even the flattest mark touches; Unsolved; BeyondReach for a
    bow that does not reach the nearest mark.
    """
    steepest = housing.steepest(shot, sight_radius)
    if steepest is None:
        return None
    fallen = _falls_at(shot, steepest)
    if fallen is None:
        fallen = _last_below(shot, steepest)
    return fallen if np.isfinite(fallen) else None


def _falls_at(shot: Shot, angle: float) -> float | None:
    """Where the shot comes down to the line of sight, m; inf for an angle above the reach's.

    The low arc is the one whose range grows with the angle. None where the flight does not
    settle, as where it hardly rises above the line.
    """
    flights, _ = falling_flights(shot, np.array([angle, angle + ANGLE_STEP]))
    distance, farther = (float(at) for at in flights.tip()[0])
    falls = (flights.moved <= CONVERGED) & (flights.velocity[-1, 1] < 0.0)
    if not (falls.all() and distance > float(nearest_aim(shot))):
        return None
    if farther <= distance:
        return np.inf
    velocity, time = flights.velocity[-1, :, 0], flights.launch.time[0]
    missed = ERROR_SHARE * time**2 * flights.unresolved()[0] + flights.left[0] * distance
    lever = (farther - distance) / ANGLE_STEP * -velocity[1] / velocity[0]
    # At the reach the lever is nothing, and the range is known the better.
    if missed <= SETTLED * max(lever, LEAST_LEVER * distance):
        return distance
    # A law with corners that it does not name: step by step they do no harm.
    stepped = range_of_angle(shot, angle)
    return stepped if abs(stepped - distance) <= STEPPED_NEAR * distance else None


def _last_below(shot: Shot, angle: float) -> float:
    """Farthest distance whose launch angle is at most `angle`, m; inf where the reach's is.

    From a mark at most that steep outward: the distance doubles until a mark is steeper.
    """
    low, high = _at_most(shot, angle)
    if high is None:
        # Its corners are nothing to a bracket, and cost most of the time.
        limit = reach(shot.with_(kinks=()))
        if angle >= limit.launch_angle[0]:
            return np.inf
        farthest, high = float(limit.distance[0]), 2.0 * low
        while high < farthest and aim(shot, np.array([high])).launch_angle[0] <= angle:
            low, high = high, 2.0 * high
        high = min(high, farthest)
    for _ in range(ROUNDS):
        if high - low <= CLOSED * low:
            break
        grid = np.linspace(low, high, SECTIONS)
        below = np.flatnonzero(aim(shot, grid[1:-1]).launch_angle <= angle)
        last = int(below[-1]) + 1 if below.size else 0
        low, high = float(grid[last]), float(grid[last + 1])
    return low


def _at_most(shot: Shot, angle: float) -> tuple[float, float | None]:
    """Of the near marks the last that is at most this steep, m, and the next, if there is one.

    A grid of near marks closes in on the flattest, until one is at most that steep. Raises
    AlwaysTouches where none is.
    """
    grid = _near_marks(shot)
    for _ in range(ROUNDS):
        aimed = aim(shot, grid)
        if not aimed.reached[0]:
            require_reached(shot, aimed)
        angles = np.where(aimed.reached, aimed.launch_angle, np.inf)
        below = np.flatnonzero(angles <= angle)
        if below.size:
            last = int(below[-1])
            return float(grid[last]), float(grid[last + 1]) if last + 1 < grid.size else None
        least = int(np.argmin(angles))
        if least == grid.size - 1:
            grid = np.geomspace(grid[-2], 4.0 * grid[-1], SECTIONS)
            continue
        low, high = max(least - 1, 0), least + 1
        # A smooth curve dips under the least of its points by less than these rise above it.
        if angles[least] - angle > max(angles[low], angles[high]) - angles[least]:
            break
        grid = np.linspace(grid[low], grid[high], SECTIONS)
    raise AlwaysTouches("the arrow touches the sight's housing at every mark")


def _near_marks(shot: Shot) -> Array:
    """Distances that hold the flattest mark, m: as a rule, for its place is that in vacuum.

    tan(angle) is about peep height / d + g cos(slope) d / (2 v^2) there, which is least at
    d = v sqrt(2 peep height / (g cos slope)), some 5 to 20 m.
    """
    near = 1.001 * float(nearest_aim(shot))
    pull = shot.gravity * max(float(np.cos(shot.slope)), 0.05)
    flattest = shot.launch_speed * np.sqrt(2.0 * max(float(shot.peep_height), 0.0) / pull)
    return np.geomspace(near, near + max(2.0 * float(flattest), near), SECTIONS)
