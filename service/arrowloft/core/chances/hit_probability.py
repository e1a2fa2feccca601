"""How likely an arrow hits, what it scores, what it owes to each cause, and how far it is so.

The archer's group, grown to the distance, and the errors of a shot add up to the scatter of
the impact; its share within the zone is the probability of a hit.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from arrowloft.core.archer.groups import Group
from arrowloft.core.arrays import Array, Mask
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.edgeworth import normal_share, share_in_zone
from arrowloft.core.chances.effects import Effects, effects
from arrowloft.core.chances.effects_series import effects_over
from arrowloft.core.chances.quadratic_forms import RIGHT, UP, Cumulants, cumulants, first_two
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.core.setup.shot import Shot

GROUP = "group"
"""Name of the archer's own scatter among the causes."""

CONFIDENCE = 0.9
"""Of the interval in which the probability lies, the group being known from few arrows."""

THREE_TOGETHER = 3e-4
"""What effects of three causes together change a probability by at most, absolute, where all
the scatter is that of the causes (measured on flights sampled one by one)."""

BEGINS = 0.02
"""What it may change a probability by, absolute, that the target begins to move just when
arrows arrive (measured on flights sampled one by one)."""


@dataclass(frozen=True, kw_only=True)
class Archer:
    """An archer's scatter and how it grows.

    group: as found on a target.  growth: power of the distance with which its standard
    deviations grow; 1 in proportion.
    within: causes (speed, roll, wind) that were at work in the group already: it holds their
        part at its own distance, on a target that stood still, which is taken out of it and
        grows as they do.
    """

    group: Group
    growth: float = 1.0
    within: tuple[str, ...] = ("speed",)


@dataclass(frozen=True, kw_only=True)
class Aiming:
    """What is loosed: shot (every member a float), the archer, the errors of a shot.

    offset: mean impact of an arrow with nothing off, up and right of the zone's middle, m.
    wind_allowed: whether the archer allows for the drift of the shot's wind.
    """

    shot: Shot
    archer: Archer
    errors: AimErrors
    offset: tuple[float, float] = (0.0, 0.0)
    wind_allowed: bool = True


@dataclass(frozen=True, kw_only=True)
class HitProbability:
    """Chances at distances; arrays (rows,), SI; but distance and time NaN where not `known`.

    probability: of a hit.  error: estimated error of that, absolute.
    low, high: where it lies with CONFIDENCE, the group being known from few arrows, and
        `error` beyond; NaN where their number is not known.
    score: mean points of an arrow, None without a face.  score_error: estimated error of that.
    score_sd: standard deviation of an arrow's points.
    inner: probability of the inner ten, None where there is none.
    up, right: mean impact.  sd_up, sd_right: standard deviations.
    causes: names.  share: each one's part of the variance, up and right together, (causes, rows).
    gain: by how much the probability would rise without it, the scatter taken as normal.
    time: launch to arrival.
    drained: whether what the group holds already (`Archer.within`) is more than the group.
    """

    distance: Array
    known: Mask
    probability: Array
    error: Array
    low: Array
    high: Array
    score: Array | None
    score_error: Array | None
    score_sd: Array | None
    inner: Array | None
    up: Array
    right: Array
    sd_up: Array
    sd_right: Array
    causes: tuple[str, ...]
    share: Array
    gain: Array
    time: Array
    drained: bool
    aimed_error: float
    position_error: float
    airspeed_range: tuple[float, float]


def hit_probability(aiming: Aiming, target: Zone | Face, distance: Array) -> HitProbability:
    """The chances at true distances, m. On a face a hit is an arrow that scores.

    Raises TooNear, BeyondReach, Unsolved; lanes count the distances.
    """
    scatter, zone, share, left_out = _at(aiming, target, distance)
    found, every = scatter.effects, scatter.cumulants
    hit = _hit(aiming.archer.group, zone, scatter, left_out)
    scored = _scored(target, every, left_out) if isinstance(target, Face) else {}

    def known(values: Array | None) -> Array | None:
        return None if values is None else np.where(found.known, values, np.nan)

    rows = {
        "probability": hit.probability,
        "error": hit.error,
        "low": hit.low,
        "high": hit.high,
        "score": scored.get("score"),
        "score_error": scored.get("score_error"),
        "score_sd": scored.get("score_sd"),
        "inner": scored.get("inner"),
        "up": every.mean[UP],
        "right": every.mean[RIGHT],
        "sd_up": np.sqrt(every.covariance[UP, UP]),
        "sd_right": np.sqrt(every.covariance[RIGHT, RIGHT]),
        "share": share,
        "gain": _gains(zone, scatter),
    }
    return HitProbability(
        distance=distance,
        known=found.known,
        causes=(GROUP, *found.causes),
        time=found.time,
        drained=scatter.drained,
        aimed_error=found.aimed_error,
        position_error=found.position_error,
        airspeed_range=found.airspeed_range,
        **{name: known(values) for name, values in rows.items()},  # type: ignore[arg-type]
    )


def chance(aiming: Aiming, target: Zone | Face, distance: Array) -> tuple[Array, Array]:
    """The probability of a hit and the low end of its interval, (rows,) each. Raises as above.

    NaN where they are not known.
    """
    scatter, zone, _, left_out = _at(aiming, target, distance)
    hit, known = _hit(aiming.archer.group, zone, scatter, left_out), scatter.effects.known
    return np.where(known, hit.probability, np.nan), np.where(known, hit.low, np.nan)


def _at(
    aiming: Aiming, target: Zone | Face, distance: Array
) -> tuple["_Scatter", Zone, Array, Array]:
    """What scatters there, the zone that is a hit, the shares of the causes, what is left out."""
    scatter = _scatter(aiming, distance)
    zone = target if isinstance(target, Zone) else target.zones[0]
    share = _shares(scatter)
    left_out = _left_out(scatter.effects, scatter.cumulants, 1.0 - share[0])
    return scatter, zone, share, left_out


@dataclass(frozen=True)
class _Scatter:
    """All that scatters at some distances.

    own: variances of the group up and right, without what it holds already, (2, rows).
    found: those of the group as it was found, grown alike.  cumulants: of the impact.
    """

    effects: Effects
    own: Array
    found: Array
    cumulants: Cumulants
    drained: bool


def _scatter(aiming: Aiming, distance: Array) -> _Scatter:
    archer, errors = aiming.archer, aiming.errors
    group = archer.group
    within = [name for name in errors.named if name in archer.within]
    # What the group holds already is flown at the group's own distance too.
    flown = np.append(distance, group.distance) if within else distance
    found = effects_over(aiming.shot, flown, errors, wind_allowed=aiming.wind_allowed)
    squares = np.square([group.vertical, group.sideways])
    own = squares * group.unbiased**2
    drained = False
    if within:
        held = _held(aiming, found, within)
        drained = bool(np.any(held > own))
        own = np.maximum(own - held, 0.0)
        found = found.rows(slice(0, distance.size))
    growth = (distance / group.distance) ** (2.0 * archer.growth)
    grown = own[:, None] * growth
    every = _joined(found, grown, aiming.offset)
    return _Scatter(found, grown, squares[:, None] * growth, every, drained)


def _held(aiming: Aiming, found: Effects, within: list[str]) -> Array:
    """Variances up and right that causes make at the group's distance, the last row, (2,).

    By themselves: what they do together with others did not widen the group.
    """
    moves = aiming.errors.movement != Movement()  # nor did the group's target move
    if moves or not found.known[-1]:  # or another cause is too much there
        alone = AimErrors(**{name: getattr(aiming.errors, name) for name in within})
        there = np.array([aiming.archer.group.distance])
        found = effects(aiming.shot, there, alone, wind_allowed=aiming.wind_allowed)
    at = [found.causes.index(name) for name in within]
    held: Array = found.forms.only(at).variances()[..., -1].sum(axis=1)
    return held


def _joined(found: Effects, own: Array, offset: tuple[float, float]) -> Cumulants:
    """Cumulants of the impact with the group's own variances, about where it is aimed."""
    every = cumulants(found.forms)
    covariance = every.covariance.copy()
    for axis in (UP, RIGHT):
        covariance[axis, axis] += own[axis]
    mean = every.mean + np.array(offset)[:, None]
    return Cumulants(mean=mean, covariance=covariance, third=every.third, fourth=every.fourth)


def _shares(scatter: _Scatter) -> Array:
    """Each cause's part of the variance, up and right together, the group first, (causes, rows)."""
    made = scatter.effects.forms.variances()
    parts = np.concatenate((scatter.own[:, None], made), axis=1).sum(axis=0)
    whole = parts.sum(axis=0)
    shares: Array = parts / np.where(whole > 0.0, whole, 1.0)
    return shares


@dataclass(frozen=True)
class _Hit:
    """The probability of a hit, its error, the ends of its interval and `error` beyond, (rows,)."""

    probability: Array
    error: Array
    low: Array
    high: Array


def _hit(group: Group, zone: Zone, scatter: _Scatter, left_out: Array) -> _Hit:
    hit = share_in_zone(zone, scatter.cumulants)
    error = np.minimum(hit.error + left_out, 1.0)
    low, high = _interval(group, zone, scatter, hit.probability)
    return _Hit(hit.probability, error, np.maximum(low - error, 0.0), np.minimum(high + error, 1.0))


def _interval(
    group: Group, zone: Zone, scatter: _Scatter, probability: Array
) -> tuple[Array, Array]:
    """Where the probability lies, the group's standard deviations being known from few arrows.

    They lie with CONFIDENCE between s sqrt(k / x), x the quantiles of chi squared with k
    degrees of freedom and s as found; what that changes is taken for a normal scatter. Where
    each axis has a standard deviation of its own, their changes are independent.
    """
    degrees = group.degrees
    if degrees is None:
        unknown = np.full(probability.size, np.nan)
        return unknown, unknown
    every = scatter.cumulants
    plain = normal_share(zone, every.mean, every.covariance)
    # A spread tells one standard deviation for both axes; else each has its own.
    sides: tuple[tuple[int, ...], ...] = ((UP, RIGHT),) if group.from_spread else ((UP,), (RIGHT,))
    fallen, risen = np.zeros((2, probability.size))
    for axes in sides:
        ends = []
        for tail in (0.5 * (1.0 + CONFIDENCE), 0.5 * (1.0 - CONFIDENCE)):
            factor = degrees / chdtri(degrees, tail) - group.unbiased**2
            covariance = every.covariance.copy()
            for axis in axes:
                more = np.maximum(factor * scatter.found[axis], -scatter.own[axis])
                covariance[axis, axis] += more
            ends.append(normal_share(zone, every.mean, covariance) - plain)
        change = np.array(ends)
        fallen += np.minimum(change.min(axis=0), 0.0) ** 2
        risen += np.maximum(change.max(axis=0), 0.0) ** 2
    low, high = probability - np.sqrt(fallen), probability + np.sqrt(risen)
    return np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)


def _gains(zone: Zone, scatter: _Scatter) -> Array:
    """By how much the probability of a normal scatter rises without each cause, (causes, rows)."""
    forms, every = scatter.effects.forms, scatter.cumulants
    plain = first_two(forms)
    shift = every.mean - plain[0]
    cases = [(every.mean, plain[1]), (every.mean, every.covariance)]
    for at in range(len(scatter.effects.causes)):
        mean, covariance = first_two(forms.without(at))
        covariance += every.covariance - plain[1]
        cases.insert(-1, (mean + shift, covariance))
    shares = normal_share(
        zone,
        np.concatenate([mean for mean, _ in cases], axis=-1),
        np.concatenate([covariance for _, covariance in cases], axis=-1),
    ).reshape(len(cases), -1)
    gains: Array = shares[:-1] - shares[-1]
    return gains


def _scored(face: Face, every: Cumulants, left_out: Array) -> dict[str, Array]:
    """Mean points of an arrow, their error and scatter, and the probability of the inner ten.

    left_out: error of each ring's probability beside that of its expansion, (rows,).
    """
    score, error, square = np.zeros((3, every.mean.shape[1]))
    for zone, points, step in zip(face.zones, face.points, face.steps, strict=True):
        within = share_in_zone(zone, every)
        score += step * within.probability
        error += step * (within.error + left_out)
        square += step * (2.0 * points - step) * within.probability
    found = {
        "score": score,
        "score_error": error,
        "score_sd": np.sqrt(np.maximum(square - score**2, 0.0)),
    }
    if face.inner is not None:
        ten = Zone.circle(face.inner + face.touch)
        found["inner"] = share_in_zone(ten, every).probability
    return found


def _left_out(found: Effects, every: Cumulants, errors: Array) -> Array:
    """What effects that the forms leave out may change, (rows,).

    Those of fourth order of one cause add 120 a^4 c4 to the fifth cumulant of the impact and
    a^4 c4 / sd^5 times what He_4 phi changes by over the zone, 2 at most, to the probability.
    What three causes do together is taken as THREE_TOGETHER.

    errors: share of the variance that is not the group's, (rows,).
    """
    line, bent = found.forms.linear, found.quartic
    deviation = np.sqrt(np.maximum(every.covariance[[UP, RIGHT], [UP, RIGHT]], 1e-18))
    relative = np.abs(line / deviation[:, None]) ** 4 * np.abs(bent) / deviation[:, None]
    total: Array = 2.0 * np.nan_to_num(relative).sum(axis=(0, 1)) + THREE_TOGETHER * errors
    return total + np.where(found.begins, BEGINS, 0.0)
