"""What a picture of one flight shows: its path over the line of sight, apex and end (SI)."""

from dataclasses import dataclass

from arrowloft.core.arrays import Array
from arrowloft.core.flight.trajectory import Trajectory
from arrowloft.core.setup.shot import Shot


@dataclass(frozen=True, kw_only=True)
class Flown:
    """One flight in the line-of-sight frame; arrays (points,), m, in the order flown.

    distance: along the line of sight.  up, right: from it.
    apex_distance, apex_height: of the highest point over the line of sight, m.
    launch_angle: of the arrow's line.  descent_angle: of the path to the line of sight at its
        end, falling negative.
    target: distance aimed at, m; None: loosed at an angle.
    drift: of the tip at its end, right positive, m.
    shot: every member a float.
    """

    distance: Array
    up: Array
    right: Array
    apex_distance: float
    apex_height: float
    launch_angle: float
    descent_angle: float
    target: float | None
    drift: float
    shot: Shot


def flown(path: Trajectory, shot: Shot, target: float | None) -> Flown:
    """What is drawn of a path that is the balance point's."""
    return Flown(
        distance=path.distance,
        up=path.height,
        right=path.right,
        apex_distance=path.apex_distance,
        apex_height=path.apex_height,
        launch_angle=path.launch_angle,
        descent_angle=float(path.angle[-1]),
        target=target,
        drift=path.drift,
        shot=shot,
    )
