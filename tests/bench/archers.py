"""Archers the proof invents: what they know of their set-up, what is true, where they hit.

The truth is drawn from the very prior that the archer states, and the known group from the
very scatter: so a fit that is right gives intervals that are.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from setups import law, plain_shot

from arrowloft.core.archer.flyers import flyers
from arrowloft.core.archer.groups import Group
from arrowloft.core.archer.landed import Landed
from arrowloft.core.arrays import Array
from arrowloft.core.flight.impacts import impacts
from arrowloft.core.learning.unknowns import DRAG, PEEP_HEIGHT, RADIUS, SPEED, WINDAGE, ZERO, Prior
from arrowloft.core.setup.shot import Shot
from arrowloft.core.sight.marks import mark_table
from arrowloft.core.sight.sight import Sight, Thread

YARD = 0.9144
MARKS = np.arange(20, 81) * YARD
BUTTS = np.arange(0, 51, 10)  # among MARKS: 20 to 70 yd
TOLERANCE = 0.01 * MARKS / (10.0 * YARD)  # 1 cm per 10 yd

SEED = 4
SCATTER, SCATTER_SPREAD = 1.2e-3, 0.4  # rad, median and spread in the logarithm
FLYER = 5.0  # scatter of a flyer over that of a sound arrow


@dataclass(frozen=True, kw_only=True)
class Archer:
    """One archer.

    shot, sight, prior, group: as the archer knows them.
    unknowns: true ones, (6,), in the order of `unknowns.NAMES`.
    scatter: true standard deviation of the launch direction up and sideways, rad.
    """

    shot: Shot
    sight: Sight
    prior: Prior
    group: Group
    unknowns: Array
    scatter: float

    @property
    def true_shot(self) -> Shot:
        return self.shot.with_(
            launch_speed=float(self.unknowns[SPEED]),
            drag_scale=float(self.unknowns[DRAG] * self.shot.drag_scale),
            peep_height=float(self.unknowns[PEEP_HEIGHT]),
        )


def invented(number: int) -> Archer:
    """The archer of this number: the same whoever draws it, and in whatever order."""
    rng = np.random.default_rng((SEED, number))
    shot = plain_shot(
        _law(),
        launch_speed=float(rng.uniform(60.0, 95.0)),
        drag_scale=float(rng.uniform(0.8, 1.3)),
        peep_height=float(rng.uniform(0.09, 0.14)),
    )
    thread = Thread(travel_per_turn=0.0012, clicks_per_turn=12.0)
    sight = Sight(
        radius=float(rng.uniform(0.75, 0.92)), zero_distance=20.0 * YARD, elevation=thread
    )
    prior = Prior(
        speed=float(shot.launch_speed),
        # From a chronograph to a bow's rated speed.
        speed_uncertainty=float(np.exp(rng.uniform(np.log(0.004), np.log(0.03)))),
        drag_uncertainty=float(rng.uniform(0.14, 0.25)),
        peep_height=float(shot.peep_height),
        peep_height_uncertainty=0.003,
        radius=sight.radius,
        radius_uncertainty=0.0015,
        zero_uncertainty=0.0005,
        windage_uncertainty=0.001,
    )
    scatter = float(SCATTER * np.exp(rng.normal(0.0, SCATTER_SPREAD)))
    return Archer(
        shot=shot,
        sight=sight,
        prior=prior,
        group=_group(rng, scatter),
        unknowns=prior.values(rng.standard_normal(6)),
        scatter=scatter,
    )


@cache
def _law():
    return law()


def _group(rng, scatter: float) -> Group:
    """6 to 12 arrows shot before the sight was touched, and their standard deviations."""
    arrows, distance = int(rng.integers(6, 13)), 30.0 * YARD
    up, right = rng.normal(0.0, scatter * distance, (2, arrows)).std(axis=1, ddof=1)
    return Group(distance=distance, vertical=float(up), sideways=float(right), arrows=arrows)


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What marks ought to be; arrays over MARKS.

    travel: from where the pin stands at the zero mark, m.  rise: of the impact per travel.
    zero_angle: launch angle of the zero distance, rad.
    """

    travel: Array
    rise: Array
    zero_angle: float

    @classmethod
    def of(cls, archer: Archer) -> "Truth":
        radius = float(archer.unknowns[RADIUS])
        sight = Sight(radius=radius, zero_distance=archer.sight.zero_distance)
        table = mark_table(archer.true_shot, sight, MARKS)
        at_zero = mark_table(archer.true_shot, sight, np.array([sight.zero_distance]))
        return cls(
            travel=table.travel + float(archer.unknowns[ZERO]),
            rise=table.rise_per_tangent / radius,
            zero_angle=float(at_zero.launch_angle[0]),
        )

    def heights(self, travel: Array) -> Array:
        """How much too high arrows hit with these marks, m."""
        return (travel - self.travel) * self.rise


class Range:
    """One archer shooting; the generator makes the arrows' scatter, `flyers` of them are."""

    def __init__(self, archer: Archer, truth: Truth, rng) -> None:
        self._archer, self._truth, self._rng, self.flyers = archer, truth, rng, 0.0
        self._shot = archer.true_shot

    def shoot(self, distance: float, travel: float, arrows: int) -> tuple[Array, Array]:
        """Places up and right of arrows shot with a mark, (arrows,), m."""
        unknowns = self._archer.unknowns
        radius = unknowns[RADIUS]
        rise = (travel - unknowns[ZERO]) / radius
        angle = np.arctan(np.tan(self._truth.zero_angle) + rise)
        yaw = -np.arctan(unknowns[WINDAGE] * np.cos(angle) / radius)
        mean = impacts(self._shot, float(angle), distance, yaw=float(yaw))
        spread = np.full(arrows, self._archer.scatter * distance)
        if self.flyers:
            spread[self._rng.random(arrows) < self.flyers] *= FLYER
        up, right = self._rng.standard_normal((2, arrows)) * spread
        return float(mean.up[0]) + up, float(mean.right[0]) + right


def without_flyers(archer: Archer, distance: float, up: Array, right: Array) -> Landed:
    """The end as noted by an archer who looks for flyers."""
    sound = np.delete(np.arange(up.size), flyers(distance, up, right, archer.group))
    return Landed.of_arrows(distance, up[sound], right[sound])


def clicked(archer: Archer, travel: float) -> float:
    """The nearest travel that whole clicks make, m."""
    thread = archer.sight.elevation
    return float(thread.travel_of(thread.clicks(np.array(travel))))
