"""What an arrow on its way passes: where tip and nock meet planes across the line of sight.

The arrow is aimed at a target and its path is then fixed. It flies along its airspeed, so
in a cross wind tip and nock meet a plane side by side, centimetres apart: what it sweeps
there is the segment between the two. The points between them keep within about
g L^2 / (8 v^2) of that segment, 0.1 mm for an arrow of length L = 0.75 m at 80 m/s.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import LEVER_LEAST, Aimed
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import Unsolved, require_reached
from arrowloft.core.path.patches import Swept
from arrowloft.core.setup.shot import Shot

SWING = 1e-4
"""Change of launch angle or yaw for the way of an impact per angle, rad."""


@dataclass(frozen=True, kw_only=True)
class Passage:
    """Where one arrow passes planes; arrays (planes,), SI.

    distance: of the planes.  swept: what the arrow sweeps there.
    lever, side_lever: way of the tip in the plane per launch angle, up, and per yaw of the
        bow, to the right, m/rad.
    error: estimated error of the positions, m.
    airspeed_range: least and greatest airspeed, m/s.
    """

    distance: Array
    swept: Swept
    lever: Array
    side_lever: Array
    error: Array
    airspeed_range: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Loosed:
    """One arrow aimed at a target: its path is fixed.

    shot: every member a float.  nock_lead: nock ahead of the balance point, m, so mostly
    negative; 0 where the length behind the balance point is not known.
    aimed: its flight; yawed where the archer aims off for the wind.
    """

    shot: Shot
    target: float
    nock_lead: float
    aimed: Aimed

    @classmethod
    def at(cls, shot: Shot, target: float, nock_lead: float, *, aim_off: bool = False) -> "Loosed":
        """Aim in height at the target, m, slope and wind included.

        aim_off: turn the bow into the wind as well, until the tip meets the aim point.
        Raises TooNear, BeyondReach, Unsolved.
        """
        aimed = aim(shot, np.array([target]), windage=aim_off)
        require_reached(shot, aimed)
        return cls(shot=shot, target=target, nock_lead=nock_lead, aimed=aimed)

    @property
    def launch_angle(self) -> float:
        """Arrow's line above the line of sight, rad."""
        return float(self.aimed.launch_angle[0])

    @property
    def drift(self) -> float:
        """Where the tip meets the target's plane, right of the aim point, m."""
        return float(self.aimed.drift[0])

    @cached_property
    def at_target(self) -> Passage:
        """Where it passes the target's plane."""
        return self.passes(np.array([self.target]))

    @property
    def lever(self) -> float:
        """Rise of the impact at the target per launch angle, m/rad; near the reach, its least.

        By the same difference as on the way: `Aimed.lever` leaves out how drag answers.
        """
        return max(float(self.at_target.lever[0]), LEVER_LEAST * self.target)

    def passes(self, distance: Array, change: float = 0.0) -> Passage:
        """Where it passes planes across the line of sight, m, at or before the target.

        change: of the launch angle, rad, for an arrow loosed higher or lower.
        Raises Unsolved.
        """
        shot, planes = self.shot, distance.size
        tip, nock = float(shot.tip_lead), self.nock_lead
        higher, aside = np.zeros((2, 6))
        higher[2:4] = aside[4:6] = SWING, -SWING
        met = arriving(
            impacts(
                shot.with_(tip_lead=np.repeat((tip, nock, tip, tip, tip, tip), planes)),
                self.launch_angle + change + np.repeat(higher, planes),
                np.tile(distance, 6),
                yaw=float(self.aimed.yaw[0]) + np.repeat(aside, planes),
            )
        )
        up, right = met.up.reshape(6, planes), met.right.reshape(6, planes)
        missed = met.error.reshape(6, planes)[:2].max(axis=0)
        lever = (up[2] - up[3]) / (2.0 * SWING)
        return Passage(
            distance=distance,
            swept=Swept(tip_up=up[0], tip_right=right[0], nock_up=up[1], nock_right=right[1]),
            lever=lever,
            side_lever=(right[4] - right[5]) / (2.0 * SWING),
            error=missed + float(self.aimed.error[0]) * np.abs(lever),
            airspeed_range=met.airspeed_range,
        )

    def height_uncertainty(self, distance: Array, speed: float, drag: float) -> Array:
        """Standard uncertainty of the tip's height in planes, m, (planes,).

        speed: standard uncertainty of the launch speed, m/s.  drag: of the drag area, as a
        share of it; independent of each other. The mark of the target is taken as proven:
        an arrow that is faster or meets less drag is aimed anew at it, and passes lower on
        the way. NaN where that cannot be followed.
        """
        shot, planes = self.shot, distance.size
        varied = shot.with_(
            launch_speed=float(shot.launch_speed) + np.array((speed, 0.0, 0.0)),
            drag_scale=float(shot.drag_scale) * (1.0 - np.array((0.0, drag, 0.0))),
        )
        aimed = aim(varied, self.target, windage=bool(self.aimed.yaw[0]))
        lanes = np.repeat(np.arange(3), planes)
        met = impacts(
            varied.take(lanes),
            aimed.launch_angle[lanes],
            np.tile(distance, 3),
            yaw=aimed.yaw[lanes],
        )
        faster, freer, as_it_is = met.up.reshape(3, planes)
        uncertainty: Array = np.hypot(faster - as_it_is, freer - as_it_is)
        return uncertainty

    def lowered(self, drop: float) -> float:
        """Change of the launch angle, rad, that lowers the impact at the target by `drop`, m."""
        change = -drop / self.lever
        for _ in range(2):  # the lever is good to a few per cent: two steps leave microns
            there = self.passes(np.array([self.target]), change)
            change -= (float(there.swept.tip_up[0]) + drop) / float(there.lever[0])
        return change


def arriving(met: Impacts) -> Impacts:
    """The impacts; Unsolved where one is missing, since every plane lies before the target."""
    if not met.arrived.all():
        raise Unsolved("an arrow that reaches its target was not followed to a plane before it")
    return met
