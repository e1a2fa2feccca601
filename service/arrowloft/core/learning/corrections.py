"""What an end asks for, by itself and with all that is known, and whether it is more than noise."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from arrowloft.core.archer.archer_scatter import ArcherScatter, Scatter
from arrowloft.core.arrays import Array, Mask, Real
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.corrected_marks import doubt, response_of, steps_about
from arrowloft.core.learning.observations import End, stacked
from arrowloft.core.learning.unknowns import WINDAGE, ZERO
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.sight import Sight

_LAST = slice(-1, None)

NOISE = 0.05
"""Chance of so large an error of its centre at which an end says that its mark is off."""


@dataclass(frozen=True, kw_only=True)
class Corrections:
    """Moves of the pin, down or right positive, that ends ask for; arrays (ends,), m.

    nudge: brings the end's own centre to the height of the aim point.
    nudge_uncertainty: its standard uncertainty, from the archer's scatter.
    beyond_scatter: whether the centre is farther off than that scatter explains.
    move: from the mark shot to the one that all observations and the prior together say is
        right, in the end's own conditions; NaN where its distance is beyond reach.
    move_uncertainty: its standard uncertainty.
    windage_nudge, windage_nudge_uncertainty, windage_beyond_scatter, windage_move,
        windage_move_uncertainty: the same to the side; NaN and False where no place to the
        side was noted.
    """

    nudge: Array
    nudge_uncertainty: Array
    beyond_scatter: Mask
    move: Array
    move_uncertainty: Array
    windage_nudge: Array
    windage_nudge_uncertainty: Array
    windage_beyond_scatter: Mask
    windage_move: Array
    windage_move_uncertainty: Array


def corrections(
    calibration: Calibration,
    shot: Shot,
    sight: Sight,
    ends: Sequence[End],
    scatter: ArcherScatter,
) -> Corrections:
    """What each of the ends asks for; shot, sight: the set-up as assumed.

    A pin that moves down by m lifts the impact by m L / radius, L the rise of the impact
    per tangent of the launch angle; a pin that moves right by m takes it to the left
    by m D cos(a) / radius at the distance D.

    Raises TooNear, whose lanes count the ends, then the zero distance, and BeyondReach for
    the zero distance alone.
    """
    landed = [end.landed for end in ends]
    distance = np.array([arrows.distance for arrows in landed])
    up = np.array([arrows.up for arrows in landed])
    right = np.array([np.nan if a.right is None else a.right for a in landed])
    fitted = stacked([calibration.shot(s) for s in (*(end.shot for end in ends), shot)])
    radius = calibration.sight(sight).radius
    about = steps_about(fitted, np.append(distance, sight.zero_distance), windage=True)
    aimed = about.aimed
    require_reached(fitted.take(_LAST), aimed.lanes(_LAST))
    response = response_of(about, radius) * calibration.prior.uncertainties
    tangent = np.tan(aimed.launch_angle)
    mark = radius * (tangent[:-1] - tangent[-1]) + calibration.values[ZERO]
    rise = (aimed.lever * np.cos(aimed.launch_angle) ** 2)[:-1] / radius
    aside = distance / radius * np.cos(aimed.launch_angle[:-1])
    windage = -radius * np.tan(aimed.yaw) / np.cos(aimed.launch_angle)
    windage_mark = windage[:-1] - calibration.values[WINDAGE]
    windage_travel = np.array([end.windage_travel for end in ends])
    stated = np.array([np.nan if end.uncertainty is None else end.uncertainty for end in ends])
    vertical = np.where(np.isnan(stated), _centres(scatter.vertical, ends), stated)
    sideways = _centres(scatter.sideways, ends)
    return Corrections(
        nudge=-up / rise,
        nudge_uncertainty=vertical / rise,
        beyond_scatter=_beyond(
            up, vertical, np.where(np.isnan(stated), scatter.vertical.degrees, np.inf)
        ),
        move=mark - np.array([end.travel for end in ends]),
        move_uncertainty=np.sqrt(doubt(calibration, response)[0]),
        windage_nudge=right / aside,
        windage_nudge_uncertainty=np.where(np.isnan(right), np.nan, sideways / aside),
        windage_beyond_scatter=_beyond(right, sideways, scatter.sideways.degrees),
        windage_move=np.where(np.isnan(right), np.nan, windage_mark - windage_travel),
        windage_move_uncertainty=np.where(
            np.isnan(right), np.nan, calibration.uncertainties[WINDAGE]
        ),
    )


def _centres(scatter: Scatter, ends: Sequence[End]) -> Array:
    """Standard uncertainty of the centres of the ends, (ends,), m."""
    return np.array([scatter.centre(end.landed.distance, end.landed.arrows) for end in ends])


def _beyond(off: Array, uncertainty: Array, degrees: Real) -> Mask:
    """Whether a centre is farther off than chance explains; False where it is not known."""
    beyond: Mask = np.abs(off) > stdtrit(degrees, 1.0 - 0.5 * NOISE) * uncertainty
    return beyond
