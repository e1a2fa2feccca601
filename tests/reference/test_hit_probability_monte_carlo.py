"""The chance of a hit against the whole model flown shot by shot, every error drawn.

Errors are drawn by Sobol's sequence, scrambled anew for each of several runs; the group's own
scatter is integrated in closed form about each flight (non-central chi squared, or a product
of normals). The runs' own scatter is the standard error: it is that of far more than 400,000
arrows counted one by one, and that is checked.
"""

from dataclasses import replace

import numpy as np
import pytest
from sampled_shots import flown, own_deviations
from scipy import special, stats

from arrowloft.core.archer.groups import Group
from arrowloft.core.chances.aim_errors import AimErrors, Movement
from arrowloft.core.chances.hit_probability import BEGINS, Aiming, Archer, hit_probability
from arrowloft.core.chances.zones import Face, Zone
from arrowloft.core.setup.air import Air
from arrowloft.core.setup.equipment import Arrow
from arrowloft.core.setup.flow import cross_section
from arrowloft.core.setup.shot import Shot

DISTANCES = np.array([18.0, 35.0, 60.0])
RUNS, FLIGHTS = 8, 4096
AS_GOOD_AS = 400_000
"""Arrows counted one by one that would know the probability as well."""

CLOSE = 1e-3


def drag(flow, arrow):
    return 1.9 * cross_section(arrow) + np.zeros(flow.airspeed.shape)


SHOT = Shot(
    launch_speed=80.0,
    arrow=Arrow(mass=0.0240, shaft_diameter=0.0058),
    drag=drag,
    air=Air(288.15, 101325.0, 0.0, 1.225, 1.789e-5, 340.3),
    peep_height=0.115,
    launch_forward=0.8,
    tip_lead=0.3,
    kinks=(),
)
GROUP = Group(distance=30.0, vertical=0.035, sideways=0.035, arrows=12)
MARKS = {"mark_distances": np.array([10.0, 80.0]), "mark_angles": np.array([1e-3, 7e-4])}

ALL = Aiming(
    shot=SHOT.with_(slope=0.35, wind_speed=4.0, wind_from=1.0),
    archer=Archer(group=GROUP, growth=1.1, within=()),
    errors=AimErrors(
        speed=0.6,
        roll=np.radians(2.0),
        range=0.5,
        range_share=0.03,
        wind_along=1.5,
        wind_across=1.0,
        **MARKS,
        movement=Movement(away=0.6, right=0.3, scatter=0.4, delay=0.1),
    ),
    offset=(0.01, -0.02),
    wind_allowed=False,
)
GUESSED = Aiming(
    shot=SHOT,
    archer=Archer(group=GROUP, within=()),
    errors=AimErrors(speed=0.4, range_share=0.10),
)
ROLLED = Aiming(
    shot=SHOT.with_(slope=-0.2),
    archer=Archer(group=GROUP, within=("speed", "roll")),
    errors=AimErrors(speed=0.8, roll=np.radians(2.5), range_share=0.05, wind_across=1.5),
)
MOVES = Aiming(
    shot=SHOT,
    archer=Archer(group=GROUP, within=()),
    errors=AimErrors(speed=1.0, movement=Movement(scatter=2.0, delay=0.45)),
)
RUNS_ASIDE = Aiming(
    shot=SHOT,
    archer=Archer(group=replace(GROUP, sideways=0.025), within=("speed",)),
    errors=AimErrors(speed=1.0, movement=Movement(scatter=2.0, right=3.0, delay=0.3)),
)
CIRCLE = Zone.circle(0.12)
RECTANGLE = Zone(half_height=0.10, half_width=0.15, round=False)


def within(zone, middle, own):
    """Chance of a group of deviations `own` about each impact, (2, n)."""
    if zone.round:
        assert own[0] == own[1] and zone.half_height == zone.half_width
        off = np.sum((middle / own[0]) ** 2, axis=0)
        return stats.ncx2.cdf((zone.half_height / own[0]) ** 2, 2, off)
    half = np.array([zone.half_height, zone.half_width])[:, None]
    high, low = (special.ndtr((end - middle) / own[:, None]) for end in (half, -half))
    return np.prod(high - low, axis=0)


def sampled(aiming, zones, distance):
    """Probability of each zone and its standard error, each (zones,)."""
    runs = []
    for run in range(RUNS):
        uniform = stats.qmc.Sobol(8, seed=run).random(FLIGHTS).T
        z = special.ndtri(np.clip(uniform, 1e-12, 1.0 - 1e-12))
        middle, own = flown(aiming, distance, z), own_deviations(aiming, distance, z)
        assert np.isfinite(middle).all()
        runs.append([within(zone, middle, own).mean() for zone in zones])
    return np.mean(runs, axis=0), np.std(runs, axis=0, ddof=1) / np.sqrt(RUNS)


@pytest.mark.parametrize("distance", DISTANCES)
@pytest.mark.parametrize(
    ("aiming", "zone"),
    [(ALL, CIRCLE), (GUESSED, CIRCLE), (ROLLED, RECTANGLE)],
    ids=["all causes", "guessed to 10 %", "rolled, a rectangle"],
)
def test_the_chance_of_a_hit(aiming, zone, distance) -> None:
    (expected,), (error,) = sampled(aiming, [zone], float(distance))
    assert expected * (1.0 - expected) / max(error, 1e-12) ** 2 > AS_GOOD_AS
    found = hit_probability(aiming, zone, np.array([distance]))
    assert found.probability[0] == pytest.approx(expected, abs=CLOSE + 4.0 * error)


def test_a_target_that_moves_just_before_arrows_arrive() -> None:
    """An arrow flies 40 m for 0.5 s: uneven speed makes a tenth and more of the way."""
    (expected,), (error,) = sampled(MOVES, [Zone.circle(0.08)], 40.0)
    found = hit_probability(MOVES, Zone.circle(0.08), np.array([40.0]))
    assert found.probability[0] == pytest.approx(expected, abs=CLOSE + 4.0 * error)
    assert not found.error[0] > CLOSE


@pytest.mark.parametrize("delay", [0.487, 0.49, 0.495, 0.5, 0.505])
def test_a_target_that_begins_to_move_as_arrows_arrive(delay) -> None:
    """No form of second order: the error stated covers it."""
    moves = replace(MOVES.errors.movement, delay=delay)
    aiming = replace(MOVES, errors=replace(MOVES.errors, movement=moves))
    (expected,), (error,) = sampled(aiming, [Zone.circle(0.08)], 40.0)
    found = hit_probability(aiming, Zone.circle(0.08), np.array([40.0]))
    assert BEGINS <= found.error[0] < BEGINS + CLOSE
    assert found.probability[0] == pytest.approx(expected, abs=found.error[0] + 4.0 * error)


def test_a_group_that_holds_uneven_speed_before_a_target_that_runs() -> None:
    """It was shot at one that stood still."""
    zone = Zone(half_height=0.10, half_width=0.60, round=False)
    (expected,), (error,) = sampled(RUNS_ASIDE, [zone], 40.0)
    found = hit_probability(RUNS_ASIDE, zone, np.array([40.0]))
    assert found.probability[0] == pytest.approx(expected, abs=CLOSE + 4.0 * error)


def test_the_mean_score() -> None:
    """Points of ten rings of an 80 cm face, the lines touched."""
    face = Face.of_ten_rings(0.80, touch=0.0029)
    expected, error = sampled(ALL, face.zones, 35.0)
    found = hit_probability(ALL, face, np.array([35.0]))
    assert found.score[0] == pytest.approx(
        expected @ np.array(face.steps), abs=10.0 * CLOSE + 4.0 * error.sum()
    )
    assert found.probability[0] == pytest.approx(expected[0], abs=CLOSE + 4.0 * error[0])


def test_mean_and_scatter() -> None:
    """Mean impact and standard deviations of the shots as they were flown."""
    uniform = stats.qmc.Sobol(8, seed=99).random(8 * FLIGHTS).T
    z = special.ndtri(np.clip(uniform, 1e-12, 1.0 - 1e-12))
    middle, own = flown(ALL, 50.0, z), own_deviations(ALL, 50.0, z)
    found = hit_probability(ALL, CIRCLE, np.array([50.0]))
    assert [found.up[0], found.right[0]] == pytest.approx(middle.mean(axis=1), abs=3e-4)
    deviation = np.sqrt(middle.var(axis=1) + own**2)
    assert [found.sd_up[0], found.sd_right[0]] == pytest.approx(deviation, rel=2e-3)
