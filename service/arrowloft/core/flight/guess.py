"""A first guess of an aimed flight: close enough for the iterations to start from."""

import numpy as np

from arrowloft.core.arrays import Array
from arrowloft.core.flight.motion import Forces
from arrowloft.core.setup.shot import Shot, as_lanes


def flat_fire_guess(shot: Shot, distance: Array) -> tuple[Array, Array, Array]:
    """Launch angle, time and the rate of drag at launch, by the flat-fire closed form.

    With y = 2 k X: t = X/v (1 + y/4 + y^2/24), drop = g X^2 / (2 v^2) (1 + y/3 + y^2/12),
    the series of the exponentials; the angle t = tan(theta) is the low root of
    drop (1 + t^2) - D t + h = 0. The tip, l ahead, points along the falling end of the
    path and is lower by 2 l / X of the drop.
    Source: McCoy, Modern Exterior Ballistics (quoted).
    """
    forces = Forces(shot, 2)
    speed = as_lanes(shot.launch_speed, distance.size)
    area = shot.drag(forces.flow(speed[None]), shot.arrow)[0]
    way = distance - shot.launch_forward - shot.tip_lead
    rate = forces.factor * area * speed
    pace = way / speed
    y = 2.0 * rate * pace
    drop = -0.5 * forces.gravity[1] * pace * pace * (1.0 + y / 3.0 + y * y / 12.0)
    drop *= 1.0 + 2.0 * shot.tip_lead / way
    room = distance * distance - 4.0 * drop * (shot.peep_height + drop)
    tangent = 2.0 * (shot.peep_height + drop) / (distance + np.sqrt(np.maximum(room, 0.0)))
    stretch = np.sqrt(1.0 + tangent * tangent)
    return np.arctan(tangent), pace * stretch * (1.0 + y / 4.0 + y * y / 24.0), rate
