"""What errors of a shot do to its impact, each by itself and each two of them together.

The archer stands before a target at a true distance, guesses it, sets the mark for the
guess and looses. Each cause is one standard normal variable; its effect on the impact,
seen from where the target then is, is flown and put into quadratic forms.
"""

from dataclasses import dataclass, fields, replace
from itertools import combinations

import numpy as np

from arrowloft.core.arrays import Array, Mask
from arrowloft.core.chances.aim_errors import FLOWN, AimErrors, Movement
from arrowloft.core.chances.quadratic_forms import RIGHT, Forms
from arrowloft.core.flight.aim import aim, nearest_aim
from arrowloft.core.flight.aimed import Aimed
from arrowloft.core.flight.impacts import Impacts, impacts
from arrowloft.core.flight.reach import require_reached
from arrowloft.core.setup.shot import Shot

STEPS = (1.0, -1.0, 2.0, -2.0)
"""How far a cause by itself is off in its flights, in standard deviations."""


@dataclass(frozen=True, kw_only=True)
class Effects:
    """What the causes do to the impact at distances; the last axis is rows, SI.

    causes: names, in the order of the forms.  forms: 0 in rows that are not `known`.
    quartic: effect of fourth order of each cause, (2, causes, rows), not in the forms.
    time: launch to arrival of an arrow with nothing off, (rows,).
    known: rows in which every arrow of the stencil arrives.
    begins: rows in which the target begins to move before some of them arrive, and not before
        others: that is no form of second order.
    aimed_error, position_error: estimated errors of launch angles, rad, and of impacts, m.
    airspeed_range: least and greatest airspeed flown, m/s.
    """

    causes: tuple[str, ...]
    forms: Forms
    quartic: Array
    time: Array
    known: Mask
    begins: Mask
    aimed_error: float
    position_error: float
    airspeed_range: tuple[float, float]

    def rows(self, chosen: slice) -> "Effects":
        """Some of the rows."""
        forms = Forms(**{f.name: getattr(self.forms, f.name)[..., chosen] for f in fields(Forms)})
        return replace(
            self,
            forms=forms,
            quartic=self.quartic[..., chosen],
            time=self.time[chosen],
            known=self.known[chosen],
            begins=self.begins[chosen],
        )


def effects(
    shot: Shot, distance: Array, errors: AimErrors, *, wind_allowed: bool = True
) -> Effects:
    """The effects at true distances, m, of one shot (every member a float).

    Each cause by itself is flown 1 and 2 standard deviations off either way, which gives its
    effect to fourth order; each two of them together 1 off, both ways, which gives what they
    do together to second order.

    wind_allowed: whether the archer allows for the drift of the shot's own wind.
    Raises TooNear, BeyondReach, Unsolved; lanes count the distances.
    """
    flown = tuple(name for name in errors.named if name in FLOWN)
    design = _design(len(flown))
    aimed = aim(shot, distance, windage=wind_allowed)
    require_reached(shot, aimed)
    off = np.zeros((len(design), len(FLOWN)))
    off[:, [FLOWN.index(name) for name in flown]] = design
    met, place, times = _flown(shot, aimed, errors, off, wind_allowed)
    known: Mask = np.asarray(np.isfinite(place).all(axis=(0, 1)))
    forms, quartic = _fitted(np.where(known, place, 0.0), len(flown))
    if errors.movement.scatter > 0.0:
        forms, quartic = _with_sideways(forms, quartic, errors.movement, times)
    return Effects(
        causes=errors.named,
        forms=forms,
        quartic=quartic,
        time=times[0],
        known=known,
        begins=_begins(errors.movement, times),
        aimed_error=float(aimed.error.max()),
        position_error=float(np.nan_to_num(met.error).max()),
        airspeed_range=met.airspeed_range,
    )


def moving(movement: Movement, time: Array) -> Array:
    """For how long the target has moved when an arrow arrives, s."""
    return np.maximum(time - movement.delay, 0.0)


def _design(causes: int) -> Array:
    """How far each cause is off in each flight, in standard deviations, (flights, causes).

    Nothing off; each cause by each of STEPS; each two by 1 and by -1.
    """
    unit = np.eye(causes)
    single = [step * line for line in unit for step in STEPS]
    pairs = [
        sign * (unit[one] + unit[other])
        for one, other in combinations(range(causes), 2)
        for sign in (1.0, -1.0)
    ]
    return np.array([np.zeros(causes), *single, *pairs])


def _flown(
    shot: Shot, aimed: Aimed, errors: AimErrors, off: Array, wind_allowed: bool
) -> tuple[Impacts, Array, Array]:
    """Loose every flight at every distance; impacts from the target, (2, flights, rows).

    And times of arrival, (flights, rows). off: (flights, FLOWN), in standard deviations.
    NaN where no mark is for the guess.
    """
    distance = aimed.distance
    deviation = errors.deviations(distance)
    # By cause, flights and rows in one line: (causes, lanes).
    speed, roll, _, along, across, mark, away = (off.T[:, :, None] * deviation[:, None, :]).reshape(
        len(FLOWN), -1
    )
    marks = _marks(shot, aimed, deviation[FLOWN.index("range")], wind_allowed)
    guess = np.rint(off[:, FLOWN.index("range")]).astype(np.intp) + 2
    angle, yaw = (part[guess].ravel() for part in marks)
    ahead = -shot.wind_speed * np.cos(shot.wind_from) + along
    aside = -shot.wind_speed * np.sin(shot.wind_from) + across
    loosed = shot.with_(
        launch_speed=shot.launch_speed + speed,
        roll=shot.roll + roll if roll.any() else shot.roll,
        wind_speed=np.hypot(ahead, aside),
        wind_from=np.arctan2(-aside, -ahead),
    )
    sound = np.isfinite(angle)
    chased = (errors.movement.away + away) * np.cos(shot.slope)
    way = _way(aimed, errors.movement, chased)
    met = impacts(
        loosed.take(sound),
        (angle + mark)[sound],
        (np.tile(distance, len(off)) + way)[sound],
        yaw=yaw[sound],
    )
    place, time = np.full((2, angle.size), np.nan), np.full(angle.size, np.nan)
    place[:, sound], time[sound] = _seen(shot, errors.movement, met, chased[sound], way[sound])
    return met, place.reshape(2, len(off), -1), time.reshape(len(off), -1)


def _marks(shot: Shot, aimed: Aimed, deviation: Array, windage: bool) -> tuple[Array, Array]:
    """Launch angle and yaw of the marks for guesses -2 .. 2 standard deviations off, (5, rows).

    NaN where a guess is too near to be shot, or beyond reach.
    """
    guesses = aimed.distance + np.arange(-2.0, 3.0)[:, None] * deviation
    angle, yaw = np.full(guesses.shape, np.nan), np.full(guesses.shape, np.nan)
    wanted = guesses >= nearest_aim(shot)
    wanted[2] = False
    if deviation.any() and wanted.any():
        guessed = aim(shot, guesses[wanted], windage=windage)
        angle[wanted], yaw[wanted] = guessed.launch_angle, guessed.yaw
    angle[2], yaw[2] = aimed.launch_angle, aimed.yaw
    return angle, yaw


def _way(aimed: Aimed, movement: Movement, chased: Array) -> Array:
    """How far along the line of sight the target has moved when an arrow arrives, m, (lanes,).

    chased: speed of the target along that line, m/s. An arrow of speed s that follows it for
    t arrives later the farther it goes: the way is c t / (1 - c / s).
    """
    flights = chased.size // aimed.distance.size
    time, speed = (np.tile(part, flights) for part in (moving(movement, aimed.time), aimed.speed))
    way: Array = chased * time / (1.0 - chased / speed)
    return way


def _seen(
    shot: Shot, movement: Movement, met: Impacts, chased: Array, way: Array
) -> tuple[Array, Array]:
    """Impacts from where the target then is, up and right, (2, lanes), and the times of them.

    It moves level, so that the line of sight rises over it by tan(slope) of its way. An arrow
    that is faster or slower than the one with nothing off finds it a little before or beyond
    the plane at `way`: the arrow's path is straight that far.
    """
    more = (chased * moving(movement, met.time) - way) / (1.0 - chased / met.speed)
    up = met.up + more * np.tan(met.angle) + (way + more) * np.tan(shot.slope)
    time = met.time + more / met.speed
    right = met.right - movement.right * moving(movement, time)
    return np.array([up, right]), time


def _fitted(place: Array, causes: int) -> tuple[Forms, Array]:
    """Forms and effects of fourth order of impacts (2, flights, rows) in the design's order.

    By itself a cause's effect is c1 z + c2 z^2 + c3 z^3 + c4 z^4. By Hermite's polynomials,
    z^3 = He_3 + 3 z and z^4 = He_4 + 6 He_2 + 3.
    """
    rows = place.shape[-1]
    plain = place[:, 0]
    single = place[:, 1 : 1 + 4 * causes].reshape(2, causes, 4, rows) - plain[:, None, None]
    pairs = place[:, 1 + 4 * causes :].reshape(2, -1, 2, rows)
    odd = 0.5 * (single[:, :, ::2] - single[:, :, 1::2])
    even = 0.5 * (single[:, :, ::2] + single[:, :, 1::2])
    cubic = (odd[:, :, 1] - 2.0 * odd[:, :, 0]) / 6.0
    quartic = (even[:, :, 1] - 4.0 * even[:, :, 0]) / 12.0
    linear = odd[:, :, 0] + 2.0 * cubic
    quadratic = np.zeros((2, causes, causes, rows))
    own = np.arange(causes)
    quadratic[:, own, own] = even[:, :, 0] + 5.0 * quartic
    for at, (one, other) in enumerate(combinations(range(causes), 2)):
        both = pairs[:, at].mean(axis=1) - plain - even[:, one, 0] - even[:, other, 0]
        quadratic[:, one, other] = quadratic[:, other, one] = 0.5 * both
    constant = plain - 3.0 * quartic.sum(axis=1)
    return Forms(constant=constant, linear=linear, quadratic=quadratic, cubic=cubic), quartic


def _begins(movement: Movement, times: Array) -> Mask:
    """Rows in which some arrows arrive before the target begins to move, and some after."""
    if not (movement.scatter or movement.away or movement.right) or movement.delay == 0.0:
        return np.zeros(times.shape[1], dtype=bool)
    early = times < movement.delay
    return np.asarray(early.any(axis=0) & ~early.all(axis=0))


def _with_sideways(
    forms: Forms, quartic: Array, movement: Movement, times: Array
) -> tuple[Forms, Array]:
    """One more cause, last: the target moves aside, as long as each arrow lets it.

    times: of arrival, (flights, rows) in the design's order; the time that it moves depends
    on each other cause by (t+ - t-) / 2, and in the mean on (t+ + t- - 2 t) / 2.
    """
    causes, rows = forms.linear.shape[1:]
    moved = np.nan_to_num(moving(movement, times))
    single = moved[1 : 1 + 4 * causes].reshape(causes, 4, rows)
    later = 0.5 * (single[:, 0] - single[:, 1])
    mean = moved[0] + (0.5 * (single[:, 0] + single[:, 1]) - moved[0]).sum(axis=0)
    more = np.zeros((2, 1, rows))
    line = more.copy()
    line[RIGHT, 0] = -movement.scatter * mean
    quadratic = np.pad(forms.quadratic, ((0, 0), (0, 1), (0, 1), (0, 0)))
    quadratic[RIGHT, :causes, causes] = quadratic[RIGHT, causes, :causes] = (
        -0.5 * movement.scatter * later
    )
    return (
        Forms(
            constant=forms.constant,
            linear=np.concatenate((forms.linear, line), axis=1),
            quadratic=quadratic,
            cubic=np.concatenate((forms.cubic, more), axis=1),
        ),
        np.concatenate((quartic, more), axis=1),
    )
