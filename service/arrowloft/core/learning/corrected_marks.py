"""Marks after a calibration: for every distance, how sure, and how likely right."""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from arrowloft.core.arrays import Array
from arrowloft.core.flight.aim import aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.learning.calibration import Calibration
from arrowloft.core.learning.unknowns import DRAG, NAMES, PEEP_HEIGHT, RADIUS, SPEED, ZERO
from arrowloft.core.series import chebyshev, terms
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import MarkTable, mark_table
from arrowloft.core.sight.sight import Setting, Sight

FEW = 9
"""Distances at which the responses are solved, read anywhere between: three digits and more."""

STEPS = {SPEED: 1e-4, DRAG: 1e-3, PEEP_HEIGHT: 1e-4}
"""Steps of the central differences: shares for speed and drag, else m."""


@dataclass(frozen=True, kw_only=True)
class CorrectedMarks:
    """Marks at the distances, in the order asked; arrays (rows,), SI.

    table: the marks of the set-up as fitted, its pin counted from a proven zero mark.
    travel: the mark itself, from where the pin stands at the zero mark now: the table's and
        the zero's error, m, down positive.
    uncertainty, height_uncertainty: standard uncertainty of the travel, and the same as a
        height of the impact at the target, m.
    degrees: of freedom of these: inf where no archer's scatter enters.
    zero_error: how far the pin stands above its zero mark, m.
    setting: of the sight at the mark.
    rise: of the impact per travel of the pin.
    response: change of the travel per x, (rows, 6), m.
    height_response: of the impact's height with the mark as it is, (rows, 6), m.
    """

    table: MarkTable
    travel: Array
    uncertainty: Array
    height_uncertainty: Array
    degrees: Array
    zero_error: float
    setting: Setting
    rise: Array
    response: Array
    height_response: Array

    def rows(self, chosen: slice) -> "CorrectedMarks":
        """Some of the rows."""
        return CorrectedMarks(
            table=self.table.rows(chosen),
            setting=self.setting.rows(chosen),
            zero_error=self.zero_error,
            **{
                name: getattr(self, name)[chosen]
                for name in (
                    "travel",
                    "uncertainty",
                    "height_uncertainty",
                    "degrees",
                    "rise",
                    "response",
                    "height_response",
                )
            },
        )

    def chance(self, tolerance: Array) -> Array:
        """Chance that each mark sends arrows no farther than `tolerance`, m, up or down.

        The error over its uncertainty is taken as Student's t.
        """
        with np.errstate(divide="ignore"):
            least = tolerance / self.height_uncertainty
        return np.asarray(1.0 - 2.0 * stdtr(self.degrees, -least), dtype=float)


def corrected_marks(
    calibration: Calibration, shot: Shot, sight: Sight, distances: Array
) -> CorrectedMarks:
    """Marks of the fitted set-up at each distance, m, in the conditions of `shot`.

    shot, sight: the set-up as assumed. Raises TooNear, BeyondReach, Unsolved; lanes count
    the distances, then the zero distance, then the pins.
    """
    fitted, by = calibration.shot(shot), calibration.sight(sight)
    table = mark_table(fitted, by, distances)
    response = mark_response(fitted, by, distances) * calibration.prior.uncertainties
    variance, degrees = doubt(calibration, response)
    zero_error = float(calibration.values[ZERO])
    travel, uncertainty = table.travel + zero_error, np.sqrt(variance)
    rise = table.rise_per_tangent / by.radius
    return CorrectedMarks(
        table=table,
        travel=travel,
        uncertainty=uncertainty,
        height_uncertainty=uncertainty * rise,
        degrees=degrees,
        zero_error=zero_error,
        setting=sight.setting(travel),
        rise=rise,
        response=response,
        height_response=-rise[:, None] * response,
    )


def doubt(calibration: Calibration, response: Array) -> tuple[Array, Array]:
    """Variance of what has a response a to x, and its degrees of freedom, each (rows,).

    The variance is a P a, P the covariance of the fit. The archer's scatter s enters by the
    information F of the rows that rest on it: d(a P a) / d(ln s^2) = a P F P a. So, after
    Welch and Satterthwaite, the degrees are (a P a)^2 / sum_k (a P F_k P a)^2 / k over the
    scatters known with k degrees.
    """
    spread = response @ calibration.covariance
    variance = np.einsum("ru,ru->r", spread, response)
    lost = np.zeros(len(response))
    for degrees in np.unique(calibration.degrees[calibration.scattered]):
        rows = calibration.scattered & (calibration.degrees == degrees)
        share = np.einsum("ru,du->rd", spread, calibration.design[rows])
        # Doubt between fits is in P and not in F: no more than all of it comes of the scatter.
        entering = np.minimum(np.einsum("rd,rd->r", share, share), variance)
        lost += entering**2 / degrees
    return variance, effective_degrees(variance, lost)


def effective_degrees(variance: Array, lost: Array) -> Array:
    """Degrees of freedom of a variance by Welch and Satterthwaite: variance^2 / lost, (rows,).

    lost: sum over the scatters that enter it of their parts squared over their degrees;
    where it is 0 the degrees are inf.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(lost > 0.0, variance**2 / lost, np.inf)


def mark_response(shot: Shot, sight: Sight, distances: Array) -> Array:
    """Change of the travel r (tan a - tan a0) + zero per unknown, (rows, 6), m.

    Of speed and drag per share, of the others per m. Read from series over the logarithm of
    the distance.
    """
    low, high = float(np.log(distances.min())), float(np.log(distances.max()))
    spread = distances.size > FEW and high - low > 1e-6
    if spread:
        points, to_series = chebyshev(FEW)
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        at = np.exp(middle + half * points)
    else:
        at = distances
    rows = response_of(steps_about(shot, np.append(at, sight.zero_distance)), sight.radius).T
    if spread:
        rows = rows @ to_series @ terms((np.log(distances) - middle) / half, FEW)
    return rows.T


@dataclass(frozen=True, kw_only=True)
class StepsAbout:
    """Aimed flights, and how their angles answer to a step of some unknowns.

    aimed: of the shot as it is, (distances,).
    change: of tan(launch angle) per unknown of STEPS, (3, distances).
    """

    aimed: Aimed
    change: Array


def steps_about(shot: Shot, distances: Array, *, windage: bool = False) -> StepsAbout:
    """Aim a shot, or one a distance, at distances, m, and with a step of each of STEPS.

    windage: of the shot as it is, the bow yawed as well. Raises TooNear, whose lanes count
    the distances several times over, and Unsolved.
    """
    count, times = distances.size, 1 + 2 * len(STEPS)
    each = np.zeros((len(NAMES), times))
    for index, (unknown, step) in enumerate(STEPS.items()):
        each[unknown, 1 + 2 * index], each[unknown, 2 + 2 * index] = step, -step
    shifts = np.repeat(each, count, axis=1)
    lanes = shot.take(np.tile(np.arange(count), times))
    varied = lanes.with_(
        launch_speed=lanes.launch_speed * np.exp(shifts[SPEED]),
        drag_scale=lanes.drag_scale * np.exp(shifts[DRAG]),
        peep_height=lanes.peep_height + shifts[PEEP_HEIGHT],
    )
    steered = np.arange(times * count) < count if windage else False
    found = aim(varied, np.tile(distances, times), windage=steered)
    tangents = np.tan(found.launch_angle).reshape(times, count)
    steps = np.array([*STEPS.values()])[:, None]
    after, before = tangents[1::2] - tangents[0], tangents[0] - tangents[2::2]
    change = 0.5 * (after + before) / steps
    # Next to the reach a slower arrow does not come so far: the other step alone tells.
    change = np.where(np.isnan(change), np.where(np.isnan(after), before, after) / steps, change)
    return StepsAbout(aimed=found.lanes(slice(0, count)), change=change)


def response_of(about: StepsAbout, radius: float) -> Array:
    """Response of the travel from the last distance to each before it, (rows, 6), m.

    Of r (tan a - tan a0) + zero: of speed and drag per share, of the others per m.
    """
    tangents = np.tan(about.aimed.launch_angle)
    rows = np.zeros((tangents.size - 1, len(NAMES)))
    rows[:, list(STEPS)] = radius * (about.change[:, :-1] - about.change[:, -1:]).T
    rows[:, RADIUS] = tangents[:-1] - tangents[-1]
    rows[:, ZERO] = 1.0
    return rows
