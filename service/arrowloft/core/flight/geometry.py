"""Frames: the line of sight, the bow's own plane, gravity and wind seen from them.

The line-of-sight frame is right-handed: s along the line of sight, n perpendicular
to it and upward, z to the archer's right; the eye is the origin. The bow is pitched
by the launch angle, then yawed about n, then rolled about s.
"""

import numpy as np

from arrowloft.core.arrays import Array, Real


def gravity_vector(gravity: Real, slope: Real) -> tuple[Real, Real, Real]:
    """Gravity in the line-of-sight frame, m/s2: (-g sin(slope), -g cos(slope), 0)."""
    return -gravity * np.sin(slope), -gravity * np.cos(slope), 0.0


def wind_vector(speed: Real, blows_from: Real, slope: Real) -> tuple[Real, Real, Real]:
    """Horizontal wind in the line-of-sight frame, m/s.

    With `blows_from` clockwise from the target, the air moves toward the archer by
    speed cos(from) and to the left by speed sin(from).
    """
    along = -speed * np.cos(blows_from)
    return along * np.cos(slope), -along * np.sin(slope), -speed * np.sin(blows_from)


def arrow_line(launch_angle: Real, yaw: Real = 0.0, roll: Real = 0.0) -> tuple[Array, Array]:
    """Direction of the arrow's line and the bow's up, each (3, lanes), unit vectors.

    Pitch by the launch angle in the bow's plane, yaw about n, roll about s:
    positive yaw points right, positive roll brings the top limb to the right.
    """
    sine, cosine = np.sin(launch_angle), np.cos(launch_angle)
    turn, keep = np.sin(yaw), np.cos(yaw)
    line = np.empty((3, np.size(launch_angle)))
    up = np.empty_like(line)
    line[0], line[1], line[2] = cosine * keep, sine, cosine * turn
    up[0], up[1], up[2] = -sine * keep, cosine, -sine * turn
    if np.any(roll):
        line, up = rolled_vectors(line, roll), rolled_vectors(up, roll)
    return line, up


def rolled_vectors(vectors: Array, roll: Real) -> Array:
    """Vectors (3, lanes) turned about the line of sight, n toward z."""
    sine, cosine = np.sin(roll), np.cos(roll)
    along, up, right = vectors
    return np.array(
        np.broadcast_arrays(along, up * cosine - right * sine, right * cosine + up * sine)
    )


def windage_travel(radius: Real, launch_angle: Real, yaw: Real) -> Real:
    """Sideways travel of the pin that yaws the arrow's line, m, right positive.

    The pin at the sight's radius must lie on the line of sight: -radius tan(yaw) / cos(angle).
    """
    return -radius * np.tan(yaw) / np.cos(launch_angle)


def pin_height(peep_height: Real, radius: Real, launch_angle: Real) -> Real:
    """Height of the pin above the arrow's line, m: peep height - radius tan(launch angle)."""
    return peep_height - radius * np.tan(launch_angle)


def seen_over_sight(
    distance: Array, up: Array, right: Array, launch_angle: float, radius: float
) -> tuple[Array, Array]:
    """Where a point appears over the sight: above and right of the pin, m.

    In the plane of the pin, which is perpendicular to the arrow's line at the sight's
    radius r, seen from the eye. With l = d cos(a) + h sin(a) the point's way along that line:

        above = r ((h cos(a) - d sin(a)) / l + tan(a)),  right = r z / l

    as the pin itself, on the line of sight, lies r tan(a) below the eye's own parallel.
    distance d, up h, right z: of the point, m.
    """
    sine, cosine = np.sin(launch_angle), np.cos(launch_angle)
    ahead = distance * cosine + up * sine
    above = radius * ((up * cosine - distance * sine) / ahead + sine / cosine)
    return above, radius * right / ahead
